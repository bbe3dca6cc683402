"""What all tests share."""

from __future__ import annotations

import logging
import os
import signal
import sys

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.internal.conjecture import providers

from converter.processes.memory import freeze_what_is_left

# the same examples on every run, so that a red suite means a change; --hypothesis-profile=explore looks for new ones;
# how long an example takes depends on what else the machine does, and says nothing
_ANY_SPEED = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("steady", derandomize=True, **_ANY_SPEED)
settings.register_profile("explore", derandomize=False, **_ANY_SPEED)
settings.load_profile("steady")
# it also draws numbers that stand in the modules loaded so far, and which those are depends on what ran before in the
# same process: without them a test has the same examples alone, in the suite and on any number of processes
if hasattr(providers, "_get_local_constants"):
    providers._get_local_constants = providers.Constants

# to compile the section library, as it does in a new environment, takes ten times what a few sections do
os.environ.setdefault("NUMBA_DISABLE_JIT", "1")

# where the shell asks for no bytecode, every process that tests start would compile what it runs: half its time
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# ezdxf logs names with undecodable bytes as lone surrogates; pytest would collect them into its
# reports, which xdist cannot send between its processes
logging.getLogger("ezdxf").setLevel(logging.CRITICAL)

# a suite that is started in the background of a shell is handed on that Ctrl-C is ignored, with nohup the end of the
# terminal too, and so are its children
if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) == signal.SIG_IGN:
    signal.signal(signal.SIGHUP, signal.SIG_DFL)


_modules_begun: set[str] = set()


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Each collection looks through half a million objects of libraries else, a seventh of the time of many tests."""
    if item.path.name not in _modules_begun:
        _modules_begun.add(item.path.name)
        freeze_what_is_left()


@pytest.fixture
def forked_trials(monkeypatch: pytest.MonkeyPatch) -> None:
    """Malformed files are tried out in forks: a process that loads the CAD kernel for it takes a second each."""
    from forked_trial import FORKING

    from converter.importers.step import trial

    monkeypatch.setattr(trial, "subprocess", FORKING)
