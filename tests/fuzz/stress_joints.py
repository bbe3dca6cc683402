"""Random copes and holes against the CAD kernel: its own solids of the tubes, its rays, and its booleans.

A pair is made from numbers alone: a mate (round, with flats, or with a bend) and a tube that ends on it at an angle,
off its middle by some, drawn short of it or past it, and turned anywhere in space. The mate as a solid of the kernel is
made from the same numbers, and not from what was found of the joint. Rays of the kernel along the tube's outside and
bore say where the metal must stop; the kernel's boolean says how much of it goes and how far the rest reaches. A round
end on a round tube is held to the closed form too (elementary: see `converter.joints.cuts.saddle`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, degrees, pi, radians, sin
from random import Random
from typing import Any

import numpy as np
from coped_solids import taken_off
from kernel_probe import bounds, kernel_volume, parts
from stress_tubes import random_section

from converter.exporters.paper.wraps import hole_wraps, wrap
from converter.geometry.vectors import any_normal
from converter.joints.cope import cope_frame
from converter.joints.model import SQUARE, Joint
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.model import Shop

#: mm: what the kernel's rays and booleans may be off near the origin, and what a template's curve may (`wrap`).
RAY, DRAWN = 2e-6, 2.5e-3
#: Of the volume of the tube that is cut: of the kernel's boolean less the integral of ours over the wall, which knows
#: nothing of the edges of a mate with flats.
BOOLEAN, BOOLEAN_ON_FLATS = 2e-6, 1e-5
#: mm; far enough for any cope of a tube up to 50 mm at 20 degrees.
LENGTH = 900.0
_SHOP = Shop("none", ())


@dataclass
class RandomPair:
    """A mate and a tube on it, in numbers. Lengths mm, angles degrees.

    Attributes:
        mate, branch: the tubes; end A of the branch is on the mate.
        solid: the mate as the kernel makes it.
        angle, offset: between their axes, where the mate is straight; None on a bend.
        ahead: from the drawn end out along the axis to where the axes are nearest.
        kind: of pair, a word.
        separate: whether the two outsides neither touch along a line nor meet where a bend begins or ends: there the
            kernel's boolean gives up.
    """

    mate: Tube
    branch: Tube
    solid: list[Any]
    ahead: float
    kind: str
    separate: bool
    angle: float | None = None
    offset: float | None = None


def _frame(rng: Random) -> tuple[Any, Any, Any]:
    """Three unit vectors at right angles, turned anywhere."""
    axis = np.array([rng.gauss(0.0, 1.0) for _ in range(3)])
    axis /= np.linalg.norm(axis)
    other = np.cross(axis, [rng.gauss(0.0, 1.0) for _ in range(3)])
    other /= np.linalg.norm(other)
    return axis, other, np.cross(axis, other)


def _point(values: Any) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _straight(name: str, start: Any, way: Any, up: Any, length: float, section: Section, coped: bool = False) -> Tube:
    # the height of a section lies in the plane of a bend: at right angles to its normal
    place = Placement(_point(start), _point(way), _point(np.cross(way, up)))
    return Tube(Run(name, name, False, BendTable((), length), place), section, coped_corners=coped)


def kernel_prism(start: Any, way: Any, up: Any, length: float, section: Section) -> Any:
    """The outside of a straight tube, filled: a cylinder, or a box whose edges the kernel rounds."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    if 2.0 * section.outer.corner >= max(section.od, section.height):
        axes = gp_Ax2(gp_Pnt(*_point(start)), gp_Dir(*_point(way)))
        return BRepPrimAPI_MakeCylinder(axes, section.od / 2.0, length).Solid()
    across = np.cross(up, way)
    corner = start - section.od / 2.0 * across - section.height / 2.0 * up
    # x of the box across the tube, y along the way that makes it right-handed with z along the tube
    axes = gp_Ax2(gp_Pnt(*_point(corner)), gp_Dir(*_point(way)), gp_Dir(*_point(across)))
    y = np.array([axes.YDirection().X(), axes.YDirection().Y(), axes.YDirection().Z()])
    if float(y @ up) < 0.0:
        moved = corner + section.height * up
        axes = gp_Ax2(gp_Pnt(*_point(moved)), gp_Dir(*_point(way)), gp_Dir(*_point(across)))
    box = BRepPrimAPI_MakeBox(axes, section.od, section.height, length).Solid()
    radius = section.outer.corner
    if radius < 1e-6:
        return box
    fillet = BRepFilletAPI_MakeFillet(box)
    for edge in _along(box, way, BRepAdaptor_Curve):
        fillet.Add(radius * (1.0 - 1e-9), edge)
    return fillet.Shape()


