"""Springback laws from test bends and by estimate, resuming a bend, and what is said of a poor fit.

Expected values are worked by hand beside each case, or by numpy's own least squares.
"""

from math import floor, pi, radians, sin

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from converter.bending.metal.law_findings import fit_findings
from converter.bending.metal.springback import Springback, fit_tests, resume, section_on, springback_for
from converter.bending.setup.shape import machine_bend
from converter.errors import OptionError
from converter.model.bends import Bend
from converter.model.section import Section
from converter.shop.assign import Seat
from converter.shop.model import Die, Metal, Shop, Trial
from converter.shop.sections import parse_section

DIE = Die("D", "round", 38.1, 114.3, max_angle=180.0)
TUBE = parse_section("1.5x0.095in")
WALL = TUBE.wall


def shop(*tests, metals=()):
    return Shop("shed", (DIE, Die("E", "round", 38.1, 152.4)), metals=tuple(metals), tests=tests, source="s.toml")


def bend(angle):
    return Bend(0.0, 0.0, angle, DIE.clr)


def trial(stop, angle, metal="4130", wall=WALL, die="D", length=None):
    return Trial(die, metal, wall, stop, angle, length)


# --- the law of test bends ----------------------------------------------------------------------------


def test_two_test_bends_give_the_line_through_them():
    """(30, 32) and (90, 95): slope 63/60 = 1.05, offset 0.5."""
    law = springback_for(shop(trial(32.0, 30.0), trial(95.0, 90.0)), DIE, TUBE, "4130")
    assert (law.source, law.count, law.residual) == ("tests", 2, None)
    assert (law.a, law.b) == pytest.approx((0.5, 1.05))
    assert law.stop(60.0) == pytest.approx(63.5)
    assert law.outcome(63.5) == pytest.approx(60.0)
    assert (law.low, law.high) == pytest.approx((5.0 / 95.0, 2.0 / 32.0))


def test_one_test_bend_goes_in_proportion():
    law = springback_for(shop(trial(93.0, 90.0)), DIE, TUBE, "4130")
    assert (law.a, law.b, law.count, law.residual) == (0.0, pytest.approx(93.0 / 90.0), 1, None)
    assert law.stop(45.0) == pytest.approx(46.5)
    assert law.radius_out(114.3) == law.radius_out(114.3, 50.0) == pytest.approx(114.3 * 93.0 / 90.0)


@given(st.lists(st.tuples(st.floats(5.0, 180.0), st.floats(-2.0, 2.0)), min_size=3, max_size=12))
def test_many_test_bends_are_fitted_by_least_squares(rows):
    angles = np.array([angle for angle, _ in rows])
    assume(np.ptp(angles) > 20.0)
    stops = 2.5 + 1.03 * angles + np.array([off for _, off in rows])
    law = fit_tests([trial(float(s), float(x)) for s, x in zip(stops, angles, strict=True)], 114.3)
    b, a = np.polyfit(angles, stops, 1)
    assert (law.a, law.b) == pytest.approx((a, b), rel=1e-7, abs=1e-7)
    assert law.residual == pytest.approx(np.abs(stops - a - b * angles).max(), abs=1e-7)


def test_test_bends_close_together_go_in_proportion():
    """Two readings of one angle tell no slope: (90.2, 93) and (89.8, 93) would give none at all."""
    law = fit_tests([trial(93.0, 90.2), trial(93.0, 89.8)], 114.3)
    assert (law.a, law.b) == (0.0, pytest.approx(93.0 * 180.0 / (90.2**2 + 89.8**2)))
    assert law.residual == pytest.approx(0.2, abs=0.02)
    assert "too close together" in law.note


@given(st.floats(-3.0, 5.0), st.floats(1.0, 1.3), st.floats(10.0, 170.0))
def test_stop_and_outcome_undo_each_other(a, b, target):
    law = Springback("tests", a, b)
    assert law.outcome(law.stop(target)) == pytest.approx(target, rel=1e-12)


def test_the_arc_is_kept():
    """R out times the angle that came out is the die's radius times what of the stop bends: 79 less a play of 1."""
    law = Springback("tests", 1.0, 1.04)
    stop = law.stop(75.0)
    assert law.radius_out(114.3, stop) * radians(75.0) == pytest.approx(114.3 * pi * 78.0 / 180.0)
    assert machine_bend(bend(75.0), Seat(DIE, False), law).stick == pytest.approx(114.3 * pi * 78.0 / 180.0)


