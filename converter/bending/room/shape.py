"""The tube on either side of the die while one bend is made, as straights and arcs in bend coordinates.

Seen from the tangent point T, where the stick meets the die, the tube goes two ways: *ahead* to the end
that was fed first, *behind* to the other. Bends already made are arcs, the others still straight stock of
their developed length. Both halves are the walk of `converter.model.centerline` outward from T, done for many
at once: walking toward the end fed first turns the table round, and a screw keeps its hand.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import acos, ceil, cos, pi, radians, sin
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Index
from converter.errors import GeometryError
from converter.geometry.circles import within_half_turns
from converter.model.bends import Bend, BendTable
from converter.tolerances import PAST_LENGTH

#: mm; greatest sagitta of the chords that stand for arcs against planes.
SAGITTA = 0.15
#: mm; straights not longer than this are left out, as `converter.model.centerline.rebuild` does.
_LEAST = 1e-9
#: Sides walked in one go: a bound on memory.
_WALKED = 4096


class Elements:
    """Straights and arcs, one row each; a point at share x of row i is ``point(i, x)``.

    Attributes:
        rows: (n, 17) all of it, of which the others are columns, side by side.
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

    __slots__ = ("across", "along", "gap", "origin", "outer", "rows", "slide", "sweep", "turn")

    def __init__(self, rows: Array) -> None:
        self.rows = rows
        self.origin, self.along, self.across = rows[:, 0:3], rows[:, 3:6], rows[:, 6:9]
        self.sweep, self.turn, self.slide, self.gap = rows[:, 9], rows[:, 10:12], rows[:, 12:14], rows[:, 14:16]
        self.outer: Index = rows[:, 16].astype(np.intp)

    def __len__(self) -> int:
        return len(self.rows)

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

    @classmethod
    def gathered(cls, parts: Sequence[ElementRows], *others: Elements) -> Elements:
        """All rows of several, in order."""
        rows = [part.elements.rows[part.first : part.last] for part in parts]
        return cls(np.concatenate([*rows, *(one.rows for one in others)]))


@dataclass(frozen=True, slots=True, eq=False)
class ElementStations:
    """Points along elements: (m,) row of each, (m, 3) points, (m, 3) unit tangents, (m,) share of the draw, (m,) length
    in mm to the end."""

    row: Index
    points: Array
    tangents: Array
    slide: Array
    gap: Array


#: One side of a tube when a bend is about to be made: the bend (index from 0 from the end fed first), whether it is the
#: side ahead of the die, toward that end, and the bends made before on that side (bit i stands for bend i).
SideKey: TypeAlias = tuple[int, bool, int]


class TubeSide(NamedTuple):
    """One side of one tube, whose table is that from the end fed first."""

    table: BendTable
    key: SideKey


@dataclass(frozen=True, slots=True, eq=False)
class ElementRows:
    """Some rows of elements: from first to before last."""

    elements: Elements
    first: int
    last: int

    def __len__(self) -> int:
        return self.last - self.first


def half(table: BendTable, bend: int, made: Collection[int], ahead: bool) -> Elements:
    """One side of a tube, as `halves` has it.

    Args:
        table: from the end fed first.
        bend: index of the bend from 0.
        made: indices of the bends made before; those on the other side count for nothing.
        ahead: the side toward the end fed first; else the other.
    """
    bits = sum(1 << i for i in made if (i < bend if ahead else i > bend))
    (rows,) = halves([TubeSide(table, (bend, ahead, bits))])
    return Elements.gathered([rows])


def halves(sides: Sequence[TubeSide]) -> list[ElementRows]:
    """Sides of tubes, all walked outward from T together.

    Each step is that of `converter.model.centerline.walk`, in the same order of operations: a side comes out the same,
    to the last bit, whatever is asked along with it.

    Returns:
        Of each, elements outward from T in bend coordinates, the bend at its start. The first straight of the side
        behind ends at T while the rest slides past it, and holds the bend's own metal.
    """
    return [one for i in range(0, len(sides), _WALKED) for one in _walked(sides[i : i + _WALKED])]


def bits_of(sets: Sequence[int], count: int) -> NDArray[np.bool_]:
    """(n, count) whether each bend is in each set; in a set bit i stands for bend i."""
    size = (count + 7) // 8
    packed = np.frombuffer(b"".join(one.to_bytes(size, "little") for one in sets), np.uint8)
    found: NDArray[np.bool_] = (
        np.unpackbits(packed.reshape(len(sets), size), axis=1, count=count, bitorder="little") > 0
    )
    return found


