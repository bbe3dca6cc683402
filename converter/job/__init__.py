"""The job: a drawing, the shop it is made in, and everything that is known of it, worked out once.

Everybody asks the job: commands, writers, programs. An answer is worked out when it is first asked for, always on
the whole drawing, and kept; so audit, set-up, sheet and files of one job cannot disagree.

>>> from converter import Settings, open_job
>>> job = open_job("rail.dxf", Settings(sections=("1.75x0.120in",)))  # doctest: +SKIP
>>> [finding.message for finding in job.findings]  # doctest: +SKIP
"""

from __future__ import annotations

from converter.job.job import Job, NoRunsError, once_per_job, open_job, sorted_findings
from converter.job.shown import Shown

__all__ = ["Job", "NoRunsError", "Shown", "once_per_job", "open_job", "sorted_findings"]
