"""Bend tables as CSV: written safely, read back exactly, bad cells named by row and column."""

from __future__ import annotations

import csv
import io
import string
from math import radians

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import job_of, write_job

from converter.errors import GeometryError, ReadError, UnitsError, WriteError
from converter.exporters.data.table_csv import fraction_cell, number_cell, table_text, text_cell
from converter.geometry.vectors import distance, rotate
from converter.importers.registry import ReadOptions
from converter.importers.source import Source
from converter.importers.tables.bend_csv import read_table_csv
from converter.importers.tables.cells import unguard
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import walk
from converter.model.curve import Line, Path
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.units import Display

# Values worked by hand: 100 mm, a quarter turn on 50 mm, 200 mm, an eighth turn rolled by 30 degrees, 75 mm.
BENDS = (Bend(100.0, 0.0, 90.0, 50.0), Bend(200.0, 30.0, 45.0, 50.0))
HEAD = "tube,bend,feed_mm,rotation_deg,angle_deg,clr_mm\n"


def tube(name="rail", bends=BENDS, tail=75.0, place=None, section=None, layer=None, closed=False):
    return Tube(Run(name, layer, closed, BendTable(tuple(bends), tail), place or Placement()), section)


def read(text, name="job.csv", **options):
    data = text if isinstance(text, bytes) else text.encode()
    return read_table_csv(Source(name, None, data), ReadOptions(**options))


def refused(text, message, where=None, **options):
    with pytest.raises(ReadError) as caught:
        read(text, **options)
    error = caught.value
    assert message in error.message and "\n" not in error.message and error.file == "job.csv"
    if where is not None:
        assert error.where == where and where in error.message
    return error


def same_shape(a: BendTable, b: BendTable, tol=1e-6):
    assert len(a.bends) == len(b.bends)
    for x, y in zip(a.bends, b.bends, strict=True):
        assert x.feed == pytest.approx(y.feed, abs=tol) and x.angle == pytest.approx(y.angle, abs=tol)
        assert (x.rotation - y.rotation + 180) % 360 - 180 == pytest.approx(0, abs=tol)
        assert (x.clr is None) == (y.clr is None) and (x.clr is None or x.clr == pytest.approx(y.clr, abs=tol))
        assert x.clr_uncertainty == pytest.approx(y.clr_uncertainty, abs=tol) and x.corner == y.corner
    assert a.tail == pytest.approx(b.tail, abs=tol)


@pytest.mark.parametrize("display", [Display("mm"), Display("in"), Display("in", 16)], ids=["mm", "in", "16ths"])
def test_reads_back_with_placement_section_and_layer(display):
    place = Placement((1e3, -2.5, 1e7 + 0.1), rotate((0.6, 0.8, 0.0), (0, 0, 1), 11.0), (0.0, 0.0, 1.0))
    tubes = [
        tube("a", place=place, section=Section("round", 44.45, 3.048, label="1.75 x 0.120"), layer="=FRAME"),
        tube("b", bends=(Bend(10.0, 0.0, 200.0, 40.0, 0.25, True),), tail=0.0, closed=True),
        tube("straight", bends=(), tail=1234.5, section=Section("rectangular", 40.0, 2.0, 20.0, 3.0)),
        tube("corner", bends=(Bend(10.0, 0.0, 90.0, None),), section=Section("bar", 12.7, 1.0)),
        tube("square", bends=(Bend(1 / 3, 0.0, 90.0, 1e-3),), section=Section("square", 38.1, 2.1, corner=4.2)),
    ]
    drawing = read(table_text(tubes, display))
    assert drawing.units == display.unit and not drawing.findings and not drawing.ignored and not drawing.curves
    assert [t.name for t in drawing.tables] == [t.name for t in tubes]
    for back, was in zip(drawing.tables, tubes, strict=True):
        same_shape(back.table, was.run.table)
        assert (back.layer, back.closed) == (was.run.layer, was.run.closed)
        assert back.placement.start == pytest.approx(was.run.placement.start, abs=1e-6)
        assert back.placement.direction == pytest.approx(was.run.placement.direction, abs=1e-12)
        assert back.placement.normal == pytest.approx(was.run.placement.normal, abs=1e-12)
        if was.section is None:
            assert back.section is None
        else:
            for name in ("shape", "label"):
                assert getattr(back.section, name) == getattr(was.section, name)
            for name in ("od", "wall", "height", "corner"):
                assert getattr(back.section, name) == pytest.approx(getattr(was.section, name), abs=1e-6)


