"""Where rays meet a torus: roots of quartics without a cubic term, against eigenvalues of matrices."""

from __future__ import annotations

import numpy as np
import pytest

from converter.exporters.pictures.hidden.sight import real_roots


def eigenvalues(c, d, e):
    """As `numpy.roots` finds them, each row by itself: the rows' numbers and the real ones, in order."""
    roots = [np.roots([1.0, 0.0, *row]) for row in np.array([c, d, e]).T]
    found = sorted((i, x.real) for i, own in enumerate(roots) for x in own if not x.imag)
    return np.array([i for i, _ in found]), np.array([x for _, x in found])


def torus(rng, n, level):
    """Quartics of rays along z that pass tori of all shapes, some tangent nearly; ``level``: axes square to them."""
    big = rng.uniform(0.5, 0.95, n)
    axis = rng.normal(size=(n, 3)) * ([1.0, 1.0, 0.0] if level else 1.0)
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    at = rng.uniform(-1.2, 1.2, (n, 3)) * [1.0, 1.0, 0.0]
    h, rate, b = (at * axis).sum(axis=1), axis[:, 2], (at * at).sum(axis=1)
    k = b + big**2 - (1.0 - big) ** 2
    return 2.0 * k - 4.0 * big**2 * (1.0 - rate**2), 8.0 * big**2 * h * rate, k * k - 4.0 * big**2 * (b - h * h)


@pytest.mark.parametrize("kind", ["tori", "tori in their plane", "any", "nearly even"])
def test_real_roots_are_those_of_the_companion_matrix(kind):
    rng = np.random.default_rng(5)
    if kind.startswith("tori"):
        c, d, e = torus(rng, 1500, kind.endswith("plane"))
    else:
        c, d, e = rng.normal(size=(3, 1500))
        if kind == "nearly even":
            d *= 10.0 ** rng.uniform(-200.0, -1.0, 1500)
            d[::7] = 0.0
    x, rows = real_roots(c, d, e)
    order = np.lexsort((x, rows))
    expected_rows, expected = eigenvalues(c, d, e)
    assert len(expected) > 500
    assert np.array_equal(rows[order], expected_rows)
    assert x[order] == pytest.approx(expected, abs=1e-11)


def test_roots_that_are_known():
    """By hand: (x^2-1)(x^2-4), (x^2+1)(x^2-4), (x^2+1)(x^2+4), (x-1)(x-2)(x^2+3x+4), x^4-1."""
    c, d, e = np.array([[-5.0, 0.0, 4.0], [-3.0, 0.0, -4.0], [5.0, 0.0, 4.0], [-3.0, -6.0, 8.0], [0.0, 0.0, -1.0]]).T
    x, rows = real_roots(c, d, e)
    found = [sorted(x[rows == i].tolist()) for i in range(5)]
    wanted = [[-2.0, -1.0, 1.0, 2.0], [-2.0, 2.0], [], [1.0, 2.0], [-1.0, 1.0]]
    for own, known in zip(found, wanted, strict=True):
        assert own == pytest.approx(known, abs=1e-12)
