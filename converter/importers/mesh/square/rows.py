"""The vertices of a flat-sided tube, each with the side it lies on, and how far it is from there."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

import numpy as np

from converter.arrays import Array, Flags, Ints, blocks
from converter.geometry.vectors import cross, rotate
from converter.importers.mesh.feet import TablePart, parts_of
from converter.importers.mesh.weld import MeshBody
from converter.model.bends import BendTable, Placement

#: The outward direction of each side by up and across.
SIDES = np.array(((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)))
LATERAL = 0.9  #: of a normal's length lies across the tube where its face is one of a side
STRAIGHT_OUT = 0.025  #: sine of the angle between a side's direction and faces that are of its flat
CORNER = 1.1  #: of a corner's radius: how far it may reach as long as that is known roughly
ASTRAY = 0.12  #: of the smaller side by which a face may miss the side it looks from


@dataclass(frozen=True, slots=True)
class SquareSizes:
    """Sizes of a section, mm.

    Attributes:
        width, height: across the first bend's plane, and in it.
        corner: radius of the outside's corners, 0 for sharp.
        wall: None of a bar.
        inner: radius of the bore's corners.
    """

    width: float
    height: float
    corner: float
    wall: float | None
    inner: float

    @property
    def smaller(self) -> float:
        """The smaller outside size, mm."""
        return min(self.width, self.height)

    def halves(self, bore: Flags) -> Array:
        """(n, 3) of each vertex: half the height, half the width and the corner of the outline it lies on."""
        deep = self.wall or 0.0
        rows = np.array(
            (
                (self.height / 2.0, self.width / 2.0, self.corner),
                (self.height / 2.0 - deep, self.width / 2.0 - deep, self.inner),
            )
        )
        picked: Array = rows[bore.astype(np.int64)]
        return picked


@dataclass(frozen=True, slots=True, eq=False)
class FramedPart:
    """A straight or bend with the section's directions at its start: (3,) up and across."""

    part: TablePart
    up: Array
    across: Array

    @property
    def length(self) -> float:
        """Along the centerline, mm."""
        return self.part.length if self.part.arc is None else self.part.arc.length


def stretches_of(table: BendTable, placement: Placement) -> list[FramedPart]:
    """The straights and bends of a table with the section's frame, which no rotation turns about the tube."""
    out = []
    for part in parts_of(table, placement):
        # the plane's normal has turned by all rotations up to here, the section has not
        last = part.row + 1 if part.arc is not None else part.row
        turned = sum(bend.rotation for bend in table.bends[:last])
        across = rotate(part.n, part.t, -turned)
        out.append(FramedPart(part, np.array(cross(across, part.t)), np.array(across)))
    return out


@dataclass(frozen=True, slots=True, eq=False)
class SectionPlaces:
    """Where points lie on a tube: (n,) which stretch, along up and across, and along the tube; mm."""

    owner: Ints
    p: Array
    q: Array
    place: Array


def places_on(points: Array, stretches: list[FramedPart], owner: Ints | None = None) -> SectionPlaces:
    """Where points (n, 3) lie on a tube whose first and last straights are prolonged.

    Args:
        points: mm.
        stretches: the tube.
        owner: (n,) the stretch that each belongs to; None to find the nearest.
    """
    count = len(points)
    which = np.zeros(count, np.int64) if owner is None else owner
    best = np.full(count, np.inf)
    p, q, place = np.zeros(count), np.zeros(count), np.zeros(count)
    for k, one in enumerate(stretches):
        own = np.arange(count) if owner is None else np.flatnonzero(owner == k)
        if len(own) == 0:
            continue
        a, b, s = _across_and_along(points[own], one)
        if owner is None:
            below = np.zeros(count) if k == 0 else np.maximum(0.0, -s)
            above = np.zeros(count) if k == len(stretches) - 1 else np.maximum(0.0, s - one.length)
            off = a * a + b * b + (below + above) ** 2
            closer = off < best
            best[closer], which[closer] = off[closer], k
            p[closer], q[closer], place[closer] = a[closer], b[closer], s[closer] + one.part.place
        else:
            p[own], q[own], place[own] = a, b, s + one.part.place
    return SectionPlaces(which, p, q, place)


