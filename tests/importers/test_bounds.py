"""Excess of every known shape ends in one sentence before it costs memory or time. The bombs are made here.

What is counted: bytes taken from a stream, peaks of allocated memory, and time against twice the size.
"""

from __future__ import annotations

import io
import json
import math
import os
import random
import re
import signal
import socket
import struct
import sys
import time
import tracemalloc
import zipfile
from pathlib import Path

import numpy as np
import pytest
from command_line import failed, hook, one_sentence, run
from places import ROOT

from converter import limits
from converter.disk.reading import CHUNK, HEAD
from converter.errors import ElbowroomError, GeometryError, ReadError, ShopError, TooLargeError, WriteError
from converter.exporters.dxf.profile import flat_pieces, profile_figure
from converter.exporters.paper.room import Room
from converter.exporters.solids import mesh as mesh_out
from converter.exporters.solids.tessellate import triangle_count, tube_mesh
from converter.geometry.vectors import sub, unit
from converter.importers.registry import FORMATS, ReadOptions, read
from converter.importers.tables.json_text import read_json
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Line, Polyline, Spline, check_reach
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.metal import metal
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.reducer import reduce as reduce_module
from converter.reducer import reduce_drawing
from converter.reducer.adjusting.settle import settle
from converter.reducer.pieces import Straight
from converter.shop.job_file import job_from_text
from converter.shop.sections import parse_section, section_from_layer
from converter.shop.toml import parse_toml
from converter.tolerances import DEFAULT
from converter.units import Display

MB = 1 << 20
ROUND = Section("round", 44.45, 3.048)


def peak(call) -> int:
    """Most bytes that were allocated at one time while a call ran; what it raises is its own affair."""
    tracemalloc.start()
    try:
        call()
    except ElbowroomError:
        pass
    finally:
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    return most


def refused(path: Path | str, *words: str) -> ElbowroomError:
    """The error on reading a file, held to name the file and these words."""
    with pytest.raises(ElbowroomError) as caught:
        reduce_drawing(read(path))
    message = caught.value.message
    assert all(word in message for word in (Path(path).name, *words)), message
    one_sentence(f"elbowroom: {message}".replace("?", "."))
    return caught.value


# --- what is a file -------------------------------------------------------------------------


@pytest.fixture
def in_time():
    """Fails what waits: an open pipe without a writer blocks for ever."""

    def late(*_):
        raise AssertionError("it waits")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(60)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture
def odd_files(tmp_path, in_time):
    """A pipe nobody writes to, a socket, an endless device."""
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as end:
        end.bind(str(tmp_path / "socket"))
        yield {"a pipe": tmp_path / "pipe", "a socket": tmp_path / "socket", "a device": Path("/dev/zero")}


def test_pipes_sockets_and_devices_are_not_opened_as_drawings(odd_files, capsys):
    """Not even for a moment; the sentence says what to do with a pipe."""
    for what, path in odd_files.items():
        assert failed(run(capsys, "table", path)) == (
            f"{path} is {what}, not a file: pipe it into the command and name '-' as the input."
        )


def test_pipes_sockets_and_devices_are_no_shop_or_job_files(odd_files, capsys, tmp_path):
    drawing = hook(tmp_path / "hook.dxf")
    for what, path in odd_files.items():
        for option, kind in (("--shop", "shop file"), ("--job", "job file")):
            message = failed(run(capsys, "table", drawing, option, path))
            assert message == f"{path} is {what}, not a file: copy it into a file and name that as the {kind}."
        assert f"is {what}, not a file" in failed(run(capsys, "shop", "check", path))


def test_a_pipe_that_a_gltf_names_as_its_buffer_is_not_opened(odd_files, tmp_path):
    structure = gltf_of()
    structure["buffers"][0]["uri"] = "pipe"
    (tmp_path / "a.gltf").write_text(json.dumps(structure))
    with pytest.raises(ReadError, match=r"is a pipe, not a file: the buffer that .*a\.gltf names must be a file"):
        read(tmp_path / "a.gltf")


def test_a_file_that_becomes_a_pipe_after_the_look_is_not_waited_for(odd_files, monkeypatch):
    """The kind is asked again of what was opened."""
    from converter.disk import reading

    real = os.stat(__file__)
    monkeypatch.setattr(reading.os, "stat", lambda path: real)
    with pytest.raises(ReadError, match="is a pipe, not a file"):
        reading.open_regular(odd_files["a pipe"], "cure")


