"""``elbowroom shop``: make, check and show the shop file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from converter.cli import options, outputs
from converter.cli.console import Console
from converter.errors import OptionError, WriteError
from converter.quoting import LONGEST_PATH, quoted

if TYPE_CHECKING:
    from converter.shop.model import Shop


@click.group(
    short_help="Make, check and show the shop file.",
    epilog=options.example("elbowroom shop new myshop.toml", "elbowroom shop check myshop.toml"),
)
def shop() -> None:
    """Make, check and show the shop file: machines, dies, metals.

    The shop file is a TOML text that says what your shop owns. Without one an invented demo shop
    serves, and every output says so.
    """


@shop.command(short_help="Write a shop file to start from.", epilog=options.example("elbowroom shop new myshop.toml"))
@click.argument("path", metavar="FILE")
@outputs.force
@options.talking
def new(path: str, force: bool, console: Console) -> int:
    """Write a commented shop file to FILE ('-' writes it to standard output) for you to fill in."""
    from converter.shop.load import new_shop_text

    text = new_shop_text()
    if path == "-":
        console.result(text.rstrip("\n"))
        return 0
    _write(path, text, force)
    console.say(f"Wrote {path}: put your own dies and machines in it, then run: elbowroom shop check {path}")
    return 0


@shop.command(
    short_help="Say whether a shop file is sound.", epilog=options.example("elbowroom shop check myshop.toml")
)
@click.argument("path", metavar="FILE")
@options.limits
@options.talking_json
def check(path: str, console: Console) -> int:
    """Say whether FILE ('-' for standard input) is a sound shop file; if not, name the key that is wrong."""
    from converter.cli.screens.shop import shop_document, summary

    loaded = _load(path)
    if console.as_json:
        console.json(shop_document(loaded, path))
    else:
        console.result(f"{path} is sound: {summary(loaded)}.")
    from converter.shop.consistency import doubts, metal_doubts
    from converter.shop.load import example_doubts

    for finding in (*doubts(loaded), *metal_doubts(loaded), *example_doubts(loaded)):
        console.say(f"Warning: {finding.message} {finding.cure_in()}")
    return 0


@shop.command(
    short_help="Show what a shop file says.",
    epilog=options.example("elbowroom shop show myshop.toml --fraction 16", "elbowroom shop show --json"),
)
@click.argument("path", metavar="[FILE]", required=False)
@options.limits
@options.showing
@options.talking_json
def show(path: str | None, showing: options.ShowingChoices, console: Console) -> int:
    """Show all that FILE says, or of the demo shop when none is named."""
    from converter.cli.screens.shop import shop_display, shop_document, shop_text
    from converter.shop.load import demo_shop

    loaded = demo_shop() if path is None else _load(path)
    if console.as_json:
        console.json(shop_document(loaded, path))
    else:
        console.result(shop_text(loaded, shop_display(loaded, showing)))
    return 0


def _write(path: str, text: str, force: bool) -> None:
    """Write a text file whole or not at all, under exactly this name."""
    from pathlib import Path

    from converter.exporters.files import OutputSet

    target = Path(path)
    if not force and (target.exists() or target.is_symlink()):
        raise WriteError(
            f"{quoted(path, LONGEST_PATH)} exists already: give --force to replace it, or name another file.",
            code="exists",
            file=path,
        )
    with OutputSet(target.parent, force=force) as out:
        out.path(target.name).write_text(text, encoding="utf-8")
        if out.final(target.name) != target:
            raise OptionError(
                f"{quoted(target.name, LONGEST_PATH)} is not a file name that every system takes: use a plainer one."
            )


def _load(path: str) -> Shop:
    """The shop of a file, or of standard input for '-'."""
    from converter.shop.load import load_shop, shop_from_text
    from converter.shop.toml import decoded

    if path == "-":
        from converter.disk.reading import read_standard_input, standard_input
        from converter.limits import TOML_BYTES

        data = read_standard_input(standard_input(), lambda _: TOML_BYTES)
        return shop_from_text(decoded(data, "standard input", "shop file"), "standard input")
    return load_shop(path)