def _along(box: Any, way: Any, curve_of: Any) -> list[Any]:
    found: list[Any] = []
    for edge in parts(box, "edge"):
        one = curve_of(edge).Line().Direction()
        if abs(one.X() * way[0] + one.Y() * way[1] + one.Z() * way[2]) > 0.9 and not any(edge.IsSame(o) for o in found):
            found.append(edge)
    return found


def _torus(center: Any, normal: Any, begin: Any, clr: float, angle: float, radius: float) -> Any:
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeTorus
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    axes = gp_Ax2(gp_Pnt(*_point(center)), gp_Dir(*_point(normal)), gp_Dir(*_point(begin)))
    return BRepPrimAPI_MakeTorus(axes, clr, radius, radians(angle)).Shape()


def random_pair(rng: Random) -> RandomPair:
    """A round tube or bar on a round one, on one with flats, or on a bend; a tube of any shape on a round one."""
    kind = rng.choice(("round", "round", "flats", "bend", "any"))
    axis, out, aside = _frame(rng)
    node = np.array([rng.uniform(-800.0, 800.0) for _ in range(3)])
    big = rng.uniform(20.0, 60.0)
    mate = Section("round", big, big * rng.uniform(0.03, 0.3))
    if kind == "flats":
        mate = random_section(rng, 60.0)
        while mate.cylinder is not None or mate.smaller < 12.0:
            mate = random_section(rng, 60.0)
    small = mate.smaller * rng.choice((1.0, rng.uniform(0.3, 0.98), rng.uniform(0.3, 0.98)))
    branch = rng.choice((Section("round", small, small * rng.uniform(0.03, 0.45)), Section("bar", small, small / 2.0)))
    if kind == "any":
        branch = random_section(rng, 0.7 * big)
    room = max(0.0, (mate.smaller - 2.0 * branch.outer.half_diagonal) / 2.0)
    ahead = rng.choice((0.0, 0.0, rng.uniform(-1.5, 1.5)))
    if kind == "bend":
        return _on_bend(rng, (axis, out, aside), node, mate, branch, ahead)
    theta = rng.choice((90.0, 60.0, 45.0, rng.uniform(20.0, 90.0)))
    offset = rng.choice((0.0, rng.uniform(0.0, room), rng.uniform(0.0, room), room)) * rng.choice((1.0, -1.0))
    if kind == "flats":
        offset *= 0.98  # where they touch, what the kernel's fillet is off by shows
    if rng.random() < 0.2:  # drawn to the outside
        ahead = (mate.smaller**2 / 4.0 - offset * offset) ** 0.5
    way = cos(radians(theta)) * axis + sin(radians(theta)) * out
    start = node + offset * aside + ahead * way
    turned = rng.choice((0.0, 45.0, rng.uniform(0.0, 360.0))) if kind == "flats" else 0.0
    up = cos(radians(turned)) * out + sin(radians(turned)) * aside
    begin = node - LENGTH * rng.uniform(0.8, 1.2) * axis
    high = any_normal(_point(way)) if branch.cylinder is not None else np.cross(way, _frame(rng)[0])
    high = np.asarray(high) / np.linalg.norm(high)
    return RandomPair(
        _straight("MATE", begin, axis, up, 2.0 * LENGTH, mate),
        _straight("BRANCH", start, way, high, LENGTH, branch, coped=rng.random() < 0.5),
        [kernel_prism(begin, axis, up, 2.0 * LENGTH, mate)],
        ahead,
        kind,
        abs(offset) + branch.smaller / 2.0 < 0.499 * mate.smaller,
        theta,
        abs(offset),
    )


