"""How far a made tube may be off: the shop's own limits, or general tolerances of published standards.

Values of the standards are from memory; a drawing that names one is judged by the standard's own text.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

Table = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of deviation, each a function of a nominal length in mm; None where it says nothing.

    Attributes:
        name: as a person names it.
        source: what it is taken from, in words.
        length: mm, by the length that is measured.
        angle: degrees, by the shorter leg of the angle.
    """

    name: str
    source: str
    length: Callable[[float], float | None]
    angle: Callable[[float], float | None]


def of_shop(length: float | None, angle: float | None) -> Limits:
    """The shop's own limits, the same at every length."""
    return Limits("shop", "the shop's own limits", lambda _: length, lambda _: angle)


def _steps(rows: Table) -> Callable[[float], float | None]:
    """A value by length: that of the first row whose length is not below it."""

    def value(length: float) -> float | None:
        return next((limit for most, limit in rows if length <= most), None)

    return value


def _minutes(*rows: tuple[float, float]) -> Table:
    return tuple((most, minutes / 60.0) for most, minutes in rows)


_UP_TO = (3.0, 6.0, 30.0, 120.0, 400.0, 1000.0, 2000.0, 4000.0)
_ISO_2768 = {
    "f": ((0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5), (60, 30, 20, 10, 5)),
    "m": ((0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2.0), (60, 30, 20, 10, 5)),
    "c": ((0.2, 0.3, 0.5, 0.8, 1.2, 2.0, 3.0, 4.0), (90, 60, 30, 15, 10)),
    "v": ((None, 0.5, 1.0, 1.5, 2.5, 4.0, 6.0, 8.0), (180, 120, 60, 30, 20)),
}
_LEGS = (10.0, 50.0, 120.0, 400.0, inf)
_ISO_13920_UP_TO = (30.0, 120.0, 400.0, 1000.0, 2000.0, 4000.0, 8000.0, 12000.0, 16000.0, 20000.0, inf)
_ISO_13920 = {
    "a": ((1, 1, 1, 2, 3, 4, 5, 6, 7, 8, 9), (20, 15, 10)),
    "b": ((1, 2, 2, 3, 4, 6, 8, 10, 12, 14, 16), (45, 30, 20)),
    "c": ((1, 3, 4, 6, 8, 11, 14, 18, 21, 24, 27), (60, 45, 30)),
    "d": ((1, 4, 7, 9, 12, 16, 21, 27, 32, 36, 40), (90, 75, 60)),
}
_ISO_13920_LEGS = (400.0, 1000.0, inf)


def _published() -> dict[str, Limits]:
    found: dict[str, Limits] = {}
    for letter, (lengths, minutes) in _ISO_2768.items():
        rows = tuple((most, limit) for most, limit in zip(_UP_TO, lengths, strict=False) if limit is not None)
        source = f"ISO 2768-1, tolerance class {letter}, linear and angular dimensions (from memory)"
        legs = _minutes(*zip(_LEGS, minutes, strict=True))
        found[f"iso2768-{letter}"] = Limits(f"iso2768-{letter}", source, _steps(rows), _steps(legs))
    for letter, (mm, by_leg) in _ISO_13920.items():
        rows = tuple(zip(_ISO_13920_UP_TO, map(float, mm), strict=True))
        source = f"ISO 13920, class {letter.upper()}, welded constructions (from memory)"
        legs = _minutes(*zip(_ISO_13920_LEGS, by_leg, strict=True))
        found[f"iso13920-{letter}"] = Limits(f"iso13920-{letter}", source, _steps(rows), _steps(legs))
    return found


#: Published general tolerances by the name that a person types.
PUBLISHED: dict[str, Limits] = _published()
