"""The formats that can be written, in one list that also feeds --help and the docs.

The list itself imports nothing heavy: each format names a module and a function in it,
``function(job: ExportJob, out: OutputSet) -> None``, loaded when first used. To add a
format, write such a module and add one line here.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter.errors import ElbowroomError, OptionError, WriteError
from converter.exporters.cope_options import CopeOptions
from converter.exporters.files import OutputSet
from converter.findings import Finding
from converter.model.drawing import Drawing, Ignored
from converter.model.run import Tube
from converter.progress import steps
from converter.units import Display

if TYPE_CHECKING:
    from converter.bending.setup import Setup
    from converter.joints.cope import Copes


@dataclass(frozen=True, slots=True)
class WriteFormat:
    """A format that can be written.

    Attributes:
        name: what a person types after --to.
        summary: one line for --help and the docs.
        module, function: where its exporter is.
        ending: ending of the files it writes.
        needs: heavy library it loads ('CAD kernel', 'mesh library'), or ''.
        default: whether `convert` writes it when --to is not given.
        solid: whether it writes bodies of metal, so that a tube without a section has none.
        whole: whether it shows set-up and copes and lengths in both units: it gets `ExportJob.whole`.
        sticks: whether it shows sticks as they are cut: it gets `ExportJob.setups` and `ExportJob.copes`.
        left_out: whether it shows what was left out of the drawing (`ReadOptions.keep_left_out`).
    """

    name: str
    summary: str
    module: str
    ending: str
    function: str = "export"
    needs: str = ""
    default: bool = False
    solid: bool = False
    whole: bool = False
    sticks: bool = False
    left_out: bool = False


FORMATS: tuple[WriteFormat, ...] = (
    WriteFormat(
        "csv", "bend table, one row per bend; reads back", "converter.exporters.table_csv", ".csv", default=True
    ),
    WriteFormat(
        "json", "bend tables and findings for other programs", "converter.exporters.table_json", ".json", default=True
    ),
    WriteFormat(
        "dxf", "cleaned centerlines in place, straights and bends", "converter.exporters.dxf_centerline", ".dxf",
        default=True,
    ),
    WriteFormat(
        "profile", "DXF, full-size flat profile of every bend plane", "converter.exporters.dxf_profile", ".dxf",
        default=True, sticks=True,
    ),
    WriteFormat(
        "template", "DXF, full-size stick template with marks and rotation lines", "converter.exporters.dxf_template",
        ".dxf", default=True, sticks=True,
    ),
    WriteFormat(
        "step", "solid tubes in place", "converter.exporters.step", ".step", needs="CAD kernel", default=True,
        solid=True,
    ),
    WriteFormat("wires", "STEP, centerlines as wires", "converter.exporters.step_wires", ".step", needs="CAD kernel"),
    WriteFormat(
        "stl", "mesh of every tube", "converter.exporters.mesh", ".stl", function="export_stl",
        needs="mesh library", solid=True,
    ),
    WriteFormat(
        "3mf", "mesh of every tube, with units", "converter.exporters.mesh", ".3mf", function="export_3mf",
        needs="mesh library", solid=True,
    ),
    WriteFormat(
        "glb", "mesh of every tube, for viewers", "converter.exporters.mesh", ".glb", function="export_glb",
        needs="mesh library", solid=True,
    ),
    WriteFormat(
        "cope-dxf", "DXF, full-size wrap templates of cut ends and holes", "converter.exporters.cope_dxf", ".dxf"
    ),
    WriteFormat(
        "cope-pdf", "PDF to print, wrap templates of cut ends and holes", "converter.exporters.cope_pdf", ".pdf",
        needs="PDF library",
    ),
    WriteFormat(
        "step-coped", "solid tubes in place, their ends cut to fit", "converter.exporters.step_coped", ".step",
        needs="CAD kernel", solid=True,
    ),
    WriteFormat(
        "fit-up", "JSON, how cut ends fit: overlap, gap, clashes", "converter.exporters.fit_up", ".json",
        needs="CAD kernel",
    ),
    WriteFormat(
        "sheet", "HTML, the job sheet: every run in 3D, step by step", "converter.exporters.sheet.html", ".html",
        needs="page library", whole=True, left_out=True,
    ),
    WriteFormat(
        "sheet-pdf", "PDF, the job sheet to print", "converter.exporters.sheet.pdf", ".pdf", needs="PDF library",
        whole=True, left_out=True,
    ),
    WriteFormat(
        "svg", "picture of every run: isometric and three views, dimensioned",
        "converter.exporters.pictures.files", ".svg", function="export_svg", sticks=True,
    ),
    WriteFormat(
        "png", "the same pictures as pixels, for documents", "converter.exporters.pictures.files", ".png",
        function="export_png", needs="picture library", sticks=True,
    ),
    WriteFormat(
        "as-read", "SVG, the drawing as read: what became a run, what was healed or left out",
        "converter.exporters.as_read", ".svg", left_out=True,
    ),
)  # fmt: skip


MILLIMETRES = Display()
USUAL_COPES = CopeOptions()
#: Codes of "this job has nothing of that sort", which is no failure while something else is written.
NOTHING_OF_IT = ("no-solid", "no-joints")


@dataclass(frozen=True, slots=True)
class ExportJob:
    """Everything an exporter may write.

    Attributes:
        stem: what the files are called after (made safe by `OutputSet`); ``stem.csv``, ``stem-profile.dxf``...
        source: the input as the user named it.
        tubes: what to write, in order.
        findings: everything said about them.
        display: how lengths are shown to a person (also the unit of CSV and DXF).
        step_unit: 'mm' or 'in', the unit of STEP files (meshes have their formats' own).
        one_file: all tubes in one STEP file; else one file per tube.
        shop_name: name of the shop whose dies were used, or ''.
        inputs: files that must not be replaced.
        drawing_units: the drawing's own unit, or None.
        ignored: what the reader left out.
        cope: how joints are found and templates printed.
        setups: of every tube, in order; () where they were not worked out.
        copes: the joints, or None where they were not looked for.
        drawing: as it was read, or None.
        whole: the same job with ``setups``, ``copes`` and ``drawing``, its ``display`` and findings in both
            units (`converter.units.BothUnits`); None unless a format wants it.
        bench: what formats have worked out for one another, by name (`once`); None keeps nothing.
    """

    stem: str
    source: str
    tubes: tuple[Tube, ...]
    findings: tuple[Finding, ...] = ()
    display: Display = MILLIMETRES
    step_unit: str = "mm"
    one_file: bool = True
    shop_name: str = ""
    inputs: tuple[Path, ...] = ()
    drawing_units: str | None = None
    ignored: tuple[Ignored, ...] = ()
    cope: CopeOptions = USUAL_COPES
    setups: tuple[Setup, ...] = ()
    copes: Copes | None = None
    drawing: Drawing | None = None
    whole: ExportJob | None = None
    bench: dict[str, Any] | None = field(default=None, repr=False, compare=False)

    def once(self, name: str, make: Callable[[], Any]) -> Any:
        """What ``make`` makes: from the bench when another format of this writing has made it already."""
        if self.bench is None:
            return make()
        if name not in self.bench:
            self.bench[name] = make()
        return self.bench[name]


def find(name: str) -> WriteFormat:
    """The format of this name.

    Raises:
        OptionError: there is none.
    """
    wanted = name.strip().lower()
    for one in FORMATS:
        if one.name == wanted:
            return one
    raise OptionError(f"{name.strip()[:40]!r} is not a format to write: use {', '.join(f.name for f in FORMATS)}.")


def write(
    job: ExportJob, out_dir: str | os.PathLike[str], formats: Sequence[str] = (), force: bool = False
) -> list[Path]:
    """Write one job in several formats; see `write_all`."""
    return write_all([job], out_dir, formats, force)


def write_all(
    jobs: Sequence[ExportJob], out_dir: str | os.PathLike[str], formats: Sequence[str] = (), force: bool = False
) -> list[Path]:
    """Write jobs in several formats: all of them, or on any failure none.

    Args:
        jobs: what to write.
        out_dir: the folder; made when it does not exist.
        formats: names from `FORMATS`, in any order; the defaults when empty.
        force: replace files that exist already (never an input).

    Returns:
        The files written, job by job in the order of `FORMATS`. A format of solids writes nothing for
        a job without any (`converter.model.metal` says which and why), one of copes nothing for a job without
        joints, as long as something is written.

    Raises:
        OptionError: an unknown format.
        WriteError: nothing to write at all, or a file exists or cannot be written.
        MissingLibraryError: a library for a format is not installed.
    """
    wanted = {find(name).name for name in formats} or {one.name for one in FORMATS if one.default}
    for job in jobs:
        if not job.tubes:
            raise WriteError(
                "There is no run to write: the input holds no centerline.", code="no-runs", file=job.source
            )
    out = OutputSet(out_dir, force=force, inputs=[path for job in jobs for path in job.inputs])
    bodiless: list[WriteError] = []
    chosen = [one for one in FORMATS if one.name in wanted]
    try:
        for given in steps(jobs, "jobs"):
            job = replace(given, bench={})
            for one in steps(chosen, "formats"):
                exporter = getattr(import_module(one.module), one.function)
                try:
                    exporter((job.whole or job) if one.whole else job, out)
                except WriteError as error:
                    if error.code not in NOTHING_OF_IT:
                        raise
                    bodiless.append(error)
        if len(bodiless) == len(jobs) * len(chosen):
            raise bodiless[0]
        return out.commit()
    except ElbowroomError:
        raise
    except OSError as error:
        why = (error.strerror or type(error).__name__).lower()
        raise WriteError(
            f"The files cannot be written to {str(out_dir)!r} ({why}): free some space, or name another folder "
            "with --out.",
            file=str(out_dir),
        ) from error
    finally:
        out.discard()
