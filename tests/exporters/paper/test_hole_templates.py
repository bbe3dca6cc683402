"""Templates of holes: the print's and the DXF's own coordinates against the CAD kernel's intersection, unrolled."""

from __future__ import annotations

from math import pi

import ezdxf
import numpy as np
import pytest
from command_line import run
from copes import kernel_cylinder, straight
from frames import draw, hoop
from jobs import write_job
from passing_tubes import POST, R, holes, passing, points
from pdf_tools import read_pdf
from shapely.geometry import LineString, Point
from test_cope_templates import drawn, job, printed

from converter.exporters.paper.wraps import hole_wraps
from converter.model.section import Section

PAPER = 0.1
PIN = Section("round", 16.0, 2.0)


def kernel_curve(bar, radius):
    """Points of the kernel's intersection of the post's outside with another cylinder, each edge apart."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Section
    from OCP.TopAbs import TopAbs_EDGE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    start = np.asarray(bar.run.placement.start)
    post = kernel_cylinder((0.0, 0.0, -200.0), (0.0, 0.0, 1.0), R, 1000.0)
    other = kernel_cylinder(start, bar.run.placement.direction, radius, 600.0)
    walk = TopExp_Explorer(BRepAlgoAPI_Section(post, other).Shape(), TopAbs_EDGE)
    found = []
    while walk.More():
        curve = BRepAdaptor_Curve(TopoDS.Edge_s(walk.Current()))
        places = np.linspace(curve.FirstParameter(), curve.LastParameter(), 80)
        rows = np.array([[p.X(), p.Y(), p.Z()] for p in (curve.Value(float(u)) for u in places)])
        found.append(rows)
        walk.Next()
    points_there = np.concatenate(found)
    return points_there[np.abs(points_there[:, 2] - 100.0) < 290.0]


def hole_outlines(page):
    return [line for line in drawn(page, "cut") if len(line) > 20]


def unrolled(at, hole, seam):
    """(x, length from end A) of points on the post, with what the JSON says and nothing else."""
    zero = np.asarray(hole.zero_direction)
    side = np.cross((0.0, 0.0, 1.0), zero)
    clock = np.degrees(np.arctan2(at @ side, at @ zero))
    return np.column_stack(((clock - seam) % 360.0 * pi / 180.0 * (R + PAPER / 2.0), at[:, 2] + 200.0))


@pytest.mark.parametrize(("theta", "offset"), [(90.0, 0.0), (50.0, 4.0), (35.0, -6.0), (90.0, 15.0)])
def test_the_print_agrees_with_the_kernels_intersection(theta, offset, tmp_path):
    bar = passing(theta, offset)
    pages = [page for page in printed(tmp_path, [POST, bar])[1:] if "template" in page.text]
    assert len(pages) <= 2
    page = pages[0]
    shown = hole_outlines(page)
    assert len(shown) == 2
    made = holes(POST, bar)
    [one] = hole_wraps(made, {}, PAPER)
    # the lower edge and the left side edge, as printed
    edges = drawn(page, "sheet-edge")
    level = [line for line in edges if line[0, 1] == pytest.approx(line[1, 1], abs=1e-3)]
    low, left = min(line[0, 1] for line in level), min(line[:, 0].min() for line in level)
    print_at = unrolled(kernel_curve(bar, 12.0), made[0], one.seam) - (0.0, one.low) + (left, low)
    lines = [LineString(outline) for outline in shown]
    off = [min(line.distance(Point(p)) for line in lines) for p in print_at]
    assert len(off) >= 160 and max(off) < 2e-3
    assert one.low % 5.0 == pytest.approx(0.0, abs=1e-9)
    assert max(line[:, 1].max() for line in shown) < max(line[0, 1] for line in level) - 11.9
    # both edges and the closing marks once around apart
    if len(pages) == 1:
        assert max(line[:, 0].max() for line in level) - left == pytest.approx(2.0 * pi * (R + PAPER / 2.0), abs=1e-3)
        marks = sorted((float(p[:, 1].mean()), float(p[:, 0].mean())) for p in drawn(page, "closing-marks"))
        assert [b[1] - a[1] for a, b in (marks[:2], marks[2:])] == [
            pytest.approx(2.0 * pi * (R + PAPER / 2.0), abs=1e-3)
        ] * 2


@pytest.mark.parametrize("theta", [90.0, 60.0])
def test_no_hole_is_cut_in_two_by_the_side_edges(theta, tmp_path):
    """The zero line runs through the first hole: it is drawn there, and the edges lie a quarter turn away."""
    made = holes(POST, passing(theta))
    [one] = hole_wraps(made, {}, PAPER)
    assert one.seam in (pytest.approx(90.0), pytest.approx(270.0))
    for x, _ in one.outlines:
        assert x.min() > 5.0 and x.max() < one.width - 5.0
    [line] = [line for line in drawn(printed(tmp_path, [POST, passing(theta)])[1], "zero-line") if len(line) == 2]
    centers = [outline[:, 0].min() / 2.0 + outline[:, 0].max() / 2.0 for outline in hole_outlines_of(tmp_path)]
    assert min(abs(line[0, 0] - center) for center in centers) < 1e-3


def hole_outlines_of(tmp_path):
    return hole_outlines(read_pdf(next((tmp_path / "out").glob("*.pdf")))[1])


def test_lengths_count_from_the_end_as_it_is_cut(tmp_path):
    """The post ends on a rail of 76.1: its long point lies sqrt(38.05^2 - 30^2) before the centerline's end A."""
    rail = straight("RAIL", (-300.0, 0.0, -200.0), (300.0, 0.0, -200.0), Section("round", 76.1, 3.0))
    short = (38.05**2 - 30.0**2) ** 0.5
    text = " ".join(" ".join(page.text.split()) for page in printed(tmp_path, [POST, rail, passing()])[1:])
    # lowest point of the holes at 288, 17 more for words, down to the next 5 from the end as cut
    low = 5.0 * ((288.0 - 17.0 - short) // 5.0)
    middle = f"{300.0 - short:.2f} mm"
    assert (
        f"from the stick's end A as it is cut, its long point: lower edge {low:.2f} mm, middles of the holes "
        f"{middle} and {middle}." in text
    )
    assert "From the drawn centerline's end A: 300.00 mm and 300.00 mm." in text
    assert "in line with the long point of the cut at end A (the tube has no bend)" in text


def test_a_bent_tube_tells_the_way_from_the_tangent_point(tmp_path):
    """Through the hoop's leg at 350, its first bend begins at 450."""
    bar = straight("BAR", (-200.0, 0.0, 350.0), (200.0, 0.0, 350.0), PIN)
    text = " ".join(printed(tmp_path, [hoop("HOOP", 0.0, 0.0), bar])[1].text.split())
    assert "the outside of bend 1. From that bend's tangent point to the middles: 100.00 mm and 100.00 mm." in text


def test_holes_of_an_uncut_straight_tube_count_from_one_line():
    """Pegs at 0 and 40 degrees about the post: the second pair is clocked 40 degrees from the first."""
    a = np.radians(40.0)
    x, y = 300.0 * float(np.cos(a)), 300.0 * float(np.sin(a))
    peg = straight("PEG", (-x, -y, 500.0), (x, y, 500.0), PIN)
    made = holes(POST, passing(), peg)
    assert {hole.zero for hole in made} == {"through the middle of the first hole for BAR"}
    assert sorted(round(hole.clock, 6) for hole in made) == [0.0, 40.0, 180.0, 220.0]


def test_a_square_tubes_corners_are_on_the_outline():
    """Sharp corners lie at 10, 10 from the axis: on the post at asin(10 / 30) to both sides, 10 along."""
    both = holes(POST, passing(section=Section("square", 20.0, 2.0, corner=0.0)))
    for hole in both:
        at = points(hole)
        corner = np.abs(np.abs(at[:, 1]) - 10.0) + np.abs(np.abs(at[:, 2] - 100.0) - 10.0)
        assert (corner < 1e-6).sum() == 4


def test_holes_that_run_into_a_bend_are_left_to_the_finding():
    """The hoop's leg is straight up to 450: a pin of 16 through it at 445 would reach into the bend."""
    bar = straight("BAR", (0.0, -200.0, 445.0), (0.0, 200.0, 445.0), PIN)
    assert holes(hoop("HOOP", 0.0, 0.0), bar) == ()
    lower = straight("BAR", (0.0, -200.0, 441.0), (0.0, 200.0, 441.0), PIN)
    assert len(holes(hoop("HOOP", 0.0, 0.0), lower)) == 2


def test_the_index_lists_them_below_the_ends(tmp_path):
    rail = straight("RAIL", (-300.0, 0.0, 800.0), (300.0, 0.0, 800.0), Section("round", 76.1, 3.0))
    pages = printed(tmp_path, [rail, POST, passing()])
    index = " ".join(pages[0].text.split())
    assert "1 end cut to fit." in index and "1 place where a tube passes through" in index
    assert "full size, without fitting to the page." in index
    assert index.index("cut to angle") < index.index("hole for angle")
    assert "POST BAR 90.00° 0.00 300.00 24.00" in index
    number = int(index.split()[-1])
    assert "POST: holes for BAR" in pages[number - 1].text


def test_small_ones_share_a_sheet_with_the_ends(tmp_path):
    thin = Section("round", 30.0, 2.0)
    post = straight("POST", (0.0, 0.0, 0.0), (0.0, 0.0, 500.0), thin)
    rail = straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), Section("round", 40.0, 3.0))
    pin = straight("PIN", (-100.0, 0.0, 200.0), (100.0, 0.0, 200.0), Section("round", 12.0, 2.0))
    pages = printed(tmp_path, [rail, post, pin])
    assert len(pages) == 2
    text = " ".join(pages[1].text.split())
    assert "POST end A" in text and "POST: holes for PIN" in text
    assert text.count("Wrap it around") == 1 and text.count("Holes: wrap it around") == 1


