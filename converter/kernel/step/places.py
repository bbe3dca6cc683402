"""Parts in their places: which bodies are the same shape standing elsewhere, and where."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np

from converter.findings import Clause
from converter.kernel.session import kernel_failure
from converter.kernel.step.curves import NotACurve, curve_of
from converter.kernel.topology import Box, compound, exact_box
from converter.model.curve import Curve, Points
from converter.model.drawing import DrawnCurve, Ignored, ReadyTable
from converter.tolerances import Tolerances

#: Finds the tubes in something with faces: (shape in mm, name, tolerances) -> tables, what was no tube.
FindTubes: TypeAlias = Callable[[Any, str, Tolerances], tuple[list[ReadyTable], list[Ignored]]]
#: Finds the centerline of a tube that was swept along a free curve.
FindSpine: TypeAlias = Callable[[Any, str, Tolerances], tuple[DrawnCurve | Clause, list[ReadyTable]] | None]
#: (number of the shape, size it is scaled to, whether it is mirrored): equal keys are congruent bodies.
Key: TypeAlias = tuple[int, float, bool]


def edge_curve(edge: Any, location: Any) -> tuple[Curve | None, str]:
    """An edge of a part as a curve in the world.

    Returns:
        (curve, what it was sampled from or ''), or (None, why it is no curve).
    """
    try:
        return curve_of(edge.Moved(location, False))
    except NotACurve as left:
        return None, str(left)


def box_of(shape: Any, location: Any) -> Box | None:
    """Corners in mm of the box around a part's shape in the world; None where the kernel finds none."""
    try:
        return exact_box(shape.Moved(location, False))
    except Exception as error:
        kernel_failure(error)
        return None


class PlacedBodies:
    """The bodies met so far, known again wherever and however they stand."""

    def __init__(self) -> None:
        from OCP.TopTools import TopTools_IndexedMapOfShape

        self._shapes = TopTools_IndexedMapOfShape()

    def key(self, shape: Any, location: Any) -> tuple[Key, Points]:
        """Which body it is, and the (3, 4) matrix that takes it from its own frame to the world."""
        from OCP.TopLoc import TopLoc_Location

        transform = location.Multiplied(shape.Location()).Transformation()
        matrix = np.array([[transform.Value(row, column) for column in (1, 2, 3, 4)] for row in (1, 2, 3)])
        number = self._shapes.Add(shape.Located(TopLoc_Location(), False))
        return (number, round(abs(transform.ScaleFactor()), 9), bool(transform.IsNegative())), matrix


def placed_shape(shape: Any, location: Any) -> Any:
    """A part's shape in its place in the world."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform

    transform = location.Multiplied(shape.Location()).Transformation()
    if abs(transform.ScaleFactor() - 1.0) < 1e-12 and not transform.IsNegative():
        return shape.Moved(location, False)
    # a size or a mirror is no place: the geometry itself is made anew
    return BRepBuilderAPI_Transform(shape, location.Transformation(), True).Shape()


def spine_of(
    find: FindSpine, shape: Any, location: Any, name: str, tol: Tolerances
) -> tuple[DrawnCurve | Clause, list[ReadyTable]] | None:
    """The free centerline of the tube that a body is, in its place, or why it is no tube, and the tubes beside it; None
    where it is none."""
    try:
        return find(placed_shape(shape, location), name, tol)
    except Exception as error:
        kernel_failure(error)
        return None


def recognise_together(
    find: FindTubes, shapes: list[tuple[Any, Any]], name: str, tol: Tolerances
) -> tuple[list[ReadyTable], list[Ignored]]:
    """The tubes in shapes taken together, each with its location; nothing where the kernel cannot follow them."""
    try:
        return find(compound([placed_shape(*placed) for placed in shapes]), name, tol)
    except Exception as error:
        kernel_failure(error)
        return [], []


def recognise(
    find: FindTubes, shape: Any, location: Any, name: str, tol: Tolerances
) -> tuple[list[ReadyTable], list[Ignored]]:
    """The tubes in one body, moved to its place first; what the kernel cannot follow is listed like any other."""
    try:
        return find(placed_shape(shape, location), name, tol)
    except Exception as error:
        why = f"the CAD kernel cannot follow its shape ({kernel_failure(error)})"
        return [], [Ignored(name, 1, why)]
