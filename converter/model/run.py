"""A run (one continuous tube centerline) and a tube (a run with a section and a die)."""

from __future__ import annotations

from dataclasses import dataclass

from converter.findings import Finding
from converter.geometry.vectors import Vec
from converter.model.bends import BendTable, Placement
from converter.model.curve import Segment
from converter.model.section import Section


@dataclass(frozen=True, slots=True)
class Run:
    """One continuous centerline, reduced.

    Attributes:
        name: unique within the job.
        layer: the layer it was (mostly) drawn on, or None.
        closed: whether its ends meet.
        table: the bend table from end A.
        placement: where end A stands.
        centerline: the straights and arcs that the table and the placement make, zero straights
            left out; sharp corners show as two straights that meet at an angle.
        deviation: largest distance in mm between the drawn curves and ``centerline``.
        handles: entity handles it was drawn by, in order.
        section: the section, when the file itself gives one (a ready table), else None.
        findings: what the reducer said about this run.
    """

    name: str
    layer: str | None
    closed: bool
    table: BendTable
    placement: Placement
    centerline: tuple[Segment, ...]
    deviation: float = 0.0
    handles: tuple[str, ...] = ()
    section: Section | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def start(self) -> Vec:
        """Centerline point at end A."""
        return self.placement.start

    @property
    def end(self) -> Vec:
        """Centerline point at end B."""
        return self.centerline[-1].end if self.centerline else self.placement.start


@dataclass(frozen=True, slots=True)
class Tube:
    """A run that has been given its metal.

    Attributes:
        run: the run as it will be made (corners filleted, refitted where asked).
        section: its section, or None when unknown.
        die: name of the die chosen for it, or None.
        section_source: 'option', 'job file', 'layer name', 'file' or ''.
        drawn: the run as drawn, before fillets and refit.
        findings: what assigning and refitting said.
    """

    run: Run
    section: Section | None = None
    die: str | None = None
    section_source: str = ""
    drawn: Run | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def name(self) -> str:
        """Name of the run."""
        return self.run.name
