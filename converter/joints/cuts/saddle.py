"""The cut itself: where each line of a tube's end meets the mate's outside.

Round on a straight round mate is closed: with r the branch's radius (of its outside or of its
bore), R the mate's, theta the angle between the axes and e their offset, the length back from
the common perpendicular is (sqrt(R^2 - (e + r sin phi)^2) - r cos phi cos theta) / sin theta
(elementary; checked against the CAD kernel's intersections and booleans). The mate's outside
cuts both the branch's outside and its bore: that is the metal which must go for the joint to
close on the outside, and it is what a hole saw of the mate's size takes away.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from converter.arrays import Array, Flags
from converter.errors import GeometryError
from converter.geometry.vectors import Vec, along, dot, norm, scale
from converter.joints.cuts.lines import Branch, NoCutError, ObstaclePart, ParallelLines
from converter.joints.cuts.many import LinesAtParts, Obstacles, each, first_met

#: Degrees between the lines of a profile.
STEP = 0.5


@dataclass(frozen=True)
class HalfSpace:
    """A plane that the tube ends on: the metal stops where it reaches the plane."""

    point: Vec
    normal: Vec

    def stops(self, lines: ParallelLines, stopped: Flags | None = None) -> tuple[Array, Flags, Array]:
        """See `ObstaclePart`."""
        ahead = dot(self.normal, lines.branch.direction)
        if abs(ahead) < 1e-9:
            raise NoCutError("plane", "the tube is parallel to the plane, so it never ends on it")
        t = lines.along(self.point, self.normal) / ahead
        return t, np.ones(t.shape, dtype=np.bool_), t

    def holds(self, lines: ParallelLines, t: Array) -> Flags:
        """See `ObstaclePart`: inside is beyond the plane, where no metal of the tube stays."""
        value: Flags = lines.along(self.point, self.normal) - t * dot(self.normal, lines.branch.direction) > 0.0
        return value

    def grown(self, by: float) -> HalfSpace:
        """See `ObstaclePart`."""
        return HalfSpace(along(self.point, self.normal, -by), self.normal)


@dataclass(frozen=True)
class Cut:
    """An end and everything it is cut to.

    Attributes:
        branch: the end.
        mates: the parts of each mate; the first part of the first mate leads where a line meets none.
    """

    branch: Branch
    mates: tuple[tuple[ObstaclePart, ...], ...]

    def reach(self, lines: ParallelLines) -> tuple[Array, Flags]:
        """Where the metal stops on each line, and whether any mate stops it there.

        Of several mates the one met first counts (their union). A line that meets none stops where
        it passes the first mate closest.
        """
        return reach_of_many([(self, lines)])[0]

    @cached_property
    def _obstacles(self) -> Obstacles:
        return Obstacles([part for mate in self.mates for part in mate])

    def at(self, phi: Array) -> tuple[Array, Array]:
        """Lengths back from the end point at the angles ``phi`` (degrees): (outside, bore), mm."""
        branch, rad = self.branch, np.radians(phi)
        c, s, count = np.cos(rad), np.sin(rad), len(rad)
        rows = np.empty((2, 2, count))
        for i, bore in enumerate((False, True)):
            radii = branch.radii(rad, bore)
            np.multiply(radii, c, out=rows[0, i])
            np.multiply(radii, s, out=rows[1, i])
        t = self.reach(ParallelLines(branch, rows[0].ravel(), rows[1].ravel()))[0]
        return t[:count], t[count:]

    def outside(self, phi: Array) -> Array:
        """Lengths back from the end point along the outside, mm."""
        return self.reach(self.branch.lines(phi))[0]

    def at_axis(self) -> float:
        """Where the tube's axis meets the mate: the length at the centerline, mm."""
        return float(self.reach(self.branch.axis())[0][0])

    def with_zero(self, zero: Vec) -> Cut:
        """The same cut with another zero line."""
        return replace(self, branch=replace(self.branch, zero=zero))

    def by_mate(self, lines: ParallelLines) -> list[Array]:
        """Lengths along lines for each mate alone, -inf where it is not met; each mate has a part, at least."""
        return lengths_by_mate([(self, self.beside(lines))])[0]

    def beside(self, lines: ParallelLines) -> LinesAtParts:
        """Lines beside all parts of the mates, as `lengths_by_mate` wants them.

        Raises:
            NoCutError: lines run along a straight mate that nothing ends.
        """
        return self._obstacles.at(lines)


def reach_of_many(asked: Sequence[tuple[Cut, ParallelLines]]) -> list[tuple[Array, Flags]]:
    """What `Cut.reach` tells of the lines at each of some cuts.

    Raises:
        GeometryError: a cut has no parts.
        NoCutError: lines run along a straight mate that nothing ends.
    """
    found: list[tuple[Array, Flags] | None] = []
    several = []
    for n, (cut, lines) in enumerate(asked):
        parts = [part for mate in cut.mates for part in mate]
        if not parts:
            raise GeometryError("a cut needs a tube to be cut to")
        found.append(None)
        if len(parts) > 1:
            several.append((n, parts[0], lines, cut.beside(lines)))
            continue
        t, met, aside = parts[0].stops(lines)
        found[n] = np.where(met, t, aside), met
    for (n, lead, lines, _), best in zip(several, first_met([one[-1] for one in several]), strict=True):
        met = np.isfinite(best)
        missed = np.flatnonzero(~met)
        if len(missed):
            best[missed] = lead.stops(ParallelLines(lines.branch, lines.p[missed], lines.q[missed]))[2]
        found[n] = best, met
    return [one for one in found if one is not None]


