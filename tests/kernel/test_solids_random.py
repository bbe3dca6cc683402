"""Random tables as solids: whatever the bender could make is one sound solid of Pappus' volume."""

from __future__ import annotations

from math import radians

import pytest
from hypothesis import HealthCheck, assume, given, settings
from kernel_probe import assert_sound, bounds, kernel_length, kernel_volume, surfaces
from strategies import placements, sections, tables
from tubes import metal_area

from converter.kernel.shapes.solids import centerline_wire, tube_solid
from converter.model.frames import pieces
from converter.model.run import Run
from converter.model.section import Section

QUICK = settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])


def made(table, placement) -> Run:
    return Run("random", None, False, table, placement)


@pytest.mark.slow
@QUICK
@given(tables(most=12), placements(), sections(6.0, 28.0))
def test_any_table_is_one_sound_solid(table, placement, section):
    run = made(table, placement)
    found = pieces(table, placement)
    assume(all(p.arc is None or p.arc.radius > section.outer.support(p.roll) + 0.01 for p in found))
    solid = tube_solid(run, section)
    assert_sound(solid)
    length = sum(b.feed + b.clr * radians(b.angle) for b in table.bends) + table.tail
    assert kernel_volume(solid) == pytest.approx(metal_area(section) * length, rel=1e-9)
    kinds = surfaces(solid)
    assert set(kinds) <= {"Plane", "Cylinder", "Torus", "Cone"}
    if section.cylinder is not None:
        rings = len(section.loops)
        straights = sum(1 for x in table.straights if x > 1e-6)
        assert kinds == {
            k: v for k, v in (("Torus", rings * len(table.bends)), ("Cylinder", rings * straights), ("Plane", 2)) if v
        }


@pytest.mark.slow
@QUICK
@given(tables(most=8), placements())
def test_a_bar_fills_the_box_around_its_centerline(table, placement):
    """The box of a thin bar is that of its wire grown by less than its radius, and by no less than the ends allow."""
    run = made(table, placement)
    solid, wire = bounds(tube_solid(run, Section("bar", 10.0, 5.0))), bounds(centerline_wire(run))
    for k in range(3):
        assert wire[k] - 5.0 - 1e-6 <= solid[k] <= wire[k] + 1e-6
        assert wire[k + 3] - 1e-6 <= solid[k + 3] <= wire[k + 3] + 5.0 + 1e-6


@QUICK
@given(tables(most=30), placements())
def test_the_kernels_length_of_the_wire_is_the_developed_length(table, placement):
    """Sum of straights and arcs against the kernel's own integral."""
    wire = centerline_wire(made(table, placement))
    assert kernel_length(wire) == pytest.approx(table.developed_length, rel=1e-10, abs=1e-7)
