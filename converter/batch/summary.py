"""A batch in one document: every drawing with its worst finding, as JSON and as CSV."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from converter.batch.drawings import BatchDrawings
from converter.batch.record import SUMMARY
from converter.batch.verdict import FAILED, WORDS, DrawingVerdict
from converter.errors import ElbowroomError
from converter.exporters.data.table_csv import csv_text, text_cell
from converter.exporters.data.table_json import counts_value, dumps
from converter.exporters.files import OutputSet
from converter.findings import ERROR
from converter.quoting import LONGEST_PATH, quoted

#: The summary as CSV, beside that as JSON.
SUMMARY_CSV = "elbowroom-batch.csv"


def closed_folders(gathered: BatchDrawings) -> list[DrawingVerdict]:
    """Failures that stand for folders which cannot be listed: nobody knows what is in them."""
    return [
        DrawingVerdict.of_failure(
            folder,
            ElbowroomError(
                f"The folder {quoted(folder, LONGEST_PATH)} cannot be listed ({why.lower()}): give yourself the right "
                "to read it, or name others.",
                code="unreadable",
                file=folder,
            ),
        )
        for folder, why in gathered.closed
    ]


def word_counts(verdicts: Sequence[DrawingVerdict]) -> dict[str, int]:
    """How many drawings each word holds for (`DrawingVerdict.word`), the worst first."""
    return {word: sum(verdict.word == word for verdict in verdicts) for word in WORDS}


def exit_status(verdicts: Sequence[DrawingVerdict]) -> int:
    """0: all is clean; 1: a drawing has errors; 2: nothing came of one."""
    words = {verdict.word for verdict in verdicts}
    return 2 if FAILED in words else 1 if ERROR in words else 0


def batch_document(command: str, gathered: BatchDrawings, verdicts: Sequence[DrawingVerdict]) -> dict[str, Any]:
    """``elbowroom/batch/1`` (docs/batch.md).

    Args:
        command: that was run on each.
        gathered: what the inputs stood for.
        verdicts: in the order of the inputs.
    """
    return {
        "schema": "elbowroom/batch/1",
        "command": command,
        "counts": {"drawings": len(verdicts), **word_counts(verdicts)},
        "unchanged": sum(verdict.unchanged for verdict in verdicts),
        "left_out": {"other_files": gathered.others, "links": gathered.links, "results": gathered.results},
        "drawings": [_drawing_value(verdict) for verdict in verdicts],
    }


def _drawing_value(verdict: DrawingVerdict) -> dict[str, Any]:
    worst, failure, cuts = verdict.worst, verdict.failure, verdict.cuts
    return {
        "source": verdict.source,
        "verdict": verdict.word,
        "tubes": verdict.tubes,
        "bends": verdict.bends,
        **counts_value(verdict.counts),
        "worst": None
        if worst is None
        else {
            "code": worst.code,
            "severity": worst.severity,
            "tube": worst.tube,
            "bend": worst.bend,
            "message": worst.message,
            "cure": worst.cure or None,
        },
        "failure": None if failure is None else {"code": failure.code, "message": failure.message},
        "cuts": None if cuts is None else {"pieces": cuts.pieces, "bars": cuts.bars, "bought": cuts.bought},
        "folder": verdict.folder,
        "written": list(verdict.files),
        "leftovers": list(verdict.leftovers),
        "unchanged": verdict.unchanged,
    }


def batch_csv(verdicts: Sequence[DrawingVerdict]) -> str:
    """A row per drawing, with CRLF line ends (RFC 4180)."""
    heads = [
        "drawing", "verdict", "tubes", "bends", "errors", "warnings", "notes", "code", "tube", "bend", "says", "cure",
        "pieces", "bars", "bought", "unchanged", "folder",
    ]  # fmt: skip
    rows = []
    for verdict in verdicts:
        worst, failure, cuts = verdict.worst, verdict.failure, verdict.cuts
        counts = counts_value(verdict.counts)
        code, says, cure = ("", "", "") if worst is None else (worst.code, worst.message, worst.cure)
        if failure is not None:
            code, says = failure.code, failure.message
        bend = None if worst is None else worst.bend
        rows.append([
            text_cell(verdict.source), verdict.word, str(verdict.tubes), str(verdict.bends),
            *(str(counts[name]) for name in ("errors", "warnings", "notes")),
            code, text_cell((worst and worst.tube) or ""), "" if bend is None else str(bend), text_cell(says),
            text_cell(cure), *(["", "", ""] if cuts is None else map(str, (cuts.pieces, cuts.bars, cuts.bought))),
            "yes" if verdict.unchanged else "no", text_cell(verdict.folder or ""),
        ])  # fmt: skip
    return csv_text(heads, rows)


def write_summary(
    out: str | os.PathLike[str], document: dict[str, Any], verdicts: Sequence[DrawingVerdict]
) -> list[Path]:
    """Write the summary as JSON and as CSV; that of an earlier batch is replaced.

    Raises:
        WriteError: it cannot be written.
    """
    with OutputSet(out, own=(SUMMARY, SUMMARY_CSV)) as files:
        files.write(SUMMARY, dumps(document))
        files.write(SUMMARY_CSV, batch_csv(verdicts))
    return [Path(out) / SUMMARY, Path(out) / SUMMARY_CSV]
