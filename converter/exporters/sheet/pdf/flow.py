"""Laying out a printed sheet: text, tables and pictures flow down pages that number themselves.

Everything is laid out first and drawn afterwards, because "page 2 of 5" and the table of contents need to know
how many pages there are. All lengths are mm of paper, y up from the lower edge.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from converter.exporters.paper.figure import Point
from converter.exporters.paper.title import TitleBlock
from converter.exporters.pdf.canvas import Pdf, Pen
from converter.exporters.pdf.title_block import draw_band
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.written.pdf import draw
from converter.exporters.sheet.pdf.frame import (
    BODY,
    CODE,
    CODE_FREE,
    CODE_UP,
    EDGE,
    FOOT,
    HEAD,
    HEADING,
    SMALL,
    TABLE,
    THICK,
    TITLE,
    Op,
    SheetPage,
    draw_code,
)
from converter.exporters.sheet.qr import Modules
from converter.model.part import Part
from converter.quoting import visible
from converter.units import NO_BREAK, Display

#: From line to line, in heights of capitals.
LEAD = 1.75
#: Side of a tick box, mm.
TICK = 3.2
THIN, GREY = Pen(0.15), Pen(0.15, (0.45, 0.45, 0.45))

#: Something laid out on a flow.
Section = Callable[["Flow"], None]
#: A cell of a table: text that is broken where it must be, or its lines.
Cell = str | tuple[str, ...]
#: A heading of so many letters stands in one line.
_SHORT_HEAD = 11
#: Numbers take no more than this part of the width of the columns of words.
_MOST_TAKEN = 0.4
#: A cell of more lines than this is cut short: names may be absurdly long.
_MOST_LINES = 6
#: What a title takes that does not begin a page, mm.
BELOW_TITLE = 11.0
#: Height of a page on which everything fits, to measure on, mm.
_ENDLESS = 1e7


@dataclass(frozen=True, slots=True)
class TableColumn:
    """A column of a table.

    Attributes:
        head: its heading.
        width: its share of the table's width.
        align: 'left', 'right' or 'center'.
        bold: whether its cells are.
        tick: whether every cell is a box to tick.
    """

    head: str
    width: float
    align: str = "left"
    bold: bool = False
    tick: bool = False


class Flow:
    """Pages that fill from the top.

    Args:
        pdf: to measure text with.
        size: of a page.
    """

    def __init__(self, pdf: Pdf, size: Point) -> None:
        self.pdf = pdf
        self.size = size
        self.pages: list[SheetPage] = []
        self.width = size[0] - 2.0 * EDGE
        self._y = 0.0
        self._heading = ""
        self._title = ""
        self._part: Part | None = None
        #: whether its pages are to be drawn; where they are only measured, a picture's size will do
        self.is_drawn = True
        #: whether the part on the last page leaves what it does not need to the next
        self.leaves_room = False
        self._fresh = True
        self._turned = False

    @property
    def room(self) -> float:
        """What is left of the page, mm."""
        return self._y - EDGE - FOOT

    @property
    def whole_page(self) -> float:
        """What a fresh page has room for, mm."""
        return self.size[1] - 2.0 * EDGE - HEAD - FOOT

    def begin(
        self, title: str, bookmark: str = "", part: Part | None = None, code: Modules = (), *, clear: bool = False
    ) -> None:
        """Begin a page with a new title.

        Args:
            title: of the page.
            bookmark: its key in the reader's list of contents, '' for none.
            part: that it speaks of.
            code: the square code beside the title.
            clear: whether nothing may stand beside the code's lower edge; else the first line there must be short.
        """
        parts = [part] if part else []
        self._open(SheetPage(title, False, [], [(bookmark, title)] if bookmark else [], parts, code))
        if code and clear:
            self._y -= CODE - CODE_UP + CODE_FREE - HEAD
        self._heading, self._title, self._part = "", title, part

    def begin_below(self, title: str, bookmark: str, part: Part, code: Modules, *, clear: bool = False) -> None:
        """Begin a part with a title and a code of its own on what is left of this page; see `begin`."""
        self._y -= 5.0
        low = self._take(BELOW_TITLE)
        top = low + BELOW_TITLE
        self.line((EDGE, top), (EDGE + self.width, top), THICK)
        self.text(visible(title), (EDGE, low + 3.0), TITLE * 0.8, bold=True, room=self.width - CODE - 5.0)
        right = EDGE + self.width
        self._op(lambda pdf: draw_code(pdf, code, (right, top - CODE_FREE)))
        if clear:
            self._y -= CODE + 2.0 * CODE_FREE - BELOW_TITLE
        page = self.pages[-1]
        page.bookmarks.append((bookmark, title))
        page.parts.append(part)
        self._heading, self._title, self._part = "", title, part

    def turn(self, *, ended: bool = False) -> None:
        """Go on on the next page; the section that was broken says that it goes on, one that has ended does not."""
        if ended:
            self._heading = ""
        self._open(SheetPage(self._title, True, parts=[self._part] if self._part else []))
        self._turned = True
        if self._heading:
            self._headline(f"{self._heading}, continued")

    def keep(self, height: float) -> None:
        """See to it that the next ``height`` mm stand on one page, where they fit on one at all."""
        if self.room < height and not self._fresh:
            self.turn()

    def space(self, height: float) -> None:
        """Leave room, unless the page is fresh."""
        if not self._fresh:
            self._y -= height

    def heading(self, text: str, keep: float = 12.0) -> None:
        """A heading that stays with the first ``keep`` mm of what follows."""
        self._heading = ""
        self.space(3.5)
        self.keep(HEADING * LEAD + 2.5 + keep)
        self._heading = text
        self._headline(text)

    def paragraph(
        self,
        text: str,
        height: float = BODY,
        *,
        bold: bool = False,
        before: str = "",
        indent: float = 0.0,
        tick: bool = False,
    ) -> None:
        """Text over the width of the page.

        Args:
            text: what it says.
            height: of capitals.
            bold: whether it is.
            before: what stands in the indent of the first line, bold: a number, a severity.
            indent: of all lines.
            tick: draw a box to tick before it.
        """
        shift = TICK + 2.0 if tick else 0.0
        rows = self.pdf.wrapped(visible(text), height, self.width - indent - shift, bold=bold)
        step = max(LEAD * height, TICK + 0.9 if tick and len(rows) == 1 else 0.0)
        self.keep(step * min(len(rows), 4))
        for i, row in enumerate(rows):
            # two lines of a paragraph stay together at either end of a page
            self.keep(step * (2 if len(rows) - i == 2 else 1))
            base = self._take(step) + 0.45 * height
            if i == 0 and tick:
                self.box((EDGE, base + height / 2.0 - TICK / 2.0))
            if i == 0 and before:
                self.text(before, (EDGE + shift, base), height, bold=True)
            self.text(row, (EDGE + indent + shift, base), height, bold=bold)
        self._fresh = False

    def facts(self, pairs: Sequence[tuple[str, str]], columns: int = 2) -> None:
        """Short facts with their names, side by side."""
        column = self.width / columns
        for at in range(0, len(pairs), columns):
            row = pairs[at : at + columns]
            # a fact that is long takes a row of its own
            if any(self._fact_lines(name, text, column) > 2 for name, text in row):
                for pair in row:
                    self._facts_row([pair], self.width)
            else:
                self._facts_row(row, column)

    def table(self, columns: Sequence[TableColumn], rows: Sequence[Sequence[Cell]], height: float = TABLE) -> None:
        """A table; it breaks between rows, and its head comes again on every page."""
        widths = self._widths(columns, rows, height)
        heads = [
            self.pdf.wrapped(column.head, SMALL, width - 2.0, bold=True)
            for column, width in zip(columns, widths, strict=True)
        ]
        head = max(map(len, heads)) * SMALL * LEAD + 1.5
        cells = [self._cells(row, columns, widths, height) for row in rows]
        tall = [max(max(len(cell) for cell in row) * height * LEAD, TICK + 0.6) + 1.2 for row in cells]
        first = True
        for row, rise in zip(cells, tall, strict=True):
            if first:
                self.keep(head + rise)
            elif self.room < rise:
                self.turn()
            if first or self._turned:
                self._table_row(heads, columns, widths, SMALL, head, bold=True)
                self.line((EDGE, self._y), (EDGE + self.width, self._y), THICK)
                first = self._turned = False
            self._table_row(row, columns, widths, height, rise)
            self.line((EDGE, self._y), (EDGE + self.width, self._y), GREY)

    def picture(self, picture: Picture, unit: str, most: float) -> None:
        """A picture over the width of the page, at most ``most`` mm high, in its own size or smaller."""
        (x0, y0), (x1, y1) = picture.low, picture.high
        scale = min(1.0, self.width / max(x1 - x0, 1e-9), most / max(y1 - y0, 1e-9))
        dx = EDGE + (self.width - (x1 - x0) * scale) / 2.0 - x0 * scale
        self.drawn((y1 - y0) * scale, lambda pdf, low: draw(pdf, picture, dx, low - y0 * scale, scale, unit=unit))

    def drawn(self, height: float, op: Callable[[Pdf, float], None]) -> None:
        """Something of a height over the width of the page, drawn by an operation from its lower edge."""
        self.keep(height)
        low = self._take(height)
        self._op(lambda pdf: op(pdf, low))

    def side_by_side(self, pictures: Sequence[Picture], unit: str) -> None:
        """Pictures of one height in a row over the width, in their own sizes."""
        height = max(one.high[1] - one.low[1] for one in pictures)
        self.keep(height)
        low = self._take(height)
        wide = sum(one.high[0] - one.low[0] for one in pictures)
        gap = (self.width - wide) / max(1, len(pictures) - 1)
        x = EDGE
        for one in pictures:
            self._op(partial(draw, picture=one, dx=x - one.low[0], dy=low - one.low[1], unit=unit))
            x += one.high[0] - one.low[0] + gap

    def beside(self, left: Section, share: float, picture: Picture, unit: str) -> None:
        """A picture with something narrow at its left, both from the same height.

        Args:
            left: what stands at the left; it must fit on what is left of the page.
            share: of the width, for what stands at the left.
            picture: in its own size, at the right edge.
            unit: of the picture's labels.
        """
        height = picture.high[1] - picture.low[1]
        self.keep(height)
        top, whole = self._y, self.width
        self.width = share * whole
        left(self)
        self.width = whole
        dx, dy = EDGE + whole - picture.high[0], top - picture.high[1]
        self._op(lambda pdf: draw(pdf, picture, dx, dy, unit=unit))
        self._y = min(self._y, top - height)
        self._fresh = False

    def measured(self, section: Section, share: float = 1.0) -> float:
        """How high a section is, laid out in a share of the width on one endless page, mm."""
        trial = Flow(self.pdf, (self.size[0], _ENDLESS))
        trial.begin("")
        trial.width, trial._fresh, trial.is_drawn = share * self.width, False, False
        before = trial.room
        section(trial)
        return before - trial.room

    def ticks(self, words: Sequence[str], before: str = "") -> None:
        """Boxes to tick side by side, each with its words; before them what they are about, bold."""
        x, right = EDGE, EDGE + self.width
        step = TICK + 2.4
        self.keep(step)
        low = self._take(step)
        if before:
            self.text(before, (x, low + (TICK - HEADING) / 2.0), HEADING, bold=True)
            x += self.pdf.width(before, HEADING, bold=True) + 5.0
        for text in map(visible, words):
            wide = TICK + 1.5 + self.pdf.width(text, BODY) + 5.0
            if x > EDGE and x + wide > right:
                self.keep(step)
                low, x = self._take(step), EDGE
            self.box((x, low))
            self.text(text, (x + TICK + 1.5, low + (TICK - BODY) / 2.0), BODY)
            x += wide

    def notice(self, text: str) -> None:
        """Text in a box that must be seen."""
        rows = self.pdf.wrapped(visible(text), BODY, self.width - 6.0, bold=True)
        tall = len(rows) * BODY * LEAD + 3.0
        self.keep(tall + 1.5)
        low = self._take(tall)
        x, right = EDGE, EDGE + self.width
        self._op(
            lambda pdf: pdf.drawn([(x, low), (right, low), (right, low + tall), (x, low + tall)], THICK, closed=True)
        )
        for i, row in enumerate(rows):
            self.text(row, (EDGE + 3.0, low + tall - 1.5 - (i + 0.75) * BODY * LEAD), BODY, bold=True)
        self._y -= 1.5

    def text(
        self, text: str, at: Point, height: float, *, align: str = "left", bold: bool = False, room: float = 0.0
    ) -> None:
        """A line of text at a place of this page."""
        self._op(lambda pdf: pdf.text(text, at, height, align=align, bold=bold, room=room))

    def line(self, a: Point, b: Point, pen: Pen = THIN) -> None:
        """A line on this page."""
        self._op(lambda pdf: pdf.drawn([a, b], pen))

    def box(self, low: Point) -> None:
        """A box to tick, its lower left corner at ``low``."""
        (x, y), s = low, TICK
        self._op(lambda pdf: pdf.drawn([(x, y), (x + s, y), (x + s, y + s), (x, y + s)], Pen(0.25), closed=True))

    def draw(self, block: TitleBlock, display: Display, more: int = 0) -> None:
        """Draw all pages.

        Args:
            block: what stands at the foot of every page; one that speaks of some parts names those in it.
            display: how sections are written there.
            more: how many pages of the document follow.
        """
        count = len(self.pages) + more
        for number, page in enumerate(self.pages, 1):
            self.pdf.page(self.size)
            for key, title in page.bookmarks:
                self.pdf.bookmark(key, visible(title))
            page.draw_frame(self.pdf, self.size)
            for op in page.ops:
                op(self.pdf)
            own = block.with_parts(page.parts, display) if page.parts else block
            draw_band(self.pdf, own, (EDGE, EDGE), self.width, f"{number} of {count}")
            self.pdf.end_page()

    def _open(self, page: SheetPage) -> None:
        self.pages.append(page)
        self._y = self.size[1] - EDGE - HEAD
        self._fresh = True

    def _headline(self, text: str) -> None:
        low = self._take(HEADING * LEAD)
        self.text(text, (EDGE, low + 0.4 * HEADING), HEADING, bold=True)
        self._y -= 1.0

    def _take(self, height: float) -> float:
        self._y -= height
        self._fresh = False
        return self._y

    def _op(self, op: Op) -> None:
        self.pages[-1].ops.append(op)

    def _fact_lines(self, name: str, text: str, width: float) -> int:
        return len(self.pdf.wrapped(visible(text), BODY, width - self._name_width(name) - 3.0, bold=True))

    def _name_width(self, name: str) -> float:
        return max(24.0, self.pdf.width(name, SMALL) + 2.0)

    def _facts_row(self, row: Sequence[tuple[str, str]], width: float) -> None:
        texts = [
            self.pdf.wrapped(visible(text), BODY, width - self._name_width(name) - 3.0, bold=True) for name, text in row
        ]
        step = BODY * LEAD
        self.keep(step * min(3, max(map(len, texts))))
        for i in range(max(map(len, texts))):
            self.keep(step)
            base = self._take(step) + 0.45 * BODY
            for k, ((name, _), lines) in enumerate(zip(row, texts, strict=True)):
                x = EDGE + k * width
                if i == 0:
                    self.text(name, (x, base), SMALL)
                if i < len(lines):
                    self.text(lines[i], (x + self._name_width(name), base), BODY, bold=True)

    def _widths(self, columns: Sequence[TableColumn], rows: Sequence[Sequence[Cell]], height: float) -> list[float]:
        """The columns' shares of the width; one of numbers takes what its longest needs from those of words.

        Of those each keeps its longest word whole, up to a limit, and the widest give first.
        """
        total = sum(column.width for column in columns)
        widths = [column.width / total * self.width for column in columns]
        words = [i for i, column in enumerate(columns) if column.align == "left"]
        wanted, needed = list(widths), list(widths)
        for i, column in enumerate(columns):
            if column.align == "left":
                needed[i] = min(self._longest_word(rows, i, column, height), widths[i])
                continue
            head = [column.head] if len(column.head) <= _SHORT_HEAD else column.head.split()
            longest = [self.pdf.width(text, SMALL, bold=True) for text in head]
            if column.align == "right":
                cells = (row[i] for row in rows)
                lines = [line for cell in cells for line in ([cell] if isinstance(cell, str) else cell)]
                longest += [self.pdf.width(visible(line), height, bold=column.bold) for line in lines]
            needed[i] = max(longest) + 2.1
            wanted[i] = max(widths[i], needed[i])
        more = sum(wanted) - self.width
        if not words or more > sum(widths[i] for i in words) * _MOST_TAKEN:
            return self._shared_out(widths, needed) if more > 0.0 else wanted
        least = {i: self._longest_word(rows, i, columns[i], height) for i in words}
        short = {i: max(0.0, min(least[i], 2.0 * widths[i]) - widths[i]) for i in words}
        for i in words:
            wanted[i] += short[i]
        more = sum(wanted) - self.width
        spare = {i: max(0.0, widths[i] - max(least[i], (1.0 - _MOST_TAKEN) * widths[i])) for i in words}
        if more <= 0.0:
            return wanted
        if more > sum(spare.values()):  # then words break after all
            spare, wanted = {i: widths[i] for i in words}, [w - short.get(i, 0.0) for i, w in enumerate(wanted)]
            more = max(0.0, sum(wanted) - self.width)
        for i in words:
            wanted[i] -= more * spare[i] / sum(spare.values())
        return wanted

    def _shared_out(self, widths: Sequence[float], needed: Sequence[float]) -> list[float]:
        """Widths of which each is what is needed, where all together are no more: who has more gives of that."""
        spare = [max(0.0, width - need) for width, need in zip(widths, needed, strict=True)]
        left = self.width - sum(needed)
        if left < 0.0 or not any(spare):
            return list(widths)
        return [need + left * one / sum(spare) for need, one in zip(needed, spare, strict=True)]

    def _longest_word(self, rows: Sequence[Sequence[Cell]], i: int, column: TableColumn, height: float) -> float:
        """Width that a column needs to keep its longest word whole, mm."""
        cells = (row[i] for row in rows)
        lines = (line for cell in cells for line in ([cell] if isinstance(cell, str) else cell))
        words = (word.replace(NO_BREAK, " ") for line in lines for word in visible(line).split(" "))
        longest = (self.pdf.width(word, height, bold=column.bold) for word in words)
        return max(longest, default=0.0) + 2.1

    def _cells(
        self, row: Sequence[Cell], columns: Sequence[TableColumn], widths: Sequence[float], height: float
    ) -> list[list[str]]:
        """The lines of each cell of a row."""
        found = []
        for cell, column, width in zip(row, columns, widths, strict=True):
            lines = [
                line
                for text in ((cell,) if isinstance(cell, str) else cell)
                for line in self.pdf.wrapped(visible(text), height, width - 2.0, bold=column.bold)
            ]
            found.append(lines if len(lines) <= _MOST_LINES else [*lines[: _MOST_LINES - 1], "…"])
        return found

    def _table_row(
        self,
        row: Sequence[Sequence[str]],
        columns: Sequence[TableColumn],
        widths: Sequence[float],
        height: float,
        rise: float,
        *,
        bold: bool = False,
    ) -> None:
        low = self._take(rise)
        x = EDGE
        for lines, column, width in zip(row, columns, widths, strict=True):
            if column.tick and not bold:
                self.box((x + width / 2.0 - TICK / 2.0, low + (rise - TICK) / 2.0))
            at = {"left": x + 1.0, "right": x + width - 1.0, "center": x + width / 2.0}[column.align]
            top = low + (rise + len(lines) * height * LEAD) / 2.0
            for i, line in enumerate(lines):
                base = top - (i + 0.78) * height * LEAD
                if line:
                    self.text(line, (at, base), height, align=column.align, bold=bold or column.bold)
            x += width
