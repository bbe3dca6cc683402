"""A quick look that lets most tubes pass without a sweep.

For every bend of the plain order from end A, each straight and arc ahead of the die is boxed in over the whole
swing (an arc lies within the triangle of its ends and its corner). A tube whose boxes keep their distance from
everything surely clears; others must be swept.
"""

from __future__ import annotations

import numpy as np

from converter.bending.room.space import Array, Space
from converter.model.curve import Arc
from converter.model.run import Run

#: Degrees; wider arcs have no corner near enough to be of use.
_WIDEST = 150.0
_HALF_TURN = np.pi - 1e-6


def surely_clears(run: Run, space: Space, radius: float, margin: float) -> bool:
    """Whether the plain order from end A clears everything by a margin for sure; False tells nothing.

    Args:
        run: with one bend or more, a radius for each and no straight below zero.
        space: around the machine.
        radius: half the outside diameter, mm.
        margin: mm.
    """
    table = run.table
    arcs = [part for part in run.centerline if isinstance(part, Arc)]
    count = len(table.bends)
    angles = np.radians([bend.angle for bend in table.bends])
    if not space.ahead or len(arcs) != count or float(angles.max()) > np.radians(_WIDEST):
        return False
    start, end, normal, center = (
        np.array([getattr(arc, name) for arc in arcs]) for name in ("start", "end", "normal", "center")
    )
    clr = np.array([arc.radius for arc in arcs])
    travel = np.cross(normal, start - center) / clr[:, None]
    corner = start + travel * (clr * np.tan(angles / 2.0))[:, None]
    # straight 0, arc 0, straight 1, ... from end A, three points each
    hull = np.empty((2 * count - 1, 3, 3))
    hull[0::2, 0] = np.concatenate([[run.start], end[:-1]])
    hull[0::2, 1] = hull[0::2, 2] = start
    hull[1::2] = np.stack([start, corner, end], axis=1)[:-1]
    # of bend k the first 2 k + 1 of them lie ahead
    which = np.concatenate([np.arange(2 * k + 1) for k in range(count)])
    bend = np.repeat(np.arange(count), 2 * np.arange(count) + 1)
    apart = hull[which] - start[bend][:, None, :]
    x = -np.einsum("epi,ei->ep", apart, travel[bend])
    y = np.einsum("epi,ei->ep", apart, np.cross(normal, travel)[bend]) - clr[bend][:, None]
    z = -np.einsum("epi,ei->ep", apart, normal[bend])
    low, high = _swept(x, y, z, angles[bend][:, None], radius)
    # the bend itself is where its start comes past; the stock behind is longest at the start
    zero = np.zeros((count, 1))
    die_low, die_high = _swept(zero, -clr[:, None], zero, angles[:, None], radius)
    used = np.cumsum([bend.feed for bend in table.bends]) + np.concatenate([[0.0], np.cumsum(clr * angles)[:-1]])
    stock_low = np.column_stack([used - table.developed_length, -clr, zero[:, 0]]) - radius
    stock_high = np.column_stack([zero[:, 0], -clr, zero[:, 0]]) + radius
    if not _clear(
        np.concatenate([low, die_low, stock_low]), np.concatenate([high, die_high, stock_high]), space, margin
    ):
        return False
    turned = np.concatenate([[0.0], np.cumsum(angles)])
    far = turned[bend + 1] - turned[which // 2] >= _HALF_TURN
    if not far.any():
        return True
    bend, low, high, x, y, z = bend[far], low[far], high[far], x[far], y[far], z[far]
    if _gap(low, high, stock_low[bend], stock_high[bend]) < margin:
        return False
    # against the bend itself they stand still: both as they lie before it, its arc turned back from T
    c, s = np.cos(angles), np.sin(angles)
    back = np.tan(angles / 2.0)
    own_x = clr[:, None] * np.column_stack([zero[:, 0], -back, -s])
    own_y = clr[:, None] * np.column_stack([-np.ones(count), -np.ones(count), -c])
    own = np.stack([own_x, own_y, np.zeros_like(own_x)], axis=-1)
    still = np.stack([x, y, z], axis=-1)
    return (
        _gap(
            still.min(axis=1) - radius,
            still.max(axis=1) + radius,
            own.min(axis=1)[bend] - radius,
            own.max(axis=1)[bend] + radius,
        )
        >= margin
    )


def _swept(x: Array, y: Array, z: Array, angle: Array, radius: float) -> tuple[Array, Array]:
    """(n, 3) corners of the boxes around (n, p) points that turn about Z, each row a body of a radius."""
    size = np.hypot(x, y)
    first = np.arctan2(y, x)
    last = first + angle

    def passes(direction: float) -> Array:
        return np.asarray(np.floor((last - direction) / (2.0 * np.pi)) > np.floor((first - direction) / (2.0 * np.pi)))

    x1, y1 = size * np.cos(last), size * np.sin(last)
    low = [
        np.where(passes(np.pi), -size, np.minimum(x, x1)),
        np.where(passes(-np.pi / 2.0), -size, np.minimum(y, y1)),
        z,
    ]
    high = [
        np.where(passes(0.0), size, np.maximum(x, x1)),
        np.where(passes(np.pi / 2.0), size, np.maximum(y, y1)),
        z,
    ]
    return (
        np.stack([one.min(axis=1) for one in low], axis=1) - radius,
        np.stack([one.max(axis=1) for one in high], axis=1) + radius,
    )


def _clear(low: Array, high: Array, space: Space, margin: float) -> bool:
    """Whether boxes keep a margin from planes and boxes."""
    for normal, offset in zip(space.normals, space.offsets, strict=True):
        # walls and floors are square to the axes: the corner that leans most toward the plane counts
        nearest = np.where(normal > 0.0, low, high) @ normal + offset
        if float(nearest.min()) < margin:
            return False
    return all(_gap(low, high, a, b) >= margin for a, b in zip(space.low, space.high, strict=True))


def _gap(low: Array, high: Array, other_low: Array, other_high: Array) -> float:
    """The least distance along the axis that parts each pair of boxes most."""
    return float(np.maximum(low - other_high, other_low - high).max(axis=1).min())
