"""Bend by bend, how a made tube differs from the drawn one, and whether that is within limits."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import radians, tan

import numpy as np

from converter.comparison.align import Alignment, aligned, paired
from converter.comparison.limits import Limits
from converter.geometry.vectors import within_half_turn
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import reverse_table, walk
from converter.tolerances import same_within

#: A made tube is taken for the mirror image when that fits this many times better, and the plain fit is off by more
#: than so many mm on average.
_MIRRORED, _LEAST_MIRRORED = 4.0, 2.0
#: A leg off by more than this share and so many mm, an angle by so many degrees, is no error of making (no source).
_OTHER_LEG, _OTHER_LEAST, OTHER_ANGLE = 0.25, 25.0, 20.0
#: mm or degrees; what rounding makes of nothing, where nothing may be off.
_ROUNDED = 1e-6


@dataclass(frozen=True, slots=True)
class BendDifference:
    """One bend: what was drawn, and by how much the made one has more. Lengths mm, angles degrees.

    Attributes:
        bend: its number, from end A as drawn.
        drawn: as drawn.
        feed, rotation, angle: of the made one less the drawn one; the rotation in (-180, 180].
        clr: the same, or None where one of the two has no radius.
    """

    bend: int
    drawn: Bend
    feed: float
    rotation: float
    angle: float
    clr: float | None


@dataclass(frozen=True, slots=True)
class Excess:
    """Something that is off by more than it may be.

    Attributes:
        what: 'leg', 'rotation', 'angle', 'ends'.
        bend: number of the bend; of a leg that behind it, one more than the last for the tail's; None for the ends.
        off, limit: by how much it is, and may be: mm, degrees.
    """

    what: str
    bend: int | None
    off: float
    limit: float


@dataclass(frozen=True)
class Comparison:
    """A made tube against the drawn one.

    Attributes:
        nominal: as drawn, from end A.
        measured: as made, its ends named as those of the drawing.
        from_b: whether it had been measured from the other end.
        mirrored: whether the mirror image would fit far better.
        bends: of each bend.
        tail, developed: made less drawn, mm.
        legs: made less drawn, mm, one more than there are bends: corner to corner, which the radius that springback
            opens does not change; around a bend of 150 degrees or more to the middle of its arc.
        end_miss: mm that end B is off while end A, its direction and the first bend's plane are held.
        ends_apart: mm that the two ends are farther apart, as a tape measures from end to end.
        fit: laid on each other as well as they go.
        limits: what it was judged by, or None.
        excesses: what is off by more.
    """

    nominal: BendTable
    measured: BendTable
    from_b: bool
    mirrored: bool
    bends: tuple[BendDifference, ...]
    tail: float
    developed: float
    legs: tuple[float, ...]
    end_miss: float
    ends_apart: float
    fit: Alignment
    limits: Limits | None
    excesses: tuple[Excess, ...]

    @property
    def unlike(self) -> tuple[int, int]:
        """How many legs and angles are nothing like the drawn ones, and how many there are."""
        legs = [
            abs(off) > max(_OTHER_LEG * leg, _OTHER_LEAST)
            for off, leg in zip(self.legs, _legs(self.nominal), strict=True)
        ]
        angles = [abs(difference.angle) > OTHER_ANGLE for difference in self.bends]
        return sum(legs) + sum(angles), len(legs) + len(angles)


def compare(
    nominal: BendTable, measured: BendTable, place: Placement | None = None, limits: Limits | None = None
) -> Comparison:
    """Compare two tables of one shape.

    Args:
        nominal: as drawn.
        measured: as made, from either end.
        place: where the drawn tube stands.
        limits: to judge by.

    Raises:
        ValueError: the numbers of bends differ.
    """
    if len(nominal.bends) != len(measured.bends):
        raise ValueError(f"{len(nominal.bends)} and {len(measured.bends)} bends")
    turned = reverse_table(measured)[0]
    ways = [(measured, False), (turned, True)]
    fits = [paired(nominal, table, place) for table, _ in ways]
    # equal either way (a plain U): as it was given
    best = 1 if fits[1].mean < fits[0].mean - 1e-9 else 0
    table, from_b = ways[best]
    mirror = min(paired(nominal, _mirrored(each), place).mean for each, _ in ways)
    bends = tuple(
        BendDifference(
            i,
            drawn,
            made.feed - drawn.feed,
            within_half_turn(made.rotation - drawn.rotation) if i > 1 else 0.0,
            made.angle - drawn.angle,
            None if made.clr is None or drawn.clr is None else made.clr - drawn.clr,
        )
        for i, (drawn, made) in enumerate(zip(nominal.bends, table.bends, strict=True), 1)
    )
    ends = [np.array(walk(each)[1].start) for each in (nominal, table)]
    apart = [float(np.linalg.norm(end)) for end in ends]
    result = Comparison(
        nominal, table, from_b,
        fits[best].mean > _LEAST_MIRRORED and mirror * _MIRRORED < fits[best].mean,
        bends, table.tail - nominal.tail, table.developed_length - nominal.developed_length,
        tuple(made - drawn for made, drawn in zip(_legs(table), _legs(nominal), strict=True)),
        float(np.linalg.norm(ends[1] - ends[0])), apart[1] - apart[0], aligned(nominal, table, place), limits, (),
    )  # fmt: skip
    return result if limits is None else replace(result, excesses=_excesses(result, limits, apart[0]))


def _excesses(found: Comparison, limits: Limits, apart: float) -> tuple[Excess, ...]:
    """What is off by more than it may be: legs, angles and rotations by their legs, the distance of the ends."""
    nominal = found.nominal
    excesses = []

    def judge(what: str, bend: int | None, off: float, limit: float | None) -> None:
        if limit is not None and abs(off) > same_within(limit) + _ROUNDED:
            excesses.append(Excess(what, bend, off, limit))

    legs = _legs(nominal)
    for difference in found.bends:
        i = difference.bend
        judge("leg", i, found.legs[i - 1], limits.length(legs[i - 1]))
        if i > 1:  # between two planes the leg is what lies between them
            judge("rotation", i, difference.rotation, limits.angle(legs[i - 1]))
        judge("angle", i, difference.angle, limits.angle(min(legs[i - 1], legs[i])))
    judge("leg", len(legs), found.legs[-1], limits.length(legs[-1]))
    judge("ends", None, found.ends_apart, limits.length(apart))
    return tuple(excesses)


def _legs(table: BendTable) -> tuple[float, ...]:
    """Length of each leg, mm: corner to corner where bends have corners, else the straight with half an arc."""

    def past(bend: Bend) -> float:
        clr = bend.clr or 0.0
        return clr * tan(radians(bend.angle) / 2.0) if bend.angle < 150.0 else bend.arc_length / 2.0

    reach = [0.0, *(past(bend) for bend in table.bends), 0.0]
    return tuple(max(0.0, straight) + reach[i] + reach[i + 1] for i, straight in enumerate(table.straights))


def _mirrored(table: BendTable) -> BendTable:
    return BendTable(
        tuple(replace(bend, rotation=within_half_turn(-bend.rotation)) for bend in table.bends), table.tail
    )
