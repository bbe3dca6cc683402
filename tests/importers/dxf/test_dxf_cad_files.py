"""Files from general-purpose CAD programs, and the traps they are known for (fixtures/README.md)."""

import json
import math
import random

import numpy as np
import pytest
from dxf_tools import FIXTURES, close, codes, gap, ignored, new, reread, sample

from converter.importers.dxf import read_dxf
from converter.importers.registry import read
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Arc, Line, Polyline, Spline
from converter.units import Display

TUBES = json.loads((FIXTURES / "tubes.json").read_text())


def truth(name):
    """The straights and arcs of a tube of tubes.json, by the program's own inverse (tested elsewhere)."""
    spec = TUBES[name]
    rows = []
    for feed, rotation, angle, clr in spec["bends"]:
        rows.append(Bend(float(feed), float(rotation), float(angle), float(clr)))
    place = Placement(*(tuple(map(float, spec[k])) for k in ("start", "direction", "normal")))
    return rebuild(BendTable(tuple(rows), float(spec["tail"])), place)


def same_tube(drawing, name, tol=2e-3):
    """The curves are those of the tube, in order, within the six digits that FreeCAD writes."""
    want = truth(name)
    got = [c.curve for c in drawing.curves][: len(want)]
    assert len(got) == len(want)
    for ours, true in zip(got, want, strict=True):
        assert gap(sample(ours, 60), sample(true, 60)) < max(tol, 0.02 * (not isinstance(ours, type(true))))
        if isinstance(true, Arc) and isinstance(ours, Arc):
            assert ours.radius == pytest.approx(true.radius, abs=tol)
            assert ours.angle == pytest.approx(true.angle, abs=2e-3)


@pytest.mark.parametrize("name", ["freecad-flat", "freecad-flat-r12", "librecad-resaved"])
def test_a_flat_tube(name):
    drawing = read(FIXTURES / f"{name}.dxf")
    same_tube(drawing, "flat")
    assert drawing.units == (None if "r12" in name else "mm")
    assert codes(drawing) == (["units-assumed"] if "r12" in name else [])


def test_nurbs_edges():
    """Straights as degree-1 splines come back as lines; rational arcs stay exact splines."""
    drawing = read(FIXTURES / "freecad-nurbs.dxf")
    assert [type(c.curve) for c in drawing.curves] == [Line, Spline, Line, Spline, Line, Spline, Line]
    want = truth("flat")
    for drawn, true in zip(drawing.curves, want, strict=True):
        assert close(drawn.curve.start, true.start, 2e-3) and close(drawn.curve.end, true.end, 2e-3)
        if isinstance(true, Arc):
            r = np.linalg.norm(sample(drawn.curve, 40) - np.array(true.center), axis=1)
            assert np.abs(r - true.radius).max() < 2e-3


def test_arcs_laid_flat_are_restored_and_said():
    drawing = read(FIXTURES / "freecad-space.dxf")
    same_tube(drawing, "space", 5e-3)
    assert codes(drawing) == ["arc-flattened"] * 2
    no_radius, wrong = drawing.findings
    assert "no radius" in no_radius.message and "50.00 mm, which was taken" in no_radius.message
    assert wrong.measured == pytest.approx(50, abs=2e-3) and wrong.handle and wrong.layer == "Wire"
    assert drawing.ignored == []


def test_a_bend_right_after_a_true_one_is_restored_too():
    drawing = read(FIXTURES / "freecad-back-to-back.dxf")
    same_tube(drawing, "back-to-back", 5e-3)
    assert codes(drawing) == ["arc-flattened"]


def test_what_cannot_be_restored_is_an_error():
    drawing = read(FIXTURES / "freecad-unsure.dxf")
    assert codes(drawing) == ["arc-suspect"] * 2
    assert all(f.severity == "error" and f.handle for f in drawing.findings)


def test_a_body_s_edges_are_no_centerline():
    drawing = read(FIXTURES / "freecad-body.dxf")
    (said,) = drawing.findings
    assert said.code == "outline-suspect" and said.measured == pytest.approx(38)
    assert "4 of 4 straights" in said.message and "2 of them drawn twice" in said.message


def test_librecad_mixed():
    drawing = read(FIXTURES / "librecad-mixed.dxf")
    kinds = [type(c.curve).__name__ for c in drawing.curves]
    assert kinds == ["Path", "Spline", "Ellipse", "Line", "Line", "Arc", "Line"]
    path = drawing.curves[0].curve
    assert close(path.end, (150, 120, 0)) and path.parts[1].radius == pytest.approx(50)
    assert path.parts[1].angle == pytest.approx(90) and path.parts[1].normal == (0, 0, 1)
    # the hook: mirrored in its own x, then turned by 30 degrees, from (0, 200)
    c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
    hook = drawing.curves[5].curve
    assert close(hook.start, (-80 * c, 200 - 80 * s, 0), 1e-6)
    assert close(hook.center, (-80 * c - 30 * s, 200 - 80 * s + 30 * c, 0), 1e-6)
    assert (
        hook.normal[2] == pytest.approx(-1) and drawing.curves[5].name == "HOOK" and drawing.curves[5].layer == "RAIL"
    )
    assert ignored(drawing) == {("TEXT", "text"): 1}


