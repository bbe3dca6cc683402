"""Why something is no tube: clauses whose words stand in the catalogue."""

from __future__ import annotations

from collections import Counter
from math import degrees, tan, tau

from converter.findings import Clause
from converter.importers.solids.chains import PieceChain
from converter.importers.solids.faces import CONE, CYLINDER, OTHER, PLANE, SPHERE, TORUS, SolidBody
from converter.importers.solids.fittings import turned_step
from converter.kernel.triangles import FACETS, MOSTLY
from converter.tolerances import Tolerances

#: A lone straight shorter than this part of its diameter is a disc or a ring.
STUB = 0.5
#: In a body with other things in it, a straight must be this many diameters long to be a tube.
STUB_AMONG_OTHERS = 1.5
#: A slit of more than this part of the way around makes an open profile of a tube.
_OPEN = 0.1
#: A body that goes around by half, give or take so much of a turn, is a half of something split along it.
_HALF = 0.05


def why_not(chain: PieceChain, chains: list[PieceChain], body: SolidBody, tol: Tolerances) -> Clause | None:
    """Why a chain of outside pieces is not a tube; None when it is one."""
    od, length = 2.0 * float(chain.radius), float(chain.length)
    stepped = turned_step(chain, chains, tol)
    if stepped is not None:
        return Clause.of("solid-stepped", small=stepped[0], large=stepped[1])
    if len(chain.items) > 1 or chain.closed:
        return None
    if length < STUB * od:
        return Clause.of("solid-disc", length=length, od=od)
    if length < STUB_AMONG_OTHERS * od and _among_others(chain, body):
        return Clause.of("solid-boss", length=length, od=od)
    return None


def why_open(chain: PieceChain) -> Clause | None:
    """Why a chain of a solid is no closed tube: a strip is missing along it, of bore and outside."""
    main = max(chain.pieces, key=lambda piece: piece.length)
    gap = tau - max(main.turn, main.bore.turn if main.bore is not None else 0.0)
    if gap <= _OPEN * tau:
        return None
    return Clause.of("solid-open-round", od=2.0 * float(chain.radius), gap=degrees(gap))


def _among_others(chain: PieceChain, body: SolidBody) -> bool:
    """Whether the body has faces that neither are the tube's nor touch it."""
    mine = {p.index for piece in chain.pieces for p in piece.patches}
    mine |= {p.index for piece in chain.pieces if piece.bore for p in piece.bore.patches}
    touching = {k for i in mine for rim, _ in body.patches[i].rims for k in body.rims[rim].faces}
    return len(touching | mine) < len(body.patches)


def why_none(body: SolidBody, refused: list[Clause]) -> Clause:
    """Why a body holds no tube at all."""
    if not body.patches:
        return Clause.of("solid-without-faces")
    if refused:
        return Counter(refused).most_common(1)[0][0]
    kinds = Counter(patch.shape.kind for patch in body.patches)
    count = len(body.patches)
    if kinds[SPHERE] and kinds[SPHERE] + kinds[PLANE] == count:
        return Clause.of("solid-sphere")
    if kinds[PLANE] == count:
        if is_faceted(body):
            return Clause.of("solid-faceted", faces=count)
        return Clause.of("solid-all-flat", faces=count) if count > 1 else Clause.of("solid-one-flat-face")
    cone = next((p for p in body.patches if p.shape.kind == CONE), None)
    if cone is not None and not kinds[CYLINDER] and not kinds[TORUS] and not kinds[OTHER]:
        return _cone(body)
    if kinds[OTHER] and kinds[OTHER] >= (count - kinds[PLANE]) / 2.0:
        return Clause.of("solid-free-form", odd=kinds[OTHER], faces=count)
    half = _half(body)
    if half is not None:
        return Clause.of("solid-half", od=half)
    if kinds[PLANE]:
        return Clause.of("solid-flat-with-cylinders")
    return Clause.of("solid-nothing-round", faces=count)


def is_faceted(body: SolidBody) -> bool:
    """Whether a body is a mesh that a program made a solid of: many flat faces, nearly all of them triangles."""
    triangles = sum(patch.shape.kind == PLANE and len(patch.rims) == 3 for patch in body.patches)
    return len(body.patches) >= FACETS and triangles >= MOSTLY * len(body.patches)


def _half(body: SolidBody) -> float | None:
    """Diameter (mm) of a tube or bar that a body is half of, split along it; None where it is none.

    It goes half around for longer than two diameters; the rounded end of a plate is no longer than that is thick.
    """
    spans: dict[tuple[object, ...], list[float]] = {}
    for patch in body.patches:
        shape = patch.shape
        if patch.sign > 0 and shape.kind in (CYLINDER, TORUS):
            around, ahead = (patch.u, patch.v) if shape.kind == CYLINDER else (patch.v, patch.u)
            length = (ahead[1] - ahead[0]) * (1.0 if shape.kind == CYLINDER else shape.major)
            # a half may be two quarters
            one = (shape.kind, round(shape.radius, 6), *(round(v, 4) for v in shape.point), round(abs(length), 4))
            span = spans.setdefault(one, [0.0, abs(length), 2.0 * float(shape.radius)])
            span[0] += (around[1] - around[0]) / tau
    found = (od for turn, length, od in spans.values() if abs(turn - 0.5) <= _HALF and length > 2.0 * od)
    return next(found, None)


def _cone(body: SolidBody) -> Clause:
    widest = max(
        (p for p in body.patches if p.shape.kind == CONE),
        key=lambda p: p.shape.radius,
    )
    k = tan(widest.shape.slope)
    radii = sorted(abs(widest.shape.radius + k * z) for z in widest.v)
    return Clause.of("solid-cone", small=2.0 * float(radii[0]), large=2.0 * float(radii[1]))
