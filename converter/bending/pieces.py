"""A tube that is too long, or cannot be held or swung whole, made of pieces that can.

A tube is cut square, in its straights only, into the fewest pieces of which each can be made; among the cuts that do,
the one nearest to a bend, another cut or an end lies as far from it as can be. Where there is room inside both pieces
the joint is a sleeve, else a butt weld. Whether a joint may be there at all is not for this module to say: it is the
strength of the tube that goes through it.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from math import ceil, inf
from typing import TypeAlias, TypeVar

from converter.bending.setup.setup import set_up
from converter.bending.split import SLEEVE, makeable_by
from converter.errors import OptionError
from converter.geometry.vectors import Vec, rotate
from converter.model.bends import BendTable, Placement
from converter.model.centerline import walk
from converter.model.end_cuts import EndCuts
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.quoting import quoted
from converter.shop.model import Shop
from converter.shop.stock import longest_stick
from converter.tolerances import PAST_LENGTH
from converter.units import Display

R = TypeVar("R")

#: mm on each side between a sleeve and the bore it slides into (common practice, no source).
SLIP = 0.25
#: Findings that a cut may cure; whatever else is wrong with a bend stays wrong in a piece.
CURED_BY_CUTTING = frozenset({"stick-too-long", "straight-too-short", "sweep-hits"})
#: More pieces than these are no longer one tube.
_MOST = 12
#: mm; lengths that differ by less are one.
_SAME = 1e-6


@dataclass(frozen=True, slots=True)
class PieceJoint:
    """Where two pieces of a tube meet, square and end to end, or end on a tube that passes between them.

    Attributes:
        at: mm from end A along the centerline.
        straight: the straight that is cut: 0 before bend 1, i after bend i.
        kind: 'sleeve', 'butt', or 'cope' where both ends are cut to other tubes.
        place: the point of the centerline, mm.
        sleeve: the sleeve inside both pieces, half of it in each, in its place; None without one.
        mates: names of the tubes that both ends are cut to.
    """

    at: float
    straight: int
    kind: str
    place: Vec
    sleeve: Tube | None
    mates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TubePieces:
    """A tube in pieces.

    Attributes:
        tube: the whole.
        pieces: in place, from end A; named after the whole.
        joints: between them, from end A: one fewer.
    """

    tube: Tube
    pieces: tuple[Tube, ...]
    joints: tuple[PieceJoint, ...]


@dataclass(frozen=True, slots=True)
class _CutPlace:
    """A place to cut: mm from end A, the straight it lies in, mm from that straight's start, and mm to the nearest
    bend or end of the tube."""

    at: float
    straight: int
    offset: float
    free: float


@dataclass(frozen=True, slots=True)
class _PieceInQuestion:
    """A piece of which it is asked whether it can be made.

    Attributes:
        piece: a tube of any name.
        cuts: of its ends.
        limit: mm, of its stick.
    """

    piece: Tube
    cuts: EndCuts
    limit: float


#: Asks which pieces can be made, and ends with what it makes of the answers.
_Asking: TypeAlias = Generator[Sequence[_PieceInQuestion], Sequence[bool], R]


def need_pieces(tubes: Sequence[Tube], shop: Shop, cuts: Mapping[str, EndCuts], longest: float | None) -> list[bool]:
    """Which tubes cannot be made whole for a reason that a cut may cure; the arguments are those of `pieces_of`."""
    whole = [_PieceInQuestion(tube, _own(tube, cuts), _longest_stick(tube, shop, longest)) for tube in tubes]
    return [not one for one in _makeable(whole, shop)]


def _own(tube: Tube, cuts: Mapping[str, EndCuts]) -> EndCuts:
    """What a tube's ends are cut to."""
    return cuts.get(tube.name) or EndCuts()


def pieces_of(
    tubes: Sequence[Tube],
    shop: Shop,
    cuts: Mapping[str, EndCuts] | None = None,
    longest: float | None = None,
) -> list[TubePieces | None]:
    """Each tube in the fewest pieces that can all be made, or None when none of up to twelve pieces will do.

    All tubes are looked at side by side: what a bender makes of many pieces takes little longer than of one.

    Args:
        tubes: with their sections, dies and metals, each of a name of its own.
        shop: whose machine, dies and stock count.
        cuts: by name of a tube, of its own ends, as for `set_up`.
        longest: mm, no stick may be longer; None for what the machine and the rack take.
    """
    found: list[TubePieces | None] = [None] * len(tubes)
    searches = {i: _search(tube, shop, cuts or {}, longest) for i, tube in enumerate(tubes)}
    answers: dict[int, Sequence[bool] | None] = dict.fromkeys(searches)
    while searches:
        asked: dict[int, Sequence[_PieceInQuestion]] = {}
        for i, search in searches.items():
            try:
                # a generator begins by being sent None
                asked[i] = search.send(answers[i])  # type: ignore[arg-type]
            except StopIteration as end:
                found[i] = end.value
        searches = {i: searches[i] for i in asked}
        every = iter(_makeable([one for own in asked.values() for one in own], shop))
        answers = {i: list(islice(every, len(own))) for i, own in asked.items()}
    return found


