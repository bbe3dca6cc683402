"""The strip of a stick template, read from the DXF: die marks as `setup` has them, cuts where they meet their mates.

Marks and tangent points are compared with ``setup --json``. A cut is bent and wrapped back into space by hand (a frame
carried along the centerline) and must lie on the surface of the tube that it is cut to.
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians, sin

import ezdxf
import numpy as np
import pytest
from command_line import hook, run
from copes import straight
from frames import RAIL, RUNG
from jobs import BARE_SHOP, job_of, write_job
from legible import assert_clear_of_lines, assert_legible

from converter.exporters.dxf.stick_template import template_figure
from converter.exporters.paper.stick import StickTemplate, Strip
from converter.exporters.paper.stick_words import facts
from converter.geometry.vectors import add, cross, rotate, scale
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.load import demo_shop
from converter.shop.model import Die, Machine, Shop, Trial
from converter.units import Display

DIE = Die("R150", "round", 38.1, 150.0, clamp=90.0, between=90.0, tail=50.0, mark_offset=12.0)
TESTS = (Trial("R150", None, None, 46.0, 45.0), Trial("R150", None, None, 92.0, 90.0))
SHOP = Shop("yard", (DIE,), Machine(plane="horizontal", pivot_height=3000.0), tests=TESTS, source=__file__)
PAPER = 0.1

SHOP_FILE = """units = "mm"
[shop]
name = "yard"
[[die]]
name = "R100"
od = 25
clr = 100
clamp = 320
tail = 310
{offset}
[[test]]
die = "R100"
stop = 92
angle = 90
"""


def twisted(section: Section = RUNG, *, place: Placement | None = None, name: str = "RAIL-3") -> Tube:
    """Three bends in three planes."""
    bends = (Bend(300.0, 0.0, 90.0, 150.0), Bend(320.0, 37.0, 60.0, 150.0), Bend(280.0, -112.0, 75.0, 150.0))
    return Tube(Run(name, None, False, BendTable(bends, 340.0), place or Placement()), section)


def for_the_demo() -> Tube:
    """The same bends on a tube and a radius that the demo shop has a die for."""
    tube = twisted(Section("round", 38.1, 2.0))
    bends = tuple(replace(bend, clr=114.3) for bend in tube.run.table.bends)
    return replace(tube, run=replace(tube.run, table=BendTable(bends, tube.run.table.tail)))


def with_mates(tube: Tube) -> list[Tube]:
    """A tube with a mate across each end, neither square to it nor in a bend's plane."""
    run = tube.run
    along_b = run.centerline[-1].direction
    found = [tube]
    for name, point, out, clock in (
        ("MATE-A", run.placement.start, scale(run.placement.direction, -1.0), 25.0),
        ("MATE-B", run.end, along_b, 70.0),
    ):
        side = cross(out, (0.31, 0.62, 0.72))
        side = rotate(scale(side, 1.0 / np.linalg.norm(side)), out, clock)
        axis = rotate(side, cross(out, side), 20.0)  # 70 degrees between the axes
        found.append(straight(name, add(point, scale(axis, -400.0)), add(point, scale(axis, 400.0)), RAIL))
    return found


def template(folder, tubes, **how):
    display = how.get("display") or Display()
    options = {name: how.pop(name) for name in ("paper_thickness",) if name in how}
    job = job_of(tubes, shop=how.pop("shop", SHOP), **how)
    [path] = write_job(job, folder / "out", ["template"], **options)
    k = 25.4 if display.unit == "in" else 1.0
    return job, ezdxf.readfile(path), k


def uprights(doc, layer, k=1.0):
    return sorted(e.dxf.start.x * k for e in doc.modelspace().query(f'LINE[layer=="{layer}"]'))


def words(doc):
    return [t.dxf.text for t in doc.modelspace().query("TEXT")]


