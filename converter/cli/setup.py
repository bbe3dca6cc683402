"""``elbowroom setup``: stick, marks, stops, rolls and order for the person at the bender."""

from __future__ import annotations

from typing import Any

import click

from converter.cli import options
from converter.cli.cope import weld_gap
from converter.errors import OptionError


@click.command(
    short_help="Show the bender's set-up: stick, marks, stops, rolls, order.",
    epilog=options.example(
        "elbowroom setup rail.dxf --shop myshop.toml --section 1.75x0.120in --metal 'mild steel' --fraction 16",
        "elbowroom setup frame.dxf --shop myshop.toml --job job.toml --feed-from best --json > setup.json",
        reads=True,
    ),
)
@click.argument("source", metavar="INPUT")
@options.reading
@options.reducing
@options.metal_alone
@options.at_the_bender
@click.option("--brief", is_flag=True, help="Leave out the step-by-step instructions.")
@options.showing
@options.as_json
@options.talking
def setup(source: str, brief: bool, no_copes: bool, gap: str | None, **given: Any) -> int:
    """Show for every tube in INPUT what the person at the bender needs ('-' reads standard input).

    Stick length, to the long points of ends that are coped; for each bend the mark from either end, die,
    stop with springback, and how the tube is turned; the end that goes first, the order where the simple
    one cannot be held, and the least room around. Exit status 1 means that something would scrap a stick,
    such as an end that cannot be fitted as drawn.
    """
    console = options.console_from(given)
    feed_from = given.pop("feed_from")
    settings = options.settings_from({**given, "feed_from": "A"})
    if no_copes and gap is not None:
        raise OptionError("--gap is the gap that copes leave, and --no-copes leaves them out: give one.")
    weld = weld_gap(gap)

    from converter.api import cope, load, set_up
    from converter.findings import has_errors
    from converter.units import parse_length

    with console.progress(f"setting up {source}"):
        result = load(source, settings)
        mm = 0.0 if weld is None else parse_length(weld, result.drawing.read_as)
        result, setups = set_up(result, feed_from, None if no_copes else cope(result, mm))
    if console.as_json:
        from converter.exporters.setup_json import setup_document

        console.json(setup_document(result.source, result.shop.name, setups, result.findings))
    else:
        from converter.cli.setups import setups_text

        console.result(setups_text(result, setups, brief=brief, everything=console.verbose))
    return 1 if has_errors(result.findings) else 0