def _on_bend(rng: Random, frame: Any, node: Any, mate: Section, branch: Section, ahead: float) -> RandomPair:
    """On a bend or beside its tangent points, from outside its inner curve, at 30 degrees or more to its tangent."""
    normal, x, y = frame  # the bend begins at center + clr x and runs towards y
    clr, sweep = rng.uniform(1.5, 5.0) * mate.od, rng.uniform(20.0, 150.0)
    center = node
    at = radians(rng.choice((rng.uniform(0.0, sweep), rng.uniform(0.0, min(sweep, 5.0)))))
    outward, tangent = cos(at) * x + sin(at) * y, cos(at) * y - sin(at) * x
    while True:
        way = np.array([rng.gauss(0.0, 1.0) for _ in range(3)])
        way /= np.linalg.norm(way)
        if float(way @ outward) > 0.1 and abs(float(way @ tangent)) < cos(radians(30.0)):
            break
    feed, tail = 400.0, 400.0
    begin = center + clr * x - feed * y
    last = radians(sweep)
    leaving = center + clr * (cos(last) * x + sin(last) * y)
    gone = cos(last) * y - sin(last) * x
    table = BendTable((Bend(feed, 0.0, sweep, clr),), tail)
    run = Run("MATE", "MATE", False, table, Placement(_point(begin), _point(y), _point(normal)))
    start = center + clr * outward + ahead * way
    solid = [
        _torus(center, normal, x, clr, sweep, mate.od / 2.0),
        kernel_prism(begin, y, normal, feed, mate),
        kernel_prism(leaving, gone, normal, tail, mate),
    ]
    high = any_normal(_point(way))
    slant = np.arccos(abs(float(way @ tangent)))
    reach = 1.3 * (mate.od / 2.0 * cos(slant) + branch.od / 2.0) / sin(slant) / (clr - mate.od / 2.0)
    separate = branch.smaller < 0.998 * mate.smaller and reach < at < radians(sweep) - reach
    return RandomPair(
        Tube(run, mate), _straight("BRANCH", start, way, high, 380.0, branch), solid, ahead, "bend", separate
    )


class _Rays:
    """Where the kernel's rays from the tube's far end first meet the mate, mm back from the drawn end."""

    def __init__(self, pair: RandomPair, joint: Joint) -> None:
        from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

        self._rays = []
        for shape in pair.solid:
            one = IntCurvesFace_ShapeIntersector()
            one.Load(shape, 1e-9)
            self._rays.append(one)
        run = pair.branch.run
        self._end, self._out = np.array(run.start), -np.array(run.placement.direction)
        self._zero = np.array(joint.cut.branch.zero)
        self._side = np.cross(self._out, self._zero)
        self._back = run.table.tail
        assert abs(float(self._zero @ self._out)) < 1e-12 and abs(np.linalg.norm(self._zero) - 1.0) < 1e-12

    def at(self, phi: float, radius: float) -> float:
        """At an angle from the joint's zero line, degrees, and a distance from the axis; nan where it misses."""
        from OCP.gp import gp_Dir, gp_Lin, gp_Pnt

        a = radians(phi)
        begin = self._end + radius * (cos(a) * self._zero + sin(a) * self._side) - self._back * self._out
        line = gp_Lin(gp_Pnt(*_point(begin)), gp_Dir(*_point(self._out)))
        nearest = []
        for one in self._rays:
            one.Perform(line, 0.0, 2.0 * self._back)
            nearest += [one.WParameter(k + 1) for k in range(one.NbPnt())]
        return self._back - min(nearest) if nearest else float("nan")


