"""Bad files end in one sentence with a code, a file and a place; damage that can be mended is said."""

import io
import os
import re
import sys

import ezdxf
import pytest
from dxf_text import text
from dxf_tools import codes, new, sample

from converter.errors import ElbowroomError, ReadError
from converter.importers import source as source_module
from converter.importers.dxf.sequences import with_sequences_closed
from converter.importers.registry import FORMATS, ReadOptions, detect, read


def binary(n=20):
    doc, msp = new()
    for i in range(n):
        msp.add_line((0, i), (100, i))
    stream = io.BytesIO()
    doc.write(stream, fmt="bin")
    return stream.getvalue()


def save(tmp_path, data, name="part.dxf"):
    path = tmp_path / name
    path.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)
    return path


def refusal(path, code, match=""):
    """Reading fails with one clear sentence."""
    with pytest.raises(ReadError, match=match) as caught:
        read(path)
    error = caught.value
    assert error.code == code, error.message
    assert error.file == str(path) and str(path) in error.message
    assert "\n" not in error.message and error.message.endswith(".") and "Traceback" not in error.message
    return error


def test_no_file_at_all(tmp_path):
    refusal(tmp_path / "none.dxf", "no-such-file", "does not exist")


def test_a_directory(tmp_path):
    refusal(tmp_path, "is-directory", "is a directory")


def test_an_empty_file(tmp_path):
    refusal(save(tmp_path, ""), "empty-file", "is empty")


def test_an_unreadable_file(tmp_path, monkeypatch):
    """The tests may run as a user whom permissions do not stop, so the refusal is put in the way of open()."""
    path = save(tmp_path, text())

    def refuse(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(source_module, "open_to_read", refuse)
    refusal(path, "no-permission", "may not be read")


def test_a_name_with_a_nul():
    with pytest.raises(ReadError) as caught:
        read("a\0b.dxf")
    assert caught.value.code == "unreadable"


@pytest.mark.parametrize("name", ["note.dxf", "note.DXF"])
def test_only_text(tmp_path, name):
    path = save(tmp_path, "Dear workshop,\nplease bend this tube, as discussed.\n" * 40, name)
    refusal(path, "not-dxf", "not a DXF drawing, it holds other text")


def test_binary_junk(tmp_path):
    path = save(tmp_path, bytes(range(256)) * 50)
    refusal(path, "not-dxf", "not a DXF drawing, it holds binary data")


def test_a_name_no_reader_knows(tmp_path):
    refusal(save(tmp_path, "hello there\n", "part.xyz"), "unknown-format", r"\.dxf")


@pytest.mark.parametrize(
    ("start", "words"),
    [
        (b"AC1032\0\0\0", "DWG drawing.*export it as DXF"),
        (b"AC1015\0\0\0", "DWG drawing"),
        (b"%PDF-1.7\n", "a PDF"),
        (b"PK\x03\x04\x14", "zip archive"),
        (b"\x89PNG\r\n", "a picture"),
    ],
)
def test_other_programs_files(tmp_path, start, words):
    """Whatever they are called: the content decides."""
    refusal(save(tmp_path, start + b"\0" * 100), "foreign-format", words)


@pytest.mark.parametrize("name", ["part.csv", "part.txt", "part"])
def test_the_content_decides_not_the_name(tmp_path, name):
    assert len(read(save(tmp_path, text(), name)).curves) == 20
    assert len(read(save(tmp_path, binary(), name)).curves) == 20


def test_detection_of_dxf_openings():
    for head in (
        b"0\nSECTION\n", b"  0\r\nSECTION\r\n", b"999\nmade by X\n  0\nSECTION\n", b"\xef\xbb\xbf0\nSECTION\n",
        b"999\n\n999\nmore\n0\nSECTION\n", b"AutoCAD Binary DXF\r\n\x1a\0", b"0\rSECTION\r2\r",
    ):  # fmt: skip
        assert detect(head, "x.csv").name == "dxf", head


def test_formats_are_listed_without_their_libraries():
    """The list of formats must cost nothing, since --help prints it."""
    import subprocess

    script = (
        "import sys; from converter.importers.registry import FORMATS; assert FORMATS; "
        "print([m for m in ('numpy', 'ezdxf', 'click') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
    assert FORMATS[0].name == "dxf"


def test_standard_input(monkeypatch):
    for data in (text().encode(), binary(), b"\xef\xbb\xbf" + text().encode()):
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(data)))
        drawing = read("-")
        assert len(drawing.curves) == 20 and drawing.source == "-" and codes(drawing) == []
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"")))
    with pytest.raises(ReadError, match="Standard input is empty"):
        read("-")


