"""How fast and how lean, as ratios measured in one run: ``python tests/benchmarks/benchmark.py``.

A script, not a test: times on a shared machine vary, ratios of two things done in turn vary
little. Every row says what was compared with what, the target, and whether it was met.
``--quick`` does fewer repetitions; ``--only NAME`` one row (see ``ROWS``).
"""

from __future__ import annotations

import argparse
import gc
import json
import math
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from places import ROOT

PYTHON = sys.executable


@dataclass(frozen=True)
class Row:
    """One line of the report: ours against the other, in ``unit``, and the ratio wanted (None: only told)."""

    name: str
    ours: float
    other: float
    unit: str
    against: str
    target: float | None
    at_least: bool = False

    @property
    def ratio(self) -> float:
        return self.other / self.ours if self.at_least else self.ours / self.other

    @property
    def met(self) -> bool | None:
        if self.target is None:
            return None
        return self.ratio >= self.target if self.at_least else self.ratio <= self.target


def in_turn(ours: Callable[[], object], other: Callable[[], object], times: int) -> tuple[float, float]:
    """Median seconds of each, run in turn after one warm-up, so that a busy moment hits both."""
    taken: tuple[list[float], list[float]] = ([], [])
    ours()
    other()
    for _ in range(times):
        for function, list_ in zip((ours, other), taken, strict=True):
            gc.collect()
            start = time.perf_counter()
            kept = function()
            list_.append(time.perf_counter() - start)
            del kept
    return statistics.median(taken[0]), statistics.median(taken[1])


def process(arguments: list[str]) -> Callable[[], object]:
    """Running a fresh interpreter with these arguments."""
    return lambda: subprocess.run([PYTHON, *arguments], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)


def peak_memory(code: str) -> float:
    """Peak resident memory in MB of a fresh interpreter that runs ``code`` (Linux).

    From /proc and not getrusage: a spawned process inherits the peak of the one that spawned it there.
    """
    ending = "\nimport sys\nfor line in open('/proc/self/status'):\n    if line.startswith('VmHWM'):\n"
    ending += "        sys.stderr.write('\\n' + line.split()[1])\n"
    done = subprocess.run([PYTHON, "-c", code + ending], cwd=ROOT, check=True, capture_output=True, text=True)
    return int(done.stderr.split()[-1]) / 1024.0


# --- what is measured on -------------------------------------------------------------------