lengths = st.one_of(st.just(0.0), st.floats(1e-3, 5e3))
bend_rows = st.builds(
    Bend,
    feed=lengths,
    rotation=st.floats(-179.999, 180.0),
    angle=st.floats(0.01, 359.9),
    clr=st.floats(1.0, 1e3),
)


@settings(max_examples=60)
@given(st.lists(bend_rows, max_size=30), st.floats(0.5, 5e3), st.sampled_from([Display("mm"), Display("in")]))
def test_any_table_reads_back_to_the_same_end_point(bends, tail, display):
    """Random tables of up to 30 bends, 150 m of tube: every number to 1e-6 and the far end where it was."""
    if bends:
        bends[0] = Bend(bends[0].feed, 0.0, bends[0].angle, bends[0].clr)
    was = tube(bends=bends, tail=tail)
    [back] = read(table_text([was], display)).tables
    same_shape(back.table, was.run.table)
    far = walk(back.table, back.placement)[1]
    # 30 angles, each half of 1e-6 degrees off, at up to 150 m
    assert distance(far.start, was.run.end) < 30 * radians(1e-6) * 150_000.0


texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=40).filter(
    str.strip
)
tricky = st.text(st.sampled_from("=+-@'\t\r\n\"; ,|a＝#"), min_size=1, max_size=8).filter(str.strip)


@settings(max_examples=200)
@given(st.one_of(texts, tricky), st.one_of(texts, tricky))
def test_any_name_reads_back_and_is_never_a_formula(name, layer):
    text = table_text([tube(name, layer=layer)])
    [back] = read(text).tables
    assert back.name == name and back.layer == layer
    # whatever separator a spreadsheet of another locale splits at, no cell begins a formula
    for delimiter in ",;\t|":
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            for cell in row:
                start = cell.lstrip()[:1]
                assert start not in "=+@＝＋－＠" or not start
                assert start != "-" or cell.replace(",", "").lstrip("-")[:1] in string.digits + ".e"


@pytest.mark.parametrize(
    "text", ["=1+1", "+a", "-a", "@x", "\t=1", "\r=1", " =1", "'", "''", "'=1", "＝1", "plain", "a'"]
)
def test_guard_and_unguard_are_inverse(text):
    [cell] = next(csv.reader(io.StringIO(text_cell(text), newline="")))
    assert unguard(cell) == text
    assert cell == text or cell.replace("'", "", 1) == text.replace("'", "", 1) or cell == "'" + text
    assert cell.lstrip()[:1] not in "=+-@＝" or not cell.strip()


def test_what_no_reader_takes_is_shown_as_replaced():
    assert text_cell("a\0b") == "a\ufffdb" and text_cell("a\udc80") == "a?"
    assert text_cell("x;=1|-a") == "\"x;'=1|'-a\""


def test_layout_is_rfc_4180_with_units_in_the_headings():
    text = table_text([tube('say "hi", ok')], Display("in", 16))
    lines = text.split("\r\n")
    assert lines[-1] == "" and "\n" not in text.replace("\r\n", "")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [r["tube"] for r in rows] == ['say "hi", ok'] * 3 and [r["bend"] for r in rows] == ["1", "2", "tail"]
    # 100 mm = 3.937... in = 3 15/16 to the nearest sixteenth; a fraction alone would turn into a date
    assert rows[0]["feed_in"] == "3.93700787" and rows[0]["feed_in_fraction"] == "3 15/16"
    assert rows[0]["rotation_deg"] == "0" and rows[0]["angle_deg"] == "90"
    # the second bend starts after 100 + 50 pi/2 + 200 = 378.5398 mm = 14.90314 in = 14 14.45/16 in
    assert float(rows[1]["bend_start_in"]) == pytest.approx(378.5398163397448 / 25.4, abs=1e-8)
    assert rows[1]["bend_start_in_fraction"] == "14 7/8"
    # 100 + 50 pi/2 + 200 + 50 pi/4 + 75 = 492.8097
    assert float(rows[2]["developed_length_in"]) == pytest.approx(492.80972450961724 / 25.4, abs=1e-8)
    assert rows[0]["developed_length_in"] == rows[2]["angle_deg"] == ""
    assert rows[0]["closed"] == "no" and rows[1]["closed"] == ""


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        (0.1 + 0.2, "0.3"),
        (-0.0, "0"),
        (-1e-14, "0"),
        (1e7 + 0.1, "10000000.1"),
        (44.449999999999996, "44.45"),
        (90.0, "90"),
    ],
)
def test_numbers_are_short_and_exact(value, cell):
    assert number_cell(value) == cell


