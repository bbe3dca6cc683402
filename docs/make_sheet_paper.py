"""Makes docs/sheet-paper.png: a page of the demo job's printed sheet. Needs pdftoppm (Debian: poppler-utils).

python docs/make_sheet_paper.py
"""

from __future__ import annotations

import os
import subprocess
import tempfile
from pathlib import Path

from pypdf import PdfReader

from converter.cli.main import main as elbowroom

HERE = Path(__file__).resolve().parent
SHOWN = "HANDLE 1.25x0.083in"


def main() -> None:
    """Write the demo, find the page, picture."""
    os.environ.setdefault("SOURCE_DATE_EPOCH", "1773014400")
    with tempfile.TemporaryDirectory() as folder:
        elbowroom(["demo", "--out", folder, "--to", "sheet-pdf", "--quiet", "--fraction", "16"])
        path = Path(folder) / "out" / "boathouse-sheet.pdf"
        reader = PdfReader(path)
        entry = next(one for one in reader.outline if one.title == SHOWN)
        number = str(reader.get_destination_page_number(entry) + 1)
        command = ["pdftoppm", "-r", "90", "-f", number, "-l", number, "-png", "-singlefile"]
        subprocess.run([*command, str(path), str(HERE / "sheet-paper")], check=True)


if __name__ == "__main__":
    main()
