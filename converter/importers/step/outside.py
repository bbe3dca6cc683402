"""Parts that lie in other files beside a STEP file: read where their names are plain, and named where they are missing.

A file is not trusted with paths: only a plain name in its own folder is opened, as any drawing is, with the same
guards, and all of them together may be as large as one file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from converter.errors import ReadError
from converter.findings import NOTE, Clause, Finding, Reason
from converter.importers.source import Source
from converter.importers.step.bounds import check_step
from converter.limits import STEP_BYTES

if TYPE_CHECKING:
    from converter.kernel.step.labels import Labels
    from converter.kernel.step.outside import PartFile
    from converter.kernel.step.read import StepContent, StepSession
    from converter.kernel.step.tree import Instance

#: Other files that one file may name, those they name included, and how deep.
MOST_FILES = 1_000
DEEPEST_FILES = 8
#: Files named one by one in findings; the others are counted.
_MOST_NAMED = 20
#: Parts of other files are numbered from here.
_FIRST = 1 << 40
_PATH_SIGNS = frozenset("/\\:\0")


@dataclass(slots=True)
class OutsideParts:
    """The parts in other files that one drawing needs.

    Attributes:
        folder: where they may lie; None for a drawing that came from no file.
        load: a file's bytes and name to a session that may be transferred; it may raise.
        transfer: a session to its shapes, as the drawing's unit option has it.
        read: how many parts were placed from each file.
        missing: why each file that is missing was not read, and the parts it is wanted for.
    """

    folder: Path | None
    load: Callable[[bytes, str], StepSession]
    transfer: Callable[[StepSession], StepContent]
    read: dict[str, int] = field(default_factory=dict)
    missing: dict[str, tuple[Reason, dict[str, None]]] = field(default_factory=dict)
    _contents: dict[str, tuple[StepSession, StepContent, int] | None] = field(default_factory=dict)
    _parts: dict[tuple[int, int], int] = field(default_factory=dict)
    _bytes: int = 0

    def placed(
        self, instances: list[Instance], labels: Labels | None, files: list[PartFile], within: tuple[str, ...] = ()
    ) -> Iterator[tuple[Instance, Labels | None]]:
        """Instances in order, in place of those whose shape lies in another file what that file holds.

        Args:
            instances, labels: of a file.
            files: which products of it lie in other files.
            within: files being read, so that none is read within itself.
        """
        wanted: dict[str, list[str]] = {}
        for part in files:
            wanted.setdefault(part.product, []).append(part.file)
        met: set[str] = set()
        for instance in instances:
            names = wanted.get(instance.label, []) if instance.is_empty else []
            if not names:
                yield instance, labels
                continue
            met.add(instance.label)
            for file in names:
                yield from self._from_file(file, instance, within)
        for part in files:
            if part.product not in met and not any(i.label == part.product for i in instances):
                self._miss(part.file, part.product, "the file says nowhere where it stands")

    def _from_file(
        self, file: str, instance: Instance, within: tuple[str, ...]
    ) -> Iterator[tuple[Instance, Labels | None]]:
        known = self._content(file, instance.label, within)
        if known is None:
            return
        session, content, number = known
        self.read[file] = self.read.get(file, 0) + 1
        for inner, labels in self.placed(content.instances, content.labels, session.files, (*within, file)):
            yield (
                replace(
                    inner,
                    name=instance.name if len(content.instances) == 1 and instance.name else inner.name,
                    part=self._part(number, inner.part),
                    location=instance.location.Multiplied(inner.location),
                ),
                labels,
            )

    def _part(self, number: int, part: int) -> int:
        """The number that a part of a file has in the drawing; one of a file within that file has its own already."""
        return part if part >= _FIRST else self._parts.setdefault((number, part), _FIRST + len(self._parts))

    def _content(self, file: str, product: str, within: tuple[str, ...]) -> tuple[StepSession, StepContent, int] | None:
        """What a file holds, and its number; None where it is missing, which is noted."""
        if file in within or len(within) >= DEEPEST_FILES:
            self._miss(file, product, "it is part of itself" if file in within else "files lie too deep in files")
            return None
        if file not in self._contents:
            try:
                self._contents[file] = self._read(file)
            except ReadError as error:
                self._contents[file] = None
                self._miss(file, product, Clause.of("outside-unread", error=error.message.rstrip(".")))
        elif self._contents[file] is None:
            self._miss(file, product, "")
        return self._contents[file]

    def _read(self, file: str) -> tuple[StepSession, StepContent, int]:
        source = Source.of(str(self._place(file)))
        self._bytes += source.size
        if self._bytes > STEP_BYTES:
            raise ReadError("together such files are larger than one may be", code="too-large", file=file)
        session = self.load(check_step(source.read_bytes(), file), file)
        return session, self.transfer(session), 1 + len(self._contents)

    def _place(self, file: str) -> Path:
        """Where a file lies that may be opened; it raises for any other."""
        why = ""
        if self.folder is None:
            why = "the drawing came from no folder"
        elif not file or file.startswith(".") or _PATH_SIGNS & set(file):
            why = "only a plain name in the same folder is opened"
        elif len(self._contents) >= MOST_FILES:
            why = f"more than {MOST_FILES:,} files are named"
        elif not (self.folder / file).is_file():
            why = "it does not lie beside this file"
        if why or self.folder is None:
            raise ReadError(why, code="part-missing", file=file)
        return self.folder / file

    def _miss(self, file: str, product: str, why: Reason) -> None:
        known = self.missing.setdefault(file, (why, {}))
        known[1].setdefault(product or "a part without a name")

    def findings(self) -> list[Finding]:
        """What was read from other files, and what is missing."""
        told = []
        if self.read:
            values = {"count": len(self.read), "files": sorted(self.read)[:_MOST_NAMED]}
            told.append(
                Finding("part-elsewhere", variant="read", severity=NOTE, measured=float(len(self.read)), values=values)
            )
        for file, (why, products) in list(self.missing.items())[:_MOST_NAMED]:
            values = {"file": file, "parts": list(products)[:_MOST_NAMED], "count": len(products), "why": why}
            told.append(Finding("part-elsewhere", measured=float(len(products)), values=values))
        if len(self.missing) > _MOST_NAMED:
            more = len(self.missing) - _MOST_NAMED
            told.append(Finding("part-elsewhere", variant="more", measured=float(more), values={"count": more}))
        return told
