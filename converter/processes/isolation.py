"""Another Python that runs our code and nobody else's: for what may crash, or must not be disturbed."""

from __future__ import annotations

import sys
from importlib.util import find_spec
from pathlib import Path

#: Loads this very package by its place, given first, so that nothing else beside it can be imported; what it needs is
#: looked for last where it was found for us (further places), since an isolated interpreter may not look there.
_ISOLATED = """
import sys
from importlib.util import module_from_spec, spec_from_file_location
spec = spec_from_file_location("converter", sys.argv[1] + "/__init__.py", submodule_search_locations=[sys.argv[1]])
sys.modules["converter"] = module_from_spec(spec)
spec.loader.exec_module(sys.modules["converter"])
sys.path += sys.argv[2:]
"""
#: What such a Python may need besides the standard library and this package, and may not find by itself.
_NEEDED = ("numpy", "OCP")


def isolated_python(code: str) -> list[str]:
    """A command that runs Python code which may import this package, whatever lies in the current folder.

    Neither that folder nor one that PYTHONPATH names is on the path of the interpreter, and no other variable of
    Python's tells it what to do. Where this interpreter keeps no bytecode (``-B``), it keeps none either.
    """
    here = Path.cwd()
    package = Path(__file__).resolve().parents[1]
    places = []
    for name in _NEEDED:
        spec = getattr(sys.modules.get(name), "__spec__", None) or find_spec(name)
        file = None if spec is None else spec.origin
        if file is not None:
            folder = Path(file).resolve().parent
            places.append(folder.parent if folder.name == name else folder)
    found = [str(place) for place in dict.fromkeys(places) if place != here]
    options = ["-I", "-B"] if sys.dont_write_bytecode else ["-I"]
    return [sys.executable, *options, "-c", _ISOLATED + code, str(package), *found]
