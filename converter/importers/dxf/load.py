"""From bytes to the DXF library's document: strict first, then repaired, never silently short."""

from __future__ import annotations

import logging
import re
from dataclasses import dataclass
from io import BytesIO, TextIOWrapper
from typing import Any

from ezdxf.filemanagement import dxf_stream_info, read, readfile

from converter.errors import ReadError
from converter.findings import ERROR, Finding
from converter.importers.dxf.convert import CONVERTERS
from converter.importers.source import Source

# the library logs what it mends; without a handler Python would write that to stderr
logging.getLogger("ezdxf").addHandler(logging.NullHandler())

_BINARY = b"AutoCAD Binary DXF\r\n\x1a\x00"
_BOM = b"\xef\xbb\xbf"
_EOF_END = re.compile(rb"(?:\A|[\r\n])[ \t]*0+[ \t]*(?:\r\n|\r|\n)[ \t]*EOF[\s\x00\x1a]*\Z")
_EOF_LINE = re.compile(rb"[\r\n][ \t]*0+[ \t]*(?:\r\n|\r|\n)[ \t]*EOF[ \t]*[\r\n]")
_SECTION = re.compile(rb"(?:\A|[\r\n])[ \t]*0+[ \t]*(?:\r\n|\r|\n)[ \t]*(SECTION|ENDSEC)[ \t]*(?=[\r\n]|\Z)")
_ENTITIES_NAME = re.compile(rb"\A[\r\n]+[ \t]*2[ \t]*(?:\r\n|\r|\n)[ \t]*ENTITIES[ \t]*(?:[\r\n]|\Z)")
_CURVE = re.compile(
    rb"[\r\n][ \t]*0+[ \t]*(?:\r\n|\r|\n)[ \t]*(?:" + "|".join(CONVERTERS).encode() + rb")[ \t]*(?=[\r\n])"
)


_HEADER = re.compile(rb"(?:\A|[\r\n])[ \t]*2[ \t]*(?:\r\n|\r|\n)[ \t]*HEADER[ \t]*[\r\n]")


@dataclass(frozen=True, slots=True)
class Loaded:
    """A loaded drawing.

    Attributes:
        doc: the DXF library's document.
        findings: what must be said about how it was read.
        header: whether the file has a header of its own; where it has none, the library makes one up,
            a unit included.
    """

    doc: Any
    findings: list[Finding]
    header: bool


def load(source: Source) -> Loaded:
    """The drawing in a DXF file.

    Raises:
        ReadError: it is no DXF drawing, it is cut short, or it is beyond repair.
    """
    head, tail = source.ends()
    if head.startswith(_BINARY[:18]):
        return _load_binary(source)
    reason = ""
    data: bytes | None = source.data
    if not _EOF_END.search(tail):
        data = source.read_bytes()
        reason = _what_is_missing(data, source.name)
    if not reason:
        try:
            return Loaded(_strict(source, head), [], bool(_HEADER.search(head)))
        except (MemoryError, ReadError):
            raise
        except Exception as error:  # whatever the library meets in a damaged file: repair is tried, and said
            reason = _short(error)
    doc, finding = _repair(source.read_bytes() if data is None else data, source.name, reason)
    return Loaded(doc, [finding], bool(_HEADER.search(head)))


def _strict(source: Source, head: bytes) -> Any:
    if source.path is not None and not head.startswith(_BOM):
        return readfile(source.path)
    data = source.read_bytes().removeprefix(_BOM)
    info = dxf_stream_info(TextIOWrapper(BytesIO(data), encoding="utf-8", errors="ignore"))
    return read(TextIOWrapper(BytesIO(data), encoding=info.encoding, errors="surrogateescape"))


def _load_binary(source: Source) -> Loaded:
    from ezdxf.document import Drawing
    from ezdxf.lldxf.tagger import binary_tags_loader

    data = source.read_bytes()
    if not data.rstrip(b"\x00").endswith(b"\x00EOF"):
        raise _cut_short(source.name, "its end mark is missing")
    try:
        return Loaded(Drawing.load(binary_tags_loader(data)), [], b"HEADER\x00" in data[:200])
    except MemoryError:
        raise
    except Exception as error:  # a damaged binary file cannot be re-aligned, so there is no repair
        raise ReadError(
            f"{source.name} is a damaged binary DXF ({_short(error)}): export it again, best as ASCII DXF.",
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


def _repair(data: bytes, name: str, reason: str) -> tuple[Any, Finding]:
    from ezdxf import recover

    drawn = len(_CURVE.findall(data))
    try:
        doc, auditor = recover.read(BytesIO(data.removeprefix(_BOM)))
    except MemoryError:
        raise
    except Exception as error:  # one sentence instead of the library's traceback
        raise ReadError(
            f"{name} is damaged beyond repair ({_short(error)}): export it again.", code="damaged", file=name
        ) from error
    kept = sum(1 for e in doc.entitydb.values() if e.is_alive and e.DXFTYPE in CONVERTERS)
    if drawn and not kept:
        raise ReadError(
            f"{name} is damaged beyond repair: none of its {drawn} curves could be read ({reason}).",
            code="damaged",
            file=name,
        )
    lost = max(0, drawn - kept)
    parts = [f"{len(auditor.fixes)} flaws were repaired"] if auditor.fixes else []
    if auditor.errors:
        parts.append(f"{len(auditor.errors)} could not be repaired")
    parts.append(f"{lost} of {drawn} curves were lost" if lost else f"all {drawn} curves were kept")
    finding = Finding(
        "file-repaired",
        f"The file is damaged ({reason}) and was read in recovery mode: {', '.join(parts)}.",
        severity=ERROR if lost else "",
        measured=float(lost) if lost else None,
        cure="Export the drawing again, or compare every run with it.",
    )
    return doc, finding


def _short(error: BaseException) -> str:
    """The library's own words, on one line."""
    text = " ".join(str(error).split()) or type(error).__name__
    return text[:160].rstrip(".")
