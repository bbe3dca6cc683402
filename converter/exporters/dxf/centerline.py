"""The cleaned centerlines as DXF: straights and arcs at their true place in space.

Layers: ``straights``, ``bends``; ``tight-bends`` for bends tighter than every die and
``off-die-bends`` for other radii no die makes (by the audit's findings); ``corners`` marks
sharp corners without a radius with a point; ``names`` holds the run names.

Each LINE and ARC carries the run's name and layer as extended data (application ELBOWROOM:
name, layer), so that reading the file back gives the same runs with the same names, though
one run lies on several layers. Entities stand in order from end A.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from converter.exporters.dxf.page import APP, DxfPage, Layer
from converter.exporters.paper.figure import text_height
from converter.findings import ERROR, Finding
from converter.model.curve import Arc, Line
from converter.model.run import Run, Tube
from converter.progress import steps

if TYPE_CHECKING:
    from collections.abc import Iterable

    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job

LAYERS = (
    Layer("straights", 7),
    Layer("bends", 5),
    Layer("tight-bends", 1),
    Layer("off-die-bends", 30),
    Layer("corners", 6),
    Layer("names", 8),
)
_TIGHT = "radius-too-tight"
_OFF_DIE = ("radius-between-dies", "radius-too-wide")


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem.dxf``."""
    page = DxfPage(job.display.unit, LAYERS)
    marked = _marked(job.shown.findings)
    for tube in steps(job.shown.tubes, "centerlines"):
        _draw(page, tube, marked[tube.name])
    page.save(out.path(f"{options.stem}-centerline.dxf"))


def _marked(findings: Iterable[Finding]) -> dict[str, dict[int, str]]:
    """run -> bend number -> layer, for bends whose radius is in error."""
    marked: dict[str, dict[int, str]] = defaultdict(dict)
    for f in findings:
        if f.severity != ERROR or f.tube is None or f.bend is None:
            continue
        if f.code == _TIGHT:
            marked[f.tube][f.bend] = "tight-bends"
        elif f.code in _OFF_DIE:
            marked[f.tube].setdefault(f.bend, "off-die-bends")
    return marked


def _draw(page: DxfPage, tube: Tube, marked: dict[int, str]) -> None:
    run = tube.run
    facts = [(1000, _short(run.name)), (1000, _short(run.layer or ""))]
    # the sense of a lone arc tells which end is A
    alone = len(run.centerline) == 1
    for segment, bend in _numbered(run):
        layer = "straights" if bend == 0 else marked.get(bend, "bends")
        entity = page.segment(segment, layer, keep_sense=alone)
        entity.set_xdata(APP, facts)
    for before, after in zip(run.centerline, run.centerline[1:], strict=False):
        if isinstance(before, Line) and isinstance(after, Line):
            x, y, z = before.end
            page.space.add_point((x * page.k, y * page.k, z * page.k), {"layer": "corners"})
    height = text_height(None if tube.section is None else tube.section.od)
    page.text(run.name, run.start, height, "names")


def _numbered(run: Run) -> Iterable[tuple[Line | Arc, int]]:
    """The segments in order with the number of their bend, 0 for straights."""
    with_arc = [i for i, bend in enumerate(run.table.bends, start=1) if bend.clr is not None]
    arcs = iter(with_arc)
    for segment in run.centerline:
        yield segment, next(arcs) if isinstance(segment, Arc) else 0


def _short(text: str) -> str:
    """At most 255 bytes, the longest string of extended data; one line."""
    text = "".join(" " if c in "\r\n\0" else c for c in text).encode("utf-8", "replace")[:255].decode("utf-8", "ignore")
    return text.replace("^", "^ ")
