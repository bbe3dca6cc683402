"""What a job sheet says, before anybody decides how it looks: one `JobPage`, one `RunPage` for each tube.

Everything is exact and in mm; the pages round and choose units when they show it. Findings and names are
raw text from the drawing: whoever shows them escapes them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from converter.bending.setup.words import CAUTIONS
from converter.exporters.data.setup_json import setup_document
from converter.exporters.data.table_json import section_value
from converter.exporters.sheet.revision import Revision, canonical_text, revision_of, short_joint
from converter.findings import ERROR, WARNING, Finding
from converter.job import Job
from converter.job.quotation import Quotation, quotation
from converter.model.part import Part
from converter.model.run import Tube
from converter.shop.metals import find_metal
from converter.words import CUTTING, mirror_text, part_title, part_tubes_text

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
_G_PER_MM3 = 1e-9  # kg/m3 times mm3 is 1e-9 kg


@dataclass(frozen=True)
class RunPage:
    """One tube.

    Attributes:
        key: unique in the sheet and safe in an address or a file name: 'run-1', 'run-2', ...
        number: 1, 2, ... in the order drawn.
        tube: the tube.
        setup: its set-up.
        joints: of its ends, end A first.
        length: what its copes make of its length; None where copes were not looked for.
        mass: kg of the finished tube (metal area x developed length x density), None when metal or section is unknown.
        findings: said of this tube, the worst first.
        like: key of an earlier run that is made exactly alike, or None.
        part: the part it is one of.
    """

    key: str
    number: int
    tube: Tube
    setup: Setup | None
    joints: tuple[Joint, ...]
    length: TubeLength | None
    mass: float | None
    findings: tuple[Finding, ...]
    like: str | None = None
    part: Part | None = None

    @property
    def part_facts(self) -> tuple[tuple[str, str], ...]:
        """Label and text: how many are equal and which, and what it mirrors; none where it stands alone."""
        part = self.part
        if part is None:
            return ()
        equal = f"{part_title(part)}: {part_tubes_text(part)}" if part.quantity > 1 else ""
        texts = (("Part", equal), ("Mirror image", mirror_text(part)))
        return tuple((label, text) for label, text in texts if text)

    @property
    def name(self) -> str:
        """Name of the tube, raw."""
        return self.tube.name

    @property
    def bad_bends(self) -> frozenset[int]:
        """Numbers of the bends that an error names."""
        return frozenset(f.bend for f in self.findings if f.severity == ERROR and f.bend is not None)

    @property
    def worst(self) -> str | None:
        """Severity of the worst finding said of it, or None."""
        return self.findings[0].severity if self.findings else None


@dataclass(frozen=True)
class JobPage:
    """A job.

    Attributes:
        title: what its files are called after.
        job: the job.
        revision: how this sheet is told from an older one.
        runs: in the order drawn.
        findings: that name no tube, the worst first.
        cautions: for the person at the bender, for the one at the saw where ends are cut to fit, and `STRUCTURE`.
        quotation: what it comes to; None where that was not asked for.
    """

    title: str
    job: Job
    revision: Revision
    runs: tuple[RunPage, ...]
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]
    quotation: Quotation | None = None

    @property
    def heading(self) -> str:
        """The job's own name where its job file gives one, else the drawing's; on every sheet."""
        named = self.job.job_file
        return named.name if named is not None and named.name else self.title


def job_page(job: Job, stem: str = "", *, quote: bool = False) -> JobPage:
    """Everything a sheet says.

    Args:
        job: the job.
        stem: what its files are called after; the job's own when empty.
        quote: whether it tells what the job comes to.

    Raises:
        WriteError: the shop file or the job file is gone.
    """
    ends = _by_name(job.shown.joints, lambda joint: joint.tube)
    said = _by_name(job.shown.findings, lambda finding: finding.tube)
    lengths = {length.name: length for length in job.copes.lengths}
    names = {tube.name for tube in job.shown.tubes}
    runs: list[RunPage] = []
    alike: dict[str, str] = {}
    for number, (tube, setup) in enumerate(zip(job.shown.tubes, job.shown.setups, strict=True), 1):
        key = f"run-{number}"
        joints = tuple(sorted(ends.get(tube.name, ()), key=lambda joint: joint.end))
        first = alike.setdefault(_making_text(tube, setup, joints), key)
        runs.append(
            RunPage(
                key=key,
                number=number,
                tube=tube,
                setup=setup,
                joints=joints,
                length=lengths.get(tube.name),
                mass=mass_of(tube, job),
                findings=tuple(said.get(tube.name, ())),
                like=None if first == key else first,
                part=job.part_of[tube.name],
            )
        )
    others = tuple(finding for finding in job.shown.findings if finding.tube not in names)
    cautions = (*CAUTIONS, *(CUTTING if any(run.joints for run in runs) else ()), STRUCTURE)
    estimate = quotation(job) if quote else None
    return JobPage(stem or job.stem, job, revision_of(job), tuple(runs), others, cautions, estimate)


def _by_name(things: Iterable[T], name: Callable[[T], str | None]) -> dict[str | None, list[T]]:
    """Things by the tube they belong to, in order."""
    found: dict[str | None, list[T]] = {}
    for one in things:
        found.setdefault(name(one), []).append(one)
    return found


#: What of a set-up and of a joint is only its name or its place in the frame.
_NAMES = ("name",)
_PLACES = ("tube", "mates", "node", "end_point", "direction", "zero_direction")


def _making_text(tube: Tube, setup: Setup, joints: Iterable[Joint]) -> str:
    """Everything that the making of a tube depends on, as one text: equal for tubes that are made alike."""
    (steps,) = setup_document("", "", [setup])["tubes"]
    ends = [{k: v for k, v in short_joint(joint).items() if k not in _PLACES} for joint in joints]
    bends = [[bend.feed, bend.rotation, bend.angle, bend.clr] for bend in tube.run.table.bends]
    return canonical_text(
        [
            None if tube.section is None else section_value(tube.section),
            tube.metal,
            [bends, tube.run.table.tail],
            {k: v for k, v in steps.items() if k not in _NAMES},
            ends,
        ]
    )


def mass_of(tube: Tube, job: Job) -> float | None:
    """Mass in kg of a tube as long as its centerline: section area x length x density of its metal."""
    metal = find_metal(tube.metal, job.shop.metals)
    if tube.section is None or metal is None or metal.density is None:
        return None
    return tube.section.area * tube.run.table.developed_length * metal.density * _G_PER_MM3


def severity_word(finding: Finding) -> str:
    """How serious it is, told apart without colour: ``ERROR``, ``Warning`` or ``note``."""
    return {ERROR: "ERROR", WARNING: "Warning"}.get(finding.severity, "note")
