"""What a cut across a member shows: a tube's four walls, a full rectangle, or an open profile by its trade name.

An outline is put into the rectangle around it, and each of the rectangle's four sides is asked where the outline
lies on it: all along, at its ends, in its middle, hardly. Which sides carry metal where tells an angle from a
channel, a channel from a strut, a beam from a T-slot.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np

from converter.arrays import Array
from converter.importers.solids.slices import Slice, area_of

TUBE, BAR = "tube", "full"
ANGLE, CHANNEL, STRUT, BEAM, TEE, ZED, T_SLOT = "angle", "channel", "strut", "beam", "tee", "zed", "t-slot"
CHAMBERS, OTHER = "chambers", "other"

#: Part of a side that an outline lies on all along, rounded corners left out.
_WHOLE = 0.4
#: The same of a leg of an open profile, and of a side that an open profile hardly touches.
_LEG, _HARDLY = 0.6, 0.5
#: Distance from a side, as a part of the greater size, within which an outline lies on it.
_ON = 1e-4
#: Walls of one section differ by no more than this part of the thicker.
UNEVEN = 0.25
#: Area of a square less that of the quarter circle in it, of a radius of 1.
CORNER_LOSS = 1.0 - pi / 4.0


@dataclass(frozen=True, slots=True)
class Profile:
    """A cut, understood.

    Attributes:
        kind: one of the names above.
        center: (2,) of the rectangle around it.
        side: (2,) unit vector along its first pair of sides.
        sizes: of the rectangle along ``side`` and across, mm.
        walls: of a tube, of the four sides in the order of `corners`: across -1, side +1, across +1, side -1; mm.
        corners, inner_corners: of tube and bar, the radius of a round corner that takes as much off as each does,
            around from (-1, -1), mm.
        area: of metal, mm2.
    """

    kind: str
    center: Array
    side: Array
    sizes: tuple[float, float]
    walls: tuple[float, ...] = ()
    corners: tuple[float, ...] = ()
    inner_corners: tuple[float, ...] = ()
    area: float = 0.0

    def is_like(self, other: Profile, within: float) -> bool:
        """Whether another cut shows the same member: kind, sizes and place."""
        return (
            self.kind == other.kind
            and max(abs(a - b) for a, b in zip(self.sizes, other.sizes, strict=True)) <= within
            and float(np.abs(self.center - other.center).max()) <= within
        )


def profile_of(cut: Slice) -> Profile | None:
    """What a cut shows; None when it is in several pieces or has no straight side at all."""
    outer, *rest = cut.loops
    if any(area_of(loop) > 0.0 for loop in rest):
        return None
    side = _main_direction(outer)
    if side is None:
        return None
    across = np.array((-side[1], side[0]))
    turn = np.column_stack((side, across))
    local = outer @ turn
    low, high = local.min(axis=0), local.max(axis=0)
    middle, sizes = (low + high) / 2.0, high - low
    if float(sizes.min()) <= 0.0:
        return None
    touched = _sides(local - middle, sizes)
    kind = OTHER
    walls: tuple[float, ...] = ()
    corners: tuple[float, ...] = ()
    inner_corners: tuple[float, ...] = ()
    if all(_is_whole(t) for t in touched):
        corners = _corners(local - middle, sizes)
        kind = BAR if _is_filled(local, sizes, corners) else OTHER
        if rest:
            found = _bore([loop @ turn - middle for loop in rest], sizes)
            kind, walls, inner_corners = (CHAMBERS, (), ()) if found is None else (TUBE, *found)
    elif _is_round_edged(local - middle, sizes, touched) and not rest:
        kind, corners = BAR, (float(sizes.min()) / 2.0,) * 4
    else:
        kind = _open_kind(touched, 2.0 * cut.area / _around(cut), sizes)
        if rest and kind != T_SLOT:
            kind = OTHER  # hollow, so none of the open ones
    return Profile(
        kind, middle @ turn.T, side, (float(sizes[0]), float(sizes[1])), walls, corners, inner_corners, cut.area
    )


def _main_direction(loop: Array) -> Array | None:
    """The direction, up to quarter turns, in which most of an outline runs straight."""
    steps = np.roll(loop, -1, axis=0) - loop
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    keep = lengths > 1e-6
    steps, lengths = steps[keep], lengths[keep]
    if not len(steps):
        return None
    angles = np.arctan2(steps[:, 1], steps[:, 0]) % (pi / 2.0)
    apart = np.abs(angles[:, None] - angles[None, :])
    alike = np.minimum(apart, pi / 2.0 - apart) < 1e-3
    sums = alike @ lengths
    best = int(sums.argmax())
    if float(sums[best]) < 0.3 * float(lengths.sum()):
        return None
    # the longest of those alike: short chords are the less exact
    k = int(np.where(alike[best], lengths, 0.0).argmax())
    found: Array = steps[k] / lengths[k]
    return found


@dataclass(frozen=True, slots=True)
class _Touch:
    """Where an outline lies on a side: stretches from 0 to 1 along it, in order."""

    stretches: tuple[tuple[float, float], ...]

    @property
    def part(self) -> float:
        """How much of the side."""
        return sum(b - a for a, b in self.stretches)


def _is_whole(touch: _Touch) -> bool:
    """Whether an outline lies on a side all along but for its corners."""
    if len(touch.stretches) != 1:
        return False
    a, b = touch.stretches[0]
    return b - a >= _WHOLE and a < 0.5 < b


def _sides(local: Array, sizes: Array) -> list[_Touch]:
    """Of the four sides around (across -1, side +1, across +1, side -1), where the outline lies on them."""
    on = max(_ON * float(sizes.max()), 1e-4)
    a, b = local, np.roll(local, -1, axis=0)
    found = []
    for axis, sign in ((1, -1.0), (0, 1.0), (1, 1.0), (0, -1.0)):
        edge = sign * sizes[axis] / 2.0
        near = (np.abs(a[:, axis] - edge) <= on) & (np.abs(b[:, axis] - edge) <= on)
        along = 1 - axis
        spans = np.sort(np.column_stack((a[near, along], b[near, along])), axis=1) / sizes[along] + 0.5
        joined: list[tuple[float, float]] = []
        for low, high in sorted(map(tuple, spans.tolist())):
            if joined and low <= joined[-1][1] + 1e-6:
                joined[-1] = (joined[-1][0], max(joined[-1][1], high))
            else:
                joined.append((low, high))
        found.append(_Touch(tuple(span for span in joined if span[1] - span[0] > 1e-3)))
    return found


def _corners(local: Array, sizes: Array) -> tuple[float, ...]:
    """What each corner of a full rectangle lacks, as the radius of a round corner that lacks as much, mm."""
    out = []
    for sx, sy in ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)):
        quarter = _clipped(_clipped(local * (sx, sy), 0), 1)
        lacking = float(sizes[0] * sizes[1]) / 4.0 - abs(area_of(quarter)) if len(quarter) >= 3 else 0.0
        out.append(float(np.sqrt(max(lacking, 0.0) / CORNER_LOSS)))
    # chords of arcs lack a little too much, and rounding is no corner
    return tuple(0.0 if r < 1e-3 * float(sizes.min()) else r for r in out)


def _clipped(loop: Array, axis: int) -> Array:
    """The part of a polygon with a coordinate above zero (Sutherland and Hodgman)."""
    a, b = loop, np.roll(loop, -1, axis=0)
    rows = []
    for p, q in zip(a, b, strict=True):
        if p[axis] >= 0.0:
            rows.append(p)
        if (p[axis] >= 0.0) != (q[axis] >= 0.0):
            rows.append(p + (q - p) * (p[axis] / (p[axis] - q[axis])))
    return np.array(rows) if rows else np.empty((0, 2))


def _is_filled(local: Array, sizes: Array, corners: tuple[float, ...]) -> bool:
    """Whether a rectangle's outline takes nothing off but at its corners: it bends one way only."""
    steps = np.roll(local, -1, axis=0) - local
    after = np.roll(steps, -1, axis=0)
    bend = steps[:, 0] * after[:, 1] - steps[:, 1] * after[:, 0]
    size = float(sizes.max())
    return bool((bend >= -1e-9 * size * size).all()) and max(corners) <= 0.5 * float(sizes.min()) + 1e-6


