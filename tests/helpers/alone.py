"""A test in a process of its own, where no thread runs that an earlier test left behind."""

from __future__ import annotations

import faulthandler
import os
import traceback
from collections.abc import Callable
from functools import wraps
from signal import SIGKILL
from typing import ParamSpec

import pytest

P = ParamSpec("P")


def alone(test: Callable[P, None]) -> Callable[P, None]:
    """The test in a fork of pytest's process: it has one thread and no children, and what is killed is not pytest."""

    @wraps(test)
    def in_a_fork(*args: P.args, **given: P.kwargs) -> None:
        hearing, telling = os.pipe()
        child = os.fork()
        if child == 0:
            _live(telling, lambda: test(*args, **given))
        os.close(telling)
        try:
            with open(hearing, encoding="utf-8") as told:
                said = told.read()
            status, child = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), 0
        finally:
            if child:  # the time of the test is up
                os.kill(child, SIGKILL)
                os.waitpid(child, 0)
        if status != 0:
            pytest.fail(said or f"its process ended with status {status}", pytrace=False)

    return in_a_fork


def _live(telling: int, test: Callable[[], None]) -> None:
    """The whole life of the fork."""
    status = 1
    faulthandler.disable()  # a crash is told by the one who waits
    try:
        test()
        status = 0
    except BaseException:
        os.write(telling, traceback.format_exc().encode())
    finally:
        os._exit(status)  # nothing of pytest is closed, flushed or put away
