"""One body of a mesh as a tube, or the reason why it is none.

The order of work: the radius and a rough thread; stations along it; a first table; the table
that fits the vertices best; the same again measured along that table, which finds the vertices of
the outside and the bore surely; then what the data does not need is taken out, ends are cut to
the metal, and every vertex is held against the result.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from converter.arrays import Array, Ints
from converter.findings import Clause, Finding, Reason
from converter.importers.mesh.choose import CLOSE, chosen, gain, simpler
from converter.importers.mesh.curved import draft_from_windows
from converter.importers.mesh.develop import FINER, drafts_by_development, single_straight
from converter.importers.mesh.doubt import Doubt, doubted
from converter.importers.mesh.effort import Effort
from converter.importers.mesh.ends import begun_in_middle, cut_to, end_of, halves, is_ring, starts_smaller
from converter.importers.mesh.feet import Feet, TablePart, feet_of, parts_of
from converter.importers.mesh.measured import Measured
from converter.importers.mesh.misfit import Misfit, misfit_of
from converter.importers.mesh.refine import BEYOND, Fit, fit
from converter.importers.mesh.rest import rest_finding
from converter.importers.mesh.skins import (
    AT_SEAM,
    NotATube,
    Skins,
    fitted_track,
    hint_of,
    rough_track,
    skins_of,
    some_faces,
    thinned,
)
from converter.importers.mesh.stations import Track, rings_of, some_rings_of, unrest, windows_of
from converter.importers.mesh.structure import draft, from_rings
from converter.importers.mesh.thread import Thread, find_radius, find_thread
from converter.importers.mesh.weld import MeshBody
from converter.model.bends import BendTable, Placement
from converter.model.centerline import reverse_table

FEWEST_VERTICES = 800  #: of each skin that are fitted where they are exact
FEW_VERTICES = 2000  #: of each skin that are fitted to begin with
SOME_VERTICES = 5000  #: of each skin that are fitted while choosing
MOST_VERTICES = 16000  #: that are fitted at last where they scatter; all are measured
FOLDED = 120.0  #: degrees; no corner turns so far
MOST_OTHERS = 6  #: alternatives that are fitted to all vertices
FLAT = 0.84  #: of the radius: a side closer to the axis is flat
CHECKED = 1500  #: faces looked at to see whether the tube is all there is
EXACT = 5e-5  #: of the radius: scatter below this is rounding
ROUGH = 0.04  #: of the radius: a standard deviation above this is no tube
BRANCHED = 0.85  #: share of a thread's points along its longest way, below which it branches
MOSTLY_FLAT = 0.6  #: share of a surface in six directions that no round tube, unless very coarse, has
FLAT_SIDES = "its sides are flat, but no square or rectangular tube or bar runs through it"
FEWEST_ON_RIM = 6  #: vertices by which an end is known
LEVEL = 4e-4  #: of the radius by which vertices may miss the surface of a cut
REST = 0.05  #: of the radius by which a surface is not the tube's
HOPELESS = 0.08  #: of the radius: one above this is no table to search on from


def measure(body: MeshBody, effort: Effort | None = None) -> Measured:
    """The tube that a body is.

    Args:
        body: one connected piece of mesh.
        effort: what the search for its table may take; None for as much as for a file of its own.

    Raises:
        NotATube: it is none; the reason as a phrase.
    """
    effort = effort or Effort(len(body.faces))
    with effort.for_body(len(body.faces)):
        return _measured(body, effort)


def _measured(body: MeshBody, effort: Effort) -> Measured:
    found = find_radius(body)
    if found is None:
        raise NotATube(_flat_reason(body))
    thread = find_thread(body, *found)
    if thread is None:
        raise NotATube("it is round but not long, not a tube")
    try:
        return _along(body, thread, effort)
    except NotATube as told:
        partly = isinstance(told.why, Clause) and told.why.name == "mesh-partly-round"  # says it better
        why = None if partly else _seen_instead(body, thread)
        raise told if why is None else NotATube(why) from told


def _along(body: MeshBody, thread: Thread, effort: Effort) -> Measured:
    track = rough_track(thread)
    skins = skins_of(some_faces(body), track, thread, thread.radius)
    best = _first_fit(skins, track, thread, effort)
    for _ in range(2):
        # along the fitted tube the vertices' places are true, so rings show even where they are close
        track = fitted_track(best, thread.closed)
        skins = skins_of(body, track, thread, best.radius)
        if best.sigma <= EXACT * best.radius and (best.bore is None) == (skins.bore is None):
            break
        again = _second_fit(skins, best, thread, effort)
        same = again.sigma >= 0.98 * best.sigma
        best = again
        if same:
            break
    best = _perhaps_better(best, skins, track, effort)
    best, alternatives, misfit = _likeliest(best, skins, track, effort)
    if any((b.clr or 0.0) < best.radius and (b.clr is not None or b.angle > FOLDED) for b in best.table.bends):
        raise NotATube("the only straights and bends found along it have one tighter than the tube itself")
    compared = _cut(best, skins) if alternatives else best
    doubt = doubted(compared, [_cut(one, skins) for one in alternatives], misfit)
    best = replace(best, table=doubt.onto(best.table))
    if best.sigma > ROUGH * best.radius:
        raise _strayed(best)
    parts = parts_of(best.table, best.placement)
    _check_covered(body, best, thread.outward)
    tube = _finished(body, best, skins, parts, thread, doubt)
    return replace(tube, searched=not effort.is_used_up)


def _flat_reason(body: MeshBody) -> str:
    """Why a body without a radius is no tube."""
    if _flat_share(body) > 0.8:
        return "it has flat faces only, and no square or rectangular tube or bar runs through it"
    return "no round tube was found in its surface"


def _flat_share(body: MeshBody) -> float:
    """Share of a body's area in the six directions that most of it looks in."""
    rounded = np.round(body.normals, 2)
    _, index = np.unique(rounded, axis=0, return_inverse=True)
    share = np.bincount(index.reshape(-1), body.areas)
    return float(np.sort(share)[::-1][:6].sum() / share.sum())


