"""What is cut at the ends of a tube: how much longer that leaves it than its centerline, and the cuts of a saw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

#: Degrees; long points no further apart around a tube lie on one side of it.
_ONE_SIDE = 0.5


class SawCut(NamedTuple):
    """A cut of a saw.

    Attributes:
        angle: what the saw is turned from square, degrees; 0 for a cut square to the tube.
        mate: the tube along whose flat it lies, or that the end meets; '' for a plane.
    """

    angle: float
    mate: str


@dataclass(frozen=True, slots=True)
class EndCut:
    """What one end is cut to.

    Attributes:
        change: how far the longest point of metal lies past the centerline's end (negative: before it), mm.
        saw_cuts: those that make the end, with nothing else: one of a cut that lies in a plane, one along each flat
            where several end it; () for any other.
    """

    change: float
    saw_cuts: tuple[SawCut, ...] = ()

    @property
    def saw_angle(self) -> float | None:
        """From square, of an end that one saw cut makes, degrees; else None."""
        return self.saw_cuts[0].angle if len(self.saw_cuts) == 1 else None

    @property
    def flat_cuts(self) -> tuple[SawCut, ...]:
        """The saw cuts of an end that several flats end; () for any other."""
        return self.saw_cuts if len(self.saw_cuts) > 1 else ()


@dataclass(frozen=True, slots=True)
class EndCuts:
    """What both ends of a tube are cut to.

    Attributes:
        a, b: of ends A and B; None for an end that is cut square at the centerline's end.
        apart: of a straight tube that is sawn at a slant at both ends, the angle from the long point of end A to that
            of end B, right-hand positive about the way from A to B, in (-180, 180] degrees; else None.
    """

    a: EndCut | None = None
    b: EndCut | None = None
    apart: float | None = None

    @property
    def by_end(self) -> dict[str, EndCut]:
        """The ends that are cut to fit, A before B."""
        return {end: cut for end, cut in (("A", self.a), ("B", self.b)) if cut is not None}

    @property
    def changes(self) -> tuple[float | None, float | None]:
        """Of ends A and B; None for an end that is not cut to fit."""
        return None if self.a is None else self.a.change, None if self.b is None else self.b.change

    def change(self, end: str) -> float:
        """What the cut of end 'A' or 'B' makes the tube longer than its centerline (negative: shorter), mm."""
        return self.changes["AB".index(end)] or 0.0

    def saw_angle(self, end: str) -> float | None:
        """From square, of an end that one saw cut makes, degrees; else None."""
        cut = self.by_end.get(end)
        return None if cut is None else cut.saw_angle

    def flat_cuts(self, end: str) -> tuple[SawCut, ...]:
        """The saw cuts of an end that several flats end; () for any other."""
        cut = self.by_end.get(end)
        return () if cut is None else cut.flat_cuts

    def along(self, developed: float) -> float:
        """From longest point to longest point of metal, mm, of a tube whose centerline is ``developed`` mm long."""
        return developed + sum(change or 0.0 for change in self.changes)

    @property
    def on_one_side(self) -> bool:
        """Whether both long points lie on one side of the tube."""
        return self.apart is not None and abs(self.apart) <= _ONE_SIDE

    @property
    def on_opposite_sides(self) -> bool:
        """Whether the long points lie on opposite sides."""
        return self.apart is not None and abs(self.apart) >= 180.0 - _ONE_SIDE
