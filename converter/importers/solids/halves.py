"""A tube or bar that was split along it into solids of their own, put together again."""

from __future__ import annotations

from typing import Any

from converter.importers.solids.read import find_tubes
from converter.kernel.topology import subshapes
from converter.model.drawing import Ignored, ReadyTable
from converter.tolerances import Tolerances


def tubes_of_halves(shape: Any, name: str, tol: Tolerances) -> tuple[list[ReadyTable], list[Ignored]]:
    """The tubes of solids that are united where they touch; as `solids.read.find_tubes`."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Fuse
    from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain

    first, *others = subshapes(shape, "SOLID")
    for other in others:
        fused = BRepAlgoAPI_Fuse(first, other)
        if not fused.IsDone():
            return [], []
        first = fused.Shape()
    unify = ShapeUpgrade_UnifySameDomain(first, True, True, False)
    unify.Build()
    return find_tubes(unify.Shape(), name, tol)