def test_a_byte_order_mark_and_old_line_ends(tmp_path):
    for data in (
        b"\xef\xbb\xbf" + text().encode(), text().replace("\n", "\r\n").encode(), text().replace("\n", "\r").encode(),
    ):  # fmt: skip
        drawing = read(save(tmp_path, data))
        assert len(drawing.curves) == 20 and codes(drawing) == []


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-be"])
def test_text_in_utf_16_is_told_as_that(tmp_path, encoding):
    """As some shells redirect text; it was binary data. The second is written without its mark."""
    mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
    refusal(save(tmp_path, mark + text().encode(encoding)), "not-dxf", "is text in UTF-16.*save it as UTF-8")


@pytest.mark.parametrize("share", [0.05, 0.3, 0.6, 0.8])
def test_cut_short_is_never_silent(tmp_path, share):
    """Wherever it is cut before the entities end, the tubes after the cut would be missing."""
    whole = text(2000, "R2000")
    end = whole.index("OBJECTS") if "OBJECTS" in whole else len(whole)
    refusal(save(tmp_path, whole[: int(end * share)]), "truncated", "cut short")


def test_every_cut_of_a_small_file_is_refused_or_said(tmp_path):
    whole = text(3, "R12")
    last = whole.rindex("EOF")
    complete = whole.rindex("ENDSEC") + len("ENDSEC")
    for cut in (*range(30, complete, 37), *range(complete, last)):
        path = save(tmp_path, whole[:cut])
        if cut < complete or whole[cut - 1] == " ":  # blanks are no group code
            with pytest.raises(ReadError):
                read(path)
        else:
            drawing = read(path)
            assert len(drawing.curves) == 3 and "file-repaired" in codes(drawing)


def test_cut_after_the_entities_is_mended_and_said(tmp_path):
    whole = text(20)
    cut = whole.index("OBJECTS") + 300
    drawing = read(save(tmp_path, whole[:cut]))
    assert len(drawing.curves) == 20
    (said,) = drawing.findings
    assert said.code == "file-repaired" and said.severity == "warning" and "after the drawn entities" in said.message


def test_cut_binary(tmp_path):
    data = binary()
    for share in (0.2, 0.5, 0.9, 0.999):
        refusal(save(tmp_path, data[: int(len(data) * share)]), "truncated", "cut short")


def test_junk_after_the_end_mark_does_no_harm(tmp_path):
    drawing = read(save(tmp_path, text() + "\x00\x00 some mail footer\n" * 500))
    assert len(drawing.curves) == 20 and codes(drawing) == []


def test_lost_curves_are_counted_as_an_error(tmp_path):
    """A number with two points in the header, and two lines of one handle, of which the library keeps one."""
    whole = text(20)
    spoilt = re.sub(r"(LTSCALE\n 40\n).*\n", r"\g<1>1.2.3\n", whole, count=1)
    third, fourth = re.findall(r"LINE\n  5\n(\w+)\n", whole)[2:4]
    spoilt = spoilt.replace(f"LINE\n  5\n{fourth}\n", f"LINE\n  5\n{third}\n")
    drawing = read(save(tmp_path, spoilt))
    (said,) = drawing.findings
    assert len(drawing.curves) == 19
    assert (said.code, said.severity, said.measured) == ("file-repaired", "error", 1.0)
    assert "1 of 20 curves was lost" in said.message


@pytest.mark.parametrize(
    ("wrong", "code", "words"),
    [
        ("\n xx\n", "damaged", "damaged beyond repair"),
        (
            "\n 10\nxx\n",
            "not-a-number",
            "LINE 3. on layer 'RAIL' has 'xx' in line .* is no number: delete or redraw it",
        ),
    ],
)
def test_what_cannot_be_mended_is_refused(tmp_path, wrong, code, words):
    """Something that is no number where a group code stands, or a value."""
    whole = text(20)
    at = [m.start() for m in re.finditer("AcDbLine", whole)][7]
    refusal(save(tmp_path, whole[:at] + whole[at:].replace("\n 10\n", wrong, 1)), code, words)


