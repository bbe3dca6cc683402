"""Is it a whole IGES file, and in which unit? Asked of its records before the CAD kernel sees them.

The form is that of IGES 5.3 (ANS US PRO/IPO-100-1996): records of 80 columns, the section's letter in column 73, its
number within the section after it. Whatever the text, each question is answered in one pass over it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import BytesIO

from converter.errors import ReadError, UnitsError
from converter.importers.iges.entities import names_of, odd_values, values_of
from converter.units import MM_PER, unit_name

#: Columns of data in a record; all columns of one.
_DATA, _WIDTH = 72, 80
_ORDER = b"SGDPT"
#: Unit flag of the global section -> our name of the unit, and mm (IGES 5.3, 2.2.4.3.14); 3 names it in words.
_FLAGS = {
    1: ("in", 25.4), 2: ("mm", 1.0), 4: ("ft", 304.8), 5: ("mi", 1609344.0), 6: ("m", 1000.0), 7: ("km", 1e6),
    8: ("mil", 0.0254), 9: ("um", 1e-3), 10: ("cm", 10.0), 11: ("uin", 25.4e-6),
}  # fmt: skip
_IN_WORDS = 3
_WORDS = {"MM": 2, "INCH": 1, "IN": 1, "FT": 4, "MI": 5, "M": 6, "KM": 7, "MIL": 8, "UM": 9, "CM": 10, "UIN": 11}
#: A whole number of so many digits, or a text said to be that long, is no count that a sound file has.
_LARGE = re.compile(rb"\d{7}")
#: Directory entries: the kernel takes about 2 kB for each.
MOST_ENTITIES = 2_000_000
#: Records of the global section that are looked at; its 26 values fill a handful.
_HEADER_RECORDS = 200
#: Parameters of the global section, by their number in the standard.
_SCALE, _UNIT_FLAG, _UNIT_WORD = 13, 14, 15


@dataclass(frozen=True, slots=True)
class IgesText:
    """A file whose records are in order.

    Attributes:
        data: the records, a line each.
        unit: (what the file calls it, our name or None, mm per unit or None), or None where it names none.
        scale: of the model space, 1 for life size.
        doubts: what is odd in its structure, in a few words; '' for nothing.
        other_unit: what its unit's name says where its flag says otherwise, else ''.
        bad_flag: a unit flag that the standard does not have, as it stands there, else ''.
        levels: names of levels by their number.
        colors: names of defined colors by their entry's number in the directory.
        suspect: which entity's values the kernel may not bear, in a few words, else ''.
    """

    data: bytes
    unit: tuple[str, str | None, float | None] | None
    scale: float
    doubts: str
    other_unit: str = ""
    bad_flag: str = ""
    levels: dict[int, str] = field(default_factory=dict)
    colors: dict[int, str] = field(default_factory=dict)
    suspect: str = ""


def is_iges(head: bytes) -> bool:
    """Whether a file's first bytes are the first record of an IGES file."""
    first = head[:_WIDTH]
    return (
        len(first) == _WIDTH
        and first[_DATA : _DATA + 1] in (b"S", b"C", b"B")
        and first[_DATA + 1 :].strip().lstrip(b"0") == b"1"
        and b"\n" not in first
        and b"\0" not in first
    )


