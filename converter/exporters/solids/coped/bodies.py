"""The bodies of a job with their ends and holes cut, made once for all formats.

Where a tube passes through a larger one, its outside is taken off the larger one's walls.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from converter.exporters.solids.bodies import Copy, TubeBody, all_bodies, copies
from converter.exporters.solids.coped.ends import coped_solid, joints_of, tool_of
from converter.job import Job, once_per_job
from converter.joints.alike.exact import ExactForm
from converter.joints.alike.find import forms_of
from converter.joints.alike.form import Form
from converter.joints.holes import Hole
from converter.model.bends import Placement
from converter.progress import steps


@dataclass(frozen=True, slots=True)
class _Mirrored:
    """A tube that is another one in a mirror.

    Attributes:
        original: name of that one.
        frame, place: of `converter.joints.alike.exact.ExactForm.mirrored_at`: its frame, and where that comes to stand.
    """

    original: str
    frame: Placement
    place: Placement


@once_per_job
def coped_bodies(job: Job) -> list[tuple[TubeBody, Any]]:
    """Every body of a job and the kernel's solid of it, joints and holes cut, in order; copies are cut once, and so is
    what is another one in a mirror.

    Raises:
        GeometryError: an end cannot be cut.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.kernel.shapes.solids import in_own_frame, in_place, mirrored

    by_tube = joints_of(job.joints)
    holes: dict[str, list[Hole]] = {}
    for hole in job.copes.holes:
        holes.setdefault(hole.tube, []).append(hole)
    found = all_bodies(job)
    shared, mirrors = coped_copies(job), _mirrors(job)
    originals: dict[str, Any] = {}
    made: dict[str, Any] = {}
    solids = []
    for body in steps(found, "solids cut"):
        name = body.tube.name
        copy = shared.get(name)
        if copy is not None and copy.original in originals:
            solids.append((body, in_place(originals[copy.original], copy.place)))
            continue
        if name in mirrors:
            mirror = mirrors[name]
            solid = mirrored(made[mirror.original], mirror.frame, mirror.place)
        else:
            solid = coped_solid(body.tube, body.section, by_tube.get(name, []), body.metal)
            solid = _with_holes(solid, name, holes.get(name, ()))
        made[name] = solid
        solids.append((body, solid))
        if copy is not None:
            originals[copy.original] = in_own_frame(solids[-1][1], copy.frame)
    return solids


@once_per_job
def coped_copies(job: Job) -> dict[str, Copy]:
    """The tubes whose solids, joints and holes cut, are those of others, by name; originals among them."""
    return copies(job.parts, all_bodies(job), _forms(job))


@once_per_job
def _forms(job: Job) -> dict[str, Form]:
    return {form.tube.name: form for form in forms_of(job.tubes, job.copes)}


def _mirrors(job: Job) -> dict[str, _Mirrored]:
    """The tubes that are an earlier one in a mirror, to the last digit, by name: of each part its first one."""
    body_of = {body.tube.name: body for body in all_bodies(job)}
    first = {part.name: part.first.name for part in job.parts}
    found = {}
    for part in job.parts:
        name, original = part.first.name, first.get(part.mirror_of or "")
        if original is None or part.mirror_turned or name not in body_of or original not in body_of:
            continue
        one, other = (ExactForm(_forms(job)[each], body_of[each].metal) for each in (original, name))
        place = one.mirrored_at(other)
        if place is not None:
            found[name] = _Mirrored(original, one.place, place)
    return found


def _with_holes(solid: Any, name: str, holes: Sequence[Hole]) -> Any:
    """A tube's solid with its holes cut.

    Args:
        solid: of the kernel.
        name: of the tube, for the sentence.
        holes: of this tube; those of one passing tube have one tool.

    Raises:
        GeometryError: the kernel makes no sound solid of it.
        MissingLibraryError: the CAD kernel is not installed.
    """
    if not holes:
        return solid
    from converter.kernel.cuts import cut
    from converter.kernel.shapes.solids import volume

    tools = {}
    for hole in holes:
        # as far as the tube is wide to both sides: nothing else of it lies there
        reach = np.array([hole.node]) + hole.section.od * np.vstack((np.eye(3), -np.eye(3)))
        across = np.sin(np.radians(hole.angle))
        along = np.outer((-1.0, 1.0), np.asarray(hole.passing.axis)) * (hole.section.od / across)
        tools[hole.through, hole.node] = tool_of(hole.passing, np.vstack((reach, np.asarray(hole.node) + along)))
    holed, _ = cut(solid, list(tools.values()), name, volume(solid) - sum(hole.plug for hole in holes))
    return holed