def entities(*records):
    """A file of nothing but entities, as old posts write it; a value is written as it is given."""
    tags = [(0, "SECTION"), (2, "ENTITIES"), *(tag for record in records for tag in record), (0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{value}\n" for code, value in tags)


def hook(start="0.0", middle="200.5", radius="60.25"):
    """A straight and a quarter turn to the left from its end."""
    line = [(0, "LINE"), (8, "0"), (10, start), (20, "0.0"), (11, middle), (21, "0.0")]
    return entities(line, [(0, "ARC"), (8, "0"), (10, middle), (20, radius), (40, radius), (50, "270"), (51, "360")])


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        (("0,0", "200,5", "60,25"), "5 numbers with a decimal comma were read as such"),
        (("0", "200,5", "60.25"), "2 numbers with a decimal comma were read as such"),
        (("0", "2,005E2", "60.25"), "2 numbers with a decimal comma were read as such"),
        (("0.0", "200.5", "0.6025D+02"), "2 numbers with the exponent of Fortran .6.0D.01. were read as such"),
        (("0.0", "2005.d-1", "6025d-2"), "4 numbers with the exponent of Fortran"),
    ],
)
def test_numbers_as_other_programs_write_them_are_read_whole(tmp_path, numbers, words):
    """The DXF library takes 60 of 60,25 and 6 of 6.025D+01: a bend of another radius."""
    drawing = read(save(tmp_path, hook(*numbers)))
    line, arc = (one.curve for one in drawing.curves)
    assert line.end == (200.5, 0.0, 0.0) and arc.center == (200.5, 60.25, 0.0) and arc.radius == 60.25
    (told,) = [one for one in drawing.findings if one.code == "file-repaired"]
    assert re.search(words, told.message) and "all 2 curves were kept" in told.message


@pytest.mark.parametrize("bad", ["60.25.1", "60.25 mm", "6O.25", "1.060,25", "--60", "", "60,25,1", "$"])
def test_a_number_of_a_curve_that_is_none_is_refused(tmp_path, bad):
    """The DXF library takes of it what it can, and a wrong radius would be read."""
    error = refusal(save(tmp_path, hook(radius=bad)), "not-a-number", "which is no number: delete or redraw it")
    assert error.where == "ARC without a handle on layer '0'" and "in line 24 of the file" in error.message


def test_a_comma_that_may_part_thousands_is_refused(tmp_path):
    """1,234 beside 60.25 is 1234 or 1.234; beside a comma that parts no thousands it is 1.234."""
    path = save(tmp_path, hook(middle="1,234"))
    error = refusal(path, "not-a-number", "'1,234' in line 14 of the file, where the comma may be a decimal one or")
    assert "(line 10 has a decimal point)" in error.message
    assert read(save(tmp_path, hook("0", "1,234", "60,25"))).curves[0].curve.end == (1.234, 0.0, 0.0)


def test_a_number_of_what_is_no_curve_does_no_harm(tmp_path):
    note = [(0, "TEXT"), (8, "0"), (10, "0.0"), (20, "0.0"), (40, "2 1/2"), (1, "1,5 mm")]
    whole = hook().replace("0\nENDSEC", "".join(f"{code}\n{value}\n" for code, value in note) + "0\nENDSEC")
    drawing = read(save(tmp_path, whole))
    assert len(drawing.curves) == 2 and "file-repaired" in codes(drawing)


def test_damage_at_random_never_shows_a_traceback(tmp_path):
    """Bytes changed, dropped and doubled anywhere: a drawing, or one sentence of ours."""
    import random

    rng = random.Random(7)
    for whole in (text(5).encode(), text(5, "R12").encode(), binary(5)):
        for _ in range(25):
            data = bytearray(whole)
            for _ in range(rng.randint(1, 6)):
                i = rng.randrange(len(data))
                kind = rng.randrange(3)
                if kind == 0:
                    data[i] = rng.randrange(256)
                elif kind == 1:
                    del data[i : i + rng.randint(1, 40)]
                else:
                    data[i:i] = data[i : i + rng.randint(1, 40)]
            try:
                read(save(tmp_path, bytes(data)))
            except ElbowroomError as error:
                assert "\n" not in error.message


def entity(kind, *tags):
    body = "".join(f"{code}\n{value}\n" for code, value in tags)
    return (
        f"0\nSECTION\n2\nENTITIES\n0\nLINE\n5\nA1\n8\nRAIL\n10\n0\n20\n0\n11\n5\n21\n0\n"
        f"0\n{kind}\n5\n2F\n8\nHAND RAIL\n{body}0\nENDSEC\n0\nEOF\n"
    )


