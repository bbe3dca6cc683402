"""The page of all finding codes, made from the list the program itself uses."""

from __future__ import annotations

from converter.findings import CODES

_HEAD = """# Findings

Everything elbowroom has to say about a drawing carries one of these codes. An **error** scraps the
stick and makes the exit status 1; a **warning** wants a look; a **note** tells what was done.
Beside its code each finding has one sentence with what was measured and the limit, the place (tube,
bend, layer, entity handle) and what would cure it.

This page is made from the program's own list by `python tests/write_findings.py`; a test keeps the two equal.

| code | usually | meaning |
|---|---|---|
"""


def findings_markdown() -> str:
    """docs/findings.md: one row per code, by alphabet."""
    rows = [f"| `{code}` | {severity} | {meaning} |\n" for code, (severity, meaning) in sorted(CODES.items())]
    return _HEAD + "".join(rows)