def check_iges(data: bytes, name: str) -> IgesText:
    """The file's records and what its global section says of lengths.

    Raises:
        ReadError: it is no IGES file of the ASCII form, is cut short, or holds nothing.
    """
    if not is_iges(data):
        raise ReadError(
            f"{name} is not an IGES file (its first record does not end in S and 1): export IGES from the CAD package.",
            code="not-iges",
            file=name,
        )
    if data[_DATA : _DATA + 1] != b"S":
        raise ReadError(
            f"{name} is in the compressed or binary form of IGES, which is not read: export it in the ASCII form.",
            code="foreign-format",
            file=name,
        )
    found = _read_records(data)
    if not found.closing:
        why = found.doubts[0] if found.doubts else f"it stops in {found.where}"
        raise ReadError(
            f"{name} is cut short or damaged: {why}, before the closing record (T); export or copy it again.",
            code="cut-short",
            file=name,
        )
    entries, parameters = len(found.entries), len(found.parameters)
    if not entries or not parameters:
        raise ReadError(
            f"{name} holds no shape: its directory is empty; export the sketch or the solids.",
            code="no-geometry",
            file=name,
        )
    if entries > 2 * MOST_ENTITIES:
        raise ReadError(
            f"{name} holds {entries // 2:,} entities, and {MOST_ENTITIES:,} are the most that can be read: "
            "export the tubes by themselves.",
            code="too-large",
            file=name,
        )
    doubts = [
        *found.doubts,
        *_doubts_of_closing(found.closing, found.counts),
        *_doubts_of_directory(found.entries, parameters),
    ]
    values = _global_values(b"".join(found.header))
    marks = values[0], values[1]
    levels, colors = names_of(found.entries, found.parameters, marks)
    return IgesText(
        b"\n".join(found.lines) + b"\n",
        _unit(values),
        _scale(values),
        "; ".join(doubts[:2]),
        _other_unit(values),
        _bad_flag(values),
        levels,
        colors,
        odd_values(found.entries, found.parameters, marks),
    )


@dataclass(slots=True)
class _Records:
    """The records of a file as far as they are in order.

    Attributes:
        lines: all of them, without line ends.
        counts: how many of each section, by its letter.
        header, entries: data of the global section (`_HEADER_RECORDS` at most), and of the directory.
        parameters: records of the parameter section.
        closing: the last record; empty where the file does not come to it.
        doubts: what is odd, in a few words.
        section: index in `_ORDER` of the last one.
    """

    lines: list[bytes] = field(default_factory=list)
    counts: dict[int, int] = field(default_factory=lambda: dict.fromkeys(_ORDER, 0))
    header: list[bytes] = field(default_factory=list)
    entries: list[bytes] = field(default_factory=list)
    parameters: list[bytes] = field(default_factory=list)
    closing: bytes = b""
    doubts: list[str] = field(default_factory=list)
    section: int = 0

    @property
    def where(self) -> str:
        """The section that it stops in, in words."""
        return {0: "its start section", 1: "its header", 2: "its directory"}.get(self.section, "the middle of its data")


def _read_records(data: bytes) -> _Records:
    """The records up to the closing one, or to the first that is out of place."""
    found = _Records()
    for record in _records(data):
        if len(record) <= _DATA or record[_DATA] not in _ORDER:
            if not record.strip():
                continue
            found.doubts.append(f"record {len(found.lines) + 1} belongs to no section")
            break
        letter = record[_DATA]
        if _ORDER.index(letter) < found.section:
            found.doubts.append(f"record {len(found.lines) + 1} is out of its section")
            break
        found.section = _ORDER.index(letter)
        found.counts[letter] += 1
        found.lines.append(record[:_WIDTH])
        if letter == ord("G") and len(found.header) < _HEADER_RECORDS:
            found.header.append(record[:_DATA])
        elif letter == ord("D"):
            found.entries.append(record[:_DATA])
        elif letter == ord("P"):
            found.parameters.append(found.lines[-1])
            if not found.doubts and _LARGE.search(record, 0, 64) and _has_large_count(record[:64]):
                found.doubts.append(f"parameter record {found.counts[letter]} has a count beyond all bounds")
        elif letter == ord("T"):
            found.closing = record
            break
    return found


def _records(data: bytes) -> Iterator[bytes]:
    if b"\n" in data or b"\r" not in data[: _WIDTH + 1]:
        if b"\n" not in data:  # written in blocks of 80 without any line end
            yield from (data[i : i + _WIDTH] for i in range(0, len(data), _WIDTH))
            return
        for line in BytesIO(data):
            yield line.rstrip(b"\r\n")
        return
    yield from data.split(b"\r")


