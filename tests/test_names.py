"""Names and patterns: one rule, and every place that takes a name goes by it."""

from __future__ import annotations

import ezdxf
import pytest
from command_line import run
from hypothesis import given
from hypothesis import strategies as st

from converter.names import fits, folded


@pytest.mark.parametrize(
    ("pattern", "name", "is_like"),
    [
        ("rail*", "RAIL-1", True),
        ("RAIL?", "rail1", True),
        ("RAIL?", "RAIL", False),
        ("RAIL [AB]", "rail b", True),
        ("RAIL [AB]", "RAIL [AB]", True),  # itself, brackets and all
        ("RAIL [A]", "RAIL [B]", False),
        ("RAIL", "RAILS", False),
        ("STRASSE", "straße", True),
        ("Gelände\u0301", "GELÄNDÉ", True),  # an accent of its own, and composed
        ("*e\u0301", "Café", True),
        ("", "", True),
        ("*", "", True),
        ("", "A", False),
    ],
)
def test_what_fits(pattern, name, is_like):
    assert fits(pattern, name) is is_like
    assert fits(pattern, None, name) is is_like
    assert not fits(pattern, None)


@given(st.text(max_size=12))
def test_a_name_fits_itself_in_any_case(name):
    assert fits(name, name)
    assert fits(name, name.casefold())
    assert folded(folded(name)) == folded(name)


NAMES = ("RAIL [A]", "Stütze", "STRASSE 1")
TYPED = ("rail [a]", "STU\u0308TZE", "straße ?")


@pytest.fixture
def drawing(tmp_path):
    doc = ezdxf.new("R2010", units=4)
    for i, name in enumerate(NAMES):
        doc.layers.add(name)
        doc.modelspace().add_line((0, 100 * i, 0), (500 + i, 100 * i, 0), {"layer": name})
    path = tmp_path / "d.dxf"
    doc.saveas(path)
    return path


@pytest.mark.parametrize(("typed", "name"), list(zip(TYPED, NAMES, strict=True)))
def test_every_option_and_file_takes_a_name_by_the_same_rule(capsys, drawing, tmp_path, typed, name):
    """A name with brackets, an accent composed otherwise, another case: of a drawing, a table, solids."""

    def layers(*words):
        return {tube["layer"] for tube in run(capsys, "table", *words, "--json").json["tubes"]}

    def given_sections(*words):
        tubes = run(capsys, "table", drawing, *words, "--json").json["tubes"]
        return {tube["layer"] for tube in tubes if tube["section"]}

    others = set(NAMES) - {name}
    run(capsys, "convert", drawing, "--section", "25x2mm", "--to", "csv,step", "--out", tmp_path / "out")
    (table,), (step,) = (tmp_path / "out").glob("*.csv"), (tmp_path / "out").glob("*.step")
    for file in (drawing, table, step):
        assert layers(file, "--layer", typed) == {name}
        assert layers(file, "--skip-layer", typed) == others
        assert layers(file, "--run", typed) == {name}
    assert given_sections("--section", f"{typed}=30x2mm") == {name}
    job = tmp_path / "job.toml"
    for table in ("layer", "run"):
        job.write_text(f'units = "mm"\n[{table}."{typed}"]\nsection = "30x2mm"\n', encoding="utf-8")
        assert given_sections("--job", job) == {name}
    words = ("--section", "25x2mm", "--bar", "6m", "--qty", f"{typed}=3")
    pieces = run(capsys, "cutlist", drawing, *words, "--json").json["groups"][0]["pieces"]
    assert {piece["name"]: piece["count"] for piece in pieces} == {name: 3} | dict.fromkeys(others, 1)