def _is_round_edged(local: Array, sizes: Array, touched: list[_Touch]) -> bool:
    """Whether it is a flat with two half circles for its edges."""
    long = 0 if sizes[0] > sizes[1] else 1
    if not all(_is_whole(touched[k]) for k in ((0, 2) if long == 0 else (1, 3))):
        return False
    r = float(sizes.min()) / 2.0
    arm = np.abs(local)
    off = np.hypot(np.maximum(arm[:, long] - (float(sizes[long]) / 2.0 - r), 0.0), arm[:, 1 - long]) - r
    ends = arm[:, long] > float(sizes[long]) / 2.0 - r + 1e-9
    return bool(ends.any()) and float(np.abs(off[ends]).max()) <= 1e-3 * r


def _bore(holes: list[Array], sizes: Array) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    """Walls and inside corners of a rectangle with one rectangular bore; None when it has another inside."""
    main = max(holes, key=lambda h: abs(area_of(h)))
    if len(holes) > 1:
        return None
    low, high = main.min(axis=0), main.max(axis=0)
    size = high - low
    if not all(_is_whole(t) for t in _sides(main - (low + high) / 2.0, size)):
        return None
    half = sizes / 2.0
    walls = (
        float(low[1] + half[1]),
        float(half[0] - high[0]),
        float(half[1] - high[1]),
        float(low[0] + half[0]),
    )
    if min(walls) <= 0.0 or max(walls) - min(walls) > UNEVEN * max(walls):
        return None
    return walls, _corners(main - (low + high) / 2.0, size)


