"""Block references: against ezdxf's exploded entities where it can, against moved points everywhere."""

import math
from itertools import pairwise

import numpy as np
import pytest
from dxf_tools import close, codes, gap, ignored, new, reread, sample
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from converter.errors import ReadError
from converter.importers.dxf.affine import Affine, transform
from converter.model.curve import Arc, Ellipse, Line, Path, Polyline

Q = math.sqrt(2) - 1


def fill(block):
    """One of each curve, none symmetrical."""
    block.add_line((1, 2, 3), (11, 4, 5))
    block.add_arc((5, 6, 1), 4, 20, 130)
    block.add_arc((5, 6, 1), 4, 20, 130, dxfattribs={"extrusion": (0.3, -0.5, 0.8)})
    block.add_circle((2, 1), 3)
    block.add_lwpolyline([(0, 0, 0), (10, 0, Q), (15, 5, 0), (15, 12, -0.3), (18, 18, 0)], format="xyb")
    block.add_ellipse((1, 1, 1), (5, 2, 0), 0.4, 0.3, 4)
    block.add_open_spline([(0, 0, 0), (5, 9, 1), (9, -4, 2), (15, 3, 7)])
    block.add_polyline3d([(0, 0, 0), (3, 1, 4), (7, 7, 7)])


def placed(tmp_path, **attributes):
    """The curves of the block drawn plainly, of the same block inserted, and ezdxf's matrix of the insert."""
    doc, msp = new()
    block = doc.blocks.new("PART", base_point=(1, -2, 0.5))
    fill(block)
    fill(msp)
    insert = msp.add_blockref("PART", (100, 50, 20), attributes)
    drawing = reread(doc, tmp_path)
    count = len(drawing.curves)
    plain = [c.curve for c in drawing.curves[:8]]
    return plain, [c.curve for c in drawing.curves[8:count]], insert.matrix44(), drawing


@pytest.mark.parametrize(
    "attributes",
    [
        {},
        {"rotation": 37},
        {"rotation": -120, "xscale": 2.5, "yscale": 2.5, "zscale": 2.5},
        {"xscale": -1, "rotation": 15},
        {"yscale": -2, "xscale": 2, "zscale": 2},
        {"xscale": -1, "yscale": -1, "zscale": -1},
        {"extrusion": (0, 0, -1), "rotation": 30},
        {"extrusion": (0.2, 0.7, -0.4), "rotation": 30, "xscale": -1.5, "yscale": 1.5, "zscale": 1.5},
    ],
)
def test_shape_keeping_references(tmp_path, attributes):
    """Turned, scaled alike, mirrored: every sampled point goes where ezdxf's matrix sends it, arcs stay arcs."""
    plain, images, m, _ = placed(tmp_path, **attributes)
    assert len(images) == len(plain)
    for before, after in zip(plain, images, strict=True):
        assert type(before) is type(after)
        moved = np.array([p.xyz for p in m.transform_vertices(sample(before).tolist())])
        assert np.abs(sample(after) - moved).max() < 1e-9


@pytest.mark.parametrize(
    "attributes",
    [
        {"xscale": 2},
        {"xscale": 1, "yscale": 3, "zscale": 0.5, "rotation": 25},
        {"xscale": -2, "yscale": 0.7, "extrusion": (0.4, -0.1, 0.9), "rotation": 200},
    ],
)
def test_distorting_references(tmp_path, attributes):
    """Scaled unlike: arcs become ellipses, bulged polylines fall into pieces that still meet."""
    plain, images, m, _ = placed(tmp_path, **attributes)
    assert any(isinstance(c, Ellipse) for c in images)
    moved = [np.array([p.xyz for p in m.transform_vertices(sample(c, 300).tolist())]) for c in plain]
    joined = {i: sample(c, 300) for i, c in enumerate(images[:4])}
    for i in range(4):
        # only the parameter of an arc may start elsewhere on its ellipse
        assert gap(joined[i], moved[i]) < 0.2
        if not isinstance(images[i], Ellipse) or images[i].end_angle - images[i].start_angle < 359:
            ends = {close(images[i].start, moved[i][0], 1e-9), close(images[i].end, moved[i][-1], 1e-9)}
            assert ends == {True}
    pieces = images[4:-3]
    assert len(pieces) == 4
    for a, b in pairwise(pieces):
        assert close(a.end, b.start, 1e-9)
    path = np.concatenate([sample(p, 300) for p in pieces])
    assert gap(path, moved[4]) < 0.2
    for after, points in zip(images[-3:], moved[5:], strict=True):
        assert gap(sample(after, 300), points) < 0.2


