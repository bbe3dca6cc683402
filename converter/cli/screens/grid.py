"""Text laid out in columns of a terminal: widths as shown, wrapped sentences, tables that fold.

Wide characters (Chinese, Japanese, Korean, emoji) take two columns, combining marks none.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from converter.cli.screens.page import room, rule, ruled, width
from converter.units import NO_BREAK, unbroken

_GAP = 2
#: No column of words is made narrower than this.
_LEAST = 10


def cells(text: str) -> int:
    """Columns that a text without control characters takes on a terminal."""
    if text.isascii() or max(text) < "\u0300":
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def wrap(text: str, wide: int) -> list[str]:
    """A text in lines of at most ``wide`` columns, broken at blanks, but not within a number with its unit.

    A word that is longer than a line is cut. One empty line for no words.
    """
    lines: list[str] = []
    line, used = "", 0
    for held in re.split(r"[ \t\n\r\f\v]++", unbroken(text)):
        word = held.replace(NO_BREAK, " ")
        if not word:
            continue
        parts = [word] if cells(word) <= wide else word.split(" ")
        for part in (piece for one in parts for piece in _cut(one, wide)):
            size = cells(part)
            if line and used + 1 + size <= wide:
                line, used = f"{line} {part}", used + 1 + size
            else:
                if line:
                    lines.append(line)
                line, used = part, size
    return [*lines, line]


def _cut(word: str, wide: int) -> list[str]:
    """A word in pieces of at most ``wide`` columns (a single wide character may stick out of one column)."""
    pieces: list[str] = []
    start, room = 0, 4 * wide
    while True:
        part = word[start : start + room]  # a long word is never measured whole
        if cells(part) <= wide:
            if start + room >= len(word):
                return [*pieces, part]
            room *= 2
            continue
        at = len(part)
        while at > 1 and cells(part[:at]) > wide:
            at = max(1, at - max(1, (cells(part[:at]) - wide) // 2))
        seam = max(part.rfind(sign, 0, at) for sign in "/\\_-") + 1
        at = seam if seam > at // 2 else at
        pieces.append(part[:at])
        start += at


def fill(text: str, first: str = "", rest: str | None = None, wide: int | None = None) -> str:
    """A paragraph.

    Args:
        text: its words.
        first: what stands before the first line, kept as it is.
        rest: what stands before the others; as many blanks as ``first`` takes when None.
        wide: columns; those for sentences when None.
    """
    wide = width() if wide is None else wide
    rest = " " * cells(first) if rest is None else rest
    # both indents take the same room from each line, so that one wrapping serves
    lines = wrap(text, max(_LEAST, wide - max(cells(first), cells(rest))))
    return "\n".join((first if i == 0 else rest) + line for i, line in enumerate(lines)).rstrip()


@dataclass(frozen=True, slots=True)
class Grid:
    """A table.

    Attributes:
        heads: one per column.
        rows: each as long as ``heads``; cells without control characters.
        align: a letter per column: 'r' numbers, at the right and never broken; 'l' words, at the left, broken when
            there is no room. All 'r' when empty.
        indent: blanks before the first column.
        fold: column before which the table is best cut in two when it is too wide; 0 for no such place.
        tint: row -> how its first cell is coloured, and its last.
        tint_last: whether its last cell is, too.
    """

    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    align: str = ""
    indent: int = 2
    fold: int = 0
    tint: Mapping[int, Callable[[str], str]] = field(default_factory=dict)
    tint_last: bool = True

    def text(self) -> str:
        """The table; one too wide for the page is folded into several, the first column in each."""
        align = self.align or "r" * len(self.heads)
        return "\n\n".join(self._part(part, align) for part in self._parts(list(range(len(self.heads))), align))

    def _parts(self, chosen: list[int], align: str) -> list[list[int]]:
        """Columns that fit side by side, group by group; the first column leads each group."""
        if self._fits(chosen, align) or len(chosen) <= 2:
            return [chosen]
        if self.fold in chosen[2:]:
            at = chosen.index(self.fold)
        else:
            at = next((n for n in range(len(chosen) - 1, 2, -1) if self._fits(chosen[:n], align)), 2)
        return [*self._parts(chosen[:at], align), *self._parts([chosen[0], *chosen[at:]], align)]

    def _fits(self, chosen: list[int], align: str) -> bool:
        return sum(self._least(i, align) for i in chosen) + self._frame(chosen) <= room()

    def _frame(self, chosen: list[int]) -> int:
        return self.indent + _GAP * (len(chosen) - 1)

    def _natural(self, i: int, *, broken: bool) -> int:
        """Columns that a column takes with its head in one line, or with its head broken at every blank."""
        head = max((cells(word) for word in self.heads[i].split()), default=0) if broken else cells(self.heads[i])
        return max([head, *(cells(row[i]) for row in self.rows)])

    def _least(self, i: int, align: str) -> int:
        """The narrowest that a column may be made."""
        wide = self._natural(i, broken=True)
        if align[i] == "r":
            return wide
        return min(wide, max([_LEAST, *(cells(word) for word in self.heads[i].split())]))

    def _widths(self, chosen: list[int], align: str) -> list[int]:
        """Heads in one line if there is room; else broken; else words broken too, the widest column first."""
        space = room() - self._frame(chosen)
        widths = [self._natural(i, broken=False) for i in chosen]
        if sum(widths) <= space:
            return widths
        widths = [self._natural(i, broken=True) for i in chosen]
        least = [self._least(i, align) for i in chosen]
        while sum(widths) > space and widths != least:
            widest = max(range(len(chosen)), key=lambda k: (widths[k] - least[k] > 0, widths[k]))
            widths[widest] -= 1
        return widths

    def _part(self, chosen: list[int], align: str) -> str:
        widths = self._widths(chosen, align)
        kinds = [align[i] for i in chosen]
        heads = [wrap(self.heads[i], wide) for i, wide in zip(chosen, widths, strict=True)]
        tall = max(len(head) for head in heads)
        raised = [[""] * (tall - len(head)) + head for head in heads]
        lines = [self._line([head[k] for head in raised], chosen, widths, kinds) for k in range(tall)]
        if ruled():
            lines.append(" " * self.indent + (" " * _GAP).join(rule(wide) for wide in widths))
        for number, row in enumerate(self.rows):
            broken = [
                wrap(row[i], wide) if kind == "l" else [row[i]]
                for i, wide, kind in zip(chosen, widths, kinds, strict=True)
            ]
            for k in range(max(len(cell) for cell in broken)):
                parts = [cell[k] if k < len(cell) else "" for cell in broken]
                lines.append(self._line(parts, chosen, widths, kinds, self.tint.get(number)))
        return "\n".join(lines)

    def _line(
        self,
        parts: Sequence[str],
        chosen: Sequence[int],
        widths: Sequence[int],
        kinds: Sequence[str],
        tint: Callable[[str], str] | None = None,
    ) -> str:
        last = max((i for i, part in enumerate(parts) if part), default=0)
        tinted = {0, len(self.heads) - 1} if self.tint_last else {0}
        made = []
        for i, (part, wide, kind) in enumerate(zip(parts[: last + 1], widths, kinds, strict=False)):
            blanks = " " * (wide - cells(part))
            shown = tint(part) if tint is not None and part and chosen[i] in tinted else part
            made.append(blanks + shown if kind == "r" else shown if i == last else shown + blanks)
        return " " * self.indent + (" " * _GAP).join(made)
