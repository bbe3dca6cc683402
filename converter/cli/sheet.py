"""``elbowroom sheet``: the job sheet, for the screen at the bender and for paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from converter.cli import options
from converter.cli.cope import weld_gap
from converter.errors import OptionError

if TYPE_CHECKING:
    from converter.api import Work

#: What a person types after --to -> name in the registry; both are usual.
KINDS = {"html": "sheet", "pdf": "sheet-pdf"}


def _kinds(ctx: click.Context, param: click.Parameter, value: str) -> tuple[str, ...]:
    """Names of formats in the registry, each once."""
    words = [word.strip().lower() for word in value.split(",") if word.strip()]
    known = {**{name: (one,) for name, one in KINDS.items()}, "all": tuple(KINDS.values())}
    wrong = [word for word in words if word not in known]
    if wrong or not words:
        raise OptionError(f"--to takes {', '.join(KINDS)} or all, not {(wrong[0] if wrong else value)!r}.")
    return tuple(dict.fromkeys(name for word in words for name in known[word]))


def _paper(ctx: click.Context, param: click.Parameter, value: str | None) -> str:
    """'A4' or 'Letter' in any case; '' when not asked."""
    from converter.exporters.cope_options import SHEETS

    by_name = {name.casefold(): name for name in SHEETS}
    if value is not None and value.strip().casefold() not in by_name:
        raise OptionError(f"--paper takes {' or '.join(SHEETS)}, not {value!r}.")
    return "" if value is None else by_name[value.strip().casefold()]


@click.command(
    short_help="Write the job sheet for the bender: HTML for the screen, PDF for paper.",
    epilog=options.example(
        "elbowroom sheet rail.dxf --shop myshop.toml --section 1.75x0.120in --metal 'mild steel'",
        "elbowroom sheet frame.dxf --shop myshop.toml --job job.toml --out job --to pdf --paper Letter",
        "elbowroom sheet frame.dxf --out job --force --json > written.json",
        reads=True,
    ),
)
@click.argument("source", metavar="INPUT")
@click.option(
    "--out", default=".", metavar="DIR", callback=options.folder, help="Folder to write to.  [the current one]"
)
@click.option("--to", default="all", metavar="html,pdf", callback=_kinds, help="Which to write.  [both]")
@click.option("--paper", metavar="A4|Letter", callback=_paper, help="Paper of the PDF.  [Letter with inches, else A4]")
@click.option("--force", is_flag=True, help="Replace files that exist already.")
@options.reading
@options.reducing
@options.metal_alone
@options.at_the_bender
@options.showing
@options.as_json
@options.talking
def sheet(source: str, no_copes: bool, gap: str | None, **given: Any) -> int:
    """Write what the person at the bender looks at for INPUT ('-' reads standard input).

    NAME-sheet.html shows the whole job and every run in 3D, step by step, and opens from a USB stick without
    a network; NAME-sheet.pdf is the same for paper. Both bear a mark that changes with the drawing, the shop
    file and every number, so that an old sheet is recognised. Existing files stay unless --force is given.
    Exit status 1: written, but something would scrap a stick.
    """
    console = options.console_from(given)
    out, kinds, paper, force = (given.pop(name) for name in ("out", "to", "paper", "force"))
    feed_from = given.pop("feed_from")
    if no_copes and gap is not None:
        raise OptionError("--gap is the gap that copes leave, and --no-copes leaves them out: give one.")
    weld = weld_gap(gap)
    settings = options.settings_from({**given, "feed_from": "A"})

    from dataclasses import replace

    from converter.api import load, usable_formats, work_out, write_sheets
    from converter.findings import has_errors
    from converter.units import parse_length

    formats, _ = usable_formats(kinds)
    with console.progress(f"working out {source}"):
        result = load(source, replace(settings, both_units=True).keeping_left_out())
        mm = 0.0 if weld is None else parse_length(weld, result.drawing.read_as)
        work = work_out(result, feed_from, mm, coped=not no_copes)
    with console.progress("writing the sheet"):
        written = [str(path) for path in write_sheets(work, out, formats, force=force, paper=paper, gap=mm)]
    if console.as_json:
        console.json(_document(work, written))
    else:
        from converter.cli.audit import verdict

        console.say(lambda: verdict(work.result.alone(), console) + "\n")
        for path in written:
            console.result(path)
    return 1 if has_errors(work.result.findings) else 0


def _document(work: Work, written: list[str]) -> dict[str, Any]:
    """``elbowroom/sheet/1``: what was written and what was found (docs/sheet.md)."""
    from converter.api import export_job, whole_job
    from converter.cli.audit import audit_document
    from converter.exporters.sheet.revision import revision_of

    alone = work.result.alone()
    revision = revision_of(whole_job(export_job(alone), work))
    return {
        "schema": "elbowroom/sheet/1",
        "source": alone.source,
        "shop": alone.shop.name,
        "demo_shop": alone.demo_shop,
        "revision": revision.mark,
        "made": revision.made.isoformat(),
        "tubes": [tube.name for tube in alone.tubes],
        "written": written,
        "findings": audit_document([alone])["findings"],
    }