def radius_at(section: Section, bore: bool, psi: float) -> float:
    """Distance of a rounded rectangle from its middle at an angle from its height direction, by halving."""
    w, h, r = section.od / 2.0, section.height / 2.0, section.outer.corner
    if bore:
        if section.bore is None:
            return 0.0
        w, h, r = w - section.wall, h - section.wall, max(0.0, r - section.wall)
    p, q = abs(cos(psi)), abs(sin(psi))

    def out(rho: float) -> float:
        a, b = max(rho * p - (h - r), 0.0), max(rho * q - (w - r), 0.0)
        beyond = max(rho * p - h, rho * q - w)
        return max(beyond, (a * a + b * b) ** 0.5 - r) if a > 0.0 and b > 0.0 else beyond

    low, high = 0.0, w + h
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if out(middle) < 0.0 else (low, middle)
    return (low + high) / 2.0


def closed_form(pair: RandomPair, joint: Joint, radius: float, phi: float) -> float:
    """Of a round tube on a straight round one, mm back from the drawn end."""
    assert pair.angle is not None
    axis, way = np.array(pair.mate.run.placement.direction), np.array(pair.branch.run.placement.direction)
    theta = np.arccos(np.clip(float(axis @ way), -1.0, 1.0))
    across = np.cross(axis, way) / sin(theta)
    # phi from the plane of both axes, on the obtuse side
    obtuse = -(axis - float(axis @ way) * way) / sin(theta)
    spoke = cos(radians(phi)) * np.array(joint.cut.branch.zero)
    spoke = spoke + sin(radians(phi)) * np.cross(-way, np.array(joint.cut.branch.zero))
    e = float((np.array(pair.branch.run.start) - np.array(pair.mate.run.start)) @ across)
    big = pair.mate.section.od / 2.0  # type: ignore[union-attr]
    off = e + radius * float(spoke @ across)
    back = (np.sqrt(max(big * big - off * off, 0.0)) - radius * float(spoke @ obtuse) * cos(theta)) / sin(theta)
    return float(back) - pair.ahead


def cope_misses(rng: Random) -> dict[str, float]:
    """How far a joint and the kernel are apart, each as a part of what is allowed: at most 1."""
    pair = random_pair(rng)
    section = pair.branch.section
    assert section is not None
    made = cope_frame([pair.mate, pair.branch], _SHOP)
    (joint,) = [one for one in made.joints if (one.tube, one.end) == ("BRANCH", "A")]
    rays = _Rays(pair, joint)
    place = pair.branch.run.placement
    up = np.cross(place.normal, place.direction)
    height = degrees(np.arctan2(float(up @ rays._side), float(up @ rays._zero)))
    found: dict[str, float] = {}

    def note(name: str, miss: float) -> None:
        found[name] = max(found.get(name, 0.0), miss)

    name = pair.kind
    steep = 1.0 / max(0.05, sin(radians(joint.angle)))
    some = sorted(rng.uniform(0.0, 360.0) for _ in range(24))
    cut = joint.cut.at(np.array(some))
    for i, phi in enumerate(some):
        for bore in (False, True):
            radius = radius_at(section, bore, radians(phi - height))
            hit, told = rays.at(phi, radius), float(cut[int(bore)][i])
            if joint.kind == SQUARE:  # on the flat; what it leaves open at the corners is told
                if np.isfinite(hit):
                    note(f"{name}, square", max(hit - told, told - hit - joint.corner_gap) / RAY)
                continue
            if np.isfinite(hit):
                note(f"{name}, rays", abs(hit - told) / (RAY * steep * _grazing(rays, phi, radius, hit)))
            if section.cylinder is not None and name == "round":
                note("closed form", abs(closed_form(pair, joint, radius, phi) - told) / 1e-9 / steep**2)
    if pair.angle is not None:
        assert pair.offset is not None
        note("angle", abs(joint.angle - pair.angle) / 1e-9)
        note("offset", abs(joint.offset - pair.offset) / 1e-9)
        note("ahead", abs(joint.ahead - pair.ahead) / (1e-9 * steep))
    if joint.kind != SQUARE:
        _template(rng, pair, joint, rays, height, note)
        if pair.separate:
            _boolean(pair, joint, name, note)
    return found


