"""Where a tube's centerline ends, and how far its metal reaches past that.

A square or slanted cut: where the centerline meets the plane. A cope: where the centerline
comes nearest to the axis of the mate whose surface cut it. Anything else: level with the
longest point of metal. Which face made the cut is told by how far around the tube it goes:
slots, holes and notches do not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import acos, atan2, hypot, pi, sqrt, tau

import numpy as np

from converter.arrays import Array
from converter.findings import Finding
from converter.geometry.vectors import Vec, along, cross, dot, norm, scale, sub
from converter.importers.solids.blends import across_blends, reach_on
from converter.importers.solids.chains import PieceChain
from converter.importers.solids.faces import CONE, CYLINDER, PLANE, TORUS, Patch, Rim, SolidBody
from converter.importers.solids.pieces import Axis, FacePieces, TubePiece, near_angle
from converter.tolerances import Tolerances

#: A cut must go around by at least this much (radians) to be the one that ends the tube.
_CUTS = 1.0
#: Sine of the least angle between a tube and the plane or axis that ends it.
_ACROSS = 0.05
#: Where metal ends within this part of the outside radius all around, it is cut square.
_SQUARE = 0.002
#: A cone or torus on a tube's axis that goes along it by more than this part of the radius is a reducer or flare.
_ROUNDING = 0.5
#: A tube fills the bore that it is pushed into but for this part of its radius.
_SNUG = 0.02
#: A flat face that reaches further from the axis than this many outside radii is not the tube's own cut.
_BEYOND = 1.02


@dataclass(frozen=True, slots=True)
class ChainEnd:
    """An end of a chain.

    Attributes:
        t: where the centerline ends, on its piece's axis.
        metal: how far the longest point of metal lies beyond that, mm.
        on: what it ends on, by the variants of the finding `solid-ends`: 'cut', 'mate', 'face',
            'inside', 'corners' or 'point'.
        short: how far the bore stops before that, under a cap or in full metal, mm.
    """

    t: float
    metal: float
    on: str = "point"
    short: float = 0.0


@dataclass(slots=True)
class _EndFace:
    """A face that bounds the outside (None: nothing does), how far around, and how far out it reaches (in t)."""

    patch: Patch | None
    winding: float
    out: float


def end_of(body: SolidBody, found: FacePieces, piece: TubePiece, side: int) -> ChainEnd:
    """The end of a chain at its last piece's ``side`` (0: lo, 1: hi)."""
    cuts, rims = _cuts(body, found, piece, side)
    main = _main(cuts, piece)
    t, on = None, "point"
    if main is not None and main.patch is not None:
        t = _meets(piece, side, main.patch)
        on = _ends_on(body, piece, main.patch)
    behind = _behind_blends(body, found, piece, side, cuts) if t is None else None
    if behind is not None:
        return behind
    if t is None:
        t, on = _longest_place(piece, side, rims), "point"
    elif on == "face" and piece.bore is not None:
        # the bore may run on through the flange or plate that the tube ends on
        own = {number for patch in piece.patches for number, _ in patch.rims}
        rims = [rim for rim in rims if any(rim is body.rims[number] for number in own)] or rims
    within = _end_within(body, piece, side) if on == "face" else None
    if within is not None:
        return ChainEnd(within, 0.0, "inside")
    point, heading = piece.axis.at(t), piece.axis.heading(t)
    out = heading if side else (-heading[0], -heading[1], -heading[2])
    metal = reach(rims, point, out)
    if on == "point" and metal + reach(rims, point, scale(out, -1.0)) < _SQUARE * piece.radius:
        on = "cut"
    return ChainEnd(t, 0.0 if abs(metal) < 1e-9 else metal, on)