def _across_and_along(points: Array, one: FramedPart) -> tuple[Array, Array, Array]:
    """Of points, along up and across of a stretch, and along it from its start; turned back to there in a bend."""
    part = one.part
    arm = points - np.array(part.point)
    if part.arc is None:
        return arm @ one.up, arm @ one.across, arm @ np.array(part.t)
    center, normal = np.array(part.arc.center), np.array(part.n)
    out = (np.array(part.point) - center) / part.arc.radius
    arm = points - center
    height, x, y = arm @ normal, arm @ out, arm @ np.array(part.t)
    half = radians(part.arc.angle) / 2.0
    angle = half + np.mod(np.arctan2(y, x) - half + np.pi, 2.0 * np.pi) - np.pi
    off = np.hypot(x, y) - part.arc.radius
    p = off * float(out @ one.up) + height * float(normal @ one.up)
    q = off * float(out @ one.across) + height * float(normal @ one.across)
    return p, q, angle * part.arc.radius


def frames_at(spots: SectionPlaces, stretches: list[FramedPart]) -> tuple[Array, Array, Array]:
    """(n, 3) up, across and along at the places of points."""
    up, across, along = (np.empty((len(spots.place), 3)) for _ in range(3))
    for k, one in enumerate(stretches):
        own = np.flatnonzero(spots.owner == k)
        part = one.part
        for out, v in ((up, one.up), (across, one.across), (along, np.array(part.t))):
            if part.arc is None:
                out[own] = v
                continue
            n = np.array(part.n)
            angle = ((spots.place[own] - part.place) / part.arc.radius)[:, None]
            high = (v @ n) * n
            out[own] = high + np.cos(angle) * (v - high) + np.sin(angle) * np.cross(n, v)
    return up, across, along


@dataclass(frozen=True, slots=True, eq=False)
class SkinRows:
    """Vertices of the sides, one row for each side that one lies on.

    Attributes:
        points: (n, 3) mm.
        side: (n,) of `SIDES`.
        bore: (n,) whether it is the bore's.
        level: (n,) whether a face looks straight out of that side there, so that it is no rounded corner's.
    """

    points: Array
    side: Ints
    bore: Flags
    level: Flags

    def thinned(self, most: int) -> SkinRows:
        """At most that many, evenly."""
        if len(self.points) <= most:
            return self
        pick = np.linspace(0, len(self.points) - 1, most).astype(np.intp)
        return SkinRows(self.points[pick], self.side[pick], self.bore[pick], self.level[pick])


def misses(rows: SkinRows, spots: SectionPlaces, sizes: SquareSizes) -> Array:
    """(n,) signed distance of each row from its side, or from the rounded corner beside it, mm."""
    half_p, half_q, corner = sizes.halves(rows.bore).T
    ways = SIDES[rows.side]
    on_p = ways[:, 0] != 0.0
    ahead = np.where(on_p, ways[:, 0] * spots.p - half_p, ways[:, 1] * spots.q - half_q)
    beside = np.where(on_p, np.abs(spots.q) - half_q, np.abs(spots.p) - half_p)
    rounded = np.hypot(np.maximum(ahead + corner, 0.0), beside + corner) - corner
    out: Array = np.where((corner > 0.0) & (beside > -corner) & ~rows.level, rounded, ahead)
    return out


def off_outline(spots: SectionPlaces, sizes: SquareSizes, bore: bool) -> Array:
    """(n,) distance of points from the outline of the outside or the bore, mm."""
    half_p, half_q, corner = sizes.halves(np.full(1, bore))[0]
    a, b = np.abs(spots.p) - (half_p - corner), np.abs(spots.q) - (half_q - corner)
    out: Array = np.abs(np.hypot(np.maximum(a, 0.0), np.maximum(b, 0.0)) + np.minimum(np.maximum(a, b), 0.0) - corner)
    return out


@dataclass(frozen=True, slots=True, eq=False)
class SideFaces:
    """The faces of a body's sides.

    Attributes:
        outer, bore: (m,) masks.
        side: (m,) of `SIDES`, the one that each looks from.
        level: (m,) whether they look straight out of it.
    """

    outer: Flags
    bore: Flags
    side: Ints
    level: Flags


