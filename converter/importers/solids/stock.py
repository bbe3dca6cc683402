"""What is round, and yet no stock of a tube bender: screws, studs, pins, bosses, connector, valve and pump bodies.

The rules are this shop's own, common practice without a source: a screw has a hexagon or a countersunk head on its
axis, a thread winds around it; a pin is solid and short, a bush short and thick; a boss is a small part of its body;
a connector's bore steps. A run with a bend is none of these, and a short piece of thin tube is tube.
"""

from __future__ import annotations

from collections.abc import Callable
from math import pi, radians

import numpy as np

from converter.arrays import Array
from converter.findings import Clause
from converter.geometry.vectors import cross, dot, norm, sub
from converter.importers.solids.chains import PieceChain
from converter.importers.solids.faces import CONE, PLANE, SPHERE, TORUS, Patch, SolidBody
from converter.importers.solids.pieces import FacePieces, TubePiece

#: Solid bar is stock from this many diameters on; with both ends chamfered or rounded, as pins have, from so many.
BAR_LENGTH, PIN_LENGTH = 5.0, 12.0
#: A wall of this part of the diameter and more, shorter than so many diameters, is a bush.
BUSH_WALL, BUSH_LENGTH = 0.2, 1.5
#: What is less than this part of its body's metal, and shorter than so many diameters (solid: so many), is a boss.
BOSS_PART, BOSS_LENGTH, BOSS_LENGTH_SOLID = 0.3, 4.0, 15.0
#: A bore steps where another one this much narrower or wider runs along this part of the tube; tube is longer than so.
_BORE_STEP, _BORE_PART, _BORE_LENGTH = 0.08, 0.15, 10.0
#: A cone that widens beyond the outside by this part is a head or seat, no chamfer.
_HEAD = 1.15
#: Parts of a turn that an edge must go around to be a thread's; a half ellipse of a slanted cut goes half around.
_TURN, _HALF_TURN = 0.8, 0.4
#: So many half turns, or cones one behind the other, are a thread or ribs too.
_HALVES, _RIBS = 6, 6


def without_hardware(
    chains: list[PieceChain], found: FacePieces, body: SolidBody, in_frame: bool, volume: Callable[[], float]
) -> tuple[list[PieceChain], list[Clause]]:
    """Chains that are stock, and why the others are not.

    Args:
        chains: outsides of a solid that may be tube or bar by their faces, bores told.
        found, body: its pieces and faces.
        in_frame: whether square tube was found in the same body.
        volume: gives the solid's volume in mm3, asked only where it matters.
    """
    kept, refused = [], []
    # beside a long or bent one, short ones are rungs and stubs of the same frame
    frame = in_frame or any(_is_long(chain) for chain in chains)
    for chain in chains:
        why = None
        if len(chain.items) == 1 and not chain.closed and not chain.items[0][0].axis.is_ring:
            why = _by_faces(chain, chains, found, body) or _by_length(chain, body, frame)
            if why is None and not frame:
                why = _as_boss(chain, chains, volume)
        if why is None:
            kept.append(chain)
        else:
            refused.append(why)
    return kept, refused


def _is_long(chain: PieceChain) -> bool:
    if len(chain.items) > 1 or chain.closed:
        return True
    return chain.length >= (BOSS_LENGTH_SOLID if _is_full(chain) else BOSS_LENGTH) * 2.0 * chain.radius


def _is_full(chain: PieceChain) -> bool:
    return all(piece.bore is None for piece in chain.pieces)


def _wall(chain: PieceChain) -> float:
    bores = [piece.bore.radius for piece in chain.pieces if piece.bore is not None]
    return float(chain.radius - min(bores)) if bores else float(chain.radius)


def _area(chain: PieceChain) -> float:
    inner = chain.radius - _wall(chain)
    return pi * (chain.radius**2 - inner**2)


# --- by faces on the axis -------------------------------------------------------------------


