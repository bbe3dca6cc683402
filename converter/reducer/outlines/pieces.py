"""Drawn curves of one plane as pieces: whole straights and arcs, however many entities each was drawn with.

Points are complex numbers in the axes of the plane: x to the right, y up, its normal towards the eye. A *primitive* is
a line or an arc as drawn, parts of polylines too; a *piece* is one or more of them on one carrier, end to end; a *node*
is where ends meet.
"""

from __future__ import annotations

from cmath import exp, phase
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import degrees, radians

import numpy as np

from converter.geometry.clusters import close_pairs, components
from converter.geometry.vectors import Vec, cross, dot, unit, within_turn
from converter.model.curve import Arc, Curve, Line, Path, Polyline
from converter.model.drawing import DrawnCurve
from converter.tolerances import DEFAULT

#: So many ends at one node are looked at for what runs straight on there; more is no outline.
_ENDS_AT_NODE = 40


@dataclass(frozen=True, slots=True)
class SheetPlane:
    """A plane with axes in it.

    Attributes:
        origin: a point of it, mm.
        x, y, normal: unit directions, right-handed.
    """

    origin: Vec
    x: Vec
    y: Vec
    normal: Vec

    def inside(self, p: Vec) -> complex:
        """A point in the axes of the plane."""
        arm = (p[0] - self.origin[0], p[1] - self.origin[1], p[2] - self.origin[2])
        return complex(dot(arm, self.x), dot(arm, self.y))

    def place(self, p: complex) -> Vec:
        """A point of the plane in world coordinates."""
        o, x, y = self.origin, self.x, self.y
        return (
            o[0] + p.real * x[0] + p.imag * y[0],
            o[1] + p.real * x[1] + p.imag * y[1],
            o[2] + p.real * x[2] + p.imag * y[2],
        )


@dataclass(frozen=True, slots=True)
class SheetPiece:
    """A straight or an arc in the plane.

    Attributes:
        start, end: mm.
        center: of an arc; 0 for a straight.
        radius: of an arc, mm; 0 for a straight.
        turn: degrees, positive to the left; 0 for a straight.
        nodes: where it starts and ends.
        within: nodes that it passes.
        parts: numbers of the primitives it was drawn with, in order, then of those that were drawn again.
    """

    start: complex
    end: complex
    center: complex = 0j
    radius: float = 0.0
    turn: float = 0.0
    nodes: tuple[int, int] = (-1, -1)
    within: tuple[int, ...] = ()
    parts: tuple[int, ...] = ()

    @property
    def length(self) -> float:
        """Along it, mm."""
        return self.radius * radians(abs(self.turn)) if self.turn else abs(self.end - self.start)

    @property
    def is_circle(self) -> bool:
        """Whether it is a whole turn."""
        return abs(self.turn) >= 360.0 - 1e-6

    @property
    def middle(self) -> complex:
        """The point halfway along it."""
        if not self.turn:
            return (self.start + self.end) / 2.0
        return self.center + (self.start - self.center) * exp(1j * radians(self.turn / 2.0))

    def outward(self, at_end: bool) -> complex:
        """Unit direction in which it leaves its end, or its start."""
        if not self.turn:
            way = self.end - self.start
            return way / abs(way) * (1 if at_end else -1)
        arm = (self.end if at_end else self.start) - self.center
        return arm / abs(arm) * (1j if (self.turn > 0.0) == at_end else -1j)

    def reversed(self) -> SheetPiece:
        """The same piece run from its end."""
        return SheetPiece(
            self.end, self.start, self.center, self.radius, -self.turn, self.nodes[::-1], self.within, self.parts[::-1]
        )


@dataclass(frozen=True, slots=True)
class Sheet:
    """What was drawn in one plane.

    Attributes:
        plane: where.
        primitives: lines and arcs as drawn, without nodes.
        owner: of each primitive the number of its curve in the drawing.
        pieces: what they make together.
    """

    plane: SheetPlane
    primitives: tuple[SheetPiece, ...]
    owner: tuple[int, ...]
    pieces: tuple[SheetPiece, ...]


