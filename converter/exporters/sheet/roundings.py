"""Every length of a page in every rounding that its reader may choose, each worked out here and none by the page.

A page shows one text of each length; the others lie in one packed table (`TextTable.value`), from which its script
takes them. What must be rounded on its own (a cut length up, a mark from its exact place) is so in each of them, as on
a sheet that was written with that rounding.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from converter.quoting import visible
from converter.units import BothUnits, Display, every_text, unbroken

if TYPE_CHECKING:
    from markupsafe import Markup

#: Decimals of a millimetre and fractions of an inch that are offered beside the usual ones.
METRIC_PLACES = (1, 0)
FRACTIONS = (None, 16, 32, 64)
#: A choice of texts without a blank is kept on one line up to so many letters.
_ONE_LINE = 40
#: Texts that a table of pieces knows at once: of a job of different tubes most are of one tube alone.
_MOST_TEXTS = 4096
#: What a browser would break at its hyphen or stroke.
_HELD = re.compile(r"((?<!\d)\d++(?:-\d++)?/\d++|\bcounter-clockwise\b)")


class Roundings:
    """The roundings that a page offers.

    Attributes:
        first: both units as asked for, what the page shows before anything is chosen.
        every: the same with all others beside: whatever the page says is written once, in all of them.
    """

    def __init__(self, both: BothUnits) -> None:
        fractions = [one for one in FRACTIONS if one != both.fraction]
        places = [*METRIC_PLACES, *[None] * len(fractions)]
        others = [BothUnits(both.unit, None, of, places=own) for own, of in zip(places, fractions, strict=False)]
        self.first = both
        self.every = replace(both, more=tuple(others))

    @property
    def displays(self) -> tuple[Display, ...]:
        """Every one offered, once, millimetres and inches mixed."""
        return tuple(dict.fromkeys(self.every.every))

    def columns(self, texts: tuple[str, ...]) -> tuple[str, ...]:
        """The texts of a choice in the order of `displays`."""
        every = self.every.every
        if len(texts) != len(every):  # written in both units only
            return tuple(texts[display.unit == "in"] for display in self.displays)
        return tuple(dict(zip(every, texts, strict=True)).values())


#: Around a number that is not yet that of the whole page; no text of a page holds what does not show.
_OPEN_NUMBER = re.compile("\x00(\\w+)\x00")


@dataclass(frozen=True, slots=True)
class TextPiece:
    """A piece of a page made by itself: its numbers are open until `TextTable.in_page` gives them those of the page.

    Attributes:
        text: of HTML, with open numbers.
        used: what each open number stands for, in the order of its first use.
    """

    text: str
    used: dict[str, tuple[str, ...]]


class TextTable:
    """The texts of a page that depend on unit and rounding, each set of them once.

    Args:
        roundings: that the page offers.
        whole: of the whole page; else of pieces of it (`piece_of`).

    Attributes:
        roundings: that the page offers.
    """

    def __init__(self, roundings: Roundings, *, whole: bool = True) -> None:
        self.roundings = roundings
        self._numbers: dict[tuple[str, ...], int] = {}
        self._marked_up: dict[str, tuple[Markup, dict[str, tuple[str, ...]]]] = {}
        self._whole = whole
        self._used: dict[str, tuple[str, ...]] = {}
        self._shown = roundings.displays.index(roundings.first.preferred)

    def marked_up(self, text: str) -> Markup:
        """Text as HTML: escaped; what depends on the unit stands in a ``u-n`` with its number in this table."""
        known = self._marked_up.get(text)
        if known is None:
            before, self._used = self._used, {}
            known = self._marked_up[text] = self._mark_up(text), self._used
            self._used = before
        for number, texts in known[1].items():
            self._used.setdefault(number, texts)
        return known[0]

    def piece_of(self, make: Callable[[], str]) -> TextPiece:
        """A piece of the page, with the texts of this table that it uses."""
        if len(self._marked_up) > _MOST_TEXTS:  # their numbers go with the pieces that they stand in
            self._marked_up.clear()
            self._numbers.clear()
        self._used = {}
        return TextPiece(make(), self._used)

    def in_page(self, piece: TextPiece) -> Markup:
        """A piece as it stands in the page, its texts in this table."""
        from markupsafe import Markup

        numbers = {open_number: self._number(texts) for open_number, texts in piece.used.items()}
        return Markup(_OPEN_NUMBER.sub(lambda found: numbers[found[1]], piece.text))

    def _mark_up(self, text: str) -> Markup:
        from markupsafe import Markup, escape

        out: list[str] = []
        for texts in every_text(text):
            if len(texts) == 1:
                out.append(_held(unbroken(visible(texts[0]))))
                continue
            columns = [unbroken(visible(one)) for one in self.roundings.columns(texts)]
            for stretch in _differing(columns):
                shown = stretch[self._shown]
                if len(set(stretch)) == 1:
                    out.append(_held(shown))
                    continue
                long = any(" " in one.strip() or len(one) > _ONE_LINE for one in stretch)
                number, look = self._number(stretch), " class=long" if long else ""
                out.append(f"<u-n n={number}{look}>{_held(shown) if long else escape(shown)}</u-n>")
        return Markup("".join(out))

    def loosely(self, text: str) -> Markup:
        """The same for a narrow cell: a line may end between an angle and which way it is turned."""
        return self.marked_up(text).replace("°\u00a0", "° ")

    def as_shown(self, text: str) -> str:
        """Text in the unit and rounding that the page shows first."""
        return "".join(
            texts[0] if len(texts) == 1 else self.roundings.columns(texts)[self._shown] for texts in every_text(text)
        )

    def label(self, text: str) -> tuple[str, str]:
        """The same for a label of a picture, which is a line of SVG: attributes and content of one whole text."""
        from markupsafe import escape

        parts = every_text(text)
        if all(len(part) == 1 for part in parts):
            return "", escape("".join(part[0] for part in parts))
        whole = ["".join(column) for column in zip(*map(self._column, parts), strict=True)]
        return f" n={self._number(tuple(whole))}", escape(whole[self._shown])

    def _column(self, part: tuple[str, ...]) -> tuple[str, ...]:
        return part * len(self.roundings.displays) if len(part) == 1 else self.roundings.columns(part)

    def _number(self, texts: tuple[str, ...]) -> str:
        number = _base36(self._numbers.setdefault(texts, len(self._numbers)))
        if self._whole:
            return number
        self._used.setdefault(number, texts)
        return f"\x00{number}\x00"

    def value(self) -> dict[str, Any]:
        """For the page's script: unit and words of each rounding, and the texts in their order, set after set."""
        choices = [(one.unit, _rounding_words(one)) for one in self.roundings.displays]
        return {"shown": self._shown, "choices": choices, "texts": [text for row in self._numbers for text in row]}


