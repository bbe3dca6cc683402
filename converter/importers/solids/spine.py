"""A round tube swept along a free curve: its centerline by the sections of its surface.

What of straights and arcs stands in the same row as its free faces (`spine_rows`) joins it. The spine is handed on as a
drawn spline, so that it is fitted to straights and arcs as any other is.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import atan2, degrees, radians, tau
from typing import Any

import numpy as np
from OCP.GeomAPI import GeomAPI_Interpolate
from OCP.gp import gp_Pnt
from OCP.TColgp import TColgp_HArray1OfPnt

from converter.arrays import Array
from converter.findings import Clause, Finding
from converter.geometry.circles import vec
from converter.geometry.vectors import Vec, along, any_normal, cross, dot, norm, scale, signed_angle, sub, unit
from converter.importers.solids.ends import reach
from converter.importers.solids.faces import CYLINDER, PLANE, SolidBody, faces_of
from converter.importers.solids.primitives import Primitive
from converter.importers.solids.remains import with_remains
from converter.importers.solids.spine_rows import (
    SkinRow,
    away,
    free_radii,
    is_swept_round,
    skin_row,
    skin_strips,
    turns_along,
)
from converter.importers.solids.straight import closed_solid
from converter.importers.solids.volume import BodyVolume
from converter.importers.solids.walls import is_too_little, volume_findings
from converter.kernel.topology import subshapes
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Arc, Spline
from converter.model.drawing import DrawnCurve, ReadyTable, SpineSolid
from converter.model.section import Section
from converter.reducer.sample import sample_spline
from converter.tolerances import Tolerances

#: Solid wire that turns by more than this (degrees) is a spring or coil. Common practice, no source.
_SPRING = 720.0
#: Shorter than so many diameters it is a part of something else.
_SHORT = 2.0
#: mm of tangent on which an end that is cut at a slant is looked for beyond the last section, in diameters.
_BEYOND = 4.0
#: Parts of each step in which the nearest place to a mate is looked for; radii from which on a flat face is no cut of
#: its own; mm of nothing.
_BETWEEN, _WIDER, _LEVEL = 64, 1.05, 1e-6
#: Radii by which the second point of a spine lies from the first at least: nearer ones tell no direction.
_APART = 1e-3
#: Of the polygon that stands for the spine where metal is asked for: corners at most, mm and sine of none.
_CORNERS, _CLOSE, _STRAIGHT = 300, 1e-6, 1e-7
#: Decimals (mm) of sizes that come from samples.
_DECIMALS = 6
#: The spline goes through so many points at first, and comes so near (mm) to all.
_KNOTS, _SPLINE = 33, 1e-3


def may_be_swept(shape: Any, tables: Sequence[ReadyTable], tol: Tolerances) -> bool:
    """Whether a body has a face of free form that goes along something round, and its tubes leave it out.

    Args:
        shape: the kernel's.
        tables: its tubes of straights and arcs.
    """
    if tables and not any(f.code == "solid-remains" for table in tables for f in table.findings):
        return False
    return any(is_swept_round(face, tol) for face in subshapes(shape, "FACE"))


def swept_tube(
    shape: Any, name: str, tol: Tolerances, found: Sequence[ReadyTable] = ()
) -> tuple[DrawnCurve | Clause, list[ReadyTable]] | None:
    """The round tube or bar that a body is, or holds, swept along a free curve; None where it is none.

    Args:
        shape: the kernel's solid, shell or compound of one of these, in place, mm.
        name: how the file calls it.
        tol: ``fit`` is how closely sections must be circles of one radius; ``join`` closes gaps between faces.
        found: tubes of straights and arcs in the same body, some of which may be parts of this one.

    Returns:
        Its spine as a spline from end A, with what its solid tells of section and ends, or why it is no tube; and which
        of the others stay.
    """
    solids = list(subshapes(shape, "SOLID"))
    loose = list(subshapes(shape, "FACE", outside="SOLID"))
    if len(solids) + bool(loose) != 1:
        return None
    shapes = solids or [shape]
    body = faces_of(shapes, tol)
    strips = skin_strips(body, shapes, tol)
    outside = skin_row(strips, max((s.radius for s in strips if not s.exact), default=0.0), tol)
    if outside is None:
        return None
    bores = (skin_row(strips, r, tol, outside) for r in free_radii(strips, outside.radius, tol))
    bore = next((row for row in bores if row is not None), None)
    others = [_without_remains(table) for table in found if _is_beside(table, outside)]
    tube = _SweptBody(body, shapes, bool(solids), outside, bore, others)
    drawn = _drawn(tube, name, tol)
    return None if drawn is None else (drawn, others)


def _is_beside(table: ReadyTable, outside: SkinRow) -> bool:
    """Whether a tube lies beside a swept one, not along it."""
    made = rebuild(table.table, table.placement or Placement())
    middles = [
        one.point(one.angle / 2.0) if isinstance(one, Arc) else along(one.start, one.direction, one.length / 2.0)
        for one in made
    ]
    return bool(middles) and float(away(np.array(middles), outside.extended()).max()) > 0.5 * outside.radius


def _without_remains(table: ReadyTable) -> ReadyTable:
    """A tube without what was told of the rest of its body: the swept tube is no rest."""
    return replace(table, findings=tuple(f for f in table.findings if f.code != "solid-remains"))


# --- the tube ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _SweptBody:
    """A swept tube: its body, the kernel's shapes of it, whether that is a solid, outside, bore, tubes beside it."""

    body: SolidBody
    shapes: Sequence[Any]
    is_solid: bool
    outside: SkinRow
    bore: SkinRow | None
    others: list[ReadyTable]

    @property
    def faces(self) -> set[int]:
        """Numbers of its skins."""
        return self.outside.faces | (self.bore.faces if self.bore is not None else set())


