"""The stick in the bender, bend by bend, against motions of marked points and against the centerline."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bending_checks import orders, own_points, shop_for
from hypothesis import given, settings
from hypothesis import strategies as st
from machine import apart, bend_stick
from strategies import tables

from converter.bending.setup.setup import set_up
from converter.exporters.sheet.scenes import step_poses
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.model import Die, Machine, Shop

#: bend coordinates (ahead, toward the die, die's axis) to machine coordinates, by hand from docs/sweep.md
TURNED = {
    ("vertical", None): [[1, 0, 0], [0, 0, -1], [0, 1, 0]],
    ("vertical", "down"): [[1, 0, 0], [0, 0, 1], [0, -1, 0]],
    ("horizontal", None): [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
    ("horizontal", "right"): [[1, 0, 0], [0, -1, 0], [0, 0, -1]],
}


def placed(pose):
    """Straights and arcs of a pose."""
    return rebuild(pose.table, pose.place)


def walked(segments, lengths) -> np.ndarray:
    class Way:
        centerline = segments

    return own_points(Way(), list(lengths))


RUN = Run("run", None, False, BendTable((Bend(300.0, 0.0, 90.0, 100.0),), 300.0), Placement())


@settings(max_examples=60)
@given(
    table=tables(most=5, greatest=170.0),
    end=st.sampled_from("AB"),
    machine=st.sampled_from(sorted(TURNED, key=str)),
    back=st.sampled_from((0.0, 0.05)),
)
def test_every_step_is_where_a_bender_puts_it(table, end, machine, back):
    """Not laid upon each other: the points lie where marks, rolls and stops put them, in machine coordinates."""
    table = BendTable(tuple(replace(b, clr=100.0, feed=b.feed + 400.0) for b in table.bends), table.tail + 400.0)
    shop = shop_for(table, ((90.0, 90.0 * (1.0 - back)),))
    plane, to = machine
    shop = replace(shop, machine=Machine(plane=plane, bends_to=to))
    run = Run("run", None, False, table, Placement())
    setup = set_up([Tube(run, Section("round", 20.0, 2.0))], shop, feed_from=end)[0]
    turned = np.array(TURNED[machine], float)
    poses = step_poses(setup, shop.machine)
    assert [pose.bend for pose in poses] == [step.bend for step in setup.steps]
    # arcs spring back at constant length here, and stick and arc agree when nothing stretches
    stick = setup.stick_length
    samples = np.linspace(0.0, stick, 41)
    for i, (step, pose) in enumerate(zip(setup.steps, poses, strict=True)):
        made = bend_stick(stick, orders(setup)[: i + 1], samples)
        # the simulated bender keeps the stock still and starts at the origin; ours draws it along to T
        made = (made + np.array([step.stick, -100.0, 0.0])) @ turned.T
        assert np.abs(walked(placed(pose.bent), samples) - made).max() < 1e-5
        if i:
            before = bend_stick(stick, [*orders(setup)[:i], replace_angle(orders(setup)[i])], samples)
            before = (before + np.array([0.0, -100.0, 0.0])) @ turned.T
            assert np.abs(walked(placed(pose.fed), samples) - before).max() < 1e-4
        assert pose.mark == pytest.approx(tuple(turned @ np.array([7.0, -100.0, 0.0])), abs=1e-9)
        assert pose.touch == pytest.approx(tuple(turned @ np.array([0.0, -100.0, 0.0])), abs=1e-9)


def replace_angle(order):
    """The same order before it bends: the tube is gripped, nothing turned."""
    # a bend of next to nothing over next to no stick: the gripping alone
    return replace(order, angle=1e-9, stick=1e-9, radius=1.0)


@settings(max_examples=60)
@given(table=tables(most=6, greatest=170.0), end=st.sampled_from("AB"), data=st.data())
def test_the_last_pose_is_the_run(table, end, data):
    """Without springback the last pose is congruent to the centerline, and no mirror image of it."""
    shop = shop_for(table)
    radii = [die.clr for die in shop.dies]
    table = BendTable(
        tuple(replace(b, clr=min(radii, key=lambda r, b=b: abs(r - b.clr))) for b in table.bends), table.tail
    )
    run = replace(RUN, table=table)
    setup = set_up([Tube(run, Section("round", 20.0, 2.0))], shop, feed_from=end)[0]
    last = step_poses(setup, Machine())[-1].bent
    length = table.developed_length
    samples = np.linspace(0.0, length, 50)
    wanted = own_points(run, [float(x) for x in (samples if end == "A" else length - samples)])
    assert apart(walked(placed(last), samples + setup.extra(setup.feed_from)), wanted) < 1e-5


def test_bends_out_of_order_leave_the_rest_of_the_stick_straight():
    """The second bend first: ahead of it lies straight stick where bend 1 will be."""
    table = BendTable((Bend(200.0, 0.0, 90.0, 60.0), Bend(60.0, 90.0, 90.0, 61.0)), 300.0)
    dies = (Die("D1", "round", 20.0, 60.0, tail=50.0), Die("D2", "round", 20.0, 61.0, between=90.0))
    run = replace(RUN, table=table)
    setup = set_up([Tube(run, Section("round", 20.0, 2.0))], Shop("s", dies), feed_from="A")[0]
    assert [step.bend for step in setup.steps] == [2, 1]
    first, second = step_poses(setup, Machine(plane="vertical"))
    assert [type(part).__name__ for part in placed(first.bent)] == ["Line", "Arc", "Line"]
    assert [type(part).__name__ for part in placed(second.bent)] == ["Line", "Arc", "Line", "Arc", "Line"]
    # fed: a straight stick that ends 200 + arc + 60 ahead of the die
    ahead = 200.0 + 60.0 * np.pi / 2.0 + 60.0
    assert placed(first.fed)[0].start == pytest.approx((ahead, 0.0, -61.0))
    # bent up: the end fed first stands straight up, one die's radius ahead
    assert placed(first.bent)[0].start == pytest.approx((61.0, 0.0, ahead))
    # bend 1 is made with the tube turned -(-90) back: worked by hand, the leg of bend 2 points sideways behind
    assert placed(second.bent)[-1].end[0] == pytest.approx(-60.0 - 61.0)


def test_where_the_stock_swings_the_clamped_end_stays():
    """A bender that wraps the stock: the end fed first lies still along the machine's x."""
    setup = set_up([Tube(RUN, Section("round", 20.0, 2.0))], shop_for(RUN.table), feed_from="A")[0]
    pose = step_poses(setup, Machine(plane="horizontal", swings="behind"))[0]
    ends = placed(pose.bent)[0].start, placed(pose.bent)[0].end
    assert ends[0] == pytest.approx((300.0, -100.0, 0.0))
    assert ends[1] == pytest.approx((0.0, -100.0, 0.0))
    assert placed(pose.bent)[-1].end == pytest.approx((-100.0, 300.0, 0.0))


def test_a_straight_has_no_steps():
    """Nothing to show at the bender."""
    run = replace(RUN, table=BendTable((), 500.0))
    setup = set_up([Tube(run)], Shop("s", ()))[0]
    assert step_poses(setup, Machine()) == ()
