"""A made tube against the drawn one as text: bend by bend, the miss, the verdict, what to set for the next piece."""

from __future__ import annotations

from itertools import pairwise

from converter.cli.screens.findings import titled
from converter.cli.screens.grid import Grid, fill
from converter.cli.screens.page import bold, room
from converter.comparison.words import (
    DIFFERENCE_HEADS,
    NEXT_HEADS,
    difference_rows,
    difference_sentence,
    excess_text,
    miss_sentences,
    next_rows,
    next_sentences,
    refused_sentences,
    scale_text,
    verdict_text,
)
from converter.job.made_tubes import TubeComparison
from converter.quoting import one_line
from converter.units import Display

#: Rows of the picture in letters at most.
_ROWS = 16


def comparison_text(answer: TubeComparison, made_of: str, display: Display) -> str:
    """All of one tube.

    Args:
        answer: the comparison.
        made_of: what the made tube was read from.
        display: how lengths are shown.
    """
    found = answer.comparison
    name = one_line(answer.tube.name)
    blocks = [titled(name, f"as drawn in {one_line(answer.job.source)}, as made in {one_line(made_of)}")]
    blocks.append(
        f"{Grid(list(DIFFERENCE_HEADS), difference_rows(found, display)).text()}\n"
        + fill(difference_sentence(display), "  ")
    )
    blocks.append(_drawn(answer))
    blocks.append("\n".join(fill(sentence) for sentence in miss_sentences(found, display)))
    verdict = [bold(line) for line in fill(verdict_text(found)).split("\n")]
    blocks.append("\n".join([*verdict, *(fill(excess_text(each, display), "  ", "    ") for each in found.excesses)]))
    if answer.steps:
        blocks.append(_next_text(answer, display))
    blocks += [fill(sentence) for sentence in refused_sentences(answer.refused)]
    return "\n\n".join(blocks)


def _next_text(answer: TubeComparison, display: Display) -> str:
    """What to set for the next piece."""
    rows = next_rows(answer.steps, display)
    lines = [titled("For the next piece", "as it was set, and as it is to be set"), Grid(list(NEXT_HEADS), rows).text()]
    lines += [fill(sentence, "  ") for sentence in next_sentences(answer.setup.feed_from, answer.steps)]
    return "\n".join(lines)


def _drawn(answer: TubeComparison) -> str:
    """Both centerlines in letters, from the side that shows most."""
    from converter.exporters.pictures.comparison import magnified, sides

    times = magnified(answer.comparison)
    drawn, made = (points[:-1] for points in sides(answer.comparison, times)[0])
    every = [*drawn, *made]
    low = [min(float(point[i]) for point in every) for i in (0, 1)]
    spans = [max(float(point[i]) for point in every) - low[i] for i in (0, 1)]
    # a letter is twice as high as it is wide
    k = min((min(72, room() - 6) - 1) / max(spans[0], 1e-9), 2.0 * (_ROWS - 1) / max(spans[1], 1e-9))
    page = [[" "] * (int(k * spans[0]) + 2) for _ in range(int(k * spans[1] / 2.0) + 2)]
    for points, letter in ((drawn, "."), (made, "o")):
        for one, other in pairwise(points):
            count = 1 + int(2.0 * k * max(abs(float(other[i] - one[i])) for i in (0, 1)))
            for n in range(count + 1):
                x, y = (float(one[i] + (other[i] - one[i]) * n / count) - low[i] for i in (0, 1))
                row, column = page[-1 - round(k * y / 2.0)], round(k * x)
                row[column] = letter
    for letter, at in (("A", 0), ("B", -1)):
        x, y = (float(drawn[at][i]) - low[i] for i in (0, 1))
        page[-1 - round(k * y / 2.0)][round(k * x)] = letter
    rows = [f"    {''.join(row).rstrip()}".rstrip() for row in page]
    words = f". as drawn, from A to B; o as made, {scale_text(times, answer.comparison, answer.job.display)}"
    return "\n".join([*(row for row in rows if row), fill(words, "  ")])
