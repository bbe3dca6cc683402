"""Checks of the straights: room for the clamp between bends and at the ends, and none below zero."""

from __future__ import annotations

from collections.abc import Iterator

from converter.audit.registry import check, check_as_drawn
from converter.audit.subject import Subject
from converter.findings import NOTE, Finding
from converter.shop.model import Die
from converter.tolerances import PAST_LENGTH

#: Degrees; a roll this close to 180 makes an S-bend in one plane.
OPPOSED = 1.0


@check
def no_negative_straight(subject: Subject) -> Iterator[Finding]:
    """No straight is shorter than nothing (fillets and refits can make it so)."""
    if not subject.bends:
        return
    straights = subject.tube.run.table.straights
    if min(straights) >= -PAST_LENGTH:
        return
    last = len(subject.bends)
    for i, straight in enumerate(straights):
        index = min(i, last - 1)
        if straight >= -PAST_LENGTH or ("negative-straight", index + 1) in subject.reported:
            continue
        end = {0: "A", last: "B"}.get(i)
        yield subject.finding(
            "negative-straight",
            index,
            {"lacking": -straight},
            variant="overlap" if end is None else "past end",
            end=end,
            measured=straight,
            limit=0.0,
        )


@check_as_drawn
def room_between(subject: Subject) -> Iterator[Finding]:
    """The clamp finds room between each two bends (fed from end A)."""
    bends = subject.bends
    for i in range(1, len(bends)):
        die = subject.die_at(i)
        feed = bends[i].feed
        if die is None or feed >= die.between - PAST_LENGTH or feed < -PAST_LENGTH:
            continue
        inverted = die.invert_clamp and abs(abs(bends[i].rotation) - 180.0) <= OPPOSED
        yield subject.finding(
            "straight-too-short",
            i,
            {"straight": feed, "need": die.between, "die": die.name, "by": die.between - feed},
            variant="S-bend" if inverted else "",
            measured=feed,
            limit=die.between,
            severity=NOTE if inverted else "",
        )


@check_as_drawn
def room_at_ends(subject: Subject) -> Iterator[Finding]:
    """The clamp finds room at end A, and the pressure die at end B."""
    if not subject.bends:
        return
    last = len(subject.bends) - 1
    first_die, last_die = subject.die_at(0), subject.die_at(last)
    feed, tail = subject.bends[0].feed, subject.tube.run.table.tail
    short_a = first_die is not None and -PAST_LENGTH <= feed < first_die.clamp - PAST_LENGTH
    short_b = last_die is not None and -PAST_LENGTH <= tail < last_die.tail - PAST_LENGTH
    if not short_a and not short_b:
        return
    turned = (
        first_die is not None
        and last_die is not None
        and tail >= last_die.clamp - PAST_LENGTH
        and feed >= first_die.tail - PAST_LENGTH
    )
    if short_a and first_die is not None:
        yield _end(subject, 0, "A", feed, first_die.clamp, first_die, "clamp", turned)
    if short_b and last_die is not None:
        yield _end(subject, last, "B", tail, last_die.tail, last_die, "pressure die", turned)


def _end(
    subject: Subject, index: int, end: str, straight: float, need: float, die: Die, what: str, turned: bool
) -> Finding:
    return subject.finding(
        "end-too-short",
        index,
        {"straight": straight, "need": need, "die": die.name, "extra": need - straight},
        variant=what,
        end=end,
        measured=straight,
        limit=need,
        cure="trim or turn" if turned else "trim",
    )
