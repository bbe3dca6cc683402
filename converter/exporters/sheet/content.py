"""What a job sheet says, before anybody decides how it looks: a `JobSheet`, a `PartPage` for each part in it.

Everything is exact and in mm; the pages round and choose units when they show it. Findings and names are
raw text from the drawing: whoever shows them escapes them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

from converter.bending.setup.words import CAUTIONS
from converter.exporters.sheet.revision import Revision, job_heading, revision_of
from converter.findings import ERROR, WARNING, Finding
from converter.findings.wording import listed
from converter.job import Job, sorted_findings
from converter.job.cutlist import CutList, first_cut_list
from converter.job.quotation import Quotation, quotation
from converter.model.part import Part
from converter.model.run import Tube
from converter.shop.assign import die_names
from converter.shop.metals import kg_per_mm
from converter.tolerances import PAST_LENGTH, same_within
from converter.words import CUTTING, cut_to, mirror_text, part_title, part_tubes_text

if TYPE_CHECKING:
    from converter.bending.setup.setup import Setup
    from converter.joints.cope import TubeLength
    from converter.joints.model import Joint

T = TypeVar("T")

#: What holds for everything that is built from these numbers, said once on every sheet.
STRUCTURE = (
    "These numbers come from a drawing and a shop file, not from an engineer. Where a frame protects people or "
    "carries a load, local codes, the sanctioning body's rulebook and a licensed engineer decide."
)


@dataclass(frozen=True)
class PlacedTube:
    """One tube of a part, and where it goes.

    Attributes:
        tube: the tube.
        ends: what its ends are cut to, by the part's own end letters.
    """

    tube: Tube
    ends: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class PartPage:
    """One part: equal tubes, made once so many times.

    Attributes:
        key: unique in the sheet and safe in an address or a file name: 'part-1', 'part-2', ...
        number: 1, 2, ... through all drawings of the sheet.
        part: its tubes; the first one shown stands for all.
        setup: of its first tube.
        joints: of the ends of its first tube, end A first.
        length: what its copes make of its length; None where copes were not looked for.
        mass: kg of one stick as cut, None when metal or section is unknown.
        findings: said of any of its tubes, the worst first.
        pieces: its tubes, each with where it goes.
        dies: names of those that its bends are made on.
        refusal: numbers of the bends that an error names: they get no die, mark or stop; None where no error names any
            of its tubes.
    """

    key: str
    number: int
    part: Part
    setup: Setup | None
    joints: tuple[Joint, ...]
    length: TubeLength | None
    mass: float | None
    findings: tuple[Finding, ...]
    pieces: tuple[PlacedTube, ...]
    dies: tuple[str, ...]
    refusal: frozenset[int] | None

    @property
    def tube(self) -> Tube:
        """The tube that stands for all."""
        return self.part.first

    @property
    def count(self) -> int:
        """How many of it this sheet shows."""
        return len(self.part.tubes)

    @property
    def title(self) -> str:
        """``PICKET, 7 off``; of a single tube its name; raw."""
        return part_title(self.part)

    @property
    def name(self) -> str:
        """Name of the part, raw."""
        return self.part.name

    @property
    def bad_bends(self) -> frozenset[int]:
        """Numbers of the bends that are not to be made as drawn."""
        return self.refusal or frozenset()

    @property
    def over_cut_ends(self) -> float | None:
        """Along the centerline from long point to long point, mm; None where no end is cut, or the stick is as long."""
        if self.length is None or not self.joints:
            return None
        over, stick = self.length.cut, None if self.setup is None else self.setup.stick_length
        return None if stick is not None and abs(over - stick) <= same_within(PAST_LENGTH) else over

    @property
    def facts(self) -> tuple[tuple[str, str], ...]:
        """Label and text: which tubes are equal, and what the part mirrors; none where it stands alone."""
        texts = (("Tubes", part_tubes_text(self.part)), ("Pair", mirror_text(self.part)))
        return tuple((label, text) for label, text in texts if text)

    @property
    def own_findings(self) -> tuple[Finding, ...]:
        """The findings as if all were said of the first tube: bends numbered as on its picture."""
        name = self.tube.name
        return tuple(
            finding
            if finding.tube in (None, name) or finding.bend is None
            else replace(finding, tube=name, bend=self.part.bend_of(finding.tube, finding.bend))
            for finding in self.findings
        )

    @property
    def worst(self) -> str | None:
        """Severity of the worst finding said of it, or None."""
        return self.findings[0].severity if self.findings else None


@dataclass(frozen=True)
class DrawingPage:
    """What one drawing brings to a sheet.

    Attributes:
        job: the drawing and all that is known of it.
        stem: what its files are called after.
        parts: in the order drawn.
        findings: that name no tube, the worst first.
        quotation: what it comes to; None where that was not asked for.
    """

    job: Job
    stem: str
    parts: tuple[PartPage, ...]
    findings: tuple[Finding, ...]
    quotation: Quotation | None = None

    @property
    def heading(self) -> str:
        """The job's own name where its job file gives one, else the drawing's; on every sheet."""
        return job_heading(self.job, self.stem)

    @property
    def source(self) -> str:
        """The file as it was named."""
        return "standard input" if self.job.source == "-" else self.job.source


@dataclass(frozen=True)
class JobSheet:
    """A sheet: of one drawing or of several, parts numbered on through them.

    Attributes:
        title: what its files are called after.
        drawings: in the order named; at least one.
        revision: how this sheet is told from an older one.
        cautions: for the person at the bender, for the one at the saw where ends are cut to fit, and `STRUCTURE`.
        cuts: which bars all of it is cut from, or None where the shop file has none.
    """

    title: str
    drawings: tuple[DrawingPage, ...]
    revision: Revision
    cautions: tuple[str, ...]
    cuts: CutList | None = None

    @property
    def parts(self) -> tuple[PartPage, ...]:
        """Of all drawings, in order."""
        return tuple(part for drawing in self.drawings for part in drawing.parts)

    @property
    def job(self) -> Job:
        """The first drawing's job: shop, machine and unit are one for all."""
        return self.drawings[0].job

    @property
    def heading(self) -> str:
        """The name of the one drawing, or the names of several."""
        names = [drawing.heading for drawing in self.drawings]
        if len(names) > _MOST_NAMED:
            names = [*names[: _MOST_NAMED - 1], f"{len(names) - _MOST_NAMED + 1} more"]
        return listed(names)