@pytest.mark.parametrize(("inches", "cell"), [(4.5, "4 1/2"), (0.5, "0 1/2"), (-0.5, "-0 1/2"), (3.0, "3"), (0.0, "0")])
def test_fractions_never_look_like_dates(inches, cell):
    assert fraction_cell(inches, 16) == cell


def test_a_number_that_is_none_is_not_written():
    """It is refused where the run is made, and again where it is written."""
    with pytest.raises(GeometryError, match="not a finite number"):
        Placement((float("nan"), 0.0, 0.0))
    run = Run("x", None, False, BendTable((), 1.0), Placement(), end_point=None)
    object.__setattr__(run.placement, "start", (float("nan"), 0.0, 0.0))
    with pytest.raises(WriteError, match="not finite"):
        table_text([Tube(run)])


def test_fraction_columns_serve_alone():
    [back] = read('bend,feed_in_fraction,rotation,angle,clr_in_fraction\n1,4 1/2,0,90,0 1/2\ntail,"2 1/4",,,\n').tables
    assert back.table.bends[0].feed == pytest.approx(114.3) and back.table.bends[0].clr == pytest.approx(12.7)
    assert back.table.tail == pytest.approx(57.15) and back.name == "job" and back.placement is None


@pytest.mark.parametrize(
    "text",
    [
        "angle_deg;clr_mm;bend;rotation_deg;tube;feed_mm\n90,0;50;1;0;rail;100,0\n45;50;2;30;rail;200\n;;tail;;rail;75,0\n",
        "\ufeffBend\tFeed (mm)\tRotation [deg]\tAngle\tRadius (mm)\n1\t100\t0\t90°\t50\n\n2\t200\t30\t45 deg\t50\ntail\t75\n",  # noqa: E501
        "sep=;\nfeed mm;rotation;angle;clr mm;note\n100;0;90;50;hello\n200;30;45;50;\n75;;;;\n",
        "# made by hand\n\nfeed_cm,rotation,angle,clr_cm,tail_cm\n10,0,90,5,7.5\n20,30,45,5,\n",
        "bend,feed_mm,rotation,angle,clr_mm,developed_length_mm\n2,200,30,45,50,\n1,100,0,90,50,492.80972450961724\n",
        "bend,feed_mm,rotation,angle,clr_mm\n1,10cm,0,90,50\n2,200,-330,45,50\ntail,75mm,,\n",
        'bend,feed_mm,rotation,angle,clr_mm\r1,100,0,90,50\r2,200,30,45,50\rtail,75,,,\r',
    ],
    ids=["semicolon and decimal comma", "tabs and BOM", "sep line, no numbers", "cm, tail column",
         "total, rows shuffled", "own units, rotation beyond 180", "old line ends"],
)  # fmt: skip
def test_tolerant_of_hand_made_tables(text):
    [back] = read(text).tables
    same_shape(back.table, BendTable(BENDS, 75.0))


def test_utf_16_is_read():
    [back] = read((HEAD + "é,tail,75,,,\n").encode("utf-16")).tables
    assert back.name == "é" and back.table.tail == 75.0


def test_blank_tube_cells_continue_the_tube_above_and_tubes_keep_their_order():
    text = HEAD + "z,1,100,0,90,50\n,2,200,30,45,50\n,tail,75,,,\na,tail,9,,,\n"
    z, a = read(text).tables
    assert (z.name, a.name) == ("z", "a") and a.table == BendTable((), 9.0)
    same_shape(z.table, BendTable(BENDS, 75.0))


def test_a_first_rotation_only_places_the_tube():
    place = "start_x_mm,start_y_mm,start_z_mm,direction_x,direction_y,direction_z,normal_x,normal_y,normal_z\n"
    text = HEAD.strip() + "," + place + "r,1,100,90,90,50,1,2,3,2,0,0,0,0,5\nr,tail,10,,,,,,,,,,,,\n"
    [back] = read(text).tables
    assert back.table.bends[0].rotation == 0.0
    # +z turned by 90 degrees right-hand about +x is -y
    assert back.placement.normal == pytest.approx((0, -1, 0), abs=1e-15)
    assert back.placement.start == (1.0, 2.0, 3.0) and back.placement.direction == (1.0, 0.0, 0.0)


def test_rotation_of_minus_180_is_180():
    [back] = read(HEAD + "r,1,1,0,90,50\nr,2,1,-180,90,50\nr,tail,10,,,\n").tables
    assert back.table.bends[1].rotation == 180.0


