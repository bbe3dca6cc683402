"""Are the values of an IGES file's entities what their types have there? Asked before the CAD kernel sees them.
And what some of them say: names of levels and colors.

The kernel takes counts and references at their word. One beyond what stands there, of another kind, or in a cycle
leads it into nothing, and it takes the process with it before it says that anything is wrong. The layouts are those of
IGES 5.3 (chapter 4), of the types that become shapes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import TypeAlias

#: Columns of data in a parameter record.
_COLUMNS = 64
_CURVES = frozenset((100, 102, 104, 106, 110, 112, 116, 126, 130, 132))
_SURFACES = frozenset((108, 114, 118, 120, 122, 128, 140, 143, 144, 190, 192, 194, 196, 198))
_ANY: frozenset[int] = frozenset()
#: Letter of a place -> types that a reference there may lead to; 'i' is a whole number, 'r' a number.
_TARGETS = {
    "p": _ANY, "c": _CURVES, "s": _SURFACES, "b": frozenset((142,)), "l": frozenset((508,)), "f": frozenset((510,)),
    "h": frozenset((514,)), "v": frozenset((502,)), "e": frozenset((502, 504)), "d": frozenset((308,)),
    "x": frozenset((141,)), "m": frozenset((124,)),
}  # fmt: skip
#: Characters of numbers; what they make up is left to the kernel.
_OF_NUMBERS = b"0123456789+-.EeDd, "
_MOST_DIGITS = 9
#: Places by their letters, as often as they follow one another.
_Repeated: TypeAlias = tuple[str, int]
_Rest: TypeAlias = Callable[[Sequence[int]], tuple[_Repeated, ...]]
_PROPERTY, _LEVEL_FUNCTION, _COLOR = 406, 3, 314
#: So many records are looked at for one name.
_RECORDS = 20


def _of_spline(n: Sequence[int]) -> tuple[_Repeated, ...]:
    return (("r", 5 * n[0] + n[1] + 6),)


def _of_patch(n: Sequence[int]) -> tuple[_Repeated, ...]:
    return (("r", n[0] + n[1] + n[2] + n[3] + 4 + 4 * (n[0] + 1) * (n[1] + 1)),)


def _of_points(n: Sequence[int]) -> tuple[_Repeated, ...]:
    return (("r", 1), ("rr", n[1])) if n[0] == 1 else (("rrr" if n[0] == 2 else "rrrrrr", n[1]),)


#: Type -> its first values, and what follows by the whole numbers among them.
_LAYOUTS: dict[int, tuple[str, _Rest | None]] = {
    100: ("rrrrrrr", None), 104: ("rrrrrrrrrrr", None), 108: ("rrrrc", None), 110: ("rrrrrr", None),
    116: ("rrr", None), 118: ("ccii", None), 120: ("ccrr", None), 122: ("crrr", None), 140: ("rrrrs", None),
    142: ("iscci", None), 408: ("drrrr", None), 124: ("rrrrrrrrrrrr", None),
    102: ("i", lambda n: (("c", n[0]),)),
    106: ("ii", _of_points),
    112: ("iiii", lambda n: (("r", 13 * n[3] + 13),)),
    114: ("iiii", lambda n: (("r", n[2] + n[3] + 2 + 48 * n[2] * n[3]),)),
    126: ("iiiiii", _of_spline),
    128: ("iiiiiiiii", _of_patch),
    141: ("iisi", None),
    143: ("isi", lambda n: (("x", n[1]),)),
    144: ("siib", lambda n: (("b", n[1]),)),
    186: ("hii", lambda n: (("hi", n[1]),)),
    402: ("i", lambda n: (("p", n[0]),)),
    502: ("i", lambda n: (("rrr", n[0]),)),
    504: ("i", lambda n: (("cvivi", n[0]),)),
    508: ("i", None),  # its edges: `_is_loop`
    510: ("sii", lambda n: (("l", n[0]),)),
    514: ("i", lambda n: (("fi", n[0]),)),
}  # fmt: skip
#: An association lists references in these forms only.
_GROUPS, _GROUP_FORMS = 402, (1, 7, 14, 15)
_LOOP = 508


def odd_values(entries: list[bytes], parameters: list[bytes], stops: tuple[bytes, bytes]) -> str:
    """The first entity whose values are not what its type has there, in a few words; '' where all are.

    Args:
        entries: records of the directory, two of an entity.
        parameters: records of the parameter section.
        stops: what ends a value, and an entity's values.
    """
    kinds = [_whole(entry[:8]) for entry in entries[::2]]
    owners: list[int] = []
    targets: list[int] = []
    for number, kind in enumerate(kinds):
        first, second = entries[2 * number : 2 * number + 2] if 2 * number + 1 < len(entries) else (b"", b"")
        matrix = _whole(first[48:56])
        found = [("m", matrix)] if matrix > 0 else []
        if kind in _LAYOUTS and (kind != _GROUPS or _whole(second[32:40]) in _GROUP_FORMS):
            own = _references(kind, _values(first, second, parameters, stops))
            if own is None:
                return f"the values of directory entry {2 * number + 1} are not those of its type {kind}"
            found += own
        for letter, pointer in found:
            place, odd = divmod(pointer, 2)
            allowed = _TARGETS[letter]
            if not odd or place >= len(kinds) or (allowed and kinds[place] not in allowed):
                return f"directory entry {2 * number + 1} refers to what its type {kind} does not have there"
            owners.append(number)
            targets.append(place)
    import numpy as np

    from converter.importers.reference_cycles import in_cycle

    place_on = in_cycle(np.array(owners, dtype=np.int64), np.array(targets, dtype=np.int64), len(kinds))
    return "" if place_on is None else f"directory entry {2 * place_on + 1} refers to itself, or to what refers to it"


def _values(first: bytes, second: bytes, parameters: list[bytes], stops: tuple[bytes, bytes]) -> list[bytes]:
    """An entity's values without its type."""
    at, count = _whole(first[8:16]), _whole(second[24:32])
    text = b"".join([row[:_COLUMNS] for row in parameters[max(0, at - 1) : max(0, at - 1 + count)]])
    if b"H" in text:
        return values_of(text, 0, stops)[1:]
    return text.partition(stops[1])[0].split(stops[0])[1:]


