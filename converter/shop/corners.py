"""Sharp corners: bent as one tube, or mitred as a tube for each stretch between two, as option and job file choose.

The nearest saying wins: the job file for the run, for its layer, the option, the job file's default; unsaid they are
bent. What makes mitres likely where nothing is said is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache

from converter.findings import NOTE, WARNING, Clause, Finding
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.reducer.corners import is_sharp, sharp_corners, split_at_corners
from converter.reducer.reduce import with_size_finding
from converter.shop.job_file import JobFile
from converter.shop.model import Die, Shop
from converter.tolerances import PAST_ANGLE, PAST_LENGTH

BEND, MITRE = "bend", "mitre"
#: Degrees by which a corner of a frame may miss a right angle.
_RIGHT_ANGLE = 0.5
#: Degrees; up to this it is no corner that two tubes are mitred at but one that was drawn badly.
_SLIGHT = 10.0


def _corner_choice(run: Run, job: JobFile | None, option: str | None) -> str | None:
    """'mitre', 'bend', or None where nothing says how the corners of a run are made."""
    job = job or JobFile()
    return job.of_run(run).corner or job.for_layer(run.layer).corner or option or job.default.corner


def with_corners_mitred(
    runs: Sequence[Run], job: JobFile | None, option: str | None, unit: str
) -> tuple[list[Run], list[Finding]]:
    """The runs, those apart at their sharp corners whose corners are mitred; a note on each of them.

    Args:
        runs: as reduced.
        job: the job file, or None.
        option: 'mitre', 'bend' or None.
        unit: of the drawing; see `converter.reducer.reduce.with_size_finding`.
    """
    names = {run.name for run in runs}
    found: list[Run] = []
    notes: list[Finding] = []
    for run in runs:
        corners = sharp_corners(run)
        if not corners or _corner_choice(run, job, option) != MITRE:
            found.append(run)
            continue
        told = tuple(finding for finding in run.findings if finding.code != "run-size")
        stretches = split_at_corners(replace(run, findings=told), names)
        names |= {one.name for one in stretches}
        found += [with_size_finding(one, unit) for one in stretches]
        values = {"run": run.name, "corners": len(corners), "tubes": tuple(one.name for one in stretches)}
        notes.append(Finding("corner-mitred", layer=run.layer, values=values))
    return found, notes


def corner_findings(tubes: Iterable[Tube], shop: Shop, job: JobFile | None, option: str | None) -> list[Finding]:
    """For each tube whose sharp corners are bent unasked though mitres are likely: that they are, and why mitres are.

    Args:
        tubes: with their metal; a radius or die that the job file gives one asks for bends.
        shop: whose dies count.
        job: the job file, or None.
        option: 'mitre', 'bend' (a radius asks for bends too) or None.
    """
    found = []
    job = job or JobFile()
    tubes = list(tubes)
    has_arcs = any(_has_arcs(tube.drawn or tube.run) for tube in tubes)

    @cache
    def has_die(section: Section) -> bool:
        return bool(shop.dies_for(section))

    for tube in tubes:
        drawn = tube.drawn or tube.run
        corners = sharp_corners(drawn)
        if not corners or _corner_choice(drawn, job, option):
            continue
        if max(drawn.table.bends[i].angle for i in corners) <= _SLIGHT + PAST_ANGLE:
            continue
        entry = job.choice(drawn)
        if entry.clr is not None or entry.die is not None:
            continue
        no_die = tube.section is not None and not has_die(tube.section)
        reasons, severity = _reasons(tube, drawn, None if tube.die is None else shop.die(tube.die), no_die, has_arcs)
        if not reasons or [reason.name for reason in reasons] == ["corner-no-die"]:  # which is an error of the audit
            continue
        count = len(corners) + (0 if drawn.closed else 1)
        found.append(
            Finding(
                "corner-choice",
                severity=severity,
                tube=tube.name,
                layer=drawn.layer,
                values={"corners": len(corners), "tubes": count, "reasons": tuple(reasons)},
            )
        )
    return found


def _has_arcs(drawn: Run) -> bool:
    """Whether bends were drawn as arcs: who draws those leaves a corner sharp where two tubes meet."""
    return any(bend.clr is not None for bend in drawn.table.bends)


def _reasons(tube: Tube, drawn: Run, die: Die | None, no_die: bool, has_arcs: bool) -> tuple[list[Clause], str]:
    """Why mitres are likely, and how likely: a note for mild reasons, else a warning.

    Args:
        tube: as bent.
        drawn: as drawn.
        die: the tube's.
        no_die: whether none of the shop takes its section.
        has_arcs: whether any tube of the drawing has bends drawn as arcs.
    """
    section = tube.section
    flats = section is not None and section.cylinder is None
    too_short = _too_short(tube, drawn, die)
    bends = drawn.table.bends
    closed = drawn.closed and all(
        is_sharp(bend) and abs(bend.angle - 90.0) <= _RIGHT_ANGLE + PAST_ANGLE for bend in bends
    )
    own_arcs = _has_arcs(drawn)
    reasons = [Clause.of("corner-flats", section=section)] if flats else []
    seen = {
        "corner-no-die": no_die,
        "corner-too-short": too_short,
        "corner-closed": closed,
        "corner-arcs": own_arcs,
        "corner-arcs-elsewhere": has_arcs and not own_arcs,
    }
    reasons += [Clause.of(name) for name, holds in seen.items() if holds]
    return reasons, WARNING if no_die or too_short or own_arcs or (closed and flats) else NOTE


def _too_short(tube: Tube, drawn: Run, die: Die | None) -> bool:
    """Whether a straight beside a corner has no room for its bends, or none for the die to hold between two of them."""
    straights, bends = tube.run.table.straights, drawn.table.bends
    for i, straight in enumerate(straights):
        beside = [bend for bend in bends[max(i - 1, 0) : i + 1] if is_sharp(bend)]
        within = 0 < i < len(bends)
        need = die.between if die is not None and within else 0.0
        if beside and straight < need - PAST_LENGTH:
            return True
    return False
