"""Pipe sizes NPS 1/8 to 12: outside diameters and schedule walls.

The inch columns of ASME B36.10M (numbered schedules, STD, XS, XXS) and ASME B36.19M
(5S, 10S, 40S, 80S), written from memory; a test compares every entry with a general
fluid-mechanics reference library, which holds the standards' rounded metric columns.
Inches are used because the metric columns are rounded from them.

NPS is a name, not a measurement: NPS 1-1/4 pipe is 1.660 in outside.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from converter.errors import OptionError
from converter.quoting import shortened
from converter.units import fraction_text

#: Nominal size in inches -> outside diameter in inches.
OUTSIDE: dict[Fraction, float] = {
    Fraction(1, 8): 0.405,
    Fraction(1, 4): 0.540,
    Fraction(3, 8): 0.675,
    Fraction(1, 2): 0.840,
    Fraction(3, 4): 1.050,
    Fraction(1): 1.315,
    Fraction(5, 4): 1.660,
    Fraction(3, 2): 1.900,
    Fraction(2): 2.375,
    Fraction(5, 2): 2.875,
    Fraction(3): 3.500,
    Fraction(7, 2): 4.000,
    Fraction(4): 4.500,
    Fraction(5): 5.563,
    Fraction(6): 6.625,
    Fraction(8): 8.625,
    Fraction(10): 10.750,
    Fraction(12): 12.750,
}

#: Metric size designation (ISO 6708 DN) -> nominal size in inches.
DN: dict[int, Fraction] = dict(
    zip((6, 8, 10, 15, 20, 25, 32, 40, 50, 65, 80, 90, 100, 125, 150, 200, 250, 300), OUTSIDE, strict=True)
)

_SIZES = tuple(OUTSIDE)


def _from(first: str, *walls: float | None) -> dict[Fraction, float]:
    """Walls in inches for consecutive nominal sizes from ``first`` on; None where the standard has none."""
    start = _SIZES.index(Fraction(first))
    return {size: wall for size, wall in zip(_SIZES[start:], walls, strict=False) if wall is not None}


_STD = _from(
    "1/8", 0.068, 0.088, 0.091, 0.109, 0.113, 0.133, 0.140, 0.145, 0.154, 0.203, 0.216, 0.226, 0.237, 0.258, 0.280,
    0.322, 0.365, 0.375,
)  # fmt: skip
_XS = _from(
    "1/8", 0.095, 0.119, 0.126, 0.147, 0.154, 0.179, 0.191, 0.200, 0.218, 0.276, 0.300, 0.318, 0.337, 0.375, 0.432,
    0.500, 0.500, 0.500,
)  # fmt: skip
_5 = _from(
    "1/2", 0.065, 0.065, 0.065, 0.065, 0.065, 0.065, 0.083, 0.083, 0.083, 0.083, 0.109, 0.109, 0.109, 0.134, 0.156
)
_10 = _from(
    "1/8", 0.049, 0.065, 0.065, 0.083, 0.083, 0.109, 0.109, 0.109, 0.109, 0.120, 0.120, 0.120, 0.120, 0.134, 0.134,
    0.148, 0.165, 0.180,
)  # fmt: skip

#: Schedule -> nominal size -> wall in inches.
SCHEDULES: dict[str, dict[Fraction, float]] = {
    "5": _5,
    "10": _10,
    "20": _from("8", 0.250, 0.250, 0.250),
    "30": _from(
        "1/8", 0.057, 0.073, 0.073, 0.095, 0.095, 0.114, 0.117, 0.125, 0.125, 0.188, 0.188, 0.188, 0.188, None, None,
        0.277, 0.307, 0.330,
    ),
    "40": {**_STD, Fraction(12): 0.406},
    "60": _from("8", 0.406, 0.500, 0.562),
    "80": {**_XS, Fraction(10): 0.594, Fraction(12): 0.688},
    "100": _from("8", 0.594, 0.719, 0.844),
    "120": _from("4", 0.438, 0.500, 0.562, 0.719, 0.844, 1.000),
    "140": _from("8", 0.812, 1.000, 1.125),
    "160": _from(
        "1/2", 0.188, 0.219, 0.250, 0.250, 0.281, 0.344, 0.375, 0.438, None, 0.531, 0.625, 0.719, 0.906, 1.125, 1.312
    ),
    "STD": _STD,
    "XS": _XS,
    "XXS": _from(
        "1/2", 0.294, 0.308, 0.358, 0.382, 0.400, 0.436, 0.552, 0.600, None, 0.674, 0.750, 0.864, 0.875, 1.000, 1.000
    ),
    "5S": _5,
    "10S": _10,
    "40S": _STD,
    "80S": _XS,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Pipe:
    """One pipe size.

    Attributes:
        nps: nominal size in inches.
        schedule: a key of `SCHEDULES`.
        od, wall: inches, as the standard writes them.
    """

    nps: Fraction
    schedule: str
    od: float
    wall: float

    @property
    def label(self) -> str:
        """As people call it: ``NPS 1-1/4 sch 40``, ``NPS 2 XS``."""
        schedule = f"sch {self.schedule}" if self.schedule[0].isdigit() else self.schedule
        return f"NPS {size_text(self.nps)} {schedule}"


def size_text(nps: Fraction) -> str:
    """A nominal size as it is written: 5/4 -> ``1-1/4``."""
    return fraction_text(float(nps), 8)


def nominal(text: str) -> Fraction:
    """The nominal size that ``1-1/4``, ``1 1/4``, ``1.25`` or ``3/8`` names.

    Raises:
        OptionError: no pipe of that nominal size is known.
    """
    words = re.fullmatch(r"(?:(\d{1,3})[\s-]+)?(\d{1,3})\s*/\s*(\d{1,3})", text.strip())
    size = None
    if words and int(words[3]):
        size = int(words[1] or 0) + Fraction(int(words[2]), int(words[3]))
    elif re.fullmatch(r"\d{1,3}(?:\.\d{0,4})?|\.\d{1,4}", text.strip()):
        size = Fraction(text.strip().rstrip("."))
    if size not in OUTSIDE:
        sizes = ", ".join(size_text(known) for known in OUTSIDE)
        raise OptionError(f"There is no pipe size NPS {shortened(text, 20)}: the sizes known are {sizes}.")
    return size


def pipe(nps: Fraction, schedule: str) -> Pipe:
    """The pipe of a nominal size and schedule.

    Args:
        nps: a key of `OUTSIDE`.
        schedule: a key of `SCHEDULES`, in any case.

    Raises:
        OptionError: the size has no such schedule; the message lists those it has.
    """
    name = schedule.strip().upper()
    wall = SCHEDULES.get(name, {}).get(nps)
    if wall is None:
        listed = ", ".join(key for key, sizes in SCHEDULES.items() if nps in sizes)
        raise OptionError(f"NPS {size_text(nps)} has no schedule {shortened(schedule, 20)}: it has {listed}.")
    return Pipe(nps, name, OUTSIDE[nps], wall)
