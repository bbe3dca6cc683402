"""Whether the machine can hold the tube for each bend, in which order, and what extra stick that takes.

Words: the tube is seen from the end that is *fed first*, which goes ahead through the die. For a bend

- the clamp needs a straight *ahead* of it: the die's ``clamp`` where only the end of the stick lies
  ahead, its ``between`` where a bend made before does;
- the pressure die needs the die's ``tail`` of straight *behind* it, up to a bend made before or to the
  end of the stick.

A bend that is still to be made is straight stick. So a bend that has no room ahead may be made before
the one it collides with, whose own need behind is usually smaller, or from the other end, or with the
clamp turned over where it bends against the one before (an S-bend) and the die allows that. What lacks
at an end of the stick is extra stick, trimmed after bending. docs/setup.md shows this with numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf
from typing import NamedTuple

from converter.geometry.vectors import within_half_turn
from converter.shop.model import Die
from converter.tolerances import PAST_LENGTH

#: Degrees; bends whose planes lie this close to half a turn apart make an S in one plane.
OPPOSED = 1.0


class Need(NamedTuple):
    """What one bend needs and takes, lengths in mm.

    Attributes:
        stick: stick that its arc uses.
        roll: degrees from the first bend's plane to its own.
        clamp, between, tail: straight needed ahead, after another bend, and behind.
        offset: how far ahead of its start the mark lies, which must be on the stick.
        inverts: whether the clamp can be turned over.
    """

    stick: float
    roll: float
    clamp: float = 0.0
    between: float = 0.0
    tail: float = 0.0
    offset: float = 0.0
    inverts: bool = False

    @classmethod
    def of(cls, die: Die | None, stick: float, roll: float) -> Need:
        """What a die needs; nothing but the arc's stick without a die."""
        if die is None:
            return cls(stick, roll)
        return cls(stick, roll, die.clamp, die.between, die.tail, die.mark_offset or 0.0, die.invert_clamp)


@dataclass(frozen=True, slots=True)
class Lack:
    """A straight that is too short for a bend.

    Attributes:
        bend: index of the bend.
        other: index of the bend made before that leaves too little.
        ahead: whether the straight lies ahead of the bend (clamp) or behind it (pressure die).
        have, need: mm.
    """

    bend: int
    other: int
    ahead: bool
    have: float
    need: float


@dataclass(frozen=True, slots=True)
class BendPlan:
    """One order of bends and what it takes.

    Attributes:
        order: indices of the bends in the order made.
        lacks: what cannot be held; empty when all can be made.
        inverted: (bend, other) of bends that need the clamp turned over.
        lead, trail: extra stick in mm at the end fed first and at the other.
    """

    order: tuple[int, ...]
    lacks: tuple[Lack, ...]
    inverted: tuple[tuple[int, int], ...]
    lead: float
    trail: float

    @property
    def is_simple(self) -> bool:
        """Whether the bends are made one after the other from the end fed first."""
        return self.order == tuple(range(len(self.order)))


