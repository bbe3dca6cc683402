"""How the saw cuts at the two ends of a straight tube lie to each other, and how long its short side is."""

from __future__ import annotations

from collections.abc import Iterable

from converter.geometry.vectors import signed_angle, within_half_turn
from converter.joints.model import Joint
from converter.model.run import Tube

#: Degrees; long points no further apart lie on one side.
ONE_SIDE = 0.5


def saw_sides(tube: Tube, joints: Iterable[Joint]) -> tuple[float | None, float | None]:
    """(length from short point to short point, angle from the long point of end A to that of end B) of a straight tube.

    Args:
        tube: the tube.
        joints: of its ends; an end without one is square at the centerline's end.

    Returns:
        The length in mm, None unless a side of the tube has both short points on it; the angle in degrees,
        right-hand positive about the way from end A to end B, in (-180, 180], None unless both ends are slanted.
        Both None for a bent tube, and where an end is no saw cut.
    """
    ends = {joint.end: joint for joint in joints}
    if tube.run.table.bends or any(joint.plane is None for joint in ends.values()):
        return None, None
    slanted = [joint for end in "AB" if (joint := ends.get(end)) is not None and joint.long_side is not None]
    if not slanted:
        return None, None
    apart = None
    if len(slanted) == 2:
        one, other = slanted[0].long_side, slanted[1].long_side
        assert one is not None and other is not None
        apart = within_half_turn(signed_angle(one, other, slanted[1].direction))
        if abs(apart) > ONE_SIDE:
            return None, apart
    return tube.run.table.developed_length - sum(joint.short_point for joint in ends.values()), apart
