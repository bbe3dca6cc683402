"""Lengths as people type and read them; exact factors; nothing else converts units.

Inside the program every length is in millimetres. Importers and the command line turn
text and drawing units into millimetres with `parse_length` and `MM_PER`; exporters turn
millimetres into text with `Display`. The factors are exact by definition (the inch is
25.4 mm since the international yard and pound agreement of 1959).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import floor, gcd, isfinite, pi

from converter.errors import OptionError, UnitsError

#: Exact millimetres per unit, for every unit name we write.
MM_PER: dict[str, float] = {
    "um": 0.001,
    "mm": 1.0,
    "cm": 10.0,
    "dm": 100.0,
    "m": 1000.0,
    "km": 1_000_000.0,
    "mil": 0.0254,
    "in": 25.4,
    "ft": 304.8,
    "yd": 914.4,
    "mi": 1_609_344.0,
    # the rest of what a CAD file may name; light year and parsec by the IAU's definitions,
    # the US survey foot is 1200/3937 m
    "uin": 0.0000254,
    "angstrom": 1e-7,
    "nm": 1e-6,
    "dam": 10_000.0,
    "hm": 100_000.0,
    "Gm": 1e12,
    "AU": 149_597_870_700_000.0,
    "ly": 9_460_730_472_580_800_000.0,
    "pc": 149_597_870_700_000.0 * 648_000.0 / pi,
    "usin": 100_000.0 / 3937.0,
    "usft": 1_200_000.0 / 3937.0,
    "usyd": 3_600_000.0 / 3937.0,
    "usmi": 6_336_000_000.0 / 3937.0,
}

_INCH_BASED = frozenset(("uin", "mil", "in", "ft", "yd", "mi", "usin", "usft", "usyd", "usmi"))

#: The units a person may choose for an input or an output.
UNIT_CHOICES = ("mm", "cm", "m", "in", "ft")

_ALIASES = {
    '"': "in", "″": "in", "”": "in", "inch": "in", "inches": "in", "in.": "in", "''": "in",
    "'": "ft", "′": "ft", "’": "ft", "foot": "ft", "feet": "ft", "ft.": "ft",
    "millimetre": "mm", "millimeter": "mm", "millimetres": "mm", "millimeters": "mm",
    "centimetre": "cm", "centimeter": "cm", "centimetres": "cm", "centimeters": "cm",
    "metre": "m", "meter": "m", "metres": "m", "meters": "m",
    "thou": "mil", "mils": "mil", "yard": "yd", "yards": "yd", "µm": "um", "μm": "um", "micron": "um",
}  # fmt: skip

#: Longer than any length a person types; Python refuses to turn thousands of digits into a number.
MOST_CHARACTERS = 200

_DECIMAL = r"(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_NUMBER = (
    rf"(?:(?P<whole>\d+)(?:\s+|\s*-\s*)(?P<n1>\d+)\s*/\s*(?P<d1>\d+)|(?P<n2>\d+)\s*/\s*(?P<d2>\d+)|(?P<dec>{_DECIMAL}))"
)
_ONE = re.compile(rf"\s*(?P<sign>[+-]?)\s*{_NUMBER}\s*(?P<unit>[^\d\s./+-][^\d\s/+-]*)?\s*\Z")
_FEET = re.compile(r"\s*(?P<sign>[+-]?)\s*(?P<feet>\d+)\s*(?:'|′|’|ft\.?|feet|foot)\s*-?\s*(?P<rest>\d.*)\Z")


def unit_name(text: str) -> str:
    """The canonical name of a unit ('"' -> 'in', 'inches' -> 'in').

    Raises:
        UnitsError: the unit is unknown.
    """
    key = text.strip()
    for spelling in (key, key.lower()):
        name = _ALIASES.get(spelling, spelling)
        if name in MM_PER:
            return name
    raise UnitsError(f"Unknown unit {text.strip()[:40]!r}: use one of {', '.join(UNIT_CHOICES)}.", code="unknown-unit")


def parse_length(text: str | float, default_unit: str = "mm") -> float:
    """A length in mm from text such as ``1.75in``, ``1 3/4"``, ``5' 6-1/2"`` or ``44.45mm``.

    A bare number is in ``default_unit``. Fractions are exact before the one final rounding.

    Raises:
        UnitsError: it is not a finite length, or its unit is unknown.
    """
    default_unit = unit_name(default_unit)
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        return _finite(float(text) * MM_PER[default_unit], str(text))
    if not isinstance(text, str):
        raise UnitsError(f"{text!r} is not a length.")
    if len(text) > MOST_CHARACTERS:
        raise UnitsError(f"{text[:20]!r}… is not a length: it is {len(text)} characters long.")
    feet = _FEET.match(text)
    if feet:
        rest = parse_length(feet["rest"], "in")
        value = int(feet["feet"]) * MM_PER["ft"] + rest
        return _finite(-value if feet["sign"] == "-" else value, text)
    match = _ONE.match(text)
    if not match:
        raise UnitsError(f'{text.strip()[:60]!r} is not a length: write 1.75in, 1 3/4" or 44.45mm.')
    unit = unit_name(match["unit"]) if match["unit"] else default_unit
    if match["dec"] is not None:
        number = float(match["dec"])
    else:
        numerator, denominator = (match["n1"], match["d1"]) if match["n1"] else (match["n2"], match["d2"])
        if int(denominator) == 0:
            raise UnitsError(f"{text.strip()!r} divides by zero.")
        number = float(int(match["whole"] or 0) + Fraction(int(numerator), int(denominator)))
    value = number * MM_PER[unit]
    return _finite(-value if match["sign"] == "-" else value, text)


def _finite(value: float, text: str) -> float:
    if not isfinite(value):
        raise UnitsError(f"{text.strip()[:60]!r} is not a finite length.")
    return value


def fraction_text(inches: float, denominator: int) -> str:
    """Inches as whole and fraction, rounded half up to 1/denominator: 1.75 -> ``1-3/4``.

    Args:
        inches: any finite number.
        denominator: 2, 4, 8, 16, 32, 64 or 128.
    """
    if denominator < 1 or denominator > 128 or denominator & (denominator - 1):
        raise OptionError(f"The fraction must be a power of two up to 128, not {denominator}.")
    parts = floor(abs(inches) * denominator + 0.5)
    whole, rest = divmod(parts, denominator)
    sign = "-" if inches < 0 and parts else ""
    if not rest:
        return f"{sign}{whole}"
    divisor = gcd(rest, denominator)
    fraction = f"{rest // divisor}/{denominator // divisor}"
    return f"{sign}{whole}-{fraction}" if whole else f"{sign}{fraction}"


@dataclass(frozen=True, slots=True)
class Display:
    """How lengths and angles are written for a person.

    Attributes:
        unit: 'mm' or 'in'.
        denominator: write inches as fractions of this denominator; None for decimals.
    """

    unit: str = "mm"
    denominator: int | None = None

    def __post_init__(self) -> None:
        if self.unit not in ("mm", "in"):
            raise OptionError(f"Lengths are shown in mm or in, not {self.unit!r}.")
        if self.denominator is not None:
            if self.unit != "in":
                raise OptionError("Fractions go with inches: choose in, or leave the fraction out.")
            fraction_text(0.0, self.denominator)

    def number(self, mm: float) -> str:
        """The bare number: ``114.30`` (mm), ``4.500`` (in) or ``4-1/2`` (fractions)."""
        if self.unit == "mm":
            return _no_negative_zero(f"{mm:.2f}")
        if self.denominator:
            return fraction_text(mm / 25.4, self.denominator)
        return _no_negative_zero(f"{mm / 25.4:.3f}")

    def length(self, mm: float) -> str:
        """The number with its unit: ``114.30 mm`` or ``4.500 in``."""
        return f"{self.number(mm)} {self.unit}"

    def each(self, write: Callable[[Display], str]) -> str:
        """What ``write`` makes of this display; for text that depends on the unit in its own way."""
        return write(self)

    def angle(self, degrees: float) -> str:
        """Degrees to two decimals: ``90.00°``; half a turn is written ``180.00°`` from either side."""
        text = _no_negative_zero(f"{degrees:.2f}")
        return ("180.00" if text == "-180.00" else text) + "°"


#: Around a text written in both units: millimetres, inches (private-use characters, which no drawing's name keeps).
_OPEN, _BETWEEN, _CLOSE = "\ue0f0", "\ue0f1", "\ue0f2"
_WORDS = re.compile(f"(?:{_OPEN}[^{_CLOSE}]*{_CLOSE}|\\S)+")
_PAIR = re.compile(f"{_OPEN}([^{_OPEN}{_BETWEEN}{_CLOSE}]*){_BETWEEN}([^{_OPEN}{_BETWEEN}{_CLOSE}]*){_CLOSE}")


@dataclass(frozen=True, slots=True)
class BothUnits(Display):
    """Writes every length in both units at once, for pages whose reader chooses; see `in_unit` and `pieces`.

    ``unit`` is the one shown first; ``denominator`` is None, fractions of an inch are told by ``fraction``.

    Attributes:
        fraction: write the inches as fractions of this denominator; None for decimals.
    """

    fraction: int | None = None

    def __post_init__(self) -> None:
        Display.__post_init__(Display(self.unit, self.denominator))
        Display("in", self.fraction)

    @property
    def alone(self) -> tuple[Display, Display]:
        """The display in millimetres and the one in inches."""
        return Display("mm"), Display("in", self.fraction)

    @property
    def preferred(self) -> Display:
        """The display in the unit shown first."""
        return self.alone[0 if self.unit == "mm" else 1]

    def number(self, mm: float) -> str:
        """The bare number, in both units."""
        return self.each(lambda one: one.number(mm))

    def length(self, mm: float) -> str:
        """The number with its unit, in both units."""
        return self.each(lambda one: one.length(mm))

    def each(self, write: Callable[[Display], str]) -> str:
        """What ``write`` makes of either display; once where both are the same."""
        metric, inch = (write(one) for one in self.alone)
        return metric if metric == inch else f"{_OPEN}{metric}{_BETWEEN}{inch}{_CLOSE}"


def in_unit(text: str, unit: str) -> str:
    """A text of `BothUnits` in one unit, 'mm' or 'in'; any other text as it is."""
    return _PAIR.sub(r"\1" if unit == "mm" else r"\2", text) if _OPEN in text else text


def words(text: str) -> list[str]:
    """A text cut at its blanks, but never within what `BothUnits` wrote."""
    return _WORDS.findall(text)


def pieces(text: str) -> list[tuple[str, str]]:
    """A text of `BothUnits` cut up: (millimetres, inches) in turn, the same twice where both agree."""
    found, at = [], 0
    for match in _PAIR.finditer(text):
        if match.start() > at:
            found.append((text[at : match.start()],) * 2)
        found.append((match[1], match[2]))
        at = match.end()
    return [*found, (text[at:],) * 2] if at < len(text) else found


def _no_negative_zero(text: str) -> str:
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def shown_unit(unit: str | None) -> str:
    """The unit to show lengths in for something measured in ``unit``: 'in' for inch-based units, else 'mm'."""
    return "in" if unit in _INCH_BASED else "mm"


def usual_display(unit: str | None) -> Display:
    """How lengths are shown for something measured in ``unit`` when nobody asks otherwise."""
    return Display(shown_unit(unit))


def place_text(point: Iterable[float], display: Display) -> str:
    """A place in mm for a sentence: ``(100.00, 0.00, 25.40) mm``."""
    values = tuple(point)
    return display.each(lambda one: f"({', '.join(map(one.number, values))}) {one.unit}")


def fine_length(mm: float, display: Display) -> str:
    """A length that may be far below what is shown elsewhere: ``0.0123 mm`` or ``0.00048 in``."""
    return display.each(lambda one: f"{mm:.4f} mm" if one.unit == "mm" else f"{mm / 25.4:.5f} in")


def small_length(mm: float, display: Display) -> str:
    """A length of any size with three significant digits: ``0.00012 mm``."""
    return display.each(lambda one: f"{mm / 25.4:.3g} in" if one.unit == "in" else f"{mm:.3g} mm")
