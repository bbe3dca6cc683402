"""Full-size flat stick templates as DXF: wrap one around the straight tube and mark it.

The strip that is wrapped is `converter.exporters.paper.stick_drawing`'s; beside it stand tables of numbers and how it
is used. docs/templates.md says so at length.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from converter.exporters.dxf.page import DxfPage, Layer
from converter.exporters.paper import stick_drawing as parts
from converter.exporters.paper.figure import LEADING, Figure, block_size, scale_bar, spread, text_height, text_width
from converter.exporters.paper.stick import StickBend, StickTemplate, Strip
from converter.exporters.paper.stick_words import HEADS, bend_row, facts, notes, title
from converter.exporters.paper.title import TitleBlock
from converter.model.run import Tube
from converter.progress import steps
from converter.shop.model import Shop
from converter.units import Display
from converter.words import part_lines, part_title

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job
    from converter.model.part import Part

LAYERS = (
    Layer(parts.COPE, 1, weight=50),
    Layer(parts.CUT, 1, weight=50),
    Layer(parts.MARK, 7, weight=35),
    Layer(parts.TRIM, 30, "DASHED", 35),
    Layer(parts.END, 4, "CENTER", 18),
    Layer(parts.EDGE, 7, weight=25),
    Layer(parts.BEGIN, 5, "DASHED", 18),
    Layer(parts.STOP, 150, "DASHED", 18),
    Layer(parts.OUTSIDE, 94, weight=25),
    Layer(parts.INSIDE, 6, "DASHED", 18),
    Layer(parts.FACES, 8, weight=13),
    Layer(parts.CLOCK, 8, weight=13),
    Layer(parts.CLOSING, 94, weight=25),
    Layer(parts.LABELS, 7, weight=18),
    Layer("leaders", 8, weight=13),
    Layer("titles", 7, weight=18),
    Layer(parts.SCALE, 94, weight=18),
)
_GAP = 40.0
#: Letters in a line of what is said beneath a strip.
_COLUMNS = 130


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-template.dxf``: one template per part, below one another."""
    page = DxfPage(job.display.unit, LAYERS)
    block = TitleBlock.of_job(job, options.stem)
    bar = scale_bar(job.display, parts.SCALE)
    page.put(bar, -bar.low[0], -bar.high[1])
    top = -(bar.high[1] - bar.low[1]) - _GAP
    for part, setup in steps(job.shown.first_setups, "templates"):
        strip = Strip.of(setup.tube.section, options.paper_thickness)
        stick = StickTemplate.of_part(job, part, setup)
        own = block.with_parts([part], job.display)
        figure = template_figure(setup.tube, stick, strip, job.shop, job.display, part, own.lines)
        page.put(figure, 0.0, top - figure.high[1])
        top -= figure.high[1] - figure.low[1] + _GAP
    page.save(out.path(f"{options.stem}-template.dxf"))


def template_figure(
    tube: Tube,
    stick: StickTemplate,
    strip: Strip,
    shop: Shop,
    display: Display,
    part: Part | None = None,
    about: Sequence[str] = (),
) -> Figure:
    """The template of one run, in mm: the finished end A at x = 0, the strip's lower edge at y = 0.

    ``part``: that it serves; its title and all its tubes are named. ``about``: lines of its title block.
    """
    od = None if tube.section is None else tube.section.od
    label = parts.label_height(od)
    figure = parts.strip_figure(stick, strip, label)
    parts.label_strip(figure, stick, strip, label, display)
    height = text_height(od)
    _label_positions(figure, stick, height, display)
    _label_bends(figure, stick, strip, height, display)
    left = stick.ends[0]
    low = figure.low[1] - 1.5 * height
    rows = [row for note in notes(tube, stick, shop, display) for row in textwrap.wrap(note, _COLUMNS)]
    figure.block(rows, (left, low), height, "titles")
    top = figure.high[1] + 2.0 * height
    figure.text(", ".join(facts(tube, stick, strip, display)), (left, top), height, "titles")
    first, *tubes = (
        (title(tube.name, stick),) if part is None else (title(part_title(part), stick), *part_lines(part)[1:])
    )
    for line in reversed([*about, *tubes]):
        top += 2.0 * height
        figure.text(line, (left, top), height, "titles")
    figure.text(first, (left, top + 2.0 * height), 1.5 * height, "titles")
    return figure


def _label_positions(figure: Figure, stick: StickTemplate, height: float, display: Display) -> None:
    """Distances from the end fed first below the strip, upright, spread where lines lie close."""
    rows = sorted(
        [
            *((x, f"end {end}") for end, x in zip("AB", stick.ends, strict=True)),
            *((bend.mark, f"die mark {bend.number}") for bend in stick.bends if bend.mark is not None),
            *((x, f"tangent {bend.number}") for bend in stick.bends for x in sorted({bend.begin, bend.end})),
        ]
    )
    pitch = 1.6 * height
    centers = spread([x for x, _ in rows], [pitch] * len(rows), 0.0)
    start, drop = 1.5 * height, 4.0 * height
    for (x, words), shown in zip(rows, centers, strict=True):
        text = f"{display.number(stick.from_fed_end(x))} {words}"
        figure.line((x, -start), (shown, -drop), "leaders")
        bottom = -drop - 0.6 * height - text_width(text, height)
        figure.text(text, (shown + 0.5 * height, bottom), height, parts.LABELS, "left", 90.0)


def _label_bends(figure: Figure, stick: StickTemplate, strip: Strip, height: float, display: Display) -> None:
    """What to set for each bend, in one row above the strip, in order, with leaders to the bends."""
    if not stick.bends:
        return
    blocks = [_block(stick, bend, display) for bend in stick.bends]
    sizes = [block_size(block, height) for block in blocks]
    middles = [(bend.begin + bend.end) / 2.0 for bend in stick.bends]
    centers = spread(middles, [w for w, _ in sizes], 1.5 * height)
    furthest = max(abs(c - m) for c, m in zip(centers, middles, strict=True))
    foot = strip.height + 1.5 * height
    rise = 2.5 * height + min(0.25 * furthest, 12.0 * height)
    for block, (width, tall), middle, center in zip(blocks, sizes, middles, centers, strict=True):
        figure.line((middle, foot), (center, foot + rise), "leaders")
        top = foot + rise + 0.6 * height + tall
        for i, line in enumerate(block):
            figure.text(line, (center - width / 2.0, top - height - i * LEADING * height), height, parts.LABELS)


def _block(stick: StickTemplate, bend: StickBend, display: Display) -> Sequence[str]:
    cells = bend_row(stick, bend, display)
    return [f"{head} {cell}" for head, cell in zip(HEADS, cells, strict=True) if cell]