class Stream(io.RawIOBase):
    """Some bytes, then the same line for ever; counts what was taken."""

    def __init__(self, start: bytes, line: bytes):
        self.start, self.line, self.taken = start, line, 0

    def readable(self):
        return True

    def readinto(self, buffer):
        size = len(buffer)
        data = (self.start + self.line * (size // len(self.line) + 1))[:size]
        self.start = self.start[size:]
        buffer[:size] = data
        self.taken += size
        return size


@pytest.mark.parametrize(
    ("start", "line", "most", "word"),
    [
        (b"", b"\0", HEAD, "binary data that no reader knows"),
        (b"x,y,z\n", b"1,2,3\n", limits.TABLE_BYTES, "more than the 32 MB that are read"),
    ],
)
def test_an_endless_standard_input_is_read_to_its_limit(start, line, most, word, monkeypatch, capsys):
    """Nothing known: the first bytes tell. Something known: as much as a file of that kind may have."""
    raw = Stream(start, line)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BufferedReader(raw)))
    assert word in failed(run(capsys, "table", "-"))
    assert raw.taken <= most + 2 * CHUNK


def test_files_larger_than_the_limit_are_not_read(tmp_path, monkeypatch):
    """By their size alone; the head alone where the kind decides."""
    huge = tmp_path / "huge.dxf"
    huge.touch()
    os.truncate(huge, limits.FILE_BYTES + 1)
    large = tmp_path / "large.dxf"
    large.write_text("  0\nSECTION\n  2\nENTITIES\n")
    os.truncate(large, limits.DXF_BYTES + 1)
    refused(huge, "1 GB", "more than the 1 GB that are read")
    assert peak(lambda: read(large)) < 10 * MB
    refused(large, "128 MB", "split the drawing")


def test_every_format_has_a_limit_of_its_own():
    assert all(0 < form.most_bytes < limits.FILE_BYTES for form in FORMATS)


# --- text that nests ------------------------------------------------------------------------

LONG = ".".join(["a"] * 50_000)
TOML_BOMBS = {
    "key": f"{LONG} = 1",
    "header": f"[{LONG}]\na = 1",
    "quoted": "[" + ".".join(['"x.y"'] * 50_000) + "]\na = 1",
    "spaced": "a = {" + " . ".join(["a"] * 50_000) + " = 1}",
    "behind a text that ends in a quote": f'a = {{x = """a"""", {LONG} = 1}}',
    "behind an apostrophe": f'a = "it\'s"\n{LONG} = 1',
    "arrays": "a = " + "[" * 50_000 + "]" * 50_000,
    "tables": "a = " + "{a=" * 50_000 + "1" + "}" * 50_000,
    "open": "a = " + "[" * 50_000,
}


@pytest.mark.parametrize("name", TOML_BOMBS)
def test_deep_toml_is_refused_before_it_is_parsed(name):
    """tomllib keeps every beginning of a key: 50,000 parts would take 10 GB."""
    text = TOML_BOMBS[name]
    with pytest.raises(ShopError, match=r"a key in line \d has 50,000 parts, more than 16|nested too deeply.* line 1"):
        parse_toml(text, "f.toml", "shop file")
    assert peak(lambda: parse_toml(text, "f.toml", "job file")) < 5 * MB


def test_dots_and_brackets_in_texts_and_comments_mean_nothing():
    text = f'a = \'{LONG}\' # {LONG} {"[" * 99}\nb = """\n{LONG}\\""" {"[" * 99}"""\nc.d.e = 1.5\n'
    assert parse_toml(text, "f", "shop file")["c"] == {"d": {"e": 1.5}}


@pytest.mark.parametrize("mark", ["'", '"', "a", "_-", ". ", "a. ", "[", '"""\\', "\\", "{a=", "'''", "#\n"])
def test_looking_at_toml_takes_time_by_its_length(mark):
    def seconds(count):
        text = (mark * count)[:count]
        times = []
        for _ in range(3):
            start = time.process_time()
            with pytest.raises(ElbowroomError):
                parse_toml(text + "\n=", "f", "shop file")
            times.append(time.process_time() - start)
        return min(times)

    assert seconds(80_000) < 10.0 * seconds(20_000) + 0.02


@pytest.mark.parametrize(
    "text", ["[" * 100_000 + "]" * 100_000, '{"a":' * 100_000, "[" * 100_000, "[{" * 65 + "}]" * 65]
)
def test_deep_json_is_refused_before_it_is_parsed(text, tmp_path):
    with pytest.raises(ReadError, match="nested more than 64 deep"):
        read_json(text.encode(), "deep.json")
    (tmp_path / "deep.json").write_text('{"schema": "elbowroom/table/1", "tubes": ' + text)
    refused(tmp_path / "deep.json", "nested more than 64 deep")


def test_json_as_deep_as_allowed_is_read():
    text = "[" * limits.NESTING + json.dumps("[" * 1000 + '"\\') + "]" * limits.NESTING
    value = read_json(text.encode(), "f")
    for _ in range(limits.NESTING):
        value = value[0]
    assert value == "[" * 1000 + '"\\'


# --- sizes that no tube has -----------------------------------------------------------------

IMPOSSIBLE = ["720x1e-9in", "720x0.12in", "20m x 1mm", "40x1e-7mm", "5e-6x2e-6mm", "9000x0.005mm", "1e9mm bar"]


