"""Ends that are cut to fit, as a picture needs them: how far back the metal stops at each angle of the section."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import atan2, pi
from typing import TYPE_CHECKING

from converter.arrays import Array
from converter.geometry.vectors import Vec, distance, dot
from converter.joints.model import MITRE, PLANE, SQUARE
from converter.model.frames import Piece, Station

if TYPE_CHECKING:
    from converter.joints.model import Joint
    from converter.model.run import Tube

#: An end of a joint lies where the centerline ends, to this, mm.
_SAME_PLACE = 1e-3


@dataclass(frozen=True)
class EndProfile:
    """One cut end. Angles from ``up`` towards ``across`` of the section, radians, rising over one turn.

    Attributes:
        angles: (n,)
        outer, bore: (n,) from the centerline's end back along it to where the metal stops, mm; negative beyond it.
    """

    angles: Array
    outer: Array
    bore: Array

    def at(self, angle: Array, *, bore: bool = False) -> Array:
        """How far back the metal stops at angles."""
        import numpy as np

        angles, outer, inner = self._run_on
        return np.asarray(np.interp(angle % (2.0 * pi), angles, inner if bore else outer))

    @cached_property
    def _run_on(self) -> tuple[Array, Array, Array]:
        """Angles, outer and bore with one more row at either side: once around and the gap between first and last."""
        import numpy as np

        def run_on(row: Array, turn: float) -> Array:
            return np.concatenate((row[-1:] - turn, row, row[:1] + turn))

        return run_on(self.angles, 2.0 * pi), run_on(self.outer, 0.0), run_on(self.bore, 0.0)

    @property
    def beyond(self) -> float:
        """How far the metal reaches past the centerline's end, at most, mm."""
        return max(0.0, -float(self.outer.min()), -float(self.bore.min()))


def end_profiles(
    tube: Tube, found: Sequence[Piece], joints: Sequence[Joint]
) -> tuple[EndProfile | None, EndProfile | None]:
    """The cuts at both ends of a round tube; None where an end is square, or its cut leaves the last straight.

    Args:
        tube: with its section.
        found: its pieces.
        joints: of its ends; those of other tubes do not count.
    """
    if tube.section is None or tube.section.cylinder is None or not found:
        return None, None
    cuts = []
    for end, piece, station in (("A", found[0], found[0].start), ("B", found[-1], found[-1].end)):
        mine = [joint for joint in joints if joint.tube == tube.name and joint.end == end]
        near = len(mine) == 1 and distance(mine[0].end_point, station.point) < _SAME_PLACE
        cuts.append(_cut(mine[0], station) if near and piece.arc is None else None)
    first, last = cuts
    for cut, piece in ((first, found[0]), (last, found[-1])):
        if cut is not None and float(max(cut.outer.max(), cut.bore.max())) >= piece.length:
            return None, None
    if len(found) == 1 and first is not None and last is not None:
        short = float(first.outer.max() + last.outer.max()) >= found[0].length
        return (None, None) if short else (first, last)
    return first, last


def _cut(joint: Joint, station: Station) -> EndProfile:
    import numpy as np

    phi, outer, bore = (np.array(column) for column in zip(*joint.profile, strict=True))
    turn = _angle(joint.zero_direction, station)
    sense = 1.0 if dot(joint.direction, station.direction) > 0.0 else -1.0
    angles = (turn + sense * np.radians(phi)) % (2.0 * pi)
    order = np.argsort(angles, kind="stable")
    kept = order[np.concatenate([[True], np.diff(angles[order]) > 1e-12])]
    return EndProfile(angles[kept], outer[kept], bore[kept])


def _angle(direction: Vec, station: Station) -> float:
    return atan2(dot(direction, station.across), dot(direction, station.up))


def end_words(joints: Sequence[Joint], tube: Tube) -> dict[str, str]:
    """End -> a word for how it is cut; square ends have none."""
    words = {MITRE: "mitred", PLANE: "cut at an angle", SQUARE: "cut square"}
    return {
        joint.end: "cut square" if joint.is_square else words.get(joint.kind, "coped")
        for joint in joints
        if joint.tube == tube.name
    }
