"""What an importer hands over: curves with their origins, ready-made tables, and what was left out."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import isfinite
from typing import TYPE_CHECKING

from converter.findings import Finding, Reason
from converter.geometry.vectors import Vec
from converter.model.bends import BendTable, Placement
from converter.model.curve import Curve, check_reach
from converter.model.section import Section

if TYPE_CHECKING:
    from converter.units import Display


@dataclass(frozen=True, slots=True)
class SpineSolid:
    """What the solid of a tube tells whose centerline is a free curve: all but the table.

    Attributes:
        section: None where its wall is not known.
        metal: how far metal reaches past the curve's start and its end, mm; None of a closed one.
        off: how far the surface lies from the section around the curve, mm, at most.
        findings: what the reader says of it, ends A and B being the curve's start and end.
    """

    section: Section | None
    metal: tuple[float, float] | None
    off: float
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class DrawnEnd:
    """An end of a tube as its outline shows it, where that is not square.

    Attributes:
        normal: unit normal, out of the tube, of the plane that it is cut in, through the centerline's end; None where
            the outline shows another shape.
        past: how far the outline reaches past the centerline's end, mm.
    """

    normal: Vec | None
    past: float


@dataclass(frozen=True, slots=True)
class DrawnCurve:
    """A curve with the place it was drawn at.

    Attributes:
        curve: the geometry, in mm.
        layer: its layer (or the file's nearest notion), or None.
        handle: entity handle or id for messages, or None.
        name: a name the file gives this very curve (STEP), or None.
        group: curves of different groups never join (STEP: products, named wires); None is a group too.
        section: of the tube that it is a part of, where the drawing shows its outline (``--from-outline``); else None.
        ends: of that outline at the curve's start and its end, where it ends there otherwise than square; else None.
        solid: of the tube whose whole centerline it is, where the file holds that as a solid; else None.
        linetype: name of a linetype of dashes or dots that it is drawn in; None for a continuous line.

    Raises:
        GeometryError: the curve is farther away than any drawing of tubes (`converter.model.curve.check_reach`).
    """

    curve: Curve
    layer: str | None = None
    handle: str | None = None
    name: str | None = None
    group: str | None = None
    section: Section | None = None
    ends: tuple[DrawnEnd | None, DrawnEnd | None] = (None, None)
    solid: SpineSolid | None = None
    linetype: str | None = None

    def __post_init__(self) -> None:
        check_reach(self.curve)


#: Kinds of our own words, where there are several.
_SEVERAL = {
    "body": "bodies", "column": "columns", "edge": "edges", "face": "faces", "layout": "layouts", "part": "parts",
    "point": "points", "solid": "solids", "surface": "surfaces", "wire": "wires",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ignored:
    """Something in the file that is not a centerline: its kind, how many, and why it was left out."""

    kind: str
    count: int
    why: Reason

    @property
    def amount(self) -> str:
        """How many of what: ``2 bodies``; names that stand in the file (``2 TEXT``) stay as they are."""
        return f"{self.count} {self.kind if self.count == 1 else _SEVERAL.get(self.kind, self.kind)}"

    def why_in(self, display: Display | None = None) -> str:
        """Why it was left out, in words; lengths in mm for None."""
        from converter.findings.wording import reason

        return reason(self.why, display)


@dataclass(frozen=True, slots=True)
class LeftShape:
    """The shape of something that is not a centerline, roughly, for pictures of the drawing as read.

    Attributes:
        kind, why: as in `Ignored`.
        points: world coordinates in mm, joined by straights; a single one for something without extent.
        handle: entity handle, or None.
    """

    kind: str
    why: Reason
    points: tuple[Vec, ...]
    handle: str | None = None

    @classmethod
    def box(cls, kind: str, why: Reason, low: Vec, high: Vec, handle: str | None = None) -> LeftShape:
        """A box between two corners, as one line along all its edges."""
        corners = (low, high)
        # two rings and what joins them; some edges are passed twice
        path = ("000", "100", "110", "010", "000", "001", "101", "100", "101", "111", "110", "111", "011", "010", "011")
        ends = (*path, "001")
        return cls(
            kind,
            why,
            tuple((corners[int(c[0])][0], corners[int(c[1])][1], corners[int(c[2])][2]) for c in ends),
            handle,
        )


#: Most shapes of left-out things that are kept; the rest is counted.
MOST_LEFT_OUT = 2000
#: Most points of one of them; a shape of more is thinned.
MOST_POINTS = 400


@dataclass(slots=True)
class Aside:
    """Shapes of what was left out, up to `MOST_LEFT_OUT`.

    Attributes:
        shapes: in the order met.
        more: how many further ones were not kept.
    """

    shapes: list[LeftShape] = field(default_factory=list)
    more: int = 0

    def add(self, shape: LeftShape) -> None:
        """Keep a shape with finite coordinates while there is room, thinned where it has very many points."""
        if len(self.shapes) >= MOST_LEFT_OUT:
            self.more += 1
            return
        points = tuple(p for p in shape.points if isfinite(p[0] + p[1] + p[2]))
        if len(points) > MOST_POINTS:
            step = -(-len(points) // MOST_POINTS)
            points = (*points[:-1:step], points[-1])
        if points:
            self.shapes.append(LeftShape(shape.kind, shape.why, points, shape.handle))


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


@dataclass(frozen=True, slots=True)
class HeaderUnit:
    """What a drawing says of its unit.

    Attributes:
        unit: that its lengths are in.
        contradicted: whether the $MEASUREMENT of a DXF header is that of the other system.
    """

    unit: str
    contradicted: bool = False


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
        digest: SHA-256 of the file, 64 hexadecimal digits; '' when it came from no file.
        header: what it says of the unit of its curves; None where it says nothing, or the units option says it.
        aside: shapes of what was left out; None unless `ReadOptions.keep_left_out` asked for them.
        notes: lines of its texts that may tell a section.
    """

    source: str
    units: str | None = None
    read_as: str = "mm"
    curves: list[DrawnCurve] = field(default_factory=list)
    tables: list[ReadyTable] = field(default_factory=list)
    ignored: list[Ignored] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    digest: str = ""
    header: HeaderUnit | None = None
    aside: Aside | None = None
    notes: tuple[str, ...] = ()
