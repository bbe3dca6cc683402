"""A cutting list as CSV (RFC 4180): a row per cut, bar after bar, in the order they are made. docs/cutlist.md"""

from __future__ import annotations

from converter.exporters.data.cells import csv_text, degrees_cell, length_cells, length_heads
from converter.exporters.data.table_csv import text_cell
from converter.job.cutlist import CutList
from converter.units import Display


def cutlist_csv(cuts: CutList, display: Display) -> str:
    """A row per piece, with CRLF line ends. Bars that are cut alike stand once, with how many there are.

    Args:
        cuts: the list.
        display: unit of the lengths.
    """
    heads = [
        "section", "metal", "pattern", "bars", *length_heads("bar", display), "from", "cut", "piece",
        *length_heads("stop", display), *length_heads("from_front", display), "saw_angle_a", "saw_angle_b",
        *length_heads("left_over", display), "left_over_is", "head_angle_deg", "front_end", "turn_bar_deg",
    ]  # fmt: skip
    rows = []
    for group in cuts.groups:
        plan = group.plan
        if plan is None:
            continue
        for n, pattern in enumerate(plan.patterns, 1):
            supply = group.supplies[pattern.bar]
            left = group.left(pattern)
            cuts_of = zip(
                pattern.pieces, pattern.cut_places(plan.pieces, plan.saw), group.head_angles(pattern), pattern.turned,
                group.bar_turns(pattern), strict=True,
            )  # fmt: skip
            for cut, (i, at, head, is_turned, turn) in enumerate(cuts_of, 1):
                piece, last = group.pieces[i], cut == len(pattern.pieces)
                angles = dict(piece.saw_angles)
                rows.append([
                    text_cell(group.section.words(display)), text_cell(group.metal or ""), str(n), str(pattern.times),
                    *length_cells(supply.stick.length, display), supply.origin, str(cut), text_cell(piece.name),
                    *length_cells(plan.pieces[i].length, display), *length_cells(at, display),
                    degrees_cell(angles.get("A")), degrees_cell(angles.get("B")),
                    *length_cells(left if last else None, display),
                    ("drop" if group.is_drop(left) else "scrap") if last else "", degrees_cell(head),
                    ("B" if is_turned else "A") if any(angles.values()) else "", degrees_cell(turn),
                ])  # fmt: skip
    return csv_text(heads, rows)
