"""Runs become tubes: where the section comes from, which die is taken, what corners and refit do."""

from math import cos, radians, tan

import pytest

from converter.errors import ShopError
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run
from converter.shop.assign import Assigner, choose_die
from converter.shop.job_file import JobEntry, JobFile, job_from_text
from converter.shop.load import demo_shop
from converter.shop.model import Die, Shop
from converter.shop.sections import parse_section
from converter.units import Display

TUBE = parse_section("1.75x0.120in")
A = Die("A", "round", 44.45, 100.0)
B = Die("B", "round", 44.45, 150.0)
C = Die("C", "round", 44.45, 200.0)
SHOP = Shop("shed", (B, A, C), source="s.toml")
ONE = Shop("shed", (B,), source="s.toml")


def run(*radii, name="T1", layer=None, feed=500.0, angle=90.0, section=None, uncertainty=0.0):
    bends = tuple(
        Bend(feed, 0.0, angle, radius, clr_uncertainty=uncertainty if radius else 0.0, corner=radius is None)
        for radius in radii
    )
    return Run(name, layer, False, BendTable(bends, feed), Placement(), section=section)


def one(run_, shop=ONE, job=None, **options):
    (tube,) = Assigner(shop, job or JobFile(), **options).tubes([run_])
    return tube


@pytest.mark.parametrize(
    ("own", "named", "differs"),
    [
        ("2.375x0.154in", "1.5x0.095in", True),
        ("2.375x0.154in", "NPS 2 sch 40", False),
        ("38.1x2mm", "38.2x2mm", False),  # nominal against measured
        ("38.1x2mm", "38.5x2mm", True),
        ("38.1x2mm", "38.1x3mm", True),
        ("38.1mm bar", "38.1x2mm", False),  # a mesh without a bore: the wall is what was named for
        ("40x40x3mm", "40x3mm", True),
        ("60x30x2mm", "30x60x2mm", False),  # the same tube, bent the other way
        ("60x30x2mm", "60x40x2mm", True),
    ],
)
def test_a_section_that_is_not_what_the_file_shows_is_told(own, named, differs):
    tube = one(run(150.0, section=parse_section(own)), default_section=parse_section(named))
    assert tube.section == parse_section(named)
    assert [f.variant for f in tube.findings if f.code == "section-differs"] == (["file"] if differs else [])


@pytest.mark.parametrize(
    ("layer", "differs"),
    [
        ("HOOK 25mm bar", True),
        ("RAIL 44.45x3.05mm", False),
        ("RAIL 44.45x2mm", True),
        ("NPS 1-1/4 sch 40", True),
        ("RAIL", False),
    ],
)
def test_a_section_named_for_all_that_a_layers_name_contradicts_is_told(layer, differs):
    """One `--section` for all goes before what the layers tell: a bar was made as tube without a word."""
    named = parse_section("1.75x0.12in")
    for options in ({"default_section": named}, {"job": JobFile(default=JobEntry(section=named))}):
        tube = one(run(150.0, layer=layer), **options)
        assert tube.section == named
        assert [f.variant for f in tube.findings if f.code == "section-differs"] == (["layer"] if differs else [])
    own = one(run(150.0, layer=layer), layer_sections={layer: named})
    assert own.section == named and not own.findings, "named for that layer alone"


def test_precedence_of_the_section():
    layer, by_run, by_layer, default, by_default, own, name = (
        parse_section(f"{size}x2mm") for size in (31, 32, 33, 34, 35, 36, 37)
    )
    texts = {
        "run": '[run.T1]\nsection = "32x2mm"\n',
        "layer": '[layer."L*"]\nsection = "33x2mm"\n',
        "default": '[default]\nsection = "35x2mm"\n',
    }
    layer_name = "L_37x2mm"

    def given(*jobs, option=None, layer_option=None, file=None):
        tube = one(
            run(layer=layer_name, section=file),
            job=job_from_text("".join(texts[key] for key in jobs)) if jobs else None,
            default_section=option,
            layer_sections={"l_*": layer_option} if layer_option else {},
        )
        return tube.section

    everything = ("run", "layer", "default")
    assert given(*everything, option=default, layer_option=layer, file=own) == layer
    assert given(*everything, option=default, file=own) == by_run
    assert given("layer", "default", option=default, file=own) == by_layer
    assert given("default", option=default, file=own) == default
    assert given("default", file=own) == by_default
    assert given(file=own) == own
    assert given() == name
    assert one(run(layer="plain")).section is None


