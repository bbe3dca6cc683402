"""The rest of the limits, swept as in `test_at_the_limit`, and a table of all codes: which limit is swept where.

What is degenerate exactly at its limit (nothing is left of a tube, an axis along the side of its mate) is a fault there
and up to the noise before it; of such the sweep begins where that ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import cos, inf, nextafter, pi, radians, sin, sqrt
from pathlib import Path
from typing import Any

import pytest
from command_line import run
from copes import straight
from limits_swept import Limit, assert_kept
from sweep_tools import sweep_order
from test_at_the_limit import BARE, SPRINGY, STEEL, TUBE, of, of_cope, shop_of, tube

from converter.audit.registry import audit
from converter.bending.pieces import at_lengths, pieces_of
from converter.bending.room.order import MARGIN
from converter.bending.setup.setup import set_up
from converter.bending.split import best_split
from converter.findings import CODES, Finding
from converter.findings.wording import grouped, message
from converter.job.unit_doubts import section_doubts
from converter.joints.cope import cope_frame
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Curve, Line
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.reducer import reduce_drawing
from converter.reducer.refit import fillet_corners, keeps_shape
from converter.settings import Settings
from converter.shop.consistency import LEAST_TUBE, MOST_TUBE, doubts
from converter.shop.corners import corner_findings
from converter.shop.model import Box, Die, Machine, Metal, Shop, Trial
from converter.tolerances import MOST_MITRE, PAST_ANGLE, PAST_LENGTH, PAST_SHARE
from converter.units import MM_PER, Display

THIN = Section("round", 30.0, 2.0)
TWO_BENDS = [(300.0, 0.0, 90.0, 150.0), (0.0, 90.0, 90.0, 150.0)]


def hardening(value: float) -> Sequence[Any]:
    """A metal as strong at yield as the one that the machine is proven with, and so many times as strong at last."""
    metals = (Metal("soft", 200.0, 300.0, 205.0, 7850.0), Metal("hard", 200.0, 300.0 * value, 205.0, 7850.0))
    machine = Machine(proven_section=TUBE, proven_metal="soft")
    one = tube([(300.0, 0.0, 90.0, 150.0)], 300.0, metal="hard")
    return of("near-capacity", one, shop_of(machine=machine, metals=metals))


def cracking(value: float) -> Sequence[Any]:
    """The outside stretches by half the size over the radius; one and a half of the elongation is a warning."""
    die = replace(BARE, clr=2500.0 / value)
    said = of("strain-high", tube([(300.0, 0.0, 90.0, die.clr)], 300.0, metal="steel"), shop_of(die, metals=(STEEL,)))
    return [one for one in said if one.severity == "warning"]


def with_straight(value: float) -> Tube:
    return tube([TWO_BENDS[0], (value, 90.0, 90.0, 150.0)], 300.0)


def butt_by_advice(value: float) -> Sequence[Any]:
    """A sleeve reaches two outside sizes into each half: four of 50 mm."""
    cut = best_split(with_straight(value).run.table, 50.0, lambda cut: True)
    return [] if cut is not None and cut.joint == "sleeve" else [cut]


def butt_by_split(value: float) -> Sequence[Any]:
    middle = 300.0 + 150.0 * pi / 2.0 + value / 2.0
    return [joint for joint in at_lengths(with_straight(value), [middle]).joints if joint.kind == "butt"]


def open_ring(value: float) -> Sequence[Any]:
    """Four quarter bends with straights of a value between them: no hoop any more."""
    one = tube([(value, 0.0, 90.0, 150.0)] * 4, 0.0)
    one = replace(one, run=replace(one.run, closed=True))
    return of("closed-loop", one, shop_of())


def passing(value: float) -> Sequence[Any]:
    """Once around, and on beside the first straight, so many mm from it: three quarters of 50 mm are the least."""
    rows = [(600.0, 0.0, 90.0, 100.0), (200.0, 0.0, 90.0, 100.0), (300.0, 0.0, 90.0, 100.0),
            (200.0 - value, 0.0, 90.0, 100.0)]  # fmt: skip
    said = of("self-contact", tube(rows, 250.0), shop_of(replace(BARE, clr=100.0)))
    return [one for one in said if one.variant == "passes"]


def shifted(value: float) -> Sequence[Any]:
    """Two bends back to back, so many mm of straight short of what springback takes."""
    shop = shop_of(tests=SPRINGY)
    taken = set_up([tube(TWO_BENDS, 300.0)], shop, "A")[0].excess[1]
    return [one for one in of("legs-shifted", with_straight(taken - value), shop) if one.severity == "warning"]


def opened(value: float) -> Sequence[Any]:
    """Half a turn on a radius whose legs come so much further apart: twice what the radius opens by."""
    (made,) = set_up([tube([(300.0, 0.0, 180.0, 150.0)], 300.0)], shop_of(tests=SPRINGY), "A")
    clr = value / 2.0 / (made.steps[0].radius / 150.0 - 1.0)
    return of("bend-wider", tube([(300.0, 0.0, 180.0, clr)], 300.0), shop_of(replace(BARE, clr=clr), tests=SPRINGY))


def scattered(value: float) -> Sequence[Any]:
    """Test bends of one angle, a value above and below their line."""
    tests = (*(Trial("D", None, None, 46.5 + off, 45.0) for off in (value, -value)), SPRINGY[1])
    return of("springback-poor-fit", tube([(300.0, 0.0, 90.0, 150.0)], 300.0), shop_of(tests=tests))


def surely_past(value: float) -> Sequence[Any]:
    """Test bends that scatter: the least stop that a bend may need lies so far past what the die turns."""
    tests = (*(Trial("D", None, None, 46.5 + off, 45.0) for off in (0.5, -0.5)), SPRINGY[1])
    one = tube([(300.0, 0.0, 90.0, 150.0)], 300.0)
    (step,) = set_up([one], shop_of(tests=tests), "A")[0].steps
    low, high = step.springback.stop_range(step.target)
    assert step.target + 1.0 < low < step.stop < high
    said = of("stop-too-great", one, shop_of(replace(BARE, max_angle=low - value), tests=tests))
    return [one for one in said if one.severity == "error"]


def third_piece(value: float) -> Sequence[Any]:
    """A tube twice as long as the longest stick and a value more, straight or bent in its middle."""
    found = []
    for rows, long in (([], 2000.0), ([(1500.0, 0.0, 90.0, 150.0)], 500.0 - 75.0 * pi)):
        shop = shop_of(replace(BARE, clamp=0.0, between=0.0, tail=0.0))
        (made,) = pieces_of([tube(rows, long + value)], shop, longest=1000.0)
        found.append(made is None or len(made.pieces) > 2)
    assert found[0] == found[1]
    return ["more"] if found[0] else []


def on_a_line(slope: float, ahead: float = 0.0) -> Sequence[Any]:
    """Test bends on a line: a stop is so much of its angle, and so many degrees ahead."""
    tests = tuple(Trial("D", None, None, slope * angle + ahead, angle) for angle in (45.0, 90.0))
    return of("springback-odd-radius", tube([(300.0, 0.0, 90.0, 150.0)], 300.0), shop_of(tests=tests))


ELBOW = tube([(300.0, 0.0, 90.0, 150.0)], 300.0)
UPRIGHT = Machine(plane="vertical", pivot_height=1000.0, bends_to="down")
FLAT = Machine(plane="horizontal", pivot_height=1000.0, wall_left=1000.0)
#: What stands where, mm from the pivot; the least room it leaves is its distance less what the tube reaches.
AROUND = {
    "floor": lambda far: replace(UPRIGHT, pivot_height=far),
    "wall": lambda far: replace(FLAT, wall_left=far),
    "stand": lambda far: replace(
        UPRIGHT, pivot_height=5000.0, boxes=(Box("the stand", (-900.0, -900.0, -far - 50.0), (900.0, 900.0, -far)),)
    ),
}


def too_near(what: str, value: float) -> Sequence[Any]:
    """Told where a tube comes so near to something."""
    reach = 1000.0 - sweep_order(ELBOW.run.table, TUBE, AROUND[what](1000.0)).room
    shop = shop_of(machine=AROUND[what](reach + value))
    return [f for f in set_up([ELBOW], shop, "A")[0].findings if f.code == "sweep-close"]


def post(at: float = 0.0, end: float = 900.0, size: Section = THIN, mate: Section = TUBE, long: float = 400.0):
    """A rail of 50 mm along x that ends somewhere, and a tube drawn square to its centerline, so far beside it."""
    return [straight("RAIL", (-900.0, 0.0, 0.0), (end, 0.0, 0.0), mate),
            straight("RUNG", (0.0, at, 0.0), (0.0, at, long), size)]  # fmt: skip


def bent_on(value: float) -> Sequence[Any]:
    """The straight at a coped end, from the rail's centerline; the cut reaches 25 mm."""
    one = tube([(value, 0.0, 90.0, 150.0)], 300.0, THIN)
    place = Placement((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0))
    return of_cope("cope-into-bend", [post()[0], replace(one, run=replace(one.run, name="RUNG", placement=place))])