def _seen_instead(body: MeshBody, thread: Thread) -> Reason | None:
    """What is seen of a body that is no tube and says more than what could not be done with it; None for nothing."""
    if _flat_share(body) > MOSTLY_FLAT:
        return FLAT_SIDES
    if thread.unbranched < BRANCHED:
        return Clause.of("mesh-branched", percent=100.0 * (1.0 - thread.unbranched))
    return None


def _drafts(
    skins: Skins, track: Track, radius: float, closed: bool
) -> Iterator[tuple[BendTable, Placement, float, bool]]:
    """First tables to try, the likeliest first, each with the noise its stations found (mm), and whether from rings."""
    rings = rings_of(skins.outer, radius)
    if rings is not None:
        exact = from_rings(rings, closed)
        if exact is not None:
            yield exact.table, exact.placement, rings.noise, True
            return
        loose = draft(replace(rings, rings=False), closed, max(0.002 * radius, 4.0 * rings.noise))
        if loose is not None:
            yield loose.table, loose.placement, rings.noise, True
    partly = None if rings is not None or closed else some_rings_of(skins.outer, radius)
    between = None if partly is None else from_rings(partly, closed)
    if partly is not None and between is not None:
        yield between.table, between.placement, partly.noise, True
    # of a coped straight that is coarse the vertices lie along its two cuts alone, which look bent
    straight = single_straight(skins.outer, radius)
    if straight is not None:
        yield *straight, 0.0, False
    windows = windows_of(skins.outer, track, radius)
    if windows is None:
        return
    for table, placement in drafts_by_development(skins.outer, track, radius):
        yield table, placement, windows.noise, False
    curved = draft_from_windows(windows, radius)
    if curved is not None:
        yield _opened(curved[0], radius), curved[1], windows.noise, False
    loose = draft(windows, False, max(0.01 * radius, 5.0 * unrest(windows.centers)))
    if loose is not None:
        yield loose.table, loose.placement, windows.noise, False


def _opened(table: BendTable, radius: float) -> BendTable:
    """Bends end to end get a short straight between them: windows cannot see one, the fit will tell."""
    bends = tuple(replace(b, feed=0.05 * radius) if k > 0 and b.feed == 0.0 else b for k, b in enumerate(table.bends))
    return replace(table, bends=bends)


