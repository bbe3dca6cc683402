"""Pictures of runs: what is written on them is what the table says, in both units, and nothing covers anything."""

from __future__ import annotations

import re
from math import hypot, pi, sqrt

import pytest
import shapely
from any_finding import any_finding
from command_line import run as command
from picture_tools import ROUND, ROWS, examples, label_box, overlaps
from tubes import run_of, tube_of

from converter.errors import OptionError
from converter.exporters.paper.room import Room, Wish
from converter.exporters.pictures.annotation import dimension
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.run.isometric import MOST_CALLED_OUT, TRAVEL
from converter.exporters.pictures.run.picture import VIEWS, fitted, isometric_picture, run_picture, text_height
from converter.exporters.pictures.views import axes_of
from converter.model.bends import Placement
from converter.model.curve import Arc
from converter.model.section import Section
from converter.units import BothUnits, Display, in_unit

TUBES = examples()
BOTH = BothUnits("mm")


def texts(picture: Picture, unit: str = "mm") -> list[str]:
    return [in_unit(label.text, unit) for label in picture.labels]


def numbers(picture: Picture, unit: str) -> list[str]:
    return [n for text in texts(picture, unit) for n in re.findall(r"-?\d+\.\d+", text)]


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("name", ["five", "one", "none", "square", "thirty", "small", "long"])
def test_every_number_of_the_table_stands_on_the_isometric(name, unit):
    """Straights, angles, radii and rotations exactly as the table shows them, each as often as it occurs at least."""
    tube = TUBES[name]
    table, show = tube.run.table, Display(unit)
    found = numbers(isometric_picture(tube, BOTH), unit)
    wanted = [show.number(length) for length in table.straights if length]
    wanted += [show.angle(b.angle).rstrip("°") for b in table.bends]
    wanted += [show.number(b.clr) for b in table.bends]
    wanted += [show.angle(b.rotation).rstrip("°") for b in table.bends[1:]]
    wanted.append(show.number(table.developed_length))
    for number in set(wanted):
        assert found.count(number) >= wanted.count(number), number


def test_a_call_out_holds_what_belongs_together():
    picture = isometric_picture(TUBES["five"], BOTH)
    for i, (_, roll, angle, clr) in enumerate(ROWS, 1):
        at = next(k for k, label in enumerate(picture.labels) if label.circled and label.text == str(i))
        first, second = (in_unit(label.text, "in") for label in picture.labels[at + 1 : at + 3])
        assert first == f"{angle:.2f}°, CLR {clr / 25.4:.3f}"
        if i > 1:
            assert second == f"rotation {roll:.2f}°"


@pytest.mark.slow
@pytest.mark.parametrize("name", list(TUBES))
@pytest.mark.parametrize("size", [(180, 120), (90, 130), (270, 180)])
def test_no_label_covers_another_or_leaves_the_picture(name, size):
    """By the measures of the font that PNG and PDF use, in both units."""
    findings = [any_finding("radius-too-tight", tube=TUBES[name].name, bend=1)]
    pictures = [isometric_picture(TUBES[name], BOTH, size=size, findings=findings)]
    if size[0] > 200:
        pictures.append(run_picture(TUBES[name], BOTH, size=size, findings=findings))
    for picture in pictures:
        assert (picture.low, picture.high) == ((0.0, 0.0), size)
        frame = shapely.box(0, 0, *size)
        for unit in ("mm", "in"):
            assert overlaps(picture, unit) == []
            outside = [t.text for t in picture.labels if not frame.covers(label_box(t, unit))]
            assert outside == []


def test_the_guard_against_overlaps_bites():
    picture = Picture()
    picture.label("90.00°", (10, 10), 3)
    picture.label("roll", (14, 11), 3)
    assert overlaps(picture, "mm") == [("90.00°", "roll")]


@pytest.mark.slow
@pytest.mark.parametrize("name", list(TUBES))
def test_strokes_and_fills_stay_in_the_picture(name):
    for picture in (isometric_picture(TUBES[name], BOTH), run_picture(TUBES[name], BOTH)):
        (x1, y1) = picture.high
        for points in [s.points for s in picture.strokes] + [o for f in picture.fills for o in f.outlines]:
            assert all(-0.01 <= x <= x1 + 0.01 and -0.01 <= y <= y1 + 0.01 for x, y in points)


@pytest.mark.slow
@pytest.mark.parametrize("name", list(TUBES))
def test_both_ends_and_the_stick_s_travel_are_marked(name):
    for picture in (isometric_picture(TUBES[name], BOTH), run_picture(TUBES[name], BOTH)):
        boxed = [label.text for label in picture.labels if label.boxed]
        assert boxed.count("A") == boxed.count("B") >= 1
        bent = bool(TUBES[name].run.table.bends)  # a straight one goes into no bender
        assert (TRAVEL in texts(picture)) == bent
        assert any(fill.role == "feed" for fill in picture.fills) == bent