def many_runs(path: Path, runs: int = 2000, bends: int = 5) -> None:
    """``runs`` flat tubes of ``bends`` arcs and one straight more: 2,000 runs are 22,000 entities."""
    import ezdxf

    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    for run in range(runs):
        layer = {"layer": f"T{run % 20}"}
        x, y, heading = (run % 50) * 500.0, (run // 50) * 700.0, 0.0
        for i in range(bends):
            x2, y2 = x + 60 * math.cos(heading), y + 60 * math.sin(heading)
            model.add_line((x, y), (x2, y2), dxfattribs=layer)
            side = 1 if i % 2 else -1
            radius, turn = 40.0, math.radians(30 + 5 * i)
            cx, cy = x2 - side * radius * math.sin(heading), y2 + side * radius * math.cos(heading)
            first = heading - side * math.pi / 2
            low, high = sorted((first, first + side * turn))
            model.add_arc((cx, cy), radius, math.degrees(low), math.degrees(high), dxfattribs=layer)
            heading += side * turn
            last = first + side * turn
            x, y = cx + radius * math.cos(last), cy + radius * math.sin(last)
        model.add_line((x, y), (x + 60 * math.cos(heading), y + 60 * math.sin(heading)), dxfattribs=layer)
    doc.saveas(path)


def tessellated(vertices: int = 1_000_000) -> object:
    """(n, 3) points in mm: a long flat tube of straights and arcs, cut into very short chords."""
    import numpy as np

    straight, radius, turn = 200.0, 100.0, math.radians(75)
    bends = 1000
    per_piece = vertices // (2 * bends)
    xs, ys = [np.zeros(1)], [np.zeros(1)]
    x = y = heading = 0.0
    for i in range(bends):
        t = np.linspace(0, 1, per_piece + 1)[1:]
        xs.append(x + straight * t * math.cos(heading))
        ys.append(y + straight * t * math.sin(heading))
        x, y = float(xs[-1][-1]), float(ys[-1][-1])
        side = 1 if i % 2 else -1
        cx, cy = x - side * radius * math.sin(heading), y + side * radius * math.cos(heading)
        a = heading - side * math.pi / 2 + side * turn * t
        xs.append(cx + radius * np.cos(a))
        ys.append(cy + radius * np.sin(a))
        x, y = float(xs[-1][-1]), float(ys[-1][-1])
        heading += side * turn
    flat = np.concatenate(xs), np.concatenate(ys)
    return np.column_stack([*flat, np.zeros(len(flat[0]))])


# --- the rows ------------------------------------------------------------------------------


def _to_json(path: str) -> object:
    """The drawing read, reduced and written as JSON text, the collector paused as in every command."""
    from converter import open_job
    from converter.exporters.data.table_json import dumps, table_document
    from converter.pause import paused_gc

    with paused_gc():
        job = open_job(path)
        drawing = job.drawing
        assert len(job.tubes) == 2000, f"{len(job.tubes)} runs instead of 2,000"
        return dumps(table_document(path, drawing.units, job.tubes, job.reading_findings, drawing.ignored))


def speed(folder: Path, times: int) -> Row:
    import ezdxf

    path = str(folder / "many.dxf")
    mine, theirs = in_turn(lambda: _to_json(path), lambda: ezdxf.readfile(path), times)
    return Row("2,000 runs to JSON, time", mine, theirs, "s", "ezdxf.readfile", 1.3)


def speed_paused(folder: Path, times: int) -> Row:
    """The row above on equal terms: part of our speed is the garbage collector that we pause and they do not."""
    import ezdxf

    from converter.pause import paused_gc

    path = str(folder / "many.dxf")

    def bare() -> object:
        with paused_gc():
            return ezdxf.readfile(path)

    mine, theirs = in_turn(lambda: _to_json(path), bare, times)
    return Row("the same, collector paused for both", mine, theirs, "s", "ezdxf.readfile", None)


def memory(folder: Path, times: int) -> Row:
    path = str(folder / "many.dxf")
    main = f"from converter.cli.main import main\nmain(['table', {path!r}, '--json'])"
    ours = min(peak_memory(main) for _ in range(2))
    other = min(peak_memory(f"import ezdxf\ndoc = ezdxf.readfile({path!r})") for _ in range(2))
    return Row("2,000 runs to JSON, peak memory", ours, other, "MB", "ezdxf.readfile", 1.5)


def one_tube(folder: Path, times: int) -> Row:
    path = folder / "one.dxf"
    many_runs(path, runs=1)
    run = process(["-m", "converter", "table", str(path), "--json"])
    mine, theirs = in_turn(run, process(["-c", "import ezdxf"]), 3 * times)
    return Row("one tube, table --json, whole process", mine, theirs, "s", "import ezdxf", 1.6)


def help_text(folder: Path, times: int) -> Row:
    mine, theirs = in_turn(process(["-m", "converter", "--help"]), process(["-c", "import click"]), 5 * times)
    return Row("--help, whole process", mine, theirs, "s", "import click", 2.0)


def solid(folder: Path, times: int) -> Row:
    import bench_solid

    mine, theirs = bench_solid.measure(times)
    return Row("hollow 4-bend solid", mine, theirs, "s", "cadquery sweep", 10.0, at_least=True)


def fit(folder: Path, times: int) -> Row:
    import shapely

    from converter.model.curve import Polyline
    from converter.model.drawing import Drawing, DrawnCurve
    from converter.reducer import reduce_drawing

    points = tessellated()
    line = shapely.LineString(points)
    drawing = Drawing("million.dxf", "mm", "mm", curves=[DrawnCurve(Polyline(points), "0")])

    def ours() -> object:
        runs, _ = reduce_drawing(drawing)
        assert len(runs) == 1 and len(runs[0].table.bends) == 1000, [len(run.table.bends) for run in runs][:5]
        return runs

    mine, theirs = in_turn(ours, lambda: shapely.simplify(line, 0.05, preserve_topology=False), max(1, times // 2))
    return Row("a million vertices fitted", mine, theirs, "s", "shapely.simplify", 3.0)


def step(folder: Path, times: int) -> Row:
    """200 hollow four-bend solids to tables, against the kernel's own read and transfer of the same file."""
    from OCP.STEPControl import STEPControl_Reader

    from converter import Settings, open_job, write

    drawing = folder / "two-hundred.dxf"
    many_runs(drawing, runs=200, bends=4)
    drawn = open_job(str(drawing), Settings(sections=("25x2mm",)))
    path = next(p for p in write([drawn], str(folder / "step"), ["step"]) if p.suffix == ".step")

    def ours() -> object:
        job = open_job(str(path))
        assert len(job.tubes) == 200, f"{len(job.tubes)} tubes instead of 200"
        return job

    def kernel() -> object:
        reader = STEPControl_Reader()
        reader.ReadFile(str(path))
        reader.TransferRoots()
        return reader.OneShape()

    mine, theirs = in_turn(ours, kernel, max(1, times // 2))
    return Row("200 STEP solids to tables", mine, theirs, "s", "kernel transfer", 1.5)


def mesh(folder: Path, times: int) -> Row:
    import bench_mesh

    mine, theirs, _ = bench_mesh.mesh_ratio(times=max(1, times // 2))
    return Row("a mesh of 440,000 triangles", mine, theirs, "s", "trimesh split", 3.0)


def sweep(folder: Path, times: int) -> Row:
    import bench_sweep

    mine, theirs = bench_sweep.measure(max(1, times // 2))
    return Row("best order of 8 bends, both ends", mine, theirs, "s", "one trimesh pose", 50.0)


def cope(folder: Path, times: int) -> Row:
    import bench_cope

    mine, theirs = bench_cope.measure(times)
    return Row("a cope at half degrees", mine, theirs, "s", "kernel boolean", 100.0, at_least=True)


def audit(folder: Path, times: int) -> Row:
    """The whole verdict on 200 runs, set-ups and joints with it, against reading their DXF; nothing is swept."""
    from dataclasses import replace

    import ezdxf

    from converter import Job, Settings, open_job
    from converter.shop.model import Machine

    path = folder / "audited.dxf"
    many_runs(path, runs=200)
    drawn = open_job(str(path), Settings(sections=("25x2mm",)))
    still = replace(drawn.shop, machine=Machine())
    mine, theirs = in_turn(lambda: Job.of_tubes(drawn.tubes, still).findings, lambda: ezdxf.readfile(path), times)
    return Row("audit of 200 runs, sweep aside", mine, theirs, "s", "ezdxf.readfile", 1.0)


def joints(folder: Path, times: int) -> Row:
    from frames import draw, rack

    from converter import Settings, open_job
    from converter.joints.finding.joints import find_joints

    path = str(draw(rack(41), folder / "rack.dxf"))
    settings = Settings(sections=("RAIL=44.45x3.048mm", "RUNG=38.1x2.413mm"))
    tubes = open_job(path, settings).tubes
    mine, theirs = in_turn(lambda: find_joints(tubes), lambda: open_job(path, settings), 3 * times)
    return Row("joints of 201 tubes", mine, theirs, "s", "reading its DXF", 1.0)


def joints_growth(folder: Path, times: int) -> Row:
    """Ten times the tubes against ten surveys: what grows with the square takes ten times as long."""
    from frames import rack

    from converter.joints.finding.joints import survey_frame
    from converter.pause import paused_gc

    small, large = rack(41), rack(401)

    def one() -> object:
        with paused_gc():
            return survey_frame(large)

    def ten() -> object:
        with paused_gc():
            return [survey_frame(small) for _ in range(10)]

    mine, theirs = in_turn(one, ten, times)
    return Row("joints of 2,001 tubes", mine, theirs, "s", "10 x 201 tubes", 1.3)


def sheet(folder: Path, times: int) -> Row:
    """The HTML job sheet of 40 runs of 8 bends, against working them out in a room where every bend sweeps."""
    from many_tubes import different_tubes
    from sheet_tools import job_of, shop

    from converter.exporters.sheet.content import job_sheet
    from converter.exporters.sheet.html import html_text

    # no two alike: equal tubes are worked out once, which would make little of the work that the page is held against
    tubes = different_tubes(40)
    where = shop()
    job = job_of(tubes, where)
    assert job.findings
    mine, theirs = in_turn(
        lambda: html_text(job_sheet([job])), lambda: job_of(tubes, where).findings, max(1, times // 2)
    )
    return Row("HTML job sheet of 40 runs", mine, theirs, "s", "working it out", 4.0)


ROWS: dict[str, Callable[[Path, int], Row]] = {
    "speed": speed, "speed-paused": speed_paused, "memory": memory, "one-tube": one_tube, "help": help_text,
    "solid": solid, "fit": fit, "step": step, "mesh": mesh, "sweep": sweep, "cope": cope, "audit": audit,
    "joints": joints, "joints-growth": joints_growth, "sheet": sheet,
}  # fmt: skip


def main() -> int:
    """Measure and print; the status is 0 whether targets are met or not, 1 when a row cannot be measured."""
    sys.path.insert(0, str(Path(__file__).parent))
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer repetitions")
    parser.add_argument("--only", choices=ROWS, action="append", help="measure only this row")
    parser.add_argument("--json", action="store_true", help="write JSON")
    given = parser.parse_args()
    times = 3 if given.quick else 7
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        many_runs(folder / "many.dxf")
        for key in given.only or ROWS:
            rows.append(ROWS[key](folder, times))
            if not given.json:
                show(rows[-1], first=len(rows) == 1)
    if given.json:
        print(json.dumps([{**vars(row), "ratio": row.ratio, "met": row.met} for row in rows], indent=1))
    return 0


def show(row: Row, first: bool) -> None:
    """One line of the table, as soon as it is known."""
    if first:
        print(f"{'what':38} {'ours':>10} {'other':>10}  {'against':16} {'ratio':>7} {'target':>8}")
    digits = 1 if row.unit == "MB" else 4
    target = "" if row.target is None else f">= {row.target:g}" if row.at_least else f"<= {row.target:g}"
    verdict = {None: "", True: "met", False: "MISSED"}[row.met]
    print(
        f"{row.name:38} {row.ours:>7.{digits}f} {row.unit:2} {row.other:>7.{digits}f} {row.unit:2}  {row.against:16} "
        f"{row.ratio:>7.2f} {target:>8}  {verdict}".rstrip(),
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
