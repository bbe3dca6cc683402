"""Runs taken apart at their sharp corners: the same centerline, in pieces that lie where they lay."""

import math
import random

import pytest
from tubes import run_of

from converter.findings import Finding
from converter.geometry.vectors import distance
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Line
from converter.model.frames import pieces
from converter.model.run import Run
from converter.reducer.corners import sharp_corners, split_at_corners


def corner(feed, rotation=0.0, angle=90.0):
    return Bend(feed, rotation, angle, None, corner=True)


def frame(wide=400.0, high=300.0, name="FRAME", findings=()):
    """A closed rectangle whose table begins in the middle of a long side."""
    bends = (corner(wide / 2.0), corner(high), corner(wide), corner(high))
    return Run(name, "L", True, BendTable(bends, wide / 2.0), Placement(), findings=findings)


def walked(runs):
    return [segment for run in runs for segment in run.centerline]


def test_a_rectangle_is_four_runs_of_its_sides():
    parts = split_at_corners(frame())
    assert [(one.name, one.table.developed_length) for one in parts] == [
        ("FRAME-1", 300.0), ("FRAME-2", 400.0), ("FRAME-3", 300.0), ("FRAME-4", 400.0),
    ]  # fmt: skip
    assert not any(one.closed or one.table.bends for one in parts)
    # it starts at the origin along +x and turns left: corners by hand
    corners = [(200.0, 0.0), (200.0, 300.0), (-200.0, 300.0), (-200.0, 0.0)]
    for one, start, end in zip(parts, corners, [*corners[1:], corners[0]], strict=True):
        assert one.start == pytest.approx((*start, 0.0), abs=1e-9) and one.end == pytest.approx((*end, 0.0), abs=1e-9)
        assert one.drawn_as == "FRAME"


def test_without_a_sharp_corner_nothing_changes():
    bent = run_of([(100.0, 0.0, 90.0, 50.0)], 100.0)
    kinked = run_of([(100.0, 0.0, 90.0, None)], 100.0)  # beside an arc: no corner between straights
    assert split_at_corners(bent) == [bent] and split_at_corners(kinked) == [kinked]
    folded = Run("F", None, False, BendTable((corner(100.0, 0.0, 179.8),), 90.0), Placement())
    assert sharp_corners(folded) == () and split_at_corners(folded) == [folded]


@pytest.mark.parametrize("seed", range(12))
def test_the_parts_of_a_run_in_space_make_the_same_centerline(seed):
    rng = random.Random(seed)
    bends = []
    for number in range(rng.randint(2, 7)):
        rotation = 0.0 if number == 0 else round(rng.uniform(-179.0, 179.0), 3)
        feed, angle = rng.uniform(150.0, 500.0), rng.uniform(20.0, 130.0)
        sharp = rng.random() < 0.6
        bends.append(Bend(feed, rotation, angle, None if sharp else rng.uniform(30.0, 90.0), corner=sharp))
    placement = Placement((5.0, -7.0, 11.0), (0.6, 0.0, 0.8), (0.8, 0.0, -0.6))
    whole = Run("R", "L", False, BendTable(tuple(bends), 222.0), placement)
    parts = split_at_corners(whole)
    assert len(parts) == 1 + sum(bend.clr is None for bend in bends)
    assert sum(one.table.developed_length for one in parts) == pytest.approx(whole.table.developed_length, rel=1e-12)
    mine, theirs = walked(parts), list(whole.centerline)
    assert [type(a) for a in mine] == [type(b) for b in theirs]
    for a, b in zip(mine, theirs, strict=True):
        assert distance(a.start, b.start) < 1e-9 and distance(a.end, b.end) < 1e-9
        if not isinstance(a, Line):
            assert a.radius == b.radius and a.angle == b.angle and distance(a.center, b.center) < 1e-9
    for one in parts:
        assert distance(one.end, one.centerline[-1].end) < 1e-9 and (
            not one.table.bends or not one.table.bends[0].rotation
        )


def test_the_section_lies_in_the_parts_as_in_the_whole():
    """Straight parts of a run in space: each has the frame that a tube with mitres worked by hand would have there."""
    whole = Run(
        "R", None, False, BendTable((corner(200.0), corner(150.0, 90.0), corner(180.0, -30.0, 50.0)), 99.0), Placement()
    )
    stations = [piece.start for piece in pieces(whole.table, whole.placement)]
    for one, station in zip(split_at_corners(whole), stations, strict=True):
        (piece,) = pieces(one.table, one.placement)
        assert piece.start.point == pytest.approx(station.point, abs=1e-9)
        assert piece.start.up == pytest.approx(station.up, abs=1e-12)


