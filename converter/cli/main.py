"""The command group: knows every command's name and one line of help, imports a command only on use.

Start-up must stay next to free, so this module imports click and nothing heavier; a test
holds `--help` to that. It is also the one place where errors become messages and exit
statuses: 0 done and clean, 1 done but errors were found, 2 could not be done, 130 interrupted (see
`converter.cli.supervise` for what else can stop it).
"""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from importlib import import_module
from os.path import exists

import click

from converter import __version__
from converter.cli.streams import drop, with_sound_streams
from converter.disk.reading import recorded
from converter.errors import ElbowroomError, OptionError
from converter.processes.allowance import TimeLimitReached
from converter.processes.failures import mistake, refused
from converter.processes.memory import paused_gc
from converter.quoting import one_line, quoted, shortened

#: command -> one line of help. The function lives in ``converter.cli.commands.<command>`` under the
#: name ``<command>``; a test keeps these lines equal to the commands' own.
COMMANDS: dict[str, str] = {
    "demo": "Write an invented job and run the main job on it.",
    "convert": "Turn drawings into everything the bender and the assembly need.",
    "table": "Show the bend table of every tube.",
    "audit": "Check drawings against the shop: what cannot be bent, and why.",
    "setup": "Show the bender's set-up: cut length, marks, stops, turns, order.",
    "sheet": "Write the job sheet for the bender: HTML for the screen, PDF for paper.",
    "serve": "Open a page on this machine: drop a drawing, see its job sheet.",
    "springback": "Learn springback from test bends; resume a bend.",
    "split": "Make an over-long tube of pieces that fit the bender and the rack.",
    "quote": "Estimate metal, work and price of every part from the shop's rates.",
    "compare": "Compare a made tube with the drawn one; what to set for the next piece.",
    "cutlist": "Nest all sticks on bars: what to cut from what, what to buy, what is left.",
    "cope": "Fit the ends: joints, hole-saw set-up, cut lengths.",
    "shop": "Make, check and show the shop file.",
}

DONE, FAILED = 0, 2
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
        command: click.Command = getattr(import_module(f"converter.cli.commands.{cmd_name}"), cmd_name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that was typed; of one there is not, the one meant.

        Raises:
            click.UsageError: there is none of that name.
        """
        typed = args[0]
        if typed not in COMMANDS and not typed.startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(typed.lower(), COMMANDS, 1)
            hint = f" Did you mean {near[0]}?" if near else ""
            if not near and exists(typed):
                hint = " A command stands before the file: elbowroom table FILE."
            ctx.fail(f"No such command {quoted(typed)}.{hint}")
        return super().resolve_command(ctx, args)

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


@with_sound_streams(FAILED)
def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status; never raises.

    Args:
        arguments: the words after the program's name. None for those of the process, which then runs the command
            in a child that it supervises.
    """
    if arguments is None:
        from converter.cli.supervise import supervised

        words = sys.argv[1:]
        return supervised(lambda: main(words), lambda error, begun: _fail(error, [] if begun else words))
    words = list(arguments)
    try:
        with paused_gc(), recorded():  # a command is short: what it makes stays to its end
            result = elbowroom.main(args=words, prog_name="elbowroom", standalone_mode=False)
        sys.stdout.flush()
    except (BrokenPipeError, SystemExit):  # click turns the first into the second
        drop(sys.stdout)
        return CUT_SHORT
    except (click.Abort, KeyboardInterrupt):
        from converter.cli.supervise import stopped_status

        click.echo("Interrupted; nothing more was written.", err=True)
        return stopped_status()
    except TimeLimitReached as error:
        return _fail(ElbowroomError(str(error)), words)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return FAILED
    except ElbowroomError as error:
        return _fail(error, words)
    except click.ClickException as error:
        return _fail(_usage_error(error), words)
    except OSError as error:
        return _fail(refused(error), words)
    except Exception as error:
        # the last line of defence: a mistake of ours becomes one sentence, never a raw traceback
        if "--verbose" in words or "-v" in words:
            import traceback

            click.echo(traceback.format_exc(), err=True, nl=False)
        return _fail(mistake(error), words)
    return result if isinstance(result, int) else DONE


def _usage_error(error: click.ClickException) -> ElbowroomError:
    """A mistyped command line as one sentence that names the help to ask for."""
    message = re.sub(r"\S{61,}", lambda word: shortened(word[0]), error.format_message())
    if isinstance(error, click.UsageError) and error.ctx is not None:
        message = f"{message.rstrip()} Try '{error.ctx.command_path} --help'."
    return OptionError(message)


def _fail(error: ElbowroomError, words: Sequence[str]) -> int:
    """Say it in one sentence on stderr, and as JSON on stdout where JSON was asked for.

    What the end of the time or the memory allowed has brought about is told as that, whatever became of it on the way.
    """
    from converter.cli.supervise import limit_reached

    error = limit_reached(sys.exc_info()[1]) or error
    try:
        if "--json" in words:
            from converter.exporters.data.table_json import dumps, error_document

            click.echo(dumps(error_document(error)), nl=False)
    except OSError:  # standard output may be what failed: the sentence still goes to stderr
        drop(sys.stdout)
    try:
        _say_failure(one_line(error.message))
    except OSError:  # nobody is left to tell
        drop(sys.stderr)
    return FAILED


def _say_failure(sentence: str) -> None:
    """One line on stderr; on a terminal wrapped between words, and coloured where there is colour."""
    from converter.cli.screens import page

    with page.on(sys.stderr):
        if page.is_terminal():
            from converter.cli.screens.grid import fill

            sentence = fill(sentence, "elbowroom: ", "  ").removeprefix("elbowroom: ")
        page.echo(f"{page.tinted('elbowroom:', 'red')} {sentence}", sys.stderr)
