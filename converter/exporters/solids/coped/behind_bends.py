"""What lies behind a bend, and beside it, seen along the tube that is cut to it: cutters for solids.

Seen along a direction d the outline of a bend's tube is c + r k and c - r k, with c on its centerline, T the
direction of travel there and k = T x d / |T x d|: the widest points of every cross section. The strip between
them, moved along d, is what the bend hides; and since lines along d that miss the bend pass it closest
where they cross the strip run on sideways, the same strip made wider is where such lines are cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import cos, hypot, radians, sin
from typing import Any

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec, dot, scale
from converter.joints.cuts.lines import Branch, NoCutError, ObstaclePart, ParallelLines
from converter.joints.cuts.torus import BendPart

#: Degrees between the cross sections of a strip, and how many there are at least; other steps that are as good, for
#: where the kernel goes wrong with these, as it did once with one of 2 degrees and not with its neighbours.
STEP, OTHER_STEPS, _LEAST = 3.0, (2.3, 4.1), 9
#: Sine of the angle between bend and line of sight below which a cross section is seen full on.
_FULL_ON = 0.02
#: The same for a whole bend that is seen from aside: no step of a strip comes to a full view.
_ASIDE = 0.1
#: Cosine below which two directions are square to each other.
_LEVEL = 1e-9
#: How far strips reach past the metal, mm.
_MARGIN = 3.0


def strips(part: BendPart, direction: Vec, points: Array, aside: float = 0.0, step: float = STEP) -> list[Any]:
    """Solids of what a bend hides.

    Args:
        part: the bend.
        direction: along which one looks, a unit vector.
        points: (n, 3) around the metal that is cut: how near and how far the solids must reach.
        aside: mm to which the strip is made wider on both sides; then it runs on past the ends of the bend too.
        step: degrees between its cross sections.
    """
    from converter.kernel.cuts import swept_end, swept_strip

    d = np.asarray(direction)
    arc = _SeenBend(part, d)
    more = min(60.0, (360.0 - part.sweep) / 2.0 - 1.0) if aside > 0.0 else 0.0
    turn = np.radians(np.linspace(-more, part.sweep + more, max(_LEAST, int((part.sweep + 2.0 * more) / step) + 2)))
    at, sine = arc.at(turn), arc.sine(turn)
    # only near the metal: what stands elsewhere is no business of this end
    middle = points.mean(axis=0)
    size = float(np.linalg.norm(np.cross(points - middle, d), axis=1).max())
    away = np.linalg.norm(np.cross(at - middle, d), axis=1)
    half_diagonal = hypot(part.half_up - part.corner, part.half_across - part.corner) + part.corner
    near = away <= size + max(aside, half_diagonal) + _MARGIN + 2.0 * part.clr * float(turn[1] - turn[0])
    far = float((points @ d).max()) + _MARGIN

    def behind(places: Array) -> Vec:
        return scale(direction, max(far - float((places @ d).min()), _MARGIN))

    made, full = [], turn[(sine <= _FULL_ON) & near] if aside == 0.0 else turn[:0]
    for first, last in _stretches(near & (sine > _FULL_ON)):
        splits = arc.splits(turn[first:last]) if aside == 0.0 else turn[:0]
        full = np.concatenate((full, splits))
        for begin, end in pairwise((turn[first], *splits.tolist(), turn[last - 1])):
            among = np.linspace(begin, end, max(_LEAST, int(np.degrees(end - begin) / step) + 2))
            ones, others = arc.beside(among, aside) if aside > 0.0 else arc.outermost(among)
            made.append(swept_strip(_vecs(ones), _vecs(others), behind(np.concatenate((ones, others)))))
    half = (part.half_up, part.half_across, part.corner)
    for one in full:  # seen full on, or with a whole flat of it outermost, it hides what its whole face hides
        place, way, up = (_vecs(rows[None, :])[0] for rows in (arc.at(one), arc.way(one), arc.up(one)))
        if abs(dot(way, direction)) > 1e-3:
            made.append(swept_end(place, way, up, half, behind(arc.at(one)[None, :])))
    return made


def how_far_aside(part: BendPart, direction: Vec, points: Array) -> float:
    """How far from a bend's centerline points lie at most, seen along a direction, mm, and a bit more.

    Args:
        part: the bend; direction: unit vector; points: (n, 3).
    """
    d = np.asarray(direction)
    count = max(_LEAST, int(part.sweep / STEP) + 2)
    apart = points[:, None, :] - _SeenBend(part, d).at(np.radians(np.linspace(0.0, part.sweep, count)))
    apart -= (apart @ d)[..., None] * d
    return float(np.linalg.norm(apart, axis=2).min(axis=1).max()) + _MARGIN


def seen_aside(part: BendPart, direction: Vec) -> bool:
    """Whether no cross section of a bend is seen full on, so that its strips are one, however wide they are."""
    x, y = (np.asarray(one) for one in part.axes)
    turn = np.radians(np.linspace(0.0, part.sweep, int(part.sweep / STEP) + 2))
    way = np.cos(turn)[:, None] * y - np.sin(turn)[:, None] * x
    return bool(np.linalg.norm(np.cross(way, np.asarray(direction)), axis=1).min() > _ASIDE)


def is_widest_level(part: BendPart, direction: Vec) -> bool:
    """Whether the widest places of a bend lie level with its centerline: a round one's do, and a flat's middle."""
    turn = np.radians(np.linspace(0.0, part.sweep, _LEAST))
    seen = _SeenBend(part, np.asarray(direction))
    if bool((seen.sine(turn) <= _FULL_ON).any()):
        return part.half_up == part.half_across == part.corner
    one, other = seen.outermost(turn)
    across = np.cross(other - one, seen.aside(turn))
    return bool(np.linalg.norm(across, axis=1).max() <= _LEVEL * part.clr)


def hides(part: BendPart, others: Sequence[ObstaclePart], branch: Branch) -> bool:
    """Whether every line of an end's wall that meets one of some parts surely meets the bend, too.

    It does where all of many lines that meet the parts, made larger by what lies between two lines, meet the bend made
    smaller by as much: no line in between can be another one.
    """
    lines, between = branch.wall_lines()
    try:
        met = [other.grown(between).stops(lines, np.ones(len(lines.p), dtype=np.bool_))[1] for other in others]
        at = np.flatnonzero(np.logical_or.reduce(met)) if met else np.zeros(0, dtype=np.int64)
        some = ParallelLines(branch, lines.p[at], lines.q[at])
        return not len(at) or bool(part.grown(-between).stops(some, np.ones(len(at), dtype=np.bool_))[1].all())
    except NoCutError:  # one that runs along the end
        return False


def _stretches(chosen: Any) -> list[tuple[int, int]]:
    """(first, after last) of runs of True of two and more."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], chosen.astype(np.int64), [0]))))
    return [(a, b) for a, b in pairwise(edges.tolist()) if chosen[a] and b - a > 1]


