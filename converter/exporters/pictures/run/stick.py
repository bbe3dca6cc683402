"""The stick as cut, to scale along its length: bends, pencil marks with their distances, trim marks, first end."""

from __future__ import annotations

from collections.abc import Callable

from converter.bending.setup.words import SetupView
from converter.exporters.paper.figure import spread
from converter.exporters.pictures.annotation import wide
from converter.exporters.pictures.picture import RING, Picture, box
from converter.units import Display

#: Height of the stick, and room beside it for the letters of its ends, mm of paper.
_HIGH, _SIDE = 9.0, 13.0
#: Heights of text: as wanted, and the least one can read.
_TEXT, _LEAST = 2.2, 1.95
#: Where numbers and distances stand above and below the stick, mm.
_ABOVE, _BELOW = 6.0, 6.0
#: A distance written level stands at most so far to the side of its mark, mm.
_ASIDE = 9.0


def stick_picture(sheet: SetupView, width: float = 180.0) -> Picture:
    """The stick with end A at the left, as long as fits.

    Bends are light, straights grey; every pencil mark is a thick line with the number of its bend above and its
    distance from the end fed first below.

    Args:
        sheet: one set-up and how lengths are shown.
        width: of the picture, mm.
    """
    setup, display = sheet.setup, sheet.display
    stick, first = sheet.stick, setup.feed_from
    length = width - 2.0 * _SIDE
    k = length / max(stick, 1e-9)

    def along(from_first: float) -> float:
        """Place on the picture of a distance from the end fed first."""
        return _SIDE + k * (from_first if first == "A" else stick - from_first)

    picture = Picture(
        f"Stick of {setup.tube.name}",
        f"The stick, {display.length(stick)} long, end A at the left, end {first} first into the bender, with "
        f"{len(sheet.marked)} marks.",
    )
    picture.fill([box(_SIDE, 0.0, _SIDE + length, _HIGH)], "skin")
    for step in setup.steps:
        a, b = along(step.start), along(step.start + step.stick)
        picture.fill([box(min(a, b), 0.0, max(a, b), _HIGH)], "ground")
        picture.stroke([(a, 0.0), (a, _HIGH)], "seam")
        picture.stroke([(b, 0.0), (b, _HIGH)], "seam")
    picture.stroke(box(_SIDE, 0.0, _SIDE + length, _HIGH), "tube", closed=True)
    marks = sorted((along(step.mark), str(step.bend), step.mark) for step in sheet.marked)
    places = [(x, number, display.number(mm)) for x, number, mm in marks]
    trims = [
        (along(at if end == first else stick - at), "", f"trim {display.each(_trim_in(sheet, end))} from {end}")
        for end, at in ((end, sheet.trim(end)) for end in "AB")
        if at > 0.0
    ]
    low = _numbers(picture, places, trims, width)
    high = _HIGH + _ABOVE + 6.0
    for end, x in (("A", _SIDE - 6.5), ("B", _SIDE + length + 6.5)):
        picture.label(end, (x, _HIGH / 2.0 - 1.75), 3.5, "end", boxed=True)
        if end == first:
            picture.label("first", (x, -3.0), 2.2, "feed", align="center")
    picture.low, picture.high = (0.0, low), (width, high)
    return picture


def _trim_in(sheet: SetupView, end: str) -> Callable[[Display], str]:
    """What is trimmed at an end, in a unit: rounding the stick up adds to it."""
    return lambda one: one.number(SetupView(sheet.setup, one).trim(end))


def _numbers(
    picture: Picture, marks: list[tuple[float, str, str]], trims: list[tuple[float, str, str]], width: float
) -> float:
    """Marks with their numbers above and distances below; returns how far down they reach."""
    both = sorted([*marks, *trims])
    if not both:
        return -4.0
    flat = _side_by_side(picture, both, width)
    if flat is not None:
        height = _TEXT
    else:
        height = _upright(picture, both, width)
    size = 2.0 * RING * height
    above = _within(spread([x for x, _, _ in marks], [size] * len(marks), 0.4), width)
    for (x, number, _), center in zip(marks, above, strict=True):
        picture.stroke([(x, _HIGH + 2.0), (center, _HIGH + _ABOVE)], "dim")
        picture.label(number, (center, _HIGH + _ABOVE + RING * height - height / 2.0), height, "strong", circled=True)
    return flat if flat is not None else -_BELOW - max(wide(text, height) for _, _, text in both) - 1.0


def _side_by_side(picture: Picture, both: list[tuple[float, str, str]], width: float) -> float | None:
    """Distances written level, where each has room near its mark; how far down they reach, or None."""
    widths = [wide(text, _TEXT) for _, _, text in both]
    centers = spread([x for x, _, _ in both], widths, _TEXT)
    over = max(0.0, centers[-1] + widths[-1] / 2.0 - width) or min(0.0, centers[0] - widths[0] / 2.0)
    centers = [center - over for center in centers]
    if any(abs(center - x) > _ASIDE for (x, _, _), center in zip(both, centers, strict=True)):
        return None
    for (x, number, text), center in zip(both, centers, strict=True):
        _mark(picture, x, number)
        picture.stroke([(x, -2.0), (center, -_BELOW + 1.8)], "dim")
        picture.label(text, (center, -_BELOW - _TEXT + 1.0), _TEXT, "strong" if number else "note", align="center")
    return -_BELOW - _TEXT


def _upright(picture: Picture, both: list[tuple[float, str, str]], width: float) -> float:
    """Distances written upwards, as large as there is room for; the height of their text."""
    room = width - 2.0 * _SIDE + 14.0
    height = max(_LEAST, min(_TEXT, room / (1.55 * len(both))))
    centers = _within(spread([x for x, _, _ in both], [height] * len(both), 0.5 * height), width)
    for (x, number, text), center in zip(both, centers, strict=True):
        _mark(picture, x, number)
        picture.stroke([(x, -2.0), (center, -_BELOW + 0.8)], "dim")
        picture.label(text, (center + height / 2.0, -_BELOW), height, align="right", rotation=90.0)
    return height


def _mark(picture: Picture, x: float, number: str) -> None:
    """A mark across the stick; where it has no number, stick is trimmed there."""
    picture.stroke([(x, -2.0), (x, _HIGH + 2.0)], "mark" if number else "zero")


def _within(centers: list[float], width: float) -> list[float]:
    """The same, moved as one where they would leave the picture at one side."""
    if not centers:
        return centers
    over = max(0.0, centers[-1] - (width - 3.0)) or min(0.0, centers[0] - 3.0)
    return [center - over for center in centers]
