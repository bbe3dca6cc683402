"""A picture: strokes, filled shapes and labels in mm of paper, y up; what they are is said, not how they look.

Each part has a *role* (`ROLES`); a writer turns roles into pens, so that one picture serves light and
dark screens, black-and-white paper and the page's own style sheet. No role is told apart by colour alone.
Labels may hold both units at once (`converter.units.BothUnits`); a writer picks or keeps both.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import inf

from converter.exporters.paper.figure import Point, text_width
from converter.units import every_text


@dataclass(frozen=True, slots=True)
class RoleLook:
    """How a role looks: pen width in mm, colour and fill in light and dark (CSS colours), dashes in mm."""

    width: float
    light: str
    dark: str
    dash: tuple[float, ...] = ()


#: Height of a capital in sizes of type, of the faces that pictures are written in.
CAPITAL = 0.73
#: Radius of the circle around a circled label, in heights of its text.
RING = 1.2

#: Roles whose texts are bold where a face has it.
BOLD = ("strong", "end", "feed")

#: role -> look; those of no width are only filled. ``tube``: outline; ``skin``: the metal inside it; ``bore``: into an
#: open end; ``ground``: the paper; ``seam``: where a bend starts or ends; ``center``: centerline;
#: ``tight``: a bend with an error (thick and dashed: not by colour alone); ``dim``: dimension lines;
#: ``note``: plain text; ``strong``: text that must be seen first; ``end``: the marks of ends A and B;
#: ``feed``: the arrow of the direction of feed; ``floor``: floor and walls; ``mark``: pencil marks on a stick;
#: ``zero``: the zero line; ``ignored``, ``healed``, ``near``, ``drawn``, ``fitted``: of a drawing as read.
ROLES: dict[str, RoleLook] = {
    "tube": RoleLook(0.35, "#1b2733", "#e8eef4"),
    "skin": RoleLook(0.0, "#dfe6ec", "#33424f"),
    "bore": RoleLook(0.0, "#8d9aa6", "#0a0e12"),
    "ground": RoleLook(0.0, "#ffffff", "#10161c"),
    "seam": RoleLook(0.15, "#5a6b7a", "#9fb0be"),
    "center": RoleLook(0.12, "#5a6b7a", "#9fb0be", (3.0, 0.8, 0.6, 0.8)),
    "tight": RoleLook(0.8, "#a3201a", "#ff9c8f", (1.6, 0.8)),
    "dim": RoleLook(0.13, "#3b4a57", "#b9c6d1"),
    "note": RoleLook(0.13, "#1b2733", "#e8eef4"),
    "strong": RoleLook(0.2, "#000000", "#ffffff"),
    "end": RoleLook(0.35, "#0b4f6c", "#7fd0f0"),
    "feed": RoleLook(0.5, "#0b4f6c", "#7fd0f0"),
    "floor": RoleLook(0.4, "#6b5a3a", "#d3bd8a"),
    "mark": RoleLook(0.4, "#000000", "#ffffff"),
    "zero": RoleLook(0.2, "#000000", "#ffffff", (4.0, 1.5)),
    "drawn": RoleLook(0.25, "#1b2733", "#e8eef4"),
    "fitted": RoleLook(0.35, "#1b2733", "#e8eef4", (2.2, 0.9)),
    "ignored": RoleLook(0.2, "#7b8794", "#8c9aa6", (0.6, 0.9)),
    "healed": RoleLook(0.35, "#7a4b00", "#ffce85"),
    "near": RoleLook(0.5, "#a3201a", "#ff9c8f", (1.0, 0.6)),
}


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points, (n, 2) in mm; closed when its last point joins the first."""

    points: tuple[Point, ...]
    role: str
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Fill:
    """A filled shape: its outline, and the outlines of its holes (even-odd)."""

    outlines: tuple[tuple[Point, ...], ...]
    role: str


