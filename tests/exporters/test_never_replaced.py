"""No file that a command read is ever written over, by whatever name or link it is reached, with --force or not."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh
from command_line import Outcome, failed, hook, run

from converter import Settings, open_job, write
from converter.demo.boathouse import JOB_TEXT
from converter.disk import reading
from converter.disk.reading import FileRead, files_read, open_to_read, recorded
from converter.errors import WriteError
from converter.exporters.files import OutputSet
from converter.exporters.pictures.files import write_picture
from converter.job import NoRunsError
from converter.shop.load import demo_text


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder, with a drawing in it."""
    monkeypatch.chdir(tmp_path)
    hook(Path("part.dxf"))
    return tmp_path


def refused(outcome: Outcome, kept: Path, content: bytes) -> None:
    """It said so, and the file is what it was."""
    assert "was read for this and is never replaced" in failed(outcome)
    assert kept.read_bytes() == content
    assert not [name for name in os.listdir(kept.parent) if name.startswith(".elbowroom")]


#: A command, the files it would write first or last, and the option that reads a file of such a name.
COMMANDS = [
    (["convert", "part.dxf", "--to", "csv,json", "--out", "."], "part.csv"),
    (["convert", "part.dxf", "--to", "csv,json", "--out", "."], "part.json"),
    (["sheet", "part.dxf", "--to", "html", "--section", "25x2mm", "--out", "."], "part-sheet.html"),
    (["table", "part.dxf", "--picture", "seen.svg"], "seen.svg"),
    (["audit", "part.dxf", "--picture", "seen.svg"], "seen.svg"),
]


@pytest.mark.parametrize(("words", "name"), COMMANDS)
@pytest.mark.parametrize("option", ["--shop", "--job"])
def test_a_shop_or_job_file_in_the_place_of_an_output(here, capsys, words, name, option):
    content = demo_text() if option == "--shop" else JOB_TEXT
    Path(name).write_text(content)
    refused(run(capsys, *words, option, name, "--force"), here / name, content.encode())


def test_a_job_file_in_the_place_of_templates(here, capsys):
    assert run(capsys, "demo", "--out", "d", "--to", "csv").status == 0
    shutil.copy("d/job.toml", "boathouse-copes.dxf")
    words = ["cope", "d/boathouse.dxf", "--shop", "d/shop.toml", "--job", "boathouse-copes.dxf", "--out", "."]
    before = Path("boathouse-copes.dxf").read_bytes()
    refused(run(capsys, *words, "--to", "cope-dxf", "--force"), here / "boathouse-copes.dxf", before)


@pytest.mark.parametrize("link", ["symbolic", "hard", "folder", "spelling", "case"])
def test_by_another_name(here, capsys, monkeypatch, link):
    """The shop file is named by one path and would be written over by another."""
    Path("kept").mkdir()
    shop = here / "kept" / "shop.toml"
    shop.write_text(demo_text())
    out, named = Path("out"), shop
    if link in ("symbolic", "hard"):
        out.mkdir()
        (os.symlink if link == "symbolic" else os.link)(shop, "out/part.csv")
    elif link == "folder":
        named = shop = shop.rename("kept/part.csv")
        out.symlink_to("kept")
    elif link == "spelling":
        named, out = Path("kept/../kept/./part.csv"), here / "kept"
        shop.rename("kept/part.csv")
        shop = here / "kept" / "part.csv"
    else:  # a file system that folds case gives one file for both names, as a link does
        shop = shop.rename("kept/PART.CSV")
        os.link(shop, "kept/part.csv")
        named, out = shop, Path("kept")
    words = ["convert", "part.dxf", "--to", "csv", "--shop", named, "--out", out, "--force"]
    refused(run(capsys, *words), here / shop, demo_text().encode())


def test_a_drawing_that_comes_by_a_redirection(here):
    """`< drawing.csv`: no name is given, and it is the file all the same."""
    hook(Path("drawing.dxf"))
    assert subprocess.run([sys.executable, "-m", "converter", "convert", "drawing.dxf", "--to", "csv", "--out", "."],
                          capture_output=True, check=False).returncode in (0, 1)  # fmt: skip
    before = Path("drawing.csv").read_bytes()
    with open("drawing.csv", "rb") as stream:
        words = ["convert", "-", "--to", "csv", "--out", ".", "--force"]
        done = subprocess.run(
            [sys.executable, "-m", "converter", *words], stdin=stream, capture_output=True, check=False
        )
    assert done.returncode == 2 and b"never replaced" in done.stderr
    assert Path("drawing.csv").read_bytes() == before