def _behind_blends(
    body: SolidBody, found: FacePieces, piece: TubePiece, side: int, cuts: list[_EndFace]
) -> ChainEnd | None:
    """The end on what a fillet or weld bead around it joins the tube to; None without one."""
    own = {patch.index for patch in (*piece.patches, *(piece.bore.patches if piece.bore else ()))}
    behind: list[_EndFace] = []
    for face, rim, forward in across_blends(body, piece, [cut.patch for cut in cuts if cut.patch is not None], own):
        turned = _winding(piece.axis, rim.points) * (1.0 if forward else -1.0)
        _count(behind, face, turned, _out(piece, side, rim), found)
    main = _main(behind, piece)
    t = None if main is None or main.patch is None else _meets(piece, side, main.patch)
    if t is None or main is None or main.patch is None:
        return None
    heading = piece.axis.heading(t)
    past = reach_on(piece, t, heading if side else scale(heading, -1.0), main.patch)
    if past is None:
        return None
    on = _ends_on(body, piece, main.patch)
    within = _end_within(body, piece, side) if on == "face" else None
    if within is not None:
        return ChainEnd(within, 0.0, "inside")
    return ChainEnd(t, 0.0 if abs(past) < 1e-9 else past, on)


def _end_within(body: SolidBody, piece: TubePiece, side: int) -> float | None:
    """Where a straight tube ends that is pushed into another: at a face as wide as its own wall at its bore's end."""
    bore = piece.bore
    if bore is None or piece.axis.is_ring or (bore.end(side) - piece.end(side)) * (1.0 if side else -1.0) <= 0.0:
        return None
    own = {patch.index for patch in bore.patches}
    t = bore.end(side)
    for number in {number for patch in bore.patches for number, _ in patch.rims}:
        for k in body.rims[number].faces:
            if k in own or body.patches[k].shape.kind != PLANE:
                continue
            points = np.concatenate([body.rims[index].points for index, _ in body.patches[k].rims])
            if float(np.abs(piece.axis.places(points) - t).max()) > _SQUARE * piece.radius:
                continue
            arms = points - np.array(piece.axis.at(t))
            if abs(float(np.linalg.norm(arms, axis=1).max()) - piece.radius) <= _SNUG * piece.radius:
                return t
    return None


def end_findings(ends: tuple[ChainEnd, ChainEnd] | None, backward: bool, name: str, tol: Tolerances) -> list[Finding]:
    """To where the length of a tube runs at each end that is not cut square.

    Args:
        ends: of the chain; None where it is closed.
        backward: whether its table runs the other way.
        name: of the tube.
        tol: metal within ``fit`` of the centerline's end is square.
    """
    found = []
    for letter, end in zip("AB", ends[::-1] if backward else ends, strict=True) if ends else ():
        # cut to an equal tube the metal reaches just to the mate's axis, and is a saddle all the same
        if abs(end.metal) > tol.fit or end.on in ("face", "point", "mate", "inside"):
            found.append(
                Finding("solid-ends", variant=end.on, tube=name, end=letter, measured=float(end.metal), unit="mm")
            )
    return found


def bore_findings(
    body: SolidBody,
    found: FacePieces,
    chain: PieceChain,
    ends: tuple[ChainEnd, ChainEnd],
    backward: bool,
    name: str,
    tol: Tolerances,
) -> list[Finding]:
    """Where the bore of a tube stops before its outside does: under a cap of its own diameter, or in full metal.

    Args:
        ends: of the chain, at its first and its last piece.
        backward: whether its table runs the other way.
    """
    told = []
    for letter, which in zip("BA" if backward else "AB", (0, -1), strict=True):
        piece, back = chain.items[which]
        side = int(back) if which == 0 else int(not back)
        bore = piece.bore
        if bore is None or _goes_on(found, piece, bore, side) or not _is_shut(body, bore, side):
            continue
        past = (ends[which].t - bore.end(side)) * (1.0 if side else -1.0) * (piece.axis.major or 1.0)
        if past > tol.fit:
            told.append(bore_short_finding(name, letter, past, tol))
    return sorted(told, key=lambda finding: finding.end or "")


def _goes_on(found: FacePieces, piece: TubePiece, bore: TubePiece, side: int) -> bool:
    """Whether the bore goes on behind what shuts it there: a plug or a wall within it."""
    return any(
        other is not bore
        and other.axis.number == bore.axis.number
        and other.sign == bore.sign
        and abs(other.radius - bore.radius) <= _SQUARE * bore.radius
        and (other.end(side) - bore.end(side)) * (1.0 if side else -1.0) > 0.0
        and piece.lo < other.hi
        and other.lo < piece.hi
        for other in found.pieces
    )


