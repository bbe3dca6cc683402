"""The few calls the command line makes, for programs too: load, check, set up, export.

>>> from converter import api
>>> result = api.check(api.load("rail.dxf", api.Settings(sections=("1.75x0.120in",))))  # doctest: +SKIP
>>> [finding.message for finding in result.findings]  # doctest: +SKIP
"""

from __future__ import annotations

from converter.api.reading import load
from converter.api.result import NoRunsError, Result, Work, sorted_findings
from converter.api.working import check, cope, set_up, with_joints, work_out
from converter.api.writing import (
    export,
    export_job,
    foresee,
    shows_left_out,
    shows_sticks,
    shows_whole,
    usable_formats,
    whole_job,
    write_picture,
    write_sheets,
)
from converter.settings import Settings

__all__ = [
    "NoRunsError",
    "Result",
    "Settings",
    "Work",
    "check",
    "cope",
    "export",
    "export_job",
    "foresee",
    "load",
    "set_up",
    "shows_left_out",
    "shows_sticks",
    "shows_whole",
    "sorted_findings",
    "usable_formats",
    "whole_job",
    "with_joints",
    "work_out",
    "write_picture",
    "write_sheets",
]
