"""Which tubes of a job have a body to write (solid or mesh), and what colour each gets.

Colours tell sections apart: the same section has the same colour in every file and format.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

from converter.errors import GeometryError, WriteError
from converter.exporters.registry import ExportJob
from converter.model.metal import Metal, metal
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
class Body:
    """A tube that can be written as a body, its section (known), and its colour."""

    tube: Tube
    section: Section
    metal: Metal
    color: Color


def bodies(job: ExportJob) -> list[Body]:
    """The tubes of a job that can be solids, in order.

    Tubes without a section, or that cannot exist as metal, are left out; the findings
    'section-unknown' and 'no-solid' (`converter.model.metal.metal_findings`) say so.

    Raises:
        WriteError: none is left; the sentence gives the reason.
    """
    found: list[Body] = []
    why = ""
    colors = section_colors([tube.section for tube in job.tubes if tube.section is not None])
    for tube in job.tubes:
        if tube.section is None:
            continue
        try:
            made = metal(tube.run, tube.section)
        except GeometryError as error:
            why = why or error.message
            continue
        found.append(Body(tube, tube.section, made, colors[_key(tube.section)]))
    if not found:
        if not why:
            why = "No section is known for any tube, so there is no solid to write: give --section 1.75x0.120in."
        raise WriteError(why, code="no-solid", file=job.source)
    return found


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
