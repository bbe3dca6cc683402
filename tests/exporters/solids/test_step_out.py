"""STEP files as another program finds them: names, colours, units, places, volumes, and a kernel left as it was."""

from __future__ import annotations

import re
from dataclasses import replace
from math import pi, radians

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jobs import job_of as job_of_tubes
from jobs import write_job
from kernel_probe import (
    corners,
    curves,
    greatest_tolerance,
    kernel_length,
    kernel_volume,
    parts,
    read_step,
    surfaces,
    valid,
)
from OCP.Interface import Interface_Static
from OCP.Message import Message
from step_tools import step_bytes
from strategies import placements, tables
from tubes import SQUARE, TUBE, run_of, tube_of

from converter.errors import GeometryError, OptionError, WriteError
from converter.job import Job
from converter.kernel.shapes.solids import centerline_wire, tube_solid
from converter.kernel.step import write as kernel_step
from converter.kernel.step.write import StepItem, step_text
from converter.model.bends import Placement
from converter.model.curve import Arc
from converter.model.metal import metal_findings
from converter.model.run import Run
from converter.model.section import Section

ROWS = [(100.0, 0.0, 90.0, 114.3), (80.0, 90.0, 45.0, 114.3)]
LENGTH = 180.0 + 60.0 + 114.3 * radians(135.0)
NASTY = [
    "plain", "Ünï-☃ ≠ ß", "it's \"quoted\"", "=1+1 @x", "../up/and\\down", "長" * 200, "bike 🚲 𝔘",
    "a" * 200, "Δ\\X2\\00DC\\X0\\'",
]  # fmt: skip


def job_of(names, sections=(TUBE,), **more) -> Job:
    """One tube per name, 400 mm apart, the sections in turn."""
    tubes = tuple(
        tube_of(run_of(ROWS, 60.0, Placement((0.0, 400.0 * i, 25.0)), name=name), sections[i % len(sections)])
        for i, name in enumerate(names)
    )
    return job_of_tubes(tubes, "dock.dxf", **more)


def solid_findings(*tubes):
    return metal_findings(tubes, lambda: job_of_tubes(tubes).bodies)


def decoded(text: str) -> str:
    """A string of a STEP file as ISO 10303-21 (6.4.3) reads it: written from the standard, not from our encoder."""
    out, i = "", 0
    while i < len(text):
        if text.startswith("''", i):
            out, i = out + "'", i + 2
        elif text.startswith("\\\\", i):
            out, i = out + "\\", i + 2
        elif match := re.match(r"\\X2\\((?:[0-9A-F]{4})+)\\X0\\", text[i:]):
            out, i = out + bytes.fromhex(match[1]).decode("utf-16-be"), i + len(match[0])
        elif match := re.match(r"\\X4\\((?:[0-9A-F]{8})+)\\X0\\", text[i:]):
            out, i = out + bytes.fromhex(match[1]).decode("utf-32-be"), i + len(match[0])
        else:
            assert text[i] not in "\\'" and " " <= text[i] <= "~", f"{text[i]!r} may not stand in a STEP string"
            out, i = out + text[i], i + 1
    return out


@given(st.text(max_size=60))
def test_any_text_is_a_legal_step_string_and_comes_back(text):
    """All but control characters (spaces then) and lone surrogates ('?')."""
    shown = "".join(" " if ord(c) < 32 or 127 <= ord(c) < 160 or c in "\u2028\u2029" else c for c in text)
    assert decoded(step_text(text)) == shown.encode("utf-8", "replace").decode()


