"""The table that fits a mesh best: every number of it at once, by least squares on the vertices.

A vertex of a tube's skin lies at the radius from the centerline, so its residual is its distance
from the centerline less the radius, which is one more unknown (two with a bore). Gauss-Newton with
exact derivatives: changing one number of the table moves all that follows as a rigid body, by a
shift v and a turn w, and a residual changes by -u . (v + w x arm), u pointing from the axis to the
vertex. The start may not slide along the tube: nothing round says where a straight begins.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt
from typing import NamedTuple

import numpy as np

from converter.arrays import Array, Flags
from converter.geometry.circles import along_axis, vec
from converter.geometry.vectors import Vec, add, along, cross, dot, norm, rotate, sub, unit, within_half_turn
from converter.importers.mesh.effort import Effort
from converter.importers.mesh.feet import Feet, TablePart, feet_of, parts_of
from converter.importers.mesh.stations import solve_spd
from converter.model.bends import BendTable, Placement

STEPS = 40
SIGMAS = 3.0  #: standard deviations that an uncertainty names
BEYOND = 5.0  #: radii by which first and last straights are thought prolonged


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """What the vertices say.

    Attributes:
        table, placement: the tube; each bend's ``clr_uncertainty`` is filled.
        radius, bore: mm; bore is None without inner vertices.
        sigma: standard deviation of one vertex, mm.
        od_loose: uncertainty of the outside diameter, mm.
        angle_loose: uncertainty of each bend's angle, degrees.
        feed_loose: uncertainty of each bend's feed, mm.
        turn_loose: uncertainty of each bend's rotation, degrees.
        rms: root mean square of all residuals, far ones in full, mm.
        spread: standard deviation of the residuals by their median, mm.
        unknowns: how many numbers the vertices decide.
        residual: (n,) of each fitted vertex, mm.
    """

    table: BendTable
    placement: Placement
    radius: float
    bore: float | None
    sigma: float
    od_loose: float
    angle_loose: tuple[float, ...]
    feed_loose: tuple[float, ...]
    turn_loose: tuple[float, ...]
    rms: float
    spread: float
    unknowns: int
    residual: Array


@dataclass(slots=True)
class TableMove:
    """One unknown of a table in place: parts of rows after ``row`` move (with ``own``: the bend of that row too).

    Attributes:
        kind: 'shift', 'turn', 'feed', 'rotation', 'angle' or 'radius'.
        row: of the table; -1 moves all of it.
        own: see above.
        v, w, at: for each mm or radian, a shift and a turn about ``at``.
    """

    kind: str
    row: int
    own: bool
    v: Vec
    w: Vec
    at: Vec


def changes_of(table: BendTable, placement: Placement, parts: list[TablePart], slides: bool) -> list[TableMove]:
    """The unknowns of a table in place; ``slides``: whether a first straight of 0 may grow."""
    zero = (0.0, 0.0, 0.0)
    t, n = placement.direction, placement.normal
    b = cross(n, t)
    start = placement.start
    out = [TableMove("shift", -1, True, n, zero, zero), TableMove("shift", -1, True, b, zero, zero)]
    out += [TableMove("turn", -1, True, zero, n, start), TableMove("turn", -1, True, zero, b, start)]
    if table.bends:
        out.append(TableMove("turn", -1, True, zero, t, start))
    arcs = {p.row: p for p in parts if p.arc is not None}
    straights = {p.row: p for p in parts if p.arc is None}
    for k, bend in enumerate(table.bends):
        arc = arcs.get(k)
        straight = straights.get(k)
        here = arc.point if arc is not None else along(straight.point, straight.t, straight.length)  # type: ignore[union-attr]
        heading = arc.t if arc is not None else straight.t  # type: ignore[union-attr]
        if bend.feed > 0.0 or (k == 0 and slides):
            out.append(TableMove("feed", k, True, heading, zero, zero))
        if k > 0:
            out.append(TableMove("rotation", k, True, zero, heading, here))
        if arc is not None and arc.arc is not None:
            out.append(TableMove("angle", k, False, zero, arc.n, arc.arc.center))
            r = arc.arc.radius
            chord = tuple((y - x) / r for x, y in zip(arc.arc.start, arc.arc.end, strict=True))
            out.append(TableMove("radius", k, False, (chord[0], chord[1], chord[2]), zero, zero))
        else:
            normal = rotate(straights[k].n, heading, bend.rotation)
            out.append(TableMove("angle", k, False, zero, normal, here))
    return out


def _jacobian(points: Array, feet: Feet, parts: list[TablePart], changes: list[TableMove]) -> Array:
    row = np.array([p.row for p in parts])[feet.part]
    bent = np.array([p.arc is not None for p in parts])[feet.part]
    # u . (w x (x - at)) = w . ((x - at) x u) = w . (x x u) - w . (at x u)
    p, u = points, feet.up
    turned = np.stack(
        [p[:, i] * u[:, j] - p[:, j] * u[:, i] for i, j in ((1, 2), (2, 0), (0, 1))],
        axis=1,
    )
    out = np.zeros((len(points), len(changes)))
    arcs = {p.row: p for p in parts if p.arc is not None}
    for column, change in enumerate(changes):
        after = (row > change.row) | (bent & (row == change.row)) if change.own else row > change.row
        w, v = np.array(change.w), np.array(sub(change.v, cross(change.w, change.at)))
        out[:, column] = np.where(after, -(along_axis(feet.up, v) + along_axis(turned, w)), 0.0)
        if change.kind == "radius":
            part = arcs[change.row]
            assert part.arc is not None
            own = bent & (row == change.row)
            inward = np.array(cross(part.n, part.t))
            flat = points[own] - np.array(part.arc.center)
            flat = flat - along_axis(flat, np.array(part.n))[:, None] * np.array(part.n)
            flat /= np.sqrt((flat * flat).sum(axis=1))[:, None]
            out[own, column] = -along_axis(feet.up[own], inward) - np.einsum("ij,ij->i", feet.up[own], flat)
    return out


def moved_by(
    table: BendTable, placement: Placement, changes: list[TableMove], step: list[float]
) -> tuple[BendTable, Placement] | None:
    """A table with each unknown changed by so many mm or radians; None where that is no table."""
    feeds = list(table.straights)
    rows = [[b.rotation, b.angle, b.clr] for b in table.bends]
    shift, turn = (0.0, 0.0, 0.0), (0.0, 0.0, 0.0)
    for change, value in zip(changes, step, strict=True):
        if change.kind == "shift":
            shift = along(shift, change.v, value)
        elif change.kind == "turn":
            turn = along(turn, change.w, value)
        elif change.kind == "feed":
            moved = feeds[change.row] + value
            feeds[change.row] = moved if change.row == 0 else max(0.1 * feeds[change.row], moved)
        elif change.kind == "rotation":
            rows[change.row][0] = (rows[change.row][0] or 0.0) + float(np.degrees(value))
        elif change.kind == "angle":
            rows[change.row][1] = (rows[change.row][1] or 0.0) + float(np.degrees(value))
        else:
            rows[change.row][2] = (rows[change.row][2] or 0.0) + value
    bends = []
    for i, old in enumerate(table.bends):
        rotation, angle, clr = rows[i]
        rotation = within_half_turn(rotation or 0.0)
        if angle is None or not 0.0 < angle < 360.0 or (clr is not None and not clr > 0.0):
            return None
        bends.append(replace(old, feed=feeds[i], rotation=rotation, angle=angle, clr=clr))
    t, n = placement.direction, placement.normal
    size = norm(turn)
    if size > 0.0:
        if size > 1.0:
            return None
        axis = unit(turn)
        t, n = (unit(rotate(v, axis, float(np.degrees(size)))) for v in (t, n))
    n = unit(along(n, t, -dot(n, t)))
    return BendTable(tuple(bends), feeds[-1]), Placement(add(placement.start, shift), t, n)


def fit(
    table: BendTable,
    placement: Placement,
    outer: Array,
    outer_places: Array,
    inner: tuple[Array, Array] | None,
    radius: float,
    bore: float | None,
    beyond: float = BEYOND,
    slides: bool = True,
    trusting: bool = False,
    effort: Effort | None = None,
) -> Fit:
    """The tube closest to vertices.

    Args:
        table, placement: where to begin; feeds of 0 between bends stay 0.
        outer, outer_places: (n, 3) vertices of the outside in order, and roughly their places along the tube (mm).
        inner: the same of the bore, or None.
        radius, bore: of both, mm, roughly.
        beyond: how far the first and last straights are prolonged, in radii.
        slides: whether a first straight of 0 may grow.
        trusting: whether far vertices count in full, which finds an exact tube from further away.
        effort: what it takes is charged to; once it is used up, no further step is made.

    Returns:
        The best found; the beginning itself where nothing is closer.
    """
    vertices, origin = _vertices_of(outer, outer_places, inner if bore is not None else None, radius, beyond)
    placement = replace(placement, start=vec(np.array(placement.start) - origin))
    count, has_bore = len(vertices.points), bool(vertices.inside.any())
    tube = vertices.beside(table, placement, (radius, bore or 0.0))
    weight = np.ones(count) if trusting else weights_of(tube.residual)
    cost = _cost(weight, tube.residual)
    damping = 1e-9
    changes = changes_of(table, placement, tube.parts, slides)
    normal = np.eye(1)
    for _ in range(STEPS):
        if effort is not None and effort.is_used_up and normal.shape[0] > 1:
            break
        changes = changes_of(tube.table, tube.placement, tube.parts, slides)
        jac = _with_radii(_jacobian(vertices.points, tube.feet, tube.parts, changes), vertices.inside)
        normal, gradient = products_of(jac, weight, tube.residual)
        if effort is not None:
            effort.spend_on_step(count, jac.shape[1], len(tube.parts))
        closer = None
        for _ in range(5):
            lhs = normal.copy()
            diagonal = np.diag_indices_from(lhs)
            lhs[diagonal] += damping * np.maximum(lhs[diagonal], 1e-12 * float(lhs[diagonal].max()))
            step = -solved(lhs, gradient)
            if -float(gradient @ step) <= 1e-7 * cost + 1e-26 * count:
                break  # nothing to gain
            moved = moved_by(tube.table, tube.placement, changes, step[: len(changes)].tolist())
            if moved is not None:
                (outside, within), grown = tube.radii, step[len(changes) :].tolist()
                one = vertices.beside(*moved, (outside + grown[0], within + (grown[1] if has_bore else 0.0)))
                if _cost(weight, one.residual) < cost:
                    closer = one
                    break
            damping = max(damping * 30.0, 1e-7)
        if closer is None:
            break
        tube, new_cost = closer, _cost(weight, closer.residual)
        damping = max(damping / 30.0, 1e-9)
        done = cost - new_cost <= 1e-6 * new_cost or new_cost <= 1e-24 * count
        weight = np.ones(count) if trusting else weights_of(tube.residual)
        cost = _cost(weight, tube.residual)
        if done:
            break
    placement = replace(tube.placement, start=vec(np.array(tube.placement.start) + origin))
    outside, within = tube.radii
    return fit_with_doubt(
        tube.table, placement, changes, normal, weight, tube.residual, outside, within if has_bore else None
    )


class _TubeBeside(NamedTuple):
    """A tube beside the vertices that it is to be closest to: its parts, the feet of the vertices on them, how far off
    its outside (or its bore) each vertex lies, mm."""

    table: BendTable
    placement: Placement
    radii: tuple[float, float]
    parts: list[TablePart]
    feet: Feet
    residual: Array


class _Vertices(NamedTuple):
    """Vertices (n, 3) in order, about their middle, with their rough places along the tube and which are of the bore;
    how far a vertex is looked for around its place, and how far the ends are prolonged, mm."""

    points: Array
    places: Array
    inside: Flags
    reach: float
    ahead: float

    def beside(self, table: BendTable, placement: Placement, radii: tuple[float, float]) -> _TubeBeside:
        """A tube of an outside radius and a bore's held against them."""
        parts = parts_of(table, placement)
        feet = feet_of(self.points, parts, self.ahead, self.places, self.reach)
        off = feet.off - np.where(self.inside, radii[1], radii[0])
        return _TubeBeside(table, placement, radii, parts, feet, off)


