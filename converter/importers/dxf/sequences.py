"""Polylines and block references of a damaged ASCII DXF whose end mark (SEQEND) is missing.

The vertices of a POLYLINE, and the texts of an INSERT, are records that follow it, up to a SEQEND. Without that the DXF
library takes the next entity for one of them and gives up on the whole file. Where they end is certain all the same.
"""

from __future__ import annotations

import re

_LINE_END = re.compile(rb"\r\n|\r|\n")
_KIND, _FOLLOWED = b"0", b"66"  # group codes: the kind of a record, whether others belong to it
_END = b"SEQEND"


def with_sequences_closed(data: bytes) -> tuple[bytes, list[int]]:
    """The file with the end marks that are missing, and the lines of the records that they were missing behind.

    Args:
        data: an ASCII DXF.
    """
    lines = _LINE_END.split(data)
    at = next((k for k, line in enumerate(lines) if line.strip()), 0)
    out = lines[:at]
    missing: list[int] = []
    kind = part = b""  # of the record, and of those that follow the one in line ``start``
    start = 0
    for k in range(at, len(lines) - 1, 2):
        code, value = lines[k].strip(), lines[k + 1].strip()
        if code == _KIND:
            kind = value
            if part and kind not in (part, _END):
                out += (_KIND, _END)
                missing.append(start)
            if kind != part:
                start, part = k + 2, b"VERTEX" if kind == b"POLYLINE" else b""
        elif code == _FOLLOWED and value == b"1" and kind == b"INSERT":
            part = b"ATTRIB"
        out += lines[k : k + 2]
    if not missing:
        return data, missing
    return b"\n".join(out + lines[at + (len(lines) - at) // 2 * 2 :]), missing
