"""What else is in a body that yielded tubes: faces that lie outside the tubes' metal, by what hangs together.

A face belongs to a tube when all its points lie in the tube's wall: its own skins, its cuts, holes and slots. What
is left is put together over shared edges and told with its kind, its box and its place. Where every face belongs to
a tube, the volume is asked too: no tube has more metal than its section times its length from long point to long point.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import combinations
from math import isclose, tau
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from converter.arrays import Array
from converter.findings import WARNING, Finding
from converter.geometry.vectors import Vec, along, distance, dot, sub
from converter.importers.solids.faces import CYLINDER, PLANE, SPHERE, TORUS, Patch, Rim, SolidBody
from converter.importers.solids.proof import face_grids
from converter.importers.solids.tube_wall import TubeWall
from converter.importers.solids.walls import bore_short
from converter.kernel.topology import exact_box
from converter.model.drawing import ReadyTable
from converter.tolerances import Tolerances

if TYPE_CHECKING:
    from converter.importers.solids.volume import BodyVolume

#: Gives the kernel's faces, numbered as those of a body: not fetched where nothing asks for them.
KernelFaces: TypeAlias = Callable[[], list[Any]]

#: So many are told one by one, the largest first; the others are counted.
MOST_NAMED = 12
#: Part by which a body's volume may exceed that of its tubes before it is told.
_MORE_METAL = 0.02
#: Up to so many faces are measured by the kernel, which takes milliseconds for each.
_MOST_EXACT = 300
#: Rows and columns of the grid on a face of which the points within its edges are taken.
_WITHIN = 20
_ALONG = np.linspace(0.0, 1.0, 5)[:, None]
#: A plate is thinner than this part of its other sizes.
_THIN = 0.35
#: May be more of the tube: a bend that was stretched or swept freely, an end that is flattened or swaged.
_FREE, _SOCKET = "a part of free form", "a socket or sleeve"
_OPENED = "a length of such tube, open along one side,"
_BEND = "a bend as wide as the tube,"
#: Radians around from which on a face is of a whole tube, whose seam may be open.
_WHOLE = 6.0
_SEGMENTS = "segments of tube mitred to one another (lobster-back)"
#: Times a tube's height from where on that is a doubt about the tube: collars and castings are smaller.
_LONG = 2.5
#: The same of a round part about its axis: a coupling or a sleeve is shorter. Common practice, no source.
_SLEEVE = 6.0


@dataclass(frozen=True, slots=True)
class Remain:
    """Something in a body that is no tube: what it looks like, its box (mm), and the table it is told with."""

    kind: str
    sizes: Vec
    place: Vec
    table: int


def with_remains(
    tables: list[ReadyTable],
    shapes: Sequence[Any],
    claimed: set[int],
    volume: BodyVolume,
    is_solid: bool,
    tol: Tolerances,
) -> list[ReadyTable]:
    """The tables of a body, with findings of what in it is none of them.

    Args:
        tables: its tubes; without any nothing is told.
        shapes: the kernel's shapes that it is made of.
        claimed: faces that are tubes' skins.
        volume: its volume, and its faces as numbers.
        is_solid: whether it is a solid, of which the volume tells.
    """
    if not tables:
        return tables
    tubes = [TubeWall.of(table, tol) for table in tables]
    left = remains_of(tubes, volume.body, shapes, claimed)
    told: dict[int, list[Finding]] = {}
    for remain in left[:MOST_NAMED]:
        tube = tubes[remain.table]
        longer = remain.kind == _FREE and max(remain.sizes) > _LONG * tube.outer.height
        longer |= remain.kind in (_OPENED, _BEND)
        longer |= remain.kind == _SOCKET and max(remain.sizes) > _SLEEVE * tube.outer.height
        longer |= remain.kind in (_FREE, _SOCKET) and tube.goes_on_to(remain.place)
        told.setdefault(remain.table, []).append(
            Finding(
                "solid-remains",
                WARNING if longer else "",
                variant="longer" if longer else "" if is_solid else "surface",
                tube=tables[remain.table].name,
                at=remain.place,
                measured=max(remain.sizes),
                unit="mm",
                values={"kind": remain.kind, "sizes": remain.sizes, "place": remain.place},
            )
        )
    if len(left) > MOST_NAMED:
        more = len(left) - MOST_NAMED
        rest = Finding("solid-remains", variant="more", tube=tables[0].name, values={"count": more})
        told.setdefault(0, []).append(rest)
    if not left and is_solid:
        excess = volume.tells(lambda volume: _excess(tables, volume))
        if excess is not None:
            values = {"percent": 100.0 * excess}
            more_metal = Finding("solid-remains", variant="metal", tube=tables[0].name, measured=excess, values=values)
            told.setdefault(0, []).append(more_metal)
    return [replace(t, findings=(*t.findings, *told.get(k, ()))) for k, t in enumerate(tables)]


def remains_of(tubes: list[TubeWall], body: SolidBody, shapes: Sequence[Any], claimed: set[int]) -> list[Remain]:
    """What in a body lies outside the metal of its tubes, the largest first."""
    free = [patch for patch in body.patches if patch.index not in claimed]
    places = _places(free, body, tubes)
    faces = cache(lambda: kernel_faces(shapes))
    outside = [
        p.index
        for p in free
        if not (places[p.index].walled or _walled_within(p, faces, body, tubes)) or _closes(p, faces, body, tubes)
    ]
    box = partial(_box, faces if len(outside) <= _MOST_EXACT else None, body)
    groups = _with_inner_faces(_connected(outside, body), box, places, tubes)
    found = []
    for group in groups:
        sizes, middle = box(group)
        if max(sizes) <= min(tube.slack for tube in tubes):
            continue  # what is left of a surface where it shrinks to a point
        nearest = min((places[k] for k in group), key=lambda place: place.off).tube
        found.append(Remain(_kind([body.patches[k] for k in group], sizes, tubes), sizes, middle, nearest))
    found.sort(key=lambda remain: -max(remain.sizes))
    # of segments outside and bore hang together by nothing
    mitred = [remain for remain in found if remain.kind == _SEGMENTS]
    gap = max((2.0 * tube.wall for tube in tubes), default=0.0)
    inner = {id(b) for a, b in combinations(mitred, 2) if distance(a.place, b.place) <= gap}
    return [remain for remain in found if id(remain) not in inner]


# --- where faces lie ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _FacePlace:
    """Where a face lies against the tubes.

    Attributes:
        walled: whether all its points lie in walls.
        inner: whether all lie within the outsides.
        tube, off: the tube whose outside it comes nearest to, and how near, mm.
    """

    walled: bool
    inner: bool
    tube: int = 0
    off: float = np.inf


def _places(patches: list[Patch], body: SolidBody, tubes: list[TubeWall]) -> dict[int, _FacePlace]:
    """Of each face where it lies; all their points are held against each tube at once."""
    rows = [_points(patch, body) for patch in patches]
    found = {patch.index: _FacePlace(True, True) for patch in patches}
    some = [(patch, points) for patch, points in zip(patches, rows, strict=True) if len(points)]
    if not some:
        return found
    points = np.concatenate([own for _, own in some])
    starts = np.cumsum([0, *(len(own) for _, own in some[:-1])])
    walled, inner = np.zeros(len(points), bool), np.zeros(len(points), bool)
    best, nearest = np.full(len(some), np.inf), np.zeros(len(some), int)
    for k, tube in enumerate(tubes):
        off, within = tube.away(points)
        walled |= within
        inner |= off <= tube.slack
        near = np.minimum.reduceat(np.abs(off), starts)
        nearest[near < best] = k
        best = np.minimum(best, near)
    all_walled, all_inner = (np.logical_and.reduceat(flags, starts) for flags in (walled, inner))
    for i, (patch, _) in enumerate(some):
        place = _FacePlace(bool(all_walled[i]), bool(all_inner[i]), int(nearest[i]), float(best[i]))
        found[patch.index] = place
    return found


def _points(patch: Patch, body: SolidBody) -> Array:
    rims = [body.rims[number] for number, _ in patch.rims]
    rows = [_points_along(rim) for rim in rims if len(rim.points)]
    # within its edges a face bulges where it is round both ways; the grid of a plane reaches past them
    if patch.shape.kind in (TORUS, SPHERE) and patch.samples is not None:
        rows.append(patch.samples)
    elif patch.shape.kind == TORUS or (patch.shape.kind == CYLINDER and not rows):
        rows.append(face_grids([patch])[0] if patch.samples is None else patch.samples)
    return np.concatenate(rows) if rows else np.empty((0, 3))


def _points_along(rim: Rim) -> Array:
    """Points along an edge; a straight one has only its ends, which may lie in two tubes that it joins."""
    if not rim.straight or len(rim.points) != 2:
        return rim.points
    return rim.points[:1] + _ALONG * (rim.points[1:] - rim.points[:1])


def _walled_within(patch: Patch, faces: KernelFaces, body: SolidBody, tubes: list[TubeWall]) -> bool:
    """Whether a face round both ways lies in walls by its edges and the points within them.

    Its grid reaches past its edges: that of an end coped to a mate's bend spans the bore too.
    """
    if patch.shape.kind not in (TORUS, SPHERE):
        return False
    rims = [_points_along(body.rims[number]) for number, _ in patch.rims]
    points = np.vstack([*(rim for rim in rims if len(rim)), _points_within(faces()[patch.index])])
    return len(points) > 0 and bool(np.logical_or.reduce([tube.away(points)[1] for tube in tubes]).all())


def _closes(patch: Patch, faces: KernelFaces, body: SolidBody, tubes: list[TubeWall]) -> bool:
    """Whether a flat face stands across a bore: a cap or a plug, whose edges lie in the wall all the same."""
    if patch.shape.kind != PLANE:
        return False
    edges = _points(patch, body)
    if not len(edges):
        return False
    lowest, highest = edges.min(axis=0) - 1e-6, edges.max(axis=0) + 1e-6
    for tube in tubes:
        if tube.bore is None:
            continue
        for point, direction, low, high in tube.lines():
            slope = dot(direction, patch.shape.axis)
            if abs(slope) < 0.1:
                continue
            t = dot(sub(patch.shape.point, point), patch.shape.axis) / slope
            reach = tube.slack + max(tube.past or (0.0, 0.0))
            spot = along(point, direction, t)
            if not low - reach <= t <= high + reach or bool(((spot < lowest) | (spot > highest)).any()):
                continue
            within = _within_circles(patch, body, spot)
            covers = _covers(faces()[patch.index], spot) if within is None else within
            if covers and not tube.is_shut_at(spot) and not _is_of_another(tube, tubes, np.vstack((edges, spot))):
                return True
    return False


def _is_of_another(tube: TubeWall, tubes: list[TubeWall], points: Array) -> bool:
    """Whether points all lie in the wall of another tube: the one that this tube stands on."""
    return any(bool(other.away(points)[1].all()) for other in tubes if other is not tube)


# --- the kernel's faces -----------------------------------------------------------------------


def kernel_faces(shapes: Sequence[Any]) -> list[Any]:
    """The faces of shapes, in the order in which `faces_of` numbers them."""
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp
    from OCP.TopTools import TopTools_IndexedMapOfShape

    faces = TopTools_IndexedMapOfShape()
    for shape in shapes:
        TopExp.MapShapes_s(shape, TopAbs_ShapeEnum.TopAbs_FACE, faces)
    return [faces.FindKey(i) for i in range(1, faces.Size() + 1)]


def _points_within(face: Any) -> Array:
    """Points (n, 3) of a face's surface within its edges."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
    from OCP.gp import gp_Pnt2d
    from OCP.TopAbs import TopAbs_State
    from OCP.TopoDS import TopoDS

    face = TopoDS.Face_s(face)
    surface, within = BRepAdaptor_Surface(face, True), BRepTopAdaptor_FClass2d(face, 1e-6)
    us = np.linspace(surface.FirstUParameter(), surface.LastUParameter(), _WITHIN).tolist()
    vs = np.linspace(surface.FirstVParameter(), surface.LastVParameter(), _WITHIN).tolist()
    spots = [(u, v) for u in us for v in vs if within.Perform(gp_Pnt2d(u, v), False) == TopAbs_State.TopAbs_IN]
    points = [surface.Value(u, v) for u, v in spots]
    return np.array([(p.X(), p.Y(), p.Z()) for p in points]).reshape(-1, 3)


