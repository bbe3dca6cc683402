"""The job sheet as one HTML file: opens from a USB stick, needs no network, shows without scripts too.

Jinja2 puts text in (escaping on, unknown names refused), plotly.js draws in 3D; its script ships inside its
Python package and stands in the page once. A content security policy in the page forbids the browser
every connection, and every script but the page's own, known by their hashes.

A page shows text from a drawing as it is, so what does not show, or turns its neighbours round (control
characters, direction marks, line separators), is written out as its code point (`said`).
"""

from __future__ import annotations

import json
import re
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import replace
from hashlib import sha256
from importlib import resources
from importlib.abc import ResourceLoader
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter import __version__
from converter.bending.setup.words import SetupView
from converter.errors import MissingLibraryError
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.pictures.drawing.view import drawing_picture
from converter.exporters.pictures.drawing.words import drawing_legend
from converter.exporters.pictures.picture import ROLES, Picture
from converter.exporters.pictures.run.picture import isometric_picture
from converter.exporters.pictures.run.sketches import Sketches, sketches_of
from converter.exporters.pictures.run.stick import stick_picture
from converter.exporters.pictures.written.svg import FAMILY, svg_text
from converter.exporters.sheet.bench import bench_value
from converter.exporters.sheet.content import DrawingPage, JobSheet, job_sheet
from converter.exporters.sheet.fitup import fit_steps
from converter.exporters.sheet.scenes import part_scene, room_scene
from converter.exporters.sheet.squeeze import merged, squeezed
from converter.exporters.sheet.view import (
    PartView,
    findings_view,
    in_brief,
    part_view,
    quotation_view,
    sheet_facts,
    tally,
)
from converter.findings import ERROR, NOTE, WARNING
from converter.job import Job
from converter.progress import steps
from converter.quoting import visible
from converter.shop.model import Machine
from converter.units import BothUnits, pieces, unbroken
from converter.words import BOTH_TURNS, ROTATION, TACKING, TURN

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

