"""How much of the machine a process may use: processor time for each input file, and memory.

Only whoever owns a whole process sets limits: the command line in the process that it starts for a command, and
the trial reading of a malformed file. A library function never does; on a system without such limits nothing is set.
"""

from __future__ import annotations

import os

#: Seconds of processor time for each input. Sixteen hundred bent tubes with every format there is take a third of it.
SECONDS = 1800.0
#: Bytes of memory, where the machine has a third more. The same job as STEP, the thirstiest format, takes a third.
_MEMORY = 4 * 10**9
_PART_OF_MACHINE = 0.75


class TimeLimitReached(BaseException):
    """The processor time allowed is used up.

    No `Exception`, so that nothing which forgives the errors of a reader or of a format goes on as if it were one.
    """


def usual_memory(processes: int = 1) -> int:
    """Bytes of memory that each of so many processes at once may use unless told otherwise."""
    try:
        machine = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):
        return _MEMORY
    return min(_MEMORY, int(_PART_OF_MACHINE * machine / processes))


def _used_seconds() -> float:
    """Processor time that this process has used so far, s."""
    times = os.times()
    return times.user + times.system


def limit_seconds(seconds: float | None) -> None:
    """Send SIGXCPU to this process, once a second, when it has used so much more processor time.

    Args:
        seconds: rounded up to whole ones; None for as much as the surroundings allow.
    """
    _limit("RLIMIT_CPU", None if seconds is None else -int(-(_used_seconds() + seconds) // 1))


def limit_memory(bytes_: int | None) -> None:
    """Let allocations fail beyond so many bytes of this process's own data.

    Args:
        bytes_: heap, stacks of threads and private mappings together; None for as much as the surroundings allow.
    """
    _limit("RLIMIT_DATA", bytes_)


def leave_no_core() -> None:
    """Let a crash of this process leave no file behind."""
    _limit("RLIMIT_CORE", 0)


def allowed_seconds() -> float | None:
    """Processor time that this process may use in all, s; None where nothing limits it."""
    try:
        import resource
    except ImportError:
        return None
    soft, _ = resource.getrlimit(resource.RLIMIT_CPU)
    return None if soft == resource.RLIM_INFINITY else float(soft)


def own_process() -> bool:
    """Whether this process has set limits for itself, or chosen to have none."""
    return bool(_AT_FIRST)


def is_want_of_memory(error: BaseException | None) -> bool:
    """Whether an error stands for an allocation that failed, or comes of one."""
    while error is not None:
        if isinstance(error, MemoryError) or type(error).__name__ == "Standard_OutOfMemory":  # the CAD kernel's own
            return True
        error = error.__cause__ or error.__context__
    return False


#: Soft limits as the surroundings set them, by name: the most that we allow ourselves.
_AT_FIRST: dict[str, int] = {}


def _limit(name: str, value: int | None) -> None:
    """Set a soft limit, never above what the surroundings allow."""
    try:
        import resource
    except ImportError:  # no such limits on this system
        return
    kind = getattr(resource, name, None)
    if kind is None:
        return
    now, hard = resource.getrlimit(kind)
    most = _AT_FIRST.setdefault(name, now)
    soft = most if value is None else value if most == resource.RLIM_INFINITY else min(value, most)
    try:
        resource.setrlimit(kind, (soft, hard))
    except (OSError, ValueError):  # the system knows the name and does not keep it
        return
