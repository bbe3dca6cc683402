"""Is it a BREP file? Asked of its first bytes."""

from __future__ import annotations

_STARTS = (b"DBRep_DrawableShape", b"CASCADE Topology V")


def is_brep(head: bytes) -> bool:
    """Whether a file's first bytes are those of the kernel's text of shapes."""
    return head.lstrip(b"\r\n ").startswith(_STARTS)
