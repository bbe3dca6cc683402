"""STEP: tubes as they come out of the bender, with the radii that springback opens.

What is drawn is the die's radius, or close to it; the metal comes out wider. The set-up keeps the corners of the
drawing (`converter.bending.setup.shape`), so that straights lie where they were drawn, and each bend passes a little
further inside its corner: for clearances and for what is to be welded to a bend that is the tube to look at.
"""

from __future__ import annotations

from dataclasses import replace

from converter.comparison.next_piece import intended_table
from converter.errors import WriteError
from converter.exporters.files import OutputSet
from converter.exporters.options import WriteOptions
from converter.exporters.solids.step import export_tubes
from converter.findings.finding import refused_bends
from converter.job import Job
from converter.job.job import ProgramTubes
from converter.model.run import Tube
from converter.quoting import LONGEST_PATH, quoted


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
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