def _vertices_of(
    outer: Array, outer_places: Array, inner: tuple[Array, Array] | None, radius: float, beyond: float
) -> tuple[_Vertices, Array]:
    """The vertices that `fit` is given, about their middle: large coordinates would cost digits in every product."""
    points, places, inside = outer, outer_places, np.zeros(len(outer), bool)
    if inner is not None and len(inner[0]):
        points, places = np.concatenate((outer, inner[0])), np.concatenate((outer_places, inner[1]))
        inside = np.concatenate((inside, np.ones(len(inner[0]), bool)))
        order = np.argsort(places, kind="stable")
        points, places, inside = points[order], places[order], inside[order]
    origin = points.mean(axis=0)
    return _Vertices(points - origin, places, inside, 4.0 * radius, beyond * radius), origin


def _with_radii(jac: Array, inside: Flags) -> Array:
    """A Jacobian with columns for the outside's radius, and the bore's where any vertex is of it."""
    columns = [jac, np.where(inside, 0.0, -1.0)[:, None]]
    if inside.any():
        columns.append(np.where(inside, -1.0, 0.0)[:, None])
    return np.concatenate(columns, axis=1)


def _cost(weight: Array, residual: Array) -> float:
    return float(np.einsum("i,i,i->", weight, residual, residual))