class _SeenBend:
    """A bend, seen along a direction: its cross sections by the angle along it, radians, (n,) or a single one.

    Args:
        part: the bend.
        direction: (3,) along which one looks.
    """

    def __init__(self, part: BendPart, direction: Array) -> None:
        self._part, self._direction = part, direction
        self._x, self._y = (np.asarray(axis) for axis in part.axes)
        self._normal = np.asarray(part.normal)

    def out(self, turn: Array) -> Array:
        """Away from the bend's axis, (n, 3)."""
        value: Array = np.multiply.outer(np.cos(turn), self._x) + np.multiply.outer(np.sin(turn), self._y)
        return value

    def way(self, turn: Array) -> Array:
        """The direction of travel, (n, 3)."""
        value: Array = np.multiply.outer(np.cos(turn), self._y) - np.multiply.outer(np.sin(turn), self._x)
        return value

    def at(self, turn: Array) -> Array:
        """The centerline, (n, 3)."""
        value: Array = np.asarray(self._part.center) + self._part.clr * self.out(turn)
        return value

    def up(self, turn: Array) -> Array:
        """The section's height direction, (n, 3)."""
        # rolled about the direction of travel it is the inside of the bend; a quarter turn on from that lies the normal
        roll = radians(self._part.roll)
        value: Array = -cos(roll) * self.out(turn) - sin(roll) * self._normal
        return value

    def sine(self, turn: Array) -> Array:
        """Sine of the angle between travel and line of sight, (n,)."""
        value: Array = np.linalg.norm(np.cross(self.way(turn), self._direction), axis=-1)
        return value

    def aside(self, turn: Array) -> Array:
        """The way k across the line of sight in each cross section, (n, 3)."""
        value: Array = np.cross(self.way(turn), self._direction) / self.sine(turn)[..., None]
        return value

    def beside(self, turn: Array, reach: float) -> tuple[Array, Array]:
        """Places against and along k from the centerline, (n, 3) each: at ``reach`` mm, but never past the axis."""
        k, clr = self.aside(turn), self._part.clr
        inward = -(k * self.out(turn)).sum(axis=-1)
        room = np.where(np.abs(inward) > 1e-9, 0.98 * clr / np.maximum(np.abs(inward), 1e-9), np.inf)
        low = np.where(inward < 0.0, np.minimum(reach, room), reach)
        high = np.where(inward > 0.0, np.minimum(reach, room), reach)
        at = self.at(turn)
        return at - low[:, None] * k, at + high[:, None] * k

    def outermost(self, turn: Array) -> tuple[Array, Array]:
        """The widest places of each cross section against and along k, (n, 3) each, between two of `splits`."""
        part, k = self._part, self.aside(turn)
        up = self.up(turn)
        across = np.cross(self.way(turn), up)
        sides = []
        for axis, flat in ((up, part.half_up - part.corner), (across, part.half_across - part.corner)):
            lean = (k * axis).sum(axis=-1)
            # as it is all along; at an end of the stretch it may be 0
            sides.append(
                flat * np.sign(lean[np.abs(lean).argmax()]) * axis if np.abs(lean).max() > _LEVEL else 0.0 * axis
            )
        reach = sides[0] + sides[1] + part.corner * k
        at = self.at(turn)
        return at - reach, at + reach

    def splits(self, turn: Array) -> Array:
        """Angles within a stretch, in rising order, where a whole flat is the widest: on both sides a corner is."""

        def leans(angles: Array) -> Array:
            k, up = self.aside(angles), self.up(angles)
            value: Array = np.stack(((k * up).sum(axis=-1), (k * np.cross(self.way(angles), up)).sum(axis=-1)))
            return value

        found: list[float] = []
        part = self._part
        if part.half_up == part.half_across == part.corner:
            return turn[:0]
        for i, values in enumerate(leans(turn)):
            if np.abs(values).max() <= _LEVEL:  # all along
                continue
            for j in np.flatnonzero((values[:-1] > 0.0) != (values[1:] > 0.0)).tolist():
                low, high = turn[j], turn[j + 1]
                for _ in range(50):
                    middle = (low + high) / 2.0
                    low, high = (middle, high) if (leans(middle)[i] > 0.0) == (values[j] > 0.0) else (low, middle)
                found.append(float(low))
        return np.array(sorted(one for one in found if turn[0] + 1e-6 < one < turn[-1] - 1e-6))


def _vecs(rows: Array) -> list[Vec]:
    return [(float(a), float(b), float(c)) for a, b, c in rows]
