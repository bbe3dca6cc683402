"""What rounding costs at the bender: turns as distances around the tube, stops and turns to the steps of a machine."""

from __future__ import annotations

from fractions import Fraction
from math import floor, pi

import pytest
from command_line import failed, run
from hypothesis import given
from hypothesis import strategies as st
from tubes import run_of, tube_of

from converter.bending.setup.setup import Setup, set_up
from converter.bending.setup.words import SetupView
from converter.model.section import Section
from converter.shop.model import Allowed, Die, Machine, Shop, Trial
from converter.units import Display, parse_length

TUBE = Section("round", 44.45, 3.0)
DIE = Die("R150", "round", 44.45, 150.0, max_angle=180.0, mark_offset=0.0)
SIXTEENTHS = Display("in", 16)


def setup_of(rotations: list[float], angle: float = 20.0, tests: tuple[Trial, ...] = (), **machine: float) -> Setup:
    rows = [(300.0, 0.0, angle, 150.0), *((300.0, rotation, angle, 150.0) for rotation in rotations)]
    shop = Shop("test", (DIE,), Machine(**machine), tests=tests)
    return set_up([tube_of(run_of(rows, 300.0), TUBE)], shop, "A")[0]


def degrees_around(text: str) -> float:
    """What a distance in inches around 1.75 in of tube is worth."""
    return parse_length(text, "in") / (pi * 44.45) * 360.0


def test_a_sixteenth_that_costs_a_degree_is_told_in_decimals():
    """0.233 in around 1.75 in is 15.26 degrees; 1/4 in would be 16.37, 1.1 too many."""
    sheet = SetupView(setup_of([-15.257, -90.0]), SIXTEENTHS)
    # a quarter turn is 1.3744 in, 0.04 degrees short of 1-3/8
    assert sheet.arounds() == ["", "0.233", "1-3/8"]
    assert "that is 0.233 in around its outside" in sheet.instructions()[3]
    assert "in decimals" in " ".join(sheet.rounding_notes())
    assert "0.1°" in " ".join(sheet.rounding_notes())


def test_where_decimals_cost_too_much_only_the_angle_is_told():
    """A limit of 0.001 degrees is 0.0004 mm around this tube; a hundredth of a millimetre is 0.026 degrees."""
    sheet = SetupView(setup_of([33.01], turn_within=0.001), Display())
    assert sheet.arounds() == ["", ""]
    assert "around its outside" not in sheet.instructions()[3]
    assert "33.01° counter-clockwise" in sheet.instructions()[3]
    assert "only the angle is told" in " ".join(sheet.rounding_notes())


@given(
    rotations=st.lists(st.floats(-179.0, 180.0), min_size=1, max_size=12),
    display=st.sampled_from([Display(), Display("in"), *(Display("in", d) for d in (8, 16, 64))]),
)
def test_no_distance_and_no_sum_of_them_is_off_by_more_than_the_limit(rotations, display):
    setup = setup_of(rotations)
    sheet = SetupView(setup, display)
    exact = told = 0.0
    for step, text in zip(setup.steps[1:], sheet.arounds()[1:], strict=True):
        exact += step.roll
        if not text:
            assert abs(step.roll) < 0.2, "too small for a thousandth of an inch"
            told = exact
            continue
        worth = parse_length(text, display.unit) / (pi * 44.45) * 360.0
        worth = worth if step.roll > 0.0 else -worth
        told += worth
        assert abs(worth - step.roll) <= 0.1 + 1e-9
        assert abs(told - exact) <= 0.1 + 1e-9


