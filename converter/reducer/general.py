"""One chain the general way: fitted, merged, settled on one tube, polished, measured, remarked upon."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from converter.findings import Finding
from converter.geometry.circles import fit_circle, vec
from converter.model.bends import BendTable
from converter.model.drawing import DrawnCurve
from converter.model.run import Run
from converter.reducer.chain import Chain
from converter.reducer.deviation import distances, largest
from converter.reducer.limits import LADDER_EXACT
from converter.reducer.pieces import Bow, Piece, Straight, pieces_of
from converter.reducer.polish import MOST_BENDS, Proof, polish, segments_of, thinned
from converter.reducer.remarks import PLACES
from converter.reducer.settle import Settled, merge, open_loop, settle
from converter.tolerances import DEFAULT, Tolerances
from converter.units import Display, fine_length

FREE_LEVEL = 0.005  #: mm; bows found only above this, end to end, speak of a free curve


def reduce_chain(one: Chain, name: str, tol: Tolerances = DEFAULT, display: Display | None = None) -> Run | None:
    """One chain the general way: fit, merge, settle, measure. None when nothing with a length is left."""
    display = display or Display()
    drawn = [d for d, _ in one.items]
    made = _settled(one, tol)
    if made is None:
        return None
    # a free curve is cut finer until the tube follows it within the tolerance, or three times
    finer = tol
    for _ in range(3):
        if made.deviation <= tol.fit or not _free_groups(made.settled, tol):
            break
        finer = replace(finer, fit=finer.fit / 2.0)
        again = _settled(one, finer)
        if again is None or again.deviation >= made.deviation:
            break
        made = again
    settled = made.settled
    bends = tuple(
        replace(b, handle=drawn[i].handle, layer=drawn[i].layer)
        for b, i in zip(settled.table.bends, settled.items, strict=True)
    )
    table = BendTable(bends, settled.table.tail)
    run = Run(name, one.layer, one.closed, table, settled.placement, made.deviation, one.handles)
    return replace(run, findings=tuple(_remarks(run, settled, drawn, tol, display)))


@dataclass(frozen=True, slots=True)
class _Made:
    """A settled chain and the largest distance in mm of the drawn vertices from it."""

    settled: Settled
    deviation: float


def _settled(one: Chain, tol: Tolerances) -> _Made | None:
    pieces = [p for p in pieces_of(one.items, tol, one.closed) if not isinstance(p, Straight) or p.length > 0.0]
    if not pieces:
        return None
    pieces = merge(pieces, tol)
    if one.closed:
        pieces = merge(open_loop(pieces), tol)
    settled = settle(pieces, tol)
    deviation = largest([p.proof for p in pieces], settled.segments) if any(settled.segments) else 0.0
    made = _Made(settled, deviation)
    noisy = any(isinstance(p, Bow) and not p.free and p.level > LADDER_EXACT for p in pieces)
    strays = deviation > tol.fit and any(isinstance(p, Bow) and p.free for p in pieces)
    if (noisy or strays) and len(settled.table.bends) <= MOST_BENDS:
        return _polished(made, pieces)
    return made


def _polished(made: _Made, pieces: list[Piece]) -> _Made:
    """The same with every number of the table adjusted to all vertices together, where that comes closer."""
    settled = made.settled
    proofs = []
    for k, (piece, place) in enumerate(zip(pieces, settled.places, strict=True)):
        own = settled.segments[k]
        if own is None:
            continue
        points = thinned(piece.proof)
        mine = distances(points, own)
        for other in (settled.segments[j] for j in (k - 1, k + 1) if 0 <= j < len(pieces)):
            if other is not None:
                keep = mine <= distances(points, other)
                points, mine = points[keep], mine[keep]
        if len(points):
            proofs.append(Proof(place[0], place[1], points))
    fixed = {row for row, bow in enumerate(settled.bows) if bow is not None and bow.exact}
    end = vec(pieces[-1].proof[-1])
    better = polish(settled.table, settled.placement, proofs, fixed, end)
    if better is None:
        return made
    segments = segments_of(better.table, better.placement, list(settled.places))
    deviation = largest([p.proof for p in pieces], segments)
    bends = tuple(
        replace(b, clr_uncertainty=0.0 if row in fixed or b.clr is None else max(loose, 1e-9))
        for row, (b, loose) in enumerate(zip(better.table.bends, better.loose, strict=True))
    )
    table = replace(better.table, bends=bends)
    return _Made(replace(settled, table=table, placement=better.placement, segments=segments), deviation)


# --- what is said about a run ---------------------------------------------------------------


def _remarks(run: Run, settled: Settled, drawn: list[DrawnCurve], tol: Tolerances, display: Display) -> list[Finding]:
    found = [_free_curve(run, group, settled, tol, display) for group in _free_groups(settled, tol)]
    for joint in settled.joints:
        source = drawn[joint.item]
        place = {"tube": run.name, "layer": source.layer, "handle": source.handle, "unit": "deg"}
        size = display.angle(joint.angle)
        if joint.kind == "kink":
            found.append(
                Finding(
                    "kink",
                    f"{run.name}: a straight and an arc meet at {size} before bend {joint.row}; "
                    f"up to {tol.tangent:g}° counts as smooth.",
                    bend=joint.row,
                    at=run.bend_point(joint.row),
                    measured=joint.angle,
                    limit=tol.tangent,
                    cure="Redraw the joint tangent, or raise the tangent tolerance if the drawing is merely coarse.",
                    **place,  # type: ignore[arg-type]
                )
            )
        elif joint.kind == "fold-back":
            found.append(
                Finding(
                    "fold-back",
                    f"{run.name}: the line doubles back on itself by {size} at corner {joint.row}.",
                    bend=joint.row,
                    at=run.bend_point(joint.row),
                    measured=joint.angle,
                    limit=180.0 - tol.tangent,
                    cure="Delete the part that was drawn twice, or draw the bend as an arc.",
                    **place,  # type: ignore[arg-type]
                )
            )
    near = [j for j in settled.joints if j.kind == "near-tangent"]
    if near:
        worst = max(near, key=lambda j: j.angle)
        found.append(
            Finding(
                "near-tangent",
                f"{run.name}: {len(near)} joint{'s' if len(near) > 1 else ''} missed tangency by up to "
                f"{worst.angle:.3f}° and {'were' if len(near) > 1 else 'was'} smoothed.",
                tube=run.name,
                bend=worst.row if run.table.bends else None,
                measured=worst.angle,
                limit=tol.tangent,
                unit="deg",
                layer=run.layer,
                handle=drawn[worst.item].handle,
            )
        )
    fitted = [k for k, b in enumerate(settled.bows, 1) if b is not None and not b.exact]
    bows = len(fitted)
    if bows:
        found.append(
            Finding(
                "curve-fitted",
                f"{run.name}: {bows} bend{'s' if bows > 1 else ''} fitted to drawn chords or curves; "
                f"the table stays within {_fine(run.deviation, display)} of them.",
                tube=run.name,
                measured=run.deviation,
                limit=tol.fit,
                unit="mm",
                layer=run.layer,
                at=run.bend_point(fitted[0]),
                also=tuple(run.bend_point(k) for k in fitted[1 : 1 + PLACES]),
            )
        )
    if run.deviation > tol.fit:
        found.append(
            Finding(
                "rebuild-deviation",
                f"{run.name}: the tube made from the table strays {_fine(run.deviation, display)} from the drawing; "
                f"the fit tolerance is {_fine(tol.fit, display)}.",
                tube=run.name,
                measured=run.deviation,
                limit=tol.fit,
                unit="mm",
                layer=run.layer,
                cure="Redraw the run from straights and tangent arcs where it matters.",
            )
        )
    return found


def _fine(mm: float, display: Display) -> str:
    return fine_length(mm, display)


def _free_groups(settled: Settled, tol: Tolerances) -> list[list[int]]:
    """Rows of fitted bows, end to end and turning on in one way, that only a loose fit finds: free curves."""
    groups: list[list[int]] = []
    current: list[int] = []
    loose = min(FREE_LEVEL, tol.fit / 16.0)

    def close() -> None:
        if len(current) > 1:
            groups.append(current.copy())
        current.clear()

    for k, (row, bow) in enumerate(zip(settled.table.bends, settled.bows, strict=True)):
        if bow is None or bow.exact or bow.level < loose:
            close()
            continue
        goes_on = bool(current) and abs(row.feed) <= 1e-9 and abs(row.rotation) < 90.0
        if not goes_on:
            close()
        current.append(k)
    close()
    return groups


def _free_curve(run: Run, group: list[int], settled: Settled, tol: Tolerances, display: Display) -> Finding:
    """The finding for a free curve: how far the best single bend would stay from it."""
    bows = [b for b in (settled.bows[k] for k in group) if isinstance(b, Bow)]
    points = np.concatenate([b.proof for b in bows])
    circle = fit_circle(points)
    away = circle.residual if circle is not None else 0.0
    row = run.table.bends[group[0]]
    return Finding(
        "not-line-arc",
        f"{run.name}: bends {group[0] + 1} to {group[-1] + 1} stand for a curve that is not made of straights and "
        f"arcs; the best single bend would stray {display.length(away)} from it, the tolerance is "
        f"{_fine(tol.fit, display)}.",
        tube=run.name,
        bend=group[0] + 1,
        measured=away,
        limit=tol.fit,
        unit="mm",
        layer=row.layer,
        handle=row.handle,
        at=run.bend_point((2 * group[0] + len(group) + 1) // 2),
        cure="Redraw it as straights and arcs of a radius the shop has, or have it rolled.",
    )