def sheets(curves: Sequence[DrawnCurve]) -> list[Sheet]:
    """The planes that curves were drawn in, with what lies in each: the one plane of a drawing, or horizontal ones.

    Splines and ellipses lie in none, nor does what leaves such a plane.
    """
    taken = [(i, list(flat_parts(drawn.curve))) for i, drawn in enumerate(curves)]
    taken = [(i, parts) for i, parts in taken if parts]
    if not taken:
        return []
    reach = [_levels(parts) for _, parts in taken]
    level = [k for k, (low, high) in enumerate(reach) if high - low <= DEFAULT.join]
    if len(level) < len(taken):
        plane = _common_plane([parts for _, parts in taken])
        if plane is not None:
            return [_sheet(plane, taken)]
        if not level:
            return []
    heights = np.array([reach[k][0] for k in level])
    order = np.argsort(heights, kind="stable")
    cuts = np.flatnonzero(np.diff(heights[order]) > DEFAULT.join) + 1
    out = []
    for group in np.split(order, cuts):
        members = sorted(level[k] for k in group.tolist())
        plane = SheetPlane((0.0, 0.0, reach[members[0]][0]), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
        out.append(_sheet(plane, [taken[k] for k in members]))
    return out


def flat_parts(curve: Curve) -> Iterator[Line | Arc]:
    """Lines and arcs of a curve; nothing where it is none of these."""
    for part in curve.parts if isinstance(curve, Path) else (curve,):
        if isinstance(part, Polyline):
            points: list[Vec] = [(x, y, z) for x, y, z in part.points.tolist()]
            for p, q in pairwise(points):
                if p != q:
                    yield Line(p, q)
        elif isinstance(part, (Line, Arc)):
            yield part


def _levels(parts: Sequence[Line | Arc]) -> tuple[float, float]:
    """The least and the greatest height of lines and arcs; of an arc that does not lie level infinitely apart."""
    low, high = float("inf"), -float("inf")
    for part in parts:
        if isinstance(part, Arc) and abs(part.normal[2]) < 1.0 - 1e-9:
            return -float("inf"), float("inf")
        low = min(low, part.start[2], part.end[2])
        high = max(high, part.start[2], part.end[2])
    return low, high


def _common_plane(curves: Sequence[Sequence[Line | Arc]]) -> SheetPlane | None:
    """The plane that all of it lies in, or None."""
    points = np.array([p for parts in curves for part in parts for p in (part.start, part.end)])
    arms = np.concatenate((points - points.mean(axis=0), np.zeros((3, 3))))
    _, _, axes = np.linalg.svd(arms[:: max(1, len(arms) // 5000)], full_matrices=False)
    x, y, z = axes.tolist()[0], axes.tolist()[1], axes.tolist()[2]
    if float(np.abs(arms @ np.array(z)).max()) > DEFAULT.join:
        return None
    arcs = [part for parts in curves for part in parts if isinstance(part, Arc)]
    if any(abs(dot(arc.normal, unit((z[0], z[1], z[2])))) < 1.0 - 1e-6 for arc in arcs):
        return None
    right, up = (x[0], x[1], x[2]), (y[0], y[1], y[2])
    first = points[0].tolist()
    return SheetPlane((first[0], first[1], first[2]), right, up, cross(right, up))


def _sheet(plane: SheetPlane, taken: Sequence[tuple[int, list[Line | Arc]]]) -> Sheet:
    primitives: list[SheetPiece] = []
    owner: list[int] = []
    for index, parts in taken:
        for part in parts:
            start, end = plane.inside(part.start), plane.inside(part.end)
            if isinstance(part, Line):
                if abs(end - start) <= DEFAULT.join:
                    continue
                piece = SheetPiece(start, end)
            else:
                turn = part.angle if dot(part.normal, plane.normal) > 0.0 else -part.angle
                piece = SheetPiece(start, end, plane.inside(part.center), part.radius, turn)
            primitives.append(piece)
            owner.append(index)
    return Sheet(plane, tuple(primitives), tuple(owner), tuple(_joined(primitives)))


def _joined(primitives: Sequence[SheetPiece]) -> Iterator[SheetPiece]:
    """Whole straights and arcs: primitives that run on into each other on one carrier become one piece."""
    if not primitives:
        return
    ends = np.array([(p.real, p.imag, 0.0) for piece in primitives for p in (piece.start, piece.end)])
    node: list[int] = components(len(ends), *close_pairs(ends, DEFAULT.join)).tolist()
    twins = _twins(primitives, node)
    doubles = {i for same in twins.values() for i in same}
    link = _links(primitives, node, doubles)
    seen = set(doubles)
    for i in range(len(primitives)):
        if i in seen:
            continue
        # back to where the carrier begins, or once round it
        first = 2 * i
        while (back := link.get(first)) is not None and back ^ 1 != 2 * i:
            first = back ^ 1
        row: list[int] = []
        at: int | None = first
        while at is not None and at >> 1 not in seen:
            seen.add(at >> 1)
            row.append(at)
            at = link.get(at ^ 1)
        piece = _one_piece(primitives, node, row)
        more = [twin for part in piece.parts for twin in twins.get(part, ())]
        yield replace(piece, parts=(*piece.parts, *more)) if more else piece


def _twins(primitives: Sequence[SheetPiece], node: Sequence[int]) -> dict[int, list[int]]:
    """Of each primitive that was drawn several times, the others of it."""
    first: dict[tuple[int, int, complex], int] = {}
    twins: dict[int, list[int]] = {}
    for i, piece in enumerate(primitives):
        a, b = sorted((node[2 * i], node[2 * i + 1]))
        m = piece.middle
        key = (a, b, complex(round(m.real, 2), round(m.imag, 2)))
        if key in first:
            twins.setdefault(first[key], []).append(i)
        else:
            first[key] = i
    return twins


def _links(primitives: Sequence[SheetPiece], node: Sequence[int], doubles: set[int]) -> dict[int, int]:
    """Of each end that runs on along its carrier, the end that it runs into; end 2i is the start of primitive i.

    Args:
        primitives: as drawn.
        node: of each end.
        doubles: primitives that count for nothing.
    """
    at: dict[int, list[int]] = {}
    for end, where in enumerate(node):
        if end >> 1 not in doubles:
            at.setdefault(where, []).append(end)
    link: dict[int, int] = {}
    for ends in at.values():
        if not 1 < len(ends) <= _ENDS_AT_NODE:
            continue
        ways = [primitives[end >> 1].outward(bool(end & 1)) for end in ends]
        on = [
            [
                other
                for k, other in enumerate(ends)
                if end >> 1 != other >> 1
                and abs(ways[j] + ways[k]) <= radians(DEFAULT.tangent)
                and _on_one_carrier(primitives[end >> 1], primitives[other >> 1])
            ]
            for j, end in enumerate(ends)
        ]
        for j, end in enumerate(ends):
            if len(on[j]) == 1 and on[ends.index(on[j][0])] == [end]:
                link[end] = on[j][0]
    return link


def _on_one_carrier(a: SheetPiece, b: SheetPiece) -> bool:
    if not a.turn or not b.turn:
        return a.turn == b.turn
    return abs(a.center - b.center) <= DEFAULT.join and abs(a.radius - b.radius) <= DEFAULT.join


def _one_piece(primitives: Sequence[SheetPiece], node: Sequence[int], row: Sequence[int]) -> SheetPiece:
    """The piece that entered ends make: end 2i runs primitive i forwards, 2i + 1 backwards."""
    pieces = [primitives[end >> 1] if not end & 1 else primitives[end >> 1].reversed() for end in row]
    nodes = (node[row[0]], node[row[-1] ^ 1])
    within = tuple(node[end] for end in row[1:])
    parts = tuple(end >> 1 for end in row)
    first, last = pieces[0], pieces[-1]
    if not first.turn:
        return SheetPiece(first.start, last.end, nodes=nodes, within=within, parts=parts)
    longest = max(pieces, key=lambda piece: abs(piece.turn))
    turn = sum(piece.turn for piece in pieces)
    return SheetPiece(first.start, last.end, longest.center, longest.radius, turn, nodes, within, parts)


def bearing(p: complex) -> float:
    """Direction in degrees, in [0, 360)."""
    return within_turn(degrees(phase(p)))