@dataclass(frozen=True, slots=True)
class Label:
    """One line of text.

    Attributes:
        text: may hold both units.
        at: where its base line starts, has its middle or ends, by ``align``.
        height: of capitals, mm.
        role: see `ROLES`.
        align: 'left', 'center' or 'right'.
        rotation: degrees counter-clockwise.
        circled: in a circle, as the number of a bend is; then ``align`` is 'center'.
        boxed: in a filled square, in the colour of the ground, as the marks of the ends are; ``align`` is 'center'.
    """

    text: str
    at: Point
    height: float
    role: str = "note"
    align: str = "left"
    rotation: float = 0.0
    circled: bool = False
    boxed: bool = False


@lru_cache(maxsize=4096)
def _longest(text: str, height: float) -> float:
    """Widest a label gets in whatever unit and rounding, mm."""
    return sum(max(text_width(one, height) for one in texts) for texts in every_text(text))


@dataclass(slots=True)
class Picture:
    """Everything drawn, in drawing order, with its bounds.

    Attributes:
        title: what it shows in one line, for people who cannot see it.
        description: more of that: a sentence or a few.
        strokes, fills, labels: drawn fills first, labels last.
        low, high: corners of its bounds; infinite while it is empty.
    """

    title: str = ""
    description: str = ""
    strokes: list[Stroke] = field(default_factory=list)
    fills: list[Fill] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    low: Point = (inf, inf)
    high: Point = (-inf, -inf)

    def stroke(self, points: Iterable[Sequence[float]], role: str, *, closed: bool = False) -> None:
        """Add a line through points; fewer than two are nothing."""
        kept = tuple([(float(x), float(y)) for x, y in points])
        if len(kept) > 1:
            self.strokes.append(Stroke(kept, role, closed))
            self.reach(*kept)

    def fill(self, outlines: Iterable[Iterable[Sequence[float]]], role: str) -> None:
        """Add a filled shape: its outline and those of its holes."""
        kept = tuple([tuple([(float(x), float(y)) for x, y in one]) for one in outlines])
        if kept and len(kept[0]) > 2:
            self.fills.append(Fill(kept, role))
            self.reach(*kept[0])

    def label(self, text: str, at: Sequence[float], height: float, role: str = "note", **how: object) -> Label:
        """Add one line of text; ``how``: align, rotation, circled, boxed."""
        one = Label(text, (float(at[0]), float(at[1])), height, role, **how)  # type: ignore[arg-type]
        self.labels.append(one)
        longest = _longest(text, height)
        x, y = one.at
        left = {"left": 0.0, "center": longest / 2, "right": longest}[one.align]
        if abs(one.rotation) < 1e-9:
            self.reach((x - left, y - 0.25 * height), (x - left + longest, y + height))
        else:
            self.reach((x - longest, y - longest), (x + longest, y + longest))
        return one

    def copy(self) -> Picture:
        """The same, to which more can be added while this stays."""
        return replace(self, strokes=self.strokes[:], fills=self.fills[:], labels=self.labels[:])

    def put(self, other: Picture, dx: float, dy: float) -> None:
        """Add all of another picture, moved."""
        if dx == dy == 0.0:
            self.strokes += other.strokes
            self.fills += other.fills
            self.labels += other.labels
            if other.low[0] <= other.high[0]:
                self.reach(other.low, other.high)
            return
        for s in other.strokes:
            self.stroke([(x + dx, y + dy) for x, y in s.points], s.role, closed=s.closed)
        for f in other.fills:
            self.fill([[(x + dx, y + dy) for x, y in one] for one in f.outlines], f.role)
        for t in other.labels:
            self.labels.append(replace(t, at=(t.at[0] + dx, t.at[1] + dy)))
        if other.low[0] <= other.high[0]:
            self.reach((other.low[0] + dx, other.low[1] + dy), (other.high[0] + dx, other.high[1] + dy))

    def reach(self, *points: Point) -> None:
        """Widen the bounds to hold points."""
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        self.low = (min(self.low[0], *xs), min(self.low[1], *ys))
        self.high = (max(self.high[0], *xs), max(self.high[1], *ys))


def box(x0: float, y0: float, x1: float, y1: float) -> list[Point]:
    """The corners of an upright rectangle, counter-clockwise."""
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
