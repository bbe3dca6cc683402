"""Without the CAD kernel, or a library beneath it: one sentence with the cure, and nothing half-written."""

from __future__ import annotations

import subprocess
import sys

import pytest

import converter.kernel
from converter.errors import MissingLibraryError
from converter.kernel import require


def failing(error):
    def load(_name):
        raise error

    return load


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (ImportError("libGL.so.1: cannot open shared object file: No such file"), ["apt-get install libgl1"]),
        (ImportError("libXrender.so.1: cannot open shared object file: No such file"), ["libXrender.so.1", "packages"]),
        (ImportError("numpy.core.multiarray failed to import"), ["failed to import", "pip install"]),
        (ModuleNotFoundError("No module named 'OCP'", name="OCP"), ["pip install cadquery-ocp"]),
        (ModuleNotFoundError("No module named 'OCP.TopoDS'", name="OCP.TopoDS"), ["pip install cadquery-ocp"]),
    ],
)  # fmt: skip
def test_one_sentence_says_what_to_install(monkeypatch, error, words):
    monkeypatch.setattr(converter.kernel, "import_module", failing(error))
    with pytest.raises(MissingLibraryError) as caught:
        require()
    for word in words:
        assert word in caught.value.message
    assert caught.value.message.startswith("STEP needs the CAD kernel")
    assert caught.value.message.endswith(".") and "\n" not in caught.value.message
    assert caught.value.code == "missing-library"


def test_another_missing_module_is_not_blamed_on_the_kernel(monkeypatch):
    monkeypatch.setattr(converter.kernel, "import_module", failing(ModuleNotFoundError("x", name="x")))
    with pytest.raises(ModuleNotFoundError):
        require()


@pytest.mark.parametrize(("kind", "written"), [("step", True), ("wires", False)])
def test_a_machine_without_the_kernel(tmp_path, kind, written):
    """A fresh interpreter in which the kernel cannot be imported: tubes as drawn need none, else the sentence."""
    code = f"""
import sys
sys.modules["OCP"] = None
sys.path[:0] = {sys.path!r}
from tubes import run_of, tube_of
from converter.errors import MissingLibraryError
from converter.exporters.registry import write
from converter.job import Job
from converter.model.section import Section
tube = tube_of(run_of([(100.0, 0.0, 90.0, 120.0)], 100.0), Section("round", 25.0, 2.0))
try:
    write([Job.of_tubes((tube,), source="a.dxf")], {str(tmp_path / "out")!r}, [{kind!r}])
except MissingLibraryError as error:
    print(error.message)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    said = "" if written else "STEP needs the CAD kernel, which is not installed: run `pip install cadquery-ocp`."
    assert done.stdout.strip() == said
    assert (tmp_path / "out" / "a.step").exists() is written
    assert (tmp_path / "out").exists() is written


def test_the_exporters_load_nothing_heavy():
    """Naming the formats must not load the kernel or the mesh library."""
    code = (
        "import sys, converter.exporters.solids.step, converter.exporters.solids.mesh, "
        "converter.kernel.shapes.solids, converter.kernel.step.write; "
        "print([m for m in ('OCP', 'cadquery', 'trimesh', 'scipy', 'numpy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
