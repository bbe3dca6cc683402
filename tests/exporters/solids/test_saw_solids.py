"""Mitred frames and square ends as solids: volumes by the kernel against sections and centerlines."""

import ezdxf
import pytest
from coped_solids import coped
from copes import straight

from converter import Settings, open_job
from converter.exporters.solids.coped.ends import coped_solid, joints_of
from converter.kernel.shapes.solids import is_valid, tube_solid, volume
from converter.model.section import Section

BOX = Section("square", 50.0, 3.0, corner=6.0)


def fused(solids):
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Fuse

    whole = solids[0]
    for one in solids[1:]:
        whole = BRepAlgoAPI_Fuse(whole, one).Shape()
    return whole


@pytest.fixture
def frame(tmp_path):
    """A rectangle of 900 by 1200, drawn as one polyline."""
    doc = ezdxf.new("R2010", units=4)
    points = [(0, 0), (900, 0), (900, 1200), (0, 1200)]
    doc.modelspace().add_lwpolyline(points, close=True, dxfattribs={"layer": "FRAME"})
    doc.saveas(tmp_path / "frame.dxf")
    return lambda corner: open_job(str(tmp_path / "frame.dxf"), Settings(sections=("50x50x3mm",), corner=corner))


def test_the_sticks_of_a_mitred_frame_fill_it_and_no_more(frame):
    """A mitre through the middle of a section takes off what it leaves: area by centerline, for each and for all."""
    job = frame("mitre")
    by_tube = joints_of(job.joints)
    solids = [coped_solid(tube, tube.section, by_tube[tube.name]) for tube in job.tubes]
    area = job.tubes[0].section.area
    for solid, length in zip(solids, (1200.0, 900.0, 1200.0, 900.0), strict=True):
        assert is_valid(solid) and volume(solid) in (
            pytest.approx(area * length, rel=1e-9),
            pytest.approx(area * (2100.0 - length), rel=1e-9),
        )
    total = sum(volume(solid) for solid in solids)
    assert total == pytest.approx(area * 4200.0, rel=1e-9)
    assert volume(fused(solids)) == pytest.approx(total, rel=1e-9)  # nothing lies in two of them
    (one,) = frame("bend").tubes  # the same frame as one tube whose corners the kernel mitres itself
    assert volume(tube_solid(one.run, one.section)) == pytest.approx(total, rel=1e-9)


def test_a_square_end_is_shorter_by_half_the_mate_and_touches_no_more_than_its_flat():
    rail = straight("RAIL", (-400.0, 0.0, 0.0), (400.0, 0.0, 0.0), BOX)
    post = straight("POST", (0.0, 0.0, 0.0), (0.0, 0.0, 500.0), BOX)
    ((_, joints, solid),) = coped([rail, post])
    assert [joint.kind for joint in joints] == ["square"]
    assert volume(solid) == pytest.approx(BOX.area * (500.0 - 25.0), rel=1e-9)
    whole = tube_solid(rail.run, BOX)
    assert volume(fused([whole, solid])) == pytest.approx(volume(whole) + volume(solid), rel=1e-9)
