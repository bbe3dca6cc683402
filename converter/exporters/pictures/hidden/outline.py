"""The outline of a tube seen from far away: its silhouette, ends and seams where nothing stands before them.

A tube of section radius r about a centerline c(s) with direction t(s), seen along v, has its silhouette where
the surface normal stands square to v: at c(s) +- r (t x v)/|t x v|. For a section with flats the same holds
with the point of the section that reaches farthest that way. Places of lines come from these formulas; where
a line is hidden, by `sight`, its end is found by halving.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import ceil

from converter.arrays import Array, Flags, Ints
from converter.exporters.pictures.cells import chords_of
from converter.exporters.pictures.hidden.sight import Sight
from converter.exporters.pictures.hidden.skin import skin
from converter.exporters.pictures.hidden.solid import Solid
from converter.geometry.vectors import Vec

#: Greatest step along a line between places whose visibility is asked, in sizes of the section.
_STEP = 0.5
#: Most steps along one straight.
_MOST_STEPS = 160
#: Steps around the section for ends and seams.
_AROUND = 48
#: The same for ends cut to fit.
_AROUND_CUT = 240
#: How often the place where a line disappears is halved.
_HALVINGS = 12
#: How many of these halvings are asked for at once.
_AT_ONCE = 4
#: Greatest step around the section between two points of a silhouette, in units of `Solid`'s ``u``.
_SWING = 0.15


#: Points (n, 2), role, and the piece it lies on.
Line = tuple[Array, str, int]
#: Of a line: piece, places f and u along it, role, and what `_PlaceRows.add` is told of it.
_Part = tuple[int, Array, Array, str, bool, bool, int]


@dataclass(frozen=True, eq=False)
class VisibleOutline:
    """What is seen of a tube, as rows (n, 2) of points in mm of the view (right, up).

    Attributes:
        lines: points, role and piece of each line.
        skin: convex or simple shapes that together cover what the tube covers.
        bores: the open ends that are seen whole.
        inside: shapes of what may be seen of the bore in ends cut to fit; the skin lies over them.
    """

    lines: tuple[Line, ...]
    skin: tuple[Array, ...]
    bores: tuple[Array, ...]
    inside: tuple[Array, ...] = ()

    @cached_property
    def chords(self) -> tuple[Array, Array]:
        """Both ends of every chord of the lines, (n, 2) each."""
        return chords_of([points for points, _, _ in self.lines])


def outline(solid: Solid, right: Vec, up: Vec, chord: float = 0.1) -> VisibleOutline:
    """The outline of a tube.

    Args:
        solid: the tube.
        right, up: unit vectors of the view, square to each other; the eye is far out along right x up.
        chord: greatest distance of a drawn line from the true one, mm.

    Returns:
        Lines with hidden parts left out; a line ends where it is hidden, to within a thousandth of a step.
    """
    import numpy as np

    view = np.array([right, up])
    toward = np.cross(view[0], view[1])
    sight = Sight(solid, toward)
    rows = _PlaceRows()
    count = len(solid.size)
    edges = _bend_edges(solid, toward, chord)
    every = np.arange(count)
    angles = solid.outer.facing(solid.edge_angle(every, np.zeros(count), toward))
    facing = solid.frames(every, np.ones(count))[0] @ toward
    around = [np.linspace(0.0, solid.outer.turn, steps + 1) for steps in (_AROUND, _AROUND_CUT)]
    for i in range(count):
        if i in edges:
            for f, u in edges[i]:
                rows.add(i, f, u, "tube", edge=True)
                if (other := _other_edge(solid, u)) is not None:
                    rows.add(i, f, other, "tube")
        else:
            u0 = angles[i]
            f = np.linspace(0.0, 1.0, _steps(solid.size[i] / solid.outer.reach) + 1)
            edges[i] = [(f, np.full(len(f), u0 + k * solid.outer.turn / 2.0)) for k in (0, 1)]
            if abs(solid.ahead[i] @ toward) < 1.0 - 1e-9:
                for _, u in edges[i]:
                    rows.add(i, f, u, "tube")
                    if (other := _other_edge(solid, u)) is not None:
                        rows.add(i, f, other, "tube")
        if solid.outer.creases:
            _creases(rows, solid, i, chord)
        _rim(rows, solid, i, float(facing[i]), around)
    lines = rows.visible_lines(solid, sight, toward, view)
    bores = _bores(solid, sight, toward, view, lines)
    covered, inside = skin(solid, toward, view, edges)
    return VisibleOutline(tuple(lines), tuple(covered), tuple(bores), tuple(inside))


def _other_edge(solid: Solid, u: Array) -> Array | None:
    """Where a flat is seen exactly edge on, its other edge is silhouette too; None where none is."""
    import numpy as np

    corner = round(float(u[0])) if solid.outer.flats else None
    if corner is None or np.abs(u - corner).max() > 1e-6:
        return None
    # an even place ends the flat before it, an odd one starts the flat after it
    return np.full(len(u), corner + (1.0 if corner % 2 else -1.0))


def _steps(lengths: float) -> int:
    """Steps along something so many sizes of the section long."""
    return int(min(_MOST_STEPS, max(4, ceil(lengths / _STEP))))


def _bend_steps(solid: Solid, i: int, chord: float) -> int:
    """Steps along a bend: near enough for its chords and for what hides it."""
    from math import acos

    outside = float(solid.radius[i]) + solid.outer.reach
    angle = float(solid.size[i])
    sagitta = 2.0 * acos(max(0.9, 1.0 - chord / outside))
    return int(max(6, ceil(angle / sagitta), ceil(angle * outside / (solid.outer.reach * 1.5))))


def bend_steps(solid: Solid, chord: float) -> tuple[int, ...]:
    """Steps along every bend: all that `outline` makes of ``chord``."""
    return tuple(_bend_steps(solid, i, chord) for i in range(len(solid.size)) if solid.radius[i] > 0.0)


def _bend_edges(solid: Solid, toward: Array, chord: float) -> dict[int, list[tuple[Array, Array]]]:
    """Both silhouettes of each bend as places (f, u), closer together where they swing around the section."""
    import numpy as np

    ring = solid.outer

    def around(places: dict[int, Array]) -> dict[int, Array]:
        """The ``u`` of a silhouette at places along bends; all are asked for at once."""
        counts = [len(f) for f in places.values()]
        angle = solid.edge_angle(np.repeat(list(places), counts), np.concatenate(list(places.values())), toward)
        parts = np.split(ring.facing(angle), np.cumsum(counts)[:-1])
        return {i: np.unwrap(u, period=ring.turn) for i, u in zip(places, parts, strict=True)}

    bends = np.flatnonzero(solid.bent).tolist()
    if not bends:
        return {}
    f_of = {i: np.linspace(0.0, 1.0, _bend_steps(solid, i, chord) + 1) for i in bends}
    u_of = around(f_of)
    swinging = bends
    for _ in range(30):
        finer = {}
        for i in swinging:
            f = f_of[i]
            wide = (np.abs(np.diff(u_of[i])) > _SWING) & (np.diff(f) > 1e-7)
            if wide.any():
                finer[i] = np.sort(np.concatenate([f, (f[:-1] + f[1:])[wide] / 2.0]))
        if not finer:
            break
        f_of |= finer
        u_of |= around(finer)
        swinging = list(finer)
    found = {}
    for i in bends:
        f, u = f_of[i], u_of[i]
        # the eye looks along the tube: all around the section at once, or over a flat
        swings = np.nonzero(np.abs(np.diff(u)) > _SWING)[0]
        for at in swings[::-1]:
            n = ceil(abs(u[at + 1] - u[at]) * 8)
            between = np.linspace(u[at], u[at + 1], n + 1)
            f = np.insert(f, at + 1, np.full(n + 1, f[at]))
            u = np.insert(u, at + 1, between)
        found[i] = [(f, u), (f, u + ring.turn / 2.0)]
    return found


def _creases(rows: _PlaceRows, solid: Solid, i: int, chord: float) -> None:
    """The four edges of a section with flats, at the middle of their roundings."""
    import numpy as np

    n = _bend_steps(solid, i, chord) if solid.radius[i] > 0.0 else _steps(solid.size[i] / solid.outer.reach)
    f = np.linspace(0.0, 1.0, n + 1)
    role = "seam" if solid.outer.rounding > 1e-9 else "tube"
    for k in range(4):
        rows.add(i, f, np.full(n + 1, 2.0 * k + 0.5), role, corner=True)


def _rim(rows: _PlaceRows, solid: Solid, i: int, facing: float, rings: Sequence[Array]) -> None:
    """The outline of the section at the end of a piece, and at the start of the first.

    Args:
        rows: to add it to.
        solid, i: the tube and the number of the piece.
        facing: how far the direction at its end is turned to the eye (cosine).
        rings: places around the section: of an end that is square, and of one that is cut to fit.
    """
    import numpy as np

    u, fine = rings
    last = i == len(solid.size) - 1
    # a mitre is an edge of the metal; seen along the tube its whole outline is
    edge = bool(np.any(solid.lean[i, 2:])) or abs(facing) > 1.0 - 1e-9
    open_end = last and not solid.closed
    if open_end:
        around = u if solid.cuts[1] is None else fine
        rows.add(i, np.ones(len(around)), around, "tube", face=1)
    elif edge and solid.radius[i] == 0.0 and (follower := (i + 1) % len(solid.size)) != i:
        # either side of a mitre may be the one that is seen
        rows.add(i, np.ones(len(u)), u, "tube")
        rows.add(follower, np.zeros(len(u)), u, "tube")
    else:
        rows.add(i, np.ones(len(u)), u, "tube" if edge else "seam")
    if i == 0 and not solid.closed:
        around = u if solid.cuts[0] is None else fine
        rows.add(i, np.zeros(len(around)), around, "tube", face=-1)


def _bores(solid: Solid, sight: Sight, toward: Array, view: Array, lines: list[Line]) -> list[Array]:
    """Adds what is seen of the bore's rims to the lines; returns those that are seen whole."""
    import numpy as np

    found: list[Array] = []
    if solid.closed or solid.inner is None:
        return found
    for (i, f, out), cut in zip(((0, 0.0, -1.0), (len(solid.size) - 1, 1.0, 1.0)), solid.cuts, strict=True):
        u = np.linspace(0.0, solid.inner.turn, (_AROUND if cut is None else _AROUND_CUT) + 1)
        piece = np.full(len(u), i)
        t, _ = solid.frames(piece[:1], np.array([f]))
        if out * float(t[0] @ toward) < 1e-3:
            continue
        points = solid.points(piece, np.full(len(u), f), u, solid.inner)
        hidden = sight.hidden(points, piece, None if cut is None else np.ones(len(u), dtype=bool))
        flat = points @ view.T
        # of a cut end the far side is seen instead, but for the eye that looks along it
        if (cut is None or abs(float(t[0] @ toward)) > 1.0 - 1e-9) and not hidden.any():
            found.append(flat)
        # the rim of a bore lies within the face: to a step is near enough
        for a, b in _runs(~hidden):
            lines.append((flat[a:b], "tube", i))
    return found


