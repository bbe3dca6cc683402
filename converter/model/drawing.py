"""What an importer hands over: curves with their origins, ready-made tables, and what was left out."""

from __future__ import annotations

from dataclasses import dataclass, field

from converter.findings import Finding
from converter.model.bends import BendTable, Placement
from converter.model.curve import Curve
from converter.model.section import Section


@dataclass(frozen=True, slots=True)
class DrawnCurve:
    """A curve with the place it was drawn at.

    Attributes:
        curve: the geometry, in mm.
        layer: its layer (or the file's nearest notion), or None.
        handle: entity handle or id for messages, or None.
        name: a name the file gives this very curve (STEP), or None.
        group: curves of different groups never join (STEP: products, named wires); None is a group too.
    """

    curve: Curve
    layer: str | None = None
    handle: str | None = None
    name: str | None = None
    group: str | None = None


@dataclass(frozen=True, slots=True)
class Ignored:
    """Something in the file that is not a centerline: its kind, how many, and why it was left out."""

    kind: str
    count: int
    why: str


@dataclass(frozen=True, slots=True)
class ReadyTable:
    """A run that the file gives as a table already (CSV, JSON).

    Attributes:
        name: name of the run.
        table: its bend table.
        placement: where it stands, or None (then it starts at the origin along +x, first bend towards +y).
        section: its section, or None.
        closed: whether the run is a closed loop.
        deviation: largest distance in mm between the file's own shape (a solid's surface, a mesh's
            vertices) and the tube this table makes: the proof. 0 where the file is a table itself.
        metal: how far the metal reaches past the centerline's end at A and at B, in mm (negative where
            it stops short of it everywhere), or None when not known.
        handle: id in the file for messages, or None.
        findings: what the reader says about this run; their ``tube`` is set to the run's final name.
    """

    name: str
    table: BendTable
    placement: Placement | None = None
    section: Section | None = None
    layer: str | None = None
    closed: bool = False
    deviation: float = 0.0
    metal: tuple[float, float] | None = None
    handle: str | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(slots=True)
class Drawing:
    """Everything one file holds, converted to mm.

    Attributes:
        source: the file as the user named it ('-' for standard input).
        units: the drawing's own unit ('mm', 'in', ...), or None where the file names none.
        read_as: the unit the numbers were read in.
        curves, tables: the content.
        ignored: what was left out, counted.
        findings: what the reader has to say.
    """

    source: str
    units: str | None = None
    read_as: str = "mm"
    curves: list[DrawnCurve] = field(default_factory=list)
    tables: list[ReadyTable] = field(default_factory=list)
    ignored: list[Ignored] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