def _grazing(rays: _Rays, phi: float, radius: float, hit: float) -> float:
    """How much further along a ray than across it the cut may be off: by its slope around there."""
    beside = [rays.at(phi + d, radius) for d in (-0.01, 0.01)]
    rise = max((abs(one - hit) for one in beside if np.isfinite(one)), default=0.0)
    return max(1.0, rise / max(radius * radians(0.01), 1e-9))


def _template(rng: Random, pair: RandomPair, joint: Joint, rays: _Rays, height: float, note: Any) -> None:
    """The line to cut along on paper, read at places across it and taken back around the tube."""
    section, paper = pair.branch.section, rng.choice((0.0, 0.1, 0.25))
    assert section is not None
    sheet = wrap(joint, paper)
    if section.cylinder is None:
        return
    note("template's width", abs(sheet.width - pi * (section.od + paper)) / 1e-9)
    for _ in range(12):
        x = rng.uniform(0.0, sheet.width)
        phi = degrees(2.0 * x / (section.od + paper))
        y, hit = float(np.interp(x, sheet.x, sheet.od)), rays.at(phi, section.od / 2.0)
        if np.isfinite(hit):
            note("template", abs(y - hit) / (DRAWN * _grazing(rays, phi, section.od / 2.0, hit) * 1.5))


