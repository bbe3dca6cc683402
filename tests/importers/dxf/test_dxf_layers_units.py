"""What is read: layers, construction geometry, layouts; and in which unit."""

import math
from pathlib import Path

import pytest
from dxf_tools import codes, ignored, new, reread

from converter.cli.main import main
from converter.errors import OptionError, UnitsError
from converter.importers.dxf.insunits import INSUNITS
from converter.units import MM_PER


def drawn(drawing):
    """The layers of the curves, in order."""
    return [c.layer for c in drawing.curves]


def on_layers(*names, version="R2010"):
    doc, msp = new(version)
    for i, name in enumerate(names):
        msp.add_line((0, i), (10, i), dxfattribs={"layer": name})
    return doc, msp


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_frozen_and_off_layers_are_skipped_and_said(tmp_path, version):
    doc, msp = on_layers("RAIL", "OLD", "ICE", "ICE", version=version)
    doc.layers.add("OLD", color=3).off()
    doc.layers.add("ICE").freeze()
    doc.layers.add("LOCKED").lock()
    msp.add_line((0, 9), (1, 9), dxfattribs={"layer": "LOCKED"})
    msp.add_text("x", dxfattribs={"layer": "OLD"})
    drawing = reread(doc, tmp_path)
    assert drawn(drawing) == ["RAIL", "LOCKED"]
    (said,) = (f for f in drawing.findings if f.code == "layers-skipped")
    assert said.measured == 4 and said.severity == "note"
    assert "'OLD' (off, 2)" in said.message and "'ICE' (frozen, 2)" in said.message
    assert ignored(drawing) == {
        ("LINE", "on the off layer 'OLD'"): 1,
        ("LINE", "on the frozen layer 'ICE'"): 2,
        ("TEXT", "on the off layer 'OLD'"): 1,
    }


def test_layer_names_have_no_case(tmp_path):
    doc, msp = new()
    doc.layers.add("Rail").off()
    msp.add_line((0, 0), (1, 0), dxfattribs={"layer": "RAIL"})
    assert reread(doc, tmp_path).curves == []


def test_layers_by_pattern(tmp_path):
    doc, _ = on_layers("RAIL-1", "RAIL-2", "CENTRE", "0")
    assert drawn(reread(doc, tmp_path, layers=("rail*",))) == ["RAIL-1", "RAIL-2"]
    assert drawn(reread(doc, tmp_path, layers=("*-1", "0"))) == ["RAIL-1", "0"]
    drawing = reread(doc, tmp_path, skip_layers=("Cent*",))
    assert drawn(drawing) == ["RAIL-1", "RAIL-2", "0"]
    assert ignored(drawing) == {("LINE", "on layer 'CENTRE', left out by the pattern 'Cent*'"): 1}
    assert drawn(reread(doc, tmp_path, layers=("RAIL*",), skip_layers=("*-2",))) == ["RAIL-1"]


def test_a_layer_that_is_not_there(tmp_path):
    doc, _ = on_layers("RAIL", "CENTRE")
    with pytest.raises(OptionError, match=r"No layer matches 'TUBE': the drawing has .*CENTRE.*RAIL") as caught:
        reread(doc, tmp_path, layers=("TUBE", "RAIL"))
    assert caught.value.code == "no-such-layer"


@pytest.mark.parametrize(
    ("pattern", "left"),
    [
        ("3", ["plain", "cyan", "byblock"]),
        ("green", ["plain", "cyan", "byblock"]),
        ("GREEN", ["plain", "cyan", "byblock"]),
        ("4", ["plain", "green", "layer"]),
        ("cyan", ["plain", "green", "layer"]),
        ("#ff8000", ["plain", "green", "layer", "cyan", "byblock"]),
        ("?", []),
    ],
)
def test_colours_by_layer_by_block_and_own(tmp_path, pattern, left):
    """'orange' has a true colour whose nearest ACI is green, which must not count as green."""
    doc, msp = new()
    doc.layers.add("GREEN", color=3)
    block = doc.blocks.new("B")
    block.add_line((0, 0), (1, 0), dxfattribs={"color": 0})
    msp.add_line((0, 0), (1, 0))
    msp.add_line((0, 0), (2, 0), dxfattribs={"color": 3})
    msp.add_line((0, 0), (3, 0), dxfattribs={"layer": "GREEN"})
    msp.add_line((0, 0), (4, 0), dxfattribs={"layer": "GREEN", "color": 4})
    msp.add_blockref("B", (0, 0), {"color": 4, "xscale": 5})
    orange = msp.add_line((0, 0), (6, 0), dxfattribs={"color": 3})
    orange.rgb = (255, 128, 0)
    names = {1: "plain", 2: "green", 3: "layer", 4: "cyan", 5: "byblock", 6: "orange"}
    drawing = reread(doc, tmp_path, skip_colors=(pattern,))
    seen = [names[round(c.curve.end[0])] for c in drawing.curves]
    assert [n for n in seen if n != "orange"] == left
    assert ("orange" in seen) == (pattern != "#ff8000")
    assert sum(i.count for i in drawing.ignored) == 6 - len(seen)