def _search(tube: Tube, shop: Shop, cuts: Mapping[str, EndCuts], longest: float | None) -> _Asking[TubePieces | None]:
    """A tube in pieces."""
    limit, own = _longest_stick(tube, shop, longest), _own(tube, cuts)
    # end A, the cuts, end B
    nodes: list[_CutPlace | None] = [None, *_candidates(tube.run.table, limit), None]
    quick = makeable_by(shop, next((die for die in shop.dies if die.name == tube.die), None))
    known: dict[tuple[int, int], bool] = {}

    def works(pairs: Sequence[tuple[int, int]]) -> _Asking[list[bool]]:
        """Whether the pieces between pairs of nodes can be made."""
        asked: dict[tuple[int, int], _PieceInQuestion] = {}
        for i, j in pairs:
            if (i, j) not in known:
                table = _between(tube.run.table, nodes[i], nodes[j])
                known[i, j] = table.developed_length <= 1.05 * limit and quick(table)
                if known[i, j]:
                    piece = _piece(tube, nodes[i], nodes[j], 1)
                    # an end of the whole has its cut; one at a cut of ours is square
                    a, b = (None if nodes[i] else own.a), (None if nodes[j] else own.b)
                    asked[i, j] = _PieceInQuestion(piece, EndCuts(a, b), limit)
        if asked:
            answers = yield list(asked.values())
            known.update(zip(asked, answers, strict=True))
        return [known[pair] for pair in pairs]

    chosen = yield from _fewest(nodes, works)
    return None if chosen is None else _built(tube, [nodes[i] for i in chosen])


def at_lengths(tube: Tube, places: Sequence[float], display: Display | None = None) -> TubePieces:
    """A tube cut where a person wants it.

    Args:
        tube: the whole.
        places: mm from end A along the centerline.
        display: how an error writes lengths; mm for None.

    Raises:
        OptionError: a place is not in a straight of the tube.
    """
    table = tube.run.table
    cuts: list[_CutPlace | None] = []
    for at in sorted(set(places)):
        cut = _cut_at(table, at)
        if cut is None:
            length = (display or Display()).length
            raise OptionError(
                f"{quoted(tube.name)} cannot be cut {length(at)} from end A: there is no straight there "
                f"(the tube is {length(table.developed_length)} long and is cut in its straights only)."
            )
        cuts.append(cut)
    return _built(tube, [None, *cuts, None])


def _longest_stick(tube: Tube, shop: Shop, longest: float | None) -> float:
    limit = longest_stick(shop, tube.section, tube.metal, bool(tube.run.table.bends))
    return min(longest, limit) if longest else limit


def _makeable(asked: Sequence[_PieceInQuestion], shop: Shop) -> list[bool]:
    """Which pieces the shop can make, as far as cutting matters."""
    names = [f"{n}" for n in range(len(asked))]
    tubes = [replace(one.piece, run=replace(one.piece.run, name=name)) for name, one in zip(names, asked, strict=True)]
    cuts = {name: one.cuts for name, one in zip(names, asked, strict=True)}
    return [
        not setup.plan.lacks
        and not any(f.severity == "error" and f.code in CURED_BY_CUTTING for f in setup.findings)
        and setup.stick_length <= one.limit + PAST_LENGTH
        for one, setup in zip(asked, set_up(tubes, shop, None, cuts), strict=True)
    ]


def _candidates(table: BendTable, limit: float) -> list[_CutPlace]:
    """Places worth trying: equal parts of each straight, equal parts of the tube, full sticks from either end."""
    whole = table.developed_length
    places: list[float] = []
    for at, length in zip(table.straight_starts, table.straights, strict=True):
        parts = 2 if limit == inf else min(_MOST, 2 + ceil(length / limit))
        for m in range(2, parts + 1):
            places += [at + length * j / m for j in range(1, m)]
    if limit < inf:
        least = ceil(whole / limit)
        for m in range(least, min(_MOST, least + 2) + 1):
            places += [whole * j / m for j in range(1, m)]
        sticks = range(1, min(_MOST, least) + 1)
        places += [at for j in sticks for at in (limit * j, whole - limit * j)]
    cuts = (_cut_at(table, at) for at in places)
    found = {round(cut.at, 3): cut for cut in cuts if cut is not None}
    return [found[key] for key in sorted(found)]


def _cut_at(table: BendTable, place: float) -> _CutPlace | None:
    """The cut at a place of the centerline, mm from end A; None where that is not inside a straight."""
    for k, (at, length) in enumerate(zip(table.straight_starts, table.straights, strict=True)):
        offset = place - at
        if _SAME < offset < length - _SAME:
            return _CutPlace(place, k, offset, min(offset, length - offset))
    return None