class _PlaceRows:
    """Lines as places on the tube, one below the other, asked all at once."""

    def __init__(self) -> None:
        self._parts: list[_Part] = []

    def add(
        self, piece: int, f: Array, u: Array, role: str, *, edge: bool = False, corner: bool = False, face: int = 0
    ) -> None:
        """Add a line along places (f, u) of a piece.

        Args:
            edge: whether it is the silhouette of a bend, so that ``u`` follows from ``f``.
            corner: whether either of the flats beside it shows it.
            face: the rim of an end face: 1 at the end, -1 at the start.
        """
        self._parts.append((piece, f, u, role, edge, corner, face))

    def visible_lines(self, solid: Solid, sight: Sight, toward: Array, view: Array) -> list[Line]:
        """The parts of the lines that nothing hides, in the view, with their roles."""
        import numpy as np

        parts = self._parts
        count = [len(part[1]) for part in parts]
        first = np.cumsum([0, *count])
        line = np.repeat(np.arange(len(parts)), count)
        f = np.concatenate([part[1] for part in parts])
        u = np.concatenate([part[2] for part in parts])
        rows = _Rows.of(solid, toward, parts, count)
        visible, points = rows.visibility(solid, sight, toward, f, u)
        # where a line appears or disappears between two places
        change = np.nonzero((line[:-1] == line[1:]) & (visible[:-1] != visible[1:]))[0]
        turning = points[change]
        if len(change):
            many = rows.some(np.tile(change, 2**_AT_ONCE - 1))
            between = _between(solid, toward, rows.some(change), f, u, change)

            def are_visible(parts: Array) -> Flags:
                """Whether places (k, n) on the way from each change to the next row are seen."""
                return many.visibility(solid, sight, toward, *between(parts))[0].reshape(parts.shape)

            inside = last_seen(are_visible, np.where(visible[change], 0.0, 1.0))
            turning = solid.points(rows.piece[change], *between(inside[None]))
        flat, turns = points @ view.T, turning @ view.T
        at = {int(c): turns[k] for k, c in enumerate(change)}
        lines: list[Line] = []
        for n, part in enumerate(parts):
            a, b = int(first[n]), int(first[n + 1])
            straight = solid.radius[part[0]] == 0.0 and not np.any(part[2] != part[2][0])
            for start, stop in _runs(visible[a:b]):
                before = [at[a + start - 1]] if start else []
                after = [at[a + stop - 1]] if a + stop < b else []
                chain = flat[a + start : a + stop]
                if before or after:
                    chain = np.vstack([*before, chain, *after])
                if straight:
                    chain = chain[[0, -1]]
                if (chain.max(axis=0) - chain.min(axis=0)).max() > 1e-6 * solid.outer.reach:
                    lines.append((chain, part[3], part[0]))
        return lines


