"""The page of `serve`, asked without a network: what is dropped, what comes of it, what is refused."""

from __future__ import annotations

import io
import time
import zipfile
from pathlib import Path

import pytest
from command_line import corner, hook
from werkzeug.test import Client

from converter.batch import local_bays
from converter.cli.commands.serve import page_fields, read_settings
from converter.cli.main import main
from converter.errors import OptionError
from converter.serve import desk as desk_module
from converter.serve import local_page as page_module
from converter.serve.desk import Desk
from converter.serve.local_page import LocalPage

KEY = "5eCrEt"
SHOP = """
units = "in"
[shop]
name = "Pier shop"
[machine]
max_angle = 180
[[die]]
name = "1-1/2 tube"
od = 1.5
clr = 3.5
clamp = 2
"""


@pytest.fixture(scope="module")
def bays():
    with local_bays(2) as executor:
        yield executor


class Visitor:
    """Somebody in front of the page.

    Args:
        executor: works out what is dropped.
        folder: where that lies.
    """

    def __init__(self, executor, folder: Path, **own: str | None) -> None:
        self.folder = folder
        self.desk = Desk(executor, folder, read_settings, **own)
        self.client = Client(LocalPage(self.desk, KEY, page_fields()))

    def drop(self, *files: tuple[str, bytes | Path, str], again: int = 0, **fields: str):
        """What comes at once; files are (field, content, name)."""
        sent = dict(fields)
        for field, content, name in files:
            data = content.read_bytes() if isinstance(content, Path) else content
            sent[field] = (io.BytesIO(data), name)
        return self.client.post(f"/{KEY}/" + (f"?again={again}" if again else ""), data=sent)

    def page(self, where: str):
        """A page when what it waits for is done."""
        while True:
            answer = self.client.get(f"/{KEY}/{where}")
            if b'http-equiv="refresh' not in answer.data:
                return answer
            time.sleep(0.02)

    def dropped(self, path: Path, **fields: str) -> int:
        """The number of a drawing that was dropped."""
        answer = self.drop(("drawing", path, path.name), **fields)
        assert answer.status_code == 303
        return int(answer.location.rstrip("/").rsplit("/", 1)[1])


@pytest.fixture
def visitor(bays, tmp_path):
    return Visitor(bays, tmp_path / "desk")


def test_a_drawing_becomes_its_sheet_and_files(visitor, tmp_path, capsys, monkeypatch):
    """They are those that `convert` writes, to the byte."""
    path = hook(tmp_path / "rail.dxf", layer="RAIL")
    number = visitor.dropped(path, section="25.4x2mm", metal="mild steel")
    shown = visitor.page(f"{number}/")
    assert f'<iframe src="/{KEY}/{number}/sheet"' in shown.text
    listed = visitor.page(f"{number}/files/").text
    out = tmp_path / "out"
    formats = [name for some, _ in desk_module._WORK for name in some]
    monkeypatch.chdir(tmp_path)  # a sheet names the drawing as it was named
    words = (
        "convert",
        path.name,
        "--out",
        out,
        "--to",
        ",".join(formats),
        "--section",
        "25.4x2mm",
        "--metal",
        "mild steel",
    )
    assert main([str(word) for word in words]) == 1  # no die takes it
    capsys.readouterr()
    names = {one.name for one in out.iterdir()}
    assert {"rail-sheet.html", "rail-sheet.pdf", "rail.csv", "rail.step", "rail-setup.csv"} <= names
    packed = zipfile.ZipFile(io.BytesIO(visitor.page(f"{number}/all.zip").data))
    assert set(packed.namelist()) == names
    for name in names:
        found = visitor.client.get(f"/{KEY}/{number}/files/{name}")
        assert found.data == (out / name).read_bytes() == packed.read(name)
        assert found.headers["Content-Disposition"].startswith("attachment")
        row = listed.partition(f">{name}<")[2].partition("</tr>")[0]
        assert "<td></td>" not in row and "</td>" in row, f"{name}: nothing says what it is"
    assert visitor.page(f"{number}/sheet").data == (out / "rail-sheet.html").read_bytes()


