"""What people see in a terminal, and what pipes get: colour, rules, widths, control characters."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from any_finding import any_finding
from command_line import corner, hook
from hypothesis import given
from hypothesis import strategies as st
from terminal import PROCESS, columns_of, in_terminal, piped

from converter.cli.screens import grid, page
from converter.cli.screens.findings import bend_marks, finding_text
from converter.cli.screens.grid import Grid, cells, fill, wrap
from converter.findings import Finding
from converter.units import Display

#: Names as drawings may hold them: escape sequences, bells, tabs and breaks, C1 controls, reversed writing, wide and
#: combining characters, and more words than a line holds.
NASTY = [
    "esc\x1b[31mRED\x1b[0m\x1b]0;title\x07",
    "up\x1b[2J\x1b[1;1H\x9b5mC1",
    "tab\tbreak\nback\rspace\b",
    "bidi\u202eabc\u2066",
    "漢字レール",
    "E\u0301TAGE",
    "Boot\U0001f6a3x",
    "A long name that goes on and on for the dock ladder and its left rail and then some more words",
    "one-word-that-is-longer-than-any-line-of-eighty-columns-can-hold-" * 2,
]
COMMANDS = ["table", "audit", "setup", "cope"]


@pytest.fixture(scope="module")
def nasty(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A table with a tube of each nasty name, and a shop file whose names are no better."""
    folder = tmp_path_factory.mktemp("nasty")
    drawing = hook(folder / "hook.dxf")
    document = json.loads(piped(["table", drawing, "--json"])[1])
    (tube,) = document["tubes"]
    document["tubes"] = [{**tube, "name": name, "layer": name} for name in NASTY]
    source = folder / "nasty.json"
    source.write_text(json.dumps(document), encoding="utf-8")
    text = piped(["shop", "new", "-"])[1]
    shop = folder / "shop.toml"
    shop.write_text(text, encoding="utf-8")
    return source, shop


