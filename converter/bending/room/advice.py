"""What is to be told of the room that a tube has to swing."""

from __future__ import annotations

from converter.bending.room.order import space_known
from converter.bending.room.questions import ITSELF
from converter.bending.room.sweep import Clearance
from converter.findings import Clause, Finding
from converter.shop.model import Machine


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


def unknown_room(machine: Machine) -> Finding | None:
    """'sweep-unknown', the same for every tube, when the shop file says too little to sweep anything; else None."""
    if space_known(machine):
        return None
    missing = tuple(key for key in ("plane", "pivot_height") if getattr(machine, key) is None)
    return Finding("sweep-unknown", values={"keys": missing})
