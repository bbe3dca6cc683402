"""The metal of tubes as depths below their outsides, their ends as they are cut; many legs and places at once.

A bore counts as metal: what lies in it is shut in. Depth is the distance inward from the outside, below 0
outside it; at an end it is at most the length back from the cut, or from the flat end of a tube that is not cut.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np

from converter.arrays import Array, Flags, Ints, distinct
from converter.geometry.vectors import Vec, cross
from converter.joints.bodies import Body, End, Leg
from converter.joints.cuts.lines import ParallelLines
from converter.joints.cuts.saddle import angles, reach_of_many
from converter.joints.cuts.square import rounded
from converter.joints.cuts.torus import BendPart
from converter.joints.model import Joint

#: Lines across the net that stands for a cut onto a bend while the deepest place is looked for.
_NET = 33
#: Nets that are worked out together.
_NETS_AT_ONCE = 8
#: Degrees between the lines that say how far back a cut goes at least.
_COARSE = 15.0
#: mm; an end with less straight than this is taken for one that lies in a bend.
_STRAIGHT = 1e-6
_NOWHERE: Vec = (0.0, 0.0, 0.0)


class Trimmed:
    """A tube with its cuts.

    Args:
        body: the tube.
        joints: its cuts by end letter.
    """

    def __init__(self, body: Body, joints: Mapping[str, Joint]) -> None:
        self.body = body
        self.joints = joints
        self._nets: dict[str, Array] = {}
        self._sure: dict[str, float] = {}

    def net(self, letter: str) -> Array:
        """Where a cut stops the lines of a square net about the end's axis, `_NET` by `_NET`; worked out once."""
        if letter not in self._nets:
            look_at_nets([(self, letter)])
        return self._nets[letter]

    def sure(self, letter: str) -> float:
        """How far back from its end a cut may take metal away for certain, mm: short of that by its coarse lines."""
        if letter not in self._sure:
            look_at_shortest([(self, letter)])
        return self._sure[letter]

    @property
    def net_reach(self) -> float:
        """How far from the axis the nets of its ends go, mm."""
        return 1.5 * self.body.half


def look_at_nets(ends: Sequence[tuple[Trimmed, str]]) -> None:
    """Work out the nets of some cuts together, so that none has to later."""
    asked = [(tube, letter) for tube, letter in dict.fromkeys(ends) if letter not in tube._nets]
    for first in range(0, len(asked), _NETS_AT_ONCE):
        some = asked[first : first + _NETS_AT_ONCE]
        cuts = [tube.joints[letter].base for tube, letter in some]
        lines = []
        for cut, (tube, _) in zip(cuts, some, strict=True):
            even = np.linspace(-tube.net_reach, tube.net_reach, _NET)
            across, up = (one.ravel() for one in np.meshgrid(even, even, indexing="ij"))
            lines.append(ParallelLines(cut.branch, across, up))
        found = reach_of_many(list(zip(cuts, lines, strict=True)))
        for (tube, letter), (stops, _) in zip(some, found, strict=True):
            tube._nets[letter] = stops.reshape(_NET, _NET)


def look_at_shortest(ends: Sequence[tuple[Trimmed, str]]) -> None:
    """Work out together how far back some cuts may surely take metal away."""
    some = [(tube, letter) for tube, letter in dict.fromkeys(ends) if letter not in tube._sure]
    cuts = [tube.joints[letter].cut for tube, letter in some]
    found = reach_of_many([(cut, cut.branch.lines(angles(_COARSE))) for cut in cuts])
    for (tube, letter), (stops, _) in zip(some, found, strict=True):
        # the short point is costly, and hardly ever needed
        tube._sure[letter] = float(stops.max()) + 2.0 * tube.body.half


@dataclass(frozen=True, slots=True)
class _LegEnds:
    """One end of every leg, where it has one: arrays of as many rows as there are legs.

    Attributes:
        has: whether an end of its tube lies at the leg; bent: whether its bend goes right up to it.
        point, direction, up, side: of the end (n, 3); half: of its tube.
        cut: the number of its cut, -1 for a flat end.
    """

    has: Flags
    bent: Flags
    point: Array
    direction: Array
    up: Array
    side: Array
    half: Array
    cut: Ints


