"""Drawings of outlines: told from centerlines, and tubes read from them.

What an outline is made of comes in closed form (`helpers/outlines.py`); that it is one, shapely says.
"""

import math
import random
import time
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from dxf_tools import FIXTURES, new, reread
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from outline_drawings import (
    bent_tube,
    flange,
    flat_pattern,
    floor_plan,
    frame_in_one,
    gate_of_outlines,
    plate,
    rect,
    sides_and_centerline,
    sticks,
    three_views,
    two_views_of_a_tube,
    views_of_a_tube,
    wireframe,
)
from outlines import draw, outline, split_and_shuffled
from shapely import LineString, Polygon
from strategies import lengths, tables

from converter.importers.dxf.outline import outline_findings
from converter.importers.registry import ReadOptions, read
from converter.job import open_job
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild, reverse_table
from converter.model.curve import Arc, Line, Polyline
from converter.model.drawing import Drawing, DrawnCurve
from converter.processes.memory import paused_gc
from converter.reducer import reduce_drawing
from converter.reducer.chaining.ends import sample
from converter.reducer.outlines.centerlines import centerlines
from converter.settings import Settings

BULGE = math.tan(math.pi / 8)  # of a quarter of a turn
FROM_OUTLINE = Settings(read=ReadOptions(from_outline=True))


def rounded(space, x, y, width, height, r):
    right, top = x + width, y + height
    points = [(x + r, y, 0), (right - r, y, BULGE), (right, y + r, 0), (right, top - r, BULGE)]
    points += [(right - r, top, 0), (x + r, top, BULGE), (x, top - r, 0), (x, y + r, BULGE)]
    space.add_lwpolyline(points, format="xyb", close=True)


def rows(table):
    return [v for b in table.bends for v in (b.feed, b.rotation, b.angle, b.clr)] + [table.tail]


def same_table(table, want):
    """Whether two tables are equal within 1e-6, from either end."""
    either = (rows(want), rows(reverse_table(want)[0]))
    return any(rows(table) == pytest.approx(numbers, abs=1e-6) for numbers in either)


# --- from an outline to the table ------------------------------------------------------------


@st.composite
def flat_tubes(draw_):
    """A table of one plane, where it stands, and a width that its bends allow."""
    table = draw_(tables(most=4, greatest=280.0))
    turned = [
        Bend(max(b.feed, 1.0), 0.0 if i == 0 else draw_(st.sampled_from([0.0, 180.0])), b.angle, b.clr)
        for i, b in enumerate(table.bends)
    ]
    way = math.radians(draw_(lengths(0.0, 360.0)))
    start = (draw_(lengths(-1e4, 1e4)), draw_(lengths(-1e4, 1e4)), 0.0)
    place = Placement(start, (math.cos(way), math.sin(way), 0.0), (0.0, 0.0, 1.0))
    return BendTable(tuple(turned), table.tail), place, draw_(lengths(6.0, min(1.6 * min(b.clr for b in turned), 60.0)))


@settings(max_examples=40)
@given(flat_tubes(), st.tuples(st.booleans(), st.booleans()), st.randoms(use_true_random=False))
def test_a_tube_comes_back_from_its_outline(tube, caps, rng):
    table, place, width = tube
    # one that lies on itself has its lines twice
    assume(LineString(np.concatenate([sample(s) for s in rebuild(table, place)])[:, :2]).is_simple)
    drawn = split_and_shuffled(outline(table, place, width, caps), rng)
    outlines = centerlines([DrawnCurve(curve) for curve in drawn])
    runs, _ = reduce_drawing(Drawing("a.dxf", curves=outlines.curves))
    assert len(runs) == 1 and outlines.left == 0
    assert same_table(runs[0].table, table) and runs[0].section.od == pytest.approx(width, abs=1e-3)


@settings(max_examples=20)
@given(flat_tubes())
def test_an_outline_is_what_lies_within_half_its_width(tube):
    """The helper is right: its sides enclose what shapely has within half the width of the centerline."""
    table, place, width = tube
    points = np.concatenate([sample(s) for s in rebuild(table, place)])[:, :2]
    sides = outline(table, place, width, (False, False))
    half = len(sides) // 2
    left, right = (np.concatenate([sample(s) for s in part])[:, :2] for part in (sides[:half], sides[half:]))
    around = Polygon(np.concatenate((left, right[::-1])))
    line = LineString(points)
    if line.is_simple and around.is_valid:
        within = line.buffer(width / 2.0, cap_style="flat", join_style="mitre")
        assert around.symmetric_difference(within).area < 0.02 * within.area


