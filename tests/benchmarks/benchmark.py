"""How fast and how lean, as ratios measured in one run: ``python tests/benchmarks/benchmark.py``.

A script, not a test: it fails on none. Seconds are processor time, of this process or of a child and its children, the
least of several runs that take turns with what they are held against, so that a busy machine hits both. Every row says
what was compared with what, the target, and whether it was met. ``--quick`` does fewer repetitions and smaller growth
(`growth`) and leaves the longest rows out, as in CI; ``--only NAME`` one row (see ``ROWS``); ``--write`` puts all of it
into docs/speed.md and docs/speed.svg, after each row what there is by then. All of it takes about five minutes of a
machine that does nothing else.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "helpers"), str(HERE.parents[1])]

from places import DOCS, ROOT  # noqa: E402
from turns import LONG as LONG_TURN  # noqa: E402
from turns import in_turn  # noqa: E402

if TYPE_CHECKING:
    import growth

    from converter import Job
    from converter.model.run import Tube
    from converter.shop.model import Shop

PYTHON = sys.executable
#: Seconds of processor time from which on no more tubes are measured.
PATIENCE = 6.0
VERDICTS = {None: "", True: "met", False: "MISSED"}
#: Children keep compiled modules, as every installed program has them.
KEEPING = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


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


def processes_in_turn(ours: Sequence[str], other: Sequence[str], times: int) -> tuple[float, float]:
    """The same of fresh interpreters with these arguments, their start and their imports included."""
    least = [math.inf, math.inf]
    for turn in range(times + 1):  # the first run writes what Python keeps of compiled modules
        for which, arguments in enumerate((ours, other)):
            child = subprocess.Popen([PYTHON, *arguments], cwd=ROOT, stdout=subprocess.DEVNULL, env=KEEPING)
            _, status, used = os.wait4(child.pid, 0)
            child.returncode = os.waitstatus_to_exitcode(status)
            assert child.returncode in (0, 1), (arguments, child.returncode)
            if turn:
                least[which] = min(least[which], used.ru_utime + used.ru_stime)
    return least[0], least[1]


def peak_memory(code: str) -> float:
    """Peak resident memory in MB of a fresh interpreter that runs ``code`` (Linux).

    From /proc and not getrusage: a spawned process inherits the peak of the one that spawned it there.
    """
    ending = "\nimport sys\nfor line in open('/proc/self/status'):\n    if line.startswith('VmHWM'):\n"
    ending += "        sys.stderr.write('\\n' + line.split()[1])\n"
    done = subprocess.run(
        [PYTHON, "-c", code + ending], cwd=ROOT, check=True, capture_output=True, text=True, env=KEEPING
    )
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


def many_corners(path: Path, runs: int = 2000, corners: int = 5) -> None:
    """``runs`` flat tubes of straights that meet in sharp corners of 30 to 50 degrees, far apart from each other."""
    import ezdxf

    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    for run in range(runs):
        x, y, heading = (run % 50) * 900.0, (run // 50) * 900.0, 0.0
        for i in range(corners + 1):
            x2, y2 = x + 120.0 * math.cos(heading), y + 120.0 * math.sin(heading)
            model.add_line((x, y), (x2, y2), dxfattribs={"layer": f"T{run % 20}"})
            x, y = x2, y2
            heading += (1 if i % 2 else -1) * math.radians(30 + 5 * i)
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
    from converter.processes.memory import paused_gc

    with paused_gc():
        job = open_job(path)
        drawing = job.drawing
        assert len(job.tubes) == 2000, f"{len(job.tubes)} runs instead of 2,000"
        return dumps(table_document(path, drawing.units, job.tubes, job.reading_findings, drawing.ignored))


def speed(folder: Path, times: int) -> Row:
    import ezdxf

    path = str(folder / "many.dxf")
    mine, theirs = in_turn(lambda: _to_json(path), lambda: ezdxf.readfile(path), times=times)
    return Row("2,000 runs to JSON, time", mine, theirs, "s", "ezdxf.readfile", 1.15)


def speed_paused(folder: Path, times: int) -> Row:
    """The row above on equal terms: part of our speed is the garbage collector that we pause and they do not."""
    import ezdxf

    from converter.processes.memory import paused_gc

    path = str(folder / "many.dxf")

    def bare() -> object:
        with paused_gc():
            return ezdxf.readfile(path)

    mine, theirs = in_turn(lambda: _to_json(path), bare, times=times)
    return Row("the same, collector paused for both", mine, theirs, "s", "ezdxf.readfile", None)


def readfile(path: Path) -> list[str]:
    """Arguments of an interpreter that reads a drawing with the DXF library and does no more."""
    return ["-c", f"import ezdxf\ndoc = ezdxf.readfile({str(path)!r})"]


def whole(folder: Path, times: int) -> Row:
    """The same as a person waits for it: both processes from their start."""
    path = folder / "many.dxf"
    ours, other = processes_in_turn(["-m", "converter", "table", str(path), "--json"], readfile(path), times)
    return Row("22,000 entities, table --json, process", ours, other, "s", "ezdxf.readfile", 1.15)


def corners(folder: Path, times: int) -> Row:
    """Sharp corners with a section: each run gets its bends from a die, and two findings."""
    path = folder / "corners.dxf"
    many_corners(path)
    arguments = ["-m", "converter", "table", str(path), "--section", "25x2mm", "--json"]
    ours, other = processes_in_turn(arguments, readfile(path), times)
    return Row("2,000 runs of sharp corners, process", ours, other, "s", "ezdxf.readfile", 1.6)


def table_memory(path: Path) -> float:
    """Peak memory of ``table --json``, MB."""
    return peak_memory(f"from converter.cli.main import main\nmain(['table', {str(path)!r}, '--json'])")


def memory(folder: Path, times: int) -> Row:
    path = folder / "many.dxf"
    ours = min(table_memory(path) for _ in range(2))
    other = min(peak_memory(readfile(path)[1]) for _ in range(2))
    return Row("2,000 runs to JSON, peak memory", ours, other, "MB", "ezdxf.readfile", 1.5)


def step_memory(folder: Path, times: int) -> Row:
    """200 solids to tables: our whole process against one that reads and transfers the file with the kernel."""
    path = written_solids(folder)
    code = "from OCP.STEPControl import STEPControl_Reader\nreader = STEPControl_Reader()\n"
    code += f"reader.ReadFile({str(path)!r})\nreader.TransferRoots()\nshape = reader.OneShape()"
    return Row("200 STEP solids, peak memory", table_memory(path), peak_memory(code), "MB", "kernel transfer", 1.5)


def mesh_memory(folder: Path, times: int) -> Row:
    """A mesh of 440,000 triangles: our whole process against one that loads it with the mesh library."""
    import bench_mesh

    path = folder / "one.stl"
    bench_mesh.write_mesh(path, 1, 0.004)
    return _mesh_memory(path, "440,000 triangles, peak memory")


def indexed_memory(folder: Path, times: int) -> Row:
    """The same as GLB, whose corners are numbered already: to load it costs the mesh library next to nothing."""
    import bench_mesh
    import trimesh

    path = folder / "one.glb"
    bench_mesh.write_mesh(folder / "one.stl", 1, 0.004)
    trimesh.load(folder / "one.stl").export(path)
    return _mesh_memory(path, "440,000 triangles as GLB, peak memory")


def _mesh_memory(path: Path, what: str) -> Row:
    other = peak_memory(f"import trimesh\nmesh = trimesh.load({str(path)!r})")
    return Row(what, table_memory(path), other, "MB", "trimesh.load", 1.5)


def one_tube(folder: Path, times: int) -> Row:
    path = folder / "one.dxf"
    many_runs(path, runs=1)
    arguments = ["-m", "converter", "table", str(path), "--json"]
    mine, theirs = processes_in_turn(arguments, ["-c", "import ezdxf"], 2 * times)
    return Row("one tube, table --json, whole process", mine, theirs, "s", "import ezdxf", 1.6)


def help_text(folder: Path, times: int) -> Row:
    mine, theirs = processes_in_turn(["-m", "converter", "--help"], ["-c", "import click"], 3 * times)
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

    mine, theirs = in_turn(ours, lambda: shapely.simplify(line, 0.05, preserve_topology=False), times=times)
    return Row("a million vertices fitted", mine, theirs, "s", "shapely.simplify", 3.0)


def written_solids(folder: Path) -> Path:
    """A STEP file of 200 hollow four-bend solids, no two alike: equal ones would be one solid in many places."""
    from many_tubes import different_tubes

    from converter import Job, write

    job = Job.of_tubes(different_tubes(200, bends=4), source="two-hundred")
    job.__dict__["findings"] = ()  # what is written needs no verdict
    return write([job], str(folder / "step"), ["step"], force=True)[0]


def step(folder: Path, times: int) -> Row:
    """200 hollow four-bend solids to tables, against the kernel's own read and transfer of the same file."""
    from OCP.STEPControl import STEPControl_Reader

    mine, theirs = _solids_in_turn(written_solids(folder), 200, STEPControl_Reader, times)
    return Row("200 STEP solids to tables", mine, theirs, "s", "kernel transfer", 1.5)


