"""The tube as it comes off the machine: radii after springback, the same corners, the stick each arc uses.

A bend springs back elastically and keeps the length of its arc: bent by ``S``, the stop less its play, on a die
of radius ``R`` it comes out at the angle ``T`` with the radius ``R S / T``. That radius is larger than the
die's, so with the drawing's own tangent points the legs would end up out of place. Set-up moves the
tangent points instead: each bend keeps its corner, where the straights beside it would meet, so every
straight of the finished tube lies on the line it was drawn on and both ends are where they were drawn;
the straights shrink by ``(R S / T - R drawn) tan(T / 2)`` on each side of the bend. A bend of 170 degrees
or more keeps its outermost point instead (`converter.reducer.refit`).

No straight can shrink below nothing. One that would is made with nothing, and what follows it, or an end, lies further
along by what springback takes more than it has (`held`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import radians
from typing import NamedTuple

from converter.bending.metal.springback import Springback
from converter.model.bends import Bend, BendTable
from converter.model.centerline import from_end_b
from converter.reducer.refit import CORNER_LIMIT, on_radii
from converter.shop.assign import Seat, die_for_bend

#: mm; a straight this little below nothing is rounding.
_ROUNDING = 1e-6


class MachineBend(NamedTuple):
    """One bend as the machine makes it.

    Attributes:
        seat: its die and how a rectangle lies in it.
        springback: what is known of it.
        target: angle wanted, degrees.
        stop: what the stop is set to, degrees; the target where springback is not known.
        radius: centerline radius after springback, mm.
        stick: stick that the arc uses, mm: its length, less what the metal stretches.
    """

    seat: Seat
    springback: Springback
    target: float
    stop: float
    radius: float
    stick: float


def machine_bend(bend: Bend, seat: Seat, springback: Springback) -> MachineBend:
    """One bend on its die.

    Args:
        bend: with a radius.
        seat: where it is made; without a die it is taken to come out as drawn.
        springback: of that die, metal and section.
    """
    drawn = bend.clr or 0.0
    if seat.die is None:
        return MachineBend(seat, springback, bend.angle, bend.angle, drawn, bend.arc_length)
    # springback only takes away: a fitted line that says otherwise at a small angle must not unbend
    stop = max(springback.stop(bend.angle), bend.angle)
    radius = seat.die.clr * springback.opening(bend.angle)
    arc = radius * radians(bend.angle)
    return MachineBend(seat, springback, bend.angle, stop, radius, arc / (1.0 + (springback.stretch or 0.0)))


@dataclass(frozen=True, slots=True)
class BentShape:
    """A tube as made, seen from the end that is fed first.

    Attributes:
        from_a: its bends after springback, from end A, with straights to the ends of the stick (but for extra).
        table: the same from the end fed first.
        machine_bends: the same bends as the machine makes them.
        starts: where each bend starts on the stick (without extra), from the end fed first, mm.
        length: stick that the tube takes from end to end as cut (without extra), mm.
        rolls: degrees from the first bend's plane to each bend's, not wrapped.
        excess: by how much springback takes more than each straight has, from end A, the tail last, mm; 0 for most.
    """

    from_a: BendTable
    table: BendTable
    machine_bends: tuple[MachineBend, ...]
    starts: tuple[float, ...]
    length: float
    rolls: tuple[float, ...]
    excess: tuple[float, ...] = ()


def seen_from(from_a: BendTable, excess: tuple[float, ...], made: Sequence[MachineBend], feed_from: str) -> BentShape:
    """The tube as it comes off the machine.

    Args:
        from_a: as cut, from end A (`as_cut` of `held`).
        excess: as `held` has it.
        made: one per bend, from end A.
        feed_from: 'A' or 'B', the end that is fed first.
    """
    bent, ordered = from_a, list(made)
    if feed_from == "B":
        bent = from_end_b(bent)
        ordered.reverse()
    starts: list[float] = []
    rolls: list[float] = []
    at = roll = 0.0
    for i, (bend, one) in enumerate(zip(bent.bends, ordered, strict=True)):
        at += bend.feed
        starts.append(at)
        at += one.stick
        roll += bend.rotation if i else 0.0
        rolls.append(roll)
    return BentShape(from_a, bent, tuple(ordered), tuple(starts), at + bent.tail, tuple(rolls), excess)


def held(table: BendTable, made: Sequence[MachineBend]) -> tuple[BendTable, tuple[float, ...]]:
    """The table on the radii that come out, no straight below nothing for springback's sake.

    Straights that overlap already as drawn, or on the dies' radii, stay below zero: no bending makes those.

    Args:
        table: as drawn, from end A; every bend with a radius.
        made: one per bend, from end A.

    Returns:
        The table, and by how much springback takes more than each straight has, the tail last, mm.
    """
    bent = on_radii(table, _radii(table, made))[0]
    straights = list(bent.straights)
    excess = [0.0] * len(straights)
    if min(straights) >= 0.0:
        return bent, tuple(excess)
    dies = {
        i: one.seat.die.clr
        for i, (bend, one) in enumerate(zip(table.bends, made, strict=True))
        if one.seat.die is not None and die_for_bend(bend, (one.seat.die,)) is None
    }
    unsprung = on_radii(table, dies)[0].straights
    for i, straight in enumerate(straights):
        if straight < 0.0 <= unsprung[i] + _ROUNDING:
            excess[i], straights[i] = -straight, 0.0
    bends = tuple(replace(bend, feed=feed) for bend, feed in zip(bent.bends, straights, strict=False))
    return BendTable(bends, straights[-1]), tuple(excess)


def as_cut(table: BendTable, cope_a: float, cope_b: float) -> BendTable:
    """The same bends with the straights at the ends longer (negative: shorter) by so many mm."""
    if not cope_a and not cope_b:
        return table
    if not table.bends:
        return BendTable((), table.tail + cope_a + cope_b)
    first = replace(table.bends[0], feed=table.bends[0].feed + cope_a)
    return BendTable((first, *table.bends[1:]), table.tail + cope_b)


def _radii(table: BendTable, made: Sequence[MachineBend]) -> dict[int, float]:
    """The bends whose radius differs from the drawn one: an equal radius must not cost a rounding."""
    return {
        i: one.radius for i, (bend, one) in enumerate(zip(table.bends, made, strict=True)) if one.radius != bend.clr
    }


def wider(table: BendTable, radii: Sequence[float]) -> list[tuple[int, float]]:
    """Bends without a corner whose radius changes: index from 0 and by how much their legs move apart, mm.

    Args:
        table: as drawn, from end A.
        radii: after springback, from end A.
    """
    return [
        (i, 2.0 * (radius - (bend.clr or 0.0)))
        for i, (bend, radius) in enumerate(zip(table.bends, radii, strict=True))
        if bend.angle >= CORNER_LIMIT and radius != bend.clr
    ]
