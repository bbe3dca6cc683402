"""Where a tube's metal is, by its table: its wall along the way, past its ends, and where its bore is full."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array
from converter.geometry.vectors import Vec, along, dot, norm, scale, sub
from converter.importers.solids.square_table import section_place
from converter.importers.solids.walls import bore_short
from converter.model.bends import Placement
from converter.model.drawing import ReadyTable
from converter.model.frames import Piece, pieces
from converter.tolerances import Tolerances

if TYPE_CHECKING:
    from converter.model.section import Outline


@dataclass(frozen=True, slots=True)
class TubeWall:
    """Where a table's metal is.

    Attributes:
        stretches: its straights and bends.
        outer, bore: its outlines, mm.
        wall: mm.
        past: how far metal goes on past both ends, mm; None of a closed tube.
        slack: mm within which a point lies in the metal.
        shut: how far from both ends the bore is full of metal, mm.
    """

    stretches: tuple[Piece, ...]
    outer: Outline
    bore: Outline | None
    wall: float
    past: tuple[float, float] | None
    slack: float
    shut: tuple[float, float] = (0.0, 0.0)

    @classmethod
    def of(cls, table: ReadyTable, tol: Tolerances) -> TubeWall:
        """The metal of a table; all within its outside where its wall is not known."""
        from converter.model.section import Section

        section = table.section
        if section is None:
            od = max((f.measured or 0.0 for f in table.findings if f.code == "solid-skin"), default=0.0)
            section = Section("bar", max(od, tol.join), max(od, tol.join) / 2.0)
        beside = max((f.measured or 0.0 for f in table.findings if f.variant == "bore beside"), default=0.0)
        slack = tol.fit + table.deviation + beside
        past = None
        if not table.closed:
            metal = table.metal or (0.0, 0.0)
            past = (max(metal[0], 0.0) + slack, max(metal[1], 0.0) + slack)
        stretches = pieces(table.table, table.placement or Placement(), table.closed)
        return cls(stretches, section.outer, section.bore, section.wall, past, slack, bore_short(table))

    def away(self, points: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Of points (n, 3): how far outside the outer skin they are (below 0 within), and whether in the wall."""
        best = np.full(len(points), np.inf)
        walled = np.zeros(len(points), bool)
        last = len(self.stretches) - 1
        for k, stretch in enumerate(self.stretches):
            p, q, s, length = section_place(points, stretch)
            low = -self._reach(stretch, 0) if k == 0 and self.past else -self.slack
            high = length + (self._reach(stretch, 1) if k == last and self.past else self.slack)
            here, beyond = (s >= low) & (s <= high), np.maximum(low - s, s - high)
            if not here.any() and (beyond >= best).all():
                continue  # none lies at it, and all as near to one before
            off = _outside(self.outer, p, q)
            best = np.minimum(best, np.maximum(off, beyond))
            within = here & (off <= self.slack)
            if self.bore is not None and within.any():
                full = (s <= self.shut[0] + self.slack) & (k == 0 and self.shut[0] > 0.0)
                full |= (s >= length - self.shut[1] - self.slack) & (k == last and self.shut[1] > 0.0)
                within &= full | (_outside(self.bore, p, q) >= -self.slack)
            walled |= within
        return best, walled

    def _reach(self, stretch: Piece, end: int) -> float:
        """How far along the centerline metal may lie past an end: of a bend cut at a slant further, on its inside."""
        past = (self.past or (0.0, 0.0))[end]
        if stretch.arc is None or past <= self.slack:
            return past
        inner = max(stretch.arc.radius - max(self.outer.height, self.outer.width) / 2.0, self.slack)
        return stretch.arc.radius * asin(min(past / inner, 1.0))

    def is_shut_at(self, place: Vec) -> bool:
        """Whether a place on the centerline lies where the bore is full of metal, which is told."""
        return bool(self.away(np.array([place]))[1][0])

    def goes_on_to(self, place: Vec) -> bool:
        """Whether a place lies ahead of an end by half the tube's height and more, in line with it."""
        first, last = self.stretches[0].start, self.stretches[-1].end
        half = self.outer.height / 2.0
        ends = ((first.point, scale(first.direction, -1.0)), (last.point, last.direction)) if self.past else ()
        arms = ((out, sub(place, point)) for point, out in ends)
        return any((ahead := dot(arm, out)) >= half and norm(along(arm, out, -ahead)) < half for out, arm in arms)

    def lines(self) -> list[tuple[Vec, Vec, float, float]]:
        """Point, direction and range (mm) of its straights, and of its ends where those are bends."""
        found = [(s.start.point, s.start.direction, 0.0, s.length) for s in self.stretches if s.arc is None]
        found += [(s.start.point, s.start.direction, 0.0, 0.0) for s in self.stretches[:1] if s.arc is not None]
        found += [(s.end.point, s.end.direction, 0.0, 0.0) for s in self.stretches[-1:] if s.arc is not None]
        return found


def _outside(loop: Outline, p: Array, q: Array) -> Array:
    """How far points of the section's plane lie outside an outline, below 0 within."""
    half_up, half_across, corner = loop.halves
    a, b = np.abs(p) - (half_up - corner), np.abs(q) - (half_across - corner)
    return np.hypot(np.maximum(a, 0.0), np.maximum(b, 0.0)) + np.minimum(np.maximum(a, b), 0.0) - corner
