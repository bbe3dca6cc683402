"""Plastic moment against the machine, the die's limits, thinning and strain. Values worked by hand or published."""

from dataclasses import replace
from math import sqrt

import pytest
from command_line import hook, run
from hypothesis import given
from hypothesis import strategies as st

from converter.audit.registry import audit
from converter.bending.metal.capacity import (
    outside_left,
    outside_left_shared,
    outside_strain,
    plastic_moment,
    proven,
    wall_factor,
)
from converter.errors import GeometryError
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.model import Die, Machine, Metal, Shop
from converter.shop.sections import parse_section
from converter.units import Display, moment_text

KSI = 6.894757293168361
INCH = Display("in")

# --- the moment ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "ksi", "low", "high"),
    [
        # yield to tensile in ksi, moment in lbf ft; computed for the project's notes from sigma Z
        ("1.5x0.095in", (60, 70), 939, 1096),
        ("1.75x0.120in", (60, 70), 1597, 1863),
        ("1.75x0.120in", (75, 95), 1996, 2529),
        ("NPS 1-1/4 sch 40", (35, 60), 946, 1622),
        ("2in bar", (36, 58), 4000, 6444),
        ("1.5x1.5x0.083in r0.166", (46, 58), 909, 1147),
    ],
)
def test_moments_to_bend(text, ksi, low, high):
    section = parse_section(text)
    found = [plastic_moment(section, stress * KSI) / 1.3558179483314004 for stress in ksi]
    assert found == pytest.approx([low, high], abs=0.6)


def test_moments_in_words():
    assert moment_text(1.3558179483314004 * 1597.2, INCH) == "1597 lbf·ft"
    assert moment_text(2165.4, Display("mm")) == "2165 N·m"


def test_wall_factor():
    assert wall_factor(parse_section("50x2mm")) == 25.0
    assert wall_factor(parse_section("60x30x3mm")) == 20.0
    assert wall_factor(parse_section("50mm bar")) is None


# --- the audit ----------------------------------------------------------------------------------------

BAR = parse_section("2in bar")
DIE = Die("D", "round", 50.8, 203.2)
SHOP = Shop(
    "shed",
    (DIE, Die("R", "rectangular", 60.0, 200.0, height=30.0), Die("Q", "rectangular", 30.0, 200.0, height=60.0)),
    Machine(proven_section=BAR, proven_metal="A36"),
    source="s.toml",
)


def tube(section=BAR, metal="mild steel", clr=203.2, rolls=(0.0,), name="T"):
    bends = tuple(Bend(500.0, roll, 90.0, clr) for roll in rolls)
    return Tube(Run(name, None, False, BendTable(bends, 500.0), Placement()), section, metal=metal)


def said(*tubes, shop=SHOP):
    return audit(tubes, shop)


def test_the_proven_bar_itself_passes():
    assert said(tube()) == []
    assert proven(SHOP).at_yield == pytest.approx(4000 * 1.3558179483314004, rel=1e-4)


def test_a_heat_treated_bar_past_the_machine_is_an_error():
    """2 in bar: 100 ksi x 1.3333 in3 = 11 111 lbf ft against 36 ksi x 1.3333 = 4 000."""
    (finding,) = [f for f in said(tube(metal="4130 heat-treated")) if f.code == "over-capacity"]
    assert (finding.severity, finding.tube, finding.bend, finding.unit) == ("error", "T", None, "N*m")
    assert finding.measured == pytest.approx(11111.1 * 1.3558179483314004, rel=1e-4)
    assert finding.message_in(INCH) == (
        "T: bending 2.000 in bar of 4130 heat-treated takes 11111 lbf·ft; the machine is proven to 4000 lbf·ft "
        "(2.000 in bar of mild steel)."
    )


def test_what_hardens_much_is_a_warning():
    """304 bar: 30 ksi is below 36, 75 ksi above 58."""
    (finding,) = said(tube(metal="304"))
    assert (finding.code, finding.severity) == ("near-capacity", "warning")
    assert (finding.measured, finding.limit) == pytest.approx((8333.3 * 1.35582, 6444.4 * 1.35582), rel=1e-4)


def test_just_inside_and_just_outside():
    def with_yield(factor):
        own = replace(SHOP, metals=(Metal("m", 36 * KSI * factor, 58 * KSI, 200.0),))
        return [f.code for f in said(tube(metal="m"), shop=own)]

    assert with_yield(0.9999) == [] and with_yield(1.01) == ["over-capacity"]


