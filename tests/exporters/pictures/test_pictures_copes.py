"""Pictures of tubes whose ends are cut to fit: the cut drawn is the one that the mate makes.

What is compared with knows nothing of wrap templates: two cylinders, and points on the one that lie outside the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import cos, radians, sin

import numpy as np
import pytest
import shapely
from picture_tools import label_box, overlaps
from sheet_tools import TUBE, job_of, shop

from converter.exporters.pictures.hidden.cuts import end_words
from converter.exporters.pictures.hidden.outline import outline
from converter.exporters.pictures.hidden.solid import solid_of
from converter.exporters.pictures.run.picture import isometric_picture, run_picture
from converter.exporters.pictures.run.sketch import SketchShape
from converter.exporters.pictures.views import View, ViewAxes
from converter.joints.model import Joint
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.units import BothUnits, Display

RAIL = Section("round", 50.8, 3.0)


def straight(name: str, at: Sequence[float], d: Sequence[float], length: float, section: Section = TUBE) -> Tube:
    """A straight tube from a point along a direction."""
    placement = Placement.leaving(tuple(at), tuple(np.array(d) / np.linalg.norm(d)))
    return Tube(Run(name, "L", False, BendTable((), length), placement), section, metal="mild steel")


def pair(angle: float, offset: float, section: Section = TUBE, turn: float = 25.0) -> tuple[Tube, Tube, list[Joint]]:
    """A rail along a slanted axis, and a tube that ends on it at an angle, its axis beside the rail's."""
    a = radians(turn)
    along = np.array([cos(a), 0.3, sin(a)])
    along /= np.linalg.norm(along)
    side = np.cross(along, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    up = np.cross(side, along)
    rail = straight("RAIL", -400.0 * along, along, 800.0, RAIL)
    d = cos(radians(angle)) * along + sin(radians(angle)) * up
    tube = straight("POST", offset * side, d, 220.0, section)
    joints = job_of([rail, tube], shop()).copes.joints
    return rail, tube, [joint for joint in joints if joint.tube == "POST"]


def off_axis(points: np.ndarray, tube: Tube) -> np.ndarray:
    """Distances of points from a straight tube's axis."""
    start, d = np.array(tube.run.start), np.array(tube.run.placement.direction)
    w = points - start
    return np.linalg.norm(w - (w @ d)[:, None] * d, axis=1)


@pytest.mark.parametrize("angle", [90.0, 60.0, 125.0])
@pytest.mark.parametrize("offset", [0.0, 4.0])
def test_the_rim_lies_on_both_tubes(angle, offset):
    rail, tube, joints = pair(angle, offset)
    assert [(joint.end, joint.kind) for joint in joints] == [("A", "saddle")]
    solid = solid_of(tube, joints)
    rim = solid.rims[0]
    outer, bore = rim[: len(rim) // 2], rim[len(rim) // 2 :]
    for points, radius in ((outer, 38.1 / 2), (bore, 38.1 / 2 - 3.0)):
        assert off_axis(points, tube) == pytest.approx(np.full(len(points), radius), abs=1e-9)
        assert off_axis(points, rail) == pytest.approx(np.full(len(points), 25.4), abs=1e-6)
    # the metal lies beyond the rail, as seen from it
    assert np.all((rim - np.array(tube.run.start)) @ np.array(tube.run.placement.direction) > 0.0)


def cut_strips(tube: Tube, rail: Tube) -> np.ndarray:
    """A tube without the part inside its mate: strips along its outside, its bore and between, (n, 4, 3) corners."""
    assert tube.section is not None
    assert rail.section is not None
    placement = tube.run.placement
    d, normal = np.array(placement.direction), np.array(placement.normal)
    other = np.cross(d, normal)
    around, along = np.linspace(0.0, 2.0 * np.pi, 181), np.linspace(-60.0, tube.run.table.tail, 1401)
    s, u = np.meshgrid(along, around)
    strips = []
    for r in np.linspace(tube.section.bore_radius, tube.section.cylinder, 7):
        ring = np.cos(u)[..., None] * normal + np.sin(u)[..., None] * other
        grid = np.array(placement.start) + s[..., None] * d + r * ring
        outside = off_axis(grid.reshape(-1, 3), rail).reshape(s.shape) > rail.section.od / 2.0
        # beyond the last place inside the rail
        first = np.logical_and.accumulate(outside[:, ::-1], axis=1)[:, ::-1].argmax(axis=1)
        ends = np.stack((grid[np.arange(len(around)), first], grid[:, -1]), axis=1)
        strips.append(np.concatenate((ends[:-1], ends[1:, ::-1]), axis=1))
    return np.concatenate(strips)


def shadow_of(strips: np.ndarray, view: View) -> shapely.Geometry:
    """What strips cover."""
    patches = shapely.polygons(strips @ np.array([view.right, view.up]).T)
    return shapely.union_all(patches[shapely.area(patches) > 1e-9], grid_size=1e-6)


VIEWS = (ViewAxes().isometric(0), ViewAxes().isometric(2), ViewAxes().top())


@pytest.mark.slow
@pytest.mark.parametrize("angle", [90.0, 55.0])
@pytest.mark.parametrize("offset", [0.0, 4.0])
def test_what_is_filled_is_what_the_cut_tube_covers(angle, offset):
    rail, tube, joints = pair(angle, offset)
    strips = cut_strips(tube, rail)
    for view in VIEWS:
        found = outline(solid_of(tube, joints), view.right, view.up, 0.01)
        filled = shapely.union_all(
            [shapely.make_valid(shapely.Polygon(one)) for one in (*found.skin, *found.inside)], grid_size=1e-6
        )
        wanted = shadow_of(strips, view)
        # patches of 2 degrees by 0.2 mm
        assert filled.symmetric_difference(wanted).area < 0.003 * wanted.area, view
        lines = shapely.union_all([shapely.LineString(points) for points, _, _ in found.lines])
        assert lines.difference(filled.buffer(0.05)).length < 1e-6, "no line leaves the tube"
        # the whole edge of what is covered is drawn
        assert filled.exterior.difference(lines.buffer(0.15)).length < 0.5, view


def test_lines_of_the_far_side_are_hidden_by_the_near_side():
    """From the side, square to both tubes: the two lips lie over one another and the notch hides nothing."""
    rail, tube, joints = (
        straight("RAIL", (-300, 0, 0), (1, 0, 0), 600.0, RAIL),
        straight("POST", (0, 0, 0), (0, 0, 1), 200.0),
        None,
    )
    joints = [joint for joint in job_of([rail, tube], shop()).copes.joints if joint.tube == "POST"]
    right, front = ViewAxes().right(), ViewAxes().front()
    # along the rail its circle is seen; from the front the tube reaches down to where the rail's top curves away
    side = outline(solid_of(tube, joints), right.right, right.up, 0.01)
    lowest = min(y for points, _, _ in side.lines for _, y in points)
    assert lowest == pytest.approx(np.sqrt(25.4**2 - 19.05**2), abs=1e-3), "the lips reach so far down the rail"
    middle = min(y for points, role, _ in side.lines if role == "tube" for x, y in points if abs(x) < 0.3)
    assert middle == pytest.approx(25.4, abs=0.01), "between them is the top of the rail"
    ahead = outline(solid_of(tube, joints), front.right, front.up, 0.01)
    corner = min(y for points, _, _ in ahead.lines for x, y in points if abs(abs(x) - 19.05) < 1e-6)
    assert corner == pytest.approx(25.4, abs=1e-3)


def test_sizes_are_those_of_the_metal_by_hand():
    """A tube of 200 from a rail's axis, square on it: from sqrt(25.4^2 - 19.05^2) = 16.80 on."""
    rail, tube = straight("RAIL", (-300, 0, 0), (1, 0, 0), 600.0, RAIL), straight("POST", (0, 0, 0), (0, 0, 1), 200.0)
    joints = job_of([rail, tube], shop()).copes.joints
    low, high = SketchShape.of(tube, joints).span((0.0, 0.0, 1.0))
    assert (low, high) == pytest.approx((16.800, 200.0), abs=1e-3)
    said = [label.text for label in run_picture(tube, Display("mm"), joints=joints).labels]
    assert "183.20" in said
    assert any(text.endswith("200.00") for text in said), "the straight of the table, to the centerline's end"


def test_the_word_at_the_end_and_the_description():
    _, tube, joints = pair(70.0, 0.0)
    both = BothUnits("mm")
    for size in ((180, 120), (112, 70)):
        picture = isometric_picture(tube, both, size=size, joints=joints)
        assert [label.text for label in picture.labels].count("coped") == 1
        assert "End A is coped." in picture.description
        assert all(overlaps(picture, unit) == [] for unit in ("mm", "in"))
        frame = shapely.box(0, 0, *size)
        assert all(frame.covers(label_box(label, "mm")) for label in picture.labels)
        assert all(frame.buffer(0.01).covers(shapely.LineString(s.points)) for s in picture.strokes)
    plain = isometric_picture(tube, both)
    assert "coped" not in [label.text for label in plain.labels]
    assert end_words(joints, tube) == {"A": "coped"}


def test_a_mitre_is_drawn_with_its_slant():
    a = straight("ONE", (0, 0, 0), (1, 0, 0), 200.0)
    b = straight("TWO", (200, 0, 0), (0, 1, 0), 200.0)
    joints = job_of([a, b], shop()).copes.joints
    low, high = SketchShape.of(a, joints).span((1.0, 0.0, 0.0))
    assert (low, high) == pytest.approx((0.0, 200.0 + 19.05), abs=1e-3)
    assert end_words(joints, a) == {"B": "mitred"}
    view = ViewAxes().top()
    found = outline(solid_of(a, joints), view.right, view.up)
    slant = [points for points, _, _ in found.lines if max(x for x, _ in points) > 219.0]
    xs = [(x, y) for points in slant for x, y in points if x > 181.0]
    # from the long point on the outside of the corner to the short one inside
    assert all(abs((x - 200.0) + y) < 1e-3 for x, y in xs if abs(y) < 19.0), "at 45 degrees"


@pytest.mark.parametrize("section", [Section("square", 38.1, 3.0), Section("bar", 38.1, 19.05)])
def test_other_sections_never_fail(section):
    _, tube, joints = pair(80.0, 0.0, section)
    picture = run_picture(tube, Display("mm"), joints=joints)
    assert picture.strokes


def test_a_cut_that_reaches_into_a_bend_is_left_square():
    rail = straight("RAIL", (-300, 0, 0), (1, 0, 0), 600.0, RAIL)
    table = BendTable((Bend(18.0, 0.0, 90.0, 114.3),), 200.0)
    tube = Tube(Run("BENT", "L", False, table, Placement.leaving((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))), TUBE)
    joints = job_of([rail, tube], shop()).copes.joints
    assert solid_of(tube, joints).cuts == (None, None)


def test_the_arrow_of_feed_stays_in_its_frame():
    """Also where the centerline's end lies far off the metal."""
    slant = straight("SLANT", (-200, 0, 0), (0.6, 0.0, 0.8), 200.0)
    bent = BendTable((Bend(120.0, 0.0, 25.0, 100.0),), 60.0)
    tubes = [straight("BASE", (-300, 0, 0), (1, 0, 0), 600.0, RAIL), replace(slant, run=replace(slant.run, table=bent))]
    joints = job_of(tubes, shop()).copes.joints
    picture = run_picture(tubes[1], Display("mm"), joints=joints)
    foot = next(label for label in picture.labels if label.text.startswith("developed"))
    feed = [p for stroke in picture.strokes if stroke.role == "feed" for p in stroke.points]
    assert min(y for _, y in feed) > foot.at[1] + foot.height