@pytest.fixture(scope="module")
def tight(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bend that no die of the demo shop makes."""
    return hook(tmp_path_factory.mktemp("tight") / "hook.dxf", radius=80.0)


def words(text: str) -> list[str]:
    return text.split()


def unruled(text: str) -> str:
    """The text without its rules."""
    return "\n".join(line for line in text.splitlines() if not re.fullmatch(r"[ ─-]*[─-]{2}[ ─-]*", line))


@pytest.mark.slow
def test_colour_and_rules_on_a_terminal_and_the_same_words_in_a_pipe(tight):
    command = ["audit", tight, "--section", "44.45x3mm"]
    shown = in_terminal(command, program=PROCESS)
    status, out, err = piped(command, program=PROCESS)
    assert shown.status == status == 1 and err == ""
    assert "\x1b" not in out and "─" not in out
    assert {"\x1b[31m", "\x1b[1m"} <= shown.colours, "red for the error, bold for what matters"
    assert re.search(r"\x1b\[31m\x1b\[1merror", shown.sent)
    assert words(unruled(shown.text)) == words(out)


@pytest.mark.parametrize(
    ("given_environment", "wanted"),
    [
        ({}, True),
        ({"NO_COLOR": "1"}, False),
        ({"NO_COLOR": ""}, True),
        ({"TERM": "dumb"}, False),
        ({"TERM": "dumb", "FORCE_COLOR": "1"}, True),
        ({"FORCE_COLOR": "1", "NO_COLOR": "1"}, False),
    ],
)
def test_who_decides_about_colour_on_a_terminal(given_environment, wanted):
    shown = in_terminal(["shop", "show"], **given_environment)
    assert shown.status == 0
    assert ("\x1b" in shown.sent) == wanted
    ruled = any(re.search("──", line) for line in shown.screen)
    assert ruled == ("TERM" not in given_environment or wanted), "rules are no colour, but a dumb terminal gets none"


@pytest.mark.parametrize(
    ("given_environment", "wanted"),
    [
        ({}, False),
        ({"FORCE_COLOR": "1"}, True),
        ({"CLICOLOR_FORCE": "1"}, True),
        ({"FORCE_COLOR": "0"}, False),
        ({"FORCE_COLOR": "1", "NO_COLOR": "1"}, False),
    ],
)
def test_who_decides_about_colour_in_a_pipe(given_environment, wanted):
    status, out, _ = piped(["shop", "show"], **given_environment)
    assert status == 0
    assert ("\x1b[1m" in out) == wanted


def test_messages_are_coloured_for_where_they_go(tight, tmp_path):
    """`convert` says what it found on stderr: that file gets no colour though stdout is a terminal."""
    with open(tmp_path / "said", "wb") as said:
        shown = in_terminal(
            ["convert", tight, "--section", "44.45x3mm", "--out", tmp_path / "out", "--to", "csv"],
            errors_to=said.fileno(),
        )
    assert shown.status == 1 and shown.screen[0].endswith("hook.csv")
    text = (tmp_path / "said").read_text(encoding="utf-8")
    assert "\x1b" not in text and "─" not in text and "error    TUBE, bend 1: it has a centerline radius" in text


def test_a_failure_is_wrapped_on_a_terminal_and_one_line_in_a_pipe(tmp_path):
    command = ["table", tmp_path / "gone.dxf"]
    status, out, err = piped(command)
    shown = in_terminal(command, columns=60)
    assert shown.status == status == 2 and out == "" and err.count("\n") == 1
    assert "\x1b[31m\x1b[1melbowroom:" in shown.sent
    assert len(shown.screen) > 2 and all(len(line) <= 60 for line in shown.screen)
    assert "".join(words(shown.text)) == "".join(words(err)), "a path longer than a line is cut, nothing else"


def test_a_terminal_that_knows_no_rules_gets_dashes():
    shown = in_terminal(["shop", "show"], PYTHONIOENCODING="ascii")
    assert "  ----------  ---------------  " in shown.text and "\\u2500" not in shown.text


@pytest.mark.slow
@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("columns", [60, 80, 130])
def test_no_name_reaches_the_terminal_raw_and_nothing_runs_off(nasty, command, columns):
    shown = in_terminal([command, nasty[0], "--section", "44.45x3mm", "--quiet"], columns=columns)
    lines = shown.screen  # fails on any sign but colours, carriage returns and line feeds
    assert not re.search(r"\x1b\[[0-9;]*[A-KJ]", shown.sent)
    assert shown.colours <= {"\x1b[0m", "\x1b[1m", "\x1b[2m", "\x1b[31m", "\x1b[33m", "\x1b[36m"}
    assert all(columns_of(line) <= columns for line in lines), max(lines, key=columns_of)
    text = " ".join(words(shown.text))
    if command != "cope":  # no two of these tubes meet
        together = text.replace(" ", "")  # a long name may be broken anywhere
        for name in ("esc[U+001B][31mRED", "[U+001B]]0;title[U+0007]", "[U+009B]5mC1", "bidi[U+202E]abc", "漢字レール"):
            assert name in together
        assert "tab break back space[U+0008]" in text


@pytest.mark.parametrize("command", COMMANDS)
def test_a_pipe_gets_plain_text_of_eighty_columns(nasty, command):
    status, out, err = piped([command, nasty[0], "--section", "44.45x3mm"])
    assert status in (0, 1) and err == ""
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e\u2066]", out)
    assert all(columns_of(line) <= 80 for line in out.splitlines())
    assert not any(line != line.rstrip() for line in out.splitlines()), "trailing blanks"


def test_shop_and_springback_show_no_name_raw(nasty):
    text = nasty[1].read_text(encoding="utf-8")
    nasty_name = r"die\u001b[2J\u0007\u009b5m"
    renamed, count = re.subn(r'(?m)^name = ".*?"', lambda _: f'name = "{nasty_name}"', text, count=2)
    assert count == 2
    path = nasty[1].with_name("renamed.toml")
    path.write_text(renamed, encoding="utf-8")
    for words_given in (["shop", "show", path], ["springback", path, "--target", "45"], ["shop", "check", path]):
        shown = in_terminal(words_given)
        assert shown.screen and "\x1b[2J" not in shown.sent and "\x07" not in shown.sent, words_given
        assert "\x9b" not in shown.sent


@pytest.mark.slow
def test_the_setup_table_folds_where_there_is_no_room_and_not_where_there_is(tmp_path):
    from converter.demo.dxf_drawing import drawing_text

    path = tmp_path / "boathouse.dxf"
    path.write_text(drawing_text(), encoding="utf-8")
    command = ["setup", path, "--section", "1.5x0.120in", "--layer", "RAIL*", "--brief"]
    narrow, usual, wide = (
        [words(line) for line in in_terminal(command, columns=columns).screen if line.startswith("  bend  ")]
        for columns in (56, 80, 110)
    )
    assert len(narrow) == 2 * len(wide) == 2 * len(usual) == 4, "two rails"
    # folded, the bends lead both halves, and how to turn the tube comes in the second
    assert narrow[0][-1] == "angle" and "angle" not in narrow[1] and "around" in narrow[1]
    # in one piece, first with heads in two lines, then in one
    assert {"angle", "around"} < set(usual[0]) < set(wide[0])


def test_the_row_in_question_is_marked_in_words(tmp_path):
    """A sharp corner without a radius is an error of `table`: bend 1, named below."""
    status, out, _ = piped(["table", corner(tmp_path / "corner.dxf")])
    (row,) = [line for line in out.splitlines() if line.split()[:1] == ["1"]]
    assert status == 1 and row.endswith("none  error")
    assert "see below" in out and "error    " in out


def test_the_audit_ends_in_the_tubes_to_look_at(tmp_path):
    """Two tubes, a tight bend on one: the list names that one and its bend, not the other."""
    import ezdxf

    doc = ezdxf.new("R2010", units=4)
    for k, (layer, radius) in enumerate([("GOOD", 152.4), ("BAD", 80.0)]):
        y, attributes = 3000.0 * k, {"layer": layer}
        doc.modelspace().add_line((0, y), (600, y), dxfattribs=attributes)
        doc.modelspace().add_arc((600, y + radius), radius, 270, 0, dxfattribs=attributes)
        doc.modelspace().add_line((600 + radius, y + radius), (600 + radius, y + radius + 600), dxfattribs=attributes)
    doc.saveas(tmp_path / "two.dxf")
    out = piped(["audit", tmp_path / "two.dxf", "--section", "44.45x3mm"])[1]
    (block,) = [block for block in out.split("\n\n") if block.startswith("  tube")]
    heads, *rows = (line.split() for line in block.splitlines())
    assert heads == ["tube", "errors", "warnings", "at", "bend"]
    assert rows == [["BAD", "1", "1"]]


# --- the parts ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "wide"),
    [("RAIL", 4), ("漢字", 4), ("E\u0301", 1), ("90.00°", 6), ("\U0001f6a3", 2), ("가나", 4), ("ｱ", 1), ("", 0)],
)
def test_columns_that_a_text_takes(text, wide):
    """Worked by hand from UAX 11: Han, kana, Hangul and emoji 2, halfwidth kana 1, a combining mark 0."""
    assert cells(text) == wide == columns_of(text)


def test_wide_characters_keep_the_columns_aligned(monkeypatch):
    monkeypatch.setattr(grid, "room", lambda: 80)
    text = Grid(["die", "CLR"], [["漢字", "6.000"], ["E\u0301x", "10.000"], ["R1750", "4.500"]], "lr").text()
    assert text.splitlines() == [
        "  die       CLR",
        "  漢字    6.000",
        "  E\u0301x     10.000",
        "  R1750   4.500",
    ]


def test_a_table_folds_between_columns_and_repeats_the_first(monkeypatch):
    monkeypatch.setattr(grid, "room", lambda: 21)
    text = Grid(["bend", "feed", "angle"], [["1", "1234.50", "90.00°"]]).text()
    assert text.splitlines() == ["  bend     feed", "     1  1234.50", "", "  bend   angle", "     1  90.00°"]


def test_heads_and_words_break_before_a_table_folds(monkeypatch):
    monkeypatch.setattr(grid, "room", lambda: 23)
    text = Grid(["mark from A", "tube"], [["43.618", "KAYAK TROLLEY LEG"]], "rl").text()
    assert text.splitlines() == [
        "    mark",
        "  from A  tube",
        "  43.618  KAYAK TROLLEY",
        "          LEG",
    ]


def test_no_line_ends_within_a_number(monkeypatch):
    text = (
        "cut 1 3/4 in off, mark 44.45 mm from end A of bend 12, at (18.000, 0.000, -34.000) in, 1.500 x 0.120 in tube"
    )
    together = ["1 3/4 in", "44.45 mm", "end A", "bend 12", "(18.000, 0.000, -34.000) in", "1.500 x 0.120 in"]
    for wide in range(28, 90):
        lines = wrap(text, wide)
        assert all(len(line) <= wide for line in lines)
        assert all(any(one in line for line in lines) for one in together), (wide, lines)


@given(st.lists(st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=30)), st.integers(2, 40))
def test_wrapping_keeps_every_character_in_order(given_words, wide):
    lines = wrap(" ".join(given_words), wide)
    assert all(cells(line) <= wide or len(line) == 1 for line in lines)
    assert "".join("".join(lines).split()) == "".join("".join(given_words).split())


def test_paragraphs_hang_under_their_label(monkeypatch):
    monkeypatch.setattr(grid, "width", lambda: 30)
    text = fill("The die is too small for this bend.", "error    ")
    assert text.splitlines() == ["error    The die is too small", "         for this bend."]


def test_a_finding_puts_its_cure_on_a_line_of_its_own(monkeypatch):
    monkeypatch.setattr(grid, "width", lambda: 80)
    said = Finding("corner-no-radius", tube="LEG", bend=1)
    assert finding_text([said], Display()).splitlines() == [
        "error    LEG, bend 1: a sharp corner that nothing gives a radius.",
        "         Give it a radius (--clr), or a section that one of the shop's dies",
        "         takes; where two tubes meet there, use --corner mitre.",
    ]


def test_tube_and_bend_are_bold_where_there_is_colour(monkeypatch):
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setattr(grid, "width", lambda: 30)
    said = Finding("corner-no-radius", tube="LEFT LONG RAIL OF LADDER", bend=1, severity="error")
    lines = finding_text([said], Display()).splitlines()
    assert lines[0] == "\x1b[31m\x1b[1merror\x1b[0m    \x1b[1mLEFT LONG RAIL OF\x1b[0m"
    assert lines[1] == "         \x1b[1mLADDER, bend 1\x1b[0m: a"


def test_the_worse_of_two_marks_a_bend_and_notes_mark_none():
    said = [
        any_finding("end-too-short", tube="LEG", bend=1),
        any_finding("radius-too-tight", tube="LEG", bend=1),
        any_finding("demo-shop", tube="LEG", bend=2),
    ]
    assert bend_marks(said) == {("LEG", 1): "error"}


def test_the_last_gate_lets_only_our_colours_through(capsys, monkeypatch):
    """Whatever a message holds: what could move the cursor or ring never leaves."""
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.delenv("NO_COLOR", raising=False)
    page.echo("a\x1b[2Jb\x07c\rd\te\x9bf\x1b[1mg\x1b[0m\nh")
    assert capsys.readouterr().out == "a [2Jb c d e f\x1b[1mg\x1b[0m\nh\n"
