"""Full-size wrap templates as DXF, of cut ends and holes, below one another. docs/cope-templates.md shows their use."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from converter.exporters.dxf.page import DxfPage, Layer
from converter.exporters.paper import cope_drawing as parts
from converter.exporters.paper.figure import Figure, scale_bar, text_height
from converter.exporters.paper.templates import templates_of
from converter.exporters.paper.title import TitleBlock
from converter.progress import steps
from converter.units import NO_BREAK, unbroken

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job

LAYERS = (
    Layer(parts.CUT, 1),
    Layer(parts.BORE, 5, "DASHED"),
    Layer(parts.MATE, 8, "DASHED"),
    Layer(parts.ZERO, 94),
    Layer(parts.EDGE, 7),
    Layer(parts.END, 8, "CENTER"),
    Layer(parts.QUARTERS, 8),
    Layer(parts.CLOSING, 94),
    Layer(parts.POINTS, 5),
    Layer(parts.LABELS, 7),
    Layer(parts.TITLES, 7),
    Layer(parts.SCALE, 94),
)
_GAP = 30.0


def _wrapped(note: str) -> list[str]:
    """A sentence in lines; a number stays with its unit, and a fraction is not taken for a hyphenated word."""
    rows = textwrap.wrap(unbroken(note), 110, break_on_hyphens=False)
    return [row.replace(NO_BREAK, " ") for row in rows]


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-copes.dxf``.

    Raises:
        WriteError: no end of the job is cut to fit, and no tube passes through another.
    """
    templates = templates_of(job, options)
    page = DxfPage(job.display.unit, LAYERS)
    block = TitleBlock.of_job(job, options.stem)
    bar = scale_bar(job.display, parts.SCALE)
    page.put(bar, -bar.low[0], -bar.high[1])
    top = -(bar.high[1] - bar.low[1]) - _GAP
    for one in steps(templates, "wrap templates"):
        drawing = one.drawing
        height = text_height(one.od)
        low, high = drawing.bounds()
        around = Figure()
        own = block.with_parts([one.part], job.display) if one.part else block
        lines = [*own.lines, *(row for note in one.notes for row in _wrapped(note))]
        around.block(lines, (0.0, low[1] - height), height, parts.TITLES)
        heading = f"{one.title}: {'template' if one.hole else 'cope template'}, full size"
        around.text(heading, (0.0, high[1] + height), 1.5 * height, parts.TITLES)
        top -= around.high[1]
        for points, layer in drawing.curves:
            page.polyline([(x, y + top) for x, y in points], layer)
        page.put(drawing.figure, 0.0, top)
        page.put(around, 0.0, top)
        top += around.low[1] - _GAP
    page.save(out.path(f"{options.stem}-copes.dxf"))
