"""What is to be done with one drawing of a batch: plain values that any process can be handed."""

from __future__ import annotations

import os
from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from converter.batch.verdict import CutSum, DrawingVerdict
from converter.exporters.options import WriteOptions
from converter.job.cutlist import Quantities
from converter.nesting.solve import SECONDS
from converter.processes import allowance
from converter.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from converter.batch.drawings import BatchDrawing
    from converter.exporters.files import OutputSet
    from converter.job import Job
    from converter.job.cutlist import CutList


@dataclass(frozen=True, slots=True)
class WritePlace:
    """Where the files of a drawing go.

    Attributes:
        folder: made when it does not exist.
        force: replace files that exist already.
        own: names of files there that an earlier run wrote and nobody has changed.
        last: what is written when all else was.
    """

    folder: str
    force: bool
    own: Container[str]
    last: Callable[[OutputSet], None]


#: Writes the files of a drawing.
Write = Callable[[WritePlace], object]


@dataclass(frozen=True, slots=True)
class AuditWork:
    """Check a drawing, as ``audit`` does; writes what ``audit --json`` prints."""

    command: ClassVar[str] = "audit"

    def begin(self, job: Job) -> tuple[DrawingVerdict, Write]:
        """What came of it, and what writes it."""
        return DrawingVerdict.of_job(job), partial(_write_audit, job)


@dataclass(frozen=True, slots=True)
class ConvertWork:
    """Write a drawing in several formats, as ``convert`` does.

    Attributes:
        formats: names of `converter.exporters.registry.FORMATS`; the usual ones when empty.
        options: how.
    """

    formats: tuple[str, ...] = ()
    options: WriteOptions = field(default_factory=WriteOptions)
    command: ClassVar[str] = "convert"

    def begin(self, job: Job) -> tuple[DrawingVerdict, Write]:
        """What came of it, and what writes it."""
        return DrawingVerdict.of_job(job), partial(_write_formats, job, self)


@dataclass(frozen=True, slots=True)
class CutlistWork:
    """Nest the sticks of a drawing on bars, as ``cutlist`` does: as if no other drawing took any.

    Attributes:
        quantities: how many of what.
        rack: path of a rack file; the stock of the shop file that has a count when None.
        bars: lengths that can be bought, as typed: bare numbers are in the drawing's unit.
        split: whether tubes that are too long are made of pieces first.
        seconds: that the search may take for each section.
        kinds: files to write, of `converter.exporters.cutting.files.KINDS`.
        options: how.
    """

    quantities: Quantities = field(default_factory=Quantities)
    rack: str | None = None
    bars: tuple[str, ...] = ()
    split: bool = False
    seconds: float = SECONDS
    kinds: tuple[str, ...] = ("csv", "json")
    options: WriteOptions = field(default_factory=WriteOptions)
    command: ClassVar[str] = "cutlist"

    def begin(self, job: Job) -> tuple[DrawingVerdict, Write]:
        """What came of it, and what writes it."""
        from converter.job.cutlist import bars_for, check_quantities, cut_list
        from converter.job.pieces import in_pieces
        from converter.shop.rack import load_rack
        from converter.shop.stock import bar_lengths

        rack = None if self.rack is None else load_rack(self.rack)
        buyable = bar_lengths(self.bars, job.drawing.read_as)
        if self.split:
            job = in_pieces(job, bars=bars_for(job, rack, buyable)).job
        check_quantities([job], self.quantities)
        cuts = cut_list([job], self.quantities, rack=rack, buyable=buyable, seconds=self.seconds)
        verdict = replace(DrawingVerdict.of_job(job, cuts.findings), cuts=_sum_of(cuts))
        return verdict, partial(_write_cuts, job, cuts, self)


Work = AuditWork | ConvertWork | CutlistWork


@dataclass(frozen=True, slots=True)
class BatchLimits:
    """What each drawing may use of the machine: seconds of processor time and bytes of memory, None for any."""

    seconds: float | None = allowance.SECONDS
    memory: int | None = field(default_factory=allowance.usual_memory)


@dataclass(frozen=True, slots=True)
class BatchItem:
    """One drawing of a batch and what is to be done with it.

    Attributes:
        source: the drawing, as it was named.
        work: what is done.
        settings: how it is read.
        folder: where its files go; nothing is written when None.
        force: do it anew whatever stands there, and replace that.
        limits: what it may use.
        current: the folder that paths which are not absolute begin in.
    """

    source: str
    work: Work
    settings: Settings = field(default_factory=Settings)
    folder: str | None = None
    force: bool = False
    limits: BatchLimits = field(default_factory=BatchLimits)
    current: str = field(default_factory=os.getcwd)


def batch_items(
    drawings: Sequence[BatchDrawing],
    work: Work,
    settings: Settings | None = None,
    *,
    out: str | os.PathLike[str] | None = None,
    force: bool = False,
    limits: BatchLimits | None = None,
) -> list[BatchItem]:
    """What is to be done with each of many drawings.

    Args:
        drawings: of `converter.batch.find_drawings`.
        work: what is done with each.
        settings: how each is read. A pattern of ``runs`` need not meet a tube of every drawing.
        out: the folder below which each has one of its own; nothing is written when None.
        force: do all anew, and replace files that exist already.
        limits: what each may use; the usual when None.
    """
    settings = replace(settings or Settings(), runs_anywhere=True)
    limits, current = limits or BatchLimits(), os.getcwd()
    return [
        BatchItem(
            drawing.path,
            work,
            settings,
            None if out is None else os.path.join(out, drawing.place),
            force,
            limits,
            current,
        )
        for drawing in drawings
    ]


def _write_audit(job: Job, place: WritePlace) -> None:
    from converter.exporters.data.table_json import audit_document, dumps
    from converter.exporters.registry import write_all

    def work(out: OutputSet) -> Iterator[Callable[[], None]]:
        yield partial(out.write, f"{job.stem}-audit.json", dumps(audit_document([job])))

    write_all([job], place.folder, work, force=place.force, own=place.own, last=place.last)


def _write_formats(job: Job, work: ConvertWork, place: WritePlace) -> None:
    from converter.exporters.registry import write

    write(
        [job], place.folder, work.formats, work.options, force=place.force, own=place.own, last=place.last
    )  # fmt: skip


def _write_cuts(job: Job, cuts: CutList, work: CutlistWork, place: WritePlace) -> None:
    from converter.exporters.cutting.files import write_cut_list

    write_cut_list(
        [job], cuts, place.folder, work.kinds, work.options, force=place.force, own=place.own, last=place.last
    )


def _sum_of(cuts: CutList) -> CutSum:
    bought = sum(times for group in cuts.groups for _, times in group.bought)
    return CutSum(cuts.piece_count, cuts.bar_count, bought)
