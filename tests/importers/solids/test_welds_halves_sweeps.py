"""Weld beads around ends, tubes split along them into solids, square tube along a spline: as programs write them.

All are drawn along a straight of 150 mm, a bend of 90 degrees on 100 mm and one of 200 mm, or as straights of 400 mm
(fixtures/step/make_freecad_welds.py); where something else is drawn, it says so.
"""

from __future__ import annotations

from math import cos, pi, radians, sin, tan

import cadquery as cq
import pytest
from places import FIXTURES
from tube_bodies import cylinder, pipe, tubes

from converter.importers.step.read import read_step
from converter.reducer import reduce_drawing

STEP = FIXTURES / "step"
V = cq.Vector
X = (1, 0, 0)


#: The path, and how a section is carried along one.
_CORNER = (150 + 50 * 2**0.5, 100 - 50 * 2**0.5)
PATH = cq.Workplane(cq.Workplane().lineTo(150, 0).threePointArc(_CORNER, (250, 100)).lineTo(250, 300).wire().val())


def swept(section, path):
    return section(cq.Workplane(cq.Plane((0, 0, 0), (0, 0, 1), X))).sweep(path).val()


def variants(run, code="solid-ends"):
    return [(f.variant, f.end) for f in run.findings if f.code == code]


def only(path):
    (run,) = reduce_drawing(read_step(path))[0]
    return run


def is_the_path(run, within=1e-6):
    (bend,) = run.table.bends
    assert (bend.feed, bend.angle, bend.clr, run.table.tail) == pytest.approx((150, 90, 100, 200), abs=within)
    return True


# --- weld beads ------------------------------------------------------------------------------


def test_a_tube_with_a_weld_bead_ends_on_its_flange():
    """It ended behind the flange, 8 mm further on, level with the end of the flange's bore."""
    run = only(STEP / "solid-freecad-weld-flange.step")
    assert is_the_path(run) and variants(run) == [("face", "A")]
    assert run.metal == pytest.approx((0, 0), abs=1e-6)


def test_a_leg_with_a_fillet_ends_at_the_axis_of_the_post():
    """It ended where the fillet begins, 14 mm short of the axis. Lengths by the drawing: 400 mm each."""
    runs = reduce_drawing(read_step(STEP / "solid-freecad-weld-tee.step"))[0]
    assert [run.table.tail for run in runs] == pytest.approx([400, 400], abs=1e-3)
    leg = min(runs, key=lambda run: run.section.od)
    assert leg.start == pytest.approx((200, 0, 0), abs=1e-3) and variants(leg) == [("mate", "A")]
    # by hand: along the leg's line at 15 mm towards the post, x^2 + ... on its outside: the cut solid without the
    # fillet reaches so near to the post's axis
    plain = pipe((200, 0, 0), (0, 0.6, 0.8), 15, 2, 400).cut(cylinder((0, 0, 0), X, 20, 400))
    points = [edge.positionAt(k / 200) for edge in plain.Edges() for k in range(201)]
    nearest = min((p - V(200, 0, 0)).dot(V(0, 0.6, 0.8)) for p in points)
    assert leg.metal[0] == pytest.approx(-nearest, abs=0.01)


@pytest.mark.parametrize("bead", ["fillet", "chamfer"])
@pytest.mark.parametrize("tilt", [0.0, 20.0])
def test_beads_on_slanted_plates(bead, tilt):
    """A pipe of 300 mm on a plate that it meets at a slant: its centerline ends on the plate's face."""
    plate = cq.Workplane().box(120, 120, 6).translate((0, 0, -3)).rotate((0, 0, 0), (0, 1, 0), tilt).val()
    tube = pipe((0, 0, -60), (0, 0, 1), 16, 2, 360).cut(
        cq.Workplane().box(400, 400, 200).translate((0, 0, -100)).rotate((0, 0, 0), (0, 1, 0), tilt).val()
    )
    body = tube.fuse(plate)
    around = [e for e in body.Edges() if e.geomType() in ("CIRCLE", "ELLIPSE")
              and abs(e.Center().z) < 1e-3 and abs(e.BoundingBox().ylen - 32) < 0.01]  # fmt: skip
    body = body.fillet(3, around) if bead == "fillet" else body.chamfer(3, None, around)
    (found,), ignored = tubes(body)
    assert not ignored and found.table.tail == pytest.approx(300, abs=1e-3)
    ends = [(f.variant, f.measured) for f in found.findings if f.code == "solid-ends"]
    assert ends == [("face", pytest.approx(16 * tan(radians(tilt)), abs=1e-3))]


# --- halves ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["halves", "halves-square"])
def test_both_halves_of_a_split_tube_are_one(name):
    run = only(STEP / f"solid-freecad-{name}.step")
    assert is_the_path(run) and run.deviation < 1e-6
    assert variants(run, "solid-joined") == [("halves", None)]
    assert run.name == ("upper half" if name == "halves" else "solid")
    sizes = (run.section.od, run.section.wall, run.section.kind.name)
    assert sizes == ((42.4, 2.6, "round") if name == "halves" else (40.0, 2.0, "square"))