def short_post(value: float) -> Sequence[Any]:
    """A tube no longer than where its cut reaches least far: sqrt(25^2 - 15^2) = 20 mm."""
    said = of_cope("end-eaten", post(long=value))
    return [one for one in said if one.end == "A" and one.variant == "tube"]


def in_the_way(code: str, other: Tube) -> Sequence[Any]:
    one = straight("A", (-500.0, 0.0, 0.0), (500.0, 0.0, 0.0), TUBE)
    return [found for found in cope_frame([one, other], Shop("s", ())).in_the_way if found.code == code]


def across(value: float) -> Tube:
    """Square over the other, so far between the outsides."""
    return straight("B", (0.0, -500.0, 50.0 + value), (0.0, 500.0, 50.0 + value), TUBE)


def beside(value: float) -> Tube:
    return straight("B", (-300.0, 0.0, 50.0 + value), (300.0, 0.0, 50.0 + value), TUBE)


def not_near(value: float) -> Sequence[Any]:
    return [] if in_the_way("tube-near", across(value)) and in_the_way("tube-near", beside(value)) else [value]


def not_through(value: float) -> Sequence[Any]:
    """A 30 mm tube through a 50 mm one, so far off its middle."""
    other = straight("B", (0.0, value, -500.0), (0.0, value, 500.0), THIN)
    return [] if in_the_way("tube-through", other) else [value]


