"""What the picture of a drawing as read shows, flat but still in mm of the drawing: lines, shapes, their box."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from converter.arrays import Array
from converter.exporters.pictures.drawing.lines import bent_lines, drawn_lines, tight_lines
from converter.exporters.pictures.drawing.plane import Box, Plane, clipped, plane_of
from converter.exporters.pictures.drawing.words import LegendEntry
from converter.findings import Finding, Reason
from converter.model.drawing import Drawing, LeftShape
from converter.model.run import Tube

#: Longer shapes are endless lines, which no picture is made to hold.
_ENDLESS = 1e6
#: Left-out shapes up to this many sizes of the tubes away still widen the picture.
AROUND = 1.0


@dataclass(slots=True, eq=False)
class Scene:
    """Lines by role, flat, in mm of the drawing, and the box that the picture shows.

    Attributes:
        plane: how it is looked at.
        lines: (role, lines (n, 2)).
        shapes: of what was left out, with its lines.
        box: x low, y low, x high, y high.
        more: how many left-out shapes were never kept.
    """

    plane: Plane
    lines: list[tuple[str, list[Array]]]
    shapes: list[tuple[LeftShape, Array]]
    box: Box
    more: int

    def outside(self) -> list[tuple[str, Reason]]:
        """Kinds and reasons of things left out that all lie outside the box."""
        seen: dict[tuple[str, Reason], bool] = {}
        for shape, points in self.shapes:
            inside = bool(clipped(points, self.box)) if len(points) > 1 else holds(self.box, points[0])
            seen[shape.kind, shape.why] = seen.get((shape.kind, shape.why), False) or inside
        return [key for key, inside in seen.items() if not inside]

    def roles(self, entries: Sequence[LegendEntry]) -> list[str]:
        """Kinds of lines and marks that occur."""
        codes = {entry.finding.code for entry in entries if entry.finding and entry.mark}
        found = [role for role, lines in self.lines if lines]
        found += ["ignored"] if self.shapes else []
        found += [role for role, code in (("healed", "healed-gap"), ("near", "near-gap")) if code in codes]
        return found


def scene_of(drawing: Drawing, tubes: Sequence[Tube], findings: Sequence[Finding]) -> Scene:
    """The lines of a drawing as read, and how they are looked at."""
    groups = [(one.role, one.lines) for one in drawn_lines(drawing, tubes)]
    groups.append(("center", bent_lines(drawing, tubes)))
    groups.append(("tight", tight_lines(tubes, findings)))
    shapes = [(shape, np.array(shape.points)) for shape in drawing.aside.shapes] if drawing.aside else []
    content = [line for _, lines in groups for line in lines]
    world = np.concatenate(content) if content else np.zeros((0, 3))
    known = [points for _, points in shapes if float(np.ptp(points, axis=0).max()) < _ENDLESS]
    plane = plane_of(world if content else np.concatenate(known) if known else np.zeros((0, 3)))
    lines = [(role, put_all(plane, group)) for role, group in groups]
    flat = [(shape, points) for (shape, _), points in zip(shapes, put_all(plane, [p for _, p in shapes]), strict=True)]
    return Scene(plane, lines, flat, _box(lines, flat), drawing.aside.more if drawing.aside else 0)


def put_all(plane: Plane, lines: list[Array]) -> list[Array]:
    """Many lines (n, 3) as (n, 2), all at once."""
    if not lines:
        return []
    return np.split(plane.put(np.concatenate(lines)), np.cumsum([len(line) for line in lines])[:-1])


def _box(lines: list[tuple[str, list[Array]]], shapes: list[tuple[LeftShape, Array]]) -> Box:
    """What the picture shows: all lines, and the left-out shapes that do not lie far off."""
    content = [line for _, group in lines for line in group]
    all_shapes = [points for _, points in shapes if float(np.ptp(points, axis=0).max()) < _ENDLESS]
    if not content:
        content, all_shapes = all_shapes, []
    if not content:
        return (0.0, 0.0, 100.0, 100.0)
    low = np.min([line.min(axis=0) for line in content], axis=0)
    high = np.max([line.max(axis=0) for line in content], axis=0)
    reach = max(AROUND * float((high - low).max()), 1.0)
    near_low, near_high = low - reach, high + reach
    for points in all_shapes:
        a, b = points.min(axis=0), points.max(axis=0)
        if (a >= near_low).all() and (b <= near_high).all():
            low, high = np.minimum(low, a), np.maximum(high, b)
    pad = 0.01 * float((high - low).max()) + 1e-6
    return float(low[0]) - pad, float(low[1]) - pad, float(high[0]) + pad, float(high[1]) + pad


def holds(box: Box, point: Array) -> bool:
    """Whether a point (2,) lies in a box."""
    return bool(box[0] <= point[0] <= box[2] and box[1] <= point[1] <= box[3])
