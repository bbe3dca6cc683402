"""A `Job`: one drawing and every answer about it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cached_property, wraps
from pathlib import PurePath
from typing import TYPE_CHECKING, TypeVar

from converter.disk.reading import FileRead, files_read, recorded
from converter.errors import OptionError, ReadError
from converter.findings import Finding, has_errors
from converter.job.left_out import leaves_out, left_out_findings, no_runs_sentence, with_everything
from converter.job.shown import Shown
from converter.model.drawing import Drawing
from converter.model.run import Run, Tube
from converter.processes.memory import paused_gc
from converter.quoting import shortened
from converter.settings import Settings
from converter.shop.sections import sections_of
from converter.tolerances import Tolerances
from converter.units import BothUnits, Display, parse_length

if TYPE_CHECKING:
    from converter.bending.setup.setup import Setup
    from converter.importers.source import Source
    from converter.joints.cope import Copes
    from converter.joints.model import Joint
    from converter.model.end_cuts import EndCuts
    from converter.model.metal import NoMetalError, TubeMetal
    from converter.model.part import Part
    from converter.model.section import Section
    from converter.shop.job_file import JobFile
    from converter.shop.model import Shop

Answer = TypeVar("Answer")

#: Findings that say a die gave a tube its shape.
_SHAPED_BY_DIE = ("corner-filleted", "refit")


class NoRunsError(ReadError):
    """A drawing was read, but nothing in it became a run.

    Args:
        message: one sentence.
        job: its ``drawing`` was read; it has no tubes.
        findings: of the readers and the reducer.
    """

    default_code = "no-runs"

    def __init__(self, message: str, job: Job, findings: Sequence[Finding]) -> None:
        super().__init__(message, file=job.source)
        self.job = job
        self.findings = sorted_findings(findings)


@dataclass(frozen=True, slots=True)
class ProgramTubes:
    """Tubes that a program made itself, instead of a drawing: see `Job.of_tubes`.

    Attributes:
        tubes: with their sections, dies and metals.
        shop: whose dies, machine and metals count.
        job_file: its joints count; None for none.
        findings: what is to be told of them besides what is worked out.
        sleeves: tubes that stand inside others where pieces meet: seen in solids, no tubes of the frame.
        units, read_as: as of the `Drawing` that they were made of.
    """

    tubes: tuple[Tube, ...]
    shop: Shop
    job_file: JobFile | None = None
    findings: tuple[Finding, ...] = ()
    sleeves: tuple[Tube, ...] = ()
    units: str | None = None
    read_as: str = "mm"


@dataclass(frozen=True, eq=False)
class Job:
    """One drawing and all that is known of it. Frozen; answers are worked out on first use and kept.

    Lengths are mm, angles degrees, places in the drawing's coordinates. Every answer may raise an `ElbowroomError`
    (one sentence) when what it needs cannot be read or does not suit; `open_job` asks for the tubes at once, so that
    this happens early.

    Attributes:
        source: the file as the user named it, or '-' for standard input.
        settings: how it is read, reduced, given its metal, set up and shown.
        program_tubes: tubes made by a program instead of read from a file, or None.
    """

    source: str
    settings: Settings = field(default_factory=Settings)
    program_tubes: ProgramTubes | None = None

    @classmethod
    def of_tubes(
        cls,
        tubes: Sequence[Tube],
        shop: Shop | None = None,
        *,
        source: str = "tubes",
        settings: Settings | None = None,
        job_file: JobFile | None = None,
        findings: Sequence[Finding] = (),
    ) -> Job:
        """A job of tubes that a program made; ``source`` names it in messages and file names.

        Args:
            tubes: with their sections, dies and metals.
            shop: the demo shop when None.
            source: what it is called.
            settings: how it is set up and shown.
            job_file: whose ``[[joint]]`` and ``[[stock]]`` tables count.
            findings: what is to be told of them besides what is worked out.
        """
        from converter.shop.job_file import shop_of_job
        from converter.shop.load import demo_shop

        shop = shop_of_job(shop or demo_shop(), job_file)
        made = ProgramTubes(tuple(tubes), shop, job_file, tuple(findings))
        return cls(source, settings or Settings(), made)

    # --- what it is made from ---------------------------------------------------------------

    @property
    def stem(self) -> str:
        """What its files are called after."""
        return "drawing" if self.source == "-" else PurePath(self.source).stem

    @property
    def inputs(self) -> tuple[FileRead, ...]:
        """Everything that was read for it so far: drawing, shop file, job file, buffers. None of it is written over."""
        return tuple(self.__dict__.get("_files_read", ()))

    def note_files(self, files: Sequence[FileRead]) -> None:
        """Count files among `inputs` that were read for it by somebody else."""
        self.__dict__.setdefault("_files_read", {}).update(dict.fromkeys(files))

    @contextmanager
    def _noting_files(self) -> Iterator[None]:
        """Note in `inputs` what is read in this block."""
        with recorded():
            try:
                yield
            finally:
                self.note_files(files_read())

    @cached_property
    def shop(self) -> Shop:
        """The shop whose dies, machine, metals and saws count, with the bars of the job file among its own."""
        from converter.shop.job_file import shop_of_job
        from converter.shop.load import demo_shop, load_shop

        if self.program_tubes is not None:
            return self.program_tubes.shop
        with self._noting_files():
            shop = demo_shop() if self.settings.shop is None else load_shop(self.settings.shop)
        return shop_of_job(shop, self.job_file)

    @cached_property
    def job_file(self) -> JobFile | None:
        """What the job file says, or None without one."""
        if self.program_tubes is not None:
            return self.program_tubes.job_file
        if self.settings.job is None:
            return None
        from converter.shop.job_file import load_job

        with self._noting_files():
            return load_job(self.settings.job)

    @cached_property
    def drawing(self) -> Drawing:
        """Everything the file holds, in mm, with the shapes of what was left out."""
        if self.program_tubes is not None:
            return Drawing(self.source, self.program_tubes.units, self.program_tubes.read_as)
        from converter.importers.registry import read

        shop_units = self.settings.read.shop_units or (None if self.shop.is_demo else self.shop.units)
        options = replace(self.settings.read, keep_left_out=True, shop_units=shop_units)
        with paused_gc(), self._noting_files():
            return read(self._source, options)

    @cached_property
    def _source(self) -> Source:
        """The file, or all of standard input, which can be read only once."""
        from converter.importers.registry import open_source

        with self._noting_files():
            return open_source(self.source)

    # --- how it is shown --------------------------------------------------------------------

    @cached_property
    def shown(self) -> Shown:
        """What is shown and written of it: all of it, or the tubes that the settings pick."""
        return Shown(self, self.settings.runs, self.settings.runs_anywhere)

    @cached_property
    def tolerances(self) -> Tolerances:
        """The tolerances used, mm and degrees."""
        return self.settings.tolerances(self.drawing.read_as)

    @cached_property
    def display(self) -> Display:
        """How lengths are shown: in the drawing's own system unless the settings say otherwise."""
        return self.settings.display(self.drawing.read_as)

    @cached_property
    def both_units(self) -> BothUnits:
        """Lengths in both units, the one of ``display`` first, for pages that switch between them."""
        return self.settings.both_units(self.drawing.read_as)

    # --- tubes ------------------------------------------------------------------------------

    @property
    def tubes(self) -> tuple[Tube, ...]:
        """Every run with its section, die and metal, in the order drawn.

        Raises:
            NoRunsError: the drawing holds no centerline.
        """
        return self._reduced[0]

    @property
    def sleeves(self) -> tuple[Tube, ...]:
        """What stands inside tubes where pieces of them meet (`converter.job.pieces`)."""
        return () if self.program_tubes is None else self.program_tubes.sleeves

    @property
    def bend_count(self) -> int:
        """Bends of all tubes."""
        return sum(len(tube.run.table.bends) for tube in self.tubes)

    @cached_property
    def reading_findings(self) -> tuple[Finding, ...]:
        """What reading, reducing and giving each tube its metal tell, the worst first: part of ``findings``."""
        return sorted_findings(self._reduced[1])

    @cached_property
    def _reduced(self) -> tuple[tuple[Tube, ...], tuple[Finding, ...]]:
        """The tubes, and what the readers, the reducer and the assignment tell, in both units."""
        if self.program_tubes is not None:
            own = [finding for tube in self.program_tubes.tubes for finding in (*tube.run.findings, *tube.findings)]
            return self.program_tubes.tubes, (*self.program_tubes.findings, *own)
        from converter.job.noted_sections import noted_sections
        from converter.job.unit_doubts import unit_doubts
        from converter.shop.assign import die_names
        from converter.shop.corners import BEND, corner_findings

        # shop and job file first: they are small and fail fast
        shop, job_file, drawing = self.shop, self.job_file, self.drawing
        with paused_gc():
            runs, told = self._runs(drawing)
            tubes = self._assigned(runs)
            findings = [*drawing.findings, *told]
            for tube in tubes:
                findings += [*tube.run.findings, *tube.findings]
            if shop.is_demo and (
                (self.settings.clr is None and any(finding.code in _SHAPED_BY_DIE for finding in findings))
                or any(die_names(tube, shop) for tube in tubes)
            ):
                findings.append(Finding("demo-shop"))
            findings += _corners_without_radius(tubes, shop)
            findings += corner_findings(
                tubes, shop, job_file, self.settings.corner or (None if self.settings.clr is None else BEND)
            )
            findings += self._unmatched(job_file, runs)
            findings += noted_sections(drawing, tubes)
            findings += unit_doubts(drawing, tubes, shop, self.settings.sections)
        return tuple(tubes), tuple(findings)

    def _runs(self, drawing: Drawing) -> tuple[list[Run], list[Finding]]:
        from converter.model.run import reverse_run
        from converter.reducer import reduce_drawing
        from converter.shop.corners import with_corners_mitred

        shop = self.shop  # an invented shop's dies say nothing of what was drawn
        radii = () if shop.is_demo else tuple(sorted({die.clr for die in shop.dies}))
        runs, told = reduce_drawing(drawing, self.tolerances, across_layers=self.settings.across_layers, radii=radii)
        if not runs:
            message = no_runs_sentence(drawing, self.display)
            raise NoRunsError(message, self, (*drawing.findings, *told))
        runs, mitred = with_corners_mitred(runs, self.job_file, self.settings.corner, drawing.read_as)
        told = [*told, *mitred]
        if self.settings.reverse:
            runs = [reverse_run(run) for run in runs]
        return runs, told

    def _assigned(self, runs: list[Run]) -> list[Tube]:
        from converter.shop.assign import Assigner
        from converter.shop.job_file import JobFile

        settings, unit = self.settings, self.drawing.read_as
        default, per_layer = self._typed_sections
        clr = None if settings.clr is None else parse_length(settings.clr, unit)
        if clr is not None and clr <= 0.0:
            raise OptionError(f"A radius must be above zero, not {shortened(settings.clr)}.")
        return Assigner(
            self.shop,
            self.job_file or JobFile(),
            default,
            per_layer,
            settings.metal,
            clr,
            settings.refit,
            settings.on_flat,
            self.display,
        ).tubes(runs)

    @cached_property
    def _typed_sections(self) -> tuple[Section | None, dict[str, Section]]:
        """The sections of options: of every run, and by layer."""
        return sections_of(self.settings.sections, self.drawing.read_as)

    def _unmatched(self, job_file: JobFile | None, runs: list[Run]) -> list[Finding]:
        """Layers and runs that an option or the job file names and the drawing does not have: likely misspelt."""
        settings = self.settings
        layers = self._typed_sections[1]
        # with layers left out on request, what a job names may well be among them
        picked = settings.read.layers or settings.read.skip_layers or settings.read.layout
        if picked or (job_file is None and not layers):
            return []
        from converter.shop.job_file import unmatched

        return unmatched(job_file, runs, layers)

    # --- joints, set-ups, bodies ------------------------------------------------------------

    @cached_property
    def copes(self) -> Copes:
        """The joints of the whole drawing with hole-saw set-up, holes, and how long they make each tube."""
        from converter.joints.cope import cope_frame

        return cope_frame(self.tubes, self.shop, self.job_file, self.tolerances, self.gap)

    @property
    def joints(self) -> tuple[Joint, ...]:
        """Every end that is cut to fit, in the order of the tubes, end A before end B."""
        return self.copes.joints

    @property
    def end_cuts(self) -> dict[str, EndCuts]:
        """What sticks are cut to at their ends, by name of a tube; nothing where the settings leave them square."""
        return self.copes.cuts if self.settings.coped else {}

    @property
    def gap(self) -> float:
        """Weld gap that copes leave, mm."""
        return self.settings.weld_gap(self.drawing.read_as)

    @cached_property
    def setups(self) -> tuple[Setup, ...]:
        """The bender's set-up of every tube, in their order; sticks are cut to the long points of their copes."""
        from converter.bending.setup.setup import set_up

        return tuple(set_up(self.tubes, self.shop, self.settings.feed_from, self.end_cuts))

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Equal tubes once, with their number and what mirrors what, in the order of their first tubes."""
        from converter.joints.alike import find_parts
        from converter.joints.near.alone import lying_alone
        from converter.shop.assign import die_names

        # of ends that need no other tube to be cut
        told = self.job_file is not None and bool(self.job_file.joints)
        shown = any(any(tube.run.drawn_ends) for tube in self.tubes)
        alone = None if told or shown else lambda: lying_alone(self.tubes, self.tolerances).tolist()
        return find_parts(self.tubes, lambda: self.copes, alone, lambda tube: die_names(tube, self.shop))

    @cached_property
    def part_of(self) -> dict[str, Part]:
        """The part of every tube, by its name."""
        return {name: part for part in self.parts for name in part.names}

    @cached_property
    def part_setups(self) -> dict[str, Setup]:
        """The set-up of every part by its name: that of its first tube."""
        of_tube = {setup.tube.name: setup for setup in self.setups}
        return {part.name: of_tube[part.first.name] for part in self.parts}

    @cached_property
    def bodies(self) -> tuple[TubeMetal | NoMetalError | None, ...]:
        """Of every tube: its metal, or why there is none; None where no section is known."""
        from converter.model.metal import NoMetalError, metal

        def body(tube: Tube) -> TubeMetal | NoMetalError | None:
            if tube.section is None:
                return None
            try:
                return metal(tube.run, tube.section)
            except NoMetalError as error:
                return error

        return tuple(body(tube) for tube in self.tubes)

    # --- the verdict ------------------------------------------------------------------------

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Everything there is to say before metal is cut, the worst first: the one verdict, whoever asks."""
        from converter.audit.registry import audit
        from converter.bending.split import die_to_buy
        from converter.model.metal import metal_findings

        set_up = {setup.tube.name for setup in self.setups if setup.steps}
        findings = [*self._reduced[1], *audit(self.tubes, self.shop, set_up)]
        findings += die_to_buy(self.tubes, self.shop)
        findings += [finding for setup in self.setups for finding in setup.findings]
        findings += self._joint_findings()
        findings += metal_findings(self.tubes, lambda: self.bodies)
        if leaves_out(self.settings):
            findings += left_out_findings(self, self._whole_job)
        if self.shop.is_demo:
            findings.append(Finding("demo-shop"))
        return sorted_findings(findings)

    @property
    def has_errors(self) -> bool:
        """Whether something would scrap a stick that is shown."""
        return has_errors(self.shown.findings)

    @cached_property
    def _whole_job(self) -> Job:
        """The same job with nothing left out of the drawing."""
        whole = Job(self.source, with_everything(self.settings))
        whole.__dict__["_source"] = self._source
        return whole

    @cached_property
    def joint_findings(self) -> tuple[Finding, ...]:
        """What reading and the joints tell, the worst first: part of ``findings``."""
        told = [*self._reduced[1], *self._joint_findings()]
        if self.shop.is_demo and any(joint.hole_saw is not None for joint in self.joints):
            told.append(Finding("demo-shop"))
        return sorted_findings(told)

    def _joint_findings(self) -> tuple[Finding, ...]:
        """What the joints tell: how ends are cut only where sticks are cut so and there is something to cut them to."""
        to_cut = len(self.tubes) > 1 or self.joints or any(any(tube.run.drawn_ends) for tube in self.tubes)
        if not self.settings.coped or not to_cut:
            return self.copes.in_the_way
        return (*self.copes.findings, *self.copes.in_the_way)


