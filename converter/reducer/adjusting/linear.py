"""A tube and its vertices as a walk: how their distances change with each number of the bend table.

The derivatives are exact and cheap: changing one number moves everything after it as one rigid body. What has moved so
far is the state of the walk: a shift v in mm of the place where a row's straight begins, and a turn w in radians about
it. A row changes it by its own unknowns: feed, rotation, angle, radius.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import degrees
from typing import Any

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import crossed, vec
from converter.geometry.vectors import Vec, add, along, cross, dot, norm, rotate, scale, sub, unit, within_half_turn
from converter.limits import GREATEST_RADIUS
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Line, Segment
from converter.reducer.adjusting.walk import WalkStep

STATES = 6  #: of the walk
LENGTHWISE = 0.02  #: of the largest distance: what an end may be off lengthwise


@dataclass(frozen=True, slots=True)
class RowVertices:
    """Vertices (n, 3) that lie on the straight before row k (kind 'line') or on bend k ('arc'), and their weights."""

    kind: str
    row: int
    points: Array
    weights: Array | None = None


@dataclass(frozen=True, slots=True)
class _TubeRow:
    """A row of the table in its place: where its straight begins, directions, and its unknowns.

    Attributes:
        origin: mm, start of its straight; t, n: direction and, after rotation, the normal of its bend.
        arc: of its bend, None for a corner and for the tail.
        names: of its unknowns.
        moves: (6, unknowns) what each moves all that follows by, as shift at the origin and turn.
    """

    origin: Vec
    t: Vec
    n: Vec
    arc: Arc | None
    names: tuple[str, ...]
    moves: Array


@dataclass(frozen=True, slots=True)
class LinearTube:
    """A tube and how its vertices' distances change with its numbers.

    Attributes:
        table, placement: the tube.
        steps: one for each row, and one for the tail; unknowns in mm and radians.
        names: of each step's unknowns: 'feed', 'rotation', 'angle', 'radius', 'tail'.
        cost: sum of squares of all residuals, mm2.
    """

    table: BendTable
    placement: Placement
    steps: tuple[WalkStep, ...]
    names: tuple[tuple[str, ...], ...]
    cost: float

    @property
    def residuals(self) -> int:
        """How many there are."""
        return sum(len(step.b) for step in self.steps)

    @property
    def unknowns(self) -> int:
        """How many there are, the six of the placement among them."""
        return 6 + sum(map(len, self.names))

    def moved(self, state: Array, unknowns: Sequence[Array], size: float) -> tuple[BendTable, Placement] | None:
        """The table and placement after a part of a step; None where it leaves what a bend can be."""
        feeds = list(self.table.straights)
        bends = []
        for row, (names, values) in enumerate(zip(self.names, unknowns, strict=True)):
            change = dict(zip(names, (size * values).tolist(), strict=True))
            longer = change.get("feed", change.get("tail", 0.0))
            # a straight may dwindle but not vanish in one step: later steps may want it back
            feeds[row] = max(0.1 * feeds[row], feeds[row] + longer)
            if row == len(self.table.bends):
                break
            old = self.table.bends[row]
            rotation = within_half_turn(old.rotation + degrees(change.get("rotation", 0.0)))
            angle = old.angle + degrees(change.get("angle", 0.0))
            radius = None if old.clr is None else old.clr + change.get("radius", 0.0)
            if not 0.0 < angle < 360.0 or (radius is not None and not 0.0 < radius <= GREATEST_RADIUS):
                return None
            bends.append(Bend(feeds[row], rotation, angle, radius, old.clr_uncertainty, old.corner))
        t, n = self.placement.direction, self.placement.normal
        w = vec(size * state[3:])
        turn = norm(w)
        if turn > 0.0:
            t, n = (unit(rotate(v, unit(w), degrees(turn))) for v in (t, n))
        n = unit(along(n, t, -dot(n, t)))
        return BendTable(tuple(bends), feeds[-1]), Placement(add(self.placement.start, vec(size * state[:3])), t, n)


def linearized(
    table: BendTable, placement: Placement, proofs: Sequence[RowVertices], fixed: set[int], start: Vec, end: Vec
) -> LinearTube:
    """How the vertices' distances change with each number of the table.

    Args:
        table, placement: the tube; feeds of 0 stay 0.
        proofs: the vertices of each piece.
        fixed: rows whose radius stays.
        start, end: drawn points at end A and end B, which hold lengthwise.
    """
    rows = _rows(table, placement, fixed)
    own: list[list[RowVertices]] = [[] for _ in rows]
    for proof in proofs:
        own[proof.row].append(proof)
    steps = []
    for k, row in enumerate(rows):
        parts = [part for proof in own[k] for part in _vertex_equations(row, proof)]
        if k == 0:
            parts.append(_end_equation(row, start, 0.0, 0.0))
        if k == len(table.bends):
            parts.append(_end_equation(row, end, table.tail, 1.0))
        if not parts:
            parts.append((np.zeros((0, 6)), np.zeros((0, len(row.names))), np.zeros(0)))
        onward = np.eye(6)  # the same motion, its shift told where the next row begins
        x, y, z = sub(rows[k + 1].origin, row.origin) if k + 1 < len(rows) else (0.0, 0.0, 0.0)
        onward[:3, 3:] = ((0.0, z, -y), (-z, 0.0, x), (y, -x, 0.0))
        a, c, b = (np.concatenate(columns) for columns in zip(*parts, strict=True))
        steps.append(WalkStep(a, c, b, onward, onward @ row.moves))
    names = tuple(row.names for row in rows)
    return LinearTube(table, placement, tuple(steps), names, sum(float(step.b @ step.b) for step in steps))


def _rows(table: BendTable, placement: Placement, fixed: set[int]) -> list[_TubeRow]:
    out = []
    zero = (0.0, 0.0, 0.0)
    for k, (origin, t, n, arc) in enumerate(_frames(table, placement)):
        last = k == len(table.bends)
        names: list[str] = []
        moves: list[tuple[float, ...]] = []
        if table.straights[k] > 0.0:
            names.append("tail" if last else "feed")
            moves.append((*t, *zero))
        if k > 0 and not last:
            names.append("rotation")
            moves.append((*zero, *t))
        if not last:
            at = arc.center if arc is not None else along(origin, t, table.straights[k])
            names.append("angle")
            moves.append((*cross(n, sub(origin, at)), *n))
        if arc is not None and k not in fixed:
            names.append("radius")
            moves.append((*scale(sub(arc.end, arc.start), 1.0 / arc.radius), *zero))
        out.append(_TubeRow(origin, t, n, arc, tuple(names), np.array(moves).reshape(-1, 6).T))
    return out


Equations = tuple[Array, Array, Array]


def _vertex_equations(row: _TubeRow, proof: RowVertices) -> list[Equations]:
    """Equations (a, c, b of a `WalkStep`) of vertices: across a straight twice; of a bend radial and off its plane."""
    x = proof.points
    off = x - np.array(row.origin)
    weights = np.ones(len(x)) if proof.weights is None else proof.weights
    out: list[Equations] = []
    if proof.kind == "line":
        none = np.zeros((len(x), len(row.names)))
        for up in (row.n, cross(row.n, row.t)):
            u = np.multiply.outer(weights, up)
            out.append((np.concatenate((u, crossed(off, u)), axis=1), none, weights * (off @ np.array(up))))
        return out
    if row.arc is None:
        return out
    normal = np.array(row.arc.normal)
    arm = x - np.array(row.arc.center)
    height = arm @ normal
    flat = arm - np.multiply.outer(height, normal)
    size = np.sqrt(np.einsum("ij,ij->i", flat, flat))
    outward = flat / np.where(size > 0.0, size, 1.0)[:, None]
    inward = np.array(cross(row.n, row.t))
    before = [k for k, name in enumerate(row.names) if name in ("feed", "rotation")]  # the bend moves with those
    for u, value, radial in ((outward, size - row.arc.radius, 1.0), (normal, height, 0.0)):
        weighted = weights[:, None] * u
        a = np.concatenate((weighted, crossed(off, weighted)), axis=1)
        c = np.zeros((len(x), len(row.names)))
        c[:, before] = a @ row.moves[:, before]
        if row.names[-1:] == ("radius",):
            c[:, -1] = weighted @ inward + radial * weights
        out.append((a, c, weights * value))
    return out


def _end_equation(row: _TubeRow, drawn: Vec, along_t: float, tail: float) -> Equations:
    """Equation of an end lengthwise; ``tail`` is how it changes with the length of the tail."""
    off, t = np.array([sub(drawn, row.origin)]), np.array([row.t])
    a = np.concatenate((t, crossed(off, t)), axis=1)
    c = np.array([[tail if name == "tail" else 0.0 for name in row.names]]).reshape(1, -1)
    return a, c, np.array([dot(sub(drawn, row.origin), row.t) - along_t])


def _frames(table: BendTable, placement: Placement) -> list[tuple[Vec, Vec, Vec, Arc | None]]:
    """For each row: start of its straight, direction, normal after rolling, its arc; then the same for the tail."""
    out: list[tuple[Vec, Vec, Vec, Arc | None]] = []
    point, t, n = placement.start, placement.direction, placement.normal
    for bend in table.bends:
        n = rotate(n, t, bend.rotation)
        begin = along(point, t, bend.feed)
        arc: Arc | None = None
        after = begin
        if bend.clr is not None:
            center = along(begin, cross(n, t), bend.clr)
            arc = Arc.swept(center, n, begin, bend.angle)
            after = arc.end
        out.append((point, t, n, arc))
        point = after
        t = unit(rotate(t, n, bend.angle))
        n = unit(along(n, t, -(n[0] * t[0] + n[1] * t[1] + n[2] * t[2])))
    out.append((point, t, n, None))
    return out


def segments_of(table: BendTable, placement: Placement, places: list[tuple[str, int]]) -> tuple[Segment | None, ...]:
    """The straight or arc of each piece, None where it has no length.

    Args:
        table, placement: the tube.
        places: per piece ('line' or 'arc', row), as in `RowVertices`.
    """
    frames = _frames(table, placement)
    straights = table.straights
    out: list[Segment | None] = []
    for kind, row in places:
        point, t, _, arc = frames[row]
        end = along(point, t, straights[row])
        out.append(arc if kind == "arc" else Line(point, end) if straights[row] > 0.0 and end != point else None)
    return tuple(out)


@dataclass(slots=True)
class _SparseRows:
    """Rows of a sparse system, and its right side."""

    rows: list[Array] = field(default_factory=list)
    columns: list[Array] = field(default_factory=list)
    values: list[Array] = field(default_factory=list)
    right: list[Array] = field(default_factory=list)
    count: int = 0

    def add(self, block: Array, right: Array, columns: Array) -> None:
        """Append a block (m, k) that stands in these columns (k,)."""
        size = len(block)
        self.rows.append(np.repeat(np.arange(self.count, self.count + size), len(columns)))
        self.columns.append(np.tile(columns, size))
        self.values.append(block.ravel())
        self.right.append(right)
        self.count += size

    def matrix(self, width: int) -> Any:
        """The system as scipy's sparse matrix, (count, width)."""
        from scipy.sparse import coo_matrix

        places = (np.concatenate(self.rows), np.concatenate(self.columns))
        return coo_matrix((np.concatenate(self.values), places), (self.count, width))