def test_step_strings_by_hand():
    """Values worked out from ISO 10303-21: U+00FC, U+9577, U+1F6B2."""
    assert step_text("Rohr") == "Rohr"
    assert step_text("it's a\\b") == "it''s a\\\\b"
    assert step_text("Tür") == "T\\X2\\00FC\\X0\\r"
    assert step_text("長🚲") == "\\X2\\9577\\X0\\\\X4\\0001F6B2\\X0\\"
    assert step_text("a\tb\x00\x7f\x9f") == "a b   "


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_solids_read_back_in_place(tmp_path, unit):
    """Whatever the unit, the reader (which works in mm) finds the same metal where it was drawn."""
    job = job_of(["left", "right"], (TUBE, SQUARE))
    data = step_bytes([StepItem(t.name, tube_solid(t.run, t.section)) for t in job.tubes], unit=unit, title="dock")
    path = tmp_path / "x.step"
    path.write_bytes(data)
    file = read_step(path)
    assert file.assembly == "dock"
    assert [p.name for p in file.products] == ["left", "right"]
    for product, tube, area in zip(
        file.products, job.tubes, (pi / 4.0 * (44.45**2 - 38.354**2), tube_area(SQUARE)), strict=True
    ):
        assert valid(product.shape)
        assert len(parts(product.shape, "solid")) == 1
        assert greatest_tolerance(product.shape) <= 1e-6
        assert kernel_volume(product.shape) == pytest.approx(area * LENGTH, rel=1e-9)
        ours = tube_solid(tube.run, tube.section)
        assert corners(product.shape) == corners(ours)
        assert surfaces(product.shape) == surfaces(ours)
    assert b"AUTOMOTIVE_DESIGN" in data


def tube_area(section: Section) -> float:
    w, t, r = section.od, section.wall, section.corner
    return 4.0 * t * (w - t) - (4.0 - pi) * (r * r - (r - t) ** 2)


def test_an_inch_file_says_inch_and_its_numbers_are_inches():
    """114.3 mm is 4.5 in and 22.225 mm 0.875 in: both must stand in the torus, beside a unit of 25.4 mm."""
    item = StepItem("t", tube_solid(run_of(ROWS, 60.0), TUBE))
    torus = r"TOROIDAL_SURFACE\('',#\d+,([\d.]+),([\d.]+)\)"
    flat = re.sub(r"\s+", "", step_bytes([item], unit="in", title="t", assembly=False).decode("ascii"))
    assert set(re.findall(torus, flat)) == {
        ("4.5", "0.875"),
        ("4.5", "0.755"),
    }
    assert "CONVERSION_BASED_UNIT('INCH'" in flat
    assert "LENGTH_MEASURE_WITH_UNIT(25.4," in flat
    flat = re.sub(r"\s+", "", step_bytes([item], unit="mm", title="t", assembly=False).decode("ascii"))
    assert set(re.findall(torus, flat)) == {
        ("114.3", "22.225"),
        ("114.3", "19.177"),
    }
    assert "INCH" not in flat
    assert "LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.)" in flat


def test_names_survive(tmp_path):
    """Every name comes back as it was, in the assembly and in a file of its own; equal tubes share one product,
    but for a name without any ASCII, which the kernel reads only of a product."""
    write_job(job_of(NASTY), tmp_path, ["step", "wires"])
    for name, products in (("dock.step", ["plain", "長" * 200]), ("dock-centerlines.step", NASTY)):
        data = (tmp_path / name).read_bytes()
        assert data.isascii()
        assert [p.name for p in read_step(tmp_path / name).products] == NASTY
        found = re.findall(r"= PRODUCT\('((?:[^']|'')*)'", data.decode("ascii"))
        assert [decoded(text) for text in found] == ["dock", *products]
    paths = write_job(job_of(NASTY), tmp_path / "each", ["step", "wires"], one_file=False)
    assert len(paths) == len(set(paths)) == 2 * len(NASTY)
    singles = [read_step(p) for p in paths]
    assert [s.products[0].name for s in singles] == NASTY * 2
    assert {s.assembly for s in singles} == {None}


def test_control_characters_leave_a_recognisable_name(tmp_path):
    write_job(job_of(["a\nb\x00c\x1bd"]), tmp_path, ["step"])
    assert read_step(tmp_path / "dock.step").products[0].name == "a b c d"


def test_one_tube_is_a_part_and_not_an_assembly_of_one(tmp_path):
    """Some readers name a lone part after its assembly."""
    write_job(job_of(["rail"]), tmp_path, ["step"])
    file = read_step(tmp_path / "dock.step")
    assert file.assembly is None
    assert [p.name for p in file.products] == ["rail"]