def test_a_section_read_from_the_layer_is_said():
    tube = one(run(layer="TUBE_1.75x0.120in"))
    (said,) = tube.findings
    assert (said.code, said.severity, said.tube) == ("section-assumed", "note", "T1")
    assert "1.750 x 0.120 in tube" in said.message_in(Display("in")) and said.layer == "TUBE_1.75x0.120in"
    assert one(run(layer="TUBE_1.75x0.120in"), default_section=TUBE).findings == ()


def test_an_exact_layer_beats_a_pattern_and_later_patterns_win():
    small, large, other = (parse_section(f"{size}x2mm") for size in (20, 30, 40))
    options = {"RAIL": small, "R*": large, "*L": other}
    assert one(run(layer="rail"), layer_sections=options).section == small
    assert one(run(layer="Rxl"), layer_sections=options).section == other
    assert one(run(layer="Rx"), layer_sections=options).section == large


def test_choosing_the_die():
    def chosen(*radii, clr=None, dies=(C, A, B), **more):
        die, settled = choose_die(run(*radii, **more).table.bends, dies, clr)
        return die.name, settled

    assert chosen(None, dies=(B,)) == ("B", True)  # the only one
    assert chosen(150.0) == ("B", True)
    assert chosen(150.0, 150.0, 200.0) == ("B", True)  # two dies between them make all; B more of them
    assert chosen(150.0, 100.0) == ("A", True)  # a tie goes to the smaller radius
    assert chosen(150.0, None) == ("B", True)  # the corner takes the same
    assert chosen(150.0, 170.0) == ("B", False)
    assert chosen(None, None) == ("A", False)  # corners alone: the smallest
    assert chosen(None, clr=200.0) == ("C", True)
    assert chosen(178.0) == ("C", False)  # none makes it: the nearest
    assert chosen(30.0, 30.0) == ("A", False)
    assert chosen(150.04) == ("B", True) and chosen(150.06) == ("B", False)
    assert chosen(151.0, uncertainty=2.0) == ("B", True)
    assert chosen(151.0, uncertainty=30.0) == ("B", False)  # 30 mm of 151 says nothing for sure; it is the nearest


def test_a_choice_that_the_drawing_does_not_settle_is_said():
    tube = one(run(None), SHOP, default_section=TUBE)
    (said,) = tube.findings
    assert (said.code, said.measured) == ("die-choice", 100.0)
    assert "'A' (100.00 mm), 'B' (150.00 mm) and 'C' (200.00 mm)" in said.message
    assert one(run(150.0), SHOP, default_section=TUBE).findings == ()
    straight = one(run(), SHOP, default_section=TUBE)
    assert straight.die is None and straight.findings == ()  # nothing to bend, nothing to choose


def test_the_job_names_the_die():
    job = job_from_text('[default]\ndie = "c"\nsection = "44.45x3mm"\n')
    assert one(run(150.0), SHOP, job).die == "C"
    other = one(run(150.0), SHOP, job_from_text('[run.T1]\ndie = "C"\nsection = "25x2mm"\n'))
    (said,) = other.findings
    assert other.die is None and said.code == "no-die" and "44.45 mm round" in said.message
    unknown = one(run(None), SHOP, job_from_text('[run.T1]\ndie = "C"\n'))
    assert unknown.die == "C" and unknown.run.table.bends[0].clr == 200.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[run.X]\ndie = "D7"\n', "j.toml: run 'X': The shop 'shed' has no die named 'D7'"),
        ('[layer.X]\ndie = "A"\nclr = "5in"\n', "layer 'X' gives the die 'A' of 100.00 mm and a clr of 127.00 mm"),
        ('[default]\ndie = "B"\nclr = "100mm"\n', "[default] gives the die 'B'"),
    ],
)
def test_a_job_that_contradicts_the_shop_is_refused(text, message):
    with pytest.raises(ShopError) as caught:
        Assigner(SHOP, job_from_text(text, "j.toml"), display=Display("mm")).tubes([])
    assert message in caught.value.message and caught.value.file == "j.toml"


def test_a_job_may_say_the_radius_that_the_die_has():
    job = job_from_text('[default]\ndie = "B"\nclr = "150mm"\n')
    assert one(run(None), SHOP, job).run.table.bends[0].clr == 150.0


