"""Dimensions that were taken apart into lines: their ends have a short stroke across them, or an arrowhead.

A dimension that is an entity of its own is left out. Exploded, on the layer of the tubes, it is read as tubes, and
nothing but its strokes and arrowheads tells it. A triangle at one end is enough, as leaders and radii have it; strokes
and arrowheads of single lines have to be at both. Common practice, no source; so it is only said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain, combinations

import numpy as np

from converter.arrays import Array, Flags, Ints, vectors
from converter.findings import Finding
from converter.geometry.clusters import close_pairs
from converter.importers.dxf.arrowheads import ArrowHead, drawn_heads
from converter.model.curve import Arc, Curve, Line
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.ends import curve_length, middle
from converter.tolerances import DEFAULT

#: mm, and of the dimension's line: no stroke is longer.
_STROKE, _SHARE = 100.0, 0.25
#: Degrees that a stroke across an end may be turned off the line, and half an arrowhead is off it.
_ACROSS, _ARROW = (20.0, 70.0), (5.0, 40.0)
#: The same of an arrowhead, and degrees that a line may run into it askew; an arc, whose chord it lies on.
_HEAD_SHARE, _ALONG, _ALONG_ARC = 0.5, 3.0, 20.0
#: Lines through one centre that are looked at, at most, and the cosine up to which two are square to each other.
_MARKS, _SQUARE = 8, 0.01
#: mm, and of the radius: lines that end so near to the circle are spokes. Common practice, no source.
_SPOKE, _SPOKE_SHARE = 5.0, 0.05
#: Lines that are looked at, at most.
_LINES = 5000
#: Lines with a mark at one end that are looked at for another one, and the cosine of what counts as opposite.
_HALVES, _OPPOSITE = 200, 1.0 - 1e-9


@dataclass(frozen=True, slots=True)
class Dimensions:
    """What looks like dimensions taken apart.

    Attributes:
        lines: places of the lines and arcs that end in strokes or arrowheads.
        parts: places of all, and of what the ends are marked with, as far as it is drawn with curves.
        centers: places of the lines that cross at the centre of an arc.
    """

    lines: tuple[int, ...] = ()
    parts: frozenset[int] = frozenset()
    centers: tuple[int, ...] = ()

    def findings(self, curves: Sequence[DrawnCurve]) -> list[Finding]:
        """A warning for each of the two kinds that there is.

        Args:
            curves: everything drawn, mm.
        """
        kinds = (("dimensions", self.lines), ("centre marks", self.centers))
        return [_doubt(variant, [curves[k] for k in places]) for variant, places in kinds if places]


def dimensions(curves: Sequence[DrawnCurve], filled: Sequence[ArrowHead] = ()) -> Dimensions:
    """What looks like dimensions taken apart.

    Args:
        curves: everything drawn, mm.
        filled: arrowheads that are no curves.
    """
    places = [k for k, one in enumerate(curves) if isinstance(one.curve, Line)]
    heads = [*filled, *drawn_heads(curves)]
    told, parts = _by_heads(curves, heads) if heads else ([], set())
    if 3 <= len(places) <= _LINES:
        lines = [curves[k].curve for k in places]
        own, marks = _by_strokes(vectors([one.start for one in lines]), vectors([one.end for one in lines]))
        told += [places[k] for k in own]
        parts.update(places[k] for k in marks)
    centers = tuple(k for k in _center_marks(curves, places) if k not in parts and k not in told)
    return Dimensions(tuple(dict.fromkeys(told)), frozenset((*told, *parts, *centers)), centers)


def _doubt(variant: str, drawn: Sequence[DrawnCurve]) -> Finding:
    """That curves are no tubes.

    Args:
        variant: of the finding.
        drawn: the curves, at least one.
    """
    return Finding(
        "annotation-suspect",
        variant=variant,
        cure="dimensions",
        measured=float(len(drawn)),
        unit=None,
        layer=drawn[0].layer,
        handle=drawn[0].handle,
        at=drawn[0].curve.start,
        also=tuple(one.curve.start for one in drawn[1:]),
        values={"count": len(drawn)},
    )


def _center_marks(curves: Sequence[DrawnCurve], places: Sequence[int]) -> list[int]:
    """Lines that cross each other square in their middles, at the centre of an arc or a circle.

    Args:
        curves: everything drawn, mm.
        places: of the lines.
    """
    arcs = [one.curve for one in curves if isinstance(one.curve, Arc)]
    if not arcs or not 2 <= len(places) <= _LINES or len(arcs) > _LINES:
        return []
    middles = vectors([middle(curves[k].curve) for k in places])
    one, other = close_pairs(np.concatenate((middles, vectors([arc.center for arc in arcs]))), DEFAULT.join)
    at_center: dict[int, set[int]] = {}
    for a, b in zip(one.tolist(), other.tolist(), strict=True):
        line, arc = min(a, b), max(a, b) - len(places)
        if line >= len(places) or arc < 0:
            continue
        half, radius = curve_length(curves[places[line]].curve) / 2.0, arcs[arc].radius
        if abs(half - radius) > max(_SPOKE, _SPOKE_SHARE * radius):  # else it is a spoke that ends on the ring
            at_center.setdefault(arc, set()).add(line)
    found: set[int] = set()
    for lines in at_center.values():
        for a, b in combinations(sorted(lines)[:_MARKS], 2):
            ways = [_way_out(curves[places[k]].curve, 1) for k in (a, b)]
            if abs(float(ways[0] @ ways[1])) <= _SQUARE:
                found.update((places[a], places[b]))
    return sorted(found)


def _by_heads(curves: Sequence[DrawnCurve], heads: Sequence[ArrowHead]) -> tuple[list[int], set[int]]:
    """The lines and arcs that run into an arrowhead, and what these are drawn with."""
    own = [k for k, one in enumerate(curves) if isinstance(one.curve, (Line, Arc)) and not _is_round(one.curve)]
    if not own or len(own) > _LINES:
        return [], set()
    ends = [(k, end) for k in own for end in (0, 1)]
    points = vectors([curves[k].curve.end if end else curves[k].curve.start for k, end in ends])
    marks = vectors([point for head in heads for point in (head.tip, head.base)])
    one, other = close_pairs(np.concatenate((points, marks)), DEFAULT.join)
    told: list[int] = []
    parts: set[int] = set()
    for a, b in zip(one.tolist(), other.tolist(), strict=True):
        first, second = min(a, b), max(a, b)
        if first >= len(ends) or second < len(ends):
            continue
        (k, end), head = ends[first], heads[(second - len(ends)) // 2]
        axis = np.subtract(head.tip, head.base)
        size = float(np.linalg.norm(axis))
        curve = curves[k].curve
        most = _ALONG if isinstance(curve, Line) else _ALONG_ARC
        along = float(_way_out(curve, end) @ axis) / size
        if not head.is_open and (second - len(ends)) % 2 == 0:
            along = abs(along)  # a line that ends at the tip may come from the other side
        if size <= _HEAD_SHARE * curve_length(curve) and _degrees(along) <= most:
            told.append(k)
            parts.update(() if head.curve is None else (head.curve,))
    return sorted(set(told)), parts


def _is_round(curve: Line | Arc) -> bool:
    return isinstance(curve, Arc) and curve.angle == 360.0


def _way_out(curve: Curve, end: int) -> Array:
    """The unit direction in which a line or an arc leaves at an end."""
    if isinstance(curve, Arc):
        return np.array(curve.end_direction) if end else -np.array(curve.start_direction)
    way = np.subtract(curve.end, curve.start)
    return (1.0 if end else -1.0) * way / float(np.linalg.norm(way))


def _by_strokes(starts: Array, ends: Array) -> tuple[list[int], set[int]]:
    """Lines with a stroke or an open arrowhead at both ends, and these marks.

    Args:
        starts, ends: (n, 3) mm.
    """
    ways = ends - starts
    sizes = np.sqrt((ways * ways).sum(axis=1))
    stroke = sizes <= min(_STROKE, _SHARE * float(sizes.max()))
    if int(stroke.sum()) < 2:
        return [], set()
    ways /= sizes[:, None]
    marks, used = _marks(starts, ends, ways, sizes, stroke)
    told = [k for k, own in enumerate(marks) if len(own) == 2 and _is_alike(*own.values())]
    halves = _in_two_parts(marks, np.stack((starts, ends)), ways)
    return told + [k for k, _ in halves], {mark for k in (*told, *chain.from_iterable(halves)) for mark in used[k]}


def _in_two_parts(marks: list[dict[int, float]], points: Array, ways: Array) -> list[tuple[int, int]]:
    """Lines with a mark at one end that go on in one with another such, behind a gap for the number.

    Args:
        marks: as of `_marks`.
        points: (2, n, 3) their starts and ends.
        ways: (n, 3) unit directions.
    """
    halves = [k for k, own in enumerate(marks) if len(own) == 1][:_HALVES]
    found = []
    for i, k in enumerate(halves):
        (end, size), *_ = marks[k].items()
        inward = ways[k] if end == 0 else -ways[k]
        for other in halves[i + 1 :]:
            (far, alike), *_ = marks[other].items()
            step = points[far, other] - points[end, k]
            along = float(step @ inward)
            opposite = float((ways[other] if far == 0 else -ways[other]) @ inward) < -_OPPOSITE
            on = float(np.linalg.norm(step - along * inward)) <= DEFAULT.join
            if opposite and on and along > 0.0 and _is_alike(size, alike):
                found.append((k, other))
                break
    return found


def _is_alike(one: float, other: float) -> bool:
    return abs(one - other) <= 0.01 * max(one, other) + DEFAULT.join


def _marks(
    starts: Array, ends: Array, ways: Array, sizes: Array, stroke: Flags
) -> tuple[list[dict[int, float]], list[set[int]]]:
    """Of each line the sizes of the strokes across its ends (0 and 1), or of the arrowheads there; and which these are.

    Args:
        starts, ends, ways: (n, 3) of the lines, mm and unit directions.
        sizes: (n,) mm.
        stroke: (n,) whether a line is short enough for a stroke.
    """
    count = len(starts)
    short = np.flatnonzero(stroke)
    middles = (starts[short] + ends[short]) / 2.0
    points = np.concatenate((starts, ends, middles))
    one, other = close_pairs(points, DEFAULT.join)
    one, other = np.concatenate((one, other)), np.concatenate((other, one))
    found: list[dict[int, list[tuple[float, bool]]]] = [{} for _ in range(count)]
    used: list[set[int]] = [set() for _ in range(count)]
    for a, b in _of_line_ends(one, other, count):
        k, end = a % count, a // count
        mark = int(short[b - 2 * count]) if b >= 2 * count else b % count
        if mark == k or not stroke[mark] or sizes[mark] > _SHARE * sizes[k]:
            continue
        inward = ways[k] if end == 0 else -ways[k]
        if b >= 2 * count:
            turn = _degrees(abs(float(ways[mark] @ inward)))
            if _ACROSS[0] <= turn <= _ACROSS[1]:
                found[k].setdefault(end, []).append((float(sizes[mark]), True))
                used[k].add(mark)
            continue
        out = ways[mark] if b < count else -ways[mark]
        if _ARROW[0] <= _degrees(float(out @ inward)) <= _ARROW[1]:
            found[k].setdefault(end, []).append((float(sizes[mark]), False))
            used[k].add(mark)
    return [_sizes(own) for own in found], used


def _of_line_ends(one: Ints, other: Ints, count: int) -> list[tuple[int, int]]:
    """The pairs of points of which the first is an end of a line."""
    own = one < 2 * count
    return list(zip(one[own].tolist(), other[own].tolist(), strict=True))


def _sizes(marks: dict[int, list[tuple[float, bool]]]) -> dict[int, float]:
    """The size of the stroke across an end, or of the two halves of an arrowhead."""
    known = {}
    for end, own in marks.items():
        across = [size for size, is_across in own if is_across]
        halves = [size for size, is_across in own if not is_across]
        if len(across) == 1 or len(halves) == 2:
            known[end] = across[0] if len(across) == 1 else max(halves)
    return known


def _degrees(cosine: float) -> float:
    return float(np.degrees(np.arccos(min(1.0, max(-1.0, cosine)))))
