"""Writes docs/findings.md anew, from the list the program itself uses: run it after adding a finding code."""

from pathlib import Path

from converter.findings import CODES

_HEAD = """# Findings

Everything elbowroom has to say about a drawing carries one of these codes. An **error** scraps the
stick and makes the exit status 1; a **warning** wants a look; a **note** tells what was done.
Beside its code each finding has one sentence with what was measured and the limit, the place (tube,
bend, layer, entity handle) and what would cure it.

This page is made from the program's own list by `python docs/make_findings.py`; a test keeps the two equal.

| code | usually | meaning |
|---|---|---|
"""


def findings_markdown() -> str:
    """docs/findings.md: one row per code, by alphabet."""
    rows = [f"| `{code}` | {entry.severity} | {entry.meaning} |\n" for code, entry in sorted(CODES.items())]
    return _HEAD + "".join(rows)


if __name__ == "__main__":
    page = Path(__file__).resolve().parent.parent / "docs" / "findings.md"
    page.write_text(findings_markdown(), encoding="utf-8")
    print(f"wrote {page}")
