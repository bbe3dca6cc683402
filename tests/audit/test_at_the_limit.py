"""What lies at a limit: it keeps it, in every answer alike, and no sentence shows the same number on both sides of one.

Each limit is swept through what lies at it, a rounding step away, and a little on either side, in mm and in inches.
"""

from __future__ import annotations

import re
from dataclasses import replace
from math import cos, inf, nextafter, radians, sin

import pytest
from command_line import run
from copes import straight as straight_tube
from limits_swept import Limit, assert_kept
from tubes import run_of

from converter.audit.registry import audit
from converter.bending.metal.springback import fit_tests, resume
from converter.bending.setup.setup import set_up
from converter.comparison.differences import Excess, compare
from converter.comparison.limits import of_shop
from converter.comparison.words import excess_text
from converter.findings import Finding
from converter.findings.wording import message
from converter.job.cutlist import CutGroup
from converter.job.mitres import Slant, shared_cuts
from converter.joints.cope import cope_frame
from converter.model.curve import Line
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import Tube
from converter.model.section import Section
from converter.nesting.model import Saw, StockBar, WantedLength
from converter.nesting.solve import nest
from converter.reducer import reduce_drawing
from converter.shop.model import Cutting, Die, HoleSaw, Machine, Metal, Shop, Stick, Trial
from converter.tolerances import PAST_ANGLE, PAST_LENGTH, PAST_SHARE
from converter.units import BothUnits, Display, in_unit

TUBE = Section("round", 50.0, 2.0)
DIE = Die("D", "round", 50.0, 150.0, max_angle=170.0, clamp=60.0, between=70.0, tail=40.0, mark_offset=0.0)
BARE = Die("D", "round", 50.0, 150.0, mark_offset=0.0)
#: Springback of a thirtieth: a stop of 93 comes out at 90.
SPRINGY = (Trial("D", None, None, 46.5, 45.0), Trial("D", None, None, 93.0, 90.0))
DISPLAYS = (Display(), Display("in"), *(Display("in", n) for n in (8, 16, 64)))
BOTH = BothUnits("mm", more=(BothUnits("mm", fraction=16), BothUnits("mm", places=0, fraction=8)))


def tube(rows, tail, section=TUBE, metal=None) -> Tube:
    return Tube(run_of(rows, tail), section, None, metal=metal)


def found(one: Tube, shop: Shop) -> list[Finding]:
    """Everything that the audit and the set-up say."""
    return [*audit([one], shop), *set_up([one], shop, "A")[0].findings]


def of(code: str, one: Tube, shop: Shop, variants: tuple[str, ...] = ()) -> list[Finding]:
    return [f for f in found(one, shop) if f.code == code and (not variants or f.variant in variants)]


def shop_of(die: Die = BARE, **more) -> Shop:
    return Shop("s", (die,), **more)


def feed(value: float) -> Tube:
    return tube([(300.0, 0.0, 90.0, 150.0), (value, 90.0, 90.0, 150.0)], 300.0)


def end_a(value: float) -> Tube:
    return tube([(value, 0.0, 90.0, 150.0)], 300.0)


def end_b(value: float) -> Tube:
    return tube([(300.0, 0.0, 90.0, 150.0)], value)


def reaching(value: float) -> Tube:
    """Read from a solid, whose metal at end B reaches so far past where the centerline ends."""
    one = tube([(300.0, 0.0, 90.0, 150.0)], 300.0)
    return replace(one, run=replace(one.run, metal=(0.0, value)))


def turned(value: float) -> Tube:
    return tube([(300.0, 0.0, value, 150.0)], 300.0)


def straight(value: float) -> Tube:
    return tube([(300.0, 0.0, 90.0, 150.0)], value - 300.0 - 150.0 * 1.5707963267948966)


def on_rail(theta: float = 90.0, short: float = 0.0, size: float = 30.0) -> list[Tube]:
    """A rail of 50 and a tube on it at an angle, drawn so far short of the rail's outside; or to its centerline."""
    a = radians(theta)
    back = short + 25.0 / sin(a) if short else 0.0
    start, end = ((back + far) * cos(a) for far in (0.0, 400.0)), ((back + far) * sin(a) for far in (0.0, 400.0))
    (x, u), (z, v) = start, end
    rail = straight_tube("RAIL", (-900.0, 0.0, 0.0), (900.0, 0.0, 0.0), TUBE)
    return [rail, straight_tube("RUNG", (x, 0.0, z), (u, 0.0, v), Section("round", size, 2.0))]


