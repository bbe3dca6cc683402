"""STEP solids with their ends cut: as `converter.exporters.step`, every joint cut so that the tubes fit."""

from __future__ import annotations

from typing import Any

from converter.exporters.bodies import Body, bodies
from converter.exporters.cope_words import copes_of
from converter.exporters.coped import coped_solid, joints_of
from converter.exporters.files import OutputSet
from converter.exporters.registry import ExportJob
from converter.progress import steps


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``stem-coped.step``, or ``stem-NAME-coped.step`` for every tube when not ``job.one_file``.

    Raises:
        WriteError: no tube has a solid or none has a joint, or the kernel fails.
        GeometryError: an end cannot be cut.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.kernel.step import StepItem, step_bytes

    found = bodies(job)
    by_tube = joints_of(copes_of(job).joints)

    def item(body: Body) -> StepItem:
        shape: Any = coped_solid(body.tube, body.section, by_tube.get(body.tube.name, []), body.metal)
        return StepItem(body.tube.name, shape, body.color)

    if job.one_file:
        data = step_bytes(
            [item(body) for body in steps(found, "solids cut")],
            unit=job.step_unit,
            title=job.stem,
            assembly=len(found) > 1,
        )
        out.path(f"{job.stem}-coped.step").write_bytes(data)
        return
    for body in steps(found, "solids cut"):
        data = step_bytes([item(body)], unit=job.step_unit, title=body.tube.name, assembly=False)
        out.path(f"{job.stem}-{body.tube.name}-coped.step").write_bytes(data)
