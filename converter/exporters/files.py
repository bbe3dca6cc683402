"""File names a person recognises, and outputs that are written whole or not at all.

`safe_name` turns any run or layer name into a file name that every common file system
takes. `OutputSet` stages files in a hidden folder beside their destination and moves them
into place together (`converter.disk.stage`); when anything fails, nothing is left behind and
nothing was replaced.
"""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
import weakref
from collections.abc import Container, Iterable
from contextlib import suppress
from pathlib import Path
from types import TracebackType

from converter.disk.lock import locked
from converter.disk.reading import FileRead, files_read
from converter.disk.stage import Stage, recover, sweep
from converter.errors import WriteError
from converter.quoting import LONGEST_PATH, quoted, reason_of

#: Longest file name in bytes on the file systems in common use (UTF-8).
LONGEST = 255
#: Longest name `safe_name` makes on its own, leaving room for a stem beside it and an ending.
LONGEST_PART = 200
#: Room kept in a file name for telling look-alikes apart (``-2``, ``-3``...).
_ROOM = 8
#: Most characters of an ending with its dot; a dot further in front is one of the name.
_LONGEST_ENDING = 12

_FORBIDDEN = set("/\\:*?\"<>|'`")
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(?=\.|\Z)", re.IGNORECASE)
#: Unicode categories that do not show or cannot be stored: control, format, surrogate, private, unassigned, separators.
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def safe_name(text: str, limit: int = LONGEST_PART) -> str:
    """A file name (without ending) that still shows the name it was made from.

    Letters of every script stay. Path separators, quotes, wildcards, control and invisible
    characters become ``_``; leading dots, dashes and blanks become one ``_``; trailing dots
    and blanks go; device names of some systems (``con``, ``nul``, ...) get a leading ``_``.
    A name longer than ``limit`` bytes is cut and ends in ``-`` and eight digits of a hash of
    the whole name, so that two long names stay two.

    Args:
        text: any text.
        limit: most bytes in UTF-8, at least 16.
    """
    shown = unicodedata.normalize("NFC", text)
    shown = "".join("_" if c in _FORBIDDEN or unicodedata.category(c) in _UNSEEN else c for c in shown)
    shown = re.sub(r"\s+", " ", shown)
    shown = re.sub(r"\A[.\-~ ]+", "_", shown) if shown.strip(". ") else ""
    shown = shown.rstrip(". ")
    if not shown:
        shown = "unnamed"
    if _RESERVED.match(shown):
        shown = "_" + shown
    return _shortened(shown, text, limit)


def _shortened(shown: str, text: str, limit: int) -> str:
    if len(shown.encode()) <= limit:
        return shown
    mark = "-" + hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    cut = shown.encode()[: max(1, limit - len(mark))].decode("utf-8", "ignore")
    # a mark that combines with a letter cut away would show on the wrong letter
    while cut and unicodedata.combining(shown[len(cut)]):
        cut = cut[:-1]
    return cut.rstrip(". ") + mark


