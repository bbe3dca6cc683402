"""Which pairs of pieces are the two sides of one tube, end to end, and which of several such readings holds.

Two pairs go on into each other where both their sides do. A row of them is a tube; what joins its sides at an end
closes it (a *cap*). A piece is a side of one tube only: of readings that share one, the better closed, longer one is
taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from converter.reducer.outlines.pairs import LEAST, WIDEST, Pair, pairs
from converter.reducer.outlines.pieces import SheetPiece
from converter.tolerances import DEFAULT

#: Two straights without an end that is closed are a tube when they are this many widths long.
_LONG = 3.0
#: One that is closed at an end is so many widths long; less is a plate.
_STUBBY = 2.0
#: A tube with a bend is at least so many widths long.
_SHORT_ROW = 0.5
#: An end may be cut on a slant that reaches this many widths along the tube.
_SLANT = 2.0
#: A cap takes so many pieces at most, this many widths long together.
_CAP_PIECES, _CAP_LENGTH = 4, 2.3
#: A wall is at most this part of the outside size where nothing but lines side by side tells one.
_WALL = 0.15
#: What is drawn this part of the width off the middle between the sides, and no further (degrees of a bend beside its
#: ends, too), is the centerline, drawn to fewer digits.
_MIDDLE = 0.02
#: Directions that agree within this are one (length of their difference, about a degree).
_SMOOTH = 0.02


@dataclass(frozen=True, slots=True)
class OutlinedTube:
    """A tube by its sides.

    Attributes:
        pairs: its straights and bends, end to end, with whether each is passed from its first piece's end.
        width: across, mm.
        closed: whether it goes round.
        end_caps: pieces that close its first end, and its last; none of one that is open or goes round.
        closed_ends: how many ends are closed; both of one that goes round.
        wall: mm, where its bore is drawn too; else 0.
        bore, middle: pieces of bore and centerline between the sides.
        length: along its centerline, mm.
        mixed: whether other things lie between its sides: tubes beside or over it.
    """

    pairs: tuple[tuple[Pair, bool], ...]
    width: float
    closed: bool
    end_caps: tuple[tuple[int, ...], tuple[int, ...]]
    closed_ends: int
    wall: float
    bore: tuple[int, ...]
    middle: tuple[int, ...]
    length: float
    mixed: bool

    @property
    def sides(self) -> Iterator[int]:
        """The pieces that are its sides."""
        for pair, _ in self.pairs:
            yield pair.first
            yield pair.second

    @property
    def caps(self) -> tuple[int, ...]:
        """The pieces that close its ends."""
        return self.end_caps[0] + self.end_caps[1]

    @property
    def members(self) -> tuple[int, ...]:
        """All pieces that it is drawn with."""
        return (*self.sides, *self.caps, *self.bore, *self.middle)


def outlined_tubes(
    pieces: Sequence[SheetPiece], least: float = LEAST, widest: float = WIDEST
) -> tuple[Sequence[SheetPiece], list[OutlinedTube]]:
    """Tubes drawn by their outline, in the order of their first pieces, and the pieces that they count.

    Where a whole frame is drawn as one outline, the side of a tube stops at one side of a branch and goes on at the
    other one. Such sides are taken in one piece where less is then left over.

    Args:
        pieces: of one plane.
        least, widest: mm, how wide a tube may be.
    """
    candidates = pairs(pieces, least, widest)
    if not candidates:
        return pieces, []
    tubes = _outlined(pieces, candidates)
    left = _left_over(pieces, tubes)
    if left > 0.0:
        whole = _without_mouths(pieces, candidates)
        if len(whole) < len(pieces):
            other = _outlined(whole, pairs(whole, least, widest))
            if _left_over(whole, other) < left:
                pieces, tubes = whole, other
    return pieces, _with_middles(pieces, tubes)


def _with_middles(pieces: Sequence[SheetPiece], tubes: Sequence[OutlinedTube]) -> list[OutlinedTube]:
    """The tubes, with what else lies halfway between their sides: arcs that a centerline has about another centre.

    An arc drawn through three rounded points, say, has its centre some tenths of a millimetre off that of the sides.
    """
    used = {i for tube in tubes for i in tube.members}
    free = [i for i in range(len(pieces)) if i not in used and not pieces[i].is_circle]
    if not free:
        return list(tubes)
    at = np.array([(pieces[i].start, pieces[i].middle, pieces[i].end) for i in free])
    found = []
    for tube in tubes:
        own: set[int] = set()
        slack = _MIDDLE * tube.width
        for pair, _ in tube.pairs:
            a, b = pieces[pair.first], pieces[pair.second]
            if a.turn:
                arm = at - a.center
                off = np.abs(arm) - (a.radius + b.radius) / 2.0
                along = (np.degrees(np.angle(arm / (a.start - a.center))) * np.sign(a.turn) + slack) % 360.0
                within = along <= abs(a.turn) + 2.0 * slack
            else:
                way = (a.end - a.start) / abs(a.end - a.start)
                where = (at - a.start) / way
                side = 1.0 if ((b.start - a.start) / way).imag > 0.0 else -1.0
                off = where.imag - side * pair.width / 2.0
                within = (where.real >= -slack) & (where.real <= a.length + slack)
            lies = ((np.abs(off) <= slack) & within).all(axis=1)
            own.update(free[k] for k in np.flatnonzero(lies).tolist())
        found.append(replace(tube, middle=(*tube.middle, *sorted(own))) if own else tube)
    return found


def _left_over(pieces: Sequence[SheetPiece], tubes: Sequence[OutlinedTube]) -> float:
    """Length of what belongs to no tube, mm."""
    used = {i for tube in tubes for i in tube.members}
    return sum(piece.length for i, piece in enumerate(pieces) if i not in used)


def _without_mouths(pieces: Sequence[SheetPiece], candidates: Sequence[Pair]) -> list[SheetPiece]:
    """The pieces, those in one that are parted where two others, side by side, open into them."""
    at: dict[int, list[tuple[int, bool]]] = {}
    for i, piece in enumerate(pieces):
        for at_end, node in enumerate(piece.nodes):
            at.setdefault(node, []).append((i, bool(at_end)))
    over: dict[tuple[int, bool], tuple[int, bool]] = {}
    for pair in candidates:
        for last in (False, True):
            a, b = _ends(pieces, pair, last)
            if len(at[a]) != 2 or len(at[b]) != 2 or pair.between:
                continue
            one = next((end for end in at[a] if end[0] != pair.first), None)
            two = next((end for end in at[b] if end[0] != pair.second), None)
            if one and two and one[0] != two[0] and _face(pieces, one, two):
                over[one], over[two] = two, one
    out: list[SheetPiece] = []
    seen: set[int] = set()
    for i in range(len(pieces)):
        if i in seen:
            continue
        entered = (i, False)
        while (back := over.get(entered)) is not None and back[0] != i:
            entered = (back[0], not back[1])
        row: list[SheetPiece] = []
        ahead: tuple[int, bool] | None = entered
        while ahead is not None and ahead[0] not in seen:
            seen.add(ahead[0])
            row.append(pieces[ahead[0]].reversed() if ahead[1] else pieces[ahead[0]])
            ahead = over.get((ahead[0], not ahead[1]))
        out.append(_in_one(row))
    return out


def _face(pieces: Sequence[SheetPiece], one: tuple[int, bool], two: tuple[int, bool]) -> bool:
    """Whether two straights lie in line and point at each other."""
    a, b = pieces[one[0]], pieces[two[0]]
    if a.turn or b.turn:
        return False
    way, back = a.outward(one[1]), b.outward(two[1])
    gap = ((b.end if two[1] else b.start) - (a.end if one[1] else a.start)) / way
    return abs(way + back) <= _SMOOTH and gap.real > 0.0 and abs(gap.imag) <= DEFAULT.join


def _in_one(row: Sequence[SheetPiece]) -> SheetPiece:
    """Straights in line as one."""
    if len(row) == 1:
        return row[0]
    within = [node for piece in row for node in (piece.nodes[0], *piece.within, piece.nodes[1])][1:-1]
    parts = tuple(part for piece in row for part in piece.parts)
    nodes = (row[0].nodes[0], row[-1].nodes[1])
    return SheetPiece(row[0].start, row[-1].end, nodes=nodes, within=tuple(within), parts=parts)


def _outlined(pieces: Sequence[SheetPiece], candidates: Sequence[Pair]) -> list[OutlinedTube]:
    """Tubes drawn by their outline, in the order of their first pieces."""
    at: dict[int, list[int]] = {}
    for i, piece in enumerate(pieces):
        for node in set(piece.nodes):
            at.setdefault(node, []).append(i)
    links, split = _links(pieces, candidates, at)
    beside = _beside(candidates)
    readings = []
    for row, closed in _rows(len(candidates), links):
        reading = _reading(pieces, [(candidates[k], back) for k, back in row], closed, at, split)
        if reading is not None and not (reading.bore and reading.closed_ends < 2 and _is_of_a_row(reading, beside)):
            readings.append(reading)
    readings.sort(key=_rank)
    used: set[int] = set()
    taken = []
    for reading in readings:
        if not used.intersection(reading.sides):
            used.update(reading.members)
            taken.append(reading)
    return sorted(taken, key=lambda tube: min(tube.sides))


def _beside(candidates: Sequence[Pair]) -> dict[int, list[tuple[int, float]]]:
    """What lies next to each piece with nothing between them, and how far, mm."""
    found: dict[int, list[tuple[int, float]]] = {}
    for pair in candidates:
        if not pair.between:
            found.setdefault(pair.first, []).append((pair.second, pair.width))
            found.setdefault(pair.second, []).append((pair.first, pair.width))
    return found


def _is_of_a_row(tube: OutlinedTube, beside: Mapping[int, Sequence[tuple[int, float]]]) -> bool:
    """Whether what passes for wall and bore are tubes in a row: pickets, the next one as far off as the last."""
    clear = tube.width - 2.0 * tube.wall
    within = {*tube.sides, *tube.bore}
    return any(
        other not in within and abs(apart - clear) <= 4.0 * DEFAULT.join
        for side in tube.sides
        for other, apart in beside.get(side, ())
    )


def _ends(pieces: Sequence[SheetPiece], pair: Pair, last: bool) -> tuple[int, int]:
    """The nodes of both sides at the end, or the start, of the first piece of a pair."""
    return pieces[pair.first].nodes[last], pieces[pair.second].nodes[last != pair.against]


Place = tuple[int, bool]  # a pair, and whether its far end is meant


def _links(
    pieces: Sequence[SheetPiece], candidates: Sequence[Pair], at: Mapping[int, list[int]]
) -> tuple[dict[Place, Place], set[frozenset[int]]]:
    """Which end of a pair goes on into which, and between which nodes a line across parts two tubes at a corner."""
    meeting: dict[frozenset[int], list[Place]] = {}
    for k, pair in enumerate(candidates):
        if pieces[pair.first].is_circle:
            continue
        for last in (False, True):
            nodes = frozenset(_ends(pieces, pair, last))
            if len(nodes) == 2:
                meeting.setdefault(nodes, []).append((k, last))
    links: dict[Place, Place] = {}
    split: set[frozenset[int]] = set()
    for nodes, places in meeting.items():
        if len(places) < 2 or len(places) > 20:
            continue
        fitting = {
            place: [o for o in places if o[0] != place[0] and _goes_on(pieces, candidates, place, o)]
            for place in places
        }
        for place, others in fitting.items():
            smooth = [o for o in others if _is_smooth(pieces, candidates, place, o)]
            chosen = smooth if len(smooth) == 1 else others
            if len(chosen) != 1:
                continue
            other = chosen[0]
            if not smooth and any(frozenset(pieces[i].nodes) == nodes for i in at[min(nodes)]):
                split.add(nodes)
                continue
            links[place] = other
    return {a: b for a, b in links.items() if links.get(b) == a}, split


def _side_at(pair: Pair, pieces: Sequence[SheetPiece], last: bool, node: int) -> tuple[int, bool]:
    """The side of a pair that ends at a node at that end, and whether it ends or begins there."""
    if pieces[pair.first].nodes[last] == node:
        return pair.first, last
    return pair.second, last != pair.against


def _goes_on(pieces: Sequence[SheetPiece], candidates: Sequence[Pair], a: Place, b: Place) -> bool:
    """Whether both sides go on into others, at the same width."""
    one, two = candidates[a[0]], candidates[b[0]]
    if abs(one.width - two.width) > 2.0 * DEFAULT.join:
        return False
    return all(
        _side_at(one, pieces, a[1], node)[0] != _side_at(two, pieces, b[1], node)[0]
        for node in _ends(pieces, one, a[1])
    )


def _is_smooth(pieces: Sequence[SheetPiece], candidates: Sequence[Pair], a: Place, b: Place) -> bool:
    for node in _ends(pieces, candidates[a[0]], a[1]):
        (i, out), (j, far) = (_side_at(candidates[k], pieces, last, node) for k, last in (a, b))
        if abs(pieces[i].outward(out) + pieces[j].outward(far)) > _SMOOTH:
            return False
    return True


def _rows(count: int, links: Mapping[Place, Place]) -> Iterator[tuple[list[tuple[int, bool]], bool]]:
    """Pairs that go on into each other, in order, with whether each is passed backwards; and whether they go round."""
    seen: set[int] = set()
    for k in range(count):
        if k in seen:
            continue
        start, at = (k, False), links.get((k, False))
        while at is not None and at[0] != k:
            start = (at[0], not at[1])
            at = links.get(start)
        closed = at is not None
        row: list[tuple[int, bool]] = []
        entered: Place | None = start
        while entered is not None and entered[0] not in seen:
            seen.add(entered[0])
            row.append((entered[0], entered[1]))
            entered = links.get((entered[0], not entered[1]))
        yield row, closed


def _reading(
    pieces: Sequence[SheetPiece],
    row: Sequence[tuple[Pair, bool]],
    closed: bool,
    at: Mapping[int, list[int]],
    split: set[frozenset[int]],
) -> OutlinedTube | None:
    """A row of pairs as a tube, or None where it cannot be that."""
    sides = [i for pair, _ in row for i in (pair.first, pair.second)]
    if len(set(sides)) < len(sides):
        return None
    width = sum(pair.width for pair, _ in row) / len(row)
    length = sum((pieces[pair.first].length + pieces[pair.second].length) / 2.0 for pair, _ in row)
    closed = closed or pieces[row[0][0].first].is_circle
    caps: list[tuple[int, ...]] = []
    closed_ends = 2 if closed else 0
    if not closed:
        for pair, last in ((row[0][0], row[0][1]), (row[-1][0], not row[-1][1])):
            if _slant(pieces, pair, last) > _SLANT * width:
                return None
            nodes = _ends(pieces, pair, last)
            cap = _cap(pieces, nodes, set(sides), at, width)
            if cap or frozenset(nodes) in split:
                closed_ends += 1
            caps.append(tuple(cap))
    several = len(row) > 1
    if length < width * (_SHORT_ROW if several or closed else _STUBBY if closed_ends else _LONG):
        return None
    wall, bore, middle, mixed = _inside(row)
    if mixed and closed_ends == 0:
        return None
    opening, ending = caps or ((), ())
    return OutlinedTube(tuple(row), width, closed, (opening, ending), closed_ends, wall, bore, middle, length, mixed)


def _slant(pieces: Sequence[SheetPiece], pair: Pair, last: bool) -> float:
    """How far one side reaches past the other at an end, along the tube, mm."""
    a, b = pieces[pair.first], pieces[pair.second]
    p, q = (a.end if last else a.start), (b.end if last != pair.against else b.start)
    if a.turn:
        arm, other = p - a.center, q - a.center
        return abs(arm) * abs(arm / abs(arm) - other / abs(other)) if other else abs(arm)
    return abs(((q - p) / a.outward(last)).real)


def _cap(
    pieces: Sequence[SheetPiece], nodes: tuple[int, int], sides: set[int], at: Mapping[int, list[int]], width: float
) -> list[int]:
    """The pieces that lead from one side to the other at an end, the shortest way; none where it is open."""
    ways: list[tuple[float, int, list[int]]] = [(0.0, nodes[0], [])]
    reached = {nodes[0]}
    for _ in range(_CAP_PIECES):
        further = []
        for length, node, way in ways:
            for i in at.get(node, ())[: _CAP_PIECES * 4]:
                piece = pieces[i]
                ahead = piece.nodes[1] if piece.nodes[0] == node else piece.nodes[0]
                if i in sides or ahead in reached or length + piece.length > _CAP_LENGTH * width:
                    continue
                if ahead == nodes[1]:
                    return [*way, i]
                reached.add(ahead)
                further.append((length + piece.length, ahead, [*way, i]))
        ways = further
    return []


def _inside(row: Sequence[tuple[Pair, bool]]) -> tuple[float, tuple[int, ...], tuple[int, ...], bool]:
    """The wall in mm where the bore is drawn, the pieces of bore and centerline, and whether other things lie there."""
    walls: list[float] = []
    bore: list[int] = []
    middle: list[int] = []
    for pair, _ in row:
        offsets = [apart for _, apart in pair.between]
        even = all(
            abs(near + far - pair.width) <= 4.0 * DEFAULT.join for near, far in zip(offsets, offsets[::-1], strict=True)
        )
        if not even or len(offsets) > 3 or (len(offsets) > 1 and offsets[0] > _WALL * pair.width):
            return 0.0, (), (), True
        half = len(offsets) // 2 if len(offsets) % 2 else -1
        for k, (i, _) in enumerate(pair.between):
            (middle if k == half else bore).append(i)
        if len(offsets) > 1:
            walls.append((offsets[0] + pair.width - offsets[-1]) / 2.0)
    if walls and max(walls) - min(walls) > 4.0 * DEFAULT.join:
        return 0.0, (), (), True
    return sum(walls) / len(walls) if walls else 0.0, tuple(bore), tuple(middle), False


def _rank(tube: OutlinedTube) -> tuple[float, ...]:
    """Sorts the reading that holds first."""
    # the inside of a U is closed at an end, too: its sides in a row tell more
    several = len(tube.pairs) > 1
    closing = 0 if tube.closed_ends == 2 else 1 if several else 3 - tube.closed_ends
    return (
        closing,
        tube.mixed,
        -len(tube.pairs),
        not tube.bore and not tube.middle,
        -tube.length / tube.width,
        min(tube.sides),
    )
