"""Pictures as files: one SVG or PNG per run, for documents, and one of the drawing as read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from converter.errors import OptionError
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.run.picture import run_picture
from converter.exporters.pictures.run.sketch import sketches_of
from converter.job import Job, NoRunsError, once_per_job
from converter.progress import steps
from converter.quoting import LONGEST_PATH, quoted

if TYPE_CHECKING:
    from converter.findings import Finding
    from converter.model.run import Tube


#: Endings of picture files.
ENDINGS = (".svg", ".png")


def export_svg(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``STEM-RUN.svg`` for every run, lengths in the job's unit."""
    from converter.exporters.pictures.written.svg import svg_text

    for tube, picture in _pictures(job):
        text = svg_text(picture, unit=job.display.unit)
        out.path(f"{options.stem}-{tube.name}.svg").write_text(text, encoding="utf-8", newline="\n")


def export_png(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``STEM-RUN.png`` for every run, 150 pixels to the inch, on white.

    Raises:
        MissingLibraryError: the picture library is not installed.
    """
    from converter.exporters.pictures.written.png import png_bytes

    for tube, picture in _pictures(job):
        out.path(f"{options.stem}-{tube.name}.png").write_bytes(png_bytes(picture, unit=job.display.unit))


def write_one(picture: Picture, file: str, job: Job, *, force: bool = False) -> Path:
    """Write one picture to a file that ends in .svg or .png.

    Raises:
        MissingLibraryError: PNG is asked for, and the picture library is not installed.
        ElbowroomError: one sentence; nothing was written.
    """
    from converter.exporters.files import OutputSet

    target = Path(file)
    with OutputSet(target.parent, force=force, inputs=job.inputs) as out:
        put_picture(picture, out.path(target.name), job.display.unit)
    return out.final(target.name)


def put_picture(picture: Picture, path: Path, unit: str) -> None:
    """A picture into a file, as its ending says: PNG, else SVG."""
    if path.suffix.lower() == ".png":
        from converter.exporters.pictures.written.png import png_bytes

        path.write_bytes(png_bytes(picture, unit=unit))
        return
    from converter.exporters.pictures.written.svg import svg_text

    path.write_text(svg_text(picture, unit=unit), encoding="utf-8", newline="\n")


@once_per_job
def _pictures(job: Job) -> list[tuple[Tube, Picture]]:
    """Every run with its picture; what was found out about a run marks its bends."""
    told: dict[str | None, list[Finding]] = {}
    for finding in job.shown.findings:
        told.setdefault(finding.tube, []).append(finding)
    sketches = sketches_of(job)
    return [
        (tube, run_picture(tube, job.display, findings=told.get(tube.name, ()), joints=job.joints, sketches=sketches))
        for tube in steps(job.shown.tubes, "pictures")
    ]


def export_as_read(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``STEM-as-read.svg``."""
    put_picture(_drawing_as_read(job), out.path(f"{options.stem}-as-read.svg"), job.display.unit)


def write_picture(job: Job, file: str, *, force: bool = False) -> Path:
    """Write a picture of a drawing as read, also of one in which no run was found.

    Args:
        job: a job, or that of a `NoRunsError`.
        file: where to: ends in one of `ENDINGS`.
        force: replace the file if it exists already (never one that was read).

    Raises:
        OptionError: the file's ending is another.
        MissingLibraryError: PNG is asked for, and the picture library is not installed.
        ElbowroomError: one sentence; nothing was written.
    """
    check_ending(Path(file).name)
    return write_one(_drawing_as_read(job), file, job, force=force)


def _drawing_as_read(job: Job) -> Picture:
    from converter.exporters.pictures.drawing.view import drawing_picture

    try:
        tubes, findings = job.tubes, job.findings
    except NoRunsError as error:
        tubes, findings = (), error.findings
    return drawing_picture(job.drawing, tubes, findings, job.display)


def check_ending(name: str) -> None:
    """Refuse a file name that is no picture's.

    Raises:
        OptionError: it ends in none of `ENDINGS`.
    """
    if not name.lower().endswith(ENDINGS):
        raise OptionError(
            f"A picture is written as {' or '.join(ENDINGS)}: name it so, not {quoted(name, LONGEST_PATH)}."
        )
