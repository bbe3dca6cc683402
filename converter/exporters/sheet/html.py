"""The job sheet as one HTML file: opens from a USB stick, needs no network, shows without scripts too.

Jinja2 puts text in (escaping on, unknown names refused), plotly.js draws in 3D; its script ships inside its
Python package and stands in the page once. A content security policy in the page forbids the browser
every connection, and every script but the page's own, known by their hashes.
"""

from __future__ import annotations

from base64 import b64encode
from dataclasses import replace
from hashlib import sha256
from importlib import resources
from typing import TYPE_CHECKING, Any

from converter import __version__
from converter.bending.setup_words import Sheet
from converter.errors import MissingLibraryError
from converter.exporters.files import OutputSet
from converter.exporters.pictures.drawing_view import drawing_picture
from converter.exporters.pictures.drawing_words import drawing_legend
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.run_picture import isometric_picture
from converter.exporters.pictures.stick_picture import stick_picture
from converter.exporters.pictures.svg import svg_text
from converter.exporters.registry import ExportJob
from converter.exporters.sheet.content import JobPage, job_page
from converter.exporters.sheet.look import picture_style
from converter.exporters.sheet.said import data, plain, said
from converter.exporters.sheet.scenes import room_scene, run_scene
from converter.exporters.sheet.squeeze import merged, squeezed
from converter.exporters.sheet.view import RunView, both_of, job_facts, run_view, tally
from converter.findings import ERROR, NOTE, WARNING
from converter.progress import steps
from converter.shop.model import Machine
from converter.units import BothUnits

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

#: Shown before a severity's word, so that it is told apart without colour.
SIGNS = {ERROR: "✖", WARNING: "▲", NOTE: "●"}
#: Sizes of the pictures in mm of paper; a run's by how many bends it may have: the smaller, the larger its type.
RUN_SIZES = ((4, (84.0, 72.0)), (12, (112.0, 92.0)), (10**9, (150.0, 118.0)))
DRAWING_SIZE = (240.0, 150.0)
#: The page's own scripts, in the order they run, after plotly.js.
SCRIPTS = ("shapes.js", "scenes.js", "bender.js", "camera.js", "stages.js", "sheet.js")


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``STEM-sheet.html``.

    Raises:
        WriteError: the job was not worked out.
        MissingLibraryError: jinja2 or plotly is not installed.
    """
    page = job_page(job)
    text = html_text(page, _templates(page, out))
    out.path(f"{job.stem}-sheet.html").write_text(text, encoding="utf-8", newline="\n")


def html_text(page: JobPage, templates: tuple[str, ...] = ()) -> str:
    """The whole page.

    Args:
        page: what it says.
        templates: names of files with cope templates that lie beside it.
    """
    environment, plotly = _libraries()
    both = both_of(page.job.display)
    shop = page.job.cope.shop
    machine = shop.machine if shop else Machine()
    known = {run.key: run for run in page.runs}
    runs = [run_view(run, both, known) for run in page.runs]
    css, early, script = _asset("sheet.css") + picture_style(), _asset("early.js"), "\n".join(map(_asset, SCRIPTS))
    shared = {
        "signs": SIGNS,
        "title": _title(page),
        "mark": page.revision.mark,
        "made": page.revision.made.isoformat(),
        "unit": both.unit,
        "total": len(runs),
        "templates": templates,
        "plane_known": machine.plane is not None,
        "version": __version__,
    }
    one = environment.get_template("run.html.jinja")
    parts = [one.render(shared, run=run, **_pictures(run, both, machine)) for run in steps(runs, "pages")]
    return environment.get_template("sheet.html.jinja").render(
        shared,
        policy=_policy(early, plotly, script),
        css=_markup(css),
        early_js=_markup(early),
        plotly=_markup(plotly),
        js=_markup(script),
        demo_shop=shop is not None and shop.is_demo,
        job_facts=job_facts(page, both),
        tally=tally(page.job.findings),
        runs=runs,
        job_findings=page.findings,
        run_findings=[run for run in runs if run.page.findings],
        cautions=page.cautions,
        ignored=page.job.ignored,
        **_drawing(page, both),
        run_pages=[_markup(part) for part in parts],
        room=data(room_scene(machine)),
    )


def _title(page: JobPage) -> str:
    """The job's own name where its job file gives one, else the drawing's."""
    job = page.job.cope.job
    return job.name if job is not None and job.name else page.title


def _pictures(run: RunView, both: BothUnits, machine: Machine) -> dict[str, Any]:
    """The finished tube, the stick in either unit (each is rounded on its own), and what the script draws."""
    page = run.page
    size = next(size for most, size in RUN_SIZES if len(page.tube.run.table.bends) <= most)
    first = page.setup.feed_from if page.setup is not None else "A"
    tube = isometric_picture(page.tube, both, size=size, findings=page.findings, joints=page.joints, fed_from=first)
    stick: Markup | str = ""
    if page.setup is not None and page.setup.steps and run.steps:
        drawn = [stick_picture(Sheet(page.setup, one)) for one in both.alone]
        texts = [_svg(one, f"{page.key}-stick", unit) for one, unit in zip(drawn, ("mm", "in"), strict=True)]
        stick = _markup(merged(*texts))
    return {
        "picture": _svg(tube, f"{page.key}-tube"),
        "picture_width": size[0],
        "stick": stick,
        "scene": data(run_scene(page, machine)),
    }


def _svg(picture: Picture, prefix: str, unit: str | None = None) -> Markup:
    """A picture for the page; its title and description are names, so they are made to show too."""
    shown = replace(picture, title=plain(picture.title), description="")
    return _markup(squeezed(svg_text(shown, unit=unit, standalone=False, id_prefix=prefix)))


def _drawing(page: JobPage, both: BothUnits) -> dict[str, Any]:
    """The drawing as read and its list; nothing where the job holds no drawing."""
    job = page.job
    if job.drawing is None:
        return {"drawing": "", "legend": []}
    picture = drawing_picture(job.drawing, job.tubes, job.findings, both, size=DRAWING_SIZE, legend=False)
    legend = [one for one in drawing_legend(job.drawing, job.tubes, job.findings, both) if one.mark]
    return {"drawing": _svg(picture, "as-read"), "legend": legend}


def _templates(page: JobPage, out: OutputSet) -> tuple[str, ...]:
    """Names of cope templates written together with this sheet."""
    found = []
    for ending in (".pdf", ".dxf"):
        try:
            found.append(out.final(f"{page.job.stem}-copes{ending}").name)
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
        from plotly.offline import get_plotlyjs
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
    environment.filters |= {"said": said, "plain": plain}
    return environment, get_plotlyjs()


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
