"""Parts as text: what stands below the name of each, and how many of what are cut."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence

from converter.cli.screens.grid import Grid, fill
from converter.model.part import Part
from converter.quoting import one_line
from converter.words import mirror_text, part_tubes_text


def part_lines(part: Part) -> list[str]:
    """The tubes of a part by name, and what it mirrors, wrapped; nothing of a single tube."""
    return [fill(one_line(words), "  ") for words in (part_tubes_text(part), mirror_text(part)) if words]


def part_marks(part: Part, marks: Mapping[tuple[str, int], str]) -> dict[tuple[str, int], str]:
    """What is said of bends of any of its tubes, as of its first one: (its name, bend) -> the worst severity."""
    found: dict[tuple[str, int], str] = {}
    for name in part.names:
        for bend in range(1, len(part.first.run.table.bends) + 1):
            severity = marks.get((name, bend))
            key = part.first.name, part.bend_of(name, bend)
            if severity and found.get(key) != "error":
                found[key] = severity
    return found


def to_cut_text(rows: Sequence[tuple[Part, str, str]], not_yet: Container[str] = ()) -> str:
    """How many of each part are cut how long.

    Args:
        rows: part, cut length and section of each, as shown.
        not_yet: names of the parts of which no stick is cut yet.
    """
    cells = [
        ["not yet" if part.name in not_yet else f"{len(part.tubes)} x", length, section, one_line(part.name)]
        for part, length, section in rows
    ]
    return Grid(["to cut", "cut length", "section", "part"], cells, "rrll").text()
