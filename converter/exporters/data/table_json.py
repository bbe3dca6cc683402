"""The JSON that other programs rely on: ``elbowroom/table/1``, ``elbowroom/audit/1``, ``elbowroom/error/1``.

Lengths in mm, angles in degrees, numbers in full precision, never NaN or infinity. The
keys are described in docs/table-json.md; a change to them changes the number in ``schema``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from math import fsum
from typing import TYPE_CHECKING, Any

from converter.errors import ElbowroomError, WriteError
from converter.findings import SEVERITIES, Finding
from converter.findings.wording import SeverityCount, grouped, severity_counts
from converter.geometry.vectors import Vec
from converter.model.drawing import Ignored
from converter.model.end_cuts import EndCuts
from converter.model.run import Tube
from converter.model.section import Section
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job
    from converter.model.part import Part

TABLE_SCHEMA = "elbowroom/table/1"
ERROR_SCHEMA = "elbowroom/error/1"


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem.json``."""
    document = job_table(job, job.shown.findings)
    out.path(f"{options.stem}.json").write_text(dumps(document), encoding="ascii", newline="\n")


def job_table(job: Job, findings: Iterable[Finding]) -> dict[str, Any]:
    """The bend tables of the tubes shown of a job, with their parts, and how the drawing was read."""
    from converter.shop.assign import die_names

    drawing, shown = job.drawing, job.shown
    document = table_document(job.source, drawing.units, shown.tubes, findings, drawing.ignored, job.display)
    for value, tube in zip(document["tubes"], shown.tubes, strict=True):
        run = tube.run
        value |= {
            "metal_length": None if run.metal is None else run.table.developed_length + fsum(run.metal),
            "dies": list(die_names(tube, job.shop)),
            "free_curves": [list(stretch) for stretch in run.free_stretches] if run.is_free_curve else [],
        }
    return with_parts(document | reading_value(job), shown.parts)


def counts_value(counts: Iterable[SeverityCount]) -> dict[str, Any]:
    """How many findings there are of each severity, and in how many sentences the text tells them."""
    known = {one.severity: one for one in counts}
    names = {f"{severity}s": known.get(severity) for severity in SEVERITIES}
    return {name: one.places if one else 0 for name, one in names.items()} | {
        "sentences": {name: one.sentences if one else 0 for name, one in names.items()}
    }


def reading_value(job: Job) -> dict[str, Any]:
    """How a drawing was read: its unit, the tolerances, what was left out."""
    drawing = job.drawing
    return {
        "drawing_units": drawing.units,
        "read_as": drawing.read_as,
        # one typed as 0.007874in is 0.2 mm, not 0.1999996
        "tolerances": {name: float(f"{value:.5g}") for name, value in asdict(job.tolerances).items()},
        "ignored": ignored_value(drawing.ignored, job.display),
    }


def ignored_value(ignored: Iterable[Ignored], display: Display | None = None) -> list[dict[str, Any]]:
    """What was left out of a drawing; ``display``: how its reasons show lengths."""
    return [{"kind": one.kind, "count": one.count, "why": one.why_in(display)} for one in ignored]


def with_parts(document: dict[str, Any], parts: Iterable[Part], name: str = "name") -> dict[str, Any]:
    """A document whose ``tubes`` have names under a key: each gets its part and quantity; the parts come last."""
    found = list(parts)
    part_of = {name: part for part in found for name in part.names}
    for tube in document["tubes"]:
        part = part_of[tube[name]]
        tube |= {"part": part.name, "quantity": part.quantity, "turned": tube[name] in part.turned}
    return {**document, "parts": [part_value(part) for part in found]}


def part_value(part: Part) -> dict[str, Any]:
    """A part: its name, how many, its tubes as shown, which of them were drawn from the other end, what it mirrors."""
    return {
        "part": part.name,
        "quantity": part.quantity,
        "tubes": list(part.names),
        "turned": [name for name in part.names if name in part.turned],
        "mirror_of": part.mirror_of,
        "mirror_turned": part.mirror_turned,
    }


