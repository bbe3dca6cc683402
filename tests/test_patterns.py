"""No text, however odd, keeps a pattern or a scanner at work for longer than its length warrants.

Every regular expression of the package is read off its syntax tree, followed as an automaton (`patterns`), and fed
what its own repeats ask for. Nothing here is held to a time: growth is compared, operations are counted, and what
might never end runs in a process that can be stopped.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import patterns
import pytest
from command_line import one_sentence
from patterns import UnreadableError, Use, slow_text, uses, watched
from places import FIXTURES

import converter
from converter.cli.screens import findings as text
from converter.cli.screens import grid
from converter.disk.reading import HEAD
from converter.errors import ElbowroomError
from converter.exporters.pdf.canvas import Pdf
from converter.exporters.pictures.run import picture as run_picture
from converter.findings import Finding
from converter.importers.mesh.load import kind_of
from converter.importers.registry import detect
from converter.importers.step.bounds import check_step, is_step
from converter.kernel.step.units import unit_of, units_of_contexts
from converter.shop.toml import parse_toml
from converter.units import parse_length

PACKAGE = Path(converter.__file__).parent
DIGITS = "9" * 65_000

#: Patterns that were in use and never ended, or took the square of the time, with how they were used.
EXPLOSIVE = [
    (rb"(?:\xef\xbb\xbf)?(?:\s+|/\*.*?\*/)*ISO-10303-21\s*;", re.DOTALL, "match"),
    (rb"\bDATA\s*(?:\([^;]*\)\s*)?;", 0, "search"),
    (
        rb"\A(?:\xef\xbb\xbf)?\s*(?:999[ \t]*(?:\r\n|\r|\n)[^\r\n]*(?:\r\n|\r|\n)[ \t]*)*0+[ \t]*[\r\n]+"
        rb"[ \t]*SECTION\b",
        0,
        "match",
    ),
    (rb"(?m)^v(?:[ \t]+-?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?){3,}[ \t]*\r?$", 0, "search"),
    (r"\s*\"?[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?\"?\s*\Z", re.IGNORECASE, "match"),
    (r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\Z", 0, "match"),
    (r"\s*(?:°|º|deg(?:rees?)?)\s*\Z", re.IGNORECASE, "search"),
    (rb"(?m)^\s*(?:v|f|o|g)\s", 0, "search"),
    (rb"<(?:\w+:)?model\b[^>]*?\bunit\s*=\s*[\"'](\w+)[\"']", 0, "search"),
    (rb"#(\d+)\s*=\s*\(([^;]*\bLENGTH_UNIT\b[^;]*);", 0, "search"),
    (r"\d*\.?\d+|\d+\.", 0, "fullmatch"),
    (r"[\s,;]+(?:corner(?:\s+radius)?|radius|r)\s*[=:]?\s*(?P<radius>[\d.+-].*)\Z", 0, "search"),
    (r"(?P<unit>[^\d\s./+-][^\d\s/+-]*)\s*\Z", 0, "search"),
    (r"\s*\(at [^()]*\)\Z", 0, "search"),
    (r"\s*(?P<sign>[+-]?)\s*(?P<feet>\d+)\s*(?:'|ft\.?|feet|foot)\s*-?\s*(?P<rest>\d.*)\Z", 0, "match"),
    ("(?:\ue0f0[^\ue0f2]*\ue0f2|\\S)+", 0, "search"),
    (r"(?:a+)+b", 0, "match"),
    (r"(?:a|a?b?)*c", 0, "match"),
    (r"(?:\w+\s?)*!", 0, "fullmatch"),
    (r"(?=.*x)a", 0, "search"),
    (r"(?:ab|a)(?:bc|c)*(?:cbc)*d", 0, "match"),
]
#: Patterns that look much like them and take each character in a single way.
LINEAR = [
    (r"\s+", 0, "search"),
    (r"(?<!\s)\s++$", 0, "search"),
    (r"\s+\Z", 0, "match"),
    (r"\d++(?:\.\d*+)?\Z", 0, "match"),
    (r"\d*+\.\d+", 0, "match"),
    (r"(?:\d+,)*\d+;", 0, "match"),
    (r"(?:\"[^\"]*\"|[^\",])*,", 0, "match"),
    (rb"/\*[^*]*\*+(?:[^/*][^*]*\*+)*/", 0, "match"),
    (r"\b\w+@", 0, "search"),
    (r"(?:a*)*", 0, "match"),
    (r"(?:(?>a+)-)*b", 0, "match"),
    (r"#(\d++)\s*+=\s*+\(([^;]*+)", 0, "search"),
    (r"(?i)K+k", 0, "match"),
]


def collected() -> tuple[list[Use], list[str]]:
    known: list[Use] = []
    unknown: list[str] = []
    for path in sorted(PACKAGE.rglob("*.py")):
        if re.search(r"\bre\b", path.read_text(encoding="utf-8")):
            shown = path.relative_to(PACKAGE.parent)
            names = vars(import_module(".".join(shown.with_suffix("").parts)))
            more, not_known = uses(path, names, shown.as_posix())
            known, unknown = known + more, unknown + not_known
    return known, unknown


KNOWN, UNKNOWN = collected()


def refused(use: Use) -> str:
    """What the checker has against a pattern, or ''."""
    try:
        slow = slow_text(use.pattern, use.flags, use.way)
    except UnreadableError as error:
        return f"{use} cannot be checked: {error}"
    return "" if slow is None else f"{use} takes more than linear time on {slow[0]!r} and many times {slow[1]!r}"


def test_every_pattern_of_the_package_takes_each_character_in_a_single_way():
    assert len(KNOWN) > 70
    assert [line for use in KNOWN if (line := refused(use))] == []


def test_every_pattern_is_there_to_be_checked():
    """None is put together while the program runs, or taken from `re` by another name."""
    assert UNKNOWN == []
    held = {
        pattern.pattern
        for use in KNOWN
        for value in vars(
            import_module(use.file.removesuffix(".py").replace("/", ".").removesuffix(".__init__"))
        ).values()
        for pattern in patterns._held(value)
    }
    assert held <= {use.pattern for use in KNOWN}


@pytest.mark.slow
def test_no_pattern_runs_away_from_its_own_worst_texts():
    assert watched(list(dict.fromkeys(KNOWN)), 300.0, sure=4) == []


@pytest.mark.parametrize(("pattern", "flags", "way"), EXPLOSIVE, ids=lambda v: repr(v)[:40])
def test_the_checker_refuses(pattern, flags, way):
    use = Use("old.py", 7, pattern, flags, way)
    assert refused(use).startswith(f"old.py:7 {pattern!r} ({way}) takes more than linear time on ")


@pytest.mark.parametrize(("pattern", "flags", "way"), LINEAR, ids=lambda v: repr(v)[:40])
def test_the_checker_lets_pass(pattern, flags, way):
    assert refused(Use("new.py", 7, pattern, flags, way)) == ""


def test_what_cannot_be_followed_is_refused():
    for pattern in (r"(?:ab)*+c", r"(?>a|ab)c", r"(a)\1"):
        assert "cannot be checked" in refused(Use("new.py", 7, pattern, 0, "match"))


def not_seen_to_run_away(known: list[Use], texts: dict[Use, Any] | None = None) -> list[Use]:
    """Which patterns do not show it in any of twenty measurements: the machine's other work can hide it in one."""
    for _ in range(20):
        lines = watched(known, 300.0, texts and [texts[use] for use in known]) if known else []
        seen = {line.split(" ", 1)[0] for line in lines}
        known = [use for use in known if f"{use.file}:{use.line}" not in seen]
    return known


