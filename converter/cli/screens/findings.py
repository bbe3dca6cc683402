"""Findings and counts in words: wrapped, the worst first, a little colour where there is colour."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from converter.cli.screens.grid import cells, fill
from converter.cli.screens.page import bold, coloured, faint, tinted
from converter.findings import ERROR, NOTE, WARNING, Finding
from converter.findings.wording import cure, grouped, listed, message, place_of
from converter.model.drawing import Ignored
from converter.quoting import one_line, shortened
from converter.units import Display

if TYPE_CHECKING:
    from converter.job import Job

_COLOURS = {ERROR: "red", WARNING: "yellow", NOTE: "cyan"}
_LABEL = 9  # room for the longest severity and a space
_LONG_NAME = 40  # columns; what is said of it starts on a line of its own


def finding_text(alike: Sequence[Finding], display: Display, *, details: bool = False) -> str:
    """Findings that say the same (`grouped`) as a wrapped paragraph: severity, place, sentence, cure.

    Args:
        alike: one or several.
        display: how lengths are shown.
        details: add layer, entity handle and the finding's code.
    """
    finding = alike[0]
    label = finding.severity.ljust(_LABEL)
    after = [one_line(cure(alike, display))]
    if details:
        after.append(f"[{', '.join(_details(finding))}]")
    lines = fill(one_line(message(alike, display)), label)
    if coloured():
        lines = tinted(label.rstrip(), _COLOURS[finding.severity]) + _placed(lines[len(label.rstrip()) :], alike)
    below = " ".join(word for word in after if word)
    return f"{lines}\n{fill(below, ' ' * _LABEL)}" if below else lines


def _placed(text: str, alike: Sequence[Finding]) -> str:
    """The text with the tubes and the bends that it speaks of first in bold, also across a line break."""
    place = _first(place_of(alike).split(), text)
    return text[: place.start] + _each_word(text[place], bold) + text[place.stop :]


def _first(words: Sequence[str], text: str) -> slice:
    """Where words stand first in a text, whatever blanks lie between them, not within longer words; or nowhere."""
    # each stretch of blanks counts as a single one
    starts = [i for i, c in enumerate(text) if not (c.isspace() and text[i - 1 : i].isspace())]
    shown = "".join(" " if text[i].isspace() else text[i] for i in starts)
    wanted = " ".join(words)
    at = shown.find(wanted) if wanted else -1
    while at >= 0:
        end = at + len(wanted)
        beside = shown[max(0, at - 1) : at] + shown[end : end + 1]
        if not any(c.isalnum() or c == "_" for c in beside):
            return slice(starts[at], starts[end - 1] + 1)
        at = shown.find(wanted, at + 1)
    return slice(0, 0)


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
        Heads, rows, and how to tint them (see `converter.cli.screens.grid.Grid`).
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


def _details(finding: Finding) -> list[str]:
    """Where to look in the drawing, and the code to look up in docs/findings.md."""
    found = [finding.code]
    if finding.layer is not None:
        found.append(f"layer {shortened(finding.layer)}")
    if finding.handle is not None:
        found.append(f"entity {shortened(finding.handle)}")
    return found


def ignored_text(ignored: Sequence[Ignored], display: Display) -> str:
    """What the reader left out, in one wrapped paragraph; '' for nothing."""
    if not ignored:
        return ""
    parts = ", ".join(f"{shortened(one.amount)} ({one_line(one.why_in(display))})" for one in ignored)
    return fill(parts, "left out ")


#: findings of one kind shown in full, per rank: every error counts, notes alike need showing once
_SHOWN = (30, 6, 2)


def findings_text(findings: Sequence[Finding], display: Display, *, everything: bool = False) -> str:
    """All findings, the worst first, kind by kind: equal ones once, of many alike only the first few.

    Args:
        findings: what to say.
        display: how lengths are shown.
        everything: show all, each by itself with its details.
    """
    groups = [(finding,) for finding in findings] if everything else grouped(findings, display)
    kinds: dict[tuple[int, str], list[tuple[Finding, ...]]] = {}
    for group in groups:
        kinds.setdefault((group[0].rank, group[0].code), []).append(group)
    lines = []
    # a unit in doubt first, as errors may come of it, and drawings that are no centerlines
    for (rank, _), alike in sorted(kinds.items(), key=lambda item: (item[1][0][0].precedence, item[0][0])):
        shown = alike if everything or len(alike) <= _SHOWN[rank] + 1 else alike[: _SHOWN[rank]]
        lines += [finding_text(group, display, details=everything) for group in shown]
        if len(shown) < len(alike):
            lines.append(_more(alike[len(shown) :]))
    return "\n".join(lines)


def _more(rest: Sequence[tuple[Finding, ...]]) -> str:
    """``and 3 more like this: RAIL-2, RAIL-3, RUNG``, in the column of the sentences."""
    names = list(dict.fromkeys(shortened(finding.tube) for alike in rest for finding in alike if finding.tube))
    some = ", ".join(names[:6]) + (" ..." if len(names) > 6 else "")
    text = f"and {len(rest)} more like this" + (f": {some}" if names else "") + " (--verbose shows all)"
    return "\n".join(faint(line) for line in fill(text, " " * _LABEL).split("\n"))


def jobs_text(
    jobs: Sequence[Job],
    found: Callable[[Job], Sequence[Finding]],
    write: Callable[[Job, Sequence[Finding]], str],
    *,
    everything: bool,
) -> str:
    """The pages of several drawings, and below them what is to be told of several, once.

    Args:
        jobs: one or more.
        found: what there is to tell of each.
        write: the page of one, with those of its findings that are told there.
        everything: tell all of each drawing on its own page, with its details.
    """
    if everything or len(jobs) < 2:
        return "\n\n".join(write(job, found(job)) for job in jobs)
    sources: dict[object, dict[str, None]] = {}
    for job in jobs:
        for finding in found(job):
            sources.setdefault(_words_of(finding, job), {})[job.source] = None
    shared: dict[tuple[str, ...], list[tuple[Finding, Display]]] = {}
    pages = []
    for job in jobs:
        own = []
        for finding in found(job):
            where = tuple(sources[_words_of(finding, job)])
            if len(where) < 2:
                own.append(finding)
            else:
                named = finding if finding.tube is None else replace(finding, tube=f"{job.stem}: {finding.tube}")
                shared.setdefault(where, []).append((named, job.display))
        pages.append(write(job, own))
    for where, told in shared.items():
        every = "both drawings" if len(jobs) == 2 else f"all {len(jobs)} drawings"
        names = every if len(where) == len(jobs) else listed([shortened(name) for name in where])
        each = list(dict.fromkeys(finding for finding, _ in told))
        pages.append(f"{fill(f'of {names}:')}\n\n{findings_text(each, told[0][1])}")
    return "\n\n".join(pages)


def _words_of(finding: Finding, job: Job) -> object:
    """What is equal of findings of several drawings that are told once; what stops a stick is told where it is."""
    if finding.severity == ERROR or finding.bend is not None or finding.end is not None:
        return finding, job.source
    place = () if finding.tube is not None else (finding.layer, finding.measured)
    return finding.code, finding.variant, finding.severity, finding.value_pairs, finding.cure, job.display, place
