"""Writes docs/findings.md anew: run it after adding a finding code."""

from pathlib import Path

from converter.audit.catalog import findings_markdown

if __name__ == "__main__":
    page = Path(__file__).resolve().parent.parent / "docs" / "findings.md"
    page.write_text(findings_markdown(), encoding="utf-8")
    print(f"wrote {page}")
