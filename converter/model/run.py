"""A run (one continuous tube centerline) and a tube (a run with a section and a die)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from converter.errors import GeometryError
from converter.findings import Finding
from converter.geometry.vectors import Vec
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild, reverse_table, walk
from converter.model.curve import Segment
from converter.model.drawing import DrawnEnd
from converter.model.section import Section


@dataclass(frozen=True)
class Run:
    """One continuous centerline, reduced.

    Attributes:
        name: unique within the job.
        layer: the layer it was (mostly) drawn on, or None.
        closed: whether its ends meet.
        table: the bend table from end A.
        placement: where end A stands.
        deviation: largest distance in mm between the drawn curves and ``centerline``.
        handles: entity handles it was drawn by, in order.
        section: the section, when the file itself gives one (a ready table), else None.
        findings: what the reducer said about this run.
        metal: how far the metal reaches past the centerline's ends A and B in mm, when the file holds a solid or shows
            its outline.
        drawn_ends: ends A and B as its outline shows them, where that is not square; else None.
        placed: whether the file says where it stands; a bare bend table does not, and starts at the origin.
        end_point: centerline point at end B where the reducer knows it already; else it is walked to.
        drawn_as: name of the run that it was drawn in, when that was taken apart at its sharp corners; else None.
    """

    name: str
    layer: str | None
    closed: bool
    table: BendTable
    placement: Placement
    deviation: float = 0.0
    handles: tuple[str, ...] = ()
    section: Section | None = None
    findings: tuple[Finding, ...] = ()
    end_point: Vec | None = None
    metal: tuple[float, float] | None = None
    drawn_ends: tuple[DrawnEnd | None, DrawnEnd | None] = (None, None)
    placed: bool = True
    drawn_as: str | None = None

    @property
    def start(self) -> Vec:
        """Centerline point at end A."""
        return self.placement.start

    @cached_property
    def end(self) -> Vec:
        """Centerline point at end B."""
        return self.end_point if self.end_point is not None else walk(self.table, self.placement)[1].start

    @property
    def is_free_curve(self) -> bool:
        """Whether bends of it stand for a curve that is not made of straights and arcs: no tube of bends as drawn."""
        return any(finding.code == "not-line-arc" for finding in self.findings)

    @property
    def free_stretches(self) -> tuple[tuple[int, int], ...]:
        """First and last number of the bends that stand for each of its free curves."""
        numbers = [
            (finding.bend or 0, dict(finding.value_pairs).get("other_bend"))
            for finding in self.findings
            if finding.code == "not-line-arc"
        ]
        return tuple((min(a, b), max(a, b)) for a, b in numbers if isinstance(b, int))

    def places_along(self, first: int, last: int) -> tuple[float, float]:
        """Where bend ``first`` begins and bend ``last`` ends, numbered from 1: mm from end A along the centerline."""
        bends = self.table.bends
        begins = sum(bend.feed + bend.arc_length for bend in bends[: first - 1]) + bends[first - 1].feed
        rest = sum(bend.feed + bend.arc_length for bend in bends[first:last])
        return begins, begins + bends[first - 1].arc_length + rest

    @property
    def is_from_outline(self) -> bool:
        """Whether it was read from a tube's outline, whose width its section has."""
        return any(finding.code == "outline-size" for finding in self.findings)

    @cached_property
    def centerline(self) -> tuple[Segment, ...]:
        """The straights and arcs that table and placement make, zero straights left out.

        Worked out on first use. A sharp corner shows as two straights that meet at an angle.
        """
        return rebuild(self.table, self.placement)

    def bend_point(self, number: int) -> Vec:
        """Centerline point in the middle of a bend (1-based), or at a sharp corner.

        Raises:
            GeometryError: the run has no such bend.
        """
        bends = self.table.bends
        if not 1 <= number <= len(bends):
            raise GeometryError(f"{self.name} has no bend {number}")
        bend = bends[number - 1]
        if bend.clr is not None:
            bend = replace(bend, angle=bend.angle / 2.0)
        return walk(BendTable((*bends[: number - 1], bend), 0.0), self.placement)[1].start


@dataclass(frozen=True, slots=True)
class Tube:
    """A run that has been given its metal.

    Attributes:
        run: the run as it will be made (corners filleted, refitted where asked).
        section: its section, or None when unknown.
        die: name of the die chosen for it, or None.
        drawn: the run as drawn, before fillets and refit.
        findings: what assigning and refitting said.
        metal: name of its metal, or None when unknown.
        coped_corners: whether an end on a flat is coped around the mate's corner radii, instead of cut square.
    """

    run: Run
    section: Section | None = None
    die: str | None = None
    drawn: Run | None = None
    findings: tuple[Finding, ...] = ()
    metal: str | None = None
    coped_corners: bool = False

    @property
    def name(self) -> str:
        """Name of the run."""
        return self.run.name


def turned_by_bend(section: Section | None, bends: Sequence[Bend]) -> list[bool]:
    """Per bend, whether the section lies a quarter turn from its first bend; one of equal sizes never does."""
    if section is None or not section.lies_two_ways:
        return [False] * len(bends)
    found, roll = [], 0.0
    for i, bend in enumerate(bends):
        roll = (roll + bend.rotation) % 180.0 if i else 0.0
        found.append(abs(roll - 90.0) <= 45.0)
    return found


def reverse_run(run: Run) -> Run:
    """The same run fed from end B: same metal, same place, end A and B exchanged.

    A section of two sizes that the file gave lies in the bend that is the first one now as it did in the last.
    Findings that name a bend are renumbered to the new order; so is a further bend that one of their values,
    ``other_bend``, names.
    """
    table, placement = reverse_table(run.table, run.placement)
    return replace(
        run,
        table=table,
        placement=placement,
        end_point=run.start,
        handles=run.handles[::-1],
        section=_by_last_bend(run),
        findings=tuple(_turned(f, len(table.bends)) for f in run.findings),
        metal=None if run.metal is None else run.metal[::-1],
        drawn_ends=run.drawn_ends[::-1],
    )


def _by_last_bend(run: Run) -> Section | None:
    """The section with its sizes as they lie in the last bend."""
    section = run.section
    if section is None or not any(turned_by_bend(section, run.table.bends)[-1:]):
        return section
    return replace(section, od=section.height, height=section.od)


def _turned(finding: Finding, bends: int) -> Finding:
    """A finding about a run of so many bends whose ends are exchanged."""
    values = tuple(
        (k, bends + 1 - v if k == "other_bend" and isinstance(v, int) else v) for k, v in finding.value_pairs
    )
    return replace(
        finding,
        bend=None if finding.bend is None else bends + 1 - finding.bend,
        end=None if finding.end is None else {"A": "B", "B": "A"}[finding.end],
        values=values,
    )
