"""Checks of section, radius and angle against the dies: is there a die, does it make this bend, turn so far?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from converter.audit.registry import check
from converter.audit.subject import Subject
from converter.findings import Clause, Finding
from converter.shop.assign import EQUAL, nearest_die, span
from converter.shop.model import Die
from converter.tolerances import AS_BENDS_GO, PAST_ANGLE, same_within


@check
def has_section(subject: Subject) -> Iterator[Finding]:
    """A tube with bends has a section."""
    if subject.tube.section is None and subject.bends:
        if subject.die is None:
            yield subject.finding("section-unknown")
        else:
            yield subject.finding("section-unknown", variant="die", values={"die": subject.die.name})


@check
def die_exists(subject: Subject) -> Iterator[Finding]:
    """The shop has a die for the section (as it lies in each bend)."""
    section = subject.tube.section
    if section is None or not subject.bends or all(subject.dies):
        return
    if ("no-die", None) in subject.reported:
        return
    near = sorted(subject.bench.shop.dies, key=lambda die: (die.unlike(section), abs(die.size - section.od)))
    grooves = tuple(dict.fromkeys(Clause.of("groove-of-die", sizes=die.sizes, shape=die.shape) for die in near))[:3]
    lying = next(i for i, dies in enumerate(subject.dies) if not dies) if any(subject.dies) else None
    yield subject.finding(
        "no-die",
        lying,
        {
            "section": section,
            "nearest": Clause.of("nearest-grooves", grooves=grooves) if grooves else Clause.of("no-dies"),
        },
        variant="" if lying is None else "as it lies",
        measured=section.od,
        limit=near[0].size if near else None,
    )


@check
def radius_has_die(subject: Subject) -> Iterable[Finding]:
    """A die makes the radius of each bend."""
    for i, maker in enumerate(subject.makers):
        bend = subject.bends[i]
        if bend.clr is None:
            if bend.corner:  # a kink beside an arc has its own finding
                yield _corner(subject, i)
        elif maker is None:
            if subject.dies[i]:
                yield _no_die_finding(subject, i, bend.clr, subject.dies[i])
        elif abs(maker.clr - bend.clr) > EQUAL:
            yield subject.finding(
                "radius-approximate",
                i,
                {"radius": _radius(subject, i), "nearest": _die(maker), "clr": maker.clr},
                measured=bend.clr,
                limit=maker.clr,
            )


@check
def angle_reached(subject: Subject) -> Iterator[Finding]:
    """The die and the machine turn as far as the bend does."""
    shop = subject.bench.shop
    for i, bend in enumerate(subject.bends):
        die = subject.die_at(i)
        of_die = None if die is None else die.max_angle
        of_machine = shop.machine.max_angle
        if (of_die is None or bend.angle <= of_die + PAST_ANGLE) and (
            of_machine is None or bend.angle <= of_machine + PAST_ANGLE
        ):
            continue
        limit = shop.greatest_angle(die)
        by_die = die is not None and limit == of_die
        limited_by = Clause.of("limit-of-die", name=die.name) if die and by_die else Clause.of("limit-of-machine")
        yield subject.finding(
            "angle-too-great",
            i,
            {"angle": bend.angle, "limited_by": limited_by, "most": limit or 0.0},
            measured=bend.angle,
            limit=limit,
            unit="deg",
        )


def _corner(subject: Subject, i: int) -> Finding:
    why = "no section" if subject.tube.section is None else "no die"
    angle = subject.bends[i].angle
    return subject.finding(
        "corner-no-radius",
        i,
        {"angle": angle},
        variant="" if subject.dies[i] else why,
        measured=angle,
        unit="deg",
    )


def _no_die_finding(subject: Subject, i: int, clr: float, dies: tuple[Die, ...]) -> Finding:
    """The finding for a radius that no die makes for sure."""
    low, high = span(subject.bends[i]) or (clr, clr)
    nearest = nearest_die(clr, dies)
    cure, refitted = subject.refit_cure
    taken = subject.die_at(i)
    values = {"radius": _radius(subject, i), "nearest": _die(nearest), **refitted}
    if taken is not None:
        values["taken"] = _die(taken)
    if any(low <= die.clr <= high for die in dies):
        code = "radius-uncertain"
    elif high < dies[0].clr:
        code = "radius-too-tight"
        values |= {"section": subject.section_words, "off": dies[0].clr - clr}
    elif low > dies[-1].clr:
        code = "radius-too-wide"
        values |= {"section": subject.section_words, "off": clr - dies[-1].clr}
    else:
        code = "radius-between-dies"
        values["below"] = _die(max((die for die in dies if die.clr < clr), key=lambda die: die.clr))
        values["above"] = _die(min((die for die in dies if die.clr > clr), key=lambda die: die.clr))
    is_near = code != "radius-uncertain" and cure == "refit" and subject.refit_moves <= same_within(AS_BENDS_GO)
    if is_near:
        cure = ""
    return subject.finding(
        code, i, values, variant="near" if is_near else "", measured=clr, limit=nearest.clr, cure=cure
    )


def _die(die: Die) -> Clause:
    return Clause.of("die-of-radius", die=die.name, clr=die.clr)


def _radius(subject: Subject, i: int) -> Clause:
    """The radius of a bend, with its uncertainty where it was fitted."""
    bend = subject.bends[i]
    if bend.clr_uncertainty > EQUAL:
        return Clause.of("fitted-radius", clr=bend.clr or 0.0, within=bend.clr_uncertainty)
    return Clause.of("drawn-radius", clr=bend.clr or 0.0)