@pytest.mark.slow
def test_what_the_checker_refuses_does_run_away():
    """Its own witness, measured: the text before, the repeated text, and something that may not follow."""
    old = [Use("old.py", i, pattern, flags, way) for i, (pattern, flags, way) in enumerate(EXPLOSIVE)]
    texts = {}
    for use in old:
        witness = slow_text(use.pattern, use.flags, use.way)
        texts[use] = [(*witness, end) for end in ("", "\0", "\n", "~", "5", "!x")]
    assert not_seen_to_run_away(old, texts) == []


@pytest.mark.slow
def test_the_measuring_sees_what_runs_away():
    """Without the checker's help: texts from the parse tree alone."""
    assert not_seen_to_run_away([Use("old.py", i, *EXPLOSIVE[i]) for i in (0, 1, 5, 16)]) == []


def test_a_pattern_made_while_running_is_named(tmp_path):
    source = tmp_path / "probe.py"
    source.write_text("import re\ndef f(word):\n    return re.search(word + r'\\s*', 'x')\n")
    assert uses(source, {"re": re}, "probe.py") == (
        [],
        ["probe.py:3 puts a pattern together while the program runs, so that nothing can check it"],
    )
    source.write_text("import re\nfrom re import search\n")
    assert uses(source, {"re": re}, "probe.py")[1] == ["probe.py:2 takes names out of re: write re.search and the like"]