@pytest.mark.parametrize("bad", ["blurple", "0", "256", "-1", "#12345", ""])
def test_no_such_colour(tmp_path, bad):
    doc, _ = on_layers("RAIL")
    with pytest.raises(OptionError, match="is no colour"):
        reread(doc, tmp_path, skip_colors=(bad,))


def test_linetypes_by_layer_by_block_and_own(tmp_path):
    doc, msp = new()
    for name in ("CENTER", "CENTER2", "DASHED"):
        doc.linetypes.add(name, [1.0, 0.5, -0.5])
    doc.layers.add("MIDDLE", linetype="CENTER2")
    block = doc.blocks.new("B")
    block.add_line((0, 0), (1, 0), dxfattribs={"linetype": "ByBlock"})
    msp.add_line((0, 0), (1, 0))
    msp.add_line((0, 0), (2, 0), dxfattribs={"linetype": "CENTER"})
    msp.add_line((0, 0), (3, 0), dxfattribs={"layer": "MIDDLE"})
    msp.add_line((0, 0), (4, 0), dxfattribs={"layer": "MIDDLE", "linetype": "DASHED"})
    msp.add_blockref("B", (0, 0), {"linetype": "CENTER", "xscale": 5})
    drawing = reread(doc, tmp_path, skip_linetypes=("center*",))
    assert [round(c.curve.end[0]) for c in drawing.curves] == [1, 4]
    assert ignored(drawing) == {("LINE", "left out by the linetype 'center*'"): 3}


def test_invisible_entities(tmp_path):
    doc, msp = new()
    msp.add_line((0, 0), (1, 0), dxfattribs={"invisible": 1})
    drawing = reread(doc, tmp_path)
    assert drawing.curves == [] and ignored(drawing) == {("LINE", "invisible"): 1}


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_layouts_only_by_name(tmp_path, version):
    doc, msp = new(version)
    msp.add_line((0, 0), (1, 0))
    name = "Layout1"
    doc.layout(name).add_line((0, 0), (77, 0))
    assert [c.curve.end[0] for c in reread(doc, tmp_path).curves] == [1]
    assert [c.curve.end[0] for c in reread(doc, tmp_path, layout="layout1").curves] == [77]
    assert [c.curve.end[0] for c in reread(doc, tmp_path, layout="Model").curves] == [1]
    with pytest.raises(OptionError, match=r"has no layout 'Sheet 9': it has Model, Layout1\.") as caught:
        reread(doc, tmp_path, layout="Sheet 9")
    assert caught.value.code == "no-such-layout"


def test_a_block_that_is_nowhere_inserted_is_named(tmp_path, capsys):
    """As where tubes were made a block and its reference was deleted: nothing was said of the block."""
    doc, model = new()
    doc.blocks.new("HOOP").add_line((0, 0), (500, 0))
    doc.saveas(tmp_path / "a.dxf")
    assert main(["table", str(tmp_path / "a.dxf")]) == 2
    text = " ".join(capsys.readouterr().err.split())
    assert "1 block ('HOOP' has 1 curve and is nowhere inserted): insert the block that has the tubes" in text
    model.add_blockref("HOOP", (0, 0))
    assert len(reread(doc, tmp_path).curves) == 1


@pytest.mark.parametrize(("size", "metres"), [(0.4, True), (0.05, False), (60.0, False)])
def test_metres_are_offered_where_neither_millimetres_nor_inches_make_a_tube(tmp_path, size, metres):
    """0.4 is 0.4 or 10.16 mm, and 400 mm in metres; 0.05 would be 50 mm, 60 is 60 m."""
    doc, model = new(units=0)
    model.add_line((0, 0), (size, 0))
    told = next(one for one in reread(doc, tmp_path).findings if one.code == "units-assumed")
    assert (f"and {1000.0 * size:g} mm" in told.message) == metres == ("--units m," in told.cure_in())