@dataclass(frozen=True, slots=True)
class _Rows:
    """What holds of places on lines wherever on their lines they are, (n,) each.

    Attributes:
        piece: that they lie on.
        edge: on the silhouette of a bend.
        corner: on an edge between two flats, of which either may show it.
        outside: never turned away from the eye: a silhouette, and the rim of a square end face that is turned to it.
        cut_rim: on the rim of an end that is cut to fit: it shows its far side where its near side is not before it.
    """

    piece: Ints
    edge: Flags
    corner: Flags
    outside: Flags
    cut_rim: Flags

    @classmethod
    def of(cls, solid: Solid, toward: Array, parts: Sequence[_Part], count: Sequence[int]) -> _Rows:
        """The rows of lines with so many places each."""
        import numpy as np

        t, _ = solid.frames(np.array([0, len(solid.size) - 1]), np.array([0.0, 1.0]))
        start, end = (t @ toward).tolist()
        open_to_eye = {0: False, -1: -start > 1e-9, 1: end > 1e-9}
        cut = {0: False, -1: solid.cuts[0] is not None, 1: solid.cuts[1] is not None}
        columns = zip(
            *(
                (piece, edge, corner, edge or (open_to_eye[face] and not cut[face]), cut[face])
                for piece, _, _, _, edge, corner, face in parts
            ),
            strict=True,
        )
        return cls(*(np.repeat(np.array(column), count) for column in columns))

    def some(self, rows: Ints) -> _Rows:
        """Some of the rows."""
        return _Rows(self.piece[rows], self.edge[rows], self.corner[rows], self.outside[rows], self.cut_rim[rows])

    def visibility(self, solid: Solid, sight: Sight, toward: Array, f: Array, u: Array) -> tuple[Flags, Array]:
        """Whether nothing hides places (f, u), one of each row, and the places (n, 3)."""
        import numpy as np

        points, normals = solid.surface(self.piece, f, u)
        out = normals @ toward
        # a corner lies on the far side of its piece when the flats on both its sides do
        if self.corner.any():
            sides = [solid.surface(self.piece, f, np.floor(u) + k)[1] @ toward for k in (0.0, 1.0)]
            out = np.where(self.corner, np.maximum(*sides), out)
        visible = self.outside | (out >= -1e-9)
        within = None
        if any(solid.cuts):
            within = self.cut_rim & ~visible
            visible |= within
        ask = np.nonzero(visible)[0]
        visible[ask] = ~sight.hidden(points[ask], self.piece[ask], None if within is None else within[ask])
        return visible, points


