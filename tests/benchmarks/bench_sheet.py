"""How the job sheet grows with the job: ``python tests/benchmarks/bench_sheet.py [--pdf] [COUNT ...]``.

Tubes of eight bends, no two alike. Processor seconds of working the job out and of writing its sheet in one process,
the size of the file, and the exponent of growth from the smallest job to the largest. Targets: the exponent is at most
1.1, and 200 tubes are at most 8 MB of HTML. Not met: that writing takes at most four times the working out (11 to
16; it was 2.4 until the set-up search became many times quicker).
"""

from __future__ import annotations

import argparse
import sys
import time
from math import log
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "helpers"), str(ROOT)]


def measured(count: int, pdf: bool) -> tuple[float, float, int]:
    """Seconds of working out, seconds of writing, bytes."""
    from many_tubes import different_tubes
    from sheet_tools import job_of, shop

    from converter.exporters.sheet.content import job_sheet
    from converter.exporters.sheet.html import html_text
    from converter.exporters.sheet.pdf.write import sheet_pdf

    job = job_of(different_tubes(count), shop())
    start = time.process_time()
    assert job.findings is not None and job.setups and job.parts
    worked_out = time.process_time()
    sheet = job_sheet([job])
    data = sheet_pdf(sheet) if pdf else html_text(sheet).encode()
    return worked_out - start, time.process_time() - worked_out, len(data)


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("counts", nargs="*", type=int, default=[25, 50, 100, 200])
    parser.add_argument("--pdf", action="store_true", help="the PDF instead of the HTML sheet")
    given = parser.parse_args()
    measured(2, given.pdf)  # what is loaded once
    rows = []
    print(f"{'tubes':>6} {'worked out':>11} {'written':>9} {'ratio':>6} {'MB':>6}")
    for count in given.counts:
        rows.append((count, *measured(count, given.pdf)))
        _, work, write, size = rows[-1]
        print(f"{count:>6} {work:>9.2f} s {write:>7.2f} s {write / work:>6.2f} {size / 1e6:>6.2f}", flush=True)
    (few, _, first, _), (many, _, last, _) = rows[0], rows[-1]
    if many > few:
        print(f"grows as tubes ** {log(last / first) / log(many / few):.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
