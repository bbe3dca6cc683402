"""STEP solids (ISO 10303-21): every tube as one named product in its section's colour, where it was drawn.

Several tubes are one assembly named after the job, or one file each. Specification: ISO
10303-203/214/242 advanced B-rep; written as AP214, which every package reads.
"""

from __future__ import annotations

from converter.exporters.bodies import Body, bodies
from converter.exporters.files import OutputSet
from converter.exporters.registry import ExportJob
from converter.progress import steps


def export(job: ExportJob, out: OutputSet) -> None:
    """Write ``stem.step``, or ``stem-NAME.step`` for every tube when not ``job.one_file``.

    Numbers are in ``job.step_unit`` and the file says so. A sharp corner without a radius is mitred.

    Raises:
        WriteError: no tube has a solid, or the kernel fails.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.kernel.solids import tube_solid
    from converter.kernel.step import StepItem, step_bytes

    def item(body: Body) -> StepItem:
        return StepItem(body.tube.name, tube_solid(body.tube.run, body.section, body.metal), body.color)

    found = bodies(job)
    if job.one_file:
        # a file of one part is that part: readers name it after the assembly otherwise
        data = step_bytes(
            [item(body) for body in steps(found, "solids")], unit=job.step_unit, title=job.stem, assembly=len(found) > 1
        )
        out.path(f"{job.stem}.step").write_bytes(data)
        return
    for body in steps(found, "solids"):
        data = step_bytes([item(body)], unit=job.step_unit, title=body.tube.name, assembly=False)
        out.path(f"{job.stem}-{body.tube.name}.step").write_bytes(data)