def iges(folder: Path, times: int) -> Row:
    """60 hollow four-bend solids as trimmed surfaces, which are to be sewn, against the kernel's read and transfer."""
    from iges_tools import kernel_iges
    from many_tubes import different_tubes
    from OCP.IGESControl import IGESControl_Reader

    from converter.kernel.shapes.solids import tube_solid
    from converter.kernel.topology import compound

    solids = [tube_solid(tube.run, tube.section) for tube in different_tubes(60, bends=4)]
    path = kernel_iges(compound(solids), folder / "sixty.igs", solids=False)
    mine, theirs = _solids_in_turn(path, 60, IGESControl_Reader, times)
    return Row("60 IGES solids to tables", mine, theirs, "s", "kernel transfer", None)


def _solids_in_turn(path: Path, count: int, kernel_reader: Callable[[], Any], times: int) -> tuple[float, float]:
    """Seconds of a file of so many tubes to tables, and of the kernel's own read and transfer."""
    from converter import open_job

    def ours() -> object:
        job = open_job(str(path))
        assert len(job.tubes) == count, f"{len(job.tubes)} tubes instead of {count}"
        return job

    def kernel() -> object:
        reader = kernel_reader()
        reader.ReadFile(str(path))
        reader.TransferRoots()
        return reader.OneShape()

    return in_turn(ours, kernel, times=times)


