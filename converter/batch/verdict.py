"""What came of one drawing of a batch, as plain values that travel between processes and into a record; changes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from difflib import SequenceMatcher
from typing import TYPE_CHECKING, Any

from converter.findings import ERROR, NOTE, SEVERITIES, WARNING
from converter.findings.wording import SeverityCount, counted, grouped, severity_counts
from converter.units import Display

if TYPE_CHECKING:
    from converter.errors import ElbowroomError
    from converter.findings import Finding
    from converter.job import Job

#: Words for a drawing besides the severity of its worst finding, the worst first.
FAILED, CLEAN, NOT_SHOWN = "failed", "clean", "not shown"
#: Columns of a bend table as people read them.
_COLUMNS = ("feed", "rotation", "angle", "CLR")
#: So many places of which a finding says the same are named.
_PLACES = 3
_Row = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FindingText:
    """A finding as it is told: its sentence names the place."""

    code: str
    severity: str
    tube: str | None
    bend: int | None
    message: str
    cure: str


@dataclass(frozen=True, slots=True)
class TubeFigures:
    """The bend table of a tube as numbers, mm and degrees.

    Attributes:
        name: of the tube.
        bends: (feed, rotation, angle, CLR or None) of each.
        tail, developed_length: of the table.
    """

    name: str
    bends: tuple[tuple[float, float, float, float | None], ...]
    tail: float
    developed_length: float


@dataclass(frozen=True, slots=True)
class CutSum:
    """What a cutting list comes to: pieces, bars that are cut, those of them that are bought."""

    pieces: int
    bars: int
    bought: int


@dataclass(frozen=True, slots=True)
class Failure:
    """Why nothing came of a drawing: an `ElbowroomError` as values."""

    code: str
    message: str


@dataclass(frozen=True, slots=True)
class DrawingVerdict:
    """What came of one drawing of a batch.

    Attributes:
        source: the drawing, as it was named.
        tubes, bends: how many of each are shown.
        findings: of the tubes shown, the worst first as everywhere.
        counts: how much there is to say of each severity.
        tables: of the tubes shown.
        shown: whether any tube is (`--run`).
        runs: which of the patterns of ``--run`` meet a tube here.
        unit, denominator: how lengths are shown (`converter.units.Display`).
        cuts: of a cutting list.
        failure: why nothing came of it, else None.
        folder: where its files are, or None.
        files: their names.
        leftovers: names of files there that an earlier run wrote and this one did not.
        inputs: absolute paths of all files that were read.
        unchanged: whether it was skipped, since nothing has changed since it was written.
        seconds: processor time that it took.
    """

    source: str
    tubes: int = 0
    bends: int = 0
    findings: tuple[FindingText, ...] = ()
    counts: tuple[SeverityCount, ...] = ()
    tables: tuple[TubeFigures, ...] = ()
    shown: bool = True
    runs: tuple[str, ...] = ()
    unit: str = "mm"
    denominator: int | None = None
    cuts: CutSum | None = None
    failure: Failure | None = None
    folder: str | None = None
    files: tuple[str, ...] = ()
    leftovers: tuple[str, ...] = ()
    inputs: tuple[str, ...] = ()
    unchanged: bool = False
    seconds: float = 0.0

    @classmethod
    def of_job(cls, job: Job, further: Sequence[Finding] = ()) -> DrawingVerdict:
        """That of a job, before anything is written.

        Args:
            job: opened.
            further: findings besides the job's own.
        """
        display, shown = job.display, job.shown
        findings = (*shown.findings, *further)
        return cls(
            source=job.source,
            tubes=len(shown.tubes),
            bends=shown.bend_count,
            findings=tuple(_finding_text(finding, display) for finding in findings),
            counts=severity_counts(grouped(findings, display)),
            tables=tuple(
                TubeFigures(
                    tube.run.name,
                    tuple((bend.feed, bend.rotation, bend.angle, bend.clr) for bend in tube.run.table.bends),
                    tube.run.table.tail,
                    tube.run.table.developed_length,
                )
                for tube in shown.tubes
            ),
            shown=bool(shown.tubes),
            runs=tuple(pattern for pattern in job.settings.runs if shown.meets(pattern)),
            unit=display.unit,
            denominator=display.denominator,
        )

    @classmethod
    def of_failure(cls, source: str, error: ElbowroomError, folder: str | None = None) -> DrawingVerdict:
        """That of a drawing of which nothing came."""
        return cls(source, shown=False, failure=Failure(error.code, error.message), folder=folder)

    @property
    def worst(self) -> FindingText | None:
        """The first finding of the highest severity there is."""
        return min(self.findings, key=lambda finding: SEVERITIES.index(finding.severity), default=None)

    @property
    def word(self) -> str:
        """``failed``, the severity of its worst finding, ``clean``, or ``not shown``."""
        if self.failure is not None:
            return FAILED
        if not self.shown:
            return NOT_SHOWN
        return CLEAN if self.worst is None else self.worst.severity

    @property
    def display(self) -> Display:
        """How its lengths are shown."""
        return Display(self.unit, self.denominator)

    def to_values(self) -> dict[str, Any]:
        """As values that JSON can say."""
        return asdict(self)

    @classmethod
    def of_values(cls, values: Mapping[str, Any]) -> DrawingVerdict:
        """The verdict that `to_values` was asked of.

        Raises:
            KeyError, TypeError, ValueError: it was none.
        """
        given = dict(values)
        for name in ("runs", "files", "leftovers", "inputs"):
            given[name] = tuple(given[name])
        given["findings"] = tuple(FindingText(**finding) for finding in given["findings"])
        given["counts"] = tuple(SeverityCount(**count) for count in given["counts"])
        given["tables"] = tuple(
            TubeFigures(one["name"], tuple(tuple(bend) for bend in one["bends"]), one["tail"], one["developed_length"])
            for one in given["tables"]
        )
        given["cuts"] = None if given["cuts"] is None else CutSum(**given["cuts"])
        given["failure"] = None if given["failure"] is None else Failure(**given["failure"])
        return cls(**given)


#: How bad each word is, the worst first.
WORDS = (FAILED, ERROR, WARNING, NOTE, CLEAN, NOT_SHOWN)


def _finding_text(finding: Finding, display: Display) -> FindingText:
    return FindingText(
        finding.code,
        finding.severity,
        finding.tube,
        finding.bend,
        finding.message_in(display),
        finding.cure_in(display),
    )


# --- what has changed since it was saved before -----------------------------------------------


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
    olds, news = _table_rows(old, display), _table_rows(new, display)
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


def _table_rows(tube: TubeFigures, display: Display) -> list[_Row]:
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
