"""The metal of a tube as depths below its outside, its ends as they are cut.

A bore counts as metal: what lies in it is shut in. Depth is the distance inward from the outside, below 0
outside it; at an end it is at most the length back from the cut, or from the flat end of a tube that is not cut.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import cos, radians, sin

import numpy as np

from converter.geometry.vectors import cross
from converter.joints.bodies import Body, End, Leg
from converter.joints.cuts.lines import Array, ParallelLines
from converter.joints.cuts.square import rounded
from converter.joints.cuts.torus import BendPart
from converter.joints.model import Joint

#: Lines across the net that stands for a cut onto a bend while the deepest place is looked for.
_NET = 33


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

    def depth(self, points: Array, legs: Iterable[int], *, rough: bool = False) -> Array:
        """Depth of points (n, 3) below the outside of some of its legs, (n,), mm.

        ``rough`` takes cuts onto bends, which are costly, from a net of lines worked out once.
        """
        best = np.full(len(points), -np.inf)
        for i in legs:
            depth = -self.outside(points, self.body.legs[i])
            for end in self.body.ends:
                if i == (0 if end.letter == "A" else len(self.body.legs) - 1):
                    depth = self._at_end(points, depth, end, rough)
            best = np.maximum(best, depth)
        return best

    def _at_end(self, points: Array, depth: Array, end: End, rough: bool) -> Array:
        """Depth in the leg at an end, run on where its cut leaves metal past the end point, and cut there."""
        w = points - np.asarray(end.point)
        back = -(w @ np.asarray(end.direction))
        joint = self.joints.get(end.letter)
        near = np.ones(len(points), dtype=np.bool_)
        if end.straight <= 1e-6:  # a bend may come round behind the plane of its own end
            near = np.linalg.norm(w, axis=1) <= 3.0 * self.body.half
        if joint is None:
            return np.where(near, np.minimum(depth, back), depth)
        branch = joint.base.branch
        depth = np.where(back < 0.0, self._across(end, w), depth)
        # the cut is costly where the mate is bent: only where it may take metal away
        half = self.body.half
        some = np.flatnonzero(near & (depth > -half) & (back < joint.short_point + 2.0 * half))
        if len(some):
            p, q = w[some] @ np.asarray(branch.zero), w[some] @ np.asarray(branch.side)
            if rough and any(isinstance(part, BendPart) for mate in joint.base.mates for part in mate):
                reach = self._from_net(joint, p, q)
            else:
                reach = joint.base.reach(ParallelLines(branch, p, q))[0]
            depth[some] = np.minimum(depth[some], back[some] - reach)
        return depth

    def _from_net(self, joint: Joint, p: Array, q: Array) -> Array:
        """Where a cut stops lines, from the lines of a square net about the end's axis (bilinear)."""
        wide, steps = 1.5 * self.body.half, _NET - 1
        if joint.end not in self._nets:
            even = np.linspace(-wide, wide, _NET)
            across, up = (one.ravel() for one in np.meshgrid(even, even, indexing="ij"))
            net = joint.base.reach(ParallelLines(joint.base.branch, across, up))[0]
            self._nets[joint.end] = net.reshape(_NET, _NET)
        net = self._nets[joint.end]
        x, y = (np.clip((one + wide) / (2.0 * wide), 0.0, 1.0) * steps for one in (p, q))
        i, j = (np.minimum(one.astype(np.int64), steps - 1) for one in (x, y))
        u, v = x - i, y - j
        low = net[i, j] * (1.0 - u) + net[i + 1, j] * u
        high = net[i, j + 1] * (1.0 - u) + net[i + 1, j + 1] * u
        value: Array = low * (1.0 - v) + high * v
        return value

    def _across(self, end: End, w: Array) -> Array:
        """Depth in the straight that runs on past an end."""
        outer = self.body.section.outer
        value: Array
        if outer.radius is not None:
            along = w @ np.asarray(end.direction)
            value = outer.radius - np.sqrt(np.maximum((w * w).sum(axis=1) - along * along, 0.0))
            return value
        side = np.asarray(cross(end.direction, end.up))
        value = -rounded(w @ np.asarray(end.up), w @ side, *outer.halves)
        return value

    def outside(self, points: Array, leg: Leg) -> Array:
        """Distance of points (n, 3) from the outside of a leg, mm, cuts left aside; below 0 inside it."""
        outer = self.body.section.outer
        value: Array
        if leg.arc is None:
            w = points - np.asarray(leg.start)
            s = w @ np.asarray(leg.direction)
            past = np.maximum(np.maximum(-s, s - leg.length), 0.0)
            if outer.radius is not None:
                aside = w - s[:, None] * np.asarray(leg.direction)  # no difference of squares, which rounds on the axis
                off2 = (aside * aside).sum(axis=1)
                value = np.sqrt(off2 + past * past) - outer.radius
                return value
            side = np.asarray(cross(leg.direction, leg.up))
            value = rounded(w @ np.asarray(leg.up), w @ side, *outer.halves) + past
            return value
        arc = leg.arc
        w = points - np.asarray(arc.center)
        x = (np.asarray(arc.start) - np.asarray(arc.center)) / arc.radius
        p, q, z = w @ x, w @ np.asarray(leg.direction), w @ np.asarray(arc.normal)
        sweep = radians(arc.angle)
        turn = np.arctan2(q, p)
        turn = np.where(turn < (sweep - 2.0 * np.pi) / 2.0, turn + 2.0 * np.pi, turn)
        held = np.clip(turn, 0.0, sweep)
        if outer.radius is not None:
            off2 = (p - arc.radius * np.cos(held)) ** 2 + (q - arc.radius * np.sin(held)) ** 2 + z * z
            value = np.sqrt(off2) - outer.radius
            return value
        u = arc.radius - np.hypot(p, q)  # toward the inside of the bend
        c, s_ = cos(radians(leg.roll)), sin(radians(leg.roll))
        value = rounded(u * c - z * s_, u * s_ + z * c, *outer.halves) + np.abs(turn - held) * arc.radius
        return value
