"""The bend table as CSV: RFC 4180, UTF-8, a header row with units in the names; reads back.

One row per bend and one ``tail`` row per tube, tube by tube. What belongs to the tube as a
whole (layer, section, placement) stands on the tube's first row. docs/table-csv.md
describes every column; `converter.importers.tables.bend_csv` reads it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from math import isfinite
from typing import TYPE_CHECKING

from converter.errors import WriteError
from converter.model.end_cuts import EndCut
from converter.model.run import Tube
from converter.units import Display, fraction_text

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job

# Blanks, quotes and other locales' separators, then a character that begins a formula.
_FORMULA = re.compile(r"""(?:\A["'\s;|]*+|(?<!["'\s;|])["'\s;|]++)(?=[=+\-@＝＋－＠])""")
_QUOTED = frozenset(',;\t|"\r\n')
_DECIMALS = 6
#: Columns for the saw cuts of an end that several flats end: more only where one has more.
_FLATS = 2


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem.csv``."""
    text = table_text(job.shown.tubes, job.display)
    out.path(f"{options.stem}.csv").write_text(text, encoding="utf-8", newline="")


def table_text(tubes: Iterable[Tube], display: Display | None = None) -> str:
    """The bend tables as CSV text with CRLF line ends.

    Args:
        tubes: in order.
        display: unit of the lengths. With a denominator, columns of fractions stand beside the
            exact decimals, for people; reading back takes the decimals.

    Raises:
        WriteError: a value is not a finite number.
    """
    show = display or Display()
    lines = [",".join(_header(show))]
    for tube in tubes:
        lines.extend(",".join(row) for row in _rows(tube, show))
    return "\r\n".join(lines) + "\r\n"


def text_cell(text: str) -> str:
    """A text so that no spreadsheet reads it as a formula and every reader keeps it whole.

    A ``'`` guards each place where a formula could begin, also for a spreadsheet that splits
    at ``;``, ``|`` or tabs; our reader takes it off again. A null character, which CSV readers
    refuse, and half a surrogate pair are shown as replaced.
    """
    text = text.replace("\0", "\ufffd").encode("utf-8", "replace").decode()
    text = _FORMULA.sub(_guarded, text)
    if not _QUOTED.isdisjoint(text) or text != text.strip():
        return '"' + text.replace('"', '""') + '"'
    return text


def _guarded(match: re.Match[str]) -> str:
    run = match[0]
    # in the middle of a text only a separator makes the start of a cell
    return run + "'" if match.start() == 0 or not {";", "|", "\t", "\r", "\n"}.isdisjoint(run) else run


#: Decimals of angles in degrees and of lengths in either unit: what reads back to 1e-6 degrees and 1e-6 mm, no more.
_ANGLE, _LENGTH = 6, {"mm": 6, "in": 8}
#: Decimals of directions: ten metres away that is 1e-8 mm.
_DIRECTION = 12


def number_cell(value: float, decimals: int = 12) -> str:
    """A number that reads back to ``10**-decimals``: shortest form, decimal point, no thousands mark.

    Raises:
        WriteError: it is not finite.
    """
    if not isfinite(value):
        raise WriteError("A bend table holds a number that is not finite, so it cannot be written as CSV.")
    text = repr(round(value, decimals))
    if text.endswith(".0"):
        text = text[:-2]
    return "0" if text == "-0" else text


def fraction_cell(inches: float, denominator: int) -> str:
    """Inches as ``4 1/2`` or ``0 1/2``: the form a spreadsheet takes for a number, never for a date."""
    text = fraction_text(inches, denominator)
    sign, text = ("-", text[1:]) if text.startswith("-") else ("", text)
    if "/" not in text:
        return sign + text
    return sign + (text.replace("-", " ") if "-" in text else f"0 {text}")


def _header(show: Display) -> list[str]:
    u = show.unit

    def length(name: str) -> list[str]:
        return [f"{name}_{u}", f"{name}_{u}_fraction"] if show.denominator else [f"{name}_{u}"]

    return [
        "tube", "bend", *length("feed"), "rotation_deg", "angle_deg", *length("clr"),
        *length("bend_start"), *length("bend_end"), *length("developed_length"),
        f"clr_plus_minus_{u}", "drawn_sharp",
        "layer", "closed", "section", "section_label",
        f"od_{u}", f"wall_{u}", f"height_{u}", f"corner_{u}",
        f"start_x_{u}", f"start_y_{u}", f"start_z_{u}",
        "direction_x", "direction_y", "direction_z", "normal_x", "normal_y", "normal_z",
    ]  # fmt: skip


