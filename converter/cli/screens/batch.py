"""A batch as text: the drawings that want looking at, each with its worst finding, and the sum of all."""

from __future__ import annotations

from collections.abc import Sequence

from converter.batch.drawings import BatchDrawings
from converter.batch.summary import word_counts
from converter.batch.verdict import CLEAN, FAILED, NOT_SHOWN, DrawingVerdict
from converter.batch.watch import BatchUpdate
from converter.cli.screens.findings import severity_tint
from converter.cli.screens.grid import fill
from converter.cli.screens.page import bold, faint, tinted
from converter.findings import ERROR, NOTE, SEVERITIES, WARNING
from converter.findings.wording import counted, listed, tally
from converter.quoting import LONGEST_PATH, one_line, shortened

_LABEL = 10
#: Tubes named of which the same is said.
_NAMED = 6
#: Drawings listed in full per word; more are counted.
_LISTED = {FAILED: 30, ERROR: 30, WARNING: 6}
_SUMMED = {
    FAILED: "failed", ERROR: "with errors", WARNING: "with warnings", NOTE: "with notes", CLEAN: "clean",
    NOT_SHOWN: "with no tube to show",
}  # fmt: skip


def batch_text(verdicts: Sequence[DrawingVerdict], *, everything: bool) -> str:
    """The drawings with failures, errors and warnings, the worst first, and how many of each there are.

    Args:
        verdicts: in the order of the inputs.
        everything: list all drawings.
    """
    blocks = []
    for word, summed in _SUMMED.items():
        alike = [verdict for verdict in verdicts if verdict.word == word]
        most = len(alike) if everything else _LISTED.get(word, 0)
        shown = alike if len(alike) <= most + 1 and most else alike[:most]
        blocks += alike_text(shown)
        if shown and len(shown) < len(alike):
            blocks.append(faint(f"{'':{_LABEL}}and {len(alike) - len(shown)} more {summed} (--verbose shows all)"))
    lines = ["\n".join(blocks), ""] if blocks else []
    return "\n".join([*lines, *(bold(line) for line in fill(sum_text(verdicts), rest="  ").split("\n"))])


def alike_text(verdicts: Sequence[DrawingVerdict]) -> list[str]:
    """Drawings of one word, those of which the worst is the same together, and what that is once."""
    groups: dict[object, list[DrawingVerdict]] = {}
    for verdict in verdicts:
        groups.setdefault(_worst_words(verdict), []).append(verdict)
    return ["\n".join([*map(_head, some), *_says(some)]) for some in groups.values()]


def _worst_words(verdict: DrawingVerdict) -> tuple[str, str]:
    """The worst that is said of a drawing, without the tube that it is said of, and its cure."""
    worst, failure = verdict.worst, verdict.failure
    if failure is not None or worst is None:
        return "" if failure is None else failure.message, ""
    name = shortened(worst.tube or "")
    return worst.message.removeprefix(name), worst.cure


def drawing_text(verdict: DrawingVerdict) -> str:
    """One drawing: its word, its name, what it holds, and the worst that is said of it."""
    return "\n".join([_head(verdict), *_says([verdict])])


def _says(alike: Sequence[DrawingVerdict]) -> list[str]:
    """The worst that is said of drawings, with every tube that it is said of."""
    says, cure = _worst_words(alike[0])
    tubes = dict.fromkeys(shortened(worst.tube) for one in alike if (worst := one.worst) and worst.tube)
    names = list(tubes) if len(tubes) <= _NAMED + 1 else [*list(tubes)[:_NAMED], f"{len(tubes) - _NAMED} more"]
    failed = alike[0].failure is not None
    text = f"{'' if failed else listed(names)}{says} {cure}".strip()
    return [fill(one_line(text), " " * _LABEL)] if text else []


