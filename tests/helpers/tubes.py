"""Short ways to write down tubes in tests."""

from __future__ import annotations

from collections.abc import Iterable
from math import pi

from converter.model.bends import Bend, BendTable, Placement
from converter.model.end_cuts import EndCut, EndCuts
from converter.model.run import Run, Tube
from converter.model.section import Section

TUBE = Section("round", 44.45, 3.048)
BAR = Section("bar", 25.0, 12.5)
SQUARE = Section("square", 38.1, 2.1, corner=4.2)
SHARP = Section("square", 38.1, 2.1)
TIGHT = Section("square", 38.1, 2.1, corner=1.5)  # outside rounded, bore sharp
FLAT = Section("rectangular", 50.0, 3.0, 30.0, 6.0)  # 50 across the first bend, 30 in its plane
OVAL = Section("rectangular", 30.0, 3.0, 50.0, 15.0)  # corners eat the short sides
ROUNDED = Section("square", 30.0, 3.0, corner=15.0)  # corners eat every side
#: Somewhere in space, askew.
AWAY = Placement((250.0, -4000.0, 90.0), (0.6, 0.0, 0.8), (0.0, 1.0, 0.0))


def cut_ends(a: float | None = None, b: float | None = None) -> EndCuts:
    """Ends cut to fit, by no saw, that make a tube so much longer, mm; None for an end that is not cut."""
    return EndCuts(*(None if change is None else EndCut(change) for change in (a, b)))


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


def metal_area(section: Section) -> float:
    """Metal area by the closed forms, not through the section's own: a round tube is all corner."""
    w, h, t, r = section.od, section.height, section.wall, section.outer.corner
    if section.bore is None:
        return w * h - (4.0 - pi) * r * r
    ring = max(0.0, r - t)
    return 2.0 * t * (w + h - 2.0 * t) - (4.0 - pi) * (r * r - ring * ring)
