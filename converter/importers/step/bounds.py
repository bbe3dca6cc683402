"""Is it a whole STEP file? Cheap questions asked of its text before the CAD kernel sees it.

Whatever the text, each of them is answered in one pass over it.
"""

from __future__ import annotations

import codecs
import re
from typing import TYPE_CHECKING

from converter.disk.reading import HEAD
from converter.errors import ReadError

if TYPE_CHECKING:
    from converter.arrays import Ints

_BLANKS = re.compile(rb"\s*+")
_START = re.compile(rb"ISO-10303-21\s*+;")
_HEADER = re.compile(rb"\bHEADER\s*+;")
_DATA = re.compile(rb"\bDATA\s*+[(;]")
_INSTANCE = re.compile(rb"#\s*+\d++\s*+=")
#: A point of two coordinates: on a plane, or in the own coordinates of a surface that an edge lies on.
_FLAT_POINT = re.compile(rb"CARTESIAN_POINT\s*+\(\s*+'[^']*+'\s*+,\s*+\(\s*+([-+.0-9E]++)\s*+,\s*+([-+.0-9E]++)\s*+\)")
#: How far such a point may lie out. On a surface that closes, the kernel goes there turn by turn: 1e6 takes seconds.
_FARTHEST = 1e6
#: The closing word; blank space, comments, NUL padding or a signature may follow.
_END = b"END-ISO-10303-21"
_WIDE = (b"\xff\xfe", b"\xfe\xff")
#: Digits of an entity's number that are told apart, and blanks between it and the sign of equality.
_DIGITS, _MOST_BLANKS = 18, 64


def is_step(head: bytes) -> bool:
    """Whether a file's first bytes are those of a STEP file, after a byte-order mark, blanks and comments.

    Comments that fill all of `HEAD` are taken for those of a STEP file: no other format begins with such.
    """
    start = _start(head)
    return _START.match(head, start) is not None or (
        len(head) >= HEAD and head.find(b"/*", 0, start) >= 0 and (start == len(head) or head.startswith(b"/*", start))
    )


def _start(data: bytes) -> int:
    """Where the first word stands: blanks and comments may come before it (ISO 10303-21, 5.6)."""
    at = _blanks(data, 3 if data.startswith(b"\xef\xbb\xbf") else 0)
    while data.startswith(b"/*", at):
        end = data.find(b"*/", at + 2)
        if end < 0:
            break
        at = _blanks(data, end + 2)
    return at


def _blanks(data: bytes, at: int) -> int:
    """Where the blanks that begin at a place end."""
    match = _BLANKS.match(data, at)
    return at if match is None else match.end()


def _data_section(data: bytes) -> int | None:
    """Where the first data section's lines begin: behind ``DATA;`` or ``DATA('name',('schema'));``; None for none."""
    stop = -1  # of the statement looked at: each is looked through once
    for match in _DATA.finditer(data):
        if match[0].endswith(b";"):
            return match.end()
        if stop < match.end():
            stop = data.find(b";", match.end())
            if stop < 0:
                return None
            if data[match.end() : stop].rstrip().endswith(b")"):
                return stop + 1
    return None


def check_step(data: bytes, name: str) -> bytes:
    """The file's exchange structure, without what stands before it.

    Raises:
        ReadError: it is no STEP file, is cut short, or has no data.
    """
    if data.startswith(_WIDE):
        try:
            data = data.decode("utf-16").encode("utf-8")
        except UnicodeDecodeError as error:
            raise ReadError(
                f"{name} is damaged: it starts as UTF-16 text and does not go on so; export it again.",
                code="damaged-file",
                file=name,
            ) from error
    start = _start(data)
    if _START.match(data, start) is None:
        if data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith((b"<?xml", b"<")):
            raise ReadError(
                f"{name} is XML, not the text form of STEP: export it as .step (AP203, AP214 or AP242).",
                code="foreign-format",
                file=name,
            )
        raise ReadError(
            f"{name} is not a STEP file (it does not begin with ISO-10303-21): export STEP from the CAD package.",
            code="not-step",
            file=name,
        )
    data = data[start:]
    if data.rfind(_END) < 1:
        cut = "its header" if _data_section(data) is None else "the middle of its data"
        raise ReadError(
            f"{name} is cut short: it stops in {cut}, before END-ISO-10303-21; export or copy it again.",
            code="cut-short",
            file=name,
        )
    section = _data_section(data)
    if _HEADER.search(data) is None or section is None:
        raise ReadError(
            f"{name} is damaged: it has no {'DATA' if section is None else 'HEADER'} section; export it again.",
            code="damaged-file",
            file=name,
        )
    if _INSTANCE.search(data, section) is None:
        raise ReadError(
            f"{name} holds no shape: its data section is empty; export the sketch or the solids.",
            code="no-geometry",
            file=name,
        )
    data = as_utf8(_without_comments(data))
    check_bounds(data, name)
    return data


_OLD_BYTES = "step-old-bytes"


