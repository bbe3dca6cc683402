"""The fast lane: chains that are already exact straights and arcs, all of them at once.

Most CAD drawings need no fitting and no settling: arcs are arcs, ends meet, joints are
tangent to rounding. For those the bend tables of a whole drawing come out of a few array
operations. A chain with any doubt (a gap, a kink, slight corners in a row that might be tessellation,
an arc in two parts, a rebuilt joint off by more than the equality tolerance) is left to
the general way, which gives the same table; a test holds the two to each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from converter.arrays import Array, Flags, Index, vectors
from converter.errors import GeometryError
from converter.geometry.circles import crossed, within_half_turns
from converter.geometry.vectors import Vec, any_normal
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Line
from converter.reducer.chaining.chain import Chain
from converter.reducer.limits import CLEAR_TURN, MOST_TURN_TANGENT
from converter.tolerances import Tolerances

#: Times the fit tolerance: from where on a corner's height over the chord across it, and its straights, leave no doubt.
SURE_HEIGHT, SURE_LENGTH = 2.5, 20.0


@dataclass(frozen=True, slots=True)
class ExactRun:
    """A chain's table in place, with its largest deviation in mm and its point at end B."""

    table: BendTable
    placement: Placement
    deviation: float
    end: Vec


@dataclass(slots=True)
class _ChainItems:
    """The items of all candidate chains in one row: item i of the arrays, chain by chain."""

    chain: Index  # (m,) index of the chain
    arc: Flags  # (m,)
    start: Array  # (m, 3)
    end: Array
    center: Array  # zeros for lines
    normal: Array
    radius: Array  # (m,)
    angle: Array

    @property
    def chord(self) -> Array:
        """(m, 3) from start to end."""
        return self.end - self.start

    @property
    def first(self) -> Index:
        """(c,) the first item of every chain."""
        return np.flatnonzero(np.concatenate(([True], self.chain[1:] != self.chain[:-1])))

    @property
    def last(self) -> Index:
        """(c,) the last item of every chain."""
        return np.concatenate((self.first[1:] - 1, [len(self.chain) - 1]))

    @property
    def straight(self) -> Array:
        """(m,) lengths of the lines, mm; 0 for arcs."""
        return np.where(self.arc, 0.0, _size(self.chord))


@dataclass(slots=True)
class _ChainJoints:
    """Where item ``at`` ends and the next one of its chain begins.

    Attributes:
        at: (k,) index of the item before each.
        two_lines: (k,) whether two straights meet there.
        t_in, t_out: (m, 3) directions in which every item begins and ends; one and the same at a smooth joint.
        doubt: (k,) whether it wants the general way.
    """

    at: Index
    two_lines: Flags
    t_in: Array
    t_out: Array
    doubt: Flags


@dataclass(slots=True)
class _TableRows:
    """The rows of all bend tables, chain by chain: an arc item each, or the corner behind an item.

    Attributes:
        item: (r,) the arc, or the straight before the corner.
        is_corner: (r,)
        t_in, t_out: (r, 3) directions before and after it.
        normal: (r, 3) of its plane, right-hand.
        turn: (r,) degrees.
        feed, radius: (r,) mm; a corner's radius is 0.
        rotation: (r,) degrees, since the row before of the same chain.
    """

    item: Index
    is_corner: Flags
    t_in: Array
    t_out: Array
    normal: Array
    turn: Array
    feed: Array
    radius: Array
    rotation: Array


@dataclass(slots=True)
class _TableCheck:
    """What the tables make against what was drawn: (c,) largest deviation of each chain, mm, and whether it is poor."""

    deviation: Array
    poor: Flags


