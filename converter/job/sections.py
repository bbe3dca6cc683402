"""Sections as options give them: of every run, and by layer."""

from __future__ import annotations

from collections.abc import Sequence

from converter.errors import OptionError
from converter.model.section import Section
from converter.quoting import quoted
from converter.shop.sections import parse_section


def sections_of(texts: Sequence[str], unit: str) -> tuple[Section | None, dict[str, Section]]:
    """Default section and section per layer from ``SIZE`` and ``LAYER=SIZE``; a layer's name may hold '='.

    Args:
        texts: as typed.
        unit: of bare numbers.

    Raises:
        OptionError, UnitsError: a text is no section, or names no layer before the '='.
    """
    default: Section | None = None
    per_layer: dict[str, Section] = {}
    for text in texts:
        layer, found, size = text.rpartition("=")
        if not found:
            default = parse_section(text, unit)
        elif layer.strip():
            per_layer[layer.strip()] = parse_section(size, unit)
        else:
            raise OptionError(f"{quoted(text)} names no layer before the '=': write LAYER=1.75x0.120in.")
    return default, per_layer
