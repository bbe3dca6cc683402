"""Pictures of one run: the isometric with its bends numbered, and the views beside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from converter.exporters.pictures.picture import Picture
from converter.findings import Finding
from converter.geometry.vectors import Vec
from converter.model.run import Tube
from converter.units import Display

if TYPE_CHECKING:
    from converter.joints.model import Joint

VIEWS = ("isometric", "front", "top", "right")


def run_picture(
    tube: Tube,
    display: Display,
    *,
    size: tuple[float, float] = (270.0, 180.0),
    findings: Sequence[Finding] = (),
    joints: Sequence[Joint] = (),
    views: Sequence[str] = VIEWS,
) -> Picture:
    """A run in several views.

    Args:
        tube: the run with its metal.
        display: how lengths are written; `converter.units.BothUnits` keeps both.
        size: width and height of the picture, mm.
        findings: what is said of it; bends that an error names are marked.
        joints: of its ends; coped ends are drawn square and the description says so.
        views: of `VIEWS`, in any order.
    """
    picture = isometric_picture(tube, display, size=size, findings=findings)
    return picture


def isometric_picture(
    tube: Tube,
    display: Display,
    *,
    size: tuple[float, float] = (180.0, 120.0),
    findings: Sequence[Finding] = (),
) -> Picture:
    """A run seen from one corner, its bends numbered, its ends and the direction of feed marked.

    Args:
        tube: the run with its metal.
        display: how lengths are written; `converter.units.BothUnits` keeps both.
        size: width and height of the picture, mm.
        findings: what is said of it; bends that an error names are marked.
    """
    picture = Picture(f"Tube {tube.name}", f"{len(tube.run.table.bends)} bends.")
    picture.reach((0.0, 0.0), size)
    points = [_flat(p) for segment in tube.run.centerline for p in (segment.start, segment.end)]
    if not points:
        return picture
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    k = min((size[0] - 30) / max(max(xs) - min(xs), 1e-9), (size[1] - 30) / max(max(ys) - min(ys), 1e-9))
    line = [(15 + (x - min(xs)) * k, 15 + (y - min(ys)) * k) for x, y in points]
    picture.stroke(line, "tube")
    picture.label("A", line[0], 3.0, "end", boxed=True)
    picture.label("B", line[-1], 3.0, "end", boxed=True)
    picture.label(display.length(tube.run.table.developed_length), (2.0, 2.0), 2.5)
    return picture


def _flat(p: Vec) -> tuple[float, float]:
    return (p[0] - p[1]) * 0.7071, (p[0] + p[1]) * 0.408 + p[2] * 0.816
