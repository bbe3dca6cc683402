"""A made tube against the drawn one as text: bend by bend, the miss, the verdict, what to set for the next piece."""

from __future__ import annotations

from converter.cli.screens.findings import titled
from converter.cli.screens.grid import Grid, fill
from converter.cli.screens.page import bold
from converter.comparison.next_piece import NextStep
from converter.comparison.words import excess_text, miss_sentences, next_sentences, verdict_text
from converter.job.made_tubes import TubeComparison
from converter.model.run import Tube
from converter.quoting import one_line
from converter.units import Display

_DASH = "-"


def comparison_text(answer: TubeComparison, made_of: str, display: Display) -> str:
    """The whole page.

    Args:
        answer: the comparison.
        made_of: what the made tube was read from.
        display: how lengths are shown.
    """
    found = answer.comparison
    blocks = [titled(_title(answer.tube), f"as drawn in {one_line(answer.job.source)}, as made in {one_line(made_of)}")]
    rows = [
        [
            str(difference.bend),
            _off(found.legs[difference.bend - 1], display),
            "" if difference.bend == 1 else _degrees_off(difference.rotation),
            f"{difference.drawn.angle:.2f}",
            f"{difference.drawn.angle + difference.angle:.2f}",
            _degrees_off(difference.angle),
            _DASH if difference.clr is None else _off(difference.clr, display),
        ]
        for difference in found.bends
    ]
    rows.append(["tail", _off(found.legs[-1], display), "", "", "", "", ""])
    heads = ["bend", "leg before", "rotation", "angle drawn", "angle made", "off by", "CLR"]
    unit = "inches" if display.unit == "in" else "millimetres"
    blocks.append(
        f"{Grid(heads, rows).text()}\n"
        + fill(
            f"Legs (corner to corner), rotations and CLR: made less drawn; lengths in {unit}, angles in degrees.", "  "
        )
    )
    blocks.append("\n".join(fill(sentence) for sentence in miss_sentences(found, display)))
    verdict = [bold(line) for line in fill(verdict_text(found)).split("\n")]
    blocks.append("\n".join([*verdict, *(fill(excess_text(each, display), "  ", "    ") for each in found.excesses)]))
    if answer.steps:
        blocks.append(_next_text(answer, display))
    return "\n\n".join(blocks)


def _title(tube: Tube) -> str:
    return one_line(tube.name)


def _next_text(answer: TubeComparison, display: Display) -> str:
    """What to set for the next piece."""
    rows = [
        [
            str(step.bend), f"{step.stop:.2f}", _stop(step), f"{step.turns:.2f}", f"{step.turns_next:.2f}",
            display.number(step.mark), display.number(step.mark_next),
        ]
        for step in answer.steps
    ]  # fmt: skip
    heads = ["bend", "stop", "next", "turns so far", "next", "mark", "next"]
    lines = [titled("For the next piece", "as it was set, and as it is to be set"), Grid(heads, rows).text()]
    lines += [fill(sentence, "  ") for sentence in next_sentences(answer.setup.feed_from)]
    return "\n".join(lines)


def _stop(step: NextStep) -> str:
    return _DASH if step.stop_next is None else f"{step.stop_next:.2f}"


def _off(mm: float, display: Display) -> str:
    """A difference with its sign; none of what shows as nothing."""
    number = display.number(abs(mm))
    sign = "" if number == display.number(0.0) else "+" if mm > 0.0 else "-"
    return sign + number


def _degrees_off(degrees: float) -> str:
    number = f"{abs(degrees):.2f}"
    return number if number == "0.00" else ("+" if degrees > 0.0 else "-") + number