def _by_faces(chain: PieceChain, chains: list[PieceChain], found: FacePieces, body: SolidBody) -> Clause | None:
    piece = chain.items[0][0]
    across = _hexagon(piece, body)
    if across is not None:
        return Clause.of("solid-stock-hexagon", across=across)
    if _has_thread(piece, body):
        return Clause.of("solid-stock-thread")
    widest = _cone(piece, body)
    if widest is not None:
        return Clause.of("solid-stock-cone", od=2.0 * float(piece.radius), wide=2.0 * widest)
    step = _bore_step(chain, chains, found)
    if step is not None:
        return Clause.of("solid-stock-bore", small=2.0 * step[0], large=2.0 * step[1])
    return None


def _hexagon(piece: TubePiece, body: SolidBody) -> float | None:
    """Size across flats of six faces evenly around the axis, outside or as a socket; None when there are none."""
    axis = piece.axis
    groups: dict[int, tuple[float, set[int]]] = {}
    for patch in body.patches:
        n = patch.shape.axis
        if patch.shape.kind != PLANE or abs(dot(n, axis.direction)) > 1e-6:
            continue
        away = dot(sub(patch.shape.point, axis.point), n)
        if abs(away) < 0.1 * piece.radius or abs(away) > 4.0 * piece.radius:
            continue
        turn = np.arctan2(dot(n, axis.y), dot(n, axis.x)) + (pi if away < 0.0 else 0.0)
        for key, (size, turns) in groups.items():
            first = key / 1e6
            beside = (turn - first) % (pi / 3.0)
            if abs(abs(away) - size) <= 1e-3 * size and min(beside, pi / 3.0 - beside) < radians(0.5):
                turns.add(round((turn - first) / (pi / 3.0)) % 6)
                break
        else:
            groups[int(turn * 1e6)] = (abs(away), {0})
    sizes = [size for size, turns in groups.values() if len(turns) >= 5]
    return 2.0 * float(max(sizes)) if sizes else None


def _is_coaxial(piece: TubePiece, patch: Patch) -> bool:
    arm = sub(patch.shape.point, piece.axis.point)
    off = norm(cross(arm, piece.axis.direction))
    return off <= 0.02 * piece.radius and norm(cross(patch.shape.axis, piece.axis.direction)) < 1e-3


def _has_thread(piece: TubePiece, body: SolidBody) -> bool:
    """Whether edges wind around the axis and go along it, or cones follow each other as ribs do."""
    halves = 0
    for rim in body.rims:
        if rim.straight or len(rim.points) < 5:
            continue
        rho, z, turns = _around(piece, rim.points)
        steps = np.diff(z)
        winds = bool((steps > 0.0).all() or (steps < 0.0).all())
        # circles that a writer fitted go along by rounding only
        winds &= float(np.ptp(z)) > 1e-3 * piece.radius
        if not winds or float(np.ptp(rho)) > 0.25 * piece.radius or not 0.5 < float(rho.mean()) / piece.radius < 1.5:
            continue
        if turns >= _TURN:
            return True
        halves += turns >= _HALF_TURN and float(np.ptp(z)) < piece.radius
    cones = [p for p in body.patches if p.shape.kind == CONE and _is_coaxial(piece, p)]
    return halves >= _HALVES or len(cones) >= _RIBS


def _around(piece: TubePiece, points: Array) -> tuple[Array, Array, float]:
    """Distance from an axis and place along it of points, and how much of a turn they go around, at least."""
    axis = piece.axis
    arm = points - np.array(axis.point)
    x, y = arm @ np.array(axis.x), arm @ np.array(axis.y)
    angles = np.sort(np.arctan2(y, x))
    gaps = np.diff(np.append(angles, angles[0] + 2.0 * pi))
    return np.hypot(x, y), arm @ np.array(axis.direction), float(1.0 - gaps.max() / (2.0 * pi))


