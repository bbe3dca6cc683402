"""Lengths as people type and read them; exact factors; nothing else converts units.

Inside the program every length is in millimetres. Importers and the command line turn
text and drawing units into millimetres with `parse_length` and `MM_PER`; exporters turn
millimetres into text with `Display`. The factors are exact by definition (the inch is
25.4 mm since the international yard and pound agreement of 1959).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor, gcd, inf, isfinite, pi
from os import urandom

from converter.errors import OptionError, UnitsError
from converter.limits import FARTHEST
from converter.quoting import quoted

#: Kilograms in an avoirdupois pound, exact by definition (international yard and pound agreement, 1959).
KG_PER_LB = 0.45359237
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

#: Units of the inch's system; the others are metric.
IMPERIAL = frozenset(("uin", "mil", "in", "ft", "yd", "mi", "usin", "usft", "usyd", "usmi"))

#: Newton metres per pound-force foot, exact.
NM_PER_LBF_FT = 1.3558179483314004

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

_DECIMAL = r"(?:\d++(?:\.\d*+)?|\.\d++)(?:[eE][+-]?\d++)?"
_NUMBER = (
    r"(?:(?P<whole>\d++)(?:\s*+-\s*+|\s++)(?P<n1>\d++)\s*+/\s*+(?P<d1>\d++)|(?P<n2>\d++)\s*+/\s*+(?P<d2>\d++)"
    rf"|(?P<dec>{_DECIMAL}))"
)
_ONE_TERM = re.compile(rf"\s*+(?:(?P<sign>[+-])\s*+)?{_NUMBER}\s*+(?:(?P<unit>[^\d\s./+-][^\d\s/+-]*+)\s*+)?\Z")
_FEET = re.compile(
    r"\s*+(?:(?P<sign>[+-])\s*+)?(?P<feet>\d++)\s*+(?:'|′|’|ft\.?|feet|foot)\s*+(?:-\s*+)?(?P<rest>\d.*)\Z"
)


#: Characters that are fractions by themselves: ¼ ½ ¾, thirds, fifths, sixths, eighths and so on.
_VULGAR = re.compile("[\u00bc-\u00be\u2150-\u215e\u2189]")


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
    raise UnitsError(f"Unknown unit {quoted(text)}: use one of {', '.join(UNIT_CHOICES)}.", code="unknown-unit")


def unit_word(unit: str) -> str:
    """A unit in a sentence: ``inches``, ``feet``, ``mm``."""
    return {"in": "inches", "ft": "feet"}.get(unit, unit)


def parse_length(text: str | float, default_unit: str = "mm") -> float:
    """A length in mm from text such as ``1.75in``, ``1 3/4"``, ``1¾"``, ``5' 6-1/2"`` or ``44.45mm``.

    A bare number is in ``default_unit``. Fractions are exact before the one final rounding.

    Raises:
        UnitsError: it is not a finite length, or its unit is unknown.
    """
    default_unit = unit_name(default_unit)
    if isinstance(text, int) and text.bit_length() > 1000:
        raise UnitsError("A number of so many digits is not a length.")
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        return _finite(_as_float(text) * MM_PER[default_unit], text)
    if not isinstance(text, str):
        raise UnitsError(f"{quoted(text)} is not a length.")
    if len(text) > MOST_CHARACTERS:
        raise UnitsError(f"{quoted(text)} is not a length: it is {len(text)} characters long.")
    # set apart on both sides, so that no digit beside one runs into it
    written = _VULGAR.sub(lambda one: f" {unicodedata.normalize('NFKC', one[0])} ", text).replace("\u2044", "/")
    feet = _FEET.match(written)
    if feet:
        rest = parse_length(feet["rest"], "in")
        value = int(feet["feet"]) * MM_PER["ft"] + rest
        return _finite(-value if feet["sign"] == "-" else value, text)
    match = _ONE_TERM.match(written)
    if not match:
        raise UnitsError(f'{quoted(text)} is not a length: write 1.75in, 1 3/4" or 44.45mm.')
    unit = unit_name(match["unit"]) if match["unit"] else default_unit
    if match["dec"] is not None:
        number = float(match["dec"])
    else:
        numerator, denominator = (match["n1"], match["d1"]) if match["n1"] else (match["n2"], match["d2"])
        if int(denominator) == 0:
            raise UnitsError(f"{quoted(text)} divides by zero.")
        number = float(int(match["whole"] or 0) + Fraction(int(numerator), int(denominator)))
    value = number * MM_PER[unit]
    return _finite(-value if match["sign"] == "-" else value, text)


def _finite(value: float, text: str | float) -> float:
    if not isfinite(value):
        raise UnitsError(f"{quoted(text)} is not a finite length.")
    if abs(value) > FARTHEST:
        farthest = f"{FARTHEST / MM_PER['km']:,.0f} km"
        raise UnitsError(f"{quoted(text)} is more than {farthest}, which no tube is: check the number and its unit.")
    return value


def _as_float(number: float) -> float:
    """A number as floating point; a whole number beyond all floating point is infinite."""
    try:
        return float(number)
    except OverflowError:
        return inf if number > 0 else -inf


@lru_cache(maxsize=1 << 14)
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
        places: decimals; None for the usual ones, 2 of millimetres and 3 of inches.
    """

    unit: str = "mm"
    denominator: int | None = None
    places: int | None = field(default=None, kw_only=True)

    def __post_init__(self) -> None:
        if self.unit not in ("mm", "in"):
            raise OptionError(f"Lengths are shown in mm or in, not {quoted(self.unit)}.")
        if self.denominator is not None:
            if self.unit != "in":
                raise OptionError("Fractions go with inches: choose in, or leave the fraction out.")
            fraction_text(0.0, self.denominator)
        if self.places is not None and not 0 <= self.places <= 6:
            raise OptionError(f"Lengths are shown with 0 to 6 decimals, not {self.places}.")

    @property
    def decimals(self) -> int:
        """Decimals, where lengths are not fractions."""
        return (2 if self.unit == "mm" else 3) if self.places is None else self.places

    @property
    def step(self) -> float:
        """The smallest step in which lengths are shown, mm."""
        return MM_PER[self.unit] / (self.denominator or 10**self.decimals)

    def number(self, mm: float) -> str:
        """The bare number: ``114.30`` (mm), ``4.500`` (in) or ``4-1/2`` (fractions)."""
        if self.denominator:
            return fraction_text(mm / 25.4, self.denominator)
        return _decimal_text(mm if self.unit == "mm" else mm / 25.4, self.decimals)

    def length(self, mm: float) -> str:
        """The number with its unit: ``114.30 mm`` or ``4.500 in``."""
        return f"{self.number(mm)} {self.unit}"

    def telling(self, a: float, b: float) -> Display:
        """The same, or in as many decimals as it takes for two lengths in mm to look different."""
        if self.number(a) != self.number(b):
            return self
        per = MM_PER[self.unit]
        usual = Display(self.unit, places=self.places)
        return replace(usual, places=decimals_telling(a / per, b / per, usual.decimals))

    def each(self, write: Callable[[Display], str]) -> str:
        """What ``write`` makes of this display; for text that depends on the unit in its own way."""
        return write(self)

    def angle(self, degrees: float) -> str:
        """Degrees to two decimals: ``90.00°``; half a turn is written ``180.00°`` from either side."""
        text = _decimal_text(degrees, 2)
        return ("180.00" if text == "-180.00" else text) + "°"