def test_play_of_the_stop_opens_no_radius():
    """Stops 1.19 + 1.0203 x angle on a die of 6 in: 6.122 in at every angle, not 6.43 in at 23 degrees."""
    law = fit_tests([trial(1.19 + 1.0203 * angle, angle) for angle in (23.0, 45.0, 90.0)], 152.4)
    assert (law.a, law.b) == pytest.approx((1.19, 1.0203))
    for angle in (5.0, 23.0, 90.0, 170.0):
        # the same another way: the die turns the tube by the stop less the play, and that arc opens to the angle
        bent = law.stop(angle) - 1.19
        assert law.radius_out(152.4, law.stop(angle)) == pytest.approx(152.4 * bent / angle)
        assert law.radius_out(152.4, law.stop(angle)) / 25.4 == pytest.approx(6.1218)
    assert law.radius_out(152.4) / 25.4 == pytest.approx(6.1218)
    assert law.opening(23.0) == pytest.approx(1.0203)


def test_a_line_that_starts_below_zero_has_no_play():
    """Stops -0.5 + 1.06 x angle: at 30 degrees 31.3, so 31.3/30 of the die's radius; at 5 degrees the die's own."""
    law = Springback("tests", -0.5, 1.06)
    assert law.play == 0.0
    assert law.radius_out(100.0, law.stop(30.0)) == pytest.approx(100.0 * 31.3 / 30.0)
    assert law.radius_out(100.0, law.stop(5.0)) == 100.0, "springback only opens a bend"


# --- a radius that springback does not explain ----------------------------------------------------------


def test_an_odd_radius_is_a_warning():
    """4130, 75 to 95 ksi: 1.5 x 0.095 in at 3 D opens by some 2.7 % at most; 1.10 x angle says 10 %."""
    odd = springback_for(shop(trial(33.0, 30.0), trial(99.0, 90.0)), DIE, TUBE, "4130")
    (finding,) = fit_findings(odd, DIE, None, None)
    assert (finding.code, finding.severity, finding.variant) == ("springback-odd-radius", "warning", "metal")
    assert finding.measured == pytest.approx(1.10 * 114.3) and 1.03 * 114.3 < finding.limit < 1.10 * 114.3
    assert "a radius of up to 125.73 mm, 10.0 % over the die's 114.30 mm" in finding.message
    fine = springback_for(shop(trial(31.0, 30.0), trial(93.0, 90.0)), DIE, TUBE, "4130")
    assert fit_findings(fine, DIE, None, None) == []
    play = springback_for(shop(trial(33.0, 30.0), trial(93.8, 90.0)), DIE, TUBE, "4130")
    assert play.a > 2.0 and fit_findings(play, DIE, None, None) == [], "play is no radius"


def test_an_odd_radius_of_unknown_metal():
    assert fit_findings(fit_tests([trial(103.0, 90.0)], 114.3), DIE, None, None) == []
    (finding,) = fit_findings(fit_tests([trial(104.0, 90.0)], 114.3), DIE, None, None)
    assert finding.variant == "usual" and finding.measured == pytest.approx(114.3 * 104.0 / 90.0)


def test_a_radius_under_the_dies_is_odd():
    """(40, 42) and (90, 91): slope 0.98, so 2 % under the die's; the bend is taken to have the die's."""
    law = fit_tests([trial(42.0, 40.0), trial(91.0, 90.0)], 114.3)
    (finding,) = fit_findings(law, DIE, None, None)
    assert finding.variant == "under" and finding.measured == pytest.approx(0.98 * 114.3)
    assert law.radius_out(114.3, 91.0) == 114.3


def test_a_stop_that_springs_all_the_way_back():
    law = Springback("tests", 3.0, 1.05)
    assert law.outcome(2.0) == 0.0
    with pytest.raises(OptionError, match="springs all the way back"):
        law.radius_out(100.0, 2.0)


def test_recorded_lengths_give_the_stretch():
    """Arcs on the die 114.3 x pi x (90 + 45)/180 = 269.31 mm from 264 mm of stick: 2.01 % longer."""
    law = fit_tests([trial(90.0, 87.0, length=176.0), trial(45.0, 43.5, length=88.0), trial(120.0, 116.0)], 114.3)
    assert law.a == pytest.approx(0.0, abs=1e-9)
    assert law.stretch == pytest.approx(0.0201, abs=5e-5)
    assert machine_bend(bend(87.0), Seat(DIE, False), law).stick == pytest.approx(176.0, rel=1e-3)


