"""Which tubes of a job have a body to write (solid or mesh), and what colour each gets.

Colours tell sections apart: the same section has the same colour in every file and format.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

from converter.errors import GeometryError, WriteError
from converter.job import Job
from converter.model.metal import TubeMetal, metal
from converter.model.run import Tube
from converter.model.section import Section

Color = tuple[float, float, float]
#: What makes two sections one: shape, and sizes to a nanometre.
Key = tuple[str, float, float, float, float]

#: sRGB, 0..1: twelve hues apart enough to tell on screen, none so dark that edges vanish on it.
PALETTE: tuple[Color, ...] = (
    (0.36, 0.55, 0.72), (0.80, 0.52, 0.30), (0.45, 0.65, 0.42), (0.74, 0.42, 0.48),
    (0.56, 0.48, 0.72), (0.76, 0.68, 0.36), (0.38, 0.66, 0.66), (0.66, 0.54, 0.44),
    (0.80, 0.58, 0.72), (0.58, 0.72, 0.30), (0.50, 0.56, 0.60), (0.88, 0.66, 0.54),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class TubeBody:
    """A tube that can be written as a body, its section (known), and its colour."""

    tube: Tube
    section: Section
    metal: TubeMetal
    color: Color


def bodies(job: Job) -> list[TubeBody]:
    """The tubes shown of a job that can be solids, in order.

    Tubes without a section, or that cannot exist as metal, are left out; the findings
    'section-unknown' and 'no-solid' (`converter.model.metal.metal_findings`) say so.

    Raises:
        WriteError: none is left; the sentence gives the reason.
    """
    able = [body for body in all_bodies(job) if body.tube.name in job.shown.names]
    if not able:
        why = next((body.message for body in job.shown.bodies if isinstance(body, GeometryError)), "")
        if not why:
            why = "No section is known for any tube, so there is no solid to write: give --section 1.75x0.120in."
        raise WriteError(why, code="no-solid", file=job.source)
    return able


def all_bodies(job: Job) -> list[TubeBody]:
    """The same of every tube of the job; none where none can be a solid."""
    colors = section_colors([tube.section for tube in job.tubes if tube.section is not None])
    return [
        TubeBody(tube, tube.section, body, colors[_key(tube.section)])
        for tube, body in zip(job.tubes, job.bodies, strict=True)
        if tube.section is not None and body is not None and not isinstance(body, GeometryError)
    ]


def sleeve_bodies(job: Job) -> list[TubeBody]:
    """The sleeves inside the tubes of a job that was made of pieces, in the colours of their own sections."""
    colors = section_colors([sleeve.section for sleeve in job.sleeves if sleeve.section is not None])
    return [
        TubeBody(sleeve, sleeve.section, metal(sleeve.run, sleeve.section), colors[_key(sleeve.section)])
        for sleeve in job.sleeves
        if sleeve.section is not None
    ]


def section_colors(sections: Sequence[Section]) -> dict[Key, Color]:
    """A colour for every section: by its size, so it stays from file to file; look-alikes move on to a free one."""
    taken: dict[int, Key] = {}
    colors: dict[Key, Color] = {}
    for key in sorted({_key(section) for section in sections}):
        place = int(sha256(repr(key).encode()).hexdigest(), 16) % len(PALETTE)
        for step in range(len(PALETTE)):
            if (place + step) % len(PALETTE) not in taken:
                place = (place + step) % len(PALETTE)
                break
        taken.setdefault(place, key)
        colors[key] = PALETTE[place]
    return colors


def _key(section: Section) -> Key:
    od, wall, height, corner = (round(x, 6) for x in (section.od, section.wall, section.height, section.corner))
    return (section.shape, od, wall, height, corner)
