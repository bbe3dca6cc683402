"""The JSON of the verdict: ``elbowroom/audit/1``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from converter.exporters.data.table_json import counts_value, finding_value, reading_value
from converter.findings.wording import grouped, severity_counts

if TYPE_CHECKING:
    from converter.job import Job


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
