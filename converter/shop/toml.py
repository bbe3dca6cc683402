"""A TOML file as a checked dictionary: opening, parsing, writing anew, and the sentences for what can go wrong."""

from __future__ import annotations

import os
import re
import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from converter.disk.lock import locked
from converter.disk.reading import cannot_read, open_to_read
from converter.disk.stage import Stage, sweep
from converter.errors import ReadError, ShopError, WriteError
from converter.limits import KEY_PARTS, NESTING, TOML_BYTES
from converter.progress import begin_file
from converter.quoting import LONGEST_REASON, shortened
from converter.shop.toml_line import line_cure

#: What begins or ends a string or a comment.
_MARK = re.compile(r"\"\"\"|'''|[\"'#\n]")
#: A key of very many parts, its quoted parts written as ``_``.
_LONG_KEY = re.compile(rf"(?<![\w-])[\w-]++(?:[ \t]*+\.[ \t]*+[\w-]++){{{KEY_PARTS},}}")
_BRACKET = re.compile(r"[][{}]")

#: What is added to the name of a file for the one beside it that says what it said before it was written anew. Not
#: `.bak`, which people and editors use for copies of their own.
BEFORE = ".before"

_LINE = re.compile(r"\(at line (\d+), column (\d+)\)\Z")


#: Keys that only one kind of file has.
_OWN_KEYS = {
    "shop file": frozenset(
        ("shop", "machine", "die", "metal", "test", "hole_saw", "rates", "price", "saw", "tolerance")
    ),
    "job file": frozenset(("default", "layer", "run", "joint")),
    "rack file": frozenset(("bar",)),
}


def read_toml(path: str | os.PathLike[str], what: str) -> dict[str, Any]:
    """The tables of a TOML file.

    Args:
        path: the file as the user named it.
        what: 'shop file' or 'job file', for messages.

    Raises:
        ReadError: it is missing, a directory, unreadable, or not text.
        ShopError: it is not TOML; the message says line and column.
    """
    name = os.fspath(path)
    begin_file(name, "reading")
    try:
        if Path(name).is_dir():
            raise ReadError(f"{name} is a directory: name a {what}.", code="is-directory", file=name)
        with open_to_read(name, f"copy it into a file and name that as the {what}") as stream:
            data = stream.read(TOML_BYTES + 1)
    except (OSError, ValueError) as error:
        raise cannot_read(name, error) from error
    if len(data) > TOML_BYTES:
        raise ReadError(f"{name} is too large for a {what}: is it the right file?", code="too-large", file=name)
    return parse_toml(decoded(data, name, what), name, what)