def of_cope(code: str, tubes: list[Tube], *saws: HoleSaw) -> list[Finding]:
    return [one for one in cope_frame(tubes, Shop("s", (), hole_saws=saws)).findings if one.code == code]


STEEL = Metal("steel", 350.0, 450.0, 205.0, 7850.0, 20.0)


def _strained(value: float) -> list[Finding]:
    """The outside stretches by half the size over the radius (`outside_strain`)."""
    die = replace(BARE, clr=2500.0 / value)
    return of("strain-high", tube([(300.0, 0.0, 90.0, die.clr)], 300.0, metal="steel"), shop_of(die, metals=(STEEL,)))


def _thinned(value: float) -> list[Finding]:
    """The wall loses (D / 2) / (R + D / 2) (`outside_left`)."""
    die = replace(BARE, clr=25.0 / value - 25.0)
    return of("thinning", tube([(300.0, 0.0, 90.0, die.clr)], 300.0), shop_of(die))


def _moment(value: float) -> list[Finding]:
    """A metal so many times as strong as the one that the machine is proven with."""
    metals = (Metal("soft", 200.0, None, 205.0, 7850.0, None), Metal("hard", 200.0 * value, None, 205.0, 7850.0, None))
    machine = Machine(proven_section=TUBE, proven_metal="soft")
    return of(
        "over-capacity", tube([(300.0, 0.0, 90.0, 150.0)], 300.0, metal="hard"), shop_of(machine=machine, metals=metals)
    )


def _rolled(value: float) -> list[Finding]:
    square = Section("square", 50.0, 2.0)
    return of(
        "roll-not-quarter",
        tube([(300.0, 0.0, 90.0, 150.0), (300.0, 90.0 + value, 90.0, 150.0)], 300.0, square),
        shop_of(),
    )


def _turned_by(value: float) -> list[Finding]:
    """Three quarters round: the straight behind ends the radius less its length from the one before."""
    one = tube([(400.0, 0.0, 270.0, 100.0 + value)], 100.0)
    return [f for f in of("self-contact", one, shop_of()) if f.variant == "turns"]


def _compared(length: float = 0.0, angle: float = 0.0) -> list[Excess]:
    drawn = tube([(300.0, 0.0, 90.0, 150.0)], 300.0).run.table
    made = tube([(300.0 + length, 0.0, 90.0 + angle, 150.0)], 300.0).run.table
    kept = of_shop(0.5, None) if length else of_shop(None, 0.5)
    return [one for one in compare(drawn, made, limits=kept).excesses if one.what in ("leg", "angle") and one.bend == 1]


def _wall(value: float) -> list[Finding]:
    return of("wall-factor", tube([(300.0, 0.0, 90.0, 150.0)], 300.0, Section("round", 50.0, 50.0 / value)),
              shop_of(replace(BARE, max_wall_factor=20.0)))  # fmt: skip


def _ratio(value: float) -> list[Finding]:
    die = replace(BARE, clr=50.0 * value, min_d_of_bend=3.0)
    return of("d-of-bend", tube([(300.0, 0.0, 90.0, die.clr)], 300.0), shop_of(die))