def _key(name: str) -> str:
    """Two names with one key are one file on systems that fold case or compose letters."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


class OutputSet:
    """Files that appear together in one folder, or not at all.

    Use as a context manager: leaving it normally commits, leaving it by an exception discards. Whatever cuts the run
    off, what stood in the folder or the whole of the new files stands there once it is next written to or read from.

    Args:
        out_dir: the folder; made (with its parents) on commit only.
        force: replace files that exist already.
        own: names of files in the folder that are replaced without ``force``: an earlier run of the caller wrote them.
        inputs: files that are never replaced, with or without ``force``, besides those read while the command runs
            (`converter.disk.reading.recorded`).
    """

    def __init__(
        self,
        out_dir: str | os.PathLike[str],
        *,
        force: bool = False,
        own: Container[str] = (),
        inputs: Iterable[FileRead] = (),
    ) -> None:
        try:
            bad = b"\0" in os.fsencode(out_dir)
        except UnicodeEncodeError:
            bad = True
        if bad:
            raise WriteError("The output folder's name holds what no file name can: name another with --out.")
        self.out_dir = Path(out_dir)
        self.force = force
        self._own = own
        self._inputs = tuple(inputs)
        self._names: dict[str, str] = {}  # file name asked for -> file name given
        self._given_names: dict[str, str] = {}  # key -> file name given, in order
        self._stage: Stage | None = None

    def __enter__(self) -> OutputSet:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.commit()
        else:
            self.discard()

    def path(self, name: str) -> Path:
        """Where to write the file that will be called ``name`` (ending included) in the folder.

        Every call claims a new file: a name that another file of this set has already, also in
        other letter case or once made safe, gets ``-2``, ``-3``... before its ending.

        Raises:
            WriteError: the file exists and ``force`` is off, or it was read.
        """
        stage = self._open().files
        given = self._claim(name)
        self._check(self.out_dir / given)
        return stage / given

    def require_free(self, name: str) -> None:
        """Refuse at once what `path` would refuse when the work for a file of that name is done; claims nothing.

        Raises:
            WriteError: as of `path`.
        """
        self._check(self.out_dir / "".join(self._safe(name)))

    def final(self, name: str) -> Path:
        """Where the file last claimed as ``name`` will stand after the commit.

        Raises:
            KeyError: nothing was claimed by this name.
        """
        return self.out_dir / self._names[name]

    def write(self, name: str, text: str) -> None:
        """Write a file of text that will be called ``name``: UTF-8, lines ended as they are.

        Raises:
            WriteError: as of `path`.
            OSError: the disk is full or fails.
        """
        self.path(name).write_text(text, encoding="utf-8", newline="")

    def staged(self) -> dict[str, Path]:
        """The files written so far: the name that each will have, and where it waits."""
        stage = self._open().files
        return {name: stage / name for name in self._given_names.values() if (stage / name).exists()}

    def commit(self) -> list[Path]:
        """Move every claimed file into place and return their paths in the order claimed.

        Raises:
            WriteError: one cannot be put in place; then all is as it was before.
        """
        stage = self._open()
        try:
            if not stage.root.exists():
                raise WriteError(
                    f"The output folder {quoted(self.out_dir, LONGEST_PATH)} was moved or replaced "
                    "while its files were worked out: run this again.",
                    file=str(self.out_dir),
                )
            given = list(self.staged())
            stage.flush(given)
            with locked(stage.root.parent):
                stage.commit(given, self._check)
        except OSError as error:
            raise self._refused(error) from error
        finally:
            self.discard()
        return [self.out_dir / name for name in given]

    def discard(self) -> None:
        """Forget every staged file.

        Raises:
            WriteError: files were being put in place and the old ones cannot be put back now.
        """
        if self._stage is None:
            return
        try:
            self._stage.drop()
        except OSError as error:
            raise WriteError(
                f"What stood in {quoted(self.out_dir, LONGEST_PATH)} cannot be put back ({reason_of(error).lower()}): "
                f"it is kept in {quoted(self._stage.root, LONGEST_PATH)}, and the next command that writes there "
                "puts it back.",
                file=str(self.out_dir),
            ) from error
        finally:
            self._stage = None

    def _open(self) -> Stage:
        if self._stage is None:
            try:
                folder, missing = self.out_dir, list[str]()
                while not folder.exists() and not folder.is_symlink():
                    missing.insert(0, folder.name)
                    folder = folder.parent
                if not folder.is_dir():
                    raise WriteError(
                        f"The output folder {quoted(self.out_dir, LONGEST_PATH)} cannot be made "
                        f"because {quoted(folder, LONGEST_PATH)} is not a folder: name another with --out.",
                        file=str(self.out_dir),
                    )
                for parent in self.out_dir.parents:  # where a run that was to make the folder may have been cut off
                    recover(parent)
                stage = Stage(folder, missing)
                # known before it is there: wherever an interrupt strikes, it goes with this object
                weakref.finalize(self, _drop, stage)
                self._stage = stage
                with locked(folder):
                    sweep(folder)
                    stage.begin()
            except OSError as error:
                self.discard()
                raise self._refused(error) from error
        return self._stage

    def _refused(self, error: OSError) -> WriteError:
        if isinstance(error, TimeoutError):
            return WriteError(
                f"The output folder {quoted(self.out_dir, LONGEST_PATH)} is being written to by another elbowroom: "
                "wait until that is done, then run this again.",
                code="busy",
                file=str(self.out_dir),
            )
        why = error.strerror or type(error).__name__
        return WriteError(
            f"The output folder {quoted(self.out_dir, LONGEST_PATH)} cannot be written to "
            f"({why.lower()}): name another with --out.",
            file=str(self.out_dir),
        )

    def _claim(self, name: str) -> str:
        base, ending = self._safe(name)
        given, n = base + ending, 1
        while _key(given) in self._given_names:
            n += 1
            given = f"{base}-{n}{ending}"
        self._given_names[_key(given)] = given
        self._names[name] = given
        return given

    @staticmethod
    def _safe(name: str) -> tuple[str, str]:
        """A name as it may stand in a folder: what is before its ending, and that."""
        # not os.path.splitext: of ".csv" it makes a name without an ending
        stem, _, ending = name.rpartition(".") if "." in name[-_LONGEST_ENDING:] else (name, "", "")
        if " " in ending:  # words after a dot
            stem, ending = name, ""
        ending = "".join(c for c in ending if c.isalnum())
        ending = f".{ending}" if ending else ""
        limit = LONGEST - len(ending.encode()) - _ROOM
        return safe_name(stem, limit), ending

    def _check(self, target: Path) -> None:
        if any(file.is_at(target) for file in (*self._inputs, *files_read())):
            raise WriteError(
                f"{quoted(target, LONGEST_PATH)} was read for this and is never replaced: "
                "name another folder with --out.",
                code="would-replace-input",
                file=str(target),
            )
        if target.is_dir() and not target.is_symlink():
            raise WriteError(
                f"{quoted(target, LONGEST_PATH)} is a folder where a file must go: name another folder with --out.",
                file=str(target),
            )
        may = self.force or target.name in self._own
        if not may and (target.exists() or target.is_symlink()):
            raise WriteError(
                f"{quoted(target, LONGEST_PATH)} exists already: give --force to replace it, or "
                "name another folder with --out.",
                code="exists",
                file=str(target),
            )


def _drop(stage: Stage) -> None:
    with suppress(OSError):  # then it is the next run's
        stage.drop()
