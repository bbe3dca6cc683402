"""One body of a mesh as a square or rectangular tube or bar, or the reason why it is none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from converter.findings import Clause, Finding
from converter.geometry.circles import fit_line, vec
from converter.geometry.vectors import angle_between, dot, scale, sub, unit
from converter.importers.body_checks import BAR_WIDTHS, VOLUME_LEAST, ends_slack, volume_off, volume_remarks
from converter.importers.mesh.choose import chosen, possible, simpler
from converter.importers.mesh.develop import drafts_of_row
from converter.importers.mesh.doubt import Doubt, doubted
from converter.importers.mesh.effort import Effort
from converter.importers.mesh.ends import cut_to, starts_smaller
from converter.importers.mesh.measured import Measured
from converter.importers.mesh.misfit import Misfit, misfit_of
from converter.importers.mesh.skins import NotATube
from converter.importers.mesh.square.cuts import RectangleCut
from converter.importers.mesh.square.ends import SquareEnd, ends_of
from converter.importers.mesh.square.fit import SMALLEST_CORNER, SquareFit, fit_square
from converter.importers.mesh.square.follow import FollowedTube, followed
from converter.importers.mesh.square.proof import (
    volume_of,
    walls_of,
    why_without_walls,
)
from converter.importers.mesh.square.rows import (
    SIDES,
    FramedPart,
    SideFaces,
    SkinRows,
    SquareSizes,
    frames_at,
    misses,
    off_outline,
    places_on,
    rows_of,
    side_faces,
    stretches_of,
)
from converter.importers.mesh.stations import Stations, unrest
from converter.importers.mesh.weld import MeshBody
from converter.model.bends import BendTable, Placement
from converter.model.centerline import reverse_table
from converter.model.section import Section

EXACT = 5e-5  #: of half the smaller side: scatter below this is rounding
ROUGH = 0.03  #: of half the smaller side: a standard deviation above this is no such tube
BLURS = (0.1, 0.02, 0.004, 8e-4)  #: of half the smaller side: what cuts are off by, of coarse bends and of fine ones
GOOD = 0.01  #: of half the smaller side: scatter that may be noise, so that no other first table is tried
COVERED = 0.98  #: of a body's area that faces of a first table are, so that no other one is tried
DENSE = 48.0  #: rows for each half of the smaller side along a tube, from which a misfit shows
BETTER = 0.7  #: of the scatter: a table of more bends must follow the vertices so much closer to be the first one
FEW, SOME, MOST = 1200, 4000, 12000  #: rows that are fitted to begin with, while choosing, and at last
SHARP = 4e-3  #: of the smaller side: corners that seem less round are tried as sharp first
CLOSE = 0.02  #: of half the smaller side: how far from its outline the vertices of a close fit may be
STRAIGHT = 2e-3  #: of half the smaller side: cuts this close to a line are a straight
MOST_DRAFTED = 1500  #: cuts that first tables go through: of 40 mm, 21 m; to divide them goes by their square
ASKEW = 12.0  #: degrees by which a section may seem turned against the first bend before it is fitted
FLUSH = 0.2  #: degrees; the same afterwards
ALL_CORNERS = 0.98  #: of half the smaller side: corners as round leave no flat
STUB = 0.5  #: of the greater side: a shorter tube is a ring
HARDLY, MOSTLY = 0.3, 0.8  #: of a body's area is this tube at least, to be named and to be taken
MOSTLY_FLAT = 0.5  #: of a body's area lies along a row of rectangles, so that no round tube is sought in it
EVEN = 1e-4  #: of the smaller side by which the sides of a square may differ
ALL_OF_IT = 0.995  #: of a body's area; what is missing is told


class FlatSidedError(NotATube):
    """A body is no square or rectangular tube or bar, but its sides are flat: no round tube need be sought."""


def measure_square(body: MeshBody, effort: Effort) -> Measured | None:
    """The square or rectangular tube or bar that a body is; None where no row of rectangles runs through it.

    Args:
        body: one connected piece of mesh.
        effort: what it takes is charged to.

    Raises:
        NotATube: rectangles run through it, and it is none all the same; the reason.
    """
    row = followed(body, effort)
    if row is None:
        return None
    try:
        return _along(body, row, effort)
    except NotATube as told:
        if _share_followed(body, row) < MOSTLY_FLAT:
            raise
        raise FlatSidedError(told.why) from told


def _share_followed(body: MeshBody, row: FollowedTube) -> float:
    """Roughly the share of a body's area that lies along a row of rectangles."""
    usual = row.usual
    around = sum(2.0 * (one.width + one.height) for one in (usual, usual.bore) if one is not None)
    return around * row.length / float(body.areas.sum())


