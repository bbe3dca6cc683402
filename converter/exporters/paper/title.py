"""The title block of everything that is printed: which job and part a page belongs to, its mark and its date.

The same on the job sheet and on every template, so that a page that lies about is told from that of another job, and
an old one from a new one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from converter.shop.sections import describe

if TYPE_CHECKING:
    from converter.exporters.sheet.revision import Revision
    from converter.job import Job
    from converter.model.part import Part
    from converter.units import Display

#: Names and texts of the cells of a row.
Row = tuple[tuple[str, str], ...]


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
        """The block of pages that name no part; ``job``: what it is called."""
        return cls(job, revision.mark, revision.issued.isoformat())

    @classmethod
    def of_job(cls, job: Job, stem: str) -> TitleBlock:
        """The block of a template's pages that speak of all parts shown; see `job_heading`.

        Raises:
            WriteError: the shop file or the job file is gone.
        """
        from converter.exporters.sheet.revision import job_heading, revision_of

        block = cls.of(job_heading(job, stem), revision_of([job]))
        return block.with_parts(job.shown.parts, job.display)

    @property
    def band(self) -> tuple[Row, Row]:
        """Names and texts of its cells, in two rows; that of the page is empty."""
        return (
            (("job", self.job), ("part", self.part), ("quantity", self.quantity), ("page", "")),
            (("section", self.section), ("metal", self.metal), ("date", self.issued), ("mark", self.mark)),
        )

    @property
    def corner(self) -> tuple[Row, Row, Row, Row]:
        """The same in four rows."""
        return (
            (("job", self.job), ("page", "")),
            (("part", self.part), ("quantity", self.quantity)),
            (("section", self.section),),
            (("metal", self.metal), ("date", self.issued), ("mark", self.mark)),
        )

    @property
    def lines(self) -> tuple[str, str]:
        """The same in two lines, for drawings that have no pages."""
        first, second = (", ".join(f"{name} {text}" for name, text in row if text) for row in self.band)
        return first, second

    def with_parts(self, parts: Sequence[Part], display: Display) -> TitleBlock:
        """The same for a page of some parts: what all have in common, and how many there are."""
        own = list({part.name: part for part in parts}.values())
        tubes = [part.first for part in own]
        return replace(
            self,
            part=f"{len(own)} parts" if len(own) > 1 else own[0].name if own else "",
            quantity=str(sum(len(part.tubes) for part in own)),
            section=_common(describe(tube.section, display) if tube.section else "not known" for tube in tubes),
            metal=_common(tube.metal or "not named" for tube in tubes),
        )


def _common(texts: Iterable[str]) -> str:
    """What all say; of several ``different``."""
    found = set(texts)
    return found.pop() if len(found) == 1 else "different" if found else ""