vectors = st.tuples(*[st.floats(-3, 3)] * 3)


@given(vectors, vectors, vectors, st.floats(1, 359), vectors)
@settings(max_examples=200)
def test_an_arc_under_any_affine_map(x, y, z, angle, normal):
    """Points of the image satisfy it exactly: the arc's point at t is the ellipse's point at t less the shift."""
    assume(abs(np.linalg.det([x, y, z])) >= 0.05 and math.hypot(*normal) >= 0.1)
    n = np.array(normal) / math.hypot(*normal)
    arm = np.cross(n, (0.3, 0.5, 0.7))
    assume(np.linalg.norm(arm) >= 0.1)
    arc = Arc.swept((1.0, 2.0, 3.0), tuple(n.tolist()), tuple((np.array((1.0, 2.0, 3.0)) + 5 * arm).tolist()), angle)
    m = Affine(x, y, z, (7.0, 8.0, 9.0))
    (image,) = transform(arc, m)
    moved = sample(arc, 50) @ np.array((x, y, z)) + np.array((7.0, 8.0, 9.0))
    assert np.abs(sample(image, 50) - moved).max() < 1e-7
    if isinstance(image, Ellipse):
        a, b = np.array(image.major), np.array(image.minor)
        assert abs(a @ b) < 1e-7 * (a @ a + b @ b)


def test_arcs_squeezed_only_along_their_axis_stay_arcs(tmp_path):
    doc, msp = new()
    doc.blocks.new("B").add_arc((0, 0), 5, 0, 90)
    msp.add_blockref("B", (0, 0), {"zscale": 3})
    assert isinstance(reread(doc, tmp_path).curves[0].curve, Arc)


def test_uniform_references_agree_with_explosion(tmp_path):
    """Nested two deep; ezdxf explodes the same reference into LINE and ARC."""
    doc, msp = new()
    inner = doc.blocks.new("INNER", base_point=(1, 1, 0))
    inner.add_line((0, 0), (10, 0))
    inner.add_arc((10, 5), 5, 270, 360)
    outer = doc.blocks.new("OUTER")
    outer.add_blockref("INNER", (20, 5), {"rotation": 90, "xscale": -1})
    outer.add_line((1, 1), (2, 2))
    insert = msp.add_blockref("OUTER", (100, 100), {"rotation": 30, "xscale": 2, "yscale": 2, "zscale": 2})
    theirs = []
    for e in insert.virtual_entities():
        theirs += list(e.virtual_entities()) if e.dxftype() == "INSERT" else [e]
    drawing = reread(doc, tmp_path)
    assert len(drawing.curves) == len(theirs) == 3
    for ours, other in zip((c.curve for c in drawing.curves), theirs, strict=True):
        if other.dxftype() == "LINE":
            assert close(ours.start, other.dxf.start) and close(ours.end, other.dxf.end)
        else:
            ends = (other.start_point, other.end_point)
            assert ours.radius == pytest.approx(other.dxf.radius)
            assert close(ours.center, other.ocs().to_wcs(other.dxf.center))
            assert any(close(ours.start, p) for p in ends) and any(close(ours.end, p) for p in ends)
    assert [c.handle.count("/") for c in drawing.curves] == [2, 2, 1]
    assert {c.name for c in drawing.curves} == {"OUTER"}


def test_arrays_of_references(tmp_path):
    """The grid turns with the reference but its spacing is not scaled; compared with ezdxf's single references."""
    doc, msp = new()
    doc.blocks.new("B").add_line((1, 0), (2, 0))
    insert = msp.add_blockref("B", (10, 20), {"rotation": 30, "xscale": 2, "yscale": 2, "zscale": 2})
    insert.grid((2, 3), (40, 50))
    drawing = reread(doc, tmp_path)
    theirs = [tuple(e.dxf.start) for i in insert.multi_insert() for e in i.virtual_entities()]
    assert len(drawing.curves) == 6
    for ours, other in zip(sorted(c.curve.start for c in drawing.curves), sorted(theirs), strict=True):
        assert close(ours, other)


def test_references_are_read_in_the_drawing_s_unit(tmp_path):
    doc, msp = new(units=1)
    block = doc.blocks.new("B", base_point=(1, 0))
    block.add_line((1, 0), (3, 0))
    msp.add_blockref("B", (10, 0)).grid((1, 2), (0, 5))
    ends = [(c.curve.start, c.curve.end) for c in reread(doc, tmp_path).curves]
    assert close(ends[0][0], (254, 0, 0)) and close(ends[0][1], (12 * 25.4, 0, 0)) and close(ends[1][0], (381, 0, 0))


