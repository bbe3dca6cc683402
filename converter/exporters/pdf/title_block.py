"""The title block of everything that is printed: which job and part a page belongs to, its mark, its date, its number.

The same on the job sheet and on every template, so that a page that lies about is told from that of another job, and
an old one from a new one. On a sheet it is a band across the foot, on templates it stands in the lower right corner.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from converter.exporters.paper.figure import Point
from converter.exporters.pdf.paper import Color, Pdf, Pen
from converter.quoting import visible
from converter.shop.sections import describe

if TYPE_CHECKING:
    from converter.exporters.sheet.revision import Revision
    from converter.model.part import Part
    from converter.units import Display

#: Height of a row, of its capitals, and of those of the words before them (7.6 pt), mm.
ROW, _TEXT, _LABEL = 5.2, 2.1, 1.95
#: Shares of the width: of a band of two rows, and of a corner of four.
_BAND, _CORNER = (0.28, 0.30, 0.20, 0.22), (0.58, 0.42)
#: Size of the block in the corner, mm.
CORNER = (94.0, 4 * ROW)
_FRAME, _RULE = Pen(0.25), Pen(0.13, (0.55, 0.55, 0.55))
_GREY: Color = (0.32, 0.32, 0.32)


@dataclass(frozen=True, slots=True)
class TitleBlock:
    """What a page says of itself; raw text, '' for what it has nothing to say of.

    Attributes:
        job: name of the job.
        mark, issued: as of `Revision`: its digits, and the date.
        part, quantity, section, metal: of the part or parts on the page.
    """

    job: str
    mark: str
    issued: str
    part: str = ""
    quantity: str = ""
    section: str = ""
    metal: str = ""

    @classmethod
    def of(cls, job: str, revision: Revision) -> TitleBlock:
        """The block of pages that speak of the whole job."""
        return cls(job, revision.mark, revision.issued.isoformat())

    def with_parts(self, parts: Sequence[Part], display: Display) -> TitleBlock:
        """The same for a page of some parts: what all have in common, and how many there are."""
        tubes = [part.first for part in parts]
        names = list(dict.fromkeys(part.name for part in parts))
        several = len(names) > 1
        return replace(
            self,
            part=f"{len(names)} parts" if several else names[0] if names else "",
            quantity=str(sum(len(part.tubes) for part in parts)),
            section=_common(describe(tube.section, display) if tube.section else "not known" for tube in tubes),
            metal=_common(tube.metal or "not named" for tube in tubes),
        )

    def band(self, pdf: Pdf, low: Point, width: float, page: str) -> None:
        """Across the page, two rows high; ``low``: its lower left corner, ``page``: ``3 of 9``."""
        rows = (
            (("job", self.job), ("part", self.part), ("quantity", self.quantity), ("page", page)),
            (("section", self.section), ("metal", self.metal), ("date", self.issued), ("mark", self.mark)),
        )
        _draw(pdf, low, width, _BAND, rows)

    def corner(self, pdf: Pdf, right: Point, page: str) -> None:
        """In the lower right corner of a page, which is ``right``."""
        rows = (
            (("job", self.job), ("page", page)),
            (("part", self.part), ("quantity", self.quantity)),
            (("section", self.section), ("date", self.issued)),
            (("metal", self.metal), ("mark", self.mark)),
        )
        _draw(pdf, (right[0] - CORNER[0], right[1]), CORNER[0], _CORNER, rows)


def _common(texts: Iterable[str]) -> str:
    """What all say; of several ``different``."""
    found = set(texts)
    return found.pop() if len(found) == 1 else "different" if found else ""


def _draw(
    pdf: Pdf, low: Point, width: float, shares: Sequence[float], rows: Sequence[Sequence[tuple[str, str]]]
) -> None:
    """Ruled cells, each with a word for what it tells."""
    (x0, y0), top = low, low[1] + len(rows) * ROW
    starts = [x0 + width * sum(shares[:i]) for i in range(len(shares))]
    for i in range(1, len(rows)):
        pdf.drawn([(x0, y0 + i * ROW), (x0 + width, y0 + i * ROW)], _RULE)
    for x in starts[1:]:
        pdf.drawn([(x, y0), (x, top)], _RULE)
    pdf.drawn([(x0, y0), (x0 + width, y0), (x0 + width, top), (x0, top)], _FRAME, closed=True)
    for k, (x, share) in enumerate(zip(starts, shares, strict=True)):
        beside = max(pdf.width(row[k][0], _LABEL) for row in rows) + 2.6
        for i, row in enumerate(rows):
            name, text = row[k]
            y = top - (i + 0.5) * ROW - _TEXT / 2.0
            pdf.text(name, (x + 1.2, y), _LABEL, color=_GREY)
            if text:
                pdf.text(visible(text), (x + beside, y), _TEXT, bold=True, room=share * width - beside - 0.8)
