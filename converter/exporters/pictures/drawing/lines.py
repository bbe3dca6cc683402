"""The lines of a drawing as read: what became of each drawn curve, and what the tubes make of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from converter.arrays import Array
from converter.exporters.paper.figure import Point
from converter.exporters.pictures.drawing.plane import curve_points
from converter.findings import ERROR, Finding
from converter.model.curve import Ellipse, Line, Path, Polyline, Spline
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import Tube

#: Findings that say a run stands for curves that are no straights and arcs.
_FITTED = frozenset({"curve-fitted", "not-line-arc"})
#: Findings that say a tube is not where it was drawn.
_MOVED = frozenset({"corner-filleted", "refit", "rebuild-deviation"})
#: Errors at a bend that do not speak of its shape.
_NOT_TIGHT = frozenset({"sweep-hits"})
#: How much of the run beside a sharp corner is drawn with it, mm.
_BESIDE_CORNER = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class RoleLines:
    """A role of `converter.exporters.pictures.picture.ROLES` and the lines (n, 3) in mm that have it."""

    role: str
    lines: list[Array]


def drawn_lines(drawing: Drawing, tubes: Sequence[Tube]) -> list[RoleLines]:
    """The drawn curves by what became of them.

    Returns:
        ``drawn``: part of a run as it stands (also the runs that the file gives as tables or solids);
        ``fitted``: stood for by straights and arcs; ``ignored``: part of no run.
    """
    used = {handle for tube in tubes for handle in tube.run.handles}
    fitted = {h for tube in tubes if _codes(tube) & _FITTED for h in tube.run.handles}
    nameless_fitted = any(_codes(tube) & _FITTED and not tube.run.handles for tube in tubes)
    found: dict[str, list[Array]] = {"ignored": [], "drawn": [], "fitted": []}
    for drawn in drawing.curves:
        if not tubes or (drawn.handle and used and drawn.handle not in used):
            role = "ignored"
        elif (drawn.handle in fitted if drawn.handle else nameless_fitted) and _is_free(drawn):
            role = "fitted"
        else:
            role = "drawn"
        found[role].append(curve_points(drawn.curve))
    ready = {id(tube) for tube in tubes[len(tubes) - len(drawing.tables) :]} if drawing.tables else set()
    for tube in tubes:
        if id(tube) in ready or not drawing.curves:
            found["drawn"] += _centerline(tube)
    return [RoleLines(role, lines) for role, lines in found.items() if lines]


def bent_lines(drawing: Drawing, tubes: Sequence[Tube]) -> list[Array]:
    """Centerlines of the tubes that will not lie where they were drawn."""
    if not drawing.curves:
        return []
    return [points for tube in tubes if _codes(tube) & _MOVED for points in _centerline(tube)]


def tight_lines(tubes: Sequence[Tube], findings: Sequence[Finding]) -> list[Array]:
    """The bends that an error names: their arcs, or the corner with a little of the straights beside it."""
    wanted: dict[str | None, set[int]] = {}
    for f in findings:
        if f.severity == ERROR and f.bend and f.code not in _NOT_TIGHT:
            wanted.setdefault(f.tube, set()).add(f.bend)
    found = []
    for tube in tubes:
        numbers = wanted.get(tube.name, set())
        found += [points for k, points in enumerate(_bends(tube, numbers), 1) if k in numbers] if numbers else []
    return found


def _bends(tube: Tube, numbers: set[int]) -> list[Array]:
    """For each bend its arc, or its corner with a little of what is beside it; empty for those not asked for."""
    segments = tube.run.centerline
    found: list[Array] = []
    at = 0  # how many segments are behind
    for k, bend in enumerate(tube.run.table.bends, 1):
        # as `converter.model.centerline.rebuild` makes them: no straight without a length
        if bend.feed > 1e-9 and at < len(segments) and isinstance(segments[at], Line):
            at += 1
        if bend.clr is not None:
            found.append(curve_points(segments[at]) if k in numbers else _NO_POINTS)
            at += 1
            continue
        before = curve_points(segments[at - 1].reversed()) if at and k in numbers else _NO_POINTS
        after = curve_points(segments[at]) if at < len(segments) and k in numbers else _NO_POINTS
        sides = [_first_part(points) for points in (before, after) if len(points)]
        found.append(np.concatenate([sides[0][::-1], *sides[1:]]) if sides else _NO_POINTS)
    return found


_NO_POINTS: Array = np.zeros((0, 3))


def _first_part(points: Array) -> Array:
    """The beginning of a line, up to `_BESIDE_CORNER` mm or a third of it."""
    length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    share = min(_BESIDE_CORNER, 0.3 * length) / length
    if len(points) == 2:
        return np.array([points[0], points[0] + share * (points[1] - points[0])])
    return points[: max(2, ceil(share * (len(points) - 1)) + 1)]


def _codes(tube: Tube) -> set[str]:
    return {f.code for f in (*tube.run.findings, *tube.findings)}


def _is_free(drawn: DrawnCurve) -> bool:
    """Whether it was drawn as something else than straights and arcs."""
    curve = drawn.curve
    if isinstance(curve, Path):
        return any(isinstance(part, Polyline) and len(part.points) > 2 for part in curve.parts)
    return isinstance(curve, (Spline, Ellipse)) or (isinstance(curve, Polyline) and len(curve.points) > 2)


def _centerline(tube: Tube) -> list[Array]:
    parts = [curve_points(segment) for segment in tube.run.centerline]
    return [np.concatenate(parts)] if parts else []


def ring(center: Point, radius: float, corners: int = 16, turn: float = 0.0) -> list[Point]:
    """A regular polygon: many corners make a ring, four a diamond, three a triangle."""
    angles = np.radians(90.0 + turn) + np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    return [(center[0] + radius * float(np.cos(a)), center[1] + radius * float(np.sin(a))) for a in angles]