def lengths_by_mate(asked: Sequence[tuple[Cut, LinesAtParts]]) -> list[list[Array]]:
    """What `Cut.by_mate` tells of the lines beside each of some cuts."""
    found = []
    for (cut, _), met in zip(asked, each([beside for _, beside in asked]), strict=True):
        first = np.cumsum([0, *(len(mate) for mate in cut.mates)])[:-1]
        found.append(list(np.maximum.reduceat(met, first, axis=0)))
    return found


@lru_cache(maxsize=8)
def angles(step: float = STEP) -> Array:
    """0 to 360 degrees in steps of ``step``, 360 left out."""
    value: Array = np.arange(round(360.0 / step), dtype=np.float64) * step
    value.flags.writeable = False
    return value


def profile(cut: Cut, step: float = STEP) -> tuple[Array, Array, Array]:
    """The cut once around: (phi, outside, bore), degrees and mm, at every ``step`` from 0.

    The angles of the longest and the shortest point stand among them, so that the least and
    the greatest length of the profile are those of the curve.
    """
    phi = angles(step)
    od, bore = cut.at(phi)
    low, high = extremes(cut.outside, phi, od)
    more = np.array([p for p in sorted({low[0], high[0]}) if not _is_among(p, step)])
    if not len(more):
        return phi, od, bore
    at = np.searchsorted(phi, more)
    more_od, more_bore = cut.at(more)
    return np.insert(phi, at, more), np.insert(od, at, more_od), np.insert(bore, at, more_bore)


def level_least(phi: Array, values: Array) -> list[tuple[float, float]]:
    """Where a closed curve is least: each place once, of a level stretch, as a flat of the tube makes it, its middle.

    Args:
        phi: angles once around in rising order, degrees, in [0, 360).
        values: the curve there, mm, not the same everywhere.

    Returns:
        (middle in [0, 360), width of the stretch) of each, degrees, in rising order of the middles.
    """
    level = np.flatnonzero(values <= values.min() + _LEVEL)
    stretches = [phi[part] for part in np.split(level, np.flatnonzero(np.diff(level) > 1) + 1)]
    if len(stretches) > 1 and level[0] == 0 and level[-1] == len(phi) - 1:
        stretches[0] = np.concatenate([stretches.pop() - 360.0, stretches[0]])
    return sorted((float(one[0] + one[-1]) / 2.0 % 360.0, float(one[-1] - one[0])) for one in stretches)


def _is_among(phi: float, step: float) -> bool:
    return abs(phi / step - round(phi / step)) < 1e-9


def extremes(
    curve: Callable[[Array], Array], phi: Array, values: Array
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least and greatest value of a closed curve near its sampled ones: ((phi, value), (phi, value)).

    Args:
        curve: values at angles (degrees), vectorised.
        phi: evenly spaced angles once around.
        values: the curve there.
    """
    step = float(phi[1] - phi[0])
    at = np.array([phi[int(np.argmin(values))], phi[int(np.argmax(values))]])
    best = np.array([values.min(), values.max()])
    sign = np.array([1.0, -1.0])
    near: Array = _NEAR
    while step > 1e-6:
        grid = at[:, None] + near[None, :] * step
        found = curve(grid.ravel()).reshape(grid.shape) * sign[:, None]
        pick = found.argmin(axis=1)
        least = found[[0, 1], pick]
        better = least < best * sign  # a tie keeps the sampled angle
        at = np.where(better, grid[[0, 1], pick], at)
        best = np.where(better, least * sign, best)
        step /= (len(_NEAR) - 1) / 4.0
    turned = at % 360.0
    return (float(turned[0]), float(best[0])), (float(turned[1]), float(best[1]))


#: mm; lengths closer than this are equally long.
_LEVEL = 1e-7
#: A fine grid over one step either way.
_NEAR: Array = np.linspace(-1.0, 1.0, 121)


def mitre_plane(direction: Vec, other: Vec, node: Vec, gap: float = 0.0) -> HalfSpace:
    """The plane that halves the angle between two ends, both cut to it.

    Args:
        direction, other: unit vectors that point out of the two ends.
        node: where the axes meet.
        gap: between the two, mm; each end gives half of it.

    Raises:
        NoCutError: the ends lie on one another, so no plane parts them.
    """
    normal = (direction[0] - other[0], direction[1] - other[1], direction[2] - other[2])
    size = norm(normal)
    if size < 1e-9:
        raise NoCutError("mitre", "the two tubes lie on one another, so no mitre parts them")
    unit_normal = scale(normal, 1.0 / size)
    return HalfSpace(along(node, unit_normal, -gap / 2.0), unit_normal)


def union(parts: Sequence[Sequence[ObstaclePart]]) -> tuple[tuple[ObstaclePart, ...], ...]:
    """Mates as `Cut` wants them."""
    return tuple(tuple(one) for one in parts)
