"""The tubes of the demo job, in inches, and the files that go with the drawing.

A dock ladder: two rails with a hoop to hold on to, three rungs. A kayak trolley: two cradles
for the hull, an axle, a handle, a leg. The leg's first bend is drawn tighter than the demo
shop's die on purpose, so that the audit has an error to show.
"""

from __future__ import annotations

from dataclasses import dataclass

from converter.geometry.vectors import Vec, add, scale
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Segment

STEM = "boathouse"
INCH = 25.4

_TROLLEY = "1.25x0.083in"
_LADDER_CLR, _TROLLEY_CLR, _WRONG_CLR = 4.5, 3.5, 2.5

#: Which run is wrong on purpose; the demo says so.
WRONG_LAYER = f"LEG {_TROLLEY}"

JOB_TEXT = """\
# Job file of the demo: which section the layers without a size in their name get.
units = "in"

[job]
name = "Boathouse: dock ladder and kayak trolley"

[default]
metal = "mild steel"

[layer.RAIL]
section = "1.5x0.120in"

[layer."RUNG*"]               # * stands for anything
section = "1.5x0.120in"
"""


@dataclass(frozen=True, slots=True)
class DemoRun:
    """One tube of the demo.

    Attributes:
        layer: the layer it is drawn on.
        drawn_as: 'pieces' (lines and arcs), 'bulges' (one flat polyline with bulges) or
            'corners' (a polyline in space with sharp corners).
        points: corner points in mm for 'corners'; else empty.
        segments: straights and arcs in mm for the others.
    """

    layer: str
    drawn_as: str
    points: tuple[Vec, ...] = ()
    segments: tuple[Segment, ...] = ()


def runs() -> list[DemoRun]:
    """Every tube, in the order drawn, in place, in mm."""
    rail = [(44.0, 0.0, 10.0), (10.0, 180.0, 10.0), (12.0, 90.0, 180.0)]
    left = _bent("RAIL", (0, 0, -40), (0, 0, 1), (0, -1, 0), rail, 16.0, _LADDER_CLR)
    other = [(feed, -rotation if abs(rotation) < 180.0 else rotation, angle) for feed, rotation, angle in rail]
    right = _bent("RAIL", (18, 0, -40), (0, 0, 1), (0, 1, 0), other, 16.0, _LADDER_CLR)
    rungs = [_straight("RUNG", (0, 0, z), (18, 0, z)) for z in (-34.0, -22.0, -10.0)]

    cradle = [(4.0, 0.0, 55.0), (4.0, 180.0, 55.0), (5.0, 0.0, 55.0), (4.0, 180.0, 55.0)]
    layer = f"CRADLE {_TROLLEY}"
    front = _bent(layer, (40, 0, 0), (1, 0, 0), (0, 1, 0), cradle, 4.0, _TROLLEY_CLR)
    rear = _bent(layer, (40, 22, 0), (1, 0, 0), (0, 1, 0), cradle, 4.0, _TROLLEY_CLR, drawn_as="bulges")
    middle = (front.segments[0].start[0] + front.segments[-1].end[0]) / 2.0 / INCH
    # handle and leg lie under the cradles, the axle under the handle: one tube (1.25) lower each time
    low = min(segment.end[2] for segment in front.segments) / INCH - 1.25
    axle = _straight(f"AXLE {_TROLLEY}", (middle - 14, 9, low - 1.25), (middle + 14, 9, low - 1.25))
    half = 6.0
    handle = DemoRun(
        f"HANDLE {_TROLLEY}",
        "corners",
        points=tuple(
            scale(point, INCH)
            for point in (
                (middle - half, -3.0, low),
                (middle - half, 26.0, low),
                (middle - half, 46.0, low + 16.0),
                (middle + half, 46.0, low + 16.0),
                (middle + half, 26.0, low),
                (middle + half, -3.0, low),
            )
        ),
    )
    leg = _bent(
        WRONG_LAYER, (middle, 3, low), (0, -1, 0), (1, 0, 0),
        [(4.0, 0.0, 70.0), (7.0, 90.0, 35.0)], 5.0, _TROLLEY_CLR, first_clr=_WRONG_CLR,
    )  # fmt: skip
    return [left, right, *rungs, front, rear, axle, handle, leg]


def _straight(layer: str, start: Vec, end: Vec) -> DemoRun:
    length = sum((b - a) ** 2 for a, b in zip(start, end, strict=True)) ** 0.5
    direction = scale(add(end, scale(start, -1.0)), 1.0 / length)
    placement = Placement.leaving(scale(start, INCH), direction)
    return DemoRun(layer, "pieces", segments=rebuild(BendTable((), length * INCH), placement))


def _bent(
    layer: str,
    start: Vec,
    direction: Vec,
    normal: Vec,
    rows: list[tuple[float, float, float]],
    tail: float,
    clr: float,
    *,
    first_clr: float | None = None,
    drawn_as: str = "pieces",
) -> DemoRun:
    """A tube from rows of feed, rotation, angle (inches, degrees)."""
    radii = [first_clr or clr, *[clr] * (len(rows) - 1)]
    bends = tuple(
        Bend(feed * INCH, rotation, angle, radius * INCH)
        for (feed, rotation, angle), radius in zip(rows, radii, strict=True)
    )
    placement = Placement(scale(start, INCH), direction, normal)
    return DemoRun(layer, drawn_as, segments=rebuild(BendTable(bends, tail * INCH), placement))
