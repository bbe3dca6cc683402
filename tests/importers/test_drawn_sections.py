"""Sections that a sketch draws along with the path of a tube, as FreeCAD wrote them.

Expected sizes are those of fixtures/step/make_freecad_sections.py. The paths run along x, 90 degrees towards y; circles
of 19.05 and 16.94 mm radius are a tube of 38.1 x 2.11 mm.
"""

from __future__ import annotations

import cadquery as cq
import ezdxf
import numpy as np
import pytest
from places import FIXTURES

from converter.importers.drawn_sections import OF_SECTION, drawn_sections
from converter.importers.dxf import read_dxf
from converter.importers.registry import ReadOptions
from converter.importers.step.read import read_step
from converter.model.curve import Arc, Line
from converter.model.drawing import DrawnCurve
from converter.reducer import reduce_drawing
from converter.tolerances import DEFAULT

FILE = FIXTURES / "step" / "freecad-sections.step"
X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


@pytest.fixture(scope="module")
def drawing():
    return read_step(FILE)


@pytest.fixture(scope="module")
def runs(drawing):
    return {run.name: run for run in reduce_drawing(drawing)[0]}


def test_circles_on_the_end_of_a_path_are_its_section(runs):
    tube, bar = runs["tube"], runs["bar"]
    assert (tube.section.shape, tube.section.od, tube.section.wall) == ("round", 38.1, pytest.approx(2.11))
    assert (bar.section.shape, bar.section.od) == ("bar", pytest.approx(20.0))
    (bend,) = tube.table.bends
    assert (bend.feed, bend.angle, bend.clr, tube.table.tail) == pytest.approx((150, 90, 100, 200))
    (bend,) = bar.table.bends
    assert (bend.feed, bend.angle, bend.clr, bar.table.tail) == pytest.approx((120, 90, 60, 180))
    assert [f.message for f in tube.findings] == ["tube: it is drawn 38.10 mm wide, with a wall of 2.11 mm."]


def test_what_is_no_circle_or_lies_beside_the_path_is_told(drawing, runs):
    told = {finding.layer: finding for finding in drawing.findings if finding.code == "section-drawn"}
    assert {layer: finding.variant for layer, finding in told.items()} == {
        "boxed": "", "beside": "beside", "unlike": "unlike",
    }  # fmt: skip
    assert all(runs[name].section is None for name in told)
    # 40 by 30: its corners lie 25 mm from its middle; the path passes 15 mm beside the middle of the circle
    assert "50.00 mm across" in told["boxed"].message and "15.00 mm beside it" in told["beside"].message
    assert sum(one.count for one in drawing.ignored if one.why == OF_SECTION) == 2 + 2 + 4 + 1 + 2


def test_a_rim_around_a_column_and_an_eye_on_it_are_tubes(runs):
    """A rim is wider than tube is across, an eye does not stand square on its column's end."""
    assert {"tube", "bar", "boxed", "beside", "unlike", "column", "rim", "eye"} == set(runs)
    assert [bend.clr for bend in runs["rim"].table.bends] == pytest.approx([175, 175])
    assert [bend.clr for bend in runs["eye"].table.bends] == pytest.approx([40, 40])


def test_who_takes_all_reads_rings():
    assert len(reduce_drawing(read_step(FILE, ReadOptions(take_all=True)))[0]) == 8 + 2 + 1 + 1 + 1 + 2


def sections_of(*curves):
    return drawn_sections([DrawnCurve(curve) for curve in curves], DEFAULT)


def circle(radius, center=(0.0, 0.0, 0.0), normal=X):
    across = Y if abs(normal[1]) < 0.5 else Z
    start = tuple(float(v) for v in np.array(center) + radius * np.array(across))
    return Arc(center, normal, radius, start, start, 360.0)


