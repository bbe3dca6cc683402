"""Chords of stretches of a tube as it is swung: where they lie, how far they reach, how near they come to others.

Points and vectors are (3, n) or (3, 2, n) columns, mm; angles radians.
"""

from __future__ import annotations

import numpy as np

from converter.arrays import Array, Index
from converter.bending.room.shape import Elements


class ElementColumns:
    """Elements by columns, as they are looked up again and again."""

    def __init__(self, elements: Elements) -> None:
        slide, turn = elements.slide, elements.turn
        radius = np.linalg.norm(elements.along, axis=1)
        self.columns = np.concatenate([elements.rows[:, :10].T, [radius, slide[:, 0], slide[:, 1] - slide[:, 0]]])
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

    __slots__ = ("arc", "ends", "sagitta", "slide")

    def __init__(self, ends: Array, arc: Array, sagitta: Array, slide: Array) -> None:
        self.ends, self.arc, self.sagitta, self.slide = ends, arc, sagitta, slide

    @classmethod
    def of(cls, bodies: ElementColumns, rows: Index, shares: Array) -> Chords:
        """Those of (n,) rows of elements between (2, n) shares of each."""
        of = bodies.columns.take(rows, axis=1)
        origin, along, across, sweep, radius = of[0:3], of[3:6], of[6:9], of[9], of[10]
        turned = sweep * shares
        # of a straight the sweep is zero
        on_along, on_across = np.where(sweep > 0.0, np.cos(turned), shares), np.sin(turned)
        ends = origin[:, None, :] + along[:, None, :] * on_along + across[:, None, :] * on_across
        width = shares[1] - shares[0]
        sagitta = radius * (1.0 - np.cos(sweep * width / 2.0))
        return cls(ends, radius * sweep * width, sagitta, of[11] + of[12] * shares)

    @classmethod
    def of_both(cls, bodies: ElementColumns, rows: tuple[Index, Index], shares: Array) -> tuple[Chords, Chords]:
        """Those of two rows for each item, between (4, n) shares of the first and the second."""
        both = cls.of(bodies, np.concatenate(rows), np.concatenate([shares[:2], shares[2:]], axis=1))
        n = len(rows[0])
        return both.some(slice(n)), both.some(slice(n, None))

    def some(self, which: slice) -> Chords:
        """Some of them."""
        return Chords(self.ends[..., which], self.arc[which], self.sagitta[which], self.slide[:, which])


class Swing:
    """How far items have turned: (3, n) radians at the first, the middle and the last angle, and cosines and sines of
    what that turns them by."""

    __slots__ = ("angles", "cos", "sin", "turns")

    def __init__(self, low: Array, high: Array, turns: Array) -> None:
        self.angles, self.turns = np.array([low, (low + high) / 2.0, high]), turns
        turned = self.angles * turns
        self.cos, self.sin = np.cos(turned), np.sin(turned)


class ChordReach:
    """Boxes around chords: (3, n) corners; (n,) mm that they keep from the die's axis, and reach away from it, whatever
    they are turned by."""

    __slots__ = ("far", "high", "low", "near")

    def __init__(self, low: Array, high: Array) -> None:
        self.low, self.high = low, high
        low, high = low[:2], high[:2]
        self.near = np.hypot(*np.maximum(np.maximum(low, -high), 0.0))
        self.far = np.hypot(*np.maximum(np.abs(low), np.abs(high)))


class WholeChords:
    """The chords of whole elements, and boxes around them, each worked out once for all pairs that it is part of."""

    def __init__(self, bodies: ElementColumns) -> None:
        count = bodies.columns.shape[1]
        shares = np.repeat(np.array([[0.0], [1.0]]), count, axis=1)
        self.chords = Chords.of(bodies, np.arange(count), shares)
        ends, out = self.chords.ends, self.chords.sagitta
        self.reach = ChordReach(ends.min(axis=1) - out, ends.max(axis=1) + out)

    def drawn(self, rows: Index, angles: Array, draw: Array) -> ChordReach:
        """The boxes around (n,) elements while they are drawn ahead between (2, n) angles, so many mm per radian."""
        low, high = (one.take(rows, axis=1) for one in (self.reach.low, self.reach.high))
        chords, out = self.chords, self.chords.sagitta[rows]
        drawn = chords.slide.take(rows, axis=1) * draw
        # at every angle a box drawn along X is within that at the first and the last
        x = np.concatenate([chords.ends[0].take(rows, axis=1) + drawn * angle for angle in angles])
        low[0], high[0] = x.min(axis=0) - out, x.max(axis=0) + out
        return ChordReach(low, high)

    def turned(self, rows: Index, angle: Array) -> tuple[Array, Array]:
        """(3, n) each: corners of boxes around (n,) elements turned by (n,) radians."""
        c, s = np.cos(angle), np.sin(angle)
        x, y, z = self.chords.ends.take(rows, axis=2)
        ends, out = np.stack([x * c - y * s, x * s + y * c, z]), self.chords.sagitta[rows]
        return ends.min(axis=1) - out, ends.max(axis=1) + out


