"""The formats that can be written, in one list that also feeds --help and the docs.

The list itself imports nothing heavy: each format names a module and a function in it,
``function(job: Job, out: OutputSet, options: WriteOptions) -> None``, loaded when first used. To add a
format, write such a module and add one line here.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Container, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from importlib import import_module
from pathlib import Path
from tempfile import gettempdir
from typing import TYPE_CHECKING

from converter.dates import fixed_time
from converter.disk.reading import open_to_read
from converter.errors import ElbowroomError, MissingLibraryError, OptionError, WriteError
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.findings.wording import listed
from converter.processes.memory import paused_gc
from converter.progress import begin_file, steps
from converter.quoting import LONGEST_PATH, quoted

if TYPE_CHECKING:
    from converter.job import Job


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
        file: what follows the job's name in that of its only file, of a format that takes long: whether it may be
            written is asked before any work.
    """

    name: str
    summary: str
    module: str
    ending: str
    function: str = "export"
    needs: str = ""
    default: bool = False
    file: str = ""


FORMATS: tuple[WriteFormat, ...] = (
    WriteFormat(
        "csv", "bend table, one row per bend; reads back", "converter.exporters.data.table_csv", ".csv", default=True
    ),
    WriteFormat(
        "points-csv", "points of the centerlines as CSV: ends, corners, tangent points, centers of bends; reads back",
        "converter.exporters.data.points_csv", ".csv",
    ),
    WriteFormat(
        "json", "bend tables and findings for other programs", "converter.exporters.data.table_json", ".json",
        default=True,
    ),
    WriteFormat(
        "dxf", "cleaned centerlines in place, straights and bends", "converter.exporters.dxf.centerline", ".dxf",
        default=True,
    ),
    WriteFormat(
        "profile", "DXF, full-size flat profile of every bend plane", "converter.exporters.dxf.profile", ".dxf",
        default=True,
    ),
    WriteFormat(
        "template", "DXF, full-size stick template: die marks, tangent points, cuts of the ends",
        "converter.exporters.dxf.stick_template", ".dxf", default=True,
    ),
    WriteFormat(
        "template-pdf", "PDF to print, the same in tiles", "converter.exporters.pdf.stick_template", ".pdf",
        needs="PDF library",
    ),
    WriteFormat(
        "step", "solid tubes in place", "converter.exporters.solids.step", ".step", function="export_tubes",
        default=True,
    ),
    WriteFormat(
        "step-bent", "solid tubes as they come out, with the radii that springback opens",
        "converter.exporters.solids.step", ".step", function="export_bent",
    ),
    WriteFormat(
        "wires", "STEP, centerlines as wires", "converter.exporters.solids.step", ".step", function="export_wires",
        needs="CAD kernel",
    ),
    WriteFormat(
        "stl", "mesh of every tube", "converter.exporters.solids.mesh", ".stl", function="export_stl",
        needs="mesh library",
    ),
    WriteFormat(
        "3mf", "mesh of every tube, with units", "converter.exporters.solids.mesh", ".3mf", function="export_3mf",
        needs="mesh library",
    ),
    WriteFormat(
        "glb", "mesh of every tube, for viewers", "converter.exporters.solids.mesh", ".glb", function="export_glb",
        needs="mesh library",
    ),
    WriteFormat(
        "quote-csv", "CSV, what each part comes to: cut length, cuts, bends, weld, time and price, estimated",
        "converter.exporters.data.quote", ".csv",
    ),
    WriteFormat(
        "cope-dxf", "DXF, full-size wrap templates of cut ends and holes",
        "converter.exporters.dxf.cope_templates", ".dxf",
    ),
    WriteFormat(
        "cope-pdf", "PDF to print, wrap templates of cut ends and holes",
        "converter.exporters.pdf.cope_templates", ".pdf", needs="PDF library",
    ),
    WriteFormat(
        "setup-csv", "the bender's set-up as CSV, a row per tube and per bend", "converter.exporters.data.setup_csv",
        ".csv",
    ),
    WriteFormat(
        "cope-csv", "list of copes and mitres as CSV, a row per cut end", "converter.exporters.data.cope_csv", ".csv",
    ),
    WriteFormat(
        "step-coped", "solid tubes in place, their ends cut to fit", "converter.exporters.solids.step", ".step",
        function="export_coped", needs="CAD kernel", file="-coped.step",
    ),
    WriteFormat(
        "fit-up", "JSON, how cut ends fit: overlap, gap, clashes", "converter.exporters.solids.fit_up.measure", ".json",
        needs="CAD kernel", file="-fit-up.json",
    ),
    WriteFormat(
        "sheet", "HTML, the job sheet: every tube in 3D, step by step", "converter.exporters.sheet.html", ".html",
        needs="page library",
    ),
    WriteFormat(
        "sheet-pdf", "PDF, the job sheet to print", "converter.exporters.sheet.pdf.write", ".pdf", needs="PDF library",
    ),
    WriteFormat(
        "svg", "picture of every tube: isometric and three views, dimensioned",
        "converter.exporters.pictures.files", ".svg", function="export_svg",
    ),
    WriteFormat(
        "png", "the same pictures as pixels, for documents", "converter.exporters.pictures.files", ".png",
        function="export_png", needs="picture library",
    ),
    WriteFormat(
        "as-read", "SVG, the drawing as read: what became a tube, what was healed or left out",
        "converter.exporters.pictures.files", ".svg", function="export_as_read",
    ),
)  # fmt: skip