def test_a_rectangle_counts_as_it_lies():
    """60 x 30: on its flat Z is far below what it is on edge, and only there it is too much."""
    section = Section("rectangular", 60.0, 3.0, height=30.0, corner=6.0)
    flat, edge = plastic_moment(section, 250.0), plastic_moment(section, 250.0, turned=True)
    assert edge > 1.5 * flat
    size = Section("bar", (6.0 * 1000.0 * (flat + edge) / 2.0 / (36 * KSI)) ** (1 / 3), 1.0)  # proven between the two
    shop = replace(SHOP, machine=Machine(proven_section=size, proven_metal="A36"), metals=(Metal("m", 250.0),))
    assert [f.code for f in said(tube(section, "m", 200.0), shop=shop) if "capacity" in f.code] == []
    found = said(tube(section, "m", 200.0, rolls=(0.0, 90.0)), shop=shop)
    (finding,) = [f for f in found if f.code == "over-capacity"]
    assert finding.bend == 2 and finding.measured == pytest.approx(edge)


def test_what_is_not_known_is_said_once():
    for unknown, told in ((None, "no metal is named for T"), ("halfium", "yield strength of 'halfium' is not known")):
        own = replace(SHOP, metals=(Metal("halfium"),))
        (finding,) = said(tube(metal=unknown), tube(metal=unknown, name="U"), shop=own)
        assert (finding.code, finding.severity, finding.tube) == ("capacity-unknown", "note", None)
        assert told in finding.message
    silent = replace(SHOP, machine=Machine())
    assert said(tube(metal=None), shop=silent) == []  # nobody asked
    (finding,) = said(tube(), tube(name="U"), shop=silent)
    assert "does not say what the machine is proven to bend" in finding.message
    half = replace(SHOP, machine=Machine(proven_section=BAR))
    assert [f.code for f in said(tube(), shop=half)] == ["capacity-unknown"]
    assert said(tube(rolls=()), shop=silent) == []  # a straight takes no moment


def test_wall_factor_against_the_die():
    """50.8 mm over 1.65 mm is 30.8; the die takes 25 of them, so 2.03 mm it must be."""
    thin = parse_section("2x0.065in")
    shop = replace(SHOP, dies=(replace(DIE, max_wall_factor=25.0),))
    (finding,) = said(tube(thin, rolls=(0.0, 90.0)), shop=shop)
    assert (finding.code, finding.severity, finding.bend, finding.limit) == ("wall-factor", "error", 1, 25.0)
    assert finding.measured == pytest.approx(2.0 / 0.065)
    assert "without a mandrel" in finding.message and "0.080 in or more, or bend it over a mandrel." in finding.cure_in(
        INCH
    )
    over = replace(SHOP, dies=(replace(DIE, max_wall_factor=25.0, mandrel=True),))
    (finding,) = said(tube(thin), shop=over)
    assert "with its mandrel" in finding.message and "mandrel" not in finding.cure_in()
    assert said(tube(parse_section("2x0.08in")), shop=shop) == []  # exactly 25
    assert said(tube(BAR), shop=shop) == []


def test_d_of_bend_against_the_die():
    """203.2 / 50.8 is 4 D."""
    section = parse_section("2x0.12in")
    for least, codes in ((4.0, []), (4.05, ["d-of-bend"])):
        shop = replace(SHOP, dies=(replace(DIE, min_d_of_bend=least),))
        found = said(tube(section, rolls=(0.0, 10.0)), shop=shop)
        assert [f.code for f in found] == codes
    assert (found[0].measured, found[0].limit, found[0].severity) == (pytest.approx(4.0), 4.05, "error")
    assert "8.100 in or more" in found[0].cure_in(INCH)


def test_thinning_is_said_of_unusually_tight_bends():
    """1.5 D: 25 % by plane strain, 13.4 % when shared; 2 D (20 %) is usual."""
    section = parse_section("2x0.12in")
    for clr, codes in ((101.6, []), (76.2, ["thinning"])):
        shop = Shop("s", (Die("D", "round", 50.8, clr),), source="s.toml")
        found = said(tube(section, None, clr), shop=shop)
        assert [f.code for f in found] == codes
    assert found[0].measured == pytest.approx(0.25) and found[0].severity == "warning" and found[0].bend == 1
    assert "(1.50 D) thins by 13 to 25 %, to 0.090 in at the least" in found[0].message_in(INCH)
    bar_shop = Shop("s", (Die("D", "round", 50.8, 76.2),), source="s.toml")
    assert said(tube(BAR, None, 76.2), shop=bar_shop) == []  # a bar has no wall