def exact_runs(chains: Sequence[Chain], tol: Tolerances) -> list[ExactRun | None]:
    """Tables of the chains that are exact; None for each that needs the general way."""
    out: list[ExactRun | None] = [None] * len(chains)
    chosen = [k for k, c in enumerate(chains) if not c.closed and _only_lines_and_arcs(c)]
    if not chosen:
        return out
    some = [chains[k] for k in chosen]
    items = _gather(some)
    joints = _joints(items, tol)
    rows = _rows(items, joints)
    for k, run in zip(chosen, _build(items, some, rows, joints, _checked(items, joints, rows, tol)), strict=True):
        out[k] = run
    return out


def _only_lines_and_arcs(chain: Chain) -> bool:
    if chain.gaps:
        return False
    for drawn, _ in chain.items:
        kind = type(drawn.curve)
        if kind is not Line and (kind is not Arc or drawn.curve.angle >= 360.0 - 1e-6):  # type: ignore[union-attr]
            return False
    return True


def _gather(chains: Sequence[Chain]) -> _ChainItems:
    starts: list[Vec] = []
    ends: list[Vec] = []
    centers: list[Vec] = []
    normals: list[Vec] = []
    sizes: list[tuple[float, float]] = []
    back: list[bool] = []
    index: list[int] = []
    arcs: list[int] = []
    for k, chain in enumerate(chains):
        for drawn, backward in chain.items:
            curve = drawn.curve
            starts.append(curve.start)
            ends.append(curve.end)
            if type(curve) is Arc:
                arcs.append(len(back))
                centers.append(curve.center)
                normals.append(curve.normal)
                sizes.append((curve.radius, curve.angle))
            back.append(backward)
            index.append(k)
    m = len(back)
    start, end = vectors(starts), vectors(ends)
    flip = np.array(back)
    start[flip], end[flip] = end[flip], start[flip]
    arc = np.zeros(m, bool)
    center, normal = np.zeros((m, 3)), np.zeros((m, 3))
    radius, angle = np.zeros(m), np.zeros(m)
    if arcs:
        where = np.array(arcs)
        arc[where] = True
        center[where] = vectors(centers)
        normal[where] = vectors(normals)
        normal[flip] = -normal[flip]
        radius[where], angle[where] = np.array(sizes).T
    return _ChainItems(np.array(index), arc, start, end, center, normal, radius, angle)


def _dot(a: Array, b: Array) -> Array:
    total: Array = np.einsum("ij,ij->i", a, b)
    return total


def _size(a: Array) -> Array:
    return np.sqrt(_dot(a, a))


def _unit(a: Array) -> Array:
    size = _size(a)
    return a / np.where(size > 0.0, size, 1.0)[:, None]


def _between(a: Array, b: Array) -> Array:
    """Degrees between unit vectors, row by row."""
    return np.degrees(np.arctan2(_size(crossed(a, b)), _dot(a, b)))


def _may_be_chords(it: _ChainItems, j: Index, two_lines: Flags, mismatch: Array, tol: Tolerances) -> Flags:
    """Which joints j of straights may belong to an arc in chords, or to a straight in parts, and are no sure corners.

    An arc in chords has two slight corners in a row at least: of three chords and more all inner ones are slight
    (`segment.split`), one of one or two chords has the corners at its ends, too. A slight corner between others that
    are not is a corner, if its chords are much longer than the tolerance and it lies farther from the chord that
    passes over it than two straights within the tolerance can.
    """
    slight = two_lines & (mismatch <= MOST_TURN_TANGENT + 1e-6)
    if not slight.any():
        return slight
    follows = slight[1:] & slight[:-1] & (j[1:] == j[:-1] + 1)
    in_a_row = np.zeros(len(j), bool)
    in_a_row[1:] |= follows
    in_a_row[:-1] |= follows
    chord = it.chord
    a, b = chord[j], chord[j + 1]
    over = _size(a + b)
    height = _size(crossed(a, b)) / np.where(over > 0.0, over, 1.0)
    shortest = np.minimum(_size(a), _size(b))
    unsure = (height <= SURE_HEIGHT * tol.fit) | (shortest <= SURE_LENGTH * tol.fit) | (mismatch <= 2.0 * tol.tangent)
    # a row of vertices is divided as a whole: one slight corner puts all of its chain to the test
    tested = np.zeros(int(it.chain[-1]) + 1, bool)
    tested[it.chain[j[slight]]] = True
    return in_a_row | (tested[it.chain[j]] & unsure)