#: Formats of which one file can hold several jobs: their function takes a list of them.
TOGETHER = ("sheet", "sheet-pdf")

#: Codes of "this job has nothing of that sort", which is no failure while something else is written.
CODES_OF_NOTHING_TO_WRITE = ("no-solid", "no-joints", "no-bends")


def find(name: str) -> WriteFormat:
    """The format of this name.

    Raises:
        OptionError: there is none.
    """
    wanted = name.strip().lower()
    for one in FORMATS:
        if one.name == wanted:
            return one
    from difflib import get_close_matches

    names = [one.name for one in FORMATS]
    like = [one for one in names if wanted and wanted in one.split("-")] or get_close_matches(wanted, names, 2, 0.75)
    cure = f"did you mean {listed(like, ' or ')}?" if like else f"use {', '.join(names)}."
    raise OptionError(f"{quoted(name)} is not a format to write: {cure}")


def usable_formats(named: Sequence[str] = ()) -> tuple[list[str], list[str]]:
    """The formats to write, and a sentence for each usual one that this machine cannot write.

    Args:
        named: formats asked for by name; then none may be missing. Empty for the usual ones.

    Raises:
        OptionError: a format is unknown.
        MissingLibraryError: a format asked for by name needs a library that is not installed.
    """
    able, reasons = [], []
    for chosen in [find(name) for name in named] or [known for known in FORMATS if known.default]:
        try:
            if chosen.needs == "CAD kernel":
                from converter.kernel import require

                require()
        except MissingLibraryError as error:
            if named:
                raise
            reasons.append(f"{chosen.name} was left out. {error.message}")
        else:
            able.append(chosen.name)
    return able, reasons


def write(
    jobs: Sequence[Job],
    out_dir: str | os.PathLike[str],
    formats: Sequence[str] = (),
    options: WriteOptions | None = None,
    *,
    force: bool = False,
    own: Container[str] = (),
    last: Callable[[OutputSet], None] | None = None,
) -> list[Path]:
    """Write jobs in several formats: every file of every job, or on any failure none.

    Args:
        jobs: what to write; two of one name are told apart by a number.
        out_dir: the folder; made when it does not exist.
        formats: names from `FORMATS`, in any order; the usual ones when empty.
        options: names, units, paper; the defaults when None.
        force: replace files that exist already (never an input).
        own: names of files that are replaced without ``force`` (`OutputSet`).
        last: what else is written when all of that was, knowing it.

    Returns:
        The files written, job by job in the order of `FORMATS`. A format of solids writes nothing for
        a job without any (`converter.model.metal` says which and why), one of copes nothing for a job without
        joints, as long as something is written.

    Raises:
        OptionError: an unknown format, or SOURCE_DATE_EPOCH is no date.
        WriteError: nothing to write at all, or a file exists or cannot be written.
        MissingLibraryError: a library for a format is not installed.
    """
    return write_all(jobs, out_dir, _work(jobs, formats, options), force=force, own=own, last=last)


def contents(jobs: Sequence[Job], formats: Sequence[str] = (), options: WriteOptions | None = None) -> dict[str, bytes]:
    """What `write` would write, by file name; nothing stays on the disk."""
    # a folder that does not exist: no file of a name that is asked for stands in it
    nowhere = Path(gettempdir()) / os.urandom(8).hex()
    found: dict[str, bytes] = {}
    with _staged(jobs, OutputSet(nowhere), _work(jobs, formats, options)) as out:
        for name, path in out.staged().items():
            with open_to_read(path) as stream:
                found[name] = stream.read()
    return found


