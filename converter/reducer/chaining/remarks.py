"""What chaining has to tell, as findings."""

from __future__ import annotations

from typing import Any

import numpy as np

from converter.arrays import Ints
from converter.findings import Clause, Finding
from converter.geometry.clusters import close_pairs
from converter.geometry.vectors import Vec, add, scale
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.edges import Edges
from converter.reducer.chaining.ends import curve_length, middle
from converter.reducer.chaining.junctions import Links
from converter.reducer.chaining.overlap import Verdict
from converter.tolerances import Tolerances

#: Healed gaps below this (mm) are the decimals of the file: recorded in the chain, not worth a sentence.
LEAST_NAMED_GAP = 1e-3
#: Near tolerances that a gap may have between ends that run at each other, of curves so many times longer; so many
#: such pairs are looked at; and the cosine of how far off line (1 degree). Common practice, no source.
IN_LINE, FAR_LONGER_THAN_GAP, MOST_IN_LINE, ALIGNED = 5.0, 10.0, 200, 0.99985

#: So many near gaps, or junctions, are named one by one; the rest is counted.
NAMED = 200
#: So many more places of one finding are kept, for pictures.
PLACES = 50


def _capped(findings: list[Finding]) -> list[Finding]:
    """The first `NAMED` findings of one code, and one more that counts the others."""
    more = len(findings) - NAMED
    if more <= 1:
        return findings
    last = Finding(findings[0].code, variant="more", measured=float(more), values={"more": more})
    return [*findings[:NAMED], last]


def _layer(name: str | None) -> Clause:
    return Clause.of("layer-none") if name is None else Clause.of("layer-named", layer=name)


def _drawn_layer(name: str | None) -> Clause:
    """``layer 'T1'``, ``no layer``."""
    return Clause.of("drawn-nowhere") if name is None else Clause.of("drawn-layer", layer=name)


def _drawn(drawn: DrawnCurve) -> Clause:
    """``layer 'T1', handle 2F``, as far as known."""
    if drawn.handle is None:
        return _drawn_layer(drawn.layer)
    if drawn.layer is None:
        return Clause.of("drawn-handle", handle=drawn.handle)
    return Clause.of("drawn-layer-handle", layer=drawn.layer, handle=drawn.handle)


def healed_gap_findings(
    edges: Edges,
    first: DrawnCurve,
    worst: int,
    gaps: tuple[float, ...],
    tol: Tolerances,
    places: tuple[Vec, ...] = (),
) -> list[Finding]:
    """One note per chain: how many gaps were closed, the largest, and where (``places``: all, the largest first)."""
    counted = [g for g in gaps if g > max(LEAST_NAMED_GAP, tol.equal)]
    if not counted:
        return []
    size = max(counted)
    return [
        Finding(
            "healed-gap",
            variant="one" if len(counted) == 1 else "",
            measured=size,
            limit=tol.join,
            unit="mm",
            layer=first.layer,
            handle=edges.drawn[worst >> 1].handle,
            at=places[0] if places else edges.place(worst),
            also=places[1 : 1 + PLACES],
            values={"gaps": len(counted), "largest": size, "point": edges.place(worst), "join": tol.join},
        )
    ]


def layer_change_finding(edges: Edges, links: Links, walk: list[int]) -> Finding:
    """A chain that continues onto another layer: how often, which layers, where first."""
    joints = [e for e in walk if links.crossing[e]]
    layers = dict.fromkeys(edges.drawn[e >> 1].layer for e in walk)
    at = joints[0]
    return Finding(
        "joined-across-layers",
        variant={1: "once", 2: "twice"}.get(len(joints), ""),
        measured=float(len(joints)),
        layer=edges.drawn[at >> 1].layer,
        handle=edges.drawn[at >> 1].handle,
        at=edges.place(at),
        also=tuple(edges.place(e) for e in joints[1 : 1 + PLACES]),
        values={"times": len(joints), "point": edges.place(at), "layers": tuple(_layer(name) for name in layers)},
    )