# --- scanners ---------------------------------------------------------------------------------


def smallest(folder: str, ending: str) -> bytes:
    """The smallest drawing of a kind that a CAD program wrote."""
    return min((FIXTURES / folder).rglob(f"*{ending}"), key=lambda path: path.stat().st_size).read_bytes()


DXF, STEP = smallest("dxf", ".dxf"), smallest("step", ".step")


@pytest.mark.parametrize(
    ("lead", "kind"),
    [
        (b"999\nhello\n" * 100_000, "dxf"),
        (b"999\r\nhello\r\n" * 100_000, "dxf"),
        (b"999\n999\n" * 100_000, "dxf"),
        (b"\n" * 60 + b"999\n0\n", "dxf"),
        (b"/**/" * 100_000, "step"),
        (b" /* 999 */\r\n" * 100_000, "step"),
        (b"\n" * 60 + b"/* a * b ** c */", "step"),
    ],
)
def test_what_may_stand_before_a_drawing_does_not_hide_it(lead, kind):
    """Also where it fills all that is looked at to tell what a file is."""
    data = lead + (DXF if kind == "dxf" else STEP)
    assert detect(data[:HEAD], "-").name == kind
    if kind == "step":
        assert check_step(data, "x") == STEP[STEP.index(b"ISO-10303-21") :]


def test_comments_alone_are_no_step_file():
    for head in (b"/**/" * 100, b"/* " + b"a" * HEAD, b"/**/" * 100 + b"int main() {}", b"//" * HEAD):
        assert not is_step(head), head[:20]
        with pytest.raises(ElbowroomError, match="no reader knows"):
            detect(head, "-")


def test_a_dxf_comment_ends_with_its_own_line():
    r"""What stands in it is no group: here SECTION has no group code, however the \r\n is read."""
    with pytest.raises(ElbowroomError, match="no reader knows"):
        detect(b"999\r\n0\r\nSECTION\r\n", "-")
    assert detect(b"999\r\n0\r\n  0\r\nSECTION\r\n", "-").name == "dxf"


@pytest.mark.parametrize(
    ("section", "sound"),
    [
        (b"DATA;", True),
        (b"DATA ('x',('y')) ;", True),
        (b"FILE_NAME('DATA('); DATA;", True),
        (b"FILE_NAME('DATA(' DATA;", True),
        (b"DATA(" * 90 + b");", True),
        (b"DATA(" * 90, False),
        (b"DATA(" * 90 + b";", False),
        (b"DATAX;", False),
    ],
    ids=range(8),
)
def test_the_data_section_is_seen(section, sound):
    data = b"ISO-10303-21;HEADER;" + section + b"#1=X();END-ISO-10303-21;"
    if sound:
        assert check_step(data, "x") == data
    else:
        with pytest.raises(ElbowroomError, match=r"it has no DATA section|its data section is empty"):
            check_step(data, "x")