def _walked(sides: Sequence[TubeSide]) -> list[ElementRows]:
    bends = _PaddedBends.of(sides)
    count = len(sides)
    slots = _WalkSlots(count, 2 * bends.most + 1)
    ahead = np.array([side.key[1] for side in sides])
    k = np.array([side.key[0] for side in sides], np.intp)
    made = bits_of([side.key[2] for side in sides], bends.most)
    row, last = bends.row, bends.count[bends.row] - 1
    zero, side = np.zeros(count), np.where(ahead, 1.0, -1.0)
    point = np.stack([zero, -bends.clr[row, k], zero])
    start = point.copy()
    t, n = np.stack([side, zero, zero]), np.stack([zero, zero, side])
    length, roll = np.where(ahead, 0.0, bends.arc[row, k]), np.zeros(count)
    arcs = np.zeros(count, np.intp)
    step = np.where(ahead, -1, 1)
    for far in range(1, bends.most):
        i = k + step * far
        here = np.flatnonzero((i >= 0) & (i <= last))
        at, of = i[here], row[here]
        nearer = at + ahead[here]
        length[here] += bends.straights[of, nearer]
        roll[here] += bends.rotation[of, nearer]
        bent = made[here, at]
        length[here[~bent]] += bends.arc[of[~bent], at[~bent]]
        here, at, of = here[bent], at[bent], of[bent]
        if len(here):
            places = slots.slots * here + 2 * arcs[here]
            slots.outer[places] = slots.outer[places + 1] = at
            begin = slots.straight(places, point[:, here], t[:, here], length[here])
            frame = begin, t[:, here], n[:, here]
            point[:, here], t[:, here], n[:, here] = slots.bend(
                places + 1, frame, within_half_turns(roll[here]), bends, (of, at)
            )
            arcs[here] += 1
            length[here] = roll[here] = 0.0
    places = slots.slots * np.arange(count) + 2 * arcs
    slots.outer[places] = np.where(ahead, 0, last)
    slots.straight(places, point, t, length + bends.straights[row, np.where(ahead, 0, last + 1)])
    return slots.elements(start, ~ahead)


@dataclass(frozen=True, slots=True, eq=False)
class _PaddedBends:
    """The bends of the tables of m sides, each table once.

    Attributes:
        row: (m,) the table of each side.
        count: (tables,) how many bends it has.
        most: how many the one with most has.
        straights, rotation: (tables, most + 1) mm and degrees before each bend, and the tail.
        arc, clr, cos, sin, sweep: (tables, most) length and radius of each bend, mm; of its angle, radians.
    """

    row: Index
    count: Index
    most: int
    straights: Array
    rotation: Array
    arc: Array
    clr: Array
    cos: Array
    sin: Array
    sweep: Array

    @classmethod
    def of(cls, sides: Sequence[TubeSide]) -> _PaddedBends:
        """Those of some sides."""
        rows: dict[int, int] = {}
        tables: list[BendTable] = []
        for side in sides:
            if rows.setdefault(id(side.table), len(tables)) == len(tables):
                tables.append(side.table)
        most = max(len(table.bends) for table in tables)
        found = np.zeros((7, len(tables), most + 1))
        for i, table in enumerate(tables):
            bends, n = table.bends, len(table.bends)
            found[0, i, : n + 1] = table.straights
            found[1, i, :n] = [bend.rotation for bend in bends]
            found[2, i, :n] = [bend.arc_length for bend in bends]
            found[3, i, :n] = [_clr(bend) for bend in bends]
            angles = [radians(bend.angle) for bend in bends]
            found[4:7, i, :n] = [list(map(cos, angles)), list(map(sin, angles)), angles]
        row = np.array([rows[id(side.table)] for side in sides], np.intp)
        count = np.array([len(table.bends) for table in tables], np.intp)
        return cls(row, count, most, found[0], found[1], *found[2:, :, :most])