def test_halves_of_two_tubes_are_two_and_a_lone_half_is_told(tmp_path):
    tube = swept(lambda plane: plane.circle(21.2), PATH).cut(swept(lambda plane: plane.circle(18.6), PATH))
    upper = tube.intersect(cq.Workplane().box(3000, 3000, 1000).translate((0, 0, 500)).val())
    lower = tube.cut(upper)
    both = [upper, lower]
    parts = [*both, *(one.translate(V(0, 0, 100)) for one in both), upper.translate(V(0, 0, 500))]
    cq.Compound.makeCompound(parts).exportStep(str(tmp_path / "s.step"))
    drawing = read_step(tmp_path / "s.step")
    runs = reduce_drawing(drawing)[0]
    assert sorted(round(run.start[2], 6) for run in runs) == [0, 100] and all(map(is_the_path, runs))
    (left,) = drawing.ignored
    assert "half of a tube or bar" in left.why_in()


def test_two_channels_side_by_side_are_no_tube(tmp_path):
    """Back to back they touch; with their legs apart they are no box either."""
    box = cq.Workplane().box(400, 40, 20).cut(cq.Workplane().box(400, 36, 18).translate((0, 0, 1))).val()
    back = box.rotate(V(0, 0, 0), V(1, 0, 0), 180).translate(V(0, 0, -20))
    cq.Compound.makeCompound([box, back]).exportStep(str(tmp_path / "s.step"))
    drawing = read_step(tmp_path / "s.step")
    assert not drawing.tables and sum(one.count for one in drawing.ignored) == 2


def test_a_bent_channel_is_as_long_as_its_metal_makes_it(tmp_path):
    """By hand: 150 + 200 straight, and in the bend the middle of the half's metal lies on the centerline by symmetry:
    150 + 100 pi / 2 + 200 = 507.08 mm. It was told as the span of its box along one leg."""
    square = swept(lambda plane: plane.rect(40, 40), PATH).cut(swept(lambda plane: plane.rect(36, 36), PATH))
    half = square.intersect(cq.Workplane().box(3000, 3000, 1000).translate((0, 0, 500)).val())
    _, (left,) = tubes(half)
    sizes, length = dict(dict(left.why.values)["why"].values).values()
    assert sizes == pytest.approx((40, 20), abs=0.01) and length == pytest.approx(350 + 50 * pi, abs=0.05)
    assert "unite both halves" in left.why_in()


# --- sweeps ----------------------------------------------------------------------------------


def test_a_bar_along_a_spline_is_read_as_a_drawn_spline_is():
    run = only(STEP / "solid-freecad-bar-spline.step")
    assert is_the_path(run, 0.01) and run.section.kind.name == "flat-bar"
    assert (run.section.od, run.section.height) == pytest.approx((40, 30), abs=1e-3)  # along z, then in the plane
    assert variants(run, "solid-swept") == [("flat", None)] and run.deviation < 0.05


@pytest.mark.parametrize("corner", [0.0, 5.0])
def test_a_square_tube_along_a_spline(corner, tmp_path):
    """It was refused as a plate or as free-form; drawn as 150, 60 degrees on 150, 200 mm through 80 points."""
    angles = [radians(60 * k / 26) for k in range(27)]
    points = [(150 * k / 26, 0) for k in range(26)]
    points += [(150 + 150 * sin(a), 150 - 150 * cos(a)) for a in angles]
    x, y = points[-1]
    points += [(x + 200 * k / 26 * cos(angles[-1]), y + 200 * k / 26 * sin(angles[-1])) for k in range(1, 27)]
    path = cq.Workplane(cq.Wire.assembleEdges([cq.Edge.makeSpline([V(x, y, 0) for x, y in points])]))

    def carried(width, height, radius):
        def section(plane):
            drawn = plane.sketch().rect(width, height)
            return (drawn.vertices().fillet(radius) if radius else drawn).finalize()

        return swept(section, path)

    carried(50, 30, corner).cut(carried(46, 26, max(0.0, corner - 2))).exportStep(str(tmp_path / "s.step"))
    found = only(tmp_path / "s.step")
    (bend,) = found.table.bends
    assert (bend.feed, bend.angle, bend.clr, found.table.tail) == pytest.approx((150, 60, 150, 200), abs=0.02)
    sizes = (found.section.od, found.section.height, found.section.wall, found.section.corner)
    assert sizes == pytest.approx((50, 30, 2, corner), abs=0.01)


def test_a_spring_is_called_one(tmp_path):
    """5 mm a turn, three turns."""
    helix = cq.Wire.makeHelix(5, 15, 10)
    wire = cq.Solid.sweep(cq.Wire.makeCircle(1, V(10, 0, 0), V(0, 1, 0)), [], helix, True, True)
    wire.exportStep(str(tmp_path / "s.step"))
    (left,) = read_step(tmp_path / "s.step").ignored
    assert "spring or coil of wire or bar, 2.00 mm across, that turns around 3.0 times" in left.why_in()
