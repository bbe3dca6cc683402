"""The outline of a tube seen from far away: its silhouette, ends and seams where nothing stands before them.

A tube of section radius r about a centerline c(s) with direction t(s), seen along v, has its silhouette where
the surface normal stands square to v: at c(s) +- r (t x v)/|t x v|. For a section with flats the same holds
with the point of the section that reaches farthest that way. Places of lines come from these formulas; where
a line is hidden, by `sight`, its end is found by halving.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import ceil
from typing import NamedTuple

from converter.arrays import Array, Flags, Ints
from converter.exporters.paper.cells import chords_of
from converter.exporters.pictures.hidden.sight import Sight
from converter.exporters.pictures.hidden.skin import bend_edges, skins, steps_along
from converter.exporters.pictures.hidden.solid import Solid, dots
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
_AT_ONCE = 3


#: Points (n, 2), role, and the piece it lies on.
Line = tuple[Array, str, int]


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


def outlines(solid: Solid, views: Sequence[tuple[Vec, Vec]], chords: Sequence[float]) -> list[VisibleOutline]:
    """The outlines of a tube in several views, worked out side by side.

    Args:
        solid: the tube.
        views: of each, unit vectors to the right and up, square to each other; the eye is far out along right x up.
        chords: of each, greatest distance of a drawn line from the true one, mm.

    Returns:
        Lines with hidden parts left out; a line ends where it is hidden, to within a thousandth of a step.
    """
    import numpy as np

    axes = np.array(views)
    sight = Sight(solid, axes)
    toward, count = sight.toward, len(solid.size)
    every = np.arange(count)
    bends = np.flatnonzero(solid.bent).tolist()
    steps = [{i: steps_along(solid, i, chord) for i in bends} for chord in chords]
    edges = bend_edges(solid, toward, steps)
    mitred = np.any(solid.lean[:, 2:], axis=1)
    lines = _SightLines(solid, toward)
    for view, eye in enumerate(toward):
        sides = solid.outer.facing(solid.edge_angle(every, np.zeros(count), eye)).tolist()
        end_on = (np.abs(solid.frames(every, np.ones(count))[0] @ eye) > 1.0 - 1e-9).tolist()
        seen_along = (np.abs(solid.ahead @ eye) >= 1.0 - 1e-9).tolist()
        for i in range(count):
            if i in steps[view]:
                f = even_places(steps[view][i])
                for places, u in edges[view, i]:
                    lines.add(_LinePart(view, i, places, u, edge=True))
                    lines.add_other_edge(view, i, places, u)
            else:
                f = even_places(_steps(solid.size[i] / solid.outer.reach))
                for half in () if seen_along[i] else (0.0, solid.outer.turn / 2.0):
                    u = np.full(len(f), sides[i] + half)
                    lines.add(_LinePart(view, i, f, u, ruled=True))
                    lines.add_other_edge(view, i, f, u)
            if solid.outer.creases:
                lines.add_creases(view, i, f)
            # a mitre is an edge of the metal; seen along the tube its whole outline is
            lines.add_rims(view, i, bool(mitred[i]) or end_on[i])
    found = lines.visible(sight, axes)
    bores = _bores(solid, sight, axes, found)
    skin = skins(solid, axes, toward, edges)
    return [
        VisibleOutline(tuple(own), tuple(covered), tuple(open_ends), tuple(inside))
        for own, open_ends, (covered, inside) in zip(found, bores, skin, strict=True)
    ]


def outline(solid: Solid, right: Vec, up: Vec, chord: float = 0.1) -> VisibleOutline:
    """The same in one view."""
    return outlines(solid, [(right, up)], [chord])[0]


@lru_cache(maxsize=256)
def even_places(steps: int) -> Array:
    """Places from 0 to 1, so many steps apart; not to be changed."""
    import numpy as np

    return np.linspace(0.0, 1.0, steps + 1)


def _steps(lengths: float) -> int:
    """Steps along something so many sizes of the section long."""
    return int(min(_MOST_STEPS, max(4, ceil(lengths / _STEP))))


def bend_steps(solid: Solid, chord: float) -> tuple[int, ...]:
    """Steps along every bend: all that `outlines` makes of a chord."""
    return tuple(steps_along(solid, i, chord) for i in range(len(solid.size)) if solid.radius[i] > 0.0)


def _bores(solid: Solid, sight: Sight, views: Array, lines: list[list[Line]]) -> list[list[Array]]:
    """Adds what is seen of the bore's rims to the lines of each view; returns those that are seen whole."""
    import numpy as np

    found: list[list[Array]] = [[] for _ in views]
    if solid.closed or solid.inner is None:
        return found
    for i, f, out, cut in (
        (0, 0.0, -1.0, solid.cuts[0]),
        (len(solid.size) - 1, 1.0, 1.0, solid.cuts[1]),
    ):
        along = solid.frames(np.array([i]), np.array([f]))[0] @ sight.toward.T
        seen = np.flatnonzero(out * along[0] >= 1e-3)
        if not len(seen):
            continue
        u = solid.inner.turn * even_places(_AROUND if cut is None else _AROUND_CUT)
        n = len(u)
        points = solid.points(np.full(n, i), np.full(n, f), u, solid.inner)
        within = None if cut is None else np.ones(n * len(seen), dtype=bool)
        asked = np.tile(points, (len(seen), 1)), np.full(n * len(seen), i), np.repeat(seen, n)
        hidden = sight.hidden(*asked, within).reshape(len(seen), n)
        for view, own in zip(seen.tolist(), hidden, strict=True):
            flat = points @ views[view].T
            # of a cut end the far side is seen instead, but for the eye that looks along it
            if (cut is None or abs(float(along[0, view])) > 1.0 - 1e-9) and not own.any():
                found[view].append(flat)
            # the rim of a bore lies within the face: to a step is near enough
            lines[view] += [(flat[a:b], "tube", i) for a, b in _runs(~own)]
    return found


