"""Solids as they come out: radii after springback, corners where they were drawn."""

from __future__ import annotations

from math import pi

import pytest
from jobs import job_of
from tubes import run_of, tube_of

from converter import Settings, open_job
from converter.errors import WriteError
from converter.exporters.registry import write
from converter.exporters.solids.step import as_bent
from converter.geometry.vectors import sub, unit
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.load import shop_from_text

TUBE = Section("round", 40.0, 2.0)
SHOP = """units = "mm"
[shop]
name = "W"
[[die]]
name = "R150"
od = 40
clr = 150
mark_offset = 12
"""
TESTS = '[[test]]\ndie = "R150"\nstop = 46\nangle = 45\n[[test]]\ndie = "R150"\nstop = 92\nangle = 90\n'
RAIL = [(200.0, 0.0, 90.0, 150.0), (300.0, 90.0, 60.0, 150.0)]


def job(rows=RAIL, tail=100.0, tests=TESTS, **settings):
    tube: Tube = tube_of(run_of(rows, tail, name="RAIL"), TUBE)
    return job_of([tube], shop=shop_from_text(SHOP + tests), settings=Settings(**settings))


@pytest.mark.parametrize("end", ["A", "B"])
def test_the_worked_example_of_the_set_up_page(end):
    """By hand there: a radius of 150 x 92/90, straights of 196.667, 294.742 and 98.075; both ends as drawn."""
    drawn = job(feed_from=end)
    run = as_bent(drawn).tubes[0].run
    assert [bend.clr for bend in run.table.bends] == pytest.approx([153.3333, 153.3333], abs=1e-4)
    assert run.table.straights == pytest.approx((196.6667, 294.7422, 98.0755), abs=1e-4)
    assert [(bend.angle, bend.rotation) for bend in run.table.bends] == [(90.0, 0.0), (60.0, 90.0)]
    before = drawn.tubes[0].run
    assert run.start == before.start and run.end == pytest.approx(before.end, abs=1e-9)
    last, drawn_last = run.centerline[-1], before.centerline[-1]
    assert unit(sub(last.end, last.start)) == pytest.approx(unit(sub(drawn_last.end, drawn_last.start)), abs=1e-12)


def test_a_hook_comes_out_wider():
    """A bend of 180 degrees has no corner: its legs stand 2 x (153.333 - 150) further apart."""
    drawn = job([(200.0, 0.0, 180.0, 150.0)], tail=80.0)
    run, before = as_bent(drawn).tubes[0].run, drawn.tubes[0].run
    apart = sum((a - b) ** 2 for a, b in zip(run.end, before.end, strict=True)) ** 0.5
    assert apart == pytest.approx(2.0 * 10.0 / 3.0, abs=1e-6)


def test_the_file_holds_that_tube(tmp_path):
    """Read back by the solid reader; its volume is that of Pappus."""
    write([job()], tmp_path, ["step-bent"])
    (tube,) = open_job(str(tmp_path / "part-bent.step"), Settings()).tubes
    assert tube.name == "RAIL" and tube.section.od == pytest.approx(40.0)
    assert [bend.clr for bend in tube.run.table.bends] == pytest.approx([153.3333, 153.3333], abs=1e-3)
    length = 196.6667 + 294.7422 + 98.0755 + 153.3333 * pi * 150.0 / 180.0
    assert tube.run.table.developed_length == pytest.approx(length, abs=1e-2)


def test_a_tube_that_is_not_to_be_made_is_as_drawn():
    """Its second bend is tighter than any die: no set-up makes it, so nothing is known of how it comes out."""
    tight = job([RAIL[0], (300.0, 90.0, 60.0, 90.0)])
    assert as_bent(tight).tubes[0].run.table == tight.tubes[0].run.table


def test_without_a_bend_there_is_nothing_to_write(tmp_path):
    with pytest.raises(WriteError, match="has a bend"):
        write([job([], tail=400.0)], tmp_path, ["step-bent"])
