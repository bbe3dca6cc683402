"""``elbowroom audit``: findings against the shop file; the exit status tells."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from converter.cli import batches, options, values
from converter.cli.console import Console
from converter.cli.inputs import open_jobs
from converter.cli.seen import AsReadPicture, picture_option
from converter.errors import OptionError

if TYPE_CHECKING:
    from converter.job import Job
    from converter.settings import Settings


@click.command(
    short_help="Check drawings against the shop: what cannot be bent, and why.",
    epilog=options.example(
        "elbowroom audit rail.dxf --shop myshop.toml --section 1.75x0.120in",
        "elbowroom audit *.dxf --shop myshop.toml --job job.toml --json",
        "elbowroom audit drawings --each --shop myshop.toml --out audited",
        reads=True,
    ),
)
@click.argument("sources", metavar="INPUT...", nargs=-1, required=True)
@batches.batch_to_watch
@click.option(
    "--out",
    metavar="DIR",
    callback=values.folder,
    help="With --each: folder to write summary and findings to; what has not changed is skipped.  [none written]",
)
@options.settings_to_bend
@picture_option
@options.talking_lists
def audit(
    sources: tuple[str, ...],
    batch: batches.BatchChoices,
    out: str | None,
    settings: Settings,
    picture: AsReadPicture,
    console: Console,
) -> int:
    """Check every bend of every INPUT against the shop's dies and machines.

    Each finding names the tube and the bend, what was measured, the limit, and what would cure
    it. Exit status 0: it can be bent; 1: an error would scrap a stick; 2: a file could not be read.
    """
    if batch.is_batch:
        return _audit_each(sources, batch, out, settings, picture, console)
    batches.check_together(sources)
    batches.check_one_process(batch)
    batches.check_csv(console)
    if out is not None:
        raise OptionError("--out goes with --each: audit writes no files of drawings that are checked together.")
    picture.check(sources)

    jobs = open_jobs(sources, settings, console, "checking", ask=lambda job: job.findings, open_one=picture.open_job)
    picture.draw(jobs[0], console)
    if console.as_json:
        from converter.exporters.data.audit_json import audit_document

        console.json(audit_document(jobs))
    else:
        for i, job in enumerate(jobs):
            if i:
                console.result("")
            console.result(verdict(job, console))
    return 1 if any(job.has_errors for job in jobs) else 0


def _audit_each(
    sources: tuple[str, ...],
    batch: batches.BatchChoices,
    out: str | None,
    settings: Settings,
    picture: AsReadPicture,
    console: Console,
) -> int:
    from converter.batch import AuditWork

    if picture.file is not None:
        raise OptionError("--picture shows one drawing: leave out --each, and name one INPUT.")
    if picture.force and out is None:
        raise OptionError("--force goes with --out, whose files it replaces: give both, or neither.")
    return batches.run_batch(sources, AuditWork(), settings, batch, console, out=out, force=picture.force)


def verdict(job: Job, console: Console) -> str:
    """What was checked, every finding, the tubes to look at, and the sum of it in one line."""
    from converter.cli.screens.findings import counted, findings_text, ignored_text, tally
    from converter.cli.screens.grid import fill
    from converter.cli.screens.page import bold
    from converter.cli.screens.table import heading
    from converter.findings import ERROR
    from converter.quoting import one_line

    lines = [heading(job)]
    if job.shown.findings:
        lines += ["", findings_text(job.shown.findings, job.display, everything=console.verbose), ""]
    left_out = ignored_text(job.drawing.ignored, job.display)
    if left_out:
        lines += [left_out, ""]
    overview = tubes_to_look_at(job, everything=console.verbose)
    if overview:
        lines += [overview, ""]
    bad = {f.tube for f in job.shown.findings if f.severity == ERROR}
    sum_up = f"checked {counted(job.shown.bend_count, 'bend')} in {counted(len(job.shown.tubes), 'tube')}"
    shop = "the demo shop" if job.shop.is_demo else one_line(job.shop.name)
    lines += [
        bold(line) for line in fill(f"{sum_up} against {shop}: {tally(job.shown.findings)}", rest="  ").split("\n")
    ]
    if bad - {None}:
        lines.append(f"{counted(len(bad - {None}), 'tube')} cannot be made as drawn.")
    if job.shown.others_with_errors:
        lines.append(f"{counted(job.shown.others_with_errors, 'tube')} not shown cannot be made as drawn either.")
    return "\n".join(lines)


#: Tubes and bends listed in the overview; more are counted.
_TUBES, _BENDS = 20, 12


def tubes_to_look_at(job: Job, *, everything: bool = False) -> str:
    """A row for each tube with an error or a warning; '' when there is none, or no other tube to tell it from.

    Args:
        job: the job.
        everything: list all tubes and all bends, however many.
    """
    from converter.cli.screens.findings import bend_marks, counted, severity_tint
    from converter.cli.screens.grid import Grid
    from converter.cli.screens.page import faint
    from converter.findings import ERROR, WARNING
    from converter.quoting import one_line

    counts: dict[str, dict[str, int]] = {}
    for finding in job.shown.findings:
        if finding.tube is not None and finding.severity in (ERROR, WARNING):
            of_tube = counts.setdefault(finding.tube, {ERROR: 0, WARNING: 0})
            of_tube[finding.severity] += 1
    if not counts or len(job.shown.tubes) < 2:
        return ""
    bends: dict[str, list[int]] = {}
    for name, bend in sorted(bend_marks(job.shown.findings)):
        bends.setdefault(name, []).append(bend)
    names = [tube.run.name for tube in job.shown.tubes if tube.run.name in counts]
    shown = names if everything or len(names) <= _TUBES + 1 else names[:_TUBES]
    rows, tint = [], {}
    for i, name in enumerate(shown):
        errors, warnings = counts[name][ERROR], counts[name][WARNING]
        listed = bends.get(name, [])
        words = ", ".join(str(bend) for bend in (listed if everything else listed[:_BENDS]))
        if len(listed) > _BENDS and not everything:
            words += f" and {len(listed) - _BENDS} more"
        rows.append([one_line(name), str(errors or ""), str(warnings or ""), words])
        tint[i] = severity_tint(ERROR if errors else WARNING)
    text = Grid(["tube", "errors", "warnings", "at bend"], rows, "lrrl", tint=tint, tint_last=False).text()
    if len(shown) < len(names):
        text += "\n" + faint(f"  and {counted(len(names) - len(shown), 'tube')} more (--verbose shows all)")
    return text