# --- marks --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", ["--mm", "--in"])
@pytest.mark.parametrize("end", ["A", "B"])
def test_marks_and_tangent_points_are_those_of_setup(tmp_path, capsys, end, unit):
    """On the drawing and in its words, with springback from test bends and extra at both ends."""
    drawing = hook(tmp_path / "hook.dxf")
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP_FILE.format(offset="mark_offset = 12.5"), encoding="utf-8")
    given = (drawing, "--section", "25x2mm", "--shop", shop, "--feed-from", end, unit)
    assert run(capsys, "convert", *given, "--to", "template", "--out", tmp_path / "out").status == 0
    doc = ezdxf.readfile(tmp_path / "out" / "hook-template.dxf")
    [tube] = run(capsys, "setup", *given, "--json").json["tubes"]
    [bend] = tube["bends"]
    assert tube["extra_a"] > 0.0 and tube["extra_b"] > 0.0 and tube["feed_from"] == end
    k = 25.4 if unit == "--in" else 1.0
    left, right = uprights(doc, "cut", k)
    assert right - left == pytest.approx(tube["stick_length"], abs=1e-9)
    # by hand: the corner stays, the arc is 100 x 92 degrees long and comes out at 100 x 92 / 90
    start = 300.0 - (100.0 * 92.0 / 90.0 - 100.0) + tube["extra_a" if end == "A" else "extra_b"]
    assert bend["start"] == pytest.approx(start, abs=1e-6)
    assert bend["arc"] == pytest.approx(100.0 * radians(92.0), abs=1e-6)
    from_fed = (lambda x: x - left) if end == "A" else (lambda x: right - x)
    [mark] = uprights(doc, "die-marks", k)
    assert from_fed(mark) == pytest.approx(bend["mark"], abs=1e-9)
    assert bend["mark"] == pytest.approx(start - 12.5, abs=1e-6)
    points = [*uprights(doc, "tangent-start", k), *uprights(doc, "tangent-end", k)]
    wanted = [bend["start"], bend["start"] + bend["arc"]]
    assert sorted(map(from_fed, points)) == pytest.approx(wanted, abs=1e-9)
    text = words(doc)
    display = Display("in" if unit == "--in" else "mm")
    assert f"{display.number(bend['mark'])} die mark 1" in text
    assert any(t.startswith("die mark 1") for t in text) and "tangent point, bend 1" in text
    assert f"stop {bend['stop_angle']:.2f}°" in text
    assert any(f"Distances run from end {end}, which goes first" in t for t in text)


def test_marks_and_tangent_points_have_layers_of_their_own_weights(tmp_path):
    _, doc, _ = template(tmp_path, [twisted()])
    weight = {
        layer: doc.layers.get(layer).dxf.lineweight for layer in ("cut", "cope-cut", "die-marks", "tangent-start")
    }
    assert weight["cut"] == weight["cope-cut"] > weight["die-marks"] > weight["tangent-start"] > 0
    assert doc.layers.get("tangent-start").dxf.linetype == "DASHED" != doc.layers.get("die-marks").dxf.linetype
    assert len(uprights(doc, "die-marks")) == 3
    assert not doc.audit().errors


@pytest.mark.parametrize(
    ("tube", "shop", "marks", "said"),
    [
        (twisted(), BARE_SHOP, 0, "has no die for this tube: lines across are tangent points"),
        (
            replace(twisted(), run=replace(twisted().run, table=BendTable((Bend(300.0, 0.0, 90.0, None),), 300.0))),
            SHOP,
            0,
            "A corner has no radius, so there is no set-up",
        ),
        (twisted(), replace(SHOP, dies=(replace(DIE, mark_offset=None),)), 3, "gives 'R150' no mark offset"),
        (for_the_demo(), demo_shop(), 3, "Dies and marks are those of the invented demo shop"),
    ],
)  # fmt: skip
def test_what_the_marks_are_worth_is_told(tmp_path, tube, shop, marks, said):
    _, doc, _ = template(tmp_path, [tube], shop=shop)
    if shop.is_demo:
        marks = len(uprights(doc, "die-marks"))
        assert marks > 0
    assert len(uprights(doc, "die-marks")) == marks
    assert any(said in text for text in words(doc)), words(doc)
    assert any("die mark" in text for text in words(doc) if text != "die mark none") == bool(marks)


def test_without_an_offset_a_mark_is_where_the_bend_starts(tmp_path):
    _, doc, _ = template(tmp_path, [twisted()], shop=replace(SHOP, dies=(replace(DIE, mark_offset=None),)))
    assert uprights(doc, "die-marks") == pytest.approx(uprights(doc, "tangent-start"), abs=1e-9)


# --- cuts of the ends ---------------------------------------------------------------------------------


def curves(doc, k=1.0):
    found = [np.array([(x * k, y * k) for x, y, *_ in e.get_points()]) for e in doc.modelspace().query("LWPOLYLINE")]
    return sorted(found, key=lambda points: points[0, 0])


