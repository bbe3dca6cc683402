"""The demo drawing as DXF text, the way a CAD package leaves it: pieces in any order, some backwards."""

from __future__ import annotations

import random
from io import StringIO
from math import radians, tan
from typing import TYPE_CHECKING

from ezdxf import units
from ezdxf.filemanagement import new
from ezdxf.math import OCS, Vec3

from converter.demo.boathouse import INCH, DemoRun, runs
from converter.exporters.dxf.page import order_classes, steady
from converter.model.curve import Arc, Segment

if TYPE_CHECKING:
    from ezdxf.layouts.layout import Modelspace

_LADDER, _TROLLEY = 5, 3  # colour numbers


def drawing_text() -> str:
    """The whole drawing in inches, DXF R2010; the same text at every call."""
    with steady():
        doc = new("R2010", units=units.IN)
    model = doc.modelspace()
    demo = runs()
    for layer in dict.fromkeys(run.layer for run in demo):
        doc.layers.add(layer, color=_LADDER if layer.startswith("R") else _TROLLEY)
    doc.layers.add("NOTES", color=8)
    shuffle = random.Random(7)
    for run in demo:
        if run.drawn_as == "corners":
            model.add_polyline3d([_inches(point) for point in run.points], dxfattribs={"layer": run.layer})
        elif run.drawn_as == "bulges":
            _add_bulges(model, run)
        else:
            first, *rest = run.segments
            shuffle.shuffle(rest)
            for segment in (first, *rest):
                _add_piece(model, segment if shuffle.random() < 0.5 else segment.reversed(), run.layer)
    for text, place in (("DOCK LADDER 1.5 x 0.120", (0, -12, -44)), ("KAYAK TROLLEY 1.25 x 0.083", (40, -12, -16))):
        model.add_text(text, height=1.5, dxfattribs={"layer": "NOTES"}).set_placement(place)
    order_classes(doc)
    stream = StringIO()
    with steady():
        doc.write(stream)
    return stream.getvalue()


def _inches(point: tuple[float, float, float]) -> Vec3:
    return Vec3(point) / INCH


def _add_piece(model: Modelspace, segment: Segment, layer: str) -> None:
    """A LINE, or an ARC in the object coordinate system of its own plane."""
    given = {"layer": layer}
    if not isinstance(segment, Arc):
        model.add_line(_inches(segment.start), _inches(segment.end), dxfattribs=given)
        return
    ocs = OCS(Vec3(segment.normal))
    center, start, end = (ocs.from_wcs(_inches(p)) for p in (segment.center, segment.start, segment.end))
    model.add_arc(
        center,
        segment.radius / INCH,
        (start - center).angle_deg,
        (end - center).angle_deg,
        dxfattribs={**given, "extrusion": segment.normal},
    )


def _add_bulges(model: Modelspace, run: DemoRun) -> None:
    """One flat polyline; the bulge is tan(angle / 4), positive when the arc turns about the extrusion."""
    first = next(segment for segment in run.segments if isinstance(segment, Arc))
    ocs = OCS(Vec3(first.normal))
    rows = []
    for segment in run.segments:
        corner = ocs.from_wcs(_inches(segment.start))
        bulge = 0.0
        if isinstance(segment, Arc):
            side = 1.0 if Vec3(segment.normal).dot(ocs.uz) > 0.0 else -1.0
            bulge = side * tan(radians(segment.angle) / 4.0)
        rows.append((corner.x, corner.y, bulge))
    last = ocs.from_wcs(_inches(run.segments[-1].end))
    rows.append((last.x, last.y, 0.0))
    model.add_lwpolyline(
        rows,
        format="xyb",
        dxfattribs={"layer": run.layer, "extrusion": first.normal, "elevation": last.z},
    )