def mesh(folder: Path, times: int) -> Row:
    import bench_mesh

    mine, theirs, _ = bench_mesh.mesh_ratio(times=times)
    return Row("a mesh of 440,000 triangles", mine, theirs, "s", "trimesh split", 3.0)


def sweep(folder: Path, times: int) -> Row:
    import bench_sweep

    mine, theirs = bench_sweep.measure(times)
    return Row("best order of 8 bends, both ends", mine, theirs, "s", "one trimesh pose", 50.0)


def swept(folder: Path, times: int) -> Row:
    """The whole verdict on 200 tubes of eight bends, every set-up searched where need be, against their table alone."""
    import bench_sweep

    mine, theirs = bench_sweep.measure_job(folder, 200, times)
    return Row("audit of 200 tubes beside a stand", mine, theirs, "s", "its table", None)


def audited(folder: Path, times: int) -> Row:
    """200 tubes of eight bends in the demo shop, as a person waits for them: both commands from their start."""
    import bench_sweep

    words = [str(bench_sweep.drawn(folder, 200)), "--section", "38.1x3mm", "--metal", "mild steel", "--json"]
    ours, other = (["-m", "converter", command, *words] for command in ("audit", "table"))
    mine, theirs = processes_in_turn(ours, other, times)
    return Row("200 tubes of 8 bends, audit, process", mine, theirs, "s", "table, process", 1.5)


