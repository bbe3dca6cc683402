"""Bodies as people draw them: read right, told how far off, or refused by name; never wrong in silence.

Expected numbers are those that the bodies are built from; volumes are the kernel's.
"""

from __future__ import annotations

from math import cos, pi, radians, sin, sqrt

import cadquery as cq
import pytest
from iges_tools import kernel_iges
from member_bodies import box, swept, tube_along_x
from places import FIXTURES
from tube_bodies import assert_is, codes, cylinder, faceted, only, pipe, reason, tubes
from tubes import run_of

from converter.importers.registry import read
from converter.kernel.shapes.solids import tube_solid
from converter.model.section import Section

HOOK = run_of([(150, 0, 90, 60)], 200)
PIPE = Section("round", 40, 2)
X = (1, 0, 0)


def shape_of(run, section):
    return cq.Shape.cast(tube_solid(run, section))


ROUND_SIDED = [("line", (-16, -4), (16, -4)), ("arc", (16, -4), (20, 0), (16, 4)), ("line", (16, 4), (-16, 4)), ("arc",
    (-16, 4), (-20, 0), (-16, -4))]  # fmt: skip


@pytest.mark.parametrize(
    ("shape", "run", "section"),
    [
        (lambda: shape_of(run_of([(80, 0, 180, 35)], 80), Section("bar", 10, 5)), run_of([(80, 0, 180, 35)], 80),
         Section("bar", 10, 5)),
        (lambda: swept(HOOK, [ROUND_SIDED]), HOOK, Section("flat-bar", 40, 4, 8, 4)),
        (lambda: shape_of(HOOK, Section("flat-oval", 40, 2, 20)), HOOK, Section("flat-oval", 40, 2, 20)),
        (lambda: shape_of(run_of([], 200), Section("flat-oval", 40, 2, 20)), run_of([], 200),
         Section("flat-oval", 40, 2, 20)),
        # clamp, hook and scroll of flat and square bar
        *(((lambda run=run, section=section: shape_of(run, section)), run, section) for run, section in (
            (run_of([(25, 0, 90, 6), (0, 180, 180, 35), (0, 180, 90, 6)], 25), Section("flat-bar", 30, 2, 4)),
            (run_of([(0, 0, 90, 30), (0, 0, 90, 45), (0, 0, 90, 60)], 150), Section("square-bar", 12, 6)),
            (run_of([(50, 0, 90, 15), (20, 90, 90, 15)], 60), Section("square-bar", 12, 6, 12, 1)),
        )),
    ],
    ids=["u-bolt", "round-edged flat", "flat oval", "straight flat oval", "clamp", "scroll", "turned planes"],
)  # fmt: skip
def test_read_as_drawn(shape, run, section):
    body = shape()
    one = only(body)
    assert_is(one, run, section)
    assert one.deviation < 1e-6 and set(codes(one)) <= {"solid-plate"}
    assert one.section.area * one.table.developed_length == pytest.approx(body.Volume(), rel=1e-6)


def test_a_notch_in_a_bend_leaves_the_tube():
    square = Section("square", 30, 2, 30)
    notched = shape_of(HOOK, square).cut(box((185, 20, -20), (20, 20, 40)))
    assert_is(only(notched), HOOK, square)


def test_round_bars_go_on_through_flat_bars_and_stop_at_square_tube():
    rails = box((0, 0, 0), (400, 40, 8)).fuse(box((0, 0, 300), (400, 40, 8)))
    pickets = [cylinder((x, 20, -50), (0, 0, 1), 6, 450) for x in (100, 200, 300)]
    body = rails.fuse(*pickets)
    found, left = tubes(body)
    assert not left and sorted(round(t.table.tail, 6) for t in found) == [400.0] * 2 + [450.0] * 3
    shared = 3 * 2 * pi * 36.0 * 8.0
    claimed = sum(t.section.area * t.table.developed_length for t in found)
    assert claimed - shared == pytest.approx(body.Volume(), rel=1e-9)
    post = tube_along_x(40, 40, 3, 300)
    found, _ = tubes(
        post.fuse(cylinder((150, 20, 0), (0, 1, 0), 12, 200), cylinder((150, -20, 0), (0, -1, 0), 12, 200))
    )
    assert sorted(round(t.table.tail, 6) for t in found) == [200.0, 200.0, 300.0]


