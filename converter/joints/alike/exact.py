"""Whether a tube is another one moved or mirrored, to the last digit that a drawing has: one solid serves for both.

Parts are equal within what a shop can tell (`same`); here metal and cuts must agree within `EXACT` after a rigid
motion, or in a mirror after one, drawn from the same end.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec, along, cross, dot, rotate, unit
from converter.joints.alike.form import Form, Look
from converter.joints.alike.same import rolls
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.square import RectPrism
from converter.joints.holes import Hole
from converter.model.bends import Placement
from converter.model.frames import Piece
from converter.model.metal import TubeMetal
from converter.tolerances import DEFAULT

#: mm within which two places are the same.
EXACT = DEFAULT.equal
#: Angles at which cut ends are compared: not where corners of sections and ends of cuts usually lie.
_AROUND: Array = np.arange(0.0, 360.0, 0.5) + 0.113
_AS_IS, _MIRRORED = Look(), Look(mirrored=True)


@dataclass(frozen=True)
class ExactForm:
    """A tube with a section, what is cut off it, and its metal.

    Attributes:
        form: the tube and its cuts.
        metal: the same tube through `converter.model.metal.metal`.
    """

    form: Form
    metal: TubeMetal

    @cached_property
    def place(self) -> Placement:
        """Where its own frame stands: its placement, to the last bit square."""
        place = self.form.tube.run.placement
        direction = unit(place.direction)
        return Placement(place.start, direction, unit(along(place.normal, direction, -dot(place.normal, direction))))

    @cached_property
    def _numbers(self) -> Array:
        """What says how its pieces hang together, before their places are looked at."""
        section = self.form.tube.section
        sizes = () if section is None else section.sizes[1:]
        metal = self.metal
        lengths = (piece.length for piece in metal.pieces)
        return np.array([*sizes, float(metal.closed), metal.gap, metal.twist, *lengths])

    @cached_property
    def _points(self) -> Array:
        """Places that hold its metal fast, (n, 3): along the centerline, and beside it as far as the section goes."""
        return np.array([point for piece in self.metal.pieces for point in _points_of(piece, self._far)])

    @cached_property
    def _opposite(self) -> Array:
        """The same, with the places beside the centerline on the other side of it."""
        return np.array([point for piece in self.metal.pieces for point in _points_of(piece, -self._far)])

    @property
    def _far(self) -> float:
        section = self.form.tube.section
        return 0.0 if section is None else section.greater

    def copy_at(self, other: ExactForm) -> Placement | None:
        """Where this tube's own frame comes to stand when it is moved onto another tube, or None where that is no copy.

        Metal, cut ends and holes then agree within `EXACT`.
        """
        sections = self.form.tube.section, other.form.tube.section
        if len({None if section is None else section.shape for section in sections}) > 1:
            return None
        here, there = self._numbers, other._numbers
        if here.shape != there.shape or not bool(np.all(np.abs(here - there) <= EXACT)):
            return None
        if self._points.shape != other._points.shape:
            return None
        if np.abs(_moved(self._points, self.place, other.place) - other._points).max() > EXACT:
            return None
        one, two = self.form, other.form
        if len(one.holes) != len(two.holes) or {j.end for j in one.joints} != {j.end for j in two.joints}:
            return None
        if not one.joints and not one.holes:
            return other.place
        for roll in rolls(one, two, _AS_IS):
            place = self._rolled(other, roll)
            if all(self._same_end(other, second, roll) for second in (False, True)) and self._same_holes(other, place):
                return place
        return None

    def mirrored_at(self, other: ExactForm) -> Placement | None:
        """Where this tube's own frame comes to stand, seen in a mirror, so that it is another tube; else None.

        The mirror is the plane of the frame's direction and normal: what lies to one side of it comes to lie as far to
        the other, and then moves with the frame. A tube with holes, or closed to a ring, is not looked at.
        """
        one, two = self.form, other.form
        sections = one.tube.section, two.tube.section
        if len({None if section is None else section.shape for section in sections}) > 1 or one.holes or two.holes:
            return None
        here, there = self._numbers, other._numbers
        if here.shape != there.shape or self.metal.closed or self.metal.twist or other.metal.twist:
            return None
        if not bool(np.all(np.abs(here - there) <= EXACT)) or {j.end for j in one.joints} != {
            j.end for j in two.joints
        }:
            return None
        for roll in rolls(one, two, _MIRRORED):
            place = self._mirrored(other, roll)
            seen = _moved(_through_mirror(self._points, self.place), self.place, place)
            if seen.shape != other._points.shape:
                return None
            # a height or a width is the same to either side
            off = np.minimum(np.abs(seen - other._points).max(axis=1), np.abs(seen - other._opposite).max(axis=1))
            if off.max() <= EXACT and all(self._same_end(other, end, roll, _MIRRORED) for end in (False, True)):
                return place
        return None

    def _mirrored(self, other: ExactForm, roll: float) -> Placement:
        """Where its frame comes to stand as seen in a mirror, as `_rolled` has it for one that is moved."""
        start, direction, normal = other.place.start, other.place.direction, other.place.normal
        if len(self.form.legs) > 1:
            # in the plane of the first bend nothing is mirrored, but what lies above it comes below
            return Placement(start, direction, (-normal[0], -normal[1], -normal[2]))
        angle = roll - self.form.angle(self.place.normal, 0, _AS_IS)
        return Placement(start, direction, rotate(other.form.datum(0, _AS_IS), direction, angle))

    def _rolled(self, other: ExactForm, roll: float) -> Placement:
        """Where its frame comes to stand when angles around the other tube are less by ``roll`` (degrees)."""
        if len(self.form.legs) > 1:
            return other.place  # a bend says it
        angle = self.form.angle(self.place.normal, 0, _AS_IS) - roll
        start, direction = other.place.start, other.place.direction
        return Placement(start, direction, rotate(other.form.datum(0, _AS_IS), direction, angle))

    def _same_end(self, other: ExactForm, second: bool, roll: float, look: Look = _AS_IS) -> bool:
        here = self.form.cut(second, _AROUND, _AS_IS)
        there = other.form.cut(second, _AROUND - roll, look)
        if here is None or there is None:
            return here is there
        return bool(np.all(np.abs(here - there) <= EXACT))

    def _same_holes(self, other: ExactForm, place: Placement) -> bool:
        """Whether every hole has its equal once the frame stands at ``place``."""
        left = list(other.form.holes)
        for hole in self.form.holes:
            alike = next((one for one in left if _same_hole(hole, one, self.place, place)), None)
            if alike is None:
                return False
            left.remove(alike)
        return True


def _points_of(piece: Piece, far: float) -> Iterator[Vec]:
    for station in (piece.start, piece.end):
        yield station.point
        yield station.at(far, 0.0)
        yield station.at(0.0, far)
    if piece.arc is not None:
        yield piece.arc.center


def _frame(place: Placement) -> Array:
    """Its x, y and z as columns, (3, 3)."""
    return np.column_stack((place.direction, cross(place.normal, place.direction), place.normal))


def _through_mirror(points: Array, place: Placement) -> Array:
    """Points (n, 3) as far to the other side of the plane of a frame's direction and normal."""
    side = np.asarray(cross(place.normal, place.direction))
    result: Array = points - 2.0 * np.multiply.outer((points - np.asarray(place.start)) @ side, side)
    return result