@pytest.mark.parametrize("text", IMPOSSIBLE)
def test_impossible_sections_are_refused_at_every_door(text, tmp_path, capsys):
    """Option, job file and table say it; in a layer's name it is no size at all."""
    with pytest.raises(ElbowroomError, match=r"is no tube, .*check its unit"):
        parse_section(text)
    drawing = hook(tmp_path / "hook.dxf")
    assert "is no tube" in failed(run(capsys, "table", drawing, "--section", text))
    with pytest.raises(ShopError, match=r"default\.section must be a section.*is no tube"):
        job_from_text(f"[default]\nsection = '{text}'", "job.toml")
    table = tmp_path / "t.csv"
    table.write_text(f"feed_mm,rotation_deg,angle_deg,clr_mm,bend,section\n10,0,90,99,1,{text}\n10,,,,tail,{text}\n")
    refused(table, "is no tube", "column section")
    assert section_from_layer(f"TUBE {text}") is None


@pytest.mark.parametrize("size", [(0.2, 0.05), (4000.0, 20.0), (1000.0, 0.5), (25.0, 1e-2), (2540.0, 25.4)])
def test_sections_that_exist_are_taken(size):
    """A needle, a penstock, a ventilation duct, bellows, a hundred-inch pipe."""
    assert Section("round", *size).od == size[0]


def straight(length: float, layer: str = "T") -> Drawing:
    return Drawing("d.dxf", None, "mm", [DrawnCurve(Line((0.0, 0.0, 0.0), (length, 0.0, 0.0)), layer, "2F")])


@pytest.mark.parametrize(
    ("length", "severity", "other"),
    [(3e9, "error", None), (2.4e6, "error", None), (0.05, "warning", "read as m it would be 50 mm")],
)
def test_a_run_no_tube_has_is_told_with_both_readings(length, severity, other):
    (only,), _ = reduce_drawing(straight(length))
    (finding,) = only.findings
    assert (finding.code, finding.severity, finding.tube, finding.handle) == ("run-size", severity, "T", "2F")
    assert finding.measured == length
    assert f"the numbers read as mm make it {length:.3g} mm long" in finding.message
    assert other is None or other in finding.message
    drawing = straight(25.4 * length) if length > 1.0 else straight(length)
    drawing.read_as = "in" if length > 1.0 else "mm"
    (only,), _ = reduce_drawing(drawing)
    assert length < 1.0 or f"read as mm it would be {length:.3g} mm" in only.findings[0].message


@pytest.mark.parametrize("length", [0.1, 1.0, 6000.0, 1e6])
def test_runs_of_plausible_length_are_not_remarked_on(length):
    (only,), _ = reduce_drawing(straight(length))
    assert only.findings == ()


@pytest.mark.parametrize("far", [2e12, -1e15, 1e300])
def test_coordinates_beyond_all_bounds_are_refused(far, tmp_path):
    path = hook(tmp_path / "far.dxf")
    path.write_text(re.sub(r"(?m)^( 10\n)300\.0$", rf"\g<1>{far!r}", path.read_text(), count=1))
    (told,) = [finding for finding in read(path).findings if finding.code == "entity-unread"]
    assert (told.severity, told.layer) == ("error", "TUBE")
    for make in (
        lambda: Line((far, 0.0, 0.0), (0.0, 0.0, 0.0)),
        lambda: Arc.swept((far, 0.0, 0.0), (0.0, 0.0, 1.0), (far, 1.0, 0.0), 90.0),
        lambda: Polyline(np.array([(0.0, 0.0, 0.0), (0.0, far, 0.0)])),
        lambda: Spline(1, np.array([(0.0, 0, 0), (0, 0, far)]), np.arange(4.0), None, (0.0, 0, 0), (0.0, 0, far)),
    ):
        with pytest.raises(GeometryError):
            check_reach(make())
    for make in (lambda: BendTable((), abs(far)), lambda: Placement((0.0, far, 0.0))):
        with pytest.raises(GeometryError):
            make()


def bent(feed: float, clr: float) -> Tube:
    table = BendTable((Bend(feed, 0.0, 90.0, clr),), feed)
    return Tube(Run("T", None, False, table, Placement()), ROUND)


# --- what is written ------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(("feed", "clr"), [(4.3e9, 114.3), (4.3e9, 1e9), (100.0, 1e9), (4.9e10, 152.4)])
def test_a_profile_of_any_length_takes_the_same_memory(feed, clr):
    """Cells for 4,300 km would be 2.5 GB; a run of a metre is drawn with as many lines."""
    tube = bent(feed, clr)
    (piece,) = flat_pieces(tube.run, tube.section)
    figures = []
    assert peak(lambda: figures.append(profile_figure(tube, piece, Display()))) < 40 * MB
    usual = bent(400.0, 114.3)
    (piece,) = flat_pieces(usual.run, usual.section)
    assert len(figures[0].lines) <= len(profile_figure(usual, piece, Display()).lines) + 4


