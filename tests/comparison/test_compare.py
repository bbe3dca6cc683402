"""A made tube against the drawn one: a general registration, planted errors, limits of standards, the next piece."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import inf, radians, tan

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from machine import Order, bend_stick

from converter.bending.setup.setup import set_up
from converter.bending.setup.words import SetupView
from converter.comparison.align import element_points, paired
from converter.comparison.differences import compare
from converter.comparison.limits import PUBLISHED, of_shop
from converter.comparison.next_piece import intended_table, next_piece
from converter.comparison.words import next_sentences
from converter.errors import OptionError
from converter.job import Job
from converter.job.made_tubes import measured_tube, typed_table
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import reverse_table, walk
from converter.model.run import Run, Tube
from converter.shop.load import demo_shop
from converter.shop.sections import parse_section
from converter.units import Display

bends = st.builds(
    Bend, feed=st.floats(5.0, 900.0), rotation=st.floats(-179.0, 180.0), angle=st.floats(3.0, 200.0),
    clr=st.floats(20.0, 300.0),
)  # fmt: skip
tables = st.builds(
    lambda rows, tail: BendTable((replace(rows[0], rotation=0.0), *rows[1:]), tail),
    st.lists(bends, min_size=1, max_size=7), st.floats(5.0, 900.0),
)  # fmt: skip
PLAIN = BendTable((Bend(300.0, 0.0, 90.0, 80.0), Bend(200.0, 40.0, 60.0, 80.0), Bend(250.0, -70.0, 45.0, 80.0)), 400.0)


@settings(max_examples=30)
@given(tables)
def test_points_lie_where_the_centerline_does(table):
    points = element_points(table, Placement(), np.array([0.0, 0.5, 1.0]))
    assert np.allclose(points[0, 0], (0, 0, 0))
    assert np.allclose(points[-1, -1], walk(table)[1].start, atol=1e-6)
    assert np.allclose(points[1:, 0], points[:-1, -1], atol=1e-6)


@settings(max_examples=30)
@given(tables, st.integers(0, 10_000))
def test_the_fit_is_a_general_registrations(table, seed):
    """Against trimesh.registration.procrustes, on points spread evenly along both centerlines by their own count."""
    random = np.random.default_rng(seed)
    made = BendTable(
        tuple(replace(b, feed=b.feed + random.normal(0, 2), angle=b.angle + random.normal(0, 1)) for b in table.bends),
        table.tail + random.normal(0, 2),
    )
    fit = paired(table, made)
    lengths = np.array([v for b in table.bends for v in (b.feed, b.arc_length)] + [table.tail])
    counts = np.maximum(2, np.rint(lengths / lengths.sum() * 20_000).astype(int))
    ours, theirs = [], []
    for i, count in enumerate(counts):
        at = (np.arange(count) + 0.5) / count
        at = np.append(at, 1.0)  # an end to go on from, then left out
        ours.append(element_points(table, Placement(), at)[i, :-1])
        theirs.append(element_points(made, Placement(), at)[i, :-1])
    ours, theirs = np.concatenate(ours), np.concatenate(theirs)
    _, moved, cost = trimesh.registration.procrustes(theirs, ours, reflection=False, scale=False)
    assert fit.mean == pytest.approx(np.sqrt(cost), rel=2e-3, abs=1e-3)
    most = np.linalg.norm(moved - ours, axis=1).max()
    assert np.allclose(theirs @ fit.turn.T + fit.shift, moved, atol=0.05 + 2e-3 * most)


@settings(max_examples=25)
@given(
    st.lists(st.tuples(st.floats(20.0, 600.0), st.sampled_from([0.0, 180.0, 90.0, -90.0]),
                       st.sampled_from([30.0, 45.0, 90.0, 120.0])), max_size=4),
    st.floats(50.0, 900.0), st.integers(0, 10_000), st.booleans(),
)  # fmt: skip
def test_plane_straight_and_mirrored_tubes_are_fitted_as_a_general_registration_does(rows, tail, seed, is_mirrored):
    """Straight tubes, tubes in one plane, square tubes' quarter turns: points say little of a turn, or nothing."""
    table = BendTable(tuple(Bend(f, r if i else 0.0, a, 60.0) for i, (f, r, a) in enumerate(rows)), tail)
    random, sign = np.random.default_rng(seed), -1.0 if is_mirrored else 1.0
    made = BendTable(
        tuple(
            replace(
                b, rotation=180.0 if b.rotation == 180.0 else sign * b.rotation, angle=b.angle + random.normal(0, 1)
            )
            for b in table.bends
        ),
        table.tail + random.normal(0, 2),
    )
    fit = paired(table, made)
    assert np.linalg.det(fit.turn) == pytest.approx(1.0)
    lengths = np.array([v for b in table.bends for v in (b.feed, b.arc_length)] + [table.tail])
    counts = np.maximum(2, np.rint(lengths / lengths.sum() * 10_000).astype(int))
    parts = [
        [
            element_points(one, Placement(), np.append((np.arange(n) + 0.5) / n, 1.0))[i, :-1]
            for i, n in enumerate(counts)
        ]
        for one in (table, made)
    ]
    ours, theirs = map(np.concatenate, parts)
    _, moved, cost = trimesh.registration.procrustes(theirs, ours, reflection=False, scale=False)
    assert fit.mean == pytest.approx(np.sqrt(cost), rel=2e-3, abs=1e-3)
    # which turn it is may not be determined; how far the points are off is
    laid = theirs @ fit.turn.T + fit.shift
    most = np.linalg.norm(moved - ours, axis=1).max()
    assert np.linalg.norm(laid - ours, axis=1).max() == pytest.approx(most, rel=0.05, abs=0.1) or is_mirrored