def test_several_tubes_as_people_draw_them(tmp_path):
    """Lines and arcs, a polyline with bulges, one with a slant, a U; one open, one with bore and centerline."""
    doc, space = new()
    want = {}
    bent = BendTable((Bend(300.0, 0.0, 90.0, 75.0), Bend(200.0, 180.0, 45.0, 75.0)), 150.0)
    draw(space, outline(bent, Placement((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)), 25.4))
    want[25.4] = bent
    # a U of 38.1 as one closed polyline: legs of 400 mm, CLR 100
    r, s = 100 - 19.05, 100 + 19.05
    points = [(s, 400, 0), (s, 0, -1), (-s, 0, 0), (-s, 400, 0), (-r, 400, 0), (-r, 0, 1), (r, 0, 0), (r, 400, 0)]
    space.add_lwpolyline([(x + 2000, y, b) for x, y, b in points], format="xyb", close=True)
    want[38.1] = BendTable((Bend(400.0, 0.0, 180.0, 100.0),), 400.0)
    # straight, 20 mm, cut at 45 degrees at one end: 600 mm along the middle; open at the other
    space.add_line((0, -500), (610, -500))
    space.add_line((0, -480), (590, -480))
    space.add_line((610, -500), (590, -480))
    want[20.0] = BendTable((), 600.0)
    # 30 mm with a wall of 2 mm, and its centerline past both ends
    for offset in (0, 2, 28, 30):
        space.add_line((0, -800 + offset), (900, -800 + offset))
    space.add_line((0, -800), (0, -770))
    space.add_line((900, -800), (900, -770))
    space.add_line((-10, -785), (910, -785))
    want[30.0] = BendTable((), 900.0)
    doc.saveas(tmp_path / "a.dxf")
    job = open_job(str(tmp_path / "a.dxf"), FROM_OUTLINE)
    tubes = {tube.section.od: tube for tube in job.tubes}
    assert tubes.keys() == want.keys()
    assert all(same_table(tubes[od].run.table, table) for od, table in want.items())
    assert (tubes[30.0].section.shape, tubes[30.0].section.wall) == ("round", 2.0)
    (note,) = [f for f in job.findings if f.code == "outline-read"]
    assert note.measured == 4 and "5 curves that close an end" in note.message and "left" not in note.message
    counted = {(one.kind, one.why): one.count for one in job.drawing.ignored}
    assert sum(counted.values()) == len(space) and len(job.drawing.aside.shapes) == len(space)


@pytest.mark.parametrize("program", ["freecad", "librecad"])
def test_what_a_cad_program_draws_from_both_sides_comes_back(program):
    """FreeCAD's own offset to both sides, six digits; LibreCAD's lines: numbers in make_freecad_outlines.py."""
    drawing = read(FIXTURES / f"outline-{program}-tube.dxf", ReadOptions(from_outline=True))
    (run,), _ = reduce_drawing(drawing)
    want = BendTable((Bend(300.0, 0.0, 90.0, 80.0), Bend(150.0, 180.0, 90.0, 80.0)), 200.0)
    numbers = (rows(want), rows(reverse_table(want)[0]))
    assert any(rows(run.table) == pytest.approx(one, abs=1e-3) for one in numbers) and run.section.od == 32.0
    plain = read(FIXTURES / f"outline-{program}-tube.dxf").findings
    assert [(f.code, f.variant, f.measured) for f in plain] == [("outline-suspect", "tubes", 32.0)]
    no_tube = read(FIXTURES / f"outline-{program}-plate.dxf", ReadOptions(from_outline=True)).findings
    assert [f.code for f in no_tube] == ["outline-none", "outline-suspect"]


