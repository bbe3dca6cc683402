"""IGES and BREP files that are damaged, hostile or something else: one sentence each."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from contextlib import nullcontext
from types import SimpleNamespace

import pytest
from command_line import failed, run
from iges_tools import arc, build, line
from places import FIXTURES

from converter.errors import ReadError
from converter.importers.iges import read as iges_read
from converter.importers.iges.read import read_iges
from converter.importers.registry import read

GOOD = build([line((0, 0, 0), (100, 0, 0)), arc((100, 50, 0), (100, 0), (150, 50))])


def refused(path, text) -> ReadError:
    path.write_bytes(text if isinstance(text, bytes) else text.encode("latin-1"))
    with pytest.raises(ReadError) as caught:
        read_iges(path)
    assert path.name in caught.value.message and caught.value.message.endswith(".")
    assert "\n" not in caught.value.message
    return caught.value


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("a letter about tubes\n" * 20, "not-iges"),
        (b"\x00\x01\x02" * 100, "not-iges"),
        (GOOD.replace("S      1", "C      1", 1), "foreign-format"),
        (GOOD[:81], "cut-short"),
        (GOOD[: GOOD.index("D      1")], "cut-short"),
        (GOOD[: GOOD.index("S      1G")], "cut-short"),
        (GOOD[:400] + "\x00\x07\xff" * 200, "cut-short"),
        (build([]), "no-geometry"),
        (build([(406, "1,4Hname", 0, False, "")]), "no-geometry"),
    ],
)
def test_one_sentence(tmp_path, text, code):
    assert refused(tmp_path / "x.igs", text).code == code


@pytest.mark.parametrize("at", range(1, 10))
def test_a_cut_anywhere_is_told(tmp_path, at):
    assert refused(tmp_path / "x.igs", GOOD[: len(GOOD) * at // 10]).code in ("cut-short", "not-iges")


#: A spline that says it has ten million control points.
LYING = build([line((0, 0, 0), (100, 0, 0)), (126, "9999999,3,0,0,1,0,0.,1.", 0, False, "")])


@pytest.mark.slow
def test_lying_counts_never_take_the_process_along(tmp_path):
    """In a process of its own, so that a crash would be seen: what is left with a warning, or a sentence."""
    path = tmp_path / "x.igs"
    path.write_text(LYING)
    code = (
        "import sys\nfrom converter.importers.iges.read import read_iges\nfrom converter.errors import ReadError\n"
        "try:\n    print([f.code for f in read_iges(sys.argv[1]).findings])\n"
        "except ReadError as error:\n    print(error.code)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() in ("['file-repaired']", "damaged-file", "no-geometry", "limit-memory", "limit-time")


def test_by_the_command_it_is_one_line(tmp_path, capsys):
    path = tmp_path / "x.igs"
    path.write_text(GOOD[:-90])
    assert "cut short" in failed(run(capsys, "table", path))


def test_too_large_is_refused_before_it_is_read(tmp_path):
    from converter.limits import STEP_BYTES

    path = tmp_path / "x.igs"
    with path.open("wb") as out:
        out.write(GOOD.encode())
        out.truncate(STEP_BYTES + 1)
    with pytest.raises(ReadError, match="large"):
        read(path)


@pytest.mark.slow
def test_damaged_brep_is_a_sentence(tmp_path, capfd):
    """The kernel prints of it, past its printers: none of that reaches the standard output."""
    whole = (FIXTURES / "brep" / "gmsh-wires.brep").read_bytes()
    data = whole.replace(b"\nCurves ", b"\nCurves 9999")
    (tmp_path / "x.brep").write_bytes(data)
    assert data != whole
    with pytest.raises(ReadError, match=r"x\.brep is damaged"):
        read(tmp_path / "x.brep")
    assert capfd.readouterr().out == ""


def test_loading_the_registry_loads_no_kernel():
    """So that help and a DXF cost nothing more for the formats that need it."""
    code = "import sys, converter.importers.registry\nprint(sorted(n for n in sys.modules if n.startswith('OCP')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


#: Reads a file, and is killed when the kernel has loaded it.
_KILLED = """
import os, signal, sys
from converter.kernel import iges
from converter.importers.iges.read import read_iges
whole = iges.load_iges
def load_iges(path, *given):
    assert path.read_bytes() and whole(path, *given).reader.NbRootsForTransfer() == 2
    os.kill(os.getpid(), signal.SIGKILL)
iges.load_iges = load_iges
read_iges(sys.argv[1])
"""


def test_a_reader_that_is_killed_leaves_no_copy_of_the_drawing(tmp_path):
    """The kernel reads IGES by a name only, and a crash in it ends the process there and then."""
    path, scratch = tmp_path / "x.igs", tmp_path / "scratch"
    path.write_text(GOOD)
    scratch.mkdir()
    words = [sys.executable, "-c", _KILLED, str(path)]
    ended = subprocess.run(words, env=os.environ | {"TMPDIR": str(scratch)}, capture_output=True, check=False)
    assert ended.returncode == -signal.SIGKILL, ended.stderr
    assert list(scratch.iterdir()) == []


def test_it_is_read_where_open_files_have_no_paths(tmp_path, monkeypatch):
    """As on Windows."""
    path = tmp_path / "x.igs"
    path.write_text(GOOD)
    monkeypatch.setattr(iges_read, "TemporaryFile", lambda: nullcontext(SimpleNamespace(fileno=lambda: 10**6)))
    assert len(read_iges(path).curves) == 2
