"""Whether a part of a tube stands before a point: rays shot at its surfaces, all at once."""

from __future__ import annotations

from converter.arrays import Array, Flags, Ints
from converter.exporters.pictures.hidden.solid import Ring, Solid, dots

#: A ray that starts on a surface is not stopped by it: hits nearer than this, in sizes of the section, do not count.
_NEAR = 2e-4
#: The same for what rounding does to a torus, in radii of the bend.
_NEAR_BEND = 1e-6
#: The tube is taken this much thinner, so that what a ray only touches does not stop it: lines that lie over one
#: another, as those of a run seen in its plane do, are all drawn rather than hiding each other in turn.
_THINNER = 1.0 - 1e-7
#: Chords by which a bend's neighbourhood is known.
_CHORDS = 8


class Sight:
    """A tube looked at from far away, from one side or from several.

    Args:
        solid: the tube.
        views: (v, 2, 3) unit vectors to the right and up in each view, square to each other.

    Attributes:
        toward: (v, 3) unit vectors towards the eye.
    """

    def __init__(self, solid: Solid, views: Array) -> None:
        import numpy as np

        self._solid = solid
        self._right, self._up = views[:, 0], views[:, 1]
        self.toward = v = np.cross(self._right, self._up)
        reach = solid.outer.reach
        count = len(solid.size)
        bent = solid.bent
        # of each view and piece, how fast a ray goes along the piece's own directions
        self._ahead, self._inside, self._normal = (v @ axes.T for axes in (solid.ahead, solid.inside, solid.normal))
        # a bend of round tube whose picture's centerline curves less than it is thick hides nothing of itself; an
        # inside flat is hollow, and hides its own silhouette
        self._folds = bent & (solid.outer.flats | (solid.radius * self._normal**2 <= reach * 1.0001))
        f = np.tile(np.linspace(0.0, 1.0, _CHORDS + 1), count)
        middles = solid.middles(np.repeat(np.arange(count), _CHORDS + 1), f)
        sagitta = solid.radius * (1.0 - np.cos(np.where(bent, solid.size, 0.0) / (2 * _CHORDS)))
        # (v, pieces, places, 2)
        flat = (views @ middles.T).reshape(len(v), 2, count, _CHORDS + 1).transpose(0, 2, 3, 1)
        # of a straight one chord is enough
        chains = (flat[:, :, ::_CHORDS], flat)
        ways = [np.diff(chain, axis=2) for chain in chains]
        self._chords = [
            (chain[:, :, :-1], d, np.maximum(d[..., 0] ** 2 + d[..., 1] ** 2, 1e-30))
            for chain, d in zip(chains, ways, strict=True)
        ]
        mitre = np.abs(solid.lean).sum(axis=1) * reach
        for cut, end in zip(solid.cuts, (0, -1), strict=True):
            mitre[end] += cut.beyond if cut else 0.0
        self._reach = (reach + sagitta + mitre) * 1.0001
        self._depth = (v @ middles.T).reshape(len(v), count, -1).max(axis=2) + self._reach
        self._low, self._high = flat.min(axis=2) - self._reach[:, None], flat.max(axis=2) + self._reach[:, None]
        # a rounding takes over where a flat ends; a sharp corner that a ray only touches does not stop it
        self._slack = 1e-9 if solid.outer.rounding > 1e-9 else -1e-7
        self._near = _NEAR * reach + _NEAR_BEND * solid.radius
        self._every = np.arange(count)
        self._rim = 1.0001 * reach
        self._faces = [] if solid.closed else self._open_faces()

    def hidden(self, points: Array, own: Ints, view: Ints, within: Flags | None = None) -> Flags:
        """Whether something stands before each point.

        Args:
            points: (n, 3) on the outside of the tube.
            own: (n,) the piece each lies on, which does not hide it unless it folds over itself in the picture.
            view: (n,) in which it is looked at.
            within: (n,) whether a point is on the rim of a cut end, where its own piece may stand before it.
        """
        import numpy as np

        flat = np.stack((dots(points, self._right[view]), dots(points, self._up[view])), axis=1)
        which, piece = self._before(flat, dots(points, self.toward[view]), own, view, within)
        stopped = np.zeros(len(points), dtype=bool)
        bent = self._solid.bent[piece]
        for test, chosen, chords in zip((self._straights, self._bends), (~bent, bent), self._chords, strict=True):
            w, i = which[chosen], piece[chosen]
            if len(w):
                close = _distance(flat[w], *(column[view[w], i] for column in chords)) <= self._reach[i]
                w, i = w[close], i[close]
            if len(w):
                stopped[w[test(points[w], i, view[w])]] = True
        for (x, y), *face in self._faces:
            near = (np.abs(flat[:, 0] - x[view]) <= self._rim) & (np.abs(flat[:, 1] - y[view]) <= self._rim)
            if len(rows := np.flatnonzero(near)):
                stopped[rows] |= self._face(points[rows], view[rows], *face)
        return stopped

    def _before(self, flat: Array, depth: Array, own: Ints, view: Ints, within: Flags | None) -> tuple[Ints, Ints]:
        """Numbers of points and of the pieces that may stand before them, by the boxes around these in each view.

        Args:
            flat, depth: (n, 2) the points in their views, and (n,) how near the eye they are.
            own, view, within: as of `hidden`.
        """
        import numpy as np

        found = []
        for k, (low, high) in enumerate(zip(self._low, self._high, strict=True)):
            rows = np.flatnonzero(view == k)
            (x, y), z, mine = flat[rows].T[..., None], depth[rows, None], own[rows, None]
            maybe = (x >= low[:, 0]) & (x <= high[:, 0]) & (y >= low[:, 1]) & (y <= high[:, 1]) & (z < self._depth[k])
            may = (mine != self._every) | self._folds[k]
            if within is not None:
                may |= within[rows, None]
            which, piece = np.nonzero(maybe & may)
            found.append((rows[which], piece))
        which, piece = (np.concatenate(column) for column in zip(*found, strict=True))
        return which, piece

    def _straights(self, points: Array, piece: Ints, view: Ints) -> Flags:
        import numpy as np

        s = self._solid
        q = points - s.base[piece]
        x, z = dots(q, s.inside[piece]), dots(q, s.normal[piece])
        vx, vz = self._inside[view, piece], self._normal[view, piece]
        at, rate = dots(q, s.ahead[piece]), self._ahead[view, piece]
        near, lean, size = self._near[piece], s.lean[piece], s.size[piece]
        found = np.zeros(len(points), dtype=bool)

        def met(k: Array, valid: Flags) -> None:
            """Whether places along the rays lie between the ends."""
            px, pz, along = x + k * vx, z + k * vz, at + k * rate
            first = lean[:, 0] * px + lean[:, 1] * pz
            last = size - lean[:, 2] * px - lean[:, 3] * pz
            if any(s.cuts):
                a, b = s.trimmed(piece, np.arctan2(pz, px))
                first, last = first + a, last - b
            slack = 1e-9 * size
            found[:] |= valid & (k > near) & (along >= first - slack) & (along <= last + slack)

        with np.errstate(divide="ignore", invalid="ignore"):
            for cx, cz, r, low in roundings(s.outer):
                dx, dz = x - cx, z - cz
                a, b = vx * vx + vz * vz, dx * vx + dz * vz
                root = b * b - a * (dx * dx + dz * dz - (r * _THINNER) ** 2)
                for sign in (-1.0, 1.0):
                    k = (-b + sign * np.sqrt(np.maximum(root, 0.0))) / a
                    within = (root >= 0.0) & (a > 1e-18)
                    if low is not None:
                        within &= _between(np.arctan2(dz + k * vz, dx + k * vx), low)
                    met(k, within)
            for (ax, az), (bx, bz) in flats(s.outer):
                nx, nz = bz - az, ax - bx
                rate_n = nx * vx + nz * vz
                k = (nx * (ax - x) + nz * (az - z)) / rate_n
                part = ((x + k * vx - ax) * (bx - ax) + (z + k * vz - az) * (bz - az)) / (
                    (bx - ax) ** 2 + (bz - az) ** 2
                )
                met(k, (np.abs(rate_n) > 1e-12) & (part >= -self._slack) & (part <= 1.0 + self._slack))
        return found

    def _bends(self, points: Array, piece: Ints, view: Ints) -> Flags:
        import numpy as np

        s, v, rate = self._solid, self.toward[view], self._normal[view, piece]
        axis, radius, near = s.normal[piece], s.radius[piece], self._near[piece]
        q = points - s.base[piece]
        found = np.zeros(len(points), dtype=bool)

        def met(k: Array, rows: Ints, rounding: tuple[Array, Array, Array] | None = None) -> None:
            """Whether places (m,) along the rays of rows lie within the bend's angle.

            And within a quarter turn of a rounding, given by its centre's distance inside the centerline,
            its height along the axis, and the angle where it starts.
            """
            i = piece[rows]
            hit = q[rows] + k[:, None] * v[rows]
            x = dots(hit, s.inside[i])
            y = dots(hit, s.ahead[i])
            turn = np.arctan2(y, -x)  # from the start, where the tube is at -inside
            turn = np.where(turn < -1e-9, turn + 2.0 * np.pi, turn)
            good = (k > near[rows]) & (turn <= s.size[i] + 1e-9)
            if rounding is not None:
                rho, z = np.hypot(x, y), dots(hit, axis[rows])
                deep, high, low = (column[rows] for column in rounding)
                good &= _between(np.arctan2(z - high, radius[rows] - rho - deep), low)
            found[rows[good]] = True

        c, si = np.cos(s.roll[piece]), np.sin(s.roll[piece])
        for p, across, r, begins in roundings(s.outer):
            cx, cz = p * c + across * si, across * c - p * si
            k, rows = _torus(q - axis * cz[:, None], v, axis, rate, (radius - cx, r * _THINNER))
            met(k, rows, None if begins is None else (cx, cz, begins - s.roll[piece]))
        for (ap, aq), (bp, bq) in flats(s.outer):
            ax, az = radius - (ap * c + aq * si), aq * c - ap * si
            bx, bz = radius - (bp * c + bq * si), bq * c - bp * si
            k, rows = _cone(q, v, axis, rate, ((ax, az), (bx, bz)), self._slack)
            met(k, rows)
        return found

    def _open_faces(self) -> list[tuple[tuple[Array, Array], Array, Array, Array, Array]]:
        """Of both square ends the middle in each view, and the middle, and directions out, up and across."""
        import numpy as np

        s, found = self._solid, []
        for end, cut in ((s.pieces[0].start, s.cuts[0]), (s.pieces[-1].end, s.cuts[1])):
            if cut is None:
                middle, out, up, across = (np.array(v) for v in (end.point, end.direction, end.up, end.across))
                found.append(((self._right @ middle, self._up @ middle), middle, out, up, across))
        return found

    def _face(self, points: Array, view: Ints, middle: Array, t: Array, up: Array, across: Array) -> Flags:
        """Whether an end face stands before points; one that is seen edge on stands before none."""
        import numpy as np

        toward = self.toward
        rate = toward @ t
        shown = np.abs(rate) >= 1e-9
        k = ((middle - points) @ t) / np.where(shown, rate, 1.0)[view]
        hit = points + k[:, None] * toward[view] - middle
        p, q = np.abs(hit @ up), np.abs(hit @ across)
        ring: Ring = self._solid.outer
        beyond = np.hypot(np.maximum(p - ring.up * _THINNER, 0.0), np.maximum(q - ring.across * _THINNER, 0.0))
        return np.asarray(shown[view] & (k > _NEAR * ring.reach) & (beyond <= ring.rounding * _THINNER))


