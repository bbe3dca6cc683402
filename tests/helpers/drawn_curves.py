"""Drawn curves of plane or spatial points."""

from __future__ import annotations

from converter.model.curve import Line
from converter.model.drawing import DrawnCurve


def p3(p):
    """A point of two or three numbers in space."""
    return (float(p[0]), float(p[1]), float(p[2]) if len(p) > 2 else 0.0)


def line(a, b, layer="A", handle=None):
    """A drawn straight."""
    return DrawnCurve(Line(p3(a), p3(b)), layer, handle)