def side_by_side(folder: Path, times: int) -> Row:
    """The set-ups of 40 tubes of eight bends, against those of the same tubes one after the other."""
    import bench_sweep

    mine, theirs = bench_sweep.measure_together(40, times)
    return Row("set-up of 40 tubes of 8 bends", mine, theirs, "s", "each alone", 0.5)


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
    mine, theirs = in_turn(lambda: Job.of_tubes(drawn.tubes, still).findings, lambda: ezdxf.readfile(path), times=times)
    return Row("audit of 200 runs, sweep aside", mine, theirs, "s", "ezdxf.readfile", 1.0)


def joints(folder: Path, times: int) -> Row:
    from frames import draw, rack

    from converter import Settings, open_job
    from converter.joints.finding.joints import survey_frame

    path = str(draw(rack(41), folder / "rack.dxf"))
    settings = Settings(sections=("RAIL=44.45x3.048mm", "RUNG=38.1x2.413mm"))
    tubes = open_job(path, settings).tubes
    mine, theirs = in_turn(lambda: survey_frame(tubes), lambda: open_job(path, settings), times=3 * times)
    return Row("joints of 201 tubes", mine, theirs, "s", "reading its DXF", 1.0)


def joints_growth(folder: Path, times: int) -> Row:
    """Ten times the tubes against ten surveys: what grows with the square takes ten times as long."""
    from frames import rack

    from converter.joints.finding.joints import survey_frame
    from converter.processes.memory import paused_gc

    small, large = rack(41), rack(401)

    def one() -> object:
        with paused_gc():
            return survey_frame(large)

    def ten() -> object:
        with paused_gc():
            return [survey_frame(small) for _ in range(10)]

    mine, theirs = in_turn(one, ten, times=times)
    return Row("joints of 2,001 tubes", mine, theirs, "s", "10 x 201 tubes", 1.3)


def _nearest_points(tubes: Sequence[object]) -> list[float]:
    """How near every two centerlines come, by scipy's trees of points 4 mm apart: general-purpose, to 2 mm."""
    from itertools import combinations

    from heaps import points_along
    from scipy.spatial import cKDTree

    points = [points_along(tube, 4.0) for tube in tubes]
    trees = [cKDTree(some) for some in points]
    return [float(trees[i].query(points[j])[0].min()) for i, j in combinations(range(len(tubes)), 2)]


def joints_heap(folder: Path, times: int) -> Row:
    """The worst that was made up: 200 bent tubes whose ends A lie within 5 mm, some 20,000 contacts."""
    from heaps import heap

    from converter.joints.finding.joints import survey_frame
    from converter.processes.memory import paused_gc

    tubes = heap(200, 5.0)

    def ours() -> object:
        with paused_gc():
            return survey_frame(tubes)

    mine, theirs = in_turn(ours, lambda: _nearest_points(tubes), times=times)
    return Row("joints of 200 tubes within 5 mm", mine, theirs, "s", "scipy cKDTree by pairs", 1.0)


def clashes_heap(folder: Path, times: int) -> Row:
    """How deep 100 bent tubes in a heap lie in one another, their ends as cut, against how near their points come."""
    from heaps import heap

    from converter.joints.finding.joints import survey_frame
    from converter.joints.in_the_way.clashes import find_clashes
    from converter.processes.memory import paused_gc
    from converter.tolerances import DEFAULT

    tubes = heap(100, 60.0)
    found = survey_frame(tubes)

    def ours() -> object:
        with paused_gc():
            return find_clashes(found, DEFAULT)

    mine, theirs = in_turn(ours, lambda: _nearest_points(tubes), times=times)
    return Row("clashes in a heap of 100 tubes", mine, theirs, "s", "scipy cKDTree by pairs", 3.0)


def worked_out_jobs(tubes: Sequence[Tube], where: Shop, count: int) -> Iterator[Job]:
    """So many equal jobs, each worked out and none shown yet: what is drawn of a job is drawn once."""
    from sheet_tools import job_of

    jobs = [job_of(tubes, where) for _ in range(count)]
    for job in jobs:
        assert job.findings is not None and job.setups and job.parts
    return iter(jobs)


