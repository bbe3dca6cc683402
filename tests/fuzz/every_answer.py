"""Everything that is told of a drawing, from one reading: documents, rows of CSV files, texts of the job sheet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, is_dataclass
from fractions import Fraction
from typing import Any

from ezdxf.math import Matrix44, Vec3
from pypdf import PdfReader
from sheet_tools import packed_block

from converter.exporters.data.cope_csv import cope_csv
from converter.exporters.data.cope_json import job_cope
from converter.exporters.data.cutlist import cutlist_csv, cutlist_document
from converter.exporters.data.points_csv import points_csv
from converter.exporters.data.quote import quotation_csv, quotation_document
from converter.exporters.data.setup_csv import setup_csv
from converter.exporters.data.setup_json import job_setup
from converter.exporters.data.table_csv import table_text
from converter.exporters.data.table_json import audit_document, job_table
from converter.exporters.sheet.content import PartPage, job_sheet
from converter.exporters.sheet.html import html_text
from converter.exporters.sheet.pdf.write import sheet_pdf
from converter.exporters.sheet.view import part_view, quotation_view
from converter.exporters.sheet.whole import bars_views
from converter.job import Job
from converter.job.cutlist import cut_list
from converter.job.quotation import quotation
from converter.units import BothUnits, in_unit

#: What each command's ``--json`` says, but for where its files are.
COMMANDS = ("table", "audit", "setup", "cope", "cutlist", "quote")
Rows = list[dict[str, str]]


@dataclass(frozen=True)
class Answers:
    """Of one drawing.

    Attributes:
        documents: of each command, as its ``--json``.
        lists: rows of each CSV file, by column.
        sheet: texts of the job sheet, by part and by what else it has; each in mm and in inches.
    """

    documents: dict[str, Any]
    lists: dict[str, Rows]
    sheet: dict[str, list[str]]


def every_answer(job: Job) -> Answers:
    """All of it."""
    cuts, estimate, shown = cut_list([job]), quotation(job), job.shown
    documents = {
        "table": job_table(job, shown.reading_findings),
        "audit": audit_document([job]),
        "setup": job_setup(job),
        "cope": job_cope(job),
        "cutlist": cutlist_document([job], cuts),
        "quote": quotation_document(job, estimate),
    }
    texts = {
        "table": table_text(shown.tubes, job.display),
        "points": points_csv(shown.tubes, job.display),
        "setup": setup_csv(shown.setups, job.display, shown.findings),
        "cope": cope_csv(shown.joints, job.display),
        "cutlist": cutlist_csv(cuts, job.display),
        "quote": quotation_csv(estimate, job.display),
    }
    return Answers(
        documents, {name: list(csv.DictReader(io.StringIO(text))) for name, text in texts.items()}, sheet(job)
    )


def sheet(job: Job) -> dict[str, list[str]]:
    """What the job sheet says in words and numbers, before it is laid out for HTML or paper."""
    page, both = job_sheet([job], quote=True), BothUnits("mm", fraction=16)
    found = {part.name: [*_texts(part_view(part, both))] for part in page.parts}
    if page.cuts is not None:
        found |= {f"bars of {view.title}": [*_texts(view)] for view in bars_views(page.cuts, both)}
    prices = quotation_view(page.drawings[0], both)
    assert prices is not None
    # a row for each part in the drawing's order, its name first
    found["quotation"] = [prices.rates, *prices.notes, *sorted(" | ".join(row[1:]) for row in prices.rows)]
    return {name: [in_unit(text, unit) for unit in ("mm", "in") for text in texts] for name, texts in found.items()}


def on_screen(job: Job) -> list[str]:
    """Every text of the HTML sheet that depends on the unit, in all its roundings."""
    found: list[str] = packed_block(html_text(job_sheet([job], quote=True)), "texts")["texts"]
    return found


#: What differs from drawing to drawing: the mark of a paper, and how many curves there were.
_OF_DRAWING = re.compile(r"\b[0-9a-f]{10}\b|from \d+ drawn curves")


def on_paper(job: Job) -> list[str]:
    """The words and numbers of the PDF sheet, page by page."""
    pages = PdfReader(io.BytesIO(sheet_pdf(job_sheet([job], quote=True)))).pages
    return [" ".join(_OF_DRAWING.sub("", page.extract_text()).split()) for page in pages]


def same_texts(one: Iterable[str], other: Iterable[str], within: float) -> None:
    """Text by text: the same words, and numbers but for a step of rounding in few of them."""
    one, other = list(one), list(other)
    wrong, steps = _texts_differ(one, other, within)
    assert wrong == [] and steps <= 0.01 * len(one), (wrong, steps)


def _texts(value: Any) -> Iterator[str]:
    """Every text of a view, in order."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from _texts(one)
    elif is_dataclass(value) and not isinstance(value, PartPage):
        for each in fields(value):
            yield from _texts(getattr(value, each.name))


#: Coordinates, and what is told of a zero line, go by where the tube lies.
_PLACE = re.compile(r"\(-?\d[\d./ -]*(?:,\s-?\d[\d./ -]*){1,2}\)|zero line is[^.;]*")
_NUMBER = re.compile(r"-?\d+(?:\.\d+|-\d+/\d+|/\d+)?")


