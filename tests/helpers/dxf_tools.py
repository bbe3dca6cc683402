"""Small helpers of the DXF tests: build a drawing with ezdxf, read it back through a real file."""

import math

import ezdxf
import numpy as np
from places import FIXTURES

from converter.importers.dxf import read_dxf
from converter.importers.registry import ReadOptions
from converter.model.curve import Arc, Ellipse, Line, Polyline, Spline
from converter.model.curve import Path as CurvePath

FIXTURES = FIXTURES / "dxf"
VERSIONS = ("R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018")


def new(version="R2010", units=4):
    """A drawing in mm and its model space."""
    doc = ezdxf.new(version)
    doc.header["$INSUNITS"] = units
    return doc, doc.modelspace()


def reread(doc, tmp_path, *, binary=False, name="drawing.dxf", **options):
    """Save a drawing and read it with our reader."""
    path = tmp_path / name
    doc.saveas(path, fmt="bin" if binary else "asc")
    return read_dxf(path, ReadOptions(**options))


def ignored(drawing):
    """{(kind, why): count} of what was left out."""
    return {(i.kind, i.why): i.count for i in drawing.ignored}


def codes(drawing):
    """The codes of all findings, in order."""
    return [f.code for f in drawing.findings]


def sample(curve, n=33):
    """n points along any of our curves, by textbook formulas that share no code with the reader."""
    if isinstance(curve, Line):
        t = np.linspace(0, 1, n)[:, None]
        return np.array(curve.start) * (1 - t) + np.array(curve.end) * t
    if isinstance(curve, Arc):
        r = np.array(curve.start) - np.array(curve.center)
        across = np.cross(curve.normal, r)
        t = np.radians(np.linspace(0, curve.angle, n))[:, None]
        return np.array(curve.center) + r * np.cos(t) + across * np.sin(t)
    if isinstance(curve, Ellipse):
        t = np.radians(np.linspace(curve.start_angle, curve.end_angle, n))[:, None]
        return np.array(curve.center) + np.array(curve.major) * np.cos(t) + np.array(curve.minor) * np.sin(t)
    if isinstance(curve, Polyline):
        return curve.points
    if isinstance(curve, Spline):
        low, high = curve.knots[curve.degree], curve.knots[len(curve.control_points)]
        return np.array([cox_de_boor(curve, u) for u in np.linspace(low, high, n)])
    assert isinstance(curve, CurvePath)
    return np.concatenate([sample(p, n) for p in curve.parts])


def cox_de_boor(spline, u):
    """A point of a spline by the recursive definition of the basis functions."""
    knots, p = spline.knots, spline.degree
    last = len(spline.control_points) - 1

    def basis(i, k):
        if k == 0:
            inside = knots[i] <= u < knots[i + 1]
            at_end = u == knots[last + 1] and knots[i] < knots[i + 1] == u
            return 1.0 if inside or at_end else 0.0
        total = 0.0
        if knots[i + k] > knots[i]:
            total += (u - knots[i]) / (knots[i + k] - knots[i]) * basis(i, k - 1)
        if knots[i + k + 1] > knots[i + 1]:
            total += (knots[i + k + 1] - u) / (knots[i + k + 1] - knots[i + 1]) * basis(i + 1, k - 1)
        return total

    weights = np.ones(last + 1) if spline.weights is None else spline.weights
    w = np.array([basis(i, p) for i in range(last + 1)]) * weights
    return (w[:, None] * spline.control_points).sum(axis=0) / w.sum()


def gap(a, b):
    """Largest distance from a point of one set to the nearest point of the other, both ways (Hausdorff)."""
    a, b = np.asarray(a, float), np.asarray(b, float)
    d = np.linalg.norm(a[:, None, :] - b[None, :, :], axis=2)
    return max(d.min(axis=1).max(), d.min(axis=0).max())


def close(p, q, tol=1e-9):
    """Whether two points agree."""
    return math.dist(tuple(p), tuple(q)) <= tol


def overlap(a, b):
    """Whether two boxes (left, bottom, right, top) share more than an edge."""
    return min(a[2], b[2]) - max(a[0], b[0]) > 1e-6 and min(a[3], b[3]) - max(a[1], b[1]) > 1e-6
