"""The same tube on another radius: sharp corners filleted, bends moved to the die's radius.

A bend below 170 degrees keeps its corner, the point where its straights would meet: each
straight changes by (R - R') tan(angle / 2), and the centerline moves most at the middle of
the bend, by |R' - R| (1 / cos(angle / 2) - 1) (elementary geometry of the tangent circle;
a sharp corner is R = 0). Near 180 degrees and beyond there is no corner: such a bend keeps
its outermost point in the direction it is entered, and what follows moves sideways.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from math import cos, inf, radians, tan

import numpy as np

from converter.errors import OptionError
from converter.findings import Finding
from converter.model.bends import Bend, BendTable
from converter.model.curve import Line, Segment
from converter.model.run import Run
from converter.reducer.deviation import distances
from converter.units import Display

FOLDED = 179.5  #: degrees; a corner this sharp is a line drawn back over itself, not a bend
CORNER_LIMIT = 170.0  #: degrees; up to here a bend is held by its corner


def setback(radius: float, angle: float) -> float:
    """Length in mm from the corner to the tangent point, radius * tan(angle / 2), angle in degrees below 180."""
    return radius * tan(radians(angle) / 2.0)


def corner_cut(radius: float, angle: float) -> float:
    """Distance in mm from the corner to the nearest point of the arc: radius (1 / cos(angle / 2) - 1)."""
    return radius * (1.0 / cos(radians(angle) / 2.0) - 1.0)


def fillet_corners(run: Run, clr: float, display: Display | None = None) -> Run:
    """Give every sharp corner the radius ``clr`` (mm); arcs stay as they are.

    Args:
        run: the run as drawn.
        clr: centerline radius in mm, above zero.
        display: how lengths are written in the findings.

    Returns:
        The run with arcs for corners. Corners too close together give negative straights, each
        with an error finding; the table stays true to the corners all the same.

    Raises:
        OptionError: the radius is not a length above zero.
    """
    _check(clr)
    which = [i for i, b in enumerate(run.table.bends) if b.clr is None and b.corner and b.angle < FOLDED]
    if not which:
        return run
    display = display or Display()
    table, _ = on_radii(run.table, dict.fromkeys(which, clr))
    widest = max(corner_cut(clr, run.table.bends[i].angle) for i in which)
    count = len(which)
    note = Finding(
        "corner-filleted",
        f"{run.name}: {count} sharp corner{'s' if count > 1 else ''} got a radius of {display.length(clr)}; "
        f"the centerline passes up to {display.length(widest)} inside the corner.",
        tube=run.name,
        measured=clr,
        unit="mm",
        layer=run.layer,
    )
    return _with(run, table, (note,), display)


def refit(
    run: Run, clr: float, display: Display | None = None, bends: Collection[int] | None = None
) -> tuple[Run, float]:
    """The same run bent on the radius ``clr``: same ends, same corners.

    Args:
        run: the run; corners without radius are given one too.
        clr: centerline radius in mm, above zero.
        display: how lengths are written in the findings.
        bends: 0-based numbers of the bends to change; all when None.

    Returns:
        The refitted run and the largest distance in mm by which its centerline moves. Straights
        that go negative stay in the table, each with an error finding.

    Raises:
        OptionError: the radius is not a length above zero.
    """
    _check(clr)
    display = display or Display()
    which = [
        i
        for i, b in enumerate(run.table.bends)
        if (bends is None or i in bends) and b.clr != clr and (b.clr is not None or (b.corner and b.angle < FOLDED))
    ]
    if not which:
        return run, 0.0
    table, sideways = on_radii(run.table, dict.fromkeys(which, clr))
    moved = max(
        (
            corner_cut(abs(clr - (run.table.bends[i].clr or 0.0)), run.table.bends[i].angle)
            for i in which
            if run.table.bends[i].angle < CORNER_LIMIT
        ),
        default=0.0,
    )
    made = replace(run, table=table, end_point=None if sideways else run.end_point)
    if sideways:
        moved = max(moved, _apart(made.centerline, run.centerline), _apart(run.centerline, made.centerline))
    count = len(which)
    note = Finding(
        "refit",
        f"{run.name}: {count} bend{'s' if count > 1 else ''} refitted to a radius of {display.length(clr)}; "
        f"the centerline moves by up to {display.length(moved)}.",
        tube=run.name,
        measured=moved,
        unit="mm",
        layer=run.layer,
    )
    return _with(made, table, (note,), display), moved


def _check(clr: float) -> None:
    if not 0.0 < clr < inf:
        raise OptionError(f"A bend needs a radius above zero, not {clr:g} mm.")


def on_radii(table: BendTable, radii: Mapping[int, float]) -> tuple[BendTable, bool]:
    """The table with some bends on other radii: same corners, same ends wherever every bend has a corner.

    Args:
        table: with or without sharp corners.
        radii: new radius in mm by index from 0.

    Returns:
        The new table, whose straights may be negative, and whether the tube's other end moves
        because a bend that has no corner changed.
    """
    straights = list(table.straights)
    bends: list[Bend] = list(table.bends)
    sideways = False
    for i, clr in radii.items():
        bend = bends[i]
        old = bend.clr or 0.0
        if bend.angle < CORNER_LIMIT:
            change = setback(clr - old, bend.angle)
        else:
            change = clr - old
            sideways = sideways or change != 0.0
        straights[i] -= change
        straights[i + 1] -= change
        bends[i] = replace(bend, clr=clr, clr_uncertainty=0.0)
    return BendTable(tuple(replace(b, feed=f) for b, f in zip(bends, straights, strict=False)), straights[-1]), sideways


def _with(run: Run, table: BendTable, notes: tuple[Finding, ...], display: Display) -> Run:
    """The run with a new table; negative straights are found anew."""
    kept = tuple(f for f in run.findings if f.code != "negative-straight")
    found = []
    for i, length in enumerate(table.straights):
        if length >= -1e-6:
            continue
        at_a, at_b = i == 0, i == len(table.bends)
        where = "before bend 1" if at_a else f"after bend {i}" if at_b else f"between bends {i} and {i + 1}"
        bend = table.bends[min(i, len(table.bends) - 1)]
        found.append(
            Finding(
                "negative-straight",
                f"{run.name}: the straight {where} would be {display.length(length)}, "
                f"that is {display.length(-length)} too little for these radii.",
                tube=run.name,
                bend=min(i, len(table.bends) - 1) + 1,
                measured=length,
                limit=0.0,
                unit="mm",
                layer=bend.layer,
                handle=bend.handle,
                cure="Move the corners apart, or use a die with a smaller radius.",
            )
        )
    # straights that rounding left a hair below zero are zero
    straights = [0.0 if -1e-6 < v < 0.0 else v for v in table.straights]
    table = BendTable(tuple(replace(b, feed=f) for b, f in zip(table.bends, straights, strict=False)), straights[-1])
    return replace(run, table=table, findings=(*kept, *notes, *found))


def _apart(path: tuple[Segment, ...], other: tuple[Segment, ...]) -> float:
    """Largest distance in mm of points sampled along one centerline from the other."""
    points = []
    for s in path:
        count = 2 if isinstance(s, Line) else 33
        for k in range(count):
            u = k / (count - 1)
            points.append(
                tuple(a + (b - a) * u for a, b in zip(s.start, s.end, strict=True))
                if isinstance(s, Line)
                else s.point(s.angle * u)
            )
    at = np.array(points)
    return float(np.min([distances(at, s) for s in other], axis=0).max()) if other else 0.0
