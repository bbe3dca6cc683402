"""Vertices closer together than their noise: which of them tell directions.

A chord much longer than the noise has the direction of the tube; between vertices as close as the noise is large it has
any. Turns that are noise get less where vertices are passed over, turns that were drawn get more.
"""

from __future__ import annotations

import numpy as np

from converter.arrays import Array, Index
from converter.geometry.circles import crossed
from converter.reducer.fitting.divisions import stretch_misses
from converter.reducer.fitting.segment import turn_angles

CLOSE = 20.0  #: times the fit tolerance: chords of which noise may turn so far that it looks like corners
FEWEST = 60  #: vertices at such chords that tell noise
WILD = 8.0  #: degrees that a quarter of them turn by, at least
CALM = 5.0  #: degrees that all but a quarter turn by once enough are passed over
LESS = 0.75  #: how much less noise turns where vertices are twice as far apart (in theory half), at most
PASSED = 3.0  #: times the fit tolerance: how far passed vertices may lie from the chords that are left
FARTHEST = 64.0  #: times the fit tolerance: the longest chord that is tried
CORNER_WINDOW = 6  #: chords on each side of a corner that tell where it is


def telling_vertices(points: Array, fit: float) -> Index:
    """Which vertices of a row (n, 3) to look at for its turns: all, unless many are closer together than their noise.

    Args:
        points: mm, consecutive ones different.
        fit: mm; noise is expected up to about so much.

    Returns:
        Indices in order, the first and the last vertex among them.
    """
    every = np.arange(len(points))
    wild = _turn_of_three_quarters(points, every, CLOSE * fit)
    if wild < WILD:
        return every
    apart = 2.0 * float(np.median(_sizes(points)))
    best = every
    while apart <= FARTHEST * fit:
        rows = _apart(points, apart)
        if len(rows) < 3 or _passed(points, rows) > PASSED * fit:
            break
        turned = _turn_of_three_quarters(points, rows, 4.0 * apart)
        if turned > LESS * wild:
            break
        best, wild = rows, turned
        if turned <= CALM:
            return best
        apart *= 2.0
    return best if wild < WILD else every


def _sizes(points: Array) -> Array:
    d = np.diff(points, axis=0)
    sizes: Array = np.sqrt(np.einsum("ij,ij->i", d, d))
    return sizes


def _turn_of_three_quarters(points: Array, rows: Index, close: float) -> float:
    """Degrees that three quarters of the vertices between chords below ``close`` mm turn by at most; 0 for few."""
    if len(rows) < FEWEST:
        return 0.0
    own = points[rows]
    short = _sizes(own) < close
    turns = turn_angles(own)[short[1:] & short[:-1]]
    return float(np.quantile(turns, 0.75)) if len(turns) >= FEWEST else 0.0


def _apart(points: Array, apart: float) -> Index:
    """Vertices one after another, each the first at least ``apart`` mm from the one before; and the last."""
    rows, at, reach, last = [0], 0, 16, len(points) - 1
    while at < last:
        ahead = points[at + 1 : at + 1 + reach] - points[at]
        far = np.flatnonzero(np.einsum("ij,ij->i", ahead, ahead) >= apart * apart)
        if not far.size and at + 1 + reach <= last:
            reach *= 2
            continue
        at = at + 1 + int(far[0]) if far.size else last
        rows.append(at)
    if len(rows) > 2 and far.size == 0:  # what is left at the end is too short to tell
        del rows[-2]
    return np.array(rows, np.intp)


def _passed(points: Array, rows: Index) -> float:
    """Largest distance in mm of any vertex from the line of the chord that passes over it."""
    d = np.diff(points[rows], axis=0)
    d /= np.sqrt(np.einsum("ij,ij->i", d, d))[:, None]
    chord = np.searchsorted(rows, np.arange(len(points)), side="right") - 1
    chord = np.minimum(chord, len(d) - 1)
    off = crossed(points - points[rows[chord]], d[chord])
    return float(np.sqrt(np.einsum("ij,ij->i", off, off).max()))


def corner_vertex(points: Array, rows: Index, at: int) -> int:
    """The vertex at which a corner is that was seen at ``rows[at]``: where pieces on both sides fit best.

    Args:
        points: (n, 3) all vertices, mm.
        rows: those that tell directions.
        at: place of the corner in ``rows``, neither end.
    """
    first, last = int(rows[max(0, at - CORNER_WINDOW)]), int(rows[min(len(rows) - 1, at + CORNER_WINDOW)])
    between = np.arange(max(first + 2, int(rows[at - 1])), min(last - 2, int(rows[at + 1])) + 1)
    if len(rows) == len(points) or not len(between):
        return int(rows[at])
    own = points[first : last + 1]
    here = between - first
    before = stretch_misses(own, np.zeros_like(here), here)
    after = stretch_misses(own, here, np.full_like(here, last - first))
    return int(between[int((before + after).argmin())])
