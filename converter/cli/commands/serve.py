"""``elbowroom serve``: a page on this machine, to drop a drawing on and see its job."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, NoReturn, cast

import click

from converter.cli import batches, options
from converter.cli.console import Console
from converter.errors import OptionError
from converter.units import UNIT_CHOICES

if TYPE_CHECKING:
    from converter.serve.local_page import PageField
    from converter.settings import Settings

#: Drawings that are worked out at once: a sheet, and the other files of it.
_AT_ONCE = 2
#: The field for options that have none of their own, typed as on the command line.
_OTHER = "other"


@click.command(
    short_help="Open a page on this machine: drop a drawing, see its job sheet.",
    epilog=options.example("elbowroom serve --shop myshop.toml --open"),
)
@click.option("--port", type=click.IntRange(1, 65535), metavar="N", help="TCP port of the page.  [a free one]")
@click.option("--open", "show", is_flag=True, help="Open it in the browser.")
@options.shop_file
@options.job_file
@options.limits
@options.talking
def serve(port: int | None, show: bool, shop: str | None, job: str | None, console: Console) -> NoReturn:
    """Serve a page until Ctrl-C: a drawing that is dropped on it is worked out, and its job sheet stands there.

    The page also asks for section, metal, unit and whatever else the other commands take, and hands out the files that
    'convert' and 'sheet' write. Only this machine reaches it, by the address that is printed; nothing is sent
    anywhere, and what was dropped is forgotten when it ends.
    """
    from secrets import token_urlsafe

    from converter.batch import local_bays
    from converter.cli.supervise import allow_seconds
    from converter.serve.desk import Desk
    from converter.serve.local_page import LocalPage
    from converter.serve.server import listening

    limits = batches.limits_for(_AT_ONCE)
    allow_seconds(None)  # what takes time is done in processes that have limits of their own
    with TemporaryDirectory(prefix="elbowroom-") as folder, local_bays(_AT_ONCE) as executor:
        desk = Desk(executor, Path(folder), read_settings, shop, job, limits)
        page = LocalPage(desk, token_urlsafe(12), page_fields())
        with listening(page, port) as server:
            address = f"http://{server.host}:{server.port}{page.top}"
            console.result(address)
            console.say("Open this address in a browser of this machine; Ctrl-C ends it.")
            sys.stdout.flush()
            if show:
                click.launch(address)
            server.serve_forever()
        raise KeyboardInterrupt  # the library keeps the one that ended it; what is still worked on is to stop, too


def page_fields() -> Sequence[PageField]:
    """What the page asks for."""
    from converter.serve.local_page import PageField

    return (
        PageField("section", "--section", "Section", "1.75x0.120in; RAIL=1.5x.095in"),
        PageField("metal", "--metal", "Metal", "mild steel"),
        PageField("units", "--units", "Unit of its numbers", "as the file says", UNIT_CHOICES),
        PageField("clr", "--clr", "Radius of sharp corners", "4.5in"),
        PageField("run", "--run", "Only these tubes", "RAIL*"),
        PageField(_OTHER, "", "Other options", "as typed: --refit --fit 0.1mm"),
    )


def read_settings(fields: Mapping[str, str]) -> Settings:
    """The settings that the fields of the page stand for, which may hold several values with ``;`` between them.

    Raises:
        OptionError: one is not what its option takes.
    """
    words = [
        word
        for field in page_fields()
        if field.option
        for value in fields.get(field.name, "").split(";")
        if value.strip()
        for word in (field.option, value.strip())
    ]
    try:
        words += shlex.split(fields.get(_OTHER, ""))
    except ValueError as error:
        raise OptionError("Other options: a quote is not closed.") from error
    try:
        return cast("Settings", _drawing_command().main(words, prog_name="elbowroom", standalone_mode=False))
    except click.ClickException as error:
        raise OptionError(error.format_message()) from error


@cache
def _drawing_command() -> click.Command:
    """A command that takes every option a drawing is read by, and returns its settings."""

    @click.command(add_help_option=False)
    @options.settings_to_bend
    def drawing(settings: Settings) -> Settings:
        return settings

    # limits are those of the command that serves the page: the options for them would change these here and now
    drawing.params = [option for option in drawing.params if option.expose_value]
    return drawing
