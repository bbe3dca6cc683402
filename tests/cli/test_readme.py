"""The README's walk-through, line by line, on the files that the demo writes."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from command_line import run

README = Path(__file__).parents[2] / "README.md"
#: The demo's leg is drawn too tight on purpose, which these tell.
FIND_ERRORS = {"audit", "setup", "split", "quote", "cutlist", "sheet", "convert"}


def block(mark: str) -> list[list[str]]:
    """The commands under <!-- MARK -->, in words, comments left out."""
    text = README.read_text(encoding="utf-8").split(f"<!-- {mark} -->\n```\n")[1].split("\n```")[0]
    return [shlex.split(line, comments=True) for line in text.splitlines()]


@pytest.mark.slow
def test_every_line_works(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(capsys, "demo").status == 0
    lines = block("first-drawing")
    assert lines[0] == ["cd", "elbowroom-demo"]
    monkeypatch.chdir(tmp_path / "elbowroom-demo")
    for program, command, *words in lines[1:]:
        assert program == "elbowroom"
        outcome = run(capsys, command, *words)
        assert outcome.status == (1 if command in FIND_ERRORS else 0), (command, words, outcome.err)
    assert Path("myshop.toml").exists() and list(Path("copes").iterdir()) and Path("job/boathouse.step").exists()


@pytest.mark.slow
def test_what_it_shows_is_what_comes_out(tmp_path, monkeypatch, capsys):
    """The two pieces of output under the walk-through are the demo's own."""
    monkeypatch.chdir(tmp_path)
    run(capsys, "demo")
    monkeypatch.chdir(tmp_path / "elbowroom-demo")
    shown = re.findall(r"```\n(RAIL.*?|error .*?)\n```", README.read_text(encoding="utf-8"), flags=re.S)
    assert len(shown) == 2
    table = run(capsys, "table", "boathouse.dxf", "--job", "job.toml").out
    audit = run(capsys, "audit", "boathouse.dxf", "--shop", "shop.toml", "--job", "job.toml").out
    assert shown[0] in table and shown[1] in audit