def _within_circles(patch: Patch, body: SolidBody, point: Vec) -> bool | None:
    """Whether a flat face bounded by whole circles has a point of its plane; None where its edges are others.

    So is the end of a round tube that is cut square; the kernel takes long to prepare for the same answer.
    """
    turned: dict[tuple[Vec, float], float] = {}
    for number, _ in patch.rims:
        circle = body.rims[number].circle
        if circle is None:
            return None
        center = (circle[0], circle[1], circle[2])
        key = (center, distance(center, along(center, (circle[3], circle[4], circle[5]), 1.0)))
        turned[key] = turned.get(key, 0.0) + circle[10] - circle[9]
    beyond = [distance(center, point) - radius for center, radius in turned]
    if not all(isclose(turn, tau) for turn in turned.values()) or any(abs(off) <= 1e-3 for off in beyond):
        return None
    return sum(off < 0.0 for off in beyond) % 2 == 1


def _covers(face: Any, point: Vec) -> bool:
    """Whether a flat face has a point of its plane within its edges."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
    from OCP.ElSLib import ElSLib
    from OCP.GeomAbs import GeomAbs_SurfaceType
    from OCP.gp import gp_Pnt, gp_Pnt2d
    from OCP.TopAbs import TopAbs_State
    from OCP.TopoDS import TopoDS

    face = TopoDS.Face_s(face)
    surface = BRepAdaptor_Surface(face, True)
    if surface.GetType() != GeomAbs_SurfaceType.GeomAbs_Plane:
        return False
    u, v = ElSLib.Parameters_s(surface.Plane(), gp_Pnt(*point))
    return bool(BRepTopAdaptor_FClass2d(face, 1e-6).Perform(gp_Pnt2d(u, v), False) == TopAbs_State.TopAbs_IN)


def _box(faces: KernelFaces | None, body: SolidBody, group: list[int]) -> tuple[Vec, Vec]:
    """Sizes and middle of the box around faces, mm: by the kernel's faces, or by points of them for None."""
    if faces is None:
        rows = [points for k in group if len(points := _points(body.patches[k], body))]
        points = np.concatenate(rows) if rows else np.zeros((1, 3))
        ends = list(zip(points.min(axis=0).tolist(), points.max(axis=0).tolist(), strict=True))
    else:
        ends = list(zip(*exact_box(*(faces()[k] for k in group)), strict=True))
    sizes, place = [b - a for a, b in ends], [(a + b) / 2.0 for a, b in ends]
    return (sizes[0], sizes[1], sizes[2]), (place[0], place[1], place[2])


