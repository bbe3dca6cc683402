"""What stands around the bender besides floor, ceiling and walls: boxes, in machine coordinates.

Machine coordinates: the origin is the centre of the bend (the die's axis), x points ahead (the way the
stick is fed), z up, y to the left of someone who looks ahead. docs/sweep.md shows it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Any

from converter.errors import GeometryError
from converter.geometry.vectors import Vec
from converter.quoting import quoted
from converter.shop.schema import Field, Place, text, three_signed_lengths

#: One [[machine.box]] of the shop file.
BOX = {
    "name": Field(text),
    "low": Field(three_signed_lengths, required=True),
    "high": Field(three_signed_lengths, required=True),
}


@dataclass(frozen=True, slots=True)
class Box:
    """A block that no tube may touch.

    Attributes:
        name: what a message calls it.
        low, high: opposite corners in machine coordinates, mm; every coordinate of ``low`` is the lesser.
    """

    name: str
    low: Vec
    high: Vec

    def __post_init__(self) -> None:
        if not all(isfinite(v) for v in (*self.low, *self.high)):
            raise GeometryError(
                f"the box {quoted(self.name)} has a corner that is not a finite number", code="not-finite"
            )
        if not all(a < b for a, b in zip(self.low, self.high, strict=True)):
            raise GeometryError(f"the box {quoted(self.name)} needs a low corner below its high corner in x, y and z")


def machine_values(values: dict[str, Any], place: Place) -> dict[str, Any]:
    """The arguments of a `Machine` from the table's values: contradictions refused, boxes made.

    Raises:
        ShopError: a box is turned inside out, the bend goes where its plane does not, or the ceiling
            is no higher than the pivot.
    """
    made = dict(values)
    boxes = []
    for i, box in enumerate(made.pop("box")):
        where = place.key("box").item(i)
        name = box["name"] or f"box {i + 1}"
        for axis, low, high in zip("xyz", box["low"], box["high"], strict=True):
            if not low < high:
                where.fail(f"has a low {axis} that is not below its high {axis}: write the lesser corner as low")
        boxes.append(Box(name, box["low"], box["high"]))
    plane, to = made["plane"], made["bends_to"]
    if to is not None:
        needed = "vertical" if to in ("up", "down") else "horizontal"
        if plane != needed:
            place.key("bends_to").fail(f'is "{to}", which goes with plane = "{needed}"')
    pivot, ceiling = made["pivot_height"], made["ceiling"]
    if pivot is not None and ceiling is not None and ceiling <= pivot:
        place.key("ceiling").fail("is not above pivot_height: both are measured from the floor")
    return {**made, "boxes": tuple(boxes)}