@pytest.mark.parametrize(("layer", "cure"), [("CL", "--layer 'CL'"), ("EDGES", "--from-outline")])
def test_a_centerline_drawn_between_its_sides_to_few_digits_is_known_for_one(layer, cure, tmp_path):
    """Its arc is no tube beside the one that the sides give; a border around it all hides nothing."""
    doc, space = new()
    sides_and_centerline(space, layer)
    space.add_lwpolyline(
        [(-300, -300), (1500, -300), (1500, 900), (-300, 900)], close=True, dxfattribs={"layer": "BORDER"}
    )
    told = reread(doc, tmp_path).findings
    (said,) = [f for f in told if f.code == "outline-suspect"]
    assert (said.variant, said.measured) == ("tubes", 40.0) and cure in said.cure_in(None)
    doc.saveas(tmp_path / "a.dxf")
    read_sides = replace(FROM_OUTLINE, read=ReadOptions(from_outline=True, skip_layers=("BORDER",)))
    (tube,) = open_job(str(tmp_path / "a.dxf"), read_sides).tubes
    assert same_table(tube.run.table, BendTable((Bend(500.0, 0.0, 45.0, 140.0),), 300.0))


def test_tubes_that_meet_stay_apart(tmp_path):
    """A frame with its mitres drawn: four tubes of 40 mm, each as long as between the middles of its mitres."""
    doc, space = new()
    rect(space, 0, 0, 1000, 700)
    rect(space, 40, 40, 920, 620)
    for x, y in ((0, 0), (1000, 0), (1000, 700), (0, 700)):
        space.add_line((x, y), (x + (40 if x == 0 else -40), y + (40 if y == 0 else -40)))
    drawing = reread(doc, tmp_path, from_outline=True)
    runs, _ = reduce_drawing(drawing)
    assert sorted(run.table.tail for run in runs) == pytest.approx([660.0, 660.0, 960.0, 960.0])
    # without them it is one tube that goes round
    doc, space = new()
    rect(space, 0, 0, 1000, 700)
    rect(space, 40, 40, 920, 620)
    (run,), _ = reduce_drawing(reread(doc, tmp_path, from_outline=True))
    assert run.closed and run.table.developed_length == pytest.approx(2 * 960 + 2 * 660) and run.section.od == 40


def test_a_frame_drawn_as_one_outline(tmp_path):
    """Sides are left out where branches open into them: two rails of 30 mm, two posts between, a stub below."""
    doc, space = new()
    frame_in_one(space)
    drawing = reread(doc, tmp_path, from_outline=True)
    runs, _ = reduce_drawing(drawing)
    sizes = sorted((run.table.tail, run.section.od) for run in runs)
    assert sizes == [(300.0, 25.0), (470.0, 25.0), (470.0, 25.0), (1000.0, 30.0), (1000.0, 30.0)]
    assert "outline" in drawing.findings[0].message and "belong" not in drawing.findings[0].message


def test_in_a_plane_of_any_tilt(tmp_path):
    doc, space = new()
    extrusion = (0.0, -1.0, 0.0)
    for z in (0, 25):
        space.add_line((0, 5, z), (500, 5, z))
        space.add_arc((500, 100, -5), 100 - z, 270, 0, dxfattribs={"extrusion": extrusion})
        space.add_line((600 - z, 5, 100), (600 - z, 5, 400))
    (run,), _ = reduce_drawing(reread(doc, tmp_path, from_outline=True))
    assert same_table(run.table, BendTable((Bend(500.0, 0.0, 90.0, 87.5),), 300.0))


def test_an_outline_is_nothing_left_out_on_request(tmp_path):
    """Its own lines touch the ends of the tube, and no warning says so."""
    doc, space = new()
    rect(space, 0, 0, 600, 25)
    space.add_line((0, 900), (500, 900), dxfattribs={"layer": "NOTE"})
    doc.saveas(tmp_path / "a.dxf")
    job = open_job(str(tmp_path / "a.dxf"), Settings(read=ReadOptions(from_outline=True, skip_layers=("NOTE",))))
    assert len(job.tubes) == 1 and "left-out-touches" not in {f.code for f in job.findings}