def sheet(folder: Path, times: int) -> Row:
    """The HTML job sheet of 40 runs of 8 bends, against working them out in a room where every bend sweeps."""
    from many_tubes import different_tubes
    from sheet_tools import job_of, shop

    from converter.exporters.sheet.content import job_sheet
    from converter.exporters.sheet.html import html_text

    # no two alike: equal tubes are worked out once, which would make little of the work that the page is held against
    tubes = different_tubes(40)
    where = shop()
    jobs = worked_out_jobs(tubes, where, times + 1)
    mine, theirs = in_turn(
        lambda: html_text(job_sheet([next(jobs)])), lambda: job_of(tubes, where).findings, times=times
    )
    return Row("HTML job sheet of 40 runs", mine, theirs, "s", "working it out", 4.0)


def pictures(folder: Path, times: int) -> Row:
    """A picture of each of the same 40 runs as SVG, isometric and three views, against working them out."""
    from many_tubes import different_tubes
    from sheet_tools import job_of, shop

    from converter import write

    tubes, where = different_tubes(40), shop()
    jobs = worked_out_jobs(tubes, where, times + 1)
    mine, theirs = in_turn(
        lambda: write([next(jobs)], str(folder / "pictures"), ["svg"], force=True),
        lambda: job_of(tubes, where).findings,
        times=times,
    )
    return Row("SVG pictures of 40 runs", mine, theirs, "s", "working it out", None)


def cope_all(folder: Path, times: int) -> Row:
    """All files that `cope --to all` writes of a frame of 13 tubes, against the kernel's cuts of its ends alone."""
    from frames import rack
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut

    from converter import Job, write
    from converter.cli.commands.cope import FORMATS
    from converter.kernel.shapes.solids import tube_solid
    from converter.model.section import Section

    tubes = rack(4)[:13]
    named = {tube.name: tube for tube in tubes}
    joints = Job.of_tubes(tubes).joints
    assert len(joints) >= 18, len(joints)

    def ours() -> object:
        return write([Job.of_tubes(tubes, source="frame")], str(folder / "copes"), FORMATS, force=True)

    def kernel() -> object:
        """Each tube less its mates as full bars: what a script writer would do."""
        cut = []
        for joint in joints:
            shape = tube_solid(named[joint.tube].run, joint.section)
            for mate in map(named.__getitem__, joint.mates):
                assert mate.section is not None
                bar = Section("bar", mate.section.od, mate.section.od / 2.0)
                shape = BRepAlgoAPI_Cut(shape, tube_solid(mate.run, bar)).Shape()
            cut.append(shape)
        return cut

    mine, theirs = in_turn(ours, kernel, times=times)
    return Row(f"cope --to all, 13 tubes, {len(joints)} ends", mine, theirs, "s", "kernel's cuts alone", None)


def templates(folder: Path, times: int) -> Row:
    """Profiles and stick templates of 100 different tubes as DXF, against the library writing as many entities."""
    import ezdxf
    from many_tubes import different_tubes
    from sheet_tools import job_of, shop

    from converter import write

    drawn = job_of(different_tubes(100, bends=4), shop())
    assert drawn.findings is not None
    out = folder / "templates"
    count = sum(len(ezdxf.readfile(p).modelspace()) for p in write([drawn], str(out), ["profile", "template"]))

    def other() -> object:
        doc = ezdxf.new("R2010", units=4)
        model = doc.modelspace()
        for k in range(count):
            model.add_line((k, 0.0), (k, 100.0))
        doc.saveas(folder / "as-many.dxf")
        return doc

    mine, theirs = in_turn(lambda: write([drawn], str(out), ["profile", "template"], force=True), other, times=times)
    return Row(f"profile and template DXF, {count:,} entities", mine, theirs, "s", "ezdxf saving lines", None)