def test_the_unit_of_a_step_file_is_read_in_a_pass():
    """Factors behind names of any case and with quotes; a number of 65,000 digits is no factor."""
    entities = (
        b"#1=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT($,.METRE.));"
        b"#12=LENGTH_MEASURE_WITH_UNIT( LENGTH_MEASURE( 0.0254 ), #1 );#120=X();"
        b"#3=(CONVERSION_BASED_UNIT('IN''CH',#12)LENGTH_UNIT()NAMED_UNIT(#4));"
        b"#9=(GLOBAL_UNIT_ASSIGNED_CONTEXT((#3)));"
    )
    assert unit_of("in'ch", entities) == ("in", 25.4)
    assert units_of_contexts(entities) == ([("IN'CH", "in", 25.4)], False)
    assert unit_of("IN'CH", entities.replace(b"0.0254", DIGITS.encode())) == (None, None)
    assert units_of_contexts(b"#1=(LENGTH_UNIT" * 50_000) == ([], True)


@pytest.mark.parametrize("value", [f"0x{'f' * 65_000}", "9" * 400, DIGITS], ids=["hexadecimal", "400", "65000"])
@pytest.mark.parametrize("key", ["units", "clr", "pipe", "name"])
def test_a_number_of_very_many_digits_in_a_shop_file_is_a_sentence(key, value):
    """Python refuses to read or write thousands of decimal digits, and to make a float of hundreds."""
    from converter.shop.load import shop_from_text

    lines = ['units = "in"', "[shop]", 'name = "a"', "[[die]]", 'name = "b"', "clr = 4", 'pipe = "1"']
    shown = "\n".join(f"{key} = {value}" if line.startswith(f"{key} ") else line for line in lines)
    with pytest.raises(ElbowroomError) as caught:
        shop_from_text(shown, "s.toml")
    assert len(caught.value.message) < 300


def test_a_length_of_very_many_digits_is_a_sentence():
    for given in (10**400, -(10**400), 16**65_000, DIGITS, " " * 65_000 + "x"):
        with pytest.raises(ElbowroomError, match="is not a length"):
            parse_length(given)
    assert parse_length(10**10) == 1e10


def test_a_toml_message_keeps_no_place_of_its_own():
    with pytest.raises(ElbowroomError) as caught:
        parse_toml("a = [(at (at", "x", "job file")
    assert caught.value.message == "x is not a TOML file (line 1, column 6): invalid value."


def test_an_obj_file_is_known_by_a_line_of_its_own():
    assert kind_of(b"# x\r\n \t v 1 2 3\n", "x") == "obj"
    assert kind_of(b"\n" * 4000 + b"\x0bf 1 2 3", "x") == "obj"
    assert kind_of(b"x v 1 2 3\n", "x") == "stl"


# --- long names -------------------------------------------------------------------------------


def measured(monkeypatch, owner, name, work) -> float:
    """How the characters that a function is given to measure grow when the text is four times as long."""
    plain, seen = getattr(owner, name), []

    def counting(*arguments, **options):
        seen.append(next(len(a) for a in arguments if isinstance(a, str)))
        return plain(*arguments, **options)

    monkeypatch.setattr(owner, name, counting)
    totals = []
    for count in (4_000, 16_000):
        seen.clear()
        work(count)
        totals.append(sum(seen))
    return totals[1] / totals[0]


def test_a_long_word_is_cut_in_a_pass(monkeypatch):
    assert measured(monkeypatch, grid, "cells", lambda n: grid.wrap("é" * n, 80)) < 6.0
    assert measured(monkeypatch, grid, "cells", lambda n: grid.wrap("日\u0301" * n, 80)) < 6.0
    assert grid.wrap("abc-" * 3 + "日本" * 3, 10) == ["abc-abc-", "abc-", "日本日本日", "本"]
    assert grid.wrap("a" + "\u0301" * 500, 3) == ["a" + "\u0301" * 500]


