"""Room for labels: what is taken, held against cells and boxes worked out apart; what a place for a label must be."""

from __future__ import annotations

from itertools import combinations, pairwise
from math import cos, dist, hypot, inf, radians, sin

import numpy as np
import pytest

from converter.exporters.paper.cells import LINE, TEXT, Cells
from converter.exporters.paper.room import Room, Wish


def overlap(a, b):
    return a[0] < b[2] and a[2] > b[0] and a[1] < b[3] and a[3] > b[1]


def cells_of(box, side):
    """The cells (column, row) that a box lies on, worked out apart."""
    (x0, y0), (x1, y1) = np.floor(np.array(box).reshape(2, 2) / side).astype(int).tolist()
    return {(column, row) for column in range(x0, x1 + 1) for row in range(y0, y1 + 1)}


def test_many_strips_take_what_each_takes_alone_few_or_far_apart():
    """Cells are summed up over the stretch that strips lie in, or taken box by box where that is large."""
    rng = np.random.default_rng(11)
    frame = (-40.0, -10.0, 340.0, 260.0)
    for count, spread in ((3, 250.0), (400, 60.0), (40, 40.0)):
        starts = rng.uniform(0.0, spread, (count, 2))
        ends, half = starts + rng.normal(0.0, 20.0, (count, 2)), rng.uniform(0.0, 4.0, count)
        together, alone = Cells(frame, 0.7), Cells(frame, 0.7)
        together.take_strips([(starts, ends, half)], LINE)
        for a, b, wide in zip(starts.tolist(), ends.tolist(), half.tolist(), strict=True):
            alone.take_line(tuple(a), tuple(b), wide, LINE)
        corners = rng.uniform((-40.0, -10.0), (330.0, 255.0), (500, 2))
        boxes = np.concatenate((corners, corners + np.array([3.0, 1.0])), axis=1).T
        assert together.are_free(boxes).tolist() == alone.are_free(boxes).tolist()
        assert {True, False} == set(alone.are_free(boxes).tolist())


def test_cells_of_a_frame_of_kilometres_are_larger():
    for frame in ((0.0, 0.0, 4e9, 4e9), (0.0, 0.0, 4e9, 100.0), (0.0, 0.0, 3000.0, 2.0e6)):
        cells = Cells(frame, 2.5)
        assert 1e4 < len(cells._bytes) < 5e6
        cells.take_line((0.0, 50.0), (frame[2], 50.0), 20.0, LINE)
        assert not cells.is_free((0.4 * frame[2], 40.0, 0.4 * frame[2] + 30.0, 45.0))


@pytest.mark.parametrize("size", [(0.1, 0.1), (2.0, 0.3), (9.3, 3.1), (5.6, 5.6), (22.4, 1.5), (1.0, 17.0)])
def test_boxes_asked_about_at_once_are_those_free_one_by_one(size):
    rng = np.random.default_rng(7)
    side, frame = 0.7, (-20.0, 5.0, 60.0, 45.0)
    cells, taken, texts = Cells(frame, side), set(), set()
    for i, (x, y) in enumerate(zip(rng.uniform(-20.0, 54.0, 60), rng.uniform(5.0, 42.0, 60), strict=True)):
        box = (float(x), float(y), float(x + rng.uniform(0.0, 5.0)), float(y + rng.uniform(0.0, 2.0)))
        by = TEXT if i % 3 == 0 else LINE
        cells.take_box(box, by)
        taken |= cells_of(box, side)
        texts |= cells_of(box, side) if by == TEXT else set()
    x = rng.uniform(frame[0], frame[2] - size[0], 400)
    y = rng.uniform(frame[1], frame[3] - size[1], 400)
    asked = np.stack((x, y, x + size[0], y + size[1]))
    boxes = [tuple(box) for box in asked.T.tolist()]
    free = cells.are_free(asked).tolist()
    assert free == [cells.is_free(box) for box in boxes] == [not taken & cells_of(box, side) for box in boxes]
    assert cells.are_free(asked, TEXT).tolist() == [not texts & cells_of(box, side) for box in boxes]
    assert 5 < sum(free) < 385


def test_a_line_through_points_is_taken_as_its_pieces_are():
    rng = np.random.default_rng(3)
    way = [(float(x), float(y)) for x, y in rng.uniform(0.0, 90.0, (30, 2))]
    whole, pieces = Room(0.7, (0.0, 0.0, 90.0, 90.0)), Room(0.7, (0.0, 0.0, 90.0, 90.0))
    whole.take_line(way, 0.4)
    for pair in pairwise(way):
        pieces.take_line(pair, 0.4)
    corners = rng.uniform(0.0, 80.0, (300, 2)).tolist()
    verdicts = [(whole.is_free(box), pieces.is_free(box)) for box in ((x, y, x + 2.0, y + 1.0) for x, y in corners)]
    assert all(a == b for a, b in verdicts) and {a for a, _ in verdicts} == {True, False}


def test_no_place_is_given_twice_and_none_lies_on_a_line():
    room, boxes = Room(1.0, (-40.0, -40.0, 40.0, 40.0)), []
    lines = [((-30.0, 3.0 + k), (30.0, 3.0 - k)) for k in (-6.0, 0.0, 8.0)]
    for line in lines:
        room.take_line(line)
    for x in range(-20, 25, 5):
        spot = room.beside([(float(x), 0.0)], Wish((6.0, 3.0), 90.0))
        assert spot.middle == pytest.approx(((spot.box[0] + spot.box[2]) / 2.0, (spot.box[1] + spot.box[3]) / 2.0))
        boxes.append(spot.box)
    assert not any(overlap(a, b) for a, b in combinations(boxes, 2))
    places = [np.array(a) + k * (np.array(b) - np.array(a)) for a, b in lines for k in np.linspace(0.0, 1.0, 2001)]
    assert not any(b[0] <= x <= b[2] and b[1] <= y <= b[3] for b in boxes for x, y in places)


