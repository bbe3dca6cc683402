"""A comparison in words: the sentences that the terminal, the picture and the page share."""

from __future__ import annotations

from converter.comparison.differences import Comparison, Excess
from converter.units import Display


def miss_sentences(found: Comparison, display: Display) -> list[str]:
    """How far the made tube lies from the drawn one, held at end A and laid on it as well as it goes."""
    fit = found.fit
    longer = "longer" if found.developed >= 0.0 else "shorter"
    apart = "farther apart" if found.ends_apart >= 0.0 else "nearer to each other"
    lines = [
        f"Held at end A, with the first straight and the first bend's plane as drawn, end B is "
        f"{display.length(found.end_miss)} off.",
        f"Laid on the drawn centerline as well as it goes, the made one is {display.length(fit.most)} off at most "
        f"({display.length(fit.at)} from end A along it), "
        f"and {display.length(fit.mean)} on the whole (root mean square).",
        f"Its ends are {display.length(abs(found.ends_apart))} {apart}; its centerline is "
        f"{display.length(abs(found.developed))} {longer}.",
    ]
    if found.from_b:
        lines.append("It had been measured from the other end; here its ends are named as those of the drawing.")
    if found.mirrored:
        lines.append(
            "Its mirror image would fit far better: every turn may have been made the other way, or the left-hand part "
            "compared with the right-hand one."
        )
    return lines


def verdict_text(found: Comparison) -> str:
    """Whether it is within limits, and which."""
    if found.limits is None:
        return "Nothing is judged: add [tolerance] to the shop file, or name published limits with --tolerance."
    count, by = len(found.excesses), found.limits.source
    if count == 0:
        return f"Everything is within limits: {by}."
    return f"Off by more than the limits allow ({by}), in {count} place{'' if count == 1 else 's'}:"


def excess_text(excess: Excess, display: Display) -> str:
    """One thing that is off: ``the angle of bend 2 by +1.20°, where 0.50° may be``."""
    is_length = excess.what in ("leg", "ends")
    off, limit = (
        (display.length(abs(excess.off)), display.length(excess.limit))
        if is_length
        else (f"{abs(excess.off):.2f}°", f"{excess.limit:.2f}°")
    )
    what = {
        "leg": f"leg {excess.bend}",
        "rotation": f"the rotation before bend {excess.bend}",
        "angle": f"the angle of bend {excess.bend}",
        "ends": "the distance between the ends",
    }[excess.what]
    return f"{what}: {off} too {'much' if excess.off > 0.0 else 'little'}, where {limit} may be"


def next_sentences(feed_from: str) -> list[str]:
    """What the corrected set-up counts on."""
    return [
        f"Marks are measured from end {feed_from}, which goes first. Stops move by the springback law of the die; "
        "turns and marks take back what was off.",
        "This takes all of a difference for the setting's own: make sure of the measuring first, and bend one piece "
        "before the rest.",
    ]
