"""Whether a tube follows the vertices as well as their scatter allows, stretch by stretch.

Where a table has a bend too few or a wrong radius, its centerline lies beside that of the metal: the
residuals there go up and down once around the tube. Scatter that is independent from vertex to vertex
does so only a little, and how much is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt

import numpy as np

from converter.arrays import Array

STRETCH = 0.5  #: of the radius: length of a stretch
FEWEST = 24  #: vertices in a stretch
SURE, MAYBE = 26.0, 15.0  #: squared standard deviations by which one stretch is off beyond chance, or may be
MANY, SOME = 5.0, 2.5  #: standard deviations by which all of them together are
LEAST_NAMED = 2e-5  #: of the radius: less beside is not worth a word


@dataclass(frozen=True, slots=True)
class Misfit:
    """How a tube misses its vertices beyond their scatter.

    Attributes:
        clear: whether it does, beyond chance.
        beside: how far the centerline lies beside the metal's where that is worst, mm.
        place: where that is, mm along the tube.
        noise: standard deviation of the vertices about the metal itself, mm.
        excess: squared misses of all stretches over what chance explains; 1 where the tube follows.
        suspect: whether it may, so that other tables are worth a try.
    """

    clear: bool
    beside: float
    place: float
    noise: float
    excess: float
    suspect: bool


def misfit_of(residual: Array, up: Array, place: Array, radius: float, unknowns: int) -> Misfit:
    """The misfit of vertices of the outside.

    Args:
        residual: (n,) distance of each from the tube's surface, mm.
        up: (n, 3) unit vectors from the centerline.
        place: (n,) along the tube, mm.
        radius: of the outside, mm.
        unknowns: numbers that were fitted to them.
    """
    low = float(place.min())
    count = max(1, int((float(place.max()) - low) / (STRETCH * radius)))
    which = np.minimum(((place - low) / max(1e-12, float(place.max()) - low) * count).astype(np.int64), count - 1)
    order = np.argsort(which, kind="stable")
    starts = np.searchsorted(which[order], np.arange(count + 1))
    gains, sides, places, rests, frees = [], [], [], 0.0, 0
    for a, b in pairwise(starts.tolist()):
        if b - a < FEWEST:
            continue
        own = order[a:b]
        x, r = up[own], residual[own]
        # the offset of a centre is a vector: residual = u . offset, all around
        normal = np.einsum("ij,ik->jk", x, x)
        values, axes = np.linalg.eigh(normal)
        across = (axes.T @ np.einsum("ij,i->j", x, r))[1:]
        if values[1] < 0.05 * (b - a):
            continue
        offset = across / values[1:]
        won = float((across * across / values[1:]).sum())
        rests += float(r @ r) - won
        frees += int(b - a) - 2
        gains.append(won)
        sides.append(float(np.sqrt(offset @ offset)))
        places.append(float(place[own].mean()))
    if not gains or frees < 10:
        return Misfit(False, 0.0, 0.0, float(np.sqrt((residual * residual).mean())), 1.0, False)
    noise = sqrt(max(rests, 0.0) / frees)
    scale = max(noise, 1e-7 * radius)
    chi = np.array(gains) / scale**2
    worst = int(np.argmax(chi))
    expected = max(4.0, 2.0 * len(chi) - unknowns)
    excess = float(chi.sum()) / expected
    beyond = (float(chi.sum()) - expected) / sqrt(2.0 * expected)
    sure, maybe = (bool(chi[worst] > one) or beyond > all_of for one, all_of in ((SURE, MANY), (MAYBE, SOME)))
    seen = sides[worst] > LEAST_NAMED * radius
    return Misfit(sure and seen, sides[worst], places[worst], noise, excess, maybe and seen)
