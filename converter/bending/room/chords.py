"""Chords of stretches of a tube as it is swung: where they lie, how far they reach, how near they come to others.

Points and vectors are (3, n) or (3, 2, n) columns, mm; angles radians.
"""

from __future__ import annotations

import numpy as np

from converter.bending.room.shape import Elements
from converter.bending.room.space import Array, Index


class ElementColumns:
    """Elements by columns, as they are looked up again and again."""

    def __init__(self, elements: Elements) -> None:
        slide, turn = elements.slide, elements.turn
        self.radius = np.linalg.norm(elements.along, axis=1)
        self.columns = np.concatenate(
            [
                elements.origin.T,
                elements.along.T,
                elements.across.T,
                [elements.sweep, self.radius, slide[:, 0], slide[:, 1] - slide[:, 0]],
            ]
        )
        self.turn = np.stack([turn[:, 0], turn[:, 1] - turn[:, 0]])
        self.slide = self.columns[11:13]
        self.gap = elements.gap.T


class Chords:
    """The chords of stretches, as they lie before any motion.

    Attributes:
        ends: (3, 2, n) points.
        arc: (n,) mm of the stretch where it is bent, else 0.
        sagitta: (n,) mm between chord and stretch.
        slide: (2, n) share of the draw at both ends.
    """

    def __init__(self, bodies: ElementColumns, rows: Index, shares: Array) -> None:
        of = bodies.columns.take(rows, axis=1)
        origin, along, across, sweep, radius = of[0:3], of[3:6], of[6:9], of[9], of[10]
        bent = np.flatnonzero(sweep > 0.0)
        on_along, on_across = shares.copy(), np.zeros(shares.shape)
        turned = sweep[bent] * shares[:, bent]
        on_along[:, bent], on_across[:, bent] = np.cos(turned), np.sin(turned)
        self.ends = origin[:, None, :] + along[:, None, :] * on_along + across[:, None, :] * on_across
        width = shares[1, bent] - shares[0, bent]
        self.sagitta, self.arc = np.zeros(len(rows)), np.zeros(len(rows))
        self.sagitta[bent] = radius[bent] * (1.0 - np.cos(sweep[bent] * width / 2.0))
        self.arc[bent] = radius[bent] * sweep[bent] * width
        self.slide = of[11] + of[12] * shares


class ChordReach:
    """Boxes around chords while they are drawn ahead: (3, n) corners; (n,) mm that they keep from the die's axis, and
    reach away from it, whatever they are turned by."""

    def __init__(self, chords: Chords, angles: Array, draw: Array) -> None:
        ends, out = chords.ends, chords.sagitta
        # at every angle a box drawn along X is within that at the first and the last
        x = np.concatenate([ends[0] + chords.slide * draw * angle for angle in angles])
        self.low = np.stack([x.min(axis=0), ends[1].min(axis=0), ends[2].min(axis=0)]) - out
        self.high = np.stack([x.max(axis=0), ends[1].max(axis=0), ends[2].max(axis=0)]) + out
        low, high = self.low[:2], self.high[:2]
        self.near = np.hypot(*np.maximum(np.maximum(low, -high), 0.0))
        self.far = np.hypot(*np.maximum(np.abs(low), np.abs(high)))


def box_gap(low: Array, high: Array, other_low: Array, other_high: Array) -> Array:
    """(n,) mm between boxes given by (3, n) corners."""
    gap = np.maximum(np.maximum(low - other_high, other_low - high), 0.0)
    return np.asarray(np.sqrt((gap * gap).sum(axis=0)))


def turned_chords(chords: Chords, angle: Array, turns: Array, draw: Array | None) -> tuple[Array, Array]:
    """(3, 2, n) ends of chords drawn ahead, then turned; and (n,) the greatest reach of the stretches from the axis."""
    c, s = np.cos(angle * turns), np.sin(angle * turns)
    x, y, z = chords.ends
    if draw is not None:
        x = x + chords.slide * draw * angle
    # an arc reaches past its chord by no more than its sagitta
    reach = np.hypot(x, y).max(axis=0) + chords.sagitta
    return np.stack([x * c - y * s, x * s + y * c, z]), reach


def drawn_chords(chords: Chords, angle: Array, draw: Array) -> Array:
    """(3, 2, n) ends of chords drawn ahead only."""
    x, y, z = chords.ends
    return np.stack([x + chords.slide * draw * angle, y, z])


def fall_along(
    chords: Chords, across: Array, turns: Array | None, draw: Array | None, low: Array, middle: Array, high: Array
) -> Array:
    """(n,) mm that the ends of moving chords come back along unit vectors ``across`` (3, n) from low to high angles.

    ``across`` points from the other body to the chord at the middle angle; what turns is not drawn too. None: nothing
    turns, or is drawn.
    """
    x, y, z = chords.ends
    a = across[0] * x + across[1] * y
    rest = across[2] * z
    pull = None if draw is None else chords.slide * draw * across[0]
    if turns is None:
        first = last = now = a
    else:
        b = (across[1] * x - across[0] * y) * turns
        still = turns == 0.0
        first, last, now = (np.where(still, a, a * np.cos(w) + b * np.sin(w)) for w in (low, high, middle))
    if pull is not None:
        first, last, now = first + pull * low, last + pull * high, now + pull * middle
    lowest = np.minimum(first, last)
    if turns is not None:
        bottom = (np.arctan2(b, a) + np.pi) % (2.0 * np.pi)
        inside = ~still & (bottom > low) & (bottom < high)
        lowest = np.where(inside, np.minimum(lowest, -np.hypot(a, b)), lowest)
    found: Array = (now + rest).min(axis=0) - (lowest + rest).min(axis=0)
    return found


