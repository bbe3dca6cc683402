"""Solids that we write as text are, byte for byte, what the CAD kernel's own writer makes of the same solids.

The kernel (Open CASCADE, which many CAD programs read and write STEP with) is the authority outside the project here;
that its solids are right, `test_solids_round` and `test_solids_square` hold to closed forms.
"""

from __future__ import annotations

import random
import re
from io import BytesIO
from math import copysign

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from many_tubes import different_tubes
from strategies import placements, sections, tables
from test_solids_round import AWAY, BAR, FRAME, RACETRACK, SHAPES, TUBE
from test_solids_square import QUARTERS, SECTIONS
from tubes import run_of

from converter.errors import GeometryError, WriteError
from converter.exporters.solids.bodies import PALETTE
from converter.exporters.solids.step_text import DrawnSolid, in_frame, write_drawn
from converter.kernel.shapes.solids import tube_solid
from converter.kernel.step.solid_text import real
from converter.kernel.step.write import StepItem, write_step
from converter.model.bends import Placement
from converter.model.metal import metal
from converter.model.run import Run
from converter.model.section import Section

ALL = {**SECTIONS, "tube": TUBE, "bar": BAR, "flat oval": Section("flat-oval", 50.0, 2.0, 30.0)}
MITRED = ([(100.0, 0.0, 90.0, None), (180.0, 30.0, 45.0, None), (100.0, 0.0, 30.0, 120.0)], 70.0)


def both(items, **given):
    """Products (name, run, section, colour, product, place) as the kernel writes them, and as we do."""
    theirs, mine = BytesIO(), BytesIO()
    shapes, drawn = {}, {}
    for _, run, section, *_ in items:
        shapes.setdefault(id(run), tube_solid(run, section))
        drawn.setdefault(id(run), DrawnSolid(section, metal(run, section)))
    write_step([StepItem(name, shapes[id(run)], *rest) for name, run, _, *rest in items], theirs, **given)
    write_drawn([StepItem(name, drawn[id(run)], *rest) for name, run, _, *rest in items], mine, **given)
    # who wrote it is all that differs
    theirs_text = re.sub(r"'Open CASCADE STEP processor [^']*'", "'elbowroom 0.1.0'", theirs.getvalue().decode("ascii"))
    return theirs_text, mine.getvalue().decode("ascii")


def assert_same(run, section, **given):
    theirs, mine = both([("tube", run, section, PALETTE[0])], assembly=False, title="t", **given)
    assert mine == theirs


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("name", ALL)
def test_a_solid_is_the_kernels_to_the_byte(name, unit):
    for rows, tail in [*SHAPES.values(), (QUARTERS, 60.0), MITRED]:
        if name in ("tube", "bar") or all(abs(feed) > 1e-6 for feed, *_ in rows[1:]):
            assert_same(run_of(rows, tail, AWAY), ALL[name], unit=unit)


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize(
    "rows", [FRAME, RACETRACK, [(100.0, 0.0, 90.0, None)] * 4], ids=["frame", "racetrack", "mitres"]
)
def test_a_ring_and_its_void_are_the_kernels(name, rows):
    rows = rows if rows[0][0] == rows[1][0] else [(rows[1][0], *rows[0][1:]), *rows[1:]]
    assert_same(run_of(rows, 0.0, AWAY, closed=True), ALL[name])


@settings(
    max_examples=25,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)
@given(tables(most=4), placements(), sections(), st.sampled_from(["mm", "in"]))
def test_any_solid_is_the_kernels(table, place, section, unit):
    run = Run("any", None, False, table, place)
    try:
        metal(run, section)
    except GeometryError:
        assume(False)
    assert_same(run, section, unit=unit)


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("count", [1, 2, 20, 21, 60])
def test_a_file_of_many_products_is_the_kernels(count, unit):
    """Names of any script, colours that are shared, new and none: lines break where the kernel breaks them."""
    names = ["T1", "Büro 'links'", "手すり", "a" * 90]
    items = [
        (f"{names[i % 4]}-{i}", tube.run, tube.section, None if i % 7 == 3 else PALETTE[i % len(PALETTE)])
        for i, tube in enumerate(different_tubes(count, bends=1))
    ]
    theirs, mine = both(items, unit=unit, title="Geländer \\ 1")
    assert mine == theirs


def test_places_of_products_are_the_kernels():
    """Of a place's numbers the last digit is not always the kernel's, which inverts a matrix twice on the way."""
    rng = random.Random(7)
    tubes = different_tubes(4, bends=1)
    items = []
    for i in range(40):
        tube = tubes[rng.randrange(4)]
        items.append((f"N{i}", tube.run, tube.section, PALETTE[0], f"P-{tube.run.name}", any_place(rng)))
    theirs, mine = both(items, title="rack")
    number = r"-?\d+\.\d*(?:E[-+]\d+)?"
    flat = [re.sub(r"\n *", "", text) for text in (theirs, mine)]
    assert re.sub(number, "?", flat[0]) == re.sub(number, "?", flat[1])
    theirs_numbers, mine_numbers = ([float(one) for one in re.findall(number, text)] for text in flat)
    assert mine_numbers == pytest.approx(theirs_numbers, rel=1e-11, abs=1e-11)


def any_place(rng) -> Placement:
    import numpy as np

    axes = np.linalg.qr(np.array([[rng.gauss(0.0, 1.0) for _ in range(3)] for _ in range(3)]))[0]
    start = (rng.uniform(-3e3, 3e3), rng.uniform(-3e3, 3e3), rng.uniform(-3e3, 3e3))
    x, z = ((float(a), float(b), float(c)) for a, b, c in axes[:2])
    return Placement(start, x, z)


def test_a_run_in_its_own_frame_begins_at_the_origin_along_x():
    rng = random.Random(11)
    for tube in different_tubes(5):
        run = Run("r", None, False, tube.run.table, any_place(rng))
        moved = in_frame(run, run.placement)
        assert moved.placement.start == (0.0, 0.0, 0.0)
        assert moved.placement.direction == pytest.approx((1.0, 0.0, 0.0), abs=1e-15)
        assert moved.placement.normal == pytest.approx((0.0, 0.0, 1.0), abs=1e-15)
        assert moved.table == run.table


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0."), (-0.0, "-0."), (1.0, "1."), (0.1, "0.1"), (-12.5, "-12.5"), (1000.0, "1.E+03"), (1e-7, "1.E-07"),
        (109.168657140042, "109.16865714004"), (-109.168657140042, "-109.16865714"),
        (0.999259360467, "0.999259360467"),
        (2480.95, "2.48095E+03"), (2.332952152376e-15, "2.332952152376E-15"), (123456789.0, "1.23456789E+08"),
    ],
)  # fmt: skip
def test_numbers_are_written_as_the_standard_has_them(value, text):
    """ISO 10303-21, 6.3.2: digits, a point, digits, and an exponent with a capital E."""
    assert real(value) == text
    assert float(text) == pytest.approx(value, rel=1e-11)
    assert copysign(1.0, float(text)) == copysign(1.0, value)


def test_nothing_is_no_file():
    with pytest.raises(WriteError, match="nothing"):
        write_drawn([], BytesIO())