def test_a_layout_that_is_listed_by_another_name_is_found_by_its_own(tmp_path):
    """A damaged file (seed 74, dxf 77): the list of layouts and the layout itself do not agree; a mistake of ours."""
    doc, _ = new("R2010")
    doc.layout("Layout1").add_line((0, 0), (77, 0))
    doc.layout("Layout1").dxf_layout.dxf.name = "Sheet"
    drawing = reread(doc, tmp_path)
    assert [dict(one.why.values)["layout"] for one in drawing.ignored] == ["Sheet"]
    assert [c.curve.end[0] for c in reread(doc, tmp_path, layout="Sheet").curves] == [77]
    with pytest.raises(OptionError, match=r"has no layout 'Layout1': it has Model, Sheet\."):
        reread(doc, tmp_path, layout="Layout1")


def test_a_drawing_with_all_its_tubes_in_paper_space_names_the_layout(tmp_path, capsys):
    doc, _ = new("R2010")
    doc.layout("Layout1").add_line((0, 0), (77, 0))
    doc.layout("Layout1").add_text("title")
    doc.saveas(tmp_path / "paper.dxf")
    assert main(["table", str(tmp_path / "paper.dxf")]) == 2
    text = " ".join(capsys.readouterr().err.split())
    assert "'Layout1' of paper space has 1 curve; --layout 'Layout1' reads it" in text
    assert "name the layout that has the tubes, or draw them in model space" in text
    assert main(["table", str(tmp_path / "paper.dxf"), "--layout", "Layout1"]) == 0


#: metres per unit, typed from the definitions: yard = 0.9144 m (1959), US survey foot = 1200/3937 m,
#: au = 149 597 870 700 m (IAU 2012), light year = c times a Julian year, parsec = 648000/pi au
METRES = {
    1: 0.0254, 2: 0.3048, 3: 1609.344, 4: 1e-3, 5: 1e-2, 6: 1.0, 7: 1e3, 8: 0.0254e-6, 9: 0.0254e-3, 10: 0.9144,
    11: 1e-10, 12: 1e-9, 13: 1e-6, 14: 0.1, 15: 10.0, 16: 100.0, 17: 1e9, 18: 149597870700.0,
    19: 299792458.0 * 365.25 * 86400.0, 20: 149597870700.0 * 648000.0 / math.pi,
    21: 1200 / 3937, 22: 100 / 3937, 23: 3600 / 3937, 24: 5280 * 1200 / 3937,
}  # fmt: skip


@pytest.mark.parametrize("code", range(1, 25))
def test_every_insunits_code(tmp_path, code):
    """Exact factors, within an ulp or two, never ezdxf's rounded ones (25.4000000001 for the inch)."""
    doc, msp = new(units=code)
    x = min(3e4, 1e7 / METRES[code])  # no tube lies farther than 1e10 mm
    msp.add_lwpolyline([(0, 0), (x, 0), (x, x / 3.0)])
    drawing = reread(doc, tmp_path)
    assert drawing.curves[0].curve.points[1, 0] == pytest.approx(x * METRES[code] * 1000, rel=1e-14)
    assert drawing.units == drawing.read_as == INSUNITS[code] and codes(drawing) == []


def test_the_inch_is_exact(tmp_path):
    doc, msp = new(units=1)
    msp.add_line((0, 0), (1, 10))
    msp.add_arc((0, 0), 4.5, 0, 90)
    line, arc = (c.curve for c in reread(doc, tmp_path).curves)
    assert line.end == (25.4, 254.0, 0) and arc.radius == 4.5 * 25.4 and MM_PER["in"] == 25.4


@pytest.mark.parametrize("code", [0, 25, 99, -3])
def test_unitless_names_both_readings(tmp_path, code):
    """812.8 mm or, in inches, 812.8 x 25.4 = 20 645 mm."""
    doc, msp = new(units=code)
    doc.header["$MEASUREMENT"] = 1  # what general writers leave there
    doc.header["$LUNITS"] = 4
    msp.add_line((0, 0), (812.8, 100))
    drawing = reread(doc, tmp_path)
    assert drawing.units is None and drawing.read_as == "mm"
    (said,) = drawing.findings
    assert said.code == "units-assumed" and said.severity == "warning" and said.measured == pytest.approx(812.8)
    assert "812.8 mm" in said.message and "20.65 m" in said.message
    assert ("code" in said.message) == (code != 0)


