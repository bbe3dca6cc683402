"""Which bars a job is cut from, for the HTML sheet: in words, as a table of letters, as a picture."""

from __future__ import annotations

from dataclasses import dataclass, replace

from converter.exporters.cutting.diagram import bars_picture, legend
from converter.exporters.pictures.picture import Picture
from converter.job.cutlist import CutList
from converter.job.cutlist_words import group_sentences, group_title
from converter.units import BothUnits, Display


@dataclass(frozen=True, slots=True)
class BarsView:
    """The bars of one section: its title, what to buy and what is left, and a row for each letter in the picture."""

    title: str
    sentences: tuple[str, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def bars_views(cuts: CutList, both: BothUnits) -> tuple[BarsView, ...]:
    """The sections of a list in their order."""
    views = []
    for group in cuts.groups:
        heads, rows = legend(group, both)
        sentences = tuple(group_sentences(group, both, cuts.currency))
        views.append(BarsView(group_title(group, both), sentences, heads, tuple(map(tuple, rows))))
    return tuple(views)


def bars_pictures(cuts: CutList, display: Display) -> tuple[Picture | None, ...]:
    """All bars of each section; None for one that has none."""
    return tuple(
        replace(bars_picture(group, group.plan.patterns, display), title=f"Bars to scale, {n} of {len(cuts.groups)}")
        if group.plan is not None and group.plan.patterns
        else None
        for n, group in enumerate(cuts.groups, 1)
    )
