"""The CAD kernel, behind one small package: solids, wires and STEP. Nothing else imports it.

The kernel takes about a second to load, so nothing here loads it before it is used:
`require` is the first call of every function that needs it.
"""

from __future__ import annotations

from importlib import import_module

from converter.errors import MissingLibraryError

#: What brings the kernel.
_INSTALL = "pip install cadquery-ocp"


def require() -> None:
    """Load the CAD kernel, or say in one sentence what to install.

    Raises:
        MissingLibraryError: the package, or a system library beneath it, is missing.
    """
    try:
        import_module("OCP.TopoDS")
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] != "OCP":
            raise
        raise MissingLibraryError(f"STEP needs the CAD kernel, which is not installed: run `{_INSTALL}`.") from error
    except ImportError as error:
        raise MissingLibraryError(_loader_sentence(str(error))) from error


def _loader_sentence(said: str) -> str:
    """One sentence from what the system's loader says: "libGL.so.1: cannot open shared object file: ..."."""
    library, _, rest = said.partition(":")
    if not rest.strip().startswith("cannot open shared object"):
        return f"STEP needs the CAD kernel, which does not load here ({said}): reinstall it with `{_INSTALL}`."
    cure = "run `apt-get install libgl1`" if library.startswith("libGL") else "install it with the system's packages"
    return f"STEP needs the CAD kernel, which cannot load because {library} is missing: {cure}."
