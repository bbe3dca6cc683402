"""What is to be told of a sweep: the finding of one tube, and what would make it possible."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import chain
from math import ceil, inf

from converter.bending.room.order import ALL, MARGIN, BestOrder, Feasible, best_order, space_known
from converter.bending.room.questions import ITSELF, Steps, alone
from converter.bending.room.space import other_plane, space_of
from converter.bending.room.sweep import Clearance, Sweeper, sweep_order
from converter.bending.split import Split, makeable_by, splits
from converter.errors import GeometryError
from converter.findings import WARNING, Clause, Finding
from converter.model.bends import BendTable
from converter.model.section import Section
from converter.shop.model import Die, Machine, Shop
from converter.tolerances import PAST_LENGTH

#: Answers kept for tubes, and pieces of tubes, that come again.
MOST_REMEMBERED = 1024
#: mm; a pivot is raised by whole steps of this.
_STEP = 5.0


def meeting(one: Clearance) -> Clause:
    """How near the tube comes to what, or how deep it runs into it; something must be near."""
    if one.keeps(0.0):
        return Clause.of("comes-within", least=max(0.0, float(one.room)), against=one.against)
    if one.against == ITSELF:
        return Clause.of("runs-into-itself")
    return Clause.of("runs-into", deep=float(-one.room), against=one.against)


def swept_values(one: Clearance, way_out: Clause) -> dict[str, object]:
    """What the words of 'sweep-hits' and 'sweep-close' need of the best order there is."""
    doubtful = not one.hits and not one.keeps(one.tolerance)
    return {
        "feed": one.feed_from,
        "turned": float(one.at_angle or 0.0),
        "meets": meeting(one),
        "doubt": Clause.of("may-touch") if doubtful else "",
        "way_out": way_out,
    }


def way_out(
    table: BendTable,
    section: Section,
    shop: Shop,
    found: BestOrder,
    *,
    die: Die | None = None,
    feasible: Feasible | None = None,
    search: bool = True,
) -> Clause:
    """What would make an impossible job possible; each way named was tried and clears.

    Args:
        table: the bends from end A.
        section: of the tube.
        shop: its machine and dies.
        found: what the search came to: nothing that clears.
        die: the die it is bent on, or None where unknown.
        feasible: as for `best_order`.
        search: look for other orders too; else only at the simple ones from both ends.
    """
    best = found.best or max(found.simple_a, found.simple_b, key=lambda one: one.room)
    return alone(
        ask_way_out(table, section, shop, best, margin=found.margin, die=die, feasible=feasible, search=search)
    )


def ask_way_out(
    table: BendTable,
    section: Section,
    shop: Shop,
    best: Clearance,
    *,
    margin: float = MARGIN,
    die: Die | None = None,
    feasible: Feasible | None = None,
    search: bool = True,
) -> Steps[Clause]:
    """Work that comes to the `way_out`, of the room that the best order there is has."""
    machine = shop.machine

    def clears(other: Machine, deep: bool = search) -> Steps[bool]:
        # of what is only one cure among others, long tubes are looked at in the simple orders
        return _ask_clears(table, section, other, margin, feasible, deep and len(table.bends) <= ALL)

    ways: list[Clause] = []
    if best.as_drawn:
        return Clause.of("drawn-onto-itself")
    if best.against == "the floor" and best.least is not None and machine.pivot_height is not None:
        raised = ceil((margin - best.least + 1.0 - PAST_LENGTH) / _STEP) * _STEP
        higher = replace(machine, pivot_height=machine.pivot_height + raised)
        room = machine.ceiling is None or higher.pivot_height is None or higher.pivot_height < machine.ceiling
        if room and (yield from clears(_with_boxes_down(higher, raised))):
            ways.append(Clause.of("raise-pivot", by=raised))
    if not ways and machine.plane is not None and not machine.boxes and (yield from clears(other_plane(machine))):
        # boxes belong to the machine as it stands, so nothing is known of it on its side
        ways.append(Clause.of("turn-plane", plane=other_plane(machine).plane))
    cut = yield from _ask_split(table, section, shop, die, margin, False)
    if cut is None and search:
        cut = yield from _ask_split(table, section, shop, die, margin, True)
    if cut is not None:
        ways.append(cut.way)
    return Clause.of("ways-out", ways=tuple(ways)) if ways else Clause.of("no-way-out")


def _ask_split(
    table: BendTable, section: Section, shop: Shop, die: Die | None, margin: float, search: bool
) -> Steps[Split | None]:
    """The cut at the longest straight that leaves two pieces that can be held and have room to swing, or None."""
    makeable = makeable_by(shop, die)
    for one in splits(table, section.od):
        for piece in (one.first, one.second):
            if not makeable(piece):
                break
            deep = search and len(piece.bends) <= ALL
            if not (yield from _ask_clears(piece, section, shop.machine, margin, None, deep)):
                break
        else:
            return one
    return None


def sweep_finding(
    name: str,
    table: BendTable,
    section: Section,
    shop: Shop,
    found: BestOrder,
    *,
    die: Die | None = None,
    feasible: Feasible | None = None,
    search: bool = True,
) -> Finding | None:
    """What is to be told of a tube's sweep: 'sweep-hits', 'sweep-close', 'order-changed', or nothing.

    Args:
        name: of the tube.
        table: the bends from end A.
        section: of the tube.
        shop: its machine and dies.
        found: what `best_order` or `simple_orders` came to.
        die, feasible, search: as for `way_out`.
    """
    if found.clears and not found.changed:
        return None
    best = found.best or max(found.simple_a, found.simple_b, key=lambda one: one.room)
    if found.clears:
        near = best.least is not None
        values: dict[str, object] = {
            "feed": best.feed_from,
            "order": best.order,
            "cleared": Clause.of("clears-everything-by", least=float(best.room))
            if near
            else Clause.of("clears-everything"),
        }
        if found.clampable_a:
            values |= {"turned": float(found.simple_a.at_angle or 0.0), "meets": meeting(found.simple_a)}
        return Finding(
            "order-changed",
            variant="room" if found.clampable_a else "clamp",
            tube=name,
            bend=found.simple_a.bend if found.clampable_a else None,
            values=values,
            measured=best.least,
            limit=found.margin,
            unit="mm" if near else None,
        )
    if best.least is None:
        return None
    hits = best.hits and not best.as_drawn
    way = way_out(table, section, shop, found, die=die, feasible=feasible, search=search)
    return Finding(
        "sweep-hits" if hits else "sweep-close",
        variant="orders" if search else "ends",
        severity=WARNING if best.as_drawn else "",
        tube=name,
        bend=best.bend,
        values=swept_values(best, way),
        measured=best.least,
        limit=0.0 if hits else found.margin,
        unit="mm",
    )


def unknown_room(machine: Machine) -> Finding | None:
    """'sweep-unknown', the same for every tube, when the shop file says too little to sweep anything; else None."""
    if space_known(machine):
        return None
    missing = tuple(key for key in ("plane", "pivot_height") if getattr(machine, key) is None)
    return Finding("sweep-unknown", values={"keys": missing})


@dataclass(frozen=True, slots=True)
class _Bends:
    """A bend table, equal to others of the same bends: lengths and angles to a millionth, rounding of places."""

    table: BendTable = field(compare=False)
    same: tuple[float, ...]

    @classmethod
    def of(cls, table: BendTable) -> _Bends:
        """The table, whatever its bends were drawn by."""
        numbers = [
            (bend.feed, bend.rotation, bend.angle, -1.0 if bend.clr is None else bend.clr) for bend in table.bends
        ]
        return cls(table, tuple(round(value, 6) for value in (table.tail, *chain.from_iterable(numbers))))


def simple_orders(table: BendTable, section: Section, machine: Machine, margin: float = MARGIN) -> BestOrder:
    """The simple order from end A and, when that does not clear by the margin, from end B: no search.

    Of an order that clears from end A only that is known, not by how much. It is asked for just as the set-up asks.
    """
    return _simple_orders(_Bends.of(table), section, machine, margin)


@lru_cache(maxsize=MOST_REMEMBERED)
def _simple_orders(bends: _Bends, section: Section, machine: Machine, margin: float) -> BestOrder:
    table = bends.table
    best = plain_a = plain_b = sweep_order(table, section, machine, enough=margin)
    if plain_a.keeps(margin):
        # just below what is enough nothing may have been found: whether it clears is asked as the set-up asks it
        one = Sweeper(table, section, space_of(machine))
        if not one.clears(one.simple_order, margin - PAST_LENGTH):
            best = plain_a = plain_b = one.sequence(one.simple_order)
    if not plain_a.keeps(margin):
        plain_b = sweep_order(table, section, machine, "B")
        if plain_b.keeps(margin) or plain_b.room > plain_a.room + PAST_LENGTH:
            best = plain_b
    return BestOrder(best, plain_a, plain_b, True, True, margin, False, 2 * len(table.bends))


def _ask_clears(
    table: BendTable, section: Section, machine: Machine, margin: float, feasible: Feasible | None, search: bool
) -> Steps[bool]:
    """Whether a tube clears by a margin in some order, or in one of the simple ones as `simple_orders` finds them."""
    try:
        if search:
            return best_order(table, section, machine, margin=margin, feasible=feasible).clears
        verdict = _simple_order_clears(_Bends.of(table), section, machine, margin)
        if verdict.clears is None:
            verdict.clears = yield from _ask_simple_order_clears(table, section, machine, margin)
        return verdict.clears
    except GeometryError:
        # a piece that cannot be swept at all cannot be said to clear
        return False


@dataclass(slots=True)
class _ClearVerdict:
    """Whether a tube clears; None until that is worked out."""

    clears: bool | None = None


@lru_cache(maxsize=MOST_REMEMBERED)
def _simple_order_clears(bends: _Bends, section: Section, machine: Machine, margin: float) -> _ClearVerdict:
    """The place of the verdict on a tube."""
    return _ClearVerdict()


def _ask_simple_order_clears(table: BendTable, section: Section, machine: Machine, margin: float) -> Steps[bool]:
    for end, enough in (("A", margin), ("B", inf)):
        one = Sweeper(table, section, space_of(machine), end, enough=enough)
        yield from one.ask_clear(one.simple_order, margin - PAST_LENGTH)
        if one.clears(one.simple_order, margin - PAST_LENGTH):
            return True
    return False


def _with_boxes_down(machine: Machine, raised: float) -> Machine:
    """Boxes stand where they stood when the pivot goes up: what is at the machine's foot stays there.

    A box that belongs to the machine itself goes up with it; which one that is the file does not say, so the
    cure must clear the boxes in both places.
    """
    down = tuple(
        replace(
            box,
            name=box.name,
            low=(box.low[0], box.low[1], box.low[2] - raised),
            high=box.high,
        )
        for box in machine.boxes
    )
    return replace(machine, boxes=down)
