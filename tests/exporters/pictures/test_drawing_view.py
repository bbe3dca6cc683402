"""The picture of a drawing as read: everything at its place, in the list, told apart, and nothing in the way."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from itertools import combinations, pairwise
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from places import FIXTURES

from converter import Settings, open_job
from converter.exporters.paper.figure import text_width
from converter.exporters.pictures.drawing.lines import tight_lines
from converter.exporters.pictures.drawing.plane import apart, clipped, plane_of, thinned
from converter.exporters.pictures.drawing.view import drawing_legend, drawing_picture
from converter.exporters.pictures.picture import RING
from converter.exporters.pictures.written.svg import svg_text
from converter.importers.registry import ReadOptions
from converter.model.bends import Bend, BendTable
from converter.model.curve import Line, Polyline
from converter.model.drawing import Drawing, DrawnCurve, Ignored, ReadyTable
from converter.model.run import Tube
from converter.reducer import reduce_drawing
from converter.units import BothUnits, Display, in_unit


def faulty(path: Path) -> Path:
    """A drawing with one of everything, in mm, flat; its box is x -5.. 500, y -50.. 550 or a little more."""
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    tube = {"layer": "TUBE"}
    # a hook whose bend starts 0.05 after its straight: healed, at (300.025, 0)
    model.add_line((0, 0), (300, 0), dxfattribs=tube)
    model.add_arc((300.05, 75), 75, 270, 0, dxfattribs=tube)
    model.add_line((375.05, 75), (375.05, 375), dxfattribs=tube)
    # two straights 0.5 apart: near, at (150.25, 150)
    model.add_line((0, 150), (150, 150), dxfattribs=tube)
    model.add_line((150.5, 150), (300, 150), dxfattribs=tube)
    # the same straight twice, its middle (100, 200)
    model.add_line((0, 200), (200, 200), dxfattribs=tube)
    model.add_line((0, 200), (200, 200), dxfattribs=tube)
    # half an ellipse about (100, 300), half axes 100 and 50
    model.add_ellipse((100, 300), (100, 0), 0.5, 0, math.pi, dxfattribs=tube)
    # a bend of radius 20 about (200, 420), far below the die
    model.add_line((0, 400), (200, 400), dxfattribs=tube)
    model.add_arc((200, 420), 20, 270, 0, dxfattribs=tube)
    model.add_line((220, 420), (220, 550), dxfattribs=tube)
    # a sharp corner at (400, 500) on a layer without a section: no die gives it a radius
    model.add_lwpolyline([(280, 500), (400, 500), (400, 420)], dxfattribs={"layer": "A & B"})
    # left out: text, a dimension, a hatch, a point, an endless line, a hidden layer
    model.add_text("hello", height=15).set_placement((10, 50))
    model.add_linear_dim(base=(0, -50), p1=(0, 0), p2=(300, 0)).render()
    hatch = model.add_hatch()
    hatch.paths.add_polyline_path([(450, 0), (500, 0), (500, 50), (450, 50)], is_closed=True)
    model.add_point((350, 250))
    model.add_xline((0, 250), (1, 0.02))
    doc.layers.add("HIDDEN").off()
    model.add_line((450, 100), (500, 300), dxfattribs={"layer": "HIDDEN"})
    # a ring: a closed circle is a tube nobody bends in one piece
    model.add_circle((450, 450), 40, dxfattribs=tube)
    doc.saveas(path)
    return path


def result_of(path: Path, **settings):
    return open_job(str(path), Settings(**settings))


@dataclass
class Seen:
    """An SVG taken apart: paths (in mm of the drawing) and texts."""

    paths: dict[str, list[np.ndarray]]
    texts: list[str]

    def near(self, role: str, place: tuple[float, float], slack: float = 0.5) -> bool:
        """Whether the middle of some closed mark of a role lies there."""
        return any(math.dist((p.min(axis=0) + p.max(axis=0)) / 2, place) < slack for p in self.paths[role])

    def says(self, words: str) -> bool:
        return words in " ".join(self.texts)


def taken_apart(svg: str) -> Seen:
    """Read an SVG back; its scale from the scale bar, its place from the hatch, both of which are known by hand."""
    root = ET.fromstring(svg)
    paths: dict[str, list[np.ndarray]] = {}
    for one in root.iter("{http://www.w3.org/2000/svg}path"):
        numbers = [float(v) for v in re.findall(r"-?\d+\.?\d*", one.get("d", ""))]
        points = np.array(numbers).reshape(-1, 2) * (1.0, -1.0)
        paths.setdefault((one.get("class") or "").removeprefix("r-"), []).append(points)
    texts = [one.text or "" for one in root.iter("{http://www.w3.org/2000/svg}text")]
    bar = next(p for p in paths["dim"] if len(p) == 4)
    length = float(next(t for t in texts if re.fullmatch(r"\d+ mm", t)).removesuffix(" mm"))
    k = float(np.ptp(bar[:, 0])) / length
    # the hatch is the only dotted square; its low corner is (450, 0)
    square = next(p for p in paths["ignored"] if len(p) >= 4 and np.allclose(np.ptp(p, axis=0) / k, 50.0, atol=0.5))
    shift = square.min(axis=0) - np.array((450.0, 0.0)) * k
    return Seen({role: [(p - shift) / k for p in group] for role, group in paths.items()}, texts)


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    path = faulty(tmp_path_factory.mktemp("seen") / "faulty.dxf")
    result = result_of(path, sections=("TUBE=25x2mm",))
    picture = drawing_picture(result.drawing, result.tubes, result.findings, result.display, size=(190.0, 260.0))
    return result, picture, taken_apart(svg_text(picture, unit="mm"))


def test_gaps_are_ringed_where_they_are(shown):
    _, _, seen = shown
    assert seen.near("healed", (300.025, 0.0))
    assert seen.near("near", (150.25, 150.0))
    assert seen.says("gap 0.5 mm") and seen.says("ends 0.5 mm apart, left open") and seen.says("gap of 0.05 mm closed")


def test_a_duplicate_is_marked_in_its_middle_and_dotted(shown):
    result, _, seen = shown
    (said,) = [f for f in result.findings if f.code == "duplicate-removed"]
    assert said.at == pytest.approx((100.0, 200.0, 0.0))
    assert seen.near("strong", (100.0, 200.0))
    assert seen.says("drawn twice, 200.00 mm dropped")
    twice = [p for p in seen.paths["ignored"] if np.allclose(p[[0, -1]], [(0, 200), (200, 200)], atol=0.3)]
    assert len(twice) == 1


def test_a_free_curve_has_dashes_and_follows_what_was_drawn(shown):
    _, _, seen = shown
    (curve,) = (p for p in seen.paths["fitted"] if len(p) > 2)
    off = np.abs(np.hypot((curve[:, 0] - 100.0) / 100.0, (curve[:, 1] - 300.0) / 50.0) - 1.0)
    assert off.max() < 0.01 and np.ptp(curve[:, 0]) == pytest.approx(200.0, abs=1.0)
    assert seen.says("free curve")


def test_a_tight_bend_is_thick_on_its_own_arc(shown):
    _, _, seen = shown
    on = [p for p in seen.paths["tight"] if np.abs(np.hypot(*(p - (200.0, 420.0)).T) - 20.0).max() < 0.6]
    assert len(on) == 1 and math.dist(on[0][0], on[0][-1]) == pytest.approx(20.0 * math.sqrt(2.0), abs=0.6)
    assert seen.says("too tight: CLR 20.00 mm, the tightest die is 75.00 mm")


def test_a_sharp_corner_that_nothing_rounds_is_marked(shown):
    _, _, seen = shown
    corner = [p for p in seen.paths["tight"] if np.hypot(*(p - (400.0, 500.0)).T).min() < 0.3]
    assert len(corner) == 1 and "sharp" in seen.texts
    assert seen.says("A & B bend 1: sharp corner, nothing gives it a radius")


def test_a_kink_beside_an_arc_is_marked_on_both_sides():
    """openscad-ring.dxf, half a ring about (0, 0): its straights meet its arcs at right angles in (+-r, 0)."""
    result = result_of(FIXTURES / "dxf" / "openscad-ring.dxf")
    kinks = [f for f in result.findings if f.code == "kink"]
    assert len(kinks) == 4
    lines = tight_lines(result.tubes, kinks)
    for kink in kinks:
        near = [line for line in lines if np.linalg.norm(line - np.array(kink.at), axis=1).min() < 1e-6]
        assert len(near) == 1
        height = near[0][:, 1] - kink.at[1]
        assert abs(height[0] - height[-1]) > 1.0 and min(abs(height[0]), abs(height[-1])) < 1e-3


def test_a_corner_with_the_dies_radius_shows_the_tube_beside_the_corner(tmp_path):
    """Radius 75 in a corner at (400, 500), turning down: the arc lies about (325, 425)."""
    result = result_of(faulty(tmp_path / "faulty.dxf"), sections=("25x2mm",))
    picture = drawing_picture(result.drawing, result.tubes, result.findings, result.display)
    seen = taken_apart(svg_text(picture, unit="mm"))
    (bent,) = [p for p in seen.paths["center"] if math.dist(p[0], (280.0, 500.0)) < 1.0]
    arc = bent[(bent[:, 0] > 330.0) & (bent[:, 1] > 430.0)]
    assert len(arc) > 3 and np.abs(np.hypot(*(arc - (325.0, 425.0)).T) - 75.0).max() < 0.6
    drawn = [p for p in seen.paths["drawn"] if np.hypot(*(p - (400.0, 500.0)).T).min() < 0.3]
    assert drawn, "the corner as drawn stays"


def test_what_was_left_out_is_dotted_where_it_is(shown):
    result, _, seen = shown
    dotted = seen.paths["ignored"]

    def lies(*ends) -> bool:
        return any(np.allclose(p[[0, -1]], ends, atol=0.6) or np.allclose(p[[-1, 0]], ends, atol=0.6) for p in dotted)

    assert lies((450, 100), (500, 300)), "the line on the hidden layer"
    assert lies((0, 0), (0, -50)), "an extension line of the dimension"
    assert any(np.allclose(p.mean(axis=0), (350, 250), atol=0.5) for p in dotted)
    texts = [p for p in dotted if math.dist(p.min(axis=0), (10, 50)) < 8.0 and np.ptp(p[:, 1]) < 25.0]
    assert texts, "the box of the text"
    endless = [p for p in dotted if np.allclose(p[:, 1], 250.0 + 0.02 * p[:, 0], atol=0.6) and np.ptp(p[:, 0]) > 400]
    assert len(endless) == 1, "the endless line, clipped"
    for one in result.drawing.ignored:
        assert seen.says(f"{one.count} {one.kind}: {one.why_in()}"[:30])
    letters = {t for t in seen.texts if re.fullmatch("[a-z]", t)} - {"x", "y"}
    assert letters == set("abcdef") and len(result.drawing.ignored) == 6
    for letter in letters:
        assert seen.texts.count(letter) >= 2, "beside the shape and in the list"


def test_runs_have_names_and_ends(shown):
    result, _, seen = shown
    for tube in result.tubes:
        assert tube.name in seen.texts
    # once more in the list; a closed ring has no end B
    assert seen.texts.count("A") == len(result.tubes) + 1 and seen.texts.count("B") == len(result.tubes)


def test_numbers_in_the_picture_are_those_of_the_list(shown):
    result, picture, _ = shown
    entries = drawing_legend(result.drawing, result.tubes, result.findings, result.display)
    numbers = [e.mark for e in entries if e.kind == "finding" and e.mark]
    assert numbers == [str(i) for i in range(1, len(numbers) + 1)]
    ringed = [label.text for label in picture.labels if label.circled]
    listed = [label.text for label in picture.labels if label.role == "strong" and label.text.isdigit()]
    assert ringed and sorted(ringed) == sorted(set(ringed)) == sorted(listed), "once in the picture, once in the list"
    assert set(ringed) == set(numbers[: len(set(ringed))])


def test_what_went_wrong_in_reading_comes_first(shown):
    result, _, _ = shown
    entries = drawing_legend(result.drawing, result.tubes, result.findings, result.display)
    order = [(e.severity, e.finding.code) for e in entries if e.kind == "finding" and e.mark]
    assert order.index(("warning", "near-gap")) < order.index(("error", "radius-too-tight"))
    assert [severity for severity, _ in order][-1] == "note"
    alike = [e for e in entries if e.finding and e.finding.code == "radius-too-tight"]
    assert len(alike) == len({e.finding.tube for e in alike}), "one entry for all tight bends of a run"


def test_what_is_said_very_often_is_said_once(tmp_path):
    """Twenty runs with a sharp corner each: one entry, one number, twenty marks."""
    doc = ezdxf.new("R2010", units=4)
    for i in range(20):
        y = 100 * i
        doc.modelspace().add_lwpolyline([(0, y), (200, y), (200, y + 60)], dxfattribs={"layer": f"L{i}"})
    doc.saveas(tmp_path / "many.dxf")
    result = result_of(tmp_path / "many.dxf")
    entries = drawing_legend(result.drawing, result.tubes, result.findings, result.display)
    (sharp,) = [e for e in entries if e.finding and e.finding.code == "corner-no-radius"]
    assert sharp.heading == "L0, L1, L2 and 17 more: sharp corner, nothing gives it a radius"
    assert {round(p[1]) for p in (sharp.at, *sharp.also)} == set(range(0, 2000, 100))
    picture = drawing_picture(result.drawing, result.tubes, result.findings, result.display)
    assert sum(len(s.points) == 3 and s.closed for s in picture.strokes) == 20


def test_the_list_is_whole_as_data(shown):
    result, _, _ = shown
    entries = drawing_legend(result.drawing, result.tubes, result.findings, BothUnits("mm"))
    near = next(e for e in entries if e.finding and e.finding.code == "near-gap")
    assert near.at == pytest.approx((150.25, 150.0, 0.0))
    assert in_unit(near.heading, "mm").startswith("ends 0.5 mm apart")
    assert in_unit(near.heading, "in").startswith("ends 0.0197 in apart")
    left = [e for e in entries if e.kind == "left out"]
    assert [e.left for e in left] == [(i.kind, i.why) for i in result.drawing.ignored]


# --- labels -------------------------------------------------------------------------------------


def boxes(picture):
    """The box of each label: of its ring or square, else of its widest text; descenders left aside."""
    for label in picture.labels:
        x, y = label.at
        if label.circled or label.boxed:
            half = RING * label.height
            middle = y + label.height / 2.0
            yield label.text, (x - half, middle - half, x + half, middle + half)
            continue
        wide = max(text_width(in_unit(label.text, unit), label.height) for unit in ("mm", "in"))
        left = {"left": 0.0, "center": wide / 2.0, "right": wide}[label.align]
        yield label.text, (x - left, y, x - left + wide, y + label.height)


def overlapping(picture) -> list[tuple[str, str]]:
    def clash(a, b) -> bool:
        return min(a[2], b[2]) - max(a[0], b[0]) > 0.05 and min(a[3], b[3]) - max(a[1], b[1]) > 0.05

    return [(a, b) for (a, p), (b, q) in combinations(boxes(picture), 2) if clash(p, q)]


def assert_sound(picture, size):
    assert picture.low == (0.0, 0.0) and picture.high == pytest.approx(size), "all of it stays inside"
    assert overlapping(picture) == []


@pytest.mark.parametrize("size", [(190.0, 260.0), (190.0, 200.0), (180.0, 120.0), (90.0, 130.0)])
@pytest.mark.parametrize("legend", [True, False])
def test_labels_stay_inside_and_apart(shown, size, legend):
    result, _, _ = shown
    for display in (Display("mm"), BothUnits("in")):
        picture = drawing_picture(result.drawing, result.tubes, result.findings, display, size=size, legend=legend)
        assert_sound(picture, size)
        ET.fromstring(svg_text(picture, unit="mm"))


def test_without_the_list_every_number_is_in_the_picture(shown):
    result, _, _ = shown
    entries = drawing_legend(result.drawing, result.tubes, result.findings, result.display)
    picture = drawing_picture(
        result.drawing, result.tubes, result.findings, result.display, size=(260.0, 260.0), legend=False
    )
    numbers = [label.text for label in picture.labels if label.circled]
    assert sorted(map(int, numbers)) == [int(e.mark) for e in entries if e.kind == "finding" and e.mark]


@pytest.mark.parametrize("path", sorted((FIXTURES / "dxf").glob("*.dxf")), ids=lambda path: path.stem)
def test_drawings_of_cad_programs(path):
    result = result_of(path, sections=("25x2mm",))
    picture = drawing_picture(result.drawing, result.tubes, result.findings, result.display)
    assert_sound(picture, (190.0, 200.0))
    texts = [label.text for label in picture.labels]
    for tube in result.tubes:
        assert tube.name in texts
    flat = "space" not in path.stem and "back-to-back" not in path.stem and "unsure" not in path.stem
    assert any(("true to scale" in text) == flat and "from" in text for text in texts[:3])


def test_a_step_assembly_with_a_plate():
    """A plate shows as a dotted box, solids and sketches as runs; nothing lies in one plane."""
    result = result_of(FIXTURES / "step" / "freecad-assembly.step")
    picture = drawing_picture(result.drawing, result.tubes, result.findings, result.display)
    assert_sound(picture, (190.0, 200.0))
    dotted = [s for s in picture.strokes if s.role == "ignored" and s.points[0][1] > 60.0]
    # seen from a corner a box has twelve edges, none dotted over another
    assert len({frozenset(s.points) for s in dotted}) == len(dotted) == 12
    assert any("plate" in label.text for label in picture.labels)
    assert any("isometric" in label.text for label in picture.labels)
    assert sum(label.text == "a" for label in picture.labels) == 2


# --- trouble ------------------------------------------------------------------------------------


def reduced(drawing: Drawing) -> list[Tube]:
    runs, _ = reduce_drawing(drawing)
    return [Tube(run) for run in runs]


HOSTILE = ("<script>alert(1)</script>", '"><img onerror=alert(1) src=x>', "a\nb\x00\x1b[31mc", "W" * 400)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_text(name):
    table = BendTable((Bend(100.0, 0.0, 90.0, 50.0),), 100.0)
    drawing = Drawing(f"{name}.dxf", tables=[ReadyTable(name, table)], ignored=[Ignored(name, 3, name)])
    picture = drawing_picture(drawing, reduced(drawing), [], Display())
    assert_sound(picture, (190.0, 200.0))
    svg = svg_text(picture, unit="mm")
    tags = {one.tag.rpartition("}")[2] for one in ET.fromstring(svg).iter()}
    assert tags <= {"svg", "title", "desc", "style", "rect", "path", "text", "circle"}
    assert "\x1b" not in svg and "\x00" not in svg
    assert all("\n" not in label.text for label in picture.labels)


def test_an_empty_drawing_says_so():
    picture = drawing_picture(Drawing("nothing.dxf"), [], [], Display("in"))
    assert_sound(picture, (190.0, 200.0))
    texts = [label.text for label in picture.labels]
    assert "No tube was found in this drawing." in texts and any("no tube from no curve" in text for text in texts)


def test_far_off_things_do_not_shrink_the_tubes(tmp_path):
    """A text 100 m away is not shown, and that is said; the tube fills the picture."""
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_line((0, 0), (300, 0))
    doc.modelspace().add_text("far", height=20).set_placement((100_000, 0))
    doc.saveas(tmp_path / "far.dxf")
    result = result_of(tmp_path / "far.dxf")
    picture = drawing_picture(result.drawing, result.tubes, result.findings, result.display)
    assert max(math.dist(s.points[0], s.points[-1]) for s in picture.strokes if s.role == "drawn") > 150.0
    assert "1 TEXT: text (outside the picture)" in [label.text for label in picture.labels]
    assert not [s for s in picture.strokes if s.role == "ignored" and math.dist(s.points[0], s.points[-1]) < 8.9]


def test_a_huge_drawing_makes_a_small_picture():
    """2,000 runs and a million vertices: the file stays below 2 MB and shows the extent of every run."""
    t = np.linspace(0.0, 200.0 * math.pi, 1_000_000)
    spiral = np.column_stack((t * np.cos(t), t * np.sin(t), np.zeros_like(t))) * 3.0
    curves = [DrawnCurve(Polyline(spiral), "SPIRAL", "1")]
    rng = np.random.default_rng(20)
    for i in range(2000):
        start, step = rng.uniform(-1500, 1500, 2), rng.uniform(-200, 200, 2)
        curves.append(DrawnCurve(Line((*start, 0.0), (*(start + step), 0.0)), f"L{i}", f"A{i}"))
    tubes = reduced(Drawing("huge.dxf", curves=curves[1:]))
    picture = drawing_picture(Drawing("huge.dxf", curves=curves), tubes, [], Display())
    assert_sound(picture, (190.0, 200.0))
    assert len(tubes) == 2000 and len(svg_text(picture, unit="mm")) < 2_000_000
    assert sum(len(s.points) for s in picture.strokes) < 100_000


def test_in_a_crowd_every_run_still_shows():
    """20,000 marks far smaller than a pen: fewer strokes than marks, one beside each that is looked at."""
    rng = np.random.default_rng(7)
    starts = rng.uniform(0, 10_000, (20_000, 2))
    starts[0], starts[1] = (0.0, 0.0), (10_000.0, 10_000.0)
    curves = [DrawnCurve(Line((x, y, 0.0), (x + 5.0, y, 0.0)), "T", f"{i}") for i, (x, y) in enumerate(starts.tolist())]
    picture = drawing_picture(Drawing("crowd.dxf", curves=curves), [], [], Display())
    strokes = np.array([s.points[0] for s in picture.strokes if s.role == "ignored"][1:])
    assert len(strokes) < 16_000 and len(svg_text(picture, unit="mm")) < 2_000_000
    k = (strokes.max(axis=0) - strokes.min(axis=0)).max() / 10_000.0
    paper = (starts - starts.min(axis=0)) * k + strokes.min(axis=0)
    for some in np.array_split(paper[::20], 4):
        away = np.hypot(some[:, None, 0] - strokes[None, :, 0], some[:, None, 1] - strokes[None, :, 1]).min(axis=1)
        assert away.max() < 1.6


# --- lines on paper -----------------------------------------------------------------------------

coordinates = st.integers(-100_000, 100_000).map(lambda n: n / 1000.0)
lines = st.lists(st.tuples(coordinates, coordinates), min_size=2, max_size=120)


@given(lines)
def test_thinning_moves_nothing_by_more_than_it_may(points):
    """Checked with shapely, which knows nothing of this program."""
    line = np.array(points)
    thin = thinned(line, 0.5)
    assert len(thin) <= len(line) and (thin[0] == line[0]).all()
    kept = shapely.LineString(thin) if len(thin) > 1 else shapely.Point(thin[0])
    assert max(kept.distance(shapely.Point(p)) for p in line) <= 0.5 + 1e-9


def test_thinning_drops_what_lies_in_line():
    assert len(thinned(np.column_stack((np.linspace(0, 100, 500), np.zeros(500))))) == 2
    assert len(thinned(np.column_stack((np.linspace(0, 100, 5000), np.zeros(5000))))) < 12


@given(lines)
def test_clipping_keeps_what_lies_inside(points):
    """The length inside the box is what shapely finds."""
    line = np.array(points)
    box = (-40.0, -30.0, 50.0, 60.0)
    parts = clipped(line, box)
    ours = sum(float(np.hypot(*np.diff(p, axis=0).T).sum()) for p in parts)
    theirs = sum(
        shapely.LineString([a, b]).intersection(shapely.box(*box)).length for a, b in pairwise(points) if a != b
    )
    assert ours == pytest.approx(theirs, abs=1e-6)
    for p in parts:
        assert (p >= np.array(box[:2]) - 1e-9).all() and (p <= np.array(box[2:]) + 1e-9).all()


@given(st.floats(0.0, 6.2), st.floats(0.1, 1.4), st.integers(0, 2**32 - 1))
def test_a_flat_drawing_is_shown_true_in_any_plane(turn, tilt, seed):
    """Distances on paper are those in space."""
    flat = np.random.default_rng(seed).uniform(-500, 500, (12, 2))
    u = np.array((math.cos(turn), math.sin(turn), 0.0))
    v = np.array((-math.sin(turn) * math.cos(tilt), math.cos(turn) * math.cos(tilt), math.sin(tilt)))
    points = flat @ np.array((u, v)) + (1e4, -2e3, 500.0)
    plane = plane_of(points)
    assert plane.flat
    paper = plane.put(points)
    for i, j in combinations(range(len(points)), 2):
        assert math.dist(paper[i], paper[j]) == pytest.approx(math.dist(points[i], points[j]), rel=1e-6, abs=1e-6)
    assert np.cross(plane.right, plane.up)[2] >= -1e-9, "seen from above, not mirrored"


@given(st.integers(0, 2**32 - 1))
def test_one_line_in_space_is_seen_in_the_upright_plane_it_lies_in(seed):
    """A line lies in many planes; which one a solver of equations names would differ from machine to machine."""
    ends = np.random.default_rng(seed).uniform(-500, 500, (2, 3))
    plane = plane_of(np.linspace(*ends, 5))
    assert plane.up == pytest.approx((0.0, 0.0, 1.0), abs=1e-9)
    a, b = plane.put(ends)
    assert math.dist(a, b) == pytest.approx(math.dist(*ends))


def test_axes_that_point_the_same_way_on_paper_share_an_arrow():
    """Seen square to a plane that y lies in and that rises as x does, x and z both point up."""
    u, v = np.array((0.0, 1.0, 0.0)), np.array((1.0, 0.0, 1.0)) / math.sqrt(2.0)
    flat = np.random.default_rng(0).uniform(-500, 500, (12, 2))
    axes = plane_of(flat @ np.array((u, v))).axes
    assert [names for names, _ in apart(axes)] == ["x z", "y"]
    assert [names for names, _ in apart(plane_of(np.eye(3)[:2] * 100.0).axes)] == ["x", "y"]


def test_an_isometric_view_shortens_the_axes_alike():
    """By sqrt(2/3); they are 60 or 120 degrees apart, as x comes toward the eye and y goes away from it."""
    points = np.array(((0, 0, 0), (100, 0, 0), (0, 100, 0), (0, 0, 100), (50.0, 20, 70)))
    plane = plane_of(points)
    assert not plane.flat
    axes = plane.put(np.eye(3))
    assert np.hypot(*axes.T) == pytest.approx([math.sqrt(2 / 3)] * 3)
    for a, b in combinations(axes, 2):
        assert abs(float(a @ b)) == pytest.approx(2 / 3 * math.cos(math.radians(60)))
    assert axes[2] == pytest.approx((0.0, math.sqrt(2 / 3))), "z is up"


def test_reading_keeps_shapes_only_when_asked(tmp_path, monkeypatch):
    """The usual reading never touches what would gather them."""
    path = faulty(tmp_path / "faulty.dxf")

    def never(*_):
        raise AssertionError("gathered without being asked")

    monkeypatch.setattr("converter.importers.dxf.read.Gathering", never)
    from converter.importers.registry import read

    assert read(str(path)).aside is None
    with pytest.raises(AssertionError, match="gathered"):
        read(str(path), ReadOptions(keep_left_out=True))
