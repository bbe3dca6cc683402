"""elbowroom: centerlines from CAD become bend tables, verdicts, templates and solids.

The public API is small and lazy: ``import converter`` costs next to nothing, and each
name below loads what it needs on first use.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from converter.api import Result, Settings, check, export, load

__version__ = "0.1.0"

__all__ = ["Result", "Settings", "__version__", "check", "export", "load"]


def __getattr__(name: str) -> Any:
    """Names of `converter.api`, loaded on first use."""
    if name in __all__:
        from converter import api

        return getattr(api, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