def test_what_is_nothing_like_the_drawn_one_is_counted():
    assert compare(PLAIN, PLAIN).unlike == (0, 7)
    # one bend made the wrong way, and one angle far off, are errors of making
    wrong = BendTable((*PLAIN.bends[:1], replace(PLAIN.bends[1], rotation=-140.0), *PLAIN.bends[2:]), PLAIN.tail)
    assert compare(PLAIN, wrong).unlike[0] == 0
    other = BendTable((Bend(30.0, 0.0, 30.0, 80.0), Bend(700.0, 10.0, 120.0, 80.0), Bend(40.0, 5.0, 10.0, 80.0)), 90.0)
    unlike, every = compare(PLAIN, other).unlike
    assert 2 * unlike > every


def test_two_made_tubes_of_the_drawn_ones_name_are_said():
    tubes = [Tube(Run("RAIL", None, False, PLAIN, Placement())) for _ in range(2)]
    with pytest.raises(OptionError, match="has 2 tubes named 'RAIL'"):
        measured_tube(Job.of_tubes(tubes, source="made.csv"), tubes[0])
    assert measured_tube(Job.of_tubes(tubes[:1]), tubes[0]) is tubes[0]
    typed = [replace(tubes[0], run=replace(tubes[0].run, name=name)) for name in ("Rail", "POST")]
    assert measured_tube(Job.of_tubes(typed), tubes[0]) is typed[0]  # case does not matter, as of names everywhere


def test_planted_errors_are_found_with_their_size_from_either_end():
    made = BendTable(
        (
            replace(PLAIN.bends[0], feed=303.0),
            replace(PLAIN.bends[1], angle=58.5, clr=82.0),
            replace(PLAIN.bends[2], rotation=-68.0),
        ),
        399.0,
    )
    for table, from_b in ((made, False), (reverse_table(made)[0], True)):
        found = compare(PLAIN, table)
        assert found.from_b is from_b
        assert not found.mirrored
        assert [round(d.feed, 6) for d in found.bends] == [3.0, 0.0, 0.0]
        assert [round(d.angle, 6) for d in found.bends] == [0.0, -1.5, 0.0]
        assert [round(d.rotation, 6) for d in found.bends] == [0.0, 0.0, 2.0]
        assert [round(d.clr, 6) for d in found.bends] == [0.0, 2.0, 0.0]
        assert found.tail == pytest.approx(-1.0)
        assert found.developed == pytest.approx(made.developed_length - PLAIN.developed_length)


def test_one_bend_off_moves_the_end_by_its_chord():
    """By hand: one degree at the only bend swings a leg of 1000 by 2 R sin(0.5 degrees) about the bend."""
    drawn = BendTable((Bend(100.0, 0.0, 90.0, 1e-6),), 1000.0)
    found = compare(drawn, BendTable((Bend(100.0, 0.0, 91.0, 1e-6),), 1000.0))
    assert found.end_miss == pytest.approx(2.0 * 1000.0 * np.sin(np.radians(0.5)), abs=1e-3)


def test_the_mirror_image_is_told():
    mirror = BendTable(tuple(replace(b, rotation=-b.rotation) for b in PLAIN.bends), PLAIN.tail)
    assert compare(PLAIN, mirror).mirrored
    assert not compare(PLAIN, PLAIN).mirrored
    plane = BendTable((Bend(300.0, 0.0, 90.0, 80.0), Bend(200.0, 0.0, 60.0, 80.0)), 400.0)
    assert not compare(plane, plane).mirrored


def test_other_shapes_are_refused():
    with pytest.raises(ValueError, match="3 and 2 bends"):
        compare(PLAIN, BendTable(PLAIN.bends[:2], 100.0))


