"""STEP (ISO 10303-21): tubes as solids, as drawn or with their ends cut to fit; centerlines as wires.

Every tube is one named product in its section's colour, where it was drawn; equal tubes are one product, named after
their part, in as many places (`converter.exporters.solids.bodies`). Every centerline is one named set of lines and
circles, trimmed exactly, which needs no section; each is a product of its own, since readers join single lines of one
product. Several are one assembly named after the job, or one file each. Specification: ISO 10303-203/214/242 advanced
B-rep; written as AP214, which every package reads.
"""

from __future__ import annotations

from typing import Any

from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.solids.bodies import TubeBody, bodies, sleeve_bodies
from converter.job import Job
from converter.model.bends import Placement
from converter.progress import steps


def export_tubes(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem.step``, or ``stem-NAME.step`` for every tube when not ``options.one_file``.

    Numbers are in ``options.step_unit`` and the file says so. A sharp corner without a radius is mitred.

    Raises:
        WriteError: no tube has a solid.
    """
    from converter.exporters.solids.bodies import placed_items
    from converter.exporters.solids.step_text import DrawnSolid, in_frame, write_drawn
    from converter.joints.alike.form import Form
    from converter.kernel.step.write import StepItem
    from converter.model.metal import metal

    def solid(body: TubeBody, frame: Placement | None) -> DrawnSolid:
        if frame is None:
            return DrawnSolid(body.section, body.metal)
        return DrawnSolid(body.section, metal(in_frame(body.tube.run, frame), body.section))

    found = [*bodies(job), *sleeve_bodies(job)]
    if options.one_file:
        forms = {tube.name: Form(tube) for tube in job.shown.tubes}
        # a file of one part is that part: readers name it after the assembly otherwise
        items = placed_items(job, found, forms, solid)
        with out.path(f"{options.stem}.step").open("wb") as into:
            write_drawn(items, into, unit=options.step_unit, title=options.stem, assembly=len(found) > 1)
        return
    for body in steps(found, "solids"):
        item = StepItem(body.tube.name, solid(body, None), body.color)
        with out.path(f"{options.stem}-{body.tube.name}.step").open("wb") as into:
            write_drawn([item], into, unit=options.step_unit, title=body.tube.name, assembly=False)


def export_coped(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-coped.step``, or ``stem-NAME-coped.step`` for every tube when not ``options.one_file``.

    Raises:
        WriteError: no tube has a solid, or none has a joint or a hole, or the kernel fails.
        GeometryError: an end cannot be cut.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.exporters.paper.cope_words import copes_of
    from converter.exporters.solids.bodies import placed_items
    from converter.exporters.solids.coped.bodies import coped_bodies
    from converter.joints.alike.find import forms_of
    from converter.kernel.shapes.solids import in_own_frame, tube_solid
    from converter.kernel.step.write import StepItem, write_step

    copes_of(job)  # there is something to cut
    shown = {body.tube.name for body in bodies(job)}
    cut = {body.tube.name: shape for body, shape in coped_bodies(job) if body.tube.name in shown}
    found = [body for body, _ in coped_bodies(job) if body.tube.name in shown] + sleeve_bodies(job)

    def solid(body: TubeBody, frame: Placement | None) -> Any:
        name = body.tube.name
        shape = cut[name] if name in cut else tube_solid(body.tube.run, body.section, body.metal)
        return shape if frame is None else in_own_frame(shape, frame)

    if options.one_file:
        forms = {form.tube.name: form for form in forms_of(job.tubes, job.copes)}
        items = placed_items(job, found, forms, solid)
        with out.path(f"{options.stem}-coped.step").open("wb") as into:
            write_step(items, into, unit=options.step_unit, title=options.stem, assembly=len(items) > 1)
        return
    for body in found:
        item = StepItem(body.tube.name, solid(body, None), body.color)
        with out.path(f"{options.stem}-{item.name}-coped.step").open("wb") as into:
            write_step([item], into, unit=options.step_unit, title=item.name, assembly=False)


def export_wires(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-centerlines.step``, or ``stem-NAME-centerline.step`` for every run when not ``options.one_file``.

    Raises:
        GeometryError: a run has no centerline.
        WriteError: the kernel fails.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.kernel.shapes.solids import centerline_wire
    from converter.kernel.step.write import StepItem, write_step

    if options.one_file:
        items = [StepItem(tube.name, centerline_wire(tube.run)) for tube in steps(job.shown.tubes, "centerlines")]
        with out.path(f"{options.stem}-centerlines.step").open("wb") as into:
            write_step(items, into, unit=options.step_unit, title=options.stem, assembly=len(items) > 1)
        return
    for tube in steps(job.shown.tubes, "centerlines"):
        item = StepItem(tube.name, centerline_wire(tube.run))
        with out.path(f"{options.stem}-{tube.name}-centerline.step").open("wb") as into:
            write_step([item], into, unit=options.step_unit, title=tube.name, assembly=False)
