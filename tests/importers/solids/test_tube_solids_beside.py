"""Tubes with other things on them: what was claimed is in the body, and what is told as left out is all the rest.

Both are asked of the CAD kernel: the tube that the table makes, in common with the body, and what is left without it.
"""

from __future__ import annotations

from math import pi

import cadquery as cq
import pytest
from places import FIXTURES
from tube_bodies import codes, cylinder, pipe, reason, shaft, tubes
from tubes import run_of

from converter.importers.solids.read import find_tubes
from converter.importers.step.read import read_step
from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import Placement
from converter.model.run import Run
from converter.model.section import Section

TUBE, BAR = Section("round", 33.7, 2.6), Section("bar", 12, 6)
SQUARE = Section("square", 40, 3, 40, 6)
BENT, STRAIGHT = run_of([(150, 0, 90, 90)], 200), run_of([], 400)
X, Y, Z = (1, 0, 0), (0, 1, 0), (0, 0, 1)


def solid(run, section=TUBE):
    return cq.Shape.cast(tube_solid(run, section))


def box(x, y, z, at):
    return cq.Workplane("XY").box(x, y, z).translate(at).val()


def flange(at, radius, length, bore):
    return cylinder(at, X, radius, length).cut(cylinder(at, X, bore, length))


def union(boxes):
    low = [min(place[i] - sizes[i] / 2 for sizes, place in boxes) for i in range(3)]
    high = [max(place[i] + sizes[i] / 2 for sizes, place in boxes) for i in range(3)]
    return low + high


ELBOW = solid(run_of([(20, 0, 90, 45)], 20, Placement((380, 0, 0), X, Z)), Section("round", 42, 4.15))
TEE = (
    pipe((380, 0, 0), X, 21, 4.15, 80)
    .fuse(pipe((420, 0, 0), Y, 21, 4.15, 50))
    .cut(cylinder((380, 0, 0), X, 16.85, 80), cylinder((420, 0, 0), Y, 16.85, 50))
)
#: Body, tubes in it, bends of each in order of the sizes told, parts told as left out.
BODIES = {
    "weld-neck flange": (solid(BENT).fuse(flange((-12, 0, 0), 50, 12, 14.25)), [1], 1),
    "blind flange": (solid(BENT).fuse(cylinder((-12, 0, 0), X, 50, 12)), [1], 1),
    "slip-on flange": (solid(BENT).fuse(flange((0, 0, 0), 50, 12, 15)), [1], 1),
    "flanges at both ends": (
        solid(STRAIGHT).fuse(flange((0, 0, 0), 50, 12, 15), flange((388, 0, 0), 50, 12, 15)), [0], 2,
    ),
    "elbow fitting": (solid(STRAIGHT).fuse(ELBOW, pipe((445, 65, 0), Y, 16.85, 2.6, 300)), [0, 0], 1),
    "lug": (solid(BENT).fuse(box(60, 6, 60, (75, 0, 40)).cut(cylinder((0, 0, 0), X, 15, 200))), [1], 1),
    "plate around it": (
        solid(STRAIGHT).fuse(box(10, 120, 120, (200, 0, 0)).cut(cylinder((0, 0, 0), X, 15, 400))), [0], 1,
    ),
    "plate at its end": (solid(BENT).fuse(box(10, 80, 80, (-5, 0, 0))), [1], 1),
    "washer on a bent bar": (solid(BENT, BAR).fuse(cylinder((20, 0, 0), X, 15, 4)), [1], 1),
    "plate between two tubes": (
        pipe((0, 0, 0), X, 20, 2, 400).fuse(pipe((0, 100, 0), X, 20, 2, 400), box(30, 80, 6, (200, 50, 0))), [0, 0], 1,
    ),
    "square post on its plate": (solid(run_of([], 500), SQUARE).fuse(box(8, 120, 120, (-4, 0, 0))), [0], 1),
    "post and branch": (pipe((0, 0, 0), Z, 20, 2, 300).fuse(pipe((0, 0, 150), X, 15, 2, 200)), [0, 0], 0),
}  # fmt: skip


def claimed_solid(table):
    return solid(Run("claimed", None, table.closed, table.table, table.placement), table.section)