class _LinePart(NamedTuple):
    """A line as places (f, u) along a piece.

    Attributes:
        view: that it belongs to.
        edge: whether it is the silhouette of a bend, so that ``u`` follows from ``f``.
        corner: whether either of the flats beside it shows it.
        face: the rim of an end face: 1 at the end, -1 at the start.
        ruled: whether it is straight.
    """

    view: int
    piece: int
    f: Array
    u: Array
    role: str = "tube"
    edge: bool = False
    corner: bool = False
    face: int = 0
    ruled: bool = False


class _SightLines:
    """Lines of a tube in its views as places on it, one below the other, asked all at once.

    Args:
        solid: the tube.
        toward: (v, 3) unit vectors towards the eye of each view.
    """

    def __init__(self, solid: Solid, toward: Array) -> None:
        self._solid, self._toward = solid, toward
        self._parts: list[_LinePart] = []

    def add(self, part: _LinePart) -> None:
        """Add a line; those of a view follow each other."""
        self._parts.append(part)

    def add_other_edge(self, view: int, piece: int, f: Array, u: Array) -> None:
        """Where a flat is seen exactly edge on, its other edge is silhouette too."""
        import numpy as np

        if not self._solid.outer.flats:
            return
        corner = round(float(u[0]))
        if np.abs(u - corner).max() <= 1e-6:
            # an even place ends the flat before it, an odd one starts the flat after it
            u = np.full(len(u), corner + (1.0 if corner % 2 else -1.0))
            self.add(_LinePart(view, piece, f, u, ruled=not self._solid.bent[piece]))

    def add_creases(self, view: int, piece: int, f: Array) -> None:
        """The four edges of a section with flats, at the middle of their roundings."""
        import numpy as np

        solid = self._solid
        role, ruled = "seam" if solid.outer.rounding > 1e-9 else "tube", not solid.bent[piece]
        for k in range(4):
            u = np.full(len(f), 2.0 * k + 0.5)
            self.add(_LinePart(view, piece, f, u, role, corner=True, ruled=ruled))

    def add_rims(self, view: int, piece: int, edge: bool) -> None:
        """The outline of the section at the end of a piece, and at the start of the first.

        Args:
            view, piece: of which.
            edge: whether it is an edge of the metal, or is seen as such, where another piece follows.
        """
        solid, count = self._solid, len(self._solid.size)
        last = piece == count - 1
        if last and not solid.closed:
            self._add_rim(view, piece, 1.0, face=1)
        elif edge and solid.radius[piece] == 0.0 and count > 1:
            # either side of a mitre may be the one that is seen
            self._add_rim(view, piece, 1.0)
            self._add_rim(view, (piece + 1) % count, 0.0)
        else:
            self._add_rim(view, piece, 1.0, "tube" if edge else "seam")
        if piece == 0 and not solid.closed:
            self._add_rim(view, piece, 0.0, face=-1)

    def _add_rim(self, view: int, piece: int, f: float, role: str = "tube", face: int = 0) -> None:
        import numpy as np

        cut = face and self._solid.cuts[face > 0] is not None
        u = self._solid.outer.turn * even_places(_AROUND_CUT if cut else _AROUND)
        self.add(_LinePart(view, piece, np.full(len(u), f), u, role, face=face))

    def visible(self, sight: Sight, views: Array) -> list[list[Line]]:
        """The parts of the lines that nothing hides, in their views (v, 2, 3), with their roles."""
        import numpy as np

        solid, parts = self._solid, self._parts
        count = [len(part.f) for part in parts]
        line = np.repeat(np.arange(len(parts)), count)
        f, u = np.concatenate([part.f for part in parts]), np.concatenate([part.u for part in parts])
        rows = _Rows.of(solid, self._toward, parts, count)
        seen, points = rows.visibility(solid, sight, f, u)
        # where a line appears or disappears between two places
        change = np.flatnonzero((line[:-1] == line[1:]) & (seen[:-1] != seen[1:]))
        if len(change):
            many = rows.some(np.tile(change, 2**_AT_ONCE - 1))
            between = _between(solid, self._toward, rows.some(change), f, u, change)

            def are_visible(parts: Array) -> Flags:
                """Whether places (k, n) on the way from each change to the next row are seen."""
                return many.visibility(solid, sight, *between(parts))[0].reshape(parts.shape)

            inside = last_seen(are_visible, np.where(seen[change], 0.0, 1.0))
            turning = solid.points(rows.piece[change], *between(inside[None]))
            # the place where it does belongs to what is seen of the line
            points = np.insert(points, change + 1, turning, axis=0)
            seen, line = np.insert(seen, change + 1, True), np.insert(line, change + 1, line[change])
        begins = np.searchsorted(line, np.searchsorted([part.view for part in parts], np.arange(len(views) + 1)))
        flat = np.concatenate([points[a:b] @ axes.T for a, b, axes in zip(begins, begins[1:], views, strict=False)])
        lines: list[list[Line]] = [[] for _ in views]
        for start, stop in _seen_stretches(flat, np.where(seen, line, -1), 1e-6 * solid.outer.reach):
            part, chain = parts[line[start]], flat[start:stop]
            lines[part.view].append((chain[[0, -1]] if part.ruled else chain, part.role, part.piece))
        return lines


