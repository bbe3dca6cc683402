"""What a tube covers in its views, as simple shapes to be filled under its lines."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import acos, ceil

from converter.arrays import Array, Ints
from converter.exporters.pictures.hidden.solid import Solid

#: Steps around the section of what is filled.
_SKIN_AROUND = 32
#: Steps around half of a section that is cut to fit.
_STAVES = 90

#: A part of a bend: where it begins and ends, and whether its picture is simple.
_Stretch = tuple[float, float, bool]
#: Greatest step around the section between two points of a silhouette, in units of `Solid`'s ``u``.
_SWING = 0.15
#: How often the places of a silhouette are halved.
_HALVINGS = 30
#: View and piece -> both silhouettes of a bend as places (f, u).
Edges = dict[tuple[int, int], list[tuple[Array, Array]]]


def skins(solid: Solid, views: Array, toward: Array, edges: Edges) -> list[tuple[list[Array], list[Array]]]:
    """Of each view shapes that overlap a little and together cover what a tube covers in it.

    And those of the far side of straights that are cut to fit, of which some may be seen through the cut.

    Args:
        solid: the tube.
        views: (v, 2, 3) right and up of each view.
        toward: (v, 3) unit vectors towards the eye.
        edges: both silhouettes of each bend in each view.
    """
    import numpy as np

    count = len(solid.size)
    cut_pieces = {i for i, cut in zip((0, count - 1), solid.cuts, strict=True) if cut is not None}
    bends = [i for i in range(count) if solid.radius[i] > 0.0 and i not in cut_pieces]
    mitred = np.any(solid.lean, axis=1)
    stretches = _stretches(solid, bends, toward)
    # outlines of the section at both ends of every piece, and at those of stretches that are not simple
    at = {(i, f): 2 * i + int(f) for i in range(count) for f in (0.0, 1.0)}
    for own in stretches:
        for i, parts in own.items():
            for low, high, sound in parts:
                for end in () if sound else (low, high):
                    at.setdefault((i, end), len(at))
    u = np.linspace(0.0, solid.outer.turn, _SKIN_AROUND + 1)[:-1]
    pieces, f_of = map(np.array, zip(*at, strict=True))
    n = len(u)
    slices = solid.points(np.repeat(pieces, n), np.repeat(f_of, n), np.tile(u, len(at)))
    sides = _sides(solid, views, edges)
    found: list[tuple[list[Array], list[Array]]] = []
    rough: list[tuple[list[Array], int]] = []  # shapes in the place of which their convex hulls come
    for k, view in enumerate(views):
        shapes: list[Array] = []
        inside: list[Array] = []
        flat = (slices @ view.T).reshape(len(at), n, 2)
        for i in range(count):
            if i in cut_pieces:
                near, far = _staves(solid, i, toward[k], view)
                shapes += near
                inside += far
                continue
            if solid.radius[i] == 0.0:
                a, b = flat[2 * i : 2 * i + 2]
                shape, convex = (np.concatenate((a, b)), False) if mitred[i] else _drawn_out(a, b)
                if not convex:
                    rough.append((shapes, len(shapes)))
                shapes.append(shape)
                continue
            # what its neighbours do not cover of its ends; of a straight that is cut to fit the far side lies under all
            for end, j in ((0, i - 1), (1, i + 1)):
                if not 0 <= j < count or solid.radius[j] > 0.0 or j in cut_pieces:
                    rough.append((shapes, len(shapes)))
                    shapes.append(flat[2 * i + end])
            f = edges[k, i][0][0]
            for low, high, sound in stretches[k][i]:
                if sound:
                    first = max(0, int(f.searchsorted(low, "right")) - 1)
                    last = min(len(f), int(f.searchsorted(high, "left")) + 1)
                    one, other = (side[first:last] for side in sides[k, i])
                    shapes.append(np.concatenate([one, other[::-1]]))
                else:
                    rough.append((shapes, len(shapes)))
                    shapes.append(np.concatenate((flat[at[i, low]], flat[at[i, high]])))
        found.append((shapes, inside))
    for (shapes, place), hull in zip(rough, hulls([shapes[place] for shapes, place in rough]), strict=True):
        shapes[place] = hull
    least = 1e-6 * solid.outer.reach**2
    return [(_larger(shapes, least), _larger(inside, least)) for shapes, inside in found]


def _sides(solid: Solid, views: Array, edges: Edges) -> dict[tuple[int, int], list[Array]]:
    """Both silhouettes of each bend in each view, (n, 2) points each; all are worked out at once."""
    import numpy as np

    of = [(key, f, u) for key, own in edges.items() for f, u in own]
    if not of:
        return {}
    counts = [len(f) for _, f, _ in of]
    piece = np.repeat([i for (_, i), _, _ in of], counts)
    points = solid.points(piece, np.concatenate([f for _, f, _ in of]), np.concatenate([u for _, _, u in of]))
    found: dict[tuple[int, int], list[Array]] = {}
    for (key, _, _), side in zip(of, np.split(points, np.cumsum(counts)[:-1]), strict=True):
        found.setdefault(key, []).append(side @ views[key[0]].T)
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


def _larger(shapes: list[Array], least: float) -> list[Array]:
    """Those of the shapes whose area is larger."""
    import numpy as np

    if not shapes:
        return []
    counts = np.array([len(one) for one in shapes])
    x, y = np.concatenate(shapes).T
    first = np.cumsum(counts) - counts
    after = np.arange(1, len(x) + 1)
    after[first + counts - 1] = first
    area = np.abs(np.add.reduceat(x * y[after] - x[after] * y, first)) / 2.0
    return [one for one, kept in zip(shapes, ((area > least) & (counts > 2)).tolist(), strict=True) if kept]


def _stretches(solid: Solid, bends: list[int], toward: Array) -> list[dict[int, list[_Stretch]]]:
    """Of each view every bend cut into stretches that overlap a little, and whether the picture of each is simple.

    It is where the picture of the centerline curves less than the tube is thick: its radius of curvature is
    R |t'|^3 / |n.v| with t' the picture of the direction. Such stretches turn by up to 60 degrees, the others by 7.
    """
    import numpy as np

    if not bends:
        return [{} for _ in toward]
    steps = [max(3, ceil(float(np.degrees(solid.size[i])) / 7.0)) for i in bends]
    f_of = [np.linspace(0.0, 1.0, n + 1) for n in steps]
    piece = np.repeat(bends, np.array(steps) + 1)
    t, _ = solid.frames(piece, np.concatenate(f_of))
    shown = np.sqrt(np.maximum(1.0 - (toward @ t.T) ** 2, 0.0))
    tilt = np.abs(toward @ solid.normal.T)[:, piece]
    sound = solid.radius[piece] * shown**3 > 1.1 * solid.outer.reach * tilt + 1e-9
    sound &= shown > 0.05
    found: list[dict[int, list[_Stretch]]] = []
    for own in sound.tolist():
        at, stretches = 0, {}
        for i, n, f in zip(bends, steps, f_of, strict=True):
            stretches[i] = _joined(own[at : at + n + 1], f.tolist())
            at += n + 1
        found.append(stretches)
    return found


def _joined(sound: list[bool], f: list[float]) -> list[_Stretch]:
    """The steps of a bend as stretches: of those that are simple at both ends up to eight together."""
    n = len(f) - 1
    found: list[_Stretch] = []
    k = 0
    while k < n:
        stop = k + 1
        good = sound[k] and sound[stop]
        while good and stop < n and sound[stop + 1] and stop - k < 8:
            stop += 1
        found.append((max(0.0, f[k] - 0.1 / n), f[stop], good))
        k = stop
    return found


def _drawn_out(a: Array, b: Array) -> tuple[Array, bool]:
    """A shape around a convex outline (n, 2) and the same outline moved, and whether it is their convex hull.

    That is half of each, and what joins them; where they hardly part, or are seen edge on, their points are given.
    """
    import numpy as np

    d = b[0] - a[0]
    if d @ d < 1e-12 * float((a.max(axis=0) - a.min(axis=0)).max()) ** 2:
        return a, False
    across = a @ np.array([-d[1], d[0]])
    first, last = sorted((int(across.argmin()), int(across.argmax())))
    if first == last:
        return np.concatenate([a, b]), False
    one, rest = a[first : last + 1], np.concatenate((a[last:], a[: first + 1]))
    ahead = (np.add.reduce(one) / len(one) - np.add.reduce(rest) / len(rest)) @ d > 0.0
    near, far = (b, a) if ahead else (a, b)
    return np.concatenate((near[first : last + 1], far[last:], far[: first + 1])), True


# --- convex hulls -----------------------------------------------------------------------------


def hulls(sets: Sequence[Array]) -> list[Array]:
    """The convex hull of each set of points (n, 2), counter-clockwise from its lowest x; of under three the points.

    As in Andrew's monotone chain the points are put in order, and of the chain below and of the one above all is left
    out that turns the wrong way, here in all chains at once: a point on or above the line between two others is on no
    lower hull, whether or not those two are.
    """
    import numpy as np

    if not sets:
        return []
    points = np.concatenate(sets)
    of = np.repeat(np.arange(len(sets)), [len(one) for one in sets])
    order = np.lexsort((points[:, 1], points[:, 0], of))
    points, of = points[order], of[order]
    new = np.ones(len(of), dtype=bool)
    new[1:] = (of[1:] != of[:-1]) | (points[1:] != points[:-1]).any(axis=1)
    points, of = points[new], of[new]
    below, above = _chain(points, of), _chain(points[::-1], of[::-1])
    starts = np.arange(len(sets) + 1)
    low, high = np.searchsorted(below[1], starts).tolist(), np.searchsorted(-above[1], -starts, "right").tolist()
    found = []
    for i in range(len(sets)):
        under, over = below[0][low[i] : low[i + 1]], above[0][high[i + 1] : high[i]]
        found.append(np.concatenate((under[:-1], over[:-1])) if len(under) + len(over) > 4 else under)
    return found


def _chain(points: Array, of: Ints) -> tuple[Array, Ints]:
    """Of points in order, set after set, those at which the chain of their set turns left, and its ends."""
    import numpy as np

    while True:
        a, b, c = points[:-2], points[1:-1], points[2:]
        ahead, on = b - a, c - a
        wrong = np.zeros(len(of), dtype=bool)
        wrong[1:-1] = (of[:-2] == of[2:]) & (ahead[:, 0] * on[:, 1] <= ahead[:, 1] * on[:, 0])
        if not wrong.any():
            return points, of
        # every second of those in a row: of two that rounding alone keeps apart, on a corner, each seems to turn wrong
        places = np.arange(len(of))
        first = np.maximum.accumulate(np.where(wrong, 0, places + 1))
        kept = ~wrong | ((places - first) % 2 == 1)
        points, of = points[kept], of[kept]


# --- silhouettes of bends: where the outside turns away from the eye --------------------------


def steps_along(solid: Solid, i: int, chord: float) -> int:
    """Steps along a bend: near enough for its chords and for what hides it."""
    outside = float(solid.radius[i]) + solid.outer.reach
    angle = float(solid.size[i])
    sagitta = 2.0 * acos(max(0.9, 1.0 - chord / outside))
    return int(max(6, ceil(angle / sagitta), ceil(angle * outside / (solid.outer.reach * 1.5))))


def bend_edges(solid: Solid, toward: Array, steps: list[dict[int, int]]) -> Edges:
    """Both silhouettes of each bend in each view, all worked out side by side.

    Args:
        solid: the tube.
        toward: (v, 3) unit vectors towards the eye.
        steps: of each view, by bend.
    """
    import numpy as np

    bends = [(view, i, n) for view, own in enumerate(steps) for i, n in own.items()]
    if not bends:
        return {}
    ring, turn = solid.outer, solid.outer.turn

    def around(of: Ints, f: Array) -> Array:
        """The ``u`` of a silhouette at places of bends."""
        view, piece = views[of], pieces[of]
        return ring.facing(solid.edge_angle(piece, f, toward[view]))

    views, pieces, counts = (np.array(column) for column in zip(*bends, strict=True))
    of = np.repeat(np.arange(len(bends)), counts + 1)
    f = np.concatenate([np.linspace(0.0, 1.0, n + 1) for _, _, n in bends])
    u = around(of, f)
    for _ in range(_HALVINGS):
        d = np.diff(u)
        swings = np.abs(d - turn * np.round(d / turn)) > _SWING
        wide = np.flatnonzero(swings & (np.diff(f) > 1e-7) & (of[:-1] == of[1:]))
        if not len(wide):
            break
        new, middle = of[wide], (f[:-1] + f[1:])[wide] / 2.0
        u = np.insert(u, wide + 1, around(new, middle))
        of, f = np.insert(of, wide + 1, new), np.insert(f, wide + 1, middle)
    # on each bend places go on around without a jump
    same, every = of[:-1] == of[1:], np.arange(len(bends) + 1)
    turns = np.concatenate(([0.0], np.where(same, turn * np.round(np.diff(u) / turn), 0.0).cumsum()))
    u = u - (turns - turns[np.searchsorted(of, every[:-1])][of])
    # the eye looks along the tube: all around the section at once, or over a flat
    for at in np.flatnonzero(same & (np.abs(np.diff(u)) > _SWING))[::-1]:
        n = ceil(abs(u[at + 1] - u[at]) * 8)
        between = np.linspace(u[at], u[at + 1], n + 1)
        f, of = (np.insert(one, at + 1, np.full(n + 1, one[at])) for one in (f, of))
        u = np.insert(u, at + 1, between)
    other, stops = u + turn / 2.0, np.searchsorted(of, every).tolist()
    found: Edges = {}
    for (view, i, _), a, b in zip(bends, stops, stops[1:], strict=False):
        found[view, i] = [(f[a:b], u[a:b]), (f[a:b], other[a:b])]
    return found
