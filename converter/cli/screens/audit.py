"""The verdict on a job as text: what was found, the tubes to look at, and the sum of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from converter.cli.screens.findings import bend_marks, findings_text, ignored_text, jobs_text, severity_tint
from converter.cli.screens.grid import Grid, fill
from converter.cli.screens.page import bold, faint
from converter.cli.screens.table import heading
from converter.findings import ERROR, WARNING, Finding
from converter.findings.wording import counted, grouped, severity_counts, tally
from converter.quoting import one_line

if TYPE_CHECKING:
    from converter.job import Job

#: Tubes and bends listed in the overview; more are counted.
_TUBES, _BENDS = 20, 12


def verdicts_text(jobs: Sequence[Job], *, everything: bool) -> str:
    """The verdict on each of several jobs, and what several of them share once below."""

    def one_text(job: Job, findings: Sequence[Finding]) -> str:
        return verdict_text(job, findings, everything=everything)

    return jobs_text(jobs, lambda job: job.shown.findings, one_text, everything=everything)


def verdict_text(job: Job, findings: Sequence[Finding] | None = None, *, everything: bool) -> str:
    """What was checked, every finding, the tubes to look at, and the sum of it in one line.

    Args:
        job: the job.
        findings: those that are told here; all when None.
        everything: show all findings with their details, and all tubes and bends to look at.
    """
    lines = [heading(job)]
    told = job.shown.findings if findings is None else findings
    if told:
        lines += ["", findings_text(told, job.display, everything=everything), ""]
    else:
        lines.append("")
    left_out = ignored_text(job.drawing.ignored, job.display)
    if left_out:
        lines += [left_out, ""]
    all_told = job.shown.findings
    groups = [(finding,) for finding in all_told] if everything else grouped(all_told, job.display)
    overview = _tubes_to_look_at(job, groups, everything)
    if overview:
        lines += [overview, ""]
    bad = {f.tube for f in job.shown.findings if f.severity == ERROR}
    sum_up = f"checked {counted(job.shown.bend_count, 'bend')} in {counted(len(job.shown.tubes), 'tube')}"
    shop = "the demo shop" if job.shop.is_demo else one_line(job.shop.name)
    summed = f"{sum_up} against {shop}: {tally(severity_counts(groups))}"
    lines += [bold(line) for line in fill(summed, rest="  ").split("\n")]
    if bad - {None}:
        lines.append(f"{counted(len(bad - {None}), 'tube')} cannot be made as drawn.")
    if job.shown.others_with_errors:
        lines.append(f"{counted(job.shown.others_with_errors, 'tube')} not shown cannot be made as drawn either.")
    return "\n".join(lines)


def _tubes_to_look_at(job: Job, groups: Sequence[Sequence[Finding]], everything: bool) -> str:
    """A row for each tube with an error or a warning, counted as they are told above.

    Args:
        job: the job.
        groups: its findings, those that are told together in one.
        everything: show all tubes and bends.

    Returns:
        '' when there is none, or no other tube to tell it from.
    """
    counts: dict[str, dict[str, int]] = {}
    for alike in groups:
        for name in {finding.tube for finding in alike if finding.tube is not None}:
            if (severity := alike[0].severity) in (ERROR, WARNING):
                counts.setdefault(name, {ERROR: 0, WARNING: 0})[severity] += 1
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