def _along(body: MeshBody, row: FollowedTube, effort: Effort) -> Measured:
    if row.closed:
        raise NotATube("a closed loop of square or rectangular tube or bar, which is not read from meshes")
    outward = 1.0 if row.usual.area > 0.0 else -1.0
    best, rows, faces = _first_fit(body, row, outward, effort)
    if best.sigma > ROUGH * best.radius:
        raise _strayed(best)
    best, alternatives, misfit = _likeliest(best, rows, effort)
    if not possible(best):
        raise NotATube("the only straights and bends found along it have one tighter than the tube itself")
    rows, faces = _rows(body, best, outward)
    best = _refit(best, rows, MOST, effort)
    doubt = doubted(best, alternatives, misfit)
    best = replace(best, table=doubt.onto(best.table))
    return _proven(body, best, rows, faces, outward, doubt, effort)


def _strayed(best: SquareFit) -> NotATube:
    sizes = (best.sizes.width, best.sizes.height)
    return NotATube(Clause.of("mesh-strays-from-flat", sigma=float(best.sigma), sizes=sizes))


# --- the fit ----------------------------------------------------------------------------------


def _first_fit(
    body: MeshBody, row: FollowedTube, outward: float, effort: Effort
) -> tuple[SquareFit, SkinRows, SideFaces]:
    best: SquareFit | None = None
    is_askew, most = False, 0.0
    for draft in _drafts(row):
        lying = _oriented(*draft, row)
        if lying is None:
            is_askew = True
            continue
        table, placement, sizes = lying
        faces = side_faces(body, stretches_of(table, placement), sizes, outward)
        rows = rows_of(body, faces, sizes.wall is not None)
        if len(rows.points) < 8:
            continue
        one = fit_square(table, placement, sizes, rows.thinned(FEW), effort)
        # a table that is wrong fits the faces well that it has, but has few
        faces = _rows(body, one, outward)[1]
        share = float(body.areas[faces.outer | faces.bore].sum() / body.areas.sum())
        if best is None or share > 1.02 * most or (share > 0.98 * most and one.sigma < BETTER * best.sigma):
            best, most = one, share
        if effort.is_used_up or (best.sigma <= EXACT * best.radius and most > COVERED):
            break
        dense = len(rows.points) >= DENSE * best.table.developed_length / best.radius
        if dense and most > COVERED and best.sigma <= GOOD * best.radius and not _misfit(best, rows).suspect:
            break
    if best is None:
        raise NotATube(
            "its sides are flat, and its section is turned against its first bend"
            if is_askew
            else "its sides are flat, but no row of straights and bends was found along it"
        )
    for _ in range(3):
        rows, faces = _rows(body, best, outward)
        again = _refit(best, rows, SOME, effort)
        settled = again.sigma >= 0.98 * best.sigma or again.sigma <= EXACT * again.radius
        best = again
        if settled:
            break
    return best, rows, faces


def _rows(body: MeshBody, best: SquareFit, outward: float) -> tuple[SkinRows, SideFaces]:
    # a fit that is close knows its vertices by where they lie
    within = max(CLOSE * best.radius, 8.0 * best.sigma) if best.sigma <= ROUGH * best.radius else None
    faces = side_faces(body, stretches_of(best.table, best.placement), best.sizes, outward, within)
    return rows_of(body, faces, best.sizes.wall is not None), faces


def _refit(best: SquareFit, rows: SkinRows, most: int, effort: Effort) -> SquareFit:
    one = fit_square(best.table, best.placement, best.sizes, rows.thinned(most), effort)
    return _with_corners(one, rows, most, effort)


