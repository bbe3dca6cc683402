"""Where things lie in the repository."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
FIXTURES = ROOT / "fixtures"