def gaps(value: float, unit: str = "mm", far: tuple[float, float] = (0.0, 400.0)) -> Sequence[Any]:
    """Two lines so far apart that nobody may think that they were to meet; the other ends so ``far`` from its start."""
    start = 500.0 + value
    lines = ((0.0, 0.0, 0.0), (500.0, 0.0, 0.0)), ((start, 0.0, 0.0), (start + far[0], far[1], 0.0))
    tolerances = Settings(near="2mm" if unit == "mm" else "0.0787401574803149606in").tolerances(unit)
    drawing = Drawing("d", unit, curves=[DrawnCurve(Line(*ends)) for ends in lines])
    told = reduce_drawing(drawing, tolerances)[1]
    return [] if any(one.code == "near-gap" for one in told) else [value]


def refit_to(value: float) -> Sequence[Any]:
    """A straight of 1000 mm, and a centerline that moves so far."""
    return [] if keeps_shape(straight("T", (0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), TUBE).run, value) else [value]


def total_of(folder: Any, capsys: Any, value: float) -> Sequence[Any]:
    """A table of one bend whose total is a value above its rows: 0.1 mm for each row may be lost to rounding."""
    whole = 600.0 + 150.0 * pi / 2.0
    (folder / "t.csv").write_text(
        f"feed_mm,rotation_deg,angle_deg,clr_mm,developed_length_mm\n300,0,90,150,{whole + value!r}\n300,,,,\n"
    )
    return [
        f for f in run(capsys, "table", folder / "t.csv", "--json").json["findings"] if f["code"] == "length-disagrees"
    ]