def strip_edges(doc, k=1.0):
    ys = sorted({round(e.dxf.start.y * k, 6) for e in doc.modelspace().query('LINE[layer=="sheet-edge"]')})
    return ys[-2], ys[-1]  # the first template of the file is the uppermost


def wrapped_back(tube, points, edges, from_end, end):
    """Points of the strip in space on the straight at an end.

    Only from what the strip says: seen from outside with the direction from A to B to the right, its upper edge is the
    outside of bend 1 and "up" is outward x along; it is carried along the bends without twist.

    Args:
        from_end: of every point, how far back from the centerline's end it lies, mm.
    """
    run = tube.run
    outward = scale(run.placement.toward, -1.0)
    direction, origin = run.placement.direction, run.placement.start
    if end == "B":
        for piece in run.centerline:
            if isinstance(piece, Arc):
                outward = rotate(outward, piece.normal, piece.angle)
        direction, origin = run.centerline[-1].direction, run.end
    below = -np.cross(outward, direction)
    turn = (edges[1] - points[:, 1]) / (edges[1] - edges[0]) * 2.0 * pi
    r = tube.section.od / 2.0
    radial = np.cos(turn)[:, None] * np.array(outward) + np.sin(turn)[:, None] * below
    inward = np.array(direction) if end == "A" else -np.array(direction)
    return np.array(origin) + from_end[:, None] * inward + r * radial


def off_the_mate(points, mate):
    """How far points lie outside the surface of a straight round tube, mm."""
    a, b = (np.array(p) for p in (mate.run.placement.start, mate.run.end))
    axis = (b - a) / np.linalg.norm(b - a)
    away = points - a
    return np.linalg.norm(away - (away @ axis)[:, None] * axis, axis=1) - mate.section.od / 2.0


@pytest.mark.parametrize("display", [Display(), Display("in")])
@pytest.mark.parametrize("end", ["A", "B"])
def test_cuts_wrapped_around_the_bent_tube_lie_on_their_mates(tmp_path, end, display):
    tubes = with_mates(twisted(place=Placement((5.0, 6.0, 7.0), (0.0, 0.6, 0.8), (0.0, -0.8, 0.6))))
    job, doc, k = template(tmp_path, tubes, display=display, feed_from=end, paper_thickness=PAPER)
    setup = job.setups[0]
    assert [*setup.cuts.by_end] == ["A", "B"] and setup.feed_from == end
    at_a, at_b = [c for c in curves(doc, k) if np.ptp(c[:, 1]) > 100.0][:2]
    edges = strip_edges(doc, k)
    assert edges[1] - edges[0] == pytest.approx(pi * (RUNG.od + PAPER), abs=1e-5)
    for points, letter, mate in ((at_a, "A", tubes[1]), (at_b, "B", tubes[2])):
        assert points[0, 1] == pytest.approx(edges[1], abs=1e-6) and points[-1, 1] == pytest.approx(edges[0], abs=1e-6)
        finished = points[:, 0] if letter == "A" else setup.cuts.along(setup.length) - points[:, 0]
        assert finished.min() == pytest.approx(0.0, abs=2e-3), "the long point is the finished end"
        space = wrapped_back(tubes[0], points, edges, finished - setup.cuts.change(letter), letter)
        assert np.abs(off_the_mate(space, mate)).max() < 1e-6
        assert np.ptp(finished) > 5.0
        # a cut turned by ten degrees would not fit
        turned = np.column_stack((points[:, 0], points[:, 1] + (edges[1] - edges[0]) / 36.0))
        wrong = wrapped_back(tubes[0], turned, edges, finished - setup.cuts.change(letter), letter)
        assert np.abs(off_the_mate(wrong, mate)).max() > 0.5


