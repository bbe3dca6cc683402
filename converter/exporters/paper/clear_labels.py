"""Labels of a template moved, where they stand on a line or on each other, to the nearest place where they do not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import cos, pi, sin

import numpy as np
import numpy.typing as npt

from converter.exporters.paper.figure import Figure, Point, Text

Box = tuple[float, float, float, float]
#: What is left free around a label, and how far it may move, mm.
_FREE, _FURTHEST = 0.35, 14.0
_STEP = 0.7


def clear_labels(figure: Figure, curves: Sequence[Sequence[Point]], may_stand: Callable[[Text, Box], bool]) -> None:
    """Move labels off lines and off each other.

    Args:
        figure: its labels move; its lines do not.
        curves: lines through points, mm, that no label may stand on.
        may_stand: whether a label may be moved to a box (x0, y0, x1, y1) at all.
    """
    ink = _Ink([*curves, *((a, b) for a, b, _ in figure.lines)])
    for i, text in enumerate(figure.texts):
        box = text.box()
        if not may_stand(text, box):
            continue
        others = [other.box() for k, other in enumerate(figure.texts) if k != i]
        near = ink.near(box, _FURTHEST + _FREE)
        if _is_clear(box, near, others):
            continue
        for at in _around(text.at):
            moved = replace(text, at=at)
            if may_stand(text, moved.box()) and _is_clear(moved.box(), near, others):
                figure.texts.pop(i)
                figure.texts.insert(i, moved)
                x0, y0, x1, y1 = moved.box()
                figure.low = (min(figure.low[0], x0), min(figure.low[1], y0))
                figure.high = (max(figure.high[0], x1), max(figure.high[1], y1))
                break


def _around(at: Point) -> list[Point]:
    """Places around a place, the nearest first."""
    rings = [_STEP * k for k in range(1, int(_FURTHEST / _STEP) + 1)]
    return [(at[0] + r * cos(a * pi / 8.0), at[1] + r * sin(a * pi / 8.0)) for r in rings for a in range(16)]


def _is_clear(box: Box, ink: npt.NDArray[np.float64], others: Sequence[Box]) -> bool:
    x0, y0, x1, y1 = box[0] - _FREE, box[1] - _FREE, box[2] + _FREE, box[3] + _FREE
    if any(b[0] < x1 and b[2] > x0 and b[1] < y1 and b[3] > y0 for b in others):
        return False
    x, y = ink[:, 0], ink[:, 1]
    return not bool(((x > x0) & (x < x1) & (y > y0) & (y < y1)).any())


class _Ink:
    """Lines as points no further apart than half a millimetre, asked of a part of them at a time.

    Args:
        lines: each through points, mm.
    """

    def __init__(self, lines: Sequence[Sequence[Point]]) -> None:
        corners = [np.asarray(points, dtype=np.float64) for points in lines if len(points) > 1]
        self._starts = np.vstack([np.empty((0, 2)), *(one[:-1] for one in corners)])
        self._ends = np.vstack([np.empty((0, 2)), *(one[1:] for one in corners)])
        self._low, self._high = np.minimum(self._starts, self._ends), np.maximum(self._starts, self._ends)

    def near(self, box: Box, reach: float) -> npt.NDArray[np.float64]:
        """The points of all pieces that come within reach of a box, mm, and more."""
        low, high = np.array(box[:2]) - reach, np.array(box[2:]) + reach
        chosen = ((self._low <= high) & (self._high >= low)).all(axis=1)
        starts, ends = self._starts[chosen], self._ends[chosen]
        gaps = ends - starts
        counts = 2 + (np.hypot(gaps[:, 0], gaps[:, 1]) / 0.5).astype(int)
        piece = np.repeat(np.arange(len(counts)), counts)
        place = np.arange(len(piece)) - np.repeat(np.cumsum(counts) - counts, counts)
        share = (place / (counts - 1)[piece])[:, None]
        dense: npt.NDArray[np.float64] = (1.0 - share) * starts[piece] + share * ends[piece]
        return dense
