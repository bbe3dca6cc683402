"""Centerlines as the kernel's wires: straights as lines, bends as circles, exact."""

from __future__ import annotations

from math import radians
from typing import Any

from converter.errors import GeometryError
from converter.geometry.vectors import scale, sub
from converter.kernel import require
from converter.model.curve import Arc
from converter.model.run import Run


def centerline_wire(run: Run) -> Any:
    """A run's centerline as one wire in place, mm; closed when the run closes within 1e-6 mm.

    Raises:
        GeometryError: the run has no centerline.
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    from converter.kernel import brep

    if not run.centerline:
        raise GeometryError(f"Tube {run.name!r} has no centerline to write.", where=run.name)
    first, last = run.centerline[0].start, run.centerline[-1].end
    closed = run.closed and max(abs(a - b) for a, b in zip(first, last, strict=True)) < 1e-6
    vertices = [brep.vertex(part.start, 1e-6) for part in run.centerline]
    vertices.append(vertices[0] if closed else brep.vertex(last, 1e-6))
    edges = []
    for i, part in enumerate(run.centerline):
        if isinstance(part, Arc):
            x = scale(sub(part.start, part.center), 1.0 / part.radius)
            curve: Any = brep.circle(part.center, part.normal, x, part.radius)
            end = radians(part.angle)
        else:
            curve, end = brep.line(part.start, part.direction), part.length
        edges.append(brep.edge(curve, 0.0, end, vertices[i], vertices[i + 1], 1e-6))
    return brep.open_wire(edges, closed)
