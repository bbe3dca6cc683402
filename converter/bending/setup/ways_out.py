"""What would give a tube that hits, or comes close, room to swing: each way named was tried, and clears.

It is tried as the tube is bent: to its stops, with its extra stick, in the order taken or in a simple one that can be
held. Long tubes, and pieces, would take too long to search.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import ceil

from converter.bending.room.order import MARGIN
from converter.bending.room.questions import Steps
from converter.bending.room.space import other_plane, space_of
from converter.bending.room.sweep import Clearance, Sweepers
from converter.bending.setup.order import CLEAR, OrderChoice, OrderChooser
from converter.bending.split import splits
from converter.errors import GeometryError, OptionError
from converter.findings import Clause
from converter.model.section import Section
from converter.shop.model import Machine
from converter.shop.stock import longest_stick
from converter.tolerances import PAST_ANGLE, PAST_LENGTH

#: mm; a pivot is raised by whole steps of this.
_STEP = 5.0


def ask_ways_out(chooser: OrderChooser, chosen: OrderChoice, clearance: Clearance) -> Steps[Clause]:
    """Work that comes to the ways out of a tube.

    Args:
        chooser: of the tube.
        chosen: the end and order taken, which does not clear.
        clearance: its least room.
    """
    section, machine = chooser.section, chooser.shop.machine
    assert section is not None
    taken = chosen.end, chosen.plan.order
    choices = [chosen, *(one for one in chooser.simple() if (one.end, one.plan.order) != taken)]
    ways: list[Clause] = []
    if clearance.against == "the floor" and clearance.least is not None and machine.pivot_height is not None:
        raised = ceil((MARGIN - clearance.least + 1.0 - PAST_LENGTH) / _STEP) * _STEP
        higher = replace(machine, pivot_height=machine.pivot_height + raised)
        room = machine.ceiling is None or higher.pivot_height is None or higher.pivot_height < machine.ceiling
        if room and (yield from _ask_one_clears(choices, section, _with_boxes_down(higher, raised))):
            ways.append(Clause.of("raise-pivot", by=raised))
    if not ways and machine.plane is not None and not machine.boxes:
        # boxes belong to the machine as it stands, so nothing is known of it on its side
        turned = other_plane(machine)
        if (yield from _ask_one_clears(choices, section, turned)):
            ways.append(Clause.of("turn-plane", plane=turned.plane))
    cut = yield from _ask_cut(chooser, section)
    if cut is not None:
        ways.append(cut)
    return Clause.of("ways-out", ways=tuple(ways)) if ways else Clause.of("no-way-out")


def _ask_cut(chooser: OrderChooser, section: Section) -> Steps[Clause | None]:
    """The cut at the longest straight that leaves two pieces that can be held and have room to swing, of sticks that
    there are, or None."""
    tube = chooser.tube
    most = longest_stick(chooser.shop, tube.section, tube.metal, is_bent=True)
    for one in splits(tube.run.table, section.greater):
        if min(*one.first.straights, *one.second.straights) < -PAST_LENGTH or not chooser.is_left(one.straight):
            continue
        for choices in chooser.pieces(one.straight):
            if not _is_reached(chooser, choices[0]):
                break
            if max(choice.stick for choice in choices) > most + PAST_LENGTH:
                break
            if not (yield from _ask_one_clears(choices, section, chooser.shop.machine)):
                break
        else:
            return one.way
    return None


def _is_reached(chooser: OrderChooser, choice: OrderChoice) -> bool:
    """Whether dies and machine turn as far as the bends do."""
    for one in choice.shape.machine_bends:
        most = chooser.shop.greatest_angle(one.seat.die)
        if most is not None and one.target > most + PAST_ANGLE:
            return False
    return True


def _ask_one_clears(choices: Iterable[OrderChoice], section: Section, machine: Machine) -> Steps[bool]:
    """Whether a tube clears by the margin on a machine in one of some orders, which can be held."""
    space = space_of(machine)
    for choice in choices:
        if choice.plan.lacks:
            continue
        swing, order = choice.swing
        try:
            one = Sweepers(choice.shape.from_a, section, space, choice.stops).of(*swing)
        except (GeometryError, OptionError):
            # what cannot be swept at all cannot be said to clear
            return False
        yield from one.ask_clear(order, CLEAR)
        if one.clears(order, CLEAR):
            return True
    return False


def _with_boxes_down(machine: Machine, raised: float) -> Machine:
    """Boxes stand where they stood when the pivot goes up: what is at the machine's foot stays there.

    A box that belongs to the machine itself goes up with it; which one that is the file does not say, so the
    cure must clear the boxes in both places.
    """
    down = tuple(replace(box, low=(box.low[0], box.low[1], box.low[2] - raised)) for box in machine.boxes)
    return replace(machine, boxes=down)