def test_a_buffer_of_a_gltf_file(here, capsys):
    assert run(capsys, "convert", "part.dxf", "--to", "glb", "--section", "25x2mm", "--out", ".").status in (0, 1)
    parts = trimesh.load("part.glb").export(file_type="gltf")
    [model] = [name for name in parts if name.endswith(".gltf")]
    buffers = [name for name in parts if name.endswith(".bin")]
    text = parts[model].decode().replace(buffers[0], "part.csv")
    Path("part.gltf").write_text(text)
    for name in buffers:
        Path("part.csv" if name == buffers[0] else name).write_bytes(parts[name])
    before = Path("part.csv").read_bytes()
    assert run(capsys, "table", "part.gltf").status in (0, 1)
    words = ["convert", "part.gltf", "--to", "csv", "--out", ".", "--force"]
    refused(run(capsys, *words), here / "part.csv", before)


def test_a_gltf_file_names_nothing_outside_its_folder(here, capsys):
    Path("below").mkdir()
    document = {
        "asset": {"version": "2.0"},
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "buffers": [{"uri": "../secret.bin", "byteLength": 36}],
        "bufferViews": [{"buffer": 0, "byteLength": 36}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}],
    }
    Path("secret.bin").write_bytes(bytes(36))
    Path("below/part.gltf").write_text(json.dumps(document))
    assert "secret.bin" in failed(run(capsys, "table", "below/part.gltf"))


def test_what_was_not_read_is_replaced(here, capsys):
    """The same names, from another folder: nothing is refused that is not an input."""
    Path("in").mkdir()
    Path("in/part.csv").write_text(demo_text())
    words = ["convert", "part.dxf", "--to", "csv", "--shop", "in/part.csv", "--out", "."]
    assert run(capsys, *words).status in (0, 1)
    Path("part.csv").write_text("old")
    assert run(capsys, *words, "--force").status in (0, 1)
    assert Path("part.csv").read_text() != "old"
    # and one command knows nothing of what another read
    assert run(capsys, "table", "part.csv").status == 0
    assert run(capsys, *words, "--force").status in (0, 1)
    assert run(capsys, "shop", "check", "in/part.csv").status == 0
    assert run(capsys, "shop", "new", "in/part.csv", "--force").status == 0


def test_demo_writes_over_its_own(here, capsys):
    for _ in range(2):
        assert run(capsys, "demo", "--out", "d", "--to", "csv", "--force").status == 0


def test_for_programs_too(here):
    """A result knows what was read for it; what another result was read from is free."""
    Path("shop.toml").write_text(demo_text())
    os.link("shop.toml", "part.csv")
    result = open_job("part.dxf", Settings(shop="shop.toml"))
    assert {Path(file.path).name for file in result.inputs} == {"part.dxf", "shop.toml"}
    with pytest.raises(WriteError, match="never replaced"):
        write([result], ".", ["csv"], force=True)
    assert Path("part.csv").read_text() == demo_text()
    other = open_job("part.dxf")
    write([other], ".", ["csv"], force=True)
    assert Path("part.csv").read_text() != demo_text() == Path("shop.toml").read_text()
    open_job("part.csv")
    write([other], ".", ["csv"], force=True)


def test_of_a_drawing_without_runs_too(here):
    Path("empty.csv").write_text("x,y,z\n")
    import ezdxf

    ezdxf.new().saveas("empty.dxf")
    os.link("empty.dxf", "seen.svg")
    with pytest.raises(NoRunsError) as caught:
        open_job("empty.dxf")
    before = Path("seen.svg").read_bytes()
    with pytest.raises(WriteError, match="never replaced"):
        write_picture(caught.value.job, "seen.svg", force=True)
    assert Path("seen.svg").read_bytes() == before


# --- what is noted ------------------------------------------------------------------------------------