def _joints(it: _ChainItems, tol: Tolerances) -> _ChainJoints:
    """The joints between items of the same chain."""
    line, straight = ~it.arc, _unit(it.chord)
    t_in = np.where(it.arc[:, None], _unit(crossed(it.normal, it.start - it.center)), straight)
    t_out = np.where(it.arc[:, None], _unit(crossed(it.normal, it.end - it.center)), straight)
    j = np.flatnonzero(it.chain[1:] == it.chain[:-1])
    after = j + 1
    mismatch = _between(t_out[j], t_in[after])
    two_lines = line[j] & line[after]
    doubt = _size(it.start[after] - it.end[j]) > tol.equal
    doubt |= np.where(two_lines, mismatch >= 180.0 - tol.tangent, mismatch > 1e-3)
    doubt |= two_lines & _may_be_chords(it, j, two_lines, mismatch, tol)
    same_circle = (
        it.arc[j]
        & it.arc[after]
        & (_size(it.center[j] - it.center[after]) <= tol.join)
        & (np.abs(it.radius[j] - it.radius[after]) <= tol.fit)
    )
    doubt |= same_circle
    # one direction per smooth joint: the straight's, else the mean of the two arcs
    smooth = np.where(
        line[j][:, None], t_out[j], np.where(line[after][:, None], t_in[after], _unit(t_out[j] + t_in[after]))
    )
    s = ~two_lines
    t_out[j[s]] = smooth[s]
    t_in[after[s]] = smooth[s]
    return _ChainJoints(j, two_lines, t_in, t_out, doubt)


def _rows(it: _ChainItems, joints: _ChainJoints) -> _TableRows:
    """One row per arc item and one per corner, in the order of the items."""
    m, t_in, t_out = len(it.chain), joints.t_in, joints.t_out
    # an arc item i has the key 2 i, the corner behind it 2 i + 1
    key = np.sort(np.concatenate((2 * np.flatnonzero(it.arc), 2 * joints.at[joints.two_lines] + 1)))
    item = key // 2
    is_corner = (key % 2).astype(bool)
    row_in = t_in[item]
    row_in[is_corner] = t_out[item[is_corner]]
    row_out = np.where(is_corner[:, None], t_in[np.minimum(item + 1, m - 1)], t_out[item])
    normal, turn = _planes(it, item, is_corner, row_in, row_out)
    length, has_before = it.straight, np.zeros(m, bool)
    has_before[joints.at + 1] = True
    feed = np.where(is_corner, length[item], np.where(has_before[item], length[item - 1], 0.0))
    radius = np.where(is_corner, 0.0, it.radius[item])
    rotation = np.zeros(len(item))
    if len(item) > 1:
        follows = it.chain[item[1:]] == it.chain[item[:-1]]
        x = crossed(normal[:-1], normal[1:])
        roll = within_half_turns(np.degrees(np.arctan2(_dot(x, row_in[1:]), _dot(normal[:-1], normal[1:]))))
        rotation[1:] = np.where(follows, roll, 0.0)
    return _TableRows(item, is_corner, row_in, row_out, normal, turn, feed, radius, rotation)