def test_same_section_same_colour(tmp_path):
    """Three sections of six tubes: three colours, the same in another job and in files of their own."""
    third = Section("bar", 20.0, 10.0)
    write_job(job_of("abcdef", (TUBE, SQUARE, third)), tmp_path, ["step"])
    colors = [p.color for p in read_step(tmp_path / "dock.step").products]
    assert None not in colors
    assert colors[:3] == colors[3:]
    assert len(set(colors)) == 3
    write_job(job_of("ab", (third, TUBE)), tmp_path / "two", ["step"], one_file=False)
    assert read_step(tmp_path / "two" / "dock-b.step").products[0].color == pytest.approx(colors[0], abs=1e-6)


def test_a_tube_that_cannot_be_is_left_out_and_said(tmp_path):
    """The others are still written; when none is left, one sentence and no file."""
    tight = tube_of(run_of([(50.0, 0.0, 90.0, 20.0)], 50.0, name="tight"), TUBE)
    bare = tube_of(run_of(ROWS, 60.0, name="bare"), None)
    job = job_of(["good"])
    write_job(job_of_tubes((tight, *job.tubes, bare), "dock.dxf"), tmp_path, ["step"])
    assert [p.name for p in read_step(tmp_path / "dock.step").products] == ["good"]
    found = solid_findings(tight)
    assert [f.code for f in found] == ["no-solid"]
    assert "bend 1" in found[0].message and found[0].tube == "tight"
    assert [(f.code, f.tube) for f in solid_findings(tight, bare, *job.tubes)] == [("no-solid", "tight")]
    for tubes, words in (((tight,), "bend 1"), ((bare,), "--section")):
        with pytest.raises(WriteError, match=words):
            write_job(job_of_tubes(tubes), tmp_path / "none", ["step"])
    assert not (tmp_path / "none").exists()


def test_a_mitred_corner_is_written(tmp_path):
    tube = tube_of(run_of([(100.0, 0.0, 90.0, None)], 100.0, name="kink"), TUBE)
    write_job(job_of_tubes((tube,), "k.dxf"), tmp_path, ["step"])
    product = read_step(tmp_path / "k.step").products[0]
    assert valid(product.shape)
    # the reader makes its own curves for the ellipse on the cylinder, to about 1e-6
    assert kernel_volume(product.shape) == pytest.approx(pi / 4.0 * (44.45**2 - 38.354**2) * 200.0, rel=1e-6)
    assert solid_findings(tube) == [], "the audit calls it an error"


def test_closed_rings_read_back(tmp_path):
    run = run_of([(100.0, 0.0, 180.0, 120.0), (200.0, 0.0, 180.0, 120.0)], 100.0, closed=True, name="ring")
    write_job(job_of_tubes((tube_of(run, TUBE), tube_of(run, SQUARE)), "r.dxf"), tmp_path, ["step"])
    for product, area in zip(
        read_step(tmp_path / "r.step").products, (pi / 4.0 * (44.45**2 - 38.354**2), tube_area(SQUARE)), strict=True
    ):
        assert valid(product.shape)
        assert len(parts(product.shape, "shell")) == 2
        assert kernel_volume(product.shape) == pytest.approx(area * (400.0 + 240.0 * pi), rel=1e-9)


SETTINGS = ("write.step.unit", "xstep.cascade.unit")
NUMBERS = ("write.step.schema", "write.step.assembly", "write.surfacecurve.mode", "write.precision.mode")


def kernel_settings():
    return [Interface_Static.CVal_s(k) for k in SETTINGS] + [Interface_Static.IVal_s(k) for k in NUMBERS]