def test_openscad_ring():
    drawing = read(FIXTURES / "openscad-ring.dxf")
    assert len(drawing.curves) == 50 and all(isinstance(c.curve, Line) for c in drawing.curves)
    assert codes(drawing) == ["units-assumed", "outline-suspect"]
    extent, outline = drawing.findings
    # half a ring of 60 mm outside and 50 mm inside, in chords of a 48th of a turn: a little nearer than 10 mm
    assert extent.measured == pytest.approx(120) and outline.measured == pytest.approx(
        10 * math.cos(math.pi / 48), abs=6e-3
    )


# --- flat arcs, drawn on purpose -----------------------------------------------------------


def lay_flat(msp, segments, *, true_radius=False, six_digits=False):
    """Write a tube as the flattening writers do: lines true, arcs as their shadow about the true centre."""

    def digits(p):
        return [float(f"{v:.6g}") for v in p] if six_digits else list(p)

    for seg in segments:
        if isinstance(seg, Line):
            msp.add_line(digits(seg.start), digits(seg.end))
            continue
        (cx, cy, _), (sx, sy, _), (ex, ey, _) = seg.center, seg.start, seg.end
        radius = seg.radius if true_radius else math.hypot(sx - cx, sy - cy)
        first, last = math.degrees(math.atan2(sy - cy, sx - cx)), math.degrees(math.atan2(ey - cy, ex - cx))
        if seg.normal[2] < 0:
            first, last = last, first
        msp.add_arc(digits(seg.center), radius, first, last)


def space_tube(seed, bends=4):
    """A random tube in space with a straight on either side of every bend."""
    rng = random.Random(seed)
    rows = [
        Bend(
            rng.uniform(20, 200), 0.0 if i == 0 else rng.uniform(-179, 179), rng.uniform(15, 170), rng.uniform(20, 120)
        )
        for i in range(bends)
    ]
    d = np.array([rng.gauss(0, 1) for _ in range(3)])
    d /= np.linalg.norm(d)
    n = np.cross(d, [rng.gauss(0, 1) for _ in range(3)])
    n /= np.linalg.norm(n)
    start = tuple(rng.uniform(-300, 300) for _ in range(3))
    return rebuild(BendTable(tuple(rows), rng.uniform(20, 200)), Placement(start, tuple(d.tolist()), tuple(n.tolist())))


@pytest.mark.parametrize("true_radius", [False, True])
@pytest.mark.parametrize("six_digits", [False, True])
def test_random_flattened_tubes_come_back(tmp_path, true_radius, six_digits):
    """Twelve tubes in one drawing, shuffled: every arc is restored to the drawn one."""
    doc, msp = new()
    want = []
    for seed in range(12):
        segments = space_tube(seed)
        want += segments
        lay_flat(msp, segments, true_radius=true_radius, six_digits=six_digits)
    drawing = reread(doc, tmp_path)
    arcs = [s for s in want if isinstance(s, Arc)]
    found = [c.curve for c in drawing.curves if isinstance(c.curve, Arc)]
    assert codes(drawing) == ["arc-flattened"] * len(arcs)
    tol = 0.05 if six_digits else 1e-6
    for ours, true in zip(found, arcs, strict=True):
        assert ours.radius == pytest.approx(true.radius, abs=tol) and ours.angle == pytest.approx(true.angle, abs=tol)
        assert gap(sample(ours), sample(true)) < 2 * tol


def test_bends_of_half_a_turn_and_more_come_back(tmp_path):
    """At 180 degrees the ends and the centre are in line, and only the line's direction gives the plane."""
    doc, msp = new()
    wants = []
    for i, angle in enumerate((180.0, 200.0, 300.0)):
        table = BendTable((Bend(100.0, 0.0, angle, 60.0),), 80.0)
        segments = rebuild(table, Placement((500.0 * i, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0)))
        wants.append(segments[1])
        lay_flat(msp, segments)
    drawing = reread(doc, tmp_path)
    found = [c.curve for c in drawing.curves if isinstance(c.curve, Arc)]
    for ours, true in zip(found, wants, strict=True):
        assert ours.angle == pytest.approx(true.angle) and gap(sample(ours), sample(true)) < 1e-6


def test_true_arcs_in_space_are_left_alone(tmp_path):
    """The same tubes with their arcs in true planes: not a word, and the very curves."""
    from converter.geometry.vectors import dot, sub

    doc, msp = new()
    from converter.importers.dxf.entities import ocs_axes

    for seed in range(6):
        for s in space_tube(seed):
            if isinstance(s, Line):
                msp.add_line(s.start, s.end)
                continue
            x, y, z = ocs_axes(s.normal)
            a, b = (
                math.degrees(math.atan2(dot(sub(p, s.center), y), dot(sub(p, s.center), x))) for p in (s.start, s.end)
            )
            msp.add_arc([dot(s.center, v) for v in (x, y, z)], s.radius, a, b, dxfattribs={"extrusion": s.normal})
    drawing = reread(doc, tmp_path)
    assert codes(drawing) == []
    want = [s for seed in range(6) for s in space_tube(seed)]
    for drawn, true in zip(drawing.curves, want, strict=True):
        assert close(drawn.curve.start, true.start, 1e-8) and close(drawn.curve.end, true.end, 1e-8)


