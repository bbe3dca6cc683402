"""A tube's form: what of it stays the same wherever it stands, as seen from either end and in a mirror.

Places are lengths along the centerline; directions are angles around it, right-hand positive about the way of
travel, from the inside of the bend before (before the first bend: of that bend). A straight tube has no such
inside: its angles count from the height of its section, and of a round one from anywhere. Seen from the other end,
the way of travel turns round; in a mirror, every angle around the tube changes its sign.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from converter.arrays import Array
from converter.errors import GeometryError
from converter.geometry.vectors import Vec, along, any_normal, cross, dot, norm, rotate, scale, signed_angle
from converter.joints.holes import Hole
from converter.joints.model import Joint
from converter.model.bends import BendTable
from converter.model.centerline import walk
from converter.model.frames import pieces
from converter.model.run import Tube


@dataclass(frozen=True, slots=True)
class Look:
    """How a tube is looked at: from end B, in a mirror."""

    turned: bool = False
    mirrored: bool = False


@dataclass(frozen=True, slots=True)
class PlacedStraight:
    """A straight of a tube, of any length: way of travel, insides of the bends before and after it (or None)."""

    direction: Vec
    before: Vec | None
    after: Vec | None


@dataclass(frozen=True, slots=True)
class HoleForm:
    """A hole as looked at: place along the tube (mm), angle around it, and its outline as (n, 2) such pairs."""

    at: float
    angle: float
    outline: Array


@dataclass(frozen=True)
class Form:
    """A tube and what is cut off it.

    Attributes:
        tube: the tube.
        joints: of its ends.
        holes: it needs.
        doubts: of each end, A and B: why it is not known how it is cut, or ''.
    """

    tube: Tube
    joints: Sequence[Joint] = ()
    holes: Sequence[Hole] = ()
    doubts: tuple[str, str] = ("", "")
    _tables: dict[bool, tuple[list[float | None], list[float]]] = field(default_factory=dict, repr=False)

    def lengths(self, look: Look) -> list[float | None]:
        """Feeds, tail, radii (None for none) and developed length, in the order looked at, mm."""
        return self._table(look.turned)[0]

    def angles(self, look: Look) -> list[float]:
        """Angles of the bends, then rotations, in the order looked at, degrees."""
        angles = self._table(look.turned)[1]
        if not look.mirrored:
            return angles
        count = len(self.tube.run.table.bends)
        return [*angles[:count], *(-rotation for rotation in angles[count:])]

    def _table(self, turned: bool) -> tuple[list[float | None], list[float]]:
        if turned not in self._tables:
            table = self.tube.run.table
            order = -1 if turned else 1  # a screw keeps its hand
            radii = [bend.clr for bend in table.bends]
            angles, rotations = [bend.angle for bend in table.bends], [bend.rotation for bend in table.bends[1:]]
            lengths = [*table.straights[::order], *radii[::order], table.developed_length]
            self._tables[turned] = lengths, [*angles[::order], *rotations[::order]]
        return self._tables[turned]

    @cached_property
    def legs(self) -> tuple[PlacedStraight, ...]:
        """Its straights from end A to end B, one more than bends."""
        run = self.tube.run
        bends, place = run.table.bends, run.placement
        if not bends:
            return (PlacedStraight(place.direction, None, None),)
        found, before = [], None
        for number in range(len(bends) + 1):
            at = walk(BendTable(bends[:number], 0.0), place)[1] if number else place
            if number:
                before = cross(at.normal, at.direction)
            after = None
            if number < len(bends):
                after = cross(rotate(at.normal, at.direction, bends[number].rotation), at.direction)
            found.append(PlacedStraight(at.direction, before, after))
        return tuple(found)

    @cached_property
    def up(self) -> Vec | None:
        """The height direction of a section that is not round, at end A; None where it has none or cannot exist."""
        section, run = self.tube.section, self.tube.run
        if section is None or section.cylinder is not None:
            return None
        try:
            return pieces(run.table, run.placement)[0].start.up
        except GeometryError:
            return None

    @property
    def fold(self) -> float | None:
        """The least angle by which its section can be turned and looks the same; None for round, or unknown."""
        section = self.tube.section
        if section is None or section.cylinder is not None:
            return None
        return 90.0 if abs(section.od - section.height) < 1e-9 else 180.0

    def datum(self, leg: int, look: Look) -> Vec:
        """Where angles on a straight count from."""
        one = self.legs[leg]
        first, second = (one.after, one.before) if look.turned else (one.before, one.after)
        found = first or second
        return found if found is not None else self.up or any_normal(one.direction)

    def angle(self, direction: Vec, leg: int, look: Look) -> float:
        """The angle of a direction around a straight, degrees."""
        travel = self.legs[leg].direction
        value = signed_angle(self.datum(leg, look), direction, scale(travel, -1.0) if look.turned else travel)
        return -value if look.mirrored else value

    def section_angle(self, look: Look) -> float:
        """The angle of the section's height on the first straight as looked at, degrees; 0 for round tube."""
        if self.up is None:
            return 0.0
        if not look.turned:
            return self.angle(self.up, 0, look)
        run = self.tube.run
        return self.angle(pieces(run.table, run.placement)[-1].end.up, len(self.legs) - 1, look)

    # --- ends -------------------------------------------------------------------------------

    def doubt(self, second: bool, look: Look) -> str:
        """Why it is not known how the first (or second) end as looked at is cut, or ''."""
        return self.doubts[second != look.turned]

    def is_cut(self, second: bool, look: Look) -> bool:
        """Whether the first (or second) end as looked at is cut to fit."""
        return self._joint(second, look) is not None

    def _joint(self, second: bool, look: Look) -> Joint | None:
        end = "AB"[second != look.turned]
        return next((joint for joint in self.joints if joint.end == end), None)

    def cut(self, second: bool, angles: Array, look: Look) -> Array | None:
        """How far back of the centerline's end the metal stops on the lines at these angles, (2, n): outside, bore.

        Args:
            second: of the end looked at last; else of the first.
            angles: around the straight there, degrees.
            look: how.

        Returns:
            None for an end that is not cut to fit: the metal stops at the centerline's end.
        """
        joint = self._joint(second, look)
        if joint is None:
            return None
        datum = self.datum(0 if joint.end == "A" else len(self.legs) - 1, look)
        # a cut counts about the way out of its end, which is the way of travel at the second end only
        sign = (1.0 if second else -1.0) * (-1.0 if look.mirrored else 1.0)
        return np.array(joint.cut.with_zero(_across(datum, joint.direction)).at(sign * angles))

    def marks(self, look: Look) -> Iterator[float]:
        """Angles at which something about a straight round tube lies: one of them is where it was turned to."""
        axis = self.legs[0].direction
        for joint in self.joints:
            parts = [part for mate in joint.base.mates for part in mate]
            ways = [getattr(part, "axis", None) or getattr(part, "normal", None) for part in parts]
            for way in (joint.mate_axis, *ways):
                side = None if way is None else along(way, axis, -dot(way, axis))
                if side is not None and norm(side) > 1e-6:
                    angle = self.angle(side, 0, look)
                    yield from (angle, angle + 180.0)
        yield from (hole.angle for hole in self.holes_seen(look))

    # --- holes ------------------------------------------------------------------------------

    def holes_seen(self, look: Look) -> list[HoleForm]:
        """Its holes as looked at."""
        length, sign = self.tube.run.table.developed_length, -1.0 if look.turned != look.mirrored else 1.0
        found = []
        for hole in self.holes:
            zero = self.angle(hole.zero_direction, self._leg_at(hole), look)
            clocks, places = hole.fine
            at = length - hole.from_a if look.turned else hole.from_a
            along_it = length - places if look.turned else places
            outline = np.column_stack((zero + sign * clocks, along_it))
            found.append(HoleForm(at, zero + sign * hole.clock, outline))
        return found

    def _leg_at(self, hole: Hole) -> int:
        """Which straight a hole is in."""
        place, begin = sum(hole.straight) / 2.0, 0.0
        for number, bend in enumerate(self.tube.run.table.bends):
            if place <= begin + bend.feed:
                return number
            begin += bend.feed + bend.arc_length
        return len(self.legs) - 1


def _across(direction: Vec, axis: Vec) -> Vec:
    """The part of a direction square to an axis, as a unit vector."""
    side = along(direction, axis, -dot(direction, axis))
    return scale(side, 1.0 / norm(side))
