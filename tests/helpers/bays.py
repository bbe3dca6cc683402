"""Bays that do to a drawing what its name says: a drawing that crashes a library, without a library that crashes."""

from __future__ import annotations

import pytest

from converter.batch import bay

_SABOTAGE = """
import os, signal, time
from converter.importers import registry
from converter.processes import worker
worker._GRACE = 1.0
sound = registry.open_source
def open_source(name):
    stem = os.path.basename(name)
    if stem.startswith("segv"):
        os.kill(os.getpid(), signal.SIGSEGV)
    if stem.startswith("killed"):
        os.kill(os.getpid(), signal.SIGKILL)
    if stem.startswith("exits"):
        os._exit(7)
    if stem.startswith("spins"):
        while True:
            pass
    if stem.startswith("hogs"):
        hog = [bytearray(10**8) for _ in range(1000)]
    if stem.startswith("slips"):
        raise RuntimeError("a mistake")
    if stem.startswith("waits"):
        with open(name + ".pid", "x" if not os.path.exists(name + ".pid") else "a") as stream:
            stream.write(f"{os.getpid()}\\n")
        while not os.path.exists(name + ".go"):
            time.sleep(0.01)
    return sound(name)
registry.open_source = open_source
from converter.exporters.data import table_csv
whole = table_csv.export
def export(job, out, options):
    if job.stem.startswith("bursts"):
        out.path("half.csv").write_text("half")
        os.kill(os.getpid(), signal.SIGKILL)
    whole(job, out, options)
table_csv.export = export
"""


def sabotaged(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every bay that is started from now on heed the names of drawings."""
    code = _SABOTAGE.replace("{", "{{").replace("}", "}}")
    monkeypatch.setattr(bay, "_CODE", code + bay._CODE)
