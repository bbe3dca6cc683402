"""First tables from a developed centerline: where its curvature changes, found for all of it at once.

In a frame that is carried along without turning about the curve, the curvature of straights and bends
is constant piece by piece, and rotations between bends are angles between its values. Developed with
that frame the centerline is a plane row of points on which pieces are parabolas and straight lines that
meet tangent: the best division of the row is found exactly (dynamic programming), the places where pieces
meet are then moved until the tangent row fits best.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import atan2, degrees, hypot

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import fit_line, vec
from converter.geometry.vectors import along, any_normal, cross, unit, within_half_turn
from converter.importers.mesh.feet import TablePart, parts_of
from converter.importers.mesh.stations import Skin, Stations, Track, unrest, windows_of
from converter.model.bends import Bend, BendTable, Placement

SHORTEST, LONGEST = 0.3, 0.75  #: of the radius: half lengths of a window
IN_WINDOW = 60  #: vertices a window should hold at least
BLUR = 3e-4  #: of the radius: what windows blur where the curvature changes
PENALTIES = (60.0, 25.0, 10.0)  #: what one more number must gain, in squared standard deviations, tried in turn
FINER = (25.0, 10.0, 5.0)  #: the same where those tables do not do
MOST_POINTS = 700  #: of the row
MOST_PIECES = 60  #: more are no tube's
MOST_SWEEPS = 8  #: over all joints with one step; the fit to the vertices does the rest
WORTHWHILE = 1e-4  #: share of the squared misses that one sweep must win for another


@dataclass(frozen=True, slots=True, eq=False)
class DevelopedRow:
    """A developed centerline: (n,) places in mm, (n, 2) points in mm, and (n, 3) the points in space."""

    places: Array
    points: Array
    centers: Array


def drafts_by_development(
    skin: Skin, track: Track, radius: float, penalties: tuple[float, ...] = PENALTIES
) -> Iterator[tuple[BendTable, Placement]]:
    """First tables, of few bends and of more; none where windows find no row.

    Args:
        skin: vertices of the outside.
        track: roughly along its centerline.
        radius: of the tube, mm.
        penalties: each gives a table; the smaller, the more bends.
    """
    length = float(skin.places[-1] - skin.places[0])
    half = float(np.clip(IN_WINDOW * length / max(1, len(skin.points)) / 2.0, SHORTEST * radius, LONGEST * radius))
    step = max(half / 2.0, length / MOST_POINTS)
    stations = windows_of(skin, track, radius, half, step)
    if stations is None or len(stations.centers) < 8:
        return
    # windows overlap, so neighbours share their errors
    yield from drafts_of_row(stations, max(BLUR * radius, 2.0 * unrest(stations.centers)), radius, penalties)


def drafts_of_row(
    stations: Stations, noise: float, radius: float, penalties: tuple[float, ...] = PENALTIES
) -> Iterator[tuple[BendTable, Placement]]:
    """First tables through stations in order, of few bends and of more.

    Args:
        stations: at least eight.
        noise: by which their centres are off, mm.
        radius: of the tube, mm.
        penalties: each gives a table; the smaller, the more bends.
    """
    row = developed(stations)
    straight, bent = _costs(row, noise)
    seen: set[tuple[tuple[int, bool], ...]] = set()
    for penalty in penalties:
        pieces = _divided(straight, bent, penalty)
        if tuple(pieces) in seen or len(pieces) > MOST_PIECES:
            continue
        seen.add(tuple(pieces))
        made = _table(row, pieces, radius)
        if made is not None:
            yield made


def developed(stations: Stations) -> DevelopedRow:
    """The plane row of a row of centres, by carrying a frame along its chords (least rotation from one to the next)."""
    c = stations.centers
    d = np.diff(c, axis=0)
    length = np.sqrt((d * d).sum(axis=1))
    keep = np.concatenate(([True], length > 1e-9))
    c = c[keep]
    d = np.diff(c, axis=0)
    length = np.sqrt((d * d).sum(axis=1))
    u = d / length[:, None]
    e = np.array(any_normal(unit(vec(u[0]))))
    heading = np.zeros((len(u), 2))
    for k in range(1, len(u)):
        t, ahead = u[k - 1], u[k]
        away = ahead - (ahead @ t) * t
        size = float(np.sqrt(away @ away))
        heading[k] = heading[k - 1]
        if size > 0.0:
            turn = atan2(size, float(ahead @ t))
            heading[k] += turn / size * np.array((away @ e, away @ np.array(cross(vec(t), vec(e)))))
        # the least rotation from t to ahead, applied to e
        e = e - (e @ ahead) / (1.0 + t @ ahead) * (t + ahead)
        e = e - (e @ ahead) * ahead
        e /= np.sqrt(e @ e)
    places = np.concatenate(([0.0], np.cumsum(length)))
    points = np.concatenate((np.zeros((1, 2)), np.cumsum(heading * length[:, None], axis=0)))
    return DevelopedRow(places, points, c)


def _costs(row: DevelopedRow, noise: float) -> tuple[Array, Array]:
    """For points i..j the squared misses of the best line and the best parabola, in squared standard deviations."""
    n = len(row.places)
    straight, bent = np.full((n, n), np.inf), np.full((n, n), np.inf)
    for i in range(n - 1):
        s = row.places[i:] - row.places[i]
        q = row.points[i:] - row.points[i]
        slope = q[1] / s[1]
        q = (q - s[:, None] * slope) / noise
        count = np.arange(1.0, len(s) + 1.0)
        s = s / s[-1]
        m = [np.cumsum(s**p) for p in range(1, 5)]
        s11 = m[1] - m[0] * m[0] / count
        s12 = m[2] - m[0] * m[1] / count
        s22 = m[3] - m[1] * m[1] / count
        rest = np.zeros(len(s))
        gain = np.zeros(len(s))
        with np.errstate(all="ignore"):
            for axis in range(2):
                x = q[:, axis]
                total = np.cumsum(x)
                p1 = np.cumsum(x * s) - total * m[0] / count
                p2 = np.cumsum(x * s * s) - total * m[1] / count
                rest += np.cumsum(x * x) - total * total / count - p1 * p1 / s11
                gain += (p2 - p1 * s12 / s11) ** 2 / (s22 - s12 * s12 / s11)
        rest[:2] = 0.0
        gain[:3] = 0.0
        straight[i, i + 1 :] = np.maximum(0.0, rest[1:])
        bent[i, i + 2 :] = np.maximum(0.0, (rest - gain)[2:])
    return straight, bent


def _divided(straight: Array, bent: Array, penalty: float) -> list[tuple[int, bool]]:
    """The best division: first index of each piece and whether it is bent."""
    n = len(straight)
    best = np.full((n, 2), np.inf)  # of pieces up to j, the last one straight, or bent
    best[0] = 0.0
    before = np.zeros((n, 2, 2), np.int64)
    either = np.full(n, np.inf)
    either[0] = 0.0
    for j in range(1, n):
        line = best[:j, 1] + straight[:j, j]  # never two straights in a row
        k = int(np.argmin(line))
        best[j, 0] = line[k] + 4.0 + penalty
        before[j, 0] = k, 1
        arc = either[:j] + bent[:j, j]
        k = int(np.argmin(arc))
        best[j, 1] = arc[k] + 6.0 + 3.0 * penalty
        before[j, 1] = k, int(best[k, 1] < best[k, 0])
        either[j] = best[j].min()
    pieces: list[tuple[int, bool]] = []
    j, kind = n - 1, int(best[n - 1, 1] < best[n - 1, 0])
    while j > 0:
        k, kind_before = (int(v) for v in before[j, kind])
        pieces.append((k, bool(kind)))
        j, kind = k, kind_before
    return pieces[::-1]


def _bend_column(s: Array, start: float, end: float) -> Array:
    """What a unit of curvature from place ``start`` to ``end`` moves each point of a row (n,) aside by."""
    a, b = np.maximum(0.0, s - start), np.maximum(0.0, s - end)
    column: Array = 0.5 * (a * a - b * b)
    return column


def _design(row: DevelopedRow, knots: Array, bent: list[bool]) -> Array:
    s = row.places
    curved = [_bend_column(s, knots[k], knots[k + 1]) for k, is_bent in enumerate(bent) if is_bent]
    return np.stack([np.ones_like(s), s, *curved], axis=1)


def _answer(design: Array, points: Array) -> Array:
    size = np.sqrt((design * design).sum(axis=0))
    size = np.where(size > 0.0, size, 1.0)
    answer: Array = np.linalg.lstsq(design / size, points, rcond=None)[0] / size[:, None]
    return answer


def _tangent_row(row: DevelopedRow, knots: Array, bent: list[bool]) -> Array:
    """Curvatures (bends, 2) of the tangent row with pieces between knots that fits best."""
    return _answer(_design(row, knots, bent), row.points)[2:]


def _settled_knots(row: DevelopedRow, knots: Array, bent: list[bool], radius: float) -> Array:
    """The knots moved one by one, by ever smaller steps, while the tangent row fits better.

    A knot belongs to two pieces, so a move changes two columns at most: the products of the columns are kept, and what
    the last answer leaves over is fitted, which keeps digits.
    """
    column_of = {k: 2 + j for j, k in enumerate(k for k, curved in enumerate(bent) if curved)}
    design = _design(row, knots, bent)
    answer = _answer(design, row.points)
    rest = row.points - design @ answer
    miss = float((rest * rest).sum())
    step = 0.4 * radius
    while step > 0.02 * radius:
        for _ in range(MOST_SWEEPS):
            before = miss
            products = design.T @ design
            for k in range(1, len(knots) - 1):
                touched = [j for j in (k - 1, k) if j in column_of]
                for shift in (-step, step):
                    at = knots[k] + shift
                    if not knots[k - 1] < at < knots[k + 1]:
                        continue
                    tried, left, crossed = design.copy(), rest, products.copy()
                    for j in touched:
                        ends = (knots[j], at) if j == k - 1 else (at, knots[j + 1])
                        c = column_of[j]
                        column = _bend_column(row.places, *ends)
                        left = left + (design[:, c] - column)[:, None] * answer[c]
                        tried[:, c] = column
                    for j in touched:
                        c = column_of[j]
                        crossed[c] = crossed[:, c] = tried.T @ tried[:, c]
                    more = _more(crossed, tried.T @ left)
                    if more is None:
                        continue
                    over = left - tried @ more
                    now = float((over * over).sum())
                    if now < miss:
                        knots = knots.copy()
                        knots[k] = at
                        design, products, answer, rest, miss = tried, crossed, answer + more, over, now
            if miss > before * (1.0 - WORTHWHILE):
                break
        step /= 2.0
    return knots


def _more(products: Array, gradient: Array) -> Array | None:
    """The change of an answer by its normal equations, scaled to a unit diagonal; None where they are singular."""
    diagonal = np.diag(products)
    if not bool((diagonal > 0.0).all()):
        return None
    scale = 1.0 / np.sqrt(diagonal)
    try:
        found = np.linalg.solve(products * scale[:, None] * scale, gradient * scale[:, None])
    except np.linalg.LinAlgError:
        return None
    more: Array = found * scale[:, None]
    return more if bool(np.isfinite(more).all()) else None


def _table(row: DevelopedRow, pieces: list[tuple[int, bool]], radius: float) -> tuple[BendTable, Placement] | None:
    """The table of a division, its joints moved to where the tangent row fits best, laid on the centres."""
    bent = [kind for _, kind in pieces]
    knots = np.array([row.places[i] for i, _ in pieces] + [row.places[-1]])
    knots = _settled_knots(row, knots, bent, radius)
    curvatures = _tangent_row(row, knots, bent)
    rows: list[Bend] = []
    feed, last, which = 0.0, 0.0, 0
    for k, curved in enumerate(bent):
        length = float(knots[k + 1] - knots[k])
        if not curved:
            feed += length
            continue
        x, y = (float(v) for v in curvatures[which])
        which += 1
        size = hypot(x, y)
        angle = degrees(size * length)
        if angle < 0.02 or size <= 0.0:
            feed += length
            continue
        if angle >= 359.0:
            return None
        toward = degrees(atan2(y, x))
        rotation = 0.0 if not rows else within_half_turn(toward - last)
        last = toward
        rows.append(Bend(feed, rotation, angle, 1.0 / size))
        feed = 0.0
    table = BendTable(tuple(rows), feed)
    return table, _laid_on(table, row)


def _laid_on(table: BendTable, row: DevelopedRow) -> Placement:
    """Where a table is closest to the centres of a row (Kabsch's rotation)."""
    local = points_at(parts_of(table, Placement()), row.places)
    a, b = local.mean(axis=0), row.centers.mean(axis=0)
    u, _, vt = np.linalg.svd((local - a).T @ (row.centers - b))
    flip = np.diag((1.0, 1.0, float(np.sign(np.linalg.det(u) * np.linalg.det(vt)))))
    turn = u @ flip @ vt
    origin = Placement()
    t, n = np.array(origin.direction) @ turn, np.array(origin.normal) @ turn
    n = n - (n @ t) * t
    return Placement(vec((np.array(origin.start) - a) @ turn + b), unit(vec(t)), unit(vec(n)))


def points_at(parts: list[TablePart], places: Array) -> Array:
    """Points (n, 3) of a centerline at places (n,) along it, mm; before and behind it on its straights prolonged."""
    starts = np.array([p.place for p in parts])
    index = np.clip(np.searchsorted(starts, places, side="right") - 1, 0, len(parts) - 1)
    out = np.empty((len(places), 3))
    for k, part in enumerate(parts):
        own = index == k
        x = places[own] - part.place
        if part.arc is None:
            out[own] = np.array(part.point) + x[:, None] * np.array(part.t)
        else:
            c, t = np.array(part.arc.center), np.array(part.t)
            angle = (x / part.arc.radius)[:, None]
            out[own] = c + np.cos(angle) * (np.array(part.point) - c) + np.sin(angle) * part.arc.radius * t
    return out


def single_straight(skin: Skin, radius: float) -> tuple[BendTable, Placement] | None:
    """One straight through a skin that has vertices only at its ends; None where it is none."""
    point, direction, _ = fit_line(skin.points)
    arm = skin.points - np.array(point)
    ahead = arm @ np.array(direction)
    off = np.sqrt(np.maximum(0.0, np.einsum("ij,ij->i", arm, arm) - ahead * ahead))
    if float(off.max()) > 1.5 * radius:
        return None
    start = along(point, direction, float(ahead.min()))
    return BendTable((), float(np.ptp(ahead))), Placement.leaving(start, direction)
