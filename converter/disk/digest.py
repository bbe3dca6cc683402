"""What a file holds and what this program is, each in one word that changes with it."""

from __future__ import annotations

import hashlib
import os
from functools import cache
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path

from converter.disk.reading import CHUNK, open_regular


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
