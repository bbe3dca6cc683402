"""The few calls the command line makes, for programs too: load, check, export.

>>> from converter import api
>>> result = api.check(api.load("rail.dxf", api.Settings(sections=("1.75x0.120in",))))  # doctest: +SKIP
>>> [finding.message for finding in result.findings]  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from converter.errors import MissingLibraryError, OptionError, ReadError
from converter.findings import Finding
from converter.importers.registry import read
from converter.model.drawing import Drawing
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.pause import paused_gc
from converter.settings import Settings
from converter.tolerances import Tolerances
from converter.units import BothUnits, Display, in_unit, parse_length

if TYPE_CHECKING:
    from converter.bending.setup import Setup
    from converter.exporters.registry import ExportJob
    from converter.joints.cope import Copes
    from converter.shop.job import Job
    from converter.shop.model import Shop

__all__ = [
    "Result",
    "Settings",
    "Work",
    "check",
    "export",
    "export_job",
    "foresee",
    "load",
    "set_up",
    "sorted_findings",
    "usable_formats",
    "whole_job",
    "work_out",
]


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


def load(source: str, settings: Settings | None = None) -> Result:
    """Read a file, reduce it to runs and give each its section and die.

    Args:
        source: path of the file, or '-' for standard input.
        settings: how; the defaults when None.

    Raises:
        ElbowroomError: one sentence saying what cannot be done and why.
    """
    settings = settings or Settings()
    if settings.feed_from not in ("A", "B"):
        raise OptionError(f"A tube is fed from end A or end B, not {settings.feed_from!r}.")
    with paused_gc():
        return _load(source, settings)


def _load(source: str, settings: Settings) -> Result:
    shop, job = _metal(settings)
    drawing = read(source, settings.read)
    tol = settings.tolerances(drawing.read_as)
    display = settings.display(drawing.read_as)
    runs, said = _reduced(drawing, tol, settings, display)
    tubes = _assigned(runs, settings, shop, job, drawing.read_as, display)
    findings = [*drawing.findings, *said]
    for tube in tubes:
        findings += [*tube.run.findings, *tube.findings]
    if settings.shop is None and any(finding.code in _SHAPED_BY_DIE for finding in findings):
        findings.append(_demo_shop_note())
    findings += _corners_left(tubes, shop, display)
    findings += _unmet(job, runs, settings, drawing.read_as)
    return Result(
        drawing=drawing,
        tubes=tuple(tubes),
        findings=sorted_findings(findings),
        display=display,
        tolerances=tol,
        shop=shop,
        demo_shop=settings.shop is None,
        job=job,
    )


def check(result: Result) -> Result:
    """The same result with the audit's findings added."""
    from converter.audit.registry import audit
    from converter.bending.split import die_to_buy

    # the audit repeats what was said of each tube before; `sorted_findings` keeps one of each
    findings = [*result.findings, *audit(result.tubes, result.shop, result.display)]
    findings += die_to_buy(result.tubes, result.shop, result.display)
    if result.demo_shop:
        findings.append(_demo_shop_note())
    bends = sum(len(tube.run.table.bends) for tube in result.tubes)
    return replace(result, findings=sorted_findings(findings), checked=bends)


def set_up(result: Result, feed_from: str | None = None) -> tuple[Result, tuple[Setup, ...]]:
    """The bender's set-up of every tube, and the result with the audit's and the set-up's findings.

    Args:
        result: of `load`, not of `check`, read with end A first.
        feed_from: 'A', 'B', 'best' or None; see `converter.bending.setup.set_up`.

    Raises:
        OptionError: ``feed_from`` is none of these.
    """
    from converter.bending.setup import SETTLED, set_up

    setups = set_up(result.tubes, result.shop, result.display, feed_from)
    checked = check(result)
    # what the audit says of the simple order from end A is settled here for the order taken
    settled = {setup.tube.name for setup in setups if setup.steps}
    kept = [f for f in checked.findings if not (f.code in SETTLED and f.tube in settled)]
    said = [finding for setup in setups for finding in setup.findings]
    return replace(checked, findings=sorted_findings([*kept, *said])), tuple(setups)


def work_out(result: Result, feed_from: str | None = None, gap: float = 0.0) -> Work:
    """Audit, set-up and copes of a drawing.

    Args:
        result: of `load`, not of `check`, read with end A first.
        feed_from: see `set_up`.
        gap: weld gap of the copes, mm.
    """
    from converter.joints.cope import cope_frame

    copes = cope_frame(result.tubes, result.shop, result.job, result.tolerances, result.display, gap)
    checked, setups = set_up(result, feed_from)
    findings = sorted_findings([*checked.findings, *copes.findings])
    return Work(replace(checked, findings=findings), setups, copes)


