"""From a rough thread to points of the centerline: whole rings of vertices, or windows of them.

Programs that sweep a section write its vertices ring by ring: such a ring gives a point of the
centerline and its direction exactly. Scans and remeshed surfaces have no rings: there a window
slides along the thread and a short curved cylinder is fitted to the vertices it holds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints, blocks
from converter.geometry.circles import vec
from converter.geometry.vectors import cross
from converter.importers.mesh.weld import MeshBody, edge_keys

GAPS = (0.3, 0.12, 0.04, 0.015)  #: of the radius: distance between rings at least, tried in turn
ALIKE = 0.01  #: share by which the radii of whole rings differ at most
SECTORS = 6  #: around a ring, of which one at most has no vertex where it is whole
FINE = 0.1  #: of the radius: spacing of the points a thread is measured along
WINDOW = 0.75  #: of the radius: half the length of a window
STEP = 0.4  #: of the radius: from window to window
MOST_IN_WINDOW = 240  #: vertices a window is fitted to


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """A centerline as closely spaced points to measure along.

    Attributes:
        points, directions: (n, 3), mm and unit.
        places: (n,) length along it, mm.
    """

    points: Array
    directions: Array
    places: Array

    @classmethod
    def along(cls, points: Array, spacing: float, beyond: float = 3.0) -> Track:
        """A track through points (k, 3), rounded a little, prolonged straight at both ends.

        Args:
            points: in order, mm.
            spacing: of the track's own points, mm: a tenth of the tube's radius.
            beyond: by how many radii it is prolonged.
        """
        p = points.copy()
        for _ in range(2):
            p[1:-1] = 0.25 * p[:-2] + 0.5 * p[1:-1] + 0.25 * p[2:]
        steps = np.sqrt((np.diff(p, axis=0) ** 2).sum(axis=1))
        p = p[np.concatenate(([True], steps > 1e-9))]
        place = np.concatenate(([0.0], np.cumsum(np.sqrt((np.diff(p, axis=0) ** 2).sum(axis=1)))))
        count = max(8, int(place[-1] / spacing) + 1)
        at = np.linspace(0.0, place[-1], count)
        fine = np.stack([np.interp(at, place, p[:, k]) for k in range(3)], axis=1)
        more = int(beyond / FINE)
        if more > 0:
            ahead, back = _onward(fine, spacing, more), _onward(fine[::-1], spacing, more)
            fine = np.concatenate((back[::-1], fine, ahead))
        return cls.through(fine)

    @classmethod
    def by_rings(cls, centers: Array, directions: Array, spacing: float, beyond: float) -> Track:
        """A track through ring centres (k, 3) along their directions (cubic Hermite), prolonged straight."""
        steps = np.sqrt((np.diff(centers, axis=0) ** 2).sum(axis=1))
        rows = []
        for k, step in enumerate(steps):
            u = np.linspace(0.0, 1.0, max(2, int(step / spacing) + 1), endpoint=False)[:, None]
            a, b, da, db = centers[k], centers[k + 1], directions[k] * step, directions[k + 1] * step
            h = u * u * (3.0 - 2.0 * u)
            rows.append(a + h * (b - a) + u * (1.0 - u) * ((1.0 - u) * da - u * db))
        more = np.arange(1, int(beyond / FINE) + 1)[:, None] * spacing
        fine = np.concatenate(
            (centers[0] - more[::-1] * directions[0], *rows, centers[-1:], centers[-1] + more * directions[-1])
        )
        return cls.through(fine)

    @classmethod
    def through(cls, fine: Array) -> Track:
        """A track through closely spaced points (n, 3) as they are."""
        step = np.gradient(fine, axis=0)
        place = np.concatenate(([0.0], np.cumsum(np.sqrt((np.diff(fine, axis=0) ** 2).sum(axis=1)))))
        return cls(fine, step / np.sqrt((step * step).sum(axis=1))[:, None], place)

    def measure(self, points: Array) -> tuple[Array, Array, Ints]:
        """Of each point (m, 3): length along the track, distance from it, and the index of the track's point."""
        from scipy.spatial import cKDTree

        tree = cKDTree(self.points)
        place, far, nearest = np.empty(len(points)), np.empty(len(points)), np.empty(len(points), np.int64)
        for some in blocks(len(points)):
            index = tree.query(points[some])[1]
            arm, t = points[some] - self.points[index], self.directions[index]
            ahead = np.einsum("ij,ij->i", arm, t)
            off = arm - ahead[:, None] * t
            place[some], far[some] = self.places[index] + ahead, np.sqrt(np.einsum("ij,ij->i", off, off))
            nearest[some] = index
        return place, far, nearest