def test_no_box_on_a_strip_is_free_and_one_two_cells_away_is():
    rng = random.Random(4)
    room = Room(2.0, (-60.0, -60.0, 360.0, 360.0))
    strips = [
        ((rng.uniform(0, 300), rng.uniform(0, 300)), (rng.uniform(0, 300), rng.uniform(0, 300))) for _ in range(3)
    ]
    strips.append(((50.0, 50.0), (50.0, 50.0)))
    for strip in strips:
        room.take_line(strip, 5.0)

    def gap_to(box, half):
        """Of a box from the squares of a half width about many places of the strips."""
        beside = np.maximum(np.array(box[:2]) - places - half, places - half - np.array(box[2:]))
        return max(float(beside.max(axis=1).min()), 0.0)

    share = np.linspace(0.0, 1.0, 2001)[:, None]
    places = np.concatenate([np.array(a) + share * (np.array(b) - np.array(a)) for a, b in strips])
    seen = set()
    for _ in range(1000):
        x, y = rng.uniform(-50, 345), rng.uniform(-50, 350)
        box = (x, y, x + 8.0, y + 3.0)
        free = room.is_free(box)
        if gap_to(box, 2.5) == 0.0:  # squares a half width apart leave notches between them
            assert not free
        if gap_to(box, 5.0) > 4.5:
            assert free
        seen.add(free)
    assert seen == {True, False}


def test_a_mesh_of_a_huge_radius_is_refused_before_it_is_made(monkeypatch):
    from converter.exporters.solids.bodies import TubeBody

    tube = bent(100.0, 1e9)
    body = TubeBody(tube, ROUND, metal(tube.run, ROUND), (0, 0, 0))
    with pytest.raises(WriteError, match=r"The mesh of tube 'T' has about [\d,]+ triangles, more than the 2,000,000"):
        mesh_out._check_fineness([body], mesh_out.CHORD, True)
    small = bent(100.0, 150.0)
    body = TubeBody(small, ROUND, metal(small.run, ROUND), (0, 0, 0))
    mesh_out._check_fineness([body] * 2000, mesh_out.CHORD, True)
    monkeypatch.setattr(mesh_out, "WRITTEN_TRIANGLES", 10_000)
    with pytest.raises(WriteError, match="--file-each"):
        mesh_out._check_fineness([body] * 2000, mesh_out.CHORD, True)
    mesh_out._check_fineness([body] * 2000, mesh_out.CHORD, False)


@pytest.mark.parametrize("section", [ROUND, Section("square", 40.0, 2.0, corner=4.0), Section("bar", 20.0, 1.0)])
def test_triangles_are_counted_before_they_are_made(section):
    made = metal(bent(100.0, 150.0).run, section)
    assert triangle_count(made, section) == pytest.approx(len(tube_mesh(made, section)[1]), rel=0.1)


# --- drawings -------------------------------------------------------------------------------


def dxf(path: Path, entities: str, blocks: str = "") -> Path:
    head = "  0\nSECTION\n  2\nHEADER\n  9\n$ACADVER\n  1\nAC1015\n  9\n$INSUNITS\n 70\n4\n  0\nENDSEC\n"
    head += f"  0\nSECTION\n  2\nBLOCKS\n{blocks}  0\nENDSEC\n" if blocks else ""
    path.write_text(f"{head}  0\nSECTION\n  2\nENTITIES\n{entities}  0\nENDSEC\n  0\nEOF\n")
    return path


def flood(path: Path, depth: int, content: str) -> Path:
    """Arrays of 32,767 by 32,767 of arrays of that size, ``depth`` deep."""
    grid = "  8\nT\n  2\n{}\n 10\n0\n 20\n0\n 70\n32767\n 71\n32767\n 44\n10\n 45\n10\n"
    blocks = ""
    for k in range(depth):
        inside = f"  0\nINSERT\n  5\n{k + 4096:X}\n" + grid.format(f"B{k - 1}") if k else content
        blocks += f"  0\nBLOCK\n  5\n{k + 8192:X}\n  8\n0\n  2\nB{k}\n 70\n0\n 10\n0\n 20\n0\n 30\n0\n{inside}"
        blocks += f"  0\nENDBLK\n  5\n{k + 12288:X}\n  8\n0\n"
    return dxf(path, "  0\nINSERT\n  5\nFFF\n" + grid.format(f"B{depth - 1}"), blocks)


LINE = "  0\nLINE\n  5\n1\n  8\nT\n 10\n0\n 20\n0\n 11\n9\n 21\n9\n"
TEXT = "  0\nTEXT\n  5\n1\n  8\nT\n 10\n0\n 20\n0\n 40\n1\n  1\nhi\n"


@pytest.mark.parametrize("depth", [1, 10])
def test_floods_of_block_references_are_counted_not_made(depth, tmp_path):
    path = flood(tmp_path / "flood.dxf", depth, LINE)
    assert (
        peak(lambda: refused(path, "more than 200,000 curves", "INSERT" if depth < 0 else "inserted by FFF")) < 30 * MB
    )


