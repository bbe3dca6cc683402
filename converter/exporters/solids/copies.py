"""Tubes of a part that are copies of each other to the last digit: one product of a STEP file, placed so many times.

A part's tubes are equal within what a shop can tell; the file is exact, so that only those share a solid that agree
within `converter.joints.alike.exact.EXACT`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from converter.exporters.solids.bodies import TubeBody
from converter.job import Job
from converter.joints.alike.exact import ExactForm
from converter.joints.alike.form import Form
from converter.model.bends import Placement
from converter.model.part import Part
from converter.progress import steps

if TYPE_CHECKING:
    from converter.kernel.step.write import StepItem

#: Of one part, so many tubes are looked at as what others are copies of; with more, the drawing's digits are too few.
_MOST_ORIGINALS = 8


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