def _with_corners(one: SquareFit, rows: SkinRows, most: int, effort: Effort) -> SquareFit:
    """The fit, or one with sharp corners in place of rounded or rounded in place of sharp, if that fits better."""
    for name in ("corner", "inner"):
        if one.sigma <= EXACT * one.radius or effort.is_used_up or (name == "inner" and one.sizes.wall is None):
            continue
        rounded = getattr(one.sizes, name) > SMALLEST_CORNER * one.sizes.smaller
        sizes = replace(one.sizes, **{name: 0.0 if rounded else 0.02 * one.sizes.smaller})
        other = fit_square(one.table, one.placement, sizes, rows.thinned(most), effort)
        if other.sigma < (0.999 if rounded else 0.98) * one.sigma:
            one = other
    return one


def _drafts(row: FollowedTube) -> Iterator[tuple[BendTable, Placement]]:
    """First tables to try: a straight where the cuts lie on a line, else straights and bends through them."""
    centers = np.array([one.center for one in row.cuts])
    radius = row.usual.smaller / 2.0
    point, direction, off = fit_line(centers)
    if off <= STRAIGHT * radius or len(centers) < 8:
        start = vec(np.array(point) + float((centers[0] - np.array(point)) @ np.array(direction)) * np.array(direction))
        length = float((centers[-1] - centers[0]) @ np.array(direction))
        yield BendTable((), length), Placement.leaving(start, direction)
    if len(centers) < 8:
        return
    if len(centers) > MOST_DRAFTED:
        kept = np.linspace(0, len(centers) - 1, MOST_DRAFTED).round().astype(np.int64)
    else:
        kept = np.arange(len(centers))
    centers = centers[kept]
    axes = np.array([row.cuts[k].axis for k in kept])
    stations = Stations(centers, axes, np.full(len(centers), radius), False, 0.0)
    tried: set[BendTable] = set()
    for blur in BLURS:
        noise = max(blur * radius, 2.0 * unrest(centers))
        for table, placement in drafts_of_row(stations, noise, radius):
            if table not in tried:
                tried.add(table)
                yield table, placement


def _oriented(
    table: BendTable, placement: Placement, row: FollowedTube
) -> tuple[BendTable, Placement, SquareSizes] | None:
    """A draft, run so that its section lies square to its first bend, and the section's sizes; None where none does."""
    usual = row.usual
    if not table.bends:
        first = row.cuts[0]
        across = vec(first.x if first.width >= first.height else first.y)
        across = sub(across, scale(placement.direction, dot(across, placement.direction)))
        placement = replace(placement, normal=unit(across))
        return table, placement, _sizes(row, max(usual.width, usual.height), min(usual.width, usual.height))
    ways = ((table, placement, row.cuts[0]), (*reverse_table(table, placement), row.cuts[-1]))
    for one, lying, cut in ways:
        turned, width, height = _against(cut, lying)
        if turned <= ASKEW:
            return one, lying, _sizes(row, width, height)
    return None


def _against(cut: RectangleCut, placement: Placement) -> tuple[float, float, float]:
    """Degrees by which a section is turned against a bend's normal; its sizes along that and square to it."""
    off = [min(a, 180.0 - a) for a in (angle_between(vec(side), placement.normal) for side in (cut.x, cut.y))]
    if off[0] <= off[1]:
        return off[0], cut.width, cut.height
    return off[1], cut.height, cut.width


def _sizes(row: FollowedTube, width: float, height: float) -> SquareSizes:
    usual = row.usual
    half = 0.98 * min(width, height) / 2.0
    corner = min(row.corners(False), half)
    corner = 0.0 if corner < SHARP * min(width, height) else corner
    bores = [one.bore for one in row.cuts if one.bore is not None]
    if len(bores) < 0.5 * len(row.cuts):
        return SquareSizes(width, height, corner, None, 0.0)
    inside = sorted((float(np.median([b.width + b.height for b in bores])), 0.0))[1]
    wall = (usual.width + usual.height - inside) / 4.0
    inner = min(row.corners(True), 0.98 * (half - wall))
    return SquareSizes(width, height, corner, wall, 0.0 if inner < SHARP * min(width, height) else max(0.0, inner))