def test_the_kernel_is_left_as_it_was(monkeypatch):
    """Settings of another program in the same process stay, after success and after failure; so do its printers."""
    item = StepItem("t", tube_solid(run_of(ROWS, 60.0), TUBE))
    step_bytes([item])
    before = kernel_settings()
    odd = dict(zip((*SETTINGS, *NUMBERS), ("M", "CM", 3, 2, 1, 1), strict=True))
    try:
        for key, value in odd.items():
            assert (Interface_Static.SetCVal_s if isinstance(value, str) else Interface_Static.SetIVal_s)(key, value)
        printers = len(list(Message.DefaultMessenger_s().Printers()))
        assert printers > 0
        plain = step_bytes([item], unit="in")
        assert kernel_settings() == list(odd.values())

        def broken(*_):
            raise WriteError("no room")

        monkeypatch.setattr(kernel_step, "_step_file", broken)
        with pytest.raises(WriteError, match="no room"):
            step_bytes([item])
        assert kernel_settings() == list(odd.values())
        assert len(list(Message.DefaultMessenger_s().Printers())) == printers
    finally:
        for key, value in zip((*SETTINGS, *NUMBERS), before, strict=True):
            (Interface_Static.SetCVal_s if isinstance(value, str) else Interface_Static.SetIVal_s)(key, value)
    monkeypatch.undo()
    again = step_bytes([item], unit="in")
    assert again == plain, "the file depends on what others set"


def test_occurrences_are_numbered_from_one_in_every_file(tmp_path):
    """The kernel counts them through the life of the process."""
    for folder in ("one", "two"):
        write_job(job_of("abc"), tmp_path / folder, ["step"])
        text = (tmp_path / folder / "dock.step").read_text(encoding="ascii")
        assert re.findall(r"NEXT_ASSEMBLY_USAGE_OCCURRENCE\('([^']*)','([^']*)'", text) == [
            ("1", "a"),
            ("2", "b"),
            ("3", "c"),
        ]


def test_the_same_products_give_the_same_bytes_however_many_files_came_before():
    """The kernel breaks a line by the length of a number that it counts up; forty of these pass both 9 and 99."""
    shape = tube_solid(run_of([], 100.0), TUBE)
    items = [StepItem(name, shape, (0.2, 0.4, 0.6)) for name in ("short", "t" * 60, "o" * 30)]
    assert len({step_bytes(items, title="t") for _ in range(40)}) == 1


def test_colours_are_written_in_the_order_of_the_products():
    """The kernel would write them in the order of the shapes' addresses, another one in every process."""
    shades = [(0.05 * i, 0.5, 0.5) for i in range(12)]
    items = [
        StepItem(f"n{i}", tube_solid(run_of([], 100.0 + i), TUBE), shade if i != 7 else None)
        for i, shade in enumerate(shades)
    ]
    text = re.sub(r"\s+", "", step_bytes(items, title="t").decode("ascii"))
    written = [float(red) for red in re.findall(r"COLOUR_RGB\('',([^,]*),", text)]
    assert written == pytest.approx([shade[0] for i, shade in enumerate(shades) if i != 7], abs=1e-6)
    solids = [int(number) for number in re.findall(r"STYLED_ITEM\('color',\(#\d+\),#(\d+)\)", text)]
    breps = [int(number) for number in re.findall(r"#(\d+)=MANIFOLD_SOLID_BREP", text)]
    assert solids == sorted(breps[:7] + breps[8:])


def test_not_a_word_from_the_kernel(tmp_path, capfd):
    write_job(job_of("ab"), tmp_path, ["step", "wires"])
    assert capfd.readouterr() == ("", "")


def test_a_failing_kernel_is_one_sentence_and_no_file(tmp_path, monkeypatch):
    """Every status is looked at."""
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Writer

    monkeypatch.setattr(STEPCAFControl_Writer, "WriteStream", lambda *_: IFSelect_ReturnStatus.IFSelect_RetFail)
    with pytest.raises(WriteError, match="could not write"):
        write_job(job_of("a"), tmp_path / "x", ["wires"])
    monkeypatch.setattr(STEPCAFControl_Writer, "WriteStream", lambda *_: IFSelect_ReturnStatus.IFSelect_RetDone)
    with pytest.raises(WriteError, match="without an end"):
        write_job(job_of("a"), tmp_path / "x", ["wires"])
    monkeypatch.setattr(STEPCAFControl_Writer, "Transfer", lambda *_: False)
    with pytest.raises(WriteError, match="could not turn"):
        write_job(job_of("a"), tmp_path / "x", ["wires"])
    assert not (tmp_path / "x").exists()


