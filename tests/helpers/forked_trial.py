"""Malformed files tried out in a fork of this process, which need not load the CAD kernel anew as a child does."""

from __future__ import annotations

import faulthandler
import io
import os
import subprocess
import sys
import traceback
from types import SimpleNamespace


def trial_in_a_fork(command: list[str], *, input: bytes, **_: object) -> subprocess.CompletedProcess[bytes]:
    """What `subprocess.run` is to `converter.importers.step.trial`, forked from here.

    A mistake of ours in it would be taken for a crash of the kernel; here it is written where this process hears it.
    """
    child = os.fork()
    if child == 0:
        status = 1
        try:
            faulthandler.disable()  # a crash is told by the one who waits
            heard = os.dup(2)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            for stream in (1, 2):
                os.dup2(nowhere, stream)
            code = command.index("-c") + 1
            sys.argv, sys.stdin = ["-c", *command[code + 1 :]], io.TextIOWrapper(io.BytesIO(input))
            exec(command[code], {})
            status = 0
        except SystemExit as ended:
            status = int(ended.code or 0)
        except Exception:
            os.write(heard, traceback.format_exc().encode())
        finally:
            os._exit(status)
    return subprocess.CompletedProcess(command, os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))


#: Stands for the module `subprocess` in `converter.importers.step.trial`.
FORKING = SimpleNamespace(run=trial_in_a_fork, TimeoutExpired=subprocess.TimeoutExpired)