def roundings(ring: Ring) -> list[tuple[float, float, float, float | None]]:
    """Centre along up and across, radius, and angle where it starts (None for a whole turn) of each rounding."""
    if not ring.flats:
        return [(0.0, 0.0, ring.rounding, None)]
    if ring.rounding <= 1e-9:
        return []
    signs = ((1, 1), (-1, 1), (-1, -1), (1, -1))
    return [(a * ring.up, b * ring.across, ring.rounding, i * 1.5707963267948966) for i, (a, b) in enumerate(signs)]


def flats(ring: Ring) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Both ends along up and across of each flat."""
    p, q, r = ring.up, ring.across, ring.rounding
    found = [
        ((p + r, -q), (p + r, q)),
        ((p, q + r), (-p, q + r)),
        ((-p - r, q), (-p - r, -q)),
        ((-p, -q - r), (p, -q - r)),
    ]
    return [one for one in found if max(abs(one[0][0] - one[1][0]), abs(one[0][1] - one[1][1])) > 1e-9]


def _between(angle: Array, low: Array | float) -> Flags:
    """Whether angles lie within a quarter turn from a lowest one."""
    import numpy as np

    past = (angle - low + 1e-9) % (2.0 * np.pi)
    return np.asarray(past <= np.pi / 2.0 + 2e-9)


def _distance(points: Array, starts: Array, ways: Array, squares: Array) -> Array:
    """Least distance of points (n, 2) from chords, each from its own (n, m, 2).

    Args:
        points: to measure from.
        starts, ways: of the chords.
        squares: (n, m) of their lengths.
    """
    import numpy as np

    x, y = points[:, 0, None] - starts[..., 0], points[:, 1, None] - starts[..., 1]
    along, up = ways[..., 0], ways[..., 1]
    k = np.minimum(np.maximum((x * along + y * up) / squares, 0.0), 1.0)
    return np.asarray(np.sqrt(((x - k * along) ** 2 + (y - k * up) ** 2).min(axis=1)))


def _torus(q: Array, v: Array, axis: Array, rate: Array, radii: tuple[Array, float]) -> tuple[Array, Ints]:
    """Where rays meet whole tori: places along the rays, and the row of each.

    (|x|^2 + R^2 - r^2)^2 = 4 R^2 (|x|^2 - (x.n)^2) with x = q + k v, counted from the point of the ray
    nearest to the centre: then the quartic has no cubic term.

    Args:
        q: (n, 3) starts of the rays, from the centre.
        v: (n, 3) their directions.
        axis: (n, 3) of the tori; ``rate`` (n,) is how fast the rays go along it.
        radii: (n,) of the torus, and that of its section.
    """
    big, small = radii
    scale = big + small
    nearest = dots(q, v)
    base = (q - nearest[:, None] * v) / scale[:, None]
    r, t = big / scale, small / scale
    h = dots(base, axis)
    b = dots(base, base)
    k = b + r * r - t * t
    second = 2.0 * k - 4.0 * r * r * (1.0 - rate * rate)
    first = 8.0 * r * r * h * rate
    none = k * k - 4.0 * r * r * (b - h * h)
    roots, rows = real_roots(second, first, none)
    return roots * scale[rows] - nearest[rows], rows


def real_roots(c: Array, d: Array, e: Array) -> tuple[Array, Ints]:
    """Real roots of x^4 + c x^2 + d x + e, (n,) each and none much greater than 1; and the row of each root.

    It is (x^2 - a x + (c + y + b) / 2) (x^2 + a x + (c + y - b) / 2) where y = a^2 is a root of
    y^3 + 2c y^2 + (c^2 - 4e) y - d^2, and a b = d (Descartes, La Geometrie, book 3); the greatest is never negative.
    Steps of Newton's take off what rounding leaves.
    """
    import numpy as np

    signs = np.array([1.0, -1.0])[:, None]
    rest = c * c - 4.0 * e
    # y = z - 2c/3 brings the cubic to z^3 + 3p z + 2q
    p, q = -(c * c) / 9.0 - 4.0 / 3.0 * e, -(c**3) / 27.0 + 4.0 / 3.0 * c * e - d * d / 2.0
    square = q * q + p**3
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        lone = np.cbrt(np.abs(q) + np.sqrt(np.maximum(square, 0.0)))
        width = np.sqrt(np.maximum(-p, 0.0))
        of_three = 2.0 * width * np.cos(np.arccos(np.clip(-q / width**3, -1.0, 1.0)) / 3.0)
        z = np.where(square > 0.0, np.copysign(lone - p / lone, -q), np.where(width > 0.0, of_three, 0.0))
        y = z - 2.0 / 3.0 * c
        for _ in range(2):
            step = (((y + 2.0 * c) * y + rest) * y - d * d) / ((3.0 * y + 4.0 * c) * y + rest)
            y = np.where(np.isfinite(step), y - step, y)
        y = np.maximum(y, 0.0)
        a = np.sqrt(y)
        # of a small y little is left for d / a: then b follows from the product of the last terms, which is e
        b = np.where(y > 1e-4, d / a, np.copysign(np.sqrt(np.maximum((c + y) ** 2 - 4.0 * e, 0.0)), d))
        within = y / 4.0 - (c + y + signs * b) / 2.0
        x = signs * a / 2.0 + signs[..., None] * np.sqrt(within)
        step = (((x * x + c) * x + d) * x + e) / ((4.0 * x * x + 2.0 * c) * x + d)
        x = np.where(np.isfinite(step), x - step, x)
    real = np.broadcast_to(within >= 0.0, x.shape)
    return x[real], np.nonzero(real)[2]


def _cone(
    q: Array, v: Array, axis: Array, rate: Array, edge: tuple[tuple[Array, Array], tuple[Array, Array]], slack: float
) -> tuple[Array, Ints]:
    """Where rays meet what a straight edge sweeps about an axis: places along the rays, and the row of each.

    Args:
        q: (n, 3) starts of the rays, from the centre.
        v: (n, 3) their directions.
        axis: (n, 3); ``rate`` (n,) is how fast the rays go along it.
        edge: both its ends: distance from the axis, height along it; (n,) each.
        slack: how far past its ends it counts, of its length.
    """
    import numpy as np

    (a, b), h = edge, dots(q, axis)
    # the edge is on m rho + n z = d; squared, with rho^2 = |x|^2 - z^2
    m, n = b[1] - a[1], a[0] - b[0]
    d = m * a[0] + n * a[1]
    second = m * m * (1.0 - rate * rate) - n * n * rate * rate
    first = m * m * (dots(q, v) - h * rate) - (n * h - d) * n * rate
    none = m * m * (dots(q, q) - h * h) - (n * h - d) ** 2
    size = np.hypot(m, n) ** 2
    level = np.abs(m) < 1e-9 * np.sqrt(size)  # the edge sweeps a plane: met where its height is
    grazes = np.where(level, np.abs(rate) < 1e-9, np.abs(first) < 1e-9 * size * np.hypot(*a))
    places, rows = [], []
    with np.errstate(divide="ignore", invalid="ignore"):
        root = first * first - second * none
        flat = np.abs(second) < 1e-12 * size
        for sign in (-1.0, 1.0):
            k = np.where(flat, -none / (2.0 * first), (-first + sign * np.sqrt(np.maximum(root, 0.0))) / second)
            k = np.where(level, (a[1] - h) / rate, k)
            hit = q + k[:, None] * v
            z = dots(hit, axis)
            rho = np.sqrt(np.maximum(dots(hit, hit) - z * z, 0.0))
            part = ((rho - a[0]) * (b[0] - a[0]) + (z - a[1]) * (b[1] - a[1])) / size
            good = np.isfinite(k) & (part >= -slack) & (part <= 1.0 + slack)
            # squaring brought in the edge's mirror image
            good &= np.where(
                level, ~grazes, (root >= 0.0) & ~(flat & grazes) & (np.abs(m * rho + n * z - d) < 1e-5 * size)
            )
            chosen = np.nonzero(good)[0]
            places.append(k[chosen])
            rows.append(chosen)
    return np.concatenate(places), np.concatenate(rows)