TOLD = {
    # by hand: a slit of 6 mm takes two strips of the ring, from x = sqrt(r2 - 9) inside to outside
    "slit": (lambda: pipe((0, 0, 0), X, 20, 2, 400).cut(box((-1, -3, 0), (402, 6, 30))), 400.0, "solid-volume", -0.05),
    "flats at an end": (lambda: pipe((0, 0, 0), X, 20, 4, 300).cut(box((200, 16, -30), (101, 20, 60))), 300.0,
        "solid-volume", None),
    "capped": (lambda: pipe((0, 0, 0), X, 20, 2, 400).fuse(cylinder((0, 0, 0), (-1, 0, 0), 20, 3)), 403.0, "solid-off",
        3.0),
    "blind bore": (lambda: cylinder((0, 0, 0), X, 20, 300).cut(cylinder((0, 0, 0), X, 17, 250)), 300.0, "solid-off",
        50.0),
    "swaged": (lambda: pipe((0, 0, 0), X, 20, 2, 300).fuse(cq.Solid.makeCone(20, 15, 30, cq.Vector(300, 0, 0),
        cq.Vector(X)).cut(cq.Solid.makeCone(18, 13, 30, cq.Vector(300, 0, 0), cq.Vector(X)))), 300.0, "solid-remains",
        None),
    "rounded bar": (lambda: box((0, -20, -3), (280, 40, 6)).fuse(cylinder((280, 0, -3), (0, 0, 1), 20, 6)).fuse(
        box((0, -6, 3), (12, 12, 100))).clean(), 300.0, "solid-ends", 0.0),
}  # fmt: skip


@pytest.mark.parametrize("name", TOLD)
def test_told_how_far_off(name):
    shape, length, code, measured = TOLD[name]
    found, left = tubes(shape())
    one = max(found, key=lambda table: table.table.developed_length)
    assert not left and one.table.tail == pytest.approx(length, abs=1e-6) and code in codes(one)
    assert measured is None or codes(one)[code] == pytest.approx(measured, abs=2e-3)


@pytest.mark.parametrize("turn", [0, 37])
def test_a_sharp_cap_on_a_rounded_tube_lends_it_no_corners(turn):
    tube = shape_of(run_of([], 400), Section("square", 40, 3, 40, 6)).fuse(box((-3, -20, -20), (3, 40, 40)))
    one = only(tube.rotate(cq.Vector(), cq.Vector(1, 2, 3), turn))
    assert one.section == Section("square", 40, 3, 40, 6) and one.deviation < 1e-6
    assert sorted(one.metal) == pytest.approx([0.0, 3.0], abs=1e-6) and "solid-remains" in codes(one)


def test_a_bend_cut_in_two_at_a_slant_is_two_tubes_and_nothing_else():
    middle = (150 + 60 * sqrt(0.5), 60 - 60 * sqrt(0.5), 0)
    slant = cq.Plane(origin=middle, normal=(cos(radians(25.0)), sin(radians(25.0)), 0))
    whole, half = shape_of(HOOK, PIPE), cq.Workplane(slant).rect(900, 900).extrude(-400).val()
    for part, feed, angle in ((whole.intersect(half), 150.0, 45.0), (whole.cut(half), 0.0, 45.0)):
        one = only(part)
        assert set(codes(one)) == {"solid-ends"}
        assert one.table.bends[0].feed == pytest.approx(feed, abs=1e-6)
        assert one.table.bends[0].angle == pytest.approx(angle, abs=1e-5)


