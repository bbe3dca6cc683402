"""``elbowroom shop``: new, check, show."""

from __future__ import annotations

import io
import sys

import pytest
from command_line import failed, files, run

from converter.shop.load import demo_shop, load_shop


def test_a_new_shop_file_is_sound(tmp_path, capsys):
    path = tmp_path / "mine.toml"
    outcome = run(capsys, "shop", "new", path)
    assert (outcome.status, outcome.out) == (0, "")
    assert str(path) in outcome.err
    assert load_shop(path).dies
    outcome = run(capsys, "shop", "check", path)
    assert outcome.status == 0
    assert "is sound" in outcome.out
    assert f"{len(load_shop(path).dies)} dies" in outcome.out


def test_new_never_replaces_without_force(tmp_path, capsys):
    path = tmp_path / "mine.toml"
    path.write_text("mine")
    assert "--force" in failed(run(capsys, "shop", "new", path))
    assert path.read_text() == "mine"
    assert run(capsys, "shop", "new", path, "--force").status == 0
    assert path.read_text() != "mine"
    assert files(tmp_path) == {"mine.toml"}


def test_new_to_standard_output(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    outcome = run(capsys, "shop", "new", "-")
    assert outcome.status == 0
    assert "[[die]]" in outcome.out
    assert files(tmp_path) == set()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(outcome.out.encode())))
    assert run(capsys, "shop", "check", "-").status == 0


def test_quiet_says_nothing(tmp_path, capsys):
    outcome = run(capsys, "shop", "new", tmp_path / "a.toml", "--quiet")
    assert (outcome.status, outcome.out, outcome.err) == (0, "", "")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "empty"),
        ("x = ", "line 1"),
        ("units = 'furlong'\n[shop]\nname='a'", "units"),
        ("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1\nclr='nan'", "clr"),
        ("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1\nclr=-3", "clr"),
        ("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1\nclr=3\nmax_angle=400", "max_angle"),
        ("[shop]\nname='a'\ncolour='red'", "colour"),
    ],
)
def test_a_malformed_shop_file_names_the_key(text, told, tmp_path, capsys):
    path = tmp_path / "bad.toml"
    path.write_text(text)
    assert told in failed(run(capsys, "shop", "check", path))
    outcome = run(capsys, "shop", "check", path, "--json")
    assert outcome.status == 2
    assert outcome.json["schema"] == "elbowroom/error/1"
    assert outcome.json["error"]["file"] == str(path)


def test_a_missing_file_and_a_directory(tmp_path, capsys):
    assert "nowhere.toml" in failed(run(capsys, "shop", "check", tmp_path / "nowhere.toml"))
    assert "directory" in failed(run(capsys, "shop", "show", tmp_path))


def test_show_lists_every_die_and_says_that_the_demo_is_invented(capsys):
    outcome = run(capsys, "shop", "show")
    assert outcome.status == 0
    shop = demo_shop()
    for die in shop.dies:
        assert f"\n  {die.name} " in outcome.out
    assert "invented" in outcome.out
    assert "lengths in inches" in outcome.out


def test_show_in_other_units(tmp_path, capsys):
    """1-1/2 in tube on a 4-1/2 in radius is 38.10 and 114.30 mm."""
    path = tmp_path / "s.toml"
    path.write_text("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1.5\nclr=4.5\n")
    assert "114.30" in run(capsys, "shop", "show", path, "--mm").out
    assert "4-1/2" in run(capsys, "shop", "show", path, "--fraction", "16").out
    assert "4.500" in run(capsys, "shop", "show", path).out
    path.write_text("units='mm'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=38.1\nclr=114.3\n")
    assert "114.30" in run(capsys, "shop", "show", path).out


def test_show_tells_what_stands_around_the_machine(tmp_path, capsys):
    path = tmp_path / "s.toml"
    path.write_text(
        "units='in'\n[shop]\nname='a'\n[machine]\nplane='horizontal'\nbends_to='right'\nwall_behind=120\nwall_left=26\n"
        "[[machine.box]]\nname='the bench'\nlow=[-12, 4, -38]\nhigh=[8, 30, 2]\n"
    )
    text = " ".join(run(capsys, "shop", "show", path).out.split())
    assert (
        "horizontal bend plane, swings right, wall 120.000 in behind the pivot, wall 26.000 in left of the pivot"
        in text
    )
    assert "keeps clear of the bench (x -12.000 to 8.000 in, y 4.000 to 30.000 in, z -38.000 to 2.000 in)" in text


def test_show_json_is_in_mm(tmp_path, capsys):
    path = tmp_path / "s.toml"
    path.write_text("units='in'\n[shop]\nname='a'\n[[die]]\nname='d'\nod=1.5\nclr=4.5\n")
    document = run(capsys, "shop", "show", path, "--json").json
    assert document["schema"] == "elbowroom/shop/1"
    assert document["demo"] is False
    assert document["dies"][0]["clr"] == pytest.approx(114.3, abs=1e-12)
    assert run(capsys, "shop", "show", "--json").json["demo"] is True


@pytest.mark.parametrize(
    "words", [["--in", "--mm"], ["--fraction", "7"], ["--fraction", "0"], ["--mm", "--fraction", "8"]]
)
def test_display_options_out_of_range(words, capsys):
    failed(run(capsys, "shop", "show", *words))