class _WalkSlots:
    """What is walked of each of m sides: a straight, an arc, a straight and so on, where there is any.

    Attributes:
        slots: how many of each side.
        there: (m * slots,) whether there is.
        rows: (m * slots, 11) origin, along, across, sweep and length of it.
        outer: (m * slots,) as in `Elements`.
    """

    def __init__(self, count: int, slots: int) -> None:
        self.slots = slots
        self.there = np.zeros(count * slots, bool)
        self.rows = np.zeros((count * slots, 11))
        self.outer = np.zeros(count * slots, np.intp)

    def straight(self, places: Index, point: Array, t: Array, length: Array) -> Array:
        """(3, n) where straights of so many mm end, which are noted at places."""
        end = point + t * length
        some = np.flatnonzero((length > _LEAST) & (end != point).any(axis=0))
        along = end[:, some] - point[:, some]
        row = np.zeros((len(some), 11))
        row[:, 0:3], row[:, 3:6] = point[:, some].T, along.T
        row[:, 10] = [value**0.5 for value in (along * along).sum(axis=0).tolist()]
        self.there[places[some]], self.rows[places[some]] = True, row
        return end

    def bend(
        self,
        places: Index,
        frame: tuple[Array, Array, Array],
        roll: Array,
        bends: _PaddedBends,
        which: tuple[Index, Index],
    ) -> tuple[Array, Array, Array]:
        """(3, n) each: point, tangent and normal at the end of arcs that are rolled by so many degrees first."""
        point, t, n = frame
        c, s, r, sweep = bends.cos[which], bends.sin[which], bends.clr[which], bends.sweep[which]
        b = cross_columns(n, t)
        rolled = np.flatnonzero(roll)
        turns = [radians(value) for value in roll[rolled].tolist()]
        n[:, rolled] = n[:, rolled] * np.array([*map(cos, turns)]) - b[:, rolled] * np.array([*map(sin, turns)])
        b[:, rolled] = cross_columns(n[:, rolled], t[:, rolled])
        center = point + b * r
        arm = point - center
        self.there[places] = True
        self.rows[places] = np.concatenate([center, arm, cross_columns(n, arm), [sweep, r * sweep]]).T
        end = center - r * (b * c - t * s)
        t = t * c + b * s
        # rounding is kept from building up: t exactly unit, n exactly across it
        t = t * (1.0 / np.sqrt(_dot(t, t)))
        n = n - _dot(n, t) * t
        return end, t, n * (1.0 / np.sqrt(_dot(n, n)))

    def elements(self, start: Array, held: NDArray[np.bool_]) -> list[ElementRows]:
        """The sides one by one: (3, m) where they start, and which are held at T."""
        there = self.there.reshape(-1, self.slots)
        sweep, length = (self.rows[:, column].reshape(there.shape) for column in (9, 10))
        bare = np.flatnonzero(~there.any(axis=1))
        slide = np.zeros((*there.shape, 2))
        slide[held] = 1.0
        slide[np.flatnonzero(held), there.argmax(axis=1)[held], 0] = 0.0
        slide[bare] = 0.0
        there[bare, 0] = True
        self.rows[bare * self.slots, 0:3] = start[:, bare].T
        nothing = np.zeros((len(there), 1))
        turned = np.cumsum(sweep, axis=1)
        left = np.cumsum(length[:, ::-1], axis=1)[:, ::-1]
        rows = self.rows[self.there]
        columns = (
            rows[:, :10],
            np.stack([np.concatenate([nothing, turned[:, :-1]], axis=1), turned], axis=-1)[there],
            slide[there],
            np.stack([left, np.concatenate([left[:, 1:], nothing], axis=1)], axis=-1)[there],
            self.outer[self.there],
        )
        every = Elements(np.column_stack(columns))
        ends = np.cumsum(there.sum(axis=1)).tolist()
        return [ElementRows(every, first, last) for first, last in zip([0, *ends], ends, strict=False)]


def forming(clr: Array, bend: Index, sweep: Array) -> Elements:
    """The metal of (n,) bends themselves as part of the end that swings, at the start of each bend.

    Point at an angle b lies on the die's circle, clockwise from T, so that it comes to T when the die
    has turned by b and moves on with the end ahead; before that it is stock behind. Its turn counts
    down from 0, so that turn plus the die's angle is the turn to T.

    Args:
        clr: mm.
        bend: indices of the bends.
        sweep: radians they are made to.
    """
    rows = np.zeros((len(bend), 17))
    rows[:, 4] = rows[:, 6] = -clr
    rows[:, 9], rows[:, 11], rows[:, 14:16], rows[:, 16] = sweep, -sweep, np.inf, bend
    return Elements(rows)


def stations(elements: Elements, sagitta: float = SAGITTA, near: float | Array = 0.0) -> ElementStations:
    """Points close enough along elements that the polyline through them strays by no more than ``sagitta`` (mm).

    With ``near`` (mm, of all rows or of each) one more point marks where the tube comes that close to its free end.
    """
    sizes = np.linalg.norm(elements.along, axis=1).tolist()
    counts = zip(elements.sweep.tolist(), sizes, strict=True)
    steps = np.array([1 if w == 0.0 else steps_of(w, size, sagitta) for w, size in counts])
    begin, end = elements.gap.T
    near = np.broadcast_to(near, len(elements))
    marked = (end < near) & (near < begin)
    points = steps + 1 + marked
    at = np.repeat(np.arange(len(elements)), points)
    inside = np.arange(len(at)) - np.repeat(np.cumsum(points) - points, points)
    share = inside / steps[at]
    marks = np.flatnonzero(inside > steps[at])
    share[marks] = (begin[marked] - near[marked]) / (begin[marked] - end[marked])
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
    if min(table.straights) < -PAST_LENGTH:
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


def cross_columns(p: Array, q: Array) -> Array:
    """(3, n) vector products."""
    return np.stack([p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]])


def _dot(p: Array, q: Array) -> Array:
    """(n,) scalar products of (3, n) vectors."""
    return np.asarray(p[0] * q[0] + p[1] * q[1] + p[2] * q[2])


#: radians; parts of the tube are compared where it turns at least this far between them.
APART = pi
