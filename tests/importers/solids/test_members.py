"""Square tube with any corners, bars, open profiles and hardware: claimed against the kernel, and the sizes drawn."""

from __future__ import annotations

from math import pi

import cadquery as cq
import numpy as np
import pytest
from member_bodies import DRAWN, HARDWARE, STEP, box, odd_members, outline, solids_of, swept, tube_along_x
from tube_bodies import assert_is, codes, cylinder, only, pipe, reason, tubes
from tubes import run_of

from converter.importers.body_checks import VOLUME_OFF
from converter.importers.registry import ReadOptions
from converter.importers.solids.read import find_tubes
from converter.importers.solids.rectangles import rectangles
from converter.importers.step.read import read_step
from converter.model.bends import Placement
from converter.model.section import Section
from converter.tolerances import DEFAULT
from converter.units import Display

KINDS = {
    "angle": "an angle (L)", "channel": "a channel (C)", "strut": "a channel with lips", "beam": "a beam (H or I)",
    "tee": "a tee (T)", "zed": "a zed (Z)", "t-slot": "a T-slot profile",
}  # fmt: skip


def claimed_volume(one) -> float:
    return one.section.area * one.table.developed_length


@pytest.fixture(scope="module")
def rhs():
    return solids_of("rhs")


@pytest.mark.parametrize("name", DRAWN["rhs"])
def test_a_tube_with_odd_corners_is_read_and_its_corners_told(rhs, name):
    spec = DRAWN["rhs"][name]
    one = only(rhs[name])
    assert one.table.tail == pytest.approx(spec["length"], abs=1e-6)
    assert sorted((one.section.od, one.section.height)) == pytest.approx(sorted((spec["width"], spec["height"])))
    assert one.section.wall == pytest.approx(spec["wall"])
    # the holes, the corner drawn otherwise and chords are all that the kernel's volume may differ by
    assert claimed_volume(one) == pytest.approx(rhs[name].Volume(), rel=VOLUME_OFF)
    (told,) = (f.message for f in one.findings if f.code == "solid-off")
    assert ("corners" in told) and one.deviation > 0.05
    if min(spec["outside"]) >= 0:
        assert one.section.corner == pytest.approx(max(spec["outside"]))
    assert one.metal == pytest.approx((0.0, spec["height"] / 2.0 if name == "mitred" else 0.0), abs=1e-6)


def test_the_deviation_of_a_sharp_corner_is_that_of_its_diagonal(rhs):
    """By hand: a sharp corner where the others have a radius r lies r (sqrt 2 - 1) off."""
    r = max(DRAWN["rhs"]["one sharp"]["outside"])
    assert only(rhs["one sharp"]).deviation == pytest.approx(r * (2.0**0.5 - 1.0), abs=1e-6)


def test_a_tube_of_another_kernel_with_a_corner_cut_off():
    """SolveSpace: every face and edge a B-spline, and the faces no solid."""
    spec = DRAWN["solvespace"]
    (one,) = read_step(STEP / "solid-solvespace-rhs.step").tables
    assert one.table.tail == pytest.approx(spec["length"], abs=1e-6) and one.metal == pytest.approx((0, 0), abs=1e-6)
    assert one.section == Section("rectangular", spec["width"], spec["wall"], spec["height"])
    # the middle of the chamfer is half its leg away from either side
    assert one.deviation == pytest.approx(-spec["outside"][0] / 2.0, abs=1e-5)
    assert "1 of its corners outside is cut off" in next(f.message for f in one.findings if f.code == "solid-off")


TWISTED = run_of([(120, 0, 90, 80), (60, 90, 45, 100)], 150, Placement((10, 20, 30), (0.6, 0.8, 0), (0, 0, 1)))