class TrimmedLegs:
    """Legs of tubes with their cuts; places are asked for by the number of the leg.

    Args:
        legs: the tube of each, and its place in it.
    """

    def __init__(self, legs: Sequence[tuple[Trimmed, int]]) -> None:
        rows = [_leg_row(tube.body, tube.body.legs[i]) for tube, i in legs]
        self._table = np.array(rows, dtype=np.float64).reshape(-1, 21)
        self._bent = np.array([tube.body.legs[i].arc is not None for tube, i in legs], dtype=np.bool_)
        self._round = np.array([tube.body.section.outer.radius is not None for tube, _ in legs], dtype=np.bool_)
        self._half = np.array([tube.body.half for tube, _ in legs])
        self._cuts: list[tuple[Trimmed, Joint]] = []
        numbers: dict[tuple[int, str], int] = {}
        self._ends = [self._of_letter(legs, letter, numbers) for letter in "AB"]
        # of each cut, NaN and -1 until it is asked for: how far back from its end it is heeded, from where on that is
        # in doubt until the former is known, how far back its net reaches, and the place of that
        self._limits, self._sure, self._furthest = np.full((3, len(self._cuts)), np.nan)
        self._net_of = np.full(len(self._cuts), -1, dtype=np.int64)
        self._nets = np.empty((0, _NET, _NET))
        self._net_wide = np.array([tube.net_reach for tube, _ in self._cuts])
        self._netted = np.array(
            [any(isinstance(p, BendPart) for mate in j.base.mates for p in mate) for _, j in self._cuts], dtype=np.bool_
        )
        self._zero, self._side = (
            np.array(v).reshape(-1, 3)
            for v in ([j.base.branch.zero for _, j in self._cuts], [j.base.branch.side for _, j in self._cuts])
        )

    def depth(self, points: Array, leg: Ints, *, rough: bool = False) -> Array:
        """Depths of places (n, k, 3) below the outside of one leg for each row, (n, k), mm.

        ``rough`` takes cuts onto bends, which are costly, from a net of lines worked out once.
        """
        depth = -self.outside(points, leg)
        for ends in self._ends:
            some = np.flatnonzero(ends.has[leg])
            if len(some):
                depth[some] = self._at_end(points[some], depth[some], ends, leg[some], rough)
        return depth

    def outside(self, points: Array, leg: Ints) -> Array:
        """Distance of places (n, k, 3) from the outside of a leg, mm, cuts left aside; below 0 inside it."""
        found = np.empty(points.shape[:2])
        bent, round_ = self._bent[leg], self._round[leg]
        for is_bent, distance in ((False, self._off_straights), (True, self._off_bends)):
            for is_round in (False, True):
                some = np.flatnonzero((bent == is_bent) & (round_ == is_round))
                if len(some):
                    found[some] = distance(points[some], self._table[leg[some]], is_round)
        return found

    @staticmethod
    def _off_straights(points: Array, table: Array, is_round: bool) -> Array:
        w, way = points - table[:, None, :3], table[:, 3:6]
        s = _along(w, way)
        past = np.maximum(np.maximum(-s, s - table[:, 12:13]), 0.0)
        if is_round:
            aside = w - s[..., None] * way[:, None]  # no difference of squares, which rounds on the axis
            value: Array = np.sqrt((aside * aside).sum(axis=2) + past * past) - table[:, 17:18]
            return value
        value = rounded(_along(w, table[:, 6:9]), _along(w, table[:, 9:12]), *_sizes(table)) + past
        return value

    @staticmethod
    def _off_bends(points: Array, table: Array, is_round: bool) -> Array:
        w = points - table[:, None, :3]
        p, q, z = (_along(w, table[:, i : i + 3]) for i in (3, 6, 9))
        clr, sweep = table[:, 13:14], table[:, 14:15]
        turn = np.arctan2(q, p)
        turn = np.where(turn < (sweep - 2.0 * np.pi) / 2.0, turn + 2.0 * np.pi, turn)
        held = np.clip(turn, 0.0, sweep)
        if is_round:
            off2 = (p - clr * np.cos(held)) ** 2 + (q - clr * np.sin(held)) ** 2 + z * z
            value: Array = np.sqrt(off2) - table[:, 17:18]
            return value
        u = clr - np.hypot(p, q)  # toward the inside of the bend
        c, s = table[:, 15:16], table[:, 16:17]
        value = rounded(u * c - z * s, u * s + z * c, *_sizes(table)) + np.abs(turn - held) * clr
        return value

    def _at_end(self, points: Array, depth: Array, ends: _LegEnds, leg: Ints, rough: bool) -> Array:
        """Depth in legs at their ends, run on where a cut leaves metal past the end point, and cut there."""
        w = points - ends.point[leg][:, None]
        ahead = _along(w, ends.direction[leg])
        back, half, cut = -ahead, ends.half[leg][:, None], ends.cut[leg]
        near = np.ones(depth.shape, dtype=np.bool_)
        bent = np.flatnonzero(ends.bent[leg])
        if len(bent):  # a bend may come round behind the plane of its own end
            near[bent] = np.linalg.norm(w[bent], axis=2) <= 3.0 * half[bent]
        flat = cut < 0
        depth = np.where(flat[:, None] & near, np.minimum(depth, back), depth)
        if flat.all():
            return depth
        past = ~flat[:, None] & (back < 0.0)
        rows = np.flatnonzero(past.any(axis=1))
        if len(rows):
            depth[rows] = np.where(past[rows], self._across(w[rows], ahead[rows], ends, leg[rows]), depth[rows])
        # the cut is costly where the mate is bent: only where it may take metal away
        may = ~flat[:, None] & near & (depth > -half)
        self._look_at(distinct(cut[may.any(axis=1)]), rough)
        row, column = np.nonzero(may & self._matters(back, depth, cut, rough))
        if len(row):
            p, q = (_along(w, axes[cut])[row, column] for axes in (self._zero, self._side))
            which, here, there = cut[row], depth[row, column], back[row, column]
            stops = self._stops(p, q, which, rough)
            # beyond what surely may be taken away it is seldom that a cut would take any; then its greatest reach tells
            doubtful = (there >= self._sure[which]) & (there - stops < here)
            self._measure(distinct(which[doubtful]))
            taken = ~doubtful | (there < self._limits[which])
            depth[row, column] = np.where(taken, np.minimum(here, there - stops), here)
        return depth

    def _matters(self, back: Array, depth: Array, cut: Ints, rough: bool) -> Flags:
        """Where cuts may take metal away that lies so far back from their ends and so deep."""
        if not rough:  # of few places, which are all asked about
            return np.ones(back.shape, dtype=np.bool_)
        sure, most = (np.where(cut < 0, -np.inf, one[cut])[:, None] for one in (self._sure, self._furthest))
        value: Flags = (back < sure) | (back - depth < most)
        return value

    def _across(self, w: Array, ahead: Array, ends: _LegEnds, leg: Ints) -> Array:
        """Depth in the straights that run on past ends."""
        value = np.empty(w.shape[:2])
        for is_round in (False, True):
            some = np.flatnonzero(self._round[leg] == is_round)
            table, at = self._table[leg[some]], leg[some]
            if is_round:
                off2 = (w[some] * w[some]).sum(axis=2) - ahead[some] * ahead[some]
                value[some] = table[:, 17:18] - np.sqrt(np.maximum(off2, 0.0))
            elif len(some):
                value[some] = -rounded(_along(w[some], ends.up[at]), _along(w[some], ends.side[at]), *_sizes(table))
        return value

    def _look_at(self, cuts: Ints, rough: bool) -> None:
        """Work out how far back from their ends some cuts surely may take metal away, and at most."""
        new = cuts[np.isnan(self._sure[cuts])]
        netted = self._netted[new]
        look_at_shortest([self._end(number) for number in new[netted].tolist()])
        for number in new[netted].tolist():
            tube, letter = self._end(number)
            self._sure[number] = tube.sure(letter)
        self._measure(new[~netted])
        self._sure[new[~netted]], self._furthest[new[~netted]] = self._limits[new[~netted]], -np.inf
        if rough:
            new = cuts[np.isnan(self._furthest[cuts])]
            look_at_nets([self._end(number) for number in new.tolist()])
            self._net_of[new] = len(self._nets) + np.arange(len(new))
            nets = [tube.net(letter) for tube, letter in map(self._end, new.tolist())]
            self._nets = np.concatenate((self._nets, *(net[None] for net in nets)))
            self._furthest[new] = [float(net.max()) for net in nets]

    def _end(self, cut: int) -> tuple[Trimmed, str]:
        tube, joint = self._cuts[cut]
        return tube, joint.end

    def _measure(self, cuts: Ints) -> None:
        """Work out the short points of some cuts."""
        for number in cuts[np.isnan(self._limits[cuts])].tolist():
            tube, joint = self._cuts[number]
            self._limits[number] = joint.short_point + 2.0 * tube.body.half

    def _stops(self, p: Array, q: Array, cut: Ints, rough: bool) -> Array:
        """Where cuts stop lines (n,) at offsets from their axes."""
        found = np.empty(len(p))
        from_net = self._netted[cut] if rough else np.zeros(len(cut), dtype=np.bool_)
        some = np.flatnonzero(from_net)
        if len(some):
            found[some] = self._from_nets(p[some], q[some], cut[some])
        rest = np.flatnonzero(~from_net)
        rest = rest[np.argsort(cut[rest], kind="stable")]
        each = np.split(rest, np.flatnonzero(np.diff(cut[rest])) + 1) if len(rest) else []
        bases = [self._cuts[int(cut[rows[0]])][1].base for rows in each]
        asked = [(base, ParallelLines(base.branch, p[rows], q[rows])) for base, rows in zip(bases, each, strict=True)]
        for rows, (stops, _) in zip(each, reach_of_many(asked), strict=True):
            found[rows] = stops
        return found

    def _from_nets(self, p: Array, q: Array, cut: Ints) -> Array:
        """Where cuts stop lines, from the lines of the nets about their ends' axes (bilinear)."""
        wide, steps = self._net_wide[cut], _NET - 1
        x, y = (np.clip((one + wide) / (2.0 * wide), 0.0, 1.0) * steps for one in (p, q))
        i, j = (np.minimum(one.astype(np.int64), steps - 1) for one in (x, y))
        u, v = x - i, y - j
        corner, flat = (self._net_of[cut] * _NET + i) * _NET + j, self._nets.ravel()
        low = flat[corner] * (1.0 - u) + flat[corner + _NET] * u
        high = flat[corner + 1] * (1.0 - u) + flat[corner + _NET + 1] * u
        value: Array = low * (1.0 - v) + high * v
        return value

    def _of_letter(
        self, legs: Sequence[tuple[Trimmed, int]], letter: str, numbers: dict[tuple[int, str], int]
    ) -> _LegEnds:
        """The ends of one letter; their cuts get numbers, each one number."""
        found: list[End | None] = []
        cuts = []
        for tube, i in legs:
            at_end = bool(tube.body.ends) and i == (0 if letter == "A" else len(tube.body.legs) - 1)
            found.append(tube.body.ends["AB".index(letter)] if at_end else None)
            joint = tube.joints.get(letter) if at_end else None
            if joint is None:
                cuts.append(-1)
                continue
            key = id(tube), letter
            if key not in numbers:
                numbers[key] = len(self._cuts)
                self._cuts.append((tube, joint))
            cuts.append(numbers[key])
        vectors = [
            (end.point, end.direction, end.up, cross(end.direction, end.up)) if end else (_NOWHERE,) * 4
            for end in found
        ]
        point, direction, up, side = np.array(vectors).reshape(-1, 4, 3).transpose(1, 0, 2)
        has = np.array([end is not None for end in found], dtype=np.bool_)
        bent = np.array([end is not None and end.straight <= _STRAIGHT for end in found], dtype=np.bool_)
        return _LegEnds(has, bent, point, direction, up, side, self._half, np.array(cuts, dtype=np.int64))