def _between(
    solid: Solid, toward: Array, rows: _Rows, f: Array, u: Array, row: Ints
) -> Callable[[Array], tuple[Array, Array]]:
    """Places parts (k, n) of the way from rows to the next ones, one below the other; on a silhouette they keep to it.

    Args:
        rows: what holds of the places.
        f, u: all places.
        row: which of them the ways begin at.
    """
    import numpy as np

    f0, df, u0, du = f[row], f[row + 1] - f[row], u[row], u[row + 1] - u[row]
    follow = rows.edge & (df > 1e-7)
    half, i = solid.outer.turn / 2.0, rows.piece[follow]

    def places(parts: Array) -> tuple[Array, Array]:
        fm, um = f0 + df * parts, u0 + du * parts
        if len(i):
            own, near = fm[:, follow], um[:, follow]
            exact = solid.outer.facing(solid.edge_angle(np.tile(i, len(parts)), own.ravel(), toward)).reshape(own.shape)
            um[:, follow] = exact + half * np.round((near - exact) / half)
        return fm.ravel(), um.ravel()

    return places


def last_seen(are_visible: Callable[[Array], Flags], start: Array) -> Array:
    """How far along it is seen, of each of some ways that are seen at one end: found by halving.

    Several halvings are asked for at once, though most of the answers are then not wanted: asking takes the time.

    Args:
        are_visible: whether parts (k, n) of the ways are.
        start: (n,) where they are seen: 0 at their start or 1 at their end.
    """
    import numpy as np

    count = 2**_AT_ONCE
    inside, beyond, way = start, 1.0 - start, np.arange(len(start))
    for _ in range(_HALVINGS // _AT_ONCE):
        step = (beyond - inside) / count
        good = are_visible(inside + step * np.arange(1, count)[:, None])
        low, high = np.zeros(len(start), dtype=np.int64), np.full(len(start), count)
        while high[0] - low[0] > 1:
            middle = (low + high) // 2
            found = good[middle - 1, way]
            low, high = np.where(found, middle, low), np.where(found, high, middle)
        inside, beyond = inside + step * low, inside + step * high
    return inside


def _runs(flags: Flags) -> list[tuple[int, int]]:
    """Start and end (exclusive) of each run of True."""
    import numpy as np

    if not len(flags):
        return []
    changes = (np.flatnonzero(flags[1:] != flags[:-1]) + 1).tolist()
    stops = [*([0] if flags[0] else []), *changes, *([len(flags)] if flags[-1] else [])]
    return list(zip(stops[::2], stops[1::2], strict=True))
