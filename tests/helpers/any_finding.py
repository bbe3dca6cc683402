"""A finding of any code, with values that are nobody's, and what holds of all: for tests of findings."""

from __future__ import annotations

import re
from collections.abc import Iterable
from string import Formatter
from typing import Any

from converter.findings import CODES, Finding
from converter.units import Display

#: A value for each format of the catalogue (`converter.findings.entries`); for the rest a length.
_TEXTS = ("", "quoted", "bare")


def _value(spec: str) -> Any:
    kind = spec.split(" ", maxsplit=1)[0]
    if spec in _TEXTS:
        return "some"
    if kind in ("list", "one"):
        return ("some", "more")
    if kind == "count" or "/" in kind or kind == ",":
        return 2
    if kind == "place":
        return (1.0, 2.0, 3.0)
    if kind == "sizes":
        return (20.0, 10.0)
    return (1, 2) if kind == "order" else 10.0


def any_finding(code: str, **fields: Any) -> Finding:
    """A finding of the first variant of a code."""
    variant = fields.pop("variant", next(iter(CODES[code].says)))
    entry = CODES[code]
    texts = (entry.says[variant], *entry.cures.values())
    needed = {name: _value(spec or "") for text in texts for _, name, spec, _ in Formatter().parse(text) if name}
    return Finding(code, variant=variant, values=needed | fields.pop("values", {}), **fields)


#: Says what the numbers would be in the other unit, so it names both units in either.
_NAMES_BOTH = ("units-assumed", "units-doubted", "units-overridden", "section-unit")


def each_in_either_unit(findings: Iterable[Finding]) -> None:
    """In millimetres no inch stands, in inches no millimetre, but for the findings that compare the two."""
    for finding in findings:
        for unit, other in (("mm", "in"), ("in", "mm")):
            text = f"{finding.message_in(Display(unit))} {finding.cure_in(Display(unit))}"
            assert finding.code in _NAMES_BOTH or not re.search(rf"\d {other}\b", text), text
