"""What is cut, from what, by what saw, and how: values that check themselves. Lengths mm."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from math import fsum

#: mm; what rounding may lay over a bar's end.
SLACK = 1e-6


@dataclass(frozen=True, slots=True)
class WantedLength:
    """A length that is wanted a number of times.

    Raises:
        ValueError: the length is not above zero, or the count is.
    """

    length: float
    count: int

    def __post_init__(self) -> None:
        if not 0.0 < self.length < float("inf") or self.count < 1:
            raise ValueError(f"no piece: {self.count} of {self.length} mm")


@dataclass(frozen=True, slots=True)
class StockBar:
    """Bars of one length that pieces may be cut from.

    Attributes:
        length: of each.
        count: how many there are; None for as many as are bought.
        cost: of each, in any one unit: what is to be least. 0 for what is on hand.

    Raises:
        ValueError: the length is not above zero, or another value is below it.
    """

    length: float
    count: int | None
    cost: float

    def __post_init__(self) -> None:
        if not 0.0 < self.length < float("inf") or self.cost < 0.0 or (self.count is not None and self.count < 0):
            raise ValueError(f"no bar: {self.count} of {self.length} mm at {self.cost}")


@dataclass(frozen=True, slots=True)
class Saw:
    """What cutting takes of a bar.

    Attributes:
        kerf: width of a cut.
        trim: cut off the front end of every bar, the cut included.
        grip: what must be left behind the last cut to hold the bar by.
    """

    kerf: float = 0.0
    trim: float = 0.0
    grip: float = 0.0

    def room(self, length: float) -> float:
        """The most that pieces, each with a kerf, may come to in a bar of a length.

        With nothing to be held, the last piece may end where the bar ends and needs no cut there.
        """
        return length - self.trim - self.grip + (0.0 if self.grip > 0.0 else self.kerf)


@dataclass(frozen=True, slots=True)
class Pattern:
    """Bars that are cut alike.

    Attributes:
        bar: which of the bars, counted from 0.
        pieces: which pieces, counted from 0, in the order they are cut, front end first.
        times: how many bars.
    """

    bar: int
    pieces: tuple[int, ...]
    times: int

    def cut_places(self, pieces: tuple[WantedLength, ...], saw: Saw) -> tuple[float, ...]:
        """Where each piece ends: mm from the bar's front end as it comes, the trim included, kerfs counted."""
        lengths = [pieces[i].length for i in self.pieces]
        ends = accumulate(length + saw.kerf for length in lengths)
        return tuple(saw.trim + end - saw.kerf for end in ends)

    def left(self, bars: tuple[StockBar, ...], pieces: tuple[WantedLength, ...], saw: Saw) -> float:
        """What is left of each bar behind its last cut, mm; 0 where the cut takes all of it."""
        used = saw.trim + fsum(pieces[i].length + saw.kerf for i in self.pieces)
        return max(0.0, bars[self.bar].length - used)


@dataclass(frozen=True, slots=True)
class Nest:
    """How pieces are cut from bars.

    Attributes:
        pieces, bars, saw: what was given.
        patterns: every bar that is cut; the fullest first.
        lacking: of each piece, how many no bar was there for.
        cost: of the bars bought.
        bound: no way of cutting these pieces costs less; with bars lacking, of those that were cut it is ``cost``.
        on_hand, on_hand_bound: mm of bar taken that costs nothing, and that no way at this cost takes less of.
    """

    pieces: tuple[WantedLength, ...]
    bars: tuple[StockBar, ...]
    saw: Saw
    patterns: tuple[Pattern, ...]
    lacking: tuple[int, ...]
    cost: float
    bound: float
    on_hand: float
    on_hand_bound: float

    @property
    def gap(self) -> float:
        """By what share of the bound the cost may be above the least there is; 0 where it is the least."""
        return 0.0 if self.cost <= self.bound else (self.cost - self.bound) / max(self.bound, SLACK)

    def used(self, bar: int) -> int:
        """How many bars of a kind are cut."""
        return sum(pattern.times for pattern in self.patterns if pattern.bar == bar)
