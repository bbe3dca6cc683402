"""Straights and bows: what the curves of a chain are taken for, as drawn or as fitted.

Pieces follow each other but need not meet or be tangent exactly: that is settled later. They carry the vertices they
stand for, as the proof.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import radians

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import fit_circle, fit_line, radius_uncertainty, vec
from converter.geometry.vectors import (
    Vec,
    along,
    dot,
    signed_angle,
    sub,
    unit,
)
from converter.model.curve import Arc


@dataclass(frozen=True, slots=True)
class Straight:
    """A straight piece from p to q along the unit vector d.

    Attributes:
        proof: (n, 3) vertices it stands for.
        item: index of the drawn curve it comes from.
    """

    p: Vec
    q: Vec
    d: Vec
    proof: Array
    item: int

    @property
    def length(self) -> float:
        """Length in mm along d."""
        return dot(sub(self.q, self.p), self.d)

    @property
    def directions(self) -> tuple[Vec, Vec]:
        """Unit vectors in which it begins and ends."""
        return self.d, self.d


@dataclass(frozen=True, slots=True, eq=False)
class Bow:
    """A circular piece.

    Attributes:
        arc: the circle, its ends and its angle.
        exact: drawn as an arc; False when fitted.
        uncertainty: +- mm of the radius; 0 when exact.
        level: tolerance in mm of the rung that found it; 0 when exact.
        proof: (n, 3) vertices it stands for.
        item: index of the drawn curve it comes from.
        free: comes from an ellipse or spline, that is from no tessellation.
        tangent: fitted together with the pieces beside it, to which it is tangent.
        doubtful: another number of pieces would follow what was drawn as well: a curve of no straights and arcs.
        scattered: what was drawn scatters farther than the fit tolerance about any chain of about so few pieces.
        alone: mm, the radius it would have by itself where it shares one with others; else 0.
    """

    arc: Arc
    exact: bool
    uncertainty: float
    level: float
    proof: Array
    item: int
    free: bool = False
    tangent: bool = False
    doubtful: bool = False
    scattered: bool = False
    alone: float = 0.0

    @property
    def directions(self) -> tuple[Vec, Vec]:
        """Unit vectors in which it begins and ends."""
        return self.arc.start_direction, self.arc.end_direction


Piece = Straight | Bow

ENOUGH = 3000  #: vertices a circle is fitted to; more change nothing


def exact_bows(arc: Arc, item: int) -> list[Piece]:
    """An arc as pieces; a full circle as two halves, since no bend turns 360 degrees."""
    halves = [arc]
    if arc.angle >= 360.0 - 1e-9:
        first = Arc.swept(arc.center, arc.normal, arc.start, 180.0)
        halves = [first, Arc(arc.center, arc.normal, arc.radius, first.end, arc.start, 180.0)]
    return [Bow(a, True, 0.0, 0.0, np.array([a.point(a.angle * k / 8.0) for k in range(9)]), item) for a in halves]


def straight_through(proof: Array, core: Array, item: int) -> Straight:
    """The straight through the vertices ``core`` (m, 3) by least squares, as long as ``proof`` (n, 3) reaches."""
    point, d, _ = fit_line(core)
    ends = [along(point, d, dot(sub(vec(e), point), d)) for e in (proof[0], proof[-1])]
    return Straight(ends[0], ends[1], d, proof, item)


def bow_through(proof: Array, core: Array, level: float, item: int, free: bool) -> list[Piece]:
    """The fitted bow of vertices in order.

    Args:
        proof: (n, 3) all vertices, mm.
        core: (m, 3) those the circle is fitted to.
        level: tolerance in mm they were found at.
        item: index of the drawn curve.
        free: whether they sample a free curve.

    Returns:
        One bow; two halves for a full circle; a straight where they have no circle.
    """
    circle = fit_circle(core[:: 1 + len(core) // ENOUGH]) or fit_circle(proof)
    if circle is None:  # a bow that is a line after all
        p, q = vec(proof[0]), vec(proof[-1])
        return [Straight(p, q, unit(sub(q, p)), proof, item)]
    c, n = circle.center, circle.normal
    ends = []
    for point in (vec(proof[0]), vec(proof[-1])):
        arm = sub(point, c)
        arm = unit(along(arm, n, -dot(arm, n)))
        ends.append(along(c, arm, circle.radius))
    # a row may begin and end on the same side: count the whole turn along the vertices
    arms = proof[np.linspace(0, len(proof) - 1, min(len(proof), ENOUGH)).astype(np.intp)] - np.array(c)
    x, y = arms[:-1], arms[1:]
    turned = float(np.degrees(np.arctan2(np.cross(x, y) @ np.array(n), (x * y).sum(axis=1))).sum())
    angle = signed_angle(sub(ends[0], c), sub(ends[1], c), n)
    angle += 360.0 * round((turned - angle) / 360.0)
    angle = min(max(angle, 1e-9), 360.0)
    loose = radius_uncertainty(max(circle.residual, 1e-9), radians(angle) / 2.0)
    arc = Arc(c, n, circle.radius, ends[0], ends[1], angle)
    if angle < 360.0 - 1e-6:
        return [Bow(arc, False, loose, level, proof, item, free)]
    halves = exact_bows(replace(arc, angle=360.0, end=ends[0]), item)
    return [
        Bow(b.arc, False, loose, level, b.proof if i else proof, item, free)
        for i, b in enumerate(halves)
        if isinstance(b, Bow)
    ]
