"""Round tubes swept along free curves; cadquery and its kernel say how long the road is that was drawn."""

from __future__ import annotations

from math import hypot, radians, tau

import cadquery as cq
import pytest
from places import FIXTURES

from converter.importers.step.read import read_step
from converter.model.centerline import rebuild
from converter.model.section import Section
from converter.reducer import reduce_drawing
from converter.tolerances import Tolerances

STEP = FIXTURES / "step"
V = cq.Vector


def sweep(path: cq.Edge, od: float, bore: float | None = None) -> cq.Solid:
    start, way = path.startPoint(), path.tangentAt(0)
    holes = [] if bore is None else [cq.Wire.makeCircle(bore / 2, start, way)]
    return cq.Solid.sweep(cq.Wire.makeCircle(od / 2, start, way), holes, cq.Wire.assembleEdges([path]), True, False)


@pytest.fixture(scope="module")
def free() -> cq.Edge:
    return cq.Edge.makeSpline([V(0, 0, 0), V(300, 80, 0), V(600, -60, 100), V(900, 40, 50)])


@pytest.fixture(scope="module")
def hose(free: cq.Edge) -> cq.Solid:
    return sweep(free, 38.1, 35.1)


def read(shape: cq.Shape, folder, fit: float = 0.05):
    shape.exportStep(str(folder / "s.step"))
    drawing = read_step(folder / "s.step")
    return drawing, reduce_drawing(drawing, Tolerances(fit=fit))[0]


def codes(run):
    return {f.code: f for f in run.findings}


def test_a_straight_a_bend_and_a_straight_in_one_spline_are_that():
    # make_swept.py: 90, 60 degrees on 60, 70
    (run,) = reduce_drawing(read_step(STEP / "solid-cadquery-swept.step"))[0]
    (bend,) = run.table.bends
    assert (bend.feed, bend.angle, bend.clr) == pytest.approx((90, 60, 60), abs=0.03)
    assert run.table.tail == pytest.approx(70, abs=0.03)
    assert run.table.developed_length == pytest.approx(90 + 60 * radians(60) + 70, abs=0.01)
    assert run.section is not None and run.section.kind.name == "bar" and run.section.od == pytest.approx(12, abs=1e-6)
    assert run.metal == pytest.approx((0, 0), abs=0.01) and run.deviation < 0.05
    assert "solid-swept" in codes(run) and not {"solid-remains", "solid-volume", "solid-ends"} & set(codes(run))


def test_a_free_road_is_a_free_curve_of_its_length(hose, free, tmp_path):
    drawing, (run,) = read(hose, tmp_path)
    assert run.section is not None and run.section.is_same_stock(Section("round", 38.1, 1.5), 1e-5)
    assert run.is_free_curve and run.table.developed_length == pytest.approx(free.Length(), abs=0.1)
    assert run.start == pytest.approx((0, 0, 0), abs=0.06) and not drawing.ignored
    # another way: the metal by the kernel over that of the section
    assert run.table.developed_length == pytest.approx(hose.Volume() / run.section.area, rel=1e-3)
    assert not {"solid-remains", "solid-volume", "solid-ends", "solid-off"} & set(codes(run))


def test_a_looser_fit_takes_it_with_fewer_bends(hose, tmp_path):
    close, wide = (read(hose, tmp_path, fit)[1][0] for fit in (0.05, 2.0))
    assert len(wide.table.bends) < len(close.table.bends) and 0.05 < wide.deviation <= 2.0