def fit_with_doubt(
    table: BendTable,
    placement: Placement,
    changes: list[TableMove],
    normal: Array,
    weight: Array,
    residual: Array,
    radius: float,
    bore: float | None,
) -> Fit:
    """The fit of a table, with what its vertices leave open.

    Args:
        table, placement, radius, bore: as fitted.
        changes: its unknowns, in the order of the normal matrix, in which more may follow: the outside's size first.
        normal: weighted normal matrix.
        weight, residual: (n,) of each vertex.
    """
    cost = float(np.einsum("i,i,i->", weight, residual, residual))
    free = max(1.0, float(weight.sum()) - normal.shape[0])
    sigma = sqrt(cost / free)
    cov = covariance_of(normal)
    # what the table does not follow is doubt about it, too
    rms = sqrt(float(np.einsum("i,i->", residual, residual)) / len(residual))
    spread = SIGMAS * max(sigma, rms) * np.sqrt(np.maximum(0.0, np.diag(cov)))
    loose = {(c.kind, c.row): float(s) for c, s in zip(changes, spread, strict=False)}
    bends = tuple(
        replace(b, clr_uncertainty=0.0 if b.clr is None else max(loose.get(("radius", k), 0.0), 1e-9))
        for k, b in enumerate(table.bends)
    )
    angles = tuple(float(np.degrees(loose.get(("angle", k), 0.0))) for k in range(len(bends)))
    feeds = tuple(loose.get(("feed", k), 0.0) for k in range(len(bends)))
    turns = tuple(float(np.degrees(loose.get(("rotation", k), 0.0))) for k in range(len(bends)))
    od_loose = 2.0 * float(spread[len(changes)]) if len(spread) > len(changes) else 0.0
    return Fit(
        replace(table, bends=bends), placement, radius, bore, sigma, od_loose,
        angles, feeds, turns, rms, 1.4826 * float(np.median(np.abs(residual))), int((np.diag(normal) > 0.0).sum()),
        residual,
    )  # fmt: skip


