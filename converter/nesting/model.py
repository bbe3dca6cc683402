"""What is cut, from what, by what saw, and how: values that check themselves. Lengths mm."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from math import fsum

from converter.tolerances import PAST_LENGTH

#: mm; what the noise of lengths may lay over a bar's end.
SLACK = PAST_LENGTH


@dataclass(frozen=True, slots=True)
class WantedLength:
    """A length that is wanted a number of times.

    Attributes:
        length: from long point to long point.
        count: how often.
        ends: kinds of cut of its two ends, as of `Saw.savings`; 0 for one that shares no cut with a neighbour's.

    Raises:
        ValueError: the length is not above zero, or the count is.
    """

    length: float
    count: int
    ends: tuple[int, int] = (0, 0)

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
        savings: of the kinds 1, 2 ... of slanted cuts, what two ends that share one save as against a square cut
            between their long points.
    """

    kerf: float = 0.0
    trim: float = 0.0
    grip: float = 0.0
    savings: tuple[float, ...] = ()

    def room(self, length: float) -> float:
        """The most that pieces, each with a kerf, may come to in a bar of a length.

        With nothing to be held, the last piece may end where the bar ends and needs no cut there.
        """
        return length - self.trim - self.grip + (0.0 if self.grip > 0.0 else self.kerf)

    def longest(self, length: float) -> float:
        """The longest piece that a bar of a length gives, alone on it."""
        return self.room(length) - self.kerf


@dataclass(frozen=True, slots=True)
class Pattern:
    """Bars that are cut alike.

    Attributes:
        bar: which of the bars, counted from 0.
        pieces: which pieces, counted from 0, in the order they are cut, front end first.
        times: how many bars.
        turned: of each piece, whether its second end is in front.
        shared: of each piece, the kind of the cut behind it that it shares with the next one; 0 for a square cut.
    """

    bar: int
    pieces: tuple[int, ...]
    times: int
    turned: tuple[bool, ...]
    shared: tuple[int, ...]

    def cut_places(self, pieces: tuple[WantedLength, ...], saw: Saw) -> tuple[float, ...]:
        """Where each piece ends: mm from the bar's front end as it comes, the trim included, kerfs counted."""
        ends = accumulate(self._spans(pieces, saw))
        # what is shared lies behind the long point of the piece in front
        return tuple(saw.trim + end - after for end, after in zip(ends, self._after(saw), strict=True))

    def left(self, bars: tuple[StockBar, ...], pieces: tuple[WantedLength, ...], saw: Saw) -> float:
        """What is left of each bar behind its last cut, mm; 0 where the cut takes all of it."""
        used = saw.trim + fsum(self._spans(pieces, saw))
        return max(0.0, bars[self.bar].length - used)

    def over(self, bars: tuple[StockBar, ...], pieces: tuple[WantedLength, ...], saw: Saw) -> float:
        """What the pieces are longer than each bar has room for, mm; 0 where they fit, as those of a `Nest` do."""
        return max(0.0, fsum(self._spans(pieces, saw)) - saw.room(bars[self.bar].length))

    def _after(self, saw: Saw) -> list[float]:
        """From the long point behind each piece to where the next one begins, mm: the kerf, less what they save."""
        return [saw.kerf - (saw.savings[kind - 1] if kind else 0.0) for kind in self.shared]

    def _spans(self, pieces: tuple[WantedLength, ...], saw: Saw) -> list[float]:
        return [pieces[i].length + after for i, after in zip(self.pieces, self._after(saw), strict=True)]


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
        return 0.0 if self.cost <= self.bound else (self.cost - self.bound) / max(self.bound, 1e-6)

    def used(self, bar: int) -> int:
        """How many bars of a kind are cut."""
        return sum(pattern.times for pattern in self.patterns if pattern.bar == bar)
