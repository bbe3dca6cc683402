"""What pictures show of findings: headings of their lists, words beside places and bends, in either unit."""

from __future__ import annotations

import pytest

from converter.errors import GeometryError
from converter.findings import CODES, Finding
from converter.findings.entries import shown
from converter.findings.wording import at_bend, beside, heading
from converter.units import BothUnits, Display, in_unit

PLACE = (1.0, 2.0, 3.0)


def finding(code, **more):
    """One of that code, with whichever of its texts."""
    says = CODES[code].says
    words = {"variant": next(iter(says))}
    return Finding(code, **{**words, **more})  # type: ignore[arg-type]


@pytest.mark.parametrize(("code", "given", "metric", "inch"), [
    ("healed-gap", {"measured": 0.05}, "gap of 0.05 mm closed", "gap of 0.00197 in closed"),
    ("healed-gap", {"measured": 2.54, "also": (PLACE, PLACE)}, "3 gaps of up to 2.54 mm closed",
     "3 gaps of up to 0.100 in closed"),
    ("near-gap", {"measured": 0.5, "limit": 0.1}, "ends 0.5 mm apart, left open (up to 0.1 mm is closed)",
     "ends 0.0197 in apart, left open (up to 0.00394 in is closed)"),
    ("near-gap", {"measured": 12.0, "at": None}, "more ends that nearly meet", "more ends that nearly meet"),
    ("speck-removed", {"measured": 1.0}, "speck left out", "speck left out"),
    ("speck-removed", {"measured": 2.0, "also": (PLACE,)}, "2 specks left out", "2 specks left out"),
    ("junction", {"measured": 3.0}, "3 ends meet", "3 ends meet"),
    ("junction", {"measured": 40.0, "at": None}, "more places where three ends meet",
     "more places where three ends meet"),
    ("near-tangent", {"measured": 0.1234}, "joint 0.123° off tangent, smoothed", "joint 0.123° off tangent, smoothed"),
    ("curve-fitted", {"measured": 1e-7}, "curve became a bend, within 0.001 mm",
     "curve became a bend, within 3.94e-05 in"),
    ("curve-fitted", {"measured": 0.04, "also": (PLACE,)}, "curves became 2 bends, within 0.04 mm",
     "curves became 2 bends, within 0.00157 in"),
    ("not-line-arc", {"measured": 3.0}, "free curve: a single bend would stray 3.00 mm",
     "free curve: a single bend would stray 0.118 in"),
    ("radius-too-tight", {"measured": 20.0, "limit": 152.4}, "too tight: CLR 20.00 mm, the tightest die is 152.40 mm",
     "too tight: CLR 0.787 in, the tightest die is 6.000 in"),
    ("straight-too-short", {"measured": 20.0, "limit": 88.9},
     "straight of 20.00 mm is too short, the clamp needs 88.90 mm",
     "straight of 0.787 in is too short, the clamp needs 3.500 in"),
    ("angle-too-great", {"measured": 190.0, "unit": "deg"}, "turns too far: 190.00°", "turns too far: 190.00°"),
])  # fmt: skip
def test_headings_say_what_was_measured(code, given, metric, inch):
    one = finding(code, **{"at": PLACE, **given})
    assert heading(one, Display("mm")) == metric
    assert heading(one, Display("in")) == inch
    both = heading(one, BothUnits("mm"))
    assert (in_unit(both, "mm"), in_unit(both, "in")) == (metric, inch)


@pytest.mark.parametrize(("code", "place", "bend"), [
    ("near-gap", "gap 3.00 mm", ""),
    ("radius-too-tight", "too tight", "too tight"),
    ("radius-between-dies", "no such die", "between dies"),
    ("radius-too-wide", "no such die", "no die so wide"),
    ("corner-no-radius", "sharp", "no radius"),
    ("negative-straight", "bends overlap", "bends overlap"),
    ("straight-too-short", "too short", "straight too short"),
    ("roll-not-quarter", "", "not a quarter turn"),
    ("hoop", "closed ring", ""),
    ("refit", "", ""),
])  # fmt: skip
def test_words_beside_places_and_bends(code, place, bend):
    one = finding(code, measured=3.0, limit=1.0, at=PLACE)
    assert (beside(one, Display("mm")), at_bend(one)) == (place, bend)


def test_where_more_ends_are_only_counted_no_gap_is_written():
    assert beside(finding("near-gap", measured=12.0), Display("mm")) == ""


def test_a_text_that_lacks_a_number_gives_way_to_the_sentence():
    assert heading(finding("radius-too-tight", at=PLACE), Display("mm")) == ""


@pytest.mark.parametrize("code", [code for code, entry in CODES.items() if entry.heading or entry.beside])
def test_every_text_can_be_written(code):
    entry = CODES[code]
    for also in ((), (PLACE,)):
        one = finding(code, measured=3.0, limit=1.0, at=PLACE, also=also)
        for display in (Display("mm"), Display("in"), Display("in", 16)):
            assert bool(heading(one, display)) == any(entry.heading.values())
            assert bool(beside(one, display)) == any(entry.beside.values())


def test_only_codes_that_there_are_can_be_shown():
    with pytest.raises(GeometryError, match="no code of a finding"):
        shown("no-such-code", heading="x")