def test_play_uses_no_stick():
    """Stops 2 + angle: 90 and 45 degrees of arc on the die, 114.3 x pi x 135/180 = 269.31 mm, from 264 mm of stick."""
    law = fit_tests([trial(92.0, 90.0, length=176.0), trial(47.0, 45.0, length=88.0)], 114.3)
    assert law.play == pytest.approx(2.0) and law.stretch == pytest.approx(0.0201, abs=5e-5)
    assert machine_bend(bend(90.0), Seat(DIE, False), law).stick == pytest.approx(176.0)


# --- which test bends count ---------------------------------------------------------------------------


def test_metal_and_wall_first():
    tests = (
        trial(93.0, 90.0),
        trial(99.0, 90.0, metal="304"),
        trial(98.0, 90.0, wall=3.0),
        trial(97.0, 90.0, metal=None),
        trial(96.0, 90.0, wall=None),
        trial(95.0, 90.0, die="E"),
    )
    law = springback_for(shop(*tests), DIE, TUBE, "chromoly")  # another name of 4130
    assert law.used == tests[:1] and "may be" not in law.note
    law = springback_for(shop(*tests[1:]), DIE, TUBE, "4130")
    assert law.used == (tests[3], tests[4]) and "not used" not in law.note
    assert "may be of other tube: some do not name their metal and some do not name their wall." in law.note
    law = springback_for(shop(tests[0], tests[3]), DIE, TUBE, "4130")
    assert law.used == tests[:1] and "1 test bend that names less of metal and wall was not used." in law.note


def test_tests_without_metal_or_wall_serve_and_say_so():
    bare = trial(93.0, 90.0, metal=None, wall=None)
    law = springback_for(shop(bare), DIE, TUBE, "4130")
    assert law.used == (bare,)
    assert "they do not name their metal and they do not name their wall" in law.note
    half = trial(94.0, 90.0, wall=None)
    law = springback_for(shop(bare, half), DIE, TUBE, "4130")
    assert law.used == (half,) and "they do not name their wall" in law.note


def test_another_metal_or_wall_does_not_serve():
    law = springback_for(shop(trial(93.0, 90.0)), DIE, TUBE, "304")
    assert law.source == "estimate" and "another metal (4130)" in law.note
    law = springback_for(shop(trial(93.0, 90.0, wall=3.0)), DIE, TUBE, "4130")
    assert law.source == "estimate" and "another wall" in law.note
    # 1.6 mm is 0.065 in
    close = springback_for(shop(trial(93.0, 90.0, wall=1.6)), DIE, parse_section("1.5x0.065in"), "4130")
    assert close.source == "tests"


def test_a_tube_of_unknown_metal_takes_the_tests_if_they_are_of_one():
    law = springback_for(shop(trial(93.0, 90.0), trial(47.0, 45.0, metal="4130N")), DIE, TUBE, None)
    assert law.count == 2 and "the metal is not named and that of the tests is 4130" in law.note
    law = springback_for(shop(trial(93.0, 90.0), trial(47.0, 45.0, metal="304")), DIE, TUBE, None)
    assert law.source == "none" and "4130, 304: name the metal" in law.note
    law = springback_for(shop(trial(93.0, 90.0), trial(47.0, 45.0, wall=3.0)), DIE, None, "4130")
    assert law.source == "none" and "several walls" in law.note
    law = springback_for(shop(trial(93.0, 90.0)), DIE, None, "4130")
    assert law.source == "tests" and "the wall is not known" in law.note


def test_a_metal_of_the_shop_that_no_table_knows():
    own = Metal("greenium", 300.0, 400.0, 120.0)
    law = springback_for(shop(trial(93.0, 90.0, metal="Greenium"), metals=[own]), DIE, TUBE, "greenium")
    assert law.source == "tests" and law.count == 1


# --- the estimate -------------------------------------------------------------------------------------


