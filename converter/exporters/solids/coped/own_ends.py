"""A tube's metal in parts, where an end of it is cut to the tube itself: a loop that closes onto its own leg.

What cuts such an end would take the metal of the leg with it. So the metal at the end is cut by itself, and is joined
with the rest of the tube then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot

from converter.errors import GeometryError
from converter.joints.bodies import own_room
from converter.joints.model import Joint
from converter.model.frames import slope, stretch
from converter.model.metal import TubeMetal
from converter.quoting import quoted

#: How far past the cut the metal at an end reaches into the tube, at least, mm.
_MARGIN = 3.0


@dataclass(frozen=True, slots=True)
class MetalPart:
    """Some of a tube's metal, and the ends that are cut of it."""

    metal: TubeMetal
    joints: tuple[Joint, ...]


def _is_own(joint: Joint) -> bool:
    """Whether an end is cut to its own tube."""
    return joint.tube in joint.mates


def metal_parts(metal: TubeMetal, joints: Sequence[Joint], more: dict[str, float]) -> list[MetalPart]:
    """The metal of a tube in one part; or that at each end which is cut to the tube itself, and the rest first.

    Args:
        metal: of the tube, its ends run on.
        joints: its ends that are cut; more: how far each of them is run on, mm.

    Raises:
        GeometryError: a cut reaches so far that nothing is left between the ends, or into a sharp corner.
    """
    own = [joint for joint in joints if _is_own(joint)]
    if not own:
        return [MetalPart(metal, tuple(joints))]
    length = _length(metal)
    low, high, ends = 0.0, length, []
    for joint in own:
        reach = _reach(metal, joint, more[joint.end])
        if joint.end == "A":
            low, part = reach, stretch(metal.pieces, 0.0, reach)
        else:
            high, part = length - reach, stretch(metal.pieces, length - reach, length)
        ends.append(MetalPart(replace(metal, pieces=part), (joint,)))
    rest = tuple(joint for joint in joints if not _is_own(joint))
    if high - low <= _MARGIN:
        raise _too_short(own[0])
    return [MetalPart(replace(metal, pieces=stretch(metal.pieces, low, high)), rest), *ends]


def met_by_end(rest: MetalPart, end: MetalPart, more: float) -> MetalPart:
    """The rest of a tube as an end that is cut to the tube itself meets it: without what is next to the end's part.

    Args:
        rest, end: of `metal_parts`.
        more: how far the end is run on, mm.
    """
    (joint,) = end.joints
    half, pieces = joint.section.outer.half_diagonal, rest.metal.pieces
    off = max(own_room(half, joint.straight) - (_length(end.metal) - more), half)
    begin, stop = (off, _length(rest.metal)) if joint.end == "A" else (0.0, _length(rest.metal) - off)
    return MetalPart(replace(rest.metal, pieces=stretch(pieces, begin, stop)), rest.joints)


def _length(metal: TubeMetal) -> float:
    return sum(piece.length for piece in metal.pieces)


def _reach(metal: TubeMetal, joint: Joint, more: float) -> float:
    """How much of a tube's end is cut by itself, mm: what the cut reaches; of a straight after a bend all of it."""
    least = more + max(max(od, bore) for _, od, bore in joint.profile) + _MARGIN
    pieces = metal.pieces if joint.end == "A" else metal.pieces[::-1]
    at_end, before = pieces[0], pieces[1] if len(pieces) > 1 else None
    corner = at_end.corner if joint.end == "A" or before is None else before.corner
    mitre = hypot(*slope(corner)) * joint.section.outer.half_diagonal
    if corner is not None and at_end.length - least <= mitre:
        raise _too_short(joint)
    return at_end.length if corner is None and at_end.arc is None and at_end.length >= least else least


def _too_short(joint: Joint) -> GeometryError:
    return GeometryError(
        f"Tube {quoted(joint.tube)}: its end {joint.end} is cut to the tube itself, and the cut takes more than the "
        "straight there has, so no solid with cut ends can be made: write it with its ends square (`--to step`), or "
        "draw that end as a tube of its own.",
        code="cut-unsound",
        where=joint.tube,
    )
