"""What a tube covers in a view, as simple shapes to be filled under its lines."""

from __future__ import annotations

from itertools import pairwise
from math import ceil
from typing import Any

from converter.arrays import Array, Ints
from converter.exporters.pictures.hidden.solid import Ring, Solid

#: Steps around the section of what is filled.
_SKIN_AROUND = 32
#: Steps around half of a section that is cut to fit.
_STAVES = 90


def skin(
    solid: Solid, toward: Array, view: Array, edges: dict[int, list[tuple[Array, Array]]]
) -> tuple[list[Array], list[Array]]:
    """Shapes that overlap a little and together cover what a tube covers in a view.

    And those of the far side of straights that are cut to fit, of which some may be seen through the cut.

    Args:
        solid: the tube.
        toward: unit vector towards the eye.
        view: (2, 3) right and up of the view.
        edges: both silhouettes of each piece as places (f, u).
    """
    import numpy as np

    ring: Ring = solid.outer
    u = np.linspace(0.0, ring.turn, _SKIN_AROUND + 1)[:-1]

    def slices(piece: Ints, f: Array) -> Array:
        """(k, n, 2) outlines of the section at places along pieces."""
        n = len(u)
        flat = solid.points(np.repeat(piece, n), np.repeat(f, n), np.tile(u, len(f))) @ view.T
        return flat.reshape(len(f), n, 2)

    shapes: list[Array] = []
    inside: list[Array] = []
    cut_pieces = {i for i, cut in zip((0, len(solid.size) - 1), solid.cuts, strict=True) if cut is not None}
    count = len(solid.size)
    both_ends = slices(np.repeat(np.arange(count), 2), np.tile([0.0, 1.0], count)).reshape(count, 2, len(u), 2)
    sides = _sides(solid, edges, view)
    bends = [i for i in range(count) if solid.radius[i] > 0.0 and i not in cut_pieces]
    stretches = {i: _stretches(solid, i, toward) for i in bends}
    unsound = [(i, f) for i in bends for low, high, sound in stretches[i] if not sound for f in (low, high)]
    ends_of = dict(zip(unsound, slices(*map(np.array, zip(*unsound, strict=True))), strict=True)) if unsound else {}
    for i in range(count):
        if i in cut_pieces:
            near, far = _staves(solid, i, toward, view)
            shapes += near
            inside += far
            continue
        if solid.radius[i] == 0.0:
            ends = both_ends[i]
            shapes.append(hull(ends.reshape(-1, 2)) if np.any(solid.lean[i]) else _drawn_out(ends[0], ends[1]))
            continue
        # what its neighbours do not cover of its ends; of a straight that is cut to fit the far side lies under all
        beside = [(0.0, i - 1), (1.0, i + 1)]
        alone = [f for f, j in beside if not 0 <= j < len(solid.size) or solid.radius[j] > 0.0 or j in cut_pieces]
        shapes += [hull(both_ends[i, int(f)]) for f in alone]
        f = edges[i][0][0]
        for low, high, sound in stretches[i]:
            if sound:
                first = max(0, int(np.searchsorted(f, low, "right")) - 1)
                last = min(len(f), int(np.searchsorted(f, high, "left")) + 1)
                one, other = (side[first:last] for side in sides[i])
                shapes.append(np.concatenate([one, other[::-1]]))
            else:
                shapes.append(hull(np.concatenate((ends_of[i, low], ends_of[i, high]))))

    def large(some: list[Array]) -> list[Array]:
        return [one for one in some if len(one) > 2 and _area(one) > 1e-6 * ring.reach**2]

    return large(shapes), large(inside)


def _sides(solid: Solid, edges: dict[int, list[tuple[Array, Array]]], view: Array) -> dict[int, list[Array]]:
    """Both silhouettes of each bend in the view, (n, 2) points each; all are worked out at once."""
    import numpy as np

    of = [(i, f, u) for i, own in edges.items() if solid.radius[i] > 0.0 for f, u in own]
    if not of:
        return {}
    counts = [len(f) for _, f, _ in of]
    piece = np.repeat([i for i, _, _ in of], counts)
    points = solid.points(piece, np.concatenate([f for _, f, _ in of]), np.concatenate([u for _, _, u in of])) @ view.T
    found: dict[int, list[Array]] = {}
    for (i, _, _), side in zip(of, np.split(points, np.cumsum(counts)[:-1]), strict=True):
        found.setdefault(i, []).append(side)
    return found