def bore_short_finding(name: str, letter: str, past: float, tol: Tolerances) -> Finding:
    """That the bore of a tube stops so many mm before its outside does, at the end of that letter."""
    values = {"off": float(past)}
    return Finding(
        "solid-off", variant="bore short", tube=name, end=letter, measured=float(past), limit=tol.fit, unit="mm",
        values=values,
    )  # fmt: skip


def _is_shut(body: SolidBody, bore: TubePiece, side: int) -> bool:
    """Whether a bore ends on a flat face that only it borders."""
    own = {patch.index for patch in bore.patches}
    for number in {number for patch in bore.patches for number, _ in patch.rims}:
        rim = body.rims[number]
        if not len(rim.points) or not _at_side(bore, side, rim):
            continue
        for k in rim.faces:
            beside = {j for index, _ in body.patches[k].rims for j in body.rims[index].faces}
            if k not in own and body.patches[k].shape.kind == PLANE and beside <= {k, *own}:
                return True
    return False


def _ends_on(body: SolidBody, piece: TubePiece, cut: Patch) -> str:
    """What a face that ends a tube is: its own cut, a face of something it stands on, or the tube it is cut to."""
    if cut.shape.kind != PLANE:
        return "mate"
    rows = [body.rims[number].points for number, _ in cut.rims]
    points = np.concatenate(rows) if rows else np.empty((0, 3))
    if not len(points) or piece.axis.is_ring:
        return "cut"
    arms = points - np.array(piece.axis.point)
    ahead = arms @ np.array(piece.axis.direction)
    off = np.sqrt(np.maximum((arms * arms).sum(axis=1) - ahead * ahead, 0.0))
    oval = max((patch.shape.oval for patch in piece.patches), default=0.0)
    return "face" if float(off.max()) > piece.radius * _BEYOND + oval else "cut"


def _main(cuts: list[_EndFace], piece: TubePiece) -> _EndFace | None:
    """The cut that ends the tube: of those furthest out, the one that goes around furthest.

    A mate of the same size that the tube runs through cuts all around, too, but further in.
    """
    around = [c for c in cuts if abs(c.winding) >= _CUTS]
    if not around:
        return None
    last = max(c.out for c in around) - 0.25 * piece.radius / (piece.axis.major or 1.0)
    return max((c for c in around if c.out >= last), key=lambda c: abs(c.winding))


def _cuts(body: SolidBody, found: FacePieces, piece: TubePiece, side: int) -> tuple[list[_EndFace], list[Rim]]:
    """What ends the outside here, and the edges the metal ends at (of the bore, too)."""
    own = {p.index for p in piece.patches}
    if piece.bore is not None:
        own |= {p.index for p in piece.bore.patches}
    number = piece.axis.number
    cuts: list[_EndFace] = []
    ends: dict[int, Rim] = {}
    beside: set[int] = set()
    outside = {p.index for p in piece.patches}
    for patch in [*piece.patches, *(piece.bore.patches if piece.bore else [])]:
        for index, forward in patch.rims:
            rim = body.rims[index]
            if not len(rim.points):
                continue
            others = [k for k in rim.faces if k not in own]
            if (not others and len(rim.faces) > 1) or not _at_side(piece, side, rim):
                continue
            if any(_runs_on(found, body, k, number) for k in others):
                continue
            ends[index] = rim
            beside.update(others)
            if patch.index in outside:
                turned = _winding(piece.axis, rim.points) * (1.0 if forward else -1.0)
                _count(cuts, body.patches[others[0]] if others else None, turned, _out(piece, side, rim), found)
    for k in list(beside):
        if _is_rounding(body, k, piece):
            beside.update(j for index, _ in body.patches[k].rims for j in body.rims[index].faces)
    for k in beside:
        if _is_own_cut(body, k, own | beside):
            for index, _ in body.patches[k].rims:
                rim = body.rims[index]
                if len(rim.points) and _at_side(piece, side, rim):
                    ends[index] = rim
    return cuts, list(ends.values())


