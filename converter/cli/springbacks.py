"""The answer of ``elbowroom springback`` as text and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from converter.bending.springback import Springback, spread_words
from converter.cli.grid import Grid, fill
from converter.cli.main import one_line
from converter.cli.page import bold, room
from converter.cli.plot import plot
from converter.cli.springback import Answer
from converter.cli.text import UNIT_WORDS, findings_text
from converter.shop.sections import describe


def springback_text(answer: Answer) -> str:
    """Die and law, the test bends with a plot, findings, and what to do next."""
    law, asked, display = answer.law, answer.asked, answer.asked.display
    what = [f"die {one_line(asked.die.name)} ({asked.die.groove(display)}, CLR {display.length(asked.die.clr)})"]
    if asked.section is not None:
        what.append(describe(asked.section, display))
    if asked.metal is not None:
        what.append(one_line(asked.metal))
    lines = [bold(line) for line in fill(", ".join(what), rest="  ").split("\n")]
    if answer.show_fit:
        lines += ["", *_wrapped(_law_text(law))]
        lines += _wrapped(law.note) if law.note else []
        if law.source == "tests":
            lines += ["", _tests_text(answer), "", _plot(law)]
        if law.stretch is not None:
            lines += ["", *_wrapped(f"The arc comes out {100.0 * law.stretch:+.2f} % longer than the stick it uses.")]
    if asked.target is not None and answer.resume is None:
        stop = law.stop(asked.target)
        low, high = law.stop_range(asked.target)
        spread = f" ({low:.2f} to {high:.2f}°)" if high - low > 0.005 else ""
        radius = display.length(law.radius_out(asked.die.clr, stop))
        told = (
            f"For {display.angle(asked.target)} set the stop to {stop:.2f}°{spread}; the radius comes out at {radius}."
        )
        lines += ["", *(bold(line) for line in _wrapped(told))]
    if answer.resume is not None:
        lines += ["", *_wrapped(answer.resume.message)]
    if answer.findings:
        lines += ["", findings_text(answer.findings)]
    return "\n".join(lines)


def _wrapped(text: str) -> list[str]:
    return fill(one_line(text)).split("\n")


def _law_text(law: Springback) -> str:
    if law.source == "none":
        return "springback not known: stop = angle"
    source = f"{law.count} test bend{'s' if law.count != 1 else ''}" if law.source == "tests" else "an estimate"
    return f"{spread_words(law)} (from {source})"


def _tests_text(answer: Answer) -> str:
    law, display = answer.law, answer.asked.display
    heads = ["stop", "came out", "sprang back", "off the line", "stick used"]
    rows = [
        [
            f"{test.stop:.2f}°",
            f"{test.angle:.2f}°",
            f"{test.stop - test.angle:.2f}°",
            f"{test.stop - law.stop(test.angle):+.2f}°",
            "" if test.length is None else display.number(test.length),
        ]
        for test in law.used
    ]
    if all(test.length is None for test in law.used):
        heads, rows = heads[:-1], [row[:-1] for row in rows]
    elif rows:
        heads[-1] += f" ({UNIT_WORDS[display.unit]})"
    return Grid(heads, rows).text()


def _plot(law: Springback) -> str:
    points = [(test.angle, test.stop - test.angle) for test in law.used]
    names = "degrees that came out", "degrees sprung back"
    return plot(points, lambda angle: law.stop(angle) - angle, names, (min(56, room() - 8), 11))


def springback_document(answer: Answer) -> dict[str, Any]:
    """``elbowroom/springback/1``: lengths mm, angles degrees (docs/springback.md)."""
    law, asked = answer.law, answer.asked
    stop = None if asked.target is None or answer.resume is not None else law.stop(asked.target)
    return {
        "schema": "elbowroom/springback/1",
        "source": answer.path,
        "shop": answer.shop.name,
        "die": asked.die.name,
        "metal": asked.metal,
        "wall": asked.wall,
        "recorded": len(asked.tests),
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
        "target": asked.target,
        "stop": stop,
        "radius_out": None if stop is None else law.radius_out(asked.die.clr, stop),
        "resume": None if answer.resume is None else asdict(answer.resume),
        "findings": [
            {"code": f.code, "severity": f.severity, "message": f.message, "measured": f.measured, "limit": f.limit,
             "unit": f.unit, "cure": f.cure}
            for f in answer.findings
        ],
    }  # fmt: skip