@pytest.mark.parametrize(("name", "length", "mm"), [
    ("iso2768-m", 5.9, 0.1), ("iso2768-m", 100.0, 0.3), ("iso2768-m", 400.0, 0.5), ("iso2768-m", 1500.0, 1.2),
    ("iso2768-f", 1000.0, 0.3), ("iso2768-f", 3000.0, None), ("iso2768-c", 2500.0, 4.0), ("iso2768-v", 500.0, 4.0),
    ("iso13920-a", 1500.0, 3.0), ("iso13920-b", 350.0, 2.0), ("iso13920-c", 5000.0, 14.0), ("iso13920-d", 1e6, 40.0),
])  # fmt: skip
def test_lengths_of_the_standards(name, length, mm):
    """ISO 2768-1 table 1 and ISO 13920 table 1, from memory."""
    assert PUBLISHED[name].length(length) == mm


@pytest.mark.parametrize(("name", "leg", "minutes"), [
    ("iso2768-m", 9.0, 60), ("iso2768-f", 50.0, 30), ("iso2768-m", 100.0, 20), ("iso2768-m", 300.0, 10),
    ("iso2768-m", 900.0, 5), ("iso2768-c", 300.0, 15), ("iso2768-v", 20.0, 120), ("iso13920-a", 300.0, 20),
    ("iso13920-b", 900.0, 30), ("iso13920-c", 5000.0, 30), ("iso13920-d", 100.0, 90),
])  # fmt: skip
def test_angles_of_the_standards(name, leg, minutes):
    """ISO 2768-1 table 3 and ISO 13920 table 2, from memory."""
    assert PUBLISHED[name].angle(leg) == pytest.approx(minutes / 60.0)


def test_what_is_off_by_more_than_it_may_be():
    made = BendTable((replace(PLAIN.bends[0], angle=90.6), *PLAIN.bends[1:]), PLAIN.tail + 1.5)
    found = compare(PLAIN, made, limits=of_shop(1.0, 0.5))
    told = {(e.what, e.bend): e for e in found.excesses}
    assert ("angle", 1) in told
    assert told["angle", 1].off == pytest.approx(0.6)
    assert told["leg", 4].off == pytest.approx(1.5)
    assert ("angle", 2) not in told
    assert compare(PLAIN, made, limits=of_shop(inf, None)).excesses == ()
    assert compare(PLAIN, PLAIN, limits=PUBLISHED["iso2768-f"]).excesses == ()


def bent_wrongly(steps, settings_, length: float, errors: dict[int, tuple[float, float, float]]) -> BendTable:
    """The tube that a bender makes which is off by the same each time, measured on the simulated tube.

    Args:
        steps: of the set-up, in the order made from the first end on.
        settings_: by bend (stop, turns so far, mark).
        length: of the stick.
        errors: by bend: degrees of angle, degrees of turn, mm of mark.
    """
    orders, turns, starts, sticks = [], 0.0, {}, {}
    for step in steps:
        stop, total, mark = settings_[step.bend]
        wrong_angle, wrong_turn, wrong_mark = errors[step.bend]
        total, mark = total + wrong_turn, mark + wrong_mark
        angle = step.springback.outcome(stop) + wrong_angle
        starts[step.bend], sticks[step.bend] = mark + step.start - step.mark, step.stick
        orders.append(
            Order(mark, step.start - step.mark, total - turns, angle, step.stick / np.radians(angle), step.stick)
        )
        turns = total
    numbers = sorted(starts, key=lambda bend: starts[bend])
    ends = [0.0, *(x for bend in numbers for x in (starts[bend], starts[bend] + sticks[bend])), length]
    points = bend_stick(length, orders, ends)
    legs = [points[i + 1] - points[i] for i in range(0, len(ends), 2)]
    legs = [leg / np.linalg.norm(leg) for leg in legs]
    angles = [np.degrees(np.arccos(np.clip(a @ b, -1.0, 1.0))) for a, b in pairwise(legs)]
    normals = [np.cross(a, b) / np.linalg.norm(np.cross(a, b)) for a, b in pairwise(legs)]
    rotations = [0.0] + [
        float(np.degrees(np.arctan2(leg @ np.cross(n, m), n @ m)))
        for leg, (n, m) in zip(legs[1:], pairwise(normals), strict=False)
    ]
    rows = tuple(
        Bend(ends[2 * i + 1] - ends[2 * i], rotations[i], float(angles[i]), sticks[bend] / np.radians(angles[i]))
        for i, bend in enumerate(numbers)
    )
    return BendTable(rows, ends[-1] - ends[-2])


