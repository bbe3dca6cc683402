"""File names a person recognises, and outputs that are written whole or not at all.

`safe_name` turns any run or layer name into a file name that every common file system
takes. `OutputSet` stages files in a hidden folder beside their destination and moves them
into place together; when anything fails, nothing is left behind and nothing was replaced.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

from converter.errors import WriteError

#: Longest file name in bytes on the file systems in common use (UTF-8).
LONGEST = 255
#: Longest name `safe_name` makes on its own, leaving room for a stem beside it and an ending.
LONGEST_PART = 200
#: Room kept in a file name for telling look-alikes apart (``-2``, ``-3``...).
_ROOM = 8

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

    Use as a context manager: leaving it normally commits, leaving it by an exception discards.

    Args:
        out_dir: the folder; made (with its parents) on commit only.
        force: replace files that exist already.
        inputs: files that are never replaced, with or without ``force``.
    """

    def __init__(self, out_dir: str | os.PathLike[str], *, force: bool = False, inputs: Iterable[Path] = ()) -> None:
        if "\0" in os.fspath(out_dir):
            raise WriteError("The output folder's name holds a null character: name another with --out.")
        self.out_dir = Path(out_dir)
        self.force = force
        self._inputs = tuple(Path(p) for p in inputs)
        self._names: dict[str, str] = {}  # file name asked for -> file name given
        self._taken: dict[str, str] = {}  # key -> file name given, in order
        self._stage: Path | None = None

    def __enter__(self) -> OutputSet:
        self._open()
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
            WriteError: the file exists and ``force`` is off, or it is one of the inputs.
        """
        stage = self._open()
        given = self._claim(name)
        self._check(self.out_dir / given)
        return stage / given

    def final(self, name: str) -> Path:
        """Where the file last claimed as ``name`` will stand after the commit.

        Raises:
            KeyError: nothing was claimed by this name.
        """
        return self.out_dir / self._names[name]

    def commit(self) -> list[Path]:
        """Move every claimed file into place and return their paths in the order claimed.

        Raises:
            WriteError: one cannot be put in place; then all is as it was before.
        """
        stage = self._open()
        made: list[Path] = []
        placed: list[Path] = []
        saved: list[tuple[Path, Path]] = []
        try:
            given = [name for name in self._taken.values() if (stage / name).exists()]
            for name in given:
                self._check(self.out_dir / name)
            made = _make_folder(self.out_dir)
            for i, name in enumerate(given):
                target = self.out_dir / name
                if target.exists() or target.is_symlink():
                    self._check(target)
                    keep = stage / f".replaced-{i}"
                    os.replace(target, keep)
                    saved.append((keep, target))
                os.replace(stage / name, target)
                placed.append(target)
        except BaseException as error:
            for target in reversed(placed):
                target.unlink(missing_ok=True)
            for keep, target in reversed(saved):
                os.replace(keep, target)
            for folder in reversed(made):
                folder.rmdir()
            self.discard()
            if isinstance(error, OSError):
                raise self._refused(error) from error
            raise
        self.discard()
        return placed

    def discard(self) -> None:
        """Forget every staged file."""
        if self._stage is not None:
            shutil.rmtree(self._stage, ignore_errors=True)
            self._stage = None

    def _open(self) -> Path:
        if self._stage is None:
            try:
                folder = self.out_dir
                while not folder.exists() and not folder.is_symlink():
                    folder = folder.parent
                if not folder.is_dir():
                    raise WriteError(
                        f"The output folder {str(self.out_dir)!r} cannot be made because {str(folder)!r} is not a "
                        "folder: name another with --out.",
                        file=str(self.out_dir),
                    )
                self._stage = Path(tempfile.mkdtemp(prefix=".elbowroom-", dir=folder))
            except OSError as error:
                raise self._refused(error) from error
        return self._stage

    def _refused(self, error: OSError) -> WriteError:
        why = error.strerror or type(error).__name__
        return WriteError(
            f"The output folder {str(self.out_dir)!r} cannot be written to ({why.lower()}): name another with --out.",
            file=str(self.out_dir),
        )

    def _claim(self, name: str) -> str:
        stem, ending = os.path.splitext(name)
        limit = LONGEST - len(ending.encode("utf-8", "replace")) - _ROOM
        ending = "".join(c for c in ending if c.isalnum() or c == ".")
        base = safe_name(stem, limit)
        given, n = base + ending, 1
        while _key(given) in self._taken:
            n += 1
            given = f"{base}-{n}{ending}"
        self._taken[_key(given)] = given
        self._names[name] = given
        return given

    def _check(self, target: Path) -> None:
        for path in self._inputs:
            if _same(path, target):
                raise WriteError(
                    f"{str(target)!r} is an input file and is never replaced: name another folder with --out.",
                    code="would-replace-input",
                    file=str(target),
                )
        if target.is_dir() and not target.is_symlink():
            raise WriteError(
                f"{str(target)!r} is a folder where a file must go: name another folder with --out.", file=str(target)
            )
        if not self.force and (target.exists() or target.is_symlink()):
            raise WriteError(
                f"{str(target)!r} exists already: give --force to replace it, or name another folder with --out.",
                code="exists",
                file=str(target),
            )


def _same(a: Path, b: Path) -> bool:
    try:
        return os.path.samefile(a, b)
    except OSError:
        return os.path.realpath(a) == os.path.realpath(b)


def _make_folder(folder: Path) -> list[Path]:
    """Make a folder and its parents; returns those made, outermost first (also undone by the caller)."""
    missing: list[Path] = []
    at = folder
    while not at.exists():
        missing.append(at)
        at = at.parent
    made: list[Path] = []
    try:
        for one in reversed(missing):
            one.mkdir(exist_ok=True)
            made.append(one)
    except OSError:
        for one in reversed(made):
            one.rmdir()
        raise
    return made
