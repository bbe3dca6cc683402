"""Surface models whose faces are parts of their own: those of one tube put together again.

Some programs write every face or shell as a part, or a tube's outside and its bore as two. A part that gives no tube,
or one without a wall, is looked at again together with the parts that it touches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from converter.findings import Finding
from converter.geometry.vectors import Vec
from converter.model.drawing import Ignored, ReadyTable
from converter.tolerances import DEFAULT

if TYPE_CHECKING:
    from converter.kernel.step.parts import StepBody
    from converter.kernel.step.tree import Instance


@dataclass(slots=True)
class KnownBody:
    """What was found in a body the first time it was met, what it was called, and where it stood then."""

    name: str
    matrix: Any
    tables: list[ReadyTable]
    ignored: list[Ignored]


@dataclass(frozen=True, slots=True)
class PlacedBody:
    """A body in one place.

    Attributes:
        number: of the placed part that it belongs to.
        instance, body: where it stands, what it is.
        name, layer: of its tubes.
        survey: what was found in it where it was met first.
        motion: (3, 4) from there to here, None for none.
    """

    number: int
    instance: Instance
    body: StepBody
    name: str
    layer: str | None
    survey: KnownBody
    motion: Any


def is_in_parts(tables: Sequence[ReadyTable]) -> bool:
    """Whether loose faces may be a part of a tube only: no tube, or one whose wall is not known."""
    return not tables or any(table.section is None for table in tables)


def touching(bodies: Sequence[PlacedBody]) -> list[list[PlacedBody]]:
    """Bodies whose boxes touch or overlap, together, in the order met."""
    from converter.kernel.step.places import box_of

    boxes = [box_of(placed.body.shape, placed.instance.location) for placed in bodies]
    group = list(range(len(bodies)))

    def root(k: int) -> int:
        while group[k] != k:
            group[k] = group[group[k]]
            k = group[k]
        return k

    order = sorted((k for k, box in enumerate(boxes) if box), key=lambda k: _low(boxes[k]))
    active: list[int] = []
    for k in order:
        box = boxes[k]
        active = [j for j in active if _high(boxes[j]) >= _low(box) - DEFAULT.join]
        for j in active:
            if _touch(boxes[j], box):
                first, second = sorted((root(j), root(k)))
                group[second] = first
        active.append(k)
    found: dict[int, list[PlacedBody]] = {}
    for k, placed in enumerate(bodies):
        found.setdefault(root(k), []).append(placed)
    return list(found.values())


def _low(box: tuple[Vec, Vec] | None) -> float:
    return box[0][0] if box else 0.0


def _high(box: tuple[Vec, Vec] | None) -> float:
    return box[1][0] if box else 0.0


def _touch(a: tuple[Vec, Vec] | None, b: tuple[Vec, Vec] | None) -> bool:
    return (
        a is not None
        and b is not None
        and all(p <= q + DEFAULT.join for p, q in zip(a[0], b[1], strict=True))
        and all(p <= q + DEFAULT.join for p, q in zip(b[0], a[1], strict=True))
    )


def joined_tubes(group: Sequence[PlacedBody]) -> list[ReadyTable]:
    """The tubes of several bodies together, in place; none where that tells no more than each by itself."""
    from converter.importers.solids.read import find_tubes
    from converter.kernel.step.labels import best_name
    from converter.kernel.step.places import recognise_together

    if len(group) < 2:
        return []
    shapes = [(placed.body.shape, placed.instance.location) for placed in group]
    tables, _ = recognise_together(find_tubes, shapes, best_name(*(p.name for p in group)), DEFAULT)
    alone = [table for placed in group for table in placed.survey.tables]
    skins = [sum(table.section is None for table in some) for some in (tables, alone)]
    if not tables or (alone and len(tables) >= len(alone) and skins[0] >= skins[1]):
        return []
    told = Finding("solid-joined", measured=float(len(group)), values={"count": len(group)})
    layer = next((placed.layer for placed in group if placed.layer), None)
    return [replace(t, layer=t.layer or layer, findings=(*t.findings, replace(told, tube=t.name))) for t in tables]