def test_the_cuts_of_a_straight_are_clocked_to_one_another(tmp_path):
    rung = straight("RUNG", (0.0, 0.0, 0.0), (0.0, 0.0, 500.0), RUNG)
    tilted = (500.0 * cos(radians(35.0)), 500.0 * sin(radians(35.0)), 0.0)
    mates = [
        straight("LOW", (-500.0, 0.0, -120.0), (500.0, 0.0, 120.0), RAIL),
        straight("HIGH", add((0.0, 0.0, 500.0), scale(tilted, -1.0)), add((0.0, 0.0, 500.0), tilted), RAIL),
    ]
    job, doc, _ = template(tmp_path, [rung, *mates], paper_thickness=0.0)
    at_a, at_b = curves(doc)[:2]
    edges = strip_edges(doc)
    [zero] = {joint.zero_direction for joint in job.joints if joint.end == "A"}
    placed = replace(rung, run=replace(rung.run, placement=replace(rung.run.placement, normal=cross(zero, (0, 0, 1)))))
    for points, letter, mate in ((at_a, "A", mates[0]), (at_b, "B", mates[1])):
        setup = job.setups[0]
        finished = points[:, 0] if letter == "A" else setup.cuts.along(setup.length) - points[:, 0]
        outward = placed.run.placement
        assert np.allclose(scale(outward.toward, -1.0), zero) or np.allclose(outward.toward, zero)
        if np.allclose(outward.toward, zero):
            placed = replace(
                rung, run=replace(rung.run, placement=replace(outward, normal=scale(outward.normal, -1.0)))
            )
        space = wrapped_back(placed, points, edges, finished - setup.cuts.change(letter), letter)
        assert np.abs(off_the_mate(space, mate)).max() < 1e-6


def test_a_square_tube_shows_its_faces_and_its_cut(tmp_path):
    """A 40 mm square leg that stands square on a flat-on rail of 50: cut flat, along its face, at the rail's side."""
    square = Section("square", 40.0, 3.0, corner=4.0)
    table = BendTable((Bend(300.0, 0.0, 90.0, 150.0),), 300.0)
    leg = Tube(Run("LEG", None, False, table, Placement((0, 0, 0), (0, 0, 1), (0, 1, 0))), square)
    rail = straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), Section("round", 60.0, 3.0))
    _, doc, _ = template(tmp_path, [leg, rail], paper_thickness=0.0)
    edges = strip_edges(doc)
    assert edges[1] - edges[0] == pytest.approx(4 * 32.0 + 2 * pi * 4.0, abs=1e-6)
    faces = sorted(e.dxf.start.y for e in doc.modelspace().query('LINE[layer=="face-edges"]'))[-8:]
    assert np.diff(faces) == pytest.approx([2 * pi, 32.0, 2 * pi, 32.0, 2 * pi, 32.0, 2 * pi], abs=1e-6)
    assert {f"face {n}" for n in (1, 2, 3, 4)} <= set(words(doc))
    # by hand: q across the rail, the metal stops sqrt(30^2 - q^2) from its axis; along the faces at q = 20 straight
    [cut] = curves(doc)[:1]
    cope = -np.sqrt(30.0**2 - 20.0**2)
    depth = np.interp(edges[1] - 1e-9, cut[::-1, 1], cut[::-1, 0])
    assert cut[:, 0].min() == pytest.approx(0.0, abs=1e-6)
    # bend 1 lies in the rail's plane: the zero line, in the middle of face 1, is at q = 0
    assert depth - cope == pytest.approx(30.0, abs=1e-6)
    middle_of_face_2 = edges[1] - (edges[1] - edges[0]) / 4.0
    assert np.interp(middle_of_face_2, cut[::-1, 1], cut[::-1, 0]) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("thin", [False, True])
def test_labels_keep_off_lines_and_one_another(thin):
    section = Section("round", 12.7, 1.0) if thin else RUNG
    tubes = with_mates(twisted(section))
    job = job_of(tubes, shop=replace(SHOP, dies=(replace(DIE, size=section.od),)))
    stick = StickTemplate.of(job.setups[0], job.joints)
    assert len(stick.copes) == 2
    figure = template_figure(tubes[0], stick, Strip.of(section, PAPER), job.shop, Display())
    assert_legible(figure)
    assert_clear_of_lines(figure)


def test_no_copes_no_cuts(tmp_path):
    _, doc, _ = template(tmp_path, with_mates(twisted()), coped=False)
    assert not curves(doc)


def test_the_developed_length_is_that_of_the_table_beside_the_cut_length():
    """300, a quarter of 150, 300 is 835.62 mm along the centerline; springback takes another stick."""
    run = Run("T", "T", False, BendTable((Bend(300.0, 0.0, 90.0, 150.0),), 300.0), Placement())
    tube = Tube(run, Section("round", 38.1, 2.0), die="R150", metal="mild steel")
    job = job_of((tube,), shop=SHOP)
    stick = StickTemplate.of(job.setups[0])
    found = facts(tube, stick, Strip.of(tube.section, PAPER), Display("mm"))
    assert found[0] == f"developed length {600.0 + 75.0 * pi:.2f} mm" == "developed length 835.62 mm"
    assert found[1].startswith("cut length ") and abs(job.setups[0].stick_length - 835.62) > 0.1
