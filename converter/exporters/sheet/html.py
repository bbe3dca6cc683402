"""The job sheet as one HTML file: opens from a USB stick, needs no network, shows without scripts too.

Jinja2 puts text in (escaping on, unknown names refused), plotly.js draws in 3D; its script ships inside its
Python package and stands in the page once. A content security policy in the page forbids the browser
every connection, and every script but the page's own, known by their hashes.

A page shows text from a drawing as it is, so what does not show, or turns its neighbours round (control
characters, direction marks, line separators), is written out as its code point (`TextTable.marked_up`).
"""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache, partial
from hashlib import sha256
from importlib import resources
from importlib.abc import ResourceLoader
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zlib import compress

from converter import __version__
from converter.bending.setup.words import SetupView
from converter.errors import MissingLibraryError
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.pictures.drawing.view import drawing_picture
from converter.exporters.pictures.drawing.words import drawing_legend
from converter.exporters.pictures.picture import ROLES, Picture, RoleLook
from converter.exporters.pictures.run.picture import isometric_picture
from converter.exporters.pictures.run.sketch import Sketches, sketches_of
from converter.exporters.pictures.run.stick import stick_picture
from converter.exporters.pictures.written.svg import FAMILY
from converter.exporters.sheet.bench import bench_value
from converter.exporters.sheet.content import DrawingPage, JobSheet, PartPage, job_sheet
from converter.exporters.sheet.qr import code_svg, code_text
from converter.exporters.sheet.roundings import Roundings, TextPiece, TextTable
from converter.exporters.sheet.scenes import part_scene, room_scene
from converter.exporters.sheet.squeeze import DOT, GRID, squeezed
from converter.exporters.sheet.tape import tape_rows
from converter.exporters.sheet.view import (
    PartView,
    findings_view,
    in_brief,
    part_view,
    quotation_view,
    sheet_facts,
)
from converter.exporters.sheet.whole import bars_pictures, bars_views, fit_steps, listed_parts
from converter.findings import ERROR, NOTE, WARNING
from converter.findings.wording import grouped, severity_counts
from converter.job import Job
from converter.job.cutlist_words import title_text
from converter.processes.memory import paused_gc
from converter.processes.parallel import in_order
from converter.progress import steps
from converter.quoting import visible
from converter.words import BOTH_TURNS, ROTATION, SAW_CAUTION, TACKING, TURN

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

#: Shown before a severity's word, so that it is told apart without colour.
SIGNS = {ERROR: "✖", WARNING: "▲", NOTE: "●"}
#: Sizes of the pictures in mm of paper; a part's by how many bends it may have: the smaller, the larger its type.
PART_SIZES = ((4, (84.0, 72.0)), (12, (112.0, 92.0)), (10**9, (150.0, 118.0)))
DRAWING_SIZE = (240.0, 150.0)
#: From so many parts on several processes pay: a part takes 30 ms, and each process 0.1 s to make anew what they share.
LEAST = 40
#: Where the plotly package keeps its script.
PLOTLY_SCRIPT = "package_data/plotly.min.js"
#: The page's own scripts, in the order they run, after plotly.js.
SCRIPTS = (
    "unpack.js",
    "units.js",
    "shapes.js",
    "scenes.js",
    "bender.js",
    "camera.js",
    "stages.js",
    "sketch.js",
    "machine.js",
    "cuts.js",
    "check.js",
    "bench.js",
    "list.js",
    "sheet.js",
)


def export(jobs: Sequence[Job], out: OutputSet, options: WriteOptions) -> None:
    """Write ``STEM-sheet.html`` of one or several jobs.

    Raises:
        WriteError: the shop file or the job file is gone.
        MissingLibraryError: jinja2 or plotly is not installed.
    """
    page = job_sheet(jobs, options.stem, quote=options.quote)
    text = html_text(page, _templates(page, out), options.address)
    out.path(f"{page.title}-sheet.html").write_text(text, encoding="utf-8", newline="\n")


