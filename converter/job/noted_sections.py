"""Sections that notes in a drawing, and names of layers without a unit, seem to tell: named, never taken.

A note may be of another part, and ``38x2`` on a layer may be anything; but where nothing gives a tube its section, what
stands there is the likeliest one, and what to type is told with it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from converter.findings import Clause, Finding
from converter.model.drawing import Drawing
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.consistency import is_tube_size
from converter.shop.sections import sections_in, typed

_UNITS = ("mm", "in")
#: Numbers as they are written in inches: fractions, and decimals without a zero.
_INCHES = re.compile(r"(?<!\d)\.\d|\d/\d")
#: Words of what has sizes, too.
_NO_SECTION = re.compile(
    r"(?<![a-z])(?:pl|plt|clr|scale|bolts?|screws?|nuts?|washers?|welds?|threads?|drill|chamfer)(?![a-z])",
    re.IGNORECASE,
)
#: A decimal comma; three digits behind it may be thousands, and a point beside it says that it is none.
_COMMA = re.compile(r"(?<=\d),(?=\d{1,2}(?!\d))")
_STAR = re.compile(r"(?<=[\d ])\*(?=[\d .])")
_LENGTH = r"(?:\d++(?:\.\d++)?|\.\d++)(?: ?(?:mm|in|\"))?"
#: Numbers that words tell apart, before them or behind, such as ``OD 38.1 wall 2.4`` and ``1.5 OD .095 WALL``.
_NAMED_BEFORE = re.compile(
    rf"(?:(?<![a-z])(?:o\.?d|dia)\b\.?|[øØ⌀∅])[ :=]*+(?P<od>{_LENGTH})[ ,;]*+(?<![a-z])(?:wall|wt|w\.t\.|thk|t)"
    rf"[ :=]*+(?P<wall>{_LENGTH})",
    re.IGNORECASE,
)
_NAMED_BEHIND = re.compile(
    rf"(?<![\d.,])(?P<od>{_LENGTH}) ?(?:o\.?d|dia)\b\.?[ ,;]*+(?P<wall>{_LENGTH}) ?(?:wall|wt|thk)(?![a-z])",
    re.IGNORECASE,
)
_CORNER = re.compile(r" r[\d.]++(?:mm|in)$")
#: mm; no tube that is bent has a thicker wall. Common practice, no source.
_MOST_WALL = 20.0
#: Notes that are named one by one.
_NAMED = 3


def noted_sections(drawing: Drawing, tubes: Sequence[Tube]) -> list[Finding]:
    """What a note or the name of its layer seems to tell of each tube without a section.

    Args:
        drawing: with its notes.
        tubes: of it.
    """
    lacking = [tube for tube in tubes if tube.section is None]
    if not lacking:
        return []
    layers = {tube.run.layer for tube in lacking}
    of_layer = {layer: noted_section(layer, drawing.read_as) for layer in layers if layer is not None}
    found = []
    for run in (tube.run for tube in lacking):
        size = None if run.layer is None else of_layer[run.layer]
        if size is not None:
            values = {"layer": run.layer, "option": f"{run.layer}={size}"}
            found.append(Finding("section-noted", variant="layer", tube=run.name, layer=run.layer, values=values))
    return found if len(found) == len(lacking) else [*found, *_of_notes(drawing)]


def _of_notes(drawing: Drawing) -> list[Finding]:
    """What the notes of a drawing seem to tell, in one sentence."""
    sizes: dict[str, str] = {}  # as typed, and the first note that tells it
    for note in drawing.notes:
        size = noted_section(note, drawing.read_as)
        if size is not None:
            sizes.setdefault(size, note)
    if not sizes:
        return []
    notes = [Clause.of("noted", note=note) for note in [*sizes.values()][:_NAMED]]
    if len(sizes) > _NAMED:
        notes.append(Clause.of("more-notes", count=len(sizes) - _NAMED))
    values = {"notes": notes, "option": next(iter(sizes))}
    return [Finding("section-noted", variant="" if len(sizes) == 1 else "several", values=values)]


def noted_section(text: str, unit: str) -> str | None:
    """The section that a text seems to tell, as it is typed; None where it tells none, or several.

    Args:
        text: a line of a note, or a layer's name.
        unit: of the drawing, that a number without one is in, unless that makes no tube, or the numbers are written
            as those in inches are.
    """
    if _NO_SECTION.search(text):
        return None
    text = _as_typed(text)
    for own in sorted(_UNITS, key=lambda one: one != ("in" if _INCHES.search(text) else unit)):
        found = [one for one in sections_in(text, own) if _is_tube(one)]
        if found:
            return _typed(found[0]) if len(found) == 1 else None
    return None


def _as_typed(text: str) -> str:
    """The text with decimal points, and with an x between two numbers that a star or words tell apart."""
    if "." not in text:
        text = _COMMA.sub(".", text)
    text = _STAR.sub("x", text)
    for named in (_NAMED_BEFORE, _NAMED_BEHIND):
        text = named.sub(r"\g<od> x \g<wall>", text)
    return text


def _typed(section: Section) -> str:
    """As it is typed in the unit that takes fewer digits, without the corner radius that goes without saying."""
    return min((_CORNER.sub("", typed(section, unit)) for unit in _UNITS), key=len)


def _is_tube(section: Section) -> bool:
    sizes = section.smaller, max(section.od, section.height)
    return all(map(is_tube_size, sizes)) and (not section.kind.hollow or section.wall <= _MOST_WALL)
