"""What the audit says of the room to swing, and which ways out it names."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from many_tubes import different_tubes
from strategies import tables
from sweep_tools import sweep_order, to_itself
from test_sweep import MACHINES, TUBE, wide_table
from tubes import run_of

from converter.bending.pieces import at_lengths
from converter.bending.room import screen
from converter.bending.room.order import MARGIN, unknown_room
from converter.bending.room.screen import SimpleQuestion, answer_simply
from converter.bending.room.space import other_plane, space_of
from converter.bending.room.sweep import ITSELF, TOLERANCE, Sweeper, half_outside
from converter.bending.setup.setup import set_up
from converter.findings.wording import order_text
from converter.job.job import Job
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import from_end_b
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.load import demo_shop, shop_from_text
from converter.shop.model import Box, Die, Machine, Shop, Stick, Trial
from converter.units import Display
from converter.words import room_text

DIE = Die("R6", "round", 44.45, 150.0, clamp=60.0, between=60.0, tail=40.0)
SWEPT = ("sweep-hits", "sweep-close", "order-changed")
LOW = Machine(plane="vertical", pivot_height=1000.0)


def shop(machine):
    return Shop("shed", (DIE,), machine, source="s.toml")


def told(shop, tube):
    """What the set-up says of its room, and so the audit."""
    found = set_up([tube], shop)[0].findings
    assert [f for f in Job.of_tubes([tube], shop).findings if f.code in SWEPT] == [f for f in found if f.code in SWEPT]
    return [f for f in found if f.code in SWEPT]


def said(rows, tail, machine=LOW, section=TUBE, **more):
    return told(shop(machine), Tube(run_of(rows, tail, **more), section, "R6"))


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
        "run, bend 2: fed from end A, with the bend at 0.00°, the tube runs into the floor by 800.15 mm; every order "
        "that can be held was tried and none is better."
    )
    assert one.layer == "LAYER"
    # raised by what lacks and the margin, in whole steps, it clears: held to below
    assert one.cure_in().startswith("Raise the pivot by 815.00 mm")
    higher = replace(LOW, pivot_height=1815.0)
    assert sweep_order(run_of([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500).table, TUBE, higher).room >= MARGIN


def test_the_other_end_is_a_note():
    [one] = said([(1500, 0, 90, 150), (300, 180, 90, 150)], 200)
    assert (one.code, one.severity) == ("order-changed", "note")
    assert "fed from end B, so that the tube clears what stands around" in one.message


def test_close_is_a_warning():
    [one] = said([(694, 0, 90, 150), (300, 180, 90, 150)], 694)
    assert (one.code, one.severity, one.limit) == ("sweep-close", "warning", MARGIN)
    assert one.measured == pytest.approx(6.0, abs=0.5)


def test_what_has_its_own_finding_is_left_alone():
    assert said([(1500, 0, 90, None), (300, 180, 90, 150)], 1500) == []
    assert said([(1500, 0, 90, 150), (-1, 180, 90, 150)], 1500) == []
    assert said([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500, closed=True) == []
    no_die = Tube(run_of([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500), None)
    assert told(shop(LOW), no_die) == []
    by_die = Tube(run_of([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500), None, "R6")
    assert [f.code for f in told(shop(LOW), by_die)] == ["sweep-hits"]


def test_a_tube_that_is_drawn_onto_itself_is_told_as_drawn_so_not_as_a_hit():
    rows = [(300, 0, 90, 150)] * 4
    indoors = Machine(plane="horizontal", pivot_height=1000.0)
    assert said(rows, 300.0, indoors) == []
    job = Job.of_tubes([Tube(run_of(rows, 300.0), TUBE, "R6")], shop(indoors))
    assert next((f.code, f.severity) for f in job.findings) == ("self-contact", "error")


def test_extra_stick_that_meets_the_tube_is_a_hit():
    """Three bends of 90 degrees: by hand end A points at the last leg's centerline, 390 mm off. That is 345.55 mm
    between them, half the tube for the leg and half for an end that counts as rounded; 340 mm of extra leave 5.55."""
    rows = [(60, 0, 90, 150), (300, 0, 90, 150), (300, 0, 90, 150)]
    tube = Tube(run_of(rows, 500.0), TUBE, "R6")
    for clamp, code in ((300.0, None), (400.0, "sweep-close"), (500.0, "sweep-hits")):
        own = replace(DIE, clamp=clamp, between=0.0, tail=0.0)
        indoors = Shop("s", (own,), Machine(plane="horizontal", pivot_height=1000.0), source="s.toml")
        setup = set_up([tube], indoors, "A")[0]
        assert setup.extra_a == clamp - 60.0
        assert [f.code for f in setup.findings if f.code in SWEPT] == ([code] if code else [])


# --- ways out ------------------------------------------------------------------------------------


def way_out_text(table, machine):
    run = Run("run", "LAYER", False, table, Placement())
    [one] = [f for f in set_up([Tube(run, TUBE, "R6")], shop(machine))[0].findings if f.code.startswith("sweep-")]
    return one.cure_in()


def test_turning_the_plane_is_named_only_where_it_was_tried():
    table = run_of([(1500, 0, 90, 150), (300, 180, 90, 150)], 1500).table
    under = replace(LOW, ceiling=1700.0)  # no room to raise the pivot
    assert way_out_text(table, under).startswith("Turn the machine's bend plane horizontal, or split the tube")
    boxed = replace(under, boxes=(Box("bench", (5000.0, 5000.0, 0.0), (5001.0, 5001.0, 1.0)),))
    assert "plane" not in way_out_text(table, boxed)


def test_when_nothing_helps_it_is_said():
    low = Machine(
        plane="vertical", pivot_height=200.0, ceiling=205.0, boxes=(Box("b", (-1.0, -1.0, 0.0), (0, 0, 1.0)),)
    )
    table = run_of([(500, 0, 90, 150), (300, 180, 90, 150)], 500).table
    assert way_out_text(table, low).startswith("No other order")


#: Stops well past the angles, and much extra stick at both ends: what swings is not the tube as drawn.
SPRUNG = tuple(Trial("R6", None, None, stop, angle) for stop, angle in ((38.0, 30.0), (70.0, 60.0), (103.0, 90.0)))
LONG_CLAMP = replace(DIE, clamp=260.0, between=10.0, tail=340.0)


def test_each_way_out_that_is_named_clears_as_the_tube_is_bent():
    """Overbent and with its extra stick: the set-up on the raised or turned machine, and of both pieces, is clean."""
    tried = Counter()
    for seed in range(90):
        rng = np.random.default_rng(seed)
        drawn = wide_table(rng, int(rng.integers(1, 5)))
        table = replace(drawn, bends=tuple(replace(bend, clr=150.0) for bend in drawn.bends))
        low, high = rng.uniform((250, 1500), (700, 4000))
        machine = Machine(plane="vertical", pivot_height=float(low), ceiling=float(high))
        tube = Tube(Run("T", "LAYER", False, table, Placement()), TUBE, "R6")

        def swings(machine, *tubes):
            own = Shop("shed", (LONG_CLAMP,), machine, tests=SPRUNG, source="s.toml")
            found = [finding for setup in set_up(tubes, own) for finding in setup.findings]
            return [f for f in found if f.code.startswith("sweep-") or f.severity == "error"]

        for hit in swings(machine, tube):
            if not hit.code.startswith("sweep-"):
                continue
            for way in dict(dict(hit.value_pairs)["way_out"].values).get("ways", ()):
                values = dict(way.values)
                if way.name == "raise-pivot":
                    told = swings(replace(machine, pivot_height=machine.pivot_height + values["by"]), tube)
                elif way.name == "turn-plane":
                    told = swings(other_plane(machine), tube)
                else:
                    told = swings(machine, *at_lengths(tube, [values["at"]]).pieces)
                assert not told, (seed, way, told)
                tried[way.name] += 1
    assert min(tried[name] for name in ("raise-pivot", "turn-plane", "split-tube")) > 0, tried


def cuts_named(tube, own):
    """Places of the cuts that the set-up of a tube names, mm from end A; none leaves too long a stick.

    The set-up of the pieces is the judge.
    """
    found = set()
    for finding in set_up([tube], own)[0].findings:
        values = dict(finding.value_pairs)
        ways = dict(values["way_out"].values).get("ways", ()) if "way_out" in values else values.get("ways", ())
        found |= {dict(way.values)["at"] for way in ways if way.name == "split-tube"}
    for at in found:
        told = [f.code for piece in set_up(at_lengths(tube, [at]).pieces, own) for f in piece.findings]
        assert "stick-too-long" not in told, at
    return {round(at) for at in found}


@pytest.mark.parametrize("seed", [16, 33, 83])
def test_a_cut_for_room_to_swing_leaves_pieces_that_there_are_sticks_for(seed):
    """The cut in the longest straight is not the one to name where it leaves a piece longer than the machine takes or
    than a bar gives; another is, or none."""
    rng = np.random.default_rng(seed)
    drawn = wide_table(rng, 4)
    table = replace(drawn, bends=tuple(replace(bend, clr=150.0) for bend in drawn.bends))
    low, high = rng.uniform((250, 1500), (700, 4000))
    machine = Machine(plane="vertical", pivot_height=float(low), ceiling=float(high))
    tube = Tube(Run("T", "LAYER", False, table, Placement()), TUBE, "R6")
    by_machine, by_bar = [], []
    for share in (1.0, 0.8, 0.7, 0.5):
        most = share * table.developed_length
        by_machine.append(cuts_named(tube, shop(replace(machine, max_length=most))))
        by_bar.append(cuts_named(tube, replace(shop(machine), stock=(Stick(TUBE, None, most),))))
    assert by_machine == by_bar
    assert by_machine[0] and by_machine[2] and by_machine[0] != by_machine[2] and not by_machine[3]


def test_a_cut_where_the_clamp_finds_no_room_leaves_pieces_that_there_are_sticks_for():
    """By hand: the first piece of a cut in 20 mm is 500 + 235.62 + 500 + 235.62 + 10 mm long, and fed from that cut the
    clamp takes 50 mm more than the 10 there: 1531.24."""
    tube = Tube(run_of([(500, 0, 90, 150), (500, 90, 90, 150), (20, 180, 90, 150)], 300), TUBE, "R6")
    for most, named in ((None, {1481}), (1531.3, {1481}), (1531.2, set())):
        assert cuts_named(tube, shop(Machine(max_length=most))) == named


def test_a_hit_of_the_extra_stick_or_of_the_overbent_tube_is_told():
    """By hand: a leg of 800 mm bent down by 90 degrees hangs from the height of the pivot, and bent on by t degrees
    its end lies 800 cos t + 150 sin t below it: 813 mm at 11 degrees."""
    tube = Tube(run_of([(800, 0, 90, 150)], 800), TUBE, "R6")
    down = Machine(plane="vertical", bends_to="down", pivot_height=811.0)
    assert sweep_order(tube.run.table, TUBE, down).room == pytest.approx(11.0, abs=0.5)
    short = replace(DIE, clamp=0.0, tail=0.0)
    assert told(Shop("shed", (short,), down, source="s.toml"), tube) == []
    extra = replace(DIE, clamp=900.0, tail=900.0)
    [one] = told(Shop("shed", (extra,), down, source="s.toml"), tube)
    assert one.code == "sweep-hits" and one.measured == pytest.approx(-89.0, abs=0.5)
    sprung = (Trial("R6", None, None, 101.0, 90.0),)
    [one] = told(Shop("shed", (short,), down, tests=sprung, source="s.toml"), tube)
    assert one.code in ("sweep-hits", "sweep-close") and -3.0 < one.measured < 9.0
    refused = Job.of_tubes([tube], Shop("shed", (extra,), down, source="s.toml"))
    assert refused.has_errors and refused.shown.refusal(refused.parts[0]) == {1}


def test_an_order_other_than_the_plain_ones_is_told_in_words():
    assert order_text((2, 1)) == "2, 1" and order_text((1, 2, 3)) == "1 to 3" and order_text((3, 2, 1)) == "3 to 1"
    assert order_text((1, 3, 2)) == "1, 3, 2"


def test_the_room_may_be_unknown():
    assert unknown_room(LOW) is None
    one = unknown_room(Machine(pivot_height=900.0))
    assert (one.code, one.tube) == ("sweep-unknown", None)
    assert one.message.startswith("The shop file leaves out plane of the machine, so it is not known")
    assert one.cure_in() == "Write plane under [machine] in the shop file."
    assert unknown_room(Machine()).cure_in() == "Write plane and pivot_height under [machine] in the shop file."


def test_without_a_plane_nothing_around_is_looked_at():
    """A leg that goes through the floor of a vertical plane may swing over it in a horizontal one."""
    hangs = [(1500, 0, 90, 150), (300, 180, 90, 150)], 1500
    bench = Box("the bench", (-500.0, -3000.0, -3000.0), (3000.0, 3000.0, -200.0))
    around = replace(LOW, wall_left=300.0, boxes=(bench,))
    assert said(*hangs, around)
    assert said(*hangs, replace(around, plane=None)) == []
    job = Job.of_tubes([Tube(run_of(*hangs), TUBE, "R6")], shop(replace(around, plane=None)))
    assert [f.message for f in job.findings if f.code == "sweep-unknown"] == [
        "The shop file leaves out plane of the machine, so it is not known whether the tubes have room to swing."
    ]


def test_without_the_pivots_height_only_the_floor_is_unknown():
    unknown = unknown_room(Machine(plane="vertical", wall_ahead=900.0))
    assert unknown is not None and unknown.message == (
        "The shop file leaves out pivot_height of the machine, so it is not known whether the tubes clear the floor "
        "while they swing."
    )


@pytest.mark.parametrize(
    "machine", [Machine(), Machine(plane="horizontal"), Machine(plane="horizontal", pivot_height=900.0)]
)
def test_nothing_is_said_to_keep_clear_of_what_is_not_known(machine):
    """A plain bend swings clear of itself; that nothing else comes near is only said where the room is known."""
    tube = Tube(run_of([(500, 0, 60, 150)], 500), TUBE, "R6")
    (setup,) = Job.of_tubes([tube], shop(machine)).setups
    text = room_text(setup, Display("mm"))
    if machine.pivot_height is None:
        assert text == "the tube does not come near itself; what is around the machine is not known"
    else:
        assert text.endswith("to the floor, in bend 1")


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


def test_the_quick_look_settles_most_tubes_of_a_job_as_the_sweep_does(monkeypatch):
    """Tubes of the same and of different numbers of bends at once, with stops past their angles, from either end."""
    machine = replace(demo_shop().machine, boxes=(Box("the stand", (-300.0, -300.0, -900.0), (200.0, 300.0, -290.0)),))
    settled = {"clears": 0, "does not": 0, "swept": 0}
    for several in ((2, 3), (5, 7)):  # bends, all of which are looked at together
        tables = [tube.run.table for bends in several for tube in different_tubes(6, bends=bends)]
        tables += [from_end_b(table) for table in tables]
        stops = [[1.03 * bend.angle for bend in table.bends] for table in tables]
        space, radius = space_of(machine), half_outside(TUBE)[0]
        questions = [SimpleQuestion(*one, space, radius) for one in zip(tables, stops, strict=True)]
        answer_simply(questions)
        for one in questions:
            alone = SimpleQuestion(one.table, one.stops, space, radius)
            answer_simply([alone])
            with monkeypatch.context() as patched:  # bend by bend
                patched.setattr(screen, "_PLACES", 1)
                parted = SimpleQuestion(one.table, one.stops, space, radius)
                answer_simply([parted])
            assert parted.room.least == alone.room.least
            assert (alone.room.least, alone.room.most) == (one.room.least, one.room.most)
            exact = Sweeper(one.table, TUBE, space, stops=one.stops)
            room = exact.sequence(exact.simple_order).room
            assert exact.clears(exact.simple_order, MARGIN) == (room >= MARGIN)
            assert one.room.least - TOLERANCE <= max(room, -radius)
            assert room <= max(one.room.most, exact.deepest) + 1e-6
            clear, hits = one.room.least > MARGIN + TOLERANCE, one.room.most < MARGIN
            settled["clears" if clear else "does not" if hits else "swept"] += 1
    assert min(settled.values()) > 2, settled


def looked_at(table, machine, radius):
    question = SimpleQuestion(table, [bend.angle for bend in table.bends], space_of(machine), radius)
    answer_simply([question])
    return question.room.least


def test_the_quick_look_passes_the_easy_and_leaves_the_rest():
    run = run_of([(300, 0, 60, 150), (300, 90, 60, 150)], 300).table
    assert looked_at(run, LOW, 22.0) >= MARGIN
    assert looked_at(run, replace(LOW, swings="behind"), 22.0) < MARGIN
    assert looked_at(run_of([(300, 0, 170, 150)], 300).table, LOW, 22.0) < MARGIN
    assert looked_at(run, replace(LOW, pivot_height=160.0), 22.0) < MARGIN


def test_the_quick_look_sees_the_free_end_of_a_long_straight_hit():
    # what hits is the free end: its cut face is flat, so a ball a radius off it is what surely is there
    table, radius = run_of([(1200, 0, 60, 150), (300, 180, 60, 150)], 300).table, TUBE.od / 2
    found = sweep_order(table, TUBE, replace(LOW, pivot_height=700.0)).room
    question = SimpleQuestion(table, [60.0, 60.0], space_of(replace(LOW, pivot_height=700.0)), radius)
    answer_simply([question])
    assert found < 0.0
    assert found <= question.room.most + 1e-6
    assert question.room.most < found + 2.0 * radius


@given(tables(most=5, greatest=149.0, least=5.0))
@settings(max_examples=60)
def test_the_quick_look_agrees_with_the_sweep_on_any_table(table):
    machine = Machine(plane="vertical", pivot_height=1800.0, ceiling=5000.0)
    small = Section("round", 20.0, 2.0)
    if looked_at(table, machine, half_outside(small)[0]) >= MARGIN:
        assert sweep_order(table, small, machine).room >= MARGIN - 0.5


def test_enough_room_is_seen_without_measuring_it():
    table = BendTable((Bend(400, 0, 180, 80), Bend(300, 90, 60, 80)), 400)
    one = Sweeper(table, TUBE, space_of(Machine(plane="vertical")), enough=MARGIN)
    assert one.sequence((0, 1)).least is None  # 115 mm apart: more than enough
    tight = Sweeper(table, TUBE, space_of(Machine(plane="vertical")), enough=200.0)
    assert tight.sequence((0, 1)).least == pytest.approx(160 - TUBE.od, abs=0.5)


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
