"""elbowroom: centerlines from CAD become bend tables, verdicts, templates and solids.

The public API is small and lazy: ``import converter`` costs next to nothing, and each
name below loads what it needs on first use.
"""

from __future__ import annotations

__version__ = "0.1.0"