def test_layer_zero_takes_the_reference_s_layer(tmp_path):
    doc, msp = new()
    inner = doc.blocks.new("INNER")
    inner.add_line((0, 0), (1, 0))
    outer = doc.blocks.new("OUTER")
    outer.add_blockref("INNER", (0, 0))
    outer.add_blockref("INNER", (0, 0), {"layer": "FIXED"})
    outer.add_line((0, 0), (2, 0), dxfattribs={"layer": "OWN"})
    msp.add_blockref("OUTER", (0, 0), {"layer": "RAIL"})
    assert [c.layer for c in reread(doc, tmp_path).curves] == ["RAIL", "FIXED", "OWN"]


def test_hidden_layers_inside_blocks(tmp_path):
    """Off: what lies on layer 0 of the block goes with the reference; frozen: the whole reference goes."""
    doc, msp = new()
    doc.layers.add("OFF").off()
    doc.layers.add("ICE").freeze()
    b = doc.blocks.new("B")
    b.add_line((0, 0), (1, 0))
    b.add_line((0, 0), (2, 0), dxfattribs={"layer": "OWN"})
    b.add_line((0, 0), (3, 0), dxfattribs={"layer": "ICE"})
    nest = doc.blocks.new("NEST")
    nest.add_blockref("B", (0, 0), {"layer": "ICE"})
    msp.add_blockref("B", (0, 0), {"layer": "OFF"})
    msp.add_blockref("B", (0, 0), {"layer": "ICE"})
    msp.add_blockref("NEST", (0, 0))
    drawing = reread(doc, tmp_path)
    assert [c.curve.end[0] for c in drawing.curves] == [2]
    (said,) = drawing.findings
    assert said.code == "layers-skipped" and "'OFF' (off, 1)" in said.message and "'ICE' (frozen, 5)" in said.message


def test_a_block_bomb_ends_in_one_sentence(tmp_path):
    """Ten blocks of ten references each hold 10^10 curves: refused before anything is expanded."""
    doc, msp = new()
    doc.blocks.new("B0").add_line((0, 0), (1, 0))
    for i in range(1, 11):
        block = doc.blocks.new(f"B{i}")
        for j in range(10):
            block.add_blockref(f"B{i - 1}", (j, i))
    msp.add_blockref("B10", (0, 0))
    with pytest.raises(ReadError, match="more than 200,000 curves") as caught:
        reread(doc, tmp_path)
    assert caught.value.code == "too-many-blocks" and caught.value.file.endswith("drawing.dxf")


def test_a_huge_array_is_bounded_and_an_empty_one_costs_nothing(tmp_path):
    doc, msp = new()
    doc.blocks.new("EMPTY").add_text("only text")
    doc.blocks.new("B").add_line((0, 0), (1, 0))
    msp.add_blockref("EMPTY", (0, 0)).grid((30000, 30000), (1, 1))
    drawing = reread(doc, tmp_path)
    assert ignored(drawing) == {("TEXT", "text"): 900_000_000}
    msp.add_blockref("B", (0, 0)).grid((30000, 30000), (1, 1))
    with pytest.raises(ReadError, match="curves"):
        reread(doc, tmp_path)


def test_blocks_that_contain_themselves(tmp_path):
    doc, msp = new()
    a, b = doc.blocks.new("A"), doc.blocks.new("B")
    a.add_line((0, 0), (1, 0))
    a.add_blockref("B", (0, 0))
    b.add_blockref("A", (0, 0))
    msp.add_blockref("A", (0, 0))
    with pytest.raises(ReadError, match="contains itself") as caught:
        reread(doc, tmp_path)
    assert caught.value.code == "block-cycle"


def test_nesting_is_bounded(tmp_path):
    doc, msp = new()
    doc.blocks.new("B0").add_line((0, 0), (1, 0))
    for i in range(1, 200):
        doc.blocks.new(f"B{i}").add_blockref(f"B{i - 1}", (0, 0))
    msp.add_blockref("B199", (0, 0))
    with pytest.raises(ReadError, match="nested over 64 deep"):
        reread(doc, tmp_path)


