"""The cut ends of a job as CSV, copes and mitres alike, a row for each end.

The numbers are those of ``cope --json``. docs/cope-csv.md describes every column.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from converter.errors import WriteError
from converter.exporters.data.table_csv import (
    csv_text,
    degrees_cell,
    flat_cells,
    flat_heads,
    length_cells,
    length_heads,
    text_cell,
    yes_cell,
)
from converter.joints.model import Joint, SawSetting
from converter.quoting import LONGEST_PATH, quoted
from converter.shop.sections import describe
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-copes.csv``.

    Raises:
        WriteError: no end of a tube shown is cut to fit.
    """
    if not job.shown.joints:
        raise WriteError(
            f"No end in {quoted(job.source, LONGEST_PATH)} is cut to fit another tube, so there is no list of cuts.",
            code="no-joints",
            file=job.source,
        )
    text = cope_csv(job.shown.joints, job.display)
    out.path(f"{options.stem}-copes.csv").write_text(text, encoding="utf-8", newline="")


def cope_csv(joints: Iterable[Joint], display: Display) -> str:
    """The cut ends as CSV text with CRLF line ends.

    Args:
        joints: in order, with their hole-saw set-up.
        display: unit of the lengths; with a denominator columns of fractions stand beside the exact ones.

    Raises:
        WriteError: a value is not a finite number.
    """
    joints = tuple(joints)
    flats = flat_heads("flat_cut", (joint.end_cut for joint in joints))
    return csv_text(_header(display, flats), (_row(joint, display, flats) for joint in joints))


def _header(display: Display, flats: list[str]) -> list[str]:
    def length(*names: str) -> list[str]:
        return [head for name in names for head in length_heads(name, display)]

    return [
        "tube", "end", "kind", "mates", "section", "angle_deg",
        *length("offset", "long_point", "short_point", "center_cut", "length_change", "straight", "gap"),
        "zero_line", "saw_angle_deg", *flats, *length("corner_gap"),
        *length("hole_saw_size", "hole_saw_depth"),
        "hole_saw_angle_deg", "hole_saw_from_square_deg",
        *length("hole_saw_offset", "hole_saw_center", "hole_saw_center_to_center"),
        "hole_saw_cuts", "hole_saw_owned",
        *(f"node_{axis}_{display.unit}" for axis in "xyz"),
    ]  # fmt: skip


def _row(joint: Joint, display: Display, flats: list[str]) -> list[str]:
    def length(*values: float) -> list[str]:
        return [cell for mm in values for cell in length_cells(mm, display)]

    return [
        text_cell(joint.tube), joint.end, joint.kind, text_cell(" + ".join(joint.mates)),
        text_cell(describe(joint.section, display)), degrees_cell(joint.angle),
        *length(
            joint.offset, joint.long_point, joint.short_point, joint.center_cut, joint.end_cut.change, joint.straight,
            joint.gap,
        ),
        text_cell(joint.zero_in(display)), degrees_cell(joint.end_cut.saw_angle), *flat_cells(flats, joint.end_cut),
        *length(joint.corner_gap),
        *_saw(joint.hole_saw, display),
        *(length_cells(value, Display(display.unit))[0] for value in joint.node),
    ]  # fmt: skip


def _saw(saw: SawSetting | None, display: Display) -> list[str]:
    """The set-up of a hole saw; empty cells where none makes the cut."""
    if saw is None:
        lengths: tuple[float | None, ...] = (None,) * 5
        angles, words = ["", ""], ["", ""]
    else:
        lengths = (saw.size, saw.depth, saw.offset, saw.center, saw.center_to_center)
        angles, words = [degrees_cell(saw.angle), degrees_cell(saw.from_square)], [str(saw.cuts), yes_cell(saw.owned)]
    size, depth, *others = (length_cells(mm, display) for mm in lengths)
    return [*size, *depth, *angles, *(cell for cells in others for cell in cells), *words]
