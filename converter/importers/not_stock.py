"""What a drawing says, in one finding, of solids that were not taken for stock."""

from __future__ import annotations

from collections.abc import Iterable

from converter.findings import Clause, Finding
from converter.model.drawing import Ignored

#: Parts named; of the rest the number is told.
MOST_NAMES = 8


def not_stock(left: Iterable[Ignored]) -> Finding | None:
    """One finding for all parts left out as screws, pins, fittings and the like; None where there are none."""
    counts: dict[str, int] = {}
    for ignored in left:
        part = _part(ignored.why)
        if part is not None:
            counts[part] = counts.get(part, 0) + ignored.count
    if not counts:
        return None
    total = sum(counts.values())
    names = sorted(counts)
    shown = names[:MOST_NAMES]
    values = {"count": total, "names": shown, "further": len(names) - len(shown)}
    return Finding("not-stock", variant="more" if len(names) > len(shown) else "", measured=float(total), values=values)


def _part(why: object) -> str | None:
    """The name of a part that was left out as no stock, by its clauses."""
    if not isinstance(why, Clause) or why.name != "solid-no-tube":
        return None
    values = dict(why.values)
    reason = values["why"]
    return str(values["part"]) if isinstance(reason, Clause) and reason.name == "solid-not-stock" else None
