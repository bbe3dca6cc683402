"""Every text and every cure that the audit and the set-up have, from findings that they really make, in both units."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from tubes import run_of

import converter
from converter.audit.registry import audit
from converter.bending.metal.law_findings import fit_findings
from converter.bending.metal.springback import Springback, fit_tests, springback_for
from converter.bending.setup.clamping import Clamping, Need
from converter.bending.setup.findings import setup_findings
from converter.bending.setup.setup import set_up
from converter.bending.split import die_to_buy
from converter.findings import CODES, Clause, Finding
from converter.findings.entries import CLAUSES
from converter.model.run import Tube
from converter.model.section import Section
from converter.nesting.model import Saw
from converter.shop.model import Cutting, Die, Machine, Metal, Shop, Stick, Trial
from converter.shop.sections import parse_section
from converter.units import Display

PACKAGE = Path(converter.__file__).parent
ROUND, BAR = Section("round", 40.0, 2.0), parse_section("2in bar")
FLAT = Section("rectangular", 40.0, 2.0, height=20.0, corner=4.0)
DIE = Die("D", "round", 40.0, 150.0, max_angle=170.0, clamp=60.0, between=60.0, tail=40.0)
WIDE = replace(DIE, name="W", clr=250.0)
ROOM = Machine(plane="horizontal", pivot_height=1000.0)
LOW = Machine(plane="vertical", pivot_height=1000.0)
COARSE = Machine(plane="vertical", stop_step=4.0, turn_step=45.0)
TRIMMED = Cutting(Saw(2.0, trim=10.0, grip=30.0))
SHOP = Shop("shed", (DIE, WIDE), ROOM, source="s.toml")

#: Codes that the audit and the set-up tell.
OWN = (
    "section-unknown", "no-die", "radius-too-tight", "radius-between-dies", "radius-too-wide", "radius-uncertain",
    "radius-approximate", "angle-too-great", "straight-too-short", "end-too-short", "hoop", "closed-loop",
    "self-contact", "roll-not-quarter", "corner-no-radius", "short-run", "springback-poor-fit", "springback-odd-radius",
    "springback-estimate", "legs-shifted", "step-too-coarse",
    "springback-none", "over-capacity", "near-capacity", "capacity-unknown", "wall-factor", "d-of-bend", "thinning",
    "strain-high", "order-changed", "stop-too-great", "stick-too-long", "mark-offset-unknown", "clamp-unknown",
    "bend-wider",
    "sweep-hits", "sweep-close", "sweep-unknown", "die-to-buy", "negative-straight",
)  # fmt: skip
#: Variants of these codes that the reducer or the shop part tells.
OTHERS = {("no-die", "job"), ("negative-straight", ""), ("negative-straight", "end")}


def tube(*rows, tail=500.0, section=ROUND, die=None, metal=None, reach=None, **run):
    return Tube(replace(run_of(rows, tail, **run), metal=reach), section, die, metal=metal)


def fitted(clr, within, *more, first=(500, 0, 90), tail=500.0):
    one = tube((*first, clr), *more, tail=tail)
    table = one.run.table
    bends = tuple(replace(bend, clr_uncertainty=within) for bend in table.bends)
    return replace(one, run=replace(one.run, table=replace(table, bends=bends)))


def cornered(**more):
    one = tube((500, 0, 90, None), **more)
    bends = tuple(replace(bend, corner=True) for bend in one.run.table.bends)
    return replace(one, run=replace(one.run, table=replace(one.run.table, bends=bends)))


def with_dies(*dies, machine=ROOM, tests=(), metals=()):
    return Shop("shed", dies, machine, tests=tuple(tests), metals=tuple(metals), source="s.toml")


def of_the_audit():
    """Findings of single tubes."""
    bend, ring = (500, 0, 90, 150), [(0, 0, 120, 150), (0.05, 0, 120, 150), (0, 0, 120, 150)]
    proven = with_dies(replace(DIE, size=50.8), machine=Machine(proven_section=BAR, proven_metal="A36"))
    named = replace(proven, metals=(Metal("halfium"),))
    thin = Section("round", 40.0, 0.8)
    turns, free = with_dies(replace(DIE, invert_clamp=True)), with_dies(replace(DIE, max_angle=None))
    box = with_dies(Die("S", "square", 40.0, 150.0))
    lying = with_dies(Die("L", "rectangular", 40.0, 150.0, height=20.0))
    tight = with_dies(replace(DIE, clr=50.0))
    jobs = [
        (SHOP, tube(bend, section=None)),
        (SHOP, tube((500, 0, 90, 140), section=None, die="D")),
        (SHOP, tube(bend, section=BAR)),
        (with_dies(), tube(bend)),
        (lying, tube(bend, (500, 90, 90, 150), section=FLAT)),
        (SHOP, tube((500, 0, 90, 100))),
        (SHOP, tube((500, 0, 90, 50), (90, 90, 90, 50))),
        (SHOP, tube((500, 0, 90, 100), tail=20)),
        (SHOP, tube((500, 0, 90, 200))),
        (SHOP, tube((500, 0, 90, 300))),
        # a die all but makes them
        (with_dies(DIE), tube((500, 0, 90, 149.5))),
        (with_dies(DIE), tube((500, 0, 90, 150.5))),
        (SHOP, tube((500, 0, 90, 150.5))),
        # small for how far a die would move them
        (SHOP, tube((10, 0, 90, 50), tail=10)),
        (SHOP, tube((5, 0, 160, 175), tail=5)),
        (SHOP, tube((10, 0, 90, 2000), tail=10)),
        (SHOP, fitted(175.0, 30.0, first=(5, 0, 160), tail=5)),
        (SHOP, fitted(149.0, 1.0)),
        (SHOP, fitted(140.0, 40.0)),
        (SHOP, fitted(140.0, 40.0, (2, 90, 90, 140.0))),
        (SHOP, tube((500, 0, 90, 201), (10, 90, 90, 201))),
        (SHOP, tube((500, 0, 90, 300), (-200, 90, 90, 300))),
        (SHOP, tube((500, 0, 175, 150))),
        (with_dies(replace(DIE, max_angle=None), machine=Machine(max_angle=100.0)), tube((500, 0, 175, 150))),
        (SHOP, tube(bend, (30, 0, 90, 150))),
        (turns, tube(bend, (30, 180, 90, 150))),
        (SHOP, tube((50, 0, 90, 150), tail=30)),
        (SHOP, tube((50, 0, 90, 150), tail=500)),
        (SHOP, tube(*ring, tail=0, closed=True)),
        (SHOP, tube(*[(300, 0, 90, 150)] * 4, tail=300, closed=True)),
        (SHOP, tube((500, 0, 90, 15))),
        (free, tube((500, 0, 270, 150), tail=500)),
        (SHOP, tube(*[(300, 0, 90, 150)] * 4, tail=300)),
        (box, tube(bend, (500, 45, 90, 150), section=Section("square", 40.0, 2.0, corner=4.0))),
        (SHOP, cornered()),
        (SHOP, cornered(section=None)),
        (SHOP, cornered(section=BAR)),
        (SHOP, tube(tail=20)),
        (SHOP, tube(bend, (-5, 0, 90, 150))),
        (SHOP, tube(bend, tail=-5)),
        (SHOP, tube((-5, 0, 90, 150))),
        (proven, tube(bend, section=BAR, metal="4130 heat-treated")),
        (proven, tube(bend, section=BAR, metal="304")),
        (proven, tube(bend, section=BAR)),
        (named, tube(bend, section=BAR, metal="halfium")),
        (with_dies(DIE), tube(bend, metal="304")),
        (with_dies(replace(DIE, max_wall_factor=30.0, min_d_of_bend=5.0)), tube(bend, section=thin)),
        (with_dies(replace(DIE, max_wall_factor=30.0, min_d_of_bend=5.0, mandrel=True)), tube(bend, section=thin)),
        (tight, tube((500, 0, 90, 50), metal="6061-T6")),
    ]
    return [finding for shop, one in jobs for finding in audit([one], shop)]


def of_set_ups():
    """Findings of set-ups."""
    tests = (Trial("D", None, None, 46.0, 45.0), Trial("D", None, None, 92.0, 90.0))
    short = with_dies(replace(DIE, tail=20.0), Die("R60", "round", 40.0, 60.0, clamp=60.0, between=60.0, tail=50.0))
    jobs = [
        (SHOP, tube((40, 0, 90, 150), tail=20), None),
        (SHOP, tube((500, 0, 90, 150), reach=(7, 600)), None),
        (short, tube((500, 0, 90, 150), (10, 90, 90, 150)), None),
        (with_dies(replace(DIE, invert_clamp=True)), tube((500, 0, 45, 150), (0, 180, 45, 150)), None),
        (with_dies(replace(DIE, between=10.0, tail=90.0)), tube((500, 0, 90, 150), (5, 90, 60, 150)), "A"),
        (with_dies(replace(DIE, tail=50.0)), tube((500, 0, 90, 150), (55, 90, 60, 150)), "A"),
        (SHOP, tube((40, 0, 90, 150), (300, 0, 90, 150)), "best"),
        (replace(SHOP, machine=LOW), tube((1500, 0, 90, 150), (300, 180, 90, 150), tail=200), None),
        (replace(SHOP, machine=LOW), tube((1500, 0, 90, 150), (300, 180, 90, 150), tail=1500), None),
        (replace(SHOP, machine=LOW), tube((1500, 0, 90, 150), (300, 180, 90, 150), tail=1400), None),
        (SHOP, tube((500, 0, 90, 150), (-5, 90, 60, 150), section=BAR), None),
        (SHOP, tube((500, 0, 90, 120), (0, 90, 60, 120)), None),
        (with_dies(replace(DIE, max_angle=90.0), tests=tests), tube((500, 0, 90, 150)), None),
        (with_dies(DIE, tests=tests), tube((500, 0, 180, 150)), None),
        (with_dies(DIE, tests=tests), tube((1, 0, 90, 150)), None),
        (with_dies(DIE, machine=replace(ROOM, max_length=900.0)), tube((500, 0, 90, 150)), None),
        (replace(with_dies(DIE), stock=(Stick(ROUND, None, 900.0),)), tube((500, 0, 90, 150)), None),
        (replace(with_dies(DIE), stock=(Stick(ROUND, None, 1240.0),), cutting=TRIMMED), tube((500, 0, 90, 150)), None),
        (with_dies(DIE, machine=Machine()), tube((500, 0, 90, 150), metal="304"), None),
        (with_dies(replace(DIE, clamp=0.0, between=0.0, is_clamp_known=False)), tube((500, 0, 90, 150)), None),
        (with_dies(DIE, machine=COARSE), tube((500, 0, 90, 150), (500, 20, 90, 150)), None),
        (
            with_dies(replace(DIE, invert_clamp=True), tests=tests),
            tube((500, 0, 45, 150), (0, 180, 45, 150), (2, 180, 45, 150)),
            None,
        ),
    ]
    found = [finding for shop, one, feed in jobs for finding in set_up([one], shop, feed)[0].findings]
    # an order that nobody would take: the second bend first leaves the pressure die no room for the first one
    shop = with_dies(replace(DIE, tail=90.0))
    setup = set_up([tube((500, 0, 90, 150), (70, 90, 60, 150))], shop, "A")[0]
    needs = tuple(Need.of(step.die, step.stick, 0.0) for step in setup.steps)
    backwards = Clamping(setup.tube.run.table.straights, needs).plan((1, 0))
    return [*found, *setup_findings(replace(setup, plan=backwards), shop, ())]


def of_the_rest():
    """Dies to buy, fits of test bends, what a whole search comes to."""
    trials = [Trial("D", None, None, stop, angle) for stop, angle in ((32.0, 30.0), (70.0, 60.0), (95.0, 90.0))]
    odd = [Trial("D", "304", 2.0, 80.0, 60.0)]
    none = with_dies(replace(DIE, clr=90.0))
    two = [tube((500, 0, 90, 120)), tube((500, 0, 90, 130), (500, 0, 90, 130))]
    hangs = tube((1500, 0, 90, 150), (300, 180, 90, 150), tail=1500)
    under = replace(LOW, ceiling=1700.0)
    cramped = Machine(plane="vertical", pivot_height=200.0, ceiling=205.0)

    def swept(one, machine):
        return set_up([one], replace(SHOP, machine=machine))[0].findings

    found = [
        *fit_findings(fit_tests(trials, 150.0), DIE, None, None),
        *fit_findings(fit_tests([Trial("D", None, None, 80.0, 60.0)], 150.0), DIE, None, None),
        *fit_findings(fit_tests([Trial("D", None, None, a + 20.0, a) for a in (45.0, 90.0)], 150.0), DIE, None, None),
        *fit_findings(
            fit_tests([Trial("D", None, None, 42.0, 40.0), Trial("D", None, None, 91.0, 90.0)], 150.0), DIE, None, None
        ),
        *fit_findings(springback_for(with_dies(DIE, tests=odd), DIE, ROUND, "304"), DIE, ROUND, "304"),
        *fit_findings(springback_for(SHOP, DIE, ROUND, "304"), DIE, ROUND, "304"),
        *fit_findings(springback_for(SHOP, DIE, ROUND, None), DIE, ROUND, None),
        *fit_findings(springback_for(SHOP, DIE, None, "304"), DIE, None, "304"),
        *fit_findings(springback_for(replace(SHOP, metals=(Metal("lead"),)), DIE, ROUND, "lead"), DIE, ROUND, "lead"),
        *fit_findings(
            Springback("none", note="By estimate it springs all the way back: make test bends."), DIE, None, None
        ),
        *die_to_buy(two[:1], none),
        *die_to_buy(two[1:], none),
        *die_to_buy(two, none),
        *swept(hangs, LOW),
        *swept(tube((694, 0, 90, 150), (300, 180, 90, 150), tail=694), LOW),
        *swept(tube((700, 0, 90, 150), (300, 180, 90, 150), tail=700), LOW),
        *swept(hangs, under),
        *swept(hangs, cramped),
    ]
    return [one for one in found if one is not None]


@cache
def everything() -> tuple[Finding, ...]:
    found = [*of_the_audit(), *of_set_ups(), *of_the_rest()]
    # what was tried before a tube is said to hit or to come close takes long to come about; its values are the same
    swept = [finding for finding in found if finding.code in ("sweep-hits", "sweep-close")]
    found += [replace(finding, variant=variant) for finding in swept for variant in CODES[finding.code].says]
    return tuple(dict.fromkeys(found))


def clauses(value: object) -> set[str]:
    """Names of the clauses in a value, however deep."""
    if isinstance(value, Clause):
        return {value.name} | {name for _, inner in value.values for name in clauses(inner)}
    return {name for inner in value for name in clauses(inner)} if isinstance(value, tuple) else set()


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_text_and_cure_is_written_in_one_unit(unit):
    """Lengths go through a format of the catalogue: in inches no millimetre is left, and the other way round."""
    display, other = Display(unit), "in" if unit == "mm" else "mm"
    for finding in everything():
        assert finding.code in OWN
        for text in (finding.message_in(display), finding.cure_in(display)):
            assert not text or text.endswith("."), text
            assert not re.search(rf"\d {other}\b|[{{}}]|  |\.\.|None", text), text
        assert finding.tube or finding.message_in(display)[:1].isupper()
        assert finding.cure_in(display)[:1].isupper() or finding.code == "order-changed"


def test_every_variant_is_made():
    """Each text of the codes, each cure and each clause of these parts is used by something that is really found."""
    made = {(f.code, f.variant) for f in everything()}
    cures = {(f.code, f.cure or f.variant) for f in everything()}
    texts = {(code, variant) for code in OWN for variant in CODES[code].says}
    assert texts - made == OTHERS
    assert {(code, name) for code in OWN for name in CODES[code].cures} - cures == OTHERS
    used = {name for f in everything() for _, value in f.value_pairs for name in clauses(value)}
    sources = "".join(
        path.read_text("utf-8") for part in ("audit", "bending") for path in (PACKAGE / part).glob("*.py")
    )
    assert {name for name in CLAUSES if f'"{name}"' in sources} - used == set()
