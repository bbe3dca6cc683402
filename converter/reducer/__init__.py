"""From drawn curves to runs and bend tables, and back."""

from __future__ import annotations

from converter.reducer.rebuild import rebuild, reverse_run, reverse_table
from converter.reducer.reduce import reduce_drawing

__all__ = ["rebuild", "reduce_drawing", "reverse_run", "reverse_table"]
