"""A tube as surfaces that rays can be shot at: what a picture needs to know which lines are hidden.

The outside of a section is a rounded rectangle (a round one has nothing but its rounding). Along a straight
its roundings sweep cylinders and its flats planes; along a bend they sweep tori and cones (planes and
cylinders among them). A ray meets each in the roots of a polynomial of degree two or, for a torus, four:
visibility is exact, with no mesh between.

A place on the outside has three coordinates: its piece (0, 1, ...), ``f`` along the piece from 0 to 1, and
``u`` around the section from ``up`` towards ``across``. One unit of ``u`` is a rounding (a quarter turn of
the surface normal) or, where there are flats, a flat: four to a turn for round tube, eight for the others.
Everything is in numpy arrays, mm and radians.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import hypot, radians
from typing import TYPE_CHECKING

from converter.arrays import Array, Flags, Ints
from converter.errors import GeometryError
from converter.exporters.pictures.hidden.cuts import EndProfile, end_profiles
from converter.model.frames import Piece, closing, pieces, slope
from converter.model.metal import CLOSES, CLOSES_KINK
from converter.model.run import Tube
from converter.model.section import Section
from converter.quoting import quoted

if TYPE_CHECKING:
    from converter.joints.model import Joint


@dataclass(frozen=True)
class Ring:
    """An outline of the section: half sizes along up and across less the rounding, and the rounding's radius.

    ``creases``: whether its roundings part flats, and a person sees them as edges along the tube.
    """

    up: float
    across: float
    rounding: float
    creases: bool = False

    @property
    def flats(self) -> bool:
        """Whether it has flats."""
        return self.up > 1e-9 or self.across > 1e-9

    @property
    def turn(self) -> int:
        """How many units of ``u`` go once around."""
        return 8 if self.flats else 4

    @property
    def reach(self) -> float:
        """Farthest point from the centre."""
        return hypot(self.up, self.across) + self.rounding

    def at(self, u: Array) -> tuple[Array, Array, Array]:
        """Points along up and across, and the angle of the outward normal from up towards across."""
        import numpy as np

        if not self.flats:
            angle = u * (np.pi / 2.0)
            return self.rounding * np.cos(angle), self.rounding * np.sin(angle), angle
        unit = np.floor(u)
        part = u - unit
        flat = (unit.astype(int) % 2).astype(bool)
        corner = np.floor_divide(unit, 2.0).astype(int)  # before the flat, where there is one
        angle = (corner + np.where(flat, 1.0, part)) * (np.pi / 2.0)
        signs = np.array([(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)]) * (self.up, self.across)
        here, there = signs[corner % 4], signs[(corner + 1) % 4]
        middle = here + (there - here) * np.where(flat, part, 0.0)[:, None]
        return (
            middle[:, 0] + self.rounding * np.cos(angle),
            middle[:, 1] + self.rounding * np.sin(angle),
            angle,
        )

    def facing(self, angle: Array) -> Array:
        """The ``u`` at which the outward normal has an angle."""
        import numpy as np

        quarters = angle / (np.pi / 2.0)
        if not self.flats:
            return np.asarray(quarters)
        whole = np.floor(quarters)
        return np.asarray(2.0 * whole + (quarters - whole))


@dataclass(frozen=True)
class Solid:
    """A tube's pieces side by side, one row each.

    Attributes:
        pieces: the pieces, in order.
        outer, inner: outlines of the section; ``inner`` None for a bar.
        closed: whether its ends meet: no end faces.
        base: (n, 3) start of a straight, centre of a bend.
        ahead, inside, normal: (n, 3) frames at the start: direction of travel, towards the inside of the bend
            (``up`` for a straight), and the bend's axis (``across``).
        size: (n,) length of a straight, angle of a bend.
        radius: (n,) of the bend, 0 for a straight.
        roll: (n,) from ``up`` to ``inside``.
        lean: (n, 4) slopes of the mitres at start and end along up and across.
        cuts: of both ends that are cut to fit; None where they are square.
    """

    pieces: tuple[Piece, ...]
    outer: Ring
    inner: Ring | None
    closed: bool
    base: Array
    ahead: Array
    inside: Array
    normal: Array
    size: Array
    radius: Array
    roll: Array
    lean: Array
    cuts: tuple[EndProfile | None, EndProfile | None] = (None, None)

    @cached_property
    def bent(self) -> Flags:
        """(n,) whether each piece is a bend."""
        import numpy as np

        return np.asarray(self.radius > 0.0)

    @cached_property
    def _swept(self) -> Array:
        """(n,) angle of a bend, 0 for a straight."""
        return self.size * self.bent

    @cached_property
    def _rolled(self) -> tuple[Array, Array]:
        """(n,) cosine and sine of the roll of each piece."""
        import numpy as np

        return np.cos(self.roll), np.sin(self.roll)

    def frames(self, piece: Ints, f: Array) -> tuple[Array, Array]:
        """(n, 3) directions of travel and directions to the inside at places along pieces."""
        import numpy as np

        turn = (self._swept[piece] * f)[:, None]
        c, s = np.cos(turn), np.sin(turn)
        t, b = self.ahead[piece], self.inside[piece]
        return t * c + b * s, b * c - t * s

    def points(self, piece: Ints, f: Array, u: Array, ring: Ring | None = None) -> Array:
        """(n, 3) points on the outside, or on another outline."""
        return self.surface(piece, f, u, ring)[0]

    def surface(self, piece: Ints, f: Array, u: Array, ring: Ring | None = None) -> tuple[Array, Array]:
        """(n, 3) points on the outside, or on another outline, and (n, 3) outward unit normals there."""
        import numpy as np

        p, q, angle = (ring or self.outer).at(u)
        t, b = self.frames(piece, f)
        c, s = (column[piece] for column in self._rolled)
        x, z = p * c + q * s, q * c - p * s
        bent, radius, normal = self.bent[piece], self.radius[piece], self.normal[piece]
        k = self.lean[piece]
        first = k[:, 0] * p + k[:, 1] * q
        last = self.size[piece] - k[:, 2] * p - k[:, 3] * q
        if any(self.cuts):
            off_a, off_b = self.trimmed(piece, np.arctan2(q, p), bore=ring is not None)
            first, last = first + off_a, last - off_b
        last = np.maximum(last, first)
        along = np.where(bent, 0.0, first + (last - first) * f)
        points = self.base[piece] + t * along[:, None] + b * (x - radius)[:, None] + normal * z[:, None]
        turn = (angle - self.roll[piece])[:, None]
        return points, b * np.cos(turn) + normal * np.sin(turn)

    def trimmed(self, piece: Ints, angle: Array, *, bore: bool = False) -> tuple[Array, Array]:
        """What the cuts of the ends take off pieces at angles of the section: at their start, at their end."""
        import numpy as np

        off = np.zeros((2, len(angle)))
        for row, cut, end in zip(off, self.cuts, (0, len(self.size) - 1), strict=True):
            if cut is not None:
                there = np.flatnonzero(piece == end)
                row[there] = cut.at(angle[there], bore=bore)
        return off[0], off[1]

    @cached_property
    def rims(self) -> tuple[Array | None, Array | None]:
        """(n, 3) points of ends A and B that are cut to fit, outside and bore; None where they are square."""
        return self._rim(0), self._rim(1)

    def _rim(self, end: int) -> Array | None:
        import numpy as np

        cut = self.cuts[end]
        if cut is None:
            return None
        u = self.outer.facing(cut.angles)
        piece = np.full(len(u), end * (len(self.size) - 1))
        rings = [self.outer] if self.inner is None else [self.outer, self.inner]
        f = np.full(len(u), float(end))
        return np.concatenate([self.points(piece, f, u, None if ring is self.outer else ring) for ring in rings])

    def normals(self, piece: Ints, f: Array, u: Array) -> Array:
        """(n, 3) outward unit normals on the outside."""
        import numpy as np

        angle = self.outer.at(u)[2] - self.roll[piece]
        _, b = self.frames(piece, f)
        return np.asarray(b * np.cos(angle)[:, None] + self.normal[piece] * np.sin(angle)[:, None])

    def edge_angle(self, piece: Ints, f: Array, toward: Array) -> Array:
        """The angle of one of the two normals square to a direction (n, 3) of each; the other is half a turn on."""
        import numpy as np

        _, b = self.frames(piece, f)
        return np.arctan2(-dots(b, toward), dots(self.normal[piece], toward)) + self.roll[piece]

    def middles(self, piece: Ints, f: Array) -> Array:
        """(n, 3) points of the centerline."""
        import numpy as np

        t, b = self.frames(piece, f)
        step = np.where(
            self.bent[piece][:, None], -b * self.radius[piece][:, None], t * (self.size[piece] * f)[:, None]
        )
        return np.asarray(self.base[piece] + step)


def dots(a: Array, b: Array) -> Array:
    """Scalar products of vectors (..., 3): in the order of ``sum``, which takes three times as long for so few."""
    import numpy as np

    each = a * b
    return np.asarray(each[..., 0] + each[..., 1] + each[..., 2])


def solid_of(tube: Tube, joints: Sequence[Joint] = ()) -> Solid:
    """The surfaces of a tube, its ends cut to fit where joints say so.

    Raises:
        GeometryError: it has no section, or its straights are shorter than nothing.
    """
    import numpy as np

    if tube.section is None:
        raise GeometryError(f"Tube {quoted(tube.name)} has no known section.", code="no-solid", where=tube.name)
    run = tube.run
    found = pieces(run.table, run.placement, run.closed)
    gap, kink, _ = closing(found)
    closed = run.closed and gap <= CLOSES and kink <= CLOSES_KINK
    outer, inner = rings(tube.section)
    rows = []
    for i, piece in enumerate(found):
        arc, at = piece.arc, piece.start
        before = found[i - 1].corner if i or closed else None
        roll = radians(piece.roll)
        up, across = np.array(at.up), np.array(at.across)
        rows.append(
            (
                arc.center if arc else at.point,
                at.direction,
                up * np.cos(roll) + across * np.sin(roll) if arc else up,
                arc.normal if arc else across,
                radians(arc.angle) if arc else piece.length,
                arc.radius if arc else 0.0,
                roll if arc else 0.0,
                (0.0, 0.0, 0.0, 0.0) if arc else (*slope(before), *slope(piece.corner)),
            )
        )
    base, ahead, inside, normal, size, radius, turned, lean = (
        np.array(column, dtype=float) for column in zip(*rows, strict=True)
    )
    cuts = (None, None) if closed else end_profiles(tube, found, joints)
    return Solid(found, outer, inner, closed, base, ahead, inside, normal, size, radius, turned, lean, cuts)


def rings(section: Section) -> tuple[Ring, Ring | None]:
    """The outlines of a section: outside, and bore (None for a bar)."""
    outer, *inner = (
        Ring(up - corner, across - corner, corner, loop.creases)
        for loop in section.loops
        for up, across, corner in [loop.halves]
    )
    return outer, inner[0] if inner else None
