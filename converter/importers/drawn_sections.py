"""Sections that a sketch draws along with the path of a tube: closed curves that stand square on the path's end.

What is swept is often left in a file beside the path: a circle of the outside, perhaps one of the bore. Read as curves
they were rings. A ring of tube has its middle on no path's end, or is larger than tube is across.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from converter.arrays import Ints
from converter.findings import Finding
from converter.geometry.clusters import components, same_points
from converter.geometry.vectors import Vec, distance, dot, sub, vec_of
from converter.model.curve import Arc, Curve
from converter.model.drawing import DrawnCurve
from converter.model.section import Section
from converter.reducer.chaining.ends import curve_length, end_directions, sample
from converter.shop.consistency import MOST_TUBE
from converter.tolerances import Tolerances, same_within

#: Why such a curve is no centerline.
OF_SECTION = "the section of a tube, drawn square on the end of its path"
#: Cosine of what is square: a sketch that stands on a path does so to rounding.
_SQUARE = 0.9998
#: Of its size that a closed curve's middle lies beside the path's end at most.
_BESIDE = 0.55
#: Decimals that sizes are rounded to, as those of solids are.
_NEAT = 9


@dataclass(frozen=True, slots=True)
class DrawnSections:
    """What the sections drawn in a file tell.

    Attributes:
        left_out: numbers of the curves that draw them.
        sections: that of the path that ends with a curve, by the number of that.
        findings: on those that tell none.
    """

    left_out: frozenset[int]
    sections: dict[int, Section]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class _ClosedCurve:
    """A closed flat curve: its numbers, middle, unit normal, size across, mm, and whether it is a circle."""

    curves: tuple[int, ...]
    middle: Vec
    normal: Vec
    size: float
    is_circle: bool


@dataclass(frozen=True, slots=True)
class _PathEnd:
    """The end of a path at ``place``: number of the curve there and of its path, and the direction that has."""

    curve: int
    path: int
    place: Vec
    direction: Vec


def without_sections(
    drawn: Sequence[DrawnCurve], tol: Tolerances
) -> tuple[list[DrawnCurve], list[DrawnCurve], tuple[Finding, ...]]:
    """Curves that may be centerlines, with the sections that were drawn along; those that draw these; what to tell.

    Args:
        drawn, tol: as of `drawn_sections`.
    """
    found = drawn_sections(drawn, tol)
    if not found.left_out:
        return [*drawn], [], ()
    kept = [
        replace(one, section=found.sections.get(k, one.section))
        for k, one in enumerate(drawn)
        if k not in found.left_out
    ]
    return kept, [drawn[k] for k in sorted(found.left_out)], found.findings


def drawn_sections(drawn: Sequence[DrawnCurve], tol: Tolerances) -> DrawnSections:
    """The sections among curves, each with the path that it stands on.

    Args:
        drawn: all that may be centerlines, in mm and in place.
        tol: ``join`` is how near ends meet, and how near a section's middle lies to its path.
    """
    curves = [one.curve for one in drawn]
    if not any(isinstance(curve, Arc) or distance(curve.start, curve.end) <= tol.join for curve in curves):
        return DrawnSections(frozenset(), {}, ())
    points = np.array([p for curve in curves for p in (curve.start, curve.end)])
    nodes = same_points(points, tol.join)
    paths = components(int(nodes.max()) + 1, nodes[0::2], nodes[1::2])[nodes[0::2]]
    members: dict[int, list[int]] = defaultdict(list)
    for number, path in enumerate(paths.tolist()):
        members[path].append(number)
    degree = np.bincount(nodes).astype(np.int64)
    loops = {
        path: loop
        for path, group in members.items()
        if (degree[nodes[[2 * k for k in group]]] == 2).all() and (loop := _loop([*group], curves, tol)) is not None
    }
    if not loops or len(loops) == len(members):
        return DrawnSections(frozenset(), {}, ())
    ends = [end for path, group in members.items() for end in _ends(path, group, curves, nodes, degree)]
    bounds = {path: _bounds([curves[k] for k in group]) for path, group in members.items()}
    stands: dict[int, list[tuple[_PathEnd, _ClosedCurve]]] = defaultdict(list)
    places = np.array([end.place for end in ends]).reshape(-1, 3)
    for own, loop in loops.items():
        near = np.flatnonzero(np.abs(places - np.array(loop.middle)).max(axis=1) <= loop.size)
        for end in (ends[k] for k in near.tolist()):
            length, tightest = bounds[end.path]
            if end.path == own or loop.size > min(length, 2.0 * tightest):
                continue
            if _stands_on(loop, end, tol):
                stands[end.path].append((end, loop))
                break
    return _read_from([on_path for on_path in stands.values() if not _is_seam(on_path, tol)], drawn, tol)


def _loop(group: Sequence[int], curves: Sequence[Curve], tol: Tolerances) -> _ClosedCurve | None:
    """Curves that close as one flat loop no larger than tube is across; None where they do not."""
    arc = _circle([curves[k] for k in group], tol)
    if arc is not None:
        size = 2.0 * arc.radius
        return _ClosedCurve(tuple(group), arc.center, arc.normal, size, True) if size <= MOST_TUBE else None
    points = np.concatenate([sample(curves[k], 17) for k in group])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
    size = 2.0 * float(np.linalg.norm(points - middle, axis=1).max())
    if not tol.join < size <= MOST_TUBE * 2.0**0.5:
        return None
    _, spread, axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)
    if spread[1] <= tol.join or float(np.abs((points - middle) @ axes[2]).max()) > tol.join:
        return None  # there and back, or not flat
    return _ClosedCurve(tuple(group), vec_of(middle), vec_of(axes[2]), size, False)


def _circle(curves: Sequence[Curve], tol: Tolerances) -> Arc | None:
    """An arc of the circle that arcs make together, None where they make none."""
    arcs = [curve for curve in curves if isinstance(curve, Arc)]
    if len(arcs) < len(curves) or abs(sum(arc.angle for arc in arcs) - 360.0) > 1e-3:
        return None
    first = arcs[0]
    apart = max(max(distance(arc.center, first.center), abs(arc.radius - first.radius)) for arc in arcs)
    return first if apart <= tol.join else None


def _ends(path: int, group: Sequence[int], curves: Sequence[Curve], nodes: Ints, degree: Ints) -> Iterable[_PathEnd]:
    """Where a path ends: of its curves those ends at which no other begins."""
    for k in group:
        curve = curves[k]
        for node, place, way in zip(
            nodes[2 * k : 2 * k + 2], (curve.start, curve.end), end_directions(curve), strict=True
        ):
            if degree[node] == 1:
                yield _PathEnd(k, path, place, way)


def _bounds(curves: Sequence[Curve]) -> tuple[float, float]:
    """Length of a path, and the least radius of its arcs, mm."""
    radii = [curve.radius for curve in curves if isinstance(curve, Arc)]
    return sum(map(curve_length, curves)), min(radii, default=float("inf"))


def _stands_on(loop: _ClosedCurve, end: _PathEnd, tol: Tolerances) -> bool:
    """Whether a loop stands square on the end of a path that passes through it."""
    arm = sub(end.place, loop.middle)
    return (
        abs(dot(loop.normal, end.direction)) >= _SQUARE
        and abs(dot(loop.normal, arm)) <= same_within(tol.join)
        and distance(end.place, loop.middle) <= _BESIDE * loop.size
    )


def _is_seam(on_path: Sequence[tuple[_PathEnd, _ClosedCurve]], tol: Tolerances) -> bool:
    """Whether a path goes from rim to rim of circles, as the seam of a body's side does."""
    on_rim = [
        end.place
        for end, loop in on_path
        if loop.is_circle and abs(distance(end.place, loop.middle) - loop.size / 2.0) <= tol.join
    ]
    return len(set(on_rim)) > 1


