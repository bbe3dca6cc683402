"""Square and rectangular tube, found by its rails, to a table: ends, section, and proof."""

from __future__ import annotations

from math import cos, tan
from typing import TYPE_CHECKING

import numpy as np

from converter.findings import Clause, Finding
from converter.geometry.circles import vec
from converter.geometry.vectors import Vec, angle_between, cross, dot, norm, scale, sub
from converter.importers.solids.chains import PieceChain
from converter.importers.solids.ends import ChainEnd, bore_short_finding, end_findings, on_plane, reach
from converter.importers.solids.faces import CONE, CYLINDER, PLANE, Patch, Rim, SolidBody
from converter.importers.solids.pieces import Axis, TubePiece
from converter.importers.solids.rails import Rail, normal_at
from converter.importers.solids.square import SquareTube
from converter.importers.solids.table import NEAT, canonical, segments_of, table_of
from converter.model.bends import BendTable, Placement
from converter.model.drawing import ReadyTable
from converter.model.frames import Piece, pieces
from converter.model.section import Outline, Section
from converter.tolerances import Tolerances

if TYPE_CHECKING:
    from converter.arrays import Array

#: A section turned by less than this (degrees) against the first bend lies square to it.
_FLUSH = 0.2


def square_table(body: SolidBody, tube: SquareTube, name: str, tol: Tolerances) -> ReadyTable | None:
    """The ready table of a square or rectangular tube; None when nothing with a length is left."""
    ends = None if tube.chain.closed else (_end(body, tube, 0, tol), _end(body, tube, 1, tol))
    made = segments_of(tube.chain, ends, tol)
    if not made:
        return None
    made, backward = canonical(made, tube.chain.closed, tol)
    settled = table_of(made, tube.chain.closed, name, tol)
    if settled is None:
        return None
    table, placement, told = settled
    framed = _section(tube, table, placement, backward, tol)
    if framed[2] > 0.001 and not tube.chain.closed:
        # the section must lie square to the first bend: from the other end it may
        made = [one.reversed() for one in reversed(made)]
        other = table_of(made, False, name, tol)
        if other is not None:
            again = _section(tube, other[0], other[1], not backward, tol)
            if again[2] < 0.1 * framed[2]:
                (table, placement, told), framed, backward = other, again, not backward
    placement, section, turned = framed
    off = _deviation(body, tube, table, placement, section)
    metal = None
    if ends is not None:
        metal = (ends[1].metal, ends[0].metal) if backward else (ends[0].metal, ends[1].metal)
    findings = (
        *told,
        *_stray_findings(tube, section, turned, off, name, tol),
        *end_findings(ends, backward, name, tol),
        *(
            bore_short_finding(name, letter, end.short, tol)
            for letter, end in zip("AB", (ends[::-1] if backward else ends) if ends else (), strict=False)
            if end.short > tol.fit
        ),
    )
    return ReadyTable(name, table, placement, section, None, tube.chain.closed, off, metal, None, findings)


def _section(
    tube: SquareTube, table: BendTable, placement: Placement, backward: bool, tol: Tolerances
) -> tuple[Placement, Section, float]:
    """The section as the model wants it (width along the first bend's normal), and what it is turned by.

    A straight has no bend to tell width from height: the longer side is the width.
    """
    sides, sizes = list(tube.sides), [round(size, NEAT) for size in tube.sizes]
    wall, corner = round(tube.wall, NEAT), round(tube.corner, NEAT)
    if not table.bends:
        k = 0 if sizes[0] >= sizes[1] else 1
        across = _signed(sides[k])
        across = sub(across, scale(placement.direction, dot(across, placement.direction)))
        placement = Placement(placement.start, placement.direction, scale(across, 1.0 / norm(across)))
        width, height, turned = sizes[k], sizes[1 - k], 0.0
    else:
        normal = _normal_at_first(tube, table, placement, backward)
        angles = [angle_between(side, normal) for side in sides]
        off = [min(a, 180.0 - a) for a in angles]
        k = 0 if off[0] <= off[1] else 1
        width, height, turned = sizes[k], sizes[1 - k], off[k]
    even, flat = ("square", "rectangular") if tube.inner else ("square-bar", "flat-bar")
    if tube.inner and abs(2.0 * corner - min(width, height)) <= tol.fit and abs(width - height) > 2.0 * tol.fit:
        return placement, Section("flat-oval", width, wall, height), turned
    if abs(width - height) <= tol.equal * 10.0:
        size = (width + height) / 2.0
        return placement, Section(even, size, wall, size, min(corner, size / 2.0)), turned
    return placement, Section(flat, width, wall, height, min(corner, width / 2.0, height / 2.0)), turned


