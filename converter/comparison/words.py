"""A comparison in words: the sentences that the terminal, the picture and the page share."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from converter.comparison.differences import OTHER_ANGLE, Comparison, Excess
from converter.comparison.next_piece import NextStep
from converter.findings.wording import counted, numbers
from converter.units import Display, decimals_telling

#: Heads of the columns of `difference_rows` and of `next_rows`.
DIFFERENCE_HEADS = ("bend", "leg before", "rotation", "angle drawn", "angle made", "off by", "CLR")
NEXT_HEADS = ("bend", "stop", "next", "turned in all", "next", "mark", "next")
_DASH = "-"


def difference_rows(found: Comparison, display: Display) -> list[list[str]]:
    """A row per bend, as of `DIFFERENCE_HEADS`, and one for the tail: made less drawn."""
    rows = [
        [
            str(difference.bend),
            _off(found.legs[difference.bend - 1], display),
            "" if difference.bend == 1 else _degrees_off(difference.rotation),
            f"{difference.drawn.angle:.2f}",
            f"{difference.drawn.angle + difference.angle:.2f}",
            _degrees_off(difference.angle),
            _DASH if difference.clr is None else _off(difference.clr, display),
        ]
        for difference in found.bends
    ]
    return [*rows, ["tail", _off(found.legs[-1], display), "", "", "", "", ""]]


def difference_sentence(display: Display) -> str:
    """What the rows tell, and in which units."""
    unit = "inches" if display.unit == "in" else "millimetres"
    return f"Legs (corner to corner), rotations and CLR: made less drawn; lengths in {unit}, angles in degrees."


def next_rows(steps: Sequence[NextStep], display: Display) -> list[list[str]]:
    """What to set for the next piece, as of `NEXT_HEADS`."""
    return [
        [
            str(step.bend), f"{step.stop:.2f}", _DASH if step.stop_next is None else f"{step.stop_next:.2f}",
            f"{step.turns:.2f}", f"{step.turns_next:.2f}", display.number(step.mark), display.number(step.mark_next),
        ]
        for step in steps
    ]  # fmt: skip


def _off(mm: float, display: Display) -> str:
    """A difference with its sign; none of what shows as nothing."""
    sign = "" if not _shows(mm, display) else "+" if mm > 0.0 else "-"
    return sign + display.number(abs(mm))


def _shows(mm: float, display: Display) -> bool:
    """Whether a difference is more than nothing as it is shown."""
    return display.number(abs(mm)) != display.number(0.0)


def _degrees_off(degrees: float) -> str:
    number = f"{abs(degrees):.2f}"
    return number if number == "0.00" else ("+" if degrees > 0.0 else "-") + number


def miss_sentences(found: Comparison, display: Display) -> list[str]:
    """How far the made tube lies from the drawn one, held at end A and laid on it as well as it goes."""
    fit, length = found.fit, display.length
    lies_on_it = not _shows(fit.most, display)
    end_b = f"{length(found.end_miss)} off" if _shows(found.end_miss, display) else "where it was drawn"
    lines = [
        f"Held at end A, with the first straight and the first bend's plane as drawn, end B is {end_b}.",
        "Laid on the drawn centerline, the made one lies on it all along."
        if lies_on_it
        else f"Laid on the drawn centerline as well as it goes, the made one is {length(fit.most)} off it at most "
        f"({length(fit.at)} from end A along it), and {length(fit.mean)} on the whole (root mean square); its end A is "
        f"then {length(fit.ends[0])} off, its end B {length(fit.ends[1])}.",
        f"Its ends are {_apart_text(found.ends_apart, display)}; its centerline is "
        f"{_longer_text(found.developed, display)}.",
    ]
    if found.from_b:
        lines.append("It had been measured from the other end; here its ends are named as those of the drawing.")
    if found.mirrored:
        lines.append(
            "Its mirror image would fit far better: every turn may have been made the other way, or the left-hand part "
            "compared with the right-hand one. What to set for the next piece is not told until that is cleared up."
        )
    return lines


def _apart_text(mm: float, display: Display) -> str:
    if not _shows(mm, display):
        return "as far apart as drawn"
    return f"{display.length(abs(mm))} {'farther apart' if mm > 0.0 else 'nearer to each other'}"


def _longer_text(mm: float, display: Display) -> str:
    if not _shows(mm, display):
        return "as long as drawn"
    return f"{display.length(abs(mm))} {'longer' if mm > 0.0 else 'shorter'}"


def scale_text(times: int, found: Comparison, display: Display) -> str:
    """How large a picture draws the miss, in words."""
    if not _shows(found.fit.most, display):
        return "which lies on it"
    return f"its miss drawn {times} times larger" if times > 1 else "to the same scale"


def verdict_text(found: Comparison) -> str:
    """Whether it is within limits, and which."""
    if found.limits is None:
        return "Nothing is judged: add [tolerance] to the shop file, or name published limits with --tolerance."
    count, by = len(found.excesses), found.limits.source
    if count == 0:
        return f"Everything is within limits: {by}."
    return f"Off by more than the limits allow ({by}), in {counted(count, 'place')}:"


def excess_text(excess: Excess, display: Display) -> str:
    """One thing that is off: ``the angle of bend 2 by +1.20°, where 0.50° may be``."""
    is_length = excess.what in ("leg", "ends")
    size, most = abs(excess.off), excess.limit
    if is_length:
        telling = display.telling(size, most)
        off, limit = telling.length(size), telling.length(most)
    else:
        places = decimals_telling(size, most, 2)
        off, limit = f"{size:.{places}f}°", f"{most:.{places}f}°"
    what = {
        "leg": f"leg {excess.bend}",
        "rotation": f"the rotation before bend {excess.bend}",
        "angle": f"the angle of bend {excess.bend}",
        "ends": "the distance between the ends",
    }[excess.what]
    return f"{what}: {off} too {'much' if excess.off > 0.0 else 'little'}, where {limit} may be"


def refused_sentences(refused: Collection[int]) -> list[str]:
    """Of bends that have no settings for the next piece, since they are not to be made as drawn."""
    if not refused:
        return []
    one = len(refused) == 1
    return [
        f"Bend{'' if one else 's'} {numbers(sorted(refused))} {'is' if one else 'are'} not to be made as drawn, so "
        "there are no settings: `elbowroom audit` says why."
    ]


def next_sentences(feed_from: str, steps: Sequence[NextStep] = ()) -> list[str]:
    """What the corrected set-up counts on.

    Args:
        feed_from: the end that goes first.
        steps: of the set-up; those whose angle is so far off that it may be another bend's are named.
    """
    far = sorted(step.bend for step in steps if step.stop_next is None or abs(step.stop_next - step.stop) > OTHER_ANGLE)
    which = f"Bend{'' if len(far) == 1 else 's'} {numbers(far)} came out"
    return [
        *([f"{which} so far off that what was measured may be of another bend: see to that first."] if far else []),
        f"Marks are measured from end {feed_from}, which goes first. Turns are the tube's, all since the first bend: "
        f"plus is clockwise, seen from end {feed_from} toward the other. Stops move by the springback law of the die; "
        "turns and marks take back what was off.",
        "This takes all of a difference for the setting's own: make sure of the measuring first, and bend one piece "
        "before the rest.",
    ]