@pytest.mark.parametrize("number", ["nan", "NaN", "inf", "-inf", "1e999"])
@pytest.mark.parametrize(
    ("kind", "tags"),
    [
        ("LINE", [(10, "{}"), (20, 0), (11, 1), (21, 1)]),
        ("LINE", [(10, 0), (20, 0), (30, 0), (11, 1), (21, 1), (31, "{}")]),
        ("ARC", [(10, 0), (20, "{}"), (40, 5), (50, 0), (51, 90)]),
        ("ARC", [(10, 0), (20, 0), (40, "{}"), (50, 0), (51, 90)]),
        ("ARC", [(10, 0), (20, 0), (40, 5), (50, "{}"), (51, 90)]),
        ("CIRCLE", [(10, 0), (20, 0), (40, "{}")]),
    ],
)
def test_numbers_that_are_none(tmp_path, kind, tags, number):
    """They load without a word; a tube with a hole in it must not be read in silence."""
    data = entity(kind, *((c, str(v).format(number)) for c, v in tags))
    error = refusal(save(tmp_path, data), "not-finite", "not a finite number")
    assert error.where == f"{kind} 2F on layer 'HAND RAIL'" and error.where in error.message


def test_numbers_that_are_none_in_arrays(tmp_path):
    for build in (
        lambda m: m.add_lwpolyline([(0, 0), (float("nan"), 5), (9, 9)]),
        lambda m: m.add_lwpolyline([(0, 0, float("nan")), (5, 5, 0), (9, 9, 0)], format="xyb"),
        lambda m: m.add_polyline3d([(0, 0, 0), (5, 5, float("inf")), (9, 9, 9)]),
        lambda m: m.add_open_spline([(0, 0), (5, float("nan")), (9, 9), (12, 0)]),
        lambda m: m.add_spline([(0, 0), (5, float("nan")), (9, 9), (12, 0)]),
        lambda m: m.add_ellipse((0, 0), (float("nan"), 5), 0.5),
    ):
        doc, msp = new()
        build(msp)
        path = tmp_path / "nan.dxf"
        doc.saveas(path)
        refusal(path, "not-finite", "finite")


def test_a_bad_number_on_a_layer_that_is_not_read_does_no_harm(tmp_path):
    data = entity("LINE", (10, "nan"), (20, 0), (11, 1), (21, 1))
    drawing = read(save(tmp_path, data), ReadOptions(skip_layers=("HAND*",)))
    assert [c.layer for c in drawing.curves] == ["RAIL"]


def test_a_bad_number_inside_a_block(tmp_path):
    doc, msp = new()
    doc.blocks.new("B").add_line((0, 0), (float("nan"), 0))
    msp.add_blockref("B", (0, 0))
    path = tmp_path / "nan.dxf"
    doc.saveas(path)
    refusal(path, "not-finite", "LINE")


@pytest.mark.parametrize(
    ("kind", "tags", "why"),
    [
        ("LINE", [(10, 5), (20, 5)], "a line of which an end is missing"),
        ("LINE", [(11, 5), (21, 5)], "a line of which an end is missing"),
        ("ARC", [(10, 5), (20, 5), (40, 5), (50, 0)], "an arc of which an angle is missing"),
        ("ARC", [(10, 5), (20, 5), (50, 0), (51, 90)], "an arc of which centre or radius is missing"),
        ("CIRCLE", [(40, 5)], "an arc of which centre or radius is missing"),
    ],
)
def test_half_an_entity_is_an_error(tmp_path, kind, tags, why):
    """The DXF library fills in the origin, a whole turn or radius 1: a wrong tube in silence."""
    drawing = read(save(tmp_path, entity(kind, *tags)))
    assert [c.handle for c in drawing.curves] == ["A1"]
    said = drawing.findings[-1]
    assert (said.code, said.severity, said.handle, said.layer) == ("entity-unread", "error", "2F", "HAND RAIL")
    assert [(i.kind, i.count, i.why) for i in drawing.ignored] == [(kind, 1, why)]


def test_undecodable_layer_names_can_be_written_out(tmp_path):
    """UTF-8 bytes in a file that claims another code page, and bytes that are nothing at all."""
    data = text(1, "R2000").encode().replace(b"RAIL", b"R\xc3\x96HR\x81")
    (drawn,) = read(save(tmp_path, data)).curves
    assert drawn.layer.encode("utf-8") and drawn.layer.startswith("R")