def _signed(d: Vec) -> Vec:
    first = next((v for v in d if abs(v) > 1e-6), 1.0)
    return d if first > 0.0 else scale(d, -1.0)


def _normal_at_first(tube: SquareTube, table: BendTable, placement: Placement, backward: bool) -> Vec:
    """The first bend's normal, carried along the tube with the section to the piece that the sides belong to."""
    if not backward and not tube.chain.closed:
        return placement.normal
    at = _start_of_chain(tube)
    best, least = placement.normal, float("inf")
    for stretch in pieces(table, placement):
        for station in (stretch.start, stretch.end):
            away = norm(sub(station.point, at))
            if away < least:
                best, least = station.across, away
    return best


def _start_of_chain(tube: SquareTube) -> Vec:
    piece, back = tube.chain.items[0]
    return piece.axis.at(piece.hi if back else piece.lo)


# --- ends -----------------------------------------------------------------------------------


def _end(body: SolidBody, tube: SquareTube, which: int, tol: Tolerances) -> ChainEnd:
    """The end of the chain at its first (0) or last (1) piece.

    Where several tubes are one body the outsides flow together, and the bores tell how they
    were put together: a square end of the bore counts before a slanted end of the outside.
    """
    piece, back = tube.chain.items[-1 if which else 0]
    side = (0 if back else 1) if which else (1 if back else 0)
    axis = piece.axis
    outside = _cut_points(body, tube.outer, which)
    inside = _cut_points(body, tube.inner, which) if tube.inner else outside
    t, on = _cope(body, outside, axis, side, tol), "mate"
    by_bore = False
    short = 0.0
    if t is None:
        on = "cut"
        t = _planar(axis, outside, piece.end(side), tol)
        bore = _planar(axis, inside, piece.end(side), tol)
        square = float(np.ptp(axis.places(inside))) <= tol.fit if not axis.is_ring else False
        if bore is not None and (t is None or (square and abs(bore - t) > tol.fit)):
            if t is not None and _is_closed(body, tube, axis, (bore, t), outside, tol):
                short = abs(t - bore)
            else:
                t, by_bore = bore, True
    if t is None:
        t, on = piece.end(side), "corners"
    point, heading = axis.at(t), axis.heading(t)
    out = heading if side else scale(heading, -1.0)
    every = [vec(p) for p in (inside if by_bore else np.concatenate((outside, inside)))]
    metal = max(dot(sub(p, point), out) for p in every)
    if not by_bore:
        # edges beyond the rails' ends: a cope is longest between the corners of the section
        metal = max(metal, reach(_end_rims(body, tube, axis, every, out), point, out))
    if on == "cut" and not tube.inner and metal > tol.fit and float(np.ptp(outside @ np.array(out))) <= tol.fit:
        # a bar's end that is rounded or pointed beyond where its corners end
        t, metal, on = t + (metal if side else -metal) / (axis.major or 1.0), 0.0, "point"
    return ChainEnd(t, 0.0 if abs(metal) < 1e-7 else metal, on, short)