def _along(w: Array, axis: Array) -> Array:
    """Vectors (n, k, 3) along one axis (n, 3) for each row, (n, k)."""
    value: Array = np.matmul(w, axis[:, :, None])[..., 0]
    return value


def _sizes(table: Array) -> tuple[Array, Array, Array]:
    """Half sizes and corner radii of sections, as columns."""
    return table[:, 18:19], table[:, 19:20], table[:, 20:21]


def _leg_row(body: Body, leg: Leg) -> tuple[float, ...]:
    """A leg as numbers: origin and three axes (a straight's way, height and side; a bend's start, way and normal),
    length; radius, sweep in radians, cosine and sine of the roll of a bend; OD / 2, half sizes and corner radius."""
    outer = body.section.outer
    sizes = (outer.radius or 0.0, *outer.halves)
    if leg.arc is None:
        side = cross(leg.direction, leg.up)
        return (*leg.start, *leg.direction, *leg.up, *side, leg.length, 0.0, 0.0, 1.0, 0.0, *sizes)
    arc = leg.arc
    x = [(a - b) / arc.radius for a, b in zip(arc.start, arc.center, strict=True)]
    roll = radians(leg.roll)
    turn = radians(arc.angle), cos(roll), sin(roll)
    return (*arc.center, *x, *leg.direction, *arc.normal, leg.length, arc.radius, *turn, *sizes)