def test_turns_to_a_ring_are_rounded_from_their_sum():
    """Worked by hand: sums 33, 66, 99 on a ring of 5 degrees are 35, 65, 100."""
    setup = setup_of([-33.0, -33.0, -33.0], turn_step=5.0)
    assert [step.turn_set for step in setup.steps] == pytest.approx([0.0, 35.0, 30.0, 35.0])
    assert [step.total_set for step in setup.steps] == pytest.approx([0.0, 35.0, 65.0, 100.0])
    assert [step.roll for step in setup.steps] == pytest.approx([0.0, 33.0, 33.0, 33.0]), "exact as before"
    sheet = SetupView(setup, Display())
    notes = " ".join(sheet.rounding_notes())
    assert "before bend 2 2.00° counter-clockwise, before bend 3 1.00° clockwise" in notes
    assert "Turn the tube 35.00° clockwise" in sheet.instructions()[3]
    assert sheet.turn(setup.steps[2]) == "30.00° clockwise" and sheet.so_far(setup.steps[3]) == "100.00° clockwise"


@given(
    rotations=st.lists(st.floats(-179.9, 180.0), min_size=1, max_size=10),
    step=st.sampled_from([0.5, 1.0, 2.5, 5.0, 7.5, 22.5]),
)
def test_what_a_ring_leaves_over_never_adds_up(rotations, step):
    """The turns told, added up exactly, lie within half a step of the planes' own sum, wherever one looks."""
    setup = setup_of(rotations, turn_step=step)
    exact, told = Fraction(0), Fraction(0)
    for bend, made in zip(rotations, setup.steps[1:], strict=True):
        exact -= Fraction(bend)
        told += Fraction(made.turn_set)
        off = float((told - exact + 180) % 360 - 180)
        assert abs(off) <= step / 2.0 + 1e-6
        assert abs(made.turn_set / step - round(made.turn_set / step)) < 1e-9


def test_stops_to_the_step_of_a_scale():
    """Test bends 46 -> 45 and 92 -> 90: 20 degrees need 20.444; half degrees give 20.5, which comes out at 20.054."""
    tests = (Trial("R150", None, None, 46.0, 45.0), Trial("R150", None, None, 92.0, 90.0))
    setup = setup_of([30.0], tests=tests, stop_step=0.5)
    step = setup.steps[0]
    assert (step.stop, step.stop_set) == (pytest.approx(20.0 * 46.0 / 45.0), 20.5)
    assert step.comes_out == pytest.approx(20.5 * 45.0 / 46.0)
    sheet = SetupView(setup, Display())
    assert "Set the stop to 20.50° and bend: it should come out at 20.05°." in sheet.instructions()[2]
    assert "0.06° less for bend 1" in " ".join(sheet.rounding_notes())


@pytest.mark.parametrize("off", [0.0, 1e-9, -1e-9])
def test_half_a_step_is_the_lesser_stop_and_mirror_images_are_turned_alike(off):
    """63.5 on whole degrees is 63: what comes out short can be bent on. Noise decides nothing."""
    setup = setup_of([12.5 + off, 12.0], angle=63.5 + off, stop_step=1.0, turn_step=1.0)
    other = setup_of([-12.5 - off, -12.0], angle=63.5 + off, stop_step=1.0, turn_step=1.0)
    assert [step.stop_set for step in setup.steps] == [63.0] * 3
    assert [step.total_set for step in setup.steps] == [0.0, -12.0, -24.0]
    assert [step.total_set for step in other.steps] == [0.0, 12.0, 24.0]
    notes = " ".join(SetupView(setup, Display()).rounding_notes())
    assert "Exact would be 0.50° more for bend 1, 0.50° more for bend 2 and 0.50° more for bend 3." in notes
    assert "before bend 2 0.50° counter-clockwise and before bend 3 0.50° counter-clockwise" in notes


def test_a_stop_is_never_rounded_past_what_the_die_turns():
    setup = setup_of([], angle=179.9, stop_step=7.0)
    assert floor(180.0 / 7.0) * 7.0 == 175.0
    assert setup.steps[0].stop_set == 175.0