def _rows(tube: Tube, show: Display) -> Iterable[list[str]]:
    per_unit = 25.4 if show.unit == "in" else 1.0
    gap = [""] * (2 if show.denominator else 1)

    decimals = _LENGTH[show.unit]

    def length(mm: float) -> list[str]:
        cells = [number_cell(mm / per_unit, decimals)]
        if show.denominator:
            cells.append(fraction_cell(mm / per_unit, show.denominator))
        return cells

    run, name = tube.run, text_cell(tube.name)
    whole = _whole(tube, per_unit, decimals)
    blank = [""] * len(whole)
    at = 0.0
    for i, bend in enumerate(run.table.bends, start=1):
        begin = at + bend.feed
        at = begin + bend.arc_length
        yield [
            name, str(i), *length(bend.feed), number_cell(bend.rotation, _ANGLE), _angle_cell(bend.angle),
            *(gap if bend.clr is None else length(bend.clr)),
            *length(begin), *length(at), *gap,
            number_cell(bend.clr_uncertainty / per_unit, decimals), "yes" if bend.corner else "no",
            *(whole if i == 1 else blank),
        ]  # fmt: skip
    yield [
        name, "tail", *length(run.table.tail), "", "", *gap, *gap, *gap, *length(run.table.developed_length), "", "",
        *(blank if run.table.bends else whole),
    ]  # fmt: skip


def _angle_cell(angle: float) -> str:
    """An angle; one that rounding would make nothing or a full turn, which no bend is, keeps its digits."""
    return number_cell(angle, _ANGLE if 0.0 < round(angle, _ANGLE) < 360.0 else 12)


def _whole(tube: Tube, per_unit: float, decimals: int) -> list[str]:
    """Cells that describe the tube as a whole: layer, closed, section, placement."""
    run, section = tube.run, tube.section
    cells = ["" if run.layer is None else text_cell(run.layer), "yes" if run.closed else "no"]
    if section is None:
        cells += [""] * 6
    else:
        sizes = (section.od, section.wall, section.height, section.corner)
        cells += [section.shape, text_cell(section.label), *(number_cell(v / per_unit, decimals) for v in sizes)]
    place = run.placement
    cells += [number_cell(v / per_unit, decimals) for v in place.start]
    cells += [number_cell(v, _DIRECTION) for v in (*place.direction, *place.normal)]
    return cells


# --- lists ------------------------------------------------------------------------------------
# Of set-ups and cuts: lengths and angles to a millionth of their unit, which no tape or protractor comes near.


def csv_text(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Header and rows with CRLF line ends; every cell is ready."""
    return "\r\n".join([",".join(header), *(",".join(row) for row in rows)]) + "\r\n"


def length_heads(name: str, display: Display) -> list[str]:
    """``mark_mm``; with fractions ``mark_in`` and ``mark_in_fraction``."""
    head = f"{name}_{display.unit}"
    return [head, f"{head}_fraction"] if display.denominator else [head]


def length_cells(mm: float | None, display: Display) -> list[str]:
    """The cells under `length_heads`; empty for None."""
    if mm is None:
        return [""] * len(length_heads("", display))
    value = mm / 25.4 if display.unit == "in" else mm
    cells = [number_cell(value, _DECIMALS)]
    if display.denominator:
        cells.append(fraction_cell(value, display.denominator))
    return cells


def flat_heads(name: str, ends: Iterable[EndCut]) -> list[str]:
    """Heads of the saw cuts of ends that several flats end: ``name_1_deg``, ``name_2_deg``, more where one has more."""
    most = max((len(end.flat_cuts) for end in ends), default=0)
    return [f"{name}_{number}_deg" for number in range(1, max(_FLATS, most) + 1)]


def flat_cells(heads: Sequence[str], end: EndCut | None) -> list[str]:
    """The saw cuts of one such end, in the order of its mates; empty for any other."""
    cuts = () if end is None else end.flat_cuts
    return [degrees_cell(cuts[i].angle if i < len(cuts) else None) for i in range(len(heads))]


def degrees_cell(degrees: float | None) -> str:
    """An angle; empty for None."""
    return "" if degrees is None else number_cell(degrees, _DECIMALS)


def yes_cell(value: bool) -> str:
    """``yes`` or ``no``."""
    return "yes" if value else "no"