def _from_latin(error: UnicodeError) -> tuple[str, int]:
    """Bytes that are no UTF-8, as Windows and Latin-1 have them; control characters where neither names one."""
    if not isinstance(error, UnicodeDecodeError):
        raise error
    wrong = error.object[error.start : error.end]
    return "".join(bytes((b,)).decode("cp1252", "ignore") or chr(b) for b in wrong), error.end


codecs.register_error(_OLD_BYTES, _from_latin)


def as_utf8(data: bytes) -> bytes:
    """The text in UTF-8, bytes that are none taken for Latin-1.

    The standard allows neither (ISO 10303-21, 5.2), programs write both; the kernel reads Latin-1 letters together with
    what follows them as one strange character.
    """
    if data.isascii():
        return data
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("utf-8", _OLD_BYTES).encode("utf-8")
    return data


#: Bytes of one text, word or number. The kernel refuses a file with a longer one, without a word about it.
LONGEST_TOKEN = 16_000
#: Parentheses within parentheses. What CAD packages write has a handful; past some 50,000 the kernel's own stack ends.
DEEPEST = 100
#: Entities. The kernel takes half a gigabyte or more for each million.
MOST_ENTITIES = 10_000_000
#: Types that one entity has at once, which the kernel takes in a time that grows with the square of their number.
MOST_TYPES = 1_000

_ALL_BUT_NESTING = bytes(set(range(256)) - set(b"'();="))
_SIGN = re.compile(rb"[\s(),;=']")
_WORD = re.compile(rb"[^\s(),;=']++")
_SEVERAL_TYPES = re.compile(rb"=\s*+\(([^;]*+)")
_NEXT_TYPE = re.compile(rb"\)\s*+[A-Za-z!_]")
_TEXT = re.compile(rb"'[^']*+'")
_NUMBERED = re.compile(rb"\s*(#\d{1,18})\s*=")
#: Signs of nesting looked at in one go.
_STRETCH = 1 << 22


def _without_comments(data: bytes) -> bytes:
    """The same with a blank for every comment; the kernel refuses a file with a long one."""
    kept, at = [], 0
    while (start := data.find(b"/*", at)) >= 0:
        if data.count(b"'", at, start) % 2:  # within a text
            end = data.find(b"'", start) + 1 or len(data)
            kept.append(data[at:end])
        else:
            end = data.find(b"*/", start + 2) + 2
            end = end if end >= 2 else len(data)
            kept += (data[at:start], b" ")
        at = end
    return data if at == 0 else b"".join((*kept, data[at:]))


def check_bounds(data: bytes, name: str) -> None:
    """Refuse a structure that would crash the CAD kernel or keep it busy without end; one pass of linear time.

    Args:
        data: an exchange structure without comments.
        name: what messages call it.

    Raises:
        ReadError: a token is too long, parentheses stand too deep, or there are too many entities, or types of one.
    """
    place, length = _longest_text(data)
    if length > LONGEST_TOKEN:
        raise _beyond(name, f"a text of {length:,} bytes{_within(data, place)}", f"{LONGEST_TOKEN:,}")
    place, length = _longest_word(data)
    if length > LONGEST_TOKEN:
        raise _beyond(name, f"a word or number of {length:,} bytes{_within(data, place)}", f"{LONGEST_TOKEN:,}")
    nesting = data.translate(None, _ALL_BUT_NESTING)
    # quotes side by side open and close, or close and open, nothing: what is left are texts with such signs in them
    nesting = b"".join(nesting.replace(b"''", b"").split(b"'")[::2])
    depth = _depth(nesting)
    if depth > DEEPEST:
        raise _beyond(name, f"parentheses {depth:,} deep", f"{DEEPEST}")
    entities = nesting.count(b"=")
    if entities > MOST_ENTITIES:
        raise ReadError(
            f"{name} holds {entities:,} entities, and {MOST_ENTITIES:,} are the most that can be read: export the "
            "tubes by themselves.",
            code="too-large",
            file=name,
        )
    for several in _SEVERAL_TYPES.finditer(data):
        if len(several[1]) > MOST_TYPES:
            types = 1 + len(_NEXT_TYPE.findall(_TEXT.sub(b"", several[1])))
            if types > MOST_TYPES:
                where = _within(data, several.start(1))
                raise _beyond(name, f"an entity of {types:,} types at once{where}", f"{MOST_TYPES:,}")


def _beyond(name: str, what: str, limit: str) -> ReadError:
    return ReadError(
        f"{name} is damaged: it holds {what}, where {limit} are the most; export it again.",
        code="damaged-file",
        file=name,
    )


def _within(data: bytes, place: int) -> str:
    """Which entity stands at a place, as far as that can be seen: `` in #123``."""
    numbered = _NUMBERED.match(data, data.rfind(b";", 0, place) + 1)
    return "" if numbered is None else f" in {numbered[1].decode('ascii')}"


