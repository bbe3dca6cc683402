"""The audit: every check, run over every tube, against one shop.

A check is a function from a `Subject` to findings, registered with ``@check`` in one of the family
modules named in `FAMILIES`; to add one, write it there (or add a module) and define its code in
converter/findings.py. Checks state what is measured, the limit, the place and the cure.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from importlib import import_module

from converter.audit.subject import Bench, Subject
from converter.findings import Finding
from converter.model.run import Tube
from converter.progress import steps
from converter.shop.model import Shop
from converter.units import Display

Check = Callable[[Subject], Iterable[Finding]]

#: Modules of this package that hold checks, in the order they run.
FAMILIES = ("radius", "angles", "straights", "shape", "capacity", "sweep")

CHECKS: list[Check] = []


def check(function: Check) -> Check:
    """Register a check."""
    CHECKS.append(function)
    return function


def audit(tubes: Iterable[Tube], shop: Shop, display: Display | None = None) -> list[Finding]:
    """Everything there is to say about tubes before metal is cut.

    Args:
        tubes: with their sections and dies.
        shop: whose dies and machine count.
        display: how messages show lengths; millimetres when None.

    Returns:
        What reading, reducing and assigning said of each tube, and what the checks find; tube by
        tube in the order given, the worst first within a tube, then by bend.
    """
    for family in FAMILIES:
        import_module(f"converter.audit.{family}")
    bench = Bench(shop, display or Display())
    found: list[Finding] = []
    for tube in steps(tubes, "tubes checked"):
        subject = Subject.of(bench, tube)
        own = [*tube.run.findings, *tube.findings]
        for one in CHECKS:
            own.extend(one(subject))
        if len(own) > 1:
            own = sorted(dict.fromkeys(own), key=lambda finding: (finding.rank, finding.bend or 0))
        found += own
    return found