def test_a_full_frame_has_no_place_but_over_lines():
    room = Room(0.7, (0.0, 0.0, 40.0, 20.0))
    for y in np.arange(0.0, 20.0, 1.5).tolist():
        room.take_line([(0.0, y), (40.0, y)])
    wish = Wish((8.0, 2.5), 0.0, 40.0)
    assert room.beside([(20.0, 10.0)], wish) is None
    spots = [room.over_lines((20.0, 10.0), wish) for _ in range(30)]
    boxes = [spot.box for spot in spots if spot]
    assert 8 < len(boxes) < 30  # then it is full of texts
    assert not any(overlap(a, b) for a, b in combinations(boxes, 2))
    assert all(b[0] >= 0.0 and b[1] >= 0.0 and b[2] <= 40.0 and b[3] <= 20.0 for b in boxes)


def test_the_wanted_direction_and_the_nearest_place_come_first():
    for toward in (0.0, 90.0, 180.0, -90.0):
        spot = Room(0.7, (0.0, 0.0, 80.0, 80.0)).beside([(40.0, 40.0)], Wish((6.0, 2.0), toward, gap=2.0))
        x, y = spot.middle
        far = 2.0 + abs(cos(radians(toward))) * 3.0 + abs(sin(radians(toward))) * 1.0
        assert hypot(x - 40.0, y - 40.0) == pytest.approx(far)
        assert (x - 40.0, y - 40.0) == pytest.approx((far * cos(radians(toward)), far * sin(radians(toward))), abs=1e-9)
        assert dist(spot.anchor, spot.end) == pytest.approx(spot.far) == pytest.approx(2.0)


def fenced(gap):
    """A place shut in by a fence, with room for a label outside alone; one side of the fence has a gap."""
    room = Room(0.5, (0.0, 0.0, 100.0, 100.0))
    a, b = 46.0, 54.0
    for line in ([(a, a), (b, a)], [(b, a), (b, b)], [(b, b), (a, b)]):
        room.take_line(line, 0.2)
    room.take_line([(a, a), (a, 50.0 - gap / 2.0)], 0.2)
    room.take_line([(a, 50.0 + gap / 2.0), (a, b)], 0.2)
    return room


@pytest.mark.parametrize("gap", [0.0, 5.0])
def test_a_leader_crosses_a_line_only_where_the_way_around_costs_more(gap):
    wish = Wish((12.0, 6.0), 0.0, 40.0, own=0.5)
    spot = fenced(gap).beside([(50.0, 50.0)], wish)
    assert spot.crossed == (0 if gap else 1)
    assert (spot.box[2] < 46.0) if gap else (spot.box[0] > 54.0)
    never = fenced(gap).beside([(50.0, 50.0)], Wish((12.0, 6.0), 0.0, 40.0, own=0.5, crossing=inf))
    assert (never is not None and never.crossed == 0) if gap else never is None
    cheap = fenced(gap).beside([(50.0, 50.0)], Wish((12.0, 6.0), 0.0, 40.0, own=0.5, crossing=0.0))
    assert cheap.crossed == 1 and cheap.box[0] > 54.0
    dear = fenced(0.0).beside([(50.0, 50.0)], Wish((12.0, 6.0), 0.0, 40.0, own=0.5, dearest=15.0))
    assert dear is None


def test_no_leader_runs_through_a_text_but_for_the_mark_it_starts_in():
    room = Room(0.5, (0.0, 0.0, 100.0, 100.0))
    room.take_text((49.0, 49.0, 51.0, 51.0))  # the mark itself
    for box in ((53.0, 40.0, 54.0, 60.0), (46.0, 40.0, 47.0, 60.0), (46.0, 40.0, 54.0, 41.0)):
        room.take_text(box)
    assert room.crosses_text((50.0, 50.0), (60.0, 50.0)) and not room.crosses_text((50.0, 50.0), (50.0, 70.0))
    spot = room.beside([(50.0, 50.0)], Wish((12.0, 6.0), 0.0, 40.0))
    assert spot.box[1] > 51.0


def test_a_copy_takes_nothing_of_the_first():
    room = Room(0.7, (0.0, 0.0, 50.0, 50.0))
    other = room.copy()
    other.take_text((10.0, 10.0, 20.0, 14.0))
    assert room.is_free((10.0, 10.0, 20.0, 14.0)) and not other.is_free((10.0, 10.0, 20.0, 14.0))


def test_texts_along_a_straight_and_in_a_corner_lie_clear():
    room = Room(0.7, (0.0, 0.0, 100.0, 60.0))
    a, b = (10.0, 10.0), (70.0, 40.0)
    room.take_line([a, b], 0.3)
    (x, y), turn = room.along(b, a, (20.0, 3.0))
    assert turn == pytest.approx(26.565, abs=1e-3)  # atan(1/2), upright whichever way the straight runs
    off = abs((b[0] - a[0]) * (a[1] - y) - (a[0] - x) * (b[1] - a[1])) / dist(a, b)
    assert off == pytest.approx(1.5 + 0.9)
    assert room.along(a, b, (90.0, 3.0)) is None  # longer than the straight
    corner = room.in_a_corner((30.0, 10.0))
    assert corner[1] > 40.0 and not room.is_free((*corner, corner[0] + 30.0, corner[1] + 10.0))
    assert room.in_a_corner((120.0, 10.0)) is None