@pytest.mark.parametrize(
    ("outside", "within", "off", "words", "fused"),
    [
        ((6, 8, 6, 4), (3, 4, 3, 2), 2.0 * (2**0.5 - 1.0), "outside have radii from 4.00 mm to 8.00 mm", True),
        ((6, 6, 0, 6), (0, 0, 0, 0), 6.0 * (2**0.5 - 1.0), "outside have radii from 0.00 mm to 6.00 mm", False),
        ((6, 6, -5, 6), (3,) * 4, 5.0 / 2**0.5 - 6.0 * (2**0.5 - 1.0), "1 of its corners outside is cut off", False),
    ],
    ids=["unlike", "sharp", "one cut off"],
)
def test_a_bent_tube_with_odd_corners(outside, within, off, words, fused):
    """By hand: corners of radii r and s, or cut off by a leg, lie so far from each other on the diagonal."""
    shape = swept(TWISTED, [outline((50, 30), outside), outline((44, 24), within)])
    claimed = Section("rectangular", 50, 3, 30, 6)
    odd = shape.Volume() / (claimed.area * TWISTED.table.developed_length) - 1.0
    if fused:
        at, ahead = TWISTED.placement.start, TWISTED.placement.direction
        side = [p + 60.0 * d + 15.0 * up for p, d, up in zip(at, ahead, (-0.8, 0.6, 0.0), strict=True)]
        shape = shape.fuse(pipe(side, (-0.8, 0.6, 0), 10, 2, 200))
    found, left = tubes(shape)
    assert not left and len(found) == 1 + fused
    one = max(found, key=lambda table: len(table.table.bends))
    assert_is(one, TWISTED, claimed)
    assert abs(odd) < 2 * VOLUME_OFF and one.deviation == pytest.approx(off, abs=1e-5)
    assert words in next(f.message for f in one.findings if f.code == "solid-off")


def test_bars_are_sections_and_a_plate_is_none():
    solids = solids_of("bars")
    for name, spec in DRAWN["bars"].items():
        one = only(solids[name])
        assert one.section.bore is None and one.section.corner == pytest.approx(max(spec["outside"]), abs=1e-6)
        assert (one.section.od, one.section.height) == pytest.approx((spec["width"], spec["height"]))
        assert one.table.tail == pytest.approx(spec["length"]) and one.deviation < 1e-6
        # two holes of 12 mm through 8 mm
        lost = 2.0 * pi * 36.0 * 8.0 if name == "drilled flat" else 0.0
        assert claimed_volume(one) - lost == pytest.approx(solids[name].Volume(), rel=1e-6)
        assert set(codes(one)) <= {"solid-volume"}
    assert "plate" in reason(solids["base plate"])


@pytest.mark.parametrize("name", KINDS)
def test_open_profiles_are_called_what_they_are(name):
    words = reason(solids_of("t-slot" if name == "t-slot" else "open")[name])
    points = np.array(DRAWN["open"][name])
    sizes = sorted(np.ptp(points, axis=0), reverse=True)
    assert KINDS[name] in words and f"{sizes[0]:.2f} x {sizes[1]:.2f} mm, 400.00 mm long" in words


def test_hardware_is_left_out_by_name_and_taken_when_asked():
    drawing = read_step(STEP / "solid-freecad-hardware.step")
    assert [one.name for one in drawing.tables] == ["short tube"]
    section = drawing.tables[0].section
    assert (section.shape, section.od, section.wall) == ("round", pytest.approx(42.4), pytest.approx(2.6))
    words = {one.why_in().split(":")[0]: one.why_in() for one in drawing.ignored}
    assert set(words) == set(HARDWARE[:-1])
    for name, word in {
        "hex screw": "hexagon of 13.00 mm", "cap screw": "steps from 8.00 mm to 13.00", "pin": "a pin or stud",
        "countersunk screw": "widens from 8.00 mm to 16.00", "stud plate": "a pin or stud", "bush": "a bush or spacer",
        "connector": "hexagon of 24.00 mm", "valve": "steps from", "bottle": "steps from",
    }.items():  # fmt: skip
        assert words[name].startswith(f"{name}: not taken for stock: ") and word in words[name]
    (told,) = (f for f in drawing.findings if f.code == "not-stock")
    assert told.measured == 9.0 and "'bush'" in told.message and "--take-all" in told.cure_in(Display("mm"))
    everything = read_step(STEP / "solid-freecad-hardware.step", ReadOptions(take_all=True))
    assert {name.rsplit("-", 1)[0] for name in (t.name for t in everything.tables)} >= {"pin", "bush", "hex screw"}
    assert not any(f.code == "not-stock" for f in everything.findings)