@pytest.mark.slow
@pytest.mark.parametrize("content", ["", TEXT])
def test_floods_of_nothing_are_not_walked_through(content, tmp_path, in_time):
    """Neither for the list of what was left out nor for its picture."""
    path = flood(tmp_path / "empty.dxf", 3, content)
    drawing = read(path, ReadOptions(keep_left_out=True))
    assert drawing.curves == []
    assert drawing.aside is not None
    counts = [one.count for one in drawing.ignored]
    assert counts == ([32767**6] if content else [])


def spline(path: Path, degree: int, points: int, fit: int = 0) -> Path:
    knots = "".join(f" 40\n{max(0, min(k - degree, points - degree))}\n" for k in range(points + degree + 1))
    at = "".join(f" 10\n{k}\n 20\n{k % 7}\n 30\n0\n" for k in range(points))
    through = "".join(f" 11\n{k}\n 21\n{k % 7}\n 31\n0\n" for k in range(fit))
    head = (
        "  0\nSPLINE\n  5\nAB\n100\nAcDbEntity\n  8\nT\n100\nAcDbSpline\n"
        f" 70\n8\n 71\n{degree}\n 72\n{points + degree + 1}\n 73\n{points}\n 74\n{fit}\n"
    )
    return dxf(path, head + (knots + at if points else "") + through)


@pytest.mark.parametrize(
    ("degree", "points", "fit", "words"),
    [
        (3, 20_001, 0, ("20,001 control points", "the 20,000")),
        (33, 40, 0, ("degree 33", "the 32")),
        (3, 0, 2_001, ("2,001 fit points", "the 2,000")),
    ],
)
def test_splines_beyond_reason_are_named(degree, points, fit, words, tmp_path):
    error = refused(spline(tmp_path / "s.dxf", degree, points, fit), *words, "SPLINE AB on layer 'T'")
    assert error.where == "SPLINE AB on layer 'T'"


def test_a_spline_that_turns_without_end_is_no_tube():
    """Samples are counted while they are made, not after."""
    rng = np.random.default_rng(1)
    points = rng.normal(size=(9000, 3)) * 100.0
    knots = np.concatenate((np.zeros(4), np.arange(1.0, 8997.0), np.full(4, 8997.0)))
    curve = Spline(3, points, knots, None, tuple(points[0].tolist()), tuple(points[-1].tolist()))
    drawing = Drawing("d.dxf", curves=[DrawnCurve(curve, "T", "2F")])
    with pytest.raises(TooLargeError, match=r"drawn by 2F on layer 'T' takes more than 1,000 bends"):
        reduce_drawing(drawing)


@pytest.mark.slow
@pytest.mark.parametrize("record", ["  0\nPOINT\n  8\n0\n", "0\nVERTEX\n10\n0\n"])
def test_drawings_of_too_many_records_are_refused_before_they_are_loaded(record, tmp_path):
    path = dxf(tmp_path / "many.dxf", record * 500_000)
    assert peak(lambda: refused(path, "entities, more than the 500,000", "split the drawing")) < 4 * path.stat().st_size


@pytest.mark.slow
def test_zeros_are_no_records(tmp_path):
    """A value of 0 looks like the group code of a record, but no name follows it."""
    path = dxf(tmp_path / "zeros.dxf", LINE + "  0\nXLINE\n  8\n0\n" + " 10\n0\n" * 1_000_000)
    assert path.stat().st_size > 7 * limits.DXF_RECORDS
    assert len(read(path).curves) == 1


@pytest.mark.slow
def test_polylines_of_too_many_vertices_are_refused_before_they_are_loaded(tmp_path):
    path = dxf(tmp_path / "long.dxf", "  0\nLWPOLYLINE\n  8\nT\n 90\n9\n" + "10\n1\n20\n2\n" * 2_000_001)
    assert peak(lambda: refused(path, "2,000,001 points, more than the 2,000,000")) < 4 * path.stat().st_size


def zigzag(count: int) -> Drawing:
    points = np.array([(50.0 * k, 30.0 * (k % 2), 0.0) for k in range(count)])
    return Drawing("d.dxf", curves=[DrawnCurve(Polyline(points), "MAP", "2F")])


def test_a_run_of_a_thousand_bends_is_read_one_of_more_is_no_tube():
    (only,), _ = reduce_drawing(zigzag(1002))
    assert len(only.table.bends) == 1000
    with pytest.raises(TooLargeError) as caught:
        reduce_drawing(zigzag(1003))
    assert caught.value.message == (
        "d.dxf: the tube drawn by 2F on layer 'MAP' takes more than 1,000 bends, and no tube has so many: leave it out "
        "with --skip-layer, or draw it as straights and arcs."
    )


