"""The bars of a cutting list to scale: each piece with its letter, the cuts between, what is left over."""

from __future__ import annotations

from math import radians, tan
from string import ascii_uppercase

from converter.exporters.paper.figure import Point, text_width
from converter.exporters.pictures.picture import Picture, box
from converter.job.cutlist import CutGroup
from converter.job.cutlist_words import ends_text, left_text, origin_text
from converter.nesting.model import Pattern
from converter.quoting import one_line
from converter.units import Display, cut_number, every_text

#: mm of paper: height of a bar, from one to the next, room before it for what it is.
_HIGH, _PITCH, _BEFORE = 7.0, 15.0, 34.0
#: Heights of text: letters, what stands with them, the least one can read.
_LETTER, _TEXT = 2.6, 2.0
#: mm of paper: the picture's width.
_WIDTH = 180.0
#: mm; around a text in its box.
_AROUND = 1.0
#: Degrees; long points further apart lie on opposite edges of the paper.
_ASIDE = 90.0
#: How much wider bold letters are.
_BOLD = 1.15


def letter(number: int) -> str:
    """A, B ... Z, AA, AB ...: the letter of a piece, counted from 0."""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = ascii_uppercase[rest] + text
    return text


def legend(group: CutGroup, display: Display) -> tuple[tuple[str, ...], list[list[str]]]:
    """Heads, and a row per piece: its letter, name, the stop of the saw, its ends where any is slanted, how many."""
    ends = [ends_text(piece, display) for piece in group.pieces]
    heads = ("letter", "piece", "stop of the saw", *(("ends from square",) if any(ends) else ()), "make")
    rows = [
        [
            letter(i), one_line(piece.name), cut_number(piece.length, display), *([ends[i]] if any(ends) else []),
            str(piece.count),
        ]
        for i, piece in enumerate(group.pieces)
    ]  # fmt: skip
    return heads, rows


def bars_picture(group: CutGroup, patterns: tuple[Pattern, ...], display: Display) -> Picture:
    """Bars below each other, all to one scale: that of the longest bar of the group.

    Args:
        group: the pieces and bars.
        patterns: which of its patterns, from the top down.
        display: how lengths are shown.
    """
    picture = Picture(
        f"Bars of {group.section.words(display)}",
        "How each bar is cut, its front end at the left, with the letters of the pieces and what is left over.",
    )
    longest = max((supply.stick.length for supply in group.supplies), default=1.0)
    k = (_WIDTH - _BEFORE) / longest
    for row, pattern in enumerate(patterns):
        _bar(picture, group, pattern, display, -row * _PITCH, k)
    picture.low, picture.high = (0.0, -_PITCH * len(patterns) + _PITCH - 5.5), (_WIDTH, _HIGH + 1.0)
    return picture


def _bar(picture: Picture, group: CutGroup, pattern: Pattern, display: Display, y: float, k: float) -> None:
    """One bar with its pieces."""
    plan, supply = group.plan, group.supplies[pattern.bar]
    assert plan is not None
    end = _BEFORE + k * supply.stick.length
    times = f"{pattern.times} x " if pattern.times > 1 else ""
    picture.label(f"{times}{display.length(supply.stick.length)}", (0.0, y + _HIGH - _LETTER), _LETTER, "strong")
    picture.label(origin_text(supply), (0.0, y + 0.6), _TEXT)
    picture.fill([box(_BEFORE, y, end, y + _HIGH)], "ground")
    x = _BEFORE
    if plan.saw.trim > 0.0:
        x = _BEFORE + k * plan.saw.trim
        picture.fill([box(_BEFORE, y, x, y + _HIGH)], "bore")
    shape, below = _Shapes(group, pattern, k, y), y - _TEXT - 1.2
    angles: list[tuple[float, str]] = []
    for n, (i, at) in enumerate(zip(pattern.pieces, pattern.cut_places(plan.pieces, plan.saw), strict=True)):
        piece = group.pieces[i]
        right = _BEFORE + k * at
        left = right - k * plan.pieces[i].length
        outline, later = shape.of(n, left, right)
        picture.fill([outline], "skin")
        picture.stroke(outline, "tube", closed=True)
        for line in later:
            picture.stroke(line, "seam")
        _piece_words(picture, letter(i), piece.name, cut_number(piece.length, display), (left, right), y)
        x = right
        if angle := group.head_angles(pattern)[n]:
            angles.append((right, display.angle(angle)))
    left_over = group.left(pattern)
    picture.stroke(box(_BEFORE, y, end, y + _HIGH), "seam", closed=True)
    start = max(x, end - k * left_over)
    word = left_text(group, pattern, display)
    wide = _wide(word) + 2.0 * _AROUND
    if wide <= end - start:
        picture.label(word, ((start + end) / 2.0, y + _HIGH / 2.0 - _TEXT / 2.0), _TEXT, align="center")
    else:  # below the bar's end
        picture.label(word, (end, below), _TEXT, align="right")
    free = 0.0
    for x, text in angles:  # those that fit; all stand behind their pieces in words
        half = _wide(text) / 2.0 + _AROUND
        if x - half >= free and (wide <= end - start or x + half <= end - wide):
            picture.label(text, (x, below), _TEXT, align="center")
            free = x + half