def _runs_on(found: FacePieces, body: SolidBody, k: int, number: int) -> bool:
    """Whether face k is the same tube going on (a bend beside its straight), not what cuts it."""
    other = found.axis_of[k]
    if other < 0 or other == number:
        return other == number and body.patches[k].shape.kind in (CYLINDER, TORUS)
    mine, its = found.axes[number], found.axes[other]
    if not (mine.is_ring or its.is_ring):
        return False
    ring, line = (mine, its) if mine.is_ring else (its, mine)
    if line.is_ring:
        return False
    foot = along(line.point, line.direction, line.place(ring.point))
    return (
        abs(dot(line.direction, ring.direction)) < 0.02
        and abs(norm(sub(foot, ring.point)) - ring.major) < 0.02 * ring.major
        and abs(dot(sub(foot, ring.point), ring.direction)) < 0.02 * ring.major
    )


def _is_rounding(body: SolidBody, k: int, piece: TubePiece) -> bool:
    """Whether a face is a chamfer or a rounding of this end's edge: a cone or torus about the tube's own axis."""
    shape = body.patches[k].shape
    if piece.axis.is_ring or shape.kind not in (CONE, TORUS):
        return False
    foot = piece.axis.at(piece.axis.place(shape.point))
    if norm(sub(foot, shape.point)) >= 1e-3 * piece.radius or norm(cross(shape.axis, piece.axis.direction)) >= 1e-3:
        return False
    rows = [body.rims[number].points for number, _ in body.patches[k].rims if len(body.rims[number].points)]
    return bool(rows) and float(np.ptp(piece.axis.places(np.concatenate(rows)))) <= _ROUNDING * piece.radius


def _is_own_cut(body: SolidBody, k: int, own: set[int]) -> bool:
    """Whether a face belongs to this end alone: all its neighbours are this tube's."""
    return all(j in own or j == k for index, _ in body.patches[k].rims for j in body.rims[index].faces)


def _places(piece: TubePiece, rim: Rim) -> Array:
    t = piece.axis.places(rim.points)
    if piece.axis.is_ring:
        middle = (piece.lo + piece.hi) / 2.0
        t = middle + pi - (pi - (t - middle)) % tau
    return t


def _at_side(piece: TubePiece, side: int, rim: Rim) -> bool:
    middle = (piece.lo + piece.hi) / 2.0
    places = _places(piece, rim)
    place = float(places.sum()) / len(places)
    if not piece.axis.is_ring and not piece.lo - piece.radius <= place <= piece.hi + piece.radius:
        return False  # of the same faces where they are another tube, with another wall
    return (place >= middle) == bool(side)


def _out(piece: TubePiece, side: int, rim: Rim) -> float:
    t = _places(piece, rim)
    return float(t.max()) if side else -float(t.min())


def _winding(axis: Axis, points: Array) -> float:
    around = axis.around(points)
    steps = np.diff(around)
    return float((steps - tau * np.round(steps / tau)).sum())


def _count(cuts: list[_EndFace], patch: Patch | None, turned: float, out: float, found: FacePieces) -> None:
    for cut in cuts:
        if _same_cut(cut.patch, patch, found):
            cut.winding += turned
            cut.out = max(cut.out, out)
            return
    cuts.append(_EndFace(patch, turned, out))


def _same_cut(a: Patch | None, b: Patch | None, found: FacePieces) -> bool:
    if a is None or b is None or a is b:
        return a is b
    if a.shape.kind == b.shape.kind == PLANE:
        flat = norm(cross(a.shape.axis, b.shape.axis)) < 1e-6
        return flat and abs(dot(sub(a.shape.point, b.shape.point), a.shape.axis)) < 1e-4
    number = found.axis_of[a.index]
    return number >= 0 and number == found.axis_of[b.index]


def _meets(piece: TubePiece, side: int, cut: Patch) -> float | None:
    """``t`` where the centerline ends on a cut face; None when that face does not tell."""
    axis, shape = piece.axis, cut.shape
    if shape.kind == PLANE:
        return on_plane(axis, shape.point, shape.axis, piece.end(side))
    if shape.kind == CYLINDER:
        if axis.is_ring:
            line = shape.point, shape.axis
            return _nearest(piece, side, shape.radius, lambda p: norm(cross(sub(p, line[0]), line[1])))
        n = cross(axis.direction, shape.axis)
        if norm(n) < 4.0 * _ACROSS:
            return None
        w = sub(shape.point, axis.point)
        return dot(cross(w, shape.axis), n) / dot(n, n)
    if shape.kind == TORUS:
        parallel = not axis.is_ring and norm(cross(shape.axis, axis.direction)) < 1e-3
        if parallel and norm(sub(shape.point, axis.at(axis.place(shape.point)))) < 1e-3 * shape.major:
            return None  # around this tube's own axis: a rounded edge

        def off(p: Vec) -> float:
            arm = sub(p, shape.point)
            height = dot(arm, shape.axis)
            return hypot(sqrt(max(0.0, dot(arm, arm) - height * height)) - shape.major, height)

        return _nearest(piece, side, shape.radius, off)
    return None