def _is_closed(
    body: SolidBody, tube: SquareTube, axis: Axis, ends: tuple[float, float], outside: Array, tol: Tolerances
) -> bool:
    """Whether a tube is full of metal from its bore's end to its outside's: closed, and no neighbour's walls there.

    Args:
        ends: where the bore ends and where the outside does, square, along the straight ``axis``.
        outside: points at the outside's end.
    """
    bore, far = ends
    middle = (tube.chain.pieces[0].lo + tube.chain.pieces[0].hi) / 2.0 if len(tube.chain.pieces) == 1 else bore
    if float(np.ptp(axis.places(outside))) > tol.fit or (far - bore) * (bore - middle) < 0.0:
        return False
    low, high = sorted(ends)
    reach = max(tube.sizes) / 2.0
    for patch in body.patches:
        if patch.shape.kind != PLANE or norm(cross(patch.shape.axis, axis.direction)) > 1e-4:
            continue
        points = np.concatenate([body.rims[k].points for k, _ in patch.rims])
        t = axis.places(points)
        off = points - np.array(axis.point) - np.outer(t, axis.direction)
        near = bool((np.linalg.norm(off, axis=1) < reach * 1.5).any())
        if near and low + tol.fit < float(t.mean()) < high - tol.fit:
            return False
        if near and abs(float(t.mean()) - far) <= tol.fit and float(np.linalg.norm(off, axis=1).max()) > 2.0 * reach:
            return False  # what closes it is wider than the tube
    return True


def _cut_points(body: SolidBody, rails: tuple[PieceChain, ...], which: int) -> Array:
    """Points where rails end: of rounded corners along the edge that ends them, of sharp ones their ends."""
    found: list[Array] = []
    for rail in rails:
        piece, back = rail.items[-1 if which else 0]
        side = (0 if back else 1) if which else (1 if back else 0)
        own = [body.rims[index] for patch in piece.patches for index, _ in patch.rims]
        cuts = [rim.points for rim in own if len(rim.points) and _ends(piece, side, rim)]
        found += cuts or [np.array([piece.axis.at(piece.end(side))])]
    return np.concatenate(found)


def _ends(piece: TubePiece, side: int, rim: Rim) -> bool:
    """Whether an edge of a corner's face crosses it at this end, and does not run along it."""
    t = piece.axis.places(rim.points)
    middle = (piece.lo + piece.hi) / 2.0
    if piece.axis.is_ring:
        t = middle + (t - middle + np.pi) % (2.0 * np.pi) - np.pi
    return float(np.ptp(t)) < 0.5 * (piece.hi - piece.lo) and (float(t.mean()) >= middle) == bool(side)


def _planar(axis: Axis, points: Array, near: float, tol: Tolerances) -> float | None:
    """Where the plane through points meets the centerline; None when they lie in no plane across it."""
    middle = points.mean(axis=0)
    arms = points - middle
    _, axes = np.linalg.eigh(arms.T @ arms)
    normal = axes[:, 0]
    if float(np.abs(arms @ normal).max()) > 0.2 * tol.fit:
        return None
    return on_plane(axis, vec(middle), vec(normal), near)


def _cope(body: SolidBody, points: Array, axis: Axis, side: int, tol: Tolerances) -> float | None:
    """Where the centerline ends on the axis of a cylinder that most of the outside's corners end on.

    An axis that lies no further out than the corners is that of a rounding of the end itself.
    """
    if axis.is_ring:
        return None
    for patch in body.patches:
        shape = patch.shape
        if shape.kind != CYLINDER:
            continue
        n = cross(axis.direction, shape.axis)
        if norm(n) < 0.2:
            continue
        arms = points - np.array(shape.point)
        along = arms @ np.array(shape.axis)
        off = np.sqrt(np.maximum((arms * arms).sum(axis=1) - along * along, 0.0)) - shape.radius
        if float((np.abs(off) <= tol.fit).mean()) >= 0.7:
            w = sub(shape.point, axis.point)
            t = dot(cross(w, shape.axis), n) / dot(n, n)
            if (t - float(axis.places(points).mean())) * (1.0 if side else -1.0) > tol.fit:
                return t
    return None


