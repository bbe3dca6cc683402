"""What the templates and coped solids of a job need to know beside its tubes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.errors import OptionError
from converter.tolerances import DEFAULT, Tolerances

if TYPE_CHECKING:
    from converter.shop.job import Job
    from converter.shop.model import Shop

#: Sheets by name: width and height in mm, upright.
SHEETS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
#: Thickness of ordinary printing paper (80 g/m2), mm: common practice, no source.
PAPER = 0.1


@dataclass(frozen=True, slots=True)
class CopeOptions:
    """How joints are found and their templates printed.

    Attributes:
        shop: whose hole saws are used; None tells the wanted size.
        job: the job file, whose ``[[joint]]`` tables count; or None.
        tolerances: for ends drawn short.
        gap: weld gap, mm.
        paper: thickness of the paper that templates are printed on, mm.
        sheet: 'A4', 'Letter', or '' for the one that goes with the unit shown.
        one_each: a sheet of its own for every template; else small ones share sheets.
    """

    shop: Shop | None = None
    job: Job | None = None
    tolerances: Tolerances = DEFAULT
    gap: float = 0.0
    paper: float = PAPER
    sheet: str = ""
    one_each: bool = False

    def __post_init__(self) -> None:
        if not 0.0 <= self.paper <= 2.0:
            raise OptionError(f"The thickness of paper must be from 0 to 2 mm, not {self.paper:g} mm.")
        if self.sheet and self.sheet not in SHEETS:
            raise OptionError(f"Templates are printed on {' or '.join(SHEETS)}, not {self.sheet!r}.")