def test_what_belongs_to_no_outline_stays_and_is_told(tmp_path):
    doc, space = new()
    rect(space, 0, 0, 600, 25)
    space.add_lwpolyline([(0, 300), (200, 300), (200, 500)])
    drawing = reread(doc, tmp_path, from_outline=True)
    assert [type(drawn.curve).__name__ for drawn in drawing.curves] == ["Line", "Polyline"]
    assert "1 curve belongs to no outline and was read as drawn" in drawing.findings[0].message
    doc, space = new()
    space.add_line((0, 0), (500, 0))
    assert [f.code for f in reread(doc, tmp_path, from_outline=True).findings] == ["outline-none"]


def test_a_section_named_otherwise_stays_and_a_difference_is_told(tmp_path):
    doc, space = new()
    rect(space, 0, 0, 600, 25.4)
    doc.saveas(tmp_path / "a.dxf")
    for section, differs in (("1x0.065in", False), ("1.5x0.095in", True), ("2x1x0.083in", False)):
        choices = Settings(read=ReadOptions(from_outline=True), sections=(section,))
        job = open_job(str(tmp_path / "a.dxf"), choices)
        assert job.tubes[0].section.wall < 3.0
        told = {f.code for f in job.findings}
        assert ("section-differs" in told) == differs and "outline-size" not in told
    bare = open_job(str(tmp_path / "a.dxf"), Settings(read=ReadOptions(from_outline=True)))
    assert "outline-size" in {f.code for f in bare.findings}


@pytest.mark.parametrize("count", [2, 5, 8, 9])
@pytest.mark.parametrize("closed", [True, False])
def test_pickets_drawn_by_two_lines_each_are_pickets(tmp_path, count, closed):
    """In a mitred frame whose lower rail and mid rail close their ends: 19 mm bars 97 mm apart, each a tube of its own.

    Two of them, seen together, might pass for a tube of 135 mm with a wall of 19 mm, and did.
    """
    doc, space = new()
    width, pitch = 38.0, 97.0 + 19.0
    across = count * pitch + 97.0
    rect(space, 0, 0, across + 2 * width, 1500)
    rect(space, width, width, across, 1500 - 2 * width)
    for x, y, dx, dy in ((0, 0, 1, 1), (across + 2 * width, 0, -1, 1)):
        for yy, way in ((y, dy), (1500, -dy)):
            space.add_line((x, yy), (x + dx * width, yy + way * width))
    for y in (1000, 1000 + width):
        space.add_line((width, y), (across + width, y))
    for k in range(count):
        x = width + 97.0 + k * pitch
        if closed:
            rect(space, x, width, 19.0, 1000 - width)
        else:
            space.add_line((x, width), (x, 1000))
            space.add_line((x + 19.0, width), (x + 19.0, 1000))
    doc.saveas(tmp_path / "gate.dxf")
    job = open_job(str(tmp_path / "gate.dxf"), Settings(read=ReadOptions(from_outline=True)))
    sizes = Counter(round(tube.section.od, 3) for tube in job.tubes)
    assert sizes == {38.0: 5, 19.0: count} and all(not tube.section.kind.hollow for tube in job.tubes)
    plain = open_job(str(tmp_path / "gate.dxf"), Settings())
    assert any(f.code == "outline-suspect" and f.variant == "tubes" for f in plain.findings)


#: Ends of a tube 40 wide, by the corners from its right side to its left one, (0, 0) where a square one ends.
ENDS = {
    "square": [(0, -20), (0, 20)],
    "mitred": [(20, -20), (-20, 20)],
    "slanted": [(-6, -20), (6, 20)],
    "pointed": [(0, -20), (25, 0), (0, 20)],
    "off the middle": [(0, -20), (18, 8), (0, 20)],
    "hollow": [(0, -20), (-20, 0), (0, 20)],
}
#: Degrees from square that a saw is turned for these; None where they lie in no plane, or in a square one.
SAWN = {"mitred": 45.0, "slanted": math.degrees(math.atan(12.0 / 40.0))}


