"""The last step for noisy data: every number of the table at once, by least squares on the vertices.

Pieces fitted one by one know nothing of each other; a short straight between two bends then
has a poor direction although what follows it is long and well known. Here start, directions,
straights, rotations, angles and fitted radii change together until the vertices' distances
from the tube are least (Gauss-Newton). The derivatives are exact and cheap: changing one
number moves everything after it as a rigid body, by a shift v and a turn w about a point.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from converter.geometry.vectors import Vec, along, cross, norm, rotate, unit
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Line, Segment

Array = NDArray[np.float64]

STEPS = 12
MOST_BENDS = 60  #: a chain of more is a free curve in pieces, where this buys nothing
MOST_VERTICES = 60  #: per piece; more say the same again


@dataclass(frozen=True, slots=True)
class RowVertices:
    """Vertices (n, 3) that lie on the straight before row k (kind 'line') or on bend k ('arc'), and their weights."""

    kind: str
    row: int
    points: Array
    weights: Array | None = None


@dataclass(frozen=True, slots=True)
class Polished:
    """A table in place, and three standard deviations of each bend's radius in mm."""

    table: BendTable
    placement: Placement
    loose: tuple[float, ...]


@dataclass(slots=True)
class _RowMove:
    """One unknown: it moves rows from ``first`` on (``arc`` first: the bend of that row too)."""

    first: int
    arc: bool
    v: Vec
    w: Vec
    at: Vec
    radius_of: int = -1


def polish(
    table: BendTable,
    placement: Placement,
    proofs: list[RowVertices],
    fixed: set[int],
    end: Vec,
    start: Vec | None = None,
    steps: int = STEPS,
) -> Polished | None:
    """The table and placement closest to the vertices.

    Args:
        table: where to begin; feeds of 0 stay 0.
        placement: where it stands.
        proofs: the vertices of each piece.
        fixed: rows whose radius was drawn and stays.
        end: drawn point at end B.
        start: drawn point at end A, where the placement does not begin there.
        steps: how many, at most.

    Returns:
        None where the search does not come closer.
    """
    start = placement.start if start is None else start
    best = _cost(table, placement, proofs, start, end)
    first = best
    loose: tuple[float, ...] = ()
    for _ in range(steps):
        changes, names = _changes(table, placement, fixed)
        residual, jacobian = _system(table, placement, proofs, changes, start, end)
        try:
            normal = jacobian.T @ jacobian
            normal[np.diag_indices_from(normal)] *= 1.0 + 1e-12
            step = np.asarray(np.linalg.solve(normal, -(jacobian.T @ residual)), dtype=np.float64)
        except np.linalg.LinAlgError:
            break
        size = 1.0
        while size > 0.05:
            moved = _moved(table, placement, names, size * step)
            cost = _cost(*moved, proofs, start, end) if moved is not None else np.inf
            if moved is not None and cost < best:
                table, placement = moved
                break
            size /= 2.0
        else:
            break
        gain, best = best - cost, cost
        if gain <= 1e-9 * best:
            break
    if best > first:
        return None
    changes, names = _changes(table, placement, fixed)
    residual, jacobian = _system(table, placement, proofs, changes, start, end)
    spread = [0.0] * len(table.bends)
    free = len(residual) - len(changes)
    if free > 0:
        variance = float(residual @ residual) / free
        cov = np.linalg.pinv(jacobian.T @ jacobian)
        for column, (kind, row) in enumerate(names):
            if kind == "radius":
                spread[row] = 3.0 * sqrt(max(0.0, variance * float(cov[column, column])))
    loose = tuple(spread)
    return Polished(table, placement, loose)


def _frames(table: BendTable, placement: Placement) -> list[tuple[Vec, Vec, Vec, Segment | None]]:
    """For each row: start of its straight, direction, normal after rolling, its arc; then the same for the tail."""
    out: list[tuple[Vec, Vec, Vec, Segment | None]] = []
    point, t, n = placement.start, placement.direction, placement.normal
    for bend in table.bends:
        n = rotate(n, t, bend.rotation)
        begin = along(point, t, bend.feed)
        arc: Segment | None = None
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