def _around(cut: Slice) -> float:
    total = 0.0
    for loop in cut.loops:
        steps = np.roll(loop, -1, axis=0) - loop
        total += float(np.hypot(steps[:, 0], steps[:, 1]).sum())
    return total


def _open_kind(touched: list[_Touch], thick: float, sizes: Array) -> str:
    """The name of an open profile from where its outline lies on the sides around it."""
    whole = [t.part >= _LEG and len(t.stretches) == 1 for t in touched]
    lengths = [float(sizes[0 if k % 2 == 0 else 1]) for k in range(4)]
    split = [_at_both_ends(t) for t in touched]
    if sum(split) >= 2 and not any(whole):
        opposite = (split[0] and split[2]) or (split[1] and split[3])
        return T_SLOT if opposite else OTHER
    if sum(whole) == 3:
        k = whole.index(False)
        if not split[k]:
            return OTHER
        # tips of two flanges show their thickness, lips turned in show more
        return STRUT if touched[k].part * lengths[k] > 3.0 * thick else CHANNEL
    if sum(whole) == 2:
        a, b = (k for k in range(4) if whole[k])
        rest = [touched[k] for k in range(4) if not whole[k]]
        if (b - a) % 2 == 1:
            return ANGLE if all(t.part <= _HARDLY and len(t.stretches) == 1 for t in rest) else OTHER
        if all(_at_both_ends(t) for t in rest):
            return T_SLOT if all(t.part * lengths[a - 1] > 3.0 * thick for t in rest) else BEAM
        return OTHER
    if sum(whole) == 1:
        k = whole.index(True)
        stem = touched[(k + 2) % 4]
        if len(stem.stretches) == 1 and stem.part <= _HARDLY and stem.stretches[0][0] < 0.5 < stem.stretches[0][1]:
            return TEE
        return OTHER
    halves = [k for k in range(4) if len(touched[k].stretches) == 1 and 0.2 <= touched[k].part < 1.0]
    for k in (0, 1):
        if k in halves and k + 2 in halves:
            ends = [touched[j].stretches[0][0] < 0.05 for j in (k, k + 2)]
            if ends[0] != ends[1]:
                return ZED
    return OTHER


def _at_both_ends(touch: _Touch) -> bool:
    """Whether an outline lies on a side at both of its ends, and not between."""
    if len(touch.stretches) != 2:
        return False
    (a, b), (c, d) = touch.stretches
    return a < 0.2 and d > 0.8 and b < 0.5 < c
