"""Tubes that stand in a file in pieces; fixtures/step/make_pieces.py says what was drawn."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import cadquery as cq
import numpy as np
import pytest
from places import FIXTURES
from tube_bodies import reason, same_table, tubes
from tubes import run_of

from converter.importers.solids.end_to_end import end_to_end_findings, joined_end_to_end
from converter.importers.solids.primitives import Primitive, astray
from converter.importers.step.read import read_step
from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import Placement
from converter.model.centerline import walk
from converter.model.drawing import ReadyTable
from converter.model.section import Section
from converter.tolerances import DEFAULT

STEP = FIXTURES / "step"
TUBE = Section("round", 48.3, 3.2)
DRAWN = run_of([(200, 0, 90, 120), (150, 90, 45, 120)], 180)


def codes(table):
    return [f.code for f in table.findings]


def test_straights_and_bends_of_one_part_are_one_tube():
    read = read_step(STEP / "solid-freecad-pieces.step")
    (tube,) = read.tables
    assert same_table(tube.table, DRAWN.table, 1e-6) and tube.section == TUBE
    assert codes(tube) == ["solid-joined"] and tube.findings[0].measured == 5 and not read.findings
    # the metal of the five solids, by their sizes
    length = 200 + 150 + 180 + 120 * (pi / 2 + pi / 4)
    assert tube.table.developed_length == pytest.approx(length, abs=1e-6)
    assert tube.placement.start == pytest.approx((0, 0, 0), abs=1e-6)


def test_volumes_that_are_parts_without_a_name_are_one_tube():
    read = read_step(STEP / "solid-gmsh-pieces.step")
    (tube,) = read.tables
    assert same_table(tube.table, run_of([(150, 0, 90, 90)], 200).table, 1e-6)
    assert codes(tube) == ["solid-joined"] and tube.findings[0].measured == 3


def test_parts_with_names_stay_apart_and_it_is_said():
    read = read_step(STEP / "solid-freecad-pieces-named.step")
    assert len(read.tables) == 5 and not any(codes(t) for t in read.tables)
    (told,) = read.findings
    assert told.code == "solid-end-to-end" and told.measured == 5
    assert dict(told.value_pairs)["names"][:2] == ("Pipe", "Elbow")


def test_a_closed_skin_within_another_is_the_bore_of_a_closed_tube():
    """It was two bars, one inside the other."""
    read = read_step(STEP / "solid-cadquery-closed.step")
    (tube,) = read.tables
    assert tube.section == Section("round", 42.4, 2.6) and tube.table.developed_length == pytest.approx(600)
    caps = [f.measured for f in tube.findings if f.code == "solid-off"]
    assert caps == pytest.approx([2.6, 2.6])


# --- what is no piece of one tube -----------------------------------------------------------


def table_at(bends, tail, placement, section=TUBE):
    return ReadyTable("solid", run_of(bends, tail).table, placement, section)


def end_of(table):
    return walk(table.table, table.placement)[1]


BEND = table_at([(0, 0, 60, 100)], 0, Placement((100, 0, 0), (1, 0, 0), (0, 0, 1)))
BEFORE = table_at([], 100, Placement((0, 0, 0), (1, 0, 0), (0, 0, 1)))
AFTER = table_at([], 250, end_of(BEND))


def test_pieces_join_from_any_end_and_in_any_order():
    turned = replace(AFTER, placement=Placement(end_of(AFTER).start, tuple(-v for v in end_of(AFTER).direction)))
    for row in ([BEFORE, BEND, AFTER], [AFTER, BEFORE, BEND], [turned, BEND, BEFORE]):
        (tube,) = joined_end_to_end(row, DEFAULT)
        assert same_table(tube.table, run_of([(100, 0, 60, 100)], 250).table, 1e-6)


def test_a_bend_in_two_parts_is_one_bend():
    again = table_at([(0, 0, 30, 100)], 0, end_of(BEND))
    (tube,) = joined_end_to_end([BEFORE, BEND, again], DEFAULT)
    assert same_table(tube.table, run_of([(100, 0, 90, 100)], 0).table, 1e-6)


@pytest.mark.parametrize(
    "other",
    [
        table_at([], 250, BEFORE.placement, Section("round", 48.3, 4.0)),  # another wall
        table_at([], 100, Placement((0, 0.5, 0), (1, 0, 0), (0, 0, 1))),  # beside
        table_at([], 100, Placement((100, 0, 0), (0, 1, 0), (0, 0, 1))),  # at a corner
        table_at([], 100, Placement((0, 0, 0), (1, 0, 0), (0, 0, 1)), None),  # of no known section
    ],
)
def test_other_tubes_are_no_pieces(other):
    assert joined_end_to_end([other, BEND], DEFAULT) == [other, BEND]
    assert end_to_end_findings([other, BEND], DEFAULT) == []


def test_two_sticks_that_meet_stay_two():
    """Only a bend without a straight is an end that no bender leaves."""
    on = table_at([], 300, end_of(BEFORE))
    assert joined_end_to_end([BEFORE, on], DEFAULT) == [BEFORE, on] and end_to_end_findings([BEFORE, on], DEFAULT) == []


def test_of_three_ends_in_one_place_none_is_joined():
    twice = [BEFORE, replace(BEFORE), BEND]
    assert joined_end_to_end(twice, DEFAULT) == twice


def test_a_ring_of_pieces_is_told_and_left():
    half = table_at([(0, 0, 180, 100)], 0, Placement((0, 0, 0), (1, 0, 0), (0, 0, 1)))
    other = table_at([(0, 0, 180, 100)], 0, end_of(half))
    assert joined_end_to_end([half, other], DEFAULT) == [half, other]
    (told,) = end_to_end_findings([half, other], DEFAULT)
    assert told.measured == 2


def test_many_names_are_counted():
    row = [BEFORE]
    for k in range(12):
        row.append(replace(table_at([(0, 0, 5, 100)], 0, end_of(row[-1])), name=f"bend {k}"))
    (told,) = end_to_end_findings(row, DEFAULT)
    values = dict(told.value_pairs)
    assert told.variant == "more" and len(values["names"]) == 8 and values["further"] == 5


# --- halves, and ends that were formed --------------------------------------------------------


def bent_pipe(od=38.0, wall=2.0):
    run = run_of([(150, 0, 90, 80)], 120)
    return cq.Shape.cast(tube_solid(run, Section("round", od, wall)))


@pytest.mark.parametrize("turn", [0.0, 37.0])
def test_half_a_tube_is_told_as_that(turn):
    """It was "a plate, block or bracket". A straight one is split beside its seam, too: its half is two faces then."""
    above = cq.Workplane("XY").box(2000, 2000, 1000, (True, True, False)).val()
    pipe = cq.Solid.makeCylinder(21.2, 500, cq.Vector(), cq.Vector(1, 0, 0))
    pipe = pipe.cut(cq.Solid.makeCylinder(18.6, 500, cq.Vector(), cq.Vector(1, 0, 0)))
    pipe = pipe.rotate(cq.Vector(), cq.Vector(1, 0, 0), turn)
    for whole, od in ((pipe, 42.4), (bent_pipe(), 38.0)):
        for half in (whole.intersect(above), whole.cut(above)):
            assert f"half of a tube or bar of {od:.2f} mm across, split along it" in reason(half)


def test_a_plate_with_a_round_end_is_none():
    plate = cq.Workplane("XY").slot2D(90, 40).extrude(10).val()
    assert "half of a tube" not in reason(plate)


def test_an_end_that_was_swaged_may_be_more_of_the_tube():
    """Cut to the length of the rest alone, the stick would be short by it."""
    at, back = cq.Vector(), cq.Vector(-1, 0, 0)
    cone = cq.Solid.makeCone(19, 15, 40, at, back).cut(cq.Solid.makeCone(17, 13, 40, at, back))
    end = cq.Vector(-40, 0, 0)
    thin = cq.Solid.makeCylinder(15, 80, end, back).cut(cq.Solid.makeCylinder(13, 80, end, back))
    (tube,) = tubes(bent_pipe().fuse(cone, thin).clean())[0]
    told = [f for f in tube.findings if f.code == "solid-remains"]
    assert [(f.severity, f.variant, round(f.measured)) for f in told] == [("warning", "longer", 120)]
    assert sorted(tube.table.straights) == pytest.approx([120.0, 150.0])


def test_a_tube_is_read_to_its_end_within_a_sleeve():
    """Its own end shows in the sleeve, as wide as its wall; it was read from the sleeve on."""
    at, along = cq.Vector(40, 0, 0), cq.Vector(1, 0, 0)
    sleeve = cq.Solid.makeCylinder(24, 60, at, along).cut(cq.Solid.makeCylinder(18, 60, at, along))
    alone, (tube,) = bent_pipe(), tubes(bent_pipe().fuse(sleeve).clean())[0]
    assert same_table(tube.table, tubes(alone)[0][0].table, 1e-6)
    told = [f for f in tube.findings if f.code == "solid-remains"]
    assert [(f.severity, f.variant) for f in told] == [("note", "")]


def test_a_flange_is_no_more_of_its_tube():
    (tube,) = read_step(STEP / "solid-freecad-flanged.step").tables
    assert {f.severity for f in tube.findings if f.code == "solid-remains"} == {"note"}


def test_an_oval_tube_stands_on_nothing():
    """Its end goes beyond the mean circle: that was taken for the face of something it stands on."""
    squashed = bent_pipe().transformGeometry(cq.Matrix([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1.05, 0]]))
    (tube,) = tubes(squashed)[0]
    assert codes(tube).count("solid-oval") == 1 and "solid-ends" not in codes(tube)


def test_a_coil_whose_turns_fall_in_step_with_the_grid_is_no_flat_face():
    """Four turns, looked at in eight steps: every point of its surface that was asked for lay in one plane."""
    helix = cq.Wire.makeHelix(50, 200, 100)
    coil = cq.Workplane("XZ").center(100, 0).circle(8).sweep(cq.Workplane(obj=helix), isFrenet=True).val()
    assert "flat" not in reason(coil)


def test_points_beside_a_primitive_are_as_far_off_as_they_are():
    """Worked by hand for a point of each."""
    at, up = (1.0, 2.0, 3.0), (0.0, 0.0, 1.0)
    spot = np.array([[1.0, 12.0, 8.0]])  # 10 from the axis, 5 up
    for kind, sizes, off in (
        ("plane", {}, 5.0),
        ("cylinder", {"radius": 7.0}, 3.0),
        ("sphere", {"radius": 5.0}, 125**0.5 - 5.0),
        ("torus", {"radius": 2.0, "major": 10.0}, 3.0),
        ("cone", {"radius": 3.0, "slope": pi / 4}, 2.0 * 0.5**0.5),
    ):
        assert astray(Primitive(kind, at, up, **sizes), spot) == pytest.approx(off)
