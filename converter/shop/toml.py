"""A TOML file as a checked dictionary: opening, parsing, and the sentences for what can go wrong."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path
from typing import Any

from converter.errors import ReadError, ShopError

#: Bytes; a shop or job file is typed by hand, so anything larger is some other file.
LARGEST = 2_000_000

_LINE = re.compile(r"\(at line (\d+), column (\d+)\)\Z")


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
    try:
        if Path(name).is_dir():
            raise ReadError(f"{name} is a directory: name a {what}.", code="is-directory", file=name)
        with Path(name).open("rb") as stream:
            data = stream.read(LARGEST + 1)
    except FileNotFoundError as error:
        raise ReadError(f"{name} does not exist: check the name.", code="no-such-file", file=name) from error
    except PermissionError as error:
        raise ReadError(f"{name} may not be read: check its permissions.", code="no-permission", file=name) from error
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).rstrip(".")
        raise ReadError(f"{name!r} cannot be read: {reason}.", code="unreadable", file=name) from error
    if len(data) > LARGEST:
        raise ReadError(f"{name} is too large for a {what}: is it the right file?", code="too-large", file=name)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        message = f"{name} is not UTF-8 text (line {line}): save the {what} as UTF-8."
        raise ReadError(message, code="not-text", file=name, where=f"line {line}") from error
    return parse_toml(text, name, what)


def parse_toml(text: str, name: str, what: str) -> dict[str, Any]:
    """The tables of TOML text; see `read_toml`."""
    if not text.strip():
        hint = "`elbowroom shop new` writes one to start from" if what == "shop file" else "name the sections in it"
        raise ShopError(f"{name} is empty: {hint}.", code="empty-file", file=name)
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        reason = str(error)
        place = _LINE.search(reason)
        ending = text.split("\n")  # the parser does not count where the text simply ends
        line, column = (place[1], place[2]) if place else (len(ending), len(ending[-1]) + 1)
        where = f"line {line}, column {column}"
        reason = re.sub(r"\s*\(at [^()]*\)\Z", "", reason)
        message = f"{name} is not a TOML file ({where}): {reason[:1].lower()}{reason[1:]}."
        raise ShopError(message, code="bad-toml", file=name, where=where) from error
    except RecursionError as error:
        message = f"{name} is not a {what}: its brackets are nested too deeply."
        raise ShopError(message, code="bad-toml", file=name) from error
    except ValueError as error:  # a number with thousands of digits
        message = f"{name} is not a {what}: it holds a number that cannot be read."
        raise ShopError(message, code="bad-toml", file=name) from error
