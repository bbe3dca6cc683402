"""Content for libraries that read only what has a name: in a file that is gone with the process, whatever ends that."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile


@contextmanager
def nameless_file(data: bytes) -> Iterator[Path]:
    """A path by which this process can read ``data`` for so long.

    The file has no name in any folder: its path is that of the open handle. Only where the system has no such paths
    (Windows) it is a file in a temporary folder, which a process that is killed leaves behind.

    Raises:
        OSError: there is no room for it.
    """
    with TemporaryFile() as file:
        path = Path(f"/dev/fd/{file.fileno()}")
        if path.exists():
            file.write(data)
            file.flush()
            file.seek(0)  # some systems do not open it anew
            yield path
            return
    with TemporaryDirectory(prefix="elbowroom-") as folder:
        path = Path(folder) / "drawing"
        path.write_bytes(data)
        yield path