def test_nothing_is_printed(tmp_path, capfd):
    """The DXF library logs warnings that Python would write to stderr."""
    whole = text(20)
    read(save(tmp_path, whole[: whole.index("OBJECTS") + 300]))
    read(save(tmp_path, entity("TEXT", (1, "x"))))
    out, err = capfd.readouterr()
    assert out == "" and err == ""


def test_collection_is_switched_back_on(tmp_path):
    import gc

    path = save(tmp_path, text())
    read(path)
    assert gc.isenabled()
    gc.disable()
    try:
        read(path)
        assert not gc.isenabled()
    finally:
        gc.enable()
    with pytest.raises(ReadError):
        read(save(tmp_path, entity("LINE", (10, "nan"), (20, 0), (11, 1), (21, 1))))
    assert gc.isenabled()


def test_the_input_is_left_alone(tmp_path):
    path = save(tmp_path, text())
    before = path.read_bytes()
    stamp = os.stat(path).st_mtime_ns
    read(path)
    assert path.read_bytes() == before and os.stat(path).st_mtime_ns == stamp
    assert os.listdir(tmp_path) == ["part.dxf"]


# --- end marks that are missing ----------------------------------------------------------------


def drawn_in_sequences(version):
    """The text of a drawing with polylines and a reference with texts, between lines."""
    doc = ezdxf.new(version, units=4)
    space = doc.modelspace()
    block = doc.blocks.new("B")
    block.add_polyline2d([(0, 0), (60, 0), (60, 40)])
    block.add_line((0, 90), (50, 90))
    space.add_line((0, 0), (100, 0))
    space.add_polyline2d([(0, 200), (100, 200), (150, 260)])
    space.add_blockref("B", (300, 0)).add_attrib("T", "x")
    space.add_polyline3d([(0, 300, 0), (100, 300, 0), (150, 360, 9)])
    space.add_polyline3d([(0, 500, 0), (100, 500, 0), (150, 560, 9)])
    space.add_line((0, -50), (100, -50))
    text = io.StringIO()
    doc.write(text)
    return text.getvalue()


def curves_in(drawing):
    return [(type(one.curve).__name__, sample(one.curve).tolist(), one.layer) for one in drawing.curves]


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_end_marks_that_are_missing_are_put_in(tmp_path, version, newline):
    """Each, and all of them: the same curves as of the sound file, and the line of the first that lacked one."""
    lines = drawn_in_sequences(version).splitlines()
    sound = tmp_path / "sound.dxf"
    sound.write_text("\n".join(lines) + "\n")
    wanted = curves_in(read(sound))
    starts = [k - 1 for k, line in enumerate(lines) if line == "SEQEND"]
    assert len(starts) == 5 and len(wanted) == 7
    ends = [next(j for j in range(k + 2, len(lines), 2) if lines[j].strip() == "0") for k in starts]
    for gone in [[k] for k in range(5)] + [[*range(5)]]:
        kept = list(lines)
        for k in reversed(gone):
            del kept[starts[k] : ends[k]]
        spoilt = tmp_path / "spoilt.dxf"
        spoilt.write_bytes((newline.join(kept) + newline).encode())
        drawing = read(spoilt)
        assert curves_in(drawing) == wanted
        (told,) = [one for one in drawing.findings if one.code == "file-repaired"]
        number = int(re.search(r"in line (\d+) has no SEQEND", told.message)[1])
        assert kept[number - 1] in ("POLYLINE", "INSERT") and told.severity == "warning"
        assert f": {len(gone)} SEQEND{'s were' if len(gone) > 1 else ' was'} put in" in told.message
    #  no other file is touched
    data = sound.read_bytes()
    assert with_sequences_closed(data) == (data, [])


# --- sections and lines: numbers by hand, the tubes are a quarter bend of 60 beside 440, and bars --------------------


def bar(y, x=440.0, handle=None):
    tags = [(0, "LINE"), *([] if handle is None else [(5, handle)]), (8, "0")]
    return [*tags, (10, 0.0), (20, y), (11, x), (21, y)]


def joined(*parts):
    return "".join(f"{code}\n{value}\n" for part in parts for code, value in part)


