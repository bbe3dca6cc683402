"""From bytes to the DXF library's document: strict first, then repaired, never silently short."""

from __future__ import annotations

import logging
import re
from dataclasses import dataclass, replace
from functools import cached_property
from io import BytesIO, TextIOWrapper
from typing import Any, BinaryIO

from ezdxf.filemanagement import dxf_stream_info, read

from converter.errors import ReadError, TooLargeError
from converter.findings import ERROR, Clause, Finding
from converter.importers.dxf.convert import CONVERTERS
from converter.importers.dxf.number_text import with_numbers_mended
from converter.importers.dxf.records import PlainRecord, read_records
from converter.importers.dxf.sections import Divided, damage, divided, is_well_divided, without_blank_lines
from converter.importers.dxf.sequences import with_sequences_closed
from converter.importers.source import Source, raise_own_mistake
from converter.limits import DXF_RECORDS, VERTICES

# the library logs what it mends; without a handler Python would write that to stderr
logging.getLogger("ezdxf").addHandler(logging.NullHandler())

_BINARY = b"AutoCAD Binary DXF\r\n\x1a\x00"
_BOM = b"\xef\xbb\xbf"
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")
_EOF_END = re.compile(rb"(?:\A|[\r\n])[ \t]*0+[ \t]*(?:\r\n|\r|\n)[ \t]*EOF[\s\x00\x1a]*\Z")
_EOF_LINE = re.compile(rb"[\r\n][ \t]*0+[ \t]*(?:\r\n|\r|\n)[ \t]*EOF[ \t]*[\r\n]")
_SECTION = re.compile(rb"(?:\A|[\r\n])[ \t]*0+[ \t]*(?:\r\n|\r|\n)[ \t]*(SECTION|ENDSEC)[ \t]*(?=[\r\n]|\Z)")
_ENTITIES_NAME = re.compile(rb"\A[\r\n]+[ \t]*2[ \t]*(?:\r\n|\r|\n)[ \t]*ENTITIES[ \t]*(?:[\r\n]|\Z)")
_CURVE = re.compile(
    rb"[\r\n][ \t]*0+[ \t]*(?:\r\n|\r|\n)[ \t]*(?:" + "|".join(CONVERTERS).encode() + rb")[ \t]*(?=[\r\n])"
)
#: A record: group code 0 and a name, where a value of 0 has a number behind it; and the fewest bytes of one.
_RECORD = re.compile(rb"[\r\n][ \t]*+0++[ \t]*+(?:\r\n|\r|\n)[ \t]*+[A-Z]")
_LEAST_RECORD = 7
#: A point: group code 10 and a number; and the fewest bytes of one with two coordinates.
_POINT = re.compile(rb"[\r\n][ \t]*+10[ \t]*+(?:\r\n|\r|\n)[ \t]*+[-+.\d]")
_LEAST_VERTEX = 10
_ALONE = "export the tubes alone, or split the drawing"
_HEADER = re.compile(rb"(?:\A|[\r\n])[ \t]*2[ \t]*(?:\r\n|\r|\n)[ \t]*HEADER[ \t]*[\r\n]")


@dataclass(frozen=True)
class LoadedDrawing:
    """A loaded drawing.

    Attributes:
        doc: the DXF library's document; plain records of model space are not in it.
        model: everything drawn in model space, in the order of the file: entities of the library and `PlainRecord`.
        findings: what must be said about how it was read.
        header: whether the file has a header of its own; where it has none, the library makes one up,
            a unit included.
    """

    doc: Any
    model: list[Any]
    findings: list[Finding]
    header: bool

    @cached_property
    def _kinds(self) -> dict[str, str]:
        return {one.dxf.__dict__["handle"]: one.DXFTYPE for one in self.model if isinstance(one, PlainRecord)}

    def kind_of(self, handle: str | None) -> str | None:
        """The kind of the entity with this handle; None where there is none."""
        if handle is None:
            return None
        entity = self.doc.entitydb.get(handle)
        return self._kinds.get(handle) if entity is None else str(entity.dxftype())


def load(source: Source) -> LoadedDrawing:
    """The drawing in a DXF file.

    Raises:
        ReadError: it is no DXF drawing, it is cut short, or it is beyond repair.
    """
    _check_records(source)
    head, tail = source.ends()
    if head.startswith(_BINARY[:18]):
        return _load_binary(source)
    file, head = _looked_over(source, head, tail)
    found = list(file.findings)
    reason = file.reason
    if not reason:
        try:
            doc, model = _strict(source, head)
            return LoadedDrawing(doc, model, found, bool(_HEADER.search(head)))
        except (MemoryError, ReadError):
            raise
        except Exception as error:  # whatever the library meets in a damaged file: repair is tried, and said
            raise_own_mistake(error)
            reason = damage(error)
    doc, finding = _repair(replace(file, data=file.data or source.read_bytes(), reason=reason), source.name)
    return LoadedDrawing(doc, list(doc.modelspace()), [finding, *found], bool(_HEADER.search(head)))


def _looked_over(source: Source, head: bytes, tail: bytes) -> tuple[Divided, bytes]:
    """The file, with what is wrong with its lines and sections mended, and its first bytes; no data of a sound one.

    Raises:
        ReadError: it is no DXF, or its entities are cut short.
    """
    whole = source.read_bytes()
    data = without_blank_lines(whole)
    is_spaced = len(data) < len(whole)
    if is_spaced:
        head = tail = data
    reason = "every other line of it is blank" if is_spaced else ""
    if not _EOF_END.search(tail):
        reason = _what_is_missing(data, source.name) or reason
    if not is_well_divided(data):
        file = divided(data, source.name)
        return replace(file, reason=reason or file.reason), head
    return Divided(data if reason else b"", reason), head


