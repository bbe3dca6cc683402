"""What lies at a limit: it keeps it, in every answer alike, and no sentence shows the same number on both sides of one.

Each limit is swept through what lies at it, a rounding step away, and a little on either side, in mm and in inches.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from math import inf, nextafter
from typing import NamedTuple

import pytest
from command_line import run
from tubes import run_of

from converter.audit.registry import audit
from converter.bending.setup.setup import set_up
from converter.findings import Finding
from converter.findings.wording import message
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.model import Die, Machine, Shop, Stick, Trial
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


def turned(value: float) -> Tube:
    return tube([(300.0, 0.0, value, 150.0)], 300.0)


def straight(value: float) -> Tube:
    return tube([(300.0, 0.0, 90.0, 150.0)], value - 300.0 - 150.0 * 1.5707963267948966)


class Limit(NamedTuple):
    """A limit of the shop.

    Attributes:
        case: what is said of it where the tube has a value.
        at: the limit.
        noise: what it leaves to noise.
        past: which way is past it.
    """

    case: Callable[[float], list[Finding]]
    at: float
    noise: float
    past: int


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
}


@pytest.mark.parametrize("name", LIMITS)
def test_at_the_limit_nothing_is_said_and_rounding_turns_no_verdict(name):
    limit = LIMITS[name]
    for step in (0.0, 1e-12 * limit.at, 1e-9, 1e-6, 0.5 * limit.noise):
        for side in (-1.0, 1.0):
            assert limit.case(limit.at + side * step) == [], (step, side)
    for towards in (-inf, inf):
        assert limit.case(nextafter(limit.at, towards)) == []
    beyond = limit.at + limit.past * limit.noise
    assert limit.case(beyond + limit.past * 0.01 * limit.noise) != []
    assert limit.case(beyond - limit.past * 0.01 * limit.noise) == []
    assert limit.case(limit.at - 5.0 * limit.past * limit.noise) == []


def numbers(text: str) -> list[str]:
    """Lengths, angles and bare numbers of a sentence, each with what follows it."""
    return re.findall(r"\d[\d./-]*\d*(?: \d+/\d+)?(?:°| mm| in\b| %| N·m| lbf·ft)?", text)


@pytest.mark.parametrize("name", sorted(set(LIMITS) - {"extra at A"}))  # which tells no limit
@pytest.mark.parametrize("past", [1.0001, 1.2, 3.0])
def test_no_sentence_shows_one_number_on_both_sides_of_a_limit(name, past):
    limit = LIMITS[name]
    (one, *_) = limit.case(limit.at + limit.past * past * limit.noise)
    for display in (*DISPLAYS, BOTH):
        text = message([one], display)
        texts = [in_unit(text, unit) for unit in ("mm", "in")] if display is BOTH else [text]
        for shown in texts:
            measured, most = numbers(shown.split(": ", 1)[1])[:2] if name != "D of bend" else numbers(shown)[-2:]
            assert measured != most and not re.search(r"\b0(?:\.0+)? (?:mm|in)\b", shown), shown


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