def told_of(found):
    return [dict(f.value_pairs) for t in found for f in t.findings if f.code == "solid-remains"]


@pytest.mark.parametrize("what", BODIES)
def test_what_is_claimed_is_there_and_what_is_left_is_told(what):
    body, bends, parts = BODIES[what]
    found, ignored = tubes(body)
    assert not ignored and sorted(len(t.table.bends) for t in found) == bends
    rest = body
    for table in found:
        claimed = claimed_solid(table)
        if not any(table.metal):  # a cope takes metal away that the table does not
            assert body.intersect(claimed).Volume() == pytest.approx(claimed.Volume(), rel=1e-6)
        rest = rest.cut(claimed)
    told = told_of(found)
    assert len(told) == parts
    assert (rest.Volume() > 1.0) == bool(parts)
    if parts:
        around = rest.BoundingBox()
        expected = [around.xmin, around.ymin, around.zmin, around.xmax, around.ymax, around.zmax]
        assert union([(one["sizes"], one["place"]) for one in told]) == pytest.approx(expected, abs=0.05)


def test_a_tee_leaves_three_tubes_and_names_where_they_end():
    body = solid(STRAIGHT).fuse(TEE, pipe((440, 0, 0), X, 16.85, 2.6, 300), pipe((420, 40, 0), Y, 16.85, 2.6, 300))
    found, _ = tubes(body)
    assert sorted(round(t.table.tail, 6) for t in found) == [300, 300, 400]  # to their own ends in the tee
    assert {(f.variant, f.end) for t in found for f in t.findings if f.code == "solid-ends"} == {
        ("inside", "A"),
        ("inside", "B"),
    }
    assert told_of(found)


def test_tubes_pushed_into_each_other_are_two_and_turned_parts_none():
    found, _ = tubes(pipe((0, 0, 0), X, 20, 2, 300).fuse(pipe((250, 0, 0), X, 18, 2, 300)))
    assert sorted((t.section.od, round(t.table.tail, 6)) for t in found) == [(36, 300), (40, 300)]
    assert "24.00 mm to 40.00 mm" in reason(shaft())
    collar = cylinder((0, 0, 0), X, 10, 200).fuse(cylinder((90, 0, 0), X, 15, 20))
    assert "20.00 mm to 30.00 mm" in reason(collar)
    hollow = cylinder((0, 0, 0), X, 20, 200).fuse(cylinder((200, 0, 0), X, 15, 200)).cut(cylinder((0, 0, 0), X, 8, 400))
    assert "30.00 mm to 40.00 mm" in reason(hollow)  # one bore through both: turned from the solid


@pytest.mark.parametrize("cleaned", [False, True])
def test_tubes_of_two_walls_welded_end_to_end_are_two(cleaned):
    """They were one tube of both lengths with a bush inside; the volumes are those of section times length."""
    body = pipe((0, 0, 0), X, 21.2, 2.6, 500).fuse(pipe((500, 0, 0), X, 21.2, 4, 300))
    found, _ = tubes(body.clean() if cleaned else body)
    assert sorted((t.section.wall, round(t.table.tail, 6)) for t in found) == [(2.6, 500), (4, 300)]
    assert sum(t.section.area * t.table.tail for t in found) == pytest.approx(body.Volume(), rel=1e-6)
    for tube, other, end in zip(sorted(found, key=lambda t: t.section.wall), ((4, 300), (2.6, 500)), "BA", strict=True):
        (told,) = [f for f in tube.findings if f.variant == "wall"]
        values = dict(told.value_pairs)
        assert told.severity == "warning" and told.end == end
        assert (values["other"], values["length"]) == pytest.approx(other)


def test_a_thicker_tube_behind_a_bend_is_another_tube():
    """Its wall was given to the bent one, with a word on how far the surface strays."""
    bent = run_of([(200, 0, 90, 120)], 0)
    body = solid(bent, Section("round", 42.4, 2.6)).fuse(pipe((320, 120, 0), Y, 21.2, 4, 400))
    found, _ = tubes(body)
    assert sorted((len(t.table.bends), t.section.wall) for t in found) == [(0, 4), (1, 2.6)]
    assert sorted(t.table.developed_length for t in found) == pytest.approx([200 + 120 * pi / 2, 400])