def _changes(table: BendTable, placement: Placement, fixed: set[int]) -> tuple[list[_RowMove], list[tuple[str, int]]]:
    zero = (0.0, 0.0, 0.0)
    axes = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    changes = [_RowMove(-1, True, a, zero, zero) for a in axes]
    changes += [_RowMove(-1, True, zero, a, placement.start) for a in axes]
    names: list[tuple[str, int]] = [("shift", 0), ("shift", 1), ("shift", 2), ("turn", 0), ("turn", 1), ("turn", 2)]
    frames = _frames(table, placement)
    for k, bend in enumerate(table.bends):
        point, t, n, arc = frames[k]
        begin = along(point, t, bend.feed)
        if bend.feed > 0.0:
            changes.append(_RowMove(k, True, t, zero, zero))
            names.append(("feed", k))
        if k > 0:
            changes.append(_RowMove(k, True, zero, t, begin))
            names.append(("rotation", k))
        center = arc.center if isinstance(arc, Arc) else begin
        changes.append(_RowMove(k, False, zero, n, center))
        names.append(("angle", k))
        if isinstance(arc, Arc) and k not in fixed:
            r = arc.radius
            chord = tuple((b - a) / r for a, b in zip(arc.start, arc.end, strict=True))
            changes.append(_RowMove(k, False, (chord[0], chord[1], chord[2]), zero, zero, radius_of=k))
            names.append(("radius", k))
    if table.tail > 0.0:
        changes.append(_RowMove(len(table.bends), True, frames[-1][1], zero, zero))
        names.append(("tail", len(table.bends)))
    return changes, names


def _system(
    table: BendTable,
    placement: Placement,
    proofs: list[RowVertices],
    changes: list[_RowMove],
    start: Vec,
    end: Vec,
) -> tuple[Array, Array]:
    """Residuals (m,) in mm and their derivatives (m, unknowns)."""
    points, ups, rows, arcs, radial, values = _rows(table, placement, proofs, start, end)
    frames = _frames(table, placement)
    jacobian = np.zeros((len(values), len(changes)))
    last = len(table.bends)
    for column, change in enumerate(changes):
        after = rows > change.first
        if change.arc:
            after = after | ((rows == change.first) & arcs)
        if column >= 6 and change.first == last:  # the tail: only the end point feels it
            after = rows > last
        if after.any():
            move = np.broadcast_to(np.array(change.v), (int(after.sum()), 3))
            if change.w != (0.0, 0.0, 0.0):
                move = move + _turned(change.w, points[after] - np.array(change.at))
            jacobian[after, column] = -np.einsum("ij,ij->i", ups[after], move)
        if change.radius_of >= 0:
            own = (rows == change.radius_of) & arcs
            _, t, n, _ = frames[change.radius_of]
            inward = np.array(cross(n, t))
            jacobian[own, column] = -(ups[own] @ inward) - radial[own]
    return values, jacobian


def _turned(w: Vec, arms: Array) -> Array:
    """w x arms, row by row (np.cross is several times slower)."""
    x, y, z = arms[:, 0], arms[:, 1], arms[:, 2]
    return np.stack((w[1] * z - w[2] * y, w[2] * x - w[0] * z, w[0] * y - w[1] * x), axis=1)


