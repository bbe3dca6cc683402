"""Advice has bounds: no die and no refit that makes another tube, one error for a curve that is no tube."""

from math import pi

import numpy as np
import pytest
from command_line import run
from dxf_tools import new
from tubes import run_of, tube_of

from converter.audit.registry import audit
from converter.bending.split import best_refit, die_to_buy
from converter.model.section import Section
from converter.reducer.refit import keeps_shape, refit
from converter.shop.model import Die, Shop

ROUND = Section("round", 40.0, 2.0)
SHOP = Shop("shed", (Die("D", "round", 40.0, 150.0),))


def cures(tube):
    return {f.code: f.cure_in() for f in audit([tube], SHOP) if f.code.startswith("radius")}


def test_a_refit_within_a_tenth_of_the_size_is_advised():
    """An L of 1000 x 1000: a quarter bend of 300 moved to 150 shifts by 150 (sqrt 2 - 1) = 62.1 of 1414."""
    bent = run_of([(700.0, 0.0, 90.0, 300.0)], 700.0)
    assert refit(bent, 150.0)[1] == pytest.approx(62.13, abs=0.01)
    assert keeps_shape(bent, 141.4) and not keeps_shape(bent, 141.6)
    assert "moves by up to 62.13 mm" in cures(tube_of(bent, ROUND))["radius-too-wide"]


def test_a_refit_past_a_tenth_of_the_size_is_not():
    """A quarter bend of 2000 with legs of 10 is 2843 long; on 150 it would shift by 1850 (sqrt 2 - 1) = 766."""
    bent = run_of([(10.0, 0.0, 90.0, 2000.0)], 10.0)
    cure = cures(tube_of(bent, ROUND))["radius-too-wide"]
    assert cure == (
        "Redraw it with the radius of a die, or have it rolled: bending it on 'D' (150.00 mm) instead (refit) "
        "would move the centerline by more than a tenth of the tube's size."
    )
    assert best_refit(bent, SHOP.dies) is None


def test_no_die_to_buy_for_a_ring_nor_for_radii_far_apart():
    ring = run_of([(0.0, 0.0, 180.0, 800.0), (0.0, 0.0, 180.0, 800.0)], 0.0, closed=True)
    assert die_to_buy([tube_of(ring, ROUND)], SHOP) == []
    quarter = run_of([(500.0, 0.0, 90.0, 120.0)], 500.0)
    assert [f.code for f in die_to_buy([tube_of(quarter, ROUND)], SHOP)] == ["die-to-buy"]
    apart = run_of([(500.0, 0.0, 90.0, 100.0), (500.0, 0.0, 90.0, 2000.0)], 500.0)
    assert die_to_buy([tube_of(apart, ROUND)], SHOP) == []


def test_the_size_is_the_same_however_it_lies():
    bent = run_of([(300.0, 0.0, 90.0, 100.0), (200.0, 35.0, 60.0, 100.0)], 250.0)
    places = np.array([p for s in bent.centerline for p in (s.start, s.end)])
    widest = max(float(np.linalg.norm(a - b)) for a in places for b in places)
    assert keeps_shape(bent, 0.0999 * widest) and not keeps_shape(bent, 0.1002 * widest)


def test_a_curve_that_is_no_tube_is_one_error(tmp_path, capsys):
    """Half an ellipse of 2:1 and a straight: one error, with its place in the picture; no set-up."""
    path = tmp_path / "free.dxf"

    doc, space = new()
    space.add_ellipse((0, 0), (1000, 0), 0.5, 0.0, pi)
    space.add_line((1000, 0), (1000, -400))
    doc.saveas(path)
    words = [path, "--section", "40x2mm", "--metal", "304"]
    outcome = run(capsys, "audit", *words, "--picture", tmp_path / "seen.svg", "--json")
    errors = [f for f in outcome.json["findings"] if f["severity"] == "error"]
    assert [f["code"] for f in errors] == ["not-line-arc"] and outcome.status == 1
    assert (tmp_path / "seen.svg").read_text().count("straights and arcs") >= 1
    text = run(capsys, "setup", *words).out
    assert "no set-up: it is no tube of straights and bends" in text and "Set the stop" not in text