def _rounding_words(display: Display) -> str:
    """``to 1/16 in``, ``to 0.01 mm``."""
    if display.denominator:
        return f"1/{display.denominator} in"
    return f"{10.0**-display.decimals:g} {display.unit}"


def _base36(number: int) -> str:
    digits = ""
    while True:
        number, rest = divmod(number, 36)
        digits = "0123456789abcdefghijklmnopqrstuvwxyz"[rest] + digits
        if not number:
            return digits


def _held(text: str) -> Markup:
    """Escaped text in whose fractions and directions no line ends."""
    from markupsafe import Markup, escape

    parts = list(map(escape, _HELD.split(text)))
    if len(parts) == 1:  # as nearly always
        return parts[0]
    return Markup("".join(f"<u-b>{part}</u-b>" if i % 2 else part for i, part in enumerate(parts)))


def _differing(texts: list[str]) -> list[tuple[str, ...]]:
    """Texts of one thing cut into stretches of words: equal ones, and ones that differ."""
    if not any(" " in text for text in texts):  # one word, as most numbers are
        return [tuple(texts)]
    rows = [text.split(" ") for text in texts]
    if len({len(row) for row in rows}) > 1:
        return [tuple(texts)]
    stretches: list[tuple[list[tuple[str, ...]], bool]] = []
    for words in zip(*rows, strict=True):
        equal = len(set(words)) == 1
        if not stretches or stretches[-1][1] != equal:
            stretches.append(([], equal))
        stretches[-1][0].append(words)
    # the blank between two stretches stands with what is equal
    found: list[tuple[str, ...]] = []
    for i, (columns, equal) in enumerate(stretches):
        before = " " if i and equal else ""
        after = " " if i + 1 < len(stretches) and equal else ""
        found.append(tuple(before + " ".join(column) + after for column in zip(*columns, strict=True)))
    return found
