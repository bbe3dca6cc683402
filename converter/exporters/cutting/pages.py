"""The bars of a cutting list on paper: those of a section to scale, then their letters and what holds for them."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from converter.exporters.cutting.diagram import bars_picture, legend
from converter.findings import ERROR
from converter.job.cutlist import CutGroup, CutList
from converter.job.cutlist_words import group_sentences, group_title, title_text
from converter.units import Display
from converter.words import SAW_CAUTION

if TYPE_CHECKING:
    from converter.exporters.sheet.pdf.flow import Flow

#: Shares of the width of the columns of letters, and room for a bar, mm.
_WIDTHS = {"letter": 12, "piece": 80, "stop of the saw": 30, "ends from square": 36, "make": 14}
_BAR = 20.0


def cutting_pages(flow: Flow, cuts: CutList, display: Display, bookmark: str = "") -> None:
    """What stands in the way, every section, whole on a page where it fits, and what to take care of at the saw.

    Args:
        flow: where to.
        cuts: the list.
        display: how lengths are shown, in one unit.
        bookmark: key of the first page in the reader's list of contents, '' for none.
    """
    flow.begin("Cutting list", bookmark)
    flow.paragraph(f"{title_text(cuts)}. Lengths in {'inches' if display.unit == 'in' else 'millimetres'}.")
    for finding in cuts.findings:  # before the saw is set
        told = " ".join((finding.message_in(display), finding.cure_in(display)))
        flow.notice(told) if finding.severity == ERROR else flow.paragraph(told)
    for group in cuts.groups:
        section = partial(_group, group=group, display=display, currency=cuts.currency)
        if (height := flow.measured(section)) <= flow.whole_page:
            flow.keep(height)
        section(flow)
    flow.space(2.0)
    flow.paragraph(SAW_CAUTION)


def _group(flow: Flow, group: CutGroup, display: Display, currency: str) -> None:
    """The bars of a section, as many to a page as there is room for, then its letters and what holds for it."""
    from converter.exporters.sheet.pdf.flow import TableColumn

    flow.heading(group_title(group, display), _BAR)
    for sentence in group_sentences(group, display, currency):
        flow.paragraph(sentence)
    flow.space(3.0)
    for pattern in () if group.plan is None else group.plan.patterns:
        flow.picture(bars_picture(group, (pattern,), display), display.unit, _BAR)
    flow.space(2.0)
    heads, rows = legend(group, display)
    flow.table(tuple(TableColumn(one, _WIDTHS[one], "left" if i < 2 else "right") for i, one in enumerate(heads)), rows)
