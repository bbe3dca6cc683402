"""The numbers of a stick template: where bends start and end, and where their backs lie around the tube.

Along the stick: distance in mm from end A as finished (trimmed), which is the long point of the cope there, or
the centerline's end. Around it: the roll in degrees
from the zero line, right-hand positive about the direction of feed; the zero line is the
outside (the back) of bend 1, so the outside of a bend lies at the sum of the rotations up
to it, and its inside half a turn further.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import atan2, cos, pi, radians, sin, sqrt, tan
from typing import TYPE_CHECKING

from converter.findings import Finding
from converter.model.run import Run
from converter.model.section import Section

if TYPE_CHECKING:
    from converter.bending.setup import Setup


@dataclass(frozen=True, slots=True)
class StickBend:
    """One bend on the stick.

    Attributes:
        number: 1, 2, ... from end A.
        begin, end: mm from end A.
        rotation: degrees since the bend before.
        roll: degrees from the zero line to the bend's outside, in [0, 360).
        angle: degrees.
        clr: mm, or None for a sharp corner.
    """

    number: int
    begin: float
    end: float
    rotation: float
    roll: float
    angle: float
    clr: float | None


@dataclass(frozen=True, slots=True)
class Stick:
    """A stick as its template shows it, in mm.

    Attributes:
        bends: from end A.
        length: from finished end to finished end.
        extra_a, extra_b: what is left at the ends for the clamp or the grip, and trimmed after bending.
        cope_a, cope_b: how far the finished ends lie past the centerline's (negative: before them).
        coped: the ends that are cut to fit.
        set_up: whether bends lie where the bender makes them, springback and stretch counted, and not as drawn.
    """

    bends: tuple[StickBend, ...]
    length: float
    extra_a: float = 0.0
    extra_b: float = 0.0
    cope_a: float = 0.0
    cope_b: float = 0.0
    coped: tuple[str, ...] = ()
    set_up: bool = False

    @classmethod
    def drawn(cls, run: Run, findings: Iterable[Finding]) -> Stick:
        """A stick as drawn, with what the audit found too short at its ends left as extra."""
        return cls(tuple(stick_bends(run)), run.table.developed_length, *extra(run, findings))

    @classmethod
    def of(cls, setup: Setup) -> Stick:
        """The stick of a set-up: the same length, bends and extra as at the bender."""
        bends = stick_bends(setup.tube.run)
        placed = [replace(one, begin=one.begin + setup.cope_a, end=one.end + setup.cope_a) for one in bends]
        for step in setup.steps:
            # the arc begins where it is bent from, and for end B fed first that is its far side
            near = step.start if setup.feed_from == "A" else setup.stick_length - step.start - step.stick
            begin = near - setup.extra_a
            placed[step.bend - 1] = replace(bends[step.bend - 1], begin=begin, end=begin + step.stick)
        return cls(
            tuple(placed),
            setup.length + setup.cope_a + setup.cope_b,
            setup.extra_a,
            setup.extra_b,
            setup.cope_a,
            setup.cope_b,
            setup.coped,
            bool(setup.steps),
        )


def stick_bends(run: Run) -> list[StickBend]:
    """The bends of a run along and around the stick."""
    bends = []
    at = roll = 0.0
    for number, bend in enumerate(run.table.bends, start=1):
        begin = at + bend.feed
        at = begin + bend.arc_length
        roll = (roll + bend.rotation) % 360.0 if number > 1 else 0.0
        bends.append(StickBend(number, begin, at, bend.rotation, _whole(roll), bend.angle, bend.clr))
    return bends


def _whole(roll: float) -> float:
    """Rounding must not leave 359.9999999999 where 0 is meant."""
    return 0.0 if roll < 1e-9 or roll > 360.0 - 1e-9 else roll


@dataclass(frozen=True, slots=True)
class Around:
    """The way around a section, in mm from the zero line.

    Attributes:
        in_plane: outside size in the plane of the first bend (diameter when round).
        across: outside size across that plane.
        corner: outside corner radius; half the size when round.
    """

    in_plane: float
    across: float
    corner: float

    @classmethod
    def of(cls, section: Section) -> Around:
        """The outline of a section; the zero line lies in the middle of a face."""
        if section.is_round:
            return cls(section.od, section.od, section.od / 2.0)
        return cls(section.height, section.od, section.corner)

    @property
    def total(self) -> float:
        """Once around: pi * OD, or the perimeter 2 (a + b) - (8 - 2 pi) r."""
        return 2.0 * (self.in_plane + self.across) - (8.0 - 2.0 * pi) * self.corner

    def position(self, roll: float) -> float:
        """How far around the outline, in mm in [0, total), the ray at ``roll`` degrees meets it."""
        roll %= 360.0
        half = self.total / 2.0
        if roll >= 180.0:
            return half + self.position(roll - 180.0)
        return self._quarter(roll) if roll <= 90.0 else half - self._quarter(180.0 - roll)

    def _quarter(self, roll: float) -> float:
        a, b, r = self.in_plane / 2.0, self.across / 2.0, self.corner
        if roll < 90.0 and a * tan(radians(roll)) <= b - r:
            return a * tan(radians(roll))
        if roll > 0.0 and (back := b / tan(radians(roll))) <= a - r:
            return (b - r) + r * pi / 2.0 + (a - r) - back
        c, s = cos(radians(roll)), sin(radians(roll))
        px, py = a - r, b - r
        reach = px * c + py * s
        out = reach + sqrt(max(0.0, reach * reach - px * px - py * py + r * r))
        return (b - r) + r * atan2(out * s - py, out * c - px)

    @property
    def edges(self) -> list[float]:
        """Where flat faces end, in mm from the zero line; empty when round."""
        a, b, r = self.in_plane / 2.0, self.across / 2.0, self.corner
        if a - r <= 1e-9 and b - r <= 1e-9:
            return []
        half = self.total / 2.0
        one = [b - r, b - r + r * pi / 2.0] if r > 0.0 else [b]
        ends = [*one, *(half - e for e in reversed(one))]
        return [*ends, *(half + e for e in ends)]


def extra(run: Run, findings: Iterable[Finding]) -> tuple[float, float]:
    """Extra stick in mm to leave at end A and at end B, from what the audit found too short there."""
    at_a = at_b = 0.0
    for f in findings:
        if f.code != "end-too-short" or f.tube != run.name or f.measured is None or f.limit is None:
            continue
        missing = f.limit - f.measured
        if missing <= 0.0 or f.unit not in (None, "mm"):
            continue
        if _at_a(f, run):
            at_a = max(at_a, missing)
        else:
            at_b = max(at_b, missing)
    return at_a, at_b


def _at_a(finding: Finding, run: Run) -> bool:
    """Whether a finding about an end speaks of end A."""
    bends = run.table.bends
    if len(bends) == 1:
        # one bend has both ends beside it: the straight that was measured tells, unless both are as long
        feed, measured = bends[0].feed, finding.measured
        if measured is not None and abs(feed - run.table.tail) > 1e-6:
            return abs(measured - feed) < abs(measured - run.table.tail)
        return "end A" in finding.message
    return finding.bend == 1