@paused_gc()
def html_text(page: JobSheet, templates: tuple[str, ...] = (), address: str = "", *, least: int = LEAST) -> str:
    """The whole page.

    Args:
        page: what it says.
        templates: names of files with cope templates that lie beside it.
        address: where it will be opened, for the codes on its printed parts; '' where that is not known.
        least: from so many parts on several processes work on it, where they may (`converter.processes.parallel`).
    """
    environment, plotly = _libraries()
    roundings = Roundings(page.job.both_units)
    table = TextTable(roundings)
    environment.filters |= _filters(table)
    shop = page.job.shop
    parts = [[part_view(part, roundings.every) for part in drawing.parts] for drawing in page.drawings]
    every = [part for own in parts for part in own]
    css, early, script = _asset("sheet.css") + picture_style(), _asset("early.js"), "\n".join(map(_asset, SCRIPTS))
    shared = {
        "signs": SIGNS,
        "title": page.heading,
        "mark": page.revision.mark,
        "made": page.revision.issued.isoformat(),
        "unit": roundings.first.unit,
        "total": len(every),
        "templates": templates,
        "plane_known": shop.machine.plane is not None,
        "version": __version__,
        "turn_words": TURN,
        "rotation_words": f"{ROTATION} {BOTH_TURNS}",
    }
    part_pages, drawings, scenes, stages = [], [], [], []
    pieces = _Pieces(environment, roundings, shared, address, page)
    for number, (drawing, own) in enumerate(zip(page.drawings, parts, strict=True)):
        sketches = sketches_of(drawing.job)
        drawings.append(_drawing(drawing, number, own, table))
        work = partial(pieces.of_part, number=number, sketches=sketches)
        for _, (shown, scene, stage) in zip(steps(own, "pages"), in_order(own, work, least=least), strict=True):
            part_pages.append(table.in_page(shown))
            scenes.append(scene)
            stages.append(stage)
    jobs = [drawing.job for drawing in page.drawings]
    told = [alike for job in jobs for alike in grouped(job.shown.findings, job.display)]
    written = environment.get_template("sheet.html.jinja").generate(
        shared,
        policy=_policy(early, plotly, script),
        css=_markup(css),
        early_js=_markup(early),
        plotly=_packed_plotly(plotly),
        js=_markup(script),
        demo_shop=shop.is_demo,
        facts_of_sheet=sheet_facts(page, roundings.every),
        counts=[(one.severity, one.words) for one in severity_counts(told)],
        parts=every,
        drawings=drawings,
        part_findings=in_brief(every),
        cautions=page.cautions,
        **_cutting(page, table),
        part_pages=part_pages,
        bench=packed_value(bench_value(page.parts, shop)),
        tacking=TACKING,
        scenes=packed_value(scenes),
        steps=packed_value([table.in_page(stage) for stage in stages if stage is not None]),
        room=data(room_scene(shop.machine)),
        lines=_markup(_TASK_LINES),
        texts=_markup(_TEXTS),
    )
    # bit by bit, and put together once: the text of a large job takes much memory
    bits: list[str] = []
    lines: list[str] = []
    for bit in written:
        without, own_lines = _without_lines(bit)
        bits.append(without)
        lines += own_lines
    # both are whole once everything is written
    known: dict[str, str] = {_TASK_LINES: packed_value(lines), _TEXTS: packed_value(table.value())}
    return "".join(known.get(bit, bit) for bit in bits)


class _Pieces:
    """What is made of a part by itself: its page, its scene, its steps.

    Args:
        environment, roundings, shared, address: of the whole page.
        page: what it says.
    """

    def __init__(
        self, environment: Environment, roundings: Roundings, shared: dict[str, Any], address: str, page: JobSheet
    ) -> None:
        self._table = TextTable(roundings, whole=False)
        own = environment.overlay()
        own.filters = environment.filters | _filters(self._table)
        self._page, self._steps = map(own.get_template, ("part.html.jinja", "steps.html.jinja"))
        self._shared = shared
        self._address = address
        self._mark = page.revision.mark
        self._machine = page.job.shop.machine

    def of_part(
        self, part: PartView, number: int, sketches: Sketches
    ) -> tuple[TextPiece, dict[str, Any], TextPiece | None]:
        """Its page, its scene, and what the page's script puts in its place (the steps at the bender, the tape).

        Args:
            part: of the drawing.
            number: of the drawing.
            sketches: of the drawing's tubes.
        """
        page, table = part.page, self._table

        def shown() -> str:
            code = _code(page, self._mark, self._address)
            return self._page.render(self._shared, part=part, code=code, **_pictures(part, table, sketches))

        def stages() -> str:
            tape = tape_rows(page.setup, table.roundings.every)
            return self._steps.render(self._shared, part=part, tape=tape)

        scene = part_scene(page, number, self._machine, sketches.shape(page.tube, page.joints))
        return table.piece_of(shown), scene, table.piece_of(stages) if part.steps else None


def _filters(table: TextTable) -> dict[str, Any]:
    return {"marked_up": table.marked_up, "loosely": table.loosely, "as_shown": table.as_shown}