def _excess(tables: list[ReadyTable], volume: float) -> float | None:
    """By what part a volume is more than its tubes can have; None where that is not worth telling."""
    most = 0.0
    for table in tables:
        if table.section is None:
            return None
        past = sum(max(m, 0.0) for m in table.metal or ())
        most += table.section.area * (table.table.developed_length + past)
        most += sum(bore_short(table)) * (0.0 if table.section.bore is None else table.section.bore.area)
    excess = volume / most - 1.0 if most > 0.0 else 0.0
    return excess if excess > _MORE_METAL else None


# --- what hangs together ----------------------------------------------------------------------


def _connected(faces: list[int], body: SolidBody) -> list[list[int]]:
    """Groups of faces that share edges, among those given."""
    left = set(faces)
    groups = []
    for first in faces:
        if first not in left:
            continue
        left.discard(first)
        group, todo = [], [first]
        while todo:
            at = todo.pop()
            group.append(at)
            beside = {k for number, _ in body.patches[at].rims for k in body.rims[number].faces}
            todo += sorted(beside & left)
            left -= beside
        groups.append(sorted(group))
    return groups


def _with_inner_faces(
    groups: list[list[int]],
    box: Callable[[list[int]], tuple[Vec, Vec]],
    places: dict[int, _FacePlace],
    tubes: list[TubeWall],
) -> list[list[int]]:
    """Groups of faces, those inside a tube put to what they belong to beyond its wall: a flange's face in the bore."""
    gap = max(tube.wall + tube.slack for tube in tubes)
    inner = [group for group in groups if all(places[k].inner for k in group)]
    whole = [list(group) for group in groups if not all(places[k].inner for k in group)]
    boxes = [box(group) for group in whole] if inner else []
    for group in inner:
        own = box(group)
        beside = next((k for k, other in enumerate(boxes) if _is_beside(own, other, gap)), None)
        if beside is None:
            whole.append(group)
        else:
            whole[beside] += group
    return whole


