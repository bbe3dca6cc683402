"""The drawing as read, from the command line; where findings say they are; shapes of what was left out."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import ezdxf
import pytest
from command_line import failed, files, hook, run
from test_drawing_view import faulty

from converter import Settings, open_job
from converter.errors import WriteError
from converter.exporters.pictures.files import write_picture
from converter.findings import Finding
from converter.importers.registry import ReadOptions, read
from converter.job import NoRunsError, sorted_findings
from converter.model.drawing import MOST_LEFT_OUT, MOST_POINTS, Aside, LeftShape
from converter.reducer import reduce_drawing


def texts(path) -> list[str]:
    """Every text of an SVG file."""
    return [one.text or "" for one in ET.parse(path).iter("{http://www.w3.org/2000/svg}text")]


def only_notes(path):
    """A drawing with a text and a dimension and no line at all."""
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_text("rail, see sheet 2", height=10).set_placement((0, 0))
    doc.modelspace().add_linear_dim(base=(0, 40), p1=(0, 20), p2=(100, 20)).render()
    doc.saveas(path)
    return path


# --- commands -----------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["table", "audit"])
def test_a_picture_beside_the_result(tmp_path, capsys, command):
    path = hook(tmp_path / "hook.dxf")
    seen = tmp_path / "seen.svg"
    plain = run(capsys, command, path, "--section", "25x2mm")
    drawn = run(capsys, command, path, "--section", "25x2mm", "--picture", seen)
    assert drawn.out == plain.out and drawn.status == plain.status, "the result is the same"
    assert str(seen) in drawn.err and "TUBE" in texts(seen)


@pytest.mark.parametrize("command", ["table", "audit"])
def test_nothing_found_is_drawn_and_the_sentence_names_the_picture(tmp_path, capsys, command):
    path = only_notes(tmp_path / "notes.dxf")
    seen = tmp_path / "seen.svg"
    message = failed(run(capsys, command, path, "--picture", seen))
    assert message.startswith("No centerline was found") and str(seen) in message
    shown = texts(seen)
    assert "No tube was found in this drawing." in shown
    assert "1 TEXT: text" in shown and "1 DIMENSION: a dimension or a note" in shown
    assert shown.count("a") == 2 and shown.count("b") == 2, "letters beside both, and in the list"


def test_a_picture_named_by_its_ending_alone_keeps_it(tmp_path, capsys):
    drawn = run(capsys, "table", hook(tmp_path / "hook.dxf"), "--picture", tmp_path / ".svg")
    assert drawn.status == 0 and drawn.err.strip() == f"drawn as read in {tmp_path / 'unnamed.svg'}"
    assert (tmp_path / "unnamed.svg").read_text(encoding="utf-8").startswith("<?xml")


def test_without_a_picture_the_sentence_says_how_to_have_one(tmp_path, capsys):
    message = failed(run(capsys, "table", only_notes(tmp_path / "notes.dxf")))
    assert "--picture" in message
    assert files(tmp_path) == {"notes.dxf"}


def test_nothing_found_as_json(tmp_path, capsys):
    seen = tmp_path / "seen.svg"
    outcome = run(capsys, "table", only_notes(tmp_path / "notes.dxf"), "--picture", seen, "--json")
    assert outcome.status == 2 and outcome.json["error"]["code"] == "no-runs"
    assert str(seen) in outcome.json["error"]["message"] and seen.exists()


def test_png(tmp_path, capsys):
    seen = tmp_path / "seen.PNG"
    assert run(capsys, "table", hook(tmp_path / "hook.dxf"), "--picture", seen, "-q").status == 0
    assert seen.read_bytes().startswith(b"\x89PNG\r\n")


def test_what_cannot_be_is_said_and_nothing_is_harmed(tmp_path, capsys):
    path = hook(tmp_path / "hook.dxf")
    other = tmp_path / "seen.svg"
    other.write_text("mine")
    assert "exists already" in failed(run(capsys, "table", path, "--picture", other))
    assert other.read_text() == "mine"
    assert run(capsys, "table", path, "--picture", other, "--force").status == 0
    assert "TUBE" in texts(other)
    assert ".svg or .png" in failed(run(capsys, "table", path, "--picture", tmp_path / "seen.pdf"))
    assert "one INPUT" in failed(run(capsys, "audit", path, path, "--picture", tmp_path / "two.svg"))
    assert "--picture" in failed(run(capsys, "table", path, "--force"))
    assert files(tmp_path) == {"hook.dxf", "seen.svg"}


def test_the_drawing_itself_is_never_replaced(tmp_path):
    """Whatever it is called: a drawing named like a picture is still the input."""
    path = hook(tmp_path / "hook.dxf").rename(tmp_path / "hook.svg")
    before = path.read_bytes()
    result = open_job(str(path))
    with pytest.raises(WriteError, match="never replaced"):
        write_picture(result, str(path), force=True)
    assert path.read_bytes() == before


def test_convert_writes_it(tmp_path, capsys):
    out = tmp_path / "job"
    outcome = run(capsys, "convert", faulty(tmp_path / "faulty.dxf"), "--to", "as-read", "--out", out, "-q")
    assert outcome.status == 1 and files(out) == {"faulty-as-read.svg"}
    assert "1 HATCH: a filled area" in texts(out / "faulty-as-read.svg")
    assert {"a", "f"} <= set(texts(out / "faulty-as-read.svg")), "the shapes were kept for it"


def test_the_error_carries_what_was_read(tmp_path):
    with pytest.raises(NoRunsError) as caught:
        open_job(str(only_notes(tmp_path / "notes.dxf")))
    assert caught.value.code == "no-runs" and caught.value.job.drawing.aside.shapes


# --- where findings are -------------------------------------------------------------------------


def places(path, **settings):
    found = {}
    for finding in open_job(str(path), Settings(**settings)).reading_findings:
        found.setdefault(finding.code, []).append(finding)
    return found


def test_findings_say_where(tmp_path):
    found = places(faulty(tmp_path / "faulty.dxf"))
    (healed,), (near,), (twice,) = found["healed-gap"], found["near-gap"], found["duplicate-removed"]
    assert healed.at == pytest.approx((300.025, 0.0, 0.0), abs=1e-6), "the middle of the gap"
    assert near.at == pytest.approx((150.25, 150.0, 0.0))
    assert twice.at == pytest.approx((100.0, 200.0, 0.0))
    free = found["not-line-arc"][0].at
    assert math.hypot((free[0] - 100.0) / 100.0, (free[1] - 300.0) / 50.0) == pytest.approx(1.0, abs=0.01)


def test_every_healed_gap_of_a_run_has_its_place_the_largest_first(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    model.add_line((0, 0), (100, 0))
    model.add_line((100.02, 0), (200, 0))
    model.add_line((200.08, 0), (300, 0))
    doc.saveas(tmp_path / "gaps.dxf")
    (healed,) = places(tmp_path / "gaps.dxf")["healed-gap"]
    assert healed.at == pytest.approx((200.04, 0.0, 0.0))
    assert [p == pytest.approx((100.01, 0.0, 0.0)) for p in healed.also] == [True]


def test_junctions_kinks_and_specks_say_where(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    model.add_line((0, 0, 10), (100, 0, 10))
    model.add_line((100, 0, 10), (200, 0, 10))
    model.add_line((100, 0, 10), (100, 80, 10))
    # a stray mark of 0.05 in a joint
    model.add_line((0, 300, 10), (100, 300, 10))
    model.add_line((100.01, 300, 10), (100.06, 300, 10))
    model.add_line((100.07, 300, 10), (100.07, 350, 10))
    model.add_line((400, 0, 10), (500, 0, 10))
    model.add_arc((500, 50, 10), 50, 280, 0)  # leaves (508.68, 0.76) ten degrees off
    model.add_line((500, 0, 10), (508.6824, 0.7596, 10))
    doc.saveas(tmp_path / "marks.dxf")
    found = places(tmp_path / "marks.dxf")
    assert found["junction"][0].at == pytest.approx((100.0, 0.0, 10.0))
    assert found["speck-removed"][0].at == pytest.approx((100.01, 300.0, 10.0), abs=0.06)
    assert found["kink"][0].at == pytest.approx((508.68, 0.76, 10.0), abs=0.05)


def test_a_flat_arc_says_where(tmp_path):
    """freecad-unsure.dxf: arcs laid flat whose true shape is lost; the centre is what is left."""
    from dxf_tools import FIXTURES

    drawing = read(FIXTURES / "freecad-unsure.dxf")
    for finding in drawing.findings:
        assert finding.code == "arc-suspect" and finding.at is not None
        assert f"({finding.at[0]:.2f}, {finding.at[1]:.2f}, {finding.at[2]:.2f})" in finding.message


def test_places_do_not_make_two_findings_of_one():
    """The audit says again what was said before, without the place; the one with the place was first and stays."""
    known = Finding("junction", variant="more", values={"more": 3}, at=(1.0, 2.0, 3.0))
    again = Finding("junction", variant="more", values={"more": 3})
    assert known == again and hash(known) == hash(again)
    assert sorted_findings([known, again])[0].at == (1.0, 2.0, 3.0)


def test_places_are_in_the_json(tmp_path, capsys):
    document = run(capsys, "table", faulty(tmp_path / "faulty.dxf"), "--json").json
    at = {f["code"]: f["at"] for f in document["findings"]}
    assert at["near-gap"] == pytest.approx([150.25, 150.0, 0.0])
    assert at["corner-no-radius"] is None, "told by tube and bend"


def test_a_bend_has_a_point_of_its_own(tmp_path):
    """A quarter of radius 100 after 300 straight: its middle lies at 45 degrees on the circle about (300, 100)."""
    (run_,), _ = reduce_drawing(read(hook(tmp_path / "hook.dxf")))
    half = 100.0 * math.sqrt(0.5)
    assert run_.bend_point(1) == pytest.approx((300.0 + half, 100.0 - half, 0.0))
    with pytest.raises(ValueError, match="no bend 2"):
        run_.bend_point(2)


# --- shapes of what was left out ------------------------------------------------------------------


def shapes(path, **options):
    """(kind, why) -> points of all shapes of it."""
    found = {}
    for shape in read(str(path), ReadOptions(keep_left_out=True, **options)).aside.shapes:
        found.setdefault((shape.kind, shape.why), []).append(shape.points)
    return found


def test_blocks_show_what_they_hold_besides_curves(tmp_path):
    """A note in a block, inserted twice with scale 2, and a line of it on a frozen layer, in its place."""
    doc = ezdxf.new("R2010", units=4)
    doc.layers.add("COLD").freeze()
    block = doc.blocks.new("PART")
    block.add_line((0, 0), (10, 0))
    block.add_line((0, 5), (10, 5), dxfattribs={"layer": "COLD"})
    block.add_point((1, 1))
    for x in (100, 300):
        doc.modelspace().add_blockref("PART", (x, 50), dxfattribs={"xscale": 2, "yscale": 2, "zscale": 2})
    doc.modelspace().add_blockref("GONE", (7, 8))
    doc.saveas(tmp_path / "block.dxf")
    found = shapes(tmp_path / "block.dxf")
    assert found["POINT", "a point"] == [((102.0, 52.0, 0.0),), ((302.0, 52.0, 0.0),)]
    assert found["LINE", "on the frozen layer 'COLD'"] == [
        ((100.0, 60.0, 0.0), (120.0, 60.0, 0.0)),
        ((300.0, 60.0, 0.0), (320.0, 60.0, 0.0)),
    ]
    assert found["INSERT", "a reference to the block 'GONE', which is missing"] == [((7.0, 8.0, 0.0),)]


def test_shapes_are_counted_under_the_same_kind_and_reason(tmp_path):
    """Whatever has a shape is in the list of what was ignored, in inches too (25.4 mm)."""
    doc = ezdxf.new("R2010", units=1)
    model = doc.modelspace()
    model.add_line((0, 0), (10, 0), dxfattribs={"layer": "KEEP"})
    model.add_line((0, 1), (10, 1), dxfattribs={"layer": "SKETCH"})
    model.add_arc((0, 0), 2, 0, 90, dxfattribs={"layer": "SKETCH"})
    model.add_line((0, 2), (10, 2), dxfattribs={"layer": "KEEP", "color": 1})
    model.add_text("x").set_placement((1, 1))
    model.add_3dface([(0, 0, 1), (1, 0, 1), (1, 1, 1)])
    model.add_line((0, 3), (0, 3), dxfattribs={"layer": "KEEP"})
    doc.saveas(tmp_path / "inch.dxf")
    given = {"skip_layers": ("SK*",), "skip_colors": ("red",)}
    drawing = read(str(tmp_path / "inch.dxf"), ReadOptions(keep_left_out=True, **given))
    counted = {(one.kind, one.why) for one in drawing.ignored}
    found = shapes(tmp_path / "inch.dxf", **given)
    assert set(found) <= counted and len(found) >= 5
    why = "on layer 'SKETCH', left out by the pattern 'SK*'"
    assert found["LINE", why] == [((0.0, 25.4, 0.0), (254.0, 25.4, 0.0))]
    (arc,) = found["ARC", why]
    assert all(math.hypot(x, y) == pytest.approx(50.8) for x, y, _ in arc)


def test_shapes_are_capped_and_thinned():
    aside = Aside()
    for i in range(MOST_LEFT_OUT + 5):
        aside.add(LeftShape("POINT", "a point", ((float(i), 0.0, 0.0),)))
    assert len(aside.shapes) == MOST_LEFT_OUT and aside.more == 5
    few = Aside()
    few.add(LeftShape("MESH", "", tuple((float(i), 0.0, 0.0) for i in range(10_001))))
    (points,) = (shape.points for shape in few.shapes)
    assert len(points) <= MOST_POINTS + 1 and points[0][0] == 0.0 and points[-1][0] == 10_000.0
    few.add(LeftShape("TEXT", "text", ((math.nan, 0.0, 0.0),)))
    assert len(few.shapes) == 1, "what has no place has no shape"


def test_a_box_runs_along_all_its_edges():
    box = LeftShape.box("body", "", (0.0, 0.0, 0.0), (1.0, 2.0, 3.0))
    edges = {frozenset(pair) for pair in zip(box.points, box.points[1:], strict=False)}
    assert len(edges) == 12 and all(sum(a != b for a, b in zip(*edge, strict=True)) == 1 for edge in edges)


def test_a_mesh_that_is_no_tube_shows_as_its_box(tmp_path):
    """A cube of 20 mm, its corner at (5, 5, 5), as ASCII STL."""
    import trimesh

    cube = trimesh.creation.box(extents=(20, 20, 20))
    cube.apply_translation((15, 15, 15))
    (tmp_path / "cube.stl").write_bytes(trimesh.exchange.stl.export_stl(cube))
    drawing = read(str(tmp_path / "cube.stl"), ReadOptions(keep_left_out=True))
    ((kind, why),) = {(one.kind, one.why) for one in drawing.ignored}
    (shape,) = drawing.aside.shapes
    assert (shape.kind, shape.why) == (kind, why)
    assert min(shape.points) == pytest.approx((5.0, 5.0, 5.0)) and max(shape.points) == pytest.approx(
        (25.0, 25.0, 25.0)
    )


def test_keeping_the_shapes_of_what_is_left_out_changes_nothing_else(tmp_path):
    path = str(faulty(tmp_path / "faulty.dxf"))
    without, kept = (read(path, ReadOptions(keep_left_out=keep)) for keep in (False, True))
    assert without.findings == kept.findings and without.ignored == kept.ignored
    assert [curve.handle for curve in without.curves] == [curve.handle for curve in kept.curves]
    assert without.aside is None and kept.aside is not None
