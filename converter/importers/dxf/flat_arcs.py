"""Arcs that a writer laid flat although the tube is in space: found, and restored where it can be done.

Some general-purpose CAD packages write every ARC with the extrusion (0, 0, 1): its centre is
true, but radius and angles are those of its shadow on the xy plane. Lines are true. Such an
arc meets no line, or has no radius at all. Where two line ends are free, both as far from the
centre as each other, both square to their arm, in one plane, and run into and out of the turn,
they give the arc back where it would be written as it was: the same bearings from above, and a
radius that is its own or that of its shadow. An arc that is drawn otherwise is sound and stays.

Terms: a *suspect* is an arc drawn in a plane of constant z with an end that meets nothing, unless
it runs tangent into a neighbour: tangent and arm then both lie in its plane, so that the plane is
true. A *free end* is an end of any other curve that meets nothing but suspects.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import atan2, cos, hypot, radians, sin
from typing import Any

import numpy as np

from converter.arrays import Ints, distinct
from converter.findings import Clause, Finding
from converter.geometry.clusters import close_pairs, components
from converter.geometry.vectors import (
    Vec,
    along,
    angle_between,
    cross,
    distance,
    dot,
    norm,
    scale,
    signed_angle,
    sub,
    unit,
)
from converter.model.curve import Arc, Line, Path, Polyline
from converter.model.drawing import DrawnCurve
from converter.tolerances import DEFAULT

#: how far (degrees) a line may be from square to its arm, or out of plane: these writers round to six digits
_SQUARE = 0.5
#: how far (degrees) a shadow's direction may be off
_SHADOW = 0.5
#: share of a radius that six digits of its ends and centre may take or give
_DIGITS = 1e-4
#: so many arcs that end at one place are asked whether they run into what ends there; no drawing of tubes has more
_ARCS_AT_ONE_PLACE = 50
#: so many pairs of free ends about one centre are no tube but a cage; none of them is the one
_PAIRS = 10_000


@dataclass(frozen=True, slots=True)
class FlatMark:
    """An arc whose shadow has no radius: its true centre is all that is left of it.

    Attributes:
        center: mm.
        layer, handle: where it was drawn.
        before: how many curves were drawn before it.
        linetype: as of `DrawnCurve`.
    """

    center: Vec
    layer: str
    handle: str | None
    before: int
    linetype: str | None = None


@dataclass(frozen=True, slots=True)
class _FreeEnd:
    """An end of a curve that meets nothing: the point, the direction out of the curve there, and whose it is."""

    point: Vec
    outward: Vec
    owner: int


def restore_flat_arcs(
    curves: list[DrawnCurve], marks: list[FlatMark], is_circle: Callable[[str | None], bool]
) -> tuple[list[DrawnCurve], list[Finding]]:
    """The curves with flat arcs put back where they belong, and what must be said about them.

    Args:
        curves: everything drawn, in order.
        marks: arcs without a radius, in order.
        is_circle: whether the entity of a handle was drawn as a whole circle; asked of whole turns only.

    Returns:
        The curves (the same list when nothing was flat) and the findings.
    """
    if not _in_space(curves, marks):
        return curves, []
    suspects, ends, lone_ones = _split(curves, is_circle)
    if (not suspects and not marks) or not ends:
        return curves, []
    search = _EndSearch(ends)
    replaced: dict[int, DrawnCurve] = {}
    inserted: list[tuple[int, DrawnCurve]] = []
    findings: list[Finding] = []
    doubtful: list[Finding] = []
    unsure: list[Finding] = []
    for mark in marks:
        arc = search.restore(mark.center, None, -1)
        if arc is not None:
            inserted.append((mark.before, DrawnCurve(arc, mark.layer, mark.handle, linetype=mark.linetype)))
            findings.append(_flattened_finding(arc, None, mark.layer, mark.handle))
            continue
        suspect = _suspect_finding(None, mark.center, mark.layer, mark.handle)
        (doubtful if search.casts(mark.center, (mark.center,)) else unsure).append(suspect)
    for index in suspects:
        drawn = curves[index]
        flat = drawn.curve
        if not isinstance(flat, Arc):
            continue
        arc = search.restore(flat.center, flat, index)
        if arc is not None:
            replaced[index] = replace(drawn, curve=arc)
            findings.append(_flattened_finding(arc, flat.radius, drawn.layer, drawn.handle))
            continue
        suspect = _suspect_finding(flat.radius, flat.center, drawn.layer, drawn.handle)
        if search.casts(flat.center, (flat.start, flat.end)):
            doubtful.append(suspect)
        elif index in lone_ones:
            unsure.append(suspect)
    if findings or doubtful:
        # a writer that lays one arc flat lays them all flat: what meets nothing is then not to be trusted
        doubtful += unsure
    if not replaced and not inserted:
        return curves, findings + doubtful
    out: list[DrawnCurve] = []
    waiting = sorted(inserted, key=lambda item: item[0])
    for index, drawn in enumerate(curves):
        while waiting and waiting[0][0] <= index:
            out.append(waiting.pop(0)[1])
        out.append(replaced.get(index, drawn))
    out.extend(drawn for _, drawn in waiting)
    return out, findings + doubtful


def _in_space(curves: list[DrawnCurve], marks: list[FlatMark]) -> bool:
    """Whether there are arcs in planes of constant z, and lines that leave such planes."""
    flat = bool(marks)
    for drawn in curves:
        curve = drawn.curve
        if isinstance(curve, Arc) and abs(curve.normal[2]) > 1.0 - 1e-9:
            flat = True
            break
    if not flat:
        return False
    level: float | None = None
    for drawn in curves:
        curve = drawn.curve
        if isinstance(curve, Line):
            if level is None:
                level = curve.start[2]
            if abs(curve.start[2] - level) > DEFAULT.join or abs(curve.end[2] - level) > DEFAULT.join:
                return True
        elif isinstance(curve, Polyline) and float(np.ptp(curve.points[:, 2])) > DEFAULT.join:
            return True
    return False


def _split(
    curves: list[DrawnCurve], is_circle: Callable[[str | None], bool]
) -> tuple[list[int], list[_FreeEnd], set[int]]:
    """The suspects, the free ends, and those suspects that meet nothing at either end."""
    all_ends: list[Vec] = []
    for drawn in curves:
        all_ends += (drawn.curve.start, drawn.curve.end)
    place = _places(all_ends)
    met = _meetings(place, set())
    proven = _run_into_tangent(curves, place, met)
    suspects: list[int] = []
    lone: set[int] = set()
    for index, drawn in enumerate(curves):
        arc = drawn.curve
        if not isinstance(arc, Arc) or abs(arc.normal[2]) <= 1.0 - 1e-9:
            continue
        first, last = met[2 * index], met[2 * index + 1]
        if arc.angle == 360.0:
            if not is_circle(drawn.handle):
                suspects.append(index)
        elif not (first and last) and index not in proven:
            suspects.append(index)
            if not (first or last):
                lone.add(index)
    if not suspects and all(met):
        return [], [], lone
    doubted = set(suspects)
    without = _meetings(place, doubted)
    free: list[_FreeEnd] = []
    for i, point in enumerate(all_ends):
        owner = i // 2
        # the loose end of an arc that meets its neighbour at the other may lead into one that was laid flat
        loose = owner in doubted and not met[i] and met[i ^ 1]
        if loose or (owner not in doubted and not without[i]):
            direction = _outward(curves[owner], at_end=bool(i % 2))
            if direction is not None:
                free.append(_FreeEnd(point, direction, owner))
    return suspects, free, lone


def _places(ends: list[Vec]) -> Ints:
    """Number of the place where each end lies: ends within the join tolerance are at one, as for the reducer."""
    points = np.array(ends, dtype=np.float64).reshape(-1, 3)
    return components(len(points), *close_pairs(points, DEFAULT.join))


def _meetings(place: Ints, without: set[int]) -> list[bool]:
    """For each end, whether an end of another curve (none of ``without``) lies at its place.

    Ends 2i and 2i + 1 belong to curve i.
    """
    curve = np.arange(len(place)) // 2
    counted = ~np.isin(curve, list(without))
    once = distinct((place * len(place) + curve)[counted])
    curves = np.bincount(once // len(place), minlength=len(place))
    met: list[bool] = (curves[place] > counted).tolist()
    return met


def _run_into_tangent(curves: list[DrawnCurve], place: Ints, met: list[bool]) -> set[int]:
    """The arcs of planes of constant z that run tangent into a neighbour that is no such arc, or is proven itself.

    Args:
        curves: everything drawn.
        place: (2n,) the place of each end.
        met: (2n,) whether an end meets another curve.
    """
    arcs_at: dict[int, list[int]] = {}
    for end in (i for i, meets in enumerate(met) if meets and _is_level_arc(curves[i // 2])):
        arcs_at.setdefault(int(place[end]), []).append(end)
    proven: set[int] = set()
    waiting = [i for i, drawn in enumerate(curves) if not _is_level_arc(drawn)]
    while waiting:
        index = waiting.pop()
        for end in (2 * index, 2 * index + 1):
            outward = _outward(curves[index], at_end=bool(end % 2)) if met[end] else None
            if outward is None:
                continue
            for other in arcs_at.get(int(place[end]), ())[:_ARCS_AT_ONE_PLACE]:
                arc = other // 2
                if arc in proven or arc == index:
                    continue
                inward = _outward(curves[arc], at_end=bool(other % 2))
                if inward is not None and angle_between(outward, scale(inward, -1.0)) <= _SQUARE:
                    proven.add(arc)
                    waiting.append(arc)
    return proven


def _is_level_arc(drawn: DrawnCurve) -> bool:
    return isinstance(drawn.curve, Arc) and abs(drawn.curve.normal[2]) > 1.0 - 1e-9


def _outward(drawn: DrawnCurve, *, at_end: bool) -> Vec | None:
    """The direction in which a curve leaves its end (its start), or None where that is not needed."""
    curve = drawn.curve
    if isinstance(curve, Path):
        curve = curve.parts[-1] if at_end else curve.parts[0]
    if isinstance(curve, Line):
        return curve.direction if at_end else scale(curve.direction, -1.0)
    if isinstance(curve, Polyline):
        a, b = (curve.points[-2], curve.points[-1]) if at_end else (curve.points[1], curve.points[0])
        x, y, z = (b - a).tolist()
        return unit((x, y, z))
    if isinstance(curve, Arc) and curve.angle < 360.0:
        return curve.end_direction if at_end else scale(curve.start_direction, -1.0)
    return None


class _EndSearch:
    """The free ends, and which of them have been used up."""

    def __init__(self, ends: list[_FreeEnd]) -> None:
        self._ends = ends
        # one array per coordinate: for a search per arc this is several times faster than rows
        self._p = tuple(np.array([e.point[i] for e in ends]) for i in range(3))
        self._d = tuple(np.array([e.outward[i] for e in ends]) for i in range(3))
        self._free = np.ones(len(ends), dtype=bool)

    def _tangent(self, center: Vec) -> tuple[Any, Any]:
        """Which unused free ends are square to their arm from ``center``, and the lengths of the arms."""
        x, y, z = (p - c for p, c in zip(self._p, center, strict=True))
        reach = np.sqrt(x * x + y * y + z * z)
        across = np.abs(x * self._d[0] + y * self._d[1] + z * self._d[2])
        square = across <= reach * sin(radians(_SQUARE)) + DEFAULT.join * 0.5
        return square & (reach > DEFAULT.join) & self._free, reach

    def restore(self, center: Vec, drawn: Arc | None, index: int) -> Arc | None:
        """The one arc about ``center`` that two free ends make; None when there is none, or more than one.

        Args:
            center: the true centre.
            drawn: the flat arc, or None when nothing is left of it.
            index: the curve it was drawn as, whose own ends do not count.
        """
        tangent, reach = self._tangent(center)
        near = [i for i in np.flatnonzero(tangent).tolist() if self._ends[i].owner != index]
        near.sort(key=lambda i: float(reach[i]))
        found: list[tuple[Arc, int, int]] = []
        tried = 0
        for place, i in enumerate(near):
            for j in near[place + 1 :]:
                if reach[j] - reach[i] > DEFAULT.join:
                    break
                tried += 1
                if tried > _PAIRS:
                    return None
                arc = _between(center, self._ends[i], self._ends[j])
                if arc is not None and _shadow_fits(center, drawn, arc):
                    found.append((arc, i, j))
        if len(found) != 1 or (drawn is not None and _same(drawn, found[0][0])):
            return None
        self._free[[found[0][1], found[0][2]]] = False
        return found[0][0]

    def casts(self, center: Vec, shadows: tuple[Vec, ...]) -> bool:
        """Whether one of the points is the shadow of a free end at another height that is tangent about the centre."""
        tangent, _ = self._tangent(center)
        for end in shadows:
            above = np.hypot(self._p[0] - end[0], self._p[1] - end[1]) <= DEFAULT.join
            higher = np.abs(self._p[2] - end[2]) > DEFAULT.join
            if (above & higher & tangent).any():
                return True
        return False


def _between(center: Vec, first: _FreeEnd, second: _FreeEnd) -> Arc | None:
    """The arc that leaves ``first`` along its line and runs into ``second`` along its own, or None."""
    p, q = first.point, second.point
    chord = sub(q, p)
    if norm(chord) <= DEFAULT.join:
        return None
    # the centre as near to the drawn one as it can be at equal distance from both ends
    u = unit(chord)
    middle = along(p, chord, 0.5)
    center = along(center, u, -dot(sub(center, middle), u))
    arm_p, arm_q = sub(p, center), sub(q, center)
    normal = cross(arm_p, first.outward)
    if norm(normal) <= 0.5 * norm(arm_p):
        return None
    normal = unit(normal)
    if abs(dot(arm_q, normal)) > DEFAULT.join + norm(arm_q) * radians(_SQUARE) * 0.1:
        return None
    arriving = cross(normal, unit(arm_q))
    if angle_between(arriving, scale(second.outward, -1.0)) > 2.0 * _SQUARE:
        return None
    angle = signed_angle(arm_p, arm_q, normal) % 360.0
    if not 0.0 < angle < 360.0:
        return None
    # the plane through both arms, exactly, unless they are in line
    exact = cross(arm_p, arm_q)
    if norm(exact) > 1e-6 * norm(arm_p) ** 2:
        exact = unit(exact)
        normal = exact if dot(exact, normal) > 0.0 else scale(exact, -1.0)
        angle = signed_angle(arm_p, arm_q, normal) % 360.0
    return Arc(center, normal, norm(arm_p), p, q, angle)


def _shadow_fits(center: Vec, drawn: Arc | None, restored: Arc) -> bool:
    """Whether such a writer would have drawn the restored arc as it was drawn.

    Its radius is that of the arc, or what shows of it from above at an end; none where an end stands straight above
    or below the centre. Its ends lie in the directions of the arc's, seen from above.

    Args:
        center: the centre as drawn.
        drawn: the flat arc, or None when it has no radius.
        restored: what two free ends make of it.
    """
    arms = [(p[0] - center[0], p[1] - center[1]) for p in (restored.start, restored.end)]
    reach = [hypot(x, y) for x, y in arms]
    if drawn is None:
        return min(reach) <= DEFAULT.join
    if min(abs(drawn.radius - size) for size in (restored.radius, *reach)) > DEFAULT.join + _DIGITS * drawn.radius:
        return False
    bearings = [atan2(p[1] - center[1], p[0] - center[0]) for p in (drawn.start, drawn.end)]
    seen = [
        [  # an end straight above the centre has no bearing, one nearly so hardly any
            size <= DEFAULT.join or abs(_turned(atan2(y, x) - b)) <= radians(_SHADOW) + DEFAULT.join / size
            for b in bearings
        ]
        for (x, y), size in zip(arms, reach, strict=True)
    ]
    return (seen[0][0] and seen[1][1]) or (seen[0][1] and seen[1][0])


def _turned(angle: float) -> float:
    """The angle in radians within (-pi, pi]."""
    return atan2(sin(angle), cos(angle))


def _same(drawn: Arc, restored: Arc) -> bool:
    """Whether an arc was true as drawn: it ends where the restored one does and passes through its middle."""
    half = restored.point(restored.angle / 2.0)
    middle = drawn.point(drawn.angle / 2.0)
    pairs = ((drawn.start, drawn.end), (drawn.end, drawn.start))
    return distance(half, middle) <= DEFAULT.join and any(
        distance(a, restored.start) <= DEFAULT.join and distance(b, restored.end) <= DEFAULT.join for a, b in pairs
    )


def _flattened_finding(arc: Arc, drawn_radius: float | None, layer: str | None, handle: str | None) -> Finding:
    return Finding(
        "arc-flattened",
        measured=arc.radius,
        unit="mm",
        layer=layer,
        handle=handle,
        values={**_drawn(drawn_radius, handle), "radius": arc.radius},
        at=arc.point(arc.angle / 2.0),
    )


def _suspect_finding(radius: float | None, center: Vec, layer: str | None, handle: str | None) -> Finding:
    return Finding(
        "arc-suspect",
        layer=layer,
        handle=handle,
        values={**_drawn(radius, handle), "center": center},
        at=center,
    )


def _drawn(radius: float | None, handle: str | None) -> dict[str, Clause]:
    """Which arc it is and how it was drawn, for sentences; None for a radius that does not show, or no handle."""
    return {
        "arc": Clause.of("arc-with-handle", handle=handle) if handle else Clause.of("arc-without-handle"),
        "drawn": Clause.of("arc-without-radius") if radius is None else Clause.of("arc-radius", radius=radius),
    }
