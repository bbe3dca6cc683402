"""What was left out on request and touches the end of a tube that was read; and what is left out where no tube is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from converter.findings import Finding
from converter.geometry.vectors import Vec, distance
from converter.model.drawing import Drawing, LeftShape
from converter.model.run import Tube
from converter.quoting import LONGEST_PATH, quoted, shortened
from converter.settings import Settings
from converter.units import Display

if TYPE_CHECKING:
    from converter.job.job import Job

#: mm; a stick that comes out this little longer or shorter needs no words.
_LEAST_CHANGE_NAMED = 0.01


def leaves_out(settings: Settings) -> bool:
    """Whether a part of the drawing is left out on request."""
    read = settings.read
    return bool(read.layers or read.skip_layers or read.skip_colors or read.skip_linetypes)


def with_everything(settings: Settings) -> Settings:
    """The same settings with nothing left out."""
    return replace(settings, read=replace(settings.read, layers=(), skip_layers=(), skip_colors=(), skip_linetypes=()))


def left_out_findings(job: Job, whole: Job) -> list[Finding]:
    """A warning for every end of a tube that something left out touches, and that it would change.

    Args:
        job: a job that leaves something out.
        whole: the same job with nothing left out; asked only where something touches.
    """
    shapes, near = _shapes(job), job.tolerances.near
    touched = list(_touched_ends(job.tubes, shapes, near))
    if touched:  # dimensions, notes and the like, which touch what they speak of, are left out either way
        never = set(_shapes(whole))
        asked = [shape for shape in shapes if shape not in never]
        touched = touched if len(asked) == len(shapes) else list(_touched_ends(job.tubes, asked, near))
    found = (_finding(job, whole, tube, end, shape) for tube, end, shape in touched)
    return [finding for finding in found if finding is not None]


def _shapes(job: Job) -> list[LeftShape]:
    return [] if job.drawing.aside is None else job.drawing.aside.shapes


def _touched_ends(
    tubes: Sequence[Tube], shapes: Sequence[LeftShape], near: float
) -> Iterator[tuple[Tube, str, LeftShape]]:
    """Ends that lie within half the tube's thickness and ``near`` mm of a line that was left out, and the line."""
    import numpy as np

    from converter.reducer.outlines.centerlines import WHY

    own = set(WHY.values())  # a tube's outline touches its own ends
    lines = [
        (np.asarray(shape.points, float), shape) for shape in shapes if len(shape.points) > 1 and shape.why not in own
    ]
    if not lines:
        return
    starts = np.concatenate([points[:-1] for points, _ in lines])
    ways = np.concatenate([np.diff(points, axis=0) for points, _ in lines])
    of_shape = np.repeat(np.arange(len(lines)), [len(points) - 1 for points, _ in lines])
    squares = np.maximum(np.einsum("ij,ij->i", ways, ways), 1e-300)
    for tube in tubes:
        if tube.run.closed:
            continue
        reach = near + (0.0 if tube.section is None else max(tube.section.od, tube.section.height) / 2.0)
        for end, point in (("A", tube.run.start), ("B", tube.run.end)):
            off = np.asarray(point) - starts
            share = np.clip(np.einsum("ij,ij->i", off, ways) / squares, 0.0, 1.0)
            apart = np.linalg.norm(off - share[:, None] * ways, axis=1)
            nearest = int(apart.argmin())
            if apart[nearest] <= reach:
                yield tube, end, lines[of_shape[nearest]][1]


def _finding(job: Job, whole: Job, tube: Tube, end: str, shape: LeftShape) -> Finding | None:
    change = _change(job, whole, tube, end)
    longer, mates = change or (0.0, ())
    if change is None:
        variant = "other tubes"
    elif abs(longer) <= _LEAST_CHANGE_NAMED and set(mates) == set(_mates(job, tube, end)):
        return None
    elif abs(longer) <= _LEAST_CHANGE_NAMED:
        variant = "cut"
    else:
        variant = "cut longer" if longer > 0.0 else "cut shorter"
    return Finding(
        "left-out-touches",
        tube=tube.name,
        variant=variant,
        end=end,
        layer=tube.run.layer,
        handle=shape.handle,
        measured=None if change is None else longer,
        unit=None if change is None else "mm",
        at=tube.run.start if end == "A" else tube.run.end,
        values={"kind": shape.kind, "why": shape.why, "mates": mates, "difference": abs(longer)},
    )


def _change(job: Job, whole: Job, tube: Tube, end: str) -> tuple[float, tuple[str, ...]] | None:
    """By how much the end's stick grows (mm, negative: shrinks), and the mates it is cut to, with nothing left out.

    None where the whole drawing holds no tube with the same two ends.
    """
    tol = job.tolerances.join
    for other in whole.tubes:
        for start, last, ends in ((other.run.start, other.run.end, "AB"), (other.run.end, other.run.start, "BA")):
            if not (_same(start, tube.run.start, tol) and _same(last, tube.run.end, tol)):
                continue
            there = ends[0] if end == "A" else ends[1]
            return _past(whole, other, there) - _past(job, tube, end), _mates(whole, other, there)
    return None


def _mates(job: Job, tube: Tube, end: str) -> tuple[str, ...]:
    """The tubes that an end is cut to."""
    return next((joint.mates for joint in job.joints if (joint.tube, joint.end) == (tube.name, end)), ())


def _same(a: Vec, b: Vec, tol: float) -> bool:
    return distance(a, b) <= tol


def _past(job: Job, tube: Tube, end: str) -> float:
    """How far the metal reaches past the centerline's end, mm."""
    return job.copes.cuts[tube.name].change(end)


def no_runs_sentence(drawing: Drawing, display: Display) -> str:
    """One sentence: no runs, and what the file held instead."""
    held = [f"{shortened(one.amount)} ({one.why_in(display)})" for one in drawing.ignored[:4]]
    seen = ", ".join(held)
    kinds = {one.kind for one in drawing.ignored}
    if "body" in kinds:  # of a mesh
        todo = "export each tube as a body of its own and in finer facets, or its centerline as DXF or STEP"
    elif "layout" in kinds:
        todo = "name the layout that has the tubes, or draw them in model space"
    elif "block" in kinds:
        todo = "insert the block that has the tubes in model space, or explode it there"
    elif "solid" in kinds:
        todo = "export each tube as a solid of straights and circular bends, or its centerline (the sketch or path)"
    else:
        todo = "draw the tubes as lines, arcs or polylines"
    if seen:
        return f"No centerline was found in {quoted(drawing.source, LONGEST_PATH)}; it holds {seen}: {todo}."
    return (
        f"No centerline was found in {quoted(drawing.source, LONGEST_PATH)}: "
        "draw the tubes as lines, arcs or polylines in model space."
    )
