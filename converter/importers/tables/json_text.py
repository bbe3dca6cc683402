"""JSON from a file, after a look at how deep it is nested: the parser goes one call deeper with every bracket."""

from __future__ import annotations

import json
import re
from typing import Any

from converter.errors import ReadError
from converter.limits import NESTING
from converter.quoting import reason_of

#: A string, also one that does not end.
_STRING = re.compile(rb'"[^"\\]*+(?:\\.[^"\\]*+)*"?', re.DOTALL)
_NOT_BRACKETS = bytes(set(range(256)) - set(b"[]{}"))
_PAIR = re.compile(rb"\[\]|\{\}")


def read_json(data: bytes, name: str) -> Any:
    """The value that JSON text holds, whole numbers of any length included.

    Args:
        data: UTF-8, with or without a byte-order mark.
        name: of the file, for messages.

    Raises:
        ReadError: it is no JSON, or its brackets are nested more than `NESTING` deep.
    """
    # every pass takes one level away, the innermost pairs; both kinds at once, or it would take two
    brackets = _STRING.sub(b"", data).translate(None, _NOT_BRACKETS)
    for _ in range(NESTING):
        brackets = _PAIR.sub(b"", brackets)
        if not brackets:
            break
    closes = all(brackets.count(a) == brackets.count(b) for a, b in ((b"[", b"]"), (b"{", b"}")))
    # a few that do not close are told by the parser, with their place
    if brackets and (closes or len(brackets) > NESTING):
        raise ReadError(
            f"{name} is not sound JSON: its brackets are nested more than {NESTING} deep, or do not close.",
            code="damaged",
            file=name,
        )

    def whole(digits: str) -> float:
        # Python reads no whole number of thousands of digits; as floating point such are infinite, and refused later
        return int(digits) if len(digits) < 20 else float(digits)

    try:
        return json.loads(data.decode("utf-8-sig"), parse_int=whole)
    except (ValueError, RecursionError) as error:
        raise ReadError(f"{name} is not sound JSON: {reason_of(error)}.", code="damaged", file=name) from error
