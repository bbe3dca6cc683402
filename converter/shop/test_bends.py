"""Test bends written into a shop file: everything that stands in it stays, to the letter.

The new ``[[test]]`` tables go behind the last one there is, else to the end. What results is read
back and must say the same as before and the new test bends besides; only then does it replace the
file (`converter.shop.toml.rewrite_toml`).
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from converter.disk.reading import open_to_read
from converter.errors import ReadError, ShopError
from converter.quoting import quoted
from converter.shop.load import load_shop, shop_from_text
from converter.shop.model import Shop
from converter.shop.toml import rewrite_toml

#: How a table of test bends begins.
_TEST = re.compile(r"[ \t]*\[\[[ \t]*(?:test|\"test\"|'test')[ \t]*\]\]")
_TABLE = re.compile(r"[ \t]*\[")
_BLANK_LINE = re.compile(r"[ \t]*(?:#.*)?\Z")


@dataclass(frozen=True, slots=True)
class NewTest:
    """A test bend to record; lengths as typed, a bare number being in the shop file's own unit.

    Attributes:
        die: name of a die of the shop.
        metal: name of its metal, or None.
        wall: of the tube, or None.
        stop: degrees the stop was set to.
        angle: degrees that came out.
        length: stick the bend used, or None.
    """

    die: str
    metal: str | None
    wall: str | None
    stop: float
    angle: float
    length: str | None = None

    def table(self) -> dict[str, Any]:
        """Its keys as TOML values."""
        values: dict[str, Any] = {"die": self.die}
        if self.metal is not None:
            values["metal"] = self.metal
        if self.wall is not None:
            values["wall"] = _length(self.wall)
        values |= {"stop": _number(self.stop), "angle": _number(self.angle)}
        if self.length is not None:
            values["length"] = _length(self.length)
        return values


def with_tests(text: str, tests: Sequence[NewTest], name: str) -> str:
    """The text of a shop file with test bends added.

    Args:
        text: of the file, line ends as they are.
        tests: to add, in order.
        name: of the file, for messages.

    Raises:
        ShopError: the result is no sound shop file (a key's path is said), or the file writes its test
            bends in a way that cannot be added to.
    """
    end = "\r\n" if "\r\n" in text else "\n"
    tables = [one.table() for one in tests]
    block = end.join(_test_bend_toml(table, end) for table in tables)
    old = tomllib.loads(text.replace("\r\n", "\n"))
    wanted = {**old, "test": [*old.get("test", []), *tables]} if isinstance(old.get("test", []), list) else None
    for at in dict.fromkeys((_behind_tests(text), len(text))):
        before, after = text[:at], text[at:]
        lead = "" if not before or before.endswith(end) else end
        # one empty line on either side, where there is none yet
        lead += end if before.strip() and not before.endswith(end * 2) else ""
        tail = end if after and not after.startswith(("\n", "\r\n")) else ""
        new = before + lead + block + tail + after
        try:
            found = tomllib.loads(new.replace("\r\n", "\n"))
        except tomllib.TOMLDecodeError:
            continue
        if found == wanted:
            shop_from_text(new, name)
            return new
    raise ShopError(
        f"{name}: test cannot be added to: write each test bend as a table of its own, under [[test]].",
        file=name,
        where="test",
    )


def _test_bend_toml(table: dict[str, Any], end: str) -> str:
    """One table of a test bend as TOML; a JSON string of printable text is a TOML string too."""
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in table.items()]
    return "".join(line + end for line in ("[[test]]", *lines))


def _behind_tests(text: str) -> int:
    """Where the last ``[[test]]`` table's own lines end; the end of the text when there is none."""
    at, end, inside = 0, len(text), False
    for line in text.splitlines(keepends=True):
        at += len(line)
        bare = line.rstrip("\r\n")
        if _TEST.match(bare):
            inside, end = True, at
        elif _TABLE.match(bare):
            inside = False
        elif inside and not _BLANK_LINE.match(bare):
            end = at
    return end


def rehearse(path: str | os.PathLike[str], tests: Sequence[NewTest]) -> Shop:
    """The shop as the file would say it with test bends added; nothing is written. Raises as `record` does."""
    name = os.fspath(path)
    try:
        with open_to_read(name) as stream:
            data = stream.read()
    except OSError as error:
        raise ReadError(f"{name} cannot be read: {error.strerror}.", file=name) from error
    return shop_from_text(_added(data, tests, name).decode("utf-8-sig"), name)


def record(path: str | os.PathLike[str], tests: Sequence[NewTest]) -> str:
    """Add test bends to a shop file, behind those that other runs add at the same time.

    Args:
        path: the file; a symbolic link is followed and stays one.
        tests: one or more.

    Returns:
        Name of the file beside it that says what it said before (`converter.shop.toml.BEFORE`).

    Raises:
        ReadError, ShopError: the file is no sound shop file, before or with the test bends; it stays as it was.
        WriteError: it cannot be replaced; it stays as it was.
    """
    name = os.fspath(path)
    return rewrite_toml(name, lambda data: _added(data, tests, name))


def _added(data: bytes, tests: Sequence[NewTest], name: str) -> bytes:
    """The new content of the file."""
    shop = load_shop(name)  # says what is wrong with it as every other command does
    for test in tests:
        _check_named(test, shop, name)
    mark = b"\xef\xbb\xbf"
    start = mark if data.startswith(mark) else b""
    return start + with_tests(data[len(start) :].decode("utf-8"), tests, name).encode("utf-8")


def _check_named(test: NewTest, shop: Shop, name: str) -> None:
    """Refuse a test bend that leaves out what those of its die name: beside them it would not be used.

    Raises:
        ShopError: it does.
    """
    beside = [one for one in shop.tests if one.die.casefold() == test.die.casefold()]
    lacking = []
    if test.metal is None and any(one.metal is not None for one in beside):
        lacking.append("metal")
    if test.wall is None and any(one.wall is not None for one in beside):
        lacking.append("wall")
    if lacking:
        raise ShopError(
            f"{name}: the test bends of the die {quoted(test.die)} name their {' and '.join(lacking)}, and one that "
            f"does not would not be used beside them: give {' and '.join(f'--{what}' for what in lacking)}.",
            code="test-not-named",
            file=name,
        )


def _number(value: float) -> float | int:
    """A whole number without its point."""
    return int(value) if value == int(value) else value


def _length(typed: str) -> str | float | int:
    """A length as TOML: a bare decimal as a number, anything else as the text that was typed."""
    bare = re.fullmatch(r"\d++(?:\.\d*+)?|\.\d++", typed.strip())
    return _number(float(typed)) if bare else typed.strip()