def _running_through(ends: int, through: int) -> Clause:
    """What becomes of the ends at a junction, where so many pairs run through."""
    if not through:
        return Clause.of("junction-all-end")
    left = ends - 2 * through
    rest = {0: "", 1: Clause.of("junction-other-end")}.get(left, Clause.of("junction-other-ends", left=left))
    pairs = "junction-pair" if through == 1 else "junction-pairs"
    return Clause.of(pairs, pairs=through, rest=rest)


def junction_findings(edges: Edges, links: Links) -> list[Finding]:
    """One note per node where three or more ends of a layer meet, or two on another curve."""
    findings = []
    for ends, through, tied in links.junctions:
        drawn, point = edges.drawn[ends[0] >> 1], edges.place(ends[0])
        findings.append(
            Finding(
                "junction",
                measured=float(len(ends)),
                layer=drawn.layer,
                handle=drawn.handle,
                at=point,
                values={
                    "ends": len(ends),
                    "point": point,
                    "drawn": _drawn(drawn),
                    "then": _running_through(len(ends), through),
                    "doubt": Clause.of("junction-tied") if tied else "",
                },
            )
        )
    for end, passing in links.passed:
        drawn, point = edges.drawn[end >> 1], edges.place(end)
        findings.append(
            Finding(
                "junction",
                variant="passing",
                measured=2.0,
                layer=drawn.layer,
                handle=drawn.handle,
                at=point,
                values={"point": point, "drawn": _drawn(drawn), "passing": _drawn(edges.drawn[passing])},
            )
        )
    return _capped(findings)


def untrimmed_findings(edges: Edges, untrimmed: list[tuple[int, int]]) -> list[Finding]:
    """Ends that run along into another curve, counted.

    Args:
        edges: the curves.
        untrimmed: ends, each with the edge that it runs into.
    """
    if not untrimmed:
        return []
    end, edge = untrimmed[0]
    drawn, point = edges.drawn[end >> 1], edges.place(end)
    return [
        Finding(
            "untrimmed",
            variant="one" if len(untrimmed) == 1 else "",
            measured=float(len(untrimmed)),
            layer=drawn.layer,
            handle=drawn.handle,
            at=point,
            also=tuple(edges.place(one) for one, _ in untrimmed[1 : 1 + PLACES]),
            values={
                "ends": len(untrimmed),
                "point": point,
                "drawn": _drawn(drawn),
                "passing": _drawn(edges.drawn[edge]),
            },
        )
    ]


def speck_findings(edges: Edges, speck: set[int], tol: Tolerances) -> list[Finding]:
    """Marks no longer than the join tolerance, counted."""
    if not speck:
        return []
    drawn, point = edges.drawn[min(speck)], edges.place(2 * min(speck))
    return [
        Finding(
            "speck-removed",
            variant="one" if len(speck) == 1 else "",
            measured=float(len(speck)),
            limit=tol.join,
            layer=drawn.layer,
            handle=drawn.handle,
            at=point,
            also=tuple(edges.place(2 * i) for i in sorted(speck)[1 : 1 + PLACES]),
            values={"marks": len(speck), "join": tol.join, "point": point},
        )
    ]


def overlap_findings(edges: Edges, verdict: Verdict) -> list[Finding]:
    """What dropped out because it lay on something else, and what lies on something else but stays."""
    findings = []
    for (layer, onto), (count, length, first) in sorted(verdict.lost.items()):
        drawn, where = edges.drawn[first], _places(edges, verdict, (layer, onto))
        onto_layer = _drawn_layer(edges.layers[onto])
        values = {"curves": count, "onto": onto_layer, "length": length, "drawn": _drawn(drawn)}
        variant = "" if layer == onto else "other layer"
        findings.append(_overlap("duplicate-removed", drawn, where, length, values, variant))
    for (layer, onto), (count, length, first) in sorted(verdict.left_alone.items()):
        drawn, where = edges.drawn[first], _places(edges, verdict, (layer, onto))
        layers = (_layer(edges.layers[layer]), _layer(edges.layers[onto]))
        values = {"layers": layers, "length": length, "places": count, "drawn": _drawn(drawn)}
        findings.append(_overlap("overlap-kept", drawn, where, length, values))
    return findings