@dataclass(frozen=True)
class Clamping:
    """A tube as the clamp sees it; bends are indexed from 0 from the end that is fed first.

    Attributes:
        straights: one more than bends, from the end fed first, mm.
        needs: one per bend.
    """

    straights: tuple[float, ...]
    needs: tuple[Need, ...]

    @cached_property
    def _starts(self) -> tuple[float, ...]:
        """Where each bend starts on the stick without extra; then where the stick ends."""
        found, at = [], 0.0
        for straight, need in zip(self.straights, self.needs, strict=False):
            at += straight
            found.append(at)
            at += need.stick
        return (*found, at + self.straights[-1])

    def plan(self, order: Sequence[int]) -> BendPlan:
        """What an order takes.

        Args:
            order: every index once.
        """
        lacks: list[Lack] = []
        inverted: list[tuple[int, int]] = []
        lead = trail = 0.0
        made: list[int] = []
        for bend in order:
            ahead, behind = _neighbours(bend, made)
            over = self._turned_over(bend, ahead)
            if over is not None:
                inverted.append((bend, over))
            lacks += self._lacks(bend, ahead, behind)
            at_lead, at_trail = self.extras[bend]
            if ahead is None:
                lead = max(lead, at_lead)
            if behind is None:
                trail = max(trail, at_trail)
            made.append(bend)
        return BendPlan(tuple(order), tuple(lacks), tuple(inverted), lead, trail)

    @cached_property
    def extras(self) -> tuple[tuple[float, float], ...]:
        """Of each bend the extra stick in mm that it takes at the end fed first while no bend nearer that end is made,
        and at the other end while none nearer that one is."""
        found = []
        for bend, need in enumerate(self.needs):
            lead = max(need.clamp, need.offset) - self._between(-1, bend)
            trail = need.tail - self._between(bend, len(self.needs))
            found.append((lead if lead > PAST_LENGTH else 0.0, trail if trail > PAST_LENGTH else 0.0))
        return tuple(found)

    def lacks(self, bend: int, made: Iterable[int]) -> list[Lack]:
        """What a bend lacks between the bends made before it; an end of the stick lacks nothing, it gets extra."""
        return self._lacks(bend, *_neighbours(bend, made))

    def _lacks(self, bend: int, ahead: int | None, behind: int | None) -> list[Lack]:
        """The same between the nearest bends made before."""
        found = []
        need = self.needs[bend]
        if ahead is not None:
            have = self._between(ahead, bend)
            if have < need.between - PAST_LENGTH and self._turned_over(bend, ahead) is None:
                found.append(Lack(bend, ahead, True, have, need.between))
        if behind is not None:
            have = self._between(bend, behind)
            if have < need.tail - PAST_LENGTH:
                found.append(Lack(bend, behind, False, have, need.tail))
        return found

    def feasible(self, made: Iterable[int], bend: int) -> bool:
        """Whether a bend can be held after others were made."""
        return not self.lacks(bend, made)

    @property
    def pairs(self) -> list[list[bool]]:
        """Of each bend whether it can be held when each other one alone is made already.

        When more are made it can be held if it can be with the nearest of them on either side: the clamp and the
        pressure die look no further, and not at each other.
        """
        every = range(len(self.needs))
        lacks = self._lacks
        if min(self.straights[1:-1], default=inf) >= max(
            (max(one.between, one.tail) for one in self.needs), default=0.0
        ):
            return [[bend != by for by in every] for bend in every]
        return [
            [bend != by and not (lacks(bend, by, None) if by < bend else lacks(bend, None, by)) for by in every]
            for bend in every
        ]

    def recommended(self) -> tuple[int, ...] | None:
        """An order in which every bend can be held, as near to the plain one as can be; None when there is none.

        A bend is taken when it can be held now and leaves every other one possible. Straights only
        grow shorter as bends are made, and each pair of neighbours only decides which of the two comes
        first, so taking the first such bend never closes a way that was open.
        """
        made: list[int] = []
        left = list(range(len(self.needs)))
        while left:
            for bend in left:
                if self.feasible(made, bend) and all(
                    self.feasible([*made, bend], other) for other in left if other != bend
                ):
                    made.append(bend)
                    left.remove(bend)
                    break
            else:
                return None
        return tuple(made)

    def _between(self, first: int, second: int) -> float:
        """Straight stick between the end of one bend (-1: of the stick) and the start of a later one, mm."""
        if second == first + 1:
            return self.straights[second]  # as it was given, without the rounding of sums
        if first < 0:
            return self._starts[second]
        return self._starts[second] - self._starts[first] - self.needs[first].stick

    def _turned_over(self, bend: int, ahead: int | None) -> int | None:
        """The nearest bend ahead, if the clamp is turned over for its sake; else None."""
        need = self.needs[bend]
        if ahead is None or not need.inverts:
            return None
        if not -PAST_LENGTH <= self._between(ahead, bend) < need.between - PAST_LENGTH:
            return None
        apart = abs(within_half_turn(need.roll - self.needs[ahead].roll))
        return ahead if apart >= 180.0 - OPPOSED else None


def _neighbours(bend: int, made: Iterable[int]) -> tuple[int | None, int | None]:
    """The nearest bends made before, ahead (a lower index) and behind."""
    ahead: int | None = None
    behind: int | None = None
    for other in made:
        if other < bend:
            ahead = other if ahead is None else max(ahead, other)
        elif other > bend:
            behind = other if behind is None else min(behind, other)
    return ahead, behind