def test_the_estimate_is_marked_and_has_its_range():
    """1020 DOM, 60 to 70 ksi, E 29.0 Msi, 1.5 x 0.095 in at 3 D: 1.682 % and 91.54 degrees at yield."""
    k = 6.894757293168361
    metal = Metal("dom", 60.0 * k, 70.0 * k, 29.0 * k)
    law = springback_for(shop(metals=[metal]), DIE, TUBE, "dom")
    assert (law.source, law.a, law.residual, law.count) == ("estimate", 0.0, None, 0)
    assert law.stop(90.0) == pytest.approx(91.54, abs=5e-3)
    assert 100.0 * law.low == pytest.approx(1.682, abs=5e-4)
    assert law.high == pytest.approx(law.low * 70.0 / 60.0, rel=2e-3)  # in proportion to the stress, nearly
    assert law.stop_range(90.0) == pytest.approx((law.stop(90.0), 90.0 / (1.0 - law.high)))
    assert law.radius_out(114.3, law.stop(90.0)) == pytest.approx(114.3 / (1.0 - law.low))
    assert "An estimate" in law.note


def test_no_estimate_says_why():
    for section, metal, told in (
        (None, "4130", "without a section"),
        (TUBE, None, "not named"),
        (TUBE, "unobtainium", "'unobtainium' is not known"),
        (TUBE, "half", "'half' has no modulus_gpa"),
        (TUBE, "none", "'none' has no yield_mpa"),
        (TUBE, "spring", "all the way back"),
    ):
        own = [Metal("half", 300.0), Metal("none", modulus_gpa=200.0), Metal("spring", 9000.0, 9900.0, 9.0)]
        law = springback_for(shop(metals=own), DIE, section, metal)
        assert (law.source, law.stop(90.0), law.outcome(90.0)) == ("none", 90.0, 90.0)
        assert told in law.note
        assert law.stop_range(90.0) == (90.0, 90.0)


def test_a_rectangle_springs_back_as_it_lies():
    tube = Section("rectangular", 50.0, 2.0, height=25.0, corner=4.0)
    die = Die("R", "rectangular", 50.0, 150.0, height=25.0)
    flat = springback_for(shop(), die, tube, "mild steel")
    tall = springback_for(shop(), die, tube, "mild steel", turned=True)
    assert flat.low > 1.5 * tall.low  # half the depth, about twice the springback


# --- resuming -----------------------------------------------------------------------------------------


def test_resume_by_the_slope_of_the_tests():
    """5 degrees short at 1.05 degrees of stop each: 5.25 further."""
    law = springback_for(shop(trial(32.0, 30.0), trial(95.0, 90.0)), DIE, TUBE, "4130")
    answer = resume(law, 89.0, 85.0, 90.0)
    assert (answer.stop, answer.left, answer.over) == (pytest.approx(94.25), 5.0, 0.0)
    assert "set the stop to 94.25°" in answer.message


@pytest.mark.parametrize(
    "law", [Springback("none"), Springback("estimate", b=1.02), Springback("tests", b=1.03, count=1)]
)
def test_resume_by_proportion(law):
    """80 came out of 84: 90 comes out of 94.5."""
    assert resume(law, 84.0, 80.0, 90.0).stop == pytest.approx(94.5)


@given(st.floats(1.0, 150.0), st.floats(0.0, 10.0), st.floats(0.1, 60.0))
def test_a_resumed_bend_always_goes_on(measured, back, more):
    law = Springback("tests", 1.0, 1.04, count=3)
    for one in (law, Springback("none")):
        answer = resume(one, measured + back, measured, measured + more)
        assert answer.stop is not None and answer.stop > measured + back
        assert answer.stop >= measured + more - 1e-9  # a proportion rounds


def test_a_resumed_bend_to_the_steps_of_a_scale():
    """94.5 degrees wanted; a scale of whole degrees gives 95. From 94.2 nothing on the scale is nearer: it stays."""
    answer = resume(Springback("none"), 84.0, 80.0, 90.0, on_scale=lambda stop: floor(stop + 0.5))
    assert (answer.stop, answer.stop_set) == (pytest.approx(94.5), 95.0)
    assert "set the stop to 95.00°" in answer.message
    stays = resume(Springback("none"), 94.2, 90.0, 90.15, on_scale=lambda stop: floor(stop + 0.5))
    assert (stays.stop, stays.stop_set, stays.left) == (pytest.approx(94.2 * 90.15 / 90.0), None, pytest.approx(0.15))
    assert "leave it at its stop of 94.20°" in stays.message
    assert resume(Springback("none"), 84.0, 80.0, 90.0).stop_set == pytest.approx(94.5)


