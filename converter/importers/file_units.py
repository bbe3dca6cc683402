"""The unit that a file of shapes names, and whether the sizes of its tubes bear it out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from converter.errors import OptionError
from converter.findings import Clause, Finding
from converter.model.drawing import Drawing, HeaderUnit
from converter.quoting import quoted
from converter.shop.consistency import LEAST_TUBE, MOST_TUBE
from converter.tolerances import PAST_LENGTH
from converter.units import MM_PER, unit_word

if TYPE_CHECKING:
    from converter.kernel.step.units import Unit

#: Units that a file's numbers may be in, the likeliest first.
_LIKELY = ("mm", "m", "in", "cm")
#: How far beyond all tube that is bent straight tube must be in a file that names its unit: pipes are wider than what
#: is bent. Common practice, no source.
_STRAIGHT = 4.0


class HasUnits(Protocol):
    """What a kernel's file says of lengths; see `converter.kernel.step.read.StepSession`."""

    @property
    def name(self) -> str:
        """What messages call the file."""
        ...

    @property
    def units(self) -> list[Unit]:
        """Its length units, each once."""
        ...

    @property
    def unitless(self) -> bool:
        """Whether some shape has none."""
        ...


@dataclass(frozen=True, slots=True)
class HeaderUnits:
    """The length units of a file that names one for all, or none."""

    name: str
    units: list[Unit] = field(default_factory=list)
    unitless: bool = False


def settle_units(session: HasUnits, asked: str | None, drawing: Drawing) -> float:
    """Set the drawing's units, say what must be said, and give the factor on the kernel's millimetres."""
    stated = session.units
    called = [ours or word for word, ours, _ in stated]
    if len(stated) == 1 and not session.unitless:
        drawing.units = called[0]
    drawing.read_as = asked or (called[0] if len(stated) == 1 else "mm")
    if asked is None:
        if session.unitless:
            drawing.findings.append(no_unit_finding(called))
        elif len(stated) == 1 and called[0] in MM_PER:
            drawing.header = HeaderUnit(called[0])
        return 1.0
    if len(stated) > 1 or (stated and session.unitless):
        both = " and ".join([*called, *(["no unit"] if session.unitless else [])])
        raise OptionError(
            f"{session.name} has shapes in {both}, so one unit cannot stand for all: leave the units option out.",
            code="mixed-units",
            file=session.name,
        )
    if not stated:
        return MM_PER[asked]
    word, ours, factor = stated[0]
    if factor is None:
        raise OptionError(
            f"{session.name} names the unit {quoted(word)}, which is not known, so it cannot be "
            "overridden: leave the units option out.",
            code="unknown-unit",
            file=session.name,
        )
    if ours != asked:
        drawing.findings.append(
            Finding("units-overridden", values={"stated": unit_word(ours or word), "read_as": unit_word(asked)})
        )
    return MM_PER[asked] / factor


def no_unit_finding(called: Sequence[str]) -> Finding:
    """Of shapes that name no unit; ``called``: the units of those that do."""
    return Finding("units-assumed", variant="some shapes" if called else "file", values={"others": tuple(called)})


def size_doubt(tubes: Sequence[tuple[float, int]], read_as: str, stated: bool) -> Finding | None:
    """The doubt where every tube is narrower, or every one wider, than tube is, and would be tube in another unit.

    Args:
        tubes: outside size (the greater one, mm) and number of bends of each.
        read_as: the unit their numbers were read in.
        stated: whether the file names that unit.
    """
    if not tubes:
        return None
    sizes = [size for size, _ in tubes]
    widest = MOST_TUBE * (_STRAIGHT if stated and not any(bends for _, bends in tubes) else 1.0)
    least, most = min(sizes), max(sizes)
    if most >= LEAST_TUBE - PAST_LENGTH and least <= widest + PAST_LENGTH:
        return None
    size = most if most < LEAST_TUBE else least
    others = [
        (other, k)
        for other in _LIKELY
        if other != read_as and least * (k := MM_PER[other] / MM_PER[read_as]) >= LEAST_TUBE and most * k <= MOST_TUBE
    ]
    if not others:
        return None
    readings = tuple(Clause.of("size-read-in", other=unit_word(other), od=size * k) for other, k in others)
    values = {"own": unit_word(read_as), "od": size, "others": readings, "unit": others[0][0], "stay": read_as}
    return Finding("units-doubted", variant="sizes", measured=size, unit="mm", values=values)
