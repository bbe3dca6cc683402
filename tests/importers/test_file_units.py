"""Units that files of solids and meshes name, or that were assumed, against the sizes of their tubes.

By hand: 1.5 in is 38.1 mm, so that a tube of 1.5 read as mm would be 38.1 mm in inches.
"""

from __future__ import annotations

import cadquery as cq
import pytest
import trimesh
from mesh_tools import saved, swept
from step_tools import step_bytes
from tubes import run_of

from converter.importers.file_units import size_doubt
from converter.importers.registry import ReadOptions, read
from converter.job import open_job
from converter.kernel.shapes.solids import tube_solid
from converter.kernel.step.write import StepItem
from converter.model.section import Section
from converter.settings import Settings

#: 5, 90 degrees on 4.5, 12: numbers in inches.
INCHES = run_of([(5.0, 0.0, 90.0, 4.5)], 12.0)
TUBE = Section("round", 1.5, 0.095)


def doubts(path, **options):
    return [finding for finding in read(path, ReadOptions(**options)).findings if finding.code == "units-doubted"]


@pytest.fixture
def solid(tmp_path):
    """A STEP file in mm of a tube whose numbers are in inches."""
    path = tmp_path / "tube.step"
    path.write_bytes(step_bytes([StepItem("rail", tube_solid(INCHES, TUBE))]))
    return path


def test_inches_in_a_step_file_that_says_mm(solid):
    (doubt,) = doubts(solid)
    assert doubt.message == (
        "The drawing was read in mm, and tube in it is then 1.5 mm (0.0590551 in) across, which is no tube's size; it "
        "would be 38.1 mm (1.5 in) in inches, or 15 mm (0.590551 in) in cm."
    )
    assert "(--units in)" in doubt.cure_in() and "(--units mm)" in doubt.cure_in()
    assert not doubts(solid, units="mm")
    (table,) = read(solid, ReadOptions(units="in")).tables
    assert (table.section.od, table.section.wall) == pytest.approx((38.1, 2.413), abs=1e-6)
    assert table.table.bends[0].clr == pytest.approx(114.3) and not doubts(solid, units="in")
    found = [one for one in open_job(str(solid), Settings()).findings if one.code == "units-doubted"]
    assert found == [doubt], "told once, whatever its radii are"


def test_inches_in_a_3mf_that_says_mm(tmp_path):
    mesh = swept(INCHES, TUBE)
    mesh.units = "mm"
    path = saved(trimesh.Scene(mesh), tmp_path / "tube.3mf")
    (doubt,) = doubts(path)
    assert "38.1 mm (1.5 in) in inches" in doubt.message and "(--units in)" in doubt.cure_in()
    assert read(path, ReadOptions(units="in")).tables[0].section.od == pytest.approx(38.1, abs=1e-3)


def test_a_wire_sketch_is_doubted_by_its_radii(tmp_path):
    """As a DXF is: radii of 4.5 mm beside a die of 114.3 mm."""
    path = tmp_path / "sketch.step"
    wire = cq.Workplane().lineTo(5, 0).radiusArc((9.5, 4.5), -4.5).lineTo(9.5, 16.5).wire().val()
    wire.exportStep(str(path))
    shop = tmp_path / "shop.toml"
    shop.write_text('[shop]\nname = "yard"\n[[die]]\nname = "A"\nod = "38.1mm"\nclr = "114.3mm"\n', encoding="utf-8")
    found = open_job(str(path), Settings(shop=str(shop))).findings
    (doubt,) = [one for one in found if one.code == "units-doubted"]
    assert doubt.message.startswith("The drawing says mm, and bends then have a radius of 4.5 mm")
    asked = open_job(str(path), Settings(shop=str(shop), read=ReadOptions(units="mm"))).findings
    assert not [one for one in asked if one.code == "units-doubted"]


def test_tubes_that_are_tube_in_the_stated_unit(solid, tmp_path):
    """A wide arc of thin tube in inches is no tube of mm: its section would be smaller, too."""
    path = tmp_path / "arc.step"
    arc = run_of([(100.0, 0.0, 90.0, 2500.0)], 100.0)
    path.write_bytes(step_bytes([StepItem("arc", tube_solid(arc, Section("round", 38.1, 2.4)))], unit="in"))
    assert read(path).units == "in"
    assert not [one for one in open_job(str(path), Settings()).findings if one.code == "units-doubted"]


def test_at_the_limits():
    """3 mm and 302.26 mm are tube; pipe that is not bent is up to four times as wide, in a file that names its unit."""
    assert not size_doubt([(3.0, 1)], "mm", True) and size_doubt([(2.98, 1)], "mm", True)
    assert not size_doubt([(302.26, 1)], "in", True) and size_doubt([(302.28, 1)], "in", True)
    assert not size_doubt([(1209.04, 0)], "in", True) and size_doubt([(1209.1, 0)], "in", True)
    assert size_doubt([(302.28, 0)], "in", False)
    assert not size_doubt([(2.0, 1), (38.1, 1)], "mm", True), "every tube must be beyond it"
    assert not size_doubt([(400.0, 1)], "mm", True), "would be tube in no other unit"
    assert size_doubt([], "mm", True) is None