def _staves(solid: Solid, i: int, toward: Array, view: Array) -> tuple[list[Array], list[Array]]:
    """The near and the far side of a straight that is cut to fit, and with the near one the faces of the cut."""
    import numpy as np

    ring, inner = solid.outer, solid.inner
    # the near side begins and ends where the tube turns away from the eye
    u0 = float(solid.outer.facing(solid.edge_angle(np.array([i]), np.zeros(1), toward))[0])
    u = u0 + np.linspace(0.0, ring.turn, 2 * _STAVES + 1)
    piece, n = np.full(len(u), i), len(u)
    ends = [solid.points(piece, np.full(n, f), u) @ view.T for f in (0.0, 1.0)]
    middle = (u[:_STAVES].mean() + u[_STAVES]) / 2.0
    out = float((solid.normals(piece[:1], np.zeros(1), np.array([middle])) @ toward)[0])
    halves = [np.arange(0, _STAVES + 1), np.arange(_STAVES, 2 * _STAVES + 1)]
    near, far = halves if out > 0.0 else halves[::-1]
    sides = [[np.concatenate([ends[0][half], ends[1][half][::-1]])] for half in (near, far)]
    for f, cut in (
        (0.0, solid.cuts[0] if i == 0 else None),
        (1.0, solid.cuts[1] if i == len(solid.size) - 1 else None),
    ):
        if cut is None:
            continue
        if inner is not None:
            rim = solid.points(piece, np.full(n, f), u, inner) @ view.T
            sides[0] += _strips(ends[int(f)], rim)
    return sides[0], sides[1]


def _strips(edge: Array, rim: Array) -> list[Array]:
    """The face of a cut between its outer edge and the rim of its bore, both (n, 2), as strips that do not fold.

    In the picture the face turns over where its quads change their sense; between such places it is one shape.
    """
    import numpy as np

    across, along = rim[1:] - edge[:-1], rim[:-1] - edge[1:]
    sense = across[:, 0] * along[:, 1] - across[:, 1] * along[:, 0]  # twice the area of each quad, signed
    clear = np.flatnonzero(np.abs(sense) > 1e-9 * np.abs(sense).max(initial=0.0))
    turns = clear[1:][np.diff(np.sign(sense[clear])) != 0]
    stops = [0, *turns.tolist(), len(sense)]
    return [np.concatenate([edge[a : b + 1], rim[a : b + 1][::-1]]) for a, b in pairwise(stops)]


def _area(shape: Array) -> float:
    x, y = shape.T
    return abs(float(x[:-1] @ y[1:] - x[1:] @ y[:-1] + x[-1] * y[0] - x[0] * y[-1])) / 2.0


def _stretches(solid: Solid, i: int, toward: Array) -> list[tuple[float, float, bool]]:
    """A bend cut into stretches that overlap a little, and whether the picture of each is simple.

    It is where the picture of the centerline curves less than the tube is thick: its radius of curvature is
    R |t'|^3 / |n.v| with t' the picture of the direction. Such stretches turn by up to 60 degrees, the others by 7.
    """
    import numpy as np

    n = max(3, ceil(float(np.degrees(solid.size[i])) / 7.0))
    f = np.linspace(0.0, 1.0, n + 1)
    t, _ = solid.frames(np.full(n + 1, i), f)
    shown = np.sqrt(np.maximum(1.0 - (t @ toward) ** 2, 0.0))
    sound = solid.radius[i] * shown**3 > 1.1 * solid.outer.reach * abs(solid.normal[i] @ toward) + 1e-9
    sound &= shown > 0.05
    found: list[tuple[float, float, bool]] = []
    k = 0
    while k < n:
        stop = k + 1
        good = bool(sound[k] and sound[stop])
        while good and stop < n and sound[stop + 1] and stop - k < 8:
            stop += 1
        found.append((max(0.0, float(f[k]) - 0.1 / n), float(f[stop]), good))
        k = stop
    return found


def _drawn_out(a: Array, b: Array) -> Array:
    """The convex hull of a convex outline (n, 2) and of the same outline moved: half of each, and what joins them."""
    import numpy as np

    d = b[0] - a[0]
    if d @ d < 1e-12 * float(np.ptp(a, axis=0).max()) ** 2:
        return hull(a)
    across = a @ np.array([-d[1], d[0]])
    first, last = sorted((int(across.argmin()), int(across.argmax())))
    if first == last:
        return hull(np.concatenate([a, b]))
    one, other = np.arange(first, last + 1), np.r_[np.arange(last, len(a)), np.arange(0, first + 1)]
    ahead = (a[one].mean(axis=0) - a[other].mean(axis=0)) @ d > 0.0
    return np.concatenate([(b if ahead else a)[one], (a if ahead else b)[other]])


def hull(points: Array) -> Array:
    """The convex hull of points (n, 2), counter-clockwise (Andrew's monotone chain)."""
    import numpy as np

    order = sorted(set(map(tuple, points.tolist())))

    def half(these: list[Any]) -> list[Any]:
        chain: list[Any] = []
        for p in these:
            while len(chain) > 1 and (chain[-1][0] - chain[-2][0]) * (p[1] - chain[-2][1]) <= (
                chain[-1][1] - chain[-2][1]
            ) * (p[0] - chain[-2][0]):
                chain.pop()
            chain.append(p)
        return chain[:-1]

    if len(order) < 3:
        return np.array(order)
    return np.array([*half(order), *half(order[::-1])])
