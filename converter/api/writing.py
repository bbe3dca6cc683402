"""Write what was worked out in several formats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from converter.api.result import NoRunsError, Result, Work, sorted_findings
from converter.api.working import work_out
from converter.errors import MissingLibraryError

if TYPE_CHECKING:
    from converter.exporters.registry import ExportJob, WriteFormat


def usable_formats(named: Sequence[str] = ()) -> tuple[list[str], list[str]]:
    """The formats to write, and a sentence for each usual one that this machine cannot write.

    Args:
        named: formats asked for by name; then none may be missing. Empty for the usual ones.

    Raises:
        OptionError: a format is unknown.
        MissingLibraryError: a format asked for by name needs a library that is not installed.
    """
    able, reasons = [], []
    for one in _chosen(named):
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


def shows_whole(named: Sequence[str] = ()) -> bool:
    """Whether one of these formats (the usual ones when empty) needs `work_out` and lengths in both units.

    Raises:
        OptionError: a format is unknown.
    """
    return any(one.whole for one in _chosen(named))


def shows_sticks(named: Sequence[str] = ()) -> bool:
    """Whether one of these formats (the usual ones when empty) needs `work_out`: it shows sticks as they are cut.

    Raises:
        OptionError: a format is unknown.
    """
    return any(one.whole or one.sticks for one in _chosen(named))


def shows_left_out(named: Sequence[str] = ()) -> bool:
    """Whether one of these formats (the usual ones when empty) shows what was left out of the drawing.

    Raises:
        OptionError: a format is unknown.
    """
    return any(one.left_out for one in _chosen(named))


def _chosen(named: Sequence[str]) -> list[WriteFormat]:
    """The formats of these names, the usual ones when there are none."""
    from converter.exporters.registry import FORMATS, find

    return [find(name) for name in named] or [one for one in FORMATS if one.default]


def write_picture(seen: Result | NoRunsError, file: str, *, force: bool = False) -> Path:
    """Write a picture of a drawing as read, also of one in which no run was found.

    Args:
        seen: of `load` or `check`, best with `Settings.keeping_left_out`; or what `load` raised.
        file: where to: ends in .svg or .png.
        force: replace the file if it exists already (never the drawing itself).

    Raises:
        ElbowroomError: one sentence; nothing was written.
    """
    from converter.exporters.as_read import check_ending, write_as_read
    from converter.exporters.files import OutputSet
    from converter.exporters.registry import ExportJob

    target = Path(file)
    check_ending(target.name)
    drawing = seen.drawing
    job = ExportJob(
        stem=target.stem,
        source=drawing.source,
        tubes=seen.tubes if isinstance(seen, Result) else (),
        findings=seen.findings,
        display=seen.display,
        drawing=drawing,
    )
    inputs = () if drawing.source == "-" else (Path(drawing.source),)
    with OutputSet(target.parent, force=force, inputs=inputs) as out:
        write_as_read(job, out.path(target.name))
    return out.final(target.name)


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
        works: of `work_out`, one for each result, for formats that show the whole job (`WriteFormat.whole`) or its
            sticks; those that show sticks alone are worked out here where there are none.

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
        if works:
            job = replace(job, whole=whole_job(job, works[i]), setups=works[i].setups, copes=works[i].copes)
        elif shows_sticks(formats):
            work = work_out(result)
            job = replace(job, setups=work.setups, copes=work.copes)
        jobs.append(job)
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
        drawing=result.drawing,
        cope=CopeOptions(shop=result.shop, job=result.job, tolerances=result.tolerances),
    )


def write_sheets(
    work: Work, out_dir: str, formats: Sequence[str], *, force: bool = False, paper: str = "", gap: float = 0.0
) -> list[Path]:
    """Write the job sheet of one drawing.

    Args:
        work: of `work_out`.
        out_dir: the folder; made when it does not exist.
        formats: names of formats that show the whole job (`WriteFormat.whole`).
        force: replace files that exist already (never an input).
        paper: 'A4', 'Letter', or '' for the one that goes with the unit shown.
        gap: weld gap of the copes as worked out, mm.

    Raises:
        ElbowroomError: one sentence; nothing was written.
    """
    from converter.exporters.registry import write

    job = export_job(work.result.alone())
    job = replace(job, cope=replace(job.cope, sheet=paper, gap=gap))
    return write(replace(job, whole=whole_job(job, work)), out_dir, formats, force)


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