def box_gap(low: Array, high: Array, other_low: Array, other_high: Array) -> Array:
    """(n,) mm between boxes given by (3, n) corners."""
    gap = np.maximum(np.maximum(low - other_high, other_low - high), 0.0)
    return np.asarray(np.sqrt(_dot(gap, gap)))


def turned_chords(chords: Chords, swing: Swing, at: int, draw: Array | None = None) -> Array:
    """(3, 2, n) ends of chords drawn ahead, then turned, at the first, middle or last angle (0, 1, 2)."""
    c, s = swing.cos[at], swing.sin[at]
    x, y, z = chords.ends
    if draw is not None:
        x = x + chords.slide * draw * swing.angles[at]
    found = np.empty(chords.ends.shape)
    found[0], found[1], found[2] = x * c - y * s, x * s + y * c, z
    return found


def drawn_chords(chords: Chords, angle: Array, draw: Array) -> Array:
    """(3, 2, n) ends of chords drawn ahead only."""
    found = chords.ends.copy()
    found[0] += chords.slide * draw * angle
    return found


def greatest_reach(chords: Chords, ends: Array) -> Array:
    """(n,) mm from the die's axis that stretches reach whose chords have these ends, wherever they are turned."""
    size = np.hypot(ends[0], ends[1])
    # an arc reaches past its chord by no more than its sagitta
    found: Array = np.maximum(size[0], size[1]) + chords.sagitta
    return found


def fall_along(chords: Chords, across: Array, swing: Swing, turning: bool, draw: Array | None) -> Array:
    """(n,) mm that the ends of moving chords come back along unit vectors ``across`` (3, n) from low to high angles.

    ``across`` points from the other body to the chord at the middle angle; what turns is not drawn too. ``turning``:
    whether any of them turns. ``draw``: None where nothing is drawn.
    """
    x, y, z = chords.ends
    a, rest = across[0] * x + across[1] * y, across[2] * z
    values = a
    if turning:
        b = across[1] * x - across[0] * y
        values = a * swing.cos[:, None] + b * swing.sin[:, None]
    if draw is not None:
        values = values + chords.slide * draw * across[0] * swing.angles[:, None]
    lowest = np.minimum(values[0], values[2])
    if turning:
        low, _, high = swing.angles
        bottom = (np.arctan2(b * swing.turns, a) + np.pi) % (2.0 * np.pi)
        inside = (swing.turns != 0.0) & (bottom > low) & (bottom < high)
        lowest = np.where(inside, np.minimum(lowest, -np.hypot(a, b)), lowest)
    now, lowest = values[1] + rest, lowest + rest
    found: Array = np.minimum(now[0], now[1]) - np.minimum(lowest[0], lowest[1])
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


def segment_to_segment(one: Array, two: Array) -> tuple[Array, Array, Array, Array]:
    """(n,) least distances between segments given by (3, 2, n) ends, the shares along each where they are nearest, and
    (3, n) unit vectors from the second to the first there (zero where they touch).

    Closest points by clamping (C. Ericson, Real-Time Collision Detection, 2005, 5.1.9, from memory).
    """
    d1, d2, r = one[:, 1] - one[:, 0], two[:, 1] - two[:, 0], one[:, 0] - two[:, 0]
    a, e, b, c, f = _dot(d1, d1), _dot(d2, d2), _dot(d1, d2), _dot(d1, r), _dot(d2, r)
    safe_a, safe_e = np.where(a > 0.0, a, 1.0), np.where(e > 0.0, e, 1.0)
    across = a * e - b * b
    free = across > 1e-12 * safe_a * safe_e
    s = np.where(free, _share((b * f - c * e) / np.where(free, across, 1.0)), 0.0)
    t = np.where(e > 0.0, (b * s + f) / safe_e, 0.0)
    clamped = _share(t)
    again = _share((b * clamped - c) / safe_a)
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
    size = np.sqrt(_dot(vectors, vectors))
    return size, vectors / np.where(size > 0.0, size, 1.0)


def _dot(p: Array, q: Array) -> Array:
    """(n,) scalar products of (3, n) vectors."""
    x, y, z = p * q
    return np.asarray(x + y + z)


def _share(value: Array) -> Array:
    """Values no less than 0 and no more than 1."""
    return np.minimum(np.maximum(value, 0.0), 1.0)