@pytest.mark.parametrize(
    ("rows", "message", "where"),
    [
        ("r,1,abc,0,90,50\n", "'abc' is not a length", "row 2, column feed_mm"),
        ("r,1,nan,0,90,50\n", "not a length", "row 2, column feed_mm"),
        ("r,1,1,0,90,50\n\nr,2,1,inf,90,50\n", "'inf' is not a number", "row 4, column rotation_deg"),
        ("r,1,1,0,1e999,50\n", "not a number", "row 2, column angle_deg"),
        ('r,1,"1,5",0,90,50\n', "not a length", "row 2, column feed_mm"),
        ("r,1,1,0,360,50\n", "less than 360", "row 2, column angle_deg"),
        ("r,1,1,0,0,50\n", "more than 0", "row 2, column angle_deg"),
        ("r,1,1,361,90,50\n", "between -360 and 360", "row 2, column rotation_deg"),
        ("r,1,1,0,90,0\n", "above zero", "row 2, column clr_mm"),
        ("r,1,,0,90,50\n", "blank", "row 2, column feed_mm"),
        ("r,1,1,0,,50\n", "blank", "row 2, column angle_deg"),
        ("r,one,1,0,90,50\n", "'one' is neither the number", "row 2, column bend"),
        ("r,1,1,0,90,50\nr,1,1,0,90,50\n", "in row 2 already", "row 3, column bend"),
        ("r,2,1,0,90,50\nr,tail,1,,,\n", "none with number 1", "row 2"),
        ("r,1,1,0,90,50\n", "has no tail", "row 2"),
        ("r,tail,1,,,\nr,tail,1,,,\n", "second tail", "row 3"),
        ("r,tail,1,,5,\n", "tail has an angle", "row 2, column angle_deg"),
        ("r,tail,0,,,\n", "no length", "row 2, column feed_mm"),
        ("r,1,1,0,90,50,7\n", "7 cells under 6 headings", "row 2"),
        ("r,1,4.5parsec,0,90,50\n", "Unknown unit 'parsec'", "row 2, column feed_mm"),
    ],
)  # fmt: skip
def test_a_bad_cell_is_named_by_row_and_column(rows, message, where):
    refused(HEAD + rows, message, where)


@pytest.mark.parametrize(
    ("heads", "cells", "message", "where"),
    [
        ("od_mm", "20", "section without a wall", "row 2, column wall"),
        ("wall_mm", "2", "without an outside size", "row 2, column od"),
        ("od_mm,wall_mm", "20,11", "leaves no bore", "row 2, column od_mm"),
        ("closed", "maybe", "yes or no", "row 2, column closed"),
        ("start_x_mm,start_y_mm", "1,2", "no start_z", "row 2, column start_z"),
        ("direction_x,direction_y,direction_z", "0,0,0", "no length", "row 2, column direction_x"),
        ("normal_x,normal_y,normal_z", "1,0,0", "not perpendicular", "row 2, column normal_x"),
        ("feed_in", "1", "two columns give the feed", "row 1, column feed_in"),
    ],
)
def test_bad_facts_of_the_whole_tube(heads, cells, message, where):
    refused(HEAD.strip() + f",{heads}\nr,tail,10,,,,{cells}\n", message, where)


def test_contradicting_rows_are_named():
    text = HEAD.strip() + ",layer\nr,1,1,0,90,50,A\nr,tail,10,,,,B\n"
    refused(text, "contradicts row 2", "row 3, column layer")


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "no rows"),
        (b"\n\n , ,\n", "no rows"),
        (b"tube,bend\nr,1\n", "no column for feed and rotation and angle"),
        (HEAD.encode(), "no row under the headings"),
        (b"hello world\n", "no column for"),
        (b"\x00\x01\x02feed", "not text"),
        (HEAD.encode() + b"\xe9,tail,1,,,\n", "not UTF-8 text (row 2)"),
        (HEAD.encode() + b'"open,tail,1,,,\n', "not a readable table"),
        (HEAD.encode() + b'"' + b"x" * 200_000 + b'",tail,1,,,\n', "more than the 100,000 that are read"),
    ],
)
def test_what_is_no_table_is_refused_in_one_sentence(data, message):
    refused(data, message)


def test_units_option_overrides_and_says_so():
    drawing = read(HEAD + "r,tail,10,,,\n", units="in")
    assert drawing.tables[0].table.tail == 254.0 and drawing.read_as == "in" and drawing.units == "mm"
    assert [f.code for f in drawing.findings] == ["units-overridden"]
    with pytest.raises(UnitsError):
        read(HEAD + "r,tail,10,,,\n", units="furlong")


