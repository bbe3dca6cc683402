"""Why something is no tube, in words a person at the desk understands."""

from __future__ import annotations

from collections import Counter
from math import tan

from converter.kernel.tube_chains import SAME_RADIUS, Chain
from converter.kernel.tube_faces import CONE, CYLINDER, OTHER, PLANE, SPHERE, TORUS, Body
from converter.kernel.tube_pieces import Found, Piece
from converter.units import Display

#: A lone straight shorter than this part of its diameter is a disc or a ring.
STUB = 0.5
#: In a body with other things in it, a straight must be this many diameters long to be a tube.
STUB_AMONG_OTHERS = 1.5


def why_not(chain: Chain, outsides: list[Piece], body: Body, found: Found, display: Display) -> str:
    """Why a chain of outside pieces is not a tube; '' when it is one."""
    show = display.length
    od = 2.0 * chain.radius
    stepped = _stepped(chain, outsides)
    if stepped is not None:
        sizes = sorted((od, 2.0 * stepped.radius))
        return f"its diameter steps from {show(sizes[0])} to {show(sizes[1])} on one axis, as turned parts do"
    if len(chain.items) > 1 or chain.closed:
        return ""
    if chain.length < STUB * od:
        return f"a disc or ring: {show(chain.length)} long, {show(od)} across"
    if chain.length < STUB_AMONG_OTHERS * od and _among_others(chain, body, found):
        return f"a boss of {show(od)} across, {show(chain.length)} long, on something else"
    return ""


def _stepped(chain: Chain, outsides: list[Piece]) -> Piece | None:
    """Another outside on the axis of an end of the chain, of another diameter and right beside it."""
    if chain.closed:
        return None
    mine = set(map(id, chain.pieces))
    for piece, back, first in (
        (*chain.items[0], True),
        (*chain.items[-1], False),
    ):
        side = int(back) if first else 1 - int(back)
        if piece.axis.is_ring:
            continue
        end = piece.end(side)
        for other in outsides:
            if id(other) in mine or other.axis.number != piece.axis.number:
                continue
            beside = min(abs(other.lo - end), abs(other.hi - end))
            within = other.lo <= end <= other.hi
            differs = abs(other.radius - piece.radius) > 0.5 * SAME_RADIUS * piece.radius
            if differs and (within or beside <= max(other.radius, piece.radius)):
                return other
    return None


def _among_others(chain: Chain, body: Body, found: Found) -> bool:
    """Whether the body has faces that neither are the tube's nor touch it."""
    mine = {p.index for piece in chain.pieces for p in piece.patches}
    mine |= {p.index for piece in chain.pieces if piece.bore for p in piece.bore.patches}
    touching = {k for i in mine for rim, _ in body.patches[i].rims for k in body.rims[rim].faces}
    return len(touching | mine) < len(body.patches)


def why_none(body: Body, found: Found, refused: list[str], display: Display) -> str:
    """Why a body holds no tube at all."""
    if not body.patches:
        return "it has no faces"
    if refused:
        return Counter(refused).most_common(1)[0][0]
    kinds = Counter(patch.shape.kind for patch in body.patches)
    count = len(body.patches)
    faces = f"{count} face{'s' if count > 1 else ''}"
    if kinds[SPHERE] and kinds[SPHERE] + kinds[PLANE] == count:
        return "a sphere or part of one"
    if kinds[PLANE] == count:
        return f"a plate, block or bracket: all of its {faces} flat" if count > 1 else "a single flat face"
    cone = next((p for p in body.patches if p.shape.kind == CONE), None)
    if cone is not None and not kinds[CYLINDER] and not kinds[TORUS] and not kinds[OTHER]:
        return f"a cone: {_cone(body, display)}"
    if kinds[OTHER] and kinds[OTHER] >= (count - kinds[PLANE]) / 2.0:
        return f"free-form: {kinds[OTHER]} of its {faces} are no cylinder, torus, cone, sphere or plane"
    if kinds[PLANE]:
        return "a plate, block or bracket: flat faces, with cylinders only as holes, rounded corners and bosses"
    return f"none of its {faces} goes round a tube"


def _cone(body: Body, display: Display) -> str:
    widest = max(
        (p for p in body.patches if p.shape.kind == CONE),
        key=lambda p: p.shape.radius,
    )
    k = tan(widest.shape.slope)
    radii = sorted(abs(widest.shape.radius + k * z) for z in widest.v)
    return f"it tapers from {display.length(2.0 * radii[0])} to {display.length(2.0 * radii[1])} across"
