"""STEP (ISO 10303-21): tubes as solids, as drawn, as bent or with their ends cut to fit; centerlines as wires.

Every tube is one named product in its section's colour, where it was drawn; equal tubes are one product, named after
their part, in as many places (`converter.exporters.solids.bodies`). Every centerline is one named set of lines and
circles, trimmed exactly, which needs no section; each is a product of its own, since readers join single lines of one
product. Several are one assembly named after the job, or one file each. Specification: ISO 10303-203/214/242 advanced
B-rep; written as AP214, which every package reads.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from converter.errors import WriteError
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.solids.bodies import TubeBody, bodies, sleeve_bodies
from converter.findings.finding import refused_bends
from converter.job import Job
from converter.job.job import ProgramTubes
from converter.model.bends import Placement
from converter.model.run import Tube
from converter.progress import steps
from converter.quoting import LONGEST_PATH, quoted


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


# --- as bent ----------------------------------------------------------------------------------
# What is drawn is the die's radius, or close to it; the metal comes out wider. The set-up keeps the corners of the
# drawing (`converter.bending.setup.shape`), so that straights lie where they were drawn, and each bend passes a little
# further inside its corner: for clearances and for what is to be welded to a bend that is the tube to look at.


def export_bent(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-bent.step``, or ``stem-bent-NAME.step`` for every tube when not ``options.one_file``.

    Ends are square where the centerline ends, as in ``stem.step``. A bend whose springback is not known is as drawn,
    and so are tubes without a set-up and those with a bend that is not to be made.

    Raises:
        WriteError: no tube has a bend, or none a solid.
    """

    if not any(tube.run.table.bends for tube in job.shown.tubes):
        raise WriteError(
            f"No tube of {quoted(job.source, LONGEST_PATH)} has a bend, so all come out as drawn (step).",
            code="no-bends",
            file=job.source,
        )
    export_tubes(as_bent(job), out, replace(options, stem=f"{options.stem}-bent"))


def as_bent(job: Job) -> Job:
    """The job with its tubes as its set-ups make them, radii after springback."""
    from converter.comparison.next_piece import intended_table  # numpy with it

    refused = {name for name, _ in refused_bends(job.findings)}
    made_by = [setup for setup in job.setups if setup.steps and setup.tube.name not in refused]
    setups = {setup.tube.name: intended_table(setup) for setup in made_by}
    drawing = job.drawing

    def bent(tube: Tube) -> Tube:
        table = setups.get(tube.name)
        return tube if table is None else replace(tube, run=replace(tube.run, table=table, end_point=None))

    tubes = tuple(map(bent, job.tubes))
    made = ProgramTubes(tubes, job.shop, job.job_file, (), job.sleeves, drawing.units, drawing.read_as)
    bent_job = Job(job.source, job.settings, made)
    # what is known stays so: straights lie where they were, and so do the cuts of their ends
    bent_job.__dict__["copes"] = job.copes
    others = tuple(new for new, old in zip(tubes, job.tubes, strict=True) if new is not old)
    bodies = iter(Job(job.source, job.settings, replace(made, tubes=others)).bodies if others else ())
    bent_job.__dict__["bodies"] = tuple(
        body if new is old else next(bodies) for new, old, body in zip(tubes, job.tubes, job.bodies, strict=True)
    )
    return bent_job
