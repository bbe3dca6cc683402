"""How far a table may be from the truth: least squares' own word, what it does not follow, and what fits as well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import degrees, radians

from converter.geometry.circles import radius_uncertainty
from converter.importers.mesh.misfit import Misfit
from converter.importers.mesh.refine import Fit
from converter.model.bends import BendTable

MARGIN = 1.15  #: least squares on a curved problem is a little too sure of itself
OVERLAP = 0.3  #: share of a bend's length that the same bend of another table covers at least


@dataclass(frozen=True, slots=True)
class Doubt:
    """What is not sure about a table.

    Attributes:
        misfit: how it misses the vertices.
        others: numbers of bends of tables that fit as well, other than its own.
        angles: uncertainty of each bend's angle, degrees.
        straights: uncertainty of each straight between two bends, mm; 0 for those at the ends.
        radii: uncertainty of each bend's radius, mm.
        rotations: uncertainty of each bend's rotation, degrees; 0 for the first.
    """

    misfit: Misfit
    others: tuple[int, ...]
    angles: tuple[float, ...]
    straights: tuple[float, ...]
    radii: tuple[float, ...]
    rotations: tuple[float, ...]

    def onto(self, table: BendTable) -> BendTable:
        """The table with these uncertainties of its radii."""
        bends = tuple(
            replace(b, clr_uncertainty=0.0 if b.clr is None else max(1e-9, r))
            for b, r in zip(table.bends, self.radii, strict=True)
        )
        return replace(table, bends=bends)

    def reversed(self) -> Doubt:
        """The same read from the other end."""
        return replace(
            self,
            angles=self.angles[::-1],
            straights=self.straights[::-1],
            radii=self.radii[::-1],
            rotations=self.rotations[:1] + self.rotations[:0:-1],
        )


def doubted(best: Fit, alternatives: Sequence[Fit], misfit: Misfit) -> Doubt:
    """What is in doubt about a fit: uncertainties that cover what fits as well.

    Args:
        best: the fit.
        alternatives: fits to the same vertices that cannot be told from it.
        misfit: of the fit.
    """
    table = best.table
    grown = MARGIN * (max(1.0, misfit.excess) ** 0.5 if misfit.clear else 1.0)
    radii = [b.clr_uncertainty * grown for b in table.bends]
    angles = [a * grown for a in best.angle_loose]
    feeds = [f * grown for f in best.feed_loose]
    turns = tuple(t * grown for t in best.turn_loose)
    # a bend that the metal ends in ends where the metal does: no vertex behind it says its angle
    for k, beyond in ((0, table.straights[0]), (len(angles) - 1, table.tail)):
        if angles and beyond <= 1e-6:
            clr = table.bends[k].clr or best.radius
            angles[k] = min(angles[k], degrees(3.0 * misfit.noise / clr) + table.bends[k].angle * radii[k] / clr)
    if misfit.clear:
        for k, bend in enumerate(table.bends):
            if bend.clr is not None:
                half = radians(min(bend.angle, 180.0) / 2.0)
                radii[k] = max(radii[k], radius_uncertainty(misfit.beside, half))
                angles[k] = max(angles[k], 57.3 * misfit.beside / best.radius)
    spans = _spans(table)
    for other in alternatives:
        theirs = _spans(other.table)
        for k, (a, b) in enumerate(spans):
            shared = [(min(b, d) - max(a, c), j) for j, (c, d) in enumerate(theirs)]
            most, j = max(shared, default=(0.0, 0))
            bend = table.bends[k]
            if bend.clr is None:
                continue
            if most < OVERLAP * (b - a):
                radii[k] = max(radii[k], bend.clr)
                angles[k] = max(angles[k], bend.angle)
                continue
            same = other.table.bends[j]
            radii[k] = max(radii[k], abs((same.clr or 0.0) - bend.clr) + min(same.clr_uncertainty, bend.clr))
            angles[k] = max(angles[k], abs(same.angle - bend.angle) + min(other.angle_loose[j], bend.angle))
            if k > 0 and j > 0 and len(theirs) == len(spans):
                feeds[k] = max(feeds[k], abs(same.feed - bend.feed) + min(other.feed_loose[j], same.feed))
    counts = {len(o.table.bends) for o in alternatives} - {len(table.bends)}
    straights = (0.0, *feeds[1:], 0.0) if feeds else (0.0,)
    return Doubt(misfit, tuple(sorted(counts)), tuple(angles), straights, tuple(radii), turns)


def _spans(table: BendTable) -> list[tuple[float, float]]:
    out, at = [], 0.0
    for bend in table.bends:
        at += bend.feed
        out.append((at, at + bend.arc_length))
        at += bend.arc_length
    return out
