"""What is different in a drawing since it was saved before: in its verdict, in its tables, in what is found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from difflib import SequenceMatcher

from converter.batch.verdict import DrawingVerdict, FindingText, TubeFigures
from converter.findings.wording import counted
from converter.units import Display

#: Columns of a bend table as people read them.
_COLUMNS = ("feed", "rotation", "angle", "CLR")
#: So many places of which a finding says the same are named.
_PLACES = 3
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
    def counts(verdict: DrawingVerdict) -> Counter[FindingText]:
        # neither a cure nor what the sentence does not show makes it another one
        return Counter(replace(finding, code="", bend=None, cure="") for finding in verdict.findings)

    old, new = counts(before), counts(after)
    cures = {(finding.severity, finding.message): finding.cure for finding in after.findings}
    came = [replace(one, cure=cures[one.severity, one.message]) for one in new - old]
    lines = [f"new {one.severity}: {words} {one.cure}".rstrip() for one, words in _together(came)]
    return [*lines, *(f"no longer: {one.severity}: {words}" for one, words in _together(old - new))]


def _together(findings: Iterable[FindingText]) -> Iterator[tuple[FindingText, str]]:
    """The first of those that say the same of several places, and the sentence with these."""
    places: dict[tuple[str, str, str], list[tuple[FindingText, str]]] = {}
    for one in findings:
        place, colon, rest = one.message.partition(": ")
        if one.tube is None or not colon or not place.startswith(one.tube):
            place, rest = "", one.message
        places.setdefault((one.severity, rest, one.cure), []).append((one, place))
    for (_, rest, _), found in places.items():
        where = "; ".join(place for _, place in found[:_PLACES])
        more = f" and {counted(len(found) - _PLACES, 'more place')}" if len(found) > _PLACES else ""
        yield found[0][0], f"{where}{more}: {rest}" if where else rest