def test_without_steps_nothing_is_rounded():
    setup = setup_of([33.007, -12.3])
    assert [(step.stop_set, step.turn_set, step.total_set) for step in setup.steps] == [
        (step.stop, step.roll, step.total) for step in setup.steps
    ]
    assert [step.comes_out for step in setup.steps] == [step.target for step in setup.steps]


SHOP = """units = "mm"
[shop]
name = "steps"
[machine]
{machine}
[[die]]
name = "R150"
od = 44.45
clr = 150
"""


def test_a_ring_whose_step_makes_no_full_turn_is_refused(tmp_path, capsys):
    path = tmp_path / "shop.toml"
    path.write_text(SHOP.format(machine="turn_step = 7"), encoding="utf-8")
    assert "machine.turn_step is 7, of which no whole number makes a full turn" in failed(
        run(capsys, "shop", "check", path)
    )


def test_the_page_says_which_way_without_a_sign(tmp_path, capsys):
    """The same bend in both answers: the plane's rotation with its sign, the tube's turn with its direction."""
    shop, table = tmp_path / "shop.toml", tmp_path / "table.csv"
    shop.write_text(SHOP.format(machine="turn_step = 1\nstop_step = 0.5"), encoding="utf-8")
    table.write_text("bend,feed_mm,rotation_deg,angle_deg,clr_mm\n1,300,0,30,150\n2,300,33.01,40.2,150\ntail,300,,,\n")
    page = run(capsys, "setup", table, "--shop", shop, "--section", "44.45x3mm").out
    assert "33.00° counter-clockwise" in page and "-33" not in page and "roll" not in page.lower()
    assert "seen from the end that goes first toward the other end" in " ".join(page.split())
    assert "step of 0.5°. Exact would be 0.20° more for bend 2." in " ".join(page.split())
    answer = run(capsys, "setup", table, "--shop", shop, "--section", "44.45x3mm", "--json").json
    bend = answer["tubes"][0]["bends"][1]
    assert (bend["roll"], bend["turn_set"], bend["turn_set_total"]) == (pytest.approx(-33.01), -33.0, -33.0)
    assert (bend["stop_angle"], bend["stop_set"], bend["comes_out"]) == (pytest.approx(40.2), 40.0, pytest.approx(40.0))
    plain = run(capsys, "table", table).out
    assert "33.01°" in plain
    assert "clockwise, seen from end A toward end B" in " ".join(plain.split())


def test_springback_gives_the_stop_that_the_set_up_gives(tmp_path, capsys):
    """46 -> 45 and 92 -> 90: 40.2 degrees need 41.093, on a scale of half degrees 41, which comes out at 40.109."""
    shop, table = tmp_path / "shop.toml", tmp_path / "table.csv"
    tests = "".join(f'[[test]]\ndie = "R150"\nstop = {stop}\nangle = {angle}\n' for stop, angle in ((46, 45), (92, 90)))
    shop.write_text(SHOP.format(machine="stop_step = 0.5") + tests, encoding="utf-8")
    table.write_text("bend,feed_mm,rotation_deg,angle_deg,clr_mm\n1,300,0,40.2,150\ntail,300,,,\n")
    answer = run(capsys, "setup", table, "--shop", shop, "--section", "44.45x3mm", "--json").json
    bend = answer["tubes"][0]["bends"][0]
    asked = ["springback", shop, "--target", "40.2"]
    document = run(capsys, *asked, "--json").json
    assert (document["stop"], document["stop_set"]) == (pytest.approx(40.2 * 46.0 / 45.0), 41.0)
    assert document["comes_out"] == pytest.approx(41.0 * 45.0 / 46.0)
    assert [document[key] for key in ("stop_set", "comes_out")] == [bend[key] for key in ("stop_set", "comes_out")]
    text = " ".join(run(capsys, *asked).out.split())
    assert "For 40.20° set the stop to 41.00°: it comes out at 40.11°" in text
    assert "Stops are given to the machine's step of 0.5°. Exact would be 0.09° more." in text