def on_its_edge():
    corners = [(-14.0, 0.0), (0.0, -14.0), (14.0, 0.0), (0.0, 14.0)]
    return swept(HOOK, [[("line", a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]])


REFUSED = {
    "tank": (lambda: box((0, 0, 0), (300, 200, 150)).cut(box((3, 3, 3), (294, 194, 144))), "closed at 2 ends"),
    "tray": (lambda: box((0, 0, 0), (300, 200, 150)).cut(box((3, 3, 3), (294, 194, 150))), "closed at 1 end"),
    "gutter": (lambda: pipe((0, 0, 0), X, 20, 2, 400).cut(box((-1, 0, 0), (402, 60, 60))), "a slit of 90.00° along it"),
    "D-shaped": (lambda: pipe((0, 0, 0), X, 20, 2, 400).cut(box((-1, 10, -30), (402, 60, 60))).fuse(
        box((0, 8, -18), (400, 2, 36))), "another section than tube or bar"),
    "hinge": (lambda: shape_of(run_of([(60, 0, 270, 8)], 0), Section("flat-bar", 50, 1.5, 3)), "a slit of 90.00°"),
    "on its edge": (on_its_edge, "cone"),
    "link": (lambda: box((0, -10, 0), (200, 20, 6)).fuse(cylinder((0, 0, 0), (0, 0, 1), 30, 6)), "disc"),
    "washer": (lambda: cylinder((0, 0, 0), X, 50, 8).cut(cylinder((0, 0, 0), X, 30, 8)), "disc or ring"),
    "nut": (lambda: cq.Workplane().polygon(6, 19).circle(5).extrude(8).val(), "plate, block or bracket"),
    "thick sheet bracket": (lambda: shape_of(run_of([(60, 0, 90, 5)], 60), Section("flat-bar", 80, 2, 4)), "angle"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refused_by_name(name):
    shape, word = REFUSED[name]
    assert word in reason(shape())


def test_a_mesh_made_into_a_solid_is_told_as_that():
    """It was "a plate, block or bracket"."""
    mesh = FIXTURES / "mesh" / "freecad-square.stl"
    assert "a mesh made into a solid (288 faces, flat triangles): export it as STL or 3MF" in reason(faceted(mesh))
    assert len(read(mesh).tables) == 1, "as the sentence says"


def test_surfaces_of_a_tube_with_a_closed_bore_are_no_two_bars(tmp_path):
    """In IGES as surfaces outside and bore are two closed shells: the inner one is a cavity, not a bar in a bar."""
    bent = shape_of(HOOK, PIPE).fuse(box((-8, -50, -50), (8, 100, 100)), box((160, 260, -50), (100, 8, 100)))
    capped = tube_along_x(40, 40, 3, 400).fuse(box((-3, -20, -20), (3, 40, 40)), box((400, -20, -20), (3, 40, 40)))
    both = cq.Compound.makeCompound([bent, capped.clean().translate(cq.Vector(0, 600, 0))])
    drawing = read(kernel_iges(both.wrapped, tmp_path / "closed.igs"))
    tube, square = sorted(drawing.tables, key=lambda table: -len(table.table.bends))
    assert (tube.section.shape, tube.section.wall) == ("round", pytest.approx(2.0, abs=1e-6))
    assert (square.section.shape, square.section.wall) == ("square", pytest.approx(3.0, abs=1e-6))
    # caps of its own size are told apart by nothing: the length is that of the outside, and how much of it is said
    assert square.table.tail == pytest.approx(406.0, abs=1e-6) and not drawing.ignored
    short = [f for f in square.findings if f.variant == "bore short"]
    assert [(f.end, f.measured) for f in short] == [("A", pytest.approx(3.0)), ("B", pytest.approx(3.0))]


def test_what_screws_would_be_is_told_beside_tubes(tmp_path):
    """Edges that a writer fitted go along the axis by rounding: no thread; and a rod is never lost in silence."""
    rods = [cylinder((0, y, 0), X, 3, 300) for y in (0, 100)] + [
        cylinder((x, -50, 5), (0, 1, 0), 3, 200) for x in (50, 150, 250)
    ]
    mesh = rods[0].fuse(*rods[1:])
    found = read(kernel_iges(mesh.wrapped, tmp_path / "mesh.igs")).tables
    assert sorted(round(table.table.tail, 4) for table in found) == [200.0] * 3 + [300.0] * 2
