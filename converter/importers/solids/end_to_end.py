"""Tubes that stand in a file in pieces: straights and bends as solids of their own that go on end to end.

Two ends meet end to end where they lie in one place and face each other, square, with one section, and where one of
the two is a bend that has no straight there: no bender leaves such an end, so it is a piece of a tube, or a fitting
that is welded to one. Two straights that meet are two sticks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from converter.findings import WARNING, Finding
from converter.geometry.vectors import Vec, angle_between, distance, scale
from converter.importers.not_stock import MOST_NAMES
from converter.importers.solids.table import canonical, table_of
from converter.model.bends import Placement
from converter.model.centerline import rebuild
from converter.model.curve import Arc, Segment
from converter.model.drawing import ReadyTable
from converter.tolerances import Tolerances

#: (number of the table, 0 for its end A and 1 for its end B).
_End = tuple[int, int]


@dataclass(frozen=True, slots=True)
class _Facing:
    """An end of a tube: where it is, where it looks, and whether a bend ends there."""

    at: Vec
    out: Vec
    bent: bool


def joined_end_to_end(tables: Sequence[ReadyTable], tol: Tolerances, name: str | None = None) -> list[ReadyTable]:
    """Tubes, pieces of one name put together in place of the first; all else as it is.

    Only round pieces are put together: how a square section lies to the bends of another piece is not asked.

    Args:
        tables: in the file's order.
        tol: ``join`` is how near ends meet, ``tangent`` how far (degrees) they may look aside.
        name: only pieces of this name are put together; of any where it is None.
    """
    named: dict[str, list[int]] = {}
    for k, table in enumerate(tables):
        if table.section is not None and table.section.cylinder is not None and name in (None, table.name):
            named.setdefault(table.name, []).append(k)
    found: dict[int, ReadyTable] = dict(enumerate(tables))
    for numbers in named.values():
        rows = [tables[k] for k in numbers]
        for row in _rows(rows, tol):
            made = _joined(rows, row, tol)
            if made is not None:
                places = sorted(numbers[k] for k, _ in row)
                for place in places[1:]:
                    del found[place]
                found[places[0]] = made
    return list(found.values())


def end_to_end_findings(tables: Sequence[ReadyTable], tol: Tolerances) -> list[Finding]:
    """A finding for each row of tubes that go on end to end and were read each by itself."""
    told = []
    for row in _rows(tables, tol, closed=True):
        names = list(dict.fromkeys(tables[k].name for k, _ in row))
        further = max(len(names) - MOST_NAMES, 0)
        values = {"count": len(row), "names": tuple(names[:MOST_NAMES]), "further": further}
        variant = "more" if further else ""
        told.append(Finding("solid-end-to-end", variant=variant, measured=float(len(row)), values=values))
    return told


def with_other_walls(tables: Sequence[ReadyTable], tol: Tolerances) -> list[ReadyTable]:
    """The tubes of one body; of those that go on end to end with another wall it is said."""
    ends = [
        (k, letter, end) for k, t in enumerate(tables) for letter, end in zip("AB", _ends(t, tol), strict=True) if end
    ]
    found = list(tables)
    for k, letter, end in ends:
        own = tables[k].section
        for j, _, other in ends:
            its = tables[j].section
            if j == k or own is None or its is None or own.cylinder is None or its.cylinder is None:
                continue
            if distance(end.at, other.at) > tol.join or angle_between(end.out, scale(other.out, -1.0)) > tol.tangent:
                continue
            if abs(own.od - its.od) <= 2.0 * tol.fit and not own.is_same_stock(its, 2.0 * tol.fit):
                length = tables[j].table.developed_length
                values = {"wall": own.wall, "other": its.wall, "length": length}
                told = Finding(
                    "solid-fused", WARNING, variant="wall", tube=tables[k].name, end=letter, measured=its.wall,
                    unit="mm", values=values,
                )  # fmt: skip
                found[k] = replace(found[k], findings=(*found[k].findings, told))
    return found


def _rows(tables: Sequence[ReadyTable], tol: Tolerances, *, closed: bool = False) -> list[list[tuple[int, bool]]]:
    """Rows of two tables and more that go on end to end, each with whether it is passed from its end B.

    Args:
        closed: rows that come back to where they begin, too.
    """
    mate = _mates(tables, tol)
    rows: list[list[tuple[int, bool]]] = []
    seen: set[int] = set()
    # an end that meets none begins a row; what is left then comes back to where it begins
    starts = [(k, e) for k in range(len(tables)) for e in (0, 1) if (k, e) not in mate and (k, 1 - e) in mate]
    starts += [(k, 0) for k in range(len(tables)) if closed and (k, 0) in mate]
    for start in starts:
        if start[0] in seen:
            continue
        row: list[tuple[int, bool]] = []
        end: _End | None = start
        while end is not None and end[0] not in seen:
            seen.add(end[0])
            row.append((end[0], end[1] == 1))
            end = mate.get((end[0], 1 - end[1]))
        if len(row) > 1:
            rows.append(row)
    return rows


def _mates(tables: Sequence[ReadyTable], tol: Tolerances) -> dict[_End, _End]:
    """Which end meets which; none where several could."""
    ends = {(k, e): end for k, table in enumerate(tables) for e, end in enumerate(_ends(table, tol)) if end is not None}
    cells: dict[tuple[int, ...], list[_End]] = {}
    step = 8.0 * tol.join
    for key, end in ends.items():
        cells.setdefault(tuple(round(v / step) for v in end.at), []).append(key)
    found: dict[_End, list[_End]] = {}
    for key, end in ends.items():
        spread = [sorted({round((v - tol.join) / step), round((v + tol.join) / step)}) for v in end.at]
        for cell in ((x, y, z) for x in spread[0] for y in spread[1] for z in spread[2]):
            for other in cells.get(cell, ()):
                near = other[0] != key[0] and _go_on(end, ends[other], tol)
                if near and _same_stock(tables, key[0], other[0], tol.fit):
                    found.setdefault(key, []).append(other)
    return {key: others[0] for key, others in found.items() if len(others) == 1 and len(found[others[0]]) == 1}


def _ends(table: ReadyTable, tol: Tolerances) -> list[_Facing | None]:
    """Both ends of a tube, None where its metal does not end square there."""
    if table.closed or table.section is None:
        return [None, None]
    made = rebuild(table.table, table.placement or Placement())
    if not made:
        return [None, None]
    first, last = made[0], made[-1]
    ends = [
        _Facing(first.start, scale(first.start_direction, -1.0), isinstance(first, Arc)),
        _Facing(last.end, last.end_direction, isinstance(last, Arc)),
    ]
    slanted = {finding.end for finding in table.findings if finding.code == "solid-ends"}
    metal = table.metal or (0.0, 0.0)
    return [
        None if letter in slanted or abs(past) > tol.fit else end
        for end, letter, past in zip(ends, "AB", metal, strict=True)
    ]


def _go_on(a: _Facing, b: _Facing, tol: Tolerances) -> bool:
    return (
        (a.bent or b.bent)
        and distance(a.at, b.at) <= tol.join
        and angle_between(a.out, scale(b.out, -1.0)) <= tol.tangent
    )


def _same_stock(tables: Sequence[ReadyTable], a: int, b: int, within: float) -> bool:
    one, other = tables[a].section, tables[b].section
    return one is not None and other is not None and one.is_same_stock(other, within)


def _joined(tables: Sequence[ReadyTable], row: Sequence[tuple[int, bool]], tol: Tolerances) -> ReadyTable | None:
    """The pieces of a row as one tube, from end A on as every solid's; None where no table comes of them."""
    made: list[Segment] = []
    for k, backward in row:
        own = list(rebuild(tables[k].table, tables[k].placement or Placement()))
        made += [one.reversed() for one in reversed(own)] if backward else own
    made, turned = canonical(_merged(made, tol), False, tol)
    first = tables[row[0][0]]
    settled = table_of(made, False, first.name, tol)
    if settled is None:
        return None
    table, placement, told = settled
    outer = [(row[0][0], int(row[0][1])), (row[-1][0], int(not row[-1][1]))]
    if turned:
        outer.reverse()
    findings = [*told]
    for k, _ in row:
        letters = {"AB"[end]: "AB"[new] for new, (number, end) in enumerate(outer) if number == k}
        findings += [
            replace(f, end=letters[f.end]) if f.end in letters else f
            for f in tables[k].findings
            if f.end is None or f.end in letters
        ]
    findings.append(
        Finding("solid-joined", variant="solids", tube=first.name, measured=float(len(row)), values={"count": len(row)})
    )
    metals = [(tables[k].metal or (0.0, 0.0))[end] for k, end in outer]
    off = max(tables[k].deviation for k, _ in row)
    return replace(
        first,
        table=table,
        placement=placement,
        deviation=off,
        metal=(metals[0], metals[1]),
        findings=tuple(dict.fromkeys(findings)),
    )


def _merged(made: Sequence[Segment], tol: Tolerances) -> list[Segment]:
    """Arcs that go on about one center as one."""
    found: list[Segment] = []
    for one in made:
        last = found[-1] if found else None
        if (
            isinstance(one, Arc)
            and isinstance(last, Arc)
            and distance(one.center, last.center) <= tol.join
            and angle_between(one.normal, last.normal) <= tol.tangent
            and last.angle + one.angle < 360.0
        ):
            found[-1] = Arc(last.center, last.normal, last.radius, last.start, one.end, last.angle + one.angle)
        else:
            found.append(one)
    return found