def overlapping(folder: Any, capsys: Any, where: str, value: float) -> Sequence[Any]:
    """A typed table with a straight so many mm below nothing: `audit` in its text, its JSON and its status alike."""
    feeds = {"before": (-value, 300.0, 300.0), "between": (300.0, -value, 300.0), "tail": (300.0, 300.0, -value)}[where]
    (folder / "t.csv").write_text(
        f"feed_mm,rotation_deg,angle_deg,clr_mm\n{feeds[0]!r},0,90,150\n{feeds[1]!r},90,90,150\n{feeds[2]!r},,,\n"
    )
    found = run(capsys, "audit", folder / "t.csv", "--json")
    said = [one for one in found.json["findings"] if one["code"] == "negative-straight"]
    text = run(capsys, "audit", folder / "t.csv")
    assert bool(said) == ("overlap by" in text.out or "past that end" in text.out) and (
        not said or found.status == text.status == 1
    )
    assert all(" 0.00 mm" not in one["message"] for one in said)
    return said


def left_open(value: float) -> Sequence[Any]:
    """A round post on a flat with corner radii of 6 mm, so wide that it is open by a value at them."""
    size = 2.0 * (19.0 + sqrt(36.0 - (6.0 - value) ** 2))
    return of_cope("cope-open", post(size=Section("round", size, 2.0), mate=Section("square", 50.0, 3.0, corner=6.0)))


def corners(*angles: float, closed: bool = False, section: Section = TUBE, die: Die = BARE, feed: float = 600.0):
    """Why mitres are likely, of sharp corners of some angles, so far apart."""
    rows = tuple(Bend(feed, 0.0, angle, None, corner=True) for angle in angles)
    drawn = Run("T", None, closed, BendTable(rows, feed), Placement())
    one = Tube(fillet_corners(drawn, die.clr), section, die.name, drawn=drawn)
    found = corner_findings([one], shop_of(die), None, None)
    return [clause.name for finding in found for clause in dict(finding.value_pairs)["reasons"]]


def mitred_by(value: float) -> Sequence[Any]:
    """A corner of so many degrees in square tube, which no die takes: more than 10 may be a mitre."""
    return corners(value, section=Section("square", 50.0, 2.0))


def out_of_square(value: float) -> Sequence[Any]:
    """A closed frame of four corners, two of them off a right angle by a value."""
    found = corners(90.0 + value, 90.0 - value, 90.0 + value, 90.0 - value, closed=True)
    return [] if "corner-closed" in found else [value]


def held_between(value: float) -> Sequence[Any]:
    """Two corners that leave so much straight between their bends of 150 mm: the die needs 70."""
    return [one for one in corners(90.0, 90.0, die=replace(BARE, between=70.0), feed=value + 300.0)
            if one == "corner-too-short"]  # fmt: skip


def read(*curves: Curve) -> tuple[list[Run], list[Finding]]:
    runs, told = reduce_drawing(
        Drawing("d", "mm", curves=[DrawnCurve(one) for one in curves]), Settings().tolerances("mm")
    )
    return runs, [*told, *(finding for run in runs for finding in run.findings)]


def told_of(code: str, *curves: Curve) -> list[Finding]:
    return [one for one in read(*curves)[1] if one.code == code]