#: Stand in the page for the large lines of its tasks and the table of its texts until those are known; no name holds
#: what does not show.
_TASK_LINES, _TEXTS = "\x00lines", "\x00texts"
#: Around the large lines of a task, which only its script shows.
_OPENS, _CLOSES = "<template data-lines>", "</template>"


def _without_lines(text: str) -> tuple[str, list[str]]:
    """A piece of a page with empty templates for the large lines of its tasks, and those lines in their order."""
    if _OPENS not in text:
        return text, []
    kept, lines = [], []
    before, *rest = text.split(_OPENS)
    for part in rest:
        line, _, after = part.partition(_CLOSES)
        lines.append(line)
        kept += ["<template>", _CLOSES, after]
    return "".join([before, *kept]), lines


def _cutting(page: JobSheet, table: TextTable) -> dict[str, Any]:
    """Which bars the job is cut from; nothing where the shop file has none."""
    cuts, roundings = page.cuts, table.roundings
    if cuts is None:
        return {"cutting": ()}
    pictures = bars_pictures(cuts, roundings.every)
    views = bars_views(cuts, roundings.every)
    drawn = [None if one is None else _svg(one, f"bars-{n}", table) for n, one in enumerate(pictures)]
    return {
        "cutting": tuple(zip(views, drawn, strict=True)),
        "cutting_title": title_text(cuts),
        "cutting_findings": findings_view(cuts.findings, roundings.every),
        "saw_caution": SAW_CAUTION,
    }


def _pictures(part: PartView, table: TextTable, sketches: Sketches) -> dict[str, Any]:
    """The finished tube, and the stick."""
    page, display = part.page, table.roundings.every
    size = next(size for most, size in PART_SIZES if len(page.tube.run.table.bends) <= most)
    first = page.setup.feed_from if page.setup is not None else "A"
    tube = isometric_picture(
        page.tube,
        display,
        size=size,
        findings=page.own_findings,
        joints=page.joints,
        fed_from=first,
        sketches=sketches,
    )
    stick: Markup | str = ""
    if page.setup is not None and page.setup.steps and part.steps:
        stick = _svg(stick_picture(SetupView(page.setup, display, page.refusal)), f"{page.key}-stick", table)
    return {"picture": _svg(tube, f"{page.key}-tube", table), "picture_width": size[0], "stick": stick}


def _code(part: PartPage, mark: str, address: str) -> Markup:
    """The square code of a part, for its printed page."""
    return _markup(code_svg(code_text(address, mark, part.key, part.title), f"Code of {visible(part.title)}"))


def _svg(picture: Picture, prefix: str, table: TextTable) -> Markup:
    """A picture for the page; its title is a name, so it is made to show too."""
    return _markup(squeezed(replace(picture, title=visible(picture.title)), prefix, table.label))


def _drawing(page: DrawingPage, number: int, parts: Sequence[PartView], table: TextTable) -> dict[str, Any]:
    """What the sheet says of one drawing: findings on all of it, how it was read, what it comes to."""
    job, roundings = page.job, table.roundings
    value: dict[str, Any] = {
        "number": number,
        "name": page.heading,
        "parts": parts,
        "listed": listed_parts(parts),
        "findings": findings_view(page.findings, roundings.every),
        "fitup": fit_steps(page, roundings.every),
        "quotation": quotation_view(page, roundings.every),
        "left_out": [(one.count, one.kind, roundings.every.each(one.why_in)) for one in job.drawing.ignored],
        "picture": "",
        "legend": [],
    }
    if job.program_tubes is None:
        findings, display = job.findings, roundings.every
        picture = drawing_picture(job.drawing, job.tubes, findings, display, size=DRAWING_SIZE, legend=False)
        value["legend"] = [one for one in drawing_legend(job.drawing, job.tubes, findings, display) if one.mark]
        value["picture"] = _svg(picture, f"as-read-{number}", table)
    return value


def _templates(page: JobSheet, out: OutputSet) -> tuple[str, ...]:
    """Names of cope templates written together with this sheet."""
    found = []
    for drawing in page.drawings:
        for ending in (".pdf", ".dxf"):
            try:
                found.append(out.final(f"{drawing.stem}-copes{ending}").name)
            except KeyError:
                continue
    return tuple(found)


