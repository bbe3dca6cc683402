"""What surrounds the text of a printed page: its title over a rule, and the square code of the part it speaks of.

All lengths are mm of paper, y up from the lower edge.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from converter.exporters.paper.figure import Point
from converter.exporters.pdf.canvas import Pdf, Pen
from converter.exporters.pdf.title_block import ROW
from converter.exporters.sheet.qr import Modules, dark_runs
from converter.model.part import Part
from converter.quoting import visible

#: Edge left free, mm: most printers reach nearer, no source.
EDGE = 12.0
#: Heights of capitals, mm; the smallest is 7.6 pt type.
TITLE, HEADING, LARGE, TABLE, BODY, SMALL = 4.4, 2.7, 3.4, 2.35, 2.1, 1.95
#: What the heading and the foot of a page take, mm.
HEAD, FOOT = 11.0, 2.0 * ROW + 2.5
#: Side of the square code of a part, mm, how far it reaches into the edge above a page's heading, and what is left
#: free around it.
CODE, CODE_UP, CODE_FREE = 15.0, 1.5, 2.5
THICK = Pen(0.4)

Op = Callable[[Pdf], None]


@dataclass(slots=True)
class SheetPage:
    """One page: its title, whether it goes on from the page before, and what is drawn on it.

    ``bookmarks`` are keys and titles of what begins on it, ``parts`` those that it speaks of, ``code`` the square
    code beside its title.
    """

    title: str
    continued: bool
    ops: list[Op] = field(default_factory=list)
    bookmarks: list[tuple[str, str]] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    code: Modules = ()

    def draw_frame(self, pdf: Pdf, size: Point) -> None:
        """The title of a page over its rule, beside its code."""
        top, right = size[1] - EDGE, size[0] - EDGE
        if self.code:
            draw_code(pdf, self.code, (right, top + CODE_UP))
            right -= CODE + CODE_FREE
        title = visible(self.title)
        room = right - EDGE
        if self.continued:
            pdf.text("continued", (right, top - TITLE), BODY, align="right")
            room -= pdf.width("continued", BODY) + 5.0
        rows = pdf.wrapped(title, TITLE, room, bold=True)
        if len(rows) == 1:
            pdf.text(title, (EDGE, top - TITLE), TITLE, bold=True)
        else:
            small = TITLE * 0.6
            rows = pdf.wrapped(title, small, room, bold=True)
            shown = rows[:2] if len(rows) <= 2 else [rows[0], " ".join(rows[1:])]
            for i, row in enumerate(shown):
                pdf.text(row, (EDGE, top - small * (1.0 + 1.5 * i)), small, bold=True, room=room)
        pdf.drawn([(EDGE, top - HEAD + 2.5), (right, top - HEAD + 2.5)], THICK)


def draw_code(pdf: Pdf, code: Modules, corner: Point) -> None:
    """A square code with its upper right corner at a place."""
    side = CODE / len(code)
    x0, y0 = corner[0] - CODE, corner[1]
    boxes = [(x0 + x * side, y0 - (y + 1) * side, x0 + (x + n) * side, y0 - y * side) for y, x, n in dark_runs(code)]
    pdf.filled([[(a, b), (c, b), (c, d), (a, d)] for a, b, c, d in boxes], (0.0, 0.0, 0.0))
