"""Pictures of every run of a job as files, for documents: one SVG or PNG per run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from converter.exporters.pictures.run_picture import run_picture
from converter.progress import steps

if TYPE_CHECKING:
    from collections.abc import Iterator

    from converter.exporters.files import OutputSet
    from converter.exporters.pictures.picture import Picture
    from converter.exporters.registry import ExportJob
    from converter.model.run import Tube


def export_svg(job: ExportJob, out: OutputSet) -> None:
    """Write ``STEM-RUN.svg`` for every run, lengths in the job's unit."""
    from converter.exporters.pictures.svg import svg_text

    for tube, picture in _pictures(job):
        text = svg_text(picture, unit=job.display.unit)
        out.path(f"{job.stem}-{tube.name}.svg").write_text(text, encoding="utf-8", newline="\n")


def export_png(job: ExportJob, out: OutputSet) -> None:
    """Write ``STEM-RUN.png`` for every run, 150 pixels to the inch, on white.

    Raises:
        MissingLibraryError: the picture library is not installed.
    """
    from converter.exporters.pictures.png import png_bytes

    for tube, picture in _pictures(job):
        out.path(f"{job.stem}-{tube.name}.png").write_bytes(png_bytes(picture, unit=job.display.unit))


def _pictures(job: ExportJob) -> Iterator[tuple[Tube, Picture]]:
    """Every run with its picture; what was found out about a run marks its bends."""
    joints = job.copes.joints if job.copes else ()
    for tube in steps(job.tubes, "pictures"):
        said = [finding for finding in job.findings if finding.tube == tube.name]
        yield tube, run_picture(tube, job.display, findings=said, joints=joints)