def _alone(findings: Sequence[Finding], unit: str) -> tuple[Finding, ...]:
    """Findings in one unit."""
    return tuple(replace(f, message=in_unit(f.message, unit), cure=in_unit(f.cure, unit)) for f in findings)


#: findings that say a die gave a tube its shape
_SHAPED_BY_DIE = ("corner-filleted", "refit")


def _demo_shop_note() -> Finding:
    return Finding(
        "demo-shop",
        "No shop file was named, so the dies are those of the invented demo shop.",
        cure="Write your own with `elbowroom shop new FILE` and name it with --shop.",
    )


def _corners_left(tubes: Sequence[Tube], shop: Shop, display: Display) -> list[Finding]:
    """The audit's findings on sharp corners that nothing gave a radius: without it there is no bend table."""
    open_ones = [tube for tube in tubes if any(bend.clr is None for bend in tube.run.table.bends)]
    if not open_ones:
        return []
    from converter.audit.registry import audit

    return [finding for finding in audit(open_ones, shop, display) if finding.code == "corner-no-radius"]


def usable_formats(named: Sequence[str] = ()) -> tuple[list[str], list[str]]:
    """The formats to write, and a sentence for each usual one that this machine cannot write.

    Args:
        named: formats asked for by name; then none may be missing. Empty for the usual ones.

    Raises:
        OptionError: a format is unknown.
        MissingLibraryError: a format asked for by name needs a library that is not installed.
    """
    from converter.exporters.registry import FORMATS, find

    wanted = [find(name) for name in named] or [one for one in FORMATS if one.default]
    able, reasons = [], []
    for one in wanted:
        try:
            if one.needs == "CAD kernel":
                from converter.kernel import require

                require()
        except MissingLibraryError as error:
            if named:
                raise
            reasons.append(f"{one.name} was left out. {error.message}")
        else:
            able.append(one.name)
    return able, reasons


def foresee(results: Sequence[Result], formats: Sequence[str]) -> list[Result]:
    """The same results, with findings about tubes that will have no solid, or a mitred one, in these formats.

    Args:
        results: of `check`.
        formats: names of formats to be written; nothing is added unless one writes solids or meshes.
    """
    from converter.exporters.registry import find
    from converter.model.metal import metal_findings

    if not any(find(name).solid for name in formats):
        return list(results)
    return [
        replace(result, findings=sorted_findings([*result.findings, *metal_findings(result.tubes)]))
        for result in results
    ]


def export(
    results: Sequence[Result],
    out_dir: str,
    formats: Sequence[str] = (),
    *,
    force: bool = False,
    step_unit: str | None = None,
    one_file: bool = True,
    works: Sequence[Work] = (),
) -> list[Path]:
    """Write results in several formats: every file of every result, or on any failure none.

    Args:
        results: of `check`.
        out_dir: the folder; made when it does not exist.
        formats: names of formats; the usual ones when empty.
        force: replace files that exist already (never an input).
        step_unit: 'mm' or 'in' for STEP and meshes; None follows what is shown.
        one_file: all tubes of a result in one STEP file; else one file each.
        works: of `work_out`, one for each result, for formats that show the whole job (`WriteFormat.whole`).

    Raises:
        ElbowroomError: one sentence; nothing was written.
    """
    from converter.exporters.registry import write_all

    jobs = []
    stems: dict[str, int] = {}
    inputs = tuple(Path(result.source) for result in results if result.source != "-")
    for i, result in enumerate(results):
        # two drawings of one name in different folders must not mix
        n = stems[result.stem] = stems.get(result.stem, 0) + 1
        stem = result.stem if n == 1 else f"{result.stem}-{n}"
        job = export_job(result.alone(), step_unit=step_unit, one_file=one_file, stem=stem)
        job = replace(job, inputs=inputs)
        jobs.append(replace(job, whole=whole_job(job, works[i])) if works else job)
    return write_all(jobs, out_dir, formats, force)


