"""The command line itself: help, examples, versions, mistyped words, exit statuses."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from importlib import import_module

import click
import pytest
from command_line import failed, hook, run
from places import ROOT

from converter import __version__
from converter.cli import main as main_module
from converter.cli.main import COMMANDS, elbowroom, main
from converter.quoting import one_line


def command(name: str) -> click.Command:
    found = elbowroom.get_command(click.Context(elbowroom), name)
    assert found is not None
    return found


def every_command() -> list[str]:
    """'table', 'shop', 'shop new'...: every command there is."""
    names = []
    for name in COMMANDS:
        names.append(name)
        inner = command(name)
        if isinstance(inner, click.Group):
            names += [f"{name} {one}" for one in inner.commands]
    return names


def test_help_lists_every_command_with_its_own_line():
    """The lines in the lazy list are those of the commands themselves."""
    for name, line in COMMANDS.items():
        assert command(name).get_short_help_str(200) == line
        assert getattr(import_module(f"converter.cli.commands.{name}"), name) is command(name)


def test_help_names_the_commands_in_order(capsys):
    outcome = run(capsys, "--help")
    assert outcome.status == 0
    places = [outcome.out.index(f"\n  {name} ") for name in COMMANDS]
    assert places == sorted(places)
    assert "2 could not be" in outcome.out


@pytest.mark.parametrize("name", every_command())
def test_every_command_shows_an_example_of_itself(name, capsys):
    outcome = run(capsys, *name.split(), "--help")
    assert outcome.status == 0
    assert outcome.err == ""
    assert f"\n    elbowroom {name.split()[0]}" in outcome.out
    assert "Example" in outcome.out


@pytest.mark.parametrize("name", [n for n in every_command() if n != "shop"])
def test_examples_are_accepted_by_the_parser(name, monkeypatch):
    """Every example parses: no option in it is misspelt (its files need not exist)."""
    found = command(name.split()[0])
    if " " in name:
        found = found.commands[name.split()[1]]
    lines = [line.strip() for line in (found.epilog or "").splitlines() if line.strip().startswith("elbowroom ")]
    assert lines
    for line in lines:
        words = shlex.split(line.partition(" > ")[0])[1:]
        found.make_context(name, words[len(name.split()) :], resilient_parsing=False)


def test_version(capsys):
    outcome = run(capsys, "--version")
    assert (outcome.status, outcome.out) == (0, f"elbowroom {__version__}\n")


@pytest.mark.parametrize(
    "words",
    [
        ["tabel"],
        ["--nonsense"],
        ["table"],
        ["springback", "a.toml", "b.toml"],
        ["table", "a.dxf", "--nonsense"],
        ["audit"],
        ["convert", "a.dxf"],
        ["table", "a.dxf", "--layers", "maybe"],
        ["shop", "weld"],
        ["shop", "new"],
    ],
)
def test_a_mistyped_command_line_is_one_sentence_and_status_2(words, capsys):
    assert "--help" in failed(run(capsys, *words))


def test_no_words_show_the_help(capsys):
    outcome = run(capsys)
    assert outcome.status == 2
    assert outcome.out == ""
    assert "Commands:" in outcome.err


def test_a_mistyped_command_line_in_json(capsys):
    outcome = run(capsys, "table", "--json", "a.dxf", "--nonsense")
    assert outcome.status == 2
    assert outcome.json["schema"] == "elbowroom/error/1"
    assert outcome.json["error"]["code"] == "bad-option"
    assert set(outcome.json["error"]) == {"code", "message", "file", "where"}


def test_our_own_mistakes_end_in_a_sentence(capsys, monkeypatch):
    """An exception nobody foresaw: one sentence that asks for a report; the traceback only on request."""

    def broken(**_):
        raise ZeroDivisionError("a probe")

    monkeypatch.setattr(command("table"), "callback", broken)
    text = failed(run(capsys, "table", "x.dxf"))
    assert "report" in text
    assert "a probe" in text
    outcome = run(capsys, "table", "x.dxf", "--verbose")
    assert outcome.status == 2
    assert "Traceback" in outcome.err


def test_an_interrupt_is_status_130(capsys, monkeypatch):
    def interrupted(**_):
        raise KeyboardInterrupt

    monkeypatch.setattr(command("table"), "callback", interrupted)
    outcome = run(capsys, "table", "x.dxf")
    assert outcome.status == 130
    assert outcome.out == ""
    assert "Traceback" not in outcome.err


def test_a_full_disk_is_one_sentence():
    """Results that cannot be written to stdout: said, status 2."""
    if not os.path.exists("/dev/full"):
        pytest.fail("this test needs /dev/full; run it on Linux")
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "converter", "shop", "show"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr.startswith("elbowroom: ")
    assert "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_a_reader_that_goes_away_is_no_failure(tmp_path):
    """``elbowroom ... | head -1`` stays quiet."""
    hook(tmp_path / "hook.dxf")
    script = f"{shlex.quote(sys.executable)} -m converter --help | true; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=False)
    assert done.stderr == ""
    assert done.returncode in (0, 141)  # 0 when all was written before the reader left


def test_a_terminal_without_unicode_still_gets_its_table():
    """The degree sign on a terminal without one is written as its code, not as a failure."""
    environment = {**os.environ, "PYTHONIOENCODING": "iso8859-5", "PYTHONUTF8": "0"}
    done = subprocess.run(
        [sys.executable, "-m", "converter", "shop", "show"], env=environment, capture_output=True, check=True
    )
    assert b"\\xb0" in done.stdout


def test_messages_stay_on_one_line_and_show_every_character():
    assert one_line("a\nb\r\n\tc\x1b[31m d\u2028e") == "a b c[U+001B][31m d[U+2028]e"


def test_main_never_raises_system_exit():
    """Programs may call main(); it returns the status."""
    assert main(["--version"]) == 0
    assert main_module.main(["nonsense"]) == 2


def test_the_docs_name_every_command_and_option():
    """docs/commands.md keeps up with the program."""
    text = (ROOT / "docs" / "commands.md").read_text()
    missing = []
    for name in every_command():
        found = command(name.split()[0])
        if " " in name:
            found = found.commands[name.split()[1]]
        if f"`{name}" not in text:
            missing.append(name)
        for parameter in found.params:
            if isinstance(parameter, click.Option):
                long = [word for word in (*parameter.opts, *parameter.secondary_opts) if word.startswith("--")]
                missing += [f"{name} {word}" for word in long if f"`{word}" not in text]
    assert missing == []


def test_the_docs_name_every_format_to_write():
    from converter.exporters.registry import FORMATS

    text = (ROOT / "docs" / "commands.md").read_text()
    assert [one.name for one in FORMATS if f"`{one.name}`" not in text] == []
