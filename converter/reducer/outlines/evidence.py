"""What shows that a drawing is made of outlines: edges of plates, bodies, plans and tubes, and no centerlines.

Every kind of evidence is something that centerlines of tubes do not do: closed loops that nothing meets inside another
one, lines nearer to each other than any two tubes, straights between two sharp corners that no tube has room for,
an even distance kept round a bend or a corner. A frame's rings, twin rails and pickets do none of that: something meets
them, or spans from one to the other, or they end where nothing closes them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import cos, radians

import numpy as np
from numpy.typing import NDArray

from converter.arrays import distinct, vectors
from converter.findings import Clause
from converter.geometry.clusters import close_pairs, components
from converter.geometry.vectors import Vec, distance
from converter.model.curve import Arc, Line
from converter.model.drawing import DrawnCurve
from converter.reducer.outlines.pairs import pairs
from converter.reducer.outlines.pieces import Sheet, SheetPiece, bearing, flat_parts, sheets
from converter.reducer.outlines.tubes import OutlinedTube, outlined_tubes
from converter.tolerances import DEFAULT

#: Curves that are looked at, the first ones: enough to know what kind of drawing it is.
_CURVES = 5000
#: mm: tubes across, least and greatest, as an outline shows them without being asked; and how many widths long.
_LEAST, _WIDEST, _SLENDER = 5.0, 170.0, 4.0
#: mm: across, of a straight one closed at both ends: a wider one may be a frame of four tubes.
_WIDEST_STRAIGHT = 80.0
#: Part of what is drawn that has to be of the kind seen.
_MOST = 0.6
#: Loops: a radius (mm) that no ring is bent to; so many larger ones within one other are holes.
_SMALL, _HOLES = 25.0, 3
#: mm between parallels: nearer than any two tubes, farther than a slip of the pen.
_THIN = (0.5, 5.0)
#: mm: between two sharp corners no tube has a shorter straight; a corner this sharp (degrees).
_SHORT, _SHARP = 10.0, 30.0
#: So many of them, and this part of all straights.
_FEW, _SOME = 4, 0.1
#: Double lines with a corner at either end, as walls of a plan.
_WALLS = 12
#: Leftover pieces that are tried for crossing a tube's outline.
_TRIED = 300
#: Loops that are tried for having others inside, the largest; points on each.
_CONTAINERS, _POINTS = 20, 90


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing seen.

    Attributes:
        words: what was seen.
        is_tubes: whether the outlines are those of tubes, which can be read.
        size: mm, what it measures: a width, a distance; None where it is a count.
        count: how many.
        at: places of the first few, world coordinates.
        centerlines: layers that hold nothing but the centerlines of the tubes, where all of them are drawn too.
    """

    words: Clause
    is_tubes: bool
    size: float | None
    count: int
    at: tuple[Vec, ...] = ()
    centerlines: tuple[str, ...] = ()


def evidence(curves: Sequence[DrawnCurve]) -> list[Evidence]:
    """What shows that curves are outlines; nothing for centerlines.

    Args:
        curves: everything drawn, mm.
    """
    some = curves[:_CURVES]
    space = _SpaceEvidence(some)
    out = [found for look in (space.thin, space.short, space.spokes) if (found := look()) is not None]
    in_planes = sheets(some)
    if not in_planes:
        return out
    # what leaves the plane is a frame in space: its rails side by side are no outline
    sheet = max(in_planes, key=lambda one: len(one.primitives))
    if len(set(sheet.owner)) < 0.95 * sum(not _is_speck(drawn) for drawn in some):
        return out
    flat = _PlaneEvidence(sheet)
    pieces, outlined = outlined_tubes(sheet.pieces, _LEAST, _WIDEST)
    sheet_of_tubes = replace(sheet, pieces=tuple(pieces))
    tubes = _PlaneEvidence(sheet_of_tubes).tubes(outlined)
    if tubes is not None:
        tubes = replace(tubes, centerlines=_centerline_layers(sheet_of_tubes, outlined, some))
    in_plane = (flat.loops(), None if tubes else flat.walls())
    return [found for found in (tubes, *in_plane) if found is not None] + out


