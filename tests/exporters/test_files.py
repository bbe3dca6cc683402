"""File names made from any run name, and outputs that appear whole or not at all."""

from __future__ import annotations

import errno
import os
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import job_of, write_job

from converter.disk.reading import open_to_read, recorded
from converter.errors import OptionError, WriteError
from converter.exporters import registry
from converter.exporters.files import OutputSet, safe_name
from converter.exporters.registry import FORMATS, find
from converter.model.bends import BendTable, Placement
from converter.model.run import Run, Tube


def tube(name):
    return Tube(Run(name, None, False, BendTable((), 100.0), Placement()))


def job(*names, **more):
    return job_of(tuple(map(tube, names or ("rail",))), **more)


def tree(folder: Path):
    """Every file below a folder with its content."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("rail 1", "rail 1"),
        ("Überrollbügel", "Überrollbügel"),
        ("管-1", "管-1"),
        ("A/B", "A_B"),
        ("..", "unnamed"),
        ("../../etc/passwd", "__.._etc_passwd"),
        ('1.75" x .120"', "1.75_ x .120_"),
        ("-rf", "_rf"),
        (".hidden", "_hidden"),
        ("~root", "_root"),
        ("end. . ", "end"),
        ("con", "_con"),
        ("NUL.txt", "_NUL.txt"),
        ("com1", "_com1"),
        ("console", "console"),
        ("a\tb\nc\x00d", "a_b_c_d"),
        ("a\u202eb", "a_b"),
        ("a\udc80b", "a_b"),
        ("", "unnamed"),
        ("   ", "unnamed"),
        ("=1+1@x", "=1+1@x"),
        ("a|b<c>d?e*f:g\\h", "a_b_c_d_e_f_g_h"),
    ],
)
def test_names_stay_recognisable(name, safe):
    assert safe_name(name) == safe


@settings(max_examples=300)
@given(st.text(max_size=300))
def test_any_name_is_safe(name):
    safe = safe_name(name)
    assert safe and len(safe.encode()) <= 200
    assert not set(safe) & set("/\\:*?\"<>|'`\0\n") and safe[0] not in ".-~ " and safe[-1] not in ". "
    assert safe.split(".")[0].lower() not in {"con", "prn", "aux", "nul", "com1", "lpt1"}
    assert safe_name(safe) == safe


def test_long_names_are_shortened_and_stay_two():
    a, b = safe_name("ж" * 300 + "a"), safe_name("ж" * 300 + "b")
    assert a != b and a.startswith("ж" * 50) and len(a.encode()) <= 200
    assert safe_name("x" * 200) == "x" * 200
    # an e with an accent that cannot be composed is not cut apart
    cut = safe_name("q\u0301" * 200)
    assert not unicodedata.combining(cut[-10]) or cut[-10] == "\u0301"
    assert cut[: -len("-12345678")].endswith("q\u0301")


def test_every_claimed_name_fits_and_is_new(tmp_path):
    with OutputSet(tmp_path / "out") as out:
        names = [
            "A.csv",
            "a.csv",
            "A.CSV",
            "é.csv",
            "e\u0301.csv",
            "a:b.step",
            "a/b.step",
            "x" * 400 + ".step",
            "a.csv",
        ]
        paths = [out.path(n) for n in names]
        for i, path in enumerate(paths):
            path.write_text(str(i))
        assert out.final("a/b.step").name == "a_b-2.step"
    made = [p.name for p in paths]
    assert made[:3] == ["A.csv", "a-2.csv", "A-3.CSV"] and made[3:5] == ["é.csv", "é-2.csv"] and made[8] == "a-4.csv"
    assert all(len(n.encode()) <= 255 for n in made) and made[7].endswith(".step")
    assert len({unicodedata.normalize("NFC", n).casefold() for n in made}) == len(names)
    assert sorted(tree(tmp_path / "out")) == sorted(made)


@pytest.mark.parametrize(
    ("asked", "given"),
    [
        (".csv", "unnamed.csv"),
        ("..csv", "unnamed.csv"),
        ("...csv", "unnamed.csv"),
        (" .csv", "unnamed.csv"),
        ("con..csv", "_con.csv"),
        ("\u202e.csv", "_.csv"),
        (".csv.csv", "_csv.csv"),
        ("a.", "a"),
        ("no ending. but a dot", "no ending. but a dot"),
    ],
)
def test_a_claimed_name_keeps_its_ending(tmp_path, asked, given):
    with OutputSet(tmp_path) as out:
        assert out.path(asked).name == given


@pytest.mark.parametrize("length", [240, 251, 255, 300, 5000])
def test_a_claimed_name_of_any_length_keeps_its_ending_and_fits(tmp_path, length):
    with OutputSet(tmp_path) as out:
        name = out.path("é" * length + "-profile.dxf").name
        assert name.endswith(".dxf") and len(name.encode()) <= 255
        other = out.path("a." + "b" * length).name
        assert other.startswith("a.bbb") and len(other.encode()) <= 255


def test_a_folder_whose_name_the_system_cannot_hold_is_refused():
    for name in ("a\0b", "a\ud800b"):
        with pytest.raises(WriteError, match="holds what no file name can"):
            OutputSet(name)


def test_folder_appears_on_success_only(tmp_path):
    target = tmp_path / "a" / "b"
    with pytest.raises(ZeroDivisionError), OutputSet(target) as out:
        out.path("x.csv").write_text("half")
        assert not target.exists()
        raise ZeroDivisionError
    assert list(tmp_path.iterdir()) == []
    with OutputSet(target) as out:
        out.path("x.csv").write_text("whole")
    assert tree(tmp_path) == {"a/b/x.csv": b"whole"}


def test_existing_files_need_force(tmp_path):
    (tmp_path / "x.csv").write_text("old")
    with pytest.raises(WriteError, match="--force") as caught:
        OutputSet(tmp_path).path("x.csv")
    assert caught.value.code == "exists"
    with OutputSet(tmp_path, force=True) as out:
        out.path("x.csv").write_text("new")
        assert (tmp_path / "x.csv").read_text() == "old"
    assert tree(tmp_path) == {"x.csv": b"new"}


def test_a_file_that_appears_meanwhile_is_kept(tmp_path):
    out = OutputSet(tmp_path)
    out.path("x.csv").write_text("mine")
    (tmp_path / "x.csv").write_text("theirs")
    with pytest.raises(WriteError, match="exists already"):
        out.commit()
    assert tree(tmp_path) == {"x.csv": b"theirs"}


@pytest.mark.parametrize("link", [None, "symlink", "hardlink"])
def test_an_input_is_never_replaced(tmp_path, link):
    source = tmp_path / "in" / "part.csv"
    source.parent.mkdir()
    source.write_text("input")
    target = source.parent
    if link:
        target = tmp_path / "out"
        target.mkdir()
        (os.symlink if link == "symlink" else os.link)(source, target / "part.csv")
    with recorded(), pytest.raises(WriteError, match="never replaced") as caught:
        open_to_read(source).close()
        write_job(job(), target, ["csv"], force=True)
    assert caught.value.code == "would-replace-input"
    assert source.read_text() == "input" and len(tree(tmp_path)) == (2 if link else 1)


def test_a_failed_commit_puts_everything_back(tmp_path, monkeypatch):
    (tmp_path / "a.csv").write_text("old a")
    (tmp_path / "b.csv").write_text("old b")
    out = OutputSet(tmp_path, force=True)
    for name in ("a.csv", "b.csv", "c.csv"):
        out.path(name).write_text("new")
    replace = os.replace

    def full(source, target):
        if Path(target).name == "c.csv":
            raise OSError(errno.ENOSPC, "No space left on device")
        replace(source, target)

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(WriteError, match="no space left"):
        out.commit()
    assert tree(tmp_path) == {"a.csv": b"old a", "b.csv": b"old b"}


def test_a_failing_exporter_leaves_nothing(tmp_path, monkeypatch):
    from converter.exporters.data import table_json

    def broken(job, out, options):
        out.path("half.json").write_text("{")
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(table_json, "export", broken)
    with pytest.raises(WriteError, match="no space left") as caught:
        write_job(job(), tmp_path / "out", ["csv", "json"])
    assert "\n" not in str(caught.value) and list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("where", ["file", "file/below", "nul\0"])
def test_a_folder_that_cannot_be(tmp_path, where):
    (tmp_path / "file").write_text("x")
    with pytest.raises(WriteError, match="--out"):
        write_job(job(), tmp_path / where, ["csv"])
    assert tree(tmp_path) == {"file": b"x"}


def test_a_folder_in_the_place_of_a_file(tmp_path):
    (tmp_path / "part.csv").mkdir()
    with pytest.raises(WriteError, match="is a folder"):
        write_job(job(), tmp_path, ["csv"], force=True)


def test_a_folder_that_may_not_be_written(tmp_path):
    """By a user who is not root, since root may write anywhere."""
    write_job(job(), tmp_path / "before", ["csv"])  # whatever is loaded for it is loaded: another user may not reach it
    tmp_path.chmod(0o500)
    user = os.geteuid()
    if user == 0:
        os.seteuid(65534)
    try:
        with pytest.raises(WriteError, match="permission denied"):
            write_job(job(), tmp_path / "out", ["csv"])
    finally:
        os.seteuid(user)


def test_formats_are_found_by_name_and_unknown_ones_refused(tmp_path):
    assert find(" CSV ").name == "csv"
    assert len({f.name for f in FORMATS}) == len(FORMATS) and all(f.summary and f.ending[0] == "." for f in FORMATS)
    with pytest.raises(
        OptionError, match="json, dxf, profile, template, template-pdf, step, step-bent, wires, stl, 3mf"
    ):
        write_job(job(), tmp_path / "out", ["docx"])
    with pytest.raises(WriteError, match="no tube"):
        write_job(job_of(()), tmp_path / "out", ["csv"])
    assert list(tmp_path.iterdir()) == []


def test_formats_are_written_once_in_list_order(tmp_path):
    paths = write_job(job("a", "b"), tmp_path / "out", ["json", "csv", "JSON"])
    assert [p.name for p in paths] == ["part.csv", "part.json"]
    assert registry.FORMATS[0].default


def test_odd_stems_and_names_give_plain_files(tmp_path):
    [path] = write_job(job_of((tube("../a"),)), tmp_path / "out", ["csv"], stem="../=x\"'")
    assert path.parent == tmp_path / "out" and path.name == "__=x__.csv"
    assert list(tmp_path.iterdir()) == [tmp_path / "out"]