def step_out(folder: Path, times: int) -> Row:
    """100 different tubes to one STEP file, against the kernel transferring and writing the same solids."""
    from many_tubes import different_tubes
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer

    from converter import Job, write
    from converter.kernel.session import quiet
    from converter.kernel.shapes.solids import tube_solid

    job = Job.of_tubes(different_tubes(100, bends=4))
    job.__dict__["findings"] = ()  # what is written needs no verdict
    shapes = [tube_solid(tube.run, tube.section) for tube in job.tubes]

    def kernel() -> object:
        with quiet():  # it tells of every shape
            writer = STEPControl_Writer()
            for shape in shapes:
                writer.Transfer(shape, STEPControl_StepModelType.STEPControl_AsIs)
            return writer.Write(str(folder / "kernel.step"))

    mine, theirs = in_turn(lambda: write([job], str(folder / "out"), ["step"], force=True), kernel, times=times)
    return Row("100 different tubes to STEP", mine, theirs, "s", "kernel's writer", None)


def nesting(folder: Path, times: int) -> Row:
    """200 pieces of 40 lengths on bars, bound and all, against one linear relaxation of them by the LP library."""
    import random

    from scipy.optimize import linprog

    from converter.nesting.model import Saw, StockBar, WantedLength
    from converter.nesting.solve import nest

    rng = random.Random(5)
    pieces = [WantedLength(rng.uniform(200.0, 2400.0), 5) for _ in range(40)]
    bars = [StockBar(6000.0, None, 1.0)]
    rows = [[rng.randrange(3) for _ in range(400)] for _ in pieces]

    def relaxation() -> object:
        held = [[-value for value in row] for row in rows]
        return linprog([1.0] * 400, A_ub=held, b_ub=[-piece.count for piece in pieces], method="highs")

    mine, theirs = in_turn(lambda: nest(pieces, bars, Saw(kerf=2.0)), relaxation, times=times)
    return Row("200 pieces of 40 lengths nested", mine, theirs, "s", "one LP by scipy", None)


#: In the order they are measured: what takes long comes last, so that an interrupted run has most of them.
ROWS: dict[str, Callable[[Path, int], Row]] = {
    "speed": speed, "speed-paused": speed_paused, "whole": whole, "corners": corners, "memory": memory,
    "one-tube": one_tube, "help": help_text, "solid": solid, "cope": cope, "audit": audit, "audited": audited,
    "swept": swept,
    "side-by-side": side_by_side, "joints": joints, "joints-growth": joints_growth, "nesting": nesting,
    "sheet": sheet, "pictures": pictures, "templates": templates, "cope-all": cope_all, "step-out": step_out,
    "step": step, "step-memory": step_memory, "iges": iges, "clashes-heap": clashes_heap, "joints-heap": joints_heap,
    "mesh-memory": mesh_memory, "indexed-memory": indexed_memory, "fit": fit, "sweep": sweep, "mesh": mesh,
}  # fmt: skip
#: Rows that take longer than all the others; the quick form leaves them out.
LONG = frozenset(("fit", "indexed-memory", "mesh", "mesh-memory", "step-memory", "sweep"))
#: The rows, and before the long ones how it grows.
ORDER = [*(key for key in ROWS if key not in LONG), "growth", *(key for key in ROWS if key in LONG)]


