"""How the files of a job are written: names, units, paper."""

from __future__ import annotations

from dataclasses import dataclass

from converter.errors import OptionError
from converter.quoting import quoted
from converter.units import Display

#: Sizes of paper by name: width and height in mm, upright.
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
#: Thickness of ordinary printing paper (80 g/m2), mm: common practice, no source.
PAPER_THICKNESS = 0.1


@dataclass(frozen=True, slots=True)
class WriteOptions:
    """How the files of a job are written.

    Attributes:
        stem: what they are called after (made safe by `OutputSet`): ``stem.csv``, ``stem-profile.dxf``...; '' for the
            job's own.
        step_unit: 'mm' or 'in' for STEP files (meshes have their formats' own); '' for the unit shown.
        one_file: all tubes in one STEP or mesh file; else one file per tube.
        paper: 'A4', 'Letter', or '' for the one that goes with the unit shown.
        paper_thickness: thickness of the paper that templates are printed on, mm.
        one_each: a sheet of its own for every template; else small ones share sheets.
        quote: whether the job sheet tells what the job comes to; prices are not for the bench unless asked for.
        address: where the job sheet will be opened, for the codes on its printed pages; see
            `converter.exporters.sheet.qr.checked_address`; '' where it has none.
    """

    stem: str = ""
    step_unit: str = ""
    one_file: bool = True
    paper: str = ""
    paper_thickness: float = PAPER_THICKNESS
    one_each: bool = False
    quote: bool = False
    address: str = ""

    def __post_init__(self) -> None:
        if not 0.0 <= self.paper_thickness <= 2.0:
            raise OptionError(f"The thickness of paper must be from 0 to 2 mm, not {self.paper_thickness:g} mm.")
        if self.paper and self.paper not in PAPERS:
            raise OptionError(f"Templates are printed on {' or '.join(PAPERS)}, not {quoted(self.paper)}.")
        if self.address:
            from converter.exporters.sheet.qr import checked_address

            checked_address(self.address)

    def paper_size(self, display: Display) -> tuple[float, float]:
        """Width and height of a sheet, mm, upright."""
        return PAPERS[self.paper or ("Letter" if display.unit == "in" else "A4")]