@pytest.mark.parametrize(
    ("measurement", "shop", "read_as", "variant", "told"),
    [
        (0, None, "in", "measurement", "read as inches, as its header's $MEASUREMENT is that of inches"),
        (1, "in", "in", "shop", "read as inches, the unit of the shop file (its header's $MEASUREMENT says metric, "),
        (0, "in", "in", "shop", "read as inches, the unit of the shop file: its"),
        (0, "mm", "mm", "shop", "read as mm, the unit of the shop file (its header's $MEASUREMENT says inches, "),
        (1, "mm", "mm", "shop", "read as mm, the unit of the shop file: its"),
        (1, None, "mm", "drawing", "read as mm: its"),
    ],
)
def test_a_drawing_without_a_unit_is_read_as_the_shop_says_or_its_measurement(
    tmp_path, measurement, shop, read_as, variant, told
):
    doc, msp = new(units=0)
    doc.header["$MEASUREMENT"] = measurement
    msp.add_line((0, 0), (60, 0))
    drawing = reread(doc, tmp_path, shop_units=shop)
    assert drawing.units is None and drawing.read_as == read_as
    assert drawing.curves[0].curve.end[0] == pytest.approx(60.0 if read_as == "mm" else 1524.0)
    (said,) = drawing.findings
    assert (said.variant, said.severity) == (variant, "warning") and told in said.message
    assert "60 mm" in said.message and "1524 mm" in said.message, "both readings"
    # what the option or the file says goes before
    assert reread(doc, tmp_path, shop_units=shop, units="cm").read_as == "cm"
    doc.header["$INSUNITS"] = 4
    stated = reread(doc, tmp_path, shop_units="in")
    assert (stated.read_as, codes(stated)) == ("mm", [])


def test_r12_has_no_measurement(tmp_path):
    doc, msp = new("R12")
    msp.add_line((0, 0), (60, 0))
    assert reread(doc, tmp_path).read_as == "mm"
    assert reread(doc, tmp_path, shop_units="in").read_as == "in"


def test_extent_counts_circles_and_every_kind(tmp_path):
    doc, msp = new(units=0)
    msp.add_circle((0, 0), 50, dxfattribs={"extrusion": (1, 0, 0)})
    msp.add_open_spline([(0, 0), (1, 0), (2, 0), (70, 0)])
    msp.add_lwpolyline([(0, 0, 0.5), (10, 0, 0), (20, 0, 0)], format="xyb")
    assert reread(doc, tmp_path).findings[0].measured == pytest.approx(100)


@pytest.mark.parametrize(("option", "factor"), [("in", 25.4), ("mm", 1), ("cm", 10), ("m", 1000), ("ft", 304.8)])
def test_the_option_decides(tmp_path, option, factor):
    doc, msp = new(units=0)
    msp.add_line((0, 0), (10, 0))
    drawing = reread(doc, tmp_path, units=option)
    assert drawing.curves[0].curve.end[0] == pytest.approx(10 * factor, rel=1e-15)
    assert codes(drawing) == [] and drawing.units is None and drawing.read_as == option


def test_the_option_against_the_file(tmp_path):
    doc, msp = new(units=4)
    msp.add_line((0, 0), (10, 0))
    drawing = reread(doc, tmp_path, units="in")
    assert drawing.curves[0].curve.end[0] == 254 and drawing.units == "mm" and drawing.read_as == "in"
    assert [(f.code, f.severity) for f in drawing.findings] == [("units-overridden", "note")]
    assert codes(reread(doc, tmp_path, units="mm")) == []


def test_no_such_unit(tmp_path):
    doc, _ = on_layers("RAIL")
    with pytest.raises(UnitsError, match="furlong"):
        reread(doc, tmp_path, units="furlong")
    with pytest.raises(OptionError, match="one of mm, cm, m, in, ft"):
        reread(doc, tmp_path, units="AU")


def test_a_file_without_header_names_no_unit(tmp_path):
    """The DXF library makes up a header in metres for it; nothing in the file says so."""
    path = Path(tmp_path) / "bare.dxf"
    path.write_text("0\nSECTION\n2\nENTITIES\n0\nLINE\n8\nRAIL\n10\n0\n20\n0\n11\n40\n21\n0\n0\nENDSEC\n0\nEOF\n")
    from converter.importers.registry import read

    drawing = read(path)
    assert drawing.units is None and drawing.curves[0].curve.end == (40, 0, 0)
    assert codes(drawing) == ["units-assumed"]
