"""Whether a run can exist as metal of a section: what keeps it from being a solid or a mesh, said as findings.

Needs no CAD kernel: the audit and the exporters ask the same question here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import cos, hypot, radians, sin

from converter.errors import GeometryError
from converter.findings import Finding
from converter.model.frames import NOTHING, Piece, closing, pieces, slope
from converter.model.run import Run, Tube
from converter.model.section import Section

#: A closed run that misses itself by more than this (mm) is built open, with two end caps side by side.
CLOSES = 1e-3
#: ... or that arrives with a kink of more than this (degrees).
CLOSES_KINK = 1e-3


@dataclass(frozen=True, slots=True)
class Metal:
    """A run cut into pieces and found to be possible in its section.

    Attributes:
        pieces: straights and bends with their frames.
        closed: the last piece ends on the first one's start: no end caps.
        gap: how far it misses that, mm (closed only).
        twist: degrees by which the section arrives turned (closed only).
    """

    pieces: tuple[Piece, ...]
    closed: bool
    gap: float
    twist: float


def metal(run: Run, section: Section) -> Metal:
    """Cut a run into pieces and hold it against its section.

    Sharp corners without a radius are taken as mitres. A closed run whose ends meet within
    `CLOSES` is a ring; otherwise both its ends are cut.

    Raises:
        GeometryError: no such metal exists; the sentence names the run, the bend and the reason.
    """
    try:
        found = pieces(run.table, run.placement, run.closed)
        gap, kink, twist = closing(found)
        closed = run.closed and gap <= CLOSES and kink <= CLOSES_KINK
        _check(found, section, closed)
        if closed and not section.is_round:
            _check_twist(section, twist)
    except GeometryError as error:
        raise GeometryError(
            f"Tube {run.name!r} has no solid: {error.message}.", code="no-solid", where=run.name
        ) from error
    return Metal(found, closed, gap if closed else 0.0, twist if closed else 0.0)


def metal_findings(tubes: Iterable[Tube]) -> list[Finding]:
    """What is said about solids and meshes before they are written: 'no-solid' and 'mitred-corner' findings.

    Tubes without a section are said in one finding: each has its own 'section-unknown' already.
    """
    found: list[Finding] = []
    bare: list[Tube] = []
    for tube in tubes:
        if tube.section is None:
            bare.append(tube)
            continue
        try:
            made = metal(tube.run, tube.section)
        except GeometryError as error:
            found.append(
                Finding(
                    "no-solid",
                    error.message,
                    tube=tube.name,
                    layer=tube.run.layer,
                    cure="Give the bend a larger radius, or the tube a smaller section.",
                )
            )
            continue
        found += [_mitred(tube, piece.corner[2]) for piece in made.pieces if piece.corner is not None]
    if bare:
        many = len(bare) > 1
        found.append(
            Finding(
                "no-solid",
                f"{len(bare)} tubes have no known section, so no solids of them are written."
                if many
                else f"Tube {bare[0].name!r} has no known section, so no solid of it is written.",
                tube=None if many else bare[0].name,
                layer=None if many else bare[0].run.layer,
                cure="Name the section: as an option, in a job file, or in the layer's name.",
            )
        )
    return found


def _mitred(tube: Tube, bend: int) -> Finding:
    return Finding(
        "mitred-corner",
        f"Tube {tube.name!r} has no radius at bend {bend}, so its solid is mitred there; it cannot be bent so.",
        tube=tube.name,
        bend=bend,
        layer=tube.run.layer,
        cure="Give the corner a radius: a die in the shop file, or an option.",
    )


def quarters(twist: float) -> int:
    """The nearest number of quarter turns, 0 to 3, to a twist in degrees."""
    return round(twist / 90.0) % 4


def _check_twist(section: Section, twist: float) -> None:
    off = radians(abs(twist - 90.0 * round(twist / 90.0))) * hypot(section.od, section.height) / 2.0
    if off > CLOSES or (quarters(twist) % 2 and section.od != section.height):
        raise GeometryError(f"the loop brings the section back turned by {twist:.2f} degrees, so it cannot meet itself")


def reach(section: Section, roll: float) -> float:
    """How far the section reaches from its centre toward the angle ``roll`` (degrees from ``up``), in mm."""
    if section.is_round:
        return section.od / 2.0
    a, c = radians(roll), section.corner
    return (section.height / 2.0 - c) * abs(cos(a)) + (section.od / 2.0 - c) * abs(sin(a)) + c


def _check(found: tuple[Piece, ...], section: Section, closed: bool = False) -> None:
    """Hold a run against its section: can this tube exist as a solid?

    Raises:
        GeometryError: a bend is so tight that the tube would pass through the axis it bends
            about, or two sharp corners are closer than their mitres are long.
    """
    for piece in found:
        if piece.arc is None:
            continue
        inside = reach(section, piece.roll)
        if piece.arc.radius <= inside + NOTHING:
            raise GeometryError(
                f"bend {piece.bend} has a centerline radius of {piece.arc.radius:.2f} mm, "
                f"not more than the {inside:.2f} mm from the tube's centre to its inside"
            )
    for i, piece in enumerate(found):
        before = found[i - 1].corner if i or closed else None
        if piece.arc is not None or (before is None and piece.corner is None):
            continue
        lean = hypot(*(a + b for a, b in zip(slope(before), slope(piece.corner), strict=True)))
        half = section.od / 2.0 if section.is_round else hypot(section.od, section.height) / 2.0
        if piece.length <= lean * half + NOTHING:
            corner = piece.corner or before
            number = corner[2] if corner else 0
            raise GeometryError(f"the straight at the sharp corner of bend {number} is too short for its mitre")