def _work(
    jobs: Sequence[Job], formats: Sequence[str], options: WriteOptions | None
) -> Callable[[OutputSet], Iterator[Callable[[], None]]]:
    """What there is to do for jobs in formats: the arguments are those of `write`."""
    wanted = {find(name).name for name in formats} or {known.name for known in FORMATS if known.default}
    chosen = [known for known in FORMATS if known.name in wanted]

    def work(out: OutputSet) -> Iterator[Callable[[], None]]:
        named = list(_named(jobs, options or WriteOptions()))
        for how in named if (options or WriteOptions()).one_file else ():
            for known in chosen:
                if known.file:
                    out.require_free(how.stem + known.file)
        for job, how in zip(steps(jobs, "jobs"), named, strict=True):
            begin_file(job.source, "writing")
            for known in steps(chosen, "formats"):
                yield partial(_function(known), [job] if known.name in TOGETHER else job, out, how)

    return work


def write_together(
    jobs: Sequence[Job],
    out_dir: str | os.PathLike[str],
    formats: Sequence[str],
    options: WriteOptions | None = None,
    *,
    force: bool = False,
) -> list[Path]:
    """Write one file of each format for all jobs together: those of `TOGETHER`.

    Args:
        jobs: what to write, in this order.
        out_dir, options, force: as of `write`.
        formats: names from `TOGETHER`.

    Raises:
        OptionError, WriteError, MissingLibraryError: as of `write`.
    """
    chosen = [find(name) for name in formats]

    def work(out: OutputSet) -> Iterator[Callable[[], None]]:
        for known in steps(chosen, "formats"):
            yield partial(_function(known), jobs, out, options or WriteOptions())

    return write_all(jobs, out_dir, work, force=force)


def _function(known: WriteFormat) -> Callable[..., None]:
    function: Callable[..., None] = getattr(import_module(known.module), known.function)
    return function


def write_all(
    jobs: Sequence[Job],
    out_dir: str | os.PathLike[str],
    work: Callable[[OutputSet], Iterable[Callable[[], None]]],
    *,
    force: bool,
    own: Container[str] = (),
    last: Callable[[OutputSet], None] | None = None,
) -> list[Path]:
    """Do all work on a set of files, and put them in their places: all of them, or on any failure none.

    ``own`` and ``last`` are those of `write`.
    """
    out = OutputSet(out_dir, force=force, own=own, inputs=[path for job in jobs for path in job.inputs])
    with _staged(jobs, out, work):
        if last is not None:
            last(out)
        return out.commit()


@contextmanager
def _staged(
    jobs: Sequence[Job], out: OutputSet, work: Callable[[OutputSet], Iterable[Callable[[], None]]]
) -> Iterator[OutputSet]:
    """A set of files with all work on it done, until it is committed or, at the latest at the end, forgotten."""
    fixed_time()  # a wrong one fails before any work, and before a library reads it
    for job in jobs:
        if not job.tubes:
            raise WriteError(
                "There is no tube to write: the input holds no centerline.", code="no-runs", file=job.source
            )
    empty: list[WriteError] = []
    done = 0
    try:
        for task in work(out):
            done += 1
            try:
                with paused_gc():  # most of what is made for a file stays until it is written
                    task()
            except WriteError as error:
                if error.code not in CODES_OF_NOTHING_TO_WRITE:
                    raise
                empty.append(error)
        if len(empty) == done:
            raise empty[0]
        yield out
    except ElbowroomError:
        raise
    except OSError as error:
        why = (error.strerror or type(error).__name__).lower()
        raise WriteError(
            f"The files cannot be written to {quoted(out.out_dir, LONGEST_PATH)} ({why}): free some "
            "space, or name another folder with --out.",
            file=str(out.out_dir),
        ) from error
    finally:
        out.discard()


def _named(jobs: Sequence[Job], options: WriteOptions) -> Iterator[WriteOptions]:
    """For each job, the options with its own stem (two drawings of one name must not mix) and unit."""
    stems: dict[str, int] = {}
    for job in jobs:
        stem = options.stem or job.stem
        count = stems[stem] = stems.get(stem, 0) + 1
        yield replace(
            options,
            stem=stem if count == 1 else f"{stem}-{count}",
            step_unit=options.step_unit or job.display.unit,
        )