def test_what_is_asked_for_can_be_changed_without_the_file(visitor, tmp_path):
    number = visitor.dropped(corner(tmp_path / "leg.dxf"), section="1in")
    assert "leg.dxf" in visitor.page(f"{number}/").text
    form = visitor.page(f"?again={number}").text
    assert 'value="1in"' in form and "required" not in form
    answer = visitor.drop(again=number, section="25.4x2mm", clr="50mm", other="--fraction 16 --in")
    again = visitor.desk.drawing(2)
    assert answer.location.endswith("/2/") and again.name == "leg.dxf"
    assert visitor.page("2/").status_code == 200
    visitor.page("2/files/")
    rows = visitor.client.get(f"/{KEY}/2/files/leg.csv").text.splitlines()
    assert "in" in rows[0] and ",1.96850394," in rows[1]  # 50 mm, in inches as asked


def test_own_shop_and_job_files_serve_until_others_are_given(visitor, tmp_path):
    path = hook(tmp_path / "rail.dxf", unit=1, radius=3.5, scale=0.05, layer="RAIL")
    visitor.drop(("drawing", path, "rail.dxf"), ("shop", SHOP.encode(), "pier.toml"), section="1.5x0.12in")
    visitor.page("1/files/")
    assert "Pier shop" in visitor.page("1/sheet").text
    assert "pier.toml" in visitor.page("").text
    visitor.dropped(path, section="1.5x0.12in")
    visitor.page("2/files/")
    assert "Pier shop" in visitor.page("2/sheet").text
    visitor.drop(("drawing", path, "rail.dxf"), ("shop", b"units = 3", "torn.toml"))
    told = visitor.page("3/").text
    assert "shop/torn.toml" in told and str(visitor.folder) not in told
    visitor.drop(("drawing", path, "rail.dxf"), ("job", b"[layer.RAIL]\nsection = '1.5x0.12in'", "job.toml"))
    assert "torn.toml" in visitor.page("4/").text, "the shop file of before still serves"


def test_a_shop_file_named_at_the_start_serves(bays, tmp_path, monkeypatch):
    (tmp_path / "pier.toml").write_text(SHOP)
    monkeypatch.chdir(tmp_path)
    visitor = Visitor(bays, tmp_path / "desk", shop="pier.toml")
    visitor.dropped(hook(tmp_path / "rail.dxf"))
    visitor.page("1/")
    assert "Pier shop" in visitor.page("1/sheet").text


