"""Many drawings, each a job of its own that harms no other: on several processes, or on any executor.

>>> from converter.batch import AuditWork, batch_items, find_drawings, local_bays, work_through
>>> found = find_drawings(["drawings"])  # doctest: +SKIP
>>> with local_bays(2) as executor:  # doctest: +SKIP
...     for verdict in work_through(batch_items(found.drawings, AuditWork()), executor):
...         print(verdict.source, verdict.word)
"""

from __future__ import annotations

from converter.batch.bay import local_bays, run_item, work_through
from converter.batch.drawings import BatchDrawing, BatchDrawings, find_drawings
from converter.batch.item import AuditWork, BatchItem, BatchLimits, ConvertWork, CutlistWork, batch_items
from converter.batch.verdict import DrawingVerdict
from converter.batch.watch import BatchUpdate, watch_batch

__all__ = [
    "AuditWork",
    "BatchDrawing",
    "BatchDrawings",
    "BatchItem",
    "BatchLimits",
    "BatchUpdate",
    "ConvertWork",
    "CutlistWork",
    "DrawingVerdict",
    "batch_items",
    "find_drawings",
    "local_bays",
    "run_item",
    "watch_batch",
    "work_through",
]