def _onward(fine: Array, spacing: float, count: int) -> Array:
    """``count`` points that carry a row on: curving as its last stretch does for a radius, then straight."""
    k = min(len(fine) - 1, 24)
    last = fine[-1 - k :]
    s = (np.arange(len(last)) - k) * spacing
    design = np.stack((np.ones_like(s), s, s * s), axis=1)
    _, slope, bend = np.linalg.lstsq(design, last, rcond=None)[0]
    ahead = np.arange(1, count + 1)[:, None] * spacing
    curved = np.minimum(ahead, 10.0 * spacing)
    path: Array = fine[-1] + slope * ahead + bend * (curved * curved + 2.0 * curved * (ahead - curved))
    return path


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """Vertices of one surface of a tube, in order along it.

    Attributes:
        points: (n, 3), mm.
        places: (n,) rising, mm along the track.
    """

    points: Array
    places: Array


@dataclass(frozen=True, slots=True, eq=False)
class Stations:
    """Points of the centerline in order.

    Attributes:
        centers: (k, 3), mm.
        directions: (k, 3) unit, in the sense of travel; of a window only roughly.
        radii: (k,) mm.
        rings: whether they are rings of vertices.
        whole: (k,) whether vertices lie all the way around; of rings only.
        misses: (k,) mm by which the vertices of each miss its circle (rms); of rings only.
        noise: mm by which the vertices miss their circles (rms).
        curvatures: (k, 3) 1/mm, toward the centre of the bend; of windows only.
        curvature_noise: (k,) their standard deviations.
    """

    centers: Array
    directions: Array
    radii: Array
    rings: bool
    noise: float
    curvatures: Array | None = None
    curvature_noise: Array | None = None
    whole: NDArray[np.bool_] | None = None
    misses: Array | None = None


@dataclass(frozen=True, slots=True, eq=False)
class BodyOnTrack:
    """A body laid along a track.

    Attributes:
        places, far: (n,) of each vertex: length along the track and distance from it, mm.
        outness: (m,) of each face: cosine of its normal against outward.
        face_far: (m,) distance of its middle from the track, mm.
        side: (m,) whether it is a face of a tube's side: neither an end's nor far away.
    """

    places: Array
    far: Array
    outness: Array
    face_far: Array
    side: NDArray[np.bool_]


def lay_on_track(body: MeshBody, track: Track, radius: float) -> BodyOnTrack:
    """Every vertex and face of a body measured along a track (radius in mm, roughly)."""
    places, far, nearest = track.measure(body.points)
    f = body.faces
    # a small face is where its corner is; a long one, of a straight, is best judged at its middle
    at = nearest[f[:, 0]]
    long = np.empty(len(f), bool)
    for some in blocks(len(f)):
        arm = body.middles(some) - body.points[f[some, 0]]
        long[some] = np.einsum("ij,ij->i", arm, arm) > (0.5 * radius) ** 2
    if long.any():
        at[long] = track.measure(body.middles(long))[2]
    out, size, side = np.empty(len(f)), np.empty(len(f)), np.empty(len(f), bool)
    for some in blocks(len(f)):
        t, normals = track.directions[at[some]], body.normals[some]
        arm = body.middles(some) - track.points[at[some]]
        off = arm - np.einsum("ij,ij->i", arm, t)[:, None] * t
        far_off = np.sqrt(np.einsum("ij,ij->i", off, off))
        looks = np.einsum("ij,ij->i", off, normals) / np.where(far_off > 0.0, far_off, 1.0)
        lengthwise = np.abs(np.einsum("ij,ij->i", t, normals))
        out[some], size[some] = looks, far_off
        side[some] = (np.abs(looks) > 0.6) & (lengthwise < 0.6) & (far_off < 1.5 * radius)
    return BodyOnTrack(places, far, out, size, side)


def skin_of(
    body: MeshBody, along: BodyOnTrack, faces: NDArray[np.bool_], among: NDArray[np.bool_] | None = None
) -> Skin:
    """The vertices of the chosen faces (mask), of those ``among`` (mask) where given, in order along the track."""
    used = body.used_by(faces)
    if among is not None:
        used &= among
    index = np.flatnonzero(used)
    index = index[np.argsort(along.places[index], kind="stable")]
    return Skin(body.points[index], along.places[index])