def open_job(source: str, settings: Settings | None = None) -> Job:
    """The job of one drawing; its shop, its job file and the drawing are read at once, the rest when asked for.

    Args:
        source: path of the file, or '-' for standard input.
        settings: how; the defaults when None.

    Raises:
        NoRunsError: the drawing holds no centerline.
        ElbowroomError: one sentence saying what cannot be done and why.
    """
    settings = settings or Settings()
    job = Job(source, settings)
    _ = job.tubes
    return job


def once_per_job(function: Callable[[Job], Answer]) -> Callable[[Job], Answer]:
    """Let a function of a job work its answer out once: for what is made above it, solids and pictures."""
    name = f"{function.__module__}.{function.__qualname__}"

    @wraps(function)
    def answer(job: Job) -> Answer:
        kept = job.__dict__.setdefault("_kept", {})
        if name not in kept:
            kept[name] = function(job)
        result: Answer = kept[name]
        return result

    return answer


def sorted_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """What errors may come of first, as a unit in doubt; then the worst, else in the order given; each once."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda finding: (finding.precedence, finding.rank)))


def _corners_without_radius(tubes: Sequence[Tube], shop: Shop) -> list[Finding]:
    """The audit's findings on sharp corners that nothing gave a radius: without it there is no bend table."""
    sharp = [tube for tube in tubes if any(bend.clr is None for bend in tube.run.table.bends)]
    if not sharp:
        return []
    from converter.audit.registry import audit

    return [finding for finding in audit(sharp, shop) if finding.code == "corner-no-radius"]