def _read_from(
    stands: Iterable[Sequence[tuple[_PathEnd, _ClosedCurve]]], drawn: Sequence[DrawnCurve], tol: Tolerances
) -> DrawnSections:
    """What the sections on each path tell of its tube."""
    left_out: set[int] = set()
    sections: dict[int, Section] = {}
    findings = []
    for on_path in stands:
        left_out |= {k for _, loop in on_path for k in loop.curves}
        end, first = max(on_path, key=lambda one: one[1].size)
        off = max(distance(end.place, loop.middle) for end, loop in on_path)
        shown = _sections(on_path, tol)
        values: dict[str, object] = {"size": first.size, "off": off, "place": first.middle}
        variant = None
        if off > same_within(tol.join):
            variant = "beside"
        elif not all(loop.is_circle for _, loop in on_path):
            variant = ""
        elif not _agree(shown, tol):
            variant = "unlike"
        if variant is None:
            sections[end.curve] = max(shown, key=lambda section: section.kind.hollow)
            continue
        findings.append(
            Finding(
                "section-drawn",
                variant=variant,
                measured=first.size,
                unit="mm",
                layer=drawn[end.curve].layer,
                at=first.middle,
                values=values,
            )
        )
    return DrawnSections(frozenset(left_out), sections, tuple(findings))


def _sections(on_path: Sequence[tuple[_PathEnd, _ClosedCurve]], tol: Tolerances) -> list[Section]:
    """What the circles on each end of a path are the section of: tube where one lies in another, else bar."""
    by_end: dict[Vec, list[float]] = defaultdict(list)
    for end, loop in on_path:
        by_end[end.place].append(loop.size)
    found = []
    for sizes in by_end.values():
        od = round(max(sizes), _NEAT)
        bores = [size for size in sizes if od - size > 2.0 * tol.join]
        wall = od / 2.0 if not bores else round((od - max(bores)) / 2.0, _NEAT)
        found.append(Section("round" if bores else "bar", od, wall))
    return found


def _agree(sections: Sequence[Section], tol: Tolerances) -> bool:
    """Whether the sections on a path's ends are one; a bore may be drawn at one of them only."""
    sizes = [section.od for section in sections]
    walls = [section.wall for section in sections if section.kind.hollow]
    return max(sizes) - min(sizes) <= tol.join and (not walls or max(walls) - min(walls) <= tol.join)
