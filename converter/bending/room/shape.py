"""The tube on either side of the die while one bend is made, as straights and arcs in bend coordinates.

Seen from the tangent point T, where the stick meets the die, the tube goes two ways: *ahead* to the end
that was fed first, *behind* to the other. Bends already made are arcs, the others still straight stock of
their developed length. Both halves are the walk of `converter.model.centerline` outward from T: walking
toward the end fed first turns the table round, and a screw keeps its hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import acos, ceil, pi, radians

import numpy as np

from converter.bending.room.space import Array, Index
from converter.errors import GeometryError
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Arc

#: mm; greatest sagitta of the chords that stand for arcs against planes.
SAGITTA = 0.15
#: mm; straights of this little length below zero are rounding.
_EQUAL = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Elements:
    """Straights and arcs, one row each; a point at share x of row i is ``point(i, x)``.

    Attributes:
        origin: (n, 3) start of a straight, or centre of an arc.
        along: (n, 3) the straight's vector, or the arm from centre to start.
        across: (n, 3) zero, or the arm a quarter turn on.
        sweep: (n,) radians of the arc, 0 for a straight.
        turn: (n, 2) radians the tube has turned from T to the row's start and end.
        slide: (n, 2) how much of the draw along X start and end share (1: all of it).
        gap: (n, 2) length in mm from start and end to the free end of the tube.
        outer: (n,) the bend made that the row is, or before which it ends; of the last straight the outermost bend
            of the tube on that side.
    """

    origin: Array
    along: Array
    across: Array
    sweep: Array
    turn: Array
    slide: Array
    gap: Array
    outer: Index

    def __len__(self) -> int:
        return len(self.sweep)

    def point(self, rows: Index, share: Array) -> Array:
        """(m, 3) points at shares (0..1) of rows, before any motion."""
        sweep = self.sweep[rows]
        bent = sweep > 0.0
        a = np.where(bent, np.cos(sweep * share), share)
        b = np.where(bent, np.sin(sweep * share), 0.0)
        found: Array = self.origin[rows] + self.along[rows] * a[:, None] + self.across[rows] * b[:, None]
        return found

    def sagitta(self, rows: Index, width: Array) -> Array:
        """(m,) distance of the middle of a share of an arc from its chord; 0 for straights."""
        radius = np.linalg.norm(self.along[rows], axis=1)
        found: Array = radius * (1.0 - np.cos(self.sweep[rows] * width / 2.0))
        return found

    def arc(self, rows: Index, width: Array) -> Array:
        """(m,) length of a share of an arc in mm; 0 for straights."""
        found: Array = np.linalg.norm(self.along[rows], axis=1) * self.sweep[rows] * width
        return found

    @classmethod
    def joined(cls, parts: Sequence[Elements]) -> Elements:
        """All rows of several, in order."""
        names = ("origin", "along", "across", "sweep", "turn", "slide", "gap", "outer")
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


@dataclass(frozen=True, slots=True, eq=False)
class ElementStations:
    """Points along elements: (m,) row of each, (m, 3) points, (m, 3) unit tangents, (m,) share of the draw, (m,) length
    in mm to the end."""

    row: Index
    points: Array
    tangents: Array
    slide: Array
    gap: Array


def half(table: BendTable, bend: int, made: frozenset[int], ahead: bool) -> Elements:
    """One side of the tube when a bend is about to be made.

    Args:
        table: fed from its own end A.
        bend: index of the bend from 0.
        made: indices of the bends made before.
        ahead: the side toward end A, which is fed first; else the side toward end B.

    Returns:
        Elements outward from T in bend coordinates, the bend at its start. The first straight of the side
        behind ends at T while the rest slides past it, and holds the bend's own metal.
    """
    bends, straights = table.bends, table.straights
    clr = _clr(bends[bend])
    rows: list[Bend] = []
    order: list[int] = []
    length = 0.0 if ahead else bends[bend].arc_length
    roll = 0.0
    for i in range(bend - 1, -1, -1) if ahead else range(bend + 1, len(bends)):
        length += straights[i + 1 if ahead else i]
        roll += bends[i + 1 if ahead else i].rotation
        if i in made:
            rows.append(Bend(length, _wrapped(roll), bends[i].angle, _clr(bends[i])))
            order.append(i)
            length, roll = 0.0, 0.0
        else:
            length += bends[i].arc_length
    length += straights[0 if ahead else -1]
    side = 1.0 if ahead else -1.0
    start = (0.0, -clr, 0.0)
    segments = rebuild(BendTable(tuple(rows), length), Placement(start, (side, 0.0, 0.0), (0.0, 0.0, side)))
    return _elements(segments, start, not ahead, [*order, 0 if ahead else len(bends) - 1])


def forming(table: BendTable, bend: int, angle: float) -> Elements:
    """The metal of the bend itself as part of the end that swings, at the start of the bend.

    Point at ``b`` degrees lies on the die's circle, clockwise from T, so that it comes to T when the die
    has turned by ``b`` and moves on with the end ahead; before that it is stock behind. Its turn counts
    down from 0, so that turn plus the die's angle is the turn to T.

    Args:
        table, bend: as for `half`.
        angle: degrees the bend is made to.
    """
    clr = _clr(table.bends[bend])
    w = radians(angle)
    return Elements(
        np.zeros((1, 3)),
        np.array([[0.0, -clr, 0.0]]),
        np.array([[-clr, 0.0, 0.0]]),
        np.array([w]),
        np.array([[0.0, -w]]),
        np.zeros((1, 2)),
        np.full((1, 2), np.inf),
        np.array([bend]),
    )


def stations(elements: Elements, sagitta: float = SAGITTA, near: float = 0.0) -> ElementStations:
    """Points close enough along elements that the polyline through them strays by no more than ``sagitta`` (mm).

    With ``near`` (mm) one more point marks where the tube comes that close to its free end.
    """
    sizes = np.linalg.norm(elements.along, axis=1).tolist()
    counts = zip(elements.sweep.tolist(), sizes, strict=True)
    steps = np.array([1 if w == 0.0 else steps_of(w, size, sagitta) for w, size in counts])
    begin, end = elements.gap.T
    marked = (end < near) & (near < begin)
    points = steps + 1 + marked
    at = np.repeat(np.arange(len(elements)), points)
    inside = np.arange(len(at)) - np.repeat(np.cumsum(points) - points, points)
    share = inside / steps[at]
    marks = np.flatnonzero(inside > steps[at])
    share[marks] = (begin[marked] - near) / (begin[marked] - end[marked])
    slide = _mixed(elements.slide[at], share)
    # the mark is a point of the metal, also on a straight of which one end is held at T
    slide[marks] = elements.slide[at[marks], 1]
    bent = elements.sweep[at] > 0.0
    c, s = np.cos(elements.sweep[at] * share), np.sin(elements.sweep[at] * share)
    tangents = np.where(
        bent[:, None], elements.across[at] * c[:, None] - elements.along[at] * s[:, None], elements.along[at]
    )
    size = np.linalg.norm(tangents, axis=1)
    tangents = tangents / np.where(size > 0.0, size, 1.0)[:, None]
    return ElementStations(
        at,
        elements.point(at, share),
        tangents,
        slide,
        _mixed(elements.gap[at], share),
    )


@lru_cache(maxsize=4096)
def steps_of(sweep: float, radius: float, sagitta: float = SAGITTA) -> int:
    """How many chords stand for an arc of ``sweep`` radians so that they stray by no more than ``sagitta`` mm."""
    return ceil(sweep / (2.0 * acos(max(0.5, 1.0 - sagitta / radius))))


def check_table(table: BendTable) -> None:
    """Refuse what no bender can make.

    Raises:
        GeometryError: a corner has no radius, or a straight is shorter than nothing.
    """
    for bend in table.bends:
        _clr(bend)
    if min(table.straights) < -_EQUAL:
        raise GeometryError(
            "bends overlap, so nothing can be said of how the tube swings: move the corners apart, "
            "or use a die of a smaller radius",
            code="negative-straight",
        )


def _mixed(ends: Array, share: Array) -> Array:
    # infinite gaps (the bend on the die) stay infinite
    with np.errstate(invalid="ignore"):
        found: Array = np.where(np.isinf(ends[:, 0]), np.inf, ends[:, 0] + (ends[:, 1] - ends[:, 0]) * share)
    return found


def _clr(bend: Bend) -> float:
    if bend.clr is None:
        raise GeometryError(
            "a corner without a radius cannot be swung: give it a radius or a die", code="corner-no-radius"
        )
    return bend.clr


def _wrapped(roll: float) -> float:
    """Degrees in (-180, 180]."""
    value = 180.0 - (180.0 - roll) % 360.0
    # the remainder of a hair below nothing rounds to a whole turn
    return 180.0 if value <= -180.0 else value


def _elements(
    segments: Sequence[object], start: tuple[float, float, float], held: bool, order: Sequence[int]
) -> Elements:
    rows: list[list[float]] = []
    turn = 0.0
    lengths: list[float] = []
    outer: list[int] = []
    arcs = 0
    for i, segment in enumerate(segments):
        outer.append(order[arcs])
        slides = [0.0 if held and i == 0 else float(held), float(held)]
        if isinstance(segment, Arc):
            arm = [segment.start[k] - segment.center[k] for k in range(3)]
            n = segment.normal
            quarter = [
                n[1] * arm[2] - n[2] * arm[1],
                n[2] * arm[0] - n[0] * arm[2],
                n[0] * arm[1] - n[1] * arm[0],
            ]
            w = radians(segment.angle)
            rows.append([*segment.center, *arm, *quarter, w, turn, turn + w, *slides])
            turn += w
            arcs += 1
            lengths.append(segment.radius * w)
        else:
            vector = [segment.end[k] - segment.start[k] for k in range(3)]  # type: ignore[attr-defined]
            rows.append([*segment.start, *vector, 0.0, 0.0, 0.0, 0.0, turn, turn, *slides])  # type: ignore[attr-defined]
            lengths.append(sum(v * v for v in vector) ** 0.5)
    if not rows:
        rows.append([*start, *([0.0] * 7), 0.0, 0.0, 0.0, 0.0])
        lengths.append(0.0)
        outer.append(order[0])
    a = np.array(rows)
    left = np.concatenate([np.cumsum(lengths[::-1])[::-1], [0.0]])
    gap = np.column_stack([left[:-1], left[1:]])
    return Elements(a[:, 0:3], a[:, 3:6], a[:, 6:9], a[:, 9], a[:, 10:12], a[:, 12:14], gap, np.array(outer, np.intp))


#: radians; parts of the tube are compared where it turns at least this far between them.
APART = pi
