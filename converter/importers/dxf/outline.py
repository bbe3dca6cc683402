"""Drawings that look like a solid's outline and seam edges instead of centerlines.

A cylinder written edge by edge shows its seam (a line) and its two end circles: the seam
starts on one circle and ends on the other, runs from centre to centre, and is square to the
radius. Faces are written one after the other, so that shared edges come twice. The circles
need not be drawn in their true planes for this to hold; some writers lay them flat.
"""

from __future__ import annotations

import numpy as np

from converter.findings import Clause, Finding
from converter.model.curve import Arc, Line
from converter.model.drawing import DrawnCurve
from converter.tolerances import DEFAULT

#: seams looked for among at most so many circles: enough to know what kind of drawing it is
_CIRCLES = 400


def outline_findings(curves: list[DrawnCurve]) -> list[Finding]:
    """A warning when at least half of the straights are seams between circles, else nothing.

    Args:
        curves: everything drawn, in mm.
    """
    circles = [c.curve for c in curves if isinstance(c.curve, Arc) and c.curve.angle == 360.0]
    if len(circles) < 2:
        return []
    lines = [c.curve for c in curves if isinstance(c.curve, Line)]
    if not lines:
        return []
    keys = {(round(c.radius, 3), *(round(v, 3) for v in c.center)) for c in circles}
    starts, ends = np.array([s.start for s in lines]), np.array([s.end for s in lines])
    vectors = ends - starts
    seam = np.zeros(len(lines), dtype=bool)
    sizes: dict[float, list[tuple[float, ...]]] = {}
    for radius, *center in sorted(keys)[:_CIRCLES]:
        sizes.setdefault(radius, []).append(tuple(center))
    found: dict[float, int] = {}
    for radius, centers in sizes.items():
        known = np.array(centers)
        for center in known:
            arms = starts - center
            on = np.abs(np.linalg.norm(arms, axis=1) - radius) <= DEFAULT.join
            on &= np.abs(np.einsum("ij,ij->i", arms, vectors)) <= DEFAULT.join * np.linalg.norm(vectors, axis=1)
            for i in np.flatnonzero(on & ~seam).tolist():
                # the other circle stands where the seam leads from this one
                if (np.abs(known - (center + vectors[i])).max(axis=1) <= DEFAULT.join).any():
                    seam[i] = True
                    found[radius] = found.get(radius, 0) + 1
    count = int(seam.sum())
    if 2 * count < len(lines):
        return []
    doubled = len(lines) - len({frozenset((s.start, s.end)) for s in lines})
    radius = max(found, key=lambda r: found[r])
    twice = Clause.of("some-drawn-twice", count=doubled) if doubled else ""
    return [
        Finding(
            "outline-suspect",
            measured=2.0 * radius,
            unit="mm",
            values={"seams": count, "straights": len(lines), "od": 2.0 * radius, "twice": twice},
        )
    ]