def test_the_stick_travels_end_a_ahead_and_so_away_from_the_tube():
    picture = isometric_picture(TUBES["one"], BOTH)
    start, tip = next(s.points for s in picture.strokes if s.role == "feed")
    a = next(label.at for label in picture.labels if label.text == "A")
    b = next(label.at for label in picture.labels if label.text == "B")
    travel = (tip[0] - start[0], tip[1] - start[1])
    toward = (b[0] - a[0], b[1] - a[1])
    assert travel[0] * toward[0] + travel[1] * toward[1] < 0.0
    # the axis x of the drawing, along which the run starts: 30 degrees on paper
    assert abs(travel[1] / travel[0]) == pytest.approx(1 / sqrt(3))


def test_fed_from_end_b_the_arrow_goes_out_of_end_b_and_bends_keep_their_numbers():
    """A hook along x, then z up: end B is left by going down."""
    tube = TUBES["one"]
    for plain, picture in (
        (isometric_picture(tube, BOTH), isometric_picture(tube, BOTH, fed_from="B")),
        (run_picture(tube, BOTH), run_picture(tube, BOTH, fed_from="B")),
    ):
        start, tip = next(s.points for s in picture.strokes if s.role == "feed")
        marks = {label.text: label.at for label in reversed(picture.labels) if label.boxed}  # the isometric is first
        assert hypot(tip[0] - marks["B"][0], tip[1] - marks["B"][1]) < 10.0
        assert hypot(start[0] - marks["A"][0], start[1] - marks["A"][1]) > 30.0
        # the last straight, walked from B
        last = next(s for s in reversed(tube.run.centerline) if not isinstance(s, Arc))
        view = axes_of(tube.run).named("isometric", tube.run)
        (x0, y0), (x1, y1) = view.flat(last.end), view.flat(last.start)
        cross = (tip[0] - start[0]) * (y1 - y0) - (tip[1] - start[1]) * (x1 - x0)
        assert cross == pytest.approx(0.0, abs=1e-6 * hypot(x1 - x0, y1 - y0))
        assert (tip[0] - start[0]) * (x1 - x0) + (tip[1] - start[1]) * (y1 - y0) < 0.0
        numbers = [label.text for label in picture.labels if label.circled]
        assert numbers == [label.text for label in plain.labels if label.circled]
        assert "End B goes into the bender first." in picture.description
        assert "goes into the bender first" not in plain.description


@pytest.mark.parametrize(
    ("code", "word"),
    [
        ("radius-too-tight", "too tight"),
        ("straight-too-short", "straight too short"),
        ("over-capacity", "see findings"),
    ],
)
def test_a_bend_that_an_error_names_is_marked_with_line_number_and_word(code, word):
    tube = TUBES["five"]
    plain = isometric_picture(tube, BOTH)
    assert not any(part.role == "tight" for part in [*plain.strokes, *plain.labels])
    marked = isometric_picture(tube, BOTH, findings=[any_finding(code, tube=tube.name, bend=3)])
    assert any(stroke.role == "tight" for stroke in marked.strokes)
    assert [label.text for label in marked.labels if label.role == "tight"] == ["3", word]
    assert f"{word}." in marked.description
    other = isometric_picture(tube, BOTH, findings=[any_finding(code, tube="another", bend=3)])
    assert texts(other) == texts(plain)
    warned = isometric_picture(tube, BOTH, findings=[any_finding(code, severity="warning", tube=tube.name, bend=3)])
    assert texts(warned) == texts(plain)


def test_many_bends_keep_their_numbers_and_are_listed():
    tube = TUBES["thirty"]
    assert len(tube.run.table.bends) > MOST_CALLED_OUT
    picture = isometric_picture(tube, BOTH, findings=[any_finding("radius-too-tight", tube="thirty", bend=7)])
    circled = {label.text for label in picture.labels if label.circled}
    assert circled == {str(n) for n in range(1, 31)}
    assert {"bend", "straight", "rotation", "angle", "CLR"} <= set(texts(picture))
    assert "7 !" in texts(picture)
    assert min(label.height for label in picture.labels) >= 1.2