def _head(verdict: DrawingVerdict) -> str:
    word = verdict.word
    name = shortened(verdict.source, LONGEST_PATH)
    about = "" if word in (FAILED, NOT_SHOWN) else f": {_contents(verdict)}"
    lines = fill(one_line(f"{name}{about}"), word.ljust(_LABEL))
    if word == FAILED:
        lines = tinted(word, "red") + lines[len(word) :]
    elif word in SEVERITIES:
        lines = severity_tint(word)(word) + lines[len(word) :]
    return lines


def _contents(verdict: DrawingVerdict) -> str:
    parts = [counted(verdict.tubes, "tube")]
    if verdict.counts:
        parts.append(tally(verdict.counts))
    if verdict.cuts is not None:
        parts.append(f"{counted(verdict.cuts.bars, 'bar')} to cut, {verdict.cuts.bought} of them to buy")
    return ", ".join(parts)


def sum_text(verdicts: Sequence[DrawingVerdict]) -> str:
    """``500 drawings: 3 failed, 41 with errors, 456 clean; 480 had not changed``."""
    counts = [f"{n} {_SUMMED[word]}" for word, n in word_counts(verdicts).items() if n]
    unchanged = sum(verdict.unchanged for verdict in verdicts)
    text = f"{counted(len(verdicts), 'drawing')}: {', '.join(counts)}"
    return f"{text}; {unchanged} had not changed" if unchanged else text


def left_out_text(gathered: BatchDrawings) -> str:
    """What of the folders was left out, a sentence; '' for nothing."""
    parts = []
    if gathered.others:
        parts.append(f"{counted(gathered.others, 'file')} without a drawing's ending")
    if gathered.links:
        parts.append(f"{counted(gathered.links, 'link')} to folders")
    if gathered.results:
        parts.append(f"{counted(len(gathered.results), 'folder')} of results")
    return fill(", ".join(parts), "left out: ", "  ") if parts else ""


def leftovers_text(verdicts: Sequence[DrawingVerdict]) -> str:
    """Files of runs before that stand beside new ones or where a drawing failed, a sentence; '' for none."""
    folders = [verdict.folder for verdict in verdicts if verdict.leftovers and verdict.folder is not None]
    if not folders:
        return ""
    what = f"{counted(sum(len(verdict.leftovers) for verdict in verdicts), 'file')} of earlier runs still stand"
    return fill(f"{what} in {shortened(_first_of(folders), LONGEST_PATH)}: they are not of the drawing as it is now.")


def update_text(updates: Sequence[BatchUpdate]) -> str:
    """What is new since files were saved: per drawing its verdict, and what has changed in its table and findings."""
    from converter.batch.verdict import changes_between
    from converter.dates import clock_time

    time = clock_time()
    blocks, failures, same = [], dict[str, list[str]](), list[str]()
    for update in updates:
        name, verdict, before = shortened(update.source, LONGEST_PATH), update.verdict, update.before
        if verdict is None:
            blocks.append(fill(f"{name} is gone", f"{time}  ", "  "))
        elif verdict.failure is not None:
            failures.setdefault(verdict.failure.message, []).append(name)
        elif before is None:
            blocks.append(f"{time}  new\n{drawing_text(verdict)}")
        else:
            changes = changes_between(before, verdict)
            if not changes and before.word == verdict.word:
                same.append(name)
                continue
            was = "" if before.word == verdict.word else f" (before: {before.word})"
            lines = [fill(one_line(f"{name}: {verdict.word}{was}; {_contents(verdict)}"), f"{time}  ", "  ")]
            lines += [fill(one_line(change), "  ", "    ") for change in changes]
            blocks.append("\n".join(lines))
    if same:
        blocks.append(fill(f"{_first_of(same)}: saved, nothing else has changed", f"{time}  ", "  "))
    for message, names in failures.items():
        says = f"{_first_of(names)}: {FAILED}; what came of it before still stands"
        blocks.append(f"{fill(says, f'{time}  ', '  ')}\n{fill(one_line(message), '  ')}")
    return "\n".join(blocks)


def _first_of(names: Sequence[str]) -> str:
    return f"{names[0]} and {len(names) - 1} more" if len(names) > 1 else names[0]
