"""Which die each bend of a tube is made on, and how a section of two sizes lies in it."""

from __future__ import annotations

from dataclasses import dataclass

from converter.model.run import Tube, turned_by_bend
from converter.shop.assign import die_for_bend, nearest_die
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
    """The die of each bend, from end A: the one that makes it as drawn, else the tube's, else the nearest.

    The tube's own die serves only where its groove takes the section as it lies in that bend: for a
    rectangle that is rolled a quarter turn the nearest die for the other face.
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
            die = die_for_bend(bend, dies)
            if die is None:
                if named is not None and (named in dies or not dies):
                    die = named
                elif dies:
                    die = nearest_die(bend.clr, dies)
            known[key] = Seat(die, turned)
        found.append(known[key])
    return found