def _fitted(
    table: BendTable,
    placement: Placement,
    skins: Skins,
    radius: float,
    effort: Effort,
    most: int = FEW_VERTICES,
    trusting: bool = False,
) -> Fit:
    """The least-squares tube; a loop's ends are not prolonged beyond each other."""
    outer = thinned(skins.outer, most)
    inner = thinned(skins.inner, most // 2) if skins.inner is not None else None
    if not skins.closed:
        # straights at the ends reach to the last vertices, wherever the first table began
        hint = hint_of(outer, table, placement)
        table, placement = cut_to(
            table, placement, min(0.0, float(hint[0])), max(table.developed_length, float(hint[-1]))
        )
    return fit(
        table,
        placement,
        outer.points,
        hint_of(outer, table, placement),
        None if inner is None else (inner.points, hint_of(inner, table, placement)),
        radius,
        skins.bore,
        AT_SEAM if skins.closed else BEYOND,
        not skins.closed,
        trusting,
        effort,
    )


def _first_fit(skins: Skins, track: Track, thread: Thread, effort: Effort) -> Fit:
    best: Fit | None = None
    for table, placement, noise, ringed in _drafts(skins, track, thread.radius, thread.closed):
        one = _fitted(table, placement, skins, thread.radius, effort, FEWEST_VERTICES if ringed else FEW_VERTICES)
        if ringed and one.sigma > HOPELESS * thread.radius:
            continue  # of rings that belong to nothing
        if best is None or one.sigma < best.sigma:
            best = one
        if effort.is_used_up:
            break
        if best.sigma <= 1.1 * noise + 2e-4 * thread.radius if ringed else not _misfit(best, skins, FEW_VERTICES).clear:
            break
    if best is None:
        raise NotATube(
            "no row of straights and bends was found along it: it has a corner that no bend makes, is several tubes or "
            "parts in one body, or is too coarse (facets of 15° serve, around the tube and along its bends)"
        )
    return best


def _second_fit(skins: Skins, best: Fit, thread: Thread, effort: Effort) -> Fit:
    """The fit begun anew from rings where these now show, else from the first one."""
    rings = rings_of(skins.outer, best.radius)
    exact = from_rings(rings, thread.closed) if rings is not None else None
    if exact is not None:
        one = _fitted(exact.table, exact.placement, skins, best.radius, effort)
        if one.sigma <= best.sigma * 1.001 + 1e-9:
            return one
    return _fitted(best.table, best.placement, skins, best.radius, effort)


def _perhaps_better(best: Fit, skins: Skins, track: Track, effort: Effort) -> Fit:
    """The fit, or one begun anew where it strays so far that it is worth no search for its neighbours.

    Raises:
        NotATube: that strays as far.
    """
    if best.sigma <= HOPELESS * best.radius:
        return best
    for table, placement in drafts_by_development(skins.outer, track, best.radius, FINER):
        one = _fitted(table, placement, skins, best.radius, effort)
        best = one if one.sigma < best.sigma else best
        if effort.is_used_up:
            break
    if best.sigma > HOPELESS * best.radius:
        raise _strayed(best)
    return best


def _strayed(best: Fit) -> NotATube:
    return NotATube(Clause.of("mesh-strays-from-round", sigma=float(best.sigma), od=2.0 * float(best.radius)))


def _likeliest(best: Fit, skins: Skins, track: Track, effort: Effort) -> tuple[Fit, list[Fit], Misfit]:
    """The table to believe, what cannot be told from it, and how it misses the vertices."""
    misfit = _misfit(best, skins, FEW_VERTICES)
    if best.rms <= EXACT * best.radius and not misfit.suspect and next(simpler(best), None) is None:
        return best, [], misfit
    best, alternatives = _chosen(best, skins, track, SOME_VERTICES, effort)
    if best.sigma > EXACT * best.radius:
        best, alternatives = _with_all(best, alternatives, skins, effort)
        if _misfit(best, skins, MOST_VERTICES).suspect and not effort.is_used_up:
            best, more = _chosen(best, skins, track, MOST_VERTICES, effort)
            alternatives = [one for one in (*alternatives, *more) if one is not best and gain(best, one) > -CLOSE]
    return best, alternatives, _misfit(best, skins, MOST_VERTICES)


def _chosen(best: Fit, skins: Skins, track: Track, most: int, effort: Effort) -> tuple[Fit, list[Fit]]:
    """The table to believe of all that are like the best so far, and those that cannot be told from it."""
    exact = best.sigma <= EXACT * best.radius

    def refit(table: BendTable, placement: Placement) -> Fit:
        if exact:
            one = _fitted(table, placement, skins, best.radius, effort, most, True)
            table, placement = one.table, one.placement
        return _fitted(table, placement, skins, best.radius, effort, most)

    def misfit(one: Fit) -> Misfit:
        return _misfit(one, skins, most)

    def others() -> Iterator[tuple[BendTable, Placement]]:
        return drafts_by_development(skins.outer, track, best.radius, FINER)

    return chosen(refit(best.table, best.placement), refit, misfit, others, effort)


def _with_all(best: Fit, alternatives: list[Fit], skins: Skins, effort: Effort) -> tuple[Fit, list[Fit]]:
    """The same with all vertices, by which some alternatives may drop out, or one may win."""
    everything = [_fitted(best.table, best.placement, skins, best.radius, effort, MOST_VERTICES)]
    for one in alternatives[:MOST_OTHERS]:
        if effort.is_used_up:
            break
        everything.append(_fitted(one.table, one.placement, skins, one.radius, effort, MOST_VERTICES))
    best = everything[0]
    for one in everything[1:]:
        if gain(best, one) > 0.0:
            best = one
    return best, [one for one in everything if one is not best and gain(best, one) > -CLOSE]


def _cut(one: Fit, skins: Skins) -> Fit:
    """A fit whose table reaches as far as the vertices do, so that it can be held against another."""
    if skins.closed:
        return one
    place = skins.feet(skins.outer, one.table, one.placement, one.radius).place
    return replace(one, table=cut_to(one.table, one.placement, float(place.min()), float(place.max()))[0])


def _misfit(one: Fit, skins: Skins, most: int) -> Misfit:
    outer = thinned(skins.outer, most)
    feet = skins.feet(outer, one.table, one.placement, one.radius)
    return misfit_of(feet.off - one.radius, feet.up, feet.place, one.radius, one.unknowns)


def _check_covered(body: MeshBody, best: Fit, outward: float) -> None:
    """Refuse a body of which the tube is only a part."""
    parts = parts_of(best.table, best.placement)
    some = np.arange(0, len(body.faces), 1 + len(body.faces) // CHECKED)
    areas = body.areas[some]
    feet = feet_of(body.points[body.faces[some].reshape(-1)], parts, BEYOND * best.radius)
    slack = max(0.05 * best.radius, 6.0 * best.sigma)
    on = np.abs(feet.off - best.radius) <= slack
    if best.bore is not None:
        on |= np.abs(feet.off - best.bore) <= slack
    _check_facets(body, best, parts, some, outward)
    inside = feet.off <= best.radius + slack
    total = float(areas.sum())
    covered = float(areas[on.reshape(-1, 3).all(axis=1)].sum())
    within = float(areas[inside.reshape(-1, 3).all(axis=1)].sum())
    if covered < 0.5 * total or within < 0.8 * total:
        raise NotATube(
            Clause.of("mesh-partly-round", percent=100.0 * covered / total, od=2.0 * float(best.radius)),
        )


def _check_facets(body: MeshBody, best: Fit, parts: list[TablePart], some: Ints, outward: float) -> None:
    """Refuse flat sides: the corners of square tube lie on a circle too, but its sides cut deep into it.

    The sides of 8 facets are cos(180 / 8) = 0.92 of the radius from the axis, those of a square 0.71.
    """
    middle = body.points[body.faces[some]].mean(axis=1)
    feet = feet_of(middle, parts, BEYOND * best.radius)
    facing = outward * np.einsum("ij,ij->i", feet.up, body.normals[some])
    depth = feet.off * facing
    outer = (facing > 0.5) & (feet.off > 0.6 * best.radius)
    areas = body.areas[some]
    flat = float(areas[outer & (depth < FLAT * best.radius)].sum())
    if flat > 0.4 * float(areas[outer].sum()):
        raise NotATube(FLAT_SIDES)


def _finished(
    body: MeshBody, best: Fit, skins: Skins, parts: list[TablePart], thread: Thread, doubt: Doubt
) -> Measured:
    feet = skins.feet(skins.outer, best.table, best.placement, best.radius)
    off = feet.off - best.radius
    deviation = float(np.abs(off).max())
    count = len(off)
    if skins.inner is not None and best.bore is not None:
        inner = skins.feet(skins.inner, best.table, best.placement, best.radius)
        deviation = max(deviation, float(np.abs(inner.off - best.bore).max()))
        count += len(inner.off)
    oval, taper = _shape(off, feet, parts)
    table, placement = best.table, best.placement
    metal = (0.0, 0.0)
    remarks: tuple[Finding, ...] = ()
    slack = max(LEVEL * best.radius, 6.0 * best.sigma)
    span = None
    if thread.closed:
        table, placement = begun_in_middle(_closed(table, placement, best.radius), placement)
        if is_ring(table):
            table, placement = halves(table, placement)
    else:
        has_rim = len(skins.rim) >= FEWEST_ON_RIM
        rim = feet_of(skins.rim, parts, BEYOND * best.radius) if has_rim else feet
        a, b = (end_of(rim, parts, best.radius, slack, first) for first in (True, False))
        if b.place - a.place < best.radius:
            raise NotATube("it is shorter than half its diameter")
        metal = (_hair(a.place - a.farthest), _hair(b.farthest - b.place))
        slack_off = max(REST * best.radius, slack)
        span = min(a.place, a.farthest) - slack_off, max(b.place, b.farthest) + slack_off
        table, placement = cut_to(table, placement, a.place, b.place)
        if not starts_smaller(table, placement):
            table, placement = reverse_table(table, placement)
            metal, taper, doubt, a, b = (metal[1], metal[0]), -taper, doubt.reversed(), b, a
        if has_rim:
            remarks = tuple(
                Finding("solid-ends", variant=end.on, tube="", end=letter, measured=past, unit="mm")
                for letter, end, past in zip("AB", (a, b), metal, strict=True)
                if abs(past) > slack or end.on != "cut"
            )
    rest = rest_finding(body, parts, best.radius, max(REST * best.radius, slack), span)
    remarks = remarks if rest is None else (*remarks, rest)
    return Measured(
        table, placement, thread.closed, best.radius, best.bore, deviation, best.sigma, best.od_loose, metal, count,
        oval, taper, thread.outward, body.is_open, doubt, remarks=remarks,
    )  # fmt: skip


def _hair(value: float) -> float:
    return 0.0 if abs(value) < 1e-6 else value


def _closed(table: BendTable, placement: Placement, radius: float) -> BendTable:
    """The tail that brings a loop back to its start."""
    from converter.model.centerline import walk

    end = walk(replace(table, tail=0.0), placement)[1]
    gap = sum((a - b) * d for a, b, d in zip(placement.start, end.start, end.direction, strict=True))
    return replace(table, tail=max(0.0, gap) if gap > -0.5 * radius else 0.0)


def _shape(off: Array, feet: Feet, parts: list[TablePart]) -> tuple[float, float]:
    """How oval and how tapered the outside is, mm of diameter: least squares on the residuals."""
    x = np.empty((len(off), 2))
    for k, part in enumerate(parts):
        own = feet.part == k
        if own.any():
            n = np.array(part.n)
            b = np.cross(n, np.array(part.t))
            if part.arc is not None:
                # across the tube: the bend's normal and the direction from its centre
                c = feet.up[own] - (feet.up[own] @ n)[:, None] * n
                sign = np.sign(np.where(np.abs(c @ b) > 0, c @ b, 1.0))
                x[own, 0] = feet.up[own] @ n
                x[own, 1] = np.sqrt((c * c).sum(axis=1)) * sign
            else:
                x[own, 0], x[own, 1] = feet.up[own] @ n, feet.up[own] @ b
    angle = 2.0 * np.arctan2(x[:, 1], x[:, 0])
    place = feet.place / max(1e-9, float(np.ptp(feet.place)))
    design = np.stack((np.cos(angle), np.sin(angle), place - place.mean(), np.ones_like(place)), axis=1)
    answer = np.linalg.lstsq(design, off, rcond=None)[0]
    return 4.0 * float(np.hypot(answer[0], answer[1])), 2.0 * float(answer[2])