OPEN, CLOSE, LAST = [(0, "SECTION"), (2, "ENTITIES")], [(0, "ENDSEC")], [(0, "EOF")]


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ((OPEN, bar(0.0), CLOSE, OPEN, bar(90.0), CLOSE, LAST), "it has 2 sections of entities"),
        ((OPEN, bar(0.0, handle="2F"), CLOSE, OPEN, bar(90.0, handle="2F"), CLOSE, LAST), "it has 2 sections of entit"),
        ((OPEN, bar(0.0), CLOSE, bar(90.0), LAST), "1 of its curves stands outside of its sections"),
        ((bar(0.0), OPEN, bar(90.0), CLOSE, LAST), "1 of its curves stands outside of its sections"),
    ],
)
def test_what_is_drawn_in_another_section_or_in_none_is_read_and_told(tmp_path, parts, words):
    """The DXF library takes the last section alone, and nothing outside of one, without a word."""
    for mark in (b"\xef\xbb\xbf", b""):
        drawing = read(save(tmp_path, mark + joined(*parts).encode()))
        assert sorted(one.curve.start[1] for one in drawing.curves) == [0.0, 90.0]
    (told,) = [one for one in drawing.findings if one.code == "file-repaired"]
    assert words in told.message and "put into one section" in told.message and told.severity == "warning"


def test_a_polyline_outside_of_its_section_keeps_its_vertices(tmp_path):
    vertices = [tag for x in (0, 300) for tag in ((0, "VERTEX"), (8, "0"), (10, x), (20, 50))]
    whole = joined(OPEN, bar(0.0), CLOSE, [(0, "POLYLINE"), (8, "0"), (66, 1)], vertices, [(0, "SEQEND")], LAST)
    row = read(save(tmp_path, whole)).curves[-1].curve
    assert (row.start, row.end) == ((0.0, 50.0, 0.0), (300.0, 50.0, 0.0))


def test_a_second_drawing_behind_the_first_is_told(tmp_path):
    """Two files in one: the second may have another unit, so it is not read."""
    whole = joined(OPEN, bar(0.0), CLOSE, LAST, OPEN, bar(90.0), bar(180.0), CLOSE, LAST)
    drawing = read(save(tmp_path, whole))
    (told,) = [one for one in drawing.findings if one.code == "file-repaired"]
    assert told.severity == "error" and told.measured == 2.0 and len(drawing.curves) == 1
    assert "EOF in line 20, another drawing begins: its 2 curves were not read" in told.message
    assert whole.split("\n")[19] == "EOF"


def test_comments_between_sections_are_no_damage(tmp_path):
    whole = joined([(999, "by a script")], OPEN, bar(0.0), CLOSE, [(999, "that is all")], LAST)
    assert "file-repaired" not in codes(read(save(tmp_path, whole)))


def test_a_file_without_a_section_of_entities_says_so(tmp_path):
    refusal(
        save(tmp_path, joined([(0, "SECTION"), (2, "HEADER")], CLOSE, LAST)), "damaged", "no section named ENTITIES"
    )


@pytest.mark.parametrize("ends", ["\n\n", "\r\r\n", "\r\n\r\n"])
@pytest.mark.parametrize("version", ["R12", "R2018"])
def test_line_ends_that_were_changed_twice_are_mended_and_told(tmp_path, ends, version):
    """As a transfer in text mode leaves them: every other line is blank."""
    drawing = read(save(tmp_path, text(version=version).replace("\n", ends).encode()))
    told = next(one for one in drawing.findings if one.code == "file-repaired")
    assert len(drawing.curves) == 20 and "(every other line of it is blank)" in told.message


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda t: t.replace("AcDbLine\n", "AcDbLine\nhuh\n", 1), r"line \d+ holds 'huh' where a group code belongs"),
        (lambda t: t.replace("  0\nENDSEC\n", "", 1), "a section has no ENDSEC, its end mark"),
        (lambda t: t.replace("\n 21\n0.0\n", "\n", 1), r"a point has no y after its x near line \d+"),
        (lambda t: t.replace("\n 11\n100.0", "\n 11\n100,0", 1), "a coordinate is no number near line"),
        (lambda t: t.replace("  0\nEOF\n", "  0\nENDSEC\n  0\nEOF\n"), "an ENDSEC, the end mark of a section, stands"),
    ],
)
def test_damage_is_told_in_our_words(tmp_path, spoil, words):
    path = save(tmp_path, spoil(text(3)))
    try:
        told = " ".join(one.message for one in read(path).findings)
    except ReadError as error:
        told = error.message
    assert re.search(words, told), told
    assert not re.search("DXFStructure|Invalid|tag", told)
