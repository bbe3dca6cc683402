"""``elbowroom cope``: the joints of a frame, hole-saw set-up, cut lengths, templates."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from converter.cli import cope_files, options

if TYPE_CHECKING:
    from converter.api import Result
    from converter.joints.cope import Copes


@click.command(
    short_help="Fit the ends: joints, hole-saw set-up, cut lengths.",
    epilog=options.example(
        "elbowroom cope frame.dxf --section 1.75x0.120in",
        "elbowroom cope frame.dxf --job job.toml --shop myshop.toml --gap 0.5mm",
        "elbowroom cope frame.dxf --job job.toml --out copes --to cope-pdf,step-coped",
        "elbowroom cope frame.dxf --job job.toml --json > copes.json",
        reads=True,
    ),
)
@click.argument("source", metavar="INPUT")
@options.reading
@options.reducing
@options.metal
@click.option("--gap", metavar="LENGTH", help="Weld gap the cuts leave.  [0]")
@cope_files.writing
@options.showing
@options.as_json
@options.talking
def cope(source: str, gap: str | None, **given: Any) -> int:
    """Find where tubes of INPUT ('-' reads standard input) meet, and say how each end is cut to fit.

    For each end: what it is cut to, at what angle and offset, its long and short point, where the
    zero line of the template lies, and which hole saw to set up how. Lengths count back from the
    end of the centerline. With --out, full-size templates are written too. Exit status 1 means that
    some end cannot be fitted as drawn.
    """
    console = options.console_from(given)
    files = cope_files.CopeFiles(given)
    settings = options.settings_from(given)
    weld = weld_gap(gap)

    from converter import api
    from converter.findings import has_errors
    from converter.units import parse_length

    with console.progress(f"reading {source}"):
        result = api.load(source, settings)
        mm = 0.0 if weld is None else parse_length(weld, result.drawing.read_as)
        made = api.cope(result, mm)
    with console.progress("writing"):
        written = [str(path) for path in files.write(result, mm)]
    findings = api.sorted_findings([*result.findings, *made.findings, *_demo(result, made)])
    if console.as_json:
        from converter.exporters.cope_json import cope_document

        document = cope_document(result.drawing.source, made.joints, made.lengths, findings, made.holes)
        console.json({**document, "written": written} if files.out is not None else document)
    else:
        from converter.cli.copes import copes_text

        console.result(copes_text(result, made, findings, everything=console.verbose))
        for path in written:
            console.result(path)
    return 1 if has_errors(findings) else 0


def weld_gap(text: str | None) -> str | None:
    """Check that it is a length of zero or more; a bare number is in the drawing's unit, known later.

    Raises:
        OptionError: it is not.
    """
    if text is None:
        return None
    from converter.errors import ElbowroomError, OptionError
    from converter.units import parse_length

    try:
        mm = parse_length(text)
    except ElbowroomError as error:
        raise OptionError(f"--gap: {error.message}", code=error.code) from error
    if mm < 0.0:
        raise OptionError(f"--gap must be a length of zero or more, not {text}.")
    return text


def _demo(result: Result, made: Copes) -> list[Any]:
    """A note when the hole saws are those of the demo shop."""
    from converter.findings import Finding

    if not result.demo_shop or all(joint.hole_saw is None for joint in made.joints):
        return []
    return [
        Finding(
            "demo-shop",
            "No shop file was named, so the hole saws are those of the invented demo shop.",
            cure="Write your own with `elbowroom shop new FILE` and name it with --shop.",
        )
    ]
