"""STEP files that are damaged, empty or something else: one sentence each, and the process survives."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from alone import alone
from command_line import one_sentence, run
from OCP.Interface import Interface_Static
from OCP.Message import Message
from step_tools import MM, based, build, hook, rows, runs_of

from converter.errors import ElbowroomError, ReadError
from converter.importers.registry import ReadOptions, read
from converter.importers.step import trial as step_trial
from converter.importers.step.read import read_step
from converter.kernel.step import tree as step_tree

GOOD = build(hook())


def refused(path: Path, text: str | bytes) -> ReadError:
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    with pytest.raises(ReadError) as caught:
        read_step(path)
    assert path.name in caught.value.message
    assert caught.value.message.endswith(".")
    assert "\n" not in caught.value.message
    return caught.value


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        (GOOD[: len(GOOD) // 2], "cut-short", "cut short: it stops in the middle of its data"),
        (GOOD[:90], "cut-short", "it stops in its header"),
        (GOOD[: GOOD.index("END-ISO")], "cut-short", "before END-ISO-10303-21"),
        ("just a letter about tubes\n", "not-step", "does not begin with ISO-10303-21"),
        ("<?xml version='1.0'?><uos/>", "foreign-format", "XML"),
        ("ISO-10303-21;\nEND-ISO-10303-21;\n", "damaged-file", "has no DATA section"),
        ("ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n", "no-geometry", "empty"),
        (build(["#200=CARTESIAN_POINT('',(0.,0.,0.));"], ""), None, ""),
        (b"\x00\x01\x02" * 100, "not-step", "not a STEP file"),
        (b"\xff\xfeI\x00S\x00O\x00\x00\xd8", "damaged-file", "UTF-16"),
    ],
)
def test_one_sentence(tmp_path, text, code, says):
    if code is None:  # a part without any curve: nothing is found, and that is told by the command
        (tmp_path / "x.step").write_text(text)
        drawing = read_step(tmp_path / "x.step")
        assert (drawing.curves, drawing.tables) == ([], [])
        return
    error = refused(tmp_path / "x.step", text)
    assert error.code == code
    assert says in error.message


@pytest.mark.parametrize("at", range(5, 100, 5))
def test_a_cut_anywhere_is_told(tmp_path, at):
    refused(tmp_path / "x.step", GOOD[: len(GOOD) * at // 100])


def test_utf16_and_padding_read(tmp_path):
    for data in (GOOD.encode("utf-16"), GOOD.encode() + b"\x00" * 512, GOOD.replace("\n", "\r\n").encode()):
        (tmp_path / "x.step").write_bytes(data)
        assert len(read_step(tmp_path / "x.step").curves) == 3


def test_no_such_file_and_directory(tmp_path):
    for path in (tmp_path / "none.step", tmp_path):
        with pytest.raises(ReadError):
            read_step(path)
    (tmp_path / "empty.step").touch()
    with pytest.raises(ReadError, match="empty"):
        read_step(tmp_path / "empty.step")


#: A direction that is text, and a reference to nothing: the kernel follows these into nothing and dies.
BROKEN = [
    GOOD.replace("#114=AXIS2_PLACEMENT_3D('',#111,#112,#113)", "#114=AXIS2_PLACEMENT_3D('',#999,#112,#113)"),
    GOOD.replace("#122=LINE('',#103,#121)", "#122=LINE('',#121,#103)"),
    GOOD.replace("#120=DIRECTION('',(0.,1.,0.))", "#120=DIRECTION('',('x',$,*))"),
    GOOD.replace("#115=CIRCLE('',#114,50.0)", "#115=CIRCLE('',#103,'wide')"),
]


@pytest.mark.usefixtures("forked_trials")
@pytest.mark.parametrize("text", BROKEN)
@alone
def test_broken_references_never_take_the_process_along(tmp_path, text):
    """In a fork, so that a crash would be seen: a warning, and what is left."""
    assert text != GOOD
    path = tmp_path / "x.step"
    path.write_text(text)
    assert [(f.code, f.severity) for f in read_step(path).findings] == [("file-repaired", "warning")]


@pytest.mark.slow
def test_nor_does_the_trial_that_loads_the_kernel_anew(tmp_path):
    """The same with the program's own child, in a process of its own."""
    path = tmp_path / "x.step"
    path.write_text(BROKEN[1])
    code = (
        "import sys\nfrom converter.importers.step.read import read_step\nfrom converter.errors import ReadError\n"
        "try:\n    print([f.code + f.severity for f in read_step(sys.argv[1]).findings])\n"
        "except ReadError as error:\n    print(error.message)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout == "['file-repairedwarning']\n"


@pytest.mark.slow
def test_a_crash_of_the_trial_is_a_sentence(tmp_path, monkeypatch):
    monkeypatch.setattr(step_trial, "_CHILD", "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
    error = refused(tmp_path / "x.step", BROKEN[1])
    assert error.code == "damaged-file"
    endless = "import resource; resource.setrlimit(resource.RLIMIT_CPU, (1, 9))\nwhile True: pass"
    monkeypatch.setattr(step_trial, "_CHILD", endless)
    error = refused(tmp_path / "x.step", BROKEN[1])
    assert (error.code, "takes too long" in error.message) == ("limit-time", True)
    monkeypatch.setattr(step_trial, "_CHILD", "raise SystemExit(3)")
    assert refused(tmp_path / "x.step", BROKEN[1]).code == "limit-memory"


def test_endless_numbers_are_named_not_followed(tmp_path):
    (tmp_path / "x.step").write_text(GOOD.replace("(PARAMETER_VALUE(80.0))", "(PARAMETER_VALUE(1.E30))"))
    drawing = read_step(tmp_path / "x.step")
    assert len(drawing.curves) == 2
    assert "entity-unread" in [f.code for f in drawing.findings]


def test_an_assembly_bomb_is_one_sentence(tmp_path, monkeypatch):
    from test_step_in_files import field

    monkeypatch.setattr(step_tree, "MOST_INSTANCES", 50)
    assert refused(tmp_path / "x.step", field(60, [])).code == "too-many-parts"


def test_mixed_units(tmp_path):
    """Two parts in two units: each is read as it says; one option cannot stand for both."""
    other = build(hook(scale=1 / 25.4), unit=based("INCH", 25.4, MM), name="inches")
    body = other[other.index("DATA;") + 5 : other.rindex("ENDSEC;")]
    body = re.sub(r"#(\d+)", lambda m: f"#{int(m[1]) + 1000}", body)
    path = tmp_path / "x.step"
    text = GOOD[: GOOD.rindex("ENDSEC;")] + body + "ENDSEC;\nEND-ISO-10303-21;\n"
    runs = runs_of(path, text)
    # they lie on one another, and stay two: a tube inside another is no copy of it
    assert [r.name for r in runs] == ["rail", "inches"]
    for run_ in runs:
        assert rows(run_) == pytest.approx([100.0, 0.0, 90.0, 50.0, 80.0], abs=1e-6)
    drawing = read_step(path)
    assert (drawing.units, drawing.read_as, drawing.findings) == (None, "mm", [])
    with pytest.raises(ElbowroomError, match="mm and in"):
        read_step(path, ReadOptions(units="in"))


@pytest.mark.usefixtures("forked_trials")
def test_settings_and_printers_are_put_back(tmp_path, capfd):
    keys = ("xstep.cascade.unit", "read.step.codepage", "read.step.product.mode")
    (tmp_path / "x.step").write_text(GOOD)
    read_step(tmp_path / "x.step")
    before = [Interface_Static.CVal_s(k) for k in keys], len(list(Message.DefaultMessenger_s().Printers()))
    assert Interface_Static.SetCVal_s("xstep.cascade.unit", "M")
    try:
        assert read_step(tmp_path / "x.step").curves[1].curve.radius == pytest.approx(50.0)
        assert Interface_Static.CVal_s("xstep.cascade.unit") == "M"
    finally:
        Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    refused(tmp_path / "y.step", build(hook(), name=None, group="GEOMETRIC_NOTHING"))
    assert ([Interface_Static.CVal_s(k) for k in keys], len(list(Message.DefaultMessenger_s().Printers()))) == before
    assert capfd.readouterr() == ("", "")


def test_the_command_says_what_is_wrong(tmp_path, capsys):
    path = tmp_path / "x.step"
    path.write_text(GOOD)
    assert "rail" in run(capsys, "table", path).out
    path.write_text(GOOD[:700])
    outcome = run(capsys, "table", path)
    assert outcome.status == 2
    assert "cut short" in one_sentence(outcome.err)


def test_by_content_not_by_name(tmp_path):
    (tmp_path / "x.dxf").write_text(GOOD)
    assert len(read(tmp_path / "x.dxf").curves) == 3
