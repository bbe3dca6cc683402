"""Running the command line inside the tests, and small drawings to run it on."""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from converter.cli.main import main


@dataclass(frozen=True)
class Outcome:
    """What a command left: exit status, what it wrote on stdout and on stderr."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def run(capsys: pytest.CaptureFixture[str], *words: object) -> Outcome:
    """Run ``elbowroom WORDS...`` in this process."""
    capsys.readouterr()
    status = main([str(word) for word in words])
    captured = capsys.readouterr()
    return Outcome(status, captured.out, captured.err)


def one_sentence(text: str) -> str:
    """The message of a failure, held to its form: one line, one sentence, no traceback."""
    lines = text.splitlines()
    assert len(lines) == 1, f"not one line: {text!r}"
    assert lines[0].startswith("elbowroom: ")
    assert lines[0].rstrip().endswith((".", "!", "?")), lines[0]
    assert "Traceback" not in text
    assert not re.search(r"\b(None|NoneType|Errno \d+|<[a-z_.]+ object)\b", text), text
    return lines[0].removeprefix("elbowroom: ")


def failed(outcome: Outcome) -> str:
    """The sentence of an outcome that must be a failure: status 2, nothing on stdout."""
    assert outcome.status == 2, outcome
    assert outcome.out == "", outcome.out
    return one_sentence(outcome.err)


def hook(path: Path, *, layer: str = "TUBE", unit: int = 4, radius: float = 100.0, scale: float = 1.0) -> Path:
    """300 straight, a quarter bend, 300 straight (times ``scale``), on one layer."""
    doc = ezdxf.new("R2010", units=unit)
    model = doc.modelspace()
    given = {"layer": layer}
    model.add_line((0, 0), (300 * scale, 0), dxfattribs=given)
    model.add_arc((300 * scale, radius), radius, 270, 0, dxfattribs=given)
    x = 300 * scale + radius
    model.add_line((x, radius), (x, radius + 300 * scale), dxfattribs=given)
    doc.saveas(path)
    return path


def corner(path: Path, *, unit: int = 4, leg: float = 300.0, angle: float = 90.0, layer: str = "TUBE") -> Path:
    """Two straights of ``leg`` that meet in a sharp corner of ``angle`` degrees deflection."""
    doc = ezdxf.new("R2010", units=unit)
    end = (leg + leg * math.cos(math.radians(angle)), leg * math.sin(math.radians(angle)))
    doc.modelspace().add_lwpolyline([(0, 0), (leg, 0), end], dxfattribs={"layer": layer})
    doc.saveas(path)
    return path


def files(folder: Path) -> set[str]:
    """Every file beneath a folder, hidden ones too."""
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