def test_a_long_name_is_shortened_in_few_tries(monkeypatch):
    assert measured(monkeypatch, run_picture, "wide", lambda n: run_picture.fitted("ab " * n, 2.5, 40.0)) < 6.0
    short = run_picture.fitted("one two three four", 2.5, 20.0)
    assert short.endswith("…")
    assert not short.endswith(" …")
    assert run_picture.wide(short, 2.5, bold=True) <= 20.0 < run_picture.wide(short[:-1] + "xx…", 2.5, bold=True)
    assert run_picture.fitted("one", 2.5, 0.1) == "o…"


def test_a_long_word_on_paper_is_cut_in_a_pass(monkeypatch):
    sheet = Pdf("x", {})
    assert measured(monkeypatch, sheet, "_width", lambda n: sheet.wrapped("é" * n, 2.5, 60.0)) < 6.0
    lines = sheet.wrapped("a " + "é" * 300 + " b", 2.5, 60.0)
    assert "".join(lines) == "a" + "é" * 300 + " b"
    assert all(sheet.width(line, 2.5) <= 60.0 < sheet.width(line + "éé", 2.5) for line in lines[1:-1])


def test_a_long_label_on_paper_is_shortened_in_few_tries(monkeypatch):
    sheet = Pdf("x", {})
    sheet.page((100.0, 100.0))
    assert measured(monkeypatch, sheet, "_width", lambda n: sheet.text("é" * n, (0, 0), 2.5, room=30.0)) < 6.0


@pytest.mark.parametrize(
    ("words", "shown"),
    [("RAIL-1", "x <RAIL-1>: RAIL-1"), ("bend 2", "at <bend>\n   <2>, bend 2"), ("bend", "xbend bend2 _bend <bend>.")],
)
def test_the_first_whole_words_are_set_off(words, shown, monkeypatch):
    monkeypatch.setattr(text, "bold", lambda part: f"<{part}>")
    written = shown.replace("<", "").replace(">", "")
    assert text._placed(written, [Finding("corner-no-radius", tube=words)]) == shown


# --- the commands -----------------------------------------------------------------------------

_RUNNER = """
import contextlib, io, json, sys
from converter.cli.main import main
for line in sys.stdin:
    words, given = json.loads(line)
    print(json.dumps(None), flush=True)
    out, err = io.StringIO(), io.StringIO()
    feed = sys.stdin
    if given:
        sys.stdin = io.TextIOWrapper(open(given, "rb"))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(words)
    sys.stdin = feed
    print(json.dumps([status, out.getvalue()[:200], err.getvalue()]), flush=True)
"""


def padded(*rows: str) -> bytes:
    """Rows of a table whose every cell has 12,000 blanks before and behind."""
    pad = " " * 12_000
    return "\n".join(",".join(pad + cell + pad for cell in row.split(",")) for row in rows).encode()


def replaced(data: bytes, code: bytes, value: bytes, what: int = 1) -> bytes:
    """A DXF with the value (or, for 0, the code) of the first group of a kind in its entities replaced."""
    lines = data.splitlines(keepends=True)
    start = next(i for i, line in enumerate(lines) if line.strip() == b"ENTITIES")
    at = next(i for i in range(start + 1, len(lines), 2) if lines[i].strip() == code) + what
    return b"".join([*lines[:at], value + b"\n", *lines[at + 1 :]])


