"""No text of a figure lies on another or on a line."""

from __future__ import annotations

import numpy as np
from shapely import STRtree
from shapely.geometry import LineString, box

from converter.exporters.paper.figure import Figure


def assert_legible(figure: Figure):
    boxes = np.array([t.box() for t in figure.texts])
    wide = np.minimum(boxes[:, None, 2], boxes[None, :, 2]) - np.maximum(boxes[:, None, 0], boxes[None, :, 0])
    high = np.minimum(boxes[:, None, 3], boxes[None, :, 3]) - np.maximum(boxes[:, None, 1], boxes[None, :, 1])
    clash = np.argwhere(np.triu((wide > 1e-6) & (high > 1e-6), 1))
    assert not len(clash), [(figure.texts[i].text, figure.texts[j].text) for i, j in clash]


def assert_clear_of_lines(figure: Figure):
    """No line or curve crosses the box of a text; boxes are as wide as the widest letters."""
    lines = [([a, b], layer) for a, b, layer in figure.lines] + figure.curves
    shapes = [LineString(points) for points, _ in lines]
    tree = STRtree(shapes)
    struck = [
        (text.text, lines[i][1]) for text in figure.texts for i in tree.query(box(*text.box()), predicate="intersects")
    ]
    assert not struck, struck
