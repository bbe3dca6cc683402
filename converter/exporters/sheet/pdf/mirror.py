"""A bent part beside its mirror image: two pictures, and a table in which only what differs is written twice.

Where the page has no room for the pictures, the table alone.
"""

from __future__ import annotations

from converter.bending.setup.words import SetupView
from converter.exporters.paper.figure import Point
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.run.picture import isometric_picture
from converter.exporters.pictures.run.sketch import Sketches
from converter.exporters.sheet.content import PartPage
from converter.exporters.sheet.pdf.flow import Cell, Flow, TableColumn
from converter.exporters.sheet.pdf.frame import BODY, SMALL
from converter.units import Display

#: Least and greatest height of the pictures, and what headings and words around them take, mm.
_LEAST, _MOST, _AROUND = 45.0, 80.0, 29.0
#: Height of a row of the table, mm.
_ROW = 5.4
#: Stands where the mirror image has the same.
_SAME = "="


def mirror_pair(flow: Flow, part: PartPage, other: PartPage, display: Display, sketches: Sketches) -> bool:
    """Lay a part and its mirror image out side by side where the page has room for it; whether it had.

    Args:
        flow: where to.
        part: whose page it is; it stands at the left.
        other: its mirror image, or what it is the mirror image of; its bends have the same numbers.
        display: how lengths are shown, in one unit.
        sketches: of the job.
    """
    alike = part.part.bends_alike_mirrored
    rows = [] if alike else _rows(part, other, display)
    tall = min(_MOST, flow.room - _AROUND - _ROW * len(rows))
    if tall < 0.0:
        return False
    flow.heading(f"{part.name} beside its mirror image {other.name}", keep=tall if tall >= _LEAST else 20.0)
    if tall >= _LEAST:
        size = (flow.width - 4.0) / 2.0, tall
        flow.side_by_side([_picture(one, display, size, sketches) for one in (part, other)], display.unit)
    if alike:
        flow.paragraph("They are bent alike. Only the cuts are the other way round: each has its own templates.", SMALL)
        return True
    here, there = (one.name if len(one.name) <= 16 else f"{one.name[:15]}…" for one in (part, other))
    columns = (
        TableColumn("bend", 10, "center", bold=True),
        TableColumn(f"rotation: {here}", 24, "right"),
        TableColumn(there, 24, "right", bold=True),
        TableColumn(f"mark from A: {here}", 24, "right"),
        TableColumn(there, 24, "right", bold=True),
        TableColumn(f"turn before it: {here}", 42),
        TableColumn(there, 42, bold=True),
    )
    flow.table(columns, rows, BODY)
    flow.space(1.0)
    words = f"{_SAME}: as at the left. These are two parts: neither comes out right by the other's numbers."
    flow.paragraph(words, SMALL)
    return True


def _picture(part: PartPage, display: Display, size: Point, sketches: Sketches) -> Picture:
    first = part.setup.feed_from if part.setup is not None and part.setup.steps else "A"
    return isometric_picture(
        part.tube,
        display,
        size=size,
        findings=part.own_findings,
        joints=part.joints,
        fed_from=first,
        least_text=SMALL,
        sketches=sketches,
    )


def _rows(part: PartPage, other: PartPage, display: Display) -> list[list[Cell]]:
    """A row for each bend: rotation, mark and turn here, and there where they differ."""
    rows: list[list[Cell]] = []
    here, there = (_numbers(one, display) for one in (part, other))
    for number, (a, b) in enumerate(zip(here, there, strict=True), 1):
        cells: list[Cell] = [str(number)]
        for mine, theirs in zip(a, b, strict=True):
            cells += [mine, _SAME if theirs == mine else theirs]
        rows.append(cells)
    return rows


def _numbers(part: PartPage, display: Display) -> list[tuple[str, str, str]]:
    """Of every bend from end A: rotation, mark from end A, turn of the tube before it."""
    found = []
    sheet = None if part.setup is None else SetupView(part.setup, display, part.refusal)
    steps = {step.bend: (i, step) for i, step in enumerate(part.setup.steps)} if part.setup is not None else {}
    for number, bend in enumerate(part.tube.run.table.bends, 1):
        rotation = display.angle(bend.rotation) if number > 1 else "–"
        mark = turn = "–"
        if sheet is not None and number in steps and number not in sheet.refused:
            i, step = steps[number]
            mark = display.number(sheet.mark("A", step))
            turn = "as loaded" if i == 0 else sheet.turn(step) if step.turn_set else "no turn"
        found.append((rotation, mark, turn))
    return found