def _boolean(pair: RandomPair, joint: Joint, name: str, note: Any) -> None:
    """The kernel's boolean of the tube less its mate: the volume that goes, and how far the rest reaches."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt, gp_Trsf

    section, run = pair.branch.section, pair.branch.run
    assert section is not None
    if section.cylinder is None:
        return
    way, length = np.array(run.placement.direction), run.table.tail
    past = max(0.0, joint.short_point) + 60.0
    past = min(past, 0.5 * length)
    start = np.array(run.start) - past * way
    wide = kernel_prism(start, way, None, length + past, section)
    if section.bore is not None:
        thin = Section("bar", section.od - 2.0 * section.wall, section.od / 2.0 - section.wall)
        wide = BRepAlgoAPI_Cut(wide, kernel_prism(start, way, None, length + past, thin)).Shape()
    whole = kernel_volume(wide) * length / (length + past)
    wide = BRepAlgoAPI_Cut(wide, pair.solid[0]).Shape()
    motion = gp_Trsf()
    motion.SetTransformation(gp_Ax3(gp_Pnt(*_point(run.start)), gp_Dir(*_point(way))))
    pieces = [BRepBuilderAPI_Transform(one, motion, True).Shape() for one in parts(wide, "solid")]
    least = BOOLEAN_ON_FLATS if name == "flats" else BOOLEAN
    (left,) = [one for one in pieces if bounds(one)[5] > length - 1e-3]
    note(f"{name}, volume", abs(whole - kernel_volume(left) - taken_off(joint)) / (least * whole))
    note(f"{name}, long point", abs(-bounds(left)[2] - joint.end_cut.change) / 1e-3)


def hole_misses(rng: Random) -> dict[str, float]:
    """A tube that passes through a larger round one: the outline on paper, back on the tube, against both solids."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex, BRepBuilderAPI_Transform
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Ax3, gp_Dir, gp_Pnt, gp_Trsf

    axis, out, aside = _frame(rng)
    node = np.array([rng.uniform(-800.0, 800.0) for _ in range(3)])
    big = rng.uniform(30.0, 80.0)
    post = Section("round", big, big * rng.uniform(0.03, 0.2))
    small = rng.uniform(0.2, 0.75) * big
    bar = Section("round", small, small * rng.uniform(0.05, 0.3))
    if rng.random() < 0.4:
        bar = random_section(rng, 0.5 * big)
        while bar.cylinder is not None:
            bar = random_section(rng, 0.5 * big)
    theta = rng.choice((90.0, rng.uniform(30.0, 90.0)))
    offset = rng.choice((0.0, rng.uniform(-0.5, 0.5) * (big / 2.0 - bar.outer.half_diagonal)))
    way = cos(radians(theta)) * axis + sin(radians(theta)) * out
    up = cos(a := rng.uniform(0.0, 2.0 * pi)) * aside + sin(a) * np.cross(way, aside)
    from_a = rng.uniform(300.0, 900.0)
    begin, start = node - from_a * axis, node + offset * aside - 0.5 * LENGTH * way
    high = any_normal(_point(axis))
    tubes = [
        _straight("POST", begin, axis, high, 1200.0, post),
        _straight("BAR", start, way, up, LENGTH, bar),
    ]
    holes = cope_frame(tubes, _SHOP).holes
    assert [hole.tube for hole in holes] == ["POST", "POST"]
    solid = kernel_prism(begin, axis, None, 1200.0, post)
    passing = kernel_prism(start, way, up, LENGTH, bar)
    sides = [
        [face for face in parts(one, "face") if not _is_cap(face, way)] for one, way in ((solid, axis), (passing, way))
    ]
    paper = rng.choice((0.0, 0.1, 0.25))
    (sheet,) = hole_wraps(holes, {}, paper)
    found = {"template's width": abs(sheet.width - pi * (big + paper)) / 1e-9}
    zero = np.array(holes[0].zero_direction)
    side = np.cross(axis, zero)
    far = 0.0
    for x, lengths in sheet.outlines:
        for k in rng.sample(range(len(x)), 24):
            clock = radians(float(x[k]) / sheet.width * 360.0 + sheet.seam)
            place = begin + float(lengths[k]) * axis + big / 2.0 * (cos(clock) * zero + sin(clock) * side)
            vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*_point(place))).Vertex()
            off = [min(float(BRepExtrema_DistShapeShape(vertex, face).Value()) for face in faces) for faces in sides]
            far = max(far, *off)
    found["outline"] = far / (2e-6 / sin(radians(theta)))
    # the kernel's own patch of the outside that lies within the passing tube, with the tube along z
    motion = gp_Trsf()
    motion.SetTransformation(gp_Ax3(gp_Pnt(*_point(begin)), gp_Dir(*_point(axis)), gp_Dir(*_point(out))))
    patch = BRepBuilderAPI_Transform(BRepAlgoAPI_Common(sides[0][0], passing).Shape(), motion, True).Shape()
    middle = _place_of(holes[0], begin, axis, zero, side, big / 2.0)
    spans: list[list[float]] = [[], []]
    for face in parts(patch, "face"):
        box = bounds(face)
        same = (box[0] + box[3]) * float((middle - begin) @ out) > 0.0
        spans[0 if same else 1] += [box[2], box[5]]
    for hole, span in zip(holes, spans, strict=True):
        lengths = [length for _, length in hole.outline]
        found["size along"] = max(found.get("size along", 0.0), abs(max(span) - min(span) - hole.along) / DRAWN)
        ends = max(abs(max(span) - max(lengths)), abs(min(span) - min(lengths)))
        found["ends"] = max(found.get("ends", 0.0), ends / (0.01 * hole.along))
    shell = BRepAlgoAPI_Cut(
        solid, kernel_prism(begin, axis, None, 1200.0, Section("bar", big - 2 * post.wall, 1.0))
    ).Shape()
    gone = kernel_volume(shell) - kernel_volume(BRepAlgoAPI_Cut(shell, passing).Shape())
    found["plugs"] = abs(gone - sum(hole.plug for hole in holes)) / (1e-7 * kernel_volume(shell) + 1e-3 * gone)
    return found


def _is_cap(face: Any, way: Any) -> bool:
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    one = BRepAdaptor_Surface(face)
    if one.GetType().name != "GeomAbs_Plane":
        return False
    normal = one.Plane().Axis().Direction()
    return bool(abs(normal.X() * way[0] + normal.Y() * way[1] + normal.Z() * way[2]) > 0.99)


def _place_of(hole: Any, begin: Any, axis: Any, zero: Any, side: Any, radius: float) -> Any:
    a = radians(hole.clock)
    return begin + hole.from_a * axis + radius * (cos(a) * zero + sin(a) * side)