def test_strain_against_elongation():
    """3 D stretches 16.7 %: over 6061-T6's 10 % by more than half, over DOM's 15 % by a little, under 304's 35 %."""
    section = parse_section("2x0.12in")
    shop = Shop("s", (Die("D", "round", 50.8, 152.4),), source="s.toml")
    found = {}
    for metal in ("6061-T6", "DOM", "304"):
        found[metal] = [f for f in said(tube(section, metal, 152.4), shop=shop) if f.code == "strain-high"]
    assert [f.severity for f in found["6061-T6"]] == ["warning"]
    assert [f.severity for f in found["DOM"]] == ["note"]
    assert found["304"] == []
    assert found["6061-T6"][0].measured == pytest.approx(100.0 / 6.0) and found["6061-T6"][0].limit == 10.0


def test_the_metal_option_reaches_the_audit(tmp_path, capsys):
    """The demo machine is proven on 2.0 x 0.120 in of 414 MPa; heat-treated 4130 of 1.75 x 0.120 in is past that."""
    drawing = hook(tmp_path / "hook.dxf", radius=152.4)
    words = ["audit", drawing, "--section", "1.75x0.12in", "--json"]
    assert run(capsys, *words, "--metal", "mild steel").status == 0
    outcome = run(capsys, *words, "--metal", "4130 HT")
    assert outcome.status == 1
    (finding,) = [f for f in outcome.json["findings"] if f["severity"] == "error"]
    assert finding["code"] == "over-capacity" and finding["unit"] == "N*m"
    bad = run(capsys, *words, "--metal", "moonrock")
    assert bad.status == 2 and bad.json["error"]["code"] == "unknown-metal"


def test_the_job_file_gives_the_metal(tmp_path, capsys):
    drawing = hook(tmp_path / "hook.dxf", radius=152.4)
    job = tmp_path / "job.toml"
    words = ["audit", drawing, "--section", "1.75x0.12in", "--json", "--job", job]
    job.write_text('[default]\nmetal = "4130 HT"\n[layer.TUBE]\nmetal = "mild steel"\n')
    assert run(capsys, *words).status == 0
    assert run(capsys, *words, "--metal", "4130 HT").status == 0  # the layer's own wins over the option
    job.write_text('[default]\nmetal = "4130 HT"\n')
    assert run(capsys, *words).status == 1
    assert run(capsys, *words, "--metal", "mild steel").status == 0  # the option wins over the default
    job.write_text('[layer.TUBE]\nmetal = "moonrock"\n')
    bad = run(capsys, *words)
    assert bad.status == 2 and bad.json["error"]["where"] == "layer 'TUBE'"
    assert "names the metal 'moonrock', which is not known" in bad.json["error"]["message"]


# --- the wall -----------------------------------------------------------------------------------------

#: R/D, loss plane strain %, loss shared %: textbook.
BENDS = [
    (1.5, 25.00, 13.40),
    (2.0, 20.00, 10.56),
    (3.0, 14.29, 7.42),
    (4.0, 11.11, 5.72),
    (5.0, 9.09, 4.65),
    (6.0, 7.69, 3.92),
]


@pytest.mark.parametrize(("k", "plane", "shared"), BENDS)
def test_published_figures_of_bends(k, plane, shared):
    d, r = 60.3, 60.3 * k
    assert 100.0 * (1.0 - outside_left(d, r)) == pytest.approx(plane, abs=5e-3)
    assert 100.0 * (1.0 - outside_left_shared(d, r)) == pytest.approx(shared, abs=5e-3)
    assert outside_strain(d, r) == pytest.approx(0.5 / k)


@given(st.floats(0.6, 50.0))
def test_formulas_agree_with_each_other(k):
    """Volume: what is left of the wall outside times its stretch is 1."""
    assert outside_left(1.0, k) * (1.0 + outside_strain(1.0, k)) == pytest.approx(1.0)
    assert outside_left_shared(1.0, k) == pytest.approx(sqrt(outside_left(1.0, k)))


def test_no_bend_without_an_inside():
    for size, clr in ((50.0, 25.0), (50.0, 10.0), (0.0, 10.0)):
        with pytest.raises(GeometryError):
            outside_left(size, clr)
