"""Which die each bend of a tube is made on, and how a section of two sizes lies in it."""

from __future__ import annotations

from dataclasses import dataclass

from converter.model.run import Tube, turned_by_bend
from converter.shop.assign import die_of
from converter.shop.model import Die, Shop


@dataclass(frozen=True, slots=True)
class Seat:
    """How a bend sits in the machine.

    Attributes:
        die: the die it is made on, or None when the shop has none for the section.
        turned: a section of two sizes lies a quarter turn from its first bend there.
    """

    die: Die | None
    turned: bool


def seats(tube: Tube, shop: Shop) -> list[Seat]:
    """How each bend sits in the machine, from end A: on the die that `converter.shop.assign.die_of` says.

    For a rectangle that is rolled a quarter turn that is one for the other face.
    """
    bends = tube.run.table.bends
    named = None if tube.die is None else shop.die(tube.die)
    section = tube.section
    found = []
    # most bends of a tube have one radius
    known: dict[tuple[bool, float | None, float], Seat] = {}
    for bend, turned in zip(bends, turned_by_bend(section, bends), strict=True):
        key = turned, bend.clr, bend.clr_uncertainty
        if key not in known:
            if section is None:
                dies: tuple[Die, ...] = () if named is None else (named,)
            else:
                dies = shop.dies_for(section, turned)
            known[key] = Seat(die_of(bend, dies, named), turned)
        found.append(known[key])
    return found


def die_names(tube: Tube, shop: Shop) -> tuple[str, ...]:
    """The names of the dies that a tube is bent on, each once, from end A."""
    return tuple(dict.fromkeys(seat.die.name for seat in seats(tube, shop) if seat.die is not None))
