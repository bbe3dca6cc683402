"""Free curves beside solids: which are centerlines of tubes, and which datum axes and construction.

CAD programs write the axes, sketches and paths that a solid was made from into its part. Where the solid itself is
read, they are no tubes of their own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from converter.arrays import Array
from converter.findings import Clause, Reason
from converter.geometry.vectors import Vec
from converter.model.bends import Placement
from converter.model.centerline import rebuild
from converter.model.curve import Arc, Curve, Line
from converter.model.drawing import DrawnCurve, ReadyTable
from converter.reducer.chaining.ends import sample
from converter.tolerances import Tolerances

_OF_PART = "a construction curve beside the solid tubes of its part"
_LONE = "a lone line or circle beside solids: a datum axis or construction"
#: Points of curves times straights and arcs of tubes that are held against each other; beyond, none are.
_MOST_PAIRS = 20_000_000


@dataclass(frozen=True, slots=True)
class FreeCurve:
    """A curve of the file that bounds no face, and the number of the placed part that it belongs to."""

    drawn: DrawnCurve
    instance: int


def settle_free_curves(
    curves: Sequence[FreeCurve], solid: dict[int, bool], tables: Sequence[ReadyTable], tol: Tolerances
) -> Iterator[tuple[FreeCurve, Reason | None]]:
    """Every curve in order, and why it is no tube's centerline; None where it may be one.

    Args:
        curves: of the whole file, in mm and in place.
        solid: whether tubes were found in the solids or faces of a placed part, by its number; parts without any
            are left out.
        tables: all tubes found in solids.
        tol: ``join`` is how near ends meet, ``fit`` how near a curve lies to a centerline.
    """
    if not solid:
        yield from ((free, None) for free in curves)
        return
    ends = _CurveEnds([free.drawn.curve for free in curves], tol.join)
    lone = [_is_plain(free.drawn.curve) and ends.is_lone(free.drawn.curve) for free in curves]
    only_axes = any(solid.values()) and all(lone)
    lines = _Centerlines(tables, len(curves), tol)
    for free, is_lone in zip(curves, lone, strict=True):
        of_part = solid.get(free.instance)
        on = None if of_part else lines.tube_at(free.drawn.curve)
        if of_part:
            yield free, _OF_PART
        elif on is not None:
            yield free, Clause.of("edge-of-tube", tube=on)
        elif is_lone and (only_axes or of_part is not None):
            yield free, _LONE
        else:
            yield free, None


def _is_plain(curve: Curve) -> bool:
    return isinstance(curve, Line) or (isinstance(curve, Arc) and curve.angle >= 360.0 - 1e-6)


class _CurveEnds:
    """Ends of curves by cells, to ask whether any other ends near one."""

    def __init__(self, curves: Sequence[Curve], join: float) -> None:
        self._join = join
        self._cells: Counter[tuple[int, ...]] = Counter()
        for curve in curves:
            for end in (curve.start, curve.end):
                self._cells[self._cell(end)] += 1

    def _cell(self, p: Vec) -> tuple[int, ...]:
        return tuple(int(v // self._join) for v in p)

    def is_lone(self, curve: Curve) -> bool:
        """Whether no other curve ends within about the join tolerance of an end of this one."""
        near: set[tuple[int, ...]] = set()
        for end in (curve.start, curve.end):
            near |= {tuple(v + d for v, d in zip(self._cell(end), step, strict=True)) for step in _STEPS}
        return sum(self._cells[cell] for cell in near) <= 2


_STEPS = tuple(product((-1, 0, 1), repeat=3))


class _Centerlines:
    """Straights and arcs of the tubes found in solids."""

    def __init__(self, tables: Sequence[ReadyTable], curves: int, tol: Tolerances) -> None:
        self._tol = tol
        self._names: list[str] = []
        straights, arcs = [], []
        for table in tables:
            for segment in rebuild(table.table, table.placement or Placement()):
                if isinstance(segment, Arc):
                    arcs.append((*segment.center, *segment.normal, segment.radius, len(self._names)))
                else:
                    straights.append((*segment.start, *segment.direction, segment.length, len(self._names)))
            self._names.append(table.name)
        enough = curves * (len(straights) + len(arcs)) > _MOST_PAIRS
        self._straights = np.array([] if enough else straights).reshape(-1, 8)
        self._arcs = np.array([] if enough else arcs).reshape(-1, 8)

    def tube_at(self, curve: Curve) -> str | None:
        """The tube on whose centerline a curve lies all along, None for none."""
        points = sample(curve)
        inner = points[1:-1] if len(points) > 2 else (points[:1] + points[-1:]) / 2.0
        near: set[int] | None = None
        for point in inner:
            here = self._tubes_near(point)
            near = here if near is None else near & here
            if not near:
                return None
        return self._names[min(near)] if near else None

    def _tubes_near(self, point: Array) -> set[int]:
        found: set[int] = set()
        if len(self._straights):
            arm = point - self._straights[:, :3]
            along = (arm * self._straights[:, 3:6]).sum(axis=1)
            off = arm - np.clip(along, 0.0, self._straights[:, 6])[:, None] * self._straights[:, 3:6]
            found |= {int(k) for k in self._straights[(off * off).sum(axis=1) <= self._tol.fit**2, 7]}
        if len(self._arcs):
            arm = point - self._arcs[:, :3]
            height = (arm * self._arcs[:, 3:6]).sum(axis=1)
            flat = arm - height[:, None] * self._arcs[:, 3:6]
            off2 = (np.sqrt((flat * flat).sum(axis=1)) - self._arcs[:, 6]) ** 2 + height * height
            found |= {int(k) for k in self._arcs[off2 <= self._tol.fit**2, 7]}
        return found
