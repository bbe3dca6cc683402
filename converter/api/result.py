"""What became of one drawing, and everything worked out for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import TYPE_CHECKING

from converter.errors import ReadError
from converter.findings import Finding
from converter.model.drawing import Drawing
from converter.model.run import Tube
from converter.tolerances import Tolerances
from converter.units import BothUnits, Display, in_unit

if TYPE_CHECKING:
    from converter.bending.setup import Setup
    from converter.joints.cope import Copes
    from converter.shop.job import Job
    from converter.shop.model import Shop


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one drawing.

    Attributes:
        drawing: what the file holds.
        tubes: every run with its metal, in the order drawn.
        findings: what was said, the worst first; after `check` the audit's too.
        display, tolerances: as used.
        shop: whose dies were used.
        demo_shop: whether that is the invented demo shop, for want of another.
        checked: how many bends the audit checked; None before `check`.
        job: the job file, or None.
    """

    drawing: Drawing
    tubes: tuple[Tube, ...]
    findings: tuple[Finding, ...]
    display: Display
    tolerances: Tolerances
    shop: Shop
    demo_shop: bool
    checked: int | None = None
    job: Job | None = None

    @property
    def source(self) -> str:
        """The file as the user named it."""
        return self.drawing.source

    @property
    def stem(self) -> str:
        """What its outputs are called after."""
        return "drawing" if self.source == "-" else PurePath(self.source).stem

    def alone(self) -> Result:
        """The same in one unit where it was read with both (`Settings.both_units`): the one shown first."""
        if not isinstance(self.display, BothUnits):
            return self
        return replace(self, display=self.display.preferred, findings=_alone(self.findings, self.display.unit))


@dataclass(frozen=True, slots=True)
class Work:
    """Everything worked out for one drawing: what a job sheet shows.

    Attributes:
        result: with all findings: of the readers, the audit, the set-up and the joints.
        setups: of every tube, in order.
        copes: the joints and the lengths they make.
    """

    result: Result
    setups: tuple[Setup, ...]
    copes: Copes


class NoRunsError(ReadError):
    """A drawing was read, but nothing in it became a run.

    Args:
        message: one sentence.
        drawing: as read.
        findings: of the readers and the reducer.
        display: how lengths are shown.
    """

    default_code = "no-runs"

    def __init__(self, message: str, drawing: Drawing, findings: Sequence[Finding], display: Display) -> None:
        super().__init__(message, file=drawing.source)
        self.drawing = drawing
        self.findings = sorted_findings(findings)
        self.display = display


def sorted_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The worst first, else in the order said; the same finding said twice is kept once."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda finding: finding.rank))


def demo_shop_note() -> Finding:
    """That the dies are those of the demo shop."""
    return Finding(
        "demo-shop",
        "No shop file was named, so the dies are those of the invented demo shop.",
        cure="Write your own with `elbowroom shop new FILE` and name it with --shop.",
    )


def _alone(findings: Sequence[Finding], unit: str) -> tuple[Finding, ...]:
    """Findings in one unit."""
    return tuple(replace(f, message=in_unit(f.message, unit), cure=in_unit(f.cure, unit)) for f in findings)
