"""Run names in centerline drawings of our own.

The centerline exporter spreads one run over several layers and keeps the run's name and
layer with each LINE and ARC as extended data of the application ELBOWROOM: two strings,
name and layer. Drawings of other programs have no such application and cost nothing here.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from converter.importers.dxf.layers import decoded
from converter.model.drawing import DrawnCurve

APP = "ELBOWROOM"
_STRING = 1000


def with_run_names(doc: Any, layout: Any, curves: list[DrawnCurve]) -> list[DrawnCurve]:
    """The curves, those of our own drawings with the run's name and its first layer.

    Args:
        doc, layout: the DXF document and the layout that was read.
        curves: what was read from it.
    """
    if not doc.appids.has_entry(APP):
        return curves
    facts: dict[str, tuple[str, str | None]] = {}
    for entity in layout:
        if entity.has_xdata(APP):
            texts = [_plain(tag.value) for tag in entity.get_xdata(APP) if tag.code == _STRING]
            if len(texts) == 2 and texts[0]:
                facts[entity.dxf.handle] = (texts[0], texts[1] or None)
    if not facts:
        return curves

    def known(one: DrawnCurve) -> DrawnCurve:
        if one.handle not in facts:
            return one
        name, layer = facts[one.handle]
        # a group of its own: runs that touch end to end stay the runs they were
        return replace(one, layer=layer, name=name, group=name)

    return [known(one) for one in curves]


def _plain(text: str) -> str:
    # a caret is stored as a caret and a blank
    return decoded(text.replace("^ ", "^"))
