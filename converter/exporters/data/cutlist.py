"""A cutting list as JSON, ``elbowroom/cutlist/1``, and as CSV (RFC 4180): a row per cut. docs/cutlist.md"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from converter.exporters.data.table_csv import (
    csv_text,
    degrees_cell,
    flat_cells,
    flat_heads,
    length_cells,
    length_heads,
    text_cell,
)
from converter.exporters.data.table_json import finding_value, saw_cuts_value, section_value
from converter.job import Job
from converter.job.cutlist import CutGroup, CutList, Supply
from converter.units import Display


def cutlist_document(jobs: Sequence[Job], cuts: CutList) -> dict[str, Any]:
    """The document; lengths mm, masses kg, prices in the shop's currency.

    Args:
        jobs: that were asked for it.
        cuts: their list.
    """
    saw = jobs[0].shop.cutting.saw
    return {
        "schema": "elbowroom/cutlist/1",
        "sources": [job.source for job in jobs],
        "shop": jobs[0].shop.name,
        "jobs": cuts.quantities.jobs,
        "currency": cuts.currency,
        "saw": {
            "kerf": saw.kerf,
            "trim": saw.trim,
            "grip": saw.grip,
            "keep": jobs[0].shop.cutting.keep,
            "mitre": cuts.mitre,
        },
        "groups": [_group(group) for group in cuts.groups],
        "findings": [finding_value(finding, jobs[0].display) for finding in cuts.findings],
    }


def _group(group: CutGroup) -> dict[str, Any]:
    plan = group.plan
    value: dict[str, Any] = {
        "section": section_value(group.section),
        "metal": group.metal,
        "pieces": [
            {"name": piece.name, "length": piece.length, "count": piece.count,
             "lacking": group.lacking[i], **saw_cuts_value(piece.cuts)}
            for i, piece in enumerate(group.pieces)
        ],
        "patterns": [],
        "bought": [_bars(supply, times) for supply, times in group.bought],
        "taken": [_bars(supply, times) for supply, times in group.on_hand],
        "drops": [{"length": length, "count": count} for length, count in group.drops],
        "bars_length": group.bars_length,
        "pieces_length": group.pieces_length,
        "mass_bought": None if group.kg_per_mm is None else
        group.kg_per_mm * sum(supply.stick.length * times for supply, times in group.bought),
        "price": group.price,
    }  # fmt: skip
    if plan is None:
        return value
    value["patterns"] = [
        {
            "bar": plan.bars[pattern.bar].length,
            "from": group.supplies[pattern.bar].origin,
            "times": pattern.times,
            "pieces": [group.pieces[i].name for i in pattern.pieces],
            "stops": [plan.pieces[i].length for i in pattern.pieces],
            "from_front": list(pattern.cut_places(plan.pieces, plan.saw)),
            "head_angles": group.head_angles(pattern),
            "front_ends": ["B" if is_turned else "A" for is_turned in pattern.turned],
            "bar_turns": group.bar_turns(pattern),
            "left_over": group.left(pattern),
        }
        for pattern in plan.patterns
    ]
    value["least"] = {
        "of": "price" if group.by_price else "length",
        "bought": plan.cost, "bound": plan.bound, "gap": plan.gap,
        "taken": plan.on_hand, "taken_bound": plan.on_hand_bound,
    }  # fmt: skip
    return value


def _bars(supply: Supply, times: int) -> dict[str, Any]:
    return {"length": supply.stick.length, "count": times, "from": supply.origin, "price": supply.price}


def cutlist_csv(cuts: CutList, display: Display) -> str:
    """A row per piece, with CRLF line ends. Bars that are cut alike stand once, with how many there are.

    Args:
        cuts: the list.
        display: unit of the lengths.
    """
    pieces = [piece.cuts for group in cuts.groups for piece in group.pieces]
    flats_a = flat_heads("flat_cut_a", (one.a for one in pieces if one.a is not None))
    flats_b = flat_heads("flat_cut_b", (one.b for one in pieces if one.b is not None))
    heads = [
        "section", "metal", "pattern", "bars", *length_heads("bar", display), "from", "cut", "piece",
        *length_heads("stop", display), *length_heads("from_front", display), "saw_angle_a", "saw_angle_b",
        *length_heads("left_over", display), "left_over_is", "head_angle_deg", "front_end", "turn_bar_deg",
        *flats_a, *flats_b,
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
                ends = piece.cuts
                sawn = any(one.angle for end in ends.by_end.values() for one in end.saw_cuts)
                rows.append([
                    text_cell(group.section.words(display)), text_cell(group.metal or ""), str(n), str(pattern.times),
                    *length_cells(supply.stick.length, display), supply.origin, str(cut), text_cell(piece.name),
                    *length_cells(plan.pieces[i].length, display), *length_cells(at, display),
                    degrees_cell(ends.saw_angle("A")), degrees_cell(ends.saw_angle("B")),
                    *length_cells(left if last else None, display),
                    ("drop" if group.is_drop(left) else "scrap") if last else "", degrees_cell(head),
                    ("B" if is_turned else "A") if sawn else "", degrees_cell(turn),
                    *flat_cells(flats_a, ends.a), *flat_cells(flats_b, ends.b),
                ])  # fmt: skip
    return csv_text(heads, rows)
