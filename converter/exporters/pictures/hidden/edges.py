"""The silhouettes of a tube's bends: where the outside turns away from the eye, closer together where that swings."""

from __future__ import annotations

from math import acos, ceil

from converter.arrays import Array, Ints
from converter.exporters.pictures.hidden.solid import Solid

#: Greatest step around the section between two points of a silhouette, in units of `Solid`'s ``u``.
_SWING = 0.15
#: How often the places of a silhouette are halved.
_HALVINGS = 30

#: View and piece -> both silhouettes of a bend as places (f, u).
Edges = dict[tuple[int, int], list[tuple[Array, Array]]]


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
