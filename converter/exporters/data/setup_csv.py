"""The set-ups of a job as CSV: a row for each stick, then one for each bend in the order made.

The numbers are those of ``setup --json``. docs/setup-csv.md describes every column.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from converter.bending.setup.setup import Setup, Step
from converter.bending.setup.words import turn_words
from converter.exporters.data.table_csv import csv_text, degrees_cell, length_cells, length_heads, text_cell, yes_cell
from converter.findings import Finding, refused_bends
from converter.shop.sections import describe
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job

#: What the row of a stick has under ``bend``.
STICK = "stick"


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-setup.csv``."""
    text = setup_csv(job.shown.setups, job.display, job.shown.findings)
    out.path(f"{options.stem}-setup.csv").write_text(text, encoding="utf-8", newline="")


def setup_csv(setups: Iterable[Setup], display: Display, findings: Iterable[Finding] = ()) -> str:
    """The set-ups as CSV text with CRLF line ends.

    Args:
        setups: in order.
        display: unit of the lengths; with a denominator columns of fractions stand beside the exact ones.
        findings: everything said of them: a bend that an error names gets no mark and no stop.

    Raises:
        WriteError: a value is not a finite number.
    """
    setups = tuple(setups)
    as_set = any(setup.machine.stop_step is not None or setup.machine.turn_step is not None for setup in setups)
    refused = refused_bends(findings)
    rows = [
        row for setup in setups for row in (_stick(setup, display, as_set), *_bends(setup, display, as_set, refused))
    ]
    return csv_text(_header(display, as_set), rows)


#: Lengths of the row of a stick, and of the rows of its bends.
_OF_STICK = ("stick_length", "developed_length", "extra_a", "extra_b", "cope_a", "cope_b")
_OF_BEND = ("mark", "mark_from_a", "mark_from_b", "start", "arc", "radius_out", "turn_arc")


#: What stands beside the exact angles where the machine has steps.
_AS_SET = ("stop_set_deg", "comes_out_deg", "turn_set_deg", "turn_set_so_far_deg")


def _header(display: Display, as_set: bool) -> list[str]:
    return [
        "tube", "bend", "order", "feed_from",
        *(head for name in _OF_STICK for head in length_heads(name, display)),
        "coped", "can_be_held", "section", "metal", "die",
        *(head for name in _OF_BEND for head in length_heads(name, display)),
        "target_angle_deg", "stop_angle_deg", "springback_source",
        "turn_deg", "turn_so_far_deg", "turn_seen_from_fed_end", "clamp_inverted", "refused",
        *(_AS_SET if as_set else ()),
    ]  # fmt: skip


def _stick(setup: Setup, display: Display, as_set: bool) -> list[str]:
    tube = setup.tube
    lengths = (
        setup.stick_length, setup.length, setup.extra_a, setup.extra_b, setup.cuts.change("A"), setup.cuts.change("B"),
    )  # fmt: skip
    return [
        text_cell(tube.name), STICK, "", setup.feed_from,
        *(cell for mm in lengths for cell in length_cells(mm, display)),
        " ".join(setup.cuts.by_end), yes_cell(not setup.plan.lacks),
        text_cell(describe(tube.section, display)) if tube.section else "", text_cell(tube.metal or ""), "",
        *(cell for _ in _OF_BEND for cell in length_cells(None, display)),
        *[""] * (8 + len(_AS_SET) * as_set),
    ]  # fmt: skip


def _bends(setup: Setup, display: Display, as_set: bool, refused: frozenset[tuple[str, int]]) -> Iterable[list[str]]:
    for order, step in enumerate(setup.steps, 1):
        is_refused = (setup.tube.name, step.bend) in refused
        stop = "" if is_refused else degrees_cell(step.stop)
        given = [degrees_cell(one) for one in (step.stop_set, step.comes_out, step.turn_set, step.total_set)]
        if is_refused:
            given[:2] = "", ""
        yield [
            text_cell(setup.tube.name), str(step.bend), str(order), setup.feed_from,
            *(cell for _ in _OF_STICK for cell in length_cells(None, display)),
            "", "", "", "", text_cell(step.die.name) if step.die else "",
            *(cell for mm in _lengths(setup, step, is_refused) for cell in length_cells(mm, display)),
            degrees_cell(step.target), stop, step.springback.source,
            degrees_cell(step.roll), degrees_cell(step.total), turn_words(step.roll),
            yes_cell(step.inverted is not None), yes_cell(is_refused), *(given if as_set else ()),
        ]  # fmt: skip


def _lengths(setup: Setup, step: Step, is_refused: bool) -> tuple[float | None, ...]:
    places = (step.mark, setup.mark_from("A", step), setup.mark_from("B", step), step.start)
    return (*((None,) * len(places) if is_refused else places), step.stick, step.radius, step.roll_arc)
