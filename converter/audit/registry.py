"""The audit: every check, run over every tube, against one shop.

A check is a function from a `Subject` to findings, registered with ``@check`` in one of the family
modules named in `FAMILIES`; to add one, write it there (or add a module) and define its code in
converter/findings/catalogue. Checks state what is measured, the limit, the place and the cure.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from importlib import import_module

from converter.audit.subject import DieBench, Subject
from converter.findings import Finding
from converter.model.run import Tube
from converter.progress import steps
from converter.shop.model import Shop

Check = Callable[[Subject], Iterable[Finding]]

#: Modules of this package that hold checks, in the order they run.
FAMILIES = ("dies", "straights", "shape", "capacity")

CHECKS: list[Check] = []
#: Checks of the tube fed as drawn, from end A in the simple order: asked only where no set-up says how it is fed.
AS_DRAWN: list[Check] = []


def check(function: Check) -> Check:
    """Register a check."""
    CHECKS.append(function)
    return function


def check_as_drawn(function: Check) -> Check:
    """Register a check of the tube fed from end A in the simple order."""
    AS_DRAWN.append(function)
    return function


def audit(tubes: Iterable[Tube], shop: Shop, set_up: Collection[str] = ()) -> list[Finding]:
    """Everything there is to say about tubes before metal is cut.

    Args:
        tubes: with their sections and dies.
        shop: whose dies and machine count.
        set_up: names of tubes with a set-up, which judges the room for clamp and tube in the order it takes.

    Of a curve that is no tube only that is told.

    Returns:
        What reading, reducing and assigning said of each tube, and what the checks find; tube by
        tube in the order given, the worst first within a tube, then by bend.
    """
    for family in FAMILIES:
        import_module(f"converter.audit.{family}")
    tubes = tuple(tubes)
    bench = DieBench(shop, [tube for tube in tubes if not tube.run.is_free_curve])
    found: list[Finding] = []
    for tube in steps(tubes, "tubes checked"):
        subject = Subject.of(bench, tube)
        own = [*tube.run.findings, *tube.findings]
        if tube.run.is_free_curve:  # no tube as drawn, so its bends are nothing to judge
            found += sorted(dict.fromkeys(own), key=lambda finding: (finding.rank, finding.bend or 0))
            continue
        for one in CHECKS if tube.name in set_up else (*CHECKS, *AS_DRAWN):
            own.extend(one(subject))
        if len(own) > 1:
            own = sorted(dict.fromkeys(own), key=lambda finding: (finding.rank, finding.bend or 0))
        found += own
    return found
