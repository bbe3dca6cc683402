"""What lies behind a bend, and beside it, seen along the tube that is cut to it: cutters for solids.

Seen along a direction d the outline of a bend's tube is c + r k and c - r k, with c on its centerline, T the
direction of travel there and k = T x d / |T x d|: the widest points of every cross section. The strip between
them, moved along d, is what the bend hides; and since lines along d that miss the bend pass it closest
where they cross the strip run on sideways, the same strip made wider is where such lines are cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import cos, radians, sin
from typing import Any

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec, scale
from converter.joints.cuts.lines import Branch, NoCutError, ObstaclePart, ParallelLines
from converter.joints.cuts.torus import BendPart

#: Degrees between the cross sections of a strip, and how many there are at least.
_STEP, _LEAST = 2.0, 9
#: Sine of the angle between bend and line of sight below which a cross section is seen full on.
_FULL_ON = 0.02
#: The same for a whole bend that is seen from aside: no step of a strip comes to a full view.
_ASIDE = 0.1
#: How far strips reach past the metal, mm.
_MARGIN = 3.0


def strips(part: BendPart, direction: Vec, points: Array, aside: float = 0.0) -> list[Any]:
    """Solids of what a bend hides.

    Args:
        part: the bend.
        direction: along which one looks, a unit vector.
        points: (n, 3) around the metal that is cut: how near and how far the solids must reach.
        aside: mm to which the strip is made wider on both sides; then it runs on past the ends of the bend too.
    """
    from converter.kernel.cuts import swept_end, swept_strip

    d = np.asarray(direction)
    center, normal = np.asarray(part.center), np.asarray(part.normal)
    x = (np.asarray(part.start) - center) / part.clr
    y = np.cross(normal, x)
    more = min(60.0, (360.0 - part.sweep) / 2.0 - 1.0) if aside > 0.0 else 0.0
    count = max(_LEAST, int((part.sweep + 2.0 * more) / _STEP) + 2)
    turn = np.radians(np.linspace(-more, part.sweep + more, count))
    at = center + part.clr * (np.cos(turn)[:, None] * x + np.sin(turn)[:, None] * y)
    way = np.cos(turn)[:, None] * y - np.sin(turn)[:, None] * x
    out = np.cross(way, d)
    sine = np.linalg.norm(out, axis=1)
    # only near the metal: what stands elsewhere is no business of this end
    middle = points.mean(axis=0)
    size = float(np.linalg.norm(np.cross(points - middle, d), axis=1).max())
    away = np.linalg.norm(np.cross(at - middle, d), axis=1)
    near = away <= size + max(aside, part.half_up, part.half_across) + _MARGIN + 2.0 * part.clr * float(
        turn[1] - turn[0]
    )
    far = float((points @ d).max()) + _MARGIN

    def behind(places: Array) -> Vec:
        return scale(direction, max(far - float((places @ d).min()), _MARGIN))

    made = []
    for first, last in _stretches(near & (sine > _FULL_ON)):
        k = out[first:last] / sine[first:last, None]
        low, high = _widths(part, k, turn[first:last], x, y, aside)
        ones, others = at[first:last] - low[:, None] * k, at[first:last] + high[:, None] * k
        made.append(swept_strip(_vecs(ones), _vecs(others), behind(np.concatenate((ones, others)))))
    if aside == 0.0:
        half = (part.half_up, part.half_across, part.corner)
        for i in np.flatnonzero(sine <= _FULL_ON).tolist():  # seen full on, it hides what its whole face hides
            if near[i] and abs(float(way[i] @ d)) > 1e-3:
                axis, up = _vecs(way[i : i + 1])[0], _vecs(_up(part, turn[i], x, y, normal)[None, :])[0]
                made.append(swept_end(_vecs(at[i : i + 1])[0], axis, up, half, behind(at[i : i + 1])))
    return made


def seen_aside(part: BendPart, direction: Vec) -> bool:
    """Whether no cross section of a bend is seen full on, so that its strips are one, however wide they are."""
    x, y = (np.asarray(one) for one in part.axes)
    turn = np.radians(np.linspace(0.0, part.sweep, int(part.sweep / _STEP) + 2))
    way = np.cos(turn)[:, None] * y - np.sin(turn)[:, None] * x
    return bool(np.linalg.norm(np.cross(way, np.asarray(direction)), axis=1).min() > _ASIDE)


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


def _up(part: BendPart, turn: float, x: Array, y: Array, normal: Array) -> Array:
    """The section's height direction at an angle (radians) along the bend."""
    inside = -(cos(turn) * x + sin(turn) * y)
    # height, rolled about the direction of travel, is the inside of the bend: across it lies -normal
    value: Array = cos(radians(part.roll)) * inside + sin(radians(part.roll)) * normal
    return value


def _widths(part: BendPart, k: Array, turn: Array, x: Array, y: Array, aside: float) -> tuple[Array, Array]:
    """How far the strip reaches against and along k at each cross section, mm; never past the bend's axis."""
    size = max(part.half_up, aside)
    if part.half_up == part.half_across == part.corner:
        reach = np.full(len(turn), size)
    else:
        reach = np.full(len(turn), max(aside, min(part.half_up, part.half_across)))
    out = np.cos(turn)[:, None] * x + np.sin(turn)[:, None] * y
    inward = -(k * out).sum(axis=1)
    room = np.where(np.abs(inward) > 1e-9, 0.98 * part.clr / np.maximum(np.abs(inward), 1e-9), np.inf)
    low = np.where(inward < 0.0, np.minimum(reach, room), reach)
    high = np.where(inward > 0.0, np.minimum(reach, room), reach)
    return low, high


def _vecs(rows: Array) -> list[Vec]:
    return [(float(a), float(b), float(c)) for a, b, c in rows]