def side_faces(
    body: MeshBody, stretches: list[FramedPart], sizes: SquareSizes, outward: float, within: float | None = None
) -> SideFaces:
    """Which faces of a body are sides of a tube, outside or bore, by where they lie and look.

    Args:
        body: the mesh.
        stretches, sizes: the tube.
        outward: 1.0 where faces look out of the metal.
        within: mm from its outline that all their corners must be; None where the tube is known roughly only.
    """
    corners = places_on(body.points, stretches)
    close = None if within is None else [off_outline(corners, sizes, bore) <= within for bore in (False, True)]
    columns: list[tuple[Flags, Flags, Ints, Flags]] = []
    for some in blocks(len(body.faces)):
        faces = body.faces[some]
        outer, bore, facing, looks = _facing(body, some, stretches, sizes, outward)
        if close is not None:
            outer &= close[0][faces].all(axis=1)
            bore &= close[1][faces].all(axis=1)
        side = np.where(bore, (facing + 2) % 4, facing)
        slant = np.sqrt((looks * looks).sum(axis=1))
        level = np.abs(looks * SIDES[(facing + 1) % 4]).max(axis=1) < STRAIGHT_OUT * slant
        level &= ~_in_corner(corners, faces, side, sizes.halves(bore))
        columns.append((outer, bore, side, level))
    return SideFaces(*(np.concatenate(column) for column in zip(*columns, strict=True)))


def _facing(
    body: MeshBody, some: slice, stretches: list[FramedPart], sizes: SquareSizes, outward: float
) -> tuple[Flags, Flags, Ints, Array]:
    """Of some faces: whether they are the outside's by their middles, or the bore's; the side (`SIDES`) that each looks
    out of, and its normal (k, 2) along up and across."""
    spots = places_on(body.points[body.faces[some]].mean(axis=1), stretches)
    up, across, _ = frames_at(spots, stretches)
    normals = body.normals[some]
    looks = outward * np.stack((np.einsum("ij,ij->i", up, normals), np.einsum("ij,ij->i", across, normals)), axis=1)
    slack = ASTRAY * sizes.smaller
    facing = np.argmax(looks @ SIDES.T, axis=1).astype(np.int64)
    half = np.array((sizes.height / 2.0, sizes.width / 2.0))
    away = (SIDES[facing] * np.stack((spots.p, spots.q), axis=1)).sum(axis=1)
    lateral = np.sqrt((looks * looks).sum(axis=1)) > LATERAL
    lateral &= (np.abs(spots.p) < half[0] + slack) & (np.abs(spots.q) < half[1] + slack)
    outer = lateral & (np.abs(away - half[facing % 2]) < slack + 0.3 * sizes.corner)
    # a bore's face looks to the middle: it lies on the other side
    wall = sizes.wall
    if wall is None:
        deep = (away < -0.02 * sizes.smaller) & (away > -half[facing % 2])
    else:
        deep = np.abs(away + half[facing % 2] - wall) < min(slack, 0.5 * wall) + 0.3 * sizes.inner
    return outer, lateral & deep & ~outer, facing, looks


def _in_corner(spots: SectionPlaces, faces: Ints, side: Ints, halves: Array) -> Flags:
    """Which faces lie all in one rounded corner beside their side: its first facets may be next to level."""
    beside = np.where(side[:, None] % 2 == 0, np.abs(spots.q)[faces], np.abs(spots.p)[faces])
    half = np.where(side % 2 == 0, halves[:, 1], halves[:, 0])
    out: Flags = (halves[:, 2] > 0.0) & (beside > (half - CORNER * halves[:, 2])[:, None]).all(axis=1)
    return out


def rows_of(body: MeshBody, faces: SideFaces, with_bore: bool) -> SkinRows:
    """The vertices of the side faces, each once for every side that it has a face of."""
    parts = []
    for bore, mask in ((False, faces.outer), (True, faces.bore if with_bore else np.zeros_like(faces.bore))):
        corners = body.faces[mask]
        kind = faces.side[mask] * 2 + faces.level[mask]
        keys = np.unique(corners.reshape(-1) * 8 + np.repeat(kind, 3))
        parts.append((keys // 8, keys % 8, np.full(len(keys), bore)))
    vertex, kinds, bore_of = (np.concatenate(column) for column in zip(*parts, strict=True))
    return SkinRows(body.points[vertex], kinds // 2, bore_of, kinds % 2 == 1)
