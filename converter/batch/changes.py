"""What is different in a drawing since it was saved before: in its verdict, in its tables, in what is found."""

from __future__ import annotations

from collections import Counter
from difflib import SequenceMatcher

from converter.batch.verdict import DrawingVerdict, TubeFigures
from converter.findings.wording import counted
from converter.units import Display

#: Columns of a bend table as people read them.
_COLUMNS = ("feed", "rotation", "angle", "CLR")
_Row = tuple[str, ...]


def changes_between(before: DrawingVerdict, after: DrawingVerdict) -> list[str]:
    """What has changed, a line each; [] where a person would see no difference.

    Args:
        before, after: of one drawing, neither a failure. Lengths are shown as ``after`` shows them.
    """
    return [*_table_changes(before, after), *_finding_changes(before, after)]


def _table_changes(before: DrawingVerdict, after: DrawingVerdict) -> list[str]:
    display = after.display
    old = {tube.name: tube for tube in before.tables}
    lines = []
    for tube in after.tables:
        if tube.name in old:
            lines += _tube_changes(old[tube.name], tube, display)
        else:
            length = display.length(tube.developed_length)
            lines.append(f"{tube.name} is new: {counted(len(tube.bends), 'bend')}, developed length {length}")
    names = {tube.name for tube in after.tables}
    return [*lines, *(f"{name} is gone" for name in old if name not in names)]


def _tube_changes(old: TubeFigures, new: TubeFigures, display: Display) -> list[str]:
    olds, news = _rows(old, display), _rows(new, display)
    lines = []
    for what, i, i_end, j, j_end in SequenceMatcher(None, olds, news, autojunk=False).get_opcodes():
        if what == "equal":
            continue
        alike = min(i_end - i, j_end - j)
        for n in range(alike):
            cells = zip(_COLUMNS, olds[i + n], news[j + n], strict=True)
            differences = ", ".join(f"{name} {a} -> {b}" for name, a, b in cells if a != b)
            lines.append(f"{new.name}, bend {j + n + 1}: {differences}")
        lines += [f"{new.name}, bend {k + 1} is new: {_row_text(news[k])}" for k in range(j + alike, j_end)]
        lines += [f"{new.name}, bend {k + 1} of before is gone: {_row_text(olds[k])}" for k in range(i + alike, i_end)]
    for name, a, b in (
        ("tail", old.tail, new.tail),
        ("developed length", old.developed_length, new.developed_length),
    ):
        if display.length(a) != display.length(b):
            lines.append(f"{new.name}: {name} {display.length(a)} -> {display.length(b)}")
    return lines


def _rows(tube: TubeFigures, display: Display) -> list[_Row]:
    return [
        (
            display.length(feed),
            display.angle(rotation),
            display.angle(angle),
            "none" if clr is None else display.length(clr),
        )
        for feed, rotation, angle, clr in tube.bends
    ]


def _row_text(row: _Row) -> str:
    return ", ".join(f"{name} {cell}" for name, cell in zip(_COLUMNS, row, strict=True))


def _finding_changes(before: DrawingVerdict, after: DrawingVerdict) -> list[str]:
    def counts(verdict: DrawingVerdict) -> Counter[tuple[str, str]]:
        return Counter((finding.severity, finding.message) for finding in verdict.findings)

    old, new = counts(before), counts(after)
    cures = {(finding.severity, finding.message): finding.cure for finding in after.findings}
    came = [f"new {severity}: {message} {cures[severity, message]}".rstrip() for severity, message in new - old]
    return [*came, *(f"no longer: {severity}: {message}" for severity, message in old - new)]