LIMITS = {
    "between": Limit(lambda v: of("straight-too-short", feed(v), shop_of(DIE), ("",)), 70.0, PAST_LENGTH, -1),
    "between, in inches": Limit(
        lambda v: of("straight-too-short", feed(v), shop_of(replace(DIE, between=50.8)), ("",)),
        50.8,
        PAST_LENGTH,
        -1,
    ),
    "clamp": Limit(lambda v: of("end-too-short", end_a(v), shop_of(DIE), ("clamp",)), 60.0, PAST_LENGTH, -1),
    "tail": Limit(lambda v: of("end-too-short", end_b(v), shop_of(DIE), ("pressure die",)), 40.0, PAST_LENGTH, -1),
    "extra at A": Limit(
        lambda v: of("end-too-short", end_a(v), shop_of(DIE), ("longer for clamp",)), 60.0, PAST_LENGTH, -1
    ),
    "metal past the end": Limit(
        lambda v: of("end-too-short", reaching(v), shop_of(DIE), ("longer for metal",)), 0.0, PAST_LENGTH, 1
    ),
    "angle of the die": Limit(lambda v: of("angle-too-great", turned(v), shop_of(DIE)), 170.0, PAST_ANGLE, 1),
    "angle of the machine": Limit(
        lambda v: of("angle-too-great", turned(v), shop_of(machine=Machine(max_angle=120.0))),
        120.0,
        PAST_ANGLE,
        1,
    ),
    "stop": Limit(
        lambda v: of("stop-too-great", turned(v * 90.0 / 93.0), shop_of(DIE, tests=SPRINGY)),
        170.0,
        PAST_ANGLE,
        1,
    ),
    "stick of the machine": Limit(
        lambda v: of("stick-too-long", straight(v), shop_of(machine=Machine(max_length=3048.0))),
        3048.0,
        PAST_LENGTH,
        1,
    ),
    "stick of the rack": Limit(
        lambda v: of("stick-too-long", straight(v), shop_of(stock=(Stick(TUBE, None, 3048.0, None),))),
        3048.0,
        PAST_LENGTH,
        1,
    ),
    "wall factor": Limit(_wall, 20.0, 20.0 * PAST_SHARE, 1),
    "D of bend": Limit(_ratio, 3.0, 3.0 * PAST_SHARE, -1),
    "thinning": Limit(_thinned, 0.21, 0.21 * PAST_SHARE, 1),
    "strain": Limit(_strained, 20.0, 20.0 * PAST_SHARE, 1),
    "moment": Limit(_moment, 1.0, PAST_SHARE, 1),
    "roll of flats": Limit(_rolled, 0.5, PAST_ANGLE, 1),
    "turn on itself": Limit(_turned_by, 50.0, PAST_LENGTH, -1),
    "length over size": Limit(lambda v: of("short-run", tube([], v), shop_of()), 50.0, PAST_LENGTH, -1),
    "radius of the die": Limit(
        lambda v: of("radius-too-wide", tube([(300.0, 0.0, 90.0, v)], 300.0), shop_of()),
        150.05,
        0.05 * PAST_SHARE,
        1,
    ),
    "size of the die": Limit(
        lambda v: of("no-die", tube([(300.0, 0.0, 90.0, 150.0)], 300.0, Section("round", v, 2.0)), shop_of()),
        50.25,
        0.25 * PAST_SHARE,
        1,
    ),
    "angle of a joint": Limit(lambda v: of_cope("joint-angle", on_rail(v)), 15.0, PAST_ANGLE, -1),
    "angle of a hole saw": Limit(lambda v: of_cope("hole-saw-angle", on_rail(v)), 30.0, PAST_ANGLE, -1),
    "depth of a hole saw": Limit(
        lambda v: of_cope("hole-saw-depth", on_rail(size=v), HoleSaw(50.0, 38.1)), 38.1, PAST_LENGTH, 1
    ),
    "depth of a hole saw, twice": Limit(
        lambda v: [f for f in of_cope("hole-saw-depth", on_rail(size=v), HoleSaw(50.0, 19.05)) if f.variant == "never"],
        38.1,
        PAST_LENGTH,
        1,
    ),
    "size of a hole saw": Limit(lambda v: of_cope("hole-saw-size", on_rail(), HoleSaw(v, None)), 51.6, PAST_LENGTH, 1),
    "end short of its mate": Limit(lambda v: of_cope("joint-missed", on_rail(short=v)), 2.0, 2.0 * PAST_SHARE, 1),
    "length of a made tube": Limit(lambda v: _compared(length=v), 0.5, 0.5 * PAST_SHARE + 1e-6, 1),
    "angle of a made tube": Limit(lambda v: _compared(angle=v), 0.5, 0.5 * PAST_SHARE + 1e-6, 1),
}


