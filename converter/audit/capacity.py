"""Checks of what a bend asks of the machine, the die's limits and the metal."""

from __future__ import annotations

from collections.abc import Iterator

from converter.audit.registry import check
from converter.audit.subject import Subject
from converter.bending.metal.capacity import (
    outside_left,
    outside_left_shared,
    outside_strain,
    plastic_moment,
    wall_factor,
)
from converter.findings import NOTE, Clause, Finding
from converter.model.section import Section
from converter.shop.model import Die
from converter.tolerances import PAST_LENGTH, PAST_SHARE

#: Part of the wall; a radius of 2 D loses a fifth, and clearly more is unusual. Common practice, no source.
MOST_LOST = 0.21
#: Times the elongation; elongation is measured over 2 in of a bar that necks, so a bend goes somewhat further
#: before it cracks. Up to this a high strain is a note, above it a warning. Common practice, no source.
CRACKS = 1.5


@check
def machine_strong_enough(subject: Subject) -> Iterator[Finding]:
    """The plastic moment of each bend is within what the machine is proven to bend."""
    section, shop = subject.tube.section, subject.bench.shop
    if section is None or not subject.bends:
        return
    proof = subject.bench.proof
    if proof is None:
        if subject.tube.metal is not None and subject.bench.first("capacity-unknown"):
            yield Finding("capacity-unknown", variant="not proven")
        return
    metal = subject.bench.metal(subject.tube.metal)
    if metal is None or metal.yield_mpa is None:
        if not shop.is_demo and subject.bench.first("capacity-unknown"):
            if metal is None:
                yield Finding("capacity-unknown", variant="no metal", values={"name": subject.name})
            else:
                of = {"name": subject.name, "metal": subject.tube.metal}
                yield Finding("capacity-unknown", variant="no yield", values=of)
        return
    index, turned = _hardest(subject, section)
    moment = plastic_moment(section, metal.yield_mpa, turned)
    values: dict[str, object] = {
        "section": section,
        "metal": subject.tube.metal,
        "proven_section": proof.section,
        "proven_metal": proof.metal.name,
    }
    if moment > proof.at_yield * (1.0 + PAST_SHARE):
        yield subject.finding(
            "over-capacity",
            index,
            {**values, "moment": moment, "most": proof.at_yield},
            measured=moment,
            limit=proof.at_yield,
            unit="N*m",
        )
        return
    if metal.tensile_mpa is None or proof.at_tensile is None:
        return
    hardened = plastic_moment(section, metal.tensile_mpa, turned)
    if hardened > proof.at_tensile * (1.0 + PAST_SHARE):
        yield subject.finding(
            "near-capacity",
            index,
            {**values, "moment": hardened, "most": proof.at_tensile},
            measured=hardened,
            limit=proof.at_tensile,
            unit="N*m",
        )


def _hardest(subject: Subject, section: Section) -> tuple[int | None, bool]:
    """The bend in which the section is stiffest (None where all are alike), and whether it lies turned there."""
    if not section.lies_two_ways:
        return None, False
    turned = subject.turned
    wanted = section.od > section.height
    return (turned.index(wanted), wanted) if wanted in turned else (0, turned[0])


@check
def die_limits(subject: Subject) -> Iterator[Finding]:
    """Wall factor and D of bend are within the limits that the die's owner gave it."""
    section = subject.tube.section
    if section is None:
        return
    factor = wall_factor(section)
    seen: set[tuple[str, str]] = set()
    for i, bend in enumerate(subject.bends):
        die = subject.die_at(i)
        if die is None:
            continue
        most, least = die.max_wall_factor, die.min_d_of_bend
        if (
            most is not None
            and factor is not None
            and factor > most * (1.0 + PAST_SHARE)
            and ("wall", die.name) not in seen
        ):
            seen.add(("wall", die.name))
            yield subject.finding(
                "wall-factor",
                i,
                {
                    "section": section,
                    "factor": factor,
                    "die": die.name,
                    "most": most,
                    "mandrel": _mandrel(die),
                    "wall": section.greater / most,
                },
                measured=factor,
                limit=most,
                unit=None,
                cure="thicker" if die.mandrel else "thicker or mandrel",
            )
        if bend.clr is not None and subject.makers[i] is None:
            continue  # no die makes it, which is said elsewhere
        size = section.depth(subject.turned[i])
        ratio = die.clr / size
        key = ("bend", f"{die.name}/{ratio:.6f}")
        if least is not None and ratio < least * (1.0 - PAST_SHARE) and key not in seen:
            seen.add(key)
            yield subject.finding(
                "d-of-bend",
                i,
                {"ratio": ratio, "die": die.name, "least": least, "mandrel": _mandrel(die), "clr": least * size},
                measured=ratio,
                limit=least,
                unit=None,
                cure="wider" if die.mandrel else "wider or mandrel",
            )


def _mandrel(die: Die) -> Clause:
    return Clause.of("with-mandrel" if die.mandrel else "without-mandrel")


@check
def wall_and_strain(subject: Subject) -> Iterator[Finding]:
    """The wall outside no bend thins unusually, nor stretches past the metal's elongation."""
    section = subject.tube.section
    if section is None:
        return
    metal = subject.bench.metal(subject.tube.metal)
    for i, lies in enumerate(subject.turned):
        size, die = section.depth(lies), subject.makers[i]
        if die is None or die.clr <= size / 2.0 + PAST_LENGTH:  # what no die makes is said elsewhere
            continue
        ratio, lost = die.clr / size, 1.0 - outside_left(size, die.clr)
        if section.bore is not None and lost > MOST_LOST * (1.0 + PAST_SHARE):
            shared = 1.0 - outside_left_shared(size, die.clr)
            yield subject.finding(
                "thinning",
                i,
                {
                    "ratio": ratio,
                    "least": 100.0 * shared,
                    "most": 100.0 * lost,
                    "left": section.wall * (1.0 - lost),
                },
                measured=lost,
                limit=MOST_LOST,
                unit=None,
            )
        if metal is None or metal.elongation is None:
            continue
        strain = 100.0 * outside_strain(size, die.clr)
        if strain > metal.elongation * (1.0 + PAST_SHARE):
            cracks = strain > CRACKS * metal.elongation * (1.0 + PAST_SHARE)
            yield subject.finding(
                "strain-high",
                i,
                {"ratio": ratio, "strain": strain, "metal": subject.tube.metal, "elongation": metal.elongation},
                measured=strain,
                limit=metal.elongation,
                unit="%",
                severity="" if cracks else NOTE,
            )