def _fewest(
    nodes: Sequence[_CutPlace | None], works: Callable[[Sequence[tuple[int, int]]], _Asking[list[bool]]]
) -> _Asking[list[int] | None]:
    """The chain of nodes from first to last with the fewest pieces, then the most room at its tightest cut.

    Worked out by number of pieces: for every node, the best way to it in so many.
    """
    last = len(nodes) - 1

    def room(i: int, j: int) -> float:
        """mm around the cut at which a piece ends, as far as that piece tells."""
        first, second = nodes[i], nodes[j]
        least = inf if second is None else second.free
        if first is not None and second is not None:
            least = min(least, second.at - first.at)
        return least

    reached: dict[int, tuple[float, list[int]]] = {0: (inf, [0])}
    for _ in range(_MOST):
        inner = [i for i in reached if i]
        good = yield from works([(i, last) for i in inner])
        ends = [reached[i] for i, ends_here in zip(inner, good, strict=True) if ends_here]
        if ends:
            return [*max(ends, key=lambda end: end[0])[1], last]
        further: dict[int, tuple[float, list[int]]] = {}
        for i, (least, way) in reached.items():
            roomy = {j: min(least, room(i, j)) for j in range(i + 1, last)}
            better = [j for j, least_so in roomy.items() if j not in further or least_so > further[j][0]]
            good = yield from works([(i, j) for j in better])
            further |= {j: (roomy[j], [*way, j]) for j, is_good in zip(better, good, strict=True) if is_good}
        if not further:
            return None
        reached = further
    return None


def _between(table: BendTable, first: _CutPlace | None, last: _CutPlace | None) -> BendTable:
    """The part of a table between two cuts; None stands for its end A or end B."""
    start, stop = (first.straight if first else 0), (last.straight if last else len(table.bends))
    bends = table.bends[start:stop]
    end = table.straights[stop] if last is None else last.offset
    begin = first.offset if first else 0.0
    if not bends:
        return BendTable((), end - begin)
    rotation = bends[0].rotation if first is None else 0.0
    opening = replace(bends[0], feed=bends[0].feed - begin, rotation=rotation)
    return BendTable((opening, *bends[1:]), end)


def _piece(tube: Tube, first: _CutPlace | None, last: _CutPlace | None, number: int) -> Tube:
    """A piece in its place."""
    run = tube.run
    table, place = run.table, run.placement
    metal = run.metal
    if first is not None:
        end = walk(BendTable(table.bends[: first.straight], first.offset), place)[1]
        normal = end.normal
        if first.straight < len(table.bends):
            normal = rotate(normal, end.direction, table.bends[first.straight].rotation)
        place = Placement(end.start, end.direction, normal)
    if metal is not None:
        metal = (metal[0] if first is None else 0.0, metal[1] if last is None else 0.0)
    piece: Run = replace(
        run,
        name=f"{run.name} piece {number}",
        closed=False,
        table=_between(table, first, last),
        placement=place,
        handles=(),
        findings=(),
        end_point=None,
        metal=metal,
        drawn_ends=(run.drawn_ends[0] if first is None else None, run.drawn_ends[1] if last is None else None),
    )
    return replace(tube, run=piece, drawn=None, findings=())


def _built(tube: Tube, nodes: Sequence[_CutPlace | None]) -> TubePieces:
    """The pieces between the nodes, and the joints at them."""
    whole = tube.run.table.developed_length
    pieces = tuple(_piece(tube, a, b, number) for number, (a, b) in enumerate(pairwise(nodes), 1))
    joints = []
    for i, cut in enumerate(nodes):
        if cut is None:
            continue
        before, after = nodes[i - 1], nodes[i + 1]
        free = min(
            cut.free,
            cut.at - (before.at if before else 0.0),
            (after.at if after else whole) - cut.at,
        )
        place = pieces[i].run.placement
        sleeve = None if tube.section is None else _sleeve(tube, place, tube.section, i)
        kind = (
            "sleeve" if sleeve is not None and free >= sleeve.run.table.developed_length / 2.0 - PAST_LENGTH else "butt"
        )
        joints.append(PieceJoint(cut.at, cut.straight, kind, place.start, sleeve if kind == "sleeve" else None))
    return TubePieces(tube, pieces, tuple(joints))


def _sleeve(tube: Tube, place: Placement, section: Section, number: int) -> Tube | None:
    """What slides into both pieces, `SLEEVE` outside sizes into each, of the tube's wall; None in solid bar."""
    inside = section.sliding_inside(SLIP)
    if inside is None:
        return None
    half = SLEEVE * max(section.od, section.height)
    start = tuple(p - half * d for p, d in zip(place.start, place.direction, strict=True))
    run = Run(
        f"{tube.name} sleeve {number}",
        tube.run.layer,
        False,
        BendTable((), 2.0 * half),
        Placement((start[0], start[1], start[2]), place.direction, place.normal),
        placed=tube.run.placed,
    )
    return Tube(run, inside, metal=tube.metal)