@pytest.mark.parametrize(
    ("first", "last", "closed"),
    [(a, b, True) for a in ENDS for b in ENDS]
    + [(a, b, False) for a in ("square", *SAWN) for b in SAWN],  # an open end shows no other shape
)
def test_the_stick_reaches_as_far_as_the_outline(first, last, closed, tmp_path):
    """A part drawn alone is cut to its long points: what of its outline lies furthest along it says how long."""
    rng = random.Random(f"{first} {last}")
    around = [(-x, -y) for x, y in ENDS[first]] + [(700.0 + x, y) for x, y in ENDS[last]]
    way = np.exp(1j * rng.uniform(0.0, 2.0 * math.pi))
    corners = [(complex(x, y) * way + 300.0 - 90.0j) for x, y in around]
    doc, space = new()
    for k, (a, b) in enumerate(pairwise([*corners, corners[0]])):
        if closed or k in (len(ENDS[first]) - 1, len(corners) - 1):
            p, q = (a, b) if rng.random() < 0.5 else (b, a)
            space.add_line((p.real, p.imag), (q.real, q.imag))
    for height in (0.0, 30.0):  # as drawn, and not in the plane of x and y
        for entity in space:
            entity.translate(0.0, 0.0, height)
        doc.saveas(tmp_path / "part.dxf")
        job = open_job(str(tmp_path / "part.dxf"), FROM_OUTLINE)
        (setup,) = job.setups
        along = [x for x, _ in around]
        assert setup.stick_length == pytest.approx(max(along) - min(along), abs=1e-6)
        sawn = sorted(SAWN[one] for one in (first, last) if one in SAWN)
        joints = job.copes.joints
        assert sorted(one.end_cut.saw_angle for one in joints) == pytest.approx(sawn, abs=1e-6)
        told = [f for f in job.findings if f.code == "joint-as-drawn"]
        assert len(told) == sum(one != "square" for one in (first, last))
        sides = {one.variant for one in told}
        assert ("" in sides) == bool(sawn)


def test_parts_drawn_alone_are_equal_where_their_ends_are(tmp_path):
    """Their centerlines are all as long: two sides of a frame, one of them end for end, a slanted strut, two points."""
    doc, space = new()
    for k, shape in enumerate((
        [(0, 0), (1000, 0), (960, 40), (40, 40)], [(40, 0), (960, 0), (1000, 40), (0, 40)],
        [(0, 0), (960, 0), (1000, 40), (40, 40)],
        [(0, 0), (940, 0), (960, 20), (940, 40), (0, 40)], [(0, 0), (960, 0), (960, 40), (0, 40)],
        [(20, 0), (960, 0), (960, 40), (20, 40), (0, 20)],
    )):  # fmt: skip
        space.add_lwpolyline([(x, y + 200.0 * k) for x, y in shape], close=True, dxfattribs={"layer": f"P{k}"})
    doc.saveas(tmp_path / "parts.dxf")
    job = open_job(str(tmp_path / "parts.dxf"), replace(FROM_OUTLINE, sections=("40x40x3mm",)))
    assert [tube.run.table.developed_length for tube in job.tubes] == pytest.approx([960.0] * 6)
    assert sorted(sorted(part.names) for part in job.parts) == [["P0", "P1"], ["P2"], ["P3", "P5"], ["P4"]]


def test_an_end_that_meets_a_tube_is_cut_to_that(tmp_path):
    """A brace with pointed ends in the corners of a frame: to both flats, from point to point."""
    doc, space = new()
    rect(space, 0, 0, 900, 900)
    rect(space, 40, 40, 820, 820)
    for x, y in ((0, 0), (900, 0), (900, 900), (0, 900)):
        space.add_line((x, y), (x + (40 if x == 0 else -40), y + (40 if y == 0 else -40)))
    h = 40.0 / math.sqrt(2.0)
    space.add_lwpolyline([(40, 40), (40 + h, 40), (860, 860 - h), (860, 860), (860 - h, 860), (40, 40 + h)], close=True)
    doc.saveas(tmp_path / "gate.dxf")
    job = open_job(str(tmp_path / "gate.dxf"), replace(FROM_OUTLINE, sections=("40x40x3mm",)))
    lengths = sorted(setup.stick_length for setup in job.setups)
    assert lengths == pytest.approx([900.0, 900.0, 900.0, 900.0, 820.0 * math.sqrt(2.0)], abs=1e-6)
    assert not {"joint-as-drawn", "joint-missed"} & {f.code for f in job.findings}


