"""From drawn curves to runs and bend tables, and back."""

from __future__ import annotations

from converter.model.centerline import rebuild, reverse_table
from converter.model.run import reverse_run
from converter.reducer.reduce import reduce_drawing

__all__ = ["rebuild", "reduce_drawing", "reverse_run", "reverse_table"]