def _seen_stretches(flat: Array, line: Ints, least: float) -> list[tuple[int, int]]:
    """Start and end (exclusive) of each stretch of points (n, 2) on one line, -1 where none is seen.

    Those that are hardly larger than a point are left out.
    """
    import numpy as np

    stops = np.flatnonzero(np.diff(line, prepend=-1, append=-1))
    ends = np.stack((stops[:-1], stops[1:]), axis=1)[line[stops[:-1]] >= 0]
    if not len(ends):
        return []
    # every second of the pieces that it is cut into at all ends, of which the last may lie behind it
    rows = np.concatenate((flat, flat[-1:]))
    high, low = (edge.reduceat(rows, ends.ravel())[::2] for edge in (np.maximum, np.minimum))
    kept: list[tuple[int, int]] = ends[(high - low).max(axis=1) > least].tolist()
    return kept


@dataclass(frozen=True, slots=True)
class _Rows:
    """What holds of places on lines wherever on their lines they are, (n,) each.

    Attributes:
        view, piece: in which and on which they lie.
        edge: on the silhouette of a bend.
        corner: on an edge between two flats, of which either may show it.
        outside: never turned away from the eye: a silhouette, and the rim of a square end face that is turned to it.
        cut_rim: on the rim of an end that is cut to fit: it shows its far side where its near side is not before it.
    """

    view: Ints
    piece: Ints
    edge: Flags
    corner: Flags
    outside: Flags
    cut_rim: Flags

    @classmethod
    def of(cls, solid: Solid, toward: Array, parts: Sequence[_LinePart], count: Sequence[int]) -> _Rows:
        """The rows of lines with so many places each."""
        import numpy as np

        t, _ = solid.frames(np.array([0, len(solid.size) - 1]), np.array([0.0, 1.0]))
        start, end = (t @ toward.T).tolist()
        cut = {0: False, -1: solid.cuts[0] is not None, 1: solid.cuts[1] is not None}

        def outside(part: _LinePart) -> bool:
            to_eye = {0: 0.0, -1: -start[part.view], 1: end[part.view]}[part.face]
            return part.edge or (to_eye > 1e-9 and not cut[part.face])

        columns = zip(
            *((part.view, part.piece, part.edge, part.corner, outside(part), cut[part.face]) for part in parts),
            strict=True,
        )
        return cls(*(np.repeat(np.array(column), count) for column in columns))

    def some(self, rows: Ints) -> _Rows:
        """Some of the rows."""
        return _Rows(*(getattr(self, name)[rows] for name in self.__slots__))

    def visibility(self, solid: Solid, sight: Sight, f: Array, u: Array) -> tuple[Flags, Array]:
        """Whether nothing hides places (f, u), one of each row, and the places (n, 3)."""
        import numpy as np

        toward = sight.toward[self.view]
        points, normals = solid.surface(self.piece, f, u)
        out = dots(normals, toward)
        # a corner lies on the far side of its piece when the flats on both its sides do
        if self.corner.any():
            sides = [dots(solid.surface(self.piece, f, np.floor(u) + k)[1], toward) for k in (0.0, 1.0)]
            out = np.where(self.corner, np.maximum(*sides), out)
        visible = self.outside | (out >= -1e-9)
        within = None
        if any(solid.cuts):
            within = self.cut_rim & ~visible
            visible |= within
        ask = np.flatnonzero(visible)
        asked = points[ask], self.piece[ask], self.view[ask]
        visible[ask] = ~sight.hidden(*asked, None if within is None else within[ask])
        return visible, points


def _between(
    solid: Solid, toward: Array, rows: _Rows, f: Array, u: Array, row: Ints
) -> Callable[[Array], tuple[Array, Array]]:
    """Places parts (k, n) of the way from rows to the next ones, one below the other; on a silhouette they keep to it.

    Args:
        solid: the tube.
        toward: (v, 3) unit vectors towards the eye of each view.
        rows: what holds of the places.
        f, u: all places.
        row: which of them the ways begin at.
    """
    import numpy as np

    f0, df, u0, du = f[row], f[row + 1] - f[row], u[row], u[row + 1] - u[row]
    follow = rows.edge & (df > 1e-7)
    half, i, eye = solid.outer.turn / 2.0, rows.piece[follow], toward[rows.view[follow]]

    def places(parts: Array) -> tuple[Array, Array]:
        fm, um = f0 + df * parts, u0 + du * parts
        if len(i):
            own, near = fm[:, follow], um[:, follow]
            angle = solid.edge_angle(np.tile(i, len(parts)), own.ravel(), np.tile(eye, (len(parts), 1)))
            exact = solid.outer.facing(angle).reshape(own.shape)
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