def decoded(data: bytes, name: str, what: str) -> str:
    """The bytes of a TOML file as text; see `read_toml`.

    Raises:
        ReadError: they are not UTF-8.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        message = f"{name} is not UTF-8 text (line {line}): save the {what} as UTF-8."
        raise ReadError(message, code="not-text", file=name, where=f"line {line}") from error


def parse_toml(text: str, name: str, what: str) -> dict[str, Any]:
    """The tables of TOML text; see `read_toml`."""
    if not text.strip():
        hint = "`elbowroom shop new` writes one to start from" if what == "shop file" else "name the sections in it"
        raise ShopError(f"{name} is empty: {hint}.", code="empty-file", file=name)
    _check_structure(text, name, what)
    try:
        raw = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        said = str(error)
        place = _LINE.search(said)
        ending = text.split("\n")  # the parser does not count where the text simply ends
        line, column = (place[1], place[2]) if place else (len(ending), len(ending[-1]) + 1)
        where = f"line {line}, column {column}"
        said = shortened(re.sub(r"(?<!\s)\s*+\(at [^()]*+\)\Z", "", said), LONGEST_REASON)
        reason = line_cure(text, int(line)) or f"{said[:1].lower()}{said[1:]}"
        message = f"{name} is not a TOML file ({where}): {reason}."
        raise ShopError(message, code="bad-toml", file=name, where=where) from error
    except RecursionError as error:
        message = f"{name} is not a {what}: its brackets are nested too deeply."
        raise ShopError(message, code="bad-toml", file=name) from error
    except ValueError as error:  # a number with thousands of digits
        message = f"{name} is not a {what}: it holds a number that cannot be read."
        raise ShopError(message, code="bad-toml", file=name) from error
    other = next((kind for kind, own in _OWN_KEYS.items() if not own.isdisjoint(raw)), what)
    if other != what and _OWN_KEYS.get(what, frozenset()).isdisjoint(raw):
        message = f"{name} is a {other}, not a {what}: name it with --{other.partition(' ')[0]}."
        raise ShopError(message, code="other-file", file=name)
    return raw


def _check_structure(text: str, name: str, what: str) -> None:
    """Refuse, in time linear in the text, keys and brackets on which the parser takes memory without bounds.

    Raises:
        ShopError: a key has more than `KEY_PARTS` parts, or brackets stand more than `NESTING` deep.
    """
    bare = _without_strings(text)
    long = _LONG_KEY.search(bare)
    if long is not None:
        where = f"line {bare.count(chr(10), 0, long.start()) + 1}"
        parts = f"{long[0].count('.') + 1:,} parts, more than {KEY_PARTS}"
        raise ShopError(
            f"{name} is not a {what}: a key in {where} has {parts}.", code="bad-toml", file=name, where=where
        )
    depth = 0
    for match in _BRACKET.finditer(bare):
        depth += 1 if match[0] in "[{" else -1
        if depth > NESTING:
            where = f"line {bare.count(chr(10), 0, match.start()) + 1}"
            message = (
                f"{name} is not a {what}: its brackets are nested too deeply, more than {NESTING} deep in {where}."
            )
            raise ShopError(message, code="bad-toml", file=name, where=where)


def _without_strings(text: str) -> str:
    """The text with ``_`` for each string and nothing for a comment, its line ends kept; one that does not end, too."""
    kept, at, ending = [], 0, ""
    for mark in _MARK.finditer(text):
        if mark.start() < at:
            continue  # a quote that still belongs to the string before
        token = mark[0]
        if not ending:
            if token != "\n":
                kept += [text[at : mark.start()], "" if token == "#" else "_"]
                at, ending = mark.end(), "\n" if token == "#" else token
        elif token == ending and not (token[0] == '"' and _escaped(text, mark.start(), at)):
            kept.append("\n" * text.count("\n", at, mark.end()))
            at, ending = mark.end(), ""
            while len(token) == 3 and text.startswith(token[0], at) and at < mark.end() + 2:
                at += 1  # up to two quotes may stand before the three that end it
        elif token == "\n" and len(ending) == 1:
            kept.append("\n")
            at, ending = mark.end(), ""
    kept.append("\n" * text.count("\n", at) if ending else text[at:])
    return "".join(kept)


def _escaped(text: str, at: int, start: int) -> bool:
    """Whether an odd number of backslashes stands before a place, counted back to ``start`` at most."""
    count = 0
    while at - count > start and text[at - count - 1] == "\\":
        count += 1
    return count % 2 == 1


def rewrite_toml(path: str | os.PathLike[str], change: Callable[[bytes], bytes]) -> str:
    """Write a TOML file of the user's anew: every program that does so calls this.

    From reading to writing nobody else writes into its folder, so that of several runs at once each goes on from
    what the one before left. The new file takes the old one's place in one step, with its permissions; what the file
    said before stays beside it, under its name and `BEFORE`, until it is written anew again.

    Args:
        path: the file; a symbolic link is followed and stays one.
        change: the new content for the present one; raises when there is none.

    Returns:
        Name of the file that says what it said before.

    Raises:
        WriteError: the file cannot be replaced, or another run holds it for long; it is as it was.
    """
    name = os.fspath(path)
    target = Path(os.path.realpath(name))
    before = target.with_name(target.name + BEFORE)
    try:
        with locked(target.parent):
            sweep(target.parent)
            if not os.access(target, os.W_OK):
                raise WriteError(f"{name} may not be written to: change its permissions first.", file=name)
            with open_to_read(target) as stream:
                old = stream.read()
            _place({before.name: old, target.name: change(old)}, target)
    except TimeoutError as error:
        raise WriteError(
            f"{name} is being written to by another elbowroom: it is as it was, try again when that is done.",
            code="busy",
            file=name,
        ) from error
    except OSError as error:
        raise WriteError(f"{name} cannot be written to: {error.strerror}; it is as it was.", file=name) from error
    return str(before if Path(name).is_symlink() else Path(name).with_name(before.name))


def _place(contents: dict[str, bytes], like: Path) -> None:
    """Put files beside one, with its permissions, all or none; the caller holds the lock of the folder."""
    stage = Stage(like.parent)
    try:
        stage.begin()
        for name, data in contents.items():
            (stage.files / name).write_bytes(data)
            shutil.copymode(like, stage.files / name)
        stage.flush(tuple(contents))
        stage.commit(tuple(contents), lambda target: None)
    finally:
        stage.drop()