def covariance_of(normal: Array) -> Array:
    """The inverse of a normal matrix; 0 for numbers on which no vertex depends; its pseudo-inverse where singular."""
    free = np.flatnonzero(np.diag(normal) > 0.0)
    core = normal[np.ix_(free, free)]
    inverse = solve_spd(core, np.eye(len(free))) if len(free) else None
    if inverse is None:
        return np.asarray(np.linalg.pinv(normal, hermitian=True), dtype=np.float64)
    cov = np.zeros_like(normal)
    cov[np.ix_(free, free)] = inverse
    return cov


def products_of(jac: Array, weight: Array, residual: Array) -> tuple[Array, Array]:
    """Weighted normal matrix and gradient, without the threads of a BLAS, which cost more than they save here."""
    weighted = jac * weight[:, None]
    columns = np.ascontiguousarray(weighted.T)
    count = jac.shape[1]
    normal = np.empty((count, count))
    plain = np.ascontiguousarray(jac.T)
    for k in range(count):
        normal[k, k:] = np.einsum("ji,i->j", plain[k:], columns[k])
        normal[k:, k] = normal[k, k:]
    return normal, np.einsum("ji,i->j", columns, residual)


def solved(lhs: Array, gradient: Array) -> Array:
    """The step; the shortest where the vertices leave something open."""
    found = solve_spd(lhs, gradient)
    if found is None:
        found = np.asarray(np.linalg.lstsq(lhs, gradient, rcond=None)[0], dtype=np.float64)
    return found


def weights_of(residual: Array) -> Array:
    """1 for what lies within six and a half standard deviations, less beyond (Huber's weights).

    The scale is where 95 of 100 residuals end: a dent is not believed, but a stretch that the table does
    not follow is.
    """
    size = np.abs(residual)
    at = int(0.95 * (len(size) - 1))
    limit = 3.3 * float(np.partition(size, at)[at]) + 1e-12
    return np.minimum(1.0, limit / np.maximum(size, 1e-300))
