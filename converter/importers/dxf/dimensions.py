"""Dimensions that were taken apart into lines: each end of a line has a short stroke across it, or an open arrowhead.

A dimension that is an entity of its own is left out. Exploded, on the layer of the tubes, it is read as tubes, and
nothing but its strokes tells it. Common practice, no source; so it is only said.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from converter.arrays import Array, Flags, Ints, vectors
from converter.findings import Finding
from converter.geometry.clusters import close_pairs
from converter.model.curve import Line
from converter.model.drawing import DrawnCurve
from converter.tolerances import DEFAULT

#: mm, and of the dimension's line: no stroke is longer.
_STROKE, _SHARE = 100.0, 0.25
#: Degrees that a stroke across an end may be turned off the line, and half an arrowhead is off it.
_ACROSS, _ARROW = (20.0, 70.0), (5.0, 40.0)
#: Lines that are looked at, at most.
_LINES = 5000
#: Lines with a mark at one end that are looked at for another one, and the cosine of what counts as opposite.
_HALVES, _OPPOSITE = 200, 1.0 - 1e-9


def dimension_findings(curves: Sequence[DrawnCurve]) -> list[Finding]:
    """A warning where lines end as dimensions do at both ends; else nothing.

    Args:
        curves: everything drawn, mm.
    """
    drawn = [one for one in curves if isinstance(one.curve, Line)]
    if not 3 <= len(drawn) <= _LINES:
        return []
    starts = vectors([one.curve.start for one in drawn])
    ends = vectors([one.curve.end for one in drawn])
    ways = ends - starts
    sizes = np.sqrt((ways * ways).sum(axis=1))
    stroke = sizes <= min(_STROKE, _SHARE * float(sizes.max()))
    if int(stroke.sum()) < 2:
        return []
    ways /= sizes[:, None]
    marks = _marks(starts, ends, ways, sizes, stroke)
    told = [k for k, own in enumerate(marks) if len(own) == 2 and _is_alike(*own.values())]
    told += _in_two_parts(marks, np.stack((starts, ends)), ways)
    if not told:
        return []
    first = drawn[told[0]]
    return [
        Finding(
            "annotation-suspect",
            variant="dimensions",
            cure="dimensions",
            measured=float(len(told)),
            unit=None,
            layer=first.layer,
            handle=first.handle,
            at=first.curve.start,
            also=tuple(drawn[k].curve.start for k in told[1:]),
            values={"count": len(told)},
        )
    ]


def _in_two_parts(marks: list[dict[int, float]], points: Array, ways: Array) -> list[int]:
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
                found.append(k)
                break
    return found


def _is_alike(one: float, other: float) -> bool:
    return abs(one - other) <= 0.01 * max(one, other) + DEFAULT.join


def _marks(starts: Array, ends: Array, ways: Array, sizes: Array, stroke: Flags) -> list[dict[int, float]]:
    """Of each line the sizes of the strokes across its ends, or of the arrowheads there, by the end (0 and 1).

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
            continue
        out = ways[mark] if b < count else -ways[mark]
        if _ARROW[0] <= _degrees(float(out @ inward)) <= _ARROW[1]:
            found[k].setdefault(end, []).append((float(sizes[mark]), False))
    return [_sizes(own) for own in found]


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