def export_job(result: Result, *, step_unit: str | None = None, one_file: bool = True, stem: str = "") -> ExportJob:
    """What the exporters are given for one result.

    Args:
        result: of `load`, better of `check`.
        step_unit: 'mm' or 'in' for STEP and meshes; None follows the display.
        one_file: all tubes in one STEP file; else one file each.
        stem: what the files are called after; the source's own when empty.
    """
    from converter.exporters.cope_options import CopeOptions
    from converter.exporters.registry import ExportJob

    source = result.source
    return ExportJob(
        stem=stem or result.stem,
        source=source,
        tubes=result.tubes,
        findings=result.findings,
        display=result.display,
        step_unit=step_unit or result.display.unit,
        one_file=one_file,
        shop_name=result.shop.name,
        inputs=() if source == "-" else (Path(source),),
        drawing_units=result.drawing.units,
        ignored=tuple(result.drawing.ignored),
        cope=CopeOptions(shop=result.shop, job=result.job, tolerances=result.tolerances),
    )


def whole_job(job: ExportJob, work: Work) -> ExportJob:
    """The same job with all that was worked out, for formats that show it; see `ExportJob.whole`."""
    result = work.result
    return replace(
        job,
        findings=result.findings,
        display=result.display,
        setups=work.setups,
        copes=work.copes,
        drawing=result.drawing,
    )


def sorted_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The worst first, else in the order said; the same finding said twice is kept once."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda finding: finding.rank))


def _metal(settings: Settings) -> tuple[Shop, Job | None]:
    """The shop and the job, read before the drawing: they are small and fail fast."""
    from converter.shop.load import demo_shop, load_shop

    shop = demo_shop() if settings.shop is None else load_shop(settings.shop)
    if settings.job is None:
        return shop, None
    from converter.shop.job import load_job

    return shop, load_job(settings.job)


def _reduced(
    drawing: Drawing, tol: Tolerances, settings: Settings, display: Display
) -> tuple[list[Run], list[Finding]]:
    from converter.reducer import reduce_drawing, reverse_run

    runs, said = reduce_drawing(drawing, tol, across_layers=settings.across_layers, display=display)
    if not runs:
        raise ReadError(_nothing_found(drawing), code="no-runs", file=drawing.source)
    if settings.feed_from == "B":
        runs = [reverse_run(run) for run in runs]
    return runs, said


def _nothing_found(drawing: Drawing) -> str:
    """One sentence: no runs, and what the file held instead."""
    seen = ", ".join(f"{one.count} {one.kind} ({one.why})" for one in drawing.ignored[:4])
    if seen:
        return (
            f"No centerline was found in {drawing.source!r}; it holds {seen}: "
            "draw the tubes as lines, arcs or polylines."
        )
    return f"No centerline was found in {drawing.source!r}: draw the tubes as lines, arcs or polylines in model space."


def _assigned(
    runs: list[Run], settings: Settings, shop: Shop, job: Job | None, unit: str, display: Display
) -> list[Tube]:
    from converter.shop.assign import assign

    default, per_layer = _sections(settings.sections, unit)
    clr = None if settings.clr is None else parse_length(settings.clr, unit)
    if clr is not None and clr <= 0.0:
        raise OptionError(f"A radius must be above zero, not {settings.clr}.")
    return assign(
        runs,
        shop,
        job,
        default_section=default,
        layer_sections=per_layer,
        metal=settings.metal,
        clr=clr,
        refit=settings.refit,
        display=display,
    )


def _unmet(job: Job | None, runs: list[Run], settings: Settings, unit: str) -> list[Finding]:
    """Layers and runs that an option or the job file names and the drawing does not have: likely misspelt."""
    layers = _sections(settings.sections, unit)[1]
    # with layers left out on request, what a job names may well be among them
    picked = settings.read.layers or settings.read.skip_layers or settings.read.layout
    if picked or (job is None and not layers):
        return []
    from converter.shop.job import unmatched

    return unmatched(job, runs, layers)


def _sections(texts: Sequence[str], unit: str) -> tuple[Section | None, dict[str, Section]]:
    """Default section and section per layer from ``SIZE`` and ``LAYER=SIZE``; a layer's name may hold '='."""
    from converter.shop.sections import parse_section

    default: Section | None = None
    per_layer: dict[str, Section] = {}
    for text in texts:
        layer, found, size = text.rpartition("=")
        if not found:
            default = parse_section(text, unit)
        elif layer.strip():
            per_layer[layer.strip()] = parse_section(size, unit)
        else:
            raise OptionError(f"{text!r} names no layer before the '=': write LAYER=1.75x0.120in.")
    return default, per_layer
