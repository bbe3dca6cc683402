"""Limits, each swept through what lies at it, a rounding step away, and a little on either side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import inf, nextafter
from typing import Any, NamedTuple


class Limit(NamedTuple):
    """A limit of the shop, or of what the program says.

    Attributes:
        case: what is said of it where the tube has a value.
        at: the limit.
        noise: what it leaves to noise.
        past: which way is past it.
    """

    case: Callable[[float], Sequence[Any]]
    at: float
    noise: float
    past: int


def assert_kept(limit: Limit) -> None:
    """At the limit nothing is said, whichever way it was rounded; what is past it by more than noise is."""
    for step in (0.0, 1e-12 * limit.at, 1e-9, 1e-6, 0.5 * limit.noise):
        for side in (-1.0, 1.0):
            assert not limit.case(limit.at + side * step), (step, side)
    for towards in (-inf, inf):
        assert not limit.case(nextafter(limit.at, towards))
    beyond = limit.at + limit.past * limit.noise
    assert limit.case(beyond + limit.past * 0.01 * limit.noise)
    assert not limit.case(beyond - limit.past * 0.01 * limit.noise)
    assert not limit.case(limit.at - 5.0 * limit.past * limit.noise)
