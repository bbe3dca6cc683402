"""Finding an axis again among many, by where it lies."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from converter.geometry.vectors import Vec, any_normal, cross, dot, norm, scale, sub
from converter.kernel.tube_pieces import Axis
from converter.tolerances import Tolerances


class Axes:
    """Axes of edges, each found again by where it lies: lines by their foot from the origin, rings by their centre."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, ...], list[Axis]] = {}
        self._count = 0

    def find(self, point: Vec, d: Vec, major: float, tol: Tolerances) -> Axis:
        """The axis through a point along d (or the ring about it), made when there is none."""
        spot = point if major else foot(point, d)
        for axis in (one for near in around(spot) for one in self._cells.get(near, ())):
            if (major > 0.0) != axis.is_ring or norm(cross(axis.direction, d)) > 1e-5:
                continue
            arm = sub(point, axis.point)
            if (norm(arm) if major else norm(cross(arm, axis.direction))) <= tol.fit and (
                abs(axis.major - major) <= tol.fit
            ):
                return axis
        x = any_normal(d)
        self._count += 1
        made = Axis(point, d, major, x, cross(d, x), -self._count)
        self._cells.setdefault(cell(spot), []).append(made)
        return made


def foot(point: Vec, d: Vec) -> Vec:
    """The point of a line nearest to the origin."""
    return sub(point, scale(d, dot(point, d)))


def cell(p: Vec) -> tuple[int, int, int]:
    """The millimetre cell of a point."""
    return (round(p[0]), round(p[1]), round(p[2]))


def around(p: Vec) -> Iterator[tuple[int, int, int]]:
    """The cell of a point and the 26 about it."""
    x, y, z = cell(p)
    yield from product((x - 1, x, x + 1), (y - 1, y, y + 1), (z - 1, z, z + 1))
