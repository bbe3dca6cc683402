"""A part: tubes that come out equal, made once so many times."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass, replace

from converter.geometry.vectors import within_half_turn
from converter.model.run import Tube

#: degrees by which a bend and its mirror image may be turned apart and count as turned alike.
_SAME_PLANE = 0.01


@dataclass(frozen=True, slots=True)
class Part:
    """Equal tubes: the same metal, wherever each stands and whichever end it was drawn from.

    Attributes:
        name: unique among the parts of a job; of a single tube its own.
        tubes: in the order drawn; the first one stands for all. Of a part that is shown in part, those shown.
        quantity: how many tubes of the job are of this part, shown or not.
        turned: names of tubes that were drawn from the other end: their end A is the first one's end B.
        mirror_of: name of the part whose mirror image this is, or None.
        mirrored_by: name of the part that is its mirror image and comes later, or None.
        mirror_turned: whether the first tube's end A is end B of the part that it mirrors.
    """

    name: str
    tubes: tuple[Tube, ...]
    quantity: int
    turned: frozenset[str] = frozenset()
    mirror_of: str | None = None
    mirrored_by: str | None = None
    mirror_turned: bool = False

    @property
    def first(self) -> Tube:
        """The tube that stands for all."""
        return self.tubes[0]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of its tubes, in the order drawn."""
        return tuple(tube.name for tube in self.tubes)

    @property
    def is_flat(self) -> bool:
        """Whether its bends lie in one plane, so that its mirror image is bent alike: only cuts and holes differ."""
        return all(abs(within_half_turn(2.0 * bend.rotation)) <= _SAME_PLANE for bend in self.first.run.table.bends)

    def only(self, names: Container[str]) -> Part | None:
        """The same part with only the tubes of these names, or None without any.

        Where its first tube is not among them and the next one was drawn from the other end, ends count from that one.
        """
        kept = tuple(tube for tube in self.tubes if tube.name in names)
        if len(kept) == len(self.tubes):
            return self
        if not kept:
            return None
        turned, mirror_turned = self.turned & {tube.name for tube in kept}, self.mirror_turned
        if kept[0].name in turned:
            turned, mirror_turned = frozenset(tube.name for tube in kept) - turned, not mirror_turned
        return replace(self, tubes=kept, turned=turned, mirror_turned=mirror_turned)

    def end_of(self, name: str, end: str) -> str:
        """Which end of the first tube an end of another is: 'A' or 'B'."""
        return {"A": "B", "B": "A"}[end] if name in self.turned else end

    def bend_of(self, name: str, bend: int) -> int:
        """Which bend of the first tube a bend of another is, 1-based."""
        return len(self.first.run.table.bends) + 1 - bend if name in self.turned else bend


def part_names(names: Sequence[str], groups: Sequence[Sequence[int]]) -> list[str]:
    """A name for every part: what its tubes' names share before their numbers, where no other tube's name begins so.

    Args:
        names: of all tubes of the job.
        groups: the tubes of every part, counted from 0.
    """
    taken, parts_of_stem = set(names), dict[str, set[int]]()
    for number, group in enumerate(groups):
        for tube in group:
            parts_of_stem.setdefault(_stem(names[tube]), set()).add(number)
    found = []
    for group in groups:
        stem = _stem(names[group[0]])
        shared = len(group) > 1 and all(_stem(names[tube]) == stem for tube in group)
        own = shared and stem and stem not in taken and len(parts_of_stem[stem]) == 1
        found.append(stem if own else names[group[0]])
    return found


def _stem(name: str) -> str:
    """A name without the number at its end: ``PICKET`` of ``PICKET-7``."""
    bare = name.rstrip("0123456789")
    return bare if bare == name else bare.rstrip("-_. #")