def _likeliest(best: SquareFit, rows: SkinRows, effort: Effort) -> tuple[SquareFit, list[SquareFit], Misfit]:
    """The table to believe, what cannot be told from it, and how it misses the vertices."""
    some = rows.thinned(SOME)

    def misfit(one: SquareFit) -> Misfit:
        return _misfit(one, some)

    def refit(table: BendTable, placement: Placement) -> SquareFit:
        return fit_square(table, placement, best.sizes, some, effort)

    first = misfit(best)
    if best.rms <= EXACT * best.radius and not first.suspect and next(simpler(best), None) is None:
        return best, [], first
    kept, alternatives = chosen(refit(best.table, best.placement), refit, misfit, lambda: iter(()), effort)
    # a table of more bends follows an exact mesh as well and says nothing
    exact = kept.rms <= EXACT * kept.radius
    return kept, [] if exact else alternatives, misfit(kept)


def _misfit(one: SquareFit, rows: SkinRows) -> Misfit:
    stretches = stretches_of(one.table, one.placement)
    spots = places_on(rows.points, stretches)
    up, across, _ = frames_at(spots, stretches)
    ways = SIDES[rows.side]
    look = ways[:, :1] * up + ways[:, 1:] * across
    return misfit_of(misses(rows, spots, one.sizes), look, spots.place, one.radius, one.unknowns)


# --- the proof --------------------------------------------------------------------------------


def _proven(
    body: MeshBody, best: SquareFit, rows: SkinRows, faces: SideFaces, outward: float, doubt: Doubt, effort: Effort
) -> Measured:
    """The tube of a fit, once its walls, its metal and its share of the body bear it out."""
    stretches = stretches_of(best.table, best.placement)
    sizes = best.sizes
    ends = ends_of(body, faces, stretches, best.table.developed_length, sizes, best.sigma)
    if ends is None:
        raise NotATube("its sides are flat, but they have no ends")
    a, b = ends
    table, placement = cut_to(best.table, best.placement, a.place, b.place)
    section = section_of(sizes)
    slack = max(0.02 * sizes.smaller, 6.0 * best.sigma)
    rest = _remarks_on_rest(body, stretches, sizes, ends, slack)
    _check_shape(table, section, sizes)
    why = why_without_walls(walls_of(body, stretches_of(table, placement), table.developed_length, sizes), sizes)
    if why is not None:
        raise NotATube(why)
    metal = (_hair(a.metal), _hair(b.metal))
    remarks = _remarks_on_metal(body, section, table, metal)
    remarks += rest
    sizes, flip = _from_smaller_end(table, placement, sizes)
    if flip:
        table, placement = reverse_table(table, placement)
        metal, a, b, doubt = (metal[1], metal[0]), b, a, doubt.reversed()
    remarks += _remarks_on_ends((a, b), max(6.0 * best.sigma, 1e-3 * sizes.smaller))
    off = np.abs(misses(rows, places_on(rows.points, stretches), best.sizes))
    bore = None if sizes.wall is None else best.radius - sizes.wall
    return Measured(
        table, placement, False, best.radius, bore, float(off.max()), best.sigma, best.od_loose, metal,
        len(np.unique(rows.points, axis=0)), 0.0, 0.0, outward, body.is_open, doubt, not effort.is_used_up, sizes,
        tuple(remarks),
    )  # fmt: skip


def section_of(sizes: SquareSizes) -> Section:
    """The section of fitted sizes: square where both sides are the same."""
    wall = sizes.wall if sizes.wall is not None else sizes.smaller / 2.0
    shapes = ("square", "rectangular") if sizes.wall is not None else ("square-bar", "flat-bar")
    if abs(sizes.width - sizes.height) <= EVEN * sizes.smaller:
        side = (sizes.width + sizes.height) / 2.0
        return Section(shapes[0], side, wall, side, min(sizes.corner, side / 2.0))
    return Section(shapes[1], sizes.width, wall, sizes.height, min(sizes.corner, sizes.smaller / 2.0))