#: Drawings named in a heading at most.
_MOST_NAMED = 4


def job_sheet(jobs: Sequence[Job], stem: str = "", *, quote: bool = False) -> JobSheet:
    """Everything a sheet says.

    Args:
        jobs: one for each drawing; at least one.
        stem: what its files are called after; the first job's own, and how many more there are, when empty.
        quote: whether it tells what the jobs come to.

    Raises:
        WriteError: the shop file or the job file is gone.
    """
    drawings: list[DrawingPage] = []
    for job in jobs:
        first = 1 + sum(len(drawing.parts) for drawing in drawings)
        own = stem if stem and len(jobs) == 1 else job.stem
        drawings.append(_drawing_page(job, own, first, quote=quote))
    coped = any(part.joints for drawing in drawings for part in drawing.parts)
    cautions = (*CAUTIONS, *(CUTTING if coped else ()), STRUCTURE)
    return JobSheet(stem or sheet_stem(jobs), tuple(drawings), revision_of(jobs), cautions, first_cut_list(jobs))


def sheet_stem(jobs: Sequence[Job]) -> str:
    """What a sheet's files are called after where nobody named them: ``frame``, ``frame-and-2-more``."""
    return jobs[0].stem if len(jobs) == 1 else f"{jobs[0].stem}-and-{len(jobs) - 1}-more"


def _drawing_page(job: Job, stem: str, first: int, *, quote: bool) -> DrawingPage:
    """What a drawing brings, its parts numbered from ``first``."""
    shown = job.shown
    joints_of = _by_name(shown.joints, lambda joint: joint.tube)
    findings_of = _by_name(shown.findings, lambda finding: finding.tube)
    lengths = {length.name: length for length in job.copes.lengths}
    parts: list[PartPage] = []
    for number, (part, setup) in enumerate(shown.first_setups, first):
        tube = part.first
        parts.append(
            PartPage(
                key=f"part-{number}",
                number=number,
                part=part,
                setup=setup,
                joints=tuple(sorted(joints_of.get(tube.name, ()), key=lambda joint: joint.end)),
                length=lengths.get(tube.name),
                mass=_mass(tube, setup, job),
                findings=sorted_findings([finding for name in part.names for finding in findings_of.get(name, ())]),
                pieces=tuple(_piece(part, one, joints_of.get(one.name, ())) for one in part.tubes),
                dies=die_names(tube, job.shop),
                refusal=shown.refusal(part),
            )
        )
    others = tuple(finding for finding in shown.findings if finding.tube not in shown.names)
    return DrawingPage(job, stem, tuple(parts), others, quotation(job) if quote else None)


def _piece(part: Part, tube: Tube, joints: Iterable[Joint]) -> PlacedTube:
    ends = sorted((part.end_of(tube.name, joint.end), cut_to(joint)) for joint in joints)
    return PlacedTube(tube, tuple(ends))


def _by_name(things: Iterable[T], name: Callable[[T], str | None]) -> dict[str | None, list[T]]:
    """Things by the tube they belong to, in order."""
    found: dict[str | None, list[T]] = {}
    for one in things:
        found.setdefault(name(one), []).append(one)
    return found


def _mass(tube: Tube, setup: Setup, job: Job) -> float | None:
    """Mass in kg of the stick as cut, as `converter.job.quotation` has it."""
    per_mm = kg_per_mm(tube.section, tube.metal, job.shop.metals)
    return None if per_mm is None else per_mm * max(0.0, setup.stick_length)


def severity_word(finding: Finding) -> str:
    """How serious it is, told apart without colour: ``ERROR``, ``Warning`` or ``note``."""
    return {ERROR: "ERROR", WARNING: "Warning"}.get(finding.severity, "note")