def test_too_far_says_by_how_much():
    """2 degrees: 200 sin(1 degree) = 3.49 mm per 100 mm of leg."""
    answer = resume(Springback("none"), 95.0, 92.0, 90.0)
    assert (answer.stop, answer.left, answer.over) == (None, 0.0, 2.0)
    assert answer.moves == pytest.approx(200.0 * sin(radians(1.0))) == pytest.approx(3.4905, abs=1e-4)
    assert "2.00° too far" in answer.message and "3.49 mm" in answer.message


def test_there_already():
    answer = resume(Springback("none"), 92.0, 90.04, 90.0)
    assert (answer.stop, answer.left, answer.over) == (None, 0.0, 0.0)
    assert "leave it" in answer.message


@pytest.mark.parametrize(
    ("words", "told"),
    [((0.0, 80.0, 90.0), "stop"), ((85.0, 0.0, 90.0), "measured"), ((85.0, 80.0, 360.0), "target"),
     ((85.0, 86.0, 90.0), "cannot come out"), ((float("nan"), 80.0, 90.0), "stop")],
)  # fmt: skip
def test_resume_refuses_what_cannot_be(words, told):
    with pytest.raises(OptionError, match=told):
        resume(Springback("none"), *words)


# --- what is said -------------------------------------------------------------------------------------


def test_a_poor_fit_names_the_worst_test():
    good = fit_tests([trial(32.0, 30.0), trial(63.5, 60.0), trial(95.5, 90.0)], 114.3)
    assert good.residual == pytest.approx(1.0 / 6.0) and fit_findings(good, DIE, None, None) == []
    poor = fit_tests([trial(32.0, 30.0), trial(70.0, 60.0), trial(95.0, 90.0)], 114.3)
    (finding,) = fit_findings(poor, DIE, None, None)
    assert (finding.code, finding.severity, finding.unit) == ("springback-poor-fit", "warning", "deg")
    # the line through the means lies 2.17 above the outer two and 4.33 below the middle one
    assert finding.measured == poor.residual == pytest.approx(13.0 / 3.0)
    assert "the one set to 70° that came out at 60°" in finding.message


def test_an_estimate_and_nothing_are_said():
    (finding,) = fit_findings(springback_for(shop(), DIE, TUBE, "304"), DIE, TUBE, "304")
    assert (finding.code, finding.severity) == ("springback-estimate", "note")
    bar = parse_section("1.5in bar")
    (other,) = fit_findings(springback_for(shop(), DIE, bar, "304"), DIE, bar, "304")
    assert other.message.startswith("The springback of 38.10 mm bar of 304 on the die"), (
        "of another section another figure"
    )
    assert other.message != finding.message and other.measured != finding.measured
    (finding,) = fit_findings(springback_for(shop(), DIE, TUBE, None), DIE, TUBE, None)
    assert (finding.code, finding.severity) == ("springback-none", "warning")
    # what is there is not asked for
    assert finding.cure_in().startswith("Name a metal that is known (--metal, or in the job file), or record")
    (finding,) = fit_findings(springback_for(shop(), DIE, None, "304"), DIE, None, "304")
    assert finding.cure_in().startswith("Name the section, or record")
    assert fit_findings(springback_for(shop(trial(93.0, 90.0)), DIE, TUBE, "4130"), DIE, TUBE, "4130") == []


# --- the section that fills a die ---------------------------------------------------------------------


def test_section_on_a_die():
    assert section_on(DIE, None) is None
    assert section_on(DIE, 2.413) == Section("round", 38.1, 2.413)
    assert section_on(DIE, 19.05) == Section("bar", 38.1, 19.05)
    square = Die("S", "square", 40.0, 150.0)
    assert section_on(square, 2.0) == Section("square", 40.0, 2.0, corner=4.0)
    tall = Die("R", "rectangular", 50.0, 150.0, height=25.0)
    assert section_on(tall, 2.0) == Section("rectangular", 50.0, 2.0, height=25.0, corner=4.0)
    for die, wall in ((DIE, 0.0), (DIE, -1.0), (DIE, 19.5), (square, 20.0), (tall, 13.0)):
        with pytest.raises(OptionError):
            section_on(die, wall)