def _references(kind: int, values: list[bytes]) -> list[tuple[str, int]] | None:
    """The references among the values, each with the letter of its place; None where a value is none of its place."""
    head, rest = _LAYOUTS[kind]
    found: list[tuple[str, int]] = []
    wholes = _fitting(head, 1, values[: len(head)] + [b""] * (len(head) - len(values)), found)
    if wholes is None:
        return None
    at = len(head)
    for letters, times in () if rest is None else rest(wholes):
        size = len(letters) * times
        if size < 0 or at + size > len(values) or _fitting(letters, times, values[at : at + size], found) is None:
            return None
        at += size
    return found if kind != _LOOP or _is_loop(wholes[0], values[1:], found) else None


def _is_loop(edges: int, values: list[bytes], found: list[tuple[str, int]]) -> bool:
    """Whether so many edges follow, each with as many curves on the surface as it says."""
    at = 0
    for _ in range(edges):
        wholes = _fitting("ieiii", 1, values[at : at + 5], found) if at + 5 <= len(values) else None
        if wholes is None or at + 5 + 2 * wholes[-1] > len(values) or wholes[-1] < 0:
            return False
        at += 5
        if _fitting("ic", wholes[-1], values[at : at + 2 * wholes[-1]], found) is None:
            return False
        at += 2 * wholes[-1]
    return edges >= 0


def _fitting(letters: str, times: int, values: list[bytes], found: list[tuple[str, int]]) -> list[int] | None:
    """The whole numbers among values that are those of the letters, so many times; None where one is none.

    Args:
        found: references are added to it.
    """
    if letters.strip("r") == "":
        return None if b",".join(values).translate(None, _OF_NUMBERS) else []
    wholes: list[int] = []
    for k, letter in enumerate(letters * times):
        if letter == "r":
            if values[k].translate(None, _OF_NUMBERS):
                return None
            continue
        text = values[k].strip() or b"0"
        if not text.lstrip(b"+-").isdigit() or len(text) > _MOST_DIGITS or text[1:].lstrip(b"+-") != text[1:]:
            return None
        number = int(text)
        if letter == "i":
            wholes.append(number)
        elif number:
            found.append((letter, number))
    return wholes


def _whole(field: bytes) -> int:
    text = field.strip()
    return int(text) if text.isdigit() else 0


# --- names of levels and colors ---------------------------------------------------------------
# The level function property (type 406, form 3), whose text says what the level of its directory entry is for, and
# the color definition (type 314) of IGES 5.3.


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
            name = _text(_parameters(first, second, parameters, stops), 3)
            if name and _whole(first[32:40]) > 0:
                levels.setdefault(_whole(first[32:40]), name)
        elif kind == _COLOR:
            values = _parameters(first, second, parameters, stops)
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


def _parameters(first: bytes, second: bytes, parameters: list[bytes], stops: tuple[bytes, bytes]) -> list[bytes]:
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
