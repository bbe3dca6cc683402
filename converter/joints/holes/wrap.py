"""The holes of one crossing unrolled onto paper: a template once around the tube, both holes on it.

x and paper are as in `converter.joints.cuts.wrap`, but y is the length from end A along the tube, so that end B is up.
The side edges lie on the zero line; where a hole would be cut in two there, they lie in the widest room between
the holes, and the zero line is drawn where it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, pi

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import within_turn
from converter.joints.holes.hole import Hole

#: Room that the template keeps above its holes, and below them for what is written there, mm.
ABOVE, BELOW = 12.0, 17.0
#: Room between the side edges and the holes, mm, for the closing marks.
_SIDE = 5.0


@dataclass(frozen=True)
class HoleWrap:
    """The template of one crossing. Lengths mm, angles degrees.

    Attributes:
        holes: its holes, the one nearest to end A first.
        paper_thickness: thickness of the paper.
        width: once around.
        seam: clock of the side edges, 0 when they are the zero line.
        low, high: lengths from end A of the lower and the upper edge.
        change: what end A's cut adds to the tube (negative: takes off), so that lengths as cut are that much more.
        coped: whether end A is cut to fit.
        outlines: (x, length from end A) around each hole, the first point repeated.
    """

    holes: tuple[Hole, ...]
    paper_thickness: float
    width: float
    seam: float
    low: float
    high: float
    change: float
    coped: bool
    outlines: tuple[tuple[Array, Array], ...]

    def x(self, clock: float) -> float:
        """Where an angle from the zero line lies, in [0, width)."""
        return within_turn(clock - self.seam) / 360.0 * self.width

    @property
    def centers(self) -> list[tuple[float, float]]:
        """(x, length from end A) of the middle of each hole."""
        return [(self.x(hole.clock), hole.from_a) for hole in self.holes]

    def as_cut(self, from_a: float) -> float:
        """A length from the centerline's end A, counted from the stick's end as it is cut."""
        return from_a + self.change


def hole_wraps(
    holes: Sequence[Hole], changes: dict[str, float | None], paper_thickness: float, round_to: float = 5.0
) -> list[HoleWrap]:
    """Unroll holes, those of one crossing together.

    Args:
        holes: of `converter.joints.holes.hole.find_holes`.
        changes: by tube, what its cut adds at end A, mm; None where end A is not cut to fit.
        paper_thickness: thickness of the paper, mm.
        round_to: the lower edge lies at a multiple of this from end A as cut, mm; where the straight begins if that
            comes first.
    """
    return [_unrolled(group, changes.get(group[0].tube), paper_thickness, round_to) for group in grouped(holes)]


def grouped(holes: Sequence[Hole]) -> list[tuple[Hole, ...]]:
    """Holes of one crossing together, in their order."""
    groups: dict[tuple[object, ...], list[Hole]] = {}
    for hole in holes:
        groups.setdefault((hole.tube, hole.through, hole.node), []).append(hole)
    return [tuple(group) for group in groups.values()]


def _unrolled(holes: tuple[Hole, ...], change: float | None, paper_thickness: float, round_to: float) -> HoleWrap:
    od = holes[0].section.od
    width = pi * (od + paper_thickness)
    seam = _seam([hole.fine[0] for hole in holes], 360.0 * _SIDE / width)
    added = change or 0.0
    begin, end = holes[0].straight
    lowest = min(float(hole.fine[1].min()) for hole in holes)
    highest = max(float(hole.fine[1].max()) for hole in holes)
    low = round_to * floor((lowest - BELOW + added) / round_to + 1e-9) - added
    high = round_to * ceil((highest + ABOVE + added) / round_to - 1e-9) - added
    outlines = []
    for hole in holes:
        clock, lengths = hole.fine
        start = within_turn(float(clock.min()) - seam)
        outlines.append(((clock - clock.min() + start) / 360.0 * width, lengths))
    return HoleWrap(
        holes=holes,
        paper_thickness=paper_thickness,
        width=width,
        seam=seam,
        low=max(low, min(begin, lowest)),
        high=min(high, max(end, highest)),
        change=added,
        coped=change is not None,
        outlines=tuple(outlines),
    )


def _seam(clocks: Sequence[Array], margin: float) -> float:
    """Clock of the side edges: 0 where that keeps clear of every hole, else the middle of the widest room."""
    spans = sorted((within_turn(float(clock.min())), float(np.ptp(clock))) for clock in clocks)
    rooms = []
    for i, (start, size) in enumerate(spans):
        following = spans[(i + 1) % len(spans)][0] + (360.0 if i + 1 == len(spans) else 0.0)
        rooms.append((following - start - size, start + size))
    if any(margin <= within_turn(-begin) <= room - margin for room, begin in rooms):
        return 0.0
    room, begin = max(rooms)
    return within_turn(begin + room / 2.0)