def _end_rims(body: SolidBody, tube: SquareTube, axis: Axis, ends: list[Vec], out: Vec) -> list[Rim]:
    """Edges across the tube among its rails' ends: within the section, and not behind the ends."""
    if axis.is_ring:
        return []
    size = max(tube.sizes)
    o, d = np.array(axis.point), np.array(out)
    low = min(dot(sub(p, axis.point), out) for p in ends) - 1e-6
    inside = []
    for rim in body.rims:
        if not len(rim.points):
            continue
        arm = rim.points - o
        along = arm @ d
        if float(along.min()) < low or float(along.max()) > low + 8.0 * size:
            continue
        off = arm - np.outer(along, d)
        across = [np.abs(off @ np.array(s)) for s in _sides_at(tube, axis)]
        if all(float(a.max()) <= s / 2.0 + 1e-4 for a, s in zip(across, tube.sizes, strict=True)):
            inside.append(rim)
    # of these, what hangs together with the rails' ends: not another stretch that passes by
    spots = np.array(ends)
    found: list[Rim] = []
    while True:
        more = [rim for rim in inside if any(float(np.abs(spots - p).sum(axis=1).min()) < 1e-4 for p in _tips(rim))]
        if not more:
            return found
        found += more
        inside = [rim for rim in inside if not any(rim is one for one in more)]
        spots = np.array([p for rim in more for p in _tips(rim)])


def _tips(rim: Rim) -> tuple[Array, Array]:
    return rim.points[0], rim.points[-1]


def _sides_at(tube: SquareTube, axis: Axis) -> tuple[Vec, Vec]:
    """Side directions across a straight, from the rails themselves."""
    index = next(k for k, (p, _) in enumerate(tube.chain.items) if p.axis is axis)
    spots = [rail.items[index][0].axis.point for rail in tube.outer]
    made = []
    for other in (spots[1], spots[3]):
        arm = sub(other, spots[0])
        arm = sub(arm, scale(axis.direction, dot(arm, axis.direction)))
        made.append(scale(arm, 1.0 / norm(arm)))
    return made[0], made[1]


# --- proof ----------------------------------------------------------------------------------


def _deviation(body: SolidBody, tube: SquareTube, table: BendTable, placement: Placement, section: Section) -> float:
    """Largest distance in mm of rails, their corner faces and the flats beside them from the rebuilt outline."""
    stretches = pieces(table, placement, tube.chain.closed)
    worst = 0.0
    both = (tube.outer, tube.inner) if tube.inner else (tube.outer,)
    for rails, loop in zip(both, section.loops, strict=True):
        points = _points(body, rails)
        if len(points):
            off = _off(points, stretches, loop, tube.chain.closed)
            # what lies far off belongs to something else that a merged face runs on into
            worst = max(worst, float(off[off <= section.greater].max(initial=0.0)))
    return worst


def _points(body: SolidBody, rails: tuple[PieceChain, ...]) -> Array:
    found: list[Array] = []
    beside: set[int] = set()
    mine: set[int] = set()
    for rail in rails:
        for piece, _ in rail.items:
            if piece.radius == 0.0:
                t = np.linspace(piece.lo, piece.hi, 9)
                found.append(np.array([piece.axis.at(float(v)) for v in t]))
            for patch in piece.patches:
                mine.add(patch.index)
                for index, _ in patch.rims:
                    rim = body.rims[index]
                    if len(rim.points):
                        found.append(rim.points)
                        beside.update(rim.faces)
                if patch.samples is not None:
                    found.append(patch.samples)
                elif isinstance(piece, Rail) and patch.shape.kind in (PLANE, CONE):
                    found.append(np.array([_foot(piece.axis.at(float(t)), patch) for t in _ends_and_middle(piece)]))
    for k in beside - mine:
        patch = body.patches[k]
        if patch.shape.kind != PLANE and patch.samples is not None:
            found.append(patch.samples)
    return np.concatenate(found) if found else np.empty((0, 3))


