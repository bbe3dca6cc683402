"""Checks of section and radius against the dies: is there a die, and does it make this bend?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from converter.audit.registry import check
from converter.audit.subject import Subject
from converter.findings import Finding
from converter.model.run import Run
from converter.shop.model import Die
from converter.shop.radius import EQUAL, span


@check
def section_known(subject: Subject) -> Iterator[Finding]:
    """A tube with bends has a section."""
    if subject.tube.section is None and subject.bends:
        fit = f"whether the die {subject.die.name!r} takes it" if subject.die else "the dies"
        yield subject.finding(
            "section-unknown",
            f"no section is known, so {fit} cannot be checked",
            cure="Name the section: as an option, in a job file, or in the layer's name.",
        )


@check
def die_exists(subject: Subject) -> Iterator[Finding]:
    """The shop has a die for the section (as it lies in each bend)."""
    section = subject.tube.section
    if section is None or not subject.bends or all(subject.dies):
        return
    if ("no-die", None) in subject.said:
        return
    display = subject.bench.display
    near = sorted(subject.bench.shop.dies, key=lambda die: (die.unlike(section), abs(die.size - section.od)))
    grooves = list(dict.fromkeys(die.groove(display) for die in near))[:3]
    have = f"its nearest take {', '.join(grooves)}" if grooves else "it has no dies at all"
    first = next(i for i, dies in enumerate(subject.dies) if not dies)
    lying = "" if not any(subject.dies) else f" as it lies in bend {first + 1}"
    yield subject.finding(
        "no-die",
        f"the shop has no die for {subject.section_words}{lying}; {have}",
        first if lying else None,
        measured=section.od,
        limit=near[0].size if near else None,
        cure="Choose a size the shop has a die for, or add the die to the shop file.",
    )


@check
def radius_made(subject: Subject) -> Iterable[Finding]:
    """A die makes the radius of each bend."""
    for i, maker in enumerate(subject.makers):
        bend = subject.bends[i]
        if bend.clr is None:
            if bend.corner:  # a kink beside an arc has its own finding
                yield _corner(subject, i)
        elif maker is None:
            if subject.dies[i]:
                yield _not_made(subject, i, bend.clr, subject.dies[i])
        elif abs(maker.clr - bend.clr) > EQUAL:
            yield subject.finding(
                "radius-approximate",
                f"the fitted radius of bend {i + 1}, {_known(subject, i)}, agrees with the die {maker.name!r} "
                f"({subject.length(maker.clr)})",
                i,
                measured=bend.clr,
                limit=maker.clr,
                cure=f"Refit to put it on {subject.length(maker.clr)} exactly.",
            )


def _corner(subject: Subject, i: int) -> Finding:
    why = "no section is known" if subject.tube.section is None else "no die takes its section"
    return subject.finding(
        "corner-no-radius",
        f"bend {i + 1} is a sharp corner of {subject.angle(subject.bends[i].angle)} that nothing gives a radius"
        + ("" if subject.dies[i] else f" ({why})"),
        i,
        measured=subject.bends[i].angle,
        unit="deg",
        cure="Give it a radius (--clr), or a section that one of the shop's dies takes.",
    )


def _not_made(subject: Subject, i: int, clr: float, dies: tuple[Die, ...]) -> Finding:
    """The finding for a radius that no die makes for sure."""
    low, high = span(subject.bends[i]) or (clr, clr)
    nearest = min(dies, key=lambda die: abs(die.clr - clr))
    radius = f"bend {i + 1} has a centerline radius of {_known(subject, i)}"
    if any(low <= die.clr <= high for die in dies):
        return subject.finding(
            "radius-uncertain",
            f"the radius of bend {i + 1}, {_known(subject, i)}, is too loosely known to tell whether "
            f"{_named(subject, nearest)} makes it",
            i,
            measured=clr,
            limit=nearest.clr,
            cure=_refit_words(subject, nearest),
        )
    if high < dies[0].clr:
        code = "radius-too-tight"
        text = (
            f"{radius}; the tightest die for {subject.section_words} is {_named(subject, dies[0])}, so it is "
            f"{subject.length(dies[0].clr - clr)} too tight"
        )
    elif low > dies[-1].clr:
        code = "radius-too-wide"
        text = (
            f"{radius}; the widest die for {subject.section_words} is {_named(subject, dies[-1])}, "
            f"{subject.length(clr - dies[-1].clr)} less"
        )
    else:
        below = max((die for die in dies if die.clr < clr), key=lambda die: die.clr)
        above = min((die for die in dies if die.clr > clr), key=lambda die: die.clr)
        code = "radius-between-dies"
        text = f"{radius}, between {_named(subject, below)} and {_named(subject, above)}; no die makes it"
    return subject.finding(code, text, i, measured=clr, limit=nearest.clr, cure=_refit_words(subject, nearest))


def _named(subject: Subject, die: Die) -> str:
    return f"{die.name!r} ({subject.length(die.clr)})"


def _known(subject: Subject, i: int) -> str:
    """The radius of a bend, with its uncertainty where it was fitted."""
    bend = subject.bends[i]
    shown = subject.length(bend.clr or 0.0)
    return f"{shown} (within {subject.length(bend.clr_uncertainty)})" if bend.clr_uncertainty > EQUAL else shown


def _refit_words(subject: Subject, die: Die) -> str:
    """What refitting the tube to a die would do."""
    run, moved = subject.refit(die)
    short = _shortest(run)
    if short is not None:
        where, length = short
        return (
            f"Refitting to {_named(subject, die)} leaves {subject.length(length)} of straight {where}: "
            "move the corners apart, or get a tighter die."
        )
    return f"Refit to {_named(subject, die)}: the centerline moves by up to {subject.length(moved)}."


def _shortest(run: Run) -> tuple[str, float] | None:
    """Where the most negative straight of a run is, and its length in mm; None when there is none."""
    straights = run.table.straights
    least = min(straights)
    if least >= -1e-6:
        return None
    at = straights.index(least)
    return ("at end B" if at == len(straights) - 1 else f"before bend {at + 1}"), least