def _planes(it: _ChainItems, item: Index, is_corner: Flags, row_in: Array, row_out: Array) -> tuple[Array, Array]:
    """Of every row the normal of its plane and its turn in degrees; by the drawn normal where directions tell none."""
    c = crossed(row_in, row_out)
    sine = _size(c)
    drawn = it.normal[item]
    along_normal = _dot(c, drawn)
    clear = is_corner | ((sine > CLEAR_TURN) & (np.abs(along_normal) > 0.5 * sine))
    flat = _unit(drawn - _dot(drawn, row_in)[:, None] * row_in)
    sign = np.where(is_corner | (along_normal > 0.0), 1.0, -1.0)
    normal = np.where(clear[:, None], c * (sign / np.where(sine > 0.0, sine, 1.0))[:, None], flat)
    turn = np.degrees(np.arctan2(_dot(c, normal), _dot(row_in, row_out)))
    turn += 360.0 * np.round((np.where(is_corner, turn, it.angle[item]) - turn) / 360.0)
    return normal, turn


def _checked(it: _ChainItems, joints: _ChainJoints, rows: _TableRows, tol: Tolerances) -> _TableCheck:
    """What the tables make, joint by joint, against what was drawn."""
    a = np.radians(rows.turn)
    inward = crossed(rows.normal, rows.t_in)
    arm = rows.radius[:, None] * (inward * (1.0 - np.cos(a))[:, None] + rows.t_in * np.sin(a)[:, None])
    first = it.first
    poor = np.zeros(len(first), bool)
    np.logical_or.at(poor, it.chain[joints.at], joints.doubt)
    aimed = np.cos(a)[:, None] * rows.t_in + np.sin(a)[:, None] * inward
    astray = (_size(aimed - rows.t_out) > 1e-9) | (rows.turn <= 1e-9) | (rows.turn >= 360.0 - 1e-9)
    np.logical_or.at(poor, it.chain[rows.item], astray)
    step = np.where(it.arc[:, None], 0.0, it.chord)
    step[np.flatnonzero(it.arc)] = arm[~rows.is_corner]
    walked = np.cumsum(step, axis=0)
    base = (it.start[first] - np.where(first[:, None] > 0, walked[np.maximum(first - 1, 0)], 0.0))[it.chain]
    off = _size(walked + base - it.end)
    off = np.maximum(off, _size(walked - step + base - it.start))
    deviation = np.maximum.reduceat(off, first)
    return _TableCheck(deviation, poor | (deviation > tol.equal))


def _build(
    it: _ChainItems, chains: Sequence[Chain], rows: _TableRows, joints: _ChainJoints, checked: _TableCheck
) -> list[ExactRun | None]:
    """The tables as values; None for each poor chain."""
    columns = (rows.item, rows.is_corner, rows.feed, rows.rotation, rows.turn, rows.radius)
    table = list(zip(*(column.tolist() for column in columns), strict=True))
    bounds = np.searchsorted(it.chain[rows.item], np.arange(len(chains) + 1)).tolist()
    first, last = it.first, it.last
    head = first.tolist()
    starts, ends = it.start[first].tolist(), it.end[last].tolist()
    leaving, tails = joints.t_in[first].tolist(), it.straight[last].tolist()
    worst, poor = checked.deviation.tolist(), checked.poor.tolist()
    normals = rows.normal[np.minimum(bounds[:-1], max(len(table) - 1, 0))].tolist() if table else []
    out: list[ExactRun | None] = []
    for k, chain in enumerate(chains):
        if poor[k]:
            out.append(None)
            continue
        lo, hi = bounds[k], bounds[k + 1]
        bends = []
        for i, corner, f, rot, ang, r in table[lo:hi]:
            source = chain.items[i - head[k]][0]
            bends.append(Bend(f, rot, ang, None if corner else r, 0.0, corner, source.handle, source.layer))
        start, direction, end = tuple(starts[k]), tuple(leaving[k]), tuple(ends[k])
        normal = tuple(normals[k]) if hi > lo else any_normal(direction)
        try:
            out.append(ExactRun(BendTable(tuple(bends), tails[k]), Placement(start, direction, normal), worst[k], end))
        except GeometryError:  # beyond all measure: the general way says so by name
            out.append(None)
    return out
