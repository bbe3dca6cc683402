"""Ends of a cutting list that a saw cuts at a slant, and which of them one cut can serve: back to back on the bar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, radians, tan

from converter.bending.setup.setup import Setup
from converter.geometry.vectors import dot
from converter.joints.model import Joint
from converter.tolerances import PAST_ANGLE, same_within

#: Degrees; cuts whose angles differ by no more are one: 0.04 mm across 50 mm tube, below what a saw is set to.
_SAME_ANGLE = same_within(0.05)
#: mm; widths that differ by no more are one: below what tube is made to.
_SAME_WIDTH = same_within(0.01)
#: Cosine, to one, of how far a cut may lean off the middle of a flat for a saw that only turns (0.5 degrees).
_ON_FLAT = 4e-5


@dataclass(frozen=True, slots=True)
class Slant:
    """An end that a saw cuts at a slant.

    Attributes:
        angle: from square, degrees.
        width: of the tube along the slant, mm: from long point to short point, seen along the tube.
    """

    angle: float
    width: float


@dataclass(frozen=True, slots=True)
class SharedCut:
    """A kind of cut that ends a piece and begins the next one.

    Attributes:
        angle: from square, degrees.
        saving: of bar, as against a square cut between the two long points, mm.
    """

    angle: float
    saving: float


def slants(setup: Setup, joints: Mapping[tuple[str, str], Joint]) -> tuple[Slant | None, Slant | None]:
    """The slanted ends A and B of a stick; None for one that is cut square, bent first, or no cut of a saw that turns.

    Of a tube with flats only a cut that leans over a flat is one: any other needs the blade tilted, too.

    Args:
        setup: of the tube.
        joints: by tube and end.
    """

    def slant(end: str) -> Slant | None:
        joint, angle = joints.get((setup.tube.name, end)), setup.cuts.saw_angle(end)
        if joint is None or joint.long_side is None or angle is None:
            return None
        if setup.tube.run.table.bends or setup.extra(end) > 0.0:
            return None
        outline, up = joint.section.outer, joint.base.branch.up
        if outline.radius is not None:
            return Slant(angle, 2.0 * outline.radius)
        lean = abs(dot(joint.long_side, up)) if up is not None else 0.5
        if lean >= 1.0 - _ON_FLAT:
            return Slant(angle, outline.height)
        # the sine of so small an angle, as the cosine above
        return Slant(angle, outline.width) if 1.0 - lean * lean >= (1.0 - _ON_FLAT) ** 2 else None

    return slant("A"), slant("B")


def shared_cuts(
    ends: Sequence[tuple[Slant | None, Slant | None]], kerf: float, most: float
) -> tuple[list[SharedCut], list[tuple[int, int]]]:
    """The kinds of cut that two ends can share, and which kind each end is; kinds count from 1, 0 is for none.

    Two ends that share a cut at an angle a save w tan a of the bar, w being the width of the tube along the slant; the
    blade takes kerf / cos a along the bar, where a square cut takes the kerf.

    Args:
        ends: of each piece; all of one section.
        kerf: of the saw, mm.
        most: degrees that the saw turns from square.
    """
    seen = sorted({(one.width, one.angle) for pair in ends for one in pair if one and one.angle <= most + PAST_ANGLE})
    kinds: list[list[tuple[float, float]]] = []
    for width, angle in seen:
        near = (
            kind for kind in kinds if width - kind[0][0] <= _SAME_WIDTH and 0.0 <= angle - kind[0][1] <= _SAME_ANGLE
        )
        kind = next(near, None)
        if kind is None:
            kinds.append([(width, angle)])
        else:
            kind.append((width, angle))
    cuts: list[SharedCut] = []
    number: dict[tuple[float, float], int] = {}
    for kind in kinds:
        least, greatest = min(angle for _, angle in kind), max(angle for _, angle in kind)
        saving = kind[0][0] * tan(radians(least)) + kerf - kerf / cos(radians(greatest))
        if saving > 0.0:
            cuts.append(SharedCut((least + greatest) / 2.0, saving))
            number |= dict.fromkeys(kind, len(cuts))
    return cuts, [(_kind(number, one), _kind(number, other)) for one, other in ends]


def _kind(number: Mapping[tuple[float, float], int], end: Slant | None) -> int:
    return 0 if end is None else number.get((end.width, end.angle), 0)