def _check_records(source: Source) -> None:
    """Refuse a drawing of more records than fit into memory, before the library makes an object of each.

    Raises:
        TooLargeError: it has.
    """
    if source.size < _LEAST_RECORD * DXF_RECORDS:
        return
    data = source.read_bytes()
    if data.startswith(_BINARY[:18]):
        count = sum(data.count(kind.encode() + b"\x00") for kind in (*CONVERTERS, "VERTEX", "INSERT"))
    else:
        count = sum(1 for _ in _RECORD.finditer(data))
        if source.size > _LEAST_VERTEX * VERTICES and (points := sum(1 for _ in _POINT.finditer(data))) > VERTICES:
            raise TooLargeError.of(source.name, f"{points:,} points", f"{VERTICES:,}", _ALONE)
    if count > DXF_RECORDS:
        raise TooLargeError.of(source.name, f"{count:,} entities", f"{DXF_RECORDS:,}", _ALONE)


def _strict(source: Source, head: bytes) -> tuple[Any, list[Any]]:
    """The document, and what is drawn in model space; the library alone reads whatever is unusual or damaged."""

    def opened() -> BinaryIO:
        stream = source.open()
        if head.startswith(_BOM):
            stream.seek(len(_BOM))
        return stream

    with TextIOWrapper(opened(), encoding="utf-8", errors="ignore") as text:
        encoding = dxf_stream_info(text).encoding
    try:
        with TextIOWrapper(opened(), encoding=encoding, errors="surrogateescape") as text:
            return read_records(text)
    except MemoryError:
        raise
    except Exception as error:
        raise_own_mistake(error)
    with TextIOWrapper(opened(), encoding=encoding, errors="surrogateescape") as text:
        doc = read(text)
    return doc, list(doc.modelspace())


def _load_binary(source: Source) -> LoadedDrawing:
    from ezdxf.document import Drawing
    from ezdxf.lldxf.tagger import binary_tags_loader

    data = source.read_bytes()
    if not data.rstrip(b"\x00").endswith(b"\x00EOF"):
        raise _cut_short(source.name, "its end mark is missing")
    try:
        doc = Drawing.load(binary_tags_loader(data))
        return LoadedDrawing(doc, list(doc.modelspace()), [], b"HEADER\x00" in data[:200])
    except MemoryError:
        raise
    except Exception as error:  # a damaged binary file cannot be re-aligned, so there is no repair
        raise_own_mistake(error)
        raise ReadError(
            f"{source.name} is a damaged binary DXF ({damage(error)}): export it again, best as ASCII DXF.",
            code="damaged",
            file=source.name,
        ) from error


def _what_is_missing(data: bytes, name: str) -> str:
    """Why a file without its end mark in the last bytes is damaged; '' when the mark only stands earlier.

    Raises:
        ReadError: it is no DXF, or its entities are cut short.
    """
    marks = list(_SECTION.finditer(data))
    if not marks:
        if data.startswith(_UTF_16):
            text = f"{name} is text in UTF-16, as DXF never is: save it as UTF-8, or export it again."
            raise ReadError(text, code="not-dxf", file=name)
        kind = "holds binary data" if b"\x00" in data[:65536] else "holds other text"
        raise ReadError(
            f"{name} is not a DXF drawing, it {kind}: export DXF from the CAD package.", code="not-dxf", file=name
        )
    if _EOF_LINE.search(data):
        return ""
    entities = False
    for mark in marks:
        if mark[1] == b"SECTION":
            entities = bool(_ENTITIES_NAME.match(data[mark.end(1) : mark.end(1) + 80]))
        elif entities:
            return "the end of the file is missing, after the drawn entities"
    raise _cut_short(name, "it stops before the drawn entities are complete")


def _cut_short(name: str, how: str) -> ReadError:
    return ReadError(f"{name} is cut short, {how}: copy or export it again.", code="truncated", file=name)


def _repair(file: Divided, name: str) -> tuple[Any, Finding]:
    from ezdxf import recover

    reason = file.reason
    drawn = len(_CURVE.findall(file.data))
    data, mended = with_numbers_mended(file.data.removeprefix(_BOM), name)
    parts = [*file.parts, *mended]
    data, open_ones = with_sequences_closed(data)
    if open_ones:
        reason = f"the polyline or block reference in line {open_ones[0]} has no SEQEND, its end mark"
        parts.append(Clause.of("sequences-closed", count=len(open_ones)))
    try:
        doc, auditor = recover.read(BytesIO(data))
    except MemoryError:
        raise
    except Exception as error:  # one sentence instead of the library's traceback
        raise_own_mistake(error)
        raise ReadError(
            f"{name} is damaged beyond repair ({damage(error)}): export it again.", code="damaged", file=name
        ) from error
    kept = sum(1 for e in doc.entitydb.values() if e.is_alive and e.DXFTYPE in CONVERTERS)
    if drawn and not kept:
        raise ReadError(
            f"{name} is damaged beyond repair: none of its {drawn} curves could be read ({reason}).",
            code="damaged",
            file=name,
        )
    lost = max(0, drawn - kept)
    if auditor.fixes:
        parts.append(Clause.of("flaws-repaired", count=len(auditor.fixes)))
    if auditor.errors:
        parts.append(Clause.of("flaws-left", count=len(auditor.errors)))
    parts.append(Clause.of("curves-lost", lost=lost, drawn=drawn) if lost else Clause.of("curves-kept", count=drawn))
    finding = Finding(
        "file-repaired",
        variant="damaged",
        severity=ERROR if lost else "",
        measured=float(lost) if lost else None,
        values={"reason": reason, "parts": parts},
    )
    return doc, finding