def rail_of_three_bends(shop, feed_from):
    """Its table, at the radius of the die it is bent on, and its set-up."""
    section = parse_section("1.75x0.120in")
    die = shop.dies_for(section)[0]
    drawn = BendTable(
        (Bend(300.0, 0.0, 50.0, die.clr), Bend(260.0, 40.0, 60.0, die.clr), Bend(280.0, -75.0, 45.0, die.clr)), 400.0
    )
    run = Run("RAIL", None, False, drawn, Placement())
    (setup,) = set_up([Tube(run, section=section, metal="mild steel", die=die.name)], shop, feed_from=feed_from)
    return drawn, setup


@pytest.mark.parametrize("feed_from", ["A", "B"])
def test_the_next_piece_comes_out_as_drawn(feed_from):
    """A simulated bender whose stops, turns and marks are off by the same each time: the new settings undo it."""
    shop = demo_shop()
    shop = replace(shop, machine=replace(shop.machine, stop_step=None, turn_step=None))
    drawn, setup = rail_of_three_bends(shop, feed_from)
    errors = {1: (-0.8, 0.0, 5.0), 2: (0.5, 1.5, -7.0), 3: (-0.3, -2.0, 3.0)}
    before = {step.bend: (step.stop, step.total, step.mark) for step in setup.steps}
    made = bent_wrongly(setup.steps, before, setup.stick_length, errors)
    first = compare(drawn, made)
    assert first.from_b is (feed_from == "B")
    assert max(abs(each.rotation) for each in first.bends) > 1.0
    steps = next_piece(first, setup, shop, {bend: stop for bend, (stop, _, _) in before.items()})
    after = {step.bend: (step.stop_next, step.turns_next, step.mark_next) for step in steps}
    again = compare(drawn, bent_wrongly(setup.steps, after, setup.stick_length, errors))
    for each in again.bends:
        assert each.angle == pytest.approx(0.0, abs=1e-6)
        assert each.rotation == pytest.approx(0.0, abs=1e-6)
    # corner to corner as drawn, at the radius that springback opens
    assert again.legs == pytest.approx([0.0] * 4, abs=1e-6)
    assert again.measured.straights == pytest.approx(intended_table(setup).straights)
    assert max(map(abs, first.legs)) > 5.0
    assert again.end_miss < first.end_miss / 100.0
    assert compare(drawn, intended_table(setup)).legs == pytest.approx([0.0] * 4, abs=1e-9)


@pytest.mark.parametrize("feed_from", ["A", "B"])
def test_the_sign_of_a_turn_is_what_its_sentence_says(feed_from):
    """The set-up tells the same turns in words, without a sign."""
    shop = demo_shop()
    drawn, setup = rail_of_three_bends(shop, feed_from)
    assert f"plus is clockwise, seen from end {feed_from} toward the other" in next_sentences(feed_from)[0]
    sheet, steps = SetupView(setup, Display("mm")), next_piece(compare(drawn, drawn), setup, shop)
    assert all(step.turns for step in steps[1:])
    for step, made in zip(steps[1:], setup.steps[1:], strict=True):
        way = "counter-clockwise" if step.turns < 0.0 else "clockwise"
        assert sheet.so_far(made) == f"{abs(step.turns):.2f}° {way}"


@pytest.mark.parametrize("feed_from", ["A", "B"])
@pytest.mark.parametrize("angles", [(50.0, 60.0, 45.0), (49.0, 60.0, 45.0)])
def test_a_radius_that_was_not_measured_moves_no_mark(feed_from, angles):
    """A file of a made tube often bears the die's radius, not the one that springback opens: corners count.

    The tube is made by the set-up (its arcs keep their length at another angle); then its corner points are told with
    the die's radius and another, so that straights differ and corners do not.
    """
    shop = demo_shop()
    drawn, setup = rail_of_three_bends(shop, feed_from)
    radius = drawn.bends[0].clr
    typed = {i: angle for i, angle in enumerate(angles, 1) if angle != drawn.bends[i - 1].angle}
    made = typed_table(setup, typed, {}, {})
    assert all(bend.clr > radius + 0.5 for bend in made.bends)
    reach = [0.0, *(bend.clr * tan(radians(bend.angle) / 2.0) for bend in made.bends), 0.0]
    corners = [straight + reach[i] + reach[i + 1] for i, straight in enumerate(made.straights)]
    for clr in (radius, 0.97 * radius):
        reach = [0.0, *(clr * tan(radians(angle) / 2.0) for angle in angles), 0.0]
        straights = [leg - reach[i] - reach[i + 1] for i, leg in enumerate(corners)]
        told = BendTable(
            tuple(replace(bend, feed=feed, clr=clr) for bend, feed in zip(made.bends, straights, strict=False)),
            straights[-1],
        )
        for step in next_piece(compare(drawn, told), setup, shop):
            assert step.mark_next == pytest.approx(step.mark, abs=1e-6)
            assert step.turns_next == pytest.approx(step.turns, abs=1e-6)