#: What no name in a drawing can hold, for nobody knows it before: random characters of private use.
_SECRET = "".join(chr(0xE100 + byte) for byte in urandom(12))
#: Around a text written in both units: millimetres, inches.
_OPEN, _BETWEEN, _CLOSE = (mark + _SECRET for mark in "\ue0f0\ue0f1\ue0f2")


@dataclass(frozen=True, slots=True)
class BothUnits(Display):
    """Writes every length in both units at once, for pages whose reader chooses; see `in_unit` and `pieces`.

    ``unit`` is the one shown first; ``denominator`` is None, fractions of an inch are told by ``fraction``, decimals of
    millimetres by ``places``.

    Attributes:
        fraction: write the inches as fractions of this denominator; None for decimals.
        more: further roundings to write everything in; `every_text` has them.
        apart: two lengths in mm that must look different in ``every``; None for none.
        alone: the display in millimetres and the one in inches.
        every: these two, and those of further roundings.
    """

    fraction: int | None = None
    more: tuple[BothUnits, ...] = ()
    apart: tuple[float, float] | None = None
    alone: tuple[Display, Display] = field(init=False, repr=False, compare=False)
    every: tuple[Display, ...] = field(init=False, repr=False, compare=False)
    _numbers: dict[float, str] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        Display.__post_init__(Display(self.unit, self.denominator, places=self.places))
        alone = Display("mm", places=self.places), Display("in", self.fraction)
        every = (*alone, *(one for other in self.more for one in other.alone))
        object.__setattr__(self, "alone", alone)
        object.__setattr__(
            self, "every", every if self.apart is None else tuple(one.telling(*self.apart) for one in every)
        )

    @property
    def preferred(self) -> Display:
        """The display in the unit shown first."""
        return self.alone[0 if self.unit == "mm" else 1]

    def number(self, mm: float) -> str:
        """The bare number, in both units."""
        if mm not in self._numbers:
            self._numbers[mm] = self.each(lambda one: one.number(mm))
        return self._numbers[mm]

    def length(self, mm: float) -> str:
        """The number with its unit, in both units."""
        return self.each(lambda one: one.length(mm))

    def telling(self, a: float, b: float) -> BothUnits:
        """The same, each of its displays in as many decimals as it takes for two lengths in mm to look different."""
        return replace(self, apart=(a, b))

    def each(self, write: Callable[[Display], str]) -> str:
        """What ``write`` makes of every display; once where all are the same."""
        return _either_text([write(one) for one in self.every])


