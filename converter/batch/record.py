"""The record beside the files of a drawing: what they were made from, each in a word, so that nothing is made twice.

It takes its place together with the files (`converter.exporters.files`), so that it is never of others than stand
there. A drawing is skipped while all of this is as it was: the drawing and every other file that was read (shop, job,
rack, buffers), by their bytes; the settings; this program and its libraries; the files written, by their bytes.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter.batch.verdict import DrawingVerdict
from converter.dates import fixed_time
from converter.disk.reading import CHUNK, FileRead, open_regular, open_to_read
from converter.errors import ReadError

if TYPE_CHECKING:
    from converter.batch.item import BatchItem

#: In the folder of a drawing's files; in the folder of a batch, its summary.
RECORD, SUMMARY = "elbowroom-batch-record.json", "elbowroom-batch.json"
_SCHEMA = "elbowroom/batch-record/1"


@dataclass(frozen=True, slots=True)
class BatchRecord:
    """What a record says.

    Attributes:
        key: of what was asked for (`key_of`).
        inputs: absolute path and digest of every file that was read.
        outputs: name and digest of every file that was written.
        leftovers: the same of those that stood there from runs before.
        verdict: what came of it.
    """

    key: str
    inputs: tuple[tuple[str, str], ...]
    outputs: tuple[tuple[str, str], ...]
    leftovers: tuple[tuple[str, str], ...]
    verdict: DrawingVerdict

    def holds(self, item: BatchItem) -> bool:
        """Whether all is as it was."""
        return (
            item.folder is not None
            and self.key == key_of(item)
            and all(_is_still(path, digest) for path, digest in self.inputs)
            and all(_is_still(os.path.join(item.folder, name), digest) for name, digest in self.outputs)
        )

    def own(self, folder: str) -> dict[str, str]:
        """Files that are there as they were written, each with its digest: nobody has put his hand to them."""
        return {
            name: digest
            for name, digest in (*self.leftovers, *self.outputs)
            if _is_still(os.path.join(folder, name), digest)
        }


def read_record(folder: str) -> BatchRecord | None:
    """The record in a folder; None where there is none that can be understood."""
    try:
        with open_to_read(os.path.join(folder, RECORD)) as stream:
            content = json.load(stream)
        if content["schema"] != _SCHEMA:
            return None
        pairs = {name: tuple((a, b) for a, b in content[name].items()) for name in ("inputs", "outputs", "leftovers")}
        return BatchRecord(content["key"], **pairs, verdict=DrawingVerdict.of_values(content["verdict"]))
    except (OSError, ReadError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def leftovers_of(item: BatchItem) -> tuple[str, ...]:
    """Names of files that runs before wrote for a drawing of which nothing came now."""
    if item.folder is None:
        return ()
    folder = os.path.join(item.current, item.folder)
    earlier = read_record(folder)
    return () if earlier is None else tuple(earlier.own(folder))


def record_text(
    key: str, inputs: dict[str, str], staged: dict[str, Path], leftovers: dict[str, str], verdict: DrawingVerdict
) -> str:
    """A record as text.

    Args:
        key: of what was asked for.
        inputs: path and digest of what was read.
        staged: the files written, by name.
        leftovers: name and digest of files from runs before that still stand there.
        verdict: what came of it.

    Raises:
        OSError: a file cannot be read back.
    """
    content: dict[str, Any] = {
        "schema": _SCHEMA,
        "key": key,
        "inputs": inputs,
        "outputs": {name: digest_of(path) for name, path in staged.items()},
        "leftovers": leftovers,
        "verdict": verdict.to_values(),
    }
    return json.dumps(content, indent=1) + "\n"


def key_of(item: BatchItem) -> str:
    """What a drawing's files depend on besides the files that are read."""
    fixed = fixed_time()
    parts = (_SCHEMA, program_digest(), str(fixed), item.source, repr(item.work), repr(item.settings))
    return hashlib.sha256("\n".join(parts).encode("utf-8", "surrogatepass")).hexdigest()


def digests_of(files: Sequence[FileRead]) -> dict[str, str] | None:
    """Path and digest of files that were read; None where one of them has changed since it was opened."""
    digests = {}
    for file in files:
        try:
            before = FileRead.of(file.path)
            digests[file.path] = digest_of(file.path)
            if not before == file == FileRead.of(file.path):
                return None
        except (OSError, ReadError):
            return None
    return digests


def _is_still(path: str, digest: str) -> bool:
    try:
        return digest_of(path) == digest
    except (OSError, ReadError, ValueError):
        return False


def digest_of(path: str | os.PathLike[str]) -> str:
    """SHA-256 of a file's bytes, in hex. The file is not noted as read (`converter.disk.reading`).

    Raises:
        ReadError: it is no regular file.
        OSError: it cannot be read.
    """
    total = hashlib.sha256()
    with open_regular(path, "copy it into a file and name that") as stream:
        while piece := stream.read(CHUNK):
            total.update(piece)
    return total.hexdigest()


@cache
def program_digest() -> str:
    """SHA-256 of this package's own files and of the versions of what it is installed with, in hex.

    The number of a version alone does not tell: it stays while a program is worked on.
    """
    package = Path(__file__).resolve().parents[1]
    total = hashlib.sha256()
    for file in sorted(package.rglob("*")):
        if file.is_file() and "__pycache__" not in file.parts:
            total.update(f"{file.relative_to(package).as_posix()} {digest_of(file)}\n".encode())
    for name in _needed():
        try:
            total.update(f"{name} {version(name)}\n".encode())
        except PackageNotFoundError:
            continue
    return total.hexdigest()


def _needed() -> list[str]:
    """Names of the packages that this one is installed with, extras left out."""
    try:
        lines = requires("elbowroom") or []
    except PackageNotFoundError:  # run from its folder, without being installed
        return []
    names = {line.partition(";")[0] for line in lines if "extra ==" not in line}
    return sorted(
        next((name[:i] for i, c in enumerate(name) if not (c.isalnum() or c in "-_.")), name) for name in names
    )