def together(documents: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The documents of several inputs as one; of a single input its own.

    ``inputs`` holds what each says of itself, and every item of a list names its ``source``.
    """
    if len(documents) == 1:
        return documents[0]
    first = documents[0]
    alone = [key for key, value in first.items() if not isinstance(value, list) and key not in ("schema", "source")]
    whole: dict[str, Any] = {"schema": first["schema"], "source": None}
    for key in alone:
        values = [document[key] for document in documents]
        whole[key] = values[0] if all(value == values[0] for value in values) else None
    whole["inputs"] = [{"source": one["source"], **{key: one[key] for key in alone}} for one in documents]
    for key, value in first.items():
        if isinstance(value, list):
            whole[key] = [{"source": one["source"], **item} for one in documents for item in one[key]]
    return whole


def table_document(
    source: str,
    drawing_units: str | None,
    tubes: Iterable[Tube],
    findings: Iterable[Finding] = (),
    ignored: Iterable[Ignored] = (),
    display: Display | None = None,
) -> dict[str, Any]:
    """The bend tables as plain values, ready for `dumps`.

    Args:
        source: the file as the user named it.
        drawing_units: the unit the drawing itself names, or None.
        tubes: in order; lone straights too.
        findings, ignored: everything said, everything left out.
        display: how sentences show lengths; mm for None.
    """
    return {
        "schema": TABLE_SCHEMA,
        "source": source,
        "drawing_units": drawing_units,
        "tubes": [tube_value(tube) for tube in tubes],
        "findings": [finding_value(f, display) for f in findings],
        "ignored": ignored_value(ignored, display),
    }


def error_document(error: ElbowroomError) -> dict[str, Any]:
    """A failed reading as plain values: what a program gets instead of a table."""
    return {
        "schema": ERROR_SCHEMA,
        "error": {"code": error.code, "message": error.message, "file": error.file, "where": error.where},
    }


def finding_value(finding: Finding, display: Display | None = None) -> dict[str, Any]:
    """A finding with the keys every ``--json`` output shares; ``display``: how its sentences show lengths."""
    return {
        "code": finding.code,
        "severity": finding.severity,
        "tube": finding.tube,
        "bend": finding.bend,
        "message": finding.message_in(display),
        "cure": finding.cure_in(display) or None,
        "measured": finding.measured,
        "limit": finding.limit,
        "unit": finding.unit,
        "at": None if finding.at is None else list(finding.at),
    }


def section_value(section: Section) -> dict[str, Any]:
    """A section: shape, od, wall; what other sizes its shape has; label when it has one."""
    sizes = {name: getattr(section, name) for name in ("od", "wall", *section.kind.table_sizes)}
    value: dict[str, Any] = {"shape": section.shape}
    # inches times 25.4 are 38.1, not 38.099999999999994
    value |= {name: round(size, 9) if isinstance(size, float) else size for name, size in sizes.items()}
    if section.label:
        value["label"] = section.label
    return value


def saw_cuts_value(cuts: EndCuts) -> dict[str, Any]:
    """By end the degrees from square of the one saw cut that makes it, and of each where several flats end it."""
    ends = cuts.by_end.items()
    return {
        "saw_angles": {end: cut.saw_angle for end, cut in ends if cut.saw_angle is not None},
        "flat_cuts": {end: [one.angle for one in cut.flat_cuts] for end, cut in ends if cut.flat_cuts},
    }


def tube_value(tube: Tube) -> dict[str, Any]:
    """A tube as plain values: its section, its place, its bend table."""
    run = tube.run
    # adding 0.0 writes a negative zero as 0.0
    return {
        "name": run.name,
        "layer": run.layer,
        "closed": run.closed,
        "section": None if tube.section is None else section_value(tube.section),
        "start": point_value(run.start),
        "end": point_value(run.end),
        "bends": [
            {"feed": b.feed + 0.0, "rotation": b.rotation + 0.0, "angle": b.angle, "clr": b.clr}
            for b in run.table.bends
        ],
        "tail": run.table.tail + 0.0,
        "developed_length": run.table.developed_length,
        "deviation": run.deviation,
    }


def point_value(p: Vec) -> list[float]:
    """A place or a direction; adding 0.0 writes a negative zero as 0.0."""
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


def audit_document(jobs: Sequence[Job]) -> dict[str, Any]:
    """``elbowroom/audit/1``: per input what was checked and everything that was found (docs/commands.md)."""
    return {
        "schema": "elbowroom/audit/1",
        "inputs": [
            {
                "source": job.source,
                "shop": job.shop.name,
                "demo_shop": job.shop.is_demo,
                "tubes": len(job.shown.tubes),
                "bends_checked": job.shown.bend_count,
                **counts_value(severity_counts(grouped(job.shown.findings, job.display))),
                **reading_value(job),
            }
            for job in jobs
        ],
        "findings": [
            {
                "source": job.source,
                **finding_value(finding, job.display),
                "layer": finding.layer,
                "handle": finding.handle,
            }
            for job in jobs
            for finding in job.shown.findings
        ],
    }
