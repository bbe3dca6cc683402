"""Tubes drawn in a linetype of which the reader doubts that tubes are drawn in it."""

from __future__ import annotations

from itertools import pairwise

from converter.findings import Finding
from converter.geometry.vectors import Vec, angle_between, scale
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.chain import Chain
from converter.reducer.chaining.ends import end_directions
from converter.reducer.chaining.junctions import RUN_THROUGH
from converter.tolerances import Tolerances


def linetype_finding(one: Chain, tube: str, tol: Tolerances) -> Finding | None:
    """What is to be told of a tube that is drawn in a doubtful linetype, all of it or a part; None for nothing.

    A part between two that it continues smoothly is a tube that passes behind something.

    Args:
        one: the chain.
        tube: its name.
        tol: ``tangent`` in degrees.
    """
    items = one.items
    drawn_in = [drawn.linetype for drawn, _ in items]
    first = next((k for k, linetype in enumerate(drawn_in) if linetype is not None), None)
    if first is None:
        return None
    whole = None not in drawn_in
    if not whole and (one.closed or (drawn_in[0] is None and drawn_in[-1] is None)):
        joints = [*pairwise(items), *([(items[-1], items[0])] if one.closed else [])]
        changes = [pair for pair in joints if (pair[0][0].linetype is None) != (pair[1][0].linetype is None)]
        if all(_turn(*pair) <= max(RUN_THROUGH, tol.tangent) for pair in changes):
            return None
    drawn, backward = items[first]
    return Finding(
        "annotation-suspect",
        variant="linetype" if whole else "linetype of a part",
        cure="linetype" if whole else "linetype of a part",
        tube=tube,
        layer=drawn.layer,
        handle=drawn.handle,
        at=drawn.curve.end if backward else drawn.curve.start,
        values={"linetype": drawn.linetype},
    )


def _turn(before: tuple[DrawnCurve, bool], behind: tuple[DrawnCurve, bool]) -> float:
    """Degrees between the way in which one item of a chain ends and that in which the next one begins."""
    return angle_between(_ways(before)[1], _ways(behind)[0])


def _ways(item: tuple[DrawnCurve, bool]) -> tuple[Vec, Vec]:
    drawn, backward = item
    first, last = end_directions(drawn.curve)
    return (scale(last, -1.0), scale(first, -1.0)) if backward else (first, last)
