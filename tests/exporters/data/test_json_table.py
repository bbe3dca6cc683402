"""The table --json contract: keys to the letter, values in mm and degrees, never NaN."""

from __future__ import annotations

import json
import subprocess
import sys
from math import pi

import jsonschema
import pytest
from any_finding import any_finding
from jobs import job_of, write_job

from converter.errors import ReadError, WriteError
from converter.exporters.data.table_json import dumps, error_document, table_document
from converter.findings import Finding
from converter.model.bends import Bend, BendTable, Placement
from converter.model.drawing import Ignored
from converter.model.run import Run, Tube
from converter.model.section import Section

NUMBER_OR_NULL = {"type": ["number", "null"]}
TEXT_OR_NULL = {"type": ["string", "null"]}
POINT = {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3}


def strict(**properties):
    """An object with exactly these keys."""
    return {"type": "object", "properties": properties, "required": list(properties), "additionalProperties": False}


SECTION = {
    "type": "object",
    "properties": {
        "shape": {"enum": ["round", "square", "rectangular", "bar", "flat-oval", "square-bar", "flat-bar"]},
        "od": {"type": "number", "exclusiveMinimum": 0},
        "wall": {"type": "number", "exclusiveMinimum": 0},
        "height": {"type": "number", "exclusiveMinimum": 0},
        "corner": {"type": "number", "minimum": 0},
        "label": {"type": "string", "minLength": 1},
    },
    "required": ["shape", "od", "wall"],
    "additionalProperties": False,
    "if": {"properties": {"shape": {"enum": ["square", "rectangular", "square-bar", "flat-bar"]}}},
    "then": {"required": ["height", "corner"]},
    "else": {
        "if": {"properties": {"shape": {"const": "flat-oval"}}},
        "then": {"required": ["height"]},
    },
}
BEND = strict(
    feed={"type": "number"},
    rotation={"type": "number", "exclusiveMinimum": -180, "maximum": 180},
    angle={"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 360},
    clr={"type": ["number", "null"], "exclusiveMinimum": 0},
)
TUBE = strict(
    name={"type": "string"},
    layer=TEXT_OR_NULL,
    closed={"type": "boolean"},
    section={"anyOf": [SECTION, {"type": "null"}]},
    start=POINT,
    end=POINT,
    bends={"type": "array", "items": BEND},
    tail={"type": "number"},
    developed_length={"type": "number"},
    deviation={"type": "number"},
)
FINDING = strict(
    code={"type": "string"},
    severity={"enum": ["error", "warning", "note"]},
    tube=TEXT_OR_NULL,
    bend={"type": ["integer", "null"], "minimum": 1},
    message={"type": "string"},
    measured=NUMBER_OR_NULL,
    limit=NUMBER_OR_NULL,
    unit=TEXT_OR_NULL,
    at={"anyOf": [POINT, {"type": "null"}]},
    cure={"type": ["string", "null"], "minLength": 1},
)
DOCUMENT = strict(
    schema={"const": "elbowroom/table/1"},
    source={"type": "string"},
    drawing_units=TEXT_OR_NULL,
    tubes={"type": "array", "items": TUBE},
    findings={"type": "array", "items": FINDING},
    ignored={
        "type": "array",
        "items": strict(kind={"type": "string"}, count={"type": "integer"}, why={"type": "string"}),
    },
)
ERROR = strict(
    schema={"const": "elbowroom/error/1"},
    error=strict(code={"type": "string"}, message={"type": "string"}, file=TEXT_OR_NULL, where=TEXT_OR_NULL),
)


def tube(name="rail", bends=(), tail=100.0, section=None, **run):
    table = BendTable(tuple(bends), tail)
    return Tube(Run(name, run.pop("layer", None), False, table, Placement(), **run), section)


def parsed(text):
    def refuse(name):
        raise AssertionError(f"{name} in JSON")

    return json.loads(text, parse_constant=refuse)


def test_document_follows_the_contract_to_the_letter():
    tubes = [
        tube("a", [Bend(50.0, 0.0, 90.0, 40.0), Bend(0.0, 180.0, 200.0, 40.0)], 10.0, Section("round", 25.4, 2.0)),
        tube("lone straight", section=Section("bar", 20.0, 10.0), layer="=steel"),
        tube("corner", [Bend(50.0, 0.0, 90.0, None)], 10.0, Section("square", 30.0, 2.0, corner=4.0)),
        tube("flat", [Bend(50.0, 0.0, 90.0, 9.0)], 1.0, Section("rectangular", 40.0, 2.0, 20.0, label="40 x 20")),
    ]
    gap = {"largest": 0.05, "point": (1.0, 2.0, 3.0), "join": 0.1}
    findings = [
        any_finding("corner-no-radius", tube="corner", bend=1),
        Finding("healed-gap", variant="one", measured=0.05, limit=0.1, unit="mm", values=gap),
    ]
    document = parsed(dumps(table_document("x.dxf", None, tubes, findings, [Ignored("TEXT", 3, "no centerline")])))
    jsonschema.Draft202012Validator.check_schema(DOCUMENT)
    jsonschema.validate(document, DOCUMENT)
    a, straight, corner, flat = document["tubes"]
    # worked by hand: 50 along x, 90 degrees on 40 ends at (90, 40)
    assert a["developed_length"] == pytest.approx(50 + 40 * pi / 2 + 40 * pi * 200 / 180 + 10, rel=1e-15)
    assert a["bends"][1] == {"feed": 0.0, "rotation": 180.0, "angle": 200.0, "clr": 40.0}
    assert a["section"] == {"shape": "round", "od": 25.4, "wall": 2.0}
    assert straight["bends"] == [] and straight["end"] == [100.0, 0.0, 0.0] and straight["layer"] == "=steel"
    assert straight["section"] == {"shape": "bar", "od": 20.0, "wall": 10.0}
    assert corner["bends"][0]["clr"] is None and corner["end"] == pytest.approx([50.0, 10.0, 0.0], abs=1e-12)
    assert corner["section"] == {"shape": "square", "od": 30.0, "wall": 2.0, "height": 30.0, "corner": 4.0}
    assert flat["section"]["height"] == 20.0 and flat["section"]["label"] == "40 x 20"
    assert document["findings"][1]["measured"] == 0.05 and document["findings"][0]["measured"] is None


@pytest.mark.parametrize("units", ["mm", "in", "cm", "m", "ft", None])
def test_drawing_units_are_passed_through(units):
    document = parsed(dumps(table_document("-", units, [])))
    jsonschema.validate(document, DOCUMENT)
    assert document["drawing_units"] == units and document["tubes"] == []


def test_numbers_keep_every_digit_and_zero_has_no_sign():
    value = 0.1 + 0.2
    text = dumps(table_document("x", "mm", [tube(bends=[Bend(-0.0, -0.0, value, 1 / 3)])]))
    assert parsed(text)["tubes"][0]["bends"][0] == {"feed": 0.0, "rotation": 0.0, "angle": value, "clr": 1 / 3}
    assert "-0.0" not in text


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf")])
def test_a_number_that_is_none_is_refused_not_written(bad):
    with pytest.raises(WriteError, match="finite"):
        dumps(table_document("x", "mm", [tube(deviation=bad)]))


def test_error_document():
    error = ReadError("The file is empty.", file="a.dxf", where="line 1")
    document = parsed(dumps(error_document(error)))
    jsonschema.validate(document, ERROR)
    assert document["error"] == {
        "code": "unreadable",
        "message": "The file is empty.",
        "file": "a.dxf",
        "where": "line 1",
    }


def test_odd_names_survive():
    name = 'a"b\\c\n\t\x00 é 管 \udc80'
    assert parsed(dumps(table_document(name, None, [tube(name)])))["tubes"][0]["name"] == name


def test_a_tube_is_one_line():
    lines = dumps(table_document("x", "mm", [tube("a"), tube("b")])).splitlines()
    assert sum('"name"' in line for line in lines) == 2


def test_written_file_is_the_same_document(tmp_path):
    job = job_of((tube(),))
    job.drawing.units, job.drawing.ignored = "in", [Ignored("HATCH", 1, "area")]
    [path] = write_job(job, tmp_path / "out", ["json"])
    document = json.loads(path.read_text())
    assert path.name == "part.json" and document["drawing_units"] == "in" and document["ignored"][0]["kind"] == "HATCH"


def test_two_thousand_runs_in_one_document():
    bends = [Bend(10.123456789, 0.0 if i == 0 else 33.3, 45.678, 50.0) for i in range(10)]
    tubes = [tube(f"run {i}", bends) for i in range(2000)]
    read_back = json.loads(dumps(table_document("x", "mm", tubes)))["tubes"]
    assert [t["name"] for t in read_back] == [t.name for t in tubes]
    assert read_back[-1]["bends"][-1] == {"feed": 10.123456789, "rotation": 33.3, "angle": 45.678, "clr": 50.0}


def test_json_and_the_format_list_load_nothing_heavy():
    code = (
        "import sys, converter.exporters.registry, converter.exporters.data.table_json; "
        "import converter.exporters.data.table_csv; "
        "print([m for m in ('numpy', 'ezdxf', 'OCP', 'trimesh', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
