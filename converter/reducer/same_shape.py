"""Chains of one shape are worked out once: what comes of the others is the same tube, moved to where each was drawn.

A block that is inserted a thousand times, or a curve copied as often, is one shape. Two chains are of one shape where a
rigid motion takes every point that defines the one onto that of the other, curve by curve in order, and whatever else
defines them is the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import vec
from converter.geometry.vectors import Vec
from converter.model.bends import BendTable, Placement
from converter.model.curve import Arc, Curve, Ellipse, Line, Path, Polyline
from converter.model.run import Run
from converter.reducer.chaining.chain import Chain

#: Points whose distance from a line is less than this part of the size of the whole make no plane with it.
_FLAT = 1e-3
#: mm: chains whose lengths differ by more are not compared.
_STEP = 0.01


@dataclass(frozen=True, slots=True)
class ShapeMove:
    """A rigid motion: points ``p`` go to ``turn @ (p - base) + target``, without ``turn`` where it is None."""

    base: Array
    target: Array
    turn: Array | None

    def of_points(self, points: Array) -> Array:
        """Where points (n, 3) go."""
        away = points - self.base
        return self.target + (away if self.turn is None else away @ self.turn.T)

    def of_point(self, point: Vec) -> Vec:
        """Where a point goes."""
        return vec(self.of_points(np.array([point]))[0])

    def of_direction(self, direction: Vec) -> Vec:
        """Where a unit direction points."""
        return direction if self.turn is None else vec(self.turn @ np.array(direction))


class ChainShape:
    """What defines the curves of a chain, apart from where they lie.

    Args:
        one: the chain.

    Attributes:
        kinds: what is compared as it is: curves, which way each is run, degrees, knots, weights.
        numbers: what is compared within rounding.
        points: (n, 3), what defines the rest.
    """

    def __init__(self, one: Chain) -> None:
        kinds: list[object] = [one.closed]
        numbers: list[float] = []
        points: list[Array] = []
        for drawn, backward in one.items:
            kinds.append(backward)
            _define(drawn.curve, kinds, numbers, points)
        self.kinds = tuple(kinds)
        self.numbers = np.array(numbers)
        self.points = np.concatenate(points)

    @cached_property
    def length(self) -> float:
        """From point to point, mm."""
        return float(np.sqrt((np.diff(self.points, axis=0) ** 2).sum(axis=1)).sum())

    @cached_property
    def frame(self) -> tuple[Array, int, int] | None:
        """Axes (3, 3), a row each, and the two points that they go by; None where all points lie nearly in a line."""
        away = self.points - self.points[0]
        far = int((away * away).sum(axis=1).argmax())
        aside = self._aside(far)
        size = float(np.sqrt((away[far] ** 2).sum()))
        third = int((aside * aside).sum(axis=1).argmax())
        if not float(np.sqrt((aside[third] ** 2).sum())) > _FLAT * size:
            return None
        return self.axes(far, third), far, third

    def axes(self, far: int, third: int) -> Array:
        """Right-handed axes (3, 3), a row each: towards one point, and the plane of another."""
        first = self.points[far] - self.points[0]
        second = self._aside(far)[third]
        first, second = first / np.sqrt((first**2).sum()), second / np.sqrt((second**2).sum())
        return np.array((first, second, np.cross(first, second)))

    def _aside(self, far: int) -> Array:
        """What points lie off the line from the first one to another, (n, 3)."""
        away = self.points - self.points[0]
        square = float((away[far] ** 2).sum()) or 1.0
        aside: Array = away - np.outer(away @ away[far] / square, away[far])
        return aside

    def move_to(self, other: ChainShape, equal: float) -> ShapeMove | None:
        """The motion that takes this shape to another one, every point within ``equal`` mm; None where none does."""
        if self.kinds != other.kinds or self.points.shape != other.points.shape:
            return None
        if not np.allclose(self.numbers, other.numbers, rtol=0.0, atol=1e-9):
            return None
        shift = ShapeMove(self.points[0], other.points[0], None)
        if self._goes(shift, other, equal):
            return shift
        if self.frame is None:
            return None
        own, far, third = self.frame
        with np.errstate(all="ignore"):  # points in one place
            turn = other.axes(far, third).T @ own
        move = ShapeMove(self.points[0], other.points[0], turn)
        return move if self._goes(move, other, equal) else None

    def _goes(self, move: ShapeMove, other: ChainShape, equal: float) -> bool:
        miss = move.of_points(self.points) - other.points
        return bool((miss * miss).sum(axis=1).max() <= equal * equal)


def _define(curve: Curve, kinds: list[object], numbers: list[float], points: list[Array]) -> None:
    """Add what defines a curve."""
    kinds.append(type(curve))
    if isinstance(curve, Path):
        kinds.append(len(curve.parts))
        for part in curve.parts:
            _define(part, kinds, numbers, points)
    elif isinstance(curve, Line):
        points.append(np.array((curve.start, curve.end)))
    elif isinstance(curve, Arc):
        center = np.array(curve.center)
        points.append(np.array((center, center + curve.radius * np.array(curve.normal), curve.start, curve.end)))
        numbers.append(curve.angle)
    elif isinstance(curve, Ellipse):
        center = np.array(curve.center)
        points.append(np.array((center, center + curve.major, center + curve.minor)))
        numbers += [curve.start_angle, curve.end_angle]
    elif isinstance(curve, Polyline):
        kinds.append(len(curve.points))
        points.append(np.asarray(curve.points, float))
    else:
        weights = None if curve.weights is None else np.asarray(curve.weights, float).tobytes()
        kinds += [curve.degree, len(curve.control_points), np.asarray(curve.knots, float).tobytes(), weights]
        points.append(np.asarray(curve.control_points, float))
        points.append(np.array((curve.start, curve.end)))


class WorkedOutShapes:
    """Chains that were worked out, by their shapes.

    Args:
        equal: mm by which points of one shape may miss one another.
    """

    def __init__(self, equal: float) -> None:
        self._equal = equal
        self._by_shape: dict[tuple[object, int], list[tuple[ChainShape, Chain, Run]]] = {}

    def add(self, shape: ChainShape, one: Chain, run: Run) -> None:
        """Keep what came of a chain; not of a straight, of which only the drawing's axes say how its section lies."""
        if run.table.bends:
            self._by_shape.setdefault((shape.kinds, round(shape.length / _STEP)), []).append((shape, one, run))

    def find(self, shape: ChainShape, one: Chain, name: str) -> Run | None:
        """What comes of a chain, by that name, where one of its shape was worked out before."""
        nearest = round(shape.length / _STEP)
        for step in (nearest, nearest - 1, nearest + 1):
            for known, other, run in self._by_shape.get((shape.kinds, step), ()):
                move = known.move_to(shape, self._equal)
                moved = None if move is None else _moved(run, other, one, name, move)
                if moved is not None:
                    return moved
        return None