@dataclass(frozen=True, slots=True)
class WalkChange:
    """What a step changes: the state before the first row (shift in mm, turn in radians), and each row's unknowns.

    ``largest`` is the largest distance after it, mm, as far as distances change linearly.
    """

    state: Array
    unknowns: tuple[Array, ...]
    largest: float


# --- the largest miss least -------------------------------------------------------------------
# Near a tube each vertex's distance changes linearly with the numbers of the table, so the least largest distance is
# a linear program (Cheney and Goldstein 1959, "Newton's method for convex programming and Tchebycheff approximation",
# from memory), solved again from where it leads. The program has the state of the walk at every row among its
# unknowns, so that it stays sparse however many bends there are.


def least_largest_step(linear: LinearTube, proofs: Sequence[RowVertices], reach: float) -> WalkChange | None:
    """The step that makes the largest distance of vertices least.

    Args:
        linear: the tube about these vertices.
        proofs: the vertices, without weights, in the order that ``linear`` was made of.
        reach: mm that a row may move in a step, so that distances change about as the program has it.

    Returns:
        None where the program has no solution.
    """
    from scipy.optimize import linprog

    starts = np.cumsum([0, *(STATES + step.c.shape[1] for step in linear.steps)])
    largest = int(starts[-1])  # the last unknown: the largest distance
    near, same = _SparseRows(), _SparseRows()
    bounds = np.tile((-np.inf, np.inf), (largest + 1, 1))
    bounds[largest, 0] = 0.0
    for k, step in enumerate(linear.steps):
        own = np.arange(starts[k], starts[k + 1])
        mine = [proof for proof in proofs if proof.row == k]
        near.add(*_distances(np.concatenate((step.a, step.c), axis=1), step.b, mine), np.append(own, largest))
        extent = max((float(np.ptp(p.points, axis=0).max()) for p in mine), default=0.0)
        limits = np.array([reach] * 3 + [reach / max(extent, 1.0)] * 3)
        bounds[own[:STATES]] = np.stack((-limits, limits), axis=1)
        if k + 1 < len(linear.steps):
            onward = np.concatenate((step.f, step.g, -np.eye(STATES)), axis=1)
            after = np.arange(starts[k + 1], starts[k + 1] + STATES)
            same.add(onward, np.zeros(STATES), np.concatenate((own, after)))
    solved = linprog(
        np.append(np.zeros(largest), 1.0),
        A_ub=near.matrix(largest + 1),
        b_ub=np.concatenate(near.right),
        A_eq=same.matrix(largest + 1) if same.count else None,
        b_eq=np.concatenate(same.right) if same.count else None,
        bounds=bounds,
        method="highs",
    )
    if solved.x is None or not np.isfinite(solved.x).all():
        return None
    parts = np.split(np.asarray(solved.x[:largest], dtype=np.float64), starts[1:-1])
    return WalkChange(parts[0][:STATES], tuple(part[STATES:] for part in parts), float(solved.x[-1]))


def _distances(equations: Array, values: Array, proofs: Sequence[RowVertices]) -> tuple[Array, Array]:
    """Rows and right side of what is to be no more than the largest distance, whose column is the last.

    Of each vertex its distance; of an end its distance lengthwise on both sides, which is to be next to nothing.
    """
    out, misses = [], []
    at = 0
    for proof in proofs:  # two equations a vertex, square to each other
        size = len(proof.points)
        first, second = slice(at, at + size), slice(at + size, at + 2 * size)
        at += 2 * size
        miss = np.hypot(values[first], values[second])
        safe = np.where(miss > 0.0, miss, 1.0)[:, None]
        toward = values[first, None] / safe * equations[first] + values[second, None] / safe * equations[second]
        out.append(np.concatenate((-toward, np.full((size, 1), -1.0)), axis=1))
        misses.append(miss)
    for side in (1.0, -1.0):
        ends = -side * equations[at:]
        out.append(np.concatenate((ends, np.full((len(ends), 1), -LENGTHWISE)), axis=1))
        misses.append(side * values[at:])
    return np.concatenate(out), -np.concatenate(misses)
