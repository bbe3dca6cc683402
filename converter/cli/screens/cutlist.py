"""A cutting list as text: section by section how each bar is cut, what to buy, what is left."""

from __future__ import annotations

from collections.abc import Sequence

from converter.cli.screens.findings import findings_text, titled
from converter.cli.screens.grid import Grid, fill
from converter.cli.screens.table import headings
from converter.job import Job
from converter.job.cutlist import CutList
from converter.job.cutlist_words import BAR_HEADS, bar_rows, group_sentences, group_title, title_text
from converter.units import Display, unit_word
from converter.words import SAW_CAUTION


def cutlist_text(jobs: Sequence[Job], cuts: CutList, display: Display, *, everything: bool = False) -> str:
    """The whole page.

    Args:
        jobs: that were asked for it.
        cuts: their list.
        display: how lengths are shown.
        everything: show all findings with their details.
    """
    blocks = [headings(jobs), titled("Cutting list", title_text(cuts))]
    for group in cuts.groups:
        lines = [titled(group_title(group, display), f"lengths in {unit_word(display.unit)}")]
        rows = bar_rows(group, display)
        if rows:
            lines.append(Grid(list(BAR_HEADS), rows, "rrllr").text())
        lines += [fill(sentence, "  ") for sentence in group_sentences(group, display, cuts.currency)]
        blocks.append("\n".join(lines))
    if cuts.findings:
        blocks.append(findings_text(cuts.findings, display, everything=everything))
    if cuts.bar_count:
        blocks.append(fill(SAW_CAUTION))
    return "\n\n".join(blocks)
