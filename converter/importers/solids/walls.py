"""The proof of a square or rectangular member: the kernel is asked where metal is, and how much of it.

Rails tell where corners run, not whether walls are between them: a channel with lips, a T-slot profile and a solid
with a groove have the corners of a tube, too. So points in the middle of each wall, in lanes along it, must lie in
metal at enough stations along the member, and those in the bore in none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.gp import gp_Pnt
from OCP.TopAbs import TopAbs_State

from converter.findings import Clause, Finding
from converter.geometry.vectors import Vec, add, along, rotate, sub
from converter.importers.body_checks import (
    GOLDEN,
    LANES,
    STATIONS,
    VOLUME_LEAST,
    WALL_PART,
    ends_slack,
    volume_off,
    volume_remarks,
)
from converter.model.drawing import ReadyTable
from converter.model.frames import Piece, Station, pieces
from converter.model.section import Section

#: As `WALL_PART`, of a bar, which is full but for holes; and at which its sides must be free.
_BAR_PART, _FREE_PART = 0.5, 0.5
#: With more metal by this part a body is not the straight member that cuts across it show: it goes on elsewhere.
MOST_MORE = 0.25
#: Below so many greater sizes of length a rectangular tube with one end closed, or both, is a box. Common practice.
_BOX = (1.0, 2.0)
#: Of a body of many faces and members fewer stations, since the kernel takes as long for a point as there are faces.
_FEWER, _FEWEST = 5, 3
_MUCH, _VERY_MUCH = 800, 8_000


@dataclass(frozen=True, slots=True)
class WallProof:
    """What a kernel says of a member.

    Attributes:
        walls: for each of the four walls, the least part of the stations at which one of its lanes has metal.
        bore: part of the stations at which the middle of the bore has metal; 0 for a bar.
    """

    walls: tuple[float, float, float, float]
    bore: float

    @property
    def missing(self) -> int:
        """How many of the walls are not there."""
        return sum(part < WALL_PART for part in self.walls)


def prove_walls(solid: Any, made: ReadyTable, work: int) -> WallProof | None:
    """Where metal is along a member of a table: in its four walls, and in its bore; None of one without a place.

    Args:
        work: members times faces of the body, which bounds how closely is looked.
    """
    if made.section is None or made.placement is None:
        return None
    section = made.section
    inside = asker(solid)
    each = LANES if work <= _MUCH else (0.0,)
    lanes = _lanes(section, each)
    counts = [0] * len(lanes)
    bore = 0
    count = STATIONS if work <= _MUCH else _FEWER if work <= _VERY_MUCH else _FEWEST
    stations = list(_stations(pieces(made.table, made.placement, made.closed), count))
    for at in stations:
        for k, (p, q) in enumerate(lanes):
            counts[k] += inside(at.at(p, q))
        bore += section.bore is not None and inside(at.point)
    parts = [count / len(stations) for count in counts]
    walls = [min(parts[k : k + len(each)]) for k in range(0, len(parts), len(each))]
    return WallProof((walls[0], walls[1], walls[2], walls[3]), bore / len(stations))


def is_full_bar(solid: Any, made: ReadyTable, work: int) -> bool:
    """Whether a bar of a table is full of metal, and free on its four sides along most of it.

    What carries on beyond a side all along is the flange of a beam, or a strip of something wider.

    Args:
        work: see `prove_walls`.
    """
    if made.section is None or made.placement is None:
        return False
    inside = asker(solid)
    each = LANES if work <= _MUCH else (0.0,)
    count = STATIONS if work <= _MUCH else _FEWER if work <= _VERY_MUCH else _FEWEST
    stations = list(_stations(pieces(made.table, made.placement, made.closed), count))
    beyond = -0.1 - 0.04 * made.section.smaller
    rows = [((0.0, 0.0), True), *((spot, True) for spot in _lanes(made.section, each))]
    rows += [(spot, False) for spot in _lanes(made.section, each, beyond)]
    for spot, is_metal in rows:
        right = sum(inside(at.at(*spot)) is is_metal for at in stations)
        if right < (_BAR_PART if is_metal else _FREE_PART) * len(stations):
            return False
    return True


def why_no_walls(proof: WallProof) -> Clause | None:
    """Why a member with such a proof is none; None when it is one."""
    if proof.missing:
        return Clause.of("solid-wall-missing", missing=proof.missing)
    if proof.bore > 1.0 - WALL_PART:
        return Clause.of("solid-bore-filled")
    return None


def why_box(solid: Any, made: ReadyTable) -> Clause | None:
    """Why a short straight tube with an end closed is a box; None where it is none."""
    section = made.section
    length = made.table.developed_length
    first, last = bore_short(made)
    hollow = length - first - last
    if section is None or made.placement is None or made.table.bends or hollow >= _BOX[1] * section.greater:
        return None
    inside = asker(solid)
    start, way = made.placement.start, made.placement.direction
    deep = section.wall / 2.0
    # the length runs to the bore's end, or to the outside of what closes it
    spots = [(deep, -deep), (length - deep, length + deep)]
    shut = sum(any(inside(along(start, way, s)) for s in pair) for pair in spots)
    if not shut or hollow >= _BOX[shut - 1] * section.greater:
        return None
    sizes = (float(section.od), float(section.height))
    return Clause.of("solid-box", sizes=sizes, length=float(length), shut=shut)


def _lanes(section: Section, lanes: tuple[float, ...], deep: float | None = None) -> list[tuple[float, float]]:
    """Points (along up, along across) in the middle of the four walls or so deep below their sides, so many of each."""
    deep = section.wall / 2.0 if deep is None else deep
    half_p, half_q = section.height / 2.0 - deep, section.od / 2.0 - deep
    flat_p, flat_q = max(half_p - section.corner, 0.2 * half_p), max(half_q - section.corner, 0.2 * half_q)
    found = [(sign * half_p, lane * flat_q) for sign in (1.0, -1.0) for lane in lanes]
    return found + [(lane * flat_p, sign * half_q) for sign in (1.0, -1.0) for lane in lanes]


def _stations(stretches: tuple[Piece, ...], count: int) -> Iterator[Station]:
    """Places along a member, clear of its ends, where a hole is no more likely than anywhere."""
    total = sum(one.length for one in stretches)
    parts = sorted((0.5 + k * GOLDEN) % 1.0 for k in range(count))
    for part in parts:
        left = (0.06 + 0.88 * part) * total
        for one in stretches:
            if left <= one.length:
                yield _at(one, left)
                break
            left -= one.length


def _at(one: Piece, s: float) -> Station:
    start = one.start
    if one.arc is None:
        return Station(start.at(0.0, 0.0, s), start.direction, start.across)
    turn = one.arc.angle * s / one.length
    arm = rotate(sub(start.point, one.arc.center), one.arc.normal, turn)
    point = add(one.arc.center, arm)
    return Station(point, rotate(start.direction, one.arc.normal, turn), rotate(start.across, one.arc.normal, turn))


def asker(solid: Any) -> Callable[[Vec], bool]:
    """A function that tells whether a point lies in a solid's metal, also of one whose faces look into it."""

    @cache
    def classifier() -> tuple[Any, Any]:
        # only once it is asked: of many faces it takes long to prepare
        tool = BRepClass3d_SolidClassifier(solid)
        tool.PerformInfinitePoint(1e-6)
        return tool, TopAbs_State.TopAbs_OUT if tool.State() == TopAbs_State.TopAbs_IN else TopAbs_State.TopAbs_IN

    def inside(p: Vec) -> bool:
        tool, metal = classifier()
        tool.Perform(gp_Pnt(*p), 1e-6)
        return bool(tool.State() == metal)

    return inside