#: Shown before a severity's word, so that it is told apart without colour.
SIGNS = {ERROR: "✖", WARNING: "▲", NOTE: "●"}
#: Sizes of the pictures in mm of paper; a part's by how many bends it may have: the smaller, the larger its type.
PART_SIZES = ((4, (84.0, 72.0)), (12, (112.0, 92.0)), (10**9, (150.0, 118.0)))
DRAWING_SIZE = (240.0, 150.0)
#: Where the plotly package keeps its script.
PLOTLY_SCRIPT = "package_data/plotly.min.js"
#: The page's own scripts, in the order they run, after plotly.js.
SCRIPTS = (
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
    "sheet.js",
)


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``STEM-sheet.html`` of one job; as `export_together`."""
    export_together([job], out, options)


def export_together(jobs: Sequence[Job], out: OutputSet, options: WriteOptions) -> None:
    """Write ``STEM-sheet.html`` of one or several jobs.

    Raises:
        WriteError: the shop file or the job file is gone.
        MissingLibraryError: jinja2 or plotly is not installed.
    """
    page = job_sheet(jobs, options.stem, quote=options.quote)
    text = html_text(page, _templates(page, out))
    out.path(f"{page.title}-sheet.html").write_text(text, encoding="utf-8", newline="\n")


def html_text(page: JobSheet, templates: tuple[str, ...] = ()) -> str:
    """The whole page.

    Args:
        page: what it says.
        templates: names of files with cope templates that lie beside it.
    """
    environment, plotly = _libraries()
    both = page.job.both_units
    shop = page.job.shop
    machine = shop.machine
    parts = [[part_view(part, both) for part in drawing.parts] for drawing in page.drawings]
    every = [part for own in parts for part in own]
    css, early, script = _asset("sheet.css") + picture_style(), _asset("early.js"), "\n".join(map(_asset, SCRIPTS))
    shared = {
        "signs": SIGNS,
        "title": page.heading,
        "mark": page.revision.mark,
        "made": page.revision.issued.isoformat(),
        "unit": both.unit,
        "total": len(every),
        "templates": templates,
        "plane_known": machine.plane is not None,
        "version": __version__,
        "turn_words": TURN,
        "rotation_words": f"{ROTATION} {BOTH_TURNS}",
    }
    template = environment.get_template("part.html.jinja")
    part_pages, drawings = [], []
    for number, (drawing, own) in enumerate(zip(page.drawings, parts, strict=True)):
        sketches = sketches_of(drawing.job)
        drawings.append(_drawing(drawing, number, own, both))
        part_pages += [
            _markup(template.render(shared, part=part, **_pictures(part, number, both, machine, sketches)))
            for part in steps(own, "pages")
        ]
    return environment.get_template("sheet.html.jinja").render(
        shared,
        policy=_policy(early, plotly, script),
        css=_markup(css),
        early_js=_markup(early),
        plotly=_markup(plotly),
        js=_markup(script),
        demo_shop=shop.is_demo,
        facts_of_sheet=sheet_facts(page, both),
        tally=tally([finding for drawing in page.drawings for finding in drawing.job.shown.findings]),
        parts=every,
        drawings=drawings,
        part_findings=in_brief(every),
        cautions=page.cautions,
        part_pages=part_pages,
        room=data(room_scene(machine)),
        bench=data(bench_value(page.parts, shop)),
        tacking=TACKING,
    )


def _pictures(part: PartView, drawing: int, both: BothUnits, machine: Machine, sketches: Sketches) -> dict[str, Any]:
    """The finished tube, the stick in either unit (each is rounded on its own), and what the script draws."""
    page = part.page
    size = next(size for most, size in PART_SIZES if len(page.tube.run.table.bends) <= most)
    first = page.setup.feed_from if page.setup is not None else "A"
    tube = isometric_picture(
        page.tube,
        both,
        size=size,
        findings=page.own_findings,
        joints=page.joints,
        fed_from=first,
        sketches=sketches,
    )
    stick: Markup | str = ""
    if page.setup is not None and page.setup.steps and part.steps:
        drawn = [stick_picture(SetupView(page.setup, one, page.bad_bends)) for one in both.alone]
        texts = [_svg(one, f"{page.key}-stick", unit) for one, unit in zip(drawn, ("mm", "in"), strict=True)]
        stick = _markup(merged(*texts))
    return {
        "picture": _svg(tube, f"{page.key}-tube"),
        "picture_width": size[0],
        "stick": stick,
        "scene": data(part_scene(page, drawing, machine)),
    }


def _svg(picture: Picture, prefix: str, unit: str | None = None) -> Markup:
    """A picture for the page; its title and description are names, so they are made to show too."""
    shown = replace(picture, title=visible(picture.title), description="")
    return _markup(squeezed(svg_text(shown, unit=unit, standalone=False, id_prefix=prefix)))


def _drawing(page: DrawingPage, number: int, parts: Sequence[PartView], both: BothUnits) -> dict[str, Any]:
    """What the sheet says of one drawing: findings on all of it, how it was read, what it comes to."""
    job = page.job
    value: dict[str, Any] = {
        "number": number,
        "name": page.heading,
        "parts": parts,
        "findings": findings_view(page.findings, both),
        "quotation": quotation_view(page, both),
        "fitup": fit_steps(page, both),
        "left_out": [(one.count, one.kind, both.each(one.why_in)) for one in job.drawing.ignored],
        "picture": "",
        "legend": [],
    }
    if job.program_tubes is None:
        findings = job.findings
        picture = drawing_picture(job.drawing, job.tubes, findings, both, size=DRAWING_SIZE, legend=False)
        value["legend"] = [one for one in drawing_legend(job.drawing, job.tubes, findings, both) if one.mark]
        value["picture"] = _svg(picture, f"as-read-{number}")
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
        from jinja2 import Environment, PackageLoader, StrictUndefined

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
    )
    environment.filters |= {"marked_up": marked_up, "visible": visible}
    return environment, script


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
            dash = f";stroke-dasharray:{' '.join(f'{d:g}' for d in look.dash)}" if look.dash else ""
            rules.append(
                f".r-{role}{{stroke:var(--r-{role});fill:none;stroke-width:{look.width:g};stroke-linecap:round;"
                f"stroke-linejoin:round{dash}}}"
            )
        rules.append(f".f-{role}{{fill:var(--r-{role});fill-rule:evenodd;stroke:none}}")
    return (
        f":root{{{light}}}@media screen{{html.dark{{{dark}}}}}"
        f"@media screen and (prefers-color-scheme:dark){{html:not(.light){{{dark}}}}}"
        f"{''.join(rules)}.f-ground{{fill:var(--paper)}}svg.picture{{font-family:{FAMILY}}}"
    )


def marked_up(text: str) -> Markup:
    """Text as HTML: escaped, and where it holds both units, each in a span of the class ``u-mm`` or ``u-in``.

    Only the words that differ stand in spans.
    """
    from markupsafe import Markup

    out = []
    for metric, inch in pieces(text):
        for a, b in _differing(unbroken(visible(metric)), unbroken(visible(inch))):
            if a == b:
                out.append(_held(a))
                continue
            out.append(Markup('<span class="u-mm">{}</span>').format(_held(a)) if a else Markup(""))
            out.append(Markup('<span class="u-in">{}</span>').format(_held(b)) if b else Markup(""))
    return Markup("").join(out)


#: What a browser would break at its hyphen or stroke.
_HELD = re.compile(r"((?<!\d)\d++(?:-\d++)?/\d++|\bcounter-clockwise\b)")


def _held(text: str) -> Markup:
    """Escaped text in whose fractions and directions no line ends."""
    from markupsafe import Markup, escape

    parts = _HELD.split(text)
    held = Markup('<span class="nb">{}</span>')
    return Markup("").join(held.format(part) if i % 2 else escape(part) for i, part in enumerate(parts))


def _differing(a: str, b: str) -> list[tuple[str, str]]:
    """Two texts cut into stretches of words: equal ones, and ones that differ."""
    if a == b:
        return [(a, a)] if a else []
    left, right = a.split(" "), b.split(" ")
    if len(left) != len(right):
        return [(a, b)]
    found: list[tuple[list[str], list[str], bool]] = []
    for p, q in zip(left, right, strict=True):
        if not found or found[-1][2] != (p == q):
            found.append(([], [], p == q))
        found[-1][0].append(p)
        found[-1][1].append(q)
    # the blank between two stretches stands before the second
    return [((" " if i else "") + " ".join(p), (" " if i else "") + " ".join(q)) for i, (p, q, _) in enumerate(found)]


def data(value: Any) -> Markup:
    """JSON for a data block of a page: nothing in it can end the block or open a tag."""
    from markupsafe import Markup

    text = json.dumps(value, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return Markup(text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e"))
