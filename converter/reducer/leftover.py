"""Lines that trimming or snapping left behind, longer than the join tolerance: read as drawn, and named.

No longer than that they are left out (slivers, in `chaining.chain`). Nobody draws a tube with a leg of a millimetre
behind a sharp corner, so what to do about the line is worth more than what a die would have to be.
"""

from __future__ import annotations

from collections.abc import Sequence

from converter.findings import Finding
from converter.geometry.vectors import distance
from converter.model.curve import Line
from converter.model.drawing import DrawnCurve
from converter.model.run import Run
from converter.reducer.chaining.chain import SHARP
from converter.tolerances import Tolerances

#: How many times longer the tube's longest straight is, and what is beside the line (common practice, no source).
_LONGEST, _BESIDE = 20.0, 4.0


def leftover_lines(run: Run, drawn: Sequence[DrawnCurve], tol: Tolerances) -> list[Finding]:
    """A finding for each straight of a drawn tube, no longer than the near tolerance, that ends in a sharp corner.

    Args:
        run: as drawn, its corners not bent yet.
        drawn: the curves it was drawn by.
        tol: mm.
    """
    bends, straights = run.table.bends, run.table.straights
    corners = {k for k, bend in enumerate(bends) if bend.clr is None and bend.angle > SHARP}
    if not corners:
        return []
    alone = [distance(d.curve.start, d.curve.end) for d in drawn if isinstance(d.curve, Line)]
    near, longest = tol.at_limits().near, max(straights)
    findings = []
    for k, length in enumerate(straights):
        at = [row for row in (k - 1, k) if row in corners]
        if not at or not tol.equal < length <= min(near, longest / _LONGEST):
            continue
        if any(tol.equal < straights[j] < _BESIDE * length for j in (k - 1, k + 1) if 0 <= j < len(straights)):
            continue  # one of several, as chords are
        row = at[0]
        between = 0 < k < len(bends)
        part = all(abs(size - length) > tol.join for size in alone)
        place = run.bend_point(row + 1)
        findings.append(
            Finding(
                "leftover-line",
                tube=run.name,
                variant=" ".join(["part"] * part + ["end"] * (not between)),
                bend=k if between else row + 1,
                end=None if between else "AB"[k > 0],
                at=place,
                measured=length,
                limit=near,
                unit="mm",
                layer=bends[row].layer or run.layer,
                handle=bends[row].handle,
                values={"line": length, "point": place, "angle": bends[row].angle}
                | ({"other_bend": k + 1} if between else {}),
            )
        )
    return findings