def test_the_list_stands_where_more_is_left_for_the_tube():
    """A long flat zigzag has it below and an upright one beside, in one frame that is wider than tall."""
    rows = [(200.0, 0.0, 40.0, 100.0), *[(100.0, 180.0, 80.0, 100.0)] * MOST_CALLED_OUT]
    level, upright = (
        isometric_picture(tube_of(run_of(rows, 200.0, Placement((0.0, 0.0, 0.0), ahead, (0.0, 1.0, 0.0))), ROUND), BOTH)
        for ahead in ((1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    )
    for picture, below in ((level, True), (upright, False)):
        xs, ys = zip(*(p for stroke in picture.strokes if stroke.role == "tube" for p in stroke.points), strict=True)
        x, y = next(label.at for label in picture.labels if label.text == "bend")
        assert (y < min(ys)) if below else (x > max(xs))


def test_a_short_thick_tube_leaves_room_for_what_is_written():
    """A ring cut off a tube: 30 across and half a millimetre long, at most 16 heights of text thick on paper."""
    picture = isometric_picture(tube_of(run_of([], 0.5), ROUND), BOTH)
    height = next(label.height for label in picture.labels if in_unit(label.text, "mm") == "straight 0.50")
    ys = [y for stroke in picture.strokes if stroke.role == "tube" for _, y in stroke.points]
    assert 8.0 * height < max(ys) - min(ys) < 16.1 * height


def test_sharp_corners_say_so():
    found = texts(isometric_picture(TUBES["mitred"], BOTH))
    assert "90.00°, sharp corner" in found
    assert "60.00°, CLR 60.00" in found


@pytest.mark.parametrize(("unit", "angle"), [("mm", "first angle"), ("in", "third angle")])
def test_views_stand_as_their_arrangement_has_them(unit, angle):
    """ISO 5456-2: from the right stands left and from above below in first angle; the other way in third."""
    picture = run_picture(TUBES["five"], Display(unit))
    at = {label.text: label.at for label in picture.labels}
    assert angle in at
    front, top, right = at["front view"], at["top view"], at["view from the right"]
    sign = 1.0 if unit == "in" else -1.0
    assert sign * (right[0] - front[0]) > 10.0
    assert sign * (top[1] - front[1]) > 10.0
    assert right[1] == pytest.approx(front[1], abs=15.0)
    assert top[0] == pytest.approx(front[0], abs=15.0)


def test_sizes_over_all_by_hand():
    """A hook: 300 straight, a quarter bend of 114.3, 200 straight, 30 across: 300 + 114.3 + 15 by 15 + 114.3 + 200."""
    found = texts(run_picture(TUBES["one"], Display("mm"), views=("front", "top", "right")))
    assert {"429.30", "329.30", "30.00"} <= set(found)


def test_a_slanted_straight_by_hand():
    """100 along (3, 4, 0) / 5, 30 across: 60 + 30 * 4 / 5 by 80 + 30 * 3 / 5."""
    from converter.model.bends import Placement

    tube = tube_of(run_of([], 100.0, Placement.leaving((0, 0, 0), (0.6, 0.0, 0.8))), ROUND)
    found = texts(run_picture(tube, Display("mm"), views=("front",)))
    assert {"84.00", "98.00"} <= set(found)


def test_the_developed_length_is_written_in_words():
    table = TUBES["one"].run.table
    assert table.developed_length == pytest.approx(500 + 114.3 * pi / 2)
    foot = next(t for t in texts(isometric_picture(TUBES["one"], BOTH), "in") if t.startswith("developed"))
    assert foot == "developed length 26.754 in · 1.181 x 0.079 in tube · lengths in inches"


def test_the_description_tells_it_all_to_those_who_cannot_see():
    picture = run_picture(TUBES["five"], Display("mm"))
    assert picture.title == "Tube handle"
    for i, (feed, roll, angle, clr) in enumerate(ROWS, 1):
        rolled = f", rotation {roll:.2f}°" if i > 1 else ""
        said = f"Bend {i}: after a straight of {feed:.2f}, {angle:.2f}°, CLR {clr:.2f}{rolled}."
        assert said in picture.description
    assert "closed" in isometric_picture(TUBES["ring"], BOTH).description
    assert "not known" in isometric_picture(TUBES["bare"], BOTH).description


def test_a_number_far_from_its_bend_has_a_line_to_it():
    """Of a U of bar the number stands beside a bend 150 mm thick; that of thin tube is near enough without."""
    lines = {}
    for od, clr in ((25.0, 75.0), (150.0, 160.0)):
        tube = tube_of(run_of([(200.0, 0.0, 90.0, clr), (200.0, 0.0, 90.0, clr)], 200.0), Section("bar", od, od / 2.0))
        picture = run_picture(tube, Display("mm"), views=("top",), size=(120.0, 90.0))
        rings = {label.text: label.at for label in picture.labels if label.circled}
        assert set(rings) == {"1", "2"}
        # a leader begins with a dot
        dots = [fill.outlines[0] for fill in picture.fills if fill.role == "dim" and len(fill.outlines[0]) == 12]
        starts = [(sum(x for x, _ in dot) / 12.0, sum(y for _, y in dot) / 12.0) for dot in dots]
        lines[od] = [
            (number, stroke.points[0])
            for stroke in picture.strokes
            for number, ring in rings.items()
            if any(hypot(stroke.points[0][0] - x, stroke.points[0][1] - y) < 1e-9 for x, y in starts)
            and hypot(stroke.points[1][0] - ring[0], stroke.points[1][1] - ring[1]) < 5.0
        ]
    assert lines[25.0] == [] and [number for number, _ in lines[150.0]] == ["1", "2"]
    # each from the middle of its own bend
    (_, first), (_, second) = lines[150.0]
    assert hypot(first[0] - second[0], first[1] - second[1]) > 15.0


def test_views_are_chosen_by_name():
    one = run_picture(TUBES["five"], Display("mm"), views=("isometric",))
    assert "front view" not in texts(one)
    flat = run_picture(TUBES["five"], Display("mm"), views=("top",))
    assert "top view" in texts(flat)
    assert TRAVEL not in texts(flat)
    with pytest.raises(OptionError, match=r"The views of a tube are isometric, front, top, right, not left\."):
        run_picture(TUBES["five"], Display("mm"), views=("left",))
    with pytest.raises(OptionError, match="not none"):
        run_picture(TUBES["five"], Display("mm"), views=())
    assert VIEWS == ("isometric", "front", "top", "right")


def test_long_and_hostile_names_are_cut_to_one_line():
    assert fitted("a\nb\tc\x07", 3.0, 100.0) == "a b c"
    cut = fitted("管" * 200, 3.0, 100.0)
    assert cut.endswith("…")
    assert len(cut) < 30
    tube = tube_of(run_of([], 100, name="x" * 500), ROUND)
    picture = run_picture(tube, Display("mm"))
    assert label_box(picture.labels[0], "mm").bounds[2] < 270.0
    assert 1.5 <= text_height((20, 20), True) <= text_height((2000, 2000), False) == 3.0


def test_equal_runs_give_equal_pictures():
    one, two = (run_picture(examples()["five"], BOTH) for _ in range(2))
    assert (one.strokes, one.fills, one.labels) == (two.strokes, two.fills, two.labels)


# --- as files -----------------------------------------------------------------------------


@pytest.mark.slow
def test_convert_writes_a_picture_of_every_run(tmp_path, capsys):
    from xml.etree import ElementTree

    from PIL import Image

    done = command(capsys, "demo", "--out", tmp_path / "demo", "--to", "svg,png", "-q")
    assert done.status == 0
    names = sorted(p.name for p in (tmp_path / "demo" / "out").iterdir())
    assert len(names) == 20
    leg = tmp_path / "demo" / "out" / "boathouse-LEG 1.25x0.083in.svg"
    root = ElementTree.parse(leg).getroot()
    said = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"70.00°, CLR 2.500", "too tight", "35.00°, CLR 3.500", "rotation 90.00°", "third angle"} <= set(said)
    with Image.open(leg.with_suffix(".png")) as image:
        assert image.size == (1594, 1063)  # 270 by 180 mm at 150 to the inch
    again = command(capsys, "demo", "--out", tmp_path / "again", "--to", "svg,png", "-q")
    assert again.status == 0
    for name in names:
        assert (tmp_path / "again" / "out" / name).read_bytes() == (tmp_path / "demo" / "out" / name).read_bytes()


def test_extension_lines_cross_no_text():
    """A text where a dimension's extension line would run moves the dimension; else the line would cross it out."""
    for blocked in (False, True):
        picture, room = Picture(), Room(0.7, (0.0, 0.0, 100.0, 100.0))
        if blocked:
            room.take_text((18.0, 22.0, 22.0, 24.0))
        done = dimension(picture, room, (20.0, 20.0), (80.0, 20.0), 10.0, "60.00", 2.0)
        assert done is not blocked
        assert bool(picture.strokes) is not blocked


def test_a_leader_goes_around_what_stands_between_where_it_can():
    """A wall to the right: the nearest spot lies beyond it, but the leader would cross it."""
    spots = []
    for crossing in (14.0, 0.0):
        room = Room(0.7, (0.0, 0.0, 100.0, 100.0))
        room.take_line([(44.0, 42.0), (44.0, 58.0)], 0.5)
        spot = room.beside([(40.0, 50.0)], Wish((12.0, 3.0), 0.0, 30.0, 5.5, 3.0, crossing))
        assert spot is not None
        spots.append(spot.middle)
    around, across = spots
    assert across[0] > 50.0 and abs(across[1] - 50.0) < 4.0
    assert abs(around[1] - 50.0) > 4.0
