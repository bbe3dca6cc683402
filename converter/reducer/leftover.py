"""Lines that trimming or snapping left behind, longer than the join tolerance: read as drawn, and named.

No longer than that they are left out (slivers, in `chaining.chain`). Nobody draws a tube with a leg of a millimetre
behind a sharp corner, so what to do about the line is worth more than what a die would have to be. Nor does anybody
draw a tube of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from converter.findings import Finding
from converter.geometry.vectors import distance
from converter.model.curve import Line
from converter.model.drawing import DrawnCurve
from converter.model.run import Run
from converter.reducer.chaining.chain import FAR_LONGER, SHARP, TUBE_LENGTH
from converter.tolerances import Tolerances

#: How many times longer the tube's longest straight is, and what is beside the line (common practice, no source).
_LONGEST, _BESIDE = 20.0, 4.0
#: So many tubes that are marks are told one by one.
_EACH = 4


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


def with_leftover_tubes(runs: Sequence[Run], tol: Tolerances) -> list[Run]:
    """The runs; each that is no longer than the near tolerance, beside far longer ones, with a finding.

    Args:
        runs: all that were drawn.
        tol: mm.
    """
    near = tol.at_limits().near
    small = [k for k, run in enumerate(runs) if run.table.tail <= near and run.table.developed_length <= near]
    if not small:
        return [*runs]
    lengths = [run.table.developed_length for run in runs]
    longest = max(lengths)
    small = [k for k in small if longest > max(FAR_LONGER * lengths[k], TUBE_LENGTH)]
    found = [*runs]
    for k in small:
        run, place = runs[k], runs[k].placement.start
        values: dict[str, object] = {"line": lengths[k], "point": place}
        if len(small) > _EACH:
            values = {"line": max(lengths[j] for j in small)}
        told = Finding(
            "leftover-line",
            tube=run.name,
            variant="alone" if len(small) <= _EACH else "one of many",
            at=place,
            measured=lengths[k],
            unit="mm",
            layer=run.layer,
            handle=run.handles[0] if run.handles else None,
            values=values,
        )
        found[k] = replace(run, findings=(*run.findings, told))
    return found
