"""The list beside a drawing as read: numbers and letters of the picture in words, kinds of lines, what was left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from converter.exporters.paper.figure import CHARACTER, Point
from converter.exporters.pictures.drawing.lines import ring
from converter.exporters.pictures.drawing.words import LegendEntry
from converter.exporters.pictures.picture import Picture
from converter.findings import Reason
from converter.model.run import Tube
from converter.units import in_unit, rewritten, words

#: Height of the list's text, and from line to line (mm).
HEIGHT, PITCH = 2.0, 3.7
#: Width left for a mark or a sample of a line in front of the words.
_INDENT = {"finding": 5.5, "left out": 4.0, "line": 11.0, "ends": 11.0}
#: Most lines that one entry takes.
_MOST = 3

#: So many runs get their names and ends; of more, those that the list speaks of.
NAMED = 60
#: An entry about more runs than this names them in words only.
MOST_NAMED = 3

#: role or shape -> what it means, in the order listed.
LINES: dict[str, str] = {
    "drawn": "read as drawn",
    "fitted": "curve, made straights and arcs",
    "center": "the tube as it will be bent",
    "tight": "cannot be bent as drawn",
    "healed": "gap that was closed",
    "near": "ends that nearly meet, left open",
    "ignored": "left out: became no tube",
}


@dataclass(slots=True)
class KeyColumn:
    """Lines of text, each with what stands in front of it.

    Attributes:
        width: mm.
        rows: (kind of mark, mark, text, role), one for each line; 'finding' shows a number, 'left out' shows a
            letter, 'line' a sample of a line; '' continues the row before.
        indents: of each row, mm.
    """

    width: float
    rows: list[tuple[str, str, str, str]] = field(default_factory=list)
    indents: list[float] = field(default_factory=list)

    def add(self, kind: str, mark: str, text: str, role: str = "note", most: int = _MOST) -> None:
        """Add an entry, wrapped."""
        indent = _INDENT.get(kind, 0.0)
        for i, line in enumerate(wrapped(text, self.width - indent, HEIGHT, most)):
            self.rows.append((kind if i == 0 else "", mark, line, role))
            self.indents.append(indent)

    @property
    def height(self) -> float:
        """Height of all rows in mm."""
        return PITCH * len(self.rows)

    def draw(self, picture: Picture, at: Point) -> None:
        """Draw it, its top left corner at a point."""
        x, top = at
        for i, ((kind, mark, text, role), indent) in enumerate(zip(self.rows, self.indents, strict=True)):
            base = top - PITCH * i - HEIGHT - 0.5
            middle = base + HEIGHT / 2.0
            if kind == "finding" and mark:
                picture.label(mark, (x + 2.0, base), HEIGHT, "strong", align="center")
            elif kind == "left out" and mark:
                picture.label(mark, (x + 1.5, base), HEIGHT, "strong", align="center")
            elif kind == "ends":
                for letter, dx in (("A", 2.0), ("B", 6.0)) if mark else ():
                    picture.label(letter, (x + dx, base), HEIGHT, "end", align="center")
                if not mark:
                    picture.fill([ring((x + 4.5, middle), 0.75)], "end")
            elif kind == "line":
                sample(picture, mark, (x, middle))
            picture.label(text, (x + indent, base), HEIGHT, role)


def named_runs(tubes: Sequence[Tube], entries: Sequence[LegendEntry]) -> list[Tube]:
    """The runs whose names and ends are shown: all of a few, else those that the list speaks of."""
    if len(tubes) <= NAMED:
        return list(tubes)
    said = {name for entry in entries if len(entry.runs) <= MOST_NAMED for name in entry.runs}
    return [tube for tube in tubes if tube.name in said][:NAMED]


def sample(picture: Picture, role: str, at: Point) -> None:
    """A short piece of a line, or the mark, of a role."""
    x, y = at
    if role in ("healed", "near"):
        mark_place(picture, role, (x + 4.5, y))
        return
    picture.stroke([(x, y), (x + 9.0, y)], role)


def mark_place(picture: Picture, role: str, at: Point) -> None:
    """The mark of one place: rings for gaps, a triangle for an error, a diamond for a warning, a dot for a note."""
    if role == "healed":
        picture.stroke(ring(at, 0.9), "healed", closed=True)
    elif role == "near":
        picture.stroke(ring(at, 1.7, 24), "near", closed=True)
        for d in (1.0, -1.0):
            picture.stroke([(at[0] - 0.7, at[1] - 0.7 * d), (at[0] + 0.7, at[1] + 0.7 * d)], "healed")
    else:
        corners, radius = {"error": (3, 1.3), "warning": (4, 1.1)}.get(role, (12, 0.6))
        picture.stroke(ring(at, radius, corners), "end" if role == "error" else "strong", closed=True)


def wrapped(text: str, width: float, height: float, most: int = _MOST) -> list[str]:
    """A text in lines no wider than ``width`` mm in either unit; what does not fit ends in an ellipsis."""
    room = max(8, int(width / (CHARACTER * height)))
    lines: list[list[str]] = [[]]
    for word in words(text):
        if _longest(word) > room and word == in_unit(word, "mm"):
            fitting = word[: room - 1] + "…"
        else:
            fitting = word
        if lines[-1] and _longest(" ".join([*lines[-1], fitting])) > room:
            lines.append([])
        lines[-1].append(fitting)
    if len(lines) > most:
        lines = lines[:most]
        while len(lines[-1]) > 1 and _longest(" ".join([*lines[-1], "…"])) > room:
            lines[-1].pop()
        lines[-1].append("…")
    return [" ".join(line) for line in lines]


def _longest(text: str) -> int:
    return max(len(in_unit(text, unit)) for unit in ("mm", "in"))


def findings_column(entries: Sequence[LegendEntry], width: float, most: float) -> tuple[KeyColumn, int]:
    """The findings, the worst first, as many as fit.

    Args:
        entries: of `drawing_legend`.
        width: mm.
        most: mm of height.

    Returns:
        The column, and how many findings have their number in it.
    """
    column = KeyColumn(width)
    said = [entry for entry in entries if entry.kind == "finding"]
    shown = 0
    for i, entry in enumerate(said):
        text = (
            f"{entry.severity}: {printable_line(entry.heading)}"
            if entry.severity != "note"
            else printable_line(entry.heading)
        )
        trial = KeyColumn(width)
        trial.add("finding", entry.mark, text, "strong" if entry.severity == "error" else "note")
        left = len(said) - i - 1
        if column.height + trial.height + (PITCH if left else 0.0) > most:
            column.add("finding", "", f"and {len(said) - i} more like these", "note")
            break
        column.rows += trial.rows
        column.indents += trial.indents
        shown += bool(entry.mark)
    return column, shown


def lines_column(
    entries: Sequence[LegendEntry],
    roles: Sequence[str],
    outside: Sequence[tuple[str, Reason]],
    more: int,
    runs: int,
    width: float,
    most: float,
    lettered: bool = True,
) -> KeyColumn:
    """What the lines mean, then what was left out.

    Args:
        entries: of `drawing_legend`.
        roles: keys of `LINES` that occur in the picture.
        outside: kinds and reasons of things left out that all lie outside the picture.
        more: how many shapes of left-out things are not drawn.
        runs: how many runs there are.
        width, most: mm.
        lettered: whether ends have letters; else a dot where a tube starts.
    """
    column = KeyColumn(width)
    for role, meaning in LINES.items():
        if role in roles:
            column.add("line", role, meaning)
    if runs:
        words = "where a tube starts and stops" if lettered else "where a tube starts: its end A"
        column.add("ends", "A" if lettered else "", words + (" (of some tubes)" if runs > NAMED else ""))
    left = [entry for entry in entries if entry.kind == "left out"]
    for i, entry in enumerate(left):
        text = printable_line(entry.heading) + (
            " (outside the picture)" if entry.mark and entry.left in outside else ""
        )
        trial = KeyColumn(width)
        trial.add("left out", entry.mark or "–", text)
        if column.height + trial.height + (PITCH if i + 1 < len(left) else 0.0) > most:
            column.add("left out", "", f"and {len(left) - i} more kinds")
            break
        column.rows += trial.rows
        column.indents += trial.indents
    if more and column.height + PITCH <= most:
        column.add("left out", "", f"{more} more shapes are not drawn")
    return column


def printable_line(text: str) -> str:
    """A text in one line without what does not show; what `BothUnits` wrote stays."""
    return " ".join(words(rewritten(text, lambda one: "".join(c if c.isprintable() else " " for c in one))))