def _moved(run: Run, one: Chain, other: Chain, name: str, move: ShapeMove) -> Run | None:
    """A run of one chain as that of another; None where the curves of one layer or handle come from several."""
    handles = _paired([d.handle for d, _ in one.items], [d.handle for d, _ in other.items])
    layers = _paired([one.layer, *(d.layer for d, _ in one.items)], [other.layer, *(d.layer for d, _ in other.items)])
    if handles is None or layers is None:
        return None
    at = run.placement
    bends = tuple(replace(b, handle=handles.get(b.handle), layer=layers.get(b.layer)) for b in run.table.bends)
    findings = tuple(
        replace(
            finding,
            tube=name,
            layer=layers.get(finding.layer),
            handle=handles.get(finding.handle),
            at=None if finding.at is None else move.of_point(finding.at),
            also=tuple(move.of_point(place) for place in finding.also),
        )
        for finding in run.findings
    )
    return replace(
        run,
        name=name,
        layer=other.layer,
        table=BendTable(bends, run.table.tail),
        placement=Placement(move.of_point(at.start), move.of_direction(at.direction), move.of_direction(at.normal)),
        handles=other.handles,
        findings=findings,
    )


def _paired(ones: Sequence[str | None], others: Sequence[str | None]) -> dict[str | None, str | None] | None:
    """What stands for what; None where that is not one for one."""
    pairs = dict(zip(ones, others, strict=True))
    return pairs if all(pairs[one] == other for one, other in zip(ones, others, strict=True)) else None