def test_bad_options():
    with pytest.raises(OptionError, match="mm or in"):
        step_bytes([StepItem("t", None)], unit="cm")
    with pytest.raises(WriteError, match="nothing"):
        step_bytes([])


# --- centerlines ---------------------------------------------------------------------------


def assert_same_curves(shape, run: Run, far: float) -> None:
    """Line for line and circle for circle, in order and in sense, within what 12 decimals leave."""
    found = curves(shape)
    assert len(found) == len(run.centerline)
    for curve, part in zip(found, run.centerline, strict=True):
        ends = [curve.Value(x) for x in (curve.FirstParameter(), curve.LastParameter())]
        for point, wanted in zip(ends, (part.start, part.end), strict=True):
            assert (point.X(), point.Y(), point.Z()) == pytest.approx(wanted, abs=far)
        if isinstance(part, Arc):
            assert curve.GetType().name == "GeomAbs_Circle"
            circle = curve.Circle()
            axis, middle = circle.Axis().Direction(), circle.Location()
            assert circle.Radius() == pytest.approx(part.radius, abs=1e-9)
            assert (middle.X(), middle.Y(), middle.Z()) == pytest.approx(part.center, abs=far)
            assert (axis.X(), axis.Y(), axis.Z()) == pytest.approx(part.normal, abs=1e-9)
            assert curve.LastParameter() - curve.FirstParameter() == pytest.approx(radians(part.angle), abs=1e-9)
        else:
            assert curve.GetType().name == "GeomAbs_Line"


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
@given(tables(), placements(), st.sampled_from(["mm", "in"]))
def test_random_centerlines_round_trip(tmp_path, table, placement, unit):
    """Up to 30 bends, also of more than 180 degrees and without straights between."""
    run = Run("random", None, False, table, placement)
    path = tmp_path / "w.step"
    path.write_bytes(step_bytes([StepItem("random", centerline_wire(run))], unit=unit, title="w", assembly=False))
    products = read_step(path).products
    assert [p.name for p in products] == ["random"]
    assert kernel_length(products[0].shape) == pytest.approx(table.developed_length, abs=1e-6)
    assert_same_curves(products[0].shape, run, far=1e-7)


def test_wires_need_no_section_and_stay_apart(tmp_path):
    job = job_of(["a", "b", "c"], (None,))
    write_job(job, tmp_path, ["wires"])
    file = read_step(tmp_path / "dock-centerlines.step")
    assert file.assembly == "dock"
    for product, tube in zip(file.products, job.tubes, strict=True):
        assert product.name == tube.name
        assert_same_curves(product.shape, tube.run, far=1e-9)


def test_a_closed_wire_closes():
    run = run_of([(100.0, 0.0, 180.0, 120.0), (200.0, 0.0, 180.0, 120.0)], 100.0, closed=True)
    wire = centerline_wire(run)
    assert wire.Closed()
    assert valid(wire)
    assert not centerline_wire(replace(run, closed=False)).Closed()
    with pytest.raises(GeometryError, match="no centerline"):
        centerline_wire(run_of([], 0.0))


def test_formats_without_bodies_do_not_stop_the_others(tmp_path):
    """Tubes without a section: the bend table is written, STEP is not; with STEP alone it is an error."""
    job = job_of(["a"], (None,))
    paths = write_job(job, tmp_path, ["csv", "step", "glb"])
    assert [p.suffix for p in paths] == [".csv"]
    with pytest.raises(WriteError, match="--section"):
        write_job(job, tmp_path / "y", ["step", "glb"])
    assert "section-unknown" in {f.code for f in job.findings}


def test_text_written_part_by_part_is_the_same(monkeypatch):
    import converter.kernel.step.write as writing

    items = [StepItem(f"tube {k}", tube_solid(run_of(ROWS, 60.0 + k), TUBE), (0.2, 0.4, 0.6)) for k in range(3)]
    whole = step_bytes(items, title="dock")
    monkeypatch.setattr(writing, "_PART", 400)
    assert step_bytes(items, title="dock") == whole
