"""A picture of the drawing as read, as a file: what became a run, what was healed, approximated or left out."""

from __future__ import annotations

from pathlib import Path

from converter.errors import OptionError, WriteError
from converter.exporters.files import OutputSet
from converter.exporters.registry import ExportJob

#: Endings of picture files.
ENDINGS = (".svg", ".png")


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``STEM-as-read.svg``.

    Args:
        job: with its ``drawing``.
        out: where to.

    Raises:
        WriteError: the drawing is not at hand.
    """
    write_as_read(job, out.path(f"{job.stem}-as-read.svg"))


def write_as_read(job: ExportJob, path: Path) -> None:
    """Write the picture of a job's drawing, also where no run was found in it.

    Args:
        job: with its ``drawing``; ``tubes`` may be empty.
        path: a file that ends in one of `ENDINGS`.

    Raises:
        OptionError: the file's ending is another.
        WriteError: the drawing is not at hand.
        MissingLibraryError: PNG is asked for, and the picture library is not installed.
    """
    from converter.exporters.pictures.drawing_view import drawing_picture
    from converter.exporters.pictures.svg import svg_text

    if job.drawing is None:
        raise WriteError("The drawing as read can be shown only where a drawing was read.", file=job.source)
    check_ending(path.name)
    picture = drawing_picture(job.drawing, job.tubes, job.findings, job.display)
    if path.suffix.lower() == ".png":
        from converter.exporters.pictures.png import png_bytes

        path.write_bytes(png_bytes(picture, unit=job.display.unit))
        return
    path.write_text(svg_text(picture, unit=job.display.unit), encoding="utf-8", newline="\n")


def check_ending(name: str) -> None:
    """Refuse a file name that is no picture's.

    Raises:
        OptionError: it ends in none of `ENDINGS`.
    """
    if not name.lower().endswith(ENDINGS):
        raise OptionError(f"A picture is written as {' or '.join(ENDINGS)}: name it so, not {name!r}.")