def rolling_fall(chords: Chords, ends: Array, across: Array, reach: Array, numbers: Array, which: Index) -> Array:
    """Of some items (n,) mm that the ends of chords that turn and are drawn too come back along ``across``, at most.

    By Taylor's formula about the middle angle: along a unit vector a point at a distance q from the axis that is drawn
    by d a radian has a second derivative of q + 2 d at most.

    Args:
        ends: (3, 2, n) where they are at the middle angle.
        reach: (n,) mm from the axis there.
        numbers: (4, n) radians low and high, sense of the turn, mm drawn per radian.
    """
    low, high, turns, draw = numbers[:, which]
    half, middle = (high - low) / 2.0, (low + high) / 2.0
    x, y, z = ends[:, :, which]
    ux, uy, uz = across[:, which]
    slope = turns * (uy * x - ux * y) + draw * chords.slide[:, which] * (
        ux * np.cos(middle * turns) + uy * np.sin(middle * turns)
    )
    drawn = np.abs(draw)
    drop = np.abs(slope) * half + (reach[which] + drawn * half + 2.0 * drawn) * half * half / 2.0
    now = ux * x + uy * y + uz * z
    found: Array = now.min(axis=0) - (now - drop).min(axis=0)
    return found


def segment_to_segment(p1: Array, q1: Array, p2: Array, q2: Array) -> tuple[Array, Array, Array, Array]:
    """(n,) least distances between segments given by (3, n) ends, the shares along each where they are nearest, and
    (3, n) unit vectors from the second to the first there (zero where they touch).

    Closest points by clamping (C. Ericson, Real-Time Collision Detection, 2005, 5.1.9, from memory).
    """
    d1, d2, r = q1 - p1, q2 - p2, p1 - p2
    a, e = (d1 * d1).sum(axis=0), (d2 * d2).sum(axis=0)
    b, c, f = (d1 * d2).sum(axis=0), (d1 * r).sum(axis=0), (d2 * r).sum(axis=0)
    safe_a, safe_e = np.where(a > 0.0, a, 1.0), np.where(e > 0.0, e, 1.0)
    across = a * e - b * b
    free = across > 1e-12 * safe_a * safe_e
    s = np.where(free, ((b * f - c * e) / np.where(free, across, 1.0)).clip(0.0, 1.0), 0.0)
    t = np.where(e > 0.0, (b * s + f) / safe_e, 0.0)
    clamped = t.clip(0.0, 1.0)
    again = ((b * clamped - c) / safe_a).clip(0.0, 1.0)
    s = np.where((t != clamped) | (e <= 0.0), np.where(a > 0.0, again, 0.0), s)
    distance, apart = _sized(r + d1 * s - d2 * clamped)
    return distance, s, clamped, apart


def segment_to_box(p: Array, q: Array, low: Array, high: Array) -> tuple[Array, Array, Array]:
    """(n,) least distances from segments to boxes square to the axes (0 inside), all given by (3, n) corners; the
    shares where they are nearest, and (3, n) unit vectors from box to segment there (zero inside).

    The squared distance along a segment is convex and made of parabolas that meet where the segment
    crosses the planes of the faces, so its slope is a broken line whose zero is found exactly.
    """
    d = q - p
    moving = d != 0.0
    safe = np.where(moving, d, 1.0)
    n = p.shape[1]
    t = np.zeros((8, n))
    t[0:3] = np.where(moving, ((low - p) / safe).clip(0.0, 1.0), 0.0)
    t[3:6] = np.where(moving, ((high - p) / safe).clip(0.0, 1.0), 0.0)
    t[7] = 1.0
    t.sort(axis=0)
    at = p[:, None, :] + d[:, None, :] * t
    outside = np.minimum(at - low[:, None, :], 0.0) + np.maximum(at - high[:, None, :], 0.0)
    slope = (outside * d[:, None, :]).sum(axis=0)
    falling = (slope < 0.0).sum(axis=0)  # slopes rise along the segment
    i = (falling - 1).clip(0, 6)
    rows = np.arange(n)
    s0, s1, t0, t1 = slope[i, rows], slope[i + 1, rows], t[i, rows], t[i + 1, rows]
    rise = s1 - s0
    share = np.where(rise > 0.0, t0 - s0 * (t1 - t0) / np.where(rise > 0.0, rise, 1.0), t0)
    share = np.where(falling == 0, 0.0, np.where(falling == 8, 1.0, share.clip(0.0, 1.0)))
    point = p + d * share
    distance, across = _sized(np.minimum(point - low, 0.0) + np.maximum(point - high, 0.0))
    return distance, share, across


def _sized(vectors: Array) -> tuple[Array, Array]:
    """(n,) lengths of (3, n) vectors, and the unit vectors."""
    size = np.sqrt((vectors * vectors).sum(axis=0))
    return size, vectors / np.where(size > 0.0, size, 1.0)
