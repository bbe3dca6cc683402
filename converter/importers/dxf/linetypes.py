"""Curves in dashes or dots beside continuous ones: hidden edges, axes, other positions of a part are drawn so.

So are whole drawings of tubes, since what is drawn are their axes. So it is only said, by the reducer, of tubes of
which all is drawn so while most of the drawing is not. Common practice (ISO 128-2 gives broken lines their meaning).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from converter.importers.dxf.annotation import annotation_layers
from converter.model.curve import Curve, Path, Polyline
from converter.model.drawing import DrawnCurve


def with_doubtful_linetypes(curves: list[DrawnCurve]) -> list[DrawnCurve]:
    """The curves, with the linetypes of those alone that are to be doubted: fewer than there are continuous ones.

    Args:
        curves: everything drawn, mm. Layers that look like borders and notes are doubted as such.
    """
    if all(drawn.linetype is None for drawn in curves):
        return curves
    noted = annotation_layers(curves)
    few = _pieces([drawn for drawn in curves if drawn.linetype is not None and drawn.layer not in noted])
    most = _pieces([drawn for drawn in curves if drawn.linetype is None and drawn.layer not in noted])
    return [
        replace(drawn, linetype=None) if drawn.linetype is not None and (few >= most or drawn.layer in noted) else drawn
        for drawn in curves
    ]


def without_linetypes(curves: list[DrawnCurve]) -> list[DrawnCurve]:
    """The curves without their linetypes, as of outlines, where an axis in dashes is what is wanted."""
    return [drawn if drawn.linetype is None else replace(drawn, linetype=None) for drawn in curves]


def _pieces(curves: Sequence[DrawnCurve]) -> int:
    return sum(_parts(drawn.curve) for drawn in curves)


def _parts(curve: Curve) -> int:
    """Of how many lines and arcs a curve is made."""
    if isinstance(curve, Path):
        return sum(map(_parts, curve.parts))
    return len(curve.points) - 1 if isinstance(curve, Polyline) else 1