def _is_beside(one: tuple[Vec, Vec], other: tuple[Vec, Vec], gap: float) -> bool:
    """Whether two boxes (sizes and middle each) come as near as a gap."""
    return all(abs(p - q) <= (a + b) / 2.0 + gap for a, b, p, q in zip(one[0], other[0], one[1], other[1], strict=True))


def _kind(patches: list[Patch], sizes: Vec, tubes: list[TubeWall]) -> str:
    """What a group of faces looks like."""
    kinds = Counter(patch.shape.kind for patch in patches)
    small, middle, _ = sorted(sizes)
    bends = [p for p in patches if p.shape.kind == TORUS and p.shape.major > p.shape.radius and p.v[1] - p.v[0] > 3.0]
    if bends:
        return _BEND if any(_is_as_wide(p, tubes) for p in bends) else "a bent part, such as an elbow"
    if any(_is_of_tube(p, tubes) and p.u[1] - p.u[0] < _WHOLE for p in patches if _is_about(p, tubes)):
        return _OPENED
    around = [p for p in patches if p.shape.kind == CYLINDER and p.sign > 0 and _is_about(p, tubes)]
    if around:
        widest = max(around, key=lambda p: p.shape.radius)
        length = abs(widest.v[1] - widest.v[0])
        return "a flange, washer or collar" if length < widest.shape.radius else _SOCKET
    if kinds[CYLINDER] == len(patches) and all(_is_as_wide(p, tubes) and not _is_about(p, tubes) for p in patches):
        return _SEGMENTS
    if any(_is_of_tube(p, tubes) for p in patches):
        return _OPENED
    if len(patches) == 1 and kinds[PLANE]:
        return "a flat face, as of a cap or plug,"
    fits = middle <= max(max(tube.outer.height, tube.outer.width) for tube in tubes)
    if fits and any(p.shape.kind == CYLINDER and _is_about(p, tubes) and _is_within(p, tubes) for p in patches):
        return "a ring or bush inside"
    if kinds[PLANE] >= 2 and small < _THIN * middle:
        return "a plate"
    if 2 * kinds[PLANE] >= len(patches):
        return "a block or bracket"
    if kinds[CYLINDER]:
        return "a boss, pin or fitting"
    return _FREE


