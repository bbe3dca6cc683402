"""Tubes that stand in a file in pieces; fixtures/step/make_pieces.py says what was drawn."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import pytest
from places import FIXTURES
from tube_bodies import same_table
from tubes import run_of

from converter.importers.solids.end_to_end import end_to_end_findings, joined_end_to_end
from converter.importers.step.read import read_step
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
