"""Check of the room to swing: floor, ceiling, walls and boxes of the shop file, and the tube itself.

Only the plain order is looked at, from end A and, if that will not do, from end B: an audit is quick. The
set-up page searches the other orders.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from converter.audit.registry import check_as_drawn
from converter.audit.subject import Subject
from converter.findings import Finding
from converter.model.section import Section

#: mm; a straight this little below zero is rounding.
_EQUAL = 1e-6


@check_as_drawn
def room_to_swing(subject: Subject) -> Iterator[Finding]:
    """Fed from end A (or B) the tube clears what stands around the machine, where the shop file says it."""
    machine = subject.bench.shop.machine
    if machine.plane is None or machine.pivot_height is None or not subject.bends:
        return
    run = subject.tube.run
    # what cannot be bent at all has its finding already, and the ends of a ring are meant to meet
    if run.closed or any(bend.clr is None for bend in subject.bends) or min(run.table.straights) < -_EQUAL:
        return
    section = subject.tube.section
    if section is None:
        if subject.die is None:
            return
        # a tube of no known section is as thick as what its die takes
        section = Section("bar", max(subject.die.size, subject.die.height), 0.0)
    # here, since numpy is not needed where nothing is known of the machine
    from converter.bending.room.advice import simple_orders, sweep_finding
    from converter.bending.room.order import MARGIN
    from converter.bending.room.questions import TOLERANCE
    from converter.bending.room.screen import surely_clears
    from converter.bending.room.space import space_of
    from converter.bending.room.sweep import half_outside

    # what is measured may be so much less than there is, and the set-up goes by that
    if surely_clears(run.table, space_of(machine), half_outside(section)[0], MARGIN + TOLERANCE):
        return
    found = simple_orders(run.table, section, machine)
    finding = sweep_finding(subject.name, run.table, section, subject.bench.shop, found, die=subject.die, search=False)
    if finding is not None:
        bend = None if finding.bend is None else subject.bends[finding.bend - 1]
        yield replace(
            finding,
            layer=(bend and bend.layer) or run.layer,
            handle=(bend and bend.handle) or (run.handles[0] if run.handles else None),
        )
