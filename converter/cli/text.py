"""Plain text for people: aligned tables, wrapped findings, a little colour on a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

import click

from converter.cli.console import coloured, width
from converter.cli.main import one_line
from converter.findings import ERROR, NOTE, WARNING, Finding
from converter.model.drawing import Ignored

#: units as words, where "in" alone would read as a preposition
UNIT_WORDS = {"in": "inches", "mm": "mm", "ft": "feet"}

_COLOURS = {ERROR: "red", WARNING: "yellow", NOTE: "cyan"}
_LABEL = 9  # room for the longest severity and a space


def bold(text: str) -> str:
    """Bold on a terminal."""
    return click.style(text, bold=True) if coloured() else text


def faint(text: str) -> str:
    """Dim on a terminal."""
    return click.style(text, dim=True) if coloured() else text


def columns(heads: Sequence[str], rows: Sequence[Sequence[str]], indent: int = 2, left: int = 0) -> str:
    """Columns under their heads, two blanks apart, right-aligned but for the first ``left``.

    Args:
        heads: one per column.
        rows: each as long as ``heads``.
        indent: blanks before the first column.
    """
    widths = [max(len(row[i]) for row in (heads, *rows)) for i in range(len(heads))]
    lines = []
    for row in (heads, *rows):
        cells = [c.ljust(w) if i < left else c.rjust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(" " * indent + (faint(line) if i == 0 else line) for i, line in enumerate(lines))


def finding_text(finding: Finding, *, name_tube: bool = True, details: bool = False) -> str:
    """A finding as a wrapped paragraph: severity, place, sentence, cure.

    Args:
        finding: what to say.
        name_tube: start with the tube and bend it belongs to.
        details: add layer, entity handle and the finding's code.
    """
    label = finding.severity.ljust(_LABEL)
    place = _place(finding) if name_tube and not (finding.tube and finding.tube in finding.message) else ""
    words = [f"{place}:" if place else "", one_line(finding.message), one_line(finding.cure)]
    if details:
        words.append(f"[{', '.join(_details(finding))}]")
    body = " ".join(word for word in words if word)
    filled = textwrap.fill(body, width(), initial_indent=label, subsequent_indent=" " * _LABEL, break_on_hyphens=False)
    if coloured():
        filled = click.style(label, fg=_COLOURS[finding.severity], bold=True) + filled[len(label) :]
    return filled


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
    return textwrap.fill(
        parts, width(), initial_indent="left out ", subsequent_indent=" " * _LABEL, break_on_hyphens=False
    )


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
    indent = " " * _LABEL
    return faint(textwrap.fill(text, width(), initial_indent=indent, subsequent_indent=indent))
