"""What a job comes to, on a page of its own: it can be taken out before the sheet goes to the bench."""

from __future__ import annotations

from converter.exporters.sheet.content import DrawingPage
from converter.exporters.sheet.pdf.flow import Flow, TableColumn
from converter.exporters.sheet.pdf.frame import SMALL
from converter.job.quotation_words import QUOTATION_HEADS, money_text, quotation_rows
from converter.units import Display

#: Shares of the width, as of `QUOTATION_HEADS`.
_WIDTHS = (38, 9, 17, 19, 12, 11, 13, 16, 15, 16, 16, 16, 20)


def quotation_pages(flow: Flow, page: DrawingPage, display: Display) -> None:
    """Lay out the quotation where one was asked for."""
    estimate = page.quotation
    if estimate is None:
        return
    flow.begin(f"{page.heading}: quotation, estimated", "quotation")
    flow.paragraph(f"Rates of {page.job.shop.name}; {money_text(estimate)}.")
    flow.space(2.0)
    last = len(QUOTATION_HEADS) - 1
    columns = tuple(
        TableColumn(head, width, "right" if i else "left", bold=i in (0, last))
        for i, (head, width) in enumerate(zip(QUOTATION_HEADS, _WIDTHS, strict=True))
    )
    for finding in estimate.findings:
        flow.notice(" ".join((finding.message_in(display), finding.cure_in(display))))
    flow.table(columns, quotation_rows(estimate, display), SMALL)
    flow.space(2.0)
    unit = "inches" if display.unit == "in" else "millimetres"
    flow.paragraph(f"Stick and weld in {unit}.", SMALL)
    for note in estimate.notes:
        flow.space(1.0)
        flow.paragraph(note)
