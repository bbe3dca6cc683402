"""How each answer grows with the job, from 10 tubes to 3,000, and a log-log picture of it.

Used by ``benchmark.py``. Tubes of four bends, no two alike, so that nothing is worked out once for many. Every point is
processor time of one run in this process; a series ends where a run has taken longer than the patience given.
"""

from __future__ import annotations

import gc
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from html import escape
from math import ceil, floor, log, log10
from pathlib import Path

COUNTS = (10, 30, 100, 300, 1000, 3000)
#: One color for each series, told apart by people who do not see red and green, too (Okabe and Ito 2008).
COLORS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#000000")


@dataclass
class Series:
    """Seconds of one answer by number of tubes."""

    name: str
    points: list[tuple[int, float]] = field(default_factory=list)

    @property
    def exponent(self) -> float | None:
        """The slope of the line through its points from 100 tubes on, log over log, by least squares; None for few."""
        far = [(log(n), log(s)) for n, s in self.points if n >= 100 and s > 0.0]
        if len(far) < 2:
            return None
        x, y = sum(a for a, _ in far) / len(far), sum(b for _, b in far) / len(far)
        return sum((a - x) * (b - y) for a, b in far) / sum((a - x) ** 2 for a, _ in far)


def series(folder: Path, counts: Sequence[int], patience: float) -> list[Series]:
    """Every answer for each number of tubes.

    Args:
        folder: to write files to.
        counts: ascending numbers of tubes.
        patience: seconds; the series of an answer that took longer ends there.
    """
    found = []
    for name, prepared in ANSWERS.items():
        one = Series(name)
        prepared(folder, 2)()  # what is loaded once
        for count in counts:
            answer = prepared(folder, count)
            gc.collect()
            begun = time.process_time()
            answer()
            one.points.append((count, time.process_time() - begun))
            if one.points[-1][1] > patience:
                break
        found.append(one)
    return found


def _table(folder: Path, count: int) -> Callable[[], object]:
    from many_tubes import different_tubes

    from converter import Job, open_job, write
    from converter.exporters.data.table_json import dumps, job_table

    job = Job.of_tubes(different_tubes(count, bends=4), source=f"grown-{count}")
    # what is written needs no verdict, which would take longer than all the rest
    job.__dict__["findings"] = ()
    (path,) = write([job], str(folder), ["dxf"], force=True)

    def answer() -> object:
        read = open_job(str(path))
        assert len(read.tubes) == count, len(read.tubes)
        return dumps(job_table(read, read.reading_findings))

    return answer


def _audit(folder: Path, count: int) -> Callable[[], object]:
    from many_tubes import different_tubes
    from sheet_tools import job_of, shop

    job = job_of(different_tubes(count, bends=4), shop())
    return lambda: job.findings


def _setup(folder: Path, count: int) -> Callable[[], object]:
    from many_tubes import different_tubes
    from sheet_tools import job_of, shop

    job = job_of(different_tubes(count, bends=4), shop())
    return lambda: job.setups


def _survey(folder: Path, count: int) -> Callable[[], object]:
    from frames import rack

    from converter.joints.finding.joints import survey_frame

    tubes = rack(max(2, round(count / 5)))
    return lambda: survey_frame(tubes)


def _sheet(folder: Path, count: int) -> Callable[[], object]:
    from many_tubes import different_tubes
    from sheet_tools import job_of, shop

    from converter.exporters.sheet.content import job_sheet
    from converter.exporters.sheet.html import html_text

    job = job_of(different_tubes(count, bends=4), shop())
    assert job.findings is not None and job.setups and job.parts
    return lambda: html_text(job_sheet([job]))


def _writing(kind: str) -> Callable[[Path, int], Callable[[], object]]:
    def prepared(folder: Path, count: int) -> Callable[[], object]:
        from many_tubes import different_tubes

        from converter import Job, write

        job = Job.of_tubes(different_tubes(count, bends=4), source=f"written-{count}")
        job.__dict__["findings"] = ()
        return lambda: write([job], str(folder), [kind], force=True)

    return prepared


ANSWERS: dict[str, Callable[[Path, int], Callable[[], object]]] = {
    "table": _table, "joints": _survey, "set-up": _setup, "audit": _audit, "HTML sheet": _sheet,
    "DXF out": _writing("dxf"), "STEP out": _writing("step"),
}  # fmt: skip