def volume_findings(volume: float, made: ReadyTable) -> list[Finding]:
    """What is said where a body's metal is not that of section and length.

    Cuts at the ends are allowed for: between the shortest and the longest that they can leave nothing is said.
    """
    if made.section is None:
        return []
    off = volume_off(volume, made.section, made.table.developed_length, _slack_of(made))
    return volume_remarks(off, made.name)


def is_too_little(volume: float, made: ReadyTable) -> bool:
    """Whether a body holds far less metal than a member of section and length would."""
    if made.section is None:
        return False
    full = made.section.area * made.table.developed_length
    return volume + _slack_of(made) < VOLUME_LEAST * full


def bore_short(made: ReadyTable) -> tuple[float, float]:
    """How far the bore of a tube stops short of its ends A and B, mm, as was told."""
    told = {f.end: f.measured or 0.0 for f in made.findings if f.code == "solid-off" and f.variant == "bore short"}
    return told.get("A", 0.0), told.get("B", 0.0)


def _slack_of(made: ReadyTable) -> float:
    """Volume that slanted and coped ends may add or take, and full ones add, mm3; none where they are not known."""
    if made.section is None or made.metal is None:
        return 0.0
    section = made.section
    to_mate = {finding.end for finding in made.findings if finding.code == "solid-ends" and finding.variant == "mate"}
    bore = 0.0 if section.bore is None else section.bore.area
    return ends_slack(section, made.metal, to_mate) + sum(bore_short(made)) * bore
