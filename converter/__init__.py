"""elbowroom: centerlines from CAD become bend tables, verdicts, templates and solids.

The public API is small and lazy: ``import converter`` costs next to nothing, and each
name below loads what it needs on first use.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from converter.exporters.options import WriteOptions
    from converter.exporters.registry import write
    from converter.job import Job, open_job
    from converter.settings import Settings

__version__ = "0.1.0"

__all__ = ["Job", "Settings", "WriteOptions", "__version__", "open_job", "write"]

_HOMES = {
    "Job": "converter.job",
    "Settings": "converter.settings",
    "WriteOptions": "converter.exporters.options",
    "open_job": "converter.job",
    "write": "converter.exporters.registry",
}


def __getattr__(name: str) -> Any:
    """The names of the public API, loaded on first use."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