def _has_large_count(record: bytes) -> bool:
    """Whether a value of a parameter record is a whole number, or a text's length, of seven digits or more."""
    for value in record.replace(b";", b",").split(b","):
        digits = value.strip().split(b"H", 1)[0].lstrip(b"+-0")
        if digits.isdigit() and len(digits) >= 7:
            return True
    return False


def _doubts_of_closing(record: bytes, counts: dict[int, int]) -> list[str]:
    """Whether the closing record counts the sections as they are."""
    for i, letter in enumerate(b"SGDP"):
        said = record[8 * i : 8 * i + 8]
        if said[:1] != bytes((letter,)) or _number(said[1:]) != counts[letter]:
            return [f"its closing record counts the records of section {chr(letter)} otherwise than they are"]
    return []


def _doubts_of_directory(entries: list[bytes], parameters: int) -> list[str]:
    if len(entries) % 2:
        return ["a directory entry is half missing"]
    for i in range(0, len(entries), 2):
        first, second = entries[i], entries[i + 1]
        kind, at, count = _number(first[:8]), _number(first[8:16]), _number(second[24:32])
        if kind is None or kind != _number(second[:8]):
            return [f"directory entry {i + 1} has no type"]
        if kind and (at is None or count is None or at < 1 or count < 1 or at + count - 1 > parameters):
            return [f"directory entry {i + 1} has its parameters where there are none"]
    return []


def _number(field: bytes) -> int | None:
    text = field.strip()
    return int(text) if text.isdigit() else None


def _global_values(text: bytes) -> list[bytes]:
    """The parameters of the global section in order; texts (``3HABC``) without their count."""
    comma, semicolon, at = b",", b";", 0
    if text[:2] == b"1H":
        comma, at = text[2:3], 3
    at = text.find(comma, at) + 1
    if text[at : at + 2] == b"1H":
        semicolon, at = text[at + 2 : at + 3], at + 3
    at += text[at : at + 1] == comma
    return [comma, semicolon, *values_of(text, at, (comma, semicolon))]


def _unit(values: list[bytes]) -> tuple[str, str | None, float | None] | None:
    flag = _number(_value(values, _UNIT_FLAG))
    word = _value(values, _UNIT_WORD).decode("ascii", "replace").strip()
    if flag in _FLAGS:
        ours, factor = _FLAGS[flag]
        return (ours, ours if ours in MM_PER else None, factor)
    if not word:
        return None
    if word.upper() in _WORDS:
        ours, factor = _FLAGS[_WORDS[word.upper()]]
        return (word, ours if ours in MM_PER else None, factor)
    try:
        name = unit_name(word)
    except UnitsError:
        return (word, None, None)
    return (word, name, MM_PER[name])


def _bad_flag(values: list[bytes]) -> str:
    """A unit flag that is a whole number above or below those of the standard, as it stands there; else ''."""
    flag = _value(values, _UNIT_FLAG).decode("ascii", "replace").strip()
    try:
        number = int(flag) if len(flag) < 9 else 0
    except ValueError:
        return ""
    return flag if number and number not in _FLAGS and number != _IN_WORDS else ""


def _other_unit(values: list[bytes]) -> str:
    flag, word = _number(_value(values, _UNIT_FLAG)), _value(values, _UNIT_WORD).decode("ascii", "replace").strip()
    named = _WORDS.get(word.upper())
    return word if flag in _FLAGS and named is not None and named != flag else ""


def _scale(values: list[bytes]) -> float:
    try:
        scale = float(_value(values, _SCALE).upper().replace(b"D", b"E") or b"1")
    except ValueError:
        return 1.0
    return scale if 1e-9 < scale < 1e9 else 1.0


def _value(values: list[bytes], number: int) -> bytes:
    return values[number - 1] if number <= len(values) else b""
