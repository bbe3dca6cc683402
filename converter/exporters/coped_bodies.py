"""The bodies of a job with their ends and holes cut, made once for all formats of one writing."""

from __future__ import annotations

from typing import Any

from converter.exporters.bodies import Body, bodies
from converter.exporters.cope_words import copes_of
from converter.exporters.coped import coped_solid, joints_of
from converter.exporters.coped_holes import with_holes
from converter.exporters.registry import ExportJob
from converter.progress import steps


def coped_bodies(job: ExportJob) -> list[tuple[Body, Any]]:
    """Every body of a job and the kernel's solid of it, joints and holes cut, in order.

    Raises:
        WriteError: no tube has a solid, or none has a joint or a hole.
        GeometryError: an end cannot be cut.
        MissingLibraryError: the CAD kernel is not installed.
    """

    def make() -> list[tuple[Body, Any]]:
        found, copes = bodies(job), copes_of(job)
        by_tube = joints_of(copes.joints)
        solids = []
        for body in steps(found, "solids cut"):
            name = body.tube.name
            solid = coped_solid(body.tube, body.section, by_tube.get(name, []), body.metal)
            solids.append((body, with_holes(solid, name, [hole for hole in copes.holes if hole.tube == name])))
        return solids

    made: list[tuple[Body, Any]] = job.once("coped bodies", make)
    return made