#: Blanks that no line ends at: within ``1 3/4``, ``44.45 mm``, ``1.500 x 0.120``, ``1.96 %``, ``bend 2``, ``end A`` and
#: between a length and the bend, or the word for a turn, that it is of.
_KEPT_BLANK = re.compile(  # each begins with the blank, so that a search goes from blank to blank
    r" (?:(?<=\d )(?=\d+/\d|x \d|(?:mm|in|ft|kg|lb|lbf·ft|N·m)\b|of \d|%)|(?<=\d x )(?=\d)|(?<=\d of )(?=\d)"
    r"|(?<=[Bb]end )(?=\d)|(?<=\bends )(?=[AB]\b)|(?<=[Ee]nd )(?=[AB]\b)|(?<=\brun )(?=\d)|(?<=\bpage )(?=\d)"
    r"|(?<=mm )(?=\(bend)|(?<=in )(?=\(bend)|(?<=° )(?=(?:counter-)?clockwise|half round))"
)
#: Coordinates stay together: ``(18.000, 0.000, -34.000) in``.
_KEPT_POINT = re.compile(r"\(-?\d[\d.,/ -]*\)(?: (?:mm|in)\b)?")
#: The blank that no line ends at.
NO_BREAK = "\u00a0"


@lru_cache(maxsize=4096)
def unbroken(text: str) -> str:
    """The same with blanks at which no line ends wherever a number meets its unit, its fraction or its name."""
    if " " not in text:
        return text
    return _KEPT_POINT.sub(lambda point: point[0].replace(" ", NO_BREAK), _KEPT_BLANK.sub(NO_BREAK, text))


def in_unit(text: str, unit: str) -> str:
    """A text of `BothUnits` in one unit, 'mm' or 'in'; any other text as it is."""
    return "".join(pair[unit == "in"] for pair in pieces(text)) if _OPEN in text else text


def words(text: str) -> list[str]:
    """A text cut at its blanks, but never within what `BothUnits` wrote."""
    found: list[str] = []
    goes_on = False  # whether the last word may have more
    for texts in every_text(text):
        if len(texts) > 1:
            parts, begins, ends = [_either_text(texts)], True, True
        else:
            held = unbroken(texts[0])
            parts = [part.replace(NO_BREAK, " ") for part in re.split(r"[ \t\n\r\f\v]++", held) if part]
            begins, ends = not texts[0][:1].isspace(), not texts[0][-1:].isspace()
        if parts and begins and goes_on:
            found[-1] += parts.pop(0)
        found += parts
        goes_on = ends
    return found


def rewritten(text: str, write: Callable[[str], str]) -> str:
    """What ``write`` makes of a text, of every side where `BothUnits` wrote both units."""
    return "".join(_either_text(list(map(write, texts))) for texts in every_text(text))


def _either_text(texts: Sequence[str]) -> str:
    """One text of several: millimetres, inches, and the same in turn in other roundings; once where all are equal."""
    if all(text == texts[0] for text in texts):
        return texts[0]
    return f"{_OPEN}{_BETWEEN.join(texts)}{_CLOSE}"


def pieces(text: str) -> list[tuple[str, str]]:
    """A text of `BothUnits` cut up: (millimetres, inches) in turn, the same twice where both agree."""
    return [(texts[0], texts[-1 if len(texts) == 1 else 1]) for texts in every_text(text)]


