"""Holes in coped solids: where a tube passes through a larger one, its outside is taken off the larger one's walls."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from converter.exporters.coped import tool_of
from converter.joints.hole import Hole


def with_holes(solid: Any, name: str, holes: Sequence[Hole]) -> Any:
    """A tube's solid with its holes cut.

    Args:
        solid: of the kernel.
        name: of the tube, for the sentence.
        holes: of this tube; those of one passing tube have one tool.

    Raises:
        GeometryError: the kernel makes no sound solid of it.
        MissingLibraryError: the CAD kernel is not installed.
    """
    if not holes:
        return solid
    from converter.kernel.cope import cut
    from converter.kernel.solids import volume

    tools = {}
    for hole in holes:
        # as far as the tube is wide to both sides: nothing else of it lies there
        reach = np.array([hole.node]) + hole.section.od * np.vstack((np.eye(3), -np.eye(3)))
        across = np.sin(np.radians(hole.angle))
        along = np.outer((-1.0, 1.0), np.asarray(hole.passing.axis)) * (hole.section.od / across)
        tools[hole.through, hole.node] = tool_of(hole.passing, np.vstack((reach, np.asarray(hole.node) + along)))
    return cut(solid, list(tools.values()), name, volume(solid) - sum(hole.plug for hole in holes))