def test_time_grows_with_the_number_of_curves():
    """Four times the curves take about four times as long; a quadratic search would take sixteen."""

    def seconds(tubes):
        curves = []
        for i in range(tubes):
            x, y = i % 20 * 1200.0, i // 20 * 1000.0
            corners = [(x, y, 0.0), (x + 1000, y, 0.0), (x + 1000, y + 25, 0.0), (x, y + 25, 0.0)]
            curves += [DrawnCurve(Line(p, q)) for p, q in zip(corners, corners[1:] + corners[:1], strict=True)]
        took = []
        for _ in range(2):
            start = time.process_time()
            with paused_gc():  # as the reader does
                assert centerlines(curves).tubes == tubes
            took.append(time.process_time() - start)
        return min(took)

    seconds(50)
    assert seconds(1000) < 10.0 * seconds(250)


# --- is it an outline? -----------------------------------------------------------------------


def cage(space):
    for z in (0, 600, 1200):
        for p, q in (((0, 0), (800, 0)), ((800, 0), (800, 500)), ((800, 500), (0, 500)), ((0, 500), (0, 0))):
            space.add_line((*p, z), (*q, z))
    for x, y in ((0, 0), (800, 0), (800, 500), (0, 500)):
        space.add_line((x, y, 0), (x, y, 1200))
    for i in range(1, 8):
        space.add_line((i * 100, 0, 0), (i * 100, 0, 1200))


def gate(space):
    """Rails in one piece between posts; pickets by twos, 40 mm apart."""
    rect(space, 0, 0, 1000, 1200)
    for i in range(1, 8):
        space.add_line((i * 120, 0), (i * 120, 1200))
        space.add_line((i * 120 + 40, 0), (i * 120 + 40, 1200))


def gate_in_parts(space):
    """Rails drawn from picket to picket."""
    for y in (0, 1200):
        for i in range(10):
            space.add_line((i * 100, y), (i * 100 + 100, y))
    for i in range(11):
        space.add_line((i * 100, 0), (i * 100, 1200))


def gate_with_rings(space):
    rounded(space, 0, 0, 1000, 1200, 100)
    space.add_line((0, 900), (1000, 900))
    space.add_line((0, 1050), (1000, 1050))
    for i in range(6):
        space.add_circle((100 + i * 150, 975), 60)
    for i in range(1, 10):
        space.add_line((i * 100, 12.7), (i * 100, 887.3))


def twin_rails(space):
    """Posts, and rails by twos, 50 mm apart."""
    for x in (0, 1000):
        space.add_line((x, 0), (x, 1200))
    for y in (100, 150, 1050, 1100):
        space.add_line((0, y), (1000, y))


def ring(space):
    space.add_circle((0, 0), 300)


def hoops(space):
    """Hoops of four sizes, drawn about one centre."""
    for r in (150, 200, 250, 300):
        space.add_circle((0, 0), r)


def wheel(space):
    for r in (30, 150, 200):
        space.add_circle((0, 0), r)
    for k in range(6):
        x, y = math.cos(k), math.sin(k)
        space.add_line((30 * x, 30 * y), (200 * x, 200 * y))


def roof_rack(space):
    """Two rails all round, 50 mm apart, with bars between the inner ones and spacers."""
    rounded(space, 0, 0, 1400, 1100, 150)
    rounded(space, 50, 50, 1300, 1000, 100)
    for i in range(1, 6):
        space.add_line((50, i * 180), (1350, i * 180))
    for i in range(1, 4):
        space.add_line((i * 350, 0), (i * 350, 50))


def roof_rack_of_two_u(space, bars=3):
    """Two rails about one centre at every bend, 50 mm apart, and bars that end on the inner one only."""
    for d in (0, 50):
        space.add_line((0, d), (1000, d))
        space.add_arc((1000, 200), 200 - d, 270, 0)
        space.add_line((1200 - d, 200), (1200 - d, 900))
        space.add_arc((1000, 900), 200 - d, 0, 90)
        space.add_line((1000, 1100 - d), (0, 1100 - d))
    for i in range(bars):
        space.add_line((i * 220 + 100, 50), (i * 220 + 100, 1050))


def roof_rack_in_space(space):
    for z in (0, 50):
        space.add_line((0, 0, z), (1000, 0, z))
        space.add_arc((1000, 200, z), 200, 270, 0)
        space.add_line((1200, 200, z), (1200, 900, z))
    for i in range(1, 5):
        space.add_line((i * 220, 0, 50), (i * 220, 900, 50))