@pytest.mark.parametrize("name", LIMITS)
def test_at_the_limit_nothing_is_said_and_rounding_turns_no_verdict(name):
    assert_kept(LIMITS[name])


def numbers(text: str) -> list[str]:
    """Lengths, angles and bare numbers of a sentence, each with what follows it."""
    return re.findall(r"\d[\d./-]*\d*(?: \d+/\d+)?(?:°| mm| in\b| %| N·m| lbf·ft)?", text)


#: Whose sentences tell no limit, or no finding's.
_WITHOUT = {
    "extra at A", "metal past the end", "thinning", "roll of flats",  "size of the die", "radius of the die",
    "size of a hole saw", "end short of its mate", "length of a made tube", "angle of a made tube",
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(set(LIMITS) - _WITHOUT))
@pytest.mark.parametrize("past", [1.0001, 1.2, 3.0])
def test_no_sentence_shows_one_number_on_both_sides_of_a_limit(name, past):
    limit = LIMITS[name]
    (one, *_) = limit.case(limit.at + limit.past * past * limit.noise)
    for display in (*DISPLAYS, BOTH):
        text = message([one], display)
        texts = [in_unit(text, unit) for unit in ("mm", "in")] if display is BOTH else [text]
        for shown in texts:
            measured, most = told(name, shown)
            assert measured != most and not re.search(r"\b0(?:\.0+)? (?:mm|in)\b", shown), shown


def told(name: str, shown: str) -> tuple[str, str]:
    """What was measured and the limit, as a sentence shows them."""
    rest = re.sub(r"\([^()]*, [^()]*\) (?:mm|in)", "", shown.split(": ", 1)[1])  # without places
    found = [one.rstrip("°") for one in numbers(rest)]
    if name in ("D of bend", "turn on itself", "angle of a hole saw", "angle of a joint"):
        return found[-2], found[-1]
    if name == "strain":
        return found[1].split()[0], found[2].split()[0]
    if name == "moment":
        return tuple(one for one in found if "N·m" in one or "lbf" in one)[:2]  # type: ignore[return-value]
    return found[0], found[1]


@pytest.mark.parametrize(("what", "past"), [("length", 0.5006), ("angle", 0.5006), ("length", 0.509), ("angle", 0.52)])
def test_a_made_tube_past_its_limit_is_never_told_as_at_it(what, past):
    (one,) = _compared(**{what: past})
    for display in DISPLAYS:
        off, most = re.search(r": (\S+).* where (\S+)", excess_text(one, display)).groups()
        assert off != most, excess_text(one, display)


def test_a_bend_on_half_the_tube_folds_however_its_radius_was_rounded():
    """The inside has no length left there: at this limit the fault stands, and is told as one radius and its half."""
    for clr in (25.0, nextafter(25.0, inf), nextafter(25.0, -inf), 25.004, 24.9):
        (one,) = [
            f for f in of("self-contact", tube([(300.0, 0.0, 90.0, clr)], 300.0), shop_of()) if f.variant == "folds"
        ]
        radius, half = (float(n.split()[0]) for n in numbers(message([one]).split(": ", 1)[1])[:2])
        assert radius <= half
    assert of("self-contact", tube([(300.0, 0.0, 90.0, 25.02)], 300.0), shop_of()) == []


@pytest.mark.parametrize("far", [0.0, 0.1, 1e3, 1e7])
def test_a_gap_of_the_join_tolerance_is_closed_wherever_it_lies(far):
    """0.1 mm is a hair more or less, by where: one tube each time. Past it two, and two numbers told."""
    for gap, runs in ((0.0999, 1), (0.1, 1), (0.10005, 1), (0.1002, 2), (0.1004, 2), (0.101, 2)):
        lines = ((far, 0.0, 0.0), (far + 500.0, 0.0, 0.0)), ((far + 500.0 + gap, 0.0, 0.0), (far + 900.0, 0.0, 0.0))
        made, findings = reduce_drawing(Drawing("d", "mm", curves=[DrawnCurve(Line(*ends)) for ends in lines]))
        assert len(made) == runs, gap
        for one in (f for f in findings if f.code == "near-gap"):
            for display in DISPLAYS:
                apart, join = re.search(r"meet: (\S+) .* tolerance is (\S+)", message([one], display)).groups()
                assert apart != join


