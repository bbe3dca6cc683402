"""A small plot in characters."""

from __future__ import annotations

from collections.abc import Callable, Sequence


def plot(
    points: Sequence[tuple[float, float]],
    line: Callable[[float], float],
    names: tuple[str, str],
    size: tuple[int, int] = (56, 11),
) -> str:
    """Points (``o``; ``2`` to ``9`` and ``#`` for several in one place) over a line (``.``), axes from zero.

    Args:
        points: (x, y), one or more, x above zero.
        line: y of the line at x.
        names: of the axes, across and up.
        size: columns and rows of the field.
    """
    wide, high = size
    most_x = _round_up(max(x for x, _ in points))
    shown = [y for _, y in points] + [line(0.0), line(most_x)]
    low, top = min(0.0, *shown), max(shown)
    low, top = (-_round_up(-low) if low < 0.0 else 0.0), (_round_up(top) if top > 0.0 else 1.0)
    field = [[" "] * wide for _ in range(high)]

    def row(y: float) -> int:
        return round((top - y) / (top - low) * (high - 1))

    for column in range(wide):
        y = line(most_x * column / (wide - 1))
        if low <= y <= top:
            field[row(y)][column] = "."
    counts: dict[tuple[int, int], int] = {}
    for x, y in points:
        place = row(y), round(x / most_x * (wide - 1))
        counts[place] = counts.get(place, 0) + 1
    for (r, column), n in counts.items():
        field[r][column] = "o" if n == 1 else str(n) if n <= 9 else "#"
    labels = {0: f"{top:g}", high - 1: f"{low:g}"}
    if low < 0.0:
        labels.setdefault(row(0.0), "0")
    gutter = max(len(label) for label in labels.values())
    lines = [names[1]]
    for r in range(high):
        lines.append(f"{labels.get(r, ''):>{gutter}} |{''.join(field[r])}".rstrip())
    lines.append(f"{'':>{gutter}} +{'-' * wide}")
    foot = f"{most_x:g} {names[0]}"
    lines.append(f"{'':>{gutter}}  0{foot:>{wide - 1}}")
    return "\n".join(lines)


def _round_up(value: float) -> float:
    """The next round number that is no less: few digits, and turns of 90 and 180 degrees among them."""
    power = 1.0
    while power > value:
        power /= 10.0
    while power * 10.0 <= value:
        power *= 10.0
    for step in (1.0, 1.2, 1.5, 1.8, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0):
        if power * step >= value * (1.0 - 1e-12):
            return power * step
    return value
