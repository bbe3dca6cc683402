"""Centerlines as STEP (ISO 10303-21): every run one named set of lines and circles, where it was drawn.

Bends are circles and straights are lines, trimmed exactly; nothing is approximated. Needs no section.
"""

from __future__ import annotations

from converter.exporters.files import OutputSet
from converter.exporters.registry import ExportJob
from converter.progress import steps


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``stem-centerlines.step``, or ``stem-NAME-centerline.step`` for every run when not ``job.one_file``.

    Raises:
        GeometryError: a run has no centerline.
        WriteError: the kernel fails.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.kernel.step import StepItem, step_bytes
    from converter.kernel.wires import centerline_wire

    if job.one_file:
        items = [StepItem(tube.name, centerline_wire(tube.run)) for tube in steps(job.tubes, "centerlines")]
        data = step_bytes(items, unit=job.step_unit, title=job.stem, assembly=len(items) > 1)
        out.path(f"{job.stem}-centerlines.step").write_bytes(data)
        return
    for tube in steps(job.tubes, "centerlines"):
        item = StepItem(tube.name, centerline_wire(tube.run))
        data = step_bytes([item], unit=job.step_unit, title=tube.name, assembly=False)
        out.path(f"{job.stem}-{tube.name}-centerline.step").write_bytes(data)