def test_what_fits_a_bar_fits_it_in_set_up_and_cutting_list_alike():
    """A tube as long as the stick, two that fill a bar with the kerf between, a drop as long as the shortest kept."""
    for off, fits in ((0.0, True), (1e-9, True), (0.009, True), (0.011, False)):
        long = tube([], 3048.0 + off)
        shop = shop_of(stock=(Stick(TUBE, None, 3048.0, None),), cutting=Cutting(Saw(3.0)))
        assert (of("stick-too-long", long, shop) == []) == fits
        assert nest([WantedLength(1522.5 + off / 2.0, 2)], [StockBar(3048.0, None, 1.0)], Saw(3.0)).cost == (
            1 if fits else 2
        )
        group = CutGroup(TUBE, None, (), (), None, False, None, 300.0)
        assert group.is_drop(300.0 - off) == fits
        ends = [(Slant(45.0 + off, 50.0), None)] * 2
        assert bool(shared_cuts(ends, 3.0, 45.0)[0]) == fits


@pytest.mark.parametrize("measured", [89.95, 90.05, 45.05, 44.95, 30.05, 29.95])
def test_a_bend_that_came_out_as_near_as_is_asked_is_there_however_it_was_rounded(measured):
    """0.05 degrees: as doubles 30.05 - 30 is a hair more, 90 - 89.95 a hair less."""
    for far, there in ((1.0, True), (1.02, False)):
        wanted = round(measured)
        seen = wanted + far * (measured - wanted)
        after_fit = resume(fit_tests(list(SPRINGY), 150.0), 95.0, seen, wanted)
        assert (after_fit.stop is None and after_fit.over == 0.0) == there, (seen, after_fit)


@pytest.mark.parametrize("off", [1e-12, 1e-9, 1e-6, 0.003, 0.008, -0.008])
def test_a_bend_as_far_as_the_die_turns_has_its_stop_told_whichever_way_it_was_rounded(off):
    """170 degrees need a stop of 175.67: neither the audit nor the set-up may leave that to the other."""
    assert len(of("stop-too-great", turned(170.0 + off), shop_of(DIE, tests=SPRINGY))) == 1


def test_past_what_the_die_turns_the_audit_tells_it_once():
    shop = shop_of(DIE, tests=SPRINGY)
    said = [f.code for f in found(turned(170.02), shop) if f.severity == "error"]
    assert said == ["angle-too-great"]


SHOP = """units = "in"
[shop]
name = "at the limit"
[[die]]
name = "D"
od = 2
clr = 6
clamp = 2
between = {between}
tail = {between}
mark_offset = 0
"""


@pytest.mark.parametrize(("between", "short"), [("2", False), ('"50.809 mm"', False), ('"50.812 mm"', True)])
def test_every_answer_judges_what_lies_at_a_limit_alike(between, short, tmp_path, capsys):
    """Two inches of straight: audit, table of findings, set-up and what is written, in text and as JSON."""
    shop, table = tmp_path / "shop.toml", tmp_path / "t.csv"
    shop.write_text(SHOP.format(between=between))
    table.write_text("feed_in,rotation_deg,angle_deg,clr_in\n12,0,90,6\n2,90,90,6\n12,,,\n")
    words = [table, "--shop", shop, "--section", "2x0.083in"]
    audited = run(capsys, "audit", *words, "--json")
    set_up_ = run(capsys, "setup", *words, "--json")
    for outcome in (audited, set_up_):
        said = [f["code"] for f in outcome.json["findings"] if f["severity"] == "error"]
        assert ("straight-too-short" in said) == short, said
        assert outcome.status == int(short)
    for command in ("audit", "setup"):
        for unit in (("--in",), ("--mm",), ("--in", "--fraction", "16")):
            outcome = run(capsys, command, *words, *unit)
            assert outcome.status == int(short)
            assert ("needs" in outcome.out) == short
    made = run(capsys, "convert", *words, "--out", tmp_path / "out", "--to", "json,setup-csv")
    assert made.status == int(short)