def _drawn(tube: _SweptBody, name: str, tol: Tolerances) -> DrawnCurve | Clause | None:
    centers, radius = tube.outside.centers, tube.outside.radius
    if float(np.linalg.norm(np.diff(centers, axis=0), axis=1).sum()) < 2.0 * _SHORT * radius:
        return None
    turned = float(turns_along(centers).sum())
    if tube.bore is None and turned > _SPRING:
        return Clause.of("solid-spring", od=2.0 * float(radius), turns=turned / 360.0)
    if not tube.outside.closed and tuple(centers[0]) > tuple(centers[-1]):
        centers = centers[::-1]
    ends = None
    if not tube.outside.closed:
        centers, start = _cut(tube, centers)
        backward, end = _cut(tube, centers[::-1])
        centers, ends = backward[::-1], (start, end)
    od = round(2.0 * radius, _DECIMALS)
    wall = od / 2.0 if tube.bore is None else round(radius - tube.bore.radius, _DECIMALS)
    known = tube.bore is not None or tube.is_solid or closed_solid(tube.shapes[0]) is not None
    section = Section("round" if tube.bore is not None else "bar", od, wall) if known else None
    off = max(tube.outside.off, tube.bore.off if tube.bore is not None else 0.0)
    findings = [Finding("solid-swept", tube=name, measured=off, unit="mm", values={"off": off})]
    if off > tol.fit:
        why = Clause.of("solid-fit-tolerance", fit=tol.fit)
        values = {"off": off, "why": (why,)}
        strays = Finding(
            "solid-off", variant="strays", tube=name, measured=off, limit=tol.fit, unit="mm", values=values
        )
        findings.append(strays)
    if section is None:
        findings.append(Finding("solid-skin", tube=name, measured=od, unit="mm", values={"od": od}))
    for letter, cut in zip("AB", ends or (), strict=False):
        if abs(cut.metal) > tol.fit or cut.on != "cut":
            findings.append(Finding("solid-ends", variant=cut.on, tube=name, end=letter, measured=cut.metal, unit="mm"))
    metal = None if ends is None else (ends[0].metal, ends[1].metal)
    polygon = _polygon(centers)
    if polygon is not None:
        # corners leave the spine between them, and end sections lean by half of what its first straight turns
        slack = off + tol.fit + radius * radians(float(turns_along(centers).max(initial=0.0)))
        as_table = ReadyTable(name, *polygon, section, None, tube.outside.closed, slack, metal, None, tuple(findings))
        whole = tube.shapes[0] if tube.is_solid else closed_solid(tube.shapes[0])
        volume = BodyVolume(whole, tube.body)
        if whole is not None and section is not None:
            if is_too_little(volume.by_kernel, as_table):
                return None
            findings += [] if tube.others else volume_findings(volume.by_kernel, as_table)
        cuts = {end.face for end in ends or () if end.on == "cut" and end.face is not None}
        own = tube.faces | cuts  # cuts lean against the polygon, the more the longer its straights
        tables = with_remains([as_table, *tube.others], tube.shapes, own, volume, tube.is_solid, tol)
        findings += [f for f in tables[0].findings if f.code == "solid-remains"]
    solid = SpineSolid(section, metal, off, tuple(findings))
    return DrawnCurve(spline_along(centers), None, None, name, name, solid=solid)