def _check_shape(table: BendTable, section: Section, sizes: SquareSizes) -> None:
    """Refuse what is no tube or bar though it has the sides of one: flat ovals, rings, plates and blocks."""
    if sizes.corner >= ALL_CORNERS * sizes.smaller / 2.0:
        raise NotATube("two of its sides are half round: a flat oval, which is not read from meshes")
    length = table.developed_length
    if sizes.wall is None and not table.bends and length < BAR_WIDTHS * section.greater:
        raise NotATube(Clause.of("mesh-plate", sizes=(section.od, section.height), length=float(length)))
    if length < STUB * section.greater:
        raise NotATube("it is shorter than half its greater side")


def _remarks_on_metal(body: MeshBody, section: Section, table: BendTable, metal: tuple[float, float]) -> list[Finding]:
    volume = volume_of(body)
    if volume is None:
        return []
    off = volume_off(volume, section, table.developed_length, ends_slack(section, metal))
    if off < VOLUME_LEAST - 1.0:
        raise NotATube(Clause.of("solid-too-little-metal"))
    return volume_remarks(off, "")


def _remarks_on_rest(
    body: MeshBody, stretches: list[FramedPart], sizes: SquareSizes, ends: tuple[SquareEnd, SquareEnd], slack: float
) -> list[Finding]:
    """What of a body's surface is not the tube's, told; refused where that is much."""
    spots = places_on(body.points, stretches)
    off = np.full(len(body.points), np.inf)
    for bore in (False, True) if sizes.wall is not None else (False,):
        off = np.minimum(off, off_outline(spots, sizes, bore))
    # end faces have vertices between the outlines, too
    half_p, half_q, _ = sizes.halves(np.zeros(1, bool))[0]
    metal = (np.abs(spots.p) <= half_p + slack) & (np.abs(spots.q) <= half_q + slack)
    at_end = np.logical_or.reduce(
        [(spots.place >= e.edge[0] - slack) & (spots.place <= e.edge[1] + slack) for e in ends]
    )
    on = ((off <= slack) | (metal & at_end))[body.faces].all(axis=1)
    share = float(body.areas[on].sum() / body.areas.sum())
    if share < HARDLY:
        raise NotATube("its sides are flat, but no square or rectangular tube or bar runs through all of it")
    if share < MOSTLY:
        sizes_shown = (sizes.width, sizes.height)
        raise NotATube(Clause.of("mesh-partly-flat", percent=100.0 * share, sizes=sizes_shown))
    if share >= ALL_OF_IT:
        return []
    place = vec(body.points[np.unique(body.faces[~on])].mean(axis=0))
    away = float(off[body.faces[~on]].max())
    values = {"percent": 100.0 * (1.0 - share), "away": away, "place": place}
    return [Finding("mesh-rest", tube="", measured=100.0 * (1.0 - share), at=place, values=values)]


def _remarks_on_ends(ends: tuple[SquareEnd, SquareEnd], slack: float) -> list[Finding]:
    out = []
    for letter, end in zip("AB", ends, strict=True):
        if end.metal > slack or not end.is_plane:
            on = "cut" if end.is_plane else "edge"
            out.append(Finding("solid-ends", variant=on, tube="", end=letter, measured=float(end.metal), unit="mm"))
    return out


def _from_smaller_end(table: BendTable, placement: Placement, sizes: SquareSizes) -> tuple[SquareSizes, bool]:
    """Whether the tube is to be read from its other end, and the section's sizes then.

    Its width lies along the first bend's normal; where the bends' planes are turned by no whole quarters, only one
    end's first bend has that.
    """
    if starts_smaller(table, placement):
        return sizes, False
    turned = sum(bend.rotation for bend in table.bends) % 180.0
    if min(turned % 90.0, 90.0 - turned % 90.0) > FLUSH:
        return sizes, False
    if 45.0 < turned < 135.0:
        sizes = replace(sizes, width=sizes.height, height=sizes.width)
    return sizes, True


def _hair(value: float) -> float:
    return 0.0 if abs(value) < 1e-6 else value
