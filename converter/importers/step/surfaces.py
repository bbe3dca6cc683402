"""Surface models whose faces are parts of their own: those of one tube put together again.

Some programs write every face or shell as a part, or a tube's outside and its bore as two. A part that gives no tube,
or one without a wall, is looked at again together with the parts that it touches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from converter.findings import Clause, Finding
from converter.geometry.vectors import Vec, along
from converter.model.bends import Placement
from converter.model.centerline import rebuild
from converter.model.curve import Line
from converter.model.drawing import DrawnCurve, Ignored, ReadyTable
from converter.tolerances import DEFAULT

if TYPE_CHECKING:
    from converter.kernel.step.parts import StepBody
    from converter.kernel.step.tree import Instance


@dataclass(slots=True)
class KnownBody:
    """What was found in a body the first time it was met, what it was called, and where it stood then.

    Attributes:
        name, matrix: see above.
        tables, ignored: its tubes, and what of it is none.
        spine: the centerline of the tube that it is, where that is a free curve; then no more is ignored.
        bare: it holds triangles and no surfaces.
    """

    name: str
    matrix: Any
    tables: list[ReadyTable]
    ignored: list[Ignored]
    spine: DrawnCurve | None = None
    bare: bool = False


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
    """Whether loose faces may be a part of a tube only: no tube, one whose wall is not known, or a bar, whose closed
    skin may be the outside or the bore of a tube with both ends closed."""
    return not tables or any(table.section is None or not table.section.kind.hollow for table in tables)


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


def joined_tubes(
    group: Sequence[PlacedBody], *, take_all: bool = False
) -> tuple[list[ReadyTable], list[Ignored]] | None:
    """The tubes of several bodies together, in place, and what they are where they are none.

    Args:
        group: bodies that touch.
        take_all: take for stock also what looks like none.

    Returns:
        None where that tells no more than each of them by itself.
    """
    from functools import partial

    from converter.importers.solids.read import find_tubes
    from converter.kernel.step.labels import best_name
    from converter.kernel.step.places import recognise_together

    if len(group) < 2:
        return None
    shapes = [(placed.body.shape, placed.instance.location) for placed in group]
    tables, ignored = recognise_together(
        partial(find_tubes, take_all=take_all), shapes, best_name(*(p.name for p in group)), DEFAULT
    )
    alone = [table for placed in group for table in placed.survey.tables]
    if not tables:
        holes = alone and all(map(_is_short, alone))  # holes and bosses of what they are together
        return ([], ignored) if holes and ignored else None
    skins = [sum(table.section is None for table in some) for some in (tables, alone)]
    if alone and len(tables) >= len(alone) and skins[0] >= skins[1]:
        return None
    told = Finding("solid-joined", measured=float(len(group)), values={"count": len(group)})
    return [_of_parts(table, group, told) for table in tables], []


#: What a part of a tube that is split along it is taken for by itself.
_PARTS = ("solid-half", "solid-channel-profile", "solid-half-square", "solid-other-profile")


def may_be_half(tables: Sequence[ReadyTable], ignored: Sequence[Ignored]) -> str | None:
    """As what a body that is no tube may be a part of one that is split along it; None where it may not."""
    if tables or len(ignored) != 1 or not isinstance(ignored[0].why, Clause):
        return None
    why = dict(ignored[0].why.values).get("why")
    return why.name if isinstance(why, Clause) and why.name in _PARTS else None


#: Solids that touch beyond which they are no halves of one tube.
_MOST_HALVES = 8


def joined_halves(group: Sequence[PlacedBody]) -> tuple[list[ReadyTable], list[Ignored]] | None:
    """The tubes that solids make which touch and are none by themselves: halves of what is split along it, in place.

    Returns:
        None where they make none, or more than every second of them.
    """
    from converter.importers.solids.halves import tubes_of_halves
    from converter.kernel.step.labels import best_name
    from converter.kernel.step.places import recognise_together

    kinds = {may_be_half(placed.survey.tables, placed.survey.ignored) for placed in group}
    # channels are stock of their own: two of them alone may be a square tube in halves
    if not 2 <= len(group) <= (_MOST_HALVES if kinds == {"solid-half"} else 2):
        return None
    shapes = [(placed.body.shape, placed.instance.location) for placed in group]
    tables, _ = recognise_together(tubes_of_halves, shapes, best_name(*(p.name for p in group)), DEFAULT)
    if not tables or 2 * len(tables) > len(group):
        return None
    told = Finding("solid-joined", variant="halves", measured=float(len(group)), values={"count": len(group)})
    return [_of_parts(table, group, told) for table in tables], []


def _is_short(table: ReadyTable) -> bool:
    from converter.importers.solids.reasons import STUB_AMONG_OTHERS

    od = max((f.measured or 0.0 for f in table.findings if f.code == "solid-skin"), default=0.0)
    return table.section is None and table.table.developed_length < STUB_AMONG_OTHERS * od


def _of_parts(table: ReadyTable, group: Sequence[PlacedBody], told: Finding) -> ReadyTable:
    """A table with name and layer of the first part about the middle of its longest straight or bend."""
    from converter.kernel.step.places import box_of

    longest = max(rebuild(table.table, table.placement or Placement()), key=lambda s: s.length)
    middle = (
        along(longest.start, longest.direction, longest.length / 2.0)
        if isinstance(longest, Line)
        else longest.point(longest.angle / 2.0)
    )
    boxes = ((placed, box_of(placed.body.shape, placed.instance.location)) for placed in group)
    part = next((placed for placed, box in boxes if _touch(box, (middle, middle))), group[0])
    # what are parts of the file is no one body
    findings = tuple(f for f in table.findings if f.code != "solid-fused")
    told = replace(told, tube=part.name)
    return replace(table, name=part.name, layer=table.layer or part.layer, findings=(*findings, told))