def test_ends_cut_at_a_slant_and_holes(hose, tmp_path):
    tool = cq.Solid.makeBox(400, 400, 400, V(0, -200, -200)).rotate(V(0, 0, 0), V(0, 0, 1), -30).translate(V(850, 0, 0))
    cut = hose.cut(tool).cut(cq.Solid.makeCylinder(4, 100, V(150, 10, 0)))
    _, (run,) = read(cut, tmp_path)
    ends = [f for f in run.findings if f.code == "solid-ends"]
    assert [(f.end, f.variant) for f in ends] == [("B", "cut")]
    # the centerline ends on the plane of the tool's first side, turned by 30 degrees about z
    x, y, _ = run.end
    assert (x - 850) * 0.8660254 - y * 0.5 == pytest.approx(0, abs=0.06)
    # another way: what its edges reach along the way in which it ends
    way = V(
        *getattr(rebuild(run.table, run.placement)[-1], "end_direction", None)
        or rebuild(run.table, run.placement)[-1].direction
    )
    far = max(way.dot(e.positionAt(t / 40) - V(*run.end)) for e in cut.Edges() for t in range(41))
    assert run.metal[1] == pytest.approx(far, abs=0.3) and far > 5


def test_another_tube_and_a_flange_of_the_same_body(hose, tmp_path):
    flange = cq.Solid.makeCylinder(45, 8, V(0, 0, 0), hose_way(hose)).cut(hose_bore(hose))
    _, (run,) = read(hose.fuse(flange), tmp_path)
    assert run.section is not None and run.section.wall == pytest.approx(1.5, abs=1e-4)
    rest = codes(run)["solid-remains"]
    assert rest.measured == pytest.approx(90, abs=10)


def hose_way(hose: cq.Solid) -> cq.Vector:
    return min(hose.Faces(), key=lambda face: face.Center().Length).normalAt() * -1.0


def hose_bore(hose: cq.Solid) -> cq.Solid:
    return cq.Solid.makeCylinder(35.1 / 2, 8, V(0, 0, 0), hose_way(hose))


def test_a_bar_fused_across_it_is_read_beside_it(hose, free, tmp_path):
    drawing, runs = read(hose.fuse(cq.Solid.makeCylinder(12, 300, free.positionAt(0.5))), tmp_path)
    assert sorted(run.section.kind.name for run in runs) == ["bar", "round"]
    assert len(drawing.tables) == 1 and len(drawing.curves) == 1


def test_copies_stand_where_they_stand(hose, tmp_path):
    both = cq.Assembly(name="rack")
    both.add(hose, name="hose", loc=cq.Location(V(0, 0, 0)))
    both.add(hose, name="other", loc=cq.Location(V(0, 500, 0), V(1, 0, 0), 40))
    both.export(str(tmp_path / "a.step"))
    runs = reduce_drawing(read_step(tmp_path / "a.step"))[0]
    assert len(runs) == 2
    assert runs[0].table.developed_length == pytest.approx(runs[1].table.developed_length, abs=0.05)
    assert sorted(round(run.start[1]) for run in runs) == [0, 500]


def test_a_spring_of_wire_is_none(tmp_path):
    helix = cq.Wire.makeHelix(5, 15, 10)
    wire = cq.Solid.sweep(cq.Wire.makeCircle(1, V(10, 0, 0), V(0, 1, 0)), [], helix, True, True)
    drawing, runs = read(wire, tmp_path)
    assert not runs and drawing.ignored


def coil(turns: float, radius: float, rise: float) -> cq.Solid:
    """Hollow tube of 20 x 1.5 mm, wound by the kernel."""
    helix = cq.Wire.makeHelix(rise, rise * turns, radius)
    start, way = V(radius, 0, 0), V(0, radius, rise / tau)
    bore = cq.Wire.makeCircle(8.5, start, way)
    return cq.Solid.sweep(cq.Wire.makeCircle(10, start, way), [bore], helix, True, True)


@pytest.mark.parametrize("turns", [0.5, 3.25])
def test_the_ends_of_a_coil_are_no_caps(turns, tmp_path):
    """The polygon that stands for a long coil turns by four degrees a step, and its ends lean by half of that."""
    _, (run,) = read(coil(turns, 100.0, 60.0), tmp_path)
    told = codes(run)
    assert (
        f"a coil of {turns:.2f} turns, 100.00 mm centerline radius, rising 60.00 mm a turn"
        in told["not-line-arc"].message
    )
    assert "solid-remains" not in told
    assert run.table.developed_length == pytest.approx(turns * hypot(tau * 100.0, 60.0), rel=2e-4)