def every_text(text: str) -> list[tuple[str, ...]]:
    """A text of `BothUnits` cut up: all that each piece may say, a single text where all agree."""
    first, *rest = text.split(_OPEN)
    found: list[tuple[str, ...]] = [(first,)] if first else []
    for part in rest:
        choice, _, after = part.partition(_CLOSE)
        found.append(tuple(choice.split(_BETWEEN)))
        if after:
            found.append((after,))
    return found


@lru_cache(maxsize=1 << 14)
def _decimal_text(value: float, decimals: int) -> str:
    """A number to so many decimals, no ``-0.00``; a job says most of its numbers in several places."""
    text = f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def shown_unit(unit: str | None) -> str:
    """The unit to show lengths in for something measured in ``unit``: 'in' for inch-based units, else 'mm'."""
    return "in" if unit in IMPERIAL else "mm"


def sizes_text(sizes: Iterable[float], display: Display) -> str:
    """Sizes across in mm, ``2.000 x 1.000 in``: decimals even where lengths are shown as fractions."""
    values = tuple(sizes)
    return display.each(lambda one: f"{' x '.join(map(Display(one.unit).number, values))} {one.unit}")


def moment_text(newton_metres: float, display: Display, apart: tuple[float, float] | None = None) -> str:
    """``1597 lbf·ft`` where lengths show in inches, else ``2165 N·m``.

    Args:
        newton_metres: to show.
        display: how lengths are shown.
        apart: two moments in N·m that must not look the same; None for none.
    """

    def one_text(one: Display) -> str:
        per, unit = (NM_PER_LBF_FT, "lbf·ft") if one.unit == "in" else (1.0, "N·m")
        places = 0 if apart is None else decimals_telling(apart[0] / per, apart[1] / per, 0)
        return f"{newton_metres / per:.{places}f} {unit}"

    return display.each(one_text)


def decimals_telling(a: float, b: float, least: int, most: int = 6) -> int:
    """With how many decimals two numbers look different: ``least`` where they do so with that many."""
    return next((n for n in range(least, most) if f"{a:.{n}f}" != f"{b:.{n}f}"), most)


def place_text(point: Iterable[float], display: Display) -> str:
    """A place in mm for a sentence: ``(100.00, 0.00, 25.40) mm``."""
    values = tuple(point)
    return display.each(lambda one: f"({', '.join(map(one.number, values))}) {one.unit}")


#: mm: lengths between two places that were written with six digits behind the point, in mm or inches, are off by less.
_NOISE = 3e-5


def rounded_up(mm: float, display: Display) -> float:
    """The least length that can be shown and is not below ``mm``, but for what coordinates are rounded by in files."""
    return ceil((mm - _NOISE) / display.step - 1e-6) * display.step


def cut_number(mm: float, display: Display) -> str:
    """The bare number of a cut length in mm, rounded up; in every unit and rounding of the display."""
    return display.each(lambda one: one.number(rounded_up(mm, one)))


def cut_length(mm: float, display: Display) -> str:
    """The same with its unit."""
    return display.each(lambda one: one.length(rounded_up(mm, one)))


def fine_length(mm: float, display: Display) -> str:
    """A length that may be far below what is shown elsewhere: ``0.0123 mm`` or ``0.00048 in``."""
    return display.each(lambda one: f"{mm:.4f} mm" if one.unit == "mm" else f"{mm / 25.4:.5f} in")


def small_length(mm: float, display: Display, apart: tuple[float, float] | None = None) -> str:
    """A length of any size with three significant digits: ``0.00012 mm``.

    Args:
        mm: the length.
        display: in which unit.
        apart: two lengths that must not look the same: as many digits as that takes, where it is one of them.
    """

    def one_text(one: Display) -> str:
        per = MM_PER[one.unit]
        digits = 3
        if apart is not None and mm in apart:
            digits = next((n for n in range(3, 9) if f"{apart[0] / per:.{n}g}" != f"{apart[1] / per:.{n}g}"), 9)
        return f"{mm / per:.{digits}g} {one.unit}"

    return display.each(one_text)


def either_length(mm: float, display: Display) -> str:
    """A length in both units, the one shown first: ``2540 mm (100 in)``; metres from 10 m on."""
    metric = f"{mm:.6g} mm" if mm < 10_000.0 else f"{mm / 1000.0:.4g} m"
    inch = f"{mm / 25.4:.6g} in"
    return display.each(lambda one: f"{metric} ({inch})" if one.unit == "mm" else f"{inch} ({metric})")