def test_missing_blocks_and_attributes(tmp_path):
    doc, msp = new()
    doc.blocks.new("B").add_line((0, 0), (1, 0))
    msp.add_blockref("NOWHERE", (0, 0), {"layer": "RAIL"})
    msp.add_blockref("B", (0, 0)).add_attrib("NO", "7")
    drawing = reread(doc, tmp_path)
    assert len(drawing.curves) == 1
    assert codes(drawing) == ["entity-unread"] and "'NOWHERE'" in drawing.findings[0].message
    assert ignored(drawing)["ATTRIB", "text"] == 1


def test_external_references_are_named(tmp_path):
    doc, msp = new()
    doc.add_xref_def("frame.dwg", "FRAME")
    msp.add_blockref("FRAME", (0, 0), {"layer": "RAIL"})
    (said,) = reread(doc, tmp_path).findings
    assert said.code == "entity-unread" and said.severity == "warning" and said.layer == "RAIL"
    assert "external reference ('FRAME')" in said.message


def test_a_scale_of_zero_counts_as_one(tmp_path):
    """Flat drawings with a z scale of 0 are common enough; CAD packages read the 0 as 1."""
    doc, msp = new()
    b = doc.blocks.new("B")
    b.add_arc((0, 0, 2), 5, 0, 90)
    msp.add_blockref("B", (0, 0, 1)).dxf.__dict__["zscale"] = 0.0
    arc = reread(doc, tmp_path).curves[0].curve
    assert close(arc.center, (0, 0, 3)) and arc.radius == 5


def test_curve_kinds_survive(tmp_path):
    plain, _, _, drawing = placed(tmp_path)
    assert [type(c) for c in plain[:5]] == [Line, Arc, Arc, Arc, Path]
    assert isinstance(plain[7], Polyline)
    assert codes(drawing) == []


# --- unlike scales ---------------------------------------------------------------------------


def stretched(tmp_path, insert, nested=None):
    """(block, arcs, scales, handle) of each warning about unlike scales; the block is a hook and an axis."""
    doc, msp = new()
    hook = doc.blocks.new("HOOK")
    hook.add_line((0, 0), (80, 0))
    hook.add_arc((80, 30), 30, 270, 90)
    hook.add_lwpolyline([(0, 50, 0), (10, 50, Q), (15, 55, Q), (10, 60, 0)], format="xyb")
    name = "HOOK"
    if nested is not None:
        doc.blocks.new("OUTER").add_blockref("HOOK", (5, 5), nested)
        name = "OUTER"
    first, second = (msp.add_blockref(name, (x, 0), dict(insert)) for x in (0, 500))
    found = [one for one in reread(doc, tmp_path).findings if one.code == "block-stretched"]
    values = [dict(one.values) for one in found]
    assert all(one.severity == "warning" and one.handle != second.dxf.handle for one in found)
    return [(one["block"], one["arcs"], one["scales"]) for one in values], [
        one.handle == first.dxf.handle for one in found
    ]


@pytest.mark.parametrize(
    ("scales", "told"),
    [
        ({"xscale": 2.0}, "2 x 1 x 1"),
        ({"yscale": -0.5}, "1 x -0.5 x 1"),
        ({"xscale": 1.001, "rotation": 30}, "1.001 x 1 x 1"),
        ({"xscale": 1.0, "zscale": 3.0, "extrusion": (0, 0, -1)}, None),  # its arcs lie flat in it
        ({"xscale": 2.0, "yscale": -2.0}, None),
        ({"xscale": 0.0}, None),  # read as 1
        ({"xscale": 3.0, "yscale": 3.0, "zscale": 3.0}, None),
    ],
)
def test_unlike_scales_that_make_ellipses_are_told_once(tmp_path, scales, told):
    """An arc, and the two bulges of a polyline: three, however often the block is inserted so."""
    assert stretched(tmp_path, scales) == (([("HOOK", 3, told)], [True]) if told else ([], []))
    inner, first = stretched(tmp_path, {}, nested=scales)
    assert inner == ([("HOOK", 3, told)] if told else []) and not any(first)  # the inner reference is named
    outer, first = stretched(tmp_path, scales, nested={"rotation": 90.0})
    assert (outer, first) == (([("OUTER", 3, told)], [True]) if told else ([], []))


def test_unlike_scales_of_lines_alone_are_no_doubt(tmp_path):
    doc, msp = new()
    doc.blocks.new("RAIL").add_line((0, 0), (80, 50))
    msp.add_blockref("RAIL", (0, 0), {"xscale": 2.0})
    assert codes(reread(doc, tmp_path)) == []