@pytest.mark.parametrize(
    ("content", "name", "fields", "sentence"),
    [
        (b"nothing", "note.txt", {}, "note.txt"),
        (None, "rail.dxf", {"section": "rubbish"}, "is not a section"),
        (None, "rail.dxf", {"run": "LEG"}, "No tube"),
        (None, "rail.dxf", {"other": "--fit 'half"}, "a quote is not closed"),
        (None, "rail.dxf", {"other": "--limit-time none"}, "No such option"),
        (None, "rail.dxf", {"other": "--fraction 3"}, "fraction"),
        (None, "rail.dxf", {"other": "another.dxf"}, "unexpected extra argument"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_sentence(visitor, tmp_path, content, name, fields, sentence):
    path = hook(tmp_path / "rail.dxf")
    visitor.drop(("drawing", path if content is None else content, name), **fields)
    told = visitor.page("1/")
    assert sentence in told.text and 'class="sentence"' in told.text
    assert "Traceback" not in told.text and str(visitor.folder) not in told.text
    assert "could not be worked out" in visitor.page("").text


def test_no_drawing_is_told(visitor):
    assert "No drawing was chosen" in visitor.drop(section="1in").text
    assert visitor.desk.drawings == ()


@pytest.mark.parametrize(
    ("name", "stands"),
    [
        ("../../../up.dxf", "up.dxf"),
        ("/etc/x.dxf", "x.dxf"),
        (".dxf", "_dxf.dxf"),
        ("<script>alert(1)</script>.dxf", "_script_alert(1)_"),
        ("Geländer-手すり.dxf", "Geländer-手すり.dxf"),
    ],
)
def test_names_stay_on_the_desk(visitor, tmp_path, name, stands):
    path = hook(tmp_path / "rail.dxf")
    visitor.drop(("drawing", path, name))
    (drawing,) = visitor.desk.drawings
    assert drawing.path.parent == visitor.folder / "1" and drawing.path.exists()
    visitor.page("1/")
    text = visitor.page("").text
    assert "<script>alert" not in text
    if "_" not in stands:
        assert drawing.name == stands and stands in text
    assert sorted(one.name for one in tmp_path.iterdir()) == ["desk", "rail.dxf"]


def test_nothing_is_answered_without_the_key(visitor, tmp_path):
    visitor.dropped(hook(tmp_path / "rail.dxf"))
    visitor.page("1/")
    for where in ("/", "/1/", "/other/", "/other/1/sheet", "/sheet.css", f"/x{KEY}/", "/../etc/passwd"):
        answer = visitor.client.get(where)
        assert answer.status_code == 404, where
        assert "rail" not in answer.text and KEY not in answer.text, where
    assert visitor.client.post("/", data={}).status_code == 404


def test_only_what_was_made_is_handed_out(visitor, tmp_path):
    visitor.dropped(hook(tmp_path / "rail.dxf"))
    visitor.page("1/files/")
    for name in ("elbowroom-batch-record.json", "..%2f..%2frail.dxf", "%2e%2e/rail.dxf", "rail.dxf"):
        assert visitor.client.get(f"/{KEY}/1/files/{name}").status_code == 404, name
    for where in ("2/", "2/sheet", "2/files/", "2/all.zip", "desk.py"):
        assert visitor.client.get(f"/{KEY}/{where}").status_code == 404, where


def test_every_answer_forbids_what_is_not_needed(visitor, tmp_path):
    visitor.dropped(hook(tmp_path / "rail.dxf"))
    visitor.page("1/files/")
    for where in ("", "1/", "1/files/", "1/sheet", "1/files/rail.csv", "sheet.css", "nothing"):
        headers = visitor.client.get(f"/{KEY}/{where}").headers
        assert headers["X-Content-Type-Options"] == "nosniff" and headers["Referrer-Policy"] == "no-referrer", where
    assert "default-src 'none'" in visitor.client.get(f"/{KEY}/").headers["Content-Security-Policy"]


def test_too_large_a_file_is_refused(visitor, tmp_path, monkeypatch):
    monkeypatch.setattr(page_module, "FILE_BYTES", 2000)
    answer = visitor.drop(("drawing", hook(tmp_path / "rail.dxf"), "rail.dxf"))
    assert answer.status_code == 413 and "larger than 1.95 kB" in answer.text
    monkeypatch.setattr(page_module, "FILE_BYTES", 1 << 30)
    monkeypatch.setattr(page_module, "TOML_BYTES", 10)
    answer = visitor.drop(("drawing", tmp_path / "rail.dxf", "rail.dxf"), ("shop", SHOP.encode(), "shop.toml"))
    assert answer.status_code == 400 and "it is another file" in answer.text
    assert visitor.desk.drawings == ()


def test_a_mistake_of_ours_is_one_sentence(visitor, monkeypatch):
    def slip(*_given):
        raise RuntimeError("oh")

    monkeypatch.setattr(visitor.desk, "drawing", slip)
    answer = visitor.client.get(f"/{KEY}/1/")
    assert answer.status_code == 500 and 'class="sentence"' in answer.text and "Traceback" not in answer.text


def test_the_oldest_goes_for_a_new_one(visitor, tmp_path, monkeypatch):
    monkeypatch.setattr(desk_module, "MOST_DRAWINGS", 2)
    path = hook(tmp_path / "rail.dxf")
    for _ in range(3):
        visitor.page(f"{visitor.dropped(path)}/files/")
    assert [one.number for one in visitor.desk.drawings] == [3, 2]
    assert not (visitor.folder / "1").exists()
    assert visitor.client.get(f"/{KEY}/1/").status_code == 404


def test_the_fields_stand_for_options_of_the_command_line():
    settings = read_settings(
        {"section": "25x2mm; RAIL = 1in", "units": "in", "run": "RAIL*;LEG", "other": "--refit --shop 'my shop.toml'"}
    )
    assert settings.sections == ("25x2mm", "RAIL = 1in") and settings.runs == ("RAIL*", "LEG")
    assert settings.read.units == "in" and settings.refit and settings.shop == "my shop.toml"
    assert read_settings({}) == read_settings({"section": " ; "})
    with pytest.raises(OptionError, match="--clr"):
        read_settings({"clr": "round"})
