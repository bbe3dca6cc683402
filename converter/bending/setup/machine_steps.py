"""Stops and turns to the steps that a machine can be set to, and turns as distances around the tube.

Rounding never adds up: turns are rounded from their running sum, and so are the distances.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, copysign

from converter.geometry.vectors import within_half_turn

#: Degrees; what doubles leave of a plane in a drawing that lies 10 km from its origin.
_NOISE = 1e-6


def wrapped(degrees: float) -> float:
    """The same turn in (-180, 180]; half a turn is 180 and none is 0 whichever side rounding leaves them on."""
    return within_half_turn(degrees, _NOISE)


def to_step(degrees: float, step: float | None) -> float:
    """The nearest multiple of a step; the angle itself where there is none.

    Of two as near the lesser, either way round: a bend that comes out short can be bent on, and mirror images are
    turned alike.
    """
    if step is None:
        return degrees
    return copysign(ceil((abs(degrees) - _NOISE) / step - 0.5) * step, degrees) + 0.0


def stop_to_step(stop: float, step: float | None, greatest: float | None) -> float:
    """A stop to the nearest step above zero, and not rounded past the greatest angle that the machine makes."""
    if step is None:
        return stop
    value = max(step, to_step(stop, step))
    return value - step if greatest is not None and value > greatest + 1e-9 >= stop and value > step else value


def arcs_within(arcs: Iterable[float], allowed: float, grains: Iterable[float]) -> list[tuple[float, float] | None]:
    """Distances around a tube as they are told, so that neither one of them nor their sum is off by more than so much.

    Args:
        arcs: exact, mm, with the sign of the turn, in the order made.
        allowed: mm, above zero.
        grains: steps of the lengths shown, mm, the one preferred first.

    Returns:
        For each the distance told and the grain it is a multiple of; None where no grain is fine enough.
    """
    exact = told = 0.0
    found: list[tuple[float, float] | None] = []
    grains = tuple(grains)
    for arc in arcs:
        exact += arc
        if arc == 0.0:
            found.append(None)
            continue
        for grain in grains:
            # as near as it comes by itself, or else with some of what was left over before, or all of it
            left = exact - told - arc
            tries = [to_step(arc + share * left, grain) for share in (0.0, 0.5, 1.0)]
            fine = [one for one in tries if abs(one - arc) <= allowed and abs(told + one - exact) <= allowed]
            fine = [one for one in fine if one * arc > 0.0]
            if fine:
                found.append((fine[0], grain))
                told += fine[0]
                break
        else:
            found.append(None)
            told = exact  # turned by degrees, so nothing is left over
    return found
