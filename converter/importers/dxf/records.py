"""The fast lane for drawings of many lines and arcs: plain records are taken from the text, the library reads the rest.

A LINE, ARC or CIRCLE of model space that holds nothing but its place and its look is most of what a drawing of tubes
is made of, and an object of the DXF library for each is most of what reading takes. Records of one kind in one file
have the same group codes in the same order nearly always, so what is where is worked out once for each such pattern
(`_Layout`). All else goes to the library as it stands in the file: header, tables, blocks, other kinds, records with
anything more (other layouts, application data, extended data), records that could belong to the one before.

Whatever is unusual (a handle twice or none, a value that is no number) raises `UnusualError`: the library then reads
all of it, and says what is wrong in its own words. A test holds the two ways to each other.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from functools import partial
from itertools import pairwise
from typing import Any, TextIO

from ezdxf.filemanagement import read
from ezdxf.lldxf.types import TYPE_TABLE
from ezdxf.math import Vec3

#: Characters that are worked on at a time.
_BLOCK = 1 << 18
#: Group code 0 as programs write it; spelt otherwise, a pattern of it is no plain one.
_ZERO = frozenset(("0\n", " 0\n", "  0\n", "   0\n"))
_LINE_POINTS = {10: "start", 11: "end"}
_ROUND_POINTS = {10: "center"}
_ARC_NUMBERS = {40: "radius", 50: "start_angle", 51: "end_angle"}
#: Kind -> what its points and numbers are called in the library's attributes.
_KINDS: dict[str, tuple[dict[int, str], dict[int, str]]] = {
    "LINE": (_LINE_POINTS, {}),
    "ARC": (_ROUND_POINTS, _ARC_NUMBERS),
    "CIRCLE": (_ROUND_POINTS, {40: "radius"}),
}
_TEXTS = {8: "layer", 6: "linetype"}
_LOOKS = {62: "color", 60: "invisible", 420: "true_color"}
#: Of no account to us, but a number: lineweight, scale of the linetype, thickness, transparency.
_NUMBERS = frozenset((370, 48, 39, 440))
_HANDLE, _OWNER, _SUBCLASS, _EXTRUSION = 5, 330, 100, 210
#: Kinds after which the library expects records that belong to them, and kinds that belong to others.
_LEADING = frozenset(("INSERT", "POLYLINE", "VERTEX", "ATTRIB"))
_BELONGING = frozenset(("VERTEX", "ATTRIB", "SEQEND"))
#: Where in a file: before the section of entities, inside, behind it.
_BEFORE, _INSIDE, _BEHIND = "before", "inside", "behind"


class UnusualError(Exception):
    """A drawing that the library has to read alone."""


class PlainRecord:
    """A LINE, ARC or CIRCLE with the attributes that the library would give it.

    Attributes:
        DXFTYPE: its kind.
        dxf: an object whose ``__dict__`` holds its attributes, as of an entity of the library.
        is_alive: as of an entity of the library that was not destroyed.
    """

    __slots__ = ("DXFTYPE", "dxf")
    is_alive = True

    def __init__(self, kind: str, attributes: dict[str, Any]) -> None:
        self.DXFTYPE = kind
        self.dxf = _Attributes(attributes)

    def dxftype(self) -> str:
        """Its kind."""
        return self.DXFTYPE

    def as_entity(self) -> Any:
        """An entity of the library with the same attributes, in no drawing."""
        from ezdxf.entities.factory import new

        entity = new(self.DXFTYPE)
        entity.dxf.__dict__.update(self.dxf.__dict__)
        return entity


class _Attributes:
    def __init__(self, attributes: dict[str, Any]) -> None:
        self.__dict__ = attributes


def read_records(text: TextIO) -> tuple[Any, list[Any]]:
    """The library's document of an ASCII DXF without its plain records, and all that is drawn in model space, in order.

    Args:
        text: the file, decoded.

    Raises:
        UnusualError: the library has to read it alone.
        Exception: whatever the library raises on a damaged file.
    """
    parting = _Parting(text)
    doc = read(_Lines(parting.rest()))  # type: ignore[arg-type]  # all it asks for is readline()
    return doc, parting.merged(doc)


class _Lines:
    """Lines as the library reads them from a stream."""

    def __init__(self, lines: Iterator[str]) -> None:
        self.readline = partial(next, lines, "")


class _Parting:
    """Parts the plain records of a file from the rest."""

    def __init__(self, text: TextIO) -> None:
        self._text = text
        self._layouts: dict[tuple[str, ...], _Layout | None] = {}
        self._same: dict[str, str] = {}
        self._placed: list[tuple[int, PlainRecord]] = []  # with their places among all records
        self._places: dict[str, int] = {}  # of the other records, by handle
        self._unnamed = False
        self._owners: set[str] = set()
        self._count = 0
        self._kind = ""  # of the record before

    def rest(self) -> Iterator[str]:
        """The lines of everything but the plain records.

        Raises:
            UnusualError: no pattern tells where records begin, or there is a second section of entities.
        """
        lines: list[str] = []
        size, place = _BLOCK, _BEFORE
        while block := self._text.readlines(size):
            lines += block
            done = len(lines) // 2 * 2
            if place is _BEFORE and (start := _entities_start(lines)) is not None:
                yield from lines[:start]
                del lines[:start]
                place, done = _INSIDE, 0
            if place is _INSIDE:
                done, place = yield from self._records(lines)
                # a record longer than a block is not looked at again and again
                size = _BLOCK if done else 2 * size
            else:
                if place is _BEHIND and _entities_start(lines) is not None:
                    raise UnusualError
                done = max(0, done - 4)  # the last pairs may be the start of what is looked for
                yield from lines[:done]
            del lines[:done]
        if place is _BEHIND and _entities_start(lines) is not None:
            raise UnusualError
        yield from lines

    def _records(self, lines: list[str]) -> Generator[str, None, tuple[int, str]]:
        """The lines of complete records that are not plain; returns how many lines were looked at, and what follows."""
        codes, values = lines[0::2], lines[1::2]
        if any(code not in _ZERO and code.strip(" \n0") == "" for code in set(codes)):
            raise UnusualError
        starts = [place for place, code in enumerate(codes) if code in _ZERO]
        if not starts:
            return 0, _INSIDE
        yield from lines[: 2 * starts[0]]
        patterns, plain = self._layouts, self._placed
        # the last record may go on in the next block
        for first, end in pairwise(starts):
            head = values[first]
            key = (head, *codes[first + 1 : end])
            try:
                pattern = patterns[key]
            except KeyError:
                pattern = patterns[key] = _layout(head.strip(), codes[first:end])
            if pattern is not None and self._kind not in _LEADING:
                self._kind = pattern.kind
                attributes = pattern.attributes(values[first:end], self._same)
                self._owners.add(attributes.pop("owner", ""))
                plain.append((self._count, PlainRecord(pattern.kind, attributes)))
                self._count += 1
                continue
            self._kind = head.strip()
            if self._kind in ("ENDSEC", "EOF", "SECTION"):
                return 2 * first, _BEHIND
            self._note(codes[first:end], values[first:end])
            yield from lines[2 * first : 2 * end]
        return 2 * starts[-1], _INSIDE

    def _note(self, codes: Sequence[str], values: Sequence[str]) -> None:
        """Note the place of a record that the library reads."""
        if self._kind not in _BELONGING:
            handle = next((value for code, value in zip(codes, values, strict=False) if code.strip() == "5"), None)
            if handle is None:
                self._unnamed = True
            else:
                self._places[handle.rstrip("\n")] = self._count
        self._count += 1

    def merged(self, doc: Any) -> list[Any]:
        """Model space in the order of the file.

        Raises:
            UnusualError: it cannot be told where a record stands, or to which layout it belongs.
        """
        others = list(doc.modelspace())
        if not self._placed:
            return others
        handles = {record.dxf.__dict__["handle"] for _, record in self._placed}
        paper = doc.block_records.get("*Paper_Space")
        if (
            len(handles) < len(self._placed)
            or self._unnamed
            or any(handle in doc.entitydb for handle in handles)
            or (paper is not None and paper.dxf.handle in self._owners)
        ):
            raise UnusualError
        if not others:
            return [record for _, record in self._placed]
        try:
            places = [(self._places[entity.dxf.handle], entity) for entity in others]
        except KeyError:
            raise UnusualError from None
        merged = sorted((*self._placed, *places), key=lambda one: one[0])
        return [one for _, one in merged]


def _entities_start(lines: list[str]) -> int | None:
    """How many lines there are up to the first record of a section of entities; None without one."""
    at = -1
    while True:
        try:
            at = lines.index("ENTITIES\n", at + 1)
        except ValueError:
            return None
        if at % 2 and at >= 3 and lines[at - 1].strip() == "2" and lines[at - 2].strip() == "SECTION":
            return at + 1


class _Layout:
    """What stands where in records of one kind with the same group codes.

    Args:
        kind: of the records.
        texts, points, numbers: name of an attribute, place of its (first) value, and for numbers what reads it.
        checked: places of further values that have to be numbers, and what reads them.
    """

    __slots__ = ("_checked", "_numbers", "_points", "_texts", "kind")

    def __init__(
        self,
        kind: str,
        texts: Sequence[tuple[str, int]],
        points: Sequence[tuple[str, int]],
        numbers: Sequence[tuple[str, int, Callable[[str], float]]],
        checked: Sequence[tuple[int, Callable[[str], float]]],
    ) -> None:
        self.kind = kind
        self._texts = texts
        self._points = points
        self._numbers = numbers
        self._checked = checked

    def attributes(self, values: Sequence[str], same: dict[str, str]) -> dict[str, Any]:
        """The attributes of a record.

        Args:
            values: of all its group codes, in order.
            same: texts met before, so that equal ones are kept once.

        Raises:
            UnusualError: a number is none, or the handle is no handle.
        """
        found: dict[str, Any] = {}
        try:
            for name, at in self._points:
                found[name] = Vec3(float(values[at]), float(values[at + 1]), float(values[at + 2]))
            for name, at, number in self._numbers:
                found[name] = number(values[at])
            for at, number in self._checked:
                number(values[at])
            for name, at in self._texts:
                text = values[at].rstrip("\n")
                found[name] = text if name == "handle" else same.setdefault(text, text)
            if int(found["handle"], 16) == 0:
                raise UnusualError
        except ValueError:
            raise UnusualError from None
        return found


def _whole(text: str) -> int:
    """A whole number, which some programs write with a decimal point."""
    try:
        return int(text)
    except ValueError:
        return int(float(text))


def _layout(kind: str, raw: Sequence[str]) -> _Layout | None:
    """The pattern of a record's group codes; None where the library has to read it."""
    if kind not in _KINDS:
        return None
    try:
        codes = [int(text) for text in raw]
    except ValueError:
        return None
    point_names, number_names = _KINDS[kind]
    point_names = {**point_names, _EXTRUSION: "extrusion"}
    number_names = {**number_names, **_LOOKS}
    texts: dict[str, int] = {}
    points: dict[str, int] = {}
    numbers: dict[str, tuple[int, Callable[[str], float]]] = {}
    checked: list[tuple[int, Callable[[str], float]]] = []
    subclass = len(codes)
    at = 1
    while at < len(codes):
        code = codes[at]
        reader: Callable[[str], float] = _whole if TYPE_TABLE.get(code) is int else float
        if code in point_names:
            if codes[at : at + 3] != [code, code + 10, code + 20]:
                return None
            points[point_names[code]] = at
            at += 2
        elif code in number_names:
            numbers[number_names[code]] = (at, reader)
            checked.append((at, reader))
        elif code in _NUMBERS:
            checked.append((at, reader))
        elif code in _TEXTS:
            texts[_TEXTS[code]] = at
        elif code in (_HANDLE, _OWNER):
            name = "handle" if code == _HANDLE else "owner"
            if name in texts or at > subclass:
                return None
            texts[name] = at
        elif code == _SUBCLASS:
            subclass = min(subclass, at)
        else:
            return None
        at += 1
    if "handle" not in texts:
        return None
    last = {place for place, _ in numbers.values()}
    return _Layout(
        kind,
        tuple(texts.items()),
        tuple(points.items()),
        tuple((name, place, reader) for name, (place, reader) in numbers.items()),
        tuple(one for one in checked if one[0] not in last),
    )
