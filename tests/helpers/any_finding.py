"""A finding of any code, with values that are nobody's: for tests of what is done with findings."""

from __future__ import annotations

from string import Formatter
from typing import Any

from converter.findings import CODES, Finding

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
