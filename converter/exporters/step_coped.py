"""STEP solids with their ends cut: as `converter.exporters.step`, every joint cut so that the tubes fit."""

from __future__ import annotations

from converter.exporters.coped_bodies import coped_bodies
from converter.exporters.files import OutputSet
from converter.exporters.registry import ExportJob


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``stem-coped.step``, or ``stem-NAME-coped.step`` for every tube when not ``job.one_file``.

    Raises:
        WriteError: no tube has a solid, or none has a joint or a hole, or the kernel fails.
        GeometryError: an end cannot be cut.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.kernel.step import StepItem, step_bytes

    items = [StepItem(body.tube.name, shape, body.color) for body, shape in coped_bodies(job)]
    if job.one_file:
        data = step_bytes(items, unit=job.step_unit, title=job.stem, assembly=len(items) > 1)
        out.path(f"{job.stem}-coped.step").write_bytes(data)
        return
    for item in items:
        data = step_bytes([item], unit=job.step_unit, title=item.name, assembly=False)
        out.path(f"{job.stem}-{item.name}-coped.step").write_bytes(data)
