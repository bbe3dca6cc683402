"""Read a file, reduce it to runs, give each its section and die."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from converter.api.result import NoRunsError, Result, demo_shop_note, sorted_findings
from converter.errors import OptionError
from converter.findings import Finding
from converter.importers.registry import read
from converter.model.drawing import Drawing
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.pause import paused_gc
from converter.settings import Settings
from converter.tolerances import Tolerances
from converter.units import Display, parse_length

if TYPE_CHECKING:
    from converter.shop.job import Job
    from converter.shop.model import Shop

#: findings that say a die gave a tube its shape
_SHAPED_BY_DIE = ("corner-filleted", "refit")


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
    drawing = read(source, replace(settings.read, show=settings.display))
    tol = settings.tolerances(drawing.read_as)
    display = settings.display(drawing.read_as)
    runs, said = _reduced(drawing, tol, settings, display)
    tubes = _assigned(runs, settings, shop, job, drawing.read_as, display)
    findings = [*drawing.findings, *said]
    for tube in tubes:
        findings += [*tube.run.findings, *tube.findings]
    if settings.shop is None and any(finding.code in _SHAPED_BY_DIE for finding in findings):
        findings.append(demo_shop_note())
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
        raise NoRunsError(_nothing_found(drawing), drawing, [*drawing.findings, *said], display)
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


def _corners_left(tubes: Sequence[Tube], shop: Shop, display: Display) -> list[Finding]:
    """The audit's findings on sharp corners that nothing gave a radius: without it there is no bend table."""
    open_ones = [tube for tube in tubes if any(bend.clr is None for bend in tube.run.table.bends)]
    if not open_ones:
        return []
    from converter.audit.registry import audit

    return [finding for finding in audit(open_ones, shop, display) if finding.code == "corner-no-radius"]


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