def _moved(points: Array, old: Placement, new: Placement) -> Array:
    """Points (n, 3) that go with a frame from one place to another."""
    result: Array = (points - np.asarray(old.start)) @ _frame(old) @ _frame(new).T + np.asarray(new.start)
    return result


def _same_hole(one: Hole, other: Hole, old: Placement, new: Placement) -> bool:
    """Whether the passing tube of one, moved along, is that of the other, and passes where the other does."""
    here, there = one.passing, other.passing
    reach = one.section.od
    node, point, ahead = _moved(np.array([one.node, here.point, along(here.point, here.axis, reach)]), old, new)
    ways = [(ahead - point, np.asarray(there.axis) * reach)]
    if isinstance(here, RoundPrism) and isinstance(there, RoundPrism):
        sizes = [(here.radius, there.radius)]
    elif isinstance(here, RectPrism) and isinstance(there, RectPrism):
        sizes = [
            (here.half_up, there.half_up), (here.half_across, there.half_across), (here.corner, there.corner),
        ]  # fmt: skip
        up = _moved(np.array([along(here.point, here.up, reach)]), old, new)[0] - point
        ways.append((up, np.asarray(there.up) * reach))
    else:
        return False
    off = point - np.asarray(there.point)
    off = off - (off @ np.asarray(there.axis)) * np.asarray(there.axis)
    return (
        float(np.abs(node - np.asarray(other.node)).max()) <= EXACT
        and float(np.abs(off).max()) <= EXACT
        and all(min(np.abs(a - b).max(), np.abs(a + b).max()) <= EXACT for a, b in ways)
        and all(abs(a - b) <= EXACT for a, b in sizes)
    )