def test_a_number_that_another_file_got_is_no_match(tmp_path):
    """A removed file's number may go to a new file: that one was not read."""
    source, target = tmp_path / "in", tmp_path / "out"
    source.write_text("input")
    file = FileRead.of(source)
    os.link(source, target)
    assert file.is_at(source) and file.is_at(target)
    source.unlink()
    assert file.is_at(target), "moved there, it is the file that was read"
    target.write_text("something else")
    os.utime(target, ns=(1, 1))
    assert target.stat().st_ino == file.inode and not file.is_at(target)


def test_a_file_that_was_replaced_after_it_was_read(tmp_path):
    source = tmp_path / "in"
    source.write_text("input")
    with recorded():
        open_to_read(source).close()
        (tmp_path / "new").write_text("changed meanwhile")
        os.replace(tmp_path / "new", source)
        with pytest.raises(WriteError, match="never replaced"):
            OutputSet(tmp_path, force=True).path("in")


def test_what_is_noted_within_is_noted_around(tmp_path):
    for name in "ab":
        (tmp_path / name).write_text(name)
    assert files_read() == ()
    with recorded():
        open_to_read(tmp_path / "a").close()
        with recorded():
            open_to_read(tmp_path / "b").close()
            assert [Path(file.path).name for file in files_read()] == ["b"]
        assert [Path(file.path).name for file in files_read()] == ["a", "b"]
    assert files_read() == ()


WATCHED = """
import os, sys
folder, seen, past = os.getcwd() + os.sep, set(), set()
def watch(event, given):
    if event != "open" or not isinstance(given[0], (str, bytes)):
        return
    path, mode, flags = given
    path = os.path.abspath(os.fsdecode(path))
    if not path.startswith(folder) or not os.path.isfile(path) or flags & (os.O_WRONLY | os.O_RDWR):
        return
    frame = sys._getframe(1)
    while frame is not None and os.sep.join(("converter", "disk")) not in frame.f_code.co_filename:
        frame = frame.f_back
    if "elbowroom-" not in path:
        (past if frame is None else seen).add(os.path.relpath(path, folder))
sys.addaudithook(watch)
from converter.cli.main import main
statuses = [main(words.split()) for words in sys.argv[1:]]
print("\\nWATCHED", statuses, sorted(past), sorted(seen))
"""


@pytest.mark.slow
def test_every_file_that_a_command_opens_comes_through_the_door(here, capsys):
    """Whatever opens a file to read it, a library too: the interpreter tells of each."""
    Path("shop.toml").write_text(demo_text())
    Path("job.toml").write_text(JOB_TEXT)
    given = "--shop shop.toml --job job.toml --section 25x2mm"
    commands = [
        f"convert part.dxf {given} --to csv,json,dxf,stl,3mf,svg,as-read,sheet-pdf --out a",
        f"cope part.dxf {given}",
        f"setup part.dxf {given} --quiet",
        "table a/part.csv --picture a/seen.svg",
        "table a/part.json",
        "audit a/part.stl",
        "audit a/part.3mf",
        "springback shop.toml --die R1500 --record 93:90",
        "shop check shop.toml",
    ]
    done = subprocess.run([sys.executable, "-c", WATCHED, *commands], capture_output=True, text=True, check=False)
    report = done.stdout.rsplit("WATCHED ", 1)[1].strip()
    assert "2" not in report.split("]")[0], done.stderr
    inputs = ["a/part.3mf", "a/part.csv", "a/part.json", "a/part.stl", "job.toml", "part.dxf", "shop.toml"]
    assert report.split("] ", 1)[1] == f"[] {inputs}"


def test_the_door_is_what_readers_call(monkeypatch, here, capsys):
    """The guard's own check: past the door nothing is refused."""
    monkeypatch.setattr(reading, "_LOG", type("Never", (), {"get": lambda self: None, "set": lambda self, log: None,
                                                            "reset": lambda self, token: None})())  # fmt: skip
    Path("part.csv").write_text(demo_text())
    words = ["convert", "part.dxf", "--to", "csv", "--shop", "part.csv", "--out", ".", "--force"]
    assert run(capsys, *words).status in (0, 1)
