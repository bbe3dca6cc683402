"""Bodies that are meshes: flat facets that a program made a solid of, or triangles without surfaces. The mesh reader
measures their tubes, and how far off that is is said.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from converter.findings import Clause, Finding, Reason
from converter.importers.mesh.read import tubes_of_triangles
from converter.kernel.topology import subshapes
from converter.kernel.triangles import triangles_of
from converter.model.drawing import Ignored, ReadyTable
from converter.tolerances import Tolerances


def tubes_of_facets(shape: Any, name: str, _tol: Tolerances) -> tuple[list[ReadyTable], list[Ignored]]:
    """The tubes of a body of flat facets, or of triangles alone, in place; as `solids.read.find_tubes`."""
    points, corners = triangles_of(shape)
    count = sum(1 for _ in subshapes(shape, "FACE"))
    tables, left = tubes_of_triangles(points, corners, name)
    told = [
        replace(table, findings=(*_finding(table, name, max(count, len(corners))), *table.findings)) for table in tables
    ]
    if told:
        return told, []
    why: Reason = left[0].why if left else "it holds no triangles"
    return [], [
        Ignored("solid", 1, Clause.of("solid-no-tube", part=name, why=Clause.of("solid-mesh", faces=count, why=why)))
    ]


def _finding(table: ReadyTable, name: str, count: int) -> tuple[Finding, ...]:
    return (Finding("solid-facets", tube=name, measured=table.deviation, unit="mm", values={"count": count}),)