@dataclass(frozen=True, slots=True)
class _SpineEnd:
    """How far metal reaches past the end of a spine, mm, what it ends on (see `solids.ends.ChainEnd`), and its face."""

    metal: float
    on: str
    face: int | None = None


def _cut(tube: _SweptBody, centers: Array) -> tuple[Array, _SpineEnd]:
    """A spine from its first point on, begun where its end is cut; and that end."""
    point, out = vec(centers[0]), _way_out(centers)
    near = _BEYOND * 2.0 * tube.outside.radius
    skins = tube.faces
    rims = {
        k: tube.body.rims[k]
        for index in skins
        for k, _ in tube.body.patches[index].rims
        if len(tube.body.rims[k].points)
        and any(face not in skins for face in tube.body.rims[k].faces)
        and float(np.linalg.norm(tube.body.rims[k].points - np.array(point), axis=1).min()) < near
    }
    cuts = {f for k, rim in rims.items() for f in rim.faces if f not in skins and _goes_around(rim.points, point, out)}
    way = np.concatenate(([np.array(point) + near * np.array(out)], centers))
    places = [(f, t) for f in sorted(cuts) if (t := _meets(tube.body.patches[f].shape, way)) is not None]
    flat = [(f, t) for f, t in places if tube.body.patches[f].shape.kind == PLANE]
    if not places:
        return centers, _SpineEnd(0.0, "point")
    face, t = min(flat or places, key=lambda place: abs(place[1] - 1.0))
    k = int(t)
    first, rest = way[k] + (t - k) * (way[k + 1] - way[k]), way[k + 1 :]
    apart = np.linalg.norm(rest - first, axis=1) > _APART * tube.outside.radius
    begun = np.concatenate(([first], rest[int(apart.argmax()) :]))
    point, out = vec(begun[0]), _way_out(begun)
    ends = [rim for rim in rims.values() if face in rim.faces and _goes_around(rim.points, point, out)]
    past = float(reach(ends, point, out))
    on = "mate" if not flat else "face" if _is_wide(tube, face, point, out) else "cut"
    return begun, _SpineEnd(0.0 if abs(past) < _LEVEL else past, on, face)


def _meets(cut: Primitive, way: Array) -> float | None:
    """Where a row of points meets a plane, or comes nearest to the axis of a cylinder; None of what does not tell.

    Returns:
        Number of the point before and part of the way to the next; of several the nearest to the second point.
    """
    arms = way - np.array(cut.point)
    if cut.kind == PLANE:
        off = arms @ np.array(cut.axis)
        crossed = np.flatnonzero((off[:-1] > 0.0) != (off[1:] > 0.0))
        if not len(crossed):
            return None
        k = int(crossed[np.abs(crossed - 1).argmin()])
        return k + float(off[k] / (off[k] - off[k + 1]))
    if cut.kind != CYLINDER:
        return None
    steps = np.linspace(0.0, 1.0, _BETWEEN + 1)[:-1, None]
    fine = np.concatenate([a + steps * (b - a) for a, b in itertools.pairwise(arms)])
    axis = np.array(cut.axis)
    k = int(np.linalg.norm(fine - np.outer(fine @ axis, axis), axis=1).argmin())
    return k / _BETWEEN if 0 < k < len(fine) - 1 else None