def kinked(value: float) -> Sequence[Any]:
    """A straight, and a quarter of a circle that sets out so many degrees off it."""
    d = radians(value)
    arc = Arc.swept((500.0 - 100.0 * sin(d), 100.0 * cos(d), 0.0), (0.0, 0.0, 1.0), (500.0, 0.0, 0.0), 90.0)
    return told_of("kink", Line((0.0, 0.0, 0.0), (500.0, 0.0, 0.0)), arc)


def cornered(value: float) -> Sequence[Any]:
    """Two straights at so many degrees."""
    d = radians(value)
    lines = ((0.0, 0.0, 0.0), (500.0, 0.0, 0.0)), ((500.0, 0.0, 0.0), (500.0 + 400.0 * cos(d), 400.0 * sin(d), 0.0))
    (run,), _ = read(*(Line(*ends) for ends in lines))
    return run.table.bends


def doubled_back(value: float) -> Sequence[Any]:
    """Two straights, the second so many degrees off the way back."""
    d = radians(180.0 - value)
    lines = ((0.0, 0.0, 0.0), (500.0, 0.0, 0.0)), ((500.0, 0.0, 0.0), (500.0 + 400.0 * cos(d), 400.0 * sin(d), 0.0))
    return told_of("fold-back", *(Line(*ends) for ends in lines))


def sized(value: float) -> Sequence[Any]:
    return told_of("run-size", Line((0.0, 0.0, 0.0), (value, 0.0, 0.0)))


def doubted(unit: str, value: float) -> Sequence[Any]:
    """A die and a section typed without its unit, of so many mm: of the shop file and of the option alike."""
    number = value / MM_PER[unit]
    shop = Shop("s", (Die("D", "round", value, 1000.0),), units=unit)
    said = doubts(shop)
    assert [f.code for f in said] == ["shop-unit"] * len(said)
    typed = section_doubts([f"{number!r}x{number / 10.0!r}"], unit)
    assert [f.code for f in typed] == ["section-unit"] * len(said)
    return said


def share(value: float) -> float:
    return value * PAST_SHARE