def handle(space):
    """A long loop with round ends: one tube, not the outline of one."""
    rounded(space, 0, 0, 600, 80, 40)


def ladder(space):
    for y in (0, 400):
        space.add_line((0, y), (2000, y))
    for i in range(8):
        space.add_line((100 + i * 250, 0), (100 + i * 250, 400))


def serpentine(space):
    for i in range(10):
        space.add_line((0, i * 60), (800, i * 60))
        if i < 9:
            right = i % 2 == 0
            space.add_arc((800 if right else 0, i * 60 + 30), 30, *((270, 90) if right else (90, 270)))


def grid_of_wire(space):
    for i in range(60):
        space.add_line((0, i * 4), (240, i * 4))
        space.add_line((i * 4, 0), (i * 4, 240))


def side_view(space):
    """A cage from the side, tubes that cross it as circles."""
    space.add_lwpolyline([(0, 0), (0, 900), (500, 1300), (1500, 1300), (1900, 700), (1900, 0)])
    space.add_line((0, 900), (1900, 700))
    for p in ((0, 900), (500, 1300), (1500, 1300)):
        space.add_circle(p, 19)


def hoops_in_rows(space):
    """Equal ones, as wide as high."""
    for x in (0, 900):
        for y in (0, 900):
            rounded(space, x, y, 600, 600, 80)


def tube_and_bars(space):
    """A bent tube and two bars as long as its legs: what would be its views, were it deep."""
    space.add_lwpolyline([(0, 0), (500, 0), (500, 400)])
    space.add_line((0, 600), (500, 600))
    space.add_line((700, 0), (700, 400))


def panels(space):
    """Panels in an L, the third no part of what the others are."""
    rounded(space, 0, 0, 900, 600, 80)
    rounded(space, 0, 800, 900, 400, 80)
    rounded(space, 1100, 0, 500, 600, 80)


def views_in_disorder(space):
    """The view from the side stands higher than the one in front."""
    views_of_a_tube(space)
    for one in list(space)[4:]:
        one.translate(0, 150, 0)


FRAMES = [cage, gate, gate_in_parts, gate_with_rings, twin_rails, ring, hoops, wheel, roof_rack, roof_rack_of_two_u]
FRAMES += [roof_rack_in_space, handle, ladder, serpentine, grid_of_wire, side_view]


def legs(space, x, y, leg):
    """A straight of 300, a bend to the left and a leg."""
    space.add_line((x, y), (x + 300, y))
    space.add_arc((x + 300, y + 60), 60, 270, 360)
    space.add_line((x + 360, y + 60), (x + 360, y + 60 + leg))


def two_of_a_kind(space):
    """As wide as one another, one with a shorter leg."""
    legs(space, 0, 0, 310)
    legs(space, 0, 600, 200)


def two_hoops(space):
    """U of one width in line with each other, of different legs."""
    for y, leg in ((0, 300), (600, 180)):
        space.add_lwpolyline([(0, y + leg), (0, y), (800, y), (800, y + leg)])


def hoop_and_rail(space):
    space.add_lwpolyline([(0, 300), (0, 0), (800, 0), (800, 300)])
    space.add_line((0, 600), (800, 600))


def not_in_line(space):
    """Two tubes of one width that end elsewhere, and two that lie askew."""
    space.add_lwpolyline([(0, 0), (300, 0), (500, 100), (900, 100)])
    space.add_lwpolyline([(0, 500), (900, 500), (900, 400), (400, 400)])


FRAMES += [hoops_in_rows, tube_and_bars, panels, views_in_disorder, two_of_a_kind, two_hoops, hoop_and_rail]
FRAMES += [not_in_line]


@pytest.mark.parametrize("frame", FRAMES, ids=lambda frame: frame.__name__)
def test_centerlines_of_frames_are_no_outline(frame, tmp_path):
    doc, space = new()
    frame(space)
    assert not [f.message for f in reread(doc, tmp_path).findings if f.code == "outline-suspect"]