def _is_wide(tube: _SweptBody, face: int, point: Vec, out: Vec) -> bool:
    """Whether a flat face at an end reaches beyond the tube: of something that it stands on."""
    rows = [tube.body.rims[k].points for k, _ in tube.body.patches[face].rims]
    arms = np.concatenate(rows) - np.array(point)
    off = np.linalg.norm(arms - np.outer(arms @ np.array(out), out), axis=1)
    slope = abs(dot(tube.body.patches[face].shape.axis, out))
    return bool(float(off.max()) * slope > _WIDER * tube.outside.radius)


def _way_out(centers: Array) -> Vec:
    """The direction in which a row of points begins, looked at from behind: of the parabola through the first three."""
    one, two = centers[0] - centers[1], centers[1] - centers[2]
    a, b = float(np.linalg.norm(one)), float(np.linalg.norm(two))
    return unit(vec(one / a + (one / a - two / b) * a / (a + b)))


def _goes_around(points: Array, point: Vec, out: Vec) -> bool:
    """Whether an edge goes around an axis by a third of the way and more."""
    x = any_normal(out)
    arms = points - np.array(point)
    angles = np.arctan2(arms @ np.array(cross(out, x)), arms @ np.array(x))
    steps = np.diff(angles)
    return bool(abs(float((steps - tau * np.round(steps / tau)).sum())) > tau / 3.0)


def spline_along(centers: Array) -> Spline:
    """The cubic spline through as few points (n, 3) of a spine as keeps it within `_SPLINE` of all."""
    keep = np.ones(len(centers), bool)
    keep[1:] = np.linalg.norm(np.diff(centers, axis=0), axis=1) > _CLOSE
    points = centers[keep]
    count = min(_KNOTS, len(points))
    while True:
        spline = _through(points[np.unique(np.linspace(0, len(points) - 1, count).round().astype(int))])
        if count >= len(points) or float(away(points, sample_spline(spline, 4)).max()) <= _SPLINE:
            return spline
        count = min(2 * count, len(points))


def _through(points: Array) -> Spline:
    """The cubic spline through points, by the kernel, over their distances."""
    given = TColgp_HArray1OfPnt(1, len(points))
    for k, row in enumerate(points.tolist(), 1):
        given.SetValue(k, gp_Pnt(*row))
    made = GeomAPI_Interpolate(given, False, _CLOSE / 10.0)
    made.Perform()
    curve = made.Curve()
    knots = [curve.Knot(k) for k in range(1, curve.NbKnots() + 1) for _ in range(curve.Multiplicity(k))]
    poles = np.array([curve.Pole(k).Coord() for k in range(1, curve.NbPoles() + 1)])
    return Spline(curve.Degree(), poles, np.array(knots), None, vec(points[0]), vec(points[-1]))


def _polygon(centers: Array) -> tuple[BendTable, Placement] | None:
    """A spine as straights that meet in corners; None where fewer than two points are left."""
    step = -(-len(centers) // _CORNERS)
    points = [vec(p) for p in np.concatenate((centers[:-1:step], centers[-1:]))]
    rows: list[Bend] = []
    feed = 0.0
    normal: Vec | None = None
    first: Vec | None = None
    last: Vec | None = None
    for a, b in itertools.pairwise(points):
        leg = sub(b, a)
        length = norm(leg)
        if length <= _CLOSE:
            continue
        way = scale(leg, 1.0 / length)
        if last is not None:
            across = cross(last, way)
            turn = norm(across)
            if turn > _STRAIGHT:
                across = scale(across, 1.0 / turn)
                rotation = 0.0 if normal is None else signed_angle(normal, across, last)
                rows.append(Bend(feed, rotation, degrees(atan2(turn, dot(last, way))), None, corner=True))
                first, normal, feed = first or across, across, 0.0
            else:
                way = last
        else:
            start = way
        feed += length
        last = way
    if last is None:
        return None
    placement = Placement(points[0], start, first) if first is not None else Placement.leaving(points[0], start)
    return BendTable(tuple(rows), feed), placement