def test_at_the_limits():
    post = Line((0.0, 0.0, 0.0), (300.0, 0.0, 0.0))
    assert sections_of(post, circle(20)).sections and sections_of(circle(20), post).left_out == {0}
    assert sections_of(post, circle(20, (0.1, 0.0, 0.0))).sections, "as near as ends are joined"
    assert not sections_of(post, circle(20, (0.11, 0.0, 0.0))).left_out
    assert sections_of(post, circle(150)).sections and not sections_of(post, circle(150.1)).left_out, "wider than long"
    tilted = (np.cos(np.radians(1.0)), np.sin(np.radians(1.0)), 0.0)
    assert sections_of(post, circle(20, normal=tilted)).sections
    tilted = (np.cos(np.radians(1.3)), np.sin(np.radians(1.3)), 0.0)
    assert not sections_of(post, circle(20, normal=tilted)).left_out
    assert not sections_of(post, circle(20, (150.0, 0.0, 0.0))).left_out, "a ring around a post"
    spoke = Line((0.0, 0.0, 0.0), (0.0, 0.0, 20.0))
    assert not sections_of(post, spoke, circle(20)).left_out, "a wheel with a spoke"
    bend = Arc.swept((0.0, 30.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, 0.0), 90.0)
    more = Line((30.0, 30.0, 0.0), (30.0, 300.0, 0.0))
    assert sections_of(bend, more, circle(30)).sections and not sections_of(bend, more, circle(30.1)).left_out


def test_a_seam_from_rim_to_rim_is_no_path():
    """The side of a cylinder as CAD packages draw it: two rims, one seam, whose ends are no ends of the circles."""
    rims = [circle(20, (x, 0.0, 0.0)) for x in (0.0, 300.0)]
    seam = Line((0.0, 0.0, 20.0), (300.0, 0.0, 20.0))
    assert not sections_of(seam, *rims).left_out
    beside = Line((0.0, 0.0, 15.0), (300.0, 0.0, 15.0))
    assert sections_of(beside, *rims).left_out == {1, 2}


def test_the_wireframe_of_a_body_has_no_sections(tmp_path):
    """Edges of a box, and of a cylinder with its seam, meet those of its ends."""
    wires = [edge for shape in (cq.Solid.makeBox(40, 40, 300), cq.Solid.makeCylinder(20, 300, (200, 0, 0), Z))
             for edge in shape.Edges()]  # fmt: skip
    cq.Compound.makeCompound(wires).exportStep(str(tmp_path / "wires.step"))
    assert not [one for one in read_step(tmp_path / "wires.step").ignored if one.why == OF_SECTION]


def test_a_circle_on_the_end_of_a_path_in_a_dxf(tmp_path):
    """As drawn in space: an extrusion along x lays its circles across the path's first straight."""
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    model.add_line((0, 0, 0), (200, 0, 0), {"layer": "RAIL"})
    model.add_arc((200, 80), 80, 270, 0, {"layer": "RAIL"})
    model.add_line((280, 80, 0), (280, 300, 0), {"layer": "RAIL"})
    for radius in (19.05, 16.94):
        # the object's own axes for an extrusion along x are y, z, x: the DXF reference's arbitrary axis algorithm
        model.add_circle((0, 0, 0), radius, {"layer": "SECTION", "extrusion": (1, 0, 0)})
    model.add_circle((500, 500, 0), 50, {"layer": "RING"})
    path = tmp_path / "rail.dxf"
    doc.saveas(path)
    drawing = read_dxf(path, ReadOptions(keep_left_out=True))
    runs = {run.name: run for run in reduce_drawing(drawing)[0]}
    assert set(runs) == {"RAIL", "RING"}
    section = runs["RAIL"].section
    assert (section.shape, section.od, section.wall) == ("round", pytest.approx(38.1), pytest.approx(2.11))
    (ignored,) = drawing.ignored
    assert (ignored.kind, ignored.count, ignored.why) == ("CIRCLE", 2, OF_SECTION)
    assert len(drawing.aside.shapes) == 2
    assert len(reduce_drawing(read_dxf(path, ReadOptions(take_all=True)))[0]) == 4