def test_resuming_follows_the_scale(tmp_path, capsys):
    """18.5 came out of 19: 20 come out of 20.541, on the scale 20.5; from 20 to 20.2 the scale has no step."""
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP.format(machine="stop_step = 0.5"), encoding="utf-8")
    asked = ["springback", shop, "--target", "20", "--resume"]
    more = run(capsys, *asked, "19:18.5", "--json").json["resume"]
    assert (more["stop"], more["stop_set"]) == (pytest.approx(19.0 * 20.0 / 18.5), 20.5)
    text = " ".join(run(capsys, *asked, "19:18.5").out.split())
    assert "set the stop to 20.50°" in text and "Exact would be 0.04° more." in text
    assert run(capsys, *asked, "20:19.8", "--json").json["resume"]["stop_set"] is None
    text = " ".join(run(capsys, *asked, "20:19.8").out.split())
    assert "leave it at its stop of 20.00°" in text and "Exact would be 0.20° more." in text


def coarse(setup: Setup) -> list[tuple[int | None, str, float | None]]:
    return [(f.bend, f.variant, f.measured) for f in setup.findings if f.code == "step-too-coarse"]


def test_steps_too_coarse_for_a_bend_are_a_warning():
    """Worked by hand: 60.3 on a ring of 90 is set to 90; without springback 42.4 on a scale of 5 comes out at 40."""
    setup = setup_of([60.3, 30.0], 42.4, stop_step=5.0, turn_step=90.0)
    # planes at 0, -60.3, -90.3: set to 0, -90, -90
    assert [step.total_set for step in setup.steps] == [0.0, -90.0, -90.0]
    found = coarse(setup)
    assert [(bend, variant) for bend, variant, _ in found] == [
        (1, "scale"), (2, "scale"), (2, "ring"), (3, "scale"), (3, "ring"),
    ]  # fmt: skip
    assert [measured for *_, measured in found] == pytest.approx([2.4, 2.4, 29.7, 2.4, 30.0])
    (ring,) = (f for f in setup.findings if (f.code, f.variant, f.bend) == ("step-too-coarse", "ring", 2))
    assert ring.severity == "warning" and ring.message.endswith(
        "the machine's ring goes by steps of 90.00°, which leaves its rotation 29.70° off."
    )
    (scale,) = (f for f in setup.findings if (f.code, f.variant, f.bend) == ("step-too-coarse", "scale", 1))
    assert "goes by steps of 5.00°, so that it comes out at 40.00° in place of 42.40°" in scale.message


def test_a_step_leaves_over_what_a_made_tube_may_be_off():
    """Up to the shop's own tolerance, a degree without one; the rotation between two bends counts, not the sum."""
    assert coarse(setup_of([33.0, 33.0, 33.0], 42.4, stop_step=1.0, turn_step=1.0)) == []
    assert coarse(setup_of([0.0], 41.0, stop_step=2.0)) == []
    assert coarse(setup_of([0.0], 41.82, stop_step=2.04)) != []
    assert coarse(setup_of([90.0, -90.0, 45.0], turn_step=45.0)) == []
    rows = [(300.0, 0.0, 20.4, 150.0)]
    for allowed, count in ((0.3, 1), (0.4, 0), (3.0, 0)):
        shop = Shop("test", (DIE,), Machine(stop_step=1.0), allowed=Allowed(angle=allowed))
        assert len(coarse(set_up([tube_of(run_of(rows, 300.0), TUBE)], shop, "A")[0])) == count


@given(st.lists(st.floats(-179.0, 180.0), min_size=1, max_size=6), st.sampled_from([0.5, 1.0]))
def test_a_ring_of_fine_steps_leaves_no_more_than_one_of_them(rotations, step):
    """Half a step at either bend: the warning is for rings that are coarser than the limit."""
    assert coarse(setup_of(rotations, turn_step=step)) == []
