"""What the audit says of the room to swing, and which ways out it names."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from many_tubes import different_tubes
from strategies import tables
from sweep_tools import to_itself
from test_sweep import MACHINES, TUBE, wide_table
from tubes import run_of

from converter.audit.registry import audit
from converter.bending.room.advice import (
    simple_orders,
    sweep_finding,
    unknown_room,
    way_out,
)
from converter.bending.room.order import MARGIN, best_order
from converter.bending.room.screen import SimpleQuestion, answer_simply, surely_clears
from converter.bending.room.space import space_of
from converter.bending.room.sweep import ITSELF, TOLERANCE, Sweeper, half_outside, sweep_order
from converter.findings.wording import order_text, write
from converter.job.job import Job
from converter.model.bends import Bend, BendTable
from converter.model.centerline import from_end_b
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.load import demo_shop, shop_from_text
from converter.shop.model import Die, Machine, Shop
from converter.shop.room import Box
from converter.units import Display

DIE = Die("R6", "round", 44.45, 150.0, clamp=60.0, between=60.0, tail=40.0)
LOW = Machine(plane="vertical", pivot_height=1000.0)


def shop(machine):
    return Shop("shed", (DIE,), machine, source="s.toml")


def said(rows, tail, machine=LOW, section=TUBE, **more):
    run = run_of(rows, tail, **more)
    return [f for f in audit([Tube(run, section, "R6")], shop(machine)) if f.code.startswith(("sweep", "order"))]


def test_nothing_is_said_without_the_machine_or_when_all_is_well():
    hangs = [(1500, 0, 90, 150), (300, 180, 90, 150)], 1500
    assert said(*hangs, Machine()) == [] and said(*hangs, Machine(plane="vertical")) == []
    assert said([(500, 0, 90, 150)], 500) == []


def test_a_leg_through_the_floor_is_an_error_with_its_numbers():
    [one] = said([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500)
    # hand-worked: 150 to the stick, 150 down the bend, 1500 of leg, 1000 above the floor
    assert (one.code, one.severity, one.bend, one.unit) == ("sweep-hits", "error", 2, "mm")
    assert one.measured == pytest.approx(1000 - 1800, abs=0.5)
    assert one.message == (
        "run, bend 2: fed from end A, with the bend at 0.00°, the tube runs into the floor by 800.15 mm; neither end "
        "first is better."
    )
    assert one.layer == "LAYER"
    # raised by what lacks and the margin, in whole steps, it clears: held to below
    assert one.cure_in().startswith("Raise the pivot by 815.00 mm")
    higher = replace(LOW, pivot_height=1815.0)
    assert sweep_order(run_of([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500).table, TUBE, higher).room >= MARGIN


def test_the_other_end_is_a_note():
    [one] = said([(1500, 0, 90, 150), (300, 180, 90, 150)], 200)
    assert (one.code, one.severity) == ("order-changed", "note")
    assert "fed from end B" in one.message and one.measured == pytest.approx(1000 - 500, abs=0.5)


def test_close_is_a_warning():
    [one] = said([(694, 0, 90, 150), (300, 180, 90, 150)], 694)
    assert (one.code, one.severity, one.limit) == ("sweep-close", "warning", MARGIN)
    assert one.measured == pytest.approx(6.0, abs=0.5)


def test_what_has_its_own_finding_is_left_alone():
    assert said([(1500, 0, 90, None), (300, 180, 90, 150)], 1500) == []
    assert said([(1500, 0, 90, 150), (-1, 180, 90, 150)], 1500) == []
    assert said([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500, closed=True) == []
    no_die = Tube(run_of([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500), None)
    assert not [f for f in audit([no_die], shop(LOW)) if f.code == "sweep-hits"]
    by_die = Tube(run_of([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500), None, "R6")
    assert [f for f in audit([by_die], shop(LOW)) if f.code == "sweep-hits"]


def test_a_tube_that_is_drawn_onto_itself_is_a_warning_about_the_drawing():
    rows = [(300, 0, 90, 150)] * 4
    [one] = said(rows, 300.0, Machine(plane="horizontal", pivot_height=1000.0))
    assert (one.code, one.severity) == ("sweep-close", "warning") and "redraw" not in one.cure_in().lower()
    assert one.cure_in() == "The finished tube meets itself as it is drawn: move its bends apart."


# --- ways out ------------------------------------------------------------------------------------


def way_out_text(*args, **more):
    return write("{way}", (("way", way_out(*args, **more)),), Display())


def test_turning_the_plane_is_named_only_where_it_was_tried():
    table = run_of([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500).table
    under = replace(LOW, ceiling=1700.0)  # no room to raise the pivot
    text = way_out_text(table, TUBE, shop(under), best_order(table, TUBE, under), die=DIE)
    assert text.startswith("turn the machine's bend plane horizontal, or split the tube")
    boxed = replace(under, boxes=(Box("bench", (5000.0, 5000.0, 0.0), (5001.0, 5001.0, 1.0)),))
    assert "plane" not in way_out_text(table, TUBE, shop(boxed), best_order(table, TUBE, boxed), die=DIE)


def test_a_split_that_is_named_clears_in_both_pieces():
    from converter.bending.split import best_split, makeable_by

    table = run_of([(1200, 0, 90, 150), (400, 180, 90, 150), (250, 90, 60, 150)], 1500).table
    low = replace(LOW, ceiling=1700.0)
    holds = makeable_by(shop(low), DIE)
    cut = best_split(table, TUBE.od, lambda piece: holds(piece) and best_order(piece, TUBE, low).clears)
    assert cut is not None
    assert all(best_order(piece, TUBE, low).clears for piece in (cut.first, cut.second))
    found = best_order(table, TUBE, low)
    if not found.clears:
        assert f"between bends {cut.straight} and {cut.straight + 1}" in way_out_text(
            table, TUBE, shop(low), found, die=DIE
        )


def test_when_nothing_helps_it_is_said():
    low = Machine(
        plane="vertical", pivot_height=200.0, ceiling=205.0, boxes=(Box("b", (-1.0, -1.0, 0.0), (0, 0, 1.0)),)
    )
    table = run_of([(500, 0, 90, 150), (300, 180, 90, 150)], 500).table
    found = best_order(table, TUBE, low)
    assert not found.clears
    assert way_out_text(table, TUBE, shop(low), found).startswith("no other order")


def test_an_order_other_than_the_plain_ones_is_told_in_words():
    assert order_text((2, 1)) == "2, 1" and order_text((1, 2, 3)) == "1 to 3" and order_text((3, 2, 1)) == "3 to 1"
    assert order_text((1, 3, 2)) == "1, 3, 2"


def test_the_finding_of_a_searched_order():
    machine = Machine(plane="vertical", pivot_height=965.0, ceiling=2600.0)
    for seed in range(600):
        table = wide_table(np.random.default_rng(3000 + seed), 4)
        found = best_order(table, TUBE, machine)
        if found.clears and found.best.order not in (found.simple_a.order, found.simple_b.order):
            one = sweep_finding("t", table, TUBE, shop(machine), found)
            assert one.code == "order-changed" and order_text(found.best.order) in one.message
            return
    raise AssertionError("no such tube")


def test_the_room_may_be_unknown():
    assert unknown_room(LOW) is None
    one = unknown_room(Machine(pivot_height=900.0))
    assert (one.code, one.tube) == ("sweep-unknown", None)
    assert one.message.startswith("The shop file leaves out plane of the machine, so it is not known")
    assert one.cure_in() == "Write plane under [machine] in the shop file."
    assert unknown_room(Machine()).cure_in() == "Write plane and pivot_height under [machine] in the shop file."


def test_unknown_room_is_told_once_for_a_job():
    tubes = [Tube(run_of([(500, 0, 90 - i, 150)], 500, name=f"T{i}"), TUBE, "R6") for i in range(3)]
    findings = Job.of_tubes(tubes, shop(Machine())).findings
    assert [f.tube for f in findings if f.code == "sweep-unknown"] == [None]


@pytest.mark.slow
def test_the_finished_tube_is_told_from_one_that_hits_on_its_way():
    table = BendTable((Bend(400, 0, 180, 30.0),), 400)
    fat = Section("round", 59.0, 3.0)
    found = sweep_order(table, fat, LOW)
    assert found.against == ITSELF and found.as_drawn
    seen = set()
    for seed in range(150):
        table = wide_table(np.random.default_rng(9000 + seed), 3)
        one = sweep_order(table, TUBE, Machine(plane="vertical"))
        if one.least is None:
            continue
        drawn = to_itself(table, TUBE.od, 8.0)
        if one.least < 0.0 and abs(drawn) > 15.0:  # the points tried are 8 mm apart
            assert one.as_drawn == (drawn < 0.0), (seed, drawn, one)
            seen.add(one.as_drawn)
    assert seen == {True, False}


# --- the quick look -------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(60))
def test_the_quick_look_never_passes_what_does_not_clear(seed):
    rng = np.random.default_rng(seed)
    machine = MACHINES[(0, 1, 3)[seed % 3]]
    machine = replace(
        machine,
        boxes=machine.boxes if seed % 2 else (),
        pivot_height=rng.uniform(900, 2500),
        ceiling=6000.0,
        wall_ahead=5000.0,
    )
    drawn = wide_table(rng, int(rng.integers(1, 6)))
    table = BendTable(tuple(replace(b, angle=min(b.angle, 149.0)) for b in drawn.bends), drawn.tail)
    question = SimpleQuestion(table, [bend.angle for bend in table.bends], space_of(machine), TUBE.od / 2)
    answer_simply([question])
    found = sweep_order(table, TUBE, machine).room
    assert question.room.least - 0.5 <= max(found, -TUBE.od / 2)
    # what hits is not followed deeper than half the radius
    assert found <= max(question.room.most, -TUBE.od / 4) + 1e-6
    assert surely_clears(table, space_of(machine), TUBE.od / 2, MARGIN) == (question.room.least >= MARGIN)


def test_the_quick_look_settles_most_tubes_of_a_job_as_the_sweep_does():
    """Tubes of the same and of different numbers of bends at once, with stops past their angles, from either end."""
    machine = replace(demo_shop().machine, boxes=(Box("the stand", (-300.0, -300.0, -900.0), (200.0, 300.0, -290.0)),))
    settled = {"clears": 0, "does not": 0, "swept": 0}
    for bends in (2, 5):
        tables = [tube.run.table for tube in different_tubes(12, bends=bends)]
        tables += [from_end_b(table) for table in tables]
        stops = [[1.03 * bend.angle for bend in table.bends] for table in tables]
        space, radius = space_of(machine), half_outside(TUBE)[0]
        questions = [SimpleQuestion(*one, space, radius) for one in zip(tables, stops, strict=True)]
        answer_simply(questions)
        for one in questions:
            alone = SimpleQuestion(one.table, one.stops, space, radius)
            answer_simply([alone])
            assert (alone.room.least, alone.room.most) == (one.room.least, one.room.most)
            exact = Sweeper(one.table, TUBE, space, stops=one.stops)
            room = exact.sequence(exact.simple_order).room
            assert exact.clears(exact.simple_order, MARGIN) == (room >= MARGIN)
            assert one.room.least - TOLERANCE <= max(room, -radius)
            assert room <= max(one.room.most, exact.deepest) + 1e-6
            clear, hits = one.room.least > MARGIN + TOLERANCE, one.room.most < MARGIN
            settled["clears" if clear else "does not" if hits else "swept"] += 1
    assert min(settled.values()) > 2, settled


def test_the_quick_look_passes_the_easy_and_leaves_the_rest():
    run = run_of([(300, 0, 60, 150), (300, 90, 60, 150)], 300).table
    assert surely_clears(run, space_of(LOW), 22.0, MARGIN)
    assert not surely_clears(run, space_of(replace(LOW, swings="behind")), 22.0, MARGIN)
    assert not surely_clears(run_of([(300, 0, 170, 150)], 300).table, space_of(LOW), 22.0, MARGIN)
    assert not surely_clears(run, space_of(replace(LOW, pivot_height=160.0)), 22.0, MARGIN)


@given(tables(most=5, greatest=149.0, least=5.0))
@settings(max_examples=60)
def test_the_quick_look_agrees_with_the_sweep_on_any_table(table):
    machine = Machine(plane="vertical", pivot_height=1800.0, ceiling=5000.0)
    small = Section("round", 20.0, 2.0)
    if surely_clears(table, space_of(machine), half_outside(small)[0], MARGIN):
        assert sweep_order(table, small, machine).room >= MARGIN - 0.5


def test_enough_room_is_seen_without_measuring_it():
    table = BendTable((Bend(400, 0, 180, 80), Bend(300, 90, 60, 80)), 400)
    one = Sweeper(table, TUBE, space_of(Machine(plane="vertical")), enough=MARGIN)
    assert one.sequence((0, 1)).least is None  # 115 mm apart: more than enough
    tight = Sweeper(table, TUBE, space_of(Machine(plane="vertical")), enough=200.0)
    assert tight.sequence((0, 1)).least == pytest.approx(160 - TUBE.od, abs=0.5)
    assert simple_orders(table, TUBE, Machine(plane="vertical")).clears


# --- the shop file ----------------------------------------------------------------------------------

HEAD = "units = 'mm'\n[shop]\nname = 'shed'\n[machine]\nplane = 'vertical'\npivot_height = 900\n"


def test_boxes_and_walls_are_read():
    text = HEAD + "wall_left = 2000\nswings = 'behind'\nbends_to = 'down'\n"
    text += "[[machine.box]]\nname = 'bench'\nlow = [-10, 0, '-2in']\nhigh = [10, 5, 0]\n"
    machine = shop_from_text(text).machine
    assert machine.boxes == (Box("bench", (-10.0, 0.0, -50.8), (10.0, 5.0, 0.0)),)
    assert (machine.wall_left, machine.swings, machine.bends_to) == (2000.0, "behind", "down")
    unnamed = shop_from_text(HEAD + "[[machine.box]]\nlow = [0, 0, 0]\nhigh = [1, 1, 1]\n").machine
    assert unnamed.boxes[0].name == "box 1"


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ("[[machine.box]]\nlow = [0, 0]\nhigh = [1, 1, 1]\n", "machine.box[1].low must be a list of three lengths"),
        ("[[machine.box]]\nlow = [0, 'x', 0]\nhigh = [1, 1, 1]\n", "machine.box[1].low[2] must be a length"),
        ("[[machine.box]]\nlow = [0, 2, 0]\nhigh = [1, 1, 1]\n", "machine.box[1] has a low y that is not below"),
        ("[[machine.box]]\nlow = [0, 0, 0]\n", "machine.box[1].high is missing"),
        ("[[machine.box]]\nlow = [0, 0, 0]\nhigh = [1, 1, 1]\ndepth = 4\n", "machine.box[1].depth is not a known key"),
        ("bends_to = 'left'\n", 'machine.bends_to is "left", which goes with plane = "horizontal"'),
        ("swings = 'both'\n", "machine.swings must be one of ahead, behind"),
        ("ceiling = 800\n", "machine.ceiling is not above pivot_height"),
    ],
)
def test_contradictions_are_named_with_their_key(more, message):
    from converter.errors import ShopError

    with pytest.raises(ShopError) as caught:
        shop_from_text(HEAD + more)
    assert message in caught.value.message