def test_a_thick_end_that_is_short_is_a_bush():
    (tube,), _ = tubes(pipe((0, 0, 0), X, 21.2, 2.6, 500).fuse(pipe((460, 0, 0), X, 20, 4, 40)))
    assert tube.table.tail == pytest.approx(500) and tube.section.wall == pytest.approx(2.6)
    assert told_of([tube])


def test_a_tube_under_a_ball_is_one():
    """The outside is broken, the bore is not; it was two tubes, each of the whole length."""
    ball = cq.Solid.makeSphere(30, angleDegrees1=-90).translate(cq.Vector(200, 0, 0))
    (tube,), _ = tubes(solid(STRAIGHT).fuse(ball.cut(cylinder((0, 0, 0), X, 16, 400))))
    assert tube.table.tail == pytest.approx(400)


def test_a_leg_that_was_cut_open_along_it_is_a_doubt():
    """Half of the first leg is there: what is read is the rest, and that was a note on a sleeve."""
    bent = solid(run_of([(400, 0, 90, 90), (150, 90, 60, 90)], 300))
    found, _ = tubes(bent.cut(box(900, 900, 900, (0, 0, -450))))
    assert found and {f.severity for t in found for f in t.findings if f.code == "solid-remains"} == {"warning"}


def test_a_plug_that_no_edge_shows_is_told():
    closed = solid(STRAIGHT).fuse(cylinder((200, 0, 0), X, 14.25, 5))
    assert len(told_of(tubes(closed)[0])) == 2  # the faces of both its sides
    thick = solid(STRAIGHT).fuse(pipe((100, 0, 0), X, 15, 4, 100))
    (found,), _ = tubes(thick)
    assert codes(found)["solid-remains"] > 0


def test_steps_that_show_no_difference_are_none():
    """A sleeve's skin of 28.00 and one of 28.006 are one diameter to the last digit shown."""
    body = solid(BENT, Section("bar", 28, 14)).fuse(cylinder((150, 0, 0), (-1, 0, 0), 14.003, 20))
    found, _ = tubes(body)
    assert [len(t.table.bends) for t in found] == [1]


# --- where the length runs to -------------------------------------------------------------------


HALF_TURNED = box(200, 200, 200, (0, 0, 0)).rotate(cq.Vector(0, 0, 0), cq.Vector(0, 1, 0), 45)
BALL = cq.Solid.makeSphere(60, angleDegrees1=-90)
CUTS = {
    "square": (box(200, 200, 200, (500, 0, 0)), None, 400.0, 0.0),
    "mitred": (HALF_TURNED.translate(cq.Vector(350 + 100 * 2**0.5, 0, 0)), "cut", 350.0, 16.85),
    "coped": (cylinder((400, 0, -100), Z, 24.15, 200), "mate", 400.0, -((24.15**2 - 16.85**2) ** 0.5)),
    "equal": (cylinder((400, 0, -100), Z, 16.85, 200), "mate", 400.0, 0.0),
    "hollowed": (BALL.translate(cq.Vector(440, 0, 0)), "point", 440 - (60**2 - 16.85**2) ** 0.5, 0.0),
}


@pytest.mark.parametrize(("cutter", "variant", "tail", "metal"), CUTS.values(), ids=CUTS)
def test_a_length_says_to_where_it_runs(cutter, variant, tail, metal):
    (found,), _ = tubes(solid(STRAIGHT).cut(cutter))
    assert found.table.tail == pytest.approx(tail, abs=1e-4)
    assert found.metal == pytest.approx((0.0, metal), abs=1e-4)
    ends = [(f.variant, f.end, f.measured) for f in found.findings if f.code == "solid-ends"]
    assert ends == ([] if variant is None else [(variant, "B", pytest.approx(metal, abs=1e-4))])