def _rows(
    table: BendTable, placement: Placement, proofs: list[RowVertices], start: Vec, end: Vec
) -> tuple[Array, Array, NDArray[np.intp], NDArray[np.bool_], Array, Array]:
    """Each residual's vertex, direction, row, whether it is on the row's bend, whether radial, and value."""
    frames = _frames(table, placement)
    points: list[Array] = []
    ups: list[Array] = []
    rows: list[NDArray[np.intp]] = []
    arcs: list[NDArray[np.bool_]] = []
    radial: list[Array] = []
    values: list[Array] = []

    def put(
        x: Array, u: Array, row: int, on_arc: bool, is_radial: bool, value: Array, weights: Array | None = None
    ) -> None:
        w = np.ones(len(x)) if weights is None else weights
        points.append(x)
        ups.append(u if weights is None else u * w[:, None])
        rows.append(np.full(len(x), row))
        arcs.append(np.full(len(x), on_arc))
        radial.append(w if is_radial else np.zeros(len(x)))
        values.append(value if weights is None else value * w)

    for proof in proofs:
        x = proof.points
        origin, along_t, n, arc = frames[proof.row]
        if proof.kind == "line":
            for u in (np.array(n), np.array(cross(n, along_t))):
                put(x, np.broadcast_to(u, x.shape), proof.row, False, False, (x - np.array(origin)) @ u, proof.weights)
        elif isinstance(arc, Arc):
            up = np.array(arc.normal)
            arm = x - np.array(arc.center)
            height = arm @ up
            flat = arm - np.multiply.outer(height, up)
            size = np.sqrt(np.einsum("ij,ij->i", flat, flat))
            u = flat / np.where(size > 0.0, size, 1.0)[:, None]
            put(x, u, proof.row, True, True, size - arc.radius, proof.weights)
            put(x, np.broadcast_to(up, x.shape), proof.row, True, False, height, proof.weights)
    # the ends also hold lengthwise
    a, b = np.array([start]), np.array([end])
    point, t = np.array(frames[0][0]), np.array(frames[0][1])
    put(a, t[None, :], 0, False, False, (a - point) @ t)
    t = np.array(frames[-1][1])
    finish = np.array(along(frames[-1][0], frames[-1][1], table.tail))
    put(b, t[None, :], len(table.bends) + 1, False, False, (b - finish) @ t)
    return (
        np.concatenate(points),
        np.concatenate(ups),
        np.concatenate(rows),
        np.concatenate(arcs),
        np.concatenate(radial),
        np.concatenate(values),
    )


def _cost(table: BendTable, placement: Placement, proofs: list[RowVertices], start: Vec, end: Vec) -> float:
    values = _rows(table, placement, proofs, start, end)[-1]
    return float(values @ values)


def _moved(
    table: BendTable, placement: Placement, names: list[tuple[str, int]], step: NDArray[np.floating]
) -> tuple[BendTable, Placement] | None:
    """The table and placement after a step; None where it leaves what a bend can be."""
    feeds = list(table.straights)
    rotations = [b.rotation for b in table.bends]
    angles = [b.angle for b in table.bends]
    radii = [b.clr for b in table.bends]
    shift, turn = [0.0] * 3, [0.0] * 3
    for (kind, row), value in zip(names, step.tolist(), strict=True):
        if kind == "shift":
            shift[row] = value
        elif kind == "turn":
            turn[row] = value
        elif kind in ("feed", "tail"):
            # a straight may dwindle but not vanish in one step: later steps may want it back
            feeds[row] = max(0.1 * feeds[row], feeds[row] + value)
        elif kind == "rotation":
            rotations[row] += float(np.degrees(value))
        elif kind == "angle":
            angles[row] += float(np.degrees(value))
        else:
            radii[row] = (radii[row] or 0.0) + value
    bends = []
    for i, old in enumerate(table.bends):
        rotation = (rotations[i] + 180.0) % 360.0 - 180.0
        rotation = 180.0 if rotation <= -180.0 + 1e-9 else rotation
        radius = radii[i]
        if not 0.0 < angles[i] < 360.0 or (radius is not None and not radius > 0.0):
            return None
        bends.append(Bend(feeds[i], rotation, angles[i], radius, old.clr_uncertainty, old.corner))
    w = (turn[0], turn[1], turn[2])
    size = norm(w)
    t, n = placement.direction, placement.normal
    if size > 0.0:
        axis = unit(w)
        t, n = (unit(rotate(v, axis, float(np.degrees(size)))) for v in (t, n))
    n = unit(along(n, t, -(n[0] * t[0] + n[1] * t[1] + n[2] * t[2])))
    s = placement.start
    return BendTable(tuple(bends), feeds[-1]), Placement((s[0] + shift[0], s[1] + shift[1], s[2] + shift[2]), t, n)


def thinned(points: Array) -> Array:
    """At most `MOST_VERTICES` of the rows of points, evenly."""
    if len(points) <= MOST_VERTICES:
        return points
    picked: Array = points[np.linspace(0, len(points) - 1, MOST_VERTICES).astype(np.intp)]
    return picked


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