def test_why_not():
    words = ("a pin:", "bore steps", "a boss", "thread or ribs", "chambers", "another section")
    for shape, word in zip(odd_members(), words, strict=False):
        assert word in reason(shape)


def test_what_is_stock_though_short_thick_or_flanged():
    """A spacer of tube, a bush long enough, a bar of six diameters, stubs on a post, a post on a plate."""
    post = pipe((0, 0, 0), (0, 0, 1), 20, 2, 300)
    kept = [
        pipe((0, 0, 0), (1, 0, 0), 21.2, 2.6, 25), pipe((0, 0, 0), (1, 0, 0), 10, 4, 60),
        cylinder((0, 0, 0), (1, 0, 0), 10, 120), post.fuse(box((-60, -60, -8), (120, 120, 8))),
    ]  # fmt: skip
    for shape in kept:
        assert len(tubes(shape)[0]) == 1
    assert len(tubes(post.fuse(pipe((0, 0, 150), (1, 0, 0), 15, 2, 55)))[0]) == 2


def test_a_wall_that_is_not_there_makes_no_tube():
    """A tube milled open along one side is a channel, whatever corners are left; rows of holes leave it a tube."""
    tube = tube_along_x(40, 40, 3, 300)
    assert "channel" in reason(tube.cut(box((-1, -12, 10), (302, 24, 20))))
    assert "channel" in reason(tube.cut(box((-1, -17, 10), (302, 34, 20))))
    holes = cq.Compound.makeCompound([cylinder((x, 0, -30), (0, 0, 1), 6, 60) for x in range(12, 300, 25)])
    drilled = tube.cut(holes)
    one = only(drilled)
    assert one.section == Section("square", 40, 3)
    off = drilled.Volume() / claimed_volume(one) - 1.0
    assert codes(one) == {"solid-volume": pytest.approx(off, abs=1e-9)} and off < -VOLUME_OFF
    assert f"{-100.0 * off:.1f}% less metal" in one.findings[0].message and "up to 2%" in one.findings[0].message


@pytest.mark.parametrize("turn", [0, 37])
def test_uneven_walls_and_metal_beside_are_told(turn):
    *_, uneven, window, lug = odd_members()
    for shape, code in ((uneven, "solid-off"), (window, "solid-volume"), (lug, "solid-volume")):
        one = only(shape.rotate(cq.Vector(), cq.Vector(1, 2, 3), turn))
        assert code in codes(one) and sorted((one.section.od, one.section.height)) == pytest.approx([40, 60])
        assert one.table.tail == pytest.approx(300, abs=1e-6)


def test_rectangles_do_not_grow_with_what_stands_one_behind_the_other():
    """Sixty pieces in one line, corners of each on the same four spots: sixty rectangles, not 60 to the fourth."""
    square = [(-20.0, -20.0), (20.0, -20.0), (20.0, 20.0), (-20.0, 20.0)]
    spots = np.array(square * 60)
    outs = spots / np.hypot(20.0, 20.0)
    spans = np.repeat(np.array([(100.0 * k, 100.0 * k + 90.0) for k in range(60)]), 4, axis=0)
    found = rectangles(spots, outs, list(range(240)), DEFAULT, spans)
    assert len(found) == 60 and all({c // 4 for c in r.corners} == {r.corners[0] // 4} for r in found)


def test_a_lattice_has_only_so_many_rectangles_looked_into():
    spots = np.array([(30.0 * i, 30.0 * j) for i in range(12) for j in range(12) for _ in range(2)])
    outs = np.array([(x, y) for _ in range(72) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]) * 0.5**0.5
    found = rectangles(spots, outs, list(range(288)), DEFAULT)
    assert 1000 < len(found) <= 4000 and found[0].sizes == pytest.approx((30.0, 30.0))


def test_take_all_takes_a_screw():
    screw = solids_of("hardware")["hex screw"]
    found, ignored = find_tubes(screw.wrapped, "screw", take_all=True)
    assert len(found) == 1 and not ignored and found[0].section.od == pytest.approx(8.0)