def _parts(text: str) -> tuple[str, list[tuple[float, float]]]:
    """A text without its numbers and places, and each number with the step that it is rounded to."""
    text = _PLACE.sub("", text)
    return _NUMBER.sub("#", text), [_number(one) for one in _NUMBER.findall(text)]


def _number(text: str) -> tuple[float, float]:
    whole, _, fraction = text.lstrip("-").rpartition("-") if "/" in text else (text, "", "")
    sign = -1.0 if text.startswith("-") else 1.0
    if fraction or "/" in text:
        part = Fraction(fraction or text.lstrip("-"))
        return sign * (float(whole or 0) + float(part)), 1.0 / 16.0
    return float(text), 10.0 ** -len(text.partition(".")[2])


#: What an answer is told as, to be compared: as it stands, or without what turns the other way in a mirror.
AS_IT_STANDS = re.compile(r"(?!)")
IN_A_MIRROR = re.compile(r"counter-(?=clockwise)|(?<![\d.])-(?=\d)|^M[\d.].*Z$")  # the last is a picture of a turn
_POINT = re.compile(r"(.*?)_?x_mm$")
#: What tells a row from others of its file; a piece goes by its length, since equal ones are named by the first drawn.
_ROW = ("section", "stop_mm", "stick_mm", "tube", "bend", "point", "end")
#: Columns that go by the order of a drawing, or by a zero line.
_BY_ORDER = {
    "pattern", "cut", "from_front_mm", "left_over_mm", "left_over_is", "bars", "turn_bar_deg", "front_end",
    "head_angle_deg", "bar_mm", "from", "names", "zero_line", "layer", "piece", "part",
}  # fmt: skip
_AXES = re.compile(r"(.*_)?[xyz]_mm$|(?:direction|normal)_[xyz]$")
#: Which of two is the mirror image, and of two that are as long stands first, goes by the drawing's order.
_TWIN = re.compile(
    r"ARM-[LR]|SILL|HEAD|its mirror image is|mirror image of|: every turn the other way"
    r"|: (the same bends, )?its cuts the other way round"
)


def same_lists(
    one: dict[str, Rows], other: dict[str, Rows], within: float, move: Matrix44, told: re.Pattern[str] = AS_IT_STANDS
) -> None:
    """Every cell of every CSV file; points and directions are where the drawing was moved to."""
    assert one.keys() == other.keys()
    for name in one:
        first, second = (sorted(rows[name], key=_order) for rows in (one, other))
        assert len(first) == len(second) > 0
        for a, b in zip(first, second, strict=True):
            assert a.keys() == b.keys()
            for key in a.keys() - _BY_ORDER:
                if not _AXES.match(key):
                    _same_cell(told.sub("", a[key]), told.sub("", b[key]), within, f"{name}: {key} of {a}")
            for key in [match[1] for match in map(_POINT.match, a) if match]:
                was, now = (_point(row, f"{key}_" if key else "", "_mm") for row in (a, b))
                assert (was is None) == (now is None)
                assert was is None or move.transform(was).distance(now) <= within + 2e-6, (name, key, a, b)
            was, now = (_point(row, "direction_", "") for row in (a, b))
            assert was is None or move.transform_direction(was).distance(now) <= 1e-6, (name, a, b)


def _order(row: dict[str, str]) -> list[str]:
    cells = [row.get(key, "") for key in _ROW]
    return [str(round(float(c), 3)) if "." in c and c.replace(".", "").isdigit() else c for c in cells]


def _point(row: dict[str, str], before: str, after: str) -> Vec3 | None:
    cells = [row.get(f"{before}{axis}{after}", "") for axis in "xyz"]
    return Vec3(*map(float, cells)) if all(cells) else None


def _same_cell(one: str, other: str, within: float, place: str) -> None:
    """Words to the letter, numbers to a hair and the last digit that is written."""
    if one != other:
        assert one and other and {*one, *other} <= set("-0123456789.e"), (place, one, other)
        off = abs(float(one) - float(other))
        assert off <= within + 2e-6 + 1e-6 * abs(float(one)) * ("weld" in place), place


def same_sheets(
    one: dict[str, list[str]], other: dict[str, list[str]], within: float, told: re.Pattern[str] = AS_IT_STANDS
) -> None:
    """Every text of the job sheet; few of them are rounded the other way."""
    one, other = ({name.replace("SILL", "HEAD"): texts for name, texts in each.items()} for each in (one, other))
    assert one.keys() == other.keys()
    names = sorted(one)
    told_of = (
        [_TWIN.sub("", told.sub("", text)).strip() for name in names for text in each[name]] for each in (one, other)
    )
    same_texts(*told_of, within)


def _texts_differ(one: Iterable[str], other: Iterable[str], within: float) -> tuple[list[tuple[str, str]], int]:
    """Texts that differ by more than a step of rounding (whole numbers at all), and how many differ by one."""
    wrong, steps = [], 0
    for a, b in zip(one, other, strict=True):
        if a == b:
            continue
        (words, numbers), (said, others) = _parts(a), _parts(b)
        if words != said or any(
            abs(x - y) > within + (1.001 * step if step < 1.0 else 0.0)
            for (x, step), (y, _) in zip(numbers, others, strict=True)
        ):
            wrong.append((a, b))
        steps += numbers != others
    return wrong, steps
