"""IGES files written by the standard (IGES 5.3), for what CAD programs are not made to write."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple


class Entity(NamedTuple):
    """An entity: type, parameters, level, whether it is hidden, name, form, color (below 0: an entry's number)."""

    kind: int
    values: str
    level: int = 0
    hidden: bool = False
    name: str = ""
    form: int = 0
    color: int = 0


def line(a: Sequence[float], b: Sequence[float], level: int = 0, hidden: bool = False, name: str = "") -> Entity:
    """A straight (type 110) from a to b."""
    return Entity(110, ",".join(repr(float(v)) for v in (*a, *b)), level, hidden, name)


def arc(center: Sequence[float], start: Sequence[float], end: Sequence[float], level: int = 0) -> Entity:
    """A circular arc (type 100) in a plane z, counter-clockwise: center (x, y, z), start and end (x, y)."""
    x, y, z = center
    return Entity(100, ",".join(repr(float(v)) for v in (z, x, y, *start, *end)), level)


def kernel_iges(shape: Any, path: Path, solids: bool = False) -> Path:
    """A file that the CAD kernel writes of its shape: surfaces side by side, or solids."""
    from OCP.IGESControl import IGESControl_Controller, IGESControl_Writer

    IGESControl_Controller.Init_s()
    writer = IGESControl_Writer("MM", 1 if solids else 0)
    writer.AddShape(shape)
    writer.ComputeModel()
    assert writer.Write(str(path))
    return path


def build(entities: Sequence[tuple[object, ...]], unit: str = "2,2HMM", scale: str = "1.") -> str:
    """The file."""
    header = (
        f"1H,,1H;,4Hpart,4Hfile,4Hours,4Hours,32,38,6,308,15,4Hpart,{scale},{unit},1,0.01,13H260101.000000,1E-6,1E4,"
    )
    header += "2Hwe,2Hus,11,0,13H260101.000000;"
    rows = [_record("drawn for a test", "S", 1)]
    heads = [header[i : i + 72] for i in range(0, len(header), 72)]
    rows += [_record(text, "G", i) for i, text in enumerate(heads, 1)]
    directory, parameters = [], []
    for number, given in enumerate(entities):
        kind, values, level, hidden, name, form, color = Entity(*given)
        text = f"{kind},{values};"
        lines = [text[i : i + 64] for i in range(0, len(text), 64)]
        status = f"{1 if hidden else 0:02d}000000"
        first = f"{kind:8d}{len(parameters) + 1:8d}{0:8d}{0:8d}{level:8d}{0:8d}{0:8d}{0:8d}{status}"
        directory += [first, f"{kind:8d}{0:8d}{color:8d}{len(lines):8d}{form:8d}{'':16}{name:>8}{0:8d}"]
        parameters += [f"{text:<64}{2 * number + 1:8d}" for text in lines]
    rows += [_record(text, "D", i) for i, text in enumerate(directory, 1)]
    rows += [_record(text, "P", i) for i, text in enumerate(parameters, 1)]
    counts = f"S{1:7d}G{len(heads):7d}D{len(directory):7d}P{len(parameters):7d}"
    return "\n".join([*rows, _record(counts, "T", 1)]) + "\n"


def _record(text: str, letter: str, number: int) -> str:
    return f"{text:<72}{letter}{number:7d}"