def _centerline_layers(sheet: Sheet, outlined: Sequence[OutlinedTube], curves: Sequence[DrawnCurve]) -> tuple[str, ...]:
    """The layers that hold the centerlines of all tubes and nothing else; none where they share one with the sides."""
    if not all(tube.middle for tube in outlined):
        return ()
    middle = {part for tube in outlined for i in tube.middle for part in sheet.pieces[i].parts}
    layers = {curves[sheet.owner[part]].layer for part in middle}
    others = {curves[owner].layer for part, owner in enumerate(sheet.owner) if part not in middle}
    return tuple(sorted(layer for layer in layers if layer)) if layers.isdisjoint(others) else ()


def _is_speck(drawn: DrawnCurve) -> bool:
    return isinstance(drawn.curve, Line) and distance(drawn.curve.start, drawn.curve.end) <= DEFAULT.join


class _SpaceEvidence:
    """Lines and arcs, in space."""

    def __init__(self, curves: Sequence[DrawnCurve]) -> None:
        parts = [part for drawn in curves for part in flat_parts(drawn.curve)]
        self.arcs = [part for part in parts if isinstance(part, Arc) and part.angle < 359.0]
        lines = [part for part in parts if not isinstance(part, Arc)]
        self.start = vectors(p.start for p in lines)
        self.end = vectors(p.end for p in lines)
        way = self.end - self.start
        self.length = np.linalg.norm(way, axis=1)
        real = self.length > DEFAULT.join
        self.start, self.end, self.length, way = self.start[real], self.end[real], self.length[real], way[real]
        self.way = way / self.length[:, None]
        self.middle = (self.start + self.end) / 2.0

    @cached_property
    def _nodes(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Node of each end of lines (start, end, start ...) and then of arcs; how many ends each node has."""
        ends = np.stack((self.start, self.end), axis=1).reshape(-1, 3)
        arcs = vectors(p for arc in self.arcs for p in (arc.start, arc.end))
        every = np.concatenate((ends, arcs))
        node = components(len(every), *close_pairs(every, DEFAULT.join))
        return node, np.bincount(node, minlength=len(every))

    def thin(self) -> Evidence | None:
        """Parallel straights that lie nearer to each other than any two tubes do."""
        if len(self.length) < _FEW:
            return None
        a, b = close_pairs(self.middle, _THIN[1])
        arm = self.middle[b] - self.middle[a]
        across = np.linalg.norm(arm - (arm * self.way[a]).sum(axis=1)[:, None] * self.way[a], axis=1)
        even = np.abs((self.way[a] * self.way[b]).sum(axis=1)) > cos(radians(1.0))
        long = np.minimum(self.length[a], self.length[b]) > 2.0 * _THIN[1]
        node, ends = self._nodes
        # edges run into others at both ends; wires side by side do not
        met = ends[node[: 2 * len(self.length)]] > 1
        joined = met[0::2] & met[1::2]
        near = even & long & joined[a] & joined[b] & (across > _THIN[0]) & (across <= _THIN[1])
        which = distinct(np.concatenate((a[near], b[near])))
        if len(which) < _FEW or self.length[which].sum() < 0.25 * self.length.sum():
            return None
        least = float(np.median(across[near]))
        seen = Clause.of("outline-thin", count=len(which), apart=least)
        return Evidence(seen, False, least, len(which), self._places(which))

    def short(self) -> Evidence | None:
        """Straights too short for what is between two sharp corners of a tube."""
        if len(self.length) < _FEW:
            return None
        node, ends = self._nodes
        n = 2 * len(self.length)
        other = np.full(len(ends), -1)
        of_node: dict[int, list[int]] = {}
        for end in np.flatnonzero(ends[node] == 2).tolist():
            of_node.setdefault(int(node[end]), []).append(end)
        for two in of_node.values():
            if len(two) == 2:
                other[two[0]], other[two[1]] = two[1], two[0]
        out = np.empty((len(node), 3))
        out[0:n:2], out[1:n:2] = -self.way, self.way
        for k, arc in enumerate(self.arcs):
            x, y = arc.start_direction, arc.end_direction
            out[n + 2 * k], out[n + 2 * k + 1] = (-x[0], -x[1], -x[2]), y
        met = other[:n] >= 0
        bent = np.zeros(n, dtype=bool)
        bent[met] = -(out[:n][met] * out[other[:n][met]]).sum(axis=1) < cos(radians(_SHARP))
        which = np.flatnonzero(bent[0::2] & bent[1::2] & (self.length < _SHORT))
        if len(which) < max(_FEW, _SOME * len(self.length)):
            return None
        longest = float(self.length[which].max())
        seen = Clause.of("outline-short", count=len(which), longest=longest)
        return Evidence(seen, False, longest, len(which), self._places(which))

    def spokes(self) -> Evidence | None:
        """Lines from the centre of an arc to its end, where nothing else ends: doors of a plan, sectors."""
        node, ends = self._nodes
        n = 2 * len(self.length)
        line_at = {int(where): end for end, where in enumerate(node[:n].tolist())}
        found = []
        for k, arc in enumerate(self.arcs):
            for end in (n + 2 * k, n + 2 * k + 1):
                line = line_at.get(int(node[end]))
                if line is None or ends[node[end]] != 2:
                    continue
                far = self.start[line >> 1] if line & 1 else self.end[line >> 1]
                if float(np.linalg.norm(far - np.array(arc.center))) <= 2.0 * DEFAULT.join:
                    found.append(line >> 1)
        if len(set(found)) < 2:
            return None
        return Evidence(Clause.of("outline-spokes", count=len(found)), False, None, len(found), self._places(found))

    def _places(self, which: Sequence[int] | NDArray[np.int64]) -> tuple[Vec, ...]:
        return tuple((x, y, z) for x, y, z in self.middle[list(which)[:50]].tolist())


class _PlaneEvidence:
    """Pieces of one plane."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.pieces = sheet.pieces
        self.total = sum(piece.length for piece in self.pieces)
        self.ends = Counter(node for piece in self.pieces for node in piece.nodes if not piece.is_circle)

    @cached_property
    def _hoops(self) -> Counter[tuple[float, float]]:
        """How many circles there are about each centre."""
        return Counter(_center_key(piece) for piece in self.pieces if piece.is_circle)

    def tubes(self, outlined: Sequence[OutlinedTube]) -> Evidence | None:
        """Tubes by their two sides, that nothing spans or crosses."""
        tubes: list[OutlinedTube] = []
        others: list[OutlinedTube] = []
        for tube in outlined:
            (tubes if self._is_sure(tube) else others).append(tube)
        landed = self._landing(others, tubes)
        while landed:  # pickets stand on a rail that has landed itself
            tubes += landed
            others = [tube for tube in others if tube not in landed]
            landed = self._landing(others, tubes)
        used = {i for tube in tubes for i in tube.members}
        if not used or sum(self.pieces[i].length for i in used) < _MOST * self.total:
            return None
        tubes = [tube for tube in tubes if not self._is_met(tube, used)]
        used = {i for tube in tubes for i in tube.members}
        if not used or sum(self.pieces[i].length for i in used) < _MOST * self.total:
            return None
        widths = Counter(round(tube.width, 2) for tube in tubes)
        sizes = sorted(widths, key=lambda width: -widths[width])[:4]
        seen = Clause.of("outline-tubes", count=len(tubes), sizes=sizes)
        return Evidence(seen, True, sizes[0], len(tubes), self._places([next(iter(tube.sides)) for tube in tubes]))

    def _is_sure(self, tube: OutlinedTube) -> bool:
        """Whether a tube's outline is one without being told so."""
        if tube.mixed or tube.length < _SLENDER * tube.width or self._has_round_cap(tube):
            return False
        bends = [pair for pair, _ in tube.pairs if self.pieces[pair.first].turn]
        # no tube is bent so tight that the inside of the bend has next to no radius
        if any(min(self.pieces[p.first].radius, self.pieces[p.second].radius) < 0.1 * tube.width for p in bends):
            return False
        first = self.pieces[tube.pairs[0][0].first]
        if first.is_circle and self._hoops[_center_key(first)] > 2 + len(tube.bore) + len(tube.middle):
            return False  # hoops of several sizes, drawn about one centre
        return bool(bends and not first.is_circle) or (tube.closed_ends == 2 and tube.width <= _WIDEST_STRAIGHT)

    def _landing(self, others: Sequence[OutlinedTube], tubes: Sequence[OutlinedTube]) -> list[OutlinedTube]:
        """Of straight tubes those whose open ends land on the sides of tubes that are sure."""
        sides = [self.pieces[i] for tube in tubes for i in tube.sides if not self.pieces[i].turn]
        straight = [tube for tube in others if len(tube.pairs) == 1 and not tube.closed and not tube.mixed]
        straight = [tube for tube in straight if tube.length > 2.0 * tube.width]
        if not sides or not straight:
            return []
        start = np.array([piece.start for piece in sides])
        way = np.array([piece.end for piece in sides]) - start
        slack = DEFAULT.join / np.abs(way)
        out = []
        for tube in straight:
            first, second = (self.pieces[i] for i in tube.sides)
            ends = np.array([first.start, first.end, second.start, second.end])
            where = (ends[:, None] - start) / way
            on = (np.abs(where.imag) <= slack) & (where.real >= -slack) & (where.real <= 1.0 + slack)
            if int(on.any(axis=1).sum()) == 4 - 2 * tube.closed_ends:
                out.append(tube)
        return out

    def _has_round_cap(self, tube: OutlinedTube) -> bool:
        """Whether a side runs tangent into what closes its end: it is then a loop of one tube, a handle or a link."""
        ways: dict[int, list[complex]] = {}
        for i in tube.sides:
            for at_end, node in enumerate(self.pieces[i].nodes):
                ways.setdefault(node, []).append(self.pieces[i].outward(bool(at_end)))
        return any(
            abs(way + self.pieces[i].outward(bool(at_end))) < 0.1
            for i in tube.caps
            for at_end, node in enumerate(self.pieces[i].nodes)
            for way in ways.get(node, ())
        )

    def _is_met(self, tube: OutlinedTube, used: set[int]) -> bool:
        """Whether something that is no part of an outline ends on a side, runs to the other one, or across both."""
        others = [piece for i, piece in enumerate(self.pieces) if i not in used][:_TRIED]
        if not others:
            return False
        p = np.array([piece.start for piece in others])
        q = np.array([piece.end for piece in others])
        share = np.concatenate(([0.0], np.linspace(0.02, 0.98, 39), [1.0]))
        long = np.abs(q - p) > 2.0 * tube.width
        along = p[:, None] + (q - p)[:, None] * share
        for pair, _ in tube.pairs:
            a, b = self.pieces[pair.first], self.pieces[pair.second]
            if a.turn:
                far = np.abs(along - a.center)
                off = (far - min(a.radius, b.radius)) / pair.width
                turned = (np.degrees(np.angle((along - a.center) / (a.start - a.center))) * np.sign(a.turn)) % 360.0
                inside = (off > 0.1) & (off < 0.9) & (turned < abs(a.turn))
            else:
                way = (a.end - a.start) / abs(a.end - a.start)
                where = (along - a.start) / way
                side = np.sign(((b.start - a.start) / way).imag)
                off = where.imag * side / pair.width
                inside = (off > 0.1) & (off < 0.9) & (where.real > 0.0) & (where.real < a.length)
                # what only ends on a side is a bar, where it is no branch's outline itself
                for tip in (0, -1):
                    on = np.minimum(np.abs(off[:, tip]), np.abs(off[:, tip] - 1.0)) * pair.width <= DEFAULT.join
                    if bool((on & long & (where[:, tip].real > 0.0) & (where[:, tip].real < a.length)).any()):
                        return True
                # long pieces step over the strip: where they cross its middle line counts, too
                first, last = ((z - a.start) / way for z in (p, q))
                middle = side * pair.width / 2.0
                crosses = (first.imag - middle) * (last.imag - middle) < 0.0
                slope = np.where(crosses, last.imag - first.imag, 1.0)
                at = first.real + (last.real - first.real) * (middle - first.imag) / slope
                if bool((crosses & (at > 0.0) & (at < a.length)).any()):
                    return True
            if bool(inside.any()):
                return True
        return False

    def loops(self) -> Evidence | None:
        """Closed loops that nothing meets, inside others."""
        loops = self._loops()
        if len(loops) < 2:
            return None
        outlines = [self._polygon(loop) for loop in loops]
        sizes = [max(np.ptp(points.real), np.ptp(points.imag)) for points in outlines]
        order = sorted(range(len(loops)), key=lambda k: -sizes[k])
        first = np.array([points[0] for points in outlines])
        free = self._loose_ends(loops)
        depth = np.zeros(len(loops), dtype=int)
        within: list[tuple[int, NDArray[np.bool_]]] = []
        for k in order[:_CONTAINERS]:
            if _touched(outlines[k], free):
                continue
            inside = _is_inside(outlines[k], first)
            inside[k] = False
            depth += inside
            within.append((k, inside))
        holes: set[int] = set()
        plates = 0
        for k, inside in within:
            own = np.flatnonzero(inside & (depth == depth[k] + 1))
            if len(own) >= _HOLES or any(sizes[j] < 2.0 * _SMALL for j in own.tolist()):
                plates += 1
                holes.update(own.tolist())
        if not holes:
            return None
        if sum(self.pieces[i].length for loop in loops for i in loop) < _MOST * self.total:
            return None
        seen = Clause.of("outline-loops", count=len(holes), plates=plates)
        return Evidence(seen, False, None, len(holes), self._places([loops[k][0] for k in sorted(holes)]))

    def _loops(self) -> list[list[int]]:
        """Pieces that go round with nothing else at their ends, loop by loop."""
        at: dict[int, list[int]] = {}
        for i, piece in enumerate(self.pieces):
            for node in piece.nodes:
                at.setdefault(node, []).append(i)
        loops: list[list[int]] = []
        seen: set[int] = set()
        for i, piece in enumerate(self.pieces):
            if i in seen:
                continue
            if piece.is_circle:
                seen.add(i)
                loops.append([i])
                continue
            row, node, ahead = [], piece.nodes[0], i
            while ahead not in seen:
                seen.add(ahead)
                row.append(ahead)
                a, b = self.pieces[ahead].nodes
                node = b if a == node else a
                here = at[node]
                if len(here) != 2 or self.pieces[ahead].within:
                    row = []
                    break
                ahead = here[0] if here[1] == ahead else here[1]
            if row and ahead == i:
                loops.append(row)
        return loops

    def _loose_ends(self, loops: Sequence[Sequence[int]]) -> NDArray[np.complex128]:
        """Ends of pieces that are in no loop."""
        known = {i for loop in loops for i in loop}
        return np.array([p for i, piece in enumerate(self.pieces) if i not in known for p in (piece.start, piece.end)])

    def _polygon(self, loop: Sequence[int]) -> NDArray[np.complex128]:
        """Points around a loop."""
        each = max(3, _POINTS // len(loop))
        points: list[complex] = []
        node = self.pieces[loop[0]].nodes[0]
        for i in loop:
            piece = self.pieces[i]
            if piece.nodes[0] != node:
                piece = piece.reversed()
            node = piece.nodes[1]
            if not piece.turn:
                points.append(piece.start)
                continue
            arm = piece.start - piece.center
            turned = np.radians(np.linspace(0.0, piece.turn, each, endpoint=False))
            points += (piece.center + arm * np.exp(1j * turned)).tolist()
        return np.array(points)

    def walls(self) -> Evidence | None:
        """Double lines a tube's width or a wall's thickness apart, with a sharp corner at either end."""
        straight = [i for i, piece in enumerate(self.pieces) if not piece.turn]
        length = sum(self.pieces[i].length for i in straight)
        if len(straight) < _WALLS or length < _MOST * self.total:
            return None
        nearest: dict[int, tuple[float, int]] = {}
        for pair in pairs(self.pieces, _LEAST, 2.0 * _WIDEST):
            if self.pieces[pair.first].turn or pair.between:
                continue
            for i, j in ((pair.first, pair.second), (pair.second, pair.first)):
                nearest[i] = min(nearest.get(i, (pair.width, j)), (pair.width, j))
        widths = Counter(
            round(width, 1)
            for i, (width, j) in nearest.items()
            if self._has_corners(i) and self.pieces[i].length > width
        )
        usual = [width for width, _ in widths.most_common(2)]
        double = [i for i in nearest if self._has_corners(i) and round(nearest[i][0], 1) in usual]
        if len(double) < _WALLS or sum(self.pieces[i].length for i in double) < 0.5 * length:
            return None
        angles = Counter(round(bearing(self.pieces[i].end - self.pieces[i].start) % 90.0) % 90 for i in straight)
        square = angles.most_common(1)[0][1] >= 0.8 * len(straight)
        seen = Clause.of(
            "outline-walls", count=len(double), apart=usual[0], net=Clause.of("outline-square") if square else ""
        )
        return Evidence(seen, False, usual[0], len(double), self._places(double))

    def _has_corners(self, i: int) -> bool:
        return all(self.ends[node] == 2 for node in self.pieces[i].nodes)

    def _places(self, which: Sequence[int]) -> tuple[Vec, ...]:
        chosen = [self.pieces[i] for i in which[:50]]
        return tuple(self.sheet.plane.place(piece.middle) for piece in chosen)


def _center_key(piece: SheetPiece) -> tuple[float, float]:
    return round(piece.center.real, 1), round(piece.center.imag, 1)


def _is_inside(polygon: NDArray[np.complex128], points: NDArray[np.complex128]) -> NDArray[np.bool_]:
    """Whether points lie within a polygon: rays to the right cross it an odd number of times."""
    inside = np.zeros(len(points), dtype=bool)
    x, y = points.real, points.imag
    for p, q in zip(polygon, np.roll(polygon, -1), strict=True):
        if p.imag == q.imag:
            continue
        level = (p.imag > y) != (q.imag > y)
        inside ^= level & (x < p.real + (y - p.imag) * (q.real - p.real) / (q.imag - p.imag))
    return inside


def _touched(polygon: NDArray[np.complex128], ends: NDArray[np.complex128]) -> bool:
    """Whether one of the ends lies on the polygon."""
    if not len(ends):
        return False
    way = np.roll(polygon, -1) - polygon
    for p, step in zip(polygon, way, strict=True):
        if step == 0.0:
            continue
        share = np.clip(((ends - p) / step).real, 0.0, 1.0)
        # between points on an arc the polygon is a little inside
        if bool((np.abs(ends - p - share * step) <= max(0.5, 0.01 * abs(step))).any()):
            return True
    return False
