"""Reading a malformed STEP or IGES file first in a process of its own, which may crash.

The CAD kernel follows some broken references into nothing and takes the whole process with
it. It knows beforehand that a file is malformed, though, and many such files read well
enough; so these, and only these, are tried out in a child process first.
"""

from __future__ import annotations

import signal
import subprocess

from converter.errors import ReadError
from converter.processes import allowance
from converter.processes.worker import isolated_python

#: Seconds after which a trial is given up where the system keeps no limit of processor time.
PATIENCE = 2.0 * allowance.SECONDS
#: Seconds of processor time for a malformed file, and for each of its megabytes: three times what sound ones take at
#: most, and far less than a person waits. The kernel reads some for ever: what it waits for never comes.
_SECONDS, _SECONDS_PER_MEGABYTE = 20.0, 100.0
_CHILD = "from {reader} import read_for_trial; read_for_trial(bounded={bounded})"
#: Exit status of a child that needs more memory than it may use.
NO_MEMORY = 3


def trial_seconds(size: int) -> float:
    """Processor time for the trial of a malformed file of so many bytes, s."""
    return _SECONDS + _SECONDS_PER_MEGABYTE * size / 1e6


def try_out(data: bytes, name: str, broken: str, reader: str = "converter.importers.step.read") -> bytes:
    """Read the file in a child process, within the limits of this one or, where it has none, the usual ones.

    For a small file the time is shorter (`trial_seconds`).

    Args:
        data: the file, or what else the child is to read from its standard input.
        name: what messages call it.
        broken: what is malformed in it, for the message.
        reader: the module whose ``read_for_trial(bounded)`` the child calls.

    Returns:
        What the child wrote to its standard output.

    Raises:
        ReadError: the child crashed, or needed more time or memory than it may use.
    """
    told: bytes | None = None
    code = _CHILD.format(reader=reader, bounded=allowance.own_process())
    patience = None if hasattr(signal, "SIGXCPU") else PATIENCE
    try:
        done = subprocess.run(isolated_python(code), input=data, capture_output=True, timeout=patience, check=False)
        ended, told = -done.returncode, done.stdout
    except subprocess.TimeoutExpired:
        ended = signal.SIGTERM
    if ended in (signal.SIGTERM, getattr(signal, "SIGXCPU", signal.SIGTERM)):
        raise ReadError(
            f"{name} is damaged ({broken}) and takes too long to read: export it again{_more(len(data))}.",
            code="limit-time",
            file=name,
        )
    if ended == -NO_MEMORY:
        raise ReadError(
            f"{name} is damaged ({broken}) and takes too much memory to read: export it again, or allow more with "
            "--limit-memory.",
            code="limit-memory",
            file=name,
        )
    if ended:
        raise ReadError(
            f"{name} is damaged and breaks the CAD kernel ({broken}): export it again.", code="damaged-file", file=name
        )
    return told or b""


def _more(size: int) -> str:
    """The advice to allow more time, where that would help a file of so many bytes."""
    allowed = allowance.allowed_seconds()
    allowed = allowance.SECONDS if allowed is None else allowed
    return ", or allow more with --limit-time" if allowed < trial_seconds(size) else ""
