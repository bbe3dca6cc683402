"""The desk: drawings that were dropped on the page, each a job of its own, and what came of each.

A drawing is worked out in a bay (`converter.batch.bay`), so that one that crashes a library harms neither the page nor
the others. Its sheet and its other files are two items of work: the sheet is there first.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path
from threading import Lock
from time import monotonic

from converter.batch import BatchItem, BatchLimits, ConvertWork, DrawingVerdict, run_item
from converter.errors import OptionError
from converter.exporters.files import OutputSet
from converter.settings import Settings

#: Drawings that are kept; the oldest goes for a new one.
MOST_DRAWINGS = 40
#: Formats and the folder they go to: what the page shows is made first, by itself, then what it hands out beside it.
_WORK = (
    (("sheet",), "sheet"),
    (
        (
            "sheet-pdf", "csv", "json", "setup-csv", "cope-csv", "template-pdf", "cope-pdf", "profile", "template",
            "dxf", "step",
        ),
        "files",
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class GivenFile:
    """A file that somebody gave.

    Attributes:
        name: as it was called there.
        save: writes it to a path.
    """

    name: str
    save: Callable[[Path], object]


@dataclass(frozen=True, slots=True)
class DrawingOptions:
    """How a drawing is to be read.

    Attributes:
        fields: what stands in the fields of the page, by name.
        shop, job: the person's own shop file and job file, None for those of the desk.
    """

    fields: Mapping[str, str]
    shop: GivenFile | None = None
    job: GivenFile | None = None


@dataclass(frozen=True, slots=True)
class FilesToCome:
    """Files that are made of a drawing while the page goes on.

    Attributes:
        folder: where they will lie.
        coming: what came, or will come, of it.
    """

    folder: Path
    coming: Future[DrawingVerdict]

    @property
    def verdict(self) -> DrawingVerdict | None:
        """What came of it; None as long as it is worked on."""
        return self.coming.result() if self.coming.done() else None

    @property
    def paths(self) -> dict[str, Path]:
        """The files by name; {} as long as there are none."""
        return {name: self.folder / name for name in self.verdict.files} if self.verdict else {}


@dataclass(frozen=True, slots=True)
class DroppedDrawing:
    """A drawing on the desk.

    Attributes:
        number: from 1.
        name: of its file.
        folder: where it lies, and what is made of it.
        options: how it is read.
        began: when, by `time.monotonic`.
        sheet: its job sheet.
        files: everything else.
    """

    number: int
    name: str
    folder: Path
    options: DrawingOptions
    began: float
    sheet: FilesToCome
    files: FilesToCome

    @property
    def path(self) -> Path:
        """Where its file lies."""
        return self.folder / self.name


class Desk:
    """Takes drawings and has them worked out.

    Args:
        executor: of `converter.batch.local_bays`.
        folder: an empty one that goes when the desk does.
        read_settings: the settings that the fields of the page stand for; an ElbowroomError says what is wrong.
        shop, job: paths of a shop file and a job file for drawings with which none is given, or None.
        limits: what a drawing may use.
    """

    def __init__(
        self,
        executor: Executor,
        folder: Path,
        read_settings: Callable[[Mapping[str, str]], Settings],
        shop: str | None = None,
        job: str | None = None,
        limits: BatchLimits | None = None,
    ) -> None:
        self.shop, self.job = _absolute(shop), _absolute(job)
        self._executor = executor
        self._folder = folder
        self._read_settings = read_settings
        self._limits = limits or BatchLimits()
        self._count = count(1)
        self._drawings: dict[int, DroppedDrawing] = {}
        self._lock = Lock()

    @property
    def drawings(self) -> Sequence[DroppedDrawing]:
        """What lies on the desk, the newest first."""
        with self._lock:
            return tuple(reversed(self._drawings.values()))

    def drawing(self, number: int) -> DroppedDrawing | None:
        """The drawing of this number; None where it is gone or never was."""
        return self._drawings.get(number)

    def drop(self, given: GivenFile, options: DrawingOptions) -> DroppedDrawing:
        """Take a drawing and begin to work it out.

        Raises:
            WriteError: it cannot be kept: the disk is full.
        """
        number = next(self._count)
        folder = self._folder / str(number)
        name = _keep(given, folder)
        shop, job = (
            None if own is None else f"{kind}/{_keep(own, folder / kind)}"
            for kind, own in (("shop", options.shop), ("job", options.job))
        )
        try:
            settings = self._read_settings(options.fields)
            settings = replace(
                settings,
                shop=shop or _absolute(settings.shop) or self.shop,
                job=job or _absolute(settings.job) or self.job,
            )
        except OptionError as error:
            failed = Future[DrawingVerdict]()
            failed.set_result(DrawingVerdict.of_failure(name, error))
            sheet = files = FilesToCome(folder, failed)
        else:
            item = BatchItem(name, ConvertWork(), settings, limits=self._limits, current=str(folder))
            sheet, files = (self._begin(item, formats, folder / into) for formats, into in _WORK)
        dropped = DroppedDrawing(number, name, folder, options, monotonic(), sheet, files)
        with self._lock:
            self._drawings[number] = dropped
            gone = [self._drawings.pop(number) for number in list(self._drawings)[:-MOST_DRAWINGS]]
        for one in gone:
            shutil.rmtree(one.folder, ignore_errors=True)
        return dropped

    def _begin(self, item: BatchItem, formats: tuple[str, ...], folder: Path) -> FilesToCome:
        work = replace(item, work=ConvertWork(formats), folder=str(folder))
        return FilesToCome(folder, self._executor.submit(run_item, work))


def _absolute(path: str | None) -> str | None:
    """A path as it is from any folder: each drawing is worked out in its own."""
    return None if path is None else os.path.abspath(path)


def _keep(given: GivenFile, folder: Path) -> str:
    """Name under which a file now lies in a folder."""
    with OutputSet(folder) as out:
        # the last part only: some browsers tell the whole path, with either slash
        path = out.path(given.name.replace("\\", "/").rpartition("/")[2])
        given.save(path)
    return path.name
