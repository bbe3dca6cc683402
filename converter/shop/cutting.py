"""What a shop's cut-off saw takes of a bar, and which drops it keeps: ``[saw]`` of its file."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from converter.nesting.model import Saw
from converter.shop.schema import Field, length, length_or_zero, number
from converter.tolerances import MOST_MITRE

#: mm; of an ordinary cut-off saw, and the shortest drop worth a place on the rack (common practice, no source).
KERF, KEEP = 3.0, 300.0
SAW = {
    "kerf": Field(length_or_zero),
    "trim": Field(length_or_zero, default=0.0),
    "grip": Field(length_or_zero, default=0.0),
    "keep": Field(length, default=KEEP),
    "mitre": Field(number(0.0, MOST_MITRE, "an angle in degrees"), default=0.0),
}


@dataclass(frozen=True, slots=True)
class Cutting:
    """How a shop cuts bars to length.

    Attributes:
        saw: what cutting takes of a bar, mm.
        keep: the shortest drop that goes back to the rack, mm.
        is_given: whether the shop file says how wide its saw cuts.
        mitre: how far it turns from square where mitred ends are cut back to back, degrees; 0 for a saw that does not.
    """

    saw: Saw = field(default_factory=lambda: Saw(kerf=KERF))
    keep: float = KEEP
    is_given: bool = False
    mitre: float = 0.0


def cutting_of(values: dict[str, Any]) -> Cutting:
    """``[saw]`` of a shop file."""
    kerf = values["kerf"]
    saw = Saw(KERF if kerf is None else kerf, values["trim"], values["grip"])
    return Cutting(saw, values["keep"], kerf is not None, values["mitre"])
