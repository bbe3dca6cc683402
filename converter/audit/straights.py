"""Checks of the straights: room for the clamp between bends and at the ends, and none below zero."""

from __future__ import annotations

from collections.abc import Iterator

from converter.audit.registry import check
from converter.audit.subject import Subject
from converter.findings import NOTE, Finding
from converter.shop.model import Die

#: mm; a straight this little short is drawing noise.
SLACK = 0.01
#: mm; straights above this below zero are rounding.
EQUAL = 1e-6
#: Degrees; a roll this close to 180 makes an S-bend in one plane.
OPPOSED = 1.0


@check
def no_negative_straight(subject: Subject) -> Iterator[Finding]:
    """No straight is shorter than nothing (fillets and refits can make it so)."""
    if not subject.bends:
        return
    straights = subject.tube.run.table.straights
    if min(straights) >= -EQUAL:
        return
    last = len(subject.bends)
    for i, straight in enumerate(straights):
        index = min(i, last - 1)
        if straight >= -EQUAL or ("negative-straight", index + 1) in subject.said:
            continue
        if 0 < i < last:
            text = f"the straight between bends {i} and {i + 1} comes to {subject.length(straight)}: they overlap"
        else:
            end = "A" if i == 0 else "B"
            text = f"the straight at end {end} comes to {subject.length(straight)}: the bend reaches past the end"
        yield subject.finding(
            "negative-straight",
            text,
            index,
            measured=straight,
            limit=0.0,
            cure="Move the corners apart, lengthen the end, or use a die of a smaller radius.",
        )


@check
def room_between(subject: Subject) -> Iterator[Finding]:
    """The clamp finds room between each two bends (fed from end A)."""
    bends = subject.bends
    for i in range(1, len(bends)):
        die = subject.die_at(i)
        feed = bends[i].feed
        if die is None or feed >= die.between - SLACK or feed < -EQUAL:
            continue
        opposed = abs(abs(bends[i].rotation) - 180.0) <= OPPOSED
        if opposed and die.invert_clamp:
            yield subject.finding(
                "straight-too-short",
                f"the straight between bends {i} and {i + 1} is {subject.length(feed)}, under the "
                f"{subject.length(die.between)} that {die.name!r} needs; the clamp is inverted for this S-bend",
                i,
                measured=feed,
                limit=die.between,
                severity=NOTE,
                cure="Turn the clamp over for the second of the two bends.",
            )
            continue
        yield subject.finding(
            "straight-too-short",
            f"the straight between bends {i} and {i + 1} is {subject.length(feed)}; {die.name!r} needs "
            f"{subject.length(die.between)}",
            i,
            measured=feed,
            limit=die.between,
            cure=f"Move the bends {subject.length(die.between - feed)} apart, or split the tube there.",
        )


@check
def room_at_ends(subject: Subject) -> Iterator[Finding]:
    """The clamp finds room at end A, and the grip at end B."""
    if not subject.bends:
        return
    last = len(subject.bends) - 1
    first_die, last_die = subject.die_at(0), subject.die_at(last)
    feed, tail = subject.bends[0].feed, subject.tube.run.table.tail
    short_a = first_die is not None and -EQUAL <= feed < first_die.clamp - SLACK
    short_b = last_die is not None and -EQUAL <= tail < last_die.tail - SLACK
    if not short_a and not short_b:
        return
    turned = (
        first_die is not None
        and last_die is not None
        and tail >= last_die.clamp - SLACK
        and feed >= first_die.tail - SLACK
    )
    if short_a and first_die is not None:
        yield _end(subject, 0, "A", feed, first_die.clamp, first_die, "clamp", turned)
    if short_b and last_die is not None:
        yield _end(subject, last, "B", tail, last_die.tail, last_die, "grip", turned)


def _end(
    subject: Subject, index: int, end: str, straight: float, need: float, die: Die, what: str, turned: bool
) -> Finding:
    other = ", or feed it from end B" if turned else ""
    return subject.finding(
        "end-too-short",
        f"the straight at end {end} is {subject.length(straight)}; the {what} of {die.name!r} needs "
        f"{subject.length(need)}",
        index,
        measured=straight,
        limit=need,
        cure=f"Leave {subject.length(need - straight)} extra at end {end} and trim it after bending{other}.",
    )