def test_corners_take_the_option_then_the_job_then_the_die():
    def radius(**options):
        tube = one(run(None), default_section=TUBE, **options)
        assert tube.drawn is not None and tube.drawn.table.bends[0].clr is None
        (bend,) = tube.run.table.bends
        # straights give R tan(45 deg) = R on both sides; the corner stays where it was
        assert (bend.feed, tube.run.table.tail) == pytest.approx((500.0 - bend.clr, 500.0 - bend.clr))
        return bend.clr

    job = job_from_text('[default]\nclr = "120mm"\n')
    assert radius() == 150.0
    assert radius(job=job) == 120.0
    assert radius(job=job, clr=80.0) == 80.0
    nothing = one(run(None))
    assert nothing.run.table.bends[0].clr is None and nothing.die is None


def test_refit_moves_what_no_die_makes_and_says_how_far():
    tube = one(run(60.0, 100.0, angle=60.0), SHOP, default_section=TUBE, refit=True)
    first, second = tube.run.table.bends
    assert (first.clr, second.clr) == (100.0, 100.0)
    # tangent lengths grow by 40 tan(30 deg); the middle of the bend moves 40 (1/cos(30 deg) - 1)
    assert first.feed == pytest.approx(500.0 - 40.0 * tan(radians(30.0)))
    assert second.feed == pytest.approx(500.0 - 40.0 * tan(radians(30.0)))
    (said,) = [f for f in tube.run.findings if f.code == "refit"]
    assert said.measured == pytest.approx(40.0 * (1.0 / cos(radians(30.0)) - 1.0))
    assert tube.drawn == run(60.0, 100.0, angle=60.0)


def test_refit_leaves_what_the_shop_makes_on_several_dies():
    drawn = run(150.0, 200.0)
    tube = one(drawn, SHOP, default_section=TUBE, refit=True)
    assert tube.run == drawn and tube.die == "B"


def test_refit_puts_a_fitted_radius_on_its_die_exactly():
    tube = one(run(200.7, 150.3, uncertainty=1.5), SHOP, default_section=TUBE, refit=True)
    assert [(b.clr, b.clr_uncertainty) for b in tube.run.table.bends] == [(200.0, 0.0), (150.0, 0.0)]


def test_refit_to_an_option_moves_every_bend():
    tube = one(run(150.0, 200.0), SHOP, default_section=TUBE, refit=True, clr=120.0)
    assert [b.clr for b in tube.run.table.bends] == [120.0, 120.0]
    without = one(run(150.0), Shop("bare", ()), refit=True)
    assert without.run == run(150.0)


def test_reverse_feeds_from_the_other_end():
    drawn = Run(
        "T1", None, False, BendTable((Bend(10.0, 0.0, 30.0, 150.0), Bend(20.0, 40.0, 60.0, 150.0)), 70.0), Placement()
    )
    tube = one(drawn, job=job_from_text("[run.T1]\nreverse = true\n"))
    bends = tube.run.table.bends
    assert [(b.feed, b.rotation, b.angle) for b in bends] == [(70.0, 0.0, 60.0), (20.0, 40.0, 30.0)]
    assert tube.run.table.tail == 10.0
    assert tube.run.start == pytest.approx(drawn.end)
    assert one(drawn, job=job_from_text("[default]\nreverse = false\n")).run == drawn


def test_order_is_kept_and_runs_are_not_changed():
    runs = [run(None, name=f"T{i}") for i in range(5)]
    tubes = Assigner(demo_shop(), default_section=TUBE).tubes(runs)
    assert [tube.name for tube in tubes] == [f"T{i}" for i in range(5)]
    assert all(one_run.table.bends[0].clr is None for one_run in runs)
    assert {tube.die for tube in tubes} == {"R1750"}


def test_refit_of_a_loosely_known_radius_goes_to_the_tubes_die():
    tube = one(run(151.0, uncertainty=30.0), SHOP, default_section=TUBE, refit=True)
    assert [(b.clr, b.clr_uncertainty) for b in tube.run.table.bends] == [(150.0, 0.0)]


def test_refit_with_a_named_die_and_no_section_leaves_what_that_die_makes():
    job = job_from_text('[run.T1]\ndie = "C"\n')
    assert one(run(200.0), SHOP, job, refit=True).run == run(200.0)
    assert one(run(199.0), SHOP, job, refit=True).run.table.bends[0].clr == 200.0
