"""Which tubes of a job have a body to write (solid or mesh), what colour each gets, and which are copies of each other.

Colours tell sections apart: the same section has the same colour in every file and format.

A part's tubes are equal within what a shop can tell; a file is exact, so that only those share a solid (one product of
a STEP file, placed so many times) that agree within `converter.joints.alike.exact.EXACT`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from converter.errors import GeometryError, WriteError
from converter.job import Job
from converter.model.bends import Placement
from converter.model.metal import TubeMetal, metal
from converter.model.part import Part
from converter.model.run import Tube
from converter.model.section import Section
from converter.progress import steps

if TYPE_CHECKING:
    from converter.joints.alike.exact import ExactForm
    from converter.joints.alike.form import Form
    from converter.kernel.step.write import StepItem

Color = tuple[float, float, float]
#: What makes two sections one: shape, and sizes to a nanometre.
Key = tuple[str, float, float, float, float]

#: sRGB, 0..1: twelve hues apart enough to tell on screen, none so dark that edges vanish on it.
PALETTE: tuple[Color, ...] = (
    (0.36, 0.55, 0.72), (0.80, 0.52, 0.30), (0.45, 0.65, 0.42), (0.74, 0.42, 0.48),
    (0.56, 0.48, 0.72), (0.76, 0.68, 0.36), (0.38, 0.66, 0.66), (0.66, 0.54, 0.44),
    (0.80, 0.58, 0.72), (0.58, 0.72, 0.30), (0.50, 0.56, 0.60), (0.88, 0.66, 0.54),
)  # fmt: skip
#: Of one part, so many tubes are looked at as what others are copies of; with more, the drawing's digits are too few.
_MOST_ORIGINALS = 8


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
    colors = _section_colors([tube.section for tube in job.tubes if tube.section is not None])
    return [
        TubeBody(tube, tube.section, body, colors[_key(tube.section)])
        for tube, body in zip(job.tubes, job.bodies, strict=True)
        if tube.section is not None and body is not None and not isinstance(body, GeometryError)
    ]


def sleeve_bodies(job: Job) -> list[TubeBody]:
    """The sleeves inside the tubes of a job that was made of pieces, in the colours of their own sections."""
    colors = _section_colors([sleeve.section for sleeve in job.sleeves if sleeve.section is not None])
    return [
        TubeBody(sleeve, sleeve.section, metal(sleeve.run, sleeve.section), colors[_key(sleeve.section)])
        for sleeve in job.sleeves
        if sleeve.section is not None
    ]


def _section_colors(sections: Sequence[Section]) -> dict[Key, Color]:
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


@dataclass(frozen=True, slots=True)
class Copy:
    """A tube that shares its solid.

    Attributes:
        original: name of the tube whose solid it is.
        product: what the solid is called.
        frame: the original's own frame, in place.
        place: where that frame comes to stand for this tube.
    """

    original: str
    product: str
    frame: Placement
    place: Placement


def placed_items(
    job: Job,
    found: Sequence[TubeBody],
    forms: Mapping[str, Form],
    solid: Callable[[TubeBody, Placement | None], Any],
) -> list[StepItem]:
    """An item for every body, in order; copies share the solid of the first of them.

    Args:
        job: whose parts count.
        found: the bodies to write; those that are no tubes of the job (sleeves) are products of their own.
        forms: of the tubes by name, with all that is cut off these solids.
        solid: what is written of a body: in place, or so that a frame of it lies in the origin; asked once for each
            product.

    Raises:
        GeometryError: there is no such solid.
    """
    from converter.kernel.step.write import StepItem

    shared = copies(job.shown.parts, found, forms)
    made: dict[str, Any] = {}
    items = []
    for body in steps(found, "solids"):
        name = body.tube.name
        copy = shared.get(name)
        if copy is None:
            items.append(StepItem(name, solid(body, None), body.color))
            continue
        if copy.original not in made:
            made[copy.original] = solid(body, copy.frame)
        items.append(StepItem(name, made[copy.original], body.color, copy.product, copy.place))
    return items


def copies(parts: Sequence[Part], found: Sequence[TubeBody], forms: Mapping[str, Form]) -> dict[str, Copy]:
    """The tubes that share a solid with another one, by name; originals among them.

    A tube whose name would be lost in a place of a product keeps a product of its own.
    """
    from converter.joints.alike.exact import ExactForm
    from converter.kernel.step.write import is_read_of_a_place

    by_name = {body.tube.name: body for body in found if is_read_of_a_place(body.tube.name)}
    shared: dict[str, Copy] = {}
    for part in parts:
        able = [by_name[name] for name in part.names if name in by_name]
        groups: list[tuple[ExactForm, list[tuple[str, Placement]]]] = []
        for body in able if len(able) > 1 else ():
            form = ExactForm(forms[body.tube.name], body.metal)
            for original, placed in groups:
                place = original.copy_at(form)
                if place is not None:
                    placed.append((body.tube.name, place))
                    break
            else:
                if len(groups) < _MOST_ORIGINALS:
                    groups.append((form, [(body.tube.name, form.place)]))
        for original, placed in groups:
            if len(placed) == 1:
                continue
            name = original.form.tube.name
            # what is not a copy of the part's first tube is called after its own first one
            product = part.name if name == part.first.name else name
            shared |= {copied: Copy(name, product, original.place, place) for copied, place in placed}
    return shared
