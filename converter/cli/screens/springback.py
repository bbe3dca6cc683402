"""The answer of ``elbowroom springback`` as text and as JSON."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from converter.bending.metal.springback import Springback, spread_words
from converter.bending.setup.words import stop_step_note
from converter.cli.screens.findings import findings_text
from converter.cli.screens.grid import Grid, fill
from converter.cli.screens.page import bold, room
from converter.exporters.data.table_json import finding_value
from converter.findings.wording import counted
from converter.quoting import one_line
from converter.shop.sections import describe
from converter.units import unit_word

if TYPE_CHECKING:
    from converter.cli.commands.springback import SpringbackAnswer


def springback_text(answer: SpringbackAnswer) -> str:
    """Die and law, the test bends with a plot, findings, and what to do next."""
    law, request, display = answer.law, answer.request, answer.request.display
    what = [f"die {one_line(request.die.name)} ({request.die.groove(display)}, CLR {display.length(request.die.clr)})"]
    if request.section is not None:
        what.append(describe(request.section, display))
    if request.metal is not None:
        what.append(one_line(request.metal))
    lines = [bold(line) for line in fill(", ".join(what), rest="  ").split("\n")]
    if answer.show_fit:
        lines += ["", *_wrapped(_law_text(law))]
        lines += _wrapped(law.note) if law.note else []
        if law.source == "tests":
            lines += ["", _tests_text(answer), "", _plot(law)]
        if law.stretch is not None:
            lines += ["", *_wrapped(_stretch_text(law.stretch))]
    if request.target is not None and answer.resume is None:
        stop = law.stop(request.target)
        low, high = law.stop_range(request.target)
        spread = f" ({low:.2f} to {high:.2f}°)" if high - low > 0.005 else ""
        given = stop if answer.stop_set is None else answer.stop_set
        out, radius = law.outcome(given), _radius_out(answer, given)
        if radius is None:
            how = ", of which nothing stays bent"
        elif given == stop:
            how = f"; the radius comes out at {display.length(radius)}"
        else:
            how = f": it comes out at {display.angle(out)}, the radius at {display.length(radius)}"
        sentence = f"For {display.angle(request.target)} set the stop to {given:.2f}°{spread}{how}."
        lines += ["", *(bold(line) for line in _wrapped(sentence)), *_step_note(answer, stop - given)]
    if answer.resume is not None:
        lines += ["", *_wrapped(answer.resume.message)]
        if answer.resume.stop is not None and request.resume is not None:
            stays = request.resume[0] if answer.resume.stop_set is None else answer.resume.stop_set
            lines += _step_note(answer, answer.resume.stop - stays)
    if answer.findings:
        lines += ["", findings_text(answer.findings, display)]
    return "\n".join(lines)


def _radius_out(answer: SpringbackAnswer, stop: float) -> float | None:
    """Centerline radius that a stop gives, mm; None where nothing of it stays bent."""
    return answer.law.radius_out(answer.request.die.clr, stop) if answer.law.outcome(stop) > 0.0 else None


def _step_note(answer: SpringbackAnswer, left: float) -> list[str]:
    """That the stop is given to the machine's step, ``left`` the degrees that this leaves over; nothing without one."""
    step = answer.shop.machine.stop_step
    return [] if step is None else _wrapped(stop_step_note(step, [(left, "")]))


def _wrapped(text: str) -> list[str]:
    return fill(one_line(text)).split("\n")


def _law_text(law: Springback) -> str:
    if law.source == "none":
        return "springback not known: stop = angle"
    source = counted(law.count, "test bend") if law.source == "tests" else "an estimate"
    return f"{spread_words(law)} (from {source})"


def _stretch_text(stretch: float) -> str:
    """How long an arc is beside the stick it uses."""
    percent = f"{100.0 * abs(stretch):.2f}"
    if percent == "0.00":
        return "The arc comes out as long as the stick it uses."
    return f"The arc comes out {percent} % {'longer' if stretch > 0.0 else 'shorter'} than the stick it uses."


def _tests_text(answer: SpringbackAnswer) -> str:
    law, display = answer.law, answer.request.display
    heads = ["stop", "came out", "sprang back", "off the line", "stick used"]
    rows = [
        [
            f"{test.stop:.2f}°",
            f"{test.angle:.2f}°",
            f"{test.stop - test.angle:.2f}°",
            f"{round(test.stop - law.stop(test.angle), 2) + 0.0:+.2f}°",  # no -0.00
            "" if test.length is None else display.number(test.length),
        ]
        for test in law.used
    ]
    if all(test.length is None for test in law.used):
        heads, rows = heads[:-1], [row[:-1] for row in rows]
    elif rows:
        heads[-1] += f" ({unit_word(display.unit)})"
    return Grid(heads, rows).text()


def _plot(law: Springback) -> str:
    points = [(test.angle, test.stop - test.angle) for test in law.used]
    names = "degrees that came out", "degrees sprung back"
    return plot(points, lambda angle: law.stop(angle) - angle, names, (min(56, room() - 8), 11))


def springback_document(answer: SpringbackAnswer) -> dict[str, Any]:
    """``elbowroom/springback/1``: lengths mm, angles degrees (docs/springback.md)."""
    law, request, display = answer.law, answer.request, answer.request.display
    stop = None if request.target is None or answer.resume is not None else law.stop(request.target)
    given = stop if answer.stop_set is None else answer.stop_set
    return {
        "schema": "elbowroom/springback/1",
        "source": answer.path,
        "shop": answer.shop.name,
        "die": request.die.name,
        "metal": request.metal,
        "wall": request.wall,
        "recorded": len(request.tests),
        "springback": {
            "source": law.source,
            "a": law.a,
            "b": law.b,
            "residual": law.residual,
            "count": law.count,
            "low": law.low,
            "high": law.high,
            "stretch": law.stretch,
            "note": law.note,
        },
        "tests": [
            {
                "metal": test.metal,
                "wall": test.wall,
                "stop": test.stop,
                "angle": test.angle,
                "length": test.length,
                "off": test.stop - law.stop(test.angle),
            }
            for test in law.used
        ],
        "target": request.target,
        "stop": stop,
        "stop_set": answer.stop_set,
        "comes_out": None if answer.stop_set is None else law.outcome(answer.stop_set),
        "radius_out": None if stop is None or given is None else _radius_out(answer, given),
        "resume": None if answer.resume is None else asdict(answer.resume),
        "findings": [finding_value(finding, display) for finding in answer.findings],
    }


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