def _cone(piece: TubePiece, body: SolidBody) -> float | None:
    """Greatest radius of a cone on the axis that widens beyond the outside: a countersunk head, a seat, a nozzle.

    One on a flat face that reaches further is the weld bead to a plate.
    """
    found = []
    for patch in body.patches:
        if patch.shape.kind == CONE and patch.sign == piece.sign and _is_coaxial(piece, patch):
            wide = _farthest(piece, body, patch)
            beside = {k for number, _ in patch.rims for k in body.rims[number].faces}
            flat = [body.patches[k] for k in beside if body.patches[k].shape.kind == PLANE]
            if all(_farthest(piece, body, one) <= _HEAD * wide for one in flat):
                found.append(wide)
    widest = max(found, default=0.0)
    return widest if widest > _HEAD * piece.radius else None


def _farthest(piece: TubePiece, body: SolidBody, patch: Patch) -> float:
    """How far the edges of a face lie from the axis, mm, at most."""
    points = [body.rims[k].points for k, _ in patch.rims if len(body.rims[k].points)]
    return float(_around(piece, np.concatenate(points))[0].max()) if points else 0.0


def _bore_step(chain: PieceChain, chains: list[PieceChain], found: FacePieces) -> tuple[float, float] | None:
    """Two bores of a short piece that differ, as connectors and glands have; the bore of a tube within it is none."""
    piece = chain.items[0][0]
    others = {id(one.bore) for each in chains if each is not chain for one in each.pieces if one.bore is not None}
    if chain.length >= _BORE_LENGTH * 2.0 * chain.radius:
        return None
    radii = [
        other.radius
        for other in found.pieces
        if other.axis.number == piece.axis.number
        and other.is_round
        and other.sign != piece.sign
        and id(other) not in others
        and other.radius < piece.radius
        and min(other.hi, piece.hi) - max(other.lo, piece.lo) >= _BORE_PART * piece.length
    ]
    if not radii or max(radii) - min(radii) <= _BORE_STEP * max(radii):
        return None
    return float(min(radii)), float(max(radii))


# --- by length ------------------------------------------------------------------------------


def _by_length(chain: PieceChain, body: SolidBody, frame: bool) -> Clause | None:
    od, length, wall = 2.0 * float(chain.radius), float(chain.length), _wall(chain)
    if frame:
        return None
    if _is_full(chain):
        if length < BAR_LENGTH * od:
            return Clause.of("solid-stock-pin", length=length, od=od, least=BAR_LENGTH * od)
        if length < PIN_LENGTH * od and _dressed_ends(chain.items[0][0], body) == 2:
            return Clause.of("solid-stock-dowel", length=length, od=od, least=PIN_LENGTH * od)
        return None
    if wall >= BUSH_WALL * od and length < BUSH_LENGTH * od:
        return Clause.of("solid-stock-bush", length=length, od=od, wall=wall)
    return None


def _dressed_ends(piece: TubePiece, body: SolidBody) -> int:
    """How many of a bar's ends are chamfered, rounded or domed."""
    middle = (piece.lo + piece.hi) / 2.0
    sides = set()
    for patch in body.patches:
        if patch.shape.kind == SPHERE:
            on = norm(cross(sub(patch.shape.point, piece.axis.point), piece.axis.direction)) <= 0.02 * piece.radius
        else:
            on = patch.shape.kind in (CONE, TORUS) and _is_coaxial(piece, patch)
        if on:
            points = [body.rims[k].points for k, _ in patch.rims if len(body.rims[k].points)]
            if points:
                sides.add(float(piece.axis.places(np.concatenate(points)).mean()) > middle)
    return len(sides)


def _as_boss(chain: PieceChain, chains: list[PieceChain], volume: Callable[[], float]) -> Clause | None:
    """A short piece of a body that is mostly something else."""
    od, length = 2.0 * float(chain.radius), float(chain.length)
    if length >= (BOSS_LENGTH_SOLID if _is_full(chain) else BOSS_LENGTH) * od:
        return None
    part = sum(_area(one) * one.length for one in chains) / max(volume(), 1e-9)
    if part >= BOSS_PART:
        return None
    return Clause.of("solid-stock-boss", length=length, od=od, percent=100.0 * part)
