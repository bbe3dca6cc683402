"""Arrowheads of dimensions and leaders that were taken apart: filled triangles, triangles drawn as polylines, blocks.

A filled triangle is no curve and left out; it is looked at here, since a line that ends in one is no tube.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, radians, sin
from typing import Any

import numpy as np
from ezdxf.math import OCS
from ezdxf.render.arrows import ARROWS

from converter.arrays import Array
from converter.geometry.vectors import Vec
from converter.importers.dxf.convert import BAD_VALUES
from converter.model.curve import Polyline
from converter.model.drawing import DrawnCurve
from converter.tolerances import DEFAULT

#: mm: no arrowhead is longer; and its breadth for its length, least and most. Common practice, no source.
_LONGEST, _BREADTH = 100.0, (0.1, 1.5)
#: Part of a side by which the two sides of an arrowhead differ at most.
_EVEN = 0.05
#: Arrowheads that are looked at, at most.
_MOST = 2000
_CORNERS = ("vtx0", "vtx1", "vtx2", "vtx3")


@dataclass(frozen=True, slots=True)
class ArrowHead:
    """An arrowhead.

    Attributes:
        tip: mm.
        base: the middle of its base, mm.
        curve: the place of the curve that it is drawn with; None for a filled one and for a block.
        is_open: drawn without its base, as a bar that forks may be.
    """

    tip: Vec
    base: Vec
    curve: int | None = None
    is_open: bool = False


class ArrowHeads:
    """The arrowheads of a drawing that are no curves.

    Args:
        factor: mm per drawing unit.
    """

    def __init__(self, factor: float) -> None:
        self._k = factor
        self._heads: list[ArrowHead] = []

    @property
    def heads(self) -> tuple[ArrowHead, ...]:
        """In the order met."""
        return tuple(self._heads)

    def add(self, entity: Any) -> None:
        """Look at a filled area or a block reference."""
        if len(self._heads) >= _MOST:
            return
        try:
            head = self._of_block(entity) if entity.DXFTYPE == "INSERT" else self._of_area(entity)
        except BAD_VALUES:
            return
        if head is not None:
            self._heads.append(head)

    def _of_area(self, entity: Any) -> ArrowHead | None:
        if entity.DXFTYPE not in ("SOLID", "TRACE"):
            return None
        d = entity.dxf
        to_world = OCS(d.get("extrusion", (0.0, 0.0, 1.0))).to_wcs
        corners = [to_world(d.get(name)) * self._k for name in _CORNERS if d.hasattr(name)]
        return _triangle(np.array([tuple(corner.xyz) for corner in corners]), None)

    def _of_block(self, insert: Any) -> ArrowHead | None:
        d = insert.dxf
        name = d.get("name", "")
        if not name.startswith("_") or name[1:].upper() not in ARROWS.__acad__:
            return None
        at, turn = d.get("insert") * self._k, radians(d.get("rotation", 0.0))
        size = abs(d.get("xscale", 1.0)) * self._k
        base = (at.x - size * cos(turn), at.y - size * sin(turn), at.z)
        return ArrowHead((at.x, at.y, at.z), base)


def drawn_heads(curves: Sequence[DrawnCurve]) -> list[ArrowHead]:
    """The triangles among curves that are as an arrowhead is, closed or open at their base.

    Args:
        curves: everything drawn, mm.
    """
    found: list[ArrowHead] = []
    for k, drawn in enumerate(curves):
        curve = drawn.curve
        if not isinstance(curve, Polyline) or len(curve.points) not in (3, 4) or len(found) >= _MOST:
            continue
        points = np.asarray(curve.points, float)
        if len(points) == 3 or float(np.abs(points[0] - points[-1]).max()) <= DEFAULT.equal:
            head = _triangle(points[:3], k)
            found += [] if head is None else [replace(head, is_open=len(points) == 3)]
    return found


def _triangle(corners: Array, curve: int | None) -> ArrowHead | None:
    """The arrowhead that a triangle is: two sides alike, longer than the third."""
    distinct: list[Array] = []
    for corner in corners:
        if all(float(np.abs(corner - other).max()) > DEFAULT.equal for other in distinct):
            distinct.append(corner)
    if len(distinct) != 3:
        return None
    found = []
    for k in range(3):
        tip, one, other = distinct[k], distinct[k - 1], distinct[k - 2]
        sides = float(np.linalg.norm(one - tip)), float(np.linalg.norm(other - tip))
        base = (one + other) / 2.0
        length, breadth = float(np.linalg.norm(tip - base)), float(np.linalg.norm(one - other))
        is_even = abs(sides[0] - sides[1]) <= _EVEN * max(sides)
        if is_even and length <= _LONGEST and _BREADTH[0] * length <= breadth <= _BREADTH[1] * length:
            found.append((breadth / length, k, base))
    if not found:
        return None
    _, k, base = min(found, key=lambda one: one[0])
    (x, y, z), (u, v, w) = distinct[k].tolist(), base.tolist()
    return ArrowHead((x, y, z), (u, v, w), curve)