def _places(edges: Edges, verdict: Verdict, pair: tuple[int, int]) -> tuple[Vec, ...]:
    """Middles of the curves that a pair of layers lost or kept, in drawn order."""
    return tuple(middle(edges.curves[i]) for i in sorted(set(verdict.places[pair]))[: 1 + PLACES])


def _overlap(
    code: str, drawn: DrawnCurve, where: tuple[Vec, ...], length: float, values: dict[str, Any], variant: str = ""
) -> Finding:
    return Finding(
        code,
        variant=variant,
        measured=length,
        unit="mm",
        layer=drawn.layer,
        handle=drawn.handle,
        at=where[0],
        also=where[1:],
        values=values,
    )


def near_gap_findings(
    edges: Edges, node: Ints, active: Ints, walks: list[tuple[list[int], bool]], tol: Tolerances
) -> list[Finding]:
    """Free ends whose nearest other free end is farther than the join tolerance but within the near one.

    Where both run at each other in one line, and nothing lies between them, a few times as far is near enough.
    """
    count = np.bincount(node[active], minlength=1)
    free = active[count[node[active]] == 1]
    if free.size < 2:
        return []
    near = tol.at_limits().near
    a, b = close_pairs(edges.points[free], IN_LINE * near)
    group = edges.group[edges.layer[free >> 1]]
    together = group[a] == group[b]  # curves of different groups would not join were they closer
    a, b = a[together], b[together]
    step = edges.points[free[a]] - edges.points[free[b]]
    gap = np.sqrt((step * step).sum(axis=1))
    kept = gap <= near
    for k in np.flatnonzero(~kept)[:MOST_IN_LINE].tolist():
        kept[k] = _is_in_line(edges, int(free[a[k]]), int(free[b[k]]), float(gap[k]))
    a, b, gap = a[kept], b[kept], gap[kept]
    if not a.size:
        return []
    order = np.argsort(gap, kind="stable")
    chain_of = {e >> 1: k for k, (walk, _) in enumerate(walks) for e in (walk[0], walk[-1])}
    findings = []
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
        findings.append(_near_gap(edges, i, j, float(gap[k]), tol))
    return _capped(findings)


def _is_in_line(edges: Edges, i: int, j: int, gap: float) -> bool:
    """Whether two ends run at each other, of curves far longer than their gap, with nothing in it."""
    if min(edges.chords[i >> 1], edges.chords[j >> 1]) < FAR_LONGER_THAN_GAP * gap:
        return False
    one, other = edges.points[[i, j]]
    way = (other - one) / gap
    out = edges.outward(np.array([i, j]))
    if min(-float(out[0] @ way), float(out[1] @ way)) < ALIGNED:
        return False
    start, run = edges.points[0::2], edges.points[1::2] - edges.points[0::2]
    size = np.maximum((run * run).sum(axis=1), 1e-12)
    middle = (one + other) / 2.0
    share = np.clip(((middle - start) * run).sum(axis=1) / size, 0.0, 1.0)
    away = np.sqrt(((middle - start - share[:, None] * run) ** 2).sum(axis=1))
    away[[i >> 1, j >> 1]] = np.inf
    return float(away.min()) > gap / 2.0


def _near_gap(edges: Edges, i: int, j: int, gap: float, tol: Tolerances) -> Finding:
    one, other = edges.drawn[i >> 1], edges.drawn[j >> 1]
    return Finding(
        "near-gap",
        measured=gap,
        limit=tol.join,
        unit="mm",
        layer=one.layer,
        handle=one.handle,
        at=scale(add(edges.place(i), edges.place(j)), 0.5),
        values={
            "gap": gap,
            "point": edges.place(i),
            "drawn": _drawn(one),
            "other_point": edges.place(j),
            "other_drawn": _drawn(other),
            "join": tol.join,
        },
    )
