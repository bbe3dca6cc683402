"""What there is to say of a drawing: findings as data, their words in one catalogue, and sentences made of them.

A `Finding` is data, never a log line: it carries what was measured, the limit, where it is. `CODES` is the only list
of codes; docs/findings.md is generated from it, and a test keeps the two equal.
"""

from converter.findings import catalogue  # noqa: F401 - fills the list of codes
from converter.findings.entries import CODES, ERROR, NOTE, SEVERITIES, WARNING, Clause, Reason, define
from converter.findings.finding import Finding, has_errors, refused_bends

__all__ = [
    "CODES",
    "ERROR",
    "NOTE",
    "SEVERITIES",
    "WARNING",
    "Clause",
    "Finding",
    "Reason",
    "define",
    "has_errors",
    "refused_bends",
]
