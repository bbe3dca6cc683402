"""Checks whether a tube can exist as a solid at all, so that nobody looks for one in the STEP file in vain."""

from __future__ import annotations

from collections.abc import Iterable
from math import hypot

from converter.audit.registry import check
from converter.audit.subject import Subject
from converter.findings import Finding
from converter.model.metal import metal_findings


@check
def is_metal(subject: Subject) -> Iterable[Finding]:
    """The section can be swept along the run: no bend tighter than itself, no overlap, no corner without radius."""
    section, run = subject.tube.section, subject.tube.run
    if section is None:
        return ()
    # laying out every run costs more than all other checks together: only the doubtful ones are laid out
    reach = section.od / 2.0 if section.is_round else hypot(section.od, section.height) / 2.0
    doubtful = (run.closed and not section.is_round) or min(run.table.straights) < 0.0
    if doubtful or any(bend.clr is None or bend.clr <= reach for bend in subject.bends):
        return metal_findings(subject.tube)
    return ()