def main() -> int:
    """Measure and print; the status is 0 whether targets are met or not, 1 when a row cannot be measured."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer repetitions, fewer tubes, no long rows")
    parser.add_argument("--only", choices=ORDER, action="append", help="measure only this")
    parser.add_argument("--json", action="store_true", help="write the rows as JSON")
    parser.add_argument(
        "--write",
        nargs="?",
        type=Path,
        const=DOCS,
        metavar="DIR",
        help="write speed.md and speed.svg, to docs by default",
    )
    given = parser.parse_args()
    if given.write == DOCS and given.only:
        parser.error("--write into docs takes all rows, so leave out --only")
    import growth

    times = 1 if given.quick else 3
    keys = given.only or [key for key in ORDER if not (given.quick and key in LONG)]
    report = Report()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        many_runs(folder / "many.dxf")
        for place, key in enumerate(keys):
            if key == "growth":
                counts, patience = (growth.COUNTS[:3], 2.0) if given.quick else (growth.COUNTS, PATIENCE)
                report.grown = growth.series(folder, counts, patience)
            else:
                report.rows.append(ROWS[key](folder, times))
                if not given.json:
                    show(report.rows[-1], first=len(report.rows) == 1)
            report.missing = [key for key in ORDER if key not in keys[: place + 1]]
            if given.write:
                report.write(given.write)
    if given.json:
        print(json.dumps([{**vars(row), "ratio": row.ratio, "met": row.met} for row in report.rows], indent=1))
    elif report.grown:
        print(f"\n{growth.table_text(report.grown)}")
    return 0


@dataclass
class Report:
    """What has been measured so far, and the rows that have not."""

    rows: list[Row] = field(default_factory=list)
    grown: Sequence[growth.Series] = ()
    missing: Sequence[str] = ()

    def write(self, folder: Path) -> None:
        """Write speed.md and speed.svg: after every row, so that an interrupted run leaves what it has."""
        import growth

        (folder / "speed.md").write_text(document(self), encoding="utf-8", newline="\n")
        if self.grown:
            (folder / "speed.svg").write_text(growth.picture(self.grown), encoding="utf-8", newline="\n")


def document(report: Report) -> str:
    """docs/speed.md: what was measured, on what, and how it grows."""
    import growth

    commit = subprocess.run(
        ["git", "log", "-1", "--format=%h of %as"], cwd=ROOT, check=False, capture_output=True, text=True
    )
    busy = os.getloadavg()[0] / (os.cpu_count() or 1)
    shared = f"; others used it at the same time, {busy:.0f} processes waited for each processor" if busy > 1.5 else ""
    lines = [
        "# How fast, and how lean",
        "",
        "Written by `python tests/benchmarks/benchmark.py --write`: what takes turns with what in one run, so that the",
        "ratios hold on other machines, too. Seconds are processor time, the least of several runs (of one where both",
        f"together take longer than {LONG_TURN:g} s); memory is the peak of a whole process, imports included. Where a",
        "target is not met the table says so.",
        "",
        f"Measured at commit {commit.stdout.strip() or 'unknown'}, Python {platform.python_version()}, "
        f"{os.cpu_count()} processors{shared}.",
        "",
        "| what | ours | other | held against | ratio | target | |",
        "|---|---:|---:|---|---:|---:|---|",
    ]
    for row in report.rows:
        digits = 0 if row.unit == "MB" else 3
        target = "" if row.target is None else f"{'at least' if row.at_least else 'at most'} {row.target:g}"
        lines.append(
            f"| {row.name} | {row.ours:.{digits}f} {row.unit} | {row.other:.{digits}f} {row.unit} | {row.against} "
            f"| {row.ratio:.2f} | {target} | {VERDICTS[row.met].lower()} |"
        )
    if report.missing:
        lines += ["", f"Not measured this time, for the run was ended before: {', '.join(report.missing)}."]
    if report.grown:
        lines += [
            "",
            "## How it grows",
            "",
            "Tubes of four bends, no two alike; of `joints` a frame of hoops and rungs. Processor time of one run.",
            f"A row ends where one took longer than {PATIENCE:g} s. The power is that of the points from 100 tubes on.",
            "",
            growth.table_text(report.grown),
            "![Processor time over the number of tubes, both logarithmic; the dashed line has the power 1](speed.svg)",
        ]
    return "\n".join([*lines, ""])


def show(row: Row, first: bool) -> None:
    """One line of the table, as soon as it is known."""
    if first:
        print(f"{'what':42} {'ours':>10} {'other':>10}  {'against':18} {'ratio':>7} {'target':>8}")
    digits = 1 if row.unit == "MB" else 4
    target = "" if row.target is None else f">= {row.target:g}" if row.at_least else f"<= {row.target:g}"
    verdict = VERDICTS[row.met]
    print(
        f"{row.name:42} {row.ours:>7.{digits}f} {row.unit:2} {row.other:>7.{digits}f} {row.unit:2}  {row.against:18} "
        f"{row.ratio:>7.2f} {target:>8}  {verdict}".rstrip(),
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