class _Shapes:
    """The pieces of a bar as they lie in it, seen with the slant of the cuts that are shared in the paper.

    A slanted end that shares no cut is sawn off the piece: a line across it.
    """

    def __init__(self, group: CutGroup, pattern: Pattern, k: float, y: float) -> None:
        self._group, self._pattern, self._k, self._y = group, pattern, k, y
        self._long_high = False  # whether the long point of the end in front is at the upper edge

    def of(self, n: int, left: float, right: float) -> tuple[list[Point], list[list[Point]]]:
        """Outline of piece n from ``left`` to ``right`` on the paper, and what is still sawn off it."""
        piece, pattern = self._group.pieces[self._pattern.pieces[n]], self._pattern
        front, back = reversed(piece.slants) if pattern.turned[n] else piece.slants
        low, high = self._y, self._y + _HIGH
        shared = (n > 0 and pattern.shared[n - 1] > 0, pattern.shared[n] > 0)
        across = abs(piece.cuts.apart or 0.0) > _ASIDE
        long_high = (self._long_high, self._long_high is not across)
        self._long_high = shared[1] and not long_high[1]  # the next piece's long point is on the other edge
        sides, later = [], []
        for x, end, is_high, is_shared, way in zip(
            (left, right), (front, back), long_high, shared, (1.0, -1.0), strict=True
        ):
            slope = 0.0 if end is None else way * self._k * end.width * tan(radians(end.angle))
            slanted = [(x + slope if is_high else x, low), (x if is_high else x + slope, high)]
            sides.append(slanted if is_shared else [(x, low), (x, high)])
            if slope and not is_shared:
                later.append(slanted)
        return [sides[0][0], sides[1][0], sides[1][1], sides[0][1]], later


def _piece_words(
    picture: Picture, name_letter: str, name: str, length: str, sides: tuple[float, float], y: float
) -> None:
    """The letter and the length of a piece, and its name where it fits; what does not fit is in the list of letters."""
    middle, room = (sides[0] + sides[1]) / 2.0, sides[1] - sides[0] - 2.0 * _AROUND
    name = one_line(name)
    full = f"{name_letter}  {name}"
    first = full if _BOLD * _wide(full) <= room else name_letter
    if _wide(length) <= room:
        picture.label(first, (middle, y + _HIGH - _TEXT - 1.0), _TEXT, "strong", align="center")
        picture.label(length, (middle, y + 1.0), _TEXT, align="center")
    elif _BOLD * _wide(name_letter) <= room + _AROUND:
        picture.label(name_letter, (middle, y + (_HIGH - _TEXT) / 2.0), _TEXT, "strong", align="center")


def _wide(text: str) -> float:
    """Width of a text, mm; of one in several units and roundings of the widest."""
    return sum(max(text_width(one, _TEXT) for one in texts) for texts in every_text(text))
