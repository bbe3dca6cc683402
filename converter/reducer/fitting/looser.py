"""Whether a tube that came out as many slight corners, or as no tube at all, is one of few bends drawn less exactly.

Points rounded to a hundredth of an inch, or a spline through too few of them, stray from the true straights and arcs by
more than the fit tolerance. Then no few bends follow what is drawn, and what is told of each corner says nothing of
the cause.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from converter.findings import Finding
from converter.model.bends import Bend
from converter.model.run import Run
from converter.reducer.chaining.chain import Chain
from converter.tolerances import DEFAULT, Tolerances

#: Times the fit tolerance that are tried: 0.2 and 0.8 mm where it is the usual one. What the wider does not make a tube
#: of the other seldom does, so it goes first; it is enough where the tube strays by so many times the other.
TIMES = (4.0, 16.0)
#: mm: tried where all bends then have the radius of a die: a spline traced by hand strays so far. Common practice, no
#: source.
TRACED = 3.2
_NEARLY = 2.0
#: So many slight corners of less than so many degrees speak of an arc in chords that was not found, of few bends fewer.
_MANY, _SOME, _SLIGHT = 6, 4, 25.0
#: Slight corners have to come to at most one in so many bends; a curve that is no tube to two fewer.
_FEWER = 2
#: No more bends are looked for, in no more corners: what is no tube costs most where many are.
_MOST_BENDS, _MOST_CORNERS = 12, 500


def may_be_looser(run: Run) -> bool:
    """Whether a tube, as it came out within the tolerance, has a curve that is none or slight corners in number."""
    return len(run.table.bends) <= _MOST_CORNERS and (run.is_free_curve or _has_slight_corners(run))


def _has_slight_corners(run: Run) -> bool:
    """Whether it has slight corners in number."""
    bends = run.table.bends
    slight = sum(bend.clr is None and bend.angle < _SLIGHT for bend in bends)
    return slight >= (_SOME if len(bends) <= _MOST_BENDS else _MANY)


def looser_fit(one: Chain, run: Run, tol: Tolerances, radii: Sequence[float] = ()) -> Finding | None:
    """That a looser fit makes a tube of few bends of a chain, with the fit and how far off it then is; or None.

    Worth asking where `may_be_looser`.

    Args:
        one: what was drawn.
        run: what came of it within the tolerance.
        tol: mm and degrees.
        radii: mm, of the shop's dies.
    """
    close, wide = TIMES
    found = _within(one, run, tol, wide, radii)
    if found is not None and found[1].deviation <= _NEARLY * close * tol.fit:
        found = _within(one, run, tol, close, radii) or found
    if found is None and radii and tol.fit < TRACED and run.is_free_curve:
        found = _within(one, run, tol, TRACED / tol.fit, radii)
        if found is not None and not all(_is_of_a_die(bend, radii) for bend in found[1].table.bends):
            found = None
    if found is None:
        return None
    times, again = found
    return Finding(
        "fit-looser",
        tube=run.name,
        measured=again.deviation,
        limit=tol.fit,
        unit="mm",
        layer=run.layer,
        values={
            "away": again.deviation,
            "bends": len(again.table.bends),
            "limit": tol.fit,
            "fit": times * tol.fit,
        },
    )


def _is_of_a_die(bend: Bend, radii: Sequence[float]) -> bool:
    return bend.clr is not None and any(abs(bend.clr - clr) <= DEFAULT.equal for clr in radii)


def _within(one: Chain, run: Run, tol: Tolerances, times: float, radii: Sequence[float]) -> tuple[float, Run] | None:
    """The tube of few bends that so many times the fit tolerance makes of a chain, with that number; or None."""
    from converter.reducer.general import reduce_chain  # fitting code that exact drawings never need

    count = len(run.table.bends)
    most = min(_MOST_BENDS, count - 2 if run.is_free_curve else count // _FEWER)
    again = reduce_chain(one, run.name, replace(tol, fit=times * tol.fit), radii, 2 * most + 1)
    if again is None or len(again.table.bends) > most:
        return None
    if any(finding.severity == "error" for finding in again.findings):
        return None
    if any(bend.clr is None and bend.angle < _SLIGHT for bend in again.table.bends):
        return None
    return times, again
