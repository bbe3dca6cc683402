"""Our own JSON table (``elbowroom/table/1``, docs/table-json.md) read back.

The document keeps each tube's table and its two ends, not its plane: the tube is put with its
ends where they were and its plane is open, which is said.
"""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING, Any

from converter.errors import GeometryError, ReadError
from converter.findings import Finding
from converter.geometry.vectors import Vec, angle_between, any_normal, cross, norm, rotate, sub, unit
from converter.importers.source import Source
from converter.importers.tables.json_text import read_json
from converter.limits import FARTHEST
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import walk
from converter.model.drawing import Drawing, ReadyTable
from converter.model.section import Section
from converter.quoting import quoted, reason_of
from converter.units import UNIT_CHOICES

if TYPE_CHECKING:
    from converter.importers.registry import ReadOptions

SCHEMA = "elbowroom/table/1"


def read_table_json(source: str | Source, options: ReadOptions) -> Drawing:
    """Read the tubes of a table document.

    Args:
        source: file name, or an opened source.
        options: ``layers`` and ``skip_layers`` pick tubes; the lengths are mm by the schema.

    Raises:
        ReadError: it is no such document; ``where`` names the tube and the key.
    """
    given = Source.of(source)
    document = read_json(given.read_bytes(), given.name)
    if (
        not isinstance(document, dict)
        or document.get("schema") != SCHEMA
        or not isinstance(document.get("tubes"), list)
    ):
        raise ReadError(
            f"{given.name} is JSON, but not a bend table of ours (schema {SCHEMA}): write one with table --json.",
            code="unknown-format",
            file=given.name,
        )
    # the numbers are mm; the drawing's own unit says how a person wants to see and type them
    units = document.get("drawing_units")
    units = units if units in UNIT_CHOICES else "mm"
    drawing = Drawing(given.name, units, units)
    for i, tube in enumerate(document["tubes"]):
        where = f"tubes[{i}]"
        try:
            table = _tube(tube)
        except KeyError as error:
            raise _wrong(given.name, where, f"has no {quoted(error.args[0])}") from error
        except (ValueError, GeometryError) as error:
            raise _wrong(given.name, where, f"cannot be: {reason_of(error)}") from error
        if options.wants(table.layer):
            drawing.tables.append(table)
    return drawing


def _wrong(file: str, where: str, what: str) -> ReadError:
    return ReadError(f"{file}: {where} {what}; write the file again with table --json.", file=file, where=where)


def _number(value: Any) -> float:
    """A number of a table.

    Raises:
        ValueError: it is no finite number, or beyond `FARTHEST`.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        what = quoted(value) if isinstance(value, str) else "something else"
        raise ValueError(f"{what} stands where a number must")
    if not abs(value) <= FARTHEST:
        raise ValueError(f"a number beyond {FARTHEST:g} is no length and no angle of a tube")
    return float(value)


def _text(value: Any) -> str:
    """A text of a table; a number is taken for one.

    Raises:
        ValueError: it is neither, or a number too long to be told.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float) or value in (inf, -inf):
        raise ValueError("something else stands where a text must")
    return str(value)


def _object(value: Any, what: str) -> dict[str, Any]:
    """A value that must be an object with keys.

    Raises:
        ValueError: it is none.
    """
    if not isinstance(value, dict):
        raise ValueError(f"{what} is no object with keys")
    return value


def _tube(value: Any) -> ReadyTable:
    tube = _object(value, "a tube")
    if not isinstance(tube["bends"], list):
        raise ValueError("'bends' is no list")
    bends = tuple(
        Bend(
            _number(b["feed"]),
            _number(b["rotation"]),
            _number(b["angle"]),
            None if b["clr"] is None else _number(b["clr"]),
            corner=b["clr"] is None,
        )
        for b in (_object(bend, "a bend") for bend in tube["bends"])
    )
    table = BendTable(bends, _number(tube["tail"]))
    start, end = _point(tube["start"]), _point(tube["end"])
    layer = tube["layer"]
    name = _text(tube["name"])
    note = Finding("plane-open", tube=name)
    return ReadyTable(
        name,
        table,
        _placed(table, start, end),
        None if tube["section"] is None else _section(tube["section"]),
        None if layer is None else _text(layer),
        bool(tube["closed"]),
        findings=(note,) if bends else (),
    )


def _point(value: Any) -> Vec:
    if not isinstance(value, list) or len(value) != 3:
        raise ValueError("a point is no list of three numbers")
    x, y, z = map(_number, value)
    return (x, y, z)


def _section(given: Any) -> Section:
    value = _object(given, "a section")
    return Section(
        _text(value["shape"]),
        _number(value["od"]),
        _number(value["wall"]),
        _number(value.get("height", 0.0)),
        _number(value.get("corner", 0.0)),
        _text(value.get("label", "")),
    )


def _placed(table: BendTable, start: Vec, end: Vec) -> Placement:
    """The tube turned the shortest way so that it leads from start to end."""
    plain = Placement(start, (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    reach = sub(walk(table, plain)[1].start, start)
    wanted = sub(end, start)
    if norm(reach) < 1e-9 or norm(wanted) < 1e-9:
        return plain
    angle = angle_between(reach, wanted)
    across = cross(reach, wanted)
    axis = unit(across) if norm(across) > 1e-12 * norm(reach) * norm(wanted) else any_normal(unit(reach))
    return Placement(start, unit(rotate(plain.direction, axis, angle)), unit(rotate(plain.normal, axis, angle)))