LIMITS = {
    "near capacity": Limit(hardening, 1.0, PAST_SHARE, 1),
    "strain that cracks": Limit(cracking, 30.0, share(30.0), 1),
    "sleeve, by the advice": Limit(butt_by_advice, 200.0, 2.0 * PAST_LENGTH, -1),
    "sleeve, by split": Limit(butt_by_split, 200.0, 2.0 * PAST_LENGTH, -1),
    "straights of a ring": Limit(open_ring, 0.1, share(0.1), 1),
    "past itself": Limit(passing, 37.5, PAST_LENGTH, -1),
    "legs as bends go": Limit(shifted, 1.0, share(1.0), 1),
    "legs of half a turn": Limit(opened, 0.5, share(0.5), 1),
    "least stop of a range": Limit(surely_past, 0.0, PAST_ANGLE, 1),
    "pieces as long as a stick": Limit(third_piece, 0.0, 2.0 * PAST_LENGTH, 1),
    "test bends off their line": Limit(scattered, 1.0, share(1.0), 1),
    "end of the mate": Limit(lambda v: of_cope("mate-ends", post(end=15.0 - v)), 2.0, share(2.0), 1),
    "smaller mate": Limit(
        lambda v: of_cope("mate-smaller", post(size=TUBE, mate=Section("round", v, 2.0))), 49.8, 2.0 * share(0.1), -1
    ),
    "part of an end beside": Limit(lambda v: of_cope("cope-partial", post(v)), 10.1, share(0.1), 1),
    "axis beside": Limit(lambda v: of_cope("joint-beside", post(v)), 25.0 - 1.5 * PAST_LENGTH, 0.5 * PAST_LENGTH, 1),
    "cut into the bend": Limit(bent_on, 24.9, share(0.1), -1),
    "cut off one side": Limit(
        lambda v: [one for one in of_cope("end-eaten", post(long=v)) if one.end == "A"], 24.9, share(0.1), -1
    ),
    "all cut off": Limit(short_post, 20.0 + 1.5 * PAST_LENGTH, 0.5 * PAST_LENGTH, -1),
    "metal in metal": Limit(lambda v: in_the_way("tube-clash", beside(-v)), 0.1, share(0.1), 1),
    "metal in metal, crossing": Limit(lambda v: in_the_way("tube-crossing", across(-v)), 2.0, share(2.0), 1),
    "near one another": Limit(not_near, 1.0, share(1.0), 1),
    "through a larger one": Limit(not_through, 9.9 - 1.5 * share(0.1), 0.5 * share(0.1), 1),
    "near gap": Limit(gaps, 2.0, share(2.0), 1),
    "near gap, in line": Limit(lambda v: gaps(v, far=(400.0, 0.0)), 10.0, share(10.0), 1),
    "near gap, typed in inches": Limit(lambda v: gaps(v, "in"), 2.0, share(2.0), 1),
    "test bends under the die": Limit(lambda v: on_a_line(1.0 - v, 3.0), 0.005, share(0.005), 1),
    "test bends that open much": Limit(lambda v: on_a_line(1.0 + v), 0.15, share(0.15), 1),
    "floor": Limit(lambda v: too_near("floor", v), MARGIN, PAST_LENGTH, -1),
    "wall": Limit(lambda v: too_near("wall", v), MARGIN, PAST_LENGTH, -1),
    "stand": Limit(lambda v: too_near("stand", v), MARGIN, PAST_LENGTH, -1),
    "refit within a tenth": Limit(refit_to, 100.0, share(100.0), 1),
    "open at the corner radii": Limit(left_open, 0.05, share(0.05), 1),
    "corners that may be mitres": Limit(mitred_by, 10.0, PAST_ANGLE, 1),
    "right angles of a frame": Limit(out_of_square, 0.5, PAST_ANGLE, 1),
    "straights between corners": Limit(held_between, 70.0, PAST_LENGTH, -1),
    "tangent": Limit(kinked, 0.2, share(0.2), 1),
    "straight on": Limit(cornered, 0.2, share(0.2), 1),
    "straight back": Limit(doubled_back, 0.2, share(0.2), -1),
    "least length": Limit(sized, 0.1, share(0.1), -1),
    "greatest length": Limit(sized, 1e6, share(1e6), 1),
    "greatest tube in inches": Limit(lambda v: doubted("in", v), MOST_TUBE, PAST_LENGTH, 1),
    "least tube in mm": Limit(lambda v: doubted("mm", v), LEAST_TUBE, PAST_LENGTH, -1),
}


@pytest.mark.parametrize("name", LIMITS)
def test_at_the_limit_rounding_turns_no_verdict(name):
    assert_kept(LIMITS[name])


def test_a_table_as_long_as_its_total_but_for_the_rounding_of_its_rows(tmp_path, capsys):
    assert_kept(Limit(lambda v: total_of(tmp_path, capsys, v), 0.2, share(0.2), 1))


@pytest.mark.parametrize("where", ["before", "between", "tail"])
def test_a_straight_that_rounding_left_below_nothing(where, tmp_path, capsys):
    """ "negative-straight": what is less than nothing by no more than 0.01 mm is none, as after a refit."""
    assert_kept(Limit(lambda v: overlapping(tmp_path, capsys, where, v), 0.0, PAST_LENGTH, 1))


