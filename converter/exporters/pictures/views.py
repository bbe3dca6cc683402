"""From where a run is looked at: its axes, the isometric and the three views, and how they lie on paper.

Views are named by the side they look at: the front view looks along +y of the axes, the top view down,
the right view from the right. ISO 5456-2 puts the right view to the right and the top view above (third angle),
or to the left and below (first angle). The isometric has the three axes 120 degrees apart, z upright
(ISO 5456-3).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from typing import Any

from converter.arrays import Array
from converter.geometry.vectors import Vec, add, cross, dot, norm, scale, sub, unit
from converter.model.curve import Arc, Segment
from converter.model.run import Run

X: Vec = (1.0, 0.0, 0.0)
Y: Vec = (0.0, 1.0, 0.0)
Z: Vec = (0.0, 0.0, 1.0)
#: A run is plane when its directions lean out of the plane by less than this (sine).
_PLANE = 1e-4
#: Points on each bend by which views are compared.
_POINTS = 8


@dataclass(frozen=True, slots=True)
class View:
    """A parallel projection: unit vectors to the right and up on paper; the eye is along right x up."""

    name: str
    right: Vec
    up: Vec

    @property
    def toward(self) -> Vec:
        """Unit vector towards the eye."""
        return cross(self.right, self.up)

    def flat(self, p: Vec) -> tuple[float, float]:
        """A point or direction on paper."""
        return dot(p, self.right), dot(p, self.up)

    def flats(self, points: Array) -> Array:
        """Points (n, 3) on paper, (n, 2)."""
        import numpy as np

        return np.asarray(points @ np.array((self.right, self.up)).T)


@dataclass(frozen=True, slots=True)
class ViewAxes:
    """The axes that a run is shown along.

    Attributes:
        x, y, z: right-handed, unit; the front view has x to the right and z up.
        own: whether they are the run's own, because it lies in a plane that is askew in the drawing.
    """

    x: Vec = X
    y: Vec = Y
    z: Vec = Z
    own: bool = False

    def front(self) -> View:
        """Looking along +y."""
        return View("front", self.x, self.z)

    def top(self) -> View:
        """Looking down."""
        return View("top", self.x, self.y)

    def right(self) -> View:
        """From the right, along -x."""
        return View("right", self.y, self.z)

    def isometric(self, corner: int = 0) -> View:
        """From above one of the four corners: front right, front left, back left, back right."""
        a, b = ((1, 1), (1, -1), (-1, -1), (-1, 1))[corner]
        right = scale(add(scale(self.x, a), scale(self.y, b)), 1.0 / sqrt(2.0))
        # level and square to `right`, away from the eye
        away = cross(self.z, right)
        up = add(scale(self.z, sqrt(2.0 / 3.0)), scale(away, 1.0 / sqrt(3.0)))
        return View("isometric", right, up)

    def named(self, name: str, run: Run) -> View:
        """A view by its name; the isometric from the corner that shows the run best."""
        if name == "isometric":
            return self.best_isometric(run)
        return {"front": self.front, "top": self.top, "right": self.right}[name]()

    def best_isometric(self, run: Run) -> View:
        """Of the four corners the first that shows straights long and has few parts cross."""
        import numpy as np

        chain = np.array(_chain(run.centerline))
        views = [self.isometric(corner) for corner in range(4)]
        return max(views, key=lambda view: round(_clear(view, chain), 3))


def axes_of(run: Run) -> ViewAxes:
    """The axes for a run: the drawing's own, or for a plane run that lies askew in them the plane's."""
    normal = _plane(run)
    if normal is None or max(abs(c) for c in normal) > 1.0 - _PLANE:
        return ViewAxes()
    # seen from the front, or from above when it lies nearly level
    y = normal if normal[1] > 0.0 or (normal[1] == 0.0 and normal[0] < 0.0) else scale(normal, -1.0)
    z = sub(Z, scale(y, dot(Z, y)))
    if norm(z) < 1e-3:
        z = sub(Y, scale(y, dot(Y, y)))
    z = unit(z)
    return ViewAxes(cross(y, z), y, z, own=True)


def _plane(run: Run) -> Vec | None:
    """Unit normal of the plane that a run lies in, or None. A straight one's plane is upright."""
    segments = run.centerline
    directions = [d for s in segments for d in _directions(s)]
    if not directions:
        return None
    first = directions[0]
    normal: Vec | None = next((s.normal for s in segments if isinstance(s, Arc)), None)
    if normal is None:
        normal = next((unit(c) for d in directions if norm(c := cross(first, d)) > _PLANE), None)
    if normal is None:
        # straight: along an axis of the drawing those serve; else the upright plane through it
        if max(abs(c) for c in first) > 1.0 - 1e-9:
            return Y
        level = cross(first, Z)
        return unit(level) if norm(level) > 1e-9 else Y
    return normal if all(abs(dot(d, normal)) < _PLANE for d in directions) else None


def _directions(segment: Segment) -> tuple[Vec, ...]:
    if isinstance(segment, Arc):
        return segment.start_direction, segment.end_direction
    return (segment.direction,)


def _chain(segments: tuple[Segment, ...]) -> list[Vec]:
    points: list[Vec] = []
    for s in segments:
        points.append(s.start)
        if isinstance(s, Arc):
            points += [s.point(s.angle * k / _POINTS) for k in range(1, _POINTS)]
    return [*points, segments[-1].end] if segments else points


def _clear(view: View, chain: Array) -> float:
    """How clearly a view shows a run of (n, 3) points: its worst foreshortened straight, the mean, and what crosses."""
    import numpy as np

    if len(chain) < 2:
        return 0.0
    flat = view.flats(chain)
    steps, lengths = np.diff(flat, axis=0), np.linalg.norm(np.diff(chain, axis=0), axis=1)
    shown = np.linalg.norm(steps, axis=1) / np.maximum(lengths, 1e-12)
    straights = lengths > 0.05 * lengths.sum()
    worst = float(shown[straights].min()) if straights.any() else 0.0
    return 2.0 * worst + float((shown * lengths).sum() / lengths.sum()) - 0.3 * _crossings(flat[:-1], steps)


@lru_cache(maxsize=4)
def _apart(count: int) -> tuple[Any, Any]:
    """All pairs of so many chords that do not follow each other."""
    import numpy as np

    return np.triu_indices(count, 2)


def _crossings(a: object, d: object) -> int:
    """How many pairs of chords that do not follow each other cross: starts (n, 2), steps (n, 2)."""
    import numpy as np

    starts, steps = np.asarray(a), np.asarray(d)
    i, j = _apart(len(starts))
    w = starts[j] - starts[i]
    bottom = steps[i, 0] * steps[j, 1] - steps[i, 1] * steps[j, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (w[:, 0] * steps[j, 1] - w[:, 1] * steps[j, 0]) / bottom
        t = (w[:, 0] * steps[i, 1] - w[:, 1] * steps[i, 0]) / bottom
    return int(((s > 0.0) & (s < 1.0) & (t > 0.0) & (t < 1.0)).sum())
