"""A picture of the drawing as read, as a file: what became a run, what was healed, approximated or left out."""

from __future__ import annotations

from pathlib import Path

from converter.errors import OptionError
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.pictures.files import put_picture, write_one
from converter.exporters.pictures.picture import Picture
from converter.job import Job, NoRunsError
from converter.quoting import LONGEST_PATH, quoted

#: Endings of picture files.
ENDINGS = (".svg", ".png")


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``STEM-as-read.svg``."""
    put_picture(_picture(job), out.path(f"{options.stem}-as-read.svg"), job.display.unit)


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
    return write_one(_picture(job), file, job, force=force)


def _picture(job: Job) -> Picture:
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
