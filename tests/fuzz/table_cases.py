"""Tables to try: bend tables and points as CSV, bend tables as JSON; mutated by cell, by row, by key and by byte."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from random import Random
from typing import Any

from mesh_cases import _change_node
from wild import FuzzCase, damaged_lines, encoded, name, number, scrambled
from words import reading_words

Rows = list[list[str]]

_HEADS = (
    "tube", "bend", "feed_mm", "rotation_deg", "angle_deg", "clr_mm", "tail_mm", "developed_length_mm", "layer",
    "closed", "section",
    "od_mm", "wall_mm", "height_mm", "corner_mm", "start_x_mm", "direction_x", "normal_z", "x", "y", "z", "x_in",
    "feed", "Feed [in]",
    "Radius (mm)", "drawn_sharp", "point", "qty", "Y", "B", "C", "LRA", "", "feed_mm", "straight", "roll", "twist",
)  # fmt: skip


def csv_case(rng: Random) -> FuzzCase:
    """A table as CSV and a command that reads it."""
    rows = [list(row) for row in rng.choice(_tables())]
    for _ in range(rng.choice((0, 1, 1, 2, 4))):
        rng.choice(_ON_ROWS)(rows, rng)
    delimiter = rng.choice((",", ",", ",", ";", "\t", "|"))
    end = rng.choice(("\n", "\r\n", "\r", "\n\n"))
    text = end.join(delimiter.join(_cell(cell, delimiter, rng) for cell in row) for row in rows) + end
    roll = rng.random()
    if roll < 0.1:
        data = scrambled(encoded(text), rng)
    elif roll < 0.2:
        data = encoded(damaged_lines(text, rng), rng)
    else:
        data = encoded(text, rng)
    return FuzzCase(reading_words(rng, "{0}"), (("a.csv", data),), 0 if rng.random() < 0.1 else None)


def json_case(rng: Random) -> FuzzCase:
    """A bend table as JSON and a command that reads it."""
    document = json.loads(rng.choice(_documents()))
    for _ in range(rng.choice((0, 1, 1, 1, 2, 4))):
        _change_node(document, rng)
    text = json.dumps(document, ensure_ascii=rng.random() < 0.5)
    if rng.random() < 0.2:
        text = text.replace(
            rng.choice(("{", "[", '"', ":", ",")), rng.choice(("{", "[", '"', "", "[" * 100, "/*", "NaN")), 1
        )
    data = encoded(text, rng)
    return FuzzCase(
        reading_words(rng, "{0}"),
        (("a.json", scrambled(data, rng) if rng.random() < 0.2 else data),),
        0 if rng.random() < 0.1 else None,
    )


def _cell(text: str, delimiter: str, rng: Random) -> str:
    if any(mark in text for mark in (delimiter, '"', "\n", "\r")) and rng.random() < 0.9:
        return '"' + text.replace('"', '""') + '"'
    return text


@cache
def _tables() -> tuple[Rows, ...]:
    made = [_ours(), _points()]
    made.append(
        [
            ["bend", "feed_mm", "rotation_deg", "angle_deg", "clr_mm"],
            ["1", "300", "0", "90", "100"],
            ["2", "200", "45", "60", "100"],
            ["tail", "250", "", "", ""],
        ]
    )
    made.append(
        [
            ["Feed [in]", "Rotation", "Angle", "Radius (in)"],
            ["12", "0", "90", "4.5"],
            ["8", "-90", "45", "4.5"],
            ["10", "", "", ""],
        ]
    )
    made.append([["x", "y", "z"], ["0", "0", "0"], ["300", "0", "0"], ["300", "300", "0"], ["300", "300", "400"]])
    made.append([["0", "0", "0"], ["300", "0", "0"], ["300", "300", "0"]])
    made.append(
        [
            ["# a note"],
            ["tube", "x_in", "y_in", "z_in", "clr_in"],
            ["A", "0", "0", "0", ""],
            ["A", "12", "0", "0", "4"],
            ["", "12", "12", "0", ""],
            ["B", "0", "0", "9", ""],
            ["B", "0", "40", "9", ""],
        ]
    )
    return tuple(made)


def _ours() -> Rows:
    import csv
    from io import StringIO

    from converter.exporters.data.table_csv import table_text

    return list(csv.reader(StringIO(table_text(_two_tubes(), _display("mm")))))


def _points() -> Rows:
    import csv
    from io import StringIO

    from converter.exporters.data.points_csv import points_csv

    return list(csv.reader(StringIO(points_csv(_two_tubes(), _display("in")))))


def _display(unit: str) -> Any:
    from converter.units import Display

    return Display(unit, 16 if unit == "in" else None)


def _two_tubes() -> list[Any]:
    from tubes import run_of, tube_of

    from converter.model.section import Section

    return [
        tube_of(
            run_of([(300.0, 0.0, 90.0, 100.0), (200.0, 45.0, 60.0, 100.0)], 250.0, name="RAIL"),
            Section("round", 40.0, 2.0),
        ),
        tube_of(run_of([(100.0, 0.0, 30.0, None)], 80.0, name="LEG"), None),
    ]


@cache
def _documents() -> tuple[str, ...]:
    from jobs import job_of

    from converter.exporters.data.table_json import dumps, job_table

    tubes = _two_tubes()
    return tuple(
        dumps(job_table(job_of(some, display=_display(unit)), ()))
        for some, unit in ((tubes, "mm"), (tubes[:1], "in"), (tubes[1:], "mm"))
    )


# --- mutators of rows ----------------------------------------------------------------------------


def _recell(rows: Rows, rng: Random) -> None:
    row = rng.choice(rows[1:] or rows)
    if row:
        row[rng.randrange(len(row))] = rng.choice(
            (number(rng), number(rng), name(rng), "4.5in", '1 3/4"', "tail", "yes", "12,5", "=1+1", "90°")
        )


def _rehead(rows: Rows, rng: Random) -> None:
    row = rows[0]
    if row:
        row[rng.randrange(len(row))] = rng.choice(_HEADS) if rng.random() < 0.8 else name(rng)


def _drop_column(rows: Rows, rng: Random) -> None:
    at = rng.randrange(max(map(len, rows)) or 1)
    for row in rows:
        del row[at : at + 1]


def _swap_columns(rows: Rows, rng: Random) -> None:
    wide = min(map(len, rows))
    if wide > 1:
        a, b = rng.sample(range(wide), 2)
        for row in rows:
            row[a], row[b] = row[b], row[a]


def _ragged(rows: Rows, rng: Random) -> None:
    row = rng.choice(rows)
    at = rng.randrange(len(row) + 1)
    row[at:at] = [rng.choice(("", number(rng)))] * rng.choice((1, 2, 100))


def _shorter(rows: Rows, rng: Random) -> None:
    row = rng.choice(rows)
    del row[rng.randrange(len(row) + 1) :]


def _drop_row(rows: Rows, rng: Random) -> None:
    if len(rows) > 1:
        del rows[rng.randrange(len(rows))]


def _double_row(rows: Rows, rng: Random) -> None:
    at = rng.randrange(len(rows))
    rows[at:at] = [list(rows[at]) for _ in range(rng.choice((1, 1, 3, 400)))]


def _shuffle(rows: Rows, rng: Random) -> None:
    body = rows[1:]
    rng.shuffle(body)
    rows[1:] = body


_ON_ROWS: tuple[Callable[[Rows, Random], None], ...] = (
    _recell, _recell, _recell, _recell, _recell, _rehead, _drop_column, _swap_columns, _ragged, _shorter, _drop_row,
    _double_row, _shuffle,
)  # fmt: skip
