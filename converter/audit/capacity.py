"""Checks of what a bend asks of the machine, the die's limits and the metal."""

from __future__ import annotations

from collections.abc import Iterator

from converter.audit.registry import check
from converter.audit.subject import Subject
from converter.bending.capacity import moment_text, plastic_moment, proven, wall_factor
from converter.bending.thinning import outside_left, outside_left_shared, outside_strain
from converter.findings import NOTE, Finding
from converter.model.section import Section
from converter.shop.metals import find_metal
from converter.shop.sections import describe

#: Part of a limit; numbers this close are equal (sizes written in inches and in mm).
SLACK = 1e-3
#: Part of the wall; a radius of 2 D loses a fifth, and clearly more is unusual. Common practice, no source.
MOST_LOST = 0.21
#: Times the elongation; elongation is measured over 2 in of a bar that necks, so a bend goes somewhat further
#: before it cracks. Up to this a high strain is a note, above it a warning. Common practice, no source.
CRACKS = 1.5


@check
def machine_strong_enough(subject: Subject) -> Iterator[Finding]:
    """The plastic moment of each bend is within what the machine is proven to bend."""
    section, shop, display = subject.tube.section, subject.bench.shop, subject.bench.display
    if section is None or not subject.bends:
        return
    proof = proven(shop)
    if proof is None:
        if subject.tube.metal is not None and subject.bench.first("capacity-unknown"):
            yield _unknown("the shop file does not say what the machine is proven to bend", "proven_section")
        return
    metal = find_metal(subject.tube.metal, shop.metals)
    if metal is None or metal.yield_mpa is None:
        if not shop.is_demo and subject.bench.first("capacity-unknown"):
            what = "no metal is named" if metal is None else f"the yield strength of {metal.name!r} is not known"
            yield _unknown(f"{what} for {subject.name}", "metal")
        return
    index, turned = _hardest(subject, section)
    moment = plastic_moment(section, metal.yield_mpa, turned)
    known = f"({describe(proof.section, display)} of {proof.metal.name})"
    if moment > proof.at_yield * (1.0 + SLACK):
        yield subject.finding(
            "over-capacity",
            f"bending {describe(section, display)} of {metal.name} takes {moment_text(moment, display)}; the machine "
            f"is proven to {moment_text(proof.at_yield, display)} {known}",
            index,
            measured=moment,
            limit=proof.at_yield,
            unit="N*m",
            cure="Use a lighter section, a softer metal or a stronger machine.",
        )
        return
    if metal.tensile_mpa is None or proof.at_tensile is None:
        return
    hardened = plastic_moment(section, metal.tensile_mpa, turned)
    if hardened > proof.at_tensile * (1.0 + SLACK):
        yield subject.finding(
            "near-capacity",
            f"{describe(section, display)} of {metal.name} may take up to {moment_text(hardened, display)} as it "
            f"hardens; what the machine is proven on takes up to {moment_text(proof.at_tensile, display)} {known}",
            index,
            measured=hardened,
            limit=proof.at_tensile,
            unit="N*m",
            cure="Try one bend on an offcut first.",
        )


def _unknown(why: str, key: str) -> Finding:
    cure = (
        "Name the metal in the job file or with --metal."
        if key == "metal"
        else "Give proven_section and proven_metal under [machine]."
    )
    return Finding("capacity-unknown", f"The machine's capacity was not checked: {why}.", cure=cure)


def _hardest(subject: Subject, section: Section) -> tuple[int | None, bool]:
    """The bend in which a rectangle is stiffest (None where all are alike), and whether it lies turned there."""
    if section.shape != "rectangular":
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
        how = "with its mandrel" if die.mandrel else "without a mandrel"
        most, least = die.max_wall_factor, die.min_d_of_bend
        if most is not None and factor is not None and factor > most * (1.0 + SLACK) and ("wall", die.name) not in seen:
            seen.add(("wall", die.name))
            thick = max(section.od, section.height) / most
            yield subject.finding(
                "wall-factor",
                f"{subject.section_words} has a wall factor of {factor:.1f}; the die {die.name!r} takes up to "
                f"{most:g} {how}",
                i,
                measured=factor,
                limit=most,
                unit=None,
                cure=f"Take a wall of {subject.length(thick)} or more"
                + ("." if die.mandrel else ", or bend it over a mandrel."),
            )
        if bend.clr is not None and subject.makers[i] is None:
            continue  # no die makes it, which is said elsewhere
        size = section.od if subject.turned[i] else section.height
        ratio = die.clr / size
        key = ("bend", f"{die.name}/{ratio:.6f}")
        if least is not None and ratio < least * (1.0 - SLACK) and key not in seen:
            seen.add(key)
            yield subject.finding(
                "d-of-bend",
                f"bend {i + 1} has a centerline radius of {ratio:.2f} times its tube; the die {die.name!r} makes "
                f"{least:g} or more {how}",
                i,
                measured=ratio,
                limit=least,
                unit=None,
                cure=f"Use a radius of {subject.length(least * size)} or more"
                + ("." if die.mandrel else ", or bend it over a mandrel."),
            )


@check
def wall_and_strain(subject: Subject) -> Iterator[Finding]:
    """The wall outside the tightest bend does not thin unusually, nor stretch past the metal's elongation."""
    section = subject.tube.section
    if section is None:
        return
    tight = _tightest(subject, section)
    if tight is None:
        return
    i, size, clr = tight
    lost = 1.0 - outside_left(size, clr)
    if section.shape != "bar" and lost > MOST_LOST * (1.0 + SLACK):
        shared = 1.0 - outside_left_shared(size, clr)
        yield subject.finding(
            "thinning",
            f"the wall outside bend {i + 1} ({clr / size:.2f} D) thins by {100.0 * shared:.0f} to {100.0 * lost:.0f} "
            f"%, to {subject.length(section.wall * (1.0 - lost))} at the least",
            i,
            measured=lost,
            limit=MOST_LOST,
            unit=None,
            cure="Use a wider radius, or a thicker wall where that matters.",
        )
    metal = find_metal(subject.tube.metal, subject.bench.shop.metals)
    if metal is None or metal.elongation is None:
        return
    strain = 100.0 * outside_strain(size, clr)
    if strain > metal.elongation * (1.0 + SLACK):
        cracks = strain > CRACKS * metal.elongation * (1.0 + SLACK)
        yield subject.finding(
            "strain-high",
            f"the outside of bend {i + 1} ({clr / size:.2f} D) stretches by {strain:.1f} %; {metal.name} breaks at "
            f"{metal.elongation:g} % over a gauge length",
            i,
            measured=strain,
            limit=metal.elongation,
            unit="%",
            severity="" if cracks else NOTE,
            cure="Use a wider radius or a softer metal, or make a test bend and look for cracks.",
        )


def _tightest(subject: Subject, section: Section) -> tuple[int, float, float] | None:
    """Index, size in the bend's plane and radius of the bend of least radius over size among those that a die makes."""
    found: tuple[int, float, float] | None = None
    for i, lies in enumerate(subject.turned):
        size = section.od if lies else section.height
        die = subject.makers[i]
        if die is None or die.clr <= size / 2.0:  # what no die makes is said elsewhere
            continue
        clr = die.clr
        if found is None or clr / size < found[2] / found[1] - 1e-9:
            found = (i, size, clr)
    return found
