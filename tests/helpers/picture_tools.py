"""What the tests of pictures share: runs to draw, a mesh's shadow, rays against triangles, boxes of labels."""

from __future__ import annotations

from functools import lru_cache
from math import cos, radians, sin
from pathlib import Path

import numpy as np
import shapely
from tubes import run_of, tube_of

from converter.exporters.pictures.picture import RING, Label, Picture
from converter.exporters.pictures.views import View
from converter.exporters.solids.tessellate import tube_mesh
from converter.model.metal import metal
from converter.model.run import Tube
from converter.model.section import Section
from converter.units import in_unit

ROUND = Section("round", 30.0, 2.0)
ROWS = [(100, 0, 90, 60), (150, 45, 60, 60), (20, -90, 180, 70), (200, 120, 75, 60), (150, -60, 110, 60)]


def examples() -> dict[str, Tube]:
    """Runs of every kind a picture must cope with."""
    many = [(60, 0, 45, 40)] + [(60, (37 * i) % 360 - 179, 30 + (i * 13) % 50, 40) for i in range(29)]
    square = [(100, 0, 90, 60), (150, 90, 60, 60)]
    return {
        "five": tube_of(run_of(ROWS, 120, name="handle"), ROUND),
        "none": tube_of(run_of([], 800, name="axle"), ROUND),
        "one": tube_of(run_of([(300, 0, 90, 114.3)], 200, name="hook"), ROUND),
        "thirty": tube_of(run_of(many, 120, name="thirty"), Section("round", 20, 2)),
        "square": tube_of(run_of(square, 220, name="square"), Section("square", 30, 2, 30, 4)),
        "flat": tube_of(run_of(square, 220, name="flat"), Section("rectangular", 40, 2, 20, 0)),
        "oval": tube_of(run_of(square, 220, name="oval"), Section("flat-oval", 40, 2, 20)),
        "mitred": tube_of(run_of([(100, 0, 90, None), (150, 90, 60, 60), (80, 0, 45, None)], 220), ROUND),
        "long": tube_of(run_of([(100, 0, 90, 60), (6000, 90, 90, 60)], 220), Section("round", 20, 2)),
        "small": tube_of(run_of([(4, 0, 90, 6), (5, 90, 90, 6)], 4), Section("round", 3, 0.3)),
        "bare": tube_of(run_of(ROWS[:3], 120), None),
        "overlapping": tube_of(run_of([(100, 0, 90, 60), (-30, 0, 90, 60)], 120), ROUND),
        "ring": tube_of(run_of([(100, 0, 90, 60), *[(200, 0, 90, 60)] * 3], 100, closed=True), ROUND),
        "bar": tube_of(run_of([(100, 0, 45, 60)], 100), Section("bar", 12, 6)),
        "nothing": tube_of(run_of([], 0.5, name=""), ROUND),
    }


def shadow(tube: Tube, view: View, chord: float = 0.05) -> shapely.Geometry:
    """What a tube covers in a view, from a mesh of it: the union of the shadows of the triangles that face the eye.

    The mesh is closed, so whatever a ray toward it meets, it meets one of those.
    """
    assert tube.section is not None
    vertices, faces = tube_mesh(metal(tube.run, tube.section), tube.section, chord)
    corners = (vertices @ np.array([view.right, view.up]).T)[faces]
    (ax, ay), (bx, by) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    covered = shapely.union_all(shapely.polygons(corners[ax * by - ay * bx > 2e-6]))
    return covered.buffer(1e-4, join_style="mitre").buffer(-1e-4, join_style="mitre")  # seams of the mesh are hairlines


def stopped(points: np.ndarray, direction: np.ndarray, tube: Tube, beyond: float, chord: float) -> np.ndarray:
    """Whether rays meet a mesh of the tube farther than ``beyond`` from their starts (Moeller and Trumbore, 1997)."""
    assert tube.section is not None
    v, f = tube_mesh(metal(tube.run, tube.section), tube.section, chord)
    a, one, two = v[f[:, 0]], v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]]
    h = np.cross(direction, two)
    det = (one * h).sum(1)
    good = np.abs(det) > 1e-12
    a, one, two, h, det = a[good], one[good], two[good], h[good], det[good]
    found = []
    for p in points:
        s = p - a
        u = (s * h).sum(1) / det
        q = np.cross(s, one)
        w = (q @ direction) / det
        k = (two * q).sum(1) / det
        found.append(bool(np.any((u >= 0) & (w >= 0) & (u + w <= 1) & (k > beyond))))
    return np.array(found)


@lru_cache
def _font(bold: bool) -> object:
    import reportlab
    from PIL import ImageFont

    folder = Path(reportlab.__file__).parent / "fonts"
    return ImageFont.truetype(str(folder / ("VeraBd.ttf" if bold else "Vera.ttf")), 100)


def label_box(label: Label, unit: str) -> shapely.Polygon:
    """The true outline of a label as it is written: its font's own measures, its ring or box."""
    x, y = label.at
    h = label.height
    if label.circled:
        return shapely.Point(x, y + h / 2).buffer(RING * h)
    if label.boxed:
        return shapely.box(x - RING * h, y + h / 2 - RING * h, x + RING * h, y + h / 2 + RING * h)
    font = _font(label.role in ("strong", "end", "feed"))
    width = font.getlength(in_unit(label.text, unit)) / 100.0 * h / 0.73  # type: ignore[attr-defined]
    left = {"left": 0.0, "center": -width / 2, "right": -width}[label.align]
    c, s = cos(radians(label.rotation)), sin(radians(label.rotation))
    corners = [(left, -0.2 * h), (left + width, -0.2 * h), (left + width, h), (left, h)]
    return shapely.Polygon([(x + a * c - b * s, y + a * s + b * c) for a, b in corners])


def overlaps(picture: Picture, unit: str) -> list[tuple[str, str]]:
    """Pairs of labels whose outlines overlap."""
    boxes = [label_box(label, unit) for label in picture.labels]
    tree = shapely.STRtree(boxes)
    return [
        (picture.labels[i].text, picture.labels[j].text)
        for i, j in tree.query(boxes, predicate="intersects").T
        if i < j and boxes[i].intersection(boxes[j]).area > 1e-3
    ]