@pytest.mark.parametrize("first_bent", [False, True])
@pytest.mark.parametrize("last_bent", [False, True])
def test_a_closed_run_goes_through_where_its_table_begins(first_bent, last_bent):
    """A rounded oblong of 90 degree turns with two sharp corners; wherever it begins, two parts come of it."""

    def turn(feed, sharp):
        return corner(feed) if sharp else Bend(feed, 0.0, 90.0, 50.0)

    sharp = [not first_bent, True, True, not last_bent]
    sizes = [(0.0 if one else 50.0) for one in sharp]  # what each turn takes of the straights beside it
    straights = [200.0 - sizes[0], 300.0 - sizes[0] - sizes[1], 400.0 - sizes[1] - sizes[2],
                 300.0 - sizes[2] - sizes[3], 200.0 - sizes[3]]  # fmt: skip
    table = BendTable(tuple(turn(feed, one) for feed, one in zip(straights, sharp, strict=False)), straights[-1])
    whole = Run("R", None, True, table, Placement())
    parts = split_at_corners(whole)
    assert len(parts) == sum(sharp)
    assert sum(one.table.developed_length for one in parts) == pytest.approx(table.developed_length, rel=1e-12)
    through = parts[-1]
    assert len(through.table.bends) == first_bent + last_bent
    at_start = [s for s in through.centerline if isinstance(s, Line) and abs(s.start[1]) + abs(s.end[1]) < 1e-9]
    (bottom,) = at_start  # the side along y = 0 is one straight again
    assert bottom.length == pytest.approx(straights[0] + straights[-1], rel=1e-12)
    for one, following in zip(parts, [*parts[1:], parts[0]], strict=True):
        assert distance(one.end, following.start) < 1e-9


def test_a_loop_with_one_corner_stays_one_open_run():
    bends = (corner(100.0, 0.0, 120.0), Bend(173.0, 0.0, 240.0, 100.0))
    parts = split_at_corners(Run("DROP", None, True, BendTable(bends, 73.0), Placement()))
    assert [(one.name, one.closed, len(one.table.bends)) for one in parts] == [("DROP", False, 1)]
    assert parts[0].table.straights == pytest.approx((173.0, 173.0))


def test_names_that_are_taken_are_left_out():
    names = [one.name for one in split_at_corners(frame(), {"frame-2", "FRAME-3"})]
    assert names == ["FRAME-1", "FRAME-4", "FRAME-5", "FRAME-6"]


def test_what_was_told_goes_with_the_part_it_holds_for():
    bends = (Bend(100.0, 0.0, 90.0, 50.0), corner(300.0), Bend(300.0, 0.0, 45.0, 50.0), Bend(200.0, 0.0, 45.0, 50.0))
    told = (
        Finding("near-tangent", tube="R", variant="one", values={"angle": 0.1, "joints": 1}),
        Finding("not-line-arc", tube="R", bend=3, values={"other_bend": 4, "away": 1.0, "limit": 0.05}),
        Finding("kink", tube="R", bend=1, values={"angle": 3.0, "limit": 0.2}),
    )
    one, two = split_at_corners(Run("R", None, False, BendTable(bends, 80.0), Placement(), findings=told))
    assert [(f.code, f.tube, f.bend) for f in one.findings] == [("near-tangent", "R-1", None), ("kink", "R-1", 1)]
    (fitted,) = two.findings
    assert (fitted.tube, fitted.bend, dict(fitted.value_pairs)["other_bend"]) == ("R-2", 1, 2)


def test_the_straights_of_a_frame_stay_as_drawn_by_hand_trigonometry():
    """A regular hexagon of side 250: six parts of 250, whatever the number of times it is turned by 60 degrees."""
    bends = (corner(125.0, 0.0, 60.0), *(corner(250.0, 0.0, 60.0) for _ in range(5)))
    parts = split_at_corners(Run("HEX", None, True, BendTable(bends, 125.0), Placement()))
    assert [one.table.developed_length for one in parts] == pytest.approx([250.0] * 6)
    middle = (0.0, 250.0 * math.sqrt(3.0) / 2.0, 0.0)
    assert all(distance(one.start, middle) == pytest.approx(250.0) for one in parts)
