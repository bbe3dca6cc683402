"""The command group: knows every command's name and one line of help, imports a command only on use.

Start-up must stay next to free, so this module imports click and nothing heavier; a test
holds `--help` to that. It is also the one place where errors become messages and exit
statuses: 0 done and clean, 1 done but errors were found, 2 could not be done, 130 interrupted.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module

import click

from converter import __version__
from converter.errors import ElbowroomError, OptionError
from converter.pause import paused_gc

#: command -> one line of help. The function lives in ``converter.cli.<command>`` under the
#: name ``<command>``; a test keeps these lines equal to the commands' own.
COMMANDS: dict[str, str] = {
    "demo": "Write an invented job and run the main job on it.",
    "convert": "Turn drawings into everything the bender and the assembly need.",
    "table": "Show the bend table of every run.",
    "audit": "Check drawings against the shop: what cannot be bent, and why.",
    "setup": "Show the bender's set-up: stick, marks, stops, rolls, order.",
    "sheet": "Write the job sheet for the bender: HTML for the screen, PDF for paper.",
    "springback": "Learn springback from test bends; resume a bend.",
    "cope": "Fit the ends: joints, hole-saw set-up, cut lengths.",
    "shop": "Make, check and show the shop file.",
}

DONE, FOUND, FAILED, INTERRUPTED = 0, 1, 2, 130
#: The reader of our output went away (``| head``): what shells report for SIGPIPE. Not 0, which would
#: tell a script that all is clean.
CUT_SHORT = 141

_EPILOG = "Exit status: 0 done and clean; 1 done, but errors were found; 2 could not be done, nothing written."


class LazyGroup(click.Group):
    """A group that lists its commands from `COMMANDS` and imports one when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names, in the order a newcomer meets them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command itself, or None when there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = getattr(import_module(f"converter.cli.{cmd_name}"), cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=LazyGroup,
    epilog=_EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="elbowroom", message="%(prog)s %(version)s")
def elbowroom() -> None:
    """Turn CAD centerlines into bend tables, die checks, 1:1 templates and tube solids.

    Try `elbowroom demo`, then `elbowroom table DRAWING.dxf`. Every command shows an example
    with --help.
    """


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status; never raises.

    Args:
        arguments: the words after the program's name; those of the process when None.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    _forgiving_streams()
    try:
        with paused_gc():  # a command is short: what it makes stays to its end
            result = elbowroom.main(args=words, prog_name="elbowroom", standalone_mode=False)
        sys.stdout.flush()
    except (BrokenPipeError, SystemExit):  # click turns the first into the second
        _drop_stdout()
        return CUT_SHORT
    except (click.Abort, KeyboardInterrupt):
        click.echo("Interrupted; nothing more was written.", err=True)
        return INTERRUPTED
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return FAILED
    except ElbowroomError as error:
        return _fail(error, words)
    except click.ClickException as error:
        return _fail(_plain(error), words)
    except OSError as error:
        named = None if error.filename is None else str(error.filename)
        text = f"The system refused{f' {named!r}' if named else ''}: {error.strerror or error}."
        return _fail(ElbowroomError(text, code="system", file=named), words)
    except Exception as error:
        # the last line of defence: a mistake of ours becomes one sentence, never a raw traceback
        if "--verbose" in words or "-v" in words:
            import traceback

            click.echo(traceback.format_exc(), err=True, nl=False)
        text = (
            f"Something went wrong inside elbowroom ({type(error).__name__}: {error}): "
            "please report it with the drawing, and with what --verbose adds."
        )
        return _fail(ElbowroomError(text, code="internal"), words)
    return result if isinstance(result, int) else DONE


def _plain(error: click.ClickException) -> ElbowroomError:
    """A mistyped command line as one sentence that names the help to ask for."""
    message = error.format_message()
    if isinstance(error, click.UsageError) and error.ctx is not None:
        message = f"{message.rstrip()} Try '{error.ctx.command_path} --help'."
    return OptionError(message)


def _fail(error: ElbowroomError, words: Sequence[str]) -> int:
    """Say it in one sentence on stderr, and as JSON on stdout where JSON was asked for."""
    try:
        if "--json" in words:
            from converter.exporters.table_json import dumps, error_document

            click.echo(dumps(error_document(error)), nl=False)
        _say_failure(one_line(error.message))
    except BrokenPipeError:
        _drop_stdout()
    return FAILED


def _say_failure(sentence: str) -> None:
    """One line on stderr; on a terminal wrapped between words, and coloured where there is colour."""
    from converter.cli import page

    with page.on(sys.stderr):
        if page.is_terminal():
            from converter.cli.grid import fill

            sentence = fill(sentence, "elbowroom: ", "  ").removeprefix("elbowroom: ")
        page.echo(f"{page.tinted('elbowroom:', 'red')} {sentence}", sys.stderr)


def one_line(text: str) -> str:
    """The text with line breaks and other control characters turned into spaces."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _forgiving_streams() -> None:
    """Let a terminal that cannot show a character show its code instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def _drop_stdout() -> None:
    """The reader went away (``| head``): point stdout at nothing so that the exit stays quiet."""
    import os

    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        return