def test_a_contour_line_of_very_many_vertices_is_given_up_early():
    """What no straight and arc chain of 1,000 bends follows is not followed to its end."""
    t = np.linspace(0.0, 3000.0, 60_000)
    points = np.column_stack((100.0 * t, 80.0 * np.sin(t) + 50.0 * np.sin(1.7 * t), 30.0 * np.cos(2.3 * t)))
    drawing = Drawing("d.dxf", curves=[DrawnCurve(Polyline(points), "MAP", "2F")])
    with pytest.raises(TooLargeError, match="more than 1,000 bends"):
        reduce_drawing(drawing)


def test_settling_a_long_chain_takes_no_square_of_its_length():
    """2,000 straights that miss each other by a hair: a dense matrix of them would be 400 MB."""
    pieces = []
    for k in range(2000):
        p, q = (50.0 * k, 30.0 * (k % 2), 1e-3), (50.0 * (k + 1), 30.0 * ((k + 1) % 2), 0.0)
        pieces.append(Straight(p, q, unit(sub(q, p)), np.array((p, q)), k))
    assert peak(lambda: settle(pieces, DEFAULT)) < 40 * MB


@pytest.mark.parametrize(("name", "what"), [("RUNS", "9 tubes"), ("CURVES", "9 curves")])
def test_drawings_of_too_many_runs_or_curves_are_refused(name, what, monkeypatch):
    lines = [DrawnCurve(Line((0.0, 9.0 * k, 0.0), (500.0, 9.0 * k, 0.0)), "T") for k in range(9)]
    assert len(reduce_drawing(Drawing("d.dxf", curves=lines))[0]) == 9
    monkeypatch.setattr(reduce_module, name, 8)
    with pytest.raises(TooLargeError, match=rf"d\.dxf has {what}, more than the 8 that are read: .*--skip-layer"):
        reduce_drawing(Drawing("d.dxf", curves=lines))


# --- tables ---------------------------------------------------------------------------------


def test_tables_of_too_many_rows_are_refused_before_they_are_cut_up(tmp_path):
    """Bend tables and points alike; a table may have 200,000 rows."""
    for head, row in (("x,y,z\n", "1,2,3\n"), ("feed,rotation,angle,clr\n", "1,0,90,9\n")):
        path = tmp_path / "t.csv"
        path.write_text(head + row * 200_000)
        refused(path, "200,001 rows, more than the 200,000")
        assert peak(lambda: read(tmp_path / "t.csv")) < 3 * path.stat().st_size


def test_a_row_without_end_is_refused(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("x,y,z\n" + "1," * 100_000)
    error = refused(path, "200,000 characters, more than the 100,000")
    assert error.where == "row 2"


def test_tables_of_too_many_bends_are_refused(tmp_path):
    for count in (1000, 1001):
        path = tmp_path / f"{count}.csv"
        rows = "".join(f"a,{k + 1},100,0,30,50\n" for k in range(count))
        path.write_text(f"tube,bend,feed_mm,rotation_deg,angle_deg,clr_mm\n{rows}a,tail,100,,,\n")
    assert len(reduce_drawing(read(tmp_path / "1000.csv"))[0][0].table.bends) == 1000
    refused(tmp_path / "1001.csv", "1,001 bends in tube 'a', more than the 1,000")


# --- meshes ---------------------------------------------------------------------------------


def gltf_of(faces: int = 12) -> dict:
    """The structure of a glTF with one mesh: a soup of triangles, its buffer not there."""
    return {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3 * faces, "type": "VEC3"}],
        "bufferViews": [{"buffer": 0, "byteLength": 36 * faces}],
        "buffers": [{"byteLength": 36 * faces}],
    }


