"""Short ways to write down tubes in tests."""

from __future__ import annotations

from collections.abc import Iterable

from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section


def run_of(
    rows: Iterable[tuple[float, float, float, float | None]],
    tail: float,
    placement: Placement | None = None,
    *,
    closed: bool = False,
    name: str = "run",
) -> Run:
    """A run from (feed, rotation, angle, clr) rows."""
    table = BendTable(tuple(Bend(*row) for row in rows), tail)
    return Run(name, "LAYER", closed, table, placement or Placement())


def tube_of(run: Run, section: Section | None) -> Tube:
    """A tube of a run and a section."""
    return Tube(run, section)
