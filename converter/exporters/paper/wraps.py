"""A cut unrolled onto paper: the wrap templates of an end, and of the holes of a crossing.

x runs around the tube from the zero line, right-hand positive about the direction that points
out of the end; y is the length back from the centerline's end point. Drawn with y downward it is
what one sees with the end up and the printed side out. Paper of thickness p lies on the
outside, so that its middle runs around at (OD + p) / 2: x = (OD + p) / 2 * phi, once around is
pi (OD + p). Where there are flats, they keep their length and corners grow by p / 2.
All in mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, floor, pi

import numpy as np

from converter.arrays import Array, distinct
from converter.geometry.vectors import within_turn
from converter.joints.cuts.lines import corner_angles, outline_radii
from converter.joints.holes import Hole, grouped
from converter.joints.model import Joint
from converter.model.section import Outline

#: The template's curve strays from the exact one by less than about this, mm.
_FLAT = 2e-3
#: A step of half a degree is halved at most this often.
_HALVINGS = 9
#: Room that the template keeps above its holes, and below them for what is written there, mm.
ABOVE, BELOW = 12.0, 17.0
#: Room between the side edges and the holes, mm, for the closing marks.
_SIDE = 5.0

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Around:
    """The way around a section on paper.

    Attributes:
        outline: of the tube's outside.
        paper_thickness: thickness of the paper, mm.
        turn: degrees from the section's height direction to the zero line (no matter when round).
    """

    outline: Outline
    paper_thickness: float
    turn: float

    @property
    def total(self) -> float:
        """Once around, mm."""
        return self.outline.perimeter + pi * self.paper_thickness

    def position(self, phi: Array) -> Array:
        """x of angles from 0 to 360 degrees, mm."""
        radius = self.outline.radius
        if radius is not None:
            value: Array = np.radians(phi) * (2.0 * radius + self.paper_thickness) / 2.0
            return value
        at = self._from_height(phi + self.turn) - self._from_height(np.array([self.turn]))
        value = np.where(phi >= 360.0, self.total, np.where(phi <= 0.0, 0.0, at))
        return value

    def _from_height(self, psi: Array) -> Array:
        """Way from the middle of the side at the height direction, growing without end."""
        turns = np.floor(psi / 360.0)
        psi = psi - 360.0 * turns
        half = self.total / 2.0
        back = psi > 180.0
        psi = np.where(back, psi - 180.0, psi)
        folded = np.where(psi > 90.0, 180.0 - psi, psi)
        quarter = self._quarter(folded)
        one = np.where(psi > 90.0, half - quarter, quarter)
        value: Array = turns * self.total + np.where(back, half, 0.0) + one
        return value

    def _quarter(self, psi: Array) -> Array:
        a, b, r = self.outline.halves
        rad = np.radians(psi)
        rho = outline_radii(self.outline, rad)
        p, q = rho * np.cos(rad), rho * np.sin(rad)
        around = np.clip(np.arctan2(q - (b - r), p - (a - r)), 0.0, pi / 2.0)
        corner = (b - r) + (r + self.paper_thickness / 2.0) * around
        flat = q <= b - r
        far = (b - r) + (r + self.paper_thickness / 2.0) * pi / 2.0 + (a - r) - p
        value: Array = np.where(flat, q, np.where(p <= a - r, far, corner))
        return value


@dataclass(frozen=True)
class Wrap:
    """The template of an end.

    Attributes:
        joint: the end; paper_thickness: thickness of the paper.
        width: once around.
        phi, x: angles from 0 to 360 degrees, and where they lie.
        od: lengths of the cut there, the line to cut along.
        bore: lengths at which the metal ends at the bore, or None for a bar.
        mates: (name, lengths of the cut to that mate alone, nan where it is not met) of several mates; () for one.
        base: length at which the template ends, below the short point.
    """

    joint: Joint
    paper_thickness: float
    width: float
    phi: Array
    x: Array
    od: Array
    bore: Array | None
    mates: tuple[tuple[str, Array], ...]
    base: float

    def at(self, phi: float) -> Point:
        """(x, length) of the cut at an angle."""
        return float(np.interp(phi, self.phi, self.x)), float(np.interp(phi, self.phi, self.od))

    @property
    def long(self) -> Point:
        """(x, length) where the metal reaches furthest."""
        i = int(np.argmin(np.round(self.od, 7)))
        return float(self.x[i]), float(self.od[i])

    @property
    def short(self) -> Point:
        """(x, length) where the metal ends first."""
        i = int(np.argmax(np.round(self.od, 7)))
        return float(self.x[i]), float(self.od[i])

    @property
    def fouls(self) -> float:
        """How much metal a cut square to the wall leaves at the bore that must go, at most."""
        return 0.0 if self.bore is None else max(0.0, float((self.bore - self.od).max()))

    def governs(self) -> list[tuple[str, float, float]]:
        """(name, from x, to x) of the stretches that each of several mates cuts."""
        if not self.mates:
            return []
        reach = np.stack([np.where(np.isnan(y), -np.inf, y) for _, y in self.mates])
        who = reach.argmax(axis=0)
        found = []
        start = 0
        for i in range(1, len(who) + 1):
            if i == len(who) or who[i] != who[start]:
                found.append((self.mates[int(who[start])][0], float(self.x[start]), float(self.x[i - 1])))
                start = i
        return found


def wrap(joint: Joint, paper_thickness: float, round_to: float = 5.0) -> Wrap:
    """Unroll a joint's cut.

    Args:
        joint: the end.
        paper_thickness: thickness of the paper, mm.
        round_to: the template ends at a multiple of this, mm, at least 15 mm below the short point; sooner
            where the straight ends before.
    """
    cut = joint.cut
    branch = cut.branch
    around = Around(joint.section.outer, paper_thickness, float(np.degrees(branch.turn_rad)))
    known = np.array([row[0] for row in joint.profile] + [360.0])
    if joint.section.cylinder is None:
        known = np.union1d(known, corner_angles(joint.section.outer, around.turn))

    phi = _fine(cut.outside, known, around.position)
    od, bore = cut.at(phi)
    mates: list[tuple[str, Array]] = []
    if len(cut.mates) > 1:
        names = list(joint.mates) if len(joint.mates) == len(cut.mates) else [", ".join(joint.mates)] * len(cut.mates)
        mates = [
            (name, np.where(np.isfinite(y), y, np.nan))
            for name, y in zip(names, cut.by_mate(cut.branch.lines(phi)), strict=True)
        ]
    short = float(od.max())
    base = round_to * ceil((short + 15.0) / round_to - 1e-9)
    if short + 8.0 <= joint.straight < base:
        base = joint.straight
    return Wrap(
        joint=joint,
        paper_thickness=paper_thickness,
        width=around.total,
        phi=phi,
        x=around.position(phi),
        od=od,
        bore=None if joint.section.bore is None else bore,
        mates=tuple(mates),
        base=base,
    )


def _fine(curve: Callable[[Array], Array], phi: Array, position: Callable[[Array], Array]) -> Array:
    """Angles close enough for straight pieces between them: kinks and steep places get more."""
    phi = distinct(phi)
    y = curve(phi)
    todo = np.ones(len(phi) - 1, dtype=np.bool_)
    for _ in range(_HALVINGS):
        left = np.flatnonzero(todo)
        if not len(left):
            break
        middle = (phi[left] + phi[left + 1]) / 2.0
        value = curve(middle)
        chord = (y[left] + y[left + 1]) / 2.0
        # distance from the chord, not along the tube: a steep line may be far off in y alone
        rise = np.abs(y[left + 1] - y[left])
        run = np.maximum(position(phi[left + 1]) - position(phi[left]), 1e-12)
        off = np.abs(value - chord) * run / np.hypot(run, rise)
        split = off > _FLAT
        keep = np.zeros(len(todo), dtype=np.bool_)
        keep[left[split]] = True
        at = left[split] + 1
        phi, y = np.insert(phi, at, middle[split]), np.insert(y, at, value[split])
        todo = np.repeat(keep, np.where(keep, 2, 1))
    return phi


# --- a template once around the tube, both holes of a crossing on it --------------------------
# x and paper are as above, but y is the length from end A along the tube, so that end B is
# up. The side edges lie on the zero line; where a hole would be cut in two there, they lie in the widest room between
# the holes, and the zero line is drawn where it is.


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
        holes: of `converter.joints.holes.find_holes`.
        changes: by tube, what its cut adds at end A, mm; None where end A is not cut to fit.
        paper_thickness: thickness of the paper, mm.
        round_to: the lower edge lies at a multiple of this from end A as cut, mm; where the straight begins if that
            comes first.
    """
    return [_unrolled(group, changes.get(group[0].tube), paper_thickness, round_to) for group in grouped(holes)]


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