def test_loose_arcs_in_a_space_drawing_are_no_suspects(tmp_path):
    """A run that ends in a bend, a lone arc, circles: flat, loose and perfectly in order."""
    doc, msp = new()
    msp.add_line((0, 0, 0), (0, 0, 100))
    msp.add_line((300, 0, 0), (400, 0, 0))
    msp.add_arc((400, 50, 0), 50, 270, 0)
    msp.add_arc((800, 50, 20), 50, 10, 80)
    msp.add_circle((0, 0, 50), 19)
    msp.add_circle((200, 0, 50), 19)
    drawing = reread(doc, tmp_path)
    assert codes(drawing) == [] and len(drawing.curves) == 6


@pytest.mark.parametrize("radius", [0.5, 3.0, 787.0, 1e5])
def test_a_sound_arc_beside_flat_ones_stays_as_drawn(tmp_path, radius):
    """Two free ends that an arc about this centre would suit, drawn otherwise: their arc is not this one.

    The ends at the height of the centre lie 1000 mm to either side of it, square to their arms; another tube
    in the drawing has its bend laid flat, so that its writer is one that does that.
    """
    doc, msp = new()
    for segment in rebuild(
        BendTable((Bend(100.0, 0.0, 90.0, 60.0),), 80.0), Placement((0, 0, 0), (1, 0, 0), (0, -1, 0))
    ):
        lay_flat(msp, [segment])
    # end points of an arc of 1000 mm in a vertical plane about (5000, 0, 200), and the sound arc about the same centre
    msp.add_line((4000, 0, -300), (4000, 0, 200))
    msp.add_line((6000, 0, 200), (6000, 0, -300))
    msp.add_arc((5000, 0, 200), radius, 20, 110)
    # one end meets a line tangent to it: in its true plane, whatever the other end does
    msp.add_line((9000, 500 - radius, 0), (8900, 500 - radius, 0))
    msp.add_arc((9000, 500, 0), radius, 270, 300)
    msp.add_line((9000, 500, -100), (9000 + radius, 500, -100))
    drawing = reread(doc, tmp_path)
    arcs = [drawn.curve for drawn in drawing.curves if isinstance(drawn.curve, Arc)]
    assert [arc.radius for arc in arcs[1:]] == pytest.approx([radius, radius], rel=1e-12)
    assert [arc.angle for arc in arcs[1:]] == pytest.approx([90.0, 30.0], rel=1e-12)
    assert arcs[0].radius == pytest.approx(60.0) and codes(drawing).count("arc-flattened") == 1


def test_plane_drawings_are_never_suspected(tmp_path):
    doc, msp = new()
    msp.add_line((0, 0, 7), (100, 0, 7))
    msp.add_arc((100, 50, 7), 50, 270, 0)
    msp.add_arc((0, 500, 7), 0, 270, 0)
    drawing = reread(doc, tmp_path)
    assert codes(drawing) == [] and ignored(drawing) == {("ARC", "no radius"): 1}


def test_flat_arcs_between_polylines(tmp_path):
    """The straights may be polylines; the direction at the free end is their last chord's."""
    doc, msp = new()
    msp.add_polyline3d([(-50, 0, 0), (0, 0, 0), (100, 0, 0)])
    msp.add_polyline3d([(150, 0, 50), (150, 0, 90), (150, 0, 150)])
    msp.add_arc((100, 0, 50), 0, 0, 0)
    drawing = reread(doc, tmp_path)
    assert codes(drawing) == ["arc-flattened"]
    arc = drawing.curves[2].curve
    assert arc.radius == pytest.approx(50) and arc.angle == pytest.approx(90)
    assert isinstance(drawing.curves[0].curve, Polyline)


def test_handrails_with_round_holes_are_no_outline(tmp_path):
    doc, msp = new()
    for i in range(6):
        msp.add_line((0, 100 * i), (500, 100 * i))
        msp.add_circle((20, 100 * i), 5)
        msp.add_circle((480, 100 * i), 5)
    assert codes(reread(doc, tmp_path)) == []


def test_inches_are_spoken_in_inches(tmp_path):
    doc, msp = new(units=1)
    msp.add_line((0, 0, 0), (10, 0, 0))
    msp.add_line((14.5, 0, 4.5), (14.5, 0, 12))
    msp.add_arc((10, 0, 4.5), 0, 0, 0)
    (flattened, *_) = reread(doc, tmp_path).findings
    assert "radius 4.500 in" in flattened.message_in(Display("in")) and "radius 114.30 mm" in flattened.message
    assert flattened.measured == pytest.approx(114.3)


def test_reading_twice_gives_the_same():
    first, again = (read_dxf(FIXTURES / "freecad-space.dxf") for _ in range(2))
    assert [(c.layer, c.handle) for c in first.curves] == [(c.layer, c.handle) for c in again.curves]
    assert first.findings == again.findings