def test_a_saddle_on_an_equal_tube_is_no_lack_of_metal_and_a_slot_is():
    """The metal of such an end reaches just to the mate's axis; 3 % of this tube lie in its two saddles."""
    long = solid(run_of([], 500))
    for end in (0, 500):
        long = long.cut(cylinder((end, 0, -100), Z, 16.85, 200))
    (found,), _ = tubes(long)
    assert "solid-volume" not in codes(found)
    (found,), _ = tubes(long.cut(box(300, 100, 12, (250, 0, 14))))
    assert codes(found)["solid-volume"] < -0.1


def test_a_bore_beside_the_axis_by_less_than_the_tolerance_is_no_doubt():
    for off, told in ((0.04, False), (0.5, True)):
        body = cylinder((0, 0, 0), X, 15, 200).cut(cylinder((0, off, 0), X, 12, 200))
        (found,), _ = find_tubes(body.wrapped, "part")
        assert ("solid-off" in codes(found)) is told


def test_a_bend_that_was_stretched_is_doubted():
    """Of a tube scaled along one leg that leg stays round: what the other metal is nobody can tell."""
    bent = solid(run_of([(300, 0, 90, 100)], 250), Section("round", 40, 2))
    found, _ = tubes(bent.transformGeometry(cq.Matrix([[1.5, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]])))
    told = [f for table in found for f in table.findings if f.code == "solid-remains"]
    assert [(f.severity, f.variant) for f in told] == [("warning", "longer")]
    assert found[0].table.tail == pytest.approx(450.0)
    # the same of a small thing is no doubt about the tube
    egg = cq.Solid.makeSphere(25, angleDegrees1=-90).transformGeometry(
        cq.Matrix([[1.2, 0, 0, 200], [0, 1, 0, 0], [0, 0, 1, 0]])
    )
    found, _ = tubes(solid(STRAIGHT).fuse(egg.cut(cylinder((0, 0, 0), X, 16, 400))))
    told = [f for table in found for f in table.findings if f.code == "solid-remains"]
    assert told and {(f.severity, f.variant) for f in told} == {("note", "")}


HALVED = run_of([(300, 0, 90, 80)], 300)


@pytest.mark.parametrize("section", [TUBE, BAR], ids=["tube", "bar"])
@pytest.mark.parametrize("side", [Y, Z], ids=["in the plane of the bend", "across it"])
def test_a_leg_split_along_its_axis_is_no_other_bar_and_is_doubted(section, side):
    """The other leg and the bend are whole: their table is right, and the half is told for what it is, by its box.

    Half of a bar was a flat bar with two corners as wide as it is thick, beside which the rest "lies along".
    """
    half = box(300, 100, 100, (150, 0, 0)).translate(cq.Vector(*(50.0 * a for a in side)))
    (found,), _ = tubes(solid(HALVED, section).cut(half))
    assert [(b.angle, b.clr) for b in found.table.bends] == [(pytest.approx(90.0), pytest.approx(80.0))]
    assert sorted(found.table.straights) == pytest.approx([0.0, 300.0], abs=1e-6) and found.section.od == section.od
    (told,) = [f for f in found.findings if f.code == "solid-remains"]
    assert (told.severity, told.variant) == ("warning", "longer")
    assert told.message.count("a length of such tube, open along one side, of 300.00 x") == 1


def test_a_leg_and_bend_split_along_are_doubted():
    """What is left of the bend was an elbow fitting, a note: the table is that of the other leg alone."""
    (found,), _ = tubes(solid(HALVED, TUBE).cut(box(420, 300, 100, (190, 100, 50))))
    assert not found.table.bends
    (told,) = [f for f in found.findings if f.code == "solid-remains"]
    assert (told.severity, told.variant) == ("warning", "longer") and "a bend as wide as the tube" in told.message


def test_a_surface_that_shrinks_to_a_point_is_nothing_left_out():
    """FreeCAD's sweep with round corners puts balls into them; a part of 0.00 x 0.00 x 0.00 mm was left out."""
    read = read_step(FIXTURES / "step" / "solid-freecad-round-corner.step")
    sizes = [dict(f.value_pairs)["sizes"] for t in read.tables for f in t.findings if f.code == "solid-remains"]
    assert len(read.tables) == 3 and sizes and all(min(each) > 1.0 for each in sizes)