def on_plane(axis: Axis, point: Vec, normal: Vec, near: float) -> float | None:
    """``t`` where an axis meets a plane (a ring: the crossing nearest to ``near``); None along the plane."""
    if not axis.is_ring:
        slope = dot(axis.direction, normal)
        return dot(sub(point, axis.point), normal) / slope if abs(slope) > _ACROSS else None
    a, b = dot(axis.x, normal) * axis.major, dot(axis.y, normal) * axis.major
    c = dot(sub(point, axis.point), normal)
    size = hypot(a, b)
    if size < _ACROSS * axis.major or abs(c) > size:
        return None
    middle, half = atan2(b, a), acos(c / size)
    roots = [near_angle(middle + s * half, near) for s in (-1.0, 1.0)]
    return min(roots, key=lambda t: abs(t - near))


def _nearest(piece: TubePiece, side: int, mate: float, off: Callable[[Vec], float]) -> float:
    """``t`` near an end where the centerline comes nearest to something: a scan, then golden section."""
    axis = piece.axis
    unit = 1.0 / axis.major if axis.is_ring else 1.0
    span = 4.0 * (mate + piece.radius) * unit
    if axis.is_ring:
        span = min(span, pi / 2.0)
    end = piece.end(side)
    steps = [end + span * (k / 32.0 - 1.0) for k in range(65)]
    best = min(range(65), key=lambda k: off(axis.at(steps[k])))
    lo, hi = steps[max(best - 1, 0)], steps[min(best + 1, 64)]
    return _least(lambda t: off(axis.at(t)), lo, hi)


def _least(f: Callable[[float], float], lo: float, hi: float) -> float:
    """Where f is least in [lo, hi]: golden section to rounding, then a parabola through the last three."""
    k = (sqrt(5.0) - 1.0) / 2.0
    a, b = hi - k * (hi - lo), lo + k * (hi - lo)
    fa, fb = f(a), f(b)
    for _ in range(40):
        if fa <= fb:
            hi, b, fb = b, a, fa
            a = hi - k * (hi - lo)
            fa = f(a)
        else:
            lo, a, fa = a, b, fb
            b = lo + k * (hi - lo)
            fb = f(b)
        if hi - lo < 1e-6:
            break
    return (lo + hi) / 2.0


def _longest_place(piece: TubePiece, side: int, rims: list[Rim]) -> float:
    axis, end = piece.axis, piece.end(side)
    if axis.is_ring or not rims:
        return end
    heading = axis.direction if side else (-axis.direction[0], -axis.direction[1], -axis.direction[2])
    beyond = reach(rims, axis.at(end), heading)
    return end + (beyond if side else -beyond)


def reach(rims: list[Rim], point: Vec, out: Vec) -> float:
    """The furthest that edges reach from ``point`` along ``out``, mm."""
    if not rims:
        return 0.0
    o, d = np.array(point), np.array(out)
    reaches = [(rim.points - o) @ d for rim in rims]
    best = max(float(r.max()) for r in reaches)
    result = best
    for rim, reach in zip(rims, reaches, strict=True):
        low, high = float(reach.min()), float(reach.max())
        if rim.straight or high - low < 1e-9 or high < best - 0.05 * (high - low):
            continue
        k = int(reach.argmax())
        step = (rim.last - rim.first) / (len(reach) - 1)
        lo = rim.first + step * max(k - 1, 0)
        hi = rim.first + step * min(k + 1, len(reach) - 1)

        def short(t: float, rim: Rim = rim) -> float:
            return -dot(sub(rim.value(t), point), out)

        result = max(result, -short(_least(short, lo, hi)))
    return result