def test_the_dxf_has_them_full_size(tmp_path):
    [path] = write_job(job([POST, passing(60.0)]), tmp_path / "out", ["cope-dxf"])
    doc = ezdxf.readfile(path)
    cuts = doc.modelspace().query('LWPOLYLINE[layer=="cut"]')
    assert len(cuts) == 2
    for cut, hole in zip(cuts, holes(POST, passing(60.0)), strict=True):
        at = np.array([(p[0], p[1]) for p in cut.get_points()])
        assert at[0] == pytest.approx(at[-1])
        assert np.ptp(at[:, 1]) == pytest.approx(hole.along, abs=1e-9)
        assert np.ptp(at[:, 0]) == pytest.approx(hole.around * (R + PAPER / 2.0) / R, abs=1e-9)
        # the passing tube's sides lie 12 to the left and to the right of the axis, by hand
        assert hole.around == pytest.approx(2.0 * R * np.arcsin(12.0 / R), abs=1e-6)
    assert not doc.audit().has_errors


def test_the_command_lists_holes_and_writes_templates_of_a_job_without_cut_ends(tmp_path, capsys):
    drawing = draw([POST, passing()], tmp_path / "frame.dxf")
    doc = ezdxf.readfile(drawing)
    for line in doc.modelspace().query("LINE"):
        line.dxf.layer = "POST" if abs(line.dxf.start.x) < 1e-9 else "BAR"
    doc.saveas(drawing)
    words = ("--section", "POST=60x3mm", "--section", "BAR=24x2mm", "--out", tmp_path / "copes")
    outcome = run(capsys, "cope", drawing, *words)
    assert outcome.status == 0, outcome.err
    said = " ".join(outcome.out.split())
    assert "0 ends cut to fit, on 0 tubes; 2 holes for tubes that pass through" in said
    assert "BAR passes through at 90.00°; the centerlines cross at (0.00, 0.00, 100.00) mm" in said
    assert "middle 300.00 mm from the centerline's end A, 180.00° from the zero line; 24.00 mm along" in said
    assert {path.name for path in (tmp_path / "copes").iterdir()} == {"frame-copes.dxf", "frame-copes.pdf"}
