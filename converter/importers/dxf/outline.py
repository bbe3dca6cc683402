"""Drawings of outlines instead of centerlines: what is told of them, and what of the tubes that were read from them.

A cylinder written edge by edge shows its seam (a line) and its two end circles: the seam
starts on one circle and ends on the other, runs from centre to centre, and is square to the
radius. Faces are written one after the other, so that shared edges come twice. The circles
need not be drawn in their true planes for this to hold; some writers lay them flat.

What else shows an outline stands in `converter.reducer.outlines.evidence`.
"""

from __future__ import annotations

from collections import Counter

import numpy as np

from converter.findings import Clause, Finding
from converter.importers.dxf.annotation import annotation_layers
from converter.model.curve import Arc, Line
from converter.model.drawing import DrawnCurve
from converter.reducer.outlines.centerlines import ACROSS, BORE, CAP, CENTERLINE, OutlinesRead
from converter.reducer.outlines.evidence import Evidence, evidence
from converter.reducer.outlines.views import views_seen
from converter.tolerances import DEFAULT

#: seams looked for among at most so many circles: enough to know what kind of drawing it is
_CIRCLES = 400
#: Sizes of tubes that are told; the others are counted.
_SIZES = 6


def outline_findings(curves: list[DrawnCurve]) -> list[Finding]:
    """One warning that says what shows that the drawing is made of outlines; nothing for centerlines.

    Args:
        curves: everything drawn, in mm. Layers that look like borders and notes are not looked at.
    """
    noted = annotation_layers(curves)
    curves = [drawn for drawn in curves if drawn.layer not in noted] if noted else curves
    seams = _seams(curves)
    seen = [*([seams] if seams else []), *evidence(curves)]
    if not seen:
        return _view_findings(curves)
    first = next((one for one in seen if one.is_tubes), seen[0])
    return [
        Finding(
            "outline-suspect",
            variant="tubes" if first.is_tubes else "",
            cure=("centerlines" if first.centerlines else "tubes") if first.is_tubes else "",
            measured=first.size if first.size is not None else float(first.count),
            unit=None if first.size is None else "mm",
            values={
                "seen": [one.words for one in seen],
                "alone": [Clause.of("outline-alone", layer=layer) for layer in first.centerlines],
            },
            at=first.at[0] if first.at else None,
            also=first.at[1:],
        )
    ]


def _view_findings(curves: list[DrawnCurve]) -> list[Finding]:
    """One warning where the drawing holds several views of one thing."""
    found = views_seen(curves)
    if found is None:
        return []
    variant, seen = found
    return [
        Finding(
            "outline-suspect",
            variant=variant,
            cure="views",
            measured=float(seen.count),
            values={"seen": [seen.words], "alone": []},
            at=seen.at[0],
            also=seen.at[1:],
        )
    ]


def _seams(curves: list[DrawnCurve]) -> Evidence | None:
    """That at least half of the straights are seams between circles, or None."""
    circles = [c.curve for c in curves if isinstance(c.curve, Arc) and c.curve.angle == 360.0]
    if len(circles) < 2:
        return None
    lines = [c.curve for c in curves if isinstance(c.curve, Line)]
    if not lines:
        return None
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
        return None
    doubled = len(lines) - len({frozenset((s.start, s.end)) for s in lines})
    od = 2.0 * max(found, key=lambda r: found[r])
    twice = Clause.of("some-drawn-twice", count=doubled) if doubled else ""
    middles = (starts[seam] + ends[seam])[:50] / 2.0
    places = tuple((x, y, z) for x, y, z in middles.tolist())
    seen = Clause.of("outline-seams", seams=count, straights=len(lines), od=od, twice=twice)
    return Evidence(seen, False, od, count, places)


def outline_read_findings(outlines: OutlinesRead) -> list[Finding]:
    """What became of outlines that were to be read as tubes.

    Args:
        outlines: what was read.
    """
    if not outlines.tubes:
        return [Finding("outline-none")]
    shown = outlines.sizes[:_SIZES]
    sizes = [Clause.of("outline-width", width=width, tubes=tubes) for width, tubes in shown]
    if len(outlines.sizes) > _SIZES:
        sizes.append(Clause.of("outline-more-widths", count=len(outlines.sizes) - _SIZES))
    counts = Counter(what for what, _ in outlines.gone)
    parts = [
        Clause.of(f"outline-{what}", count=counts[what]) for what in (CAP, BORE, CENTERLINE, ACROSS) if counts[what]
    ]
    return [
        Finding(
            "outline-read",
            measured=float(outlines.tubes),
            values={
                "tubes": outlines.tubes,
                "sizes": sizes,
                "dropped": Clause.of("outline-dropped", parts=parts) if parts else "",
                "left": Clause.of("outline-left", count=outlines.left) if outlines.left else "",
            },
        )
    ]
