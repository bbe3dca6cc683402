"""Is it a whole STEP file? Cheap questions asked of its text before the CAD kernel sees it."""

from __future__ import annotations

import re

from converter.errors import ReadError

#: Blank space and comments may stand before the first word (ISO 10303-21, 5.6).
_START = re.compile(rb"(?:\xef\xbb\xbf)?(?:\s+|/\*.*?\*/)*ISO-10303-21\s*;", re.DOTALL)
_HEADER = re.compile(rb"\bHEADER\s*;")
_DATA = re.compile(rb"\bDATA\s*(?:\([^;]*\)\s*)?;")
_INSTANCE = re.compile(rb"#\s*\d+\s*=")
#: The closing word; blank space, comments, NUL padding or a signature may follow.
_END = b"END-ISO-10303-21"
_WIDE = (b"\xff\xfe", b"\xfe\xff")


def is_step(head: bytes) -> bool:
    """Whether a file's first bytes are those of a STEP file, after a byte-order mark, blanks and comments."""
    return _START.match(head) is not None


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
    start = _START.match(data)
    if start is None:
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
    data = data[data.rindex(b"ISO-10303-21", 0, start.end()) :]
    if data.rfind(_END) < 1:
        cut = "its header" if _DATA.search(data) is None else "the middle of its data"
        raise ReadError(
            f"{name} is cut short: it stops in {cut}, before END-ISO-10303-21; export or copy it again.",
            code="cut-short",
            file=name,
        )
    section = _DATA.search(data)
    if _HEADER.search(data) is None or section is None:
        raise ReadError(
            f"{name} is damaged: it has no {'DATA' if section is None else 'HEADER'} section; export it again.",
            code="damaged-file",
            file=name,
        )
    if _INSTANCE.search(data, section.end()) is None:
        raise ReadError(
            f"{name} holds no shape: its data section is empty; export the sketch or the solids.",
            code="no-geometry",
            file=name,
        )
    return data