def test_nothing_that_stands_in_the_folder_is_an_outline_but_what_is_one():
    outlines = {"freecad-body.dxf", "openscad-ring.dxf"}
    outlines |= {path.name for path in FIXTURES.glob("outline-*.dxf")}
    for path in FIXTURES.glob("*.dxf"):
        told = [f for f in read(path).findings if f.code == "outline-suspect"]
        assert len(told) == (path.name in outlines), path.name


OUTLINES = {
    plate: "4 closed loops that nothing meets inside another",
    flange: "5 closed loops",
    flat_pattern: "apart, nearer than two tubes",
    floor_plan: "as doors of a plan",
    wireframe: "24 parallel straights 3.00 mm apart",
    three_views: "2 closed loops",
    bent_tube: "1 pair of lines side by side that makes the outline of a tube 25.00 mm wide",
    gate_of_outlines: "12 pairs of lines side by side that make the outline of a tube 20.00 mm and 40.00 mm wide",
    frame_in_one: "5 pairs of lines side by side",
    sticks: "5 pairs of lines side by side that make the outline of a tube 25.40 mm wide",
    two_views_of_a_tube: "both are 370.00 mm high, and their ends lie in line; across that, they are 360.00 mm and",
    views_of_a_tube: "one is 360.00 mm wide and 260.00 mm high, the one in line above or below it as wide and 370.00",
}


@pytest.mark.parametrize("part", OUTLINES, ids=lambda part: part.__name__)
def test_an_outline_is_told_first_and_once(part, tmp_path):
    doc, space = new()
    part(space)
    doc.saveas(tmp_path / "a.dxf")
    job = open_job(str(tmp_path / "a.dxf"))
    first, *others = job.findings
    assert first.code == "outline-suspect" and "outline-suspect" not in {f.code for f in others}
    assert OUTLINES[part] in first.message
    assert ("--from-outline" in first.cure_in()) == (part in (bent_tube, frame_in_one, gate_of_outlines, sticks))


@pytest.mark.parametrize("plane", [(0, 0, 1), (0, 1, 0), (1, 0, 0)])
@pytest.mark.parametrize("given", [{}, {"third": -500}, {"border": True}])
def test_three_views_are_told_in_any_plane_and_within_a_border(given, plane, tmp_path):
    """Drawn in the plane of x and y, and brought into the others by their axes alone."""
    doc, space = new()
    views_of_a_tube(space, **given)
    drawn = reread(doc, tmp_path).curves
    order = {(0, 0, 1): (0, 1, 2), (0, 1, 0): (0, 2, 1), (1, 0, 0): (2, 0, 1)}[plane]
    curves = [replace(one, curve=turned(one.curve, order)) for one in drawn]
    (told,) = outline_findings(curves)
    assert told.variant == "views" and "in space" in told.cure_in()
    assert len(told.also) == 2


@pytest.mark.parametrize("border", [False, True])
@pytest.mark.parametrize("above", [False, True])
def test_two_views_of_a_tube_in_space_are_told(above, border, tmp_path):
    """A jog in the plan and a dip in the elevation: drawn above each other, or turned, beside each other."""
    doc, space = new()
    rows = [[(0, 0), (300, 0), (500, 100), (900, 100)], [(0, 500), (200, 500), (350, 350), (900, 350)]]
    for row in rows:
        space.add_lwpolyline(row if above else [(-y, x) for x, y in row])
    if border:
        space.add_lwpolyline([(-900, -900), (1900, -900), (1900, 1900), (-900, 1900)], close=True)
    (told,) = [one for one in reread(doc, tmp_path).findings if one.code == "outline-suspect"]
    assert told.variant == "two views" and len(told.also) == 1 and "in space" in told.cure_in()
    assert f"both are 900.00 mm {'wide' if above else 'high'}" in told.message


def turned(curve, order):
    """A curve with its coordinates in another order; mirrored where that is odd, which no view minds."""

    def p(point):
        return tuple(point[k] for k in order)

    if isinstance(curve, Line):
        return Line(p(curve.start), p(curve.end))
    if isinstance(curve, Polyline):
        return Polyline(curve.points[:, list(order)])
    odd = order == (0, 2, 1)
    normal = tuple(-v for v in p(curve.normal)) if odd else p(curve.normal)
    return Arc.swept(p(curve.center), normal, p(curve.start), curve.angle)
