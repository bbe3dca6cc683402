"""Curves in any order and direction become chains: one chain is what one tube follows.

Words: an *end* is one of the two ends of a curve, a *node* is where ends meet, a *junction* is
a node with three or more ends of one layer. Order of work: duplicates drop out, ends cluster
into nodes, joints are decided per layer and then across layers, chains are walked.

End A is the end nearest, along the chain, to the curve drawn first; a curve alone, or one
exactly in the middle, keeps the direction it was drawn in. A closed chain starts at the start
of its first-drawn curve. Chains come in the order of their first-drawn curves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from converter.arrays import Array, Ints
from converter.findings import Finding
from converter.geometry.vectors import Vec
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining import remarks
from converter.reducer.chaining.dedupe import drop_duplicates
from converter.reducer.chaining.edges import LINE, Edges, end_nodes, gather
from converter.reducer.chaining.ends import curve_length
from converter.reducer.chaining.junctions import Links, join_across_layers, join_within_layers
from converter.reducer.chaining.untrimmed import untrimmed_ends
from converter.tolerances import DEFAULT, Tolerances

#: Degrees that what trimming left turns off what it joins, at one end at least; chords turn less (our choice).
SHARP = 20.0
#: What it joins is longer than so many join tolerances.
_LONGER = 4.0
#: Ends beside a mark of which each two are compared, at most.
_MEETING = 12
#: Where a mark stands alone, something is so many times longer, and as long (mm) as tubes are. Common practice, no
#: source.
FAR_LONGER, TUBE_LENGTH = 20.0, 20.0


@dataclass(frozen=True, slots=True)
class Chain:
    """Curves joined head to tail.

    Attributes:
        items: (curve, whether it is run from its end to its start), in order from end A.
        closed: whether the last one ends where the first one starts.
        layer: the layer most of its length was drawn on (the first-drawn's where equal), or None.
        first: lowest place of its curves in the drawn order.
        gaps: sizes in mm of the gaps healed along it, in order; only those above the equality tolerance.
    """

    items: tuple[tuple[DrawnCurve, bool], ...]
    closed: bool
    layer: str | None
    first: int
    gaps: tuple[float, ...] = ()

    @property
    def handles(self) -> tuple[str, ...]:
        """Handles of its curves, in order, those that have one."""
        return tuple(drawn.handle for drawn, _ in self.items if drawn.handle)


def chain(
    curves: Sequence[DrawnCurve],
    tol: Tolerances = DEFAULT,
    across_layers: bool = True,
) -> tuple[list[Chain], list[Finding]]:
    """Join drawn curves into chains.

    Args:
        curves: in drawn order; any direction, any order, possibly doubled or split.
        tol: ``join`` heals, ``near`` is reported, ``tangent`` (at least 1 degree here) runs through junctions.
        across_layers: whether loose ends may continue on another layer.

    Returns:
        The chains in the order of their first-drawn curves, and what was healed, left out or doubtful.
    """
    if not curves:
        return [], []
    given, tol = tol, tol.at_limits()
    places = list(range(len(curves)))
    edges = gather(curves)
    node = end_nodes(edges, given)
    found: list[Finding] = []
    thinned = drop_duplicates(edges, node, tol)
    if thinned:
        left, places, found = thinned
        edges = gather(left)
        node = end_nodes(edges, given)
    left_over, node = slivers(edges, node, tol)
    closed, speck = _self_closed(edges, node, tol)
    speck |= left_over
    active = np.ones(2 * len(edges.curves), dtype=bool)
    for i in (*closed, *speck):
        active[2 * i] = active[2 * i + 1] = False
    ends = np.flatnonzero(active)
    links = join_within_layers(edges, node, ends, tol)
    if across_layers and len(edges.layers) > 1:
        join_across_layers(edges, node, ends, tol, links)
    walks = _walk(edges, links, closed, speck)
    chains, extra = _assemble(edges, links, walks, places, given)
    found += remarks.speck_findings(edges, speck, given)
    found += extra
    found += remarks.junction_findings(edges, links)
    found += remarks.near_gap_findings(edges, node, ends, walks, given)
    found += remarks.untrimmed_findings(edges, untrimmed_ends(edges, ends, links, tol))
    return chains, found


def _self_closed(edges: Edges, node: Ints, tol: Tolerances) -> tuple[set[int], set[int]]:
    """Edges with both ends in one node: closed curves, and specks too small to be a tube."""
    closed: set[int] = set()
    speck: set[int] = set()
    for i in np.flatnonzero(node[0::2] == node[1::2]).tolist():
        small = edges.kind[i] == LINE or curve_length(edges.curves[i]) <= 4.0 * tol.join
        (speck if small else closed).add(i)
    return closed, speck


def _walk(edges: Edges, links: Links, closed: set[int], speck: set[int]) -> list[tuple[list[int], bool]]:
    """Chains as entered ends, in the order of their first-drawn edges, and whether each is closed.

    Entered end e means edge e >> 1, run backwards when e is odd.
    """
    link: list[int] = links.link.tolist()
    seen = bytearray(len(edges.curves))
    walks: list[tuple[list[int], bool]] = []
    lengths: list[float] = []
    for i in range(len(seen)):
        if seen[i] or i in speck:
            continue
        seen[i] = 1
        ahead = [2 * i]
        if i in closed:
            walks.append((ahead, True))
            continue
        at = link[2 * i + 1]
        while at >= 0 and at != 2 * i:
            seen[at >> 1] = 1
            ahead.append(at)
            at = link[at ^ 1]
        if at >= 0:
            walks.append((ahead, True))
            continue
        behind: list[int] = []
        at = link[2 * i]
        while at >= 0:
            seen[at >> 1] = 1
            behind.append(at ^ 1)
            at = link[at ^ 1]
        if behind:
            lengths = lengths or edges.lengths()
            ahead = _from_end_a(edges, lengths, behind, ahead)
        walks.append((ahead, False))
    return walks


def _from_end_a(edges: Edges, lengths: list[float], behind: list[int], ahead: list[int]) -> list[int]:
    """The whole walk, turned round when the first-drawn edge (ahead[0]) is nearer to the far end."""
    walk = [*reversed(behind), *ahead]
    for e in walk:
        if lengths[e >> 1] < 0.0:
            lengths[e >> 1] = curve_length(edges.curves[e >> 1])
    before = sum([lengths[e >> 1] for e in behind])
    after = sum([lengths[e >> 1] for e in ahead[1:]])
    if after < before - 1e-9 * (before + after):
        return [e ^ 1 for e in reversed(walk)]
    return walk


def _assemble(
    edges: Edges,
    links: Links,
    walks: list[tuple[list[int], bool]],
    places: list[int],
    tol: Tolerances,
) -> tuple[list[Chain], list[Finding]]:
    drawn, found = edges.drawn, []
    entered = np.array([e for walk, _ in walks for e in walk], dtype=np.int64)
    before = np.where(links.link[entered] >= 0, links.link[entered], entered)
    for k, (walk, closed) in zip(np.cumsum([0] + [len(w) for w, _ in walks]).tolist(), walks, strict=False):
        if closed:  # also when one closed curve is its own neighbour
            before[k] = walk[-1] ^ 1
    steps = edges.points[entered] - edges.points[before]
    gaps = np.sqrt((steps * steps).sum(axis=1))
    any_gap = bool((gaps > tol.equal).any())
    crossing = bool(links.crossing.any())
    chains = []
    start = 0
    for walk, closed in walks:
        items = tuple([(drawn[e >> 1], bool(e & 1)) for e in walk])
        first = min([e >> 1 for e in walk])
        layer = drawn[first].layer
        healed: tuple[float, ...] = ()
        if any_gap:
            part = slice(start, start + len(walk))
            mine = gaps[part]
            healed = tuple(g for g in mine.tolist() if g > tol.equal)
            if healed:
                worst = walk[int(mine.argmax())]
                middles = (edges.points[entered[part]] + edges.points[before[part]]) / 2.0 + edges.origin
                found += remarks.healed_gap_findings(
                    edges, drawn[first], worst, healed, tol, _largest(mine, middles, tol)
                )
        if crossing and len({item.layer for item, _ in items}) > 1:
            layer = _main_layer(edges, walk, layer)
            found.append(remarks.layer_change_finding(edges, links, walk))
        chains.append(Chain(items, closed, layer, places[first], healed))
        start += len(walk)
    return chains, found


def _largest(gaps: Array, middles: Array, tol: Tolerances) -> tuple[Vec, ...]:
    """Where the gaps lie that are worth naming, the largest first; one more than are named."""
    which = np.flatnonzero(gaps > max(remarks.LEAST_NAMED_GAP, tol.equal)).tolist()
    which.sort(key=lambda i: -float(gaps[i]))
    return tuple((x, y, z) for x, y, z in middles[which[: 1 + remarks.PLACES]].tolist())


def _main_layer(edges: Edges, walk: list[int], first: str | None) -> str | None:
    """The layer of most of the length; the first-drawn's where equal to a rounding."""
    share: dict[str | None, float] = {}
    for e in walk:
        layer = edges.drawn[e >> 1].layer
        share[layer] = share.get(layer, 0.0) + curve_length(edges.curves[e >> 1])
    most = max(share.values())
    if share[first] >= most * (1.0 - 1e-9):
        return first
    return max(share, key=lambda name: share[name])


# --- slivers ----------------------------------------------------------------------------------
# Read as it is drawn, a sliver is a corner of its own, which no die bends, or a tube of no length. A chord of a
# curve is no sliver: it lies between chords, and turns little from one to the next.


def slivers(edges: Edges, node: Ints, tol: Tolerances) -> tuple[set[int], Ints]:
    """The slivers among edges, and the nodes as they are without them: the two ends of one that lies between are one.

    Args:
        edges: the curves.
        node: (2n,) node of each end.
        tol: ``join`` is how long a sliver is at most.
    """
    chords = edges.chords
    likely = (chords <= tol.join) & (node[0::2] != node[1::2])
    found: set[int] = set()
    longest = float(chords.max())
    if not likely.any() or not longest > _LONGER * tol.join:
        return found, node
    order = np.argsort(node, kind="stable")
    bounds = np.searchsorted(node[order], np.arange(int(node.max()) + 2))
    for i in np.flatnonzero(likely).tolist():
        if edges.kind[i] != LINE and curve_length(edges.curves[i]) > tol.join:
            continue
        own = (2 * i, 2 * i + 1)
        # the node of an end, without that end
        beside = [[e for e in order[bounds[node[end]] : bounds[node[end] + 1]].tolist() if e != end] for end in own]
        others = [e for ends in beside for e in ends]
        if not others:
            if longest > max(FAR_LONGER * float(chords[i]), TUBE_LENGTH):
                found.add(i)
            continue
        loose = not all(beside)
        if (not loose and max(map(len, beside)) > 1) or any(chords[e >> 1] <= _LONGER * tol.join for e in others):
            continue
        turns = _turns(edges, [(end, e) for end, ends in zip(own, beside, strict=True) for e in ends])
        # where several meet, it goes on one of them unless it turns off all, or two of them run on into each other
        pairs = [*combinations(others, 2)] if loose and len(others) <= _MEETING else []
        if (min if loose else max)(turns) > SHARP or (pairs and min(_turns(edges, pairs)) <= tol.tangent):
            found.add(i)
    if not found:
        return found, node
    # what a sliver joins is longer, so none of these nodes is another one's
    first = 2 * np.array(sorted(found))
    number = np.arange(int(node.max()) + 1)
    number[node[first + 1]] = node[first]
    return found, number[node]


def _turns(edges: Edges, joints: list[tuple[int, int]]) -> list[float]:
    """Degrees between the two edges whose ends meet, for each such pair of ends."""
    one, other = (edges.outward(np.array(ends)) for ends in zip(*joints, strict=True))
    cosines = np.clip(-(one * other).sum(axis=1), -1.0, 1.0)
    turns: list[float] = np.degrees(np.arccos(cosines)).tolist()
    return turns