def cases(folder: Path) -> dict[str, tuple[list[str], str, int, str]]:
    """Name -> (words, file for standard input, status, what the sentence or the result holds)."""
    digits = DIGITS.encode()
    listed: dict[str, tuple[list[str], str, int, str]] = {}

    def give(name: str, data: bytes, status: int, holds: str, *, piped: bool = True) -> None:
        path = folder / name
        path.write_bytes(data)
        listed[name] = (["table", str(path)], "", status, holds)
        if piped:
            listed[f"{name} piped"] = (["table", "-"], str(path), status, holds)

    for ending, holds in {"csv": "has no rows", "dxf": "is not a DXF", "step": "is not a STEP", "json": "JSON"}.items():
        give(f"blank.{ending}", b"\n" * 60, 2, holds, piped=False)
        give(f"blanks.{ending}", b" \r\n" * 100_000, 2, holds, piped=False)
    give("blank", b"\n" * 60, 2, "is text that no reader knows")
    indented = json.dumps([{"a": {"b": [1, 2, {"c": None}]}}] * 20_000, indent=12).encode()
    assert len(indented) > 3_000_000
    give("indented.json", indented, 2, "is JSON, but not a bend table", piped=False)
    give("indented", indented, 2, "is text that no reader knows")
    give("comments", b"/**/" * 100_000 + STEP, 0, "1 tube")
    give("comments.step", b"/* a */\n" * 100_000, 2, "is not a STEP file", piped=False)
    give("999", b"999\nhello\n" * 100_000 + DXF, 0, "1 tube")
    give("999.dxf", b"999\nhello\n" * 100_000, 2, "is not a DXF drawing")
    give("padded.csv", padded("x,y,z", "0,0,0", "100,0,0"), 0, "1 tube")
    give("padded-wrong.csv", padded("x,y,z", "0,0,0", "100 q,0,0"), 2, "row 3, column x")
    give("padded-angle.csv", padded("feed,rotation,angle,clr", "1,0,45 x,3"), 2, "row 2, column angle")
    give("digits.csv", b"x,y\n" + digits + b",0\n1,2\n", 2, "row 2, column x")
    give("digits-angle.csv", b"feed,rotation,angle,clr\n1,0," + digits + b",3\n", 2, "row 2, column angle")
    give("digits-bend.csv", b"bend,feed,rotation,angle,clr\n" + digits + b",1,0,45,3\n", 2, "neither the number")
    give("digits.dxf", replaced(DXF, b"10", digits), 2, "is not a finite number")
    give("digits-code.dxf", replaced(DXF, b"10", digits, 0), 2, "damaged beyond repair")
    give("digits-layer.dxf", replaced(DXF, b"8", digits), 0, "1 tube")
    number = re.search(rb"\n#(\d+)\s*=", STEP)
    assert number is not None
    at = number.span(1)
    give("digits.step", STEP[: at[0]] + digits + STEP[at[1] :], 2, "is damaged")
    drawing = folder / "good.dxf"
    drawing.write_bytes(DXF)
    shop = folder / "digits.toml"
    shop.write_bytes(b"clr = " + digits)
    for option in ("--units", "--join", "--tangent", "--clr", "--section", "--skip-color", "--metal", "--fraction"):
        listed[option] = (["table", str(drawing), option, DIGITS], "", 2, "999")
    listed["--shop"] = (["audit", str(drawing), "--shop", str(shop)], "", 2, "it holds a number that cannot be read")
    listed["--job"] = (["audit", str(drawing), "--job", str(shop)], "", 2, "it holds a number that cannot be read")
    return listed


@pytest.mark.slow
def test_odd_inputs_end_with_the_right_format_or_a_sentence(tmp_path):
    """All run in a process of their own, which is stopped where it does not come to an end."""
    wanted = cases(tmp_path)
    given = "".join(json.dumps([words, piped]) + "\n" for words, piped, _, _ in wanted.values())
    try:
        lines = subprocess.run(
            [sys.executable, "-c", _RUNNER],
            input=given, capture_output=True, text=True, encoding="utf-8", timeout=300, check=True,
        ).stdout  # fmt: skip
    except subprocess.TimeoutExpired as error:
        lines = (error.stdout or b"").decode()
    came = [row for line in lines.splitlines() if (row := json.loads(line)) is not None]
    assert len(came) == len(wanted), f"{list(wanted)[len(came)]} did not come to an end"
    for (name, (_, _, status, holds)), (ended, out, err) in zip(wanted.items(), came, strict=True):
        assert ended == status, (name, err[:300])
        if status == 2:
            assert holds in one_sentence(err), (name, err[:300])
            assert out == "", name
            assert len(err) < 1000, name
            assert "Something went wrong" not in err, name
        else:
            assert holds in out, (name, out)
