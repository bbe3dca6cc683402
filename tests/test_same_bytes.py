"""The demo writes the same bytes each time, whatever the hour: its drawing, and what is made of it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import ezdxf
import ezdxf.document
import pytest
from cli import run as command

from converter.demo.dxf_drawing import drawing_text
from converter.exporters.dxf_common import Layer, Page, steady


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[datetime]]:
    """The hour that the DXF library sees; a test sets it."""
    hour = [datetime(2026, 3, 9, 8, 0, 0)]

    class Clock(datetime):
        @classmethod
        def now(cls, tz: object = None) -> datetime:
            return hour[0]

    monkeypatch.setattr(ezdxf.document, "datetime", Clock)
    yield hour


def test_the_drawing_of_the_demo_does_not_know_the_hour(clock):
    first = drawing_text()
    clock[0] = datetime(2027, 1, 2, 3, 4, 5)
    assert drawing_text() == first
    assert not ezdxf.options.write_fixed_meta_data_for_testing, "put back"


def test_a_drawing_written_does_not_know_the_hour(tmp_path, clock):
    def written(name: str) -> bytes:
        page = Page("mm", [Layer("EDGE")])
        page.line((0.0, 0.0), (10.0, 5.0), "EDGE")
        page.save(tmp_path / name)
        return (tmp_path / name).read_bytes()

    first = written("a.dxf")
    clock[0] = datetime(2027, 1, 2, 3, 4, 5)
    assert written("b.dxf") == first


def test_the_clock_of_these_tests_is_the_one_the_library_reads(clock, tmp_path):
    """Without `steady` the bytes do change."""

    def written() -> str:
        doc = ezdxf.new("R2010")
        doc.saveas(tmp_path / "plain.dxf")
        return (tmp_path / "plain.dxf").read_text()

    first = written()
    clock[0] = datetime(2027, 1, 2, 3, 4, 5)
    assert written() != first


def test_the_setting_is_put_back_after_an_error():
    with pytest.raises(ZeroDivisionError), steady():
        assert ezdxf.options.write_fixed_meta_data_for_testing
        raise ZeroDivisionError
    assert not ezdxf.options.write_fixed_meta_data_for_testing


def test_the_demo_writes_the_same_bytes_and_the_same_mark(tmp_path, capsys, clock, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1741478400")
    files = []
    for name in ("one", "two"):
        # the sheet names the drawing as it was given: from within the folder
        folder: Path = tmp_path / name
        folder.mkdir()
        monkeypatch.chdir(folder)
        done = command(capsys, "demo", "--out", "demo", "--to", "dxf,profile,template,cope-dxf,sheet-pdf,svg", "-q")
        assert done.status == 0, done
        files.append({str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()})
        clock[0] = datetime(2027, 1, 2, 3, 4, 5)
    one, two = files
    assert sorted(one) == sorted(two)
    assert [name for name in one if one[name] != two[name]] == []
    assert {"demo/boathouse.dxf", "demo/out/boathouse-sheet.pdf"} <= set(one)
    assert sum(name.endswith(".dxf") for name in one) == 5, "the drawing and four kinds made of it"
