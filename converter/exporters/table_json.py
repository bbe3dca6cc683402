"""The JSON that other programs rely on: ``elbowroom/table/1`` and ``elbowroom/error/1``.

Lengths in mm, angles in degrees, numbers in full precision, never NaN or infinity. The
keys are described in docs/table-json.md; a change to them changes the number in ``schema``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from converter.errors import ElbowroomError, WriteError
from converter.findings import Finding
from converter.geometry.vectors import Vec
from converter.model.drawing import Ignored
from converter.model.run import Tube
from converter.model.section import Section

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.registry import ExportJob

TABLE_SCHEMA = "elbowroom/table/1"
ERROR_SCHEMA = "elbowroom/error/1"


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``stem.json``."""
    document = table_document(job.source, job.drawing_units, job.tubes, job.findings, job.ignored)
    out.path(f"{job.stem}.json").write_text(dumps(document), encoding="ascii", newline="\n")


def table_document(
    source: str,
    drawing_units: str | None,
    tubes: Iterable[Tube],
    findings: Iterable[Finding] = (),
    ignored: Iterable[Ignored] = (),
) -> dict[str, Any]:
    """The bend tables as plain values, ready for `dumps`.

    Args:
        source: the file as the user named it.
        drawing_units: the unit the drawing itself names, or None.
        tubes: in order; lone straights too.
        findings, ignored: everything said, everything left out.
    """
    return {
        "schema": TABLE_SCHEMA,
        "source": source,
        "drawing_units": drawing_units,
        "tubes": [_tube(tube) for tube in tubes],
        "findings": [finding_value(f) for f in findings],
        "ignored": [{"kind": i.kind, "count": i.count, "why": i.why} for i in ignored],
    }


def error_document(error: ElbowroomError) -> dict[str, Any]:
    """A failed reading as plain values: what a program gets instead of a table."""
    return {
        "schema": ERROR_SCHEMA,
        "error": {"code": error.code, "message": error.message, "file": error.file, "where": error.where},
    }


def finding_value(finding: Finding) -> dict[str, Any]:
    """A finding with the keys every ``--json`` output shares."""
    return {
        "code": finding.code,
        "severity": finding.severity,
        "tube": finding.tube,
        "bend": finding.bend,
        "message": finding.message,
        "measured": finding.measured,
        "limit": finding.limit,
        "unit": finding.unit,
        "at": None if finding.at is None else list(finding.at),
    }


def section_value(section: Section) -> dict[str, Any]:
    """A section: shape, od, wall; height and corner for square and rectangular; label when it has one."""
    value: dict[str, Any] = {"shape": section.shape, "od": section.od, "wall": section.wall}
    if not section.is_round:
        value["height"] = section.height
        value["corner"] = section.corner
    if section.label:
        value["label"] = section.label
    return value


def _tube(tube: Tube) -> dict[str, Any]:
    run = tube.run
    # adding 0.0 writes a negative zero as 0.0
    return {
        "name": run.name,
        "layer": run.layer,
        "closed": run.closed,
        "section": None if tube.section is None else section_value(tube.section),
        "start": _point(run.start),
        "end": _point(run.end),
        "bends": [
            {"feed": b.feed + 0.0, "rotation": b.rotation + 0.0, "angle": b.angle, "clr": b.clr}
            for b in run.table.bends
        ],
        "tail": run.table.tail + 0.0,
        "developed_length": run.table.developed_length,
        "deviation": run.deviation,
    }


def _point(p: Vec) -> list[float]:
    return [p[0] + 0.0, p[1] + 0.0, p[2] + 0.0]


def dumps(document: Mapping[str, Any]) -> str:
    """A document as text: one line per key, and one line per item of a list beneath it.

    Only the C encoder works on the long lists; characters outside ASCII are escaped, so that
    the text is the same in every terminal's encoding.

    Raises:
        WriteError: a number is NaN or infinite, which JSON cannot say.
    """
    encode = json.JSONEncoder(allow_nan=False).encode
    lines = []
    try:
        for key, value in document.items():
            if isinstance(value, list) and value:
                text = "[\n  " + ",\n  ".join(map(encode, value)) + "\n ]"
            else:
                text = encode(value)
            lines.append(f" {encode(key)}: {text}")
    except ValueError as error:
        raise WriteError(f"A value of {document.get('schema')} is not a finite number, and JSON has none.") from error
    return "{\n" + ",\n".join(lines) + "\n}\n"