def _ends_and_middle(piece: TubePiece) -> list[float]:
    return [piece.lo, (piece.lo + piece.hi) / 2.0, piece.hi]


def _foot(corner: Vec, patch: Patch) -> Vec:
    """The point of a face that cuts a corner off at a slant that lies nearest to where the corner would be."""
    shape = patch.shape
    arm = sub(corner, shape.point)
    along = dot(arm, shape.axis)
    if shape.kind == PLANE:
        return sub(corner, scale(shape.axis, along))
    across = norm(sub(arm, scale(shape.axis, along)))
    off = (across - shape.radius - along * tan(shape.slope)) * cos(shape.slope)
    normal = normal_at(patch, corner)
    return corner if normal is None else sub(corner, scale(normal, off))


def _off(points: Array, stretches: tuple[Piece, ...], loop: Outline, closed: bool) -> Array:
    """Distance of points from the outline of the stretch where they lie nearest to it."""
    best = np.full(len(points), np.inf)
    half_up, half_across, corner = loop.halves
    half_p, half_q = half_up - corner, half_across - corner
    count = len(stretches)
    for i, one in enumerate(stretches):
        p, q, s, length = section_place(points, one)
        a, b = np.abs(p) - half_p, np.abs(q) - half_q
        outside = np.hypot(np.maximum(a, 0.0), np.maximum(b, 0.0)) + np.minimum(np.maximum(a, b), 0.0) - corner
        off = np.abs(outside)
        first, last = i == 0 and not closed, i == count - 1 and not closed
        wrong = np.zeros(len(points), bool)
        if not first:
            wrong |= s < -0.05
        if not last:
            wrong |= s > length + 0.05
        off[wrong] = np.inf
        best = np.minimum(best, off)
    return best


def section_place(points: Array, one: Piece) -> tuple[Array, Array, Array, float]:
    """Section coordinates (along ``up``, along ``across``) and place along a stretch of points."""
    start = one.start
    up, across, d = np.array(start.up), np.array(start.across), np.array(start.direction)
    if one.arc is None:
        arm = points - np.array(start.point)
        return arm @ up, arm @ across, arm @ d, one.length
    center, normal = np.array(one.arc.center), np.array(one.arc.normal)
    out = np.array(sub(one.arc.start, one.arc.center)) / one.arc.radius
    arm = points - center
    height = arm @ normal
    x, y = arm @ out, arm @ np.array(cross(one.arc.normal, (out[0], out[1], out[2])))
    angle = np.arctan2(y, x)
    sweep = np.radians(one.arc.angle)
    angle = sweep / 2.0 + (angle - sweep / 2.0 + np.pi) % (2.0 * np.pi) - np.pi
    # turned back to the start frame, the point is center + rho out + height normal
    rho = np.hypot(x, y)
    back = np.outer(rho, out) + np.outer(height, normal) + center - np.array(start.point)
    return back @ up, back @ across, angle * one.arc.radius, sweep * one.arc.radius


def _stray_findings(
    tube: SquareTube, section: Section, turned: float, off: float, name: str, tol: Tolerances
) -> list[Finding]:
    reasons = list(tube.odd)
    if turned > _FLUSH:
        reasons.append(Clause.of("solid-section-turned", angle=float(turned)))
    inner = section.loops[-1].corner
    is_told = any(("where", "inside") in clause.values for clause in tube.odd)
    if tube.inner and not is_told and abs(tube.inner_corner - inner) > tol.fit:
        reasons.append(Clause.of("solid-inside-corners", radius=float(tube.inner_corner), even=float(inner)))
    if off <= tol.fit:
        return []
    return [
        Finding(
            "solid-off",
            variant="strays",
            tube=name,
            measured=off,
            limit=tol.fit,
            unit="mm",
            values={"off": float(off), "why": reasons or [Clause.of("solid-fit-tolerance", fit=tol.fit)]},
        )
    ]
