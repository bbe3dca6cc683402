"""What to do about a run that cannot be made: cut it at a straight, move it to a die, or buy one die.

A run is cut in the middle of a straight, square, into two tubes that meet end to end. Where the straight
is long enough for a sleeve inside both halves the joint is a sleeve, else a butt weld.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, inf

from converter.findings import Clause, Finding
from converter.model.bends import Bend, BendTable
from converter.model.run import Run, Tube, turned_by_bend
from converter.model.section import Section
from converter.reducer.refit import CORNER_LIMIT, corner_cut, keeps_shape, refit, setback
from converter.shop.assign import die_for_bend, span
from converter.shop.model import Die, Shop
from converter.tolerances import AS_BENDS_GO, DEFAULT, PAST_ANGLE, PAST_LENGTH, same_within

#: A sleeve reaches this many outside diameters into each half (common practice, no source).
SLEEVE = 2.0
#: mm; radii that differ by less are one radius.
_SAME = 0.05
#: How many of the radii drawn, and of those between them, are tried.
_TRIED = 24


@dataclass(frozen=True, slots=True)
class Split:
    """One way to make a run from two pieces.

    Attributes:
        straight: the straight that is cut: 0 before bend 1, i between bends i and i + 1, the number of
            bends after the last.
        at: mm from end A along the developed length to the cut.
        length: mm of that straight.
        joint: 'sleeve' or 'butt'.
        first, second: the tables of the pieces, from end A and from the cut.
    """

    straight: int
    at: float
    length: float
    joint: str
    first: BendTable
    second: BendTable

    @property
    def way(self) -> Clause:
        """What to do, for a sentence."""
        return Clause.of(
            "split-tube",
            at=self.at,
            before=self.straight,
            after=self.straight + 1,
            joint=Clause.of("sleeve-joint" if self.joint == "sleeve" else "butt-joint"),
        )


@dataclass(frozen=True, slots=True)
class CommonRadius:
    """One die that would serve a whole drawing.

    Attributes:
        section: what it takes.
        clr: its centerline radius, mm.
        exact: whether every bend has that radius as drawn.
        moved: mm by which the centerline moves at most when every bend is refitted to it.
        bends, tubes: how many it would make.
    """

    section: Section
    clr: float
    exact: bool
    moved: float
    bends: int
    tubes: int


def splits(table: BendTable, od: float) -> Iterator[Split]:
    """Every cut between two bends, the longest straight first.

    Args:
        table: the bends from end A.
        od: outside diameter in mm, for the choice of joint.
    """
    starts, bends = table.straight_starts, table.bends
    for i in sorted(range(1, len(bends)), key=lambda i: -bends[i].feed):
        length = bends[i].feed
        if length > 0.0:
            half = length / 2.0
            joint = "sleeve" if half >= SLEEVE * od - PAST_LENGTH else "butt"
            yield Split(i, starts[i] + half, length, joint, *in_two(table, i))


def in_two(table: BendTable, straight: int) -> tuple[BendTable, BendTable]:
    """The tables of both pieces when the straight before the bend of that index (from 0) is cut in its middle."""
    bends, half = table.bends, table.bends[straight].feed / 2.0
    second = bends[straight].rolled(half, 0.0)
    return BendTable(bends[:straight], half), BendTable((second, *bends[straight + 1 :]), table.tail)


def best_split(table: BendTable, od: float, makeable: Callable[[Split], bool]) -> Split | None:
    """The cut at the longest straight that leaves two pieces that can both be made, or None.

    Args:
        table: the bends from end A.
        od: outside diameter, mm.
        makeable: whether both pieces can be made.
    """
    return next(filter(makeable, splits(table, od)), None)


def makeable_by(shop: Shop, die: Die | None) -> Callable[[BendTable], bool]:
    """A judge of pieces: no overlaps, straights between bends that the die can hold, angles it reaches.

    Args:
        shop: whose machine counts.
        die: the die it is bent on, or None where unknown.
    """
    most = shop.greatest_angle(die)

    def judge(table: BendTable) -> bool:
        need = 0.0 if die is None else die.between
        if min(table.straights) < -PAST_LENGTH or any(bend.feed < need - PAST_LENGTH for bend in table.bends[1:]):
            return False
        return most is None or all(bend.angle <= most + PAST_ANGLE for bend in table.bends)

    return judge


def best_refit(run: Run, dies: Sequence[Die]) -> tuple[Die, Run, float] | None:
    """The die that moves the centerline least with room for the clamp between all bends.

    Returns:
        The die, the refitted run, and by how much the centerline moves (mm); None when no die will do.
    """
    best: tuple[Die, Run, float] | None = None
    for die in dies:
        made, moved = refit(run, die.clr)
        if not keeps_shape(run, moved):
            continue
        straights = made.table.straights
        between = straights[1:-1]
        if min(straights) < -PAST_LENGTH or any(length < die.between - PAST_LENGTH for length in between):
            continue
        if best is None or moved < best[2]:
            best = die, made, moved
    return best


def common_radii(tubes: Iterable[Tube]) -> list[CommonRadius]:
    """For each section of a drawing the one radius that would serve all its bends, if there is one.

    A radius that every bend has (within what is known of it) is taken as it is. Otherwise the radii drawn most
    are tried, and whole millimetres between the least and the greatest: of those that leave no
    overlap, and twice the outside size straight between bends (common practice, no source), a drawn one that moves
    the centerline no more than twice as far as the best is preferred, since such a die is likelier to be had.

    Args:
        tubes: of the drawing, with their sections.
    """
    groups: dict[Section, list[Tube]] = {}
    for tube in tubes:
        if tube.section is not None and tube.run.table.bends:
            groups.setdefault(tube.section, []).append(tube)
    found = []
    for section, members in groups.items():
        one = _serves(section, members, 2.0 * section.od)
        if one is not None:
            found.append(one)
    return found


def die_to_buy(tubes: Sequence[Tube], shop: Shop) -> list[Finding]:
    """'die-to-buy' for each section some of whose bends no die of the shop makes, when one die would make all.

    Rings and free curves are for no die, and count for nothing here. A die that makes another tube of one
    (`converter.reducer.refit.keeps_shape`) is none to buy; nor is one where the shop's own move the centerlines by no
    more than `AS_BENDS_GO`.

    Args:
        tubes: of the drawing, with their sections.
        shop: whose dies there are.
    """
    # a tube whose bends lie both ways is for no one die
    bent = [tube for tube in tubes if not tube.run.is_free_curve and not _is_ring(tube) and not _lies_both_ways(tube)]
    wanting = _unserved(bent, shop)
    sections = {tube.section for tube in wanting}
    found = []
    for one in common_radii(tube for tube in bent if tube.section in sections):
        dies = shop.dies_for(one.section)
        if any(abs(die.clr - one.clr) <= _SAME for die in dies):
            # it is owned, and the refit to it is told bend by bend
            continue
        if all(_nearly_served(tube, dies) for tube in wanting if tube.section == one.section):
            continue
        members = [tube.run for tube in bent if tube.section == one.section]
        if not one.exact and not all(keeps_shape(run, refit(run, one.clr)[1]) for run in members):
            continue
        refitted = Clause.of("refitted", moved=one.moved)
        values = {
            "clr": one.clr,
            "section": one.section,
            "bends": _bend_count(one.bends, one.tubes),
            "moved": Clause.of("as-drawn") if one.exact else refitted,
        }
        found.append(Finding("die-to-buy", values=values, measured=one.clr, unit="mm"))
    return found


def _bend_count(bends: int, tubes: int) -> Clause:
    if tubes > 1:
        return Clause.of("bends-of-tubes", bends=bends, tubes=tubes)
    return Clause.of("bends-of-one-tube", bends=bends) if bends > 1 else Clause.of("one-bend")


def _is_ring(tube: Tube) -> bool:
    """Whether it is closed and has no straight to hold or to join: no die makes that."""
    return tube.run.closed and max(tube.run.table.straights) <= same_within(DEFAULT.join)


def _lies_both_ways(tube: Tube) -> bool:
    return any(turned_by_bend(tube.section, tube.run.table.bends))


def _radius(bend: Bend) -> tuple[float | None, float]:
    """What decides which die makes a bend as drawn: its radius, and what is known of it."""
    return bend.clr, bend.clr_uncertainty


def _unserved(tubes: Iterable[Tube], shop: Shop) -> list[Tube]:
    """The tubes some of whose bends no die of the shop makes as drawn; none lies a quarter turn from the first."""
    groups: dict[Section, list[Tube]] = {}
    for tube in tubes:
        if tube.section is not None:
            groups.setdefault(tube.section, []).append(tube)
    found = []
    for section, members in groups.items():
        bends = {_radius(bend): bend for tube in members for bend in tube.run.table.bends}
        dies = shop.dies_for(section)
        lacking = {radius for radius, bend in bends.items() if die_for_bend(bend, dies) is None}
        found += [tube for tube in members if not lacking.isdisjoint(map(_radius, tube.run.table.bends))]
    return found


def _nearly_served(tube: Tube, dies: Sequence[Die]) -> bool:
    """Whether one of the dies makes a tube of its bends that is no further from it than bends come out."""
    refitted = best_refit(tube.run, dies)
    return refitted is not None and refitted[2] <= AS_BENDS_GO


def _serves(section: Section, members: Sequence[Tube], need: float) -> CommonRadius | None:
    bends = [bend for tube in members for bend in tube.run.table.bends]
    known = [(bend.clr, within) for bend in bends if bend.clr is not None and (within := span(bend)) is not None]
    if not known or any(bend.clr is None and not bend.corner for bend in bends):
        return None  # nothing to go by, or a kink that no die makes
    low, high = max(within[0] for _, within in known), min(within[1] for _, within in known)
    if len(known) == len(bends) and low <= high:
        # exact radii outweigh fitted ones
        exact = min(known, key=lambda one: one[1][1] - one[1][0])[0]
        return CommonRadius(section, exact, True, 0.0, len(bends), len(members))
    alike: dict[int, Counter[float]] = {}
    for clr, _ in known:
        alike.setdefault(round(clr / _SAME), Counter())[clr] += 1
    # radii that are one are named as the most of them are drawn, not as they were put together
    often = sorted(alike.values(), key=lambda one: -one.total())[:_TRIED]
    drawn = sorted(min(one, key=lambda clr: (-one[clr], clr)) for one in often)
    radii = [clr for clr, _ in known]
    smallest, largest = min(radii), max(radii)
    step = max(1, ceil((largest - smallest) / _TRIED))
    between = [float(r) for r in range(ceil(smallest), floor(largest) + 1, step)]
    moves = {clr: _moves(members, clr, need) for clr in dict.fromkeys([*drawn, *between])}
    least = min(moves.values())
    if least == inf:
        return None
    usual = min(drawn, key=lambda clr: moves[clr])
    clr = usual if moves[usual] <= 2.0 * least + _SAME else min(moves, key=lambda one: moves[one])
    return CommonRadius(section, clr, False, moves[clr], len(bends), len(members))


def _moves(members: Sequence[Tube], clr: float, need: float) -> float:
    """How far the centerlines move at most on a radius; infinite when a run does not fit on it."""
    most = 0.0
    for tube in members:
        table = tube.run.table
        before = table.straights
        if any(bend.angle >= CORNER_LIMIT for bend in table.bends):
            made, moved = refit(tube.run, clr)
            after = list(made.table.straights)
        else:
            # the same by hand: each bend keeps its corner
            after, moved = list(before), 0.0
            for i, bend in enumerate(table.bends):
                change = clr - (bend.clr or 0.0)
                after[i] -= setback(change, bend.angle)
                after[i + 1] -= setback(change, bend.angle)
                moved = max(moved, corner_cut(abs(change), bend.angle))
        if min(after) < -PAST_LENGTH:
            return inf
        # a straight that was too short as drawn is not this die's doing
        short = zip(after[1:-1], before[1:-1], strict=True)
        if any(now < need - PAST_LENGTH and now < was - PAST_LENGTH for now, was in short):
            return inf
        most = max(most, moved)
    return most