def _libraries() -> tuple[Environment, str]:
    """Jinja2 set up for our pages, and plotly.js.

    Raises:
        MissingLibraryError: one of them is not installed.
    """
    try:
        from jinja2 import Environment, MemcachedBytecodeCache, PackageLoader, StrictUndefined

        script = _plotly_script()
    except ImportError as error:
        raise MissingLibraryError(
            f"The HTML job sheet needs {error.name}, which is not installed: reinstall elbowroom with its dependencies."
        ) from error
    environment = Environment(
        loader=PackageLoader("converter.exporters.sheet", "page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=False,
        keep_trailing_newline=False,
        bytecode_cache=MemcachedBytecodeCache(_COMPILED),
    )
    environment.filters["visible"] = visible
    return environment, script


class _CompiledTemplates:
    """Templates of our pages as code, in the place of the server that jinja2 would ask: each is compiled once."""

    def __init__(self) -> None:
        self._code: dict[str, bytes] = {}

    def get(self, key: str) -> bytes:
        """The code of a template; jinja2 compiles what is not there.

        Raises:
            KeyError: it was not compiled yet.
        """
        return self._code[key]

    def set(self, key: str, value: bytes, timeout: int | None = None) -> None:
        """Keep the code of a template."""
        self._code[key] = value


_COMPILED = _CompiledTemplates()


@lru_cache(maxsize=1)
def _packed_plotly(script: str) -> Markup:
    """plotly.js packed, once for all the sheets of a process: it takes longer than a small sheet."""
    return packed(script)


def _plotly_script() -> str:
    """plotly.js, as its Python package ships it; the package itself takes long to import, and is not needed.

    Raises:
        ModuleNotFoundError: the package is not installed.
    """
    package = find_spec("plotly")
    if package is None or package.origin is None or not isinstance(package.loader, ResourceLoader):
        raise ModuleNotFoundError("No module named 'plotly'", name="plotly")
    return package.loader.get_data(str(Path(package.origin).parent / PLOTLY_SCRIPT)).decode()


def _policy(*scripts: str) -> str:
    """Nothing from anywhere; only these scripts; styles may stand in the page (plotly.js sets them itself)."""
    hashes = " ".join(f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'" for text in scripts)
    return (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; img-src data:; connect-src 'none'; "
        "base-uri 'none'; form-action 'none'"
    )


def _asset(name: str) -> str:
    """A style sheet or script of the page, as shipped."""
    return (resources.files("converter.exporters.sheet") / "page" / name).read_text(encoding="utf-8")


def _markup(text: str) -> Markup:
    from markupsafe import Markup

    return Markup(text)


def picture_style() -> str:
    """Style rules for `converter.exporters.pictures`: colours follow the page's own light or dark."""
    light = "".join(f"--r-{role}:{look.light};" for role, look in ROLES.items())
    dark = "".join(f"--r-{role}:{look.dark};" for role, look in ROLES.items())
    rules = []
    for role, look in ROLES.items():
        if look.width:
            rules.append(
                f".r-{role}{{stroke:var(--r-{role});fill:none;{_pen(look, 1)};stroke-linecap:round;"
                f"stroke-linejoin:round}}.grid .r-{role}{{{_pen(look, GRID)}}}"
            )
        rules.append(f".f-{role}{{fill:var(--r-{role});fill-rule:evenodd;stroke:none}}")
    rules.append(".grid .all{fill-rule:nonzero}")
    rules.append(f".grid .dot{{stroke-width:{2.0 * DOT[1] * GRID:g};stroke-dasharray:none}}")
    return (
        f":root{{{light}}}@media screen{{html.dark{{{dark}}}}}"
        f"@media screen and (prefers-color-scheme:dark){{html:not(.light){{{dark}}}}}"
        f"{''.join(rules)}.f-ground{{fill:var(--paper)}}svg.picture{{font-family:{FAMILY}}}"
    )


def _pen(look: RoleLook, k: int) -> str:
    """Width and dashes of a line where a millimetre is written as ``k``."""
    dash = f";stroke-dasharray:{' '.join(f'{k * d:g}' for d in look.dash)}" if look.dash else ""
    return f"stroke-width:{k * look.width:g}{dash}"


def data(value: Any) -> Markup:
    """JSON for a data block of a page: nothing in it can end the block or open a tag."""
    from markupsafe import Markup

    text = json.dumps(value, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return Markup(text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e"))


def packed(text: str) -> Markup:
    """Text for a data block, deflated (RFC 1950) and in letters that a page may hold (RFC 4648)."""
    return _markup(b64encode(compress(text.encode(), _EFFORT)).decode())


def packed_value(value: Any) -> Markup:
    """The same of JSON."""
    return packed(json.dumps(value, separators=(",", ":"), ensure_ascii=False, allow_nan=False))


#: Of zlib's nine levels: more takes half as long again for a hundredth less.
_EFFORT = 6
