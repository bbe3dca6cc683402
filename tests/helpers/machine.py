"""A bender in a few lines, for the tests: it knows nothing of bend tables, only of marks, rolls and stops.

The stick lies along -X behind the die, its end fed first ahead (+X); the bend starts at the origin and
turns what lies ahead toward +Y. The stick is a row of points, each known by its distance from the end fed
first. Rigid motions only: this shares no code with the table, its reversal or the set-up.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Order:
    """One bend as a person is told to make it: mm and degrees."""

    mark: float
    offset: float
    roll: float
    angle: float
    radius: float
    stick: float


def bend_stick(length: float, orders: Iterable[Order], samples: Iterable[float]) -> Array:
    """Points of the tube, (n, 3) mm, that lay at ``samples`` from the end fed first.

    Args:
        length: of the stick as cut.
        orders: one per bend: feed until the mark is at the die's mark line, ``offset`` ahead of the start of
            the bend; turn the tube by ``roll`` about the direction from the end fed first toward the other;
            bend so that ``stick`` mm of it become an arc of ``angle`` and ``radius``.
        samples: distances from the end fed first, 0..length.
    """
    s = np.array(sorted(samples), dtype=float)
    assert s.min() >= 0.0 and s.max() <= length + 1e-9
    at = np.column_stack([-s, np.zeros_like(s), np.zeros_like(s)])
    # two points next to each other at every place that must end up at the die tell where the axis lies there
    frames: dict[float, tuple[Array, Array, Array]] = {}
    orders = list(orders)
    for order in orders:
        start = order.mark + order.offset
        frames[start] = (np.array([-start, 0.0, 0.0]), np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]))
    turned = 0.0
    for order in orders:
        start = order.mark + order.offset
        turned += order.roll
        # grip the tube so that the start of this bend is at the origin, its axis along X, and the line drawn
        # along the stick is rolled by all the rolls so far (about -X)
        point, axis, side = frames[start]
        basis = np.array([axis, side, np.cross(axis, side)])
        a = -radians(turned)
        spin = np.array([[1, 0, 0], [0, cos(a), -sin(a)], [0, sin(a), cos(a)]])
        move = spin @ basis

        def placed(p: Array, move: Array = move, point: Array = point) -> Array:
            return (p - point) @ move.T

        def bent(p: Array, where: Array, order: Order = order, start: float = start) -> Array:
            """Points placed with the start of the bend at the origin, known by ``where``, after the bend."""
            share = np.clip((where - start) / order.stick, 0.0, 1.0)
            # the stock behind stays in its direction; its near end is a stick's length behind the origin
            turn = radians(order.angle) * (1.0 - share)
            arc = np.column_stack(
                [order.radius * np.sin(turn) - order.stick, order.radius * (1.0 - np.cos(turn)), 0.0 * turn]
            )
            c, n = cos(radians(order.angle)), sin(radians(order.angle))
            swing = np.array([[c, -n, 0], [n, c, 0], [0, 0, 1]])
            tip = np.array([order.radius * n - order.stick, order.radius * (1.0 - c), 0.0])
            ahead = p @ swing.T + tip
            return np.where((where <= start)[:, None], ahead, np.where((share < 1.0)[:, None], arc, p))

        at = bent(placed(at), s)
        new = {}
        for key, (point_k, axis_k, side_k) in frames.items():
            where = np.array([key])
            q = bent(placed(point_k[None]), where)[0]
            u = placed((point_k + axis_k)[None])[0] - placed(point_k[None])[0]
            v = placed((point_k + side_k)[None])[0] - placed(point_k[None])[0]
            if key <= start:
                c, n = cos(radians(order.angle)), sin(radians(order.angle))
                swing = np.array([[c, -n, 0], [n, c, 0], [0, 0, 1]])
                u, v = swing @ u, swing @ v
            new[key] = (q, u, v)
        frames = new
    return at


def apart(points: Array, others: Array) -> float:
    """Greatest distance in mm of points from others once laid upon them by a rigid motion (Kabsch 1976).

    A mirror image is not a rigid motion: a tube with a roll the wrong way does not fit.
    """
    p, q = points - points.mean(axis=0), others - others.mean(axis=0)
    u, _, vt = np.linalg.svd(p.T @ q)
    d = np.sign(np.linalg.det(u @ vt))
    rotation = u @ np.diag([1.0, 1.0, d]) @ vt
    return float(np.linalg.norm(p @ rotation - q, axis=1).max())
