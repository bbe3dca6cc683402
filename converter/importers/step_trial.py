"""Reading a malformed STEP file first in a process of its own, which may crash.

The CAD kernel follows some broken references into nothing and takes the whole process with
it. It knows beforehand that a file is malformed, though, and many such files read well
enough; so these, and only these, are tried out in a child process first.
"""

from __future__ import annotations

import os
import subprocess
import sys

from converter.errors import ReadError

#: Seconds after which a trial is given up.
PATIENCE = 300.0
_CHILD = "from converter.importers.step_trial import child; child()"


def try_out(data: bytes, name: str, broken: str) -> None:
    """Read the file in a child process.

    Args:
        data: the file.
        name: what messages call it.
        broken: what is malformed in it, for the message.

    Raises:
        ReadError: the child crashed, or did not come to an end.
    """
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    try:
        done = subprocess.run(
            [sys.executable, "-c", _CHILD], input=data, capture_output=True, env=env, timeout=PATIENCE, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise ReadError(
            f"{name} is damaged ({broken}) and reading it does not come to an end: export it again.",
            code="damaged-file",
            file=name,
        ) from error
    if done.returncode != 0:
        raise ReadError(
            f"{name} is damaged and breaks the CAD kernel ({broken}): export it again.", code="damaged-file", file=name
        )


def child() -> None:
    """What the child does: read standard input; an error told in a sentence is left to the parent to tell."""
    from converter.errors import ElbowroomError
    from converter.importers.source import Source
    from converter.importers.step import read_step

    try:
        read_step(Source("trial", None, sys.stdin.buffer.read()), tried=True)
    except ElbowroomError:
        return
