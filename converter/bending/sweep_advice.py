"""What a sweep comes to in words: the finding of one tube, and what would make it possible."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

from converter.bending.order import ALL, MARGIN, BestOrder, Feasible, best_order, space_known
from converter.bending.split import best_split, makeable_by
from converter.bending.sweep import ITSELF, Clearance, sweep_order
from converter.bending.sweep_space import other_plane
from converter.errors import GeometryError
from converter.findings import WARNING, Finding
from converter.model.bends import BendTable
from converter.model.section import Section
from converter.shop.model import Die, Machine, Shop
from converter.units import Display

#: mm; a pivot is raised by whole steps of this.
_STEP = 5.0


def order_words(order: tuple[int, ...]) -> str:
    """``2, 1, 3``, or ``1 to 8`` where the numbers run up or down without a gap."""
    if len(order) > 2 and order in (tuple(sorted(order)), tuple(sorted(order, reverse=True))):
        return f"{order[0]} to {order[-1]}"
    return ", ".join(str(number) for number in order)


def place_words(one: Clearance, display: Display) -> str:
    """``in bend 3, 45 degrees into it, the tube comes within 4.20 mm of the floor``, or how deep it runs into it."""
    if one.least is None:
        return "nothing is near"
    at = f"in bend {one.bend}, turned {display.angle(one.at_angle or 0.0)}"
    if one.least < 0.0:
        deep = "" if one.against == ITSELF else f" by {display.length(-one.least)}"
        return f"{at}, the tube runs into {one.against}{deep}"
    return f"{at}, the tube comes within {display.length(one.least)} of {one.against}"


def sure_to_hit(one: Clearance) -> bool:
    """Whether the tube hits, whatever the tolerance."""
    return one.least is not None and one.least + one.tolerance < 0.0


def way_out(
    table: BendTable,
    section: Section,
    shop: Shop,
    found: BestOrder,
    *,
    die: Die | None = None,
    feasible: Feasible | None = None,
    search: bool = True,
    display: Display | None = None,
) -> str:
    """One sentence on what would make an impossible job possible; each cure named was tried and clears.

    Args:
        table: the bends from end A.
        section: of the tube.
        shop: its machine and dies.
        found: what the search came to.
        die: the die it is bent on, or None where unknown.
        feasible: as for `best_order`.
        search: look for other orders too; else only at the simple ones from both ends.
        display: how lengths are written.
    """
    display = display or Display()
    machine, margin = shop.machine, found.margin

    def clears(other: Machine, piece: BendTable = table, deep: bool = search) -> bool:
        rule = feasible if piece is table else None
        # of what is only one cure among others, long tubes are looked at in the simple orders
        return _clears(piece, section, other, margin, rule, deep and len(piece.bends) <= ALL)

    cures = []
    if found.best is not None and found.clears and found.changed:
        cures.append(
            f"feed it from end {found.best.feed_from} and make the bends in the order {order_words(found.best.order)}"
        )
    best = found.best or max(found.plain_a, found.plain_b, key=lambda one: one.room)
    if best.as_drawn:
        return "The finished tube meets itself as it is drawn: move its bends apart."
    if not cures and best.against == "the floor" and best.least is not None and machine.pivot_height is not None:
        raised = ceil((margin - best.least + 1.0) / _STEP) * _STEP
        higher = replace(machine, pivot_height=machine.pivot_height + raised)
        room = machine.ceiling is None or higher.pivot_height is None or higher.pivot_height < machine.ceiling
        if room and clears(_with_boxes_down(higher, raised)):
            cures.append(f"raise the pivot by {display.length(raised)}")
    if not cures and machine.plane is not None and not machine.boxes and clears(other_plane(machine)):
        # boxes belong to the machine as it stands, so nothing is known of it on its side
        cures.append(f"turn the machine's bend plane {other_plane(machine).plane}")
    cut = best_split(table, section.od, makeable_by(shop, die, lambda piece: clears(machine, piece, False)))
    if cut is None and search:
        cut = best_split(table, section.od, makeable_by(shop, die, lambda piece: clears(machine, piece)))
    if cut is not None:
        joint = "a sleeve" if cut.joint == "sleeve" else "a butt weld"
        cures.append(
            f"split it {display.length(cut.at)} from end A, in the straight between bends {cut.straight} and "
            f"{cut.straight + 1}, and join the pieces with {joint}"
        )
    if not cures:
        return "No other order, end, plane, pivot height or single cut was found that clears: redraw it, or make room."
    text = ", or ".join(cures)
    return f"{text[0].upper()}{text[1:]}."


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
    display: Display | None = None,
) -> Finding | None:
    """What is to be said of a tube's sweep: 'sweep-hits', 'sweep-close', 'order-changed', or nothing.

    Args:
        name: of the tube.
        table: the bends from end A.
        section: of the tube.
        shop: its machine and dies.
        found: what `best_order` or `plain_orders` came to.
        die, feasible, search, display: as for `way_out`.
    """
    display = display or Display()
    if found.clears and not found.changed:
        return None
    best = found.best or max(found.plain_a, found.plain_b, key=lambda one: one.room)
    if found.clears:
        why = "the clamp finds no room" if not found.clampable_a else place_words(found.plain_a, display)
        room = "everything" if best.least is None else f"everything by {display.length(best.least)}"
        how = f"fed from end {best.feed_from}, bends in the order {order_words(best.order)}, it clears {room}"
        return Finding(
            "order-changed",
            f"{name}: fed from end A in the plain order, {why}; {how}.",
            tube=name,
            bend=found.plain_a.bend,
            measured=best.least,
            limit=found.margin,
            unit=None if best.least is None else "mm",
            cure=f"Feed it from end {best.feed_from}, bends in the order {order_words(best.order)}.",
        )
    if best.least is None:
        return None
    hits = sure_to_hit(best) and not best.as_drawn
    either = "; neither end first is better" if not search else "; no order is better"
    severity = WARNING if best.as_drawn else ""
    touching = "" if hits or best.least >= best.tolerance else ", which may touch"
    cure = way_out(table, section, shop, found, die=die, feasible=feasible, search=search, display=display)
    return Finding(
        "sweep-hits" if hits else "sweep-close",
        f"{name}: fed from end {best.feed_from}, {place_words(best, display)}{touching}{either}.",
        severity=severity,
        tube=name,
        bend=best.bend,
        measured=best.least,
        limit=0.0 if hits else found.margin,
        unit="mm",
        cure=cure,
    )


def unknown_room(name: str, machine: Machine) -> Finding | None:
    """'sweep-unknown' when the shop file does not say enough of the machine to sweep anything, else None."""
    if space_known(machine):
        return None
    missing = [key for key in ("plane", "pivot_height") if getattr(machine, key) is None]
    return Finding(
        "sweep-unknown",
        f"{name}: the shop file gives no {' and no '.join(missing)} of the machine, so it is not known whether the "
        "tube has room to swing.",
        tube=name,
        cure=f"Write {' and '.join(missing)} under [machine] in the shop file.",
    )


def plain_orders(table: BendTable, section: Section, machine: Machine, margin: float = MARGIN) -> BestOrder:
    """The simple order from end A and, when that does not clear by the margin, from end B: no search.

    Of an order that clears from end A only that is known, not exactly by how much.
    """
    best = plain_a = plain_b = sweep_order(table, section, machine, enough=margin)
    if plain_a.room < margin:
        plain_b = sweep_order(table, section, machine, "B")
        if plain_b.room >= margin or plain_b.room > plain_a.room:
            best = plain_b
    return BestOrder(best, plain_a, plain_b, True, True, margin, False, 2 * len(table.bends))


def _clears(
    table: BendTable, section: Section, machine: Machine, margin: float, feasible: Feasible | None, search: bool
) -> bool:
    try:
        if search:
            return best_order(table, section, machine, margin=margin, feasible=feasible).clears
        return plain_orders(table, section, machine, margin).clears
    except GeometryError:
        # a piece that cannot be swept at all cannot be said to clear
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
