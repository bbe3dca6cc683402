"""The same tube on another radius: sharp corners filleted, bends moved to the die's radius.

A bend below 170 degrees keeps its corner, the point where its straights would meet: each
straight changes by (R - R') tan(angle / 2), and the centerline moves most at the middle of
the bend, by |R' - R| (1 / cos(angle / 2) - 1) (elementary geometry of the tangent circle;
a sharp corner is R = 0). Near 180 degrees and beyond there is no corner: such a bend keeps
its outermost point in the direction it is entered, and what follows moves sideways.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from math import cos, dist, inf, radians, tan

import numpy as np

from converter.errors import OptionError
from converter.findings import Finding
from converter.geometry.vectors import Vec, within_half_turn
from converter.model.bends import Bend, BendTable
from converter.model.curve import Line, Segment
from converter.model.deviation import distances
from converter.model.run import Run
from converter.tolerances import AS_BENDS_GO, PAST_LENGTH, same_within

FOLDED = 179.5  #: degrees; a corner this sharp is a line drawn back over itself, not a bend
#: Part of a tube's size; what moves its centerline further makes another tube of it. Common practice, no source.
MOST_MOVED = 0.1
_ONE_PLANE = 0.01  #: degrees; bends turned by less lie in one plane, as of equal parts
CORNER_LIMIT = 170.0  #: degrees; up to here a bend is held by its corner


def setback(radius: float, angle: float) -> float:
    """Length in mm from the corner to the tangent point, radius * tan(angle / 2), angle in degrees below 180."""
    return radius * tan(radians(angle) / 2.0)


def corner_cut(radius: float, angle: float) -> float:
    """Distance in mm from the corner to the nearest point of the arc: radius (1 / cos(angle / 2) - 1)."""
    return radius * (1.0 / cos(radians(angle) / 2.0) - 1.0)


def fillet_corners(run: Run, clr: float, bends: Collection[int] | None = None) -> Run:
    """Give every sharp corner the radius ``clr`` (mm); arcs stay as they are.

    Args:
        run: the run as drawn.
        clr: centerline radius in mm, above zero.
        bends: 0-based numbers of the corners to round; all when None.

    Returns:
        The run with arcs for corners. Corners too close together give negative straights, each
        with an error finding; the table stays true to the corners all the same.

    Raises:
        OptionError: the radius is not a length above zero.
    """
    _check(clr)
    sharp = [i for i, b in enumerate(run.table.bends) if b.clr is None and b.corner and b.angle < FOLDED]
    which = sharp if bends is None else [i for i in sharp if i in bends]
    if not which:
        return run
    table, _ = on_radii(run.table, dict.fromkeys(which, clr))
    widest = max(corner_cut(clr, run.table.bends[i].angle) for i in which)
    note = Finding(
        "corner-filleted",
        tube=run.name,
        measured=clr,
        unit="mm",
        layer=run.layer,
        values={"corners": len(which), "clr": clr, "inside": widest},
    )
    return _with(run, table, (note,))


def with_bends_joined(run: Run) -> Run:
    """The run, bends of one plane and radius that leave no straight between them as one bend; it is said.

    A U drawn with two corners, as wide as the die bends it, is one bend of 180 degrees on that die; so are two rows of
    a table that say the same. Where the two lack no more than `AS_BENDS_GO` of straight, the legs of the one bend lie
    so much further apart than drawn; a closed run would not close so.
    """
    overlap = 0.0 if run.closed else same_within(AS_BENDS_GO)
    rows: list[Bend] = []
    number: list[int] = []  # of each bend as it was: its number now
    lacking: dict[int, float] = {}  # of each bend that came of several: mm by which these overlapped
    turned = 0.0
    for bend in run.table.bends:
        last = rows[-1] if rows else bend
        if rows and bend.clr is not None and _is_one(last, bend, overlap):
            rows[-1] = replace(last, angle=last.angle + bend.angle)
            turned += bend.rotation
            lacking[len(rows)] = lacking.get(len(rows), 0.0) + (0.0 if bend.feed >= -PAST_LENGTH else -bend.feed)
        else:
            rotation = bend.rotation + turned
            rows.append(bend if turned == 0.0 else replace(bend, rotation=within_half_turn(rotation)))
            turned = 0.0
        number.append(len(rows))
    if not lacking:
        return run
    notes = tuple(_joined(run, rows[i - 1], i, number.count(i), apart) for i, apart in lacking.items())
    kept = tuple(_renumbered(finding, number) for finding in run.findings)
    apart = sum(lacking.values())
    end = run.end_point if apart == 0.0 else None
    made = replace(run, findings=kept, end_point=end, deviation=run.deviation + apart)
    return _with(made, BendTable(tuple(rows), run.table.tail), notes)


def _joined(run: Run, row: Bend, number: int, corners: int, apart: float) -> Finding:
    """What is told of a bend that several corners or rows came to, ``apart`` the mm by which they overlapped."""
    values = {"corners": corners, "angle": row.angle, "clr": row.clr, "apart": apart}
    variant = "apart" if apart > 0.0 else "" if row.corner else "rows"
    return Finding(
        "corners-joined", variant=variant, tube=run.name, bend=number, measured=row.angle, unit="deg",
        layer=run.layer, values=values,
    )  # fmt: skip


def _is_one(last: Bend, bend: Bend, overlap: float) -> bool:
    """Whether the arcs of two bends are one arc, where they may overlap by so much, mm.

    What was drawn as an arc is none with what was a corner.
    """
    meet = (
        bend.corner == last.corner and bend.clr == last.clr and -max(overlap, PAST_LENGTH) <= bend.feed <= PAST_LENGTH
    )
    return meet and abs(bend.rotation) <= _ONE_PLANE and last.angle + bend.angle < 360.0


def _renumbered(finding: Finding, number: Sequence[int]) -> Finding:
    """A finding of a run whose bends have other numbers now, those from 1 on in order."""
    if finding.bend is None:
        return finding
    values = tuple(
        (key, number[value - 1] if key == "other_bend" and isinstance(value, int) else value)
        for key, value in finding.value_pairs
    )
    return replace(finding, bend=number[finding.bend - 1], values=values)


def refit(run: Run, clr: float, bends: Collection[int] | None = None) -> tuple[Run, float]:
    """The same run bent on the radius ``clr``: same ends, same corners.

    Args:
        run: the run; corners without radius are given one too.
        clr: centerline radius in mm, above zero.
        bends: 0-based numbers of the bends to change; all when None.

    Returns:
        The refitted run and the largest distance in mm by which its centerline moves. Straights
        that go negative stay in the table, each with an error finding.

    Raises:
        OptionError: the radius is not a length above zero.
    """
    _check(clr)
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
    note = Finding(
        "refit",
        tube=run.name,
        measured=moved,
        unit="mm",
        layer=run.layer,
        values={"bends": len(which), "clr": clr, "moved": moved},
    )
    return _with(made, table, (note,)), moved


def keeps_shape(run: Run, moved: float) -> bool:
    """Whether a centerline that moves by ``moved`` mm is still the same tube: by no more than `MOST_MOVED` of its size.

    The size is how far apart the ends of its straights and the middles of its bends lie at most, found from the one
    farthest from its end A.
    """
    segments, most = run.centerline, same_within(MOST_MOVED)
    if not segments:
        return moved <= 0.0
    if moved <= most * dist(segments[0].start, segments[-1].end):
        return True
    points: list[Vec] = []
    for segment in segments:
        points += [segment.start, segment.end]
        if not isinstance(segment, Line):
            points += [segment.point(segment.angle * share) for share in (0.25, 0.5, 0.75)]
    far = max(points, key=lambda point: dist(points[0], point))
    return moved <= most * max(dist(far, point) for point in points)


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
    sideways = False
    for i, clr in radii.items():
        bend = table.bends[i]
        old = bend.clr or 0.0
        if bend.angle < CORNER_LIMIT:
            change = setback(clr - old, bend.angle)
        else:
            change = clr - old
            sideways = sideways or change != 0.0
        straights[i] -= change
        straights[i + 1] -= change
    bends = tuple(
        bend.moved(feed, radii[i], 0.0) if i in radii else bend.moved(feed, bend.clr, bend.clr_uncertainty)
        for i, (bend, feed) in enumerate(zip(table.bends, straights, strict=False))
    )
    return BendTable(bends, straights[-1]), sideways


def without_hairs(table: BendTable) -> BendTable:
    """The table with straights of zero where rounding left a hair less than nothing (`PAST_LENGTH`)."""
    straights = table.straights
    if not any(-PAST_LENGTH <= v < 0.0 for v in straights):
        return table
    straights = tuple(0.0 if -PAST_LENGTH <= v < 0.0 else v for v in straights)
    bends = tuple(replace(b, feed=f) for b, f in zip(table.bends, straights, strict=False))
    return BendTable(bends, straights[-1])


def _with(run: Run, table: BendTable, notes: tuple[Finding, ...]) -> Run:
    """The run with a new table; negative straights are found anew."""
    kept = tuple(f for f in run.findings if f.code != "negative-straight")
    negative = []
    last = len(table.bends)
    for i, length in enumerate(table.straights):
        if length >= -PAST_LENGTH:
            continue
        bend = table.bends[min(i, last - 1)]
        negative.append(
            Finding(
                "negative-straight",
                tube=run.name,
                variant="end" if i in (0, last) else "",
                bend=min(i, last - 1) + 1,
                end="A" if i == 0 else "B" if i == last else None,
                measured=length,
                limit=0.0,
                unit="mm",
                layer=bend.layer,
                handle=bend.handle,
                values={"straight": length, "lacking": -length} | ({} if i in (0, last) else {"other_bend": i}),
            )
        )
    table = without_hairs(table)
    return replace(run, table=table, findings=(*kept, *notes, *negative))


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