def rim_of(body: MeshBody, along: BodyOnTrack, faces: NDArray[np.bool_], within: float) -> Array:
    """The vertices (k, 3) on the rims of the chosen faces, within some mm of the first and the last of them.

    A rim is where a chosen face has no chosen neighbour: the end of an open tube, or where an end face begins.
    """
    chosen = along.places[body.used_by(faces)]
    if len(chosen) == 0:
        return np.empty((0, 3))
    low, high = float(chosen.min()) + within, float(chosen.max()) - within
    near = np.empty(len(faces), bool)
    for some in blocks(len(faces)):
        lengths = along.places[body.faces[some]]
        near[some] = faces[some] & ((lengths.min(axis=1) < low) | (lengths.max(axis=1) > high))
    edge, count = np.unique(edge_keys(body.faces[near], len(body.points)) >> 1, return_counts=True)
    single = edge[count == 1]
    ends = np.unique(np.concatenate((single // len(body.points), single % len(body.points))))
    place = along.places[ends]
    rim: Array = body.points[ends[(place < low) | (place > high)]]
    return rim


def rings_of(skin: Skin, radius: float) -> Stations | None:
    """Stations from whole rings; None where the vertices do not lie in rings.

    Vertices are parted at wide gaps along the track; what is then no circle is parted at narrower ones.
    Where that leaves some unparted, a better track through the rings found so far is tried.

    Args:
        skin: vertices in order.
        radius: mm, roughly.
    """
    for made, good in _rings_found(skin, radius):
        inner = np.flatnonzero(good)
        if len(inner) and bool(good[inner[0] : inner[-1] + 1].all()) and len(good) - len(inner) <= 2:
            # the last vertices of an end that is cut at an angle are no circle
            return _even(made, good)
    return None


def some_rings_of(skin: Skin, radius: float) -> Stations | None:
    """Stations from the whole rings, where holes and cuts have vertices of their own, too; None for fewer than two.

    What lies between two rings is as they say only where it turns out so: it is to be held against all vertices.
    """
    best: Stations | None = None
    for made, good in _rings_found(skin, radius):
        if made.whole is None or made.misses is None or not (good & made.whole).any():
            continue
        usual = float(np.median(made.radii[good & made.whole]))
        kept = good & made.whole & (np.abs(made.radii / usual - 1.0) <= ALIKE)
        if kept.sum() >= 2 and (best is None or kept.sum() > len(best.radii)):
            best = _even(replace(made, noise=float(np.sqrt((made.misses[kept] ** 2).mean()))), kept)
    return best


def _even(made: Stations, good: NDArray[np.bool_]) -> Stations | None:
    """The rings that lie on their circles, None where these are not of one radius."""
    made = replace(made, centers=made.centers[good], directions=made.directions[good], radii=made.radii[good])
    return made if float(np.abs(made.radii / np.median(made.radii) - 1.0).max()) <= 0.02 else None


def _rings_found(skin: Skin, radius: float) -> Iterator[tuple[Stations, NDArray[np.bool_]]]:
    """Groups of vertices and which of them lie on a circle, along better and better tracks."""
    for _ in range(5):
        made, good = _parted(skin, radius)
        if made is None or good is None:
            return
        chord = np.gradient(made.centers, axis=0)
        flip = np.where(np.einsum("ij,ij->i", made.directions, chord) < 0.0, -1.0, 1.0)
        yield replace(made, directions=made.directions * flip[:, None]), good
        if good.sum() < 2 or good.mean() < 0.2:
            return
        track = Track.by_rings(made.centers[good], made.directions[good] * flip[good, None], FINE * radius, 8.0)
        places, _, _ = track.measure(skin.points)
        order = np.argsort(places, kind="stable")
        skin = Skin(skin.points[order], places[order])


def _parted(skin: Skin, radius: float) -> tuple[Stations | None, NDArray[np.bool_] | None]:
    """Vertices parted into groups, a circle through each, and which groups lie on theirs; None where hopeless."""
    count = len(skin.points)
    if count < 10:
        return None, None
    gap = np.diff(skin.places)
    starts = np.concatenate(([0], np.flatnonzero(gap > GAPS[0] * radius) + 1))
    made: Stations | None = None
    good: NDArray[np.bool_] | None = None
    for narrower in (*GAPS[1:], 0.0):
        if len(starts) < 2 or len(starts) > count // 3:
            return (made, good) if good is not None else (None, None)
        counts = np.diff(np.concatenate((starts, [count])))
        made, good = _circles(skin, starts, counts, radius)
        good &= counts >= 5
        if bool(good.all()) or narrower == 0.0:
            break
        bad = np.repeat(~good, counts)
        starts = np.union1d(starts, np.flatnonzero((gap > narrower * radius) & bad[1:] & bad[:-1]) + 1)
    return made, good


def _circles(skin: Skin, starts: Ints, counts: Ints, radius: float) -> tuple[Stations, NDArray[np.bool_]]:
    """A circle through each group of vertices, and which groups lie on theirs."""
    which = np.repeat(np.arange(len(starts)), counts)

    def mean(values: Array) -> Array:
        total: Array = np.add.reduceat(values, starts, axis=0)
        return total / counts.reshape((-1,) + (1,) * (values.ndim - 1))

    middle = mean(skin.points)
    arm = skin.points - middle[which]
    scatter = mean(arm[:, :, None] * arm[:, None, :])
    _, axes = np.linalg.eigh(scatter)
    normal, x, y = axes[:, :, 0], axes[:, :, 1], axes[:, :, 2]
    u = np.einsum("ij,ij->i", arm, x[which])
    v = np.einsum("ij,ij->i", arm, y[which])
    high = np.einsum("ij,ij->i", arm, normal[which])
    # Kåsa's circle: closed form, exact for vertices that lie on one
    z = u * u + v * v
    suu, svv, suv, suz, svz = (mean(w) for w in (u * u, v * v, u * v, u * z, v * z))
    det = suu * svv - suv * suv
    good = det > 1e-4 * radius**4
    det = np.where(good, det, 1.0)
    cu, cv = (suz * svv - svz * suv) / (2.0 * det), (svz * suu - suz * suv) / (2.0 * det)
    radii = np.sqrt(cu * cu + cv * cv + mean(z))
    off = np.hypot(np.hypot(u - cu[which], v - cv[which]) - radii[which], high)
    good &= np.maximum.reduceat(off, starts) <= 0.02 * radius
    centers = middle + cu[:, None] * x + cv[:, None] * y
    sector = ((np.arctan2(v - cv[which], u - cu[which]) / np.pi + 1.0) * SECTORS / 2.0).astype(np.int64) % SECTORS
    held = np.bincount(which * SECTORS + sector, minlength=len(starts) * SECTORS).reshape(-1, SECTORS) > 0
    noise, misses = float(np.sqrt((off * off).mean())), np.sqrt(mean(off * off))
    whole = held.sum(axis=1) >= SECTORS - 1
    return Stations(centers, normal, radii, True, noise, whole=whole, misses=misses), good


def windows_of(
    skin: Skin, track: Track, radius: float, half: float | None = None, step: float | None = None
) -> Stations | None:
    """Stations from windows along the track; None where too few hold enough vertices all around.

    In each window the centre's path across the track is a parabola and the radius is free:
    seven unknowns by least squares on the distances of the vertices, two Gauss-Newton steps.
    ``half`` and ``step`` in mm are half the length of a window and the way to the next one.
    """
    half, step = half or WINDOW * radius, step or STEP * radius
    first, last = float(skin.places[0]) + 0.4 * half, float(skin.places[-1]) - 0.4 * half
    count = max(2, int((last - first) / step) + 1)
    found: list[tuple[Array, Array, float, float, Array, float]] = []
    for s in np.linspace(first, last, count):
        a, b = np.searchsorted(skin.places, (s - half, s + half))
        # a window needs vertices before and behind its middle
        if b - a < 12 or skin.places[a] > s - 0.3 * half or skin.places[b - 1] < s + 0.3 * half:
            continue
        pick = slice(a, b) if b - a <= MOST_IN_WINDOW else np.linspace(a, b - 1, MOST_IN_WINDOW).astype(np.intp)
        one = _window(skin.points[pick], track, s, half, radius)
        if one is not None:
            found.append(one)
    if len(found) < 3:
        return None
    size = np.array([f[2] for f in found])
    found = [f for f, good in zip(found, np.abs(size / np.median(size) - 1.0) < 0.05, strict=True) if good]
    if len(found) < 3:
        return None
    centers, directions, radii, misses, curvatures, loose = (np.array(column) for column in zip(*found, strict=True))
    return Stations(centers, directions, radii, False, float(np.median(misses)), curvatures, loose)


def unrest(centers: Array) -> float:
    """How far single stations (k, 3) stray from their neighbours' smooth line: a robust standard deviation in mm.

    Third differences of a smooth curve are next to nothing; of independent errors their variance is 20 times one's.
    """
    if len(centers) < 6:
        return 0.0
    third = np.diff(centers, 3, axis=0)
    return float(1.4826 * np.median(np.abs(third)) / np.sqrt(20.0))


def _window(
    points: Array, track: Track, s: float, half: float, radius: float
) -> tuple[Array, Array, float, float, Array, float] | None:
    """Centre, direction, radius, rms miss, curvature vector and its standard deviation at the place s."""
    k = int(np.clip(np.searchsorted(track.places, s), 1, len(track.places) - 1))
    share = (s - track.places[k - 1]) / (track.places[k] - track.places[k - 1])
    base = track.points[k - 1] + share * (track.points[k] - track.points[k - 1])
    # the direction over the whole window: single steps of a rough track wobble
    a, b = np.searchsorted(track.places, (s - half, s + half)).clip(0, len(track.places) - 1)
    t = track.points[b] - track.points[a]
    t = t / np.sqrt(t @ t)
    # of single vectors: np.cross takes ten times as long
    x = np.array(cross(vec(t), (1.0, 0.0, 0.0) if abs(t[0]) < 0.7 else (0.0, 1.0, 0.0)))
    x /= np.sqrt(x @ x)
    y = np.array(cross(vec(t), vec(x)))
    arm = points - base
    w, u, v = arm @ t / half, arm @ x, arm @ y
    around = np.bincount(((np.arctan2(v, u) / np.pi + 1.0) * 4.0).astype(np.intp).clip(0, 7), minlength=8)
    if (around == 0).sum() > 3:
        return None
    px, py, r = np.zeros(3), np.zeros(3), radius
    miss, normal = np.inf, np.eye(7)
    for _ in range(4):
        cx, cy = px[0] + w * (px[1] + w * px[2]), py[0] + w * (py[1] + w * py[2])
        du, dv = u - cx, v - cy
        # across the path itself, which leans by its slope
        sx, sy = (px[1] + 2.0 * w * px[2]) / half, (py[1] + 2.0 * w * py[2]) / half
        lean = np.sqrt(1.0 + (sx * du + sy * dv) ** 2 / np.maximum(du * du + dv * dv, 1e-300))
        dist = np.hypot(du, dv)
        eu, ev = du / np.where(dist > 0.0, dist, 1.0), dv / np.where(dist > 0.0, dist, 1.0)
        res = dist / lean - r
        jac = np.stack((-eu, -eu * w, -eu * w * w, -ev, -ev * w, -ev * w * w, -np.ones_like(w)), axis=1)
        normal = np.einsum("ij,ik->jk", jac, jac)
        normal[np.diag_indices(7)] += 1e-6 * len(w)
        delta = solve_spd(normal, -np.einsum("ij,i->j", jac, res))
        if delta is None:
            return None
        px, py, r = px + delta[:3], py + delta[3:6], r + float(delta[6])
        miss = float(np.sqrt((res * res).mean()))
        if float(np.abs(delta).max()) < 1e-4 * radius:
            break
    if not 0.7 * radius < r < 1.4 * radius:
        return None
    direction = t + (px[1] * x + py[1] * y) / half
    curvature = 2.0 * (px[2] * x + py[2] * y) / half**2
    spread = solve_spd(normal, np.eye(7)[:, [2, 5]])
    if spread is None:
        return None
    loose = 2.0 * miss * float(np.sqrt(max(spread[2, 0], spread[5, 1]))) / half**2
    return base + px[0] * x + py[0] * y, direction / np.sqrt(direction @ direction), r, miss, curvature, loose


def solve_spd(matrix: Array, right: Array) -> Array | None:
    """x with matrix x = right by elimination, scaled to a unit diagonal; None where it is singular.

    Args:
        matrix: (n, n) symmetric, positive definite.
        right: (n,) or (n, m).
    """
    diagonal = np.diag(matrix)
    if not bool((diagonal > 0.0).all()):
        return None
    scale = 1.0 / np.sqrt(diagonal)
    columns = right if right.ndim == 2 else right[:, None]
    n = len(matrix)
    work = np.concatenate((matrix * scale[:, None] * scale, columns * scale[:, None]), axis=1)
    for k in range(n):
        pivot = work[k, k]
        if not pivot > 1e-13:
            return None
        work[k, k:] /= pivot
        below = work[k + 1 :]
        below[:, k:] -= below[:, k : k + 1] * work[k, k:]
    for k in range(n - 1, 0, -1):
        work[:k, n:] -= work[:k, k : k + 1] * work[k, n:]
    found = work[:, n:] * scale[:, None]
    if not bool(np.isfinite(found).all()):
        return None
    answer: Array = found if right.ndim == 2 else found[:, 0]
    return answer