def glb(path: Path, structure: dict) -> Path:
    size = structure["buffers"][0]["byteLength"]
    body = np.random.default_rng(1).normal(size=size // 4).astype("<f4").tobytes() if size < MB else b""
    text = json.dumps(structure).encode()
    text += b" " * (-len(text) % 4)
    total = 20 + len(text) + 8 + len(body)
    path.write_bytes(
        struct.pack("<4sIIII", b"glTF", 2, total, len(text), 0x4E4F534A) + text
        + struct.pack("<II", len(body), 0x004E4942) + body
    )  # fmt: skip
    return path


def changed(change) -> dict:
    structure = gltf_of()
    change(structure)
    return structure


GLB_BOMBS = {
    "count": (lambda s: s["accessors"][0].update(count=2**31), "accessor 0 announces 2,147,483,648 values"),
    "no buffer": (
        lambda s: s["accessors"].append({"componentType": 5126, "count": 2**31, "type": "MAT4"}),
        "values of",
    ),
    "sparse": (
        lambda s: s["accessors"].append({"componentType": 5126, "count": 2**30, "type": "SCALAR", "sparse": {}}),
        "values of 4 GB",
    ),
    "same view": (lambda s: s["accessors"].extend(s["accessors"] * 2_000_000), "values of"),
    "buffer": (lambda s: s["buffers"][0].update(byteLength=2**40), "announces 1099511627776 bytes and names no file"),
    "circle": (lambda s: s["nodes"][0].update(children=[0]), "part '0' contains itself"),
    "ladder": (
        lambda s: s["nodes"].extend({"children": [k + 2]} for k in range(99)),
        "parts within parts, 100 deep|parts within parts, 99 deep",
    ),
    "placed": (lambda s: s["nodes"].extend([{"mesh": 0}] * 20_000), "20,001 placed meshes"),
    "negative": (lambda s: s["accessors"][0].update(count=-5), "its structure cannot be followed"),
    "no list": (lambda s: s.update(nodes=3), "its structure cannot be followed"),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", GLB_BOMBS)
def test_gltf_that_announces_more_than_it_has_is_refused(name, tmp_path):
    """Before the library makes anything of that size; the soup alone is read."""
    change, words = GLB_BOMBS[name]
    if name == "same view":
        structure = gltf_of()
        structure["accessors"][0]["count"] = 36
        structure["accessors"] *= 30_000
        structure["bufferViews"][0]["byteLength"] = structure["buffers"][0]["byteLength"] = 36 * 12 * 50
        for one in structure["accessors"]:
            one["count"] = 36 * 50
    else:
        structure = changed(change)
    path = glb(tmp_path / "bomb.glb", structure)
    with pytest.raises(ReadError, match=words):
        read(path)
    assert peak(lambda: read(path)) < 60 * MB


def test_the_soup_the_bombs_are_made_of_is_sound(tmp_path):
    assert read(glb(tmp_path / "soup.glb", gltf_of())).ignored


@pytest.mark.parametrize(
    ("form", "properties", "words"),
    [
        ("ascii", "property float x\nproperty float y\nproperty float z\n", "announces 4,000,000,000 vertex"),
        ("binary_little_endian", "property float x\nproperty double y\n", "announces 4,000,000,000 vertex"),
        ("binary_big_endian", "property list uchar int vertex_indices\n", "announces 4,000,000,000 vertex"),
    ],
)
def test_ply_that_announces_more_than_it_has_is_refused(form, properties, words, tmp_path):
    path = tmp_path / "bomb.ply"
    path.write_bytes(
        f"ply\nformat {form} 1.0\nelement vertex 4000000000\n{properties}end_header\n".encode() + b"0 " * 99
    )
    refused(path, words, "is cut short")
    assert peak(lambda: read(path)) < 20 * MB


def test_binary_stl_counts_are_bounded(tmp_path, monkeypatch):
    path = tmp_path / "bomb.stl"
    path.write_bytes(b"\0" * 80 + struct.pack("<I", 2**32 - 1) + b"\0" * 500)
    refused(path, "announces 4294967295 triangles and holds 10")
    from converter.importers.mesh import bounds

    monkeypatch.setattr(bounds, "TRIANGLES", 9)
    path.write_bytes(b"\0" * 80 + struct.pack("<I", 10) + b"\0" * 500)
    refused(path, "10 triangles", "more than the 9")


SPACE = 'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"'
SOUP = (
    '<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="9" y="0" z="0"/><vertex x="0" y="9" z="0"/></vertices>'
    '<triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh>'
)


def model(objects: str, items: str = '<item objectid="1"/>', before: str = "") -> str:
    return f'<?xml version="1.0"?>{before}<model {SPACE}><resources>{objects}</resources><build>{items}</build></model>'


def package(path: Path, *contents: tuple[str, str | bytes], method: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", method) as out:
        for name, data in contents:
            out.writestr(name, data)
    return path


def three_mf(path: Path, text: str | bytes, **how) -> Path:
    return package(path, ("3D/3dmodel.model", text), **how)


def mesh_object(number: int) -> str:
    return f'<object id="{number}">{SOUP}</object>'


def built_of(number: int, *parts: int) -> str:
    inside = "".join(f'<component objectid="{part}"/>' for part in parts)
    return f'<object id="{number}"><components>{inside}</components></object>'


LAUGHS = "<!DOCTYPE a [<!ENTITY b 'ha'>" + "".join(
    f"<!ENTITY {chr(c)} '{f'&{chr(c - 1)};' * 10}'>" for c in range(99, 110)
) + "]>"  # fmt: skip
DOUBLED = mesh_object(1) + "".join(built_of(k, k - 1, k - 1) for k in range(2, 42))
LADDER = mesh_object(1) + "".join(built_of(k, k - 1) for k in range(2, 102))
MODELS = {
    "laughs": (model(mesh_object(1), before=LAUGHS), "declares a document type"),
    "wide laughs": (model(mesh_object(1), before=LAUGHS).encode("utf-16"), "declares a document type"),
    "doubled": (model(DOUBLED, '<item objectid="41"/>'), "1,099,511,627,776 placed meshes"),
    "circle": (model(built_of(1, 2) + built_of(2, 1)), "contains itself"),
    "ladder": (model(LADDER, '<item objectid="101"/>'), "parts within parts, 101 deep"),
    "items": (model(mesh_object(1), '<item objectid="1"/>' * 20_001), "20,001 placed meshes"),
    "packed": (model(mesh_object(1)) + " " * (17 * MB), "more than 200 times as much"),
}


@pytest.mark.parametrize("name", MODELS)
def test_3mf_bombs_are_refused(name, tmp_path):
    text, words = MODELS[name]
    path = three_mf(tmp_path / "bomb.3mf", text)
    refused(path, words)
    assert peak(lambda: read(path)) < 12 * MB


def restated(path: Path, sizes: int) -> Path:
    """The same package, whose lists say that everything in it unpacks to so many bytes."""
    data = bytearray(path.read_bytes())
    for mark, offset in ((b"PK\x01\x02", 24), (b"PK\x03\x04", 22)):
        at = data.find(mark)
        while at >= 0:
            data[at + offset : at + offset + 4] = struct.pack("<I", sizes)
            at = data.find(mark, at + 4)
    path.write_bytes(bytes(data))
    return path


def test_3mf_that_lies_about_its_sizes_is_unpacked_no_further_than_it_says(tmp_path):
    text = model(mesh_object(1)) + " " * (17 * MB)
    small = restated(three_mf(tmp_path / "small.3mf", text), 700)
    assert peak(lambda: read(small)) < 5 * MB
    refused(small)
    large = restated(three_mf(tmp_path / "large.3mf", model(mesh_object(1))), 2**31)
    refused(large, "2 GB in its package, more than the 512 MB")


def test_3mf_of_very_many_or_strangely_packed_files_is_refused(tmp_path):
    many = package(tmp_path / "many.3mf", ("3D/3dmodel.model", model(mesh_object(1))))
    many.write_bytes(many.read_bytes() + b"PK\x01\x02" * 10_000)
    refused(many, "10,001 files in its package")
    refused(three_mf(tmp_path / "bz.3mf", model(mesh_object(1)), method=zipfile.ZIP_BZIP2), "packed in a way")


def test_3mf_with_parts_in_other_files_of_the_package_is_no_circle(tmp_path):
    """Writers number the objects of every file from 1: the production extension names file and number."""
    part = model(mesh_object(1), "")
    main = model(
        '<object id="1"><components><component p:path="/3D/Objects/a.model" objectid="1" '
        'xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06"/></components></object>'
    )
    path = package(tmp_path / "parts.3mf", ("3D/3dmodel.model", main), ("3D/Objects/a.model", part))
    from converter.importers.mesh.bounds import check_models, check_package

    check_package(path.read_bytes(), "parts.3mf")
    check_models(path.read_bytes(), "parts.3mf")


# --- and what is no excess ------------------------------------------------------------------


def test_a_polyline_of_a_hundred_thousand_vertices_is_read():
    """Fifty bends, cut into short chords."""
    points, heading, at = [np.zeros((1, 3))], 0.0, np.zeros(3)
    for k in range(50):
        share = np.linspace(0.0, 1.0, 1001)[1:, None]
        ahead = np.array((math.cos(heading), math.sin(heading), 0.0))
        points.append(at + 200.0 * share * ahead)
        at = points[-1][-1]
        side = 1.0 if k % 2 else -1.0
        turn = heading + side * math.radians(75.0) * share
        center = at + 100.0 * side * np.array((-math.sin(heading), math.cos(heading), 0.0))
        points.append(center + 100.0 * side * np.column_stack((np.sin(turn), -np.cos(turn), 0.0 * turn)))
        at, heading = points[-1][-1], float(turn[-1, 0])
    drawn = np.concatenate(points)
    assert len(drawn) == 100_001
    (only,), _ = reduce_drawing(Drawing("d.dxf", curves=[DrawnCurve(Polyline(drawn), "T")]))
    assert [round(b.angle, 6) for b in only.table.bends] == [75.0] * 50


@pytest.mark.slow
def test_a_mesh_of_a_hundred_thousand_faces_is_read(tmp_path):
    from mesh_tools import saved, swept

    made = swept(bent(300.0, 150.0).run, ROUND, 0.002)
    assert len(made.faces) > 100_000
    (table,) = read(saved(made, tmp_path / "fine.stl")).tables
    assert table.table.bends[0].angle == pytest.approx(90.0, abs=0.01)


def test_every_limit_stands_in_the_documentation():
    """docs/commands.md, "How large a file may be": each number as it is."""
    page = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    section = page.split("## How large a file may be")[1].split("\n## ")[0]
    for name, value in vars(limits).items():
        if not name.isupper() or name in ("PACKAGE_FREE",):
            continue
        shown = limits.size_text(value) if name.endswith("_BYTES") else f"{value:,.6f}".rstrip("0").rstrip(".")
        if name in ("FARTHEST", "GREATEST_RADIUS", "LONGEST_RUN"):
            shown = f"{value / 1e6:,.0f} km"
        assert re.search(rf"(?<![\d,.]){re.escape(shown)}(?![\d,])", section), (name, shown)
