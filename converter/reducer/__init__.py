"""From drawn curves to runs and bend tables."""

from __future__ import annotations

from converter.reducer.reduce import reduce_drawing

__all__ = ["reduce_drawing"]
