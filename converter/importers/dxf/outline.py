"""Drawings that look like a solid's outline and seam edges instead of centerlines."""

from __future__ import annotations

from converter.findings import Finding
from converter.model.drawing import DrawnCurve


def outline_findings(curves: list[DrawnCurve]) -> list[Finding]:
    """A warning when the curves look like the edges of tubes drawn as solids, else nothing."""
    return []