def _is_of_tube(patch: Patch, tubes: list[TubeWall]) -> bool:
    """Whether a cylinder is as wide as a tube, and long: of a leg that was cut open along it."""
    shape = patch.shape
    length, turn = abs(patch.v[1] - patch.v[0]), patch.u[1] - patch.u[0]
    is_long = shape.kind == CYLINDER and patch.sign > 0 and length > _LONG * 2.0 * shape.radius and turn > 1.0
    return is_long and _is_as_wide(patch, tubes)


def _is_as_wide(patch: Patch, tubes: list[TubeWall]) -> bool:
    """Whether a cylinder or a bend has the diameter of a tube's outside or bore."""
    loops = [loop for tube in tubes for loop in (tube.outer, tube.bore) if loop is not None]
    return any(abs(2.0 * patch.shape.radius - loop.height) <= 0.1 for loop in loops)


def _is_within(patch: Patch, tubes: list[TubeWall]) -> bool:
    """Whether a cylinder is smaller than the bore of a tube that it lies about."""
    return any(tube.bore is not None and 2.0 * patch.shape.radius < tube.bore.height - tube.slack for tube in tubes)


def _is_about(patch: Patch, tubes: list[TubeWall]) -> bool:
    """Whether a cylinder lies about a straight of a tube."""
    for point, direction, _, _ in (line for tube in tubes for line in tube.lines()):
        if abs(dot(direction, patch.shape.axis)) > 1.0 - 1e-6:
            arm = sub(patch.shape.point, point)
            foot = along(arm, direction, -dot(arm, direction))
            if dot(foot, foot) < (0.1 * patch.shape.radius) ** 2:
                return True
    return False