def table_text(found: Sequence[Series]) -> str:
    """A Markdown table: seconds by number of tubes, and the exponents."""
    counts = sorted({count for one in found for count, _ in one.points})
    lines = ["| tubes | " + " | ".join(f"{count:,}" for count in counts) + " | grows as tubes to the power of |"]
    lines.append("|---|" + "---:|" * (len(counts) + 1))
    for one in found:
        seconds = dict(one.points)
        cells = [f"{seconds[count]:.2f} s" if count in seconds else "" for count in counts]
        power = "" if one.exponent is None else f"{one.exponent:.2f}"
        lines.append(f"| {one.name} | " + " | ".join(cells) + f" | {power} |")
    return "\n".join(lines) + "\n"


def picture(found: Sequence[Series]) -> str:
    """The same as an SVG: processor time over tubes, both logarithmic, and a line of slope 1."""
    points = [point for one in found for point in one.points]
    low_x, high_x = log10(min(n for n, _ in points)), log10(max(n for n, _ in points))
    low_y = floor(log10(max(1e-3, min(s for _, s in points))))
    high_y = ceil(log10(max(s for _, s in points)))
    width, height, left, right, top, bottom = 760.0, 460.0, 70.0, 170.0, 20.0, 50.0

    def at(n: float, s: float) -> tuple[float, float]:
        x = left + (log10(n) - low_x) / (high_x - low_x) * (width - left - right)
        y = height - bottom - (log10(max(s, 1e-3)) - low_y) / (high_y - low_y) * (height - top - bottom)
        return round(x, 1), round(y, 1)

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        'font-family="sans-serif" font-size="13">',
        "<title>Processor time of each answer over the number of tubes</title>",
        f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>',
    ]
    for count in sorted({n for n, _ in points}):
        (x, y), (_, end) = at(count, 10.0**low_y), at(count, 10.0**high_y)
        out.append(f'<path d="M{x} {y}V{end}" stroke="#ddd"/>')
        out.append(f'<text x="{x}" y="{y + 20}" text-anchor="middle">{count:,}</text>')
    for power in range(low_y, high_y + 1):
        (x, y), (end, _) = at(10.0**low_x, 10.0**power), at(10.0**high_x, 10.0**power)
        out.append(f'<path d="M{x} {y}H{end}" stroke="#ddd"/>')
        out.append(f'<text x="{x - 8}" y="{y + 4}" text-anchor="end">{10.0**power:g} s</text>')
    middle = (left + width - right) / 2.0
    out.append(f'<text x="{middle:g}" y="{height - 8:g}" text-anchor="middle">tubes of four bends</text>')
    # slope 1, through the middle of what is shown
    first = 10.0 ** ((low_y + high_y) / 2.0 - (high_x - low_x) / 2.0)
    (x, y), (end_x, end_y) = at(10.0**low_x, first), at(10.0**high_x, first * 10.0 ** (high_x - low_x))
    out.append(f'<path d="M{x} {y}L{end_x} {end_y}" stroke="#999" stroke-dasharray="3 4" fill="none"/>')
    labels: list[tuple[float, float, str, str]] = []
    for one, color in zip(found, COLORS, strict=False):
        row = [at(n, s) for n, s in one.points]
        out.append(
            f'<path d="M{" L".join(f"{x} {y}" for x, y in row)}" stroke="{color}" stroke-width="2" fill="none"/>'
        )
        out += [f'<circle cx="{x}" cy="{y}" r="3" fill="{color}"/>' for x, y in row]
        power = "" if one.exponent is None else f", power {one.exponent:.2f}"
        labels.append((row[-1][1], row[-1][0], f"{one.name}{power}", color))
    beside = 0.0
    for y, x, text, color in sorted(labels):
        beside = max(y + 4.0, beside + 16.0)
        edge = width - right + 12.0
        out.append(
            f'<path d="M{x + 4} {y}L{edge - 3} {beside - 4:g}" stroke="{color}" stroke-width="0.5" fill="none"/>'
        )
        out.append(f'<text x="{edge:g}" y="{beside:g}" fill="{color}">{escape(text)}</text>')
    return "\n".join([*out, "</svg>"]) + "\n"
