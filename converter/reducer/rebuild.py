"""The inverse of the reducer: table to centerline, and the same tube fed from its other end."""

from __future__ import annotations

from dataclasses import replace

from converter.geometry.vectors import scale
from converter.model.bends import BendTable, Placement
from converter.model.centerline import rebuild, walk
from converter.model.run import Run

__all__ = ["rebuild", "reverse_run", "reverse_table", "walk"]


def reverse_table(table: BendTable, placement: Placement | None = None) -> tuple[BendTable, Placement]:
    """The same tube fed from end B: the table, and the placement that puts it on the same metal.

    Feeds and angles come in reverse order, rotations too and with the same sign (a screw keeps
    its hand); the first rotation is 0 again.
    """
    end = walk(table, placement)[1]
    bends = table.bends
    straights = table.straights
    rows = []
    for i in range(len(bends) - 1, -1, -1):
        rotation = 0.0 if i == len(bends) - 1 else bends[i + 1].rotation
        rows.append(replace(bends[i], feed=straights[i + 1], rotation=rotation))
    back = Placement(end.start, scale(end.direction, -1.0), scale(end.normal, -1.0))
    if not rows:
        back = Placement(end.start, scale(end.direction, -1.0), end.normal)
    return BendTable(tuple(rows), straights[0]), back


def reverse_run(run: Run) -> Run:
    """The same run fed from end B: same metal, same place, end A and B exchanged.

    Findings that name a bend are renumbered to the new order.
    """
    table, placement = reverse_table(run.table, run.placement)
    count = len(table.bends)
    findings = tuple(f if f.bend is None else replace(f, bend=count + 1 - f.bend) for f in run.findings)
    return replace(
        run,
        table=table,
        placement=placement,
        end_point=run.start,
        handles=run.handles[::-1],
        findings=findings,
        metal=None if run.metal is None else run.metal[::-1],
    )
