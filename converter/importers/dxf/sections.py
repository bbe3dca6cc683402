"""How an ASCII DXF is divided into lines and sections, where that is damaged, and what the DXF library says of damage.

The library takes of two sections of one name the last, what stands outside of sections is nothing to it, and behind the
end mark it reads no further: of a file that a text editor or a script put together, tubes would be missing in silence.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from converter.disk.reading import HEAD
from converter.errors import ReadError
from converter.findings import ERROR, Clause, Finding
from converter.importers.dxf.convert import CONVERTERS
from converter.importers.registry import is_dxf_text
from converter.quoting import quoted, reason_of, shortened

_BOM = b"\xef\xbb\xbf"
_LINE_END = re.compile(rb"\r\n|\r|\n")
_SECTION, _END, _FILE_END, _ENTITIES = b"SECTION", b"ENDSEC", b"EOF", b"ENTITIES"
#: What follows the end mark of a section in a sound file, and what stands before the name of one.
_NEXT = re.compile(rb"[ \t]*(?:\r\n|\r|\n)[ \t]*0[ \t]*(?:\r\n|\r|\n)[ \t]*(?:SECTION|EOF)(?=\s|\Z)")
_NAMED = re.compile(rb"SECTION[ \t]*(?:\r\n|\r|\n)[ \t]*2[ \t]*(?:\r\n|\r|\n)[ \t]*\Z")
#: Bytes before the name of a section in which that stands.
_BEFORE = 40
#: The start of a file of which every other line is blank, as line ends leave it that were changed twice.
_SPACED = re.compile(rb"\A(?:[ \t]*+[^\s][^\r\n]*+(?:\r\r\n|\n\n|\r\n\r\n)){6}")
_DRAWN = frozenset(kind.encode() for kind in (*CONVERTERS, "INSERT"))
#: Records that belong to the one before.
_BELONGING = frozenset((b"VERTEX", b"ATTRIB", b"SEQEND"))
_LINE = re.compile(r"line:? (?P<line>\d++)")
#: What the library says, and what that means.
_WORDS = {
    "missing ENDSEC": "a section has no ENDSEC, its end mark",
    "ENDSEC tag without": "an ENDSEC, the end mark of a section, stands where no section is open",
    "missing EOF": "its end mark, EOF, is missing",
    "section NAME": "a section has no name",
    "Critical structure error": "a section does not begin as one",
    "root dictionary": "its list of objects is missing",
    "y coordinate": "a point has no y after its x",
    "y-coordinate": "a point has no y after its x",
    "floating point": "a coordinate is no number",
    "binary data": "data in it are no hexadecimal digits",
}


@dataclass(frozen=True, slots=True)
class Divided:
    """A file as the library can read it.

    Attributes:
        data: the file.
        reason: what was wrong with it; '' where nothing was.
        parts: what was done about it.
        findings: what is told besides.
    """

    data: bytes
    reason: str = ""
    parts: tuple[Clause, ...] = ()
    findings: tuple[Finding, ...] = ()


def damage(error: Exception) -> str:
    """What is wrong with a file that the library did not read, for a clause in brackets."""
    text = str(error)
    line = _LINE.search(text)
    if line is None:
        at = near = ""
    else:
        at, near = f"line {line['line']}", f" near line {line['line']}"
    value = quoted(shortened(text.partition('"')[2].rpartition('"')[0].strip()))
    if text.startswith("Invalid group code") and at:
        return f"{at} holds {value} where a group code belongs, so that a line is missing or too many"
    if text.startswith("Invalid tag (") and at:
        return f"{value} in {at} is no number"
    told = next((words for key, words in _WORDS.items() if key in text), None)
    return reason_of(error) if told is None else told + near


def without_blank_lines(data: bytes) -> bytes:
    """The file without every other line, where all of these are blank; else as it is."""
    if not _SPACED.match(data):
        return data
    lines = _LINE_END.split(data)
    return data if any(line.strip() for line in lines[1::2]) else b"\n".join(lines[::2])


def is_well_divided(data: bytes) -> bool:
    """Whether there is one section of entities and nothing between sections; quick, and false where it is not sure.

    Args:
        data: an ASCII DXF.
    """
    if not is_dxf_text(data[:HEAD]):
        return False
    at, count = data.find(_ENTITIES), 0
    while at >= 0:
        count += _NAMED.search(data[max(0, at - _BEFORE) : at]) is not None
        at = data.find(_ENTITIES, at + 1)
    at = data.find(_END)
    while at >= 0 and _NEXT.match(data, at + len(_END)):
        last, at = at, data.find(_END, at + 1)
        if at < 0:
            return count == 1 and _SECTION not in data[last + len(_END) :]
    return False


def divided(data: bytes, name: str) -> Divided:
    """The file with one section of entities, which holds what is drawn in further ones and outside of any.

    Args:
        data: an ASCII DXF that may not be well divided.
        name: of the file, for messages.

    Raises:
        ReadError: there is no section of entities.
    """
    lines = _LINE_END.split(data.removeprefix(_BOM))
    main: list[bytes] = []
    more: list[bytes] = []  # what is drawn elsewhere
    place: int | None = None  # in ``main``, where the first section of entities ends
    section: bytes | None = None
    count = stray = behind = after = 0
    was_drawn = ended = False
    for kind, first, end in _records(lines):
        own = lines[first:end]
        if ended:
            behind += kind in _DRAWN
            continue
        if kind == _FILE_END:
            ended, after = True, first + 2
            continue
        if kind == _SECTION:
            if section == _ENTITIES and place is None:
                place = len(main)
            section = own[3].strip() if len(own) > 3 else b""
            count += section == _ENTITIES
        elif kind == _END:
            if section == _ENTITIES and place is None:
                place = len(main)
        elif section is None:
            was_drawn = kind in _DRAWN or (kind in _BELONGING and was_drawn)
            stray += kind in _DRAWN
            more += _without_handle(own) if was_drawn else []
            continue
        if section == _ENTITIES and count > 1:
            more += _without_handle(own) if kind not in (_SECTION, _END) else []
        elif section is not None:
            main += own
        section = None if kind == _END else section
    if not count:
        raise ReadError(
            f"{name} has no section named ENTITIES, where what is drawn stands: export it again.",
            code="damaged",
            file=name,
        )
    found = (_behind(behind, after),) if behind else ()
    if not more:
        return Divided(data, findings=found)
    what = [f"it has {count} sections of entities"] if count > 1 else []
    if stray:
        what.append(f"{stray:,} of its curves {'stand' if stray > 1 else 'stands'} outside of its sections")
    mended = b"\n".join([*main[:place], *more, *main[place:], b"0", _FILE_END, b""])
    return Divided(mended, " and ".join(what), (Clause.of("sections-joined"),), found)


def _records(lines: list[bytes]) -> Iterator[tuple[bytes, int, int]]:
    """Kind, first line and line behind the last one of each record."""
    at = next((k for k, line in enumerate(lines) if line.strip()), 0)
    last = len(lines) - 1
    starts = [k for k in range(at, last, 2) if lines[k].strip() == b"0"]
    for first, end in pairwise([*starts, at + (last + 1 - at) // 2 * 2]):
        yield lines[first + 1].strip(), first, end


def _without_handle(own: list[bytes]) -> list[bytes]:
    """A record without its handle, which another record of the first section may have."""
    at = next((k for k in range(0, len(own) - 1, 2) if own[k].strip() == b"5"), len(own))
    return own[:at] + own[at + 2 :]


def _behind(count: int, line: int) -> Finding:
    """That curves stand behind the end mark of a file, in which another drawing begins.

    Args:
        count: of curves.
        line: of the end mark, counted from 1.
    """
    return Finding(
        "file-repaired",
        variant="behind",
        severity=ERROR,
        measured=float(count),
        values={"count": count, "line": line},
    )
