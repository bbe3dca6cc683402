"""Numbers of a damaged ASCII DXF, before the DXF library takes of each what it can.

Where a value is no number the library takes the digits up to what it does not know: of ``12,5``, as programs write that
follow the language of the computer, 12, and of ``6.0D+01``, as old Fortran wrote it, 6. Of a curve that is a tube of
another length or radius.
"""

from __future__ import annotations

import re

from converter.errors import ReadError
from converter.findings import Clause
from converter.importers.dxf.convert import CONVERTERS
from converter.quoting import quoted, shortened

_LINE_END = re.compile(rb"\r\n|\r|\n")
_WHOLE = re.compile(rb"[-+]?\d+")
_COMMA = re.compile(rb"[-+]?(?:\d+,\d*|,\d+)(?:[eE][-+]?\d+)?")
#: What a comma between thousands would look like, too.
_THOUSANDS = re.compile(rb"[-+]?[1-9]\d{0,2},\d{3}")
_EXPONENT = re.compile(rb"[-+]?(?:\d+(?:\.\d*)?|\.\d+)[dD][-+]?\d+")
#: Group codes whose values are lengths, angles and other numbers with a point, as the DXF reference lists them.
_POINTED = frozenset((*range(10, 60), *range(110, 150), *range(210, 240), *range(460, 470), *range(1010, 1060)))
_KIND, _HANDLE, _LAYER = 0, 5, 8
#: Records that make curves, or say where these are.
_DRAWN = frozenset((*CONVERTERS, "VERTEX", "INSERT"))


def with_numbers_mended(data: bytes, name: str) -> tuple[bytes, list[Clause]]:
    """The file, its numbers written as the DXF reference has them, and what was changed of which.

    Args:
        data: an ASCII DXF.
        name: of the file, for messages.

    Raises:
        ReadError: a number of a curve is none, or may have its comma between thousands.
    """
    lines = _LINE_END.split(data)
    at = next((k for k, line in enumerate(lines) if line.strip()), 0)
    commas = exponents = 0
    thousands = pointed = None
    decimal = False
    record = at
    for k in range(at, len(lines) - 1, 2):
        code = _code(lines[k])
        if code is None:  # the library refuses it
            break
        value = lines[k + 1].strip()
        if code == _KIND:
            record = k
            if value == b"EOF":
                break
        if code not in _POINTED:
            continue
        if _is_number(value):
            if pointed is None and b"." in value and _kind(lines, record) in _DRAWN:
                pointed = k + 2
        elif _COMMA.fullmatch(value):
            lines[k + 1] = value.replace(b",", b".")
            commas += 1
            if not _THOUSANDS.fullmatch(value):
                decimal = True
            elif thousands is None and _kind(lines, record) in _DRAWN:
                thousands = (k + 2, value, record)
        elif _EXPONENT.fullmatch(value):
            lines[k + 1] = re.sub(rb"[dD]", b"e", value)
            exponents += 1
        elif _kind(lines, record) in _DRAWN:
            raise _unreadable(
                name, lines, record, f"has {_text(value)} in line {k + 2} of the file, which is no number"
            )
    if thousands is not None and pointed is not None and not decimal:
        at, value, record = thousands
        what = f"has {_text(value)} in line {at} of the file, where the comma may be a decimal one or part thousands"
        raise _unreadable(name, lines, record, f"{what} (line {pointed} has a decimal point)")
    parts = [Clause.of("decimal-commas", count=commas)] if commas else []
    if exponents:
        parts.append(Clause.of("fortran-exponents", count=exponents))
    return b"\n".join(lines) if parts else data, parts


def _code(line: bytes) -> int | None:
    """A group code as the library takes it of a damaged file: the first whole number in the line."""
    found = _WHOLE.search(line)
    try:
        return None if found is None else int(found[0])
    except ValueError:  # thousands of digits
        return None


def _is_number(value: bytes) -> bool:
    try:
        float(value)
    except ValueError:
        return False
    return True


def _kind(lines: list[bytes], record: int) -> str:
    return lines[record + 1].strip().decode("ascii", "replace").upper()


def _text(value: bytes) -> str:
    return quoted(shortened(value.decode("utf-8", "replace")))


def _unreadable(name: str, lines: list[bytes], record: int, what: str) -> ReadError:
    """That a curve has a number that is none, with its kind, handle and layer."""
    facts: dict[int, str] = {}
    for k in range(record + 2, len(lines) - 1, 2):
        code = _code(lines[k])
        if code is None or code == _KIND:
            break
        facts.setdefault(code, lines[k + 1].strip().decode("utf-8", "replace"))
    place = f"{_kind(lines, record)} {facts.get(_HANDLE, 'without a handle')} on layer {quoted(facts.get(_LAYER, '0'))}"
    return ReadError(
        f"{name}: {place} {what}: delete or redraw it in the CAD package and export again.",
        code="not-a-number",
        file=name,
        where=place,
    )
