"""A quotation as text: a row per part, the total, what was not counted."""

from __future__ import annotations

from converter.cli.screens.findings import findings_text, titled
from converter.cli.screens.grid import Grid, fill
from converter.cli.screens.table import heading
from converter.job import Job
from converter.job.quotation import QUOTATION_HEADS, Quotation, money_text, quotation_rows
from converter.quoting import one_line


def quotation_text(job: Job, estimate: Quotation, *, everything: bool = False) -> str:
    """The whole page: heading, a row per part and one for all, what holds for it.

    Args:
        job: that is quoted.
        estimate: its quotation.
        everything: show findings with their details.
    """
    title = titled("Quotation, estimated", one_line(f"rates of {job.shop.name}; {money_text(estimate)}"))
    rows = [[one_line(name), *cells] for name, *cells in quotation_rows(estimate, job.display)]
    # what the shop file has no rate for is told below, and is no column of dashes
    known = [i for i in range(len(QUOTATION_HEADS)) if any(row[i] not in ("-", "") for row in rows)]
    heads = [QUOTATION_HEADS[i] for i in known]
    fold = heads.index("minutes") if "minutes" in heads else 0
    table = Grid(heads, [[row[i] for i in known] for row in rows], "l" + "r" * (len(heads) - 1), fold=fold).text()
    notes = "\n".join(fill(note) for note in estimate.notes)
    blocks = [heading(job), f"{title}\n{table}"]
    if estimate.findings:
        blocks.append(findings_text(estimate.findings, job.display, everything=everything))
    return "\n\n".join([*blocks, notes])