@pytest.mark.parametrize("between", [(100.0, 150.0), (63.5, 76.2)])
def test_of_two_dies_as_near_the_tighter_is_taken_wherever_that_was_rounded_to(between):
    """In the middle of two: audit and set-up name the same one, and the one that a hair nearer would not change."""
    tight, wide = (Die(f"R{clr:g}", "round", 50.0, clr, mark_offset=0.0) for clr in between)
    middle = sum(between) / 2.0
    for shop in (replace(shop_of(tight), dies=(tight, wide)), replace(shop_of(tight), dies=(wide, tight))):
        for clr in (middle, nextafter(middle, inf), nextafter(middle, -inf), middle + 1e-9, middle - 1e-9):
            one = tube([(300.0, 0.0, 90.0, clr)], 300.0)
            (said,) = [f for f in audit([one], shop) if f.code.startswith("radius-")]
            assert said.limit == tight.clr
            assert set_up([one], shop)[0].steps[0].die is tight
    one = tube([(300.0, 0.0, 90.0, middle + 0.01)], 300.0)
    shop = replace(shop_of(tight), dies=(tight, wide))
    assert set_up([one], shop)[0].steps[0].die is wide


@pytest.mark.parametrize(("typed", "status"), [("75", 0), ("75.0", 0), ("75.01", 2)])
def test_the_most_that_a_saw_may_be_said_to_turn(typed, status, tmp_path, capsys):
    """A number that is typed is no noise: it is taken as it stands."""
    assert MOST_MITRE == 75.0
    (tmp_path / "t.csv").write_text("feed_mm,rotation_deg,angle_deg,clr_mm\n300,0,90,150\n300,,,\n")
    outcome = run(capsys, "cutlist", tmp_path / "t.csv", "--section", "50x2mm", "--mitre", typed, "--json")
    assert (outcome.status == 2) == (status == 2)


# --- which code has a limit, and where it is swept ---------------------------------------------

HERE, THERE, READING = "test_more_limits", "test_at_the_limit", "test_reading_limits"
SWEPT = {
    "angle-too-great": THERE, "bar-on-list-only": "as stick-too-long",
    "bars-lacking": "what fills a bar: test_at_the_limit", "bend-wider": HERE,
    "closed-loop": HERE, "cope-into-bend": HERE, "cope-partial": HERE, "d-of-bend": THERE, "end-eaten": HERE,
    "end-too-short": THERE, "hole-saw-angle": THERE, "hole-saw-depth": THERE, "hole-saw-size": THERE,
    "hoop": "as closed-loop", "joint-angle": THERE, "joint-beside": HERE, "joint-missed": THERE, "legs-shifted": HERE,
    "length-disagrees": HERE, "mate-ends": HERE, "mate-smaller": HERE, "near-capacity": HERE, "near-gap": HERE,
    "healed-gap": "as near-gap", "no-die": THERE, "over-capacity": THERE,
    "piece-too-long": "what fits a bar: test_at_the_limit", "radius-too-wide": THERE,
    "radius-between-dies": "of two dies as near: test_more_limits", "roll-not-quarter": THERE, "self-contact": THERE,
    "short-run": THERE, "springback-poor-fit": HERE, "stick-too-long": THERE, "stop-too-great": THERE,
    "step-too-coarse": "bending/test_setup_rounding",
    "straight-too-short": THERE, "strain-high": HERE, "thinning": THERE, "tube-clash": HERE, "tube-crossing": HERE,
    "tube-near": HERE, "tube-through": HERE, "wall-factor": THERE, "sweep-close": "test_search_plainly",
    "sweep-hits": "test_search_plainly", "order-changed": "test_search_plainly",
    "die-to-buy": "the radius of a die: test_at_the_limit", "radius-too-tight": "as radius-too-wide",
    "springback-odd-radius": HERE, "negative-straight": HERE, "cope-open": HERE, "kink": HERE, "fold-back": HERE,
    "near-tangent": READING, "speck-removed": READING, "rebuild-deviation": READING, "mesh-not-round": READING,
    "mesh-uncertain": READING, "solid-tapered": READING, "solid-oval": "as solid-tapered", "solid-volume": READING,
    "section-differs": READING, "leftover-line": READING,
    "run-size": HERE, "shop-unit": HERE, "section-unit": HERE, "corner-choice": "what corner_findings says: here",
}  # fmt: skip
#: A limit that sorts how a drawing, a mesh or a solid is read; what is read is the same within tolerances beside it.
SORTS = {
    "curve-fitted", "fit-looser", "duplicate-removed", "metal-unit",
    "annotation-suspect", "arc-flattened", "arc-suspect", "not-line-arc",
    "radius-uncertain", "radius-approximate",
    "radius-shared", "mesh-ambiguous", "mesh-misfit", "mesh-precision", "mesh-rest", "mesh-fitted",
    "mesh-search-ended", "mesh-not-all-read", "solid-off", "solid-plate",
    "solid-remains", "solid-ends", "outline-size",
    "outline-suspect", "section-drawn", "untrimmed", "not-stock", "overlap-kept", "units-doubted", "units-assumed",
    "cope-again", "joint-as-drawn", "joint-crowded", "joint-drawn", "joint-parallel",
    "joint-coaxial", "left-out-touches", "plane-open",
}  # fmt: skip
#: What is told of something that is there or not.
NO_LIMIT = {
    "block-stretched",
    "capacity-unknown", "clamp-unknown", "corner-filleted", "corner-mitred", "corner-no-radius",
    "corners-joined", "curve-sampled",
    "demo-shop", "die-choice", "entity-unread", "file-repaired", "hole-saw-none", "hole-saw-not", "job-unmatched",
    "joined-across-layers", "joint-butt", "joint-ring", "joint-skipped", "joint-unmatched", "joint-unplaced",
    "junction", "kerf-assumed",
    "layers-skipped", "mark-offset-unknown", "mesh-skin", "model-scale", "no-solid",
    "outline-none", "outline-read", "part-elsewhere", "part-refused", "piece-no-bar", "piece-no-section", "refit",
    "section-assumed", "section-noted", "section-unknown", "shop-example", "solid-end-to-end", "solid-facets",
    "solid-fused", "solid-joined", "solid-skin", "solid-swept", "springback-estimate", "springback-none",
    "sweep-unknown", "units-overridden",
}  # fmt: skip


