"""What chaining has to say, in sentences."""

from __future__ import annotations

import numpy as np

from converter.findings import Finding
from converter.geometry.vectors import Vec, add, scale
from converter.model.drawing import DrawnCurve
from converter.reducer.cluster import Ints, close_pairs
from converter.reducer.edges import Edges
from converter.reducer.ends import curve_length, middle
from converter.reducer.junctions import Links
from converter.reducer.overlap import Verdict
from converter.tolerances import Tolerances
from converter.units import Display, place_text

#: Healed gaps below this (mm) are the decimals of the file: recorded in the chain, not worth a sentence.
SAID_FROM = 1e-3


#: So many near gaps, or junctions, are named one by one; the rest is counted.
NAMED = 200
#: So many more places of one finding are kept, for pictures.
PLACES = 50


def _capped(found: list[Finding], rest: str) -> list[Finding]:
    """The first `NAMED` findings of one code, and one more that counts the others."""
    more = len(found) - NAMED
    if more <= 1:
        return found
    last = Finding(found[0].code, f"{more} more places like these were found: {rest}.", measured=float(more))
    return [*found[:NAMED], last]


def small_length(mm: float, display: Display) -> str:
    """A length that may be far below a millimetre, with three significant digits."""
    return display.each(lambda one: f"{mm / 25.4:.3g} in" if one.unit == "in" else f"{mm:.3g} mm")


def place(p: Vec, display: Display) -> str:
    """``(x, y, z) mm``."""
    return place_text(p, display)


def source(drawn: DrawnCurve) -> str:
    """``layer 'T1', handle 2F``, as far as known."""
    parts = []
    if drawn.layer is not None:
        parts.append(f"layer {drawn.layer!r}")
    if drawn.handle is not None:
        parts.append(f"handle {drawn.handle}")
    return ", ".join(parts) or "no layer"


def healed(
    edges: Edges,
    first: DrawnCurve,
    worst: int,
    gaps: tuple[float, ...],
    tol: Tolerances,
    display: Display,
    places: tuple[Vec, ...] = (),
) -> list[Finding]:
    """One note per chain: how many gaps were closed, the largest, and where (``places``: all, the largest first)."""
    said = [g for g in gaps if g > max(SAID_FROM, tol.equal)]
    if not said:
        return []
    size = max(said)
    what = "A gap" if len(said) == 1 else f"{len(said)} gaps, the largest"
    return [
        Finding(
            "healed-gap",
            f"{what} of {small_length(size, display)} at {place(edges.place(worst), display)}, was closed: "
            f"the join tolerance is {small_length(tol.join, display)}.",
            measured=size,
            limit=tol.join,
            unit="mm",
            layer=first.layer,
            handle=edges.drawn[worst >> 1].handle,
            at=places[0] if places else edges.place(worst),
            also=places[1 : 1 + PLACES],
        )
    ]


def crossed(edges: Edges, links: Links, walk: list[int], display: Display) -> Finding:
    """A chain that continues onto another layer: how often, which layers, where first."""
    joints = [e for e in walk if links.crossing[e]]
    layers = list(dict.fromkeys(edges.drawn[e >> 1].layer for e in walk))
    names = ", ".join("none" if name is None else repr(name) for name in layers)
    times = {1: "once", 2: "twice"}.get(len(joints), f"{len(joints)} times")
    at = joints[0]
    return Finding(
        "joined-across-layers",
        f"A run changes layer {times}, first at {place(edges.place(at), display)}: its curves continue tangent "
        f"over the layers {names} and were joined.",
        measured=float(len(joints)),
        layer=edges.drawn[at >> 1].layer,
        handle=edges.drawn[at >> 1].handle,
        cure="Keep the layers separate if these are different tubes.",
        at=edges.place(at),
        also=tuple(edges.place(e) for e in joints[1 : 1 + PLACES]),
    )


def _left_over(left: int) -> str:
    if not left:
        return ""
    return ", the other ends there" if left == 1 else f", the other {left} end there"


def junctions(edges: Edges, links: Links, display: Display) -> list[Finding]:
    """One note per node where three or more ends of a layer meet, or two on another curve."""
    found = []
    for ends, through, tied in links.junctions:
        drawn = edges.drawn[ends[0] >> 1]
        left = len(ends) - 2 * through
        if not through:
            then = "no two continue tangent, so all end there"
        else:
            pairs = "one tangent pair runs" if through == 1 else f"{through} tangent pairs run"
            then = f"{pairs} through" + _left_over(left)
        if tied:
            then += " (more than one pairing was tangent)"
        found.append(
            Finding(
                "junction",
                f"{len(ends)} ends meet at {place(edges.place(ends[0]), display)} on {source(drawn)}: {then}.",
                measured=float(len(ends)),
                layer=drawn.layer,
                handle=drawn.handle,
                at=edges.place(ends[0]),
            )
        )
    for end, passing in links.passed:
        drawn = edges.drawn[end >> 1]
        found.append(
            Finding(
                "junction",
                f"Two ends meet at {place(edges.place(end), display)} on {source(drawn)}, on another line "
                f"({source(edges.drawn[passing])}): both end there, and no bend is made of them.",
                measured=2.0,
                layer=drawn.layer,
                handle=drawn.handle,
                at=edges.place(end),
            )
        )
    return _capped(found, "in each, ends meet and tubes end there")


