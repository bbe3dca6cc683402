"""A DXF read with the fast lane of plain records, and by the DXF library alone: what each of them gives, to compare.

What is expected is the library's (ezdxf), which reads the whole file where the fast lane is closed.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from typing import Any
from unittest.mock import patch

import numpy as np

import converter.importers.dxf.load as loading
from converter.errors import ElbowroomError
from converter.importers.dxf.read import read_dxf
from converter.importers.dxf.records import PlainRecord, UnusualError
from converter.importers.registry import ReadOptions
from converter.importers.source import Source

#: Attributes of a LINE, ARC or CIRCLE that the reader asks for.
_ASKED = (
    "handle", "layer", "linetype", "color", "true_color", "invisible", "extrusion", "start", "end", "center", "radius",
    "start_angle", "end_angle",
)  # fmt: skip


def plain(value: Any) -> Any:
    """A value that compares by every digit."""
    if is_dataclass(value) and not isinstance(value, type):
        return type(value).__name__, [(f.name, plain(getattr(value, f.name))) for f in fields(value)]
    if isinstance(value, np.ndarray):
        return value.tobytes()
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    return repr(value) if isinstance(value, (float, str, int, type(None))) else repr(sorted(vars(value)))


def drawing_of(data: bytes, options: ReadOptions) -> Any:
    """The drawing that is read, or how it is refused."""
    try:
        return plain(read_dxf(Source("x.dxf", None, data), options))
    except ElbowroomError as error:
        return type(error).__name__, error.message


def entities_of(data: bytes) -> tuple[Any, int]:
    """Kind and attributes of every entity of model space in order, or how the file is refused; how many are plain."""
    try:
        loaded = loading.load(Source("x.dxf", None, data))
    except ElbowroomError as error:
        return (type(error).__name__, error.message), 0
    found = []
    for entity in loaded.model:
        held = entity.dxf.__dict__
        asked = [(name, repr(held[name])) for name in _ASKED if name in held]
        found.append((entity.DXFTYPE, asked if entity.DXFTYPE in ("LINE", "ARC", "CIRCLE") else held.get("handle")))
    said = [(finding.code, plain(finding)) for finding in loaded.findings]
    return (found, said), sum(isinstance(entity, PlainRecord) for entity in loaded.model)


@contextmanager
def fast_lane_closed() -> Iterator[None]:
    """The DXF library reads all of it."""

    def closed(text: object) -> None:
        raise UnusualError

    with patch.object(loading, "read_records", closed):
        yield


def both(data: bytes, options: ReadOptions) -> tuple[Any, Any]:
    """The drawing with the fast lane and without."""
    quick = drawing_of(data, options)
    with fast_lane_closed():
        return quick, drawing_of(data, options)