def _longest_text(data: bytes) -> tuple[int, int]:
    """Where the longest stretch between an opening and a closing quote begins, and its bytes."""
    import numpy as np

    quotes = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("'"))
    if len(quotes) % 2:
        quotes = np.append(quotes, len(data))
    if not len(quotes):
        return 0, 0
    lengths = quotes[1::2] - quotes[::2] - 1
    longest = int(lengths.argmax())
    return int(quotes[2 * longest]), int(lengths[longest])


def _longest_word(data: bytes) -> tuple[int, int]:
    """Where the longest word begins, and its bytes; words of up to `LONGEST_TOKEN` may be passed over.

    A longer one covers one of the places half as far apart, and reaches at least as far again beyond it.
    """
    half = LONGEST_TOKEN // 2
    place, longest, at = 0, 0, 0
    while at < len(data):
        word = _WORD.match(data, at)
        at += half
        if word is not None and word.end() >= at:
            before = _SIGN.split(data[max(0, word.start() - half) : word.start()])[-1]
            if len(before) + len(word[0]) > longest:
                place, longest = word.start() - len(before), len(before) + len(word[0])
            at = word.end() + 1
    return place, longest


def _depth(nesting: bytes) -> int:
    """How deep parentheses stand at most; a semicolon ends all."""
    import numpy as np

    everything = np.frombuffer(nesting, dtype=np.uint8)
    steps = np.zeros(256, dtype=np.int8)
    steps[ord("(")], steps[ord(")")] = 1, -1
    deepest, before = 0, 0
    for start in range(0, len(everything), _STRETCH):
        signs = everything[start : start + _STRETCH]
        heights = np.cumsum(steps[signs], dtype=np.int32) + before
        ends = np.flatnonzero(signs == ord(";"))
        tops = np.maximum.reduceat(heights, np.concatenate(([0], ends)))  # of statements, each with the sign before it
        grounds = np.concatenate(([0], heights[ends]))
        deepest = max(deepest, int((tops - grounds).max()))
        before = int(heights[-1] - grounds[-1])
    return deepest


def far_out_in(data: bytes) -> str:
    """A point on a surface, in that surface's own coordinates, so far out that the kernel may never come to it; or ''.

    Args:
        data: an exchange structure without comments.
    """
    for match in _FLAT_POINT.finditer(data):
        for text in match.groups():
            try:
                value = float(text)
            except ValueError:
                continue
            if not abs(value) <= _FARTHEST:
                return f"an edge lies at {value:.3g} in a surface's own coordinates"
    return ""


# --- entities that refer to themselves --------------------------------------------------------
# A sound exchange structure has no such cycle; the kernel follows one until its stack ends, and takes the process with
# it before it says that anything is wrong.


def cycle_in(data: bytes) -> str:
    """An entity that refers to itself, by way of others or not, in a few words; '' for none.

    Args:
        data: an exchange structure without comments.
    """
    from converter.importers.reference_cycles import in_cycle

    owners, targets, numbers = _references(b"".join(data.split(b"'")[::2]))
    place = in_cycle(owners, targets, len(numbers))
    return "" if place is None else f"#{numbers[place]} refers to itself, or to what refers to it"


def _references(text: bytes) -> tuple[Ints, Ints, Ints]:
    """Who refers to whom, as places among the entities in the order of the file; and the entities' numbers."""
    import numpy as np

    signs = np.frombuffer(text + b" " * (_DIGITS + _MOST_BLANKS + 2), dtype=np.uint8)
    marks = np.flatnonzero(signs[: len(text)] == ord("#"))
    at = marks + 1
    values = np.zeros(len(marks), dtype=np.int64)
    going = np.ones(len(marks), dtype=bool)
    for _ in range(_DIGITS):
        digits = signs[at]
        going &= (digits >= ord("0")) & (digits <= ord("9"))
        if not going.any():
            break
        values = np.where(going, values * 10 + digits - ord("0"), values)
        at = at + going
    for _ in range(_MOST_BLANKS):
        blank = (signs[at] <= ord(" ")) & (at < len(text))
        if not blank.any():
            break
        at = at + blank
    named = signs[at] == ord("=")
    owner_values = values[named]
    _, first = np.unique(owner_values, return_index=True)
    numbers = owner_values[np.sort(first)]  # an entity given twice is one
    order = np.argsort(numbers, kind="stable")
    owned = np.cumsum(named) - 1  # the entity that a reference stands in, -1 in the header
    refers = ~named & (owned >= 0)

    def place(of: Ints) -> Ints:
        found = np.searchsorted(numbers[order], of)
        found = np.minimum(found, len(numbers) - 1)
        return np.where(numbers[order][found] == of, order[found], -1)

    if not len(numbers) or not refers.any():
        empty = np.zeros(0, dtype=np.int64)
        return empty, empty, numbers
    owners, targets = place(owner_values[owned[refers]]), place(values[refers])
    known = targets >= 0
    return owners[known], targets[known], numbers