def specks(edges: Edges, speck: set[int], tol: Tolerances, display: Display) -> list[Finding]:
    """Marks no longer than the join tolerance, counted."""
    if not speck:
        return []
    drawn = edges.drawn[min(speck)]
    count = len(speck)
    what = "A mark" if count == 1 else f"{count} marks"
    return [
        Finding(
            "speck-removed",
            f"{what} smaller than the join tolerance of {small_length(tol.join, display)} "
            f"{'was' if count == 1 else 'were'} left out, first at {place(edges.place(2 * min(speck)), display)}.",
            measured=float(count),
            limit=tol.join,
            layer=drawn.layer,
            handle=drawn.handle,
            at=edges.place(2 * min(speck)),
            also=tuple(edges.place(2 * i) for i in sorted(speck)[1 : 1 + PLACES]),
        )
    ]


def _places(edges: Edges, verdict: Verdict, pair: tuple[int, int]) -> tuple[Vec, ...]:
    """Middles of the curves that a pair of layers lost or kept, in drawn order."""
    return tuple(middle(edges.curves[i]) for i in sorted(set(verdict.places[pair]))[: 1 + PLACES])


def overlaps(edges: Edges, verdict: Verdict, display: Display) -> list[Finding]:
    """What dropped out because it lay on something else, and what lies on something else but stays."""
    found = []
    for (layer, onto), (count, length, first) in sorted(verdict.lost.items()):
        drawn = edges.drawn[first]
        where = _places(edges, verdict, (layer, onto))
        what = "1 curve" if count == 1 else f"{count} curves"
        how = "drawn twice or overlapping" if layer == onto else f"lying on curves of layer {edges.layers[onto]!r}"
        found.append(
            Finding(
                "duplicate-removed",
                f"{what} {how}, {display.length(length)} in all, dropped out (first: {source(drawn)}).",
                measured=length,
                unit="mm",
                layer=drawn.layer,
                handle=drawn.handle,
                at=where[0],
                also=where[1:],
            )
        )
    for (layer, onto), (count, length, first) in sorted(verdict.kept.items()):
        drawn = edges.drawn[first]
        where = _places(edges, verdict, (layer, onto))
        found.append(
            Finding(
                "overlap-kept",
                f"Curves of the layers {edges.layers[layer]!r} and {edges.layers[onto]!r} lie on one another over "
                f"{display.length(length)} ({count} place{'s' * (count > 1)}, first: {source(drawn)}); "
                "neither covers the other, so both are read as tubes.",
                measured=length,
                unit="mm",
                layer=drawn.layer,
                handle=drawn.handle,
                cure="Leave out the layer that holds construction lines.",
                at=where[0],
                also=where[1:],
            )
        )
    return found


def near_gaps(
    edges: Edges, node: Ints, active: Ints, walks: list[tuple[list[int], bool]], tol: Tolerances, display: Display
) -> list[Finding]:
    """Free ends whose nearest other free end is farther than the join tolerance but within the near one."""
    count = np.bincount(node[active], minlength=1)
    free = active[count[node[active]] == 1]
    if free.size < 2:
        return []
    a, b = close_pairs(edges.points[free], tol.near)
    group = edges.group[edges.layer[free >> 1]]
    together = group[a] == group[b]  # curves of different groups would not join were they closer
    a, b = a[together], b[together]
    if not a.size:
        return []
    step = edges.points[free[a]] - edges.points[free[b]]
    gap = np.sqrt((step * step).sum(axis=1))
    order = np.argsort(gap, kind="stable")
    chain_of = {e >> 1: k for k, (walk, _) in enumerate(walks) for e in (walk[0], walk[-1])}
    found = []
    done: set[int] = set()
    for k in order.tolist():
        i, j = int(free[a[k]]), int(free[b[k]])
        if {i, j} <= done:
            continue
        mine = chain_of[i >> 1]
        if mine == chain_of[j >> 1]:
            length = sum(curve_length(edges.curves[e >> 1]) for e in walks[mine][0])
            if length <= 4.0 * float(gap[k]):
                continue  # a short run, not a loop left open
        done |= {i, j}
        found.append(_near_gap(edges, i, j, float(gap[k]), tol, display))
    return _capped(found, "check the unit of the drawing, or the join tolerance")


def _near_gap(edges: Edges, i: int, j: int, gap: float, tol: Tolerances, display: Display) -> Finding:
    one, other = edges.drawn[i >> 1], edges.drawn[j >> 1]
    return Finding(
        "near-gap",
        f"Two ends nearly meet: {small_length(gap, display)} apart at {place(edges.place(i), display)} "
        f"({source(one)}) and {place(edges.place(j), display)} ({source(other)}); "
        f"the join tolerance is {small_length(tol.join, display)}, so they stay apart.",
        measured=gap,
        limit=tol.join,
        unit="mm",
        layer=one.layer,
        handle=one.handle,
        cure="Close the gap in the drawing, or raise the join tolerance.",
        at=scale(add(edges.place(i), edges.place(j)), 0.5),
    )
