"""Findings and counts in words: wrapped, the worst first, a little colour where there is colour."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence

from converter.cli.grid import cells, fill
from converter.cli.main import one_line
from converter.cli.page import bold, coloured, faint, tinted
from converter.findings import ERROR, NOTE, WARNING, Finding
from converter.model.drawing import Ignored

#: units as words, where "in" alone would read as a preposition
UNIT_WORDS = {"in": "inches", "mm": "mm", "ft": "feet"}

_COLOURS = {ERROR: "red", WARNING: "yellow", NOTE: "cyan"}
_LABEL = 9  # room for the longest severity and a space
_LONG_NAME = 40  # columns; what is said of it starts on a line of its own


def finding_text(finding: Finding, *, name_tube: bool = True, details: bool = False) -> str:
    """A finding as a wrapped paragraph: severity, place, sentence, cure.

    Args:
        finding: what to say.
        name_tube: start with the tube and bend it belongs to.
        details: add layer, entity handle and the finding's code.
    """
    label = finding.severity.ljust(_LABEL)
    place = _place(finding) if name_tube and not (finding.tube and finding.tube in finding.message) else ""
    words = [f"{place}:" if place else "", one_line(finding.message)]
    after = [one_line(finding.cure)]
    if details:
        after.append(f"[{', '.join(_details(finding))}]")
    lines = fill(" ".join(word for word in words if word), label)
    if coloured():
        lines = tinted(label.rstrip(), _COLOURS[finding.severity]) + _placed(lines[len(label.rstrip()) :], finding)
    cure = " ".join(word for word in after if word)
    return f"{lines}\n{fill(cure, ' ' * _LABEL)}" if cure else lines


def _placed(text: str, finding: Finding) -> str:
    """The text with the tube and the bend that it speaks of first in bold, also across a line break."""
    for what in (one_line(finding.tube or ""), "" if finding.bend is None else f"bend {finding.bend}"):
        words = r"\s+".join(re.escape(word) for word in what.split())
        if words:
            text = re.sub(rf"(?<!\w){words}(?!\w)", lambda found: _each_word(found[0], bold), text, count=1)
    return text


def _each_word(text: str, style: Callable[[str], str]) -> str:
    """The text with every stretch of it styled, line by line, indents left alone."""
    return "".join(style(part) if part.strip() else part for part in re.split(r"(\n\s*)", text))


def bend_marks(findings: Iterable[Finding]) -> dict[tuple[str, int], str]:
    """(tube, bend) -> ``error`` or ``warning``, the worse of what is said of it; notes mark nothing."""
    found: dict[tuple[str, int], str] = {}
    for finding in findings:
        if finding.tube is not None and finding.bend is not None and finding.severity != NOTE:
            key = finding.tube, finding.bend
            if found.get(key) != ERROR:
                found[key] = finding.severity
    return found


def severity_tint(severity: str) -> Callable[[str], str]:
    """Colours a text as this severity is coloured."""
    return lambda text: tinted(text, _COLOURS[severity])


def with_marks(
    heads: Sequence[str], rows: Sequence[Sequence[str]], marks: Mapping[int, str]
) -> tuple[list[str], list[list[str]], dict[int, Callable[[str], str]]]:
    """A table with a last column that names the severity of what is said below of a row; as it was for none.

    Args:
        heads, rows: of the table.
        marks: row -> severity.

    Returns:
        Heads, rows, and how to tint them (see `converter.cli.grid.Grid`).
    """
    if not marks:
        return list(heads), [list(row) for row in rows], {}
    marked = [[*row, marks.get(i, "")] for i, row in enumerate(rows)]
    return [*heads, "see below"], marked, {i: severity_tint(severity) for i, severity in marks.items()}


def titled(name: str, about: str, after: str = "  ") -> str:
    """A name in bold and what is to be said of it, wrapped; ``after`` stands between the two."""
    name = one_line(name)
    if cells(name) < _LONG_NAME:
        shown = fill(about, f"{name}{after}", "  ")
        return bold(name) + shown[len(name) :]
    lines = fill(name + after.rstrip(), rest="  ")
    return f"{_each_word(lines, bold)}\n{fill(about, '  ')}"


def _place(finding: Finding) -> str:
    tube = one_line(finding.tube or "")
    if finding.bend is None:
        return tube
    return f"{tube}, bend {finding.bend}" if tube else f"bend {finding.bend}"


def _details(finding: Finding) -> list[str]:
    """Where to look in the drawing, and the code to look up in docs/findings.md."""
    found = [finding.code]
    if finding.layer is not None:
        found.append(f"layer {one_line(finding.layer)}")
    if finding.handle is not None:
        found.append(f"entity {one_line(finding.handle)}")
    return found


def tally(findings: Iterable[Finding]) -> str:
    """``1 error, 2 warnings, 3 notes``, or ``nothing to say``."""
    counts = {ERROR: 0, WARNING: 0, NOTE: 0}
    for finding in findings:
        counts[finding.severity] += 1
    return ", ".join(counted(n, name) for name, n in counts.items() if n) or "nothing to say"


def counted(n: int, noun: str) -> str:
    """``1 bend``, ``2 bends``."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def ignored_text(ignored: Sequence[Ignored]) -> str:
    """What the reader left out, in one wrapped paragraph; '' for nothing."""
    if not ignored:
        return ""
    parts = ", ".join(f"{one.count} {one_line(one.kind)} ({one_line(one.why)})" for one in ignored)
    return fill(parts, "left out ")


#: findings of one kind shown in full, per rank: every error counts, notes alike need showing once
_SHOWN = (30, 6, 2)


def findings_text(findings: Sequence[Finding], *, everything: bool = False) -> str:
    """All findings, the worst first, kind by kind; of many alike only the first few unless ``everything``."""
    kinds: dict[tuple[int, str], list[Finding]] = {}
    for finding in findings:
        kinds.setdefault((finding.rank, finding.code), []).append(finding)
    lines = []
    for (rank, _), alike in sorted(kinds.items(), key=lambda item: item[0][0]):
        shown = alike if everything or len(alike) <= _SHOWN[rank] + 1 else alike[: _SHOWN[rank]]
        lines += [finding_text(finding, details=everything) for finding in shown]
        if len(shown) < len(alike):
            lines.append(_more(alike[len(shown) :]))
    return "\n".join(lines)


def _more(rest: Sequence[Finding]) -> str:
    """``and 3 more like this: RAIL-2, RAIL-3, RUNG``, in the column of the sentences."""
    names = list(dict.fromkeys(one_line(finding.tube) for finding in rest if finding.tube))
    listed = ", ".join(names[:6]) + (" ..." if len(names) > 6 else "")
    text = f"and {len(rest)} more like this" + (f": {listed}" if names else "") + " (--verbose shows all)"
    return "\n".join(faint(line) for line in fill(text, " " * _LABEL).split("\n"))
