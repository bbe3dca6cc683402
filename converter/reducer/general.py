"""One chain the general way: fitted, merged, settled on one tube, polished, measured, remarked upon."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from converter.findings import Clause, Finding
from converter.geometry.circles import fit_circle, vec
from converter.geometry.helix import coil_through
from converter.model.bends import BendTable
from converter.model.curve import Arc, Ellipse, Line, Path, Polyline, Segment, Spline
from converter.model.deviation import distances, largest, largest_along
from converter.model.drawing import DrawnCurve
from converter.model.run import Run
from converter.reducer.adjusting.linear import RowVertices, segments_of
from converter.reducer.adjusting.polish import polish, thinned
from converter.reducer.adjusting.settle import Settled, merge, open_loop, settle
from converter.reducer.chaining.chain import Chain
from converter.reducer.chaining.remarks import PLACES
from converter.reducer.fitting.rows import pieces_of
from converter.reducer.limits import LADDER_EXACT, MOST_PIECES, too_many_pieces
from converter.reducer.pieces import Bow, Piece, Straight
from converter.reducer.sample import ellipse_as_arc, sample_ellipse, sample_spline
from converter.tolerances import DEFAULT, Tolerances

CLOSER = 0.999  #: of the tolerance: what a curve that strays between its points is fitted anew to
LEAST_MOVED = 0.005  #: mm that a radius moved to be another's, from which on it is told
FINER = 4  #: times as many points are measured of a free curve as it is fitted to
MOST_FINER = 100  #: bends: what takes more is no tube, however closely it is followed
FREE_LEVEL = 0.005  #: mm; bows found only above this, end to end, speak of a free curve

#: The clause that counts curves of a kind.
_KINDS = {Line: "drawn-lines", Arc: "drawn-arcs", Spline: "drawn-splines", Ellipse: "drawn-ellipses"}


def reduce_chain(
    one: Chain, name: str, tol: Tolerances = DEFAULT, radii: Sequence[float] = (), most_pieces: int = MOST_PIECES
) -> Run | None:
    """One chain the general way: fit, merge, settle, measure. None when nothing with a length is left.

    Args:
        one: drawn curves, joined.
        name: of the run.
        tol: mm and degrees.
        radii: mm, of the shop's dies, preferred among fitted ones that agree with them.
        most_pieces: no tangent chain of more straights and arcs is looked for in a row of vertices.
    """
    drawn = [d for d, _ in one.items]
    made = _settled(one, tol, radii, most_pieces)
    if made is None:
        return None
    # a free curve is cut finer until the tube follows it within the tolerance, or three times
    finer = tol
    for _ in range(3 if len(made.settled.table.bends) <= MOST_FINER else 0):
        tangent = _is_tangent(made.settled)
        if made.deviation <= tol.fit or not (made.closer if tangent else _free_groups(made.settled, tol)):
            break
        # one fitted as a whole only strays between the points that it was fitted to
        finer = replace(finer, fit=finer.fit * (CLOSER * tol.fit / made.deviation if tangent else 0.5))
        again = _settled(one, finer, radii, most_pieces)
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
    return replace(run, findings=tuple(_run_findings(run, settled, drawn, tol, radii)))


@dataclass(frozen=True, slots=True)
class _SettledChain:
    """A settled chain and the largest distance in mm of what was drawn from it.

    Attributes:
        closer: a free curve lies farther from it between the points that it was fitted to than at them.
    """

    settled: Settled
    deviation: float
    closer: bool = False


def _is_tangent(settled: Settled) -> bool:
    """Whether every bend that is not as drawn was fitted together with what is beside it."""
    return all(bow is None or bow.exact or bow.tangent for bow in settled.bows)


def _settled(one: Chain, tol: Tolerances, radii: Sequence[float], most_pieces: int) -> _SettledChain | None:
    every = pieces_of(one.items, tol, one.closed, radii, most_pieces)
    pieces = [p for p in every if not isinstance(p, Straight) or p.length > 0.0]
    if not pieces:
        return None
    pieces = merge(pieces, tol)
    if one.closed:
        pieces = merge(open_loop(pieces), tol)
    if len(pieces) > MOST_PIECES:
        raise too_many_pieces()
    settled = settle(pieces, tol)
    deviation = largest([p.proof for p in pieces], settled.segments) if any(settled.segments) else 0.0
    made = _SettledChain(settled, deviation)
    noisy = any(isinstance(p, Bow) and not (p.free or p.tangent) and p.level > LADDER_EXACT for p in pieces)
    if not noisy and any(isinstance(p, Bow) and p.tangent for p in pieces):
        # fitted already, but for what was drawn exactly beside it, or where a loop was closed
        noisy = deviation > max(p.level for p in pieces if isinstance(p, Bow)) + tol.equal
    strays = deviation > tol.fit and any(isinstance(p, Bow) and p.free for p in pieces)
    if noisy or strays:
        made = _polished(made, pieces)
    between = _free_deviation(one, [s for s in made.settled.segments if s is not None], tol)
    return replace(made, deviation=between, closer=True) if between > made.deviation else made


def _polished(made: _SettledChain, pieces: list[Piece]) -> _SettledChain:
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
            proofs.append(RowVertices(place[0], place[1], points))
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
    return _SettledChain(replace(settled, table=table, placement=better.placement, segments=segments), deviation)


def _free_deviation(one: Chain, segments: Sequence[Segment], tol: Tolerances) -> float:
    """Largest distance in mm of the free curves of a chain from segments, at closer points than they were fitted to."""
    worst = 0.0
    for drawn, backward in one.items:
        curve = drawn.curve.reversed() if backward else drawn.curve
        for part in curve.parts if isinstance(curve, Path) else (curve,):
            if isinstance(part, Spline) and part.degree > 1:
                points = sample_spline(part, FINER)
            elif isinstance(part, Ellipse) and ellipse_as_arc(part, tol.equal) is None:
                points = sample_ellipse(part, FINER)
            else:
                continue
            worst = max(worst, largest_along(points, segments) if segments else 0.0)
    return worst


# --- what is told of a run ---------------------------------------------------------------


def _run_findings(
    run: Run, settled: Settled, drawn: list[DrawnCurve], tol: Tolerances, radii: Sequence[float]
) -> list[Finding]:
    return [
        *_free_curves(run, _free_groups(settled, tol), settled, tol),
        *_kinks(run, settled, drawn, tol),
        *_nearly_tangent(run, settled, drawn, tol),
        *_shared_radii(run, settled, radii),
        *_strayings(run, settled, drawn, tol),
    ]


def _kinks(run: Run, settled: Settled, drawn: list[DrawnCurve], tol: Tolerances) -> list[Finding]:
    """Straights and arcs that meet at an angle which no bend makes, and where the line doubles back on itself."""
    findings = []
    for joint in settled.joints:
        if joint.kind not in ("kink", "fold-back"):
            continue
        values: dict[str, object] = {"angle": joint.angle}
        limit = 180.0 - tol.tangent
        if joint.kind == "kink":
            limit = values["limit"] = tol.tangent
        findings.append(
            Finding(
                joint.kind,
                tube=run.name,
                bend=joint.row,
                at=run.bend_point(joint.row),
                measured=joint.angle,
                limit=limit,
                unit="deg",
                layer=drawn[joint.item].layer,
                handle=drawn[joint.item].handle,
                values=values,
            )
        )
    return findings


def _nearly_tangent(run: Run, settled: Settled, drawn: list[DrawnCurve], tol: Tolerances) -> list[Finding]:
    """Joints that missed tangency by less than the tolerance and were smoothed, in one finding."""
    near = [j for j in settled.joints if j.kind == "near-tangent"]
    if not near:
        return []
    worst = max(near, key=lambda j: j.angle)
    bend = worst.row if run.table.bends else None
    return [
        Finding(
            "near-tangent",
            tube=run.name,
            variant="one" if len(near) == 1 else "" if bend is None else "worst there",
            bend=bend,
            measured=worst.angle,
            limit=tol.tangent,
            unit="deg",
            layer=run.layer,
            handle=drawn[worst.item].handle,
            values={"joints": len(near), "angle": worst.angle},
        )
    ]


def _strayings(run: Run, settled: Settled, drawn: list[DrawnCurve], tol: Tolerances) -> list[Finding]:
    """How far the run strays from what was drawn: where curves were fitted, and where by more than it may."""
    findings = []
    fitted = [k for k, b in enumerate(settled.bows, 1) if b is not None and not b.exact]
    if fitted:
        findings.append(
            Finding(
                "curve-fitted",
                tube=run.name,
                measured=run.deviation,
                limit=tol.fit,
                unit="mm",
                layer=run.layer,
                at=run.bend_point(fitted[0]),
                also=tuple(run.bend_point(k) for k in fitted[1 : 1 + PLACES]),
                values={"bends": len(fitted), "away": run.deviation, "drawn": _drawn_as(drawn)},
            )
        )
    if run.deviation > tol.fit:
        findings.append(
            Finding(
                "rebuild-deviation",
                tube=run.name,
                variant="scatter" if any(bow is not None and bow.scattered for bow in settled.bows) else "",
                measured=run.deviation,
                limit=tol.fit,
                unit="mm",
                layer=run.layer,
                values={"away": run.deviation, "limit": tol.fit},
            )
        )
    return findings


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
        if bow is not None and bow.tangent:
            apart = bool(current) and row.feed > max(bow.arc.length, _arc_length(settled, current[-1]))
            if not bow.doubtful or abs(row.rotation) >= 90.0 or apart:
                close()
            if bow.doubtful:
                current.append(k)
            continue
        if bow is None or bow.exact or bow.level < loose:
            close()
            continue
        goes_on = bool(current) and abs(row.feed) <= 1e-9 and abs(row.rotation) < 90.0
        if not goes_on:
            close()
        current.append(k)
    close()
    return groups


def _arc_length(settled: Settled, row: int) -> float:
    bow = settled.bows[row]
    return 0.0 if bow is None else bow.arc.length


def _free_curves(run: Run, groups: list[list[int]], settled: Settled, tol: Tolerances) -> list[Finding]:
    """A finding for each free curve of a run: how far the best single bend strays from the worst turn of it."""
    curves: list[tuple[list[int], float]] = []
    for group in groups:
        circle = fit_circle(np.concatenate([b.proof for b in (settled.bows[k] for k in group) if isinstance(b, Bow)]))
        away = circle.residual if circle is not None else 0.0
        if away <= tol.fit:  # a single bend would do
            continue
        if curves and curves[-1][0][-1] + 1 == group[0]:  # the same curve turning the other way
            curves[-1] = (curves[-1][0] + group, max(curves[-1][1], away))
        else:
            curves.append((group, away))
    findings = []
    for rows, away in curves:
        first, last = rows[0] + 1, rows[-1] + 1
        row = run.table.bends[rows[0]]
        findings.append(
            Finding(
                "not-line-arc",
                tube=run.name,
                variant="two" if last == first + 1 else "",
                bend=first,
                measured=away,
                limit=tol.fit,
                unit="mm",
                layer=row.layer,
                handle=row.handle,
                at=run.bend_point((first + last) // 2),
                values={"other_bend": last, "away": away, "limit": tol.fit, "coil": _coil(settled, rows, tol)},
            )
        )
    return findings


def _coil(settled: Settled, rows: Sequence[int], tol: Tolerances) -> Clause | str:
    """That a free curve is a coil, with what a roller is set to; '' where it is none."""
    helix = coil_through(
        np.concatenate([b.proof for b in (settled.bows[k] for k in rows) if isinstance(b, Bow)]), tol.fit
    )
    if helix is None:
        return ""
    return Clause.of("coil", turns=helix.turns, radius=helix.radius, rise=helix.rise)


def _drawn_as(drawn: Sequence[DrawnCurve]) -> tuple[Clause, ...]:
    """What a run was drawn as: ``24 chords``, ``1 spline``, counted by kind."""
    counts: Counter[str] = Counter()
    for one in drawn:
        for part in one.curve.parts if isinstance(one.curve, Path) else (one.curve,):
            if isinstance(part, Polyline):
                counts["drawn-chords"] += len(part.points) - 1
            else:
                counts[_KINDS[type(part)]] += 1
    return tuple(Clause.of(kind, count=count) for kind, count in counts.items())


def _shared_radii(run: Run, settled: Settled, radii: Sequence[float]) -> list[Finding]:
    """That bends have one radius, or a die's, though each alone would have its own: a finding for each radius."""
    groups: dict[float, list[int]] = {}
    for k, bow in enumerate(settled.bows):
        if bow is not None and bow.alone:
            groups.setdefault(bow.arc.radius, []).append(k)
    findings = []
    for radius, rows in groups.items():
        own = [bow.alone for bow in (settled.bows[k] for k in rows) if bow is not None]
        if max(abs(r - radius) for r in own) <= LEAST_MOVED:
            continue
        findings.append(
            Finding(
                "radius-shared",
                tube=run.name,
                variant="die" if radius in radii else "",
                bend=rows[0] + 1,
                measured=max(abs(r - radius) for r in own),
                unit="mm",
                layer=run.layer,
                at=run.bend_point(rows[0] + 1),
                also=tuple(run.bend_point(k + 1) for k in rows[1 : 1 + PLACES]),
                values={"bends": len(rows), "radius": radius, "sizes": (min(own), max(own))},
            )
        )
    return findings