def test_headings_without_units_are_read_as_mm_and_said():
    drawing = read("feed,rotation,angle,clr\n10,0,90,5\n3,,,\n")
    assert drawing.tables[0].table.bends[0].feed == 10.0 and drawing.units is None and drawing.read_as == "mm"
    assert [f.code for f in drawing.findings] == ["units-assumed"] and "25.4" in drawing.findings[0].message
    assert not read("feed,rotation,angle,clr\n10,0,90,5\n3,,,\n", units="mm").findings


def test_a_total_that_disagrees_is_said_and_the_rows_count():
    drawing = read(HEAD.strip() + ",developed_length_mm\nr,tail,10,,,,12\n")
    assert drawing.tables[0].table.tail == 10.0
    assert [(f.code, f.tube, f.measured, f.limit) for f in drawing.findings] == [("length-disagrees", "r", 10.0, 12.0)]


def test_unknown_columns_are_counted():
    drawing = read(HEAD.strip() + ",colour,=cmd\nr,tail,10,,,,red,x\n")
    assert [(i.kind, i.count) for i in drawing.ignored] == [("column", 2)] and "colour" in drawing.ignored[0].why


def test_layers_pick_tubes():
    text = HEAD.strip() + ",layer\na,tail,1,,,,FRAME\nb,tail,1,,,,Aux\nc,tail,1,,,,\n"
    assert [t.name for t in read(text, layers=("fr*",)).tables] == ["a"]
    assert [t.name for t in read(text, skip_layers=("aux",)).tables] == ["a", "c"]


def test_section_written_as_a_size():
    [back] = read(HEAD.strip() + ",section\nr,tail,10,,,,1.75x0.120in\n").tables
    assert (back.section.shape, back.section.od) == ("round", pytest.approx(44.45))
    refused(HEAD.strip() + ",section\nr,tail,10,,,,nonsense\n", "nonsense", "row 2, column section")


def test_corner_points():
    text = (
        "run,x_in,y_in,z_in,layer\nrail,0,0,0,FRAME\nrail,10,0,0,\nrail,10,0,0,\n,10,5,1,\npost,0,0,0,\npost,0,0,2,\n"
    )
    rail, post = read(text).curves
    assert (rail.name, rail.layer, rail.handle) == ("rail", "FRAME", "rows 2 to 5")
    assert isinstance(rail.curve, Path) and rail.curve.parts[1] == Line((254.0, 0.0, 0.0), (254.0, 127.0, 25.4))
    assert post.curve == Line((0.0, 0.0, 0.0), (0.0, 0.0, 50.8)) and post.layer is None


def test_bare_points_without_headings():
    drawing = read("0;0\n100,5;0\n100,5;50\n")
    assert drawing.curves[0].curve.end == (100.5, 50.0, 0.0) and drawing.curves[0].name == "job"
    assert [f.code for f in drawing.findings] == ["units-assumed"]
    refused("0,0,0\n1,x,0\n", "'x' is not a length", "row 2, column y")
    refused("x_mm,y_mm\n1,\n", "blank", "row 2, column y_mm")
    refused("x_mm,y_mm\n1,1\n1,1\n", "two different points", "row 2")


def test_written_file(tmp_path):
    job = job_of([tube("ä")], display=Display("in"))
    [path] = write_job(job, tmp_path, ["csv"])
    assert path == tmp_path / "part.csv"
    same_shape(read_table_csv(str(path), ReadOptions()).tables[0].table, BendTable(BENDS, 75.0))
    assert path.read_bytes().count(b"\r\n") == 4


@given(
    feed=st.floats(1e-3, 5e3),
    rotation=st.floats(-179.999, 180.0),
    angle=st.floats(1e-9, 359.9999999),
    display=st.sampled_from([Display("mm"), Display("in"), Display("in", 16)]),
)
def test_no_number_has_more_digits_than_it_is_worth(feed, rotation, angle, display):
    """At most eight decimals, and what is read is within 1e-6 mm and 1e-6 degrees; nearly full turns stay below one."""
    was = tube(bends=(Bend(feed, 0.0, 90.0, 100.0), Bend(feed, rotation, angle, 100.0)), tail=feed)
    text = table_text([was], display)
    [back] = read(text).tables
    same_shape(back.table, was.run.table)
    row = next(csv.DictReader(io.StringIO(text, newline="")))
    for name, cell in row.items():
        if name.startswith(("feed", "bend_", "clr", "rotation")) and "." in cell:
            assert len(cell.partition(".")[2]) <= (8 if display.unit == "in" else 6), (name, cell)
