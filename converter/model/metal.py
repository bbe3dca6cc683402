"""Whether a run can exist as metal of a section: what keeps it from being a solid or a mesh, said as findings.

Needs no CAD kernel: the audit and the exporters ask the same question here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import hypot, radians

from converter.errors import GeometryError
from converter.findings import Finding
from converter.model.frames import SHORTEST_STRAIGHT, Piece, closing, pieces, slope
from converter.model.run import Run, Tube
from converter.model.section import Section

#: A closed run that misses itself by more than this (mm) is built open, with two end caps side by side.
CLOSES = 1e-3
#: ... or that arrives with a kink of more than this (degrees).
CLOSES_KINK = 1e-3


class NoMetalError(GeometryError):
    """A run that cannot exist as metal of its section.

    Attributes:
        finding: what says so.
    """

    default_code = "no-solid"

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message, where=finding.tube)
        self.finding = finding


class _ImpossibleMetalError(GeometryError):
    """Why no such metal exists: variant and values of a 'no-solid' finding."""

    def __init__(self, why: str, **values: object) -> None:
        super().__init__(why)
        self.why = why
        self.values = values


@dataclass(frozen=True, slots=True)
class TubeMetal:
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


def metal(run: Run, section: Section) -> TubeMetal:
    """Cut a run into pieces and hold it against its section.

    Sharp corners without a radius are taken as mitres. A closed run whose ends meet within
    `CLOSES` is a ring; otherwise both its ends are cut.

    Raises:
        NoMetalError: no such metal exists; the sentence names the run, the bend and the reason.
    """
    try:
        _check_straights(run)
        found = pieces(run.table, run.placement, run.closed)
        gap, kink, twist = closing(found)
        closed = run.closed and gap <= CLOSES and kink <= CLOSES_KINK
        _check(found, section, closed)
        if closed and section.cylinder is None:
            _check_twist(section, twist)
    except _ImpossibleMetalError as error:
        raise NoMetalError(
            Finding("no-solid", tube=run.name, layer=run.layer, variant=error.why, values=error.values)
        ) from error
    except GeometryError as error:
        values = {"why": error.message}
        raise NoMetalError(
            Finding("no-solid", tube=run.name, layer=run.layer, variant="shape", values=values)
        ) from error
    return TubeMetal(found, closed, gap if closed else 0.0, twist if closed else 0.0)


def surely_possible(run: Run, section: Section) -> bool:
    """Whether it is plain without its frames that a run can exist as metal, with no mitre to be told of.

    False tells nothing: of rings, corners and bends near the tube's own size `metal` has to say.
    """
    if run.closed or not run.table.bends or min(run.table.straights) < 0.0:
        return False
    # no direction across the tube reaches further than half the diagonal
    least = section.outer.half_diagonal + CLOSES
    return all(bend.clr is not None and bend.clr > least for bend in run.table.bends)


def metal_findings(
    tubes: Sequence[Tube], bodies: Callable[[], Sequence[TubeMetal | NoMetalError | None]]
) -> list[Finding]:
    """What is to be told of the solids and meshes of tubes: 'no-solid' findings.

    Of tubes without a section nothing: each has its own 'section-unknown' already; nor of corners that are mitred for
    want of a radius: the audit calls each an error ('corner-no-radius').

    Args:
        tubes: the tubes.
        bodies: of each of them, as of `converter.job.Job.bodies`; only asked where a tube leaves a doubt.
    """
    doubtful = [
        i for i, tube in enumerate(tubes) if tube.section is not None and not surely_possible(tube.run, tube.section)
    ]
    made = (bodies()[i] for i in doubtful)
    return [body.finding for body in made if isinstance(body, NoMetalError)]


def quarters(twist: float) -> int:
    """The nearest number of quarter turns, 0 to 3, to a twist in degrees."""
    return round(twist / 90.0) % 4


def _check_straights(run: Run) -> None:
    last = len(run.table.bends)
    for i, straight in enumerate(run.table.straights):
        if straight < -SHORTEST_STRAIGHT:
            where = "overlap" if i < last else "overlap at the end"
            raise _ImpossibleMetalError(where, number=i + 1, lacking=-straight)


def _check_twist(section: Section, twist: float) -> None:
    off = radians(abs(twist - 90.0 * round(twist / 90.0))) * section.outer.half_diagonal
    if off > CLOSES or (quarters(twist) % 2 and section.lies_two_ways):
        raise _ImpossibleMetalError("twisted", twist=twist)


def _check(found: tuple[Piece, ...], section: Section, closed: bool = False) -> None:
    """Hold a run against its section: can this tube exist as a solid?

    Raises:
        GeometryError: a bend is so tight that the tube would pass through the axis it bends
            about, or two sharp corners are closer than their mitres are long.
    """
    for piece in found:
        if piece.arc is None:
            continue
        inside = section.outer.support(piece.roll)
        if piece.arc.radius <= inside + SHORTEST_STRAIGHT:
            raise _ImpossibleMetalError("tight", number=piece.bend, clr=piece.arc.radius, inside=inside)
    for i, piece in enumerate(found):
        before = found[i - 1].corner if i or closed else None
        if piece.arc is not None or (before is None and piece.corner is None):
            continue
        lean = hypot(*(a + b for a, b in zip(slope(before), slope(piece.corner), strict=True)))
        if piece.length <= lean * section.outer.half_diagonal + SHORTEST_STRAIGHT:
            corner = piece.corner or before
            number = corner[2] if corner else 0
            raise _ImpossibleMetalError("mitre", number=number)
