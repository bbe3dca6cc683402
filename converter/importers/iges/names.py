"""Names of levels and colors in an IGES file (IGES 5.3): the level function property (type 406, form 3), whose text
says what the level of its directory entry is for, and the color definition (type 314).
"""

from __future__ import annotations

from collections import Counter

_PROPERTY, _LEVEL_FUNCTION, _COLOR = 406, 3, 314
#: Data columns of a parameter record; so many records are looked at for one name.
_COLUMNS, _RECORDS = 64, 20


def names_of(
    entries: list[bytes], parameters: list[bytes], stops: tuple[bytes, bytes]
) -> tuple[dict[int, str], dict[int, str]]:
    """Names of levels by their number, and of defined colors by the number of their directory entry.

    Args:
        entries: records of the directory, two of an entity.
        parameters: records of the parameter section.
        stops: what ends a value, and an entity's values.
    """
    levels: dict[int, str] = {}
    colors: dict[int, str] = {}
    for i in range(0, len(entries) - 1, 2):
        first, second = entries[i], entries[i + 1]
        kind, form = _whole(first[:8]), _whole(second[32:40])
        if kind == _PROPERTY and form == _LEVEL_FUNCTION:
            name = _text(_values(first, second, parameters, stops), 3)
            if name and _whole(first[32:40]) > 0:
                levels.setdefault(_whole(first[32:40]), name)
        elif kind == _COLOR:
            values = _values(first, second, parameters, stops)
            colors[i + 1] = _text(values, 4) or _shade(values)
    # a name that stands for several levels tells none of them
    called = Counter(levels.values())
    return {number: name for number, name in levels.items() if called[name] == 1}, colors


def values_of(text: bytes, at: int, stops: tuple[bytes, bytes]) -> list[bytes]:
    """The values of a record's text from a place on; texts (``3HABC``) without their count.

    Args:
        stops: what ends a value, and the record.
    """
    comma, semicolon = stops
    values = []
    while at < len(text):
        begin = at
        while at < len(text) and (text[at : at + 1].isdigit() or text[at : at + 1] == b" "):
            at += 1
        digits = text[begin:at].strip()
        if text[at : at + 1] == b"H" and digits.isdigit() and len(digits) < 7:
            end = min(at + 1 + int(digits), len(text))
            values.append(text[at + 1 : end])
            at = end
        else:
            ends = [stop for stop in (text.find(comma, begin), text.find(semicolon, begin)) if stop >= 0]
            at = min(ends, default=len(text))
            values.append(text[begin:at].strip())
        if text[at : at + 1] == semicolon:
            break
        at += 1
    return values


def _whole(field: bytes) -> int:
    text = field.strip()
    return int(text) if text.isdigit() else 0


def _values(first: bytes, second: bytes, parameters: list[bytes], stops: tuple[bytes, bytes]) -> list[bytes]:
    at, count = _whole(first[8:16]), min(_whole(second[24:32]), _RECORDS)
    rows = parameters[at - 1 : at - 1 + count] if at else []
    return values_of(b"".join(row[:_COLUMNS] for row in rows), 0, stops)


def _text(values: list[bytes], number: int) -> str:
    return " ".join(values[number].decode("latin-1").split()) if number < len(values) else ""


def _shade(values: list[bytes]) -> str:
    """A color of red, green and blue in percent as ``#rrggbb``."""
    try:
        parts = [round(min(max(float(v or b"0"), 0.0), 100.0) * 255.0 / 100.0) for v in values[1:4]]
    except ValueError:
        return ""
    return "#" + "".join(f"{part:02x}" for part in parts) if len(parts) == 3 else ""
