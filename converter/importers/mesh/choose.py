"""Which table the vertices speak for: simpler and richer neighbours of a fit are tried and weighed.

A table with more numbers always comes closer. It is believed when what it gains in the likelihood of the
vertices is more than half the logarithm of their number for each number more (Schwarz's criterion). What is
within `CLOSE` of the best cannot be told from it, and is kept as an alternative.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from math import degrees, log
from typing import TypeVar

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import within_half_turn
from converter.importers.mesh.effort import Effort
from converter.importers.mesh.misfit import Misfit
from converter.importers.mesh.refine import Fit
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import reverse_table

Start = tuple[BendTable, Placement]
AnyFit = TypeVar("AnyFit", bound=Fit)

CLOSE = 15.0  #: twice the logarithm of the odds within which a table is an alternative
FAR = 4.0  #: standard deviations beyond which a residual counts linearly (Huber)
TIGHTEST = 1.0  #: of the tube's radius: no bend is tighter
FLAT = 100.0  #: of the tube's radius: a bend so flat may be an accident of fitting
SHORT = 0.6  #: of the radius: a straight so short may be an accident of fitting
SLIGHT = 14.0  #: degrees; so may a bend
NOISY = 1e-5  #: of the radius: scatter in which a straight can hide
FLOOR = 1e-7  #: of the radius: scatter that is rounding whatever the file
MOST_ROUNDS = 16


def possible(one: Fit) -> bool:
    """Whether the bends are such as a tube can have."""
    return all(b.clr is not None and b.clr >= TIGHTEST * one.radius for b in one.table.bends)


def gain(a: Fit, b: Fit) -> float:
    """By how much ``b`` is to be believed rather than ``a`` (same vertices): twice the logarithm of the odds."""
    scale = max(min(one.spread for one in (a, b)), FLOOR * a.radius)
    worth = [_unlikely(one.residual, scale) + one.unknowns * log(len(one.residual)) for one in (a, b)]
    return worth[0] - worth[1]


def _unlikely(residual: Array, scale: float) -> float:
    size = np.abs(residual) / scale
    return float(np.where(size <= FAR, size * size, FAR * (2.0 * size - FAR)).sum())


def chosen(
    best: AnyFit,
    refit: Callable[[BendTable, Placement], AnyFit],
    misfit: Callable[[AnyFit], Misfit],
    others: Callable[[], Iterator[Start]],
    effort: Effort,
) -> tuple[AnyFit, list[AnyFit]]:
    """The table to believe, and the alternatives to it.

    Args:
        best: where to begin.
        refit: fits a first table to the vertices, always the same ones.
        misfit: where a fit does not follow the vertices.
        others: first tables to begin with anew where that does not help.
        effort: of the body; once it is used up, no further table is tried.
    """
    tried: list[AnyFit] = []
    anew = True
    for _ in range(MOST_ROUNDS):
        follows = not misfit(best).suspect
        better = _improved(best, simpler(best), refit, tried, effort)
        if better is None and not follows:
            better = _improved(best, richer(best, misfit(best).place), refit, tried, effort)
            if better is None and anew:
                anew = False
                better = _improved(best, others(), refit, tried, effort)
        if better is None:
            break
        best = better
    if best.spread > NOISY * best.radius:
        # a short straight between two bends hides in scatter: what it would change is part of the doubt
        for k in range(1, len(best.table.bends)):
            if best.table.bends[k].feed == 0.0 and not effort.is_used_up:
                opened = refit(_opened(best.table, k, 0.3 * best.radius), best.placement)
                tried += [opened] if possible(opened) else []
    close = [one for one in tried if one is not best and gain(best, one) > -CLOSE]
    return best, close


def _improved(
    best: AnyFit,
    starts: Iterator[Start],
    refit: Callable[[BendTable, Placement], AnyFit],
    tried: list[AnyFit],
    effort: Effort,
) -> AnyFit | None:
    """The first start whose fit is to be believed rather than the best."""
    for start in starts:
        if effort.is_used_up:
            return None
        one = refit(*start)
        if not possible(one):
            continue
        more = gain(best, one)
        if more > 0.0 or not possible(best):
            tried.append(best)
            return one
        if more > -CLOSE:
            tried.append(one)
    return None


# --- neighbours -------------------------------------------------------------------------------


def simpler(best: Fit) -> Iterator[Start]:
    """Tables with a number less where that may be no loss."""
    table, placement = best.table, best.placement
    bends = table.bends
    for k, bend in enumerate(bends):
        odd = not TIGHTEST * best.radius <= (bend.clr or 0.0) <= FLAT * best.radius
        if odd or bend.angle <= max(best.angle_loose[k], 0.05):
            yield without(table, k), placement
    for k in range(1, len(bends)):
        short = bends[k].feed <= max(1.5 * best.feed_loose[k], SHORT * best.radius)
        turned = abs(bends[k].rotation)
        slight = min(bends[k - 1].angle, bends[k].angle) < SLIGHT
        if short and turned < max(10.0, 60.0 if slight else 0.0):
            yield merged(table, k), placement
        if short and bends[k].feed > 0.0:
            yield closed_up(table, k), placement
    for k, bend in enumerate(bends):
        if bend.angle < SLIGHT / 2.0:
            yield without(table, k), placement
    if bends:
        if 0.0 < table.tail <= best.radius:
            yield _into_the_bend(table, best.radius), placement
        if bends[0].feed != 0.0 and bends[0].feed <= best.radius:  # below 0 where the start slid into the metal
            back, from_b = reverse_table(table, placement)
            yield reverse_table(_into_the_bend(back, best.radius), from_b)


def richer(best: Fit, place: float) -> Iterator[Start]:
    """Tables with more numbers near a place along the tube."""
    table, placement = best.table, best.placement
    bends = table.bends
    at, spans = 0.0, []
    for k, bend in enumerate(bends):
        spans.append((at, at + bend.feed, k, False))
        at += bend.feed
        spans.append((at, at + bend.arc_length, k, True))
        at += bend.arc_length
    spans.append((at, at + table.tail, len(bends), False))
    near = sorted(spans, key=lambda s: max(s[0] - place, place - s[1], 0.0))
    near = [s for s in near if max(s[0] - place, place - s[1], 0.0) < 2.0 * best.radius][:4]
    for _, _, k, bent in near:
        if not bent and 0 < k < len(bends) and bends[k].feed == 0.0:
            yield _opened(table, k, 0.3 * best.radius), placement
    for start, end, k, bent in near:
        share = (place - start) / (end - start) if end > start else 0.5
        if bent:
            for part in (min(0.85, max(0.15, share)), 0.5, 0.1, 0.9):
                yield _split(table, k, part), placement
        else:
            inside = min(end, max(start, place)) - start
            for turn in (0.0, 180.0, 90.0, -90.0):
                yield _bent(table, k, inside, turn, 4.0 * best.radius), placement


def without(table: BendTable, k: int) -> BendTable:
    """A table with a bend made straight."""
    bends = list(table.bends)
    gone = bends.pop(k)
    length = gone.feed + gone.arc_length
    if k == len(bends):
        return BendTable(tuple(bends), table.tail + length)
    follower = bends[k]
    rotation = 0.0 if k == 0 else within_half_turn(follower.rotation + gone.rotation)
    bends[k] = replace(follower, feed=follower.feed + length, rotation=rotation)
    return BendTable(tuple(bends), table.tail)


def merged(table: BendTable, k: int) -> BendTable:
    """A table with bends k - 1 and k as one, as long as both."""
    a, b = table.bends[k - 1], table.bends[k]
    large = max((a, b), key=lambda bend: bend.angle)
    angle = min(358.0, a.angle + b.angle)
    if min(a.angle, b.angle) < SLIGHT or large.clr is None:
        clr = large.clr
    else:
        clr = (a.arc_length + b.feed + b.arc_length) / np.radians(angle)
    bends = list(table.bends)
    bends[k - 1 : k + 1] = [replace(a, angle=angle, clr=clr)]
    if k < len(bends):
        bends[k] = replace(
            bends[k], rotation=within_half_turn(bends[k].rotation + (0.0 if abs(b.rotation) < 90.0 else 180.0))
        )
    return BendTable(tuple(bends), table.tail)


def closed_up(table: BendTable, k: int) -> BendTable:
    """A table without the straight before bend k; the bends beside it grow."""
    a, b = table.bends[k - 1], table.bends[k]
    half = b.feed / 2.0
    bends = list(table.bends)
    bends[k - 1] = replace(a, angle=min(358.0, a.angle + degrees(half / (a.clr or half))))
    bends[k] = replace(b, feed=0.0, angle=min(358.0, b.angle + degrees(half / (b.clr or half))))
    return BendTable(tuple(bends), table.tail)


def _into_the_bend(table: BendTable, radius: float) -> BendTable:
    """A table that ends in its last bend; it is cut to the metal later."""
    last = table.bends[-1]
    more = degrees((table.tail + 0.5 * radius) / (last.clr or radius))
    return BendTable((*table.bends[:-1], replace(last, angle=min(358.0, last.angle + more))), 0.0)


def _opened(table: BendTable, k: int, feed: float) -> BendTable:
    bends = list(table.bends)
    for j in (k - 1, k):
        bend = bends[j]
        less = degrees(feed / 2.0 / (bend.clr or feed))
        bends[j] = replace(bend, angle=max(0.5 * bend.angle, bend.angle - less))
    bends[k] = replace(bends[k], feed=feed)
    return BendTable(tuple(bends), table.tail)


def _split(table: BendTable, k: int, share: float) -> BendTable:
    bend = table.bends[k]
    one = replace(bend, angle=bend.angle * share)
    two = replace(bend, feed=0.0, rotation=0.0, angle=bend.angle * (1.0 - share))
    return BendTable((*table.bends[:k], one, two, *table.bends[k + 1 :]), table.tail)


def _bent(table: BendTable, k: int, inside: float, turn: float, clr: float) -> BendTable:
    """A table with a slight bend in the straight before bend k (or in the tail)."""
    new = Bend(inside, turn if k > 0 else 0.0, 2.0, clr)
    bends = list(table.bends)
    if k == len(bends):
        return BendTable((*bends, new), max(0.0, table.tail - inside))
    old = bends[k]
    rotation = within_half_turn((old.rotation if k > 0 else 0.0) - turn)
    bends[k : k + 1] = [new, replace(old, feed=max(0.0, old.feed - inside), rotation=rotation)]
    return BendTable(tuple(bends), table.tail)
