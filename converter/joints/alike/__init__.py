"""Which tubes of a job are one part, and which parts mirror each other. Ask `find_parts`."""

from __future__ import annotations

from converter.joints.alike.find import find_parts

__all__ = ["find_parts"]
