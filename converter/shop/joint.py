"""``[[joint]]`` of a job file: what a person wants of an end where the usual rules are not wanted."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, sqrt
from typing import Any

from converter.geometry.vectors import Vec
from converter.limits import WELD_GAP
from converter.names import fits
from converter.shop.schema import Field, Place, choice, length_or_zero, show, text, three_signed_lengths

KINDS = ("saddle", "square", "mitre", "plane", "none")


def _names(raw: Any, place: Place) -> tuple[str, ...]:
    """A list of one or more names."""
    if not isinstance(raw, list) or not raw:
        place.fail(f'must be a list of names, such as ["RAIL"], not {show(raw)}')
    return tuple(text(one, place.item(i)) for i, one in enumerate(raw))


def _direction(raw: Any, place: Place) -> Vec:
    """A list of three numbers that are not all zero, as a unit vector."""
    good = isinstance(raw, list) and len(raw) == 3
    if not good or any(isinstance(v, bool) or not isinstance(v, (int, float)) or not isfinite(v) for v in raw):
        place.fail(f"must be a list of three numbers, such as [0, 0, 1], not {show(raw)}")
    size = sqrt(sum(v * v for v in raw))
    if not 1e-9 < size < 1e9:
        place.fail("must be a direction: three numbers that are not all zero")
    return (raw[0] / size, raw[1] / size, raw[2] / size)


def _weld_gap(raw: Any, place: Place) -> float:
    """A length of zero or more that a weld may bridge, in mm."""
    gap = length_or_zero(raw, place)
    if gap > WELD_GAP:
        place.fail(f"must be a weld gap of 2 in (50.8 mm) at most, not {show(raw)}")
    return gap


JOINT = {
    "tube": Field(text, required=True),
    "end": Field(choice("A", "B")),
    "at": Field(three_signed_lengths),
    "kind": Field(choice(*KINDS)),
    "cope_to": Field(_names, default=()),
    "point": Field(three_signed_lengths),
    "normal": Field(_direction),
    "gap": Field(_weld_gap),
}


@dataclass(frozen=True, slots=True)
class JointChoice:
    """What a job file says of an end.

    Attributes:
        tube: name or pattern of the tube.
        end: 'A', 'B' or None for both.
        at: only ends near this point (mm), or None for all.
        kind: 'saddle', 'square' (on a flat), 'mitre', 'plane', 'none' (left as it is), or None for the usual rules.
        cope_to: names or patterns of the tubes it is cut to; () for the usual rules.
        point, normal: of the plane it ends on ('plane' only).
        gap: weld gap in mm, or None for the usual one.
    """

    tube: str
    end: str | None = None
    at: Vec | None = None
    kind: str | None = None
    cope_to: tuple[str, ...] = ()
    point: Vec | None = None
    normal: Vec | None = None
    gap: float | None = None

    def speaks_of(self, name: str, end: str) -> bool:
        """Whether it names this end (its place apart)."""
        return fits(self.tube, name) and self.end in (None, end)


def joint_choice(values: dict[str, Any], place: Place) -> JointChoice:
    """One ``[[joint]]``, contradictions refused.

    Raises:
        ShopError: it contradicts itself; with the key's path.
    """
    plane = values["kind"] == "plane"
    for key in ("point", "normal"):
        if plane and values[key] is None:
            place.key(key).fail("is missing: a plane needs a point and a normal")
        if not plane and values[key] is not None:
            place.key(key).fail('goes with kind = "plane" only')
    if values["cope_to"] and values["kind"] in ("plane", "none"):
        place.key("cope_to").fail(f'contradicts kind = "{values["kind"]}"')
    if values["kind"] == "mitre" and len(values["cope_to"]) > 1:
        place.key("cope_to").fail("must name one tube for a mitre")
    return JointChoice(**values)
