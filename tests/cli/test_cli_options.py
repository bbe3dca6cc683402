"""An option's name means the same in every command; what click hands on is typed."""

from __future__ import annotations

import ast
from importlib import import_module

import click
import pytest
from places import ROOT

from converter.cli.main import COMMANDS

#: Options whose help differs from command to command, and why; metavar, type and callback are still the same.
HELP_DIFFERS = {
    "--out": "each command says what goes there, and whether there is a usual folder",
    "--to": "each command has formats of its own",
    "--picture": "each command says what it draws",
    "--processes": "each command says what is shared out: drawings with --each, a large job, or either",
    "--metal": "of the runs of a drawing, or of the tube of a test bend",
}


def commands(name, command):
    """Every command, those of a group too, as (name, command)."""
    if not isinstance(command, click.Group):
        return [(name, command)]
    return [pair for word, inner in command.commands.items() for pair in commands(f"{name} {word}", inner)]


def all_commands():
    return [
        pair
        for name in COMMANDS
        for pair in commands(name, getattr(import_module(f"converter.cli.commands.{name}"), name))
    ]


def form(option):
    """What a person types after it, and how that is read."""
    return option.metavar, repr(option.type), option.is_flag, option.multiple, option.callback


def disagreements(every):
    """Names of options that two commands read in different ways, or explain differently without a reason."""
    forms, helps = {}, {}
    for _, command in every:
        for option in command.params:
            for word in [*option.opts, *option.secondary_opts] if isinstance(option, click.Option) else []:
                forms.setdefault(word, set()).add(form(option))
                helps.setdefault(word, set()).add(option.help)
    return sorted(word for word in forms if len(forms[word]) > 1 or (len(helps[word]) > 1 and word not in HELP_DIFFERS))


def test_an_option_means_the_same_in_every_command():
    assert disagreements(all_commands()) == []


@pytest.mark.parametrize(
    "other", [{"metavar": "LENGTH"}, {"type": int}, {"help": "Another."}, {"callback": print}, {"multiple": True}]
)
def test_an_option_with_two_meanings_is_noticed(other):
    usual = {"metavar": "SIZE", "help": "Paper."}
    pair = [("a", click.Command("a", params=[click.Option(["--paper"], **usual)]))]
    assert disagreements([*pair, *pair]) == []
    pair.append(("b", click.Command("b", params=[click.Option(["--paper"], **{**usual, **other})])))
    assert disagreements(pair) == ["--paper"]


def loose(path):
    """Functions that take or hold a command's arguments by name instead of by type, as readable lines.

    The one in `options.grouped` that makes typed values of click's is meant.
    """
    return [
        f"{path.name}:{node.lineno} {node.name}"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and (path.name, node.name) != ("options.py", "command")
        if node.args.kwarg is not None
        or any("dict[" in ast.unparse(arg.annotation) for arg in node.args.args if arg.annotation is not None)
    ]


def test_commands_hand_on_typed_values():
    cli = ROOT / "converter" / "cli"
    files = [cli / "options.py", cli / "as_read.py", *sorted((cli / "commands").glob("*.py"))]
    assert [line for path in files for line in loose(path)] == []


def test_a_loose_argument_is_noticed(tmp_path):
    probe = tmp_path / "probe.py"
    probe.write_text("def a(x: int, **given: Any): ...\ndef b(given: dict[str, Any]): ...\n", encoding="utf-8")
    assert loose(probe) == ["probe.py:1 a", "probe.py:2 b"]