def test_of_every_code_it_is_known_whether_its_limit_is_swept():
    """A new code wants a place in one of the three: with a limit that decides what is cut, among the sweeps."""
    told = [*SWEPT, *SORTS, *NO_LIMIT]
    assert sorted(told) == sorted(CODES)
    for where in (HERE, THERE, READING):
        text = (Path(__file__).parent / f"{where}.py").read_text().split("HERE, THERE, READING = ")[0]
        assert [code for code, place in SWEPT.items() if place == where and f'"{code}"' not in text] == []


def test_what_stretches_or_thins_too_far_is_told_of_every_bend():
    """Of bends of one radius the first alone was told, as if the others did not; on a wide die none is.

    By hand: 30 mm on 60 stretches by 15/60 = 25 %, past the 20 % of the metal; 30 mm on 600 by 2.5 %.
    """
    metal = Metal("stiff", 300.0, 400.0, 205.0, 7850.0, elongation=20.0)
    tight, wide = (Die(name, "round", 30.0, clr) for name, clr in (("tight", 60.0), ("wide", 600.0)))
    rows = [(300.0, 0.0, 90.0, 60.0), (300.0, 90.0, 45.0, 600.0), (300.0, 90.0, 30.0, 60.0)]
    one = Tube(tube(rows, 300.0).run, THIN, metal="stiff")
    shop = Shop("shed", (tight, wide), metals=(metal,), source="s.toml")
    assert [finding.bend for finding in of("strain-high", one, shop)] == [1, 3]
    (group,) = grouped(of("strain-high", one, shop), Display())
    assert "bends 1 and 3: its outside (2.00 D) stretches by 25.0 %" in message(group)
    thinned = [finding.bend for finding in of("thinning", one, shop)]
    assert thinned in ([], [1, 3])
