"""Both tubes in one picture: the drawn centerline, the made one with its miss drawn larger, from two sides."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from converter.comparison.differences import Comparison
from converter.comparison.words import miss_sentences, scale_text
from converter.exporters.pictures.picture import Picture
from converter.units import Display

#: mm of paper: height of a view at most, room between them, text.
_HIGH, _GAP, _TEXT = 90.0, 22.0, 2.6
#: mm of paper: the picture's width.
_WIDTH = 180.0
#: mm of paper from an end to its letter.
_ASIDE = 7.0
#: mm of paper; a view of less shows nothing.
_THIN = 2.0
#: The miss is drawn so many times larger, whichever comes nearest to this share of the tube's size.
_TIMES, _SHARE = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000), 0.06


def magnified(found: Comparison) -> int:
    """How many times larger the miss is drawn."""
    size = float(np.ptp(found.fit.nominal, axis=0).max()) or 1.0
    wanted = _SHARE * size / max(found.fit.most, 1e-9 * size)
    return min(_TIMES, key=lambda times: abs(np.log(times / wanted)))


def sides(found: Comparison, times: int) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Points (n, 2) of the drawn centerline and of the made one, its miss so many times larger, mm.

    From the side that shows most, then from a quarter turn about the long axis. The last pair is where they are
    farthest apart.
    """
    drawn = np.concatenate([found.fit.nominal, found.fit.worst[:1]])
    made = drawn + times * (np.concatenate([found.fit.moved, found.fit.worst[1:]]) - drawn)
    axes = np.linalg.svd(found.fit.nominal - found.fit.nominal.mean(axis=0), full_matrices=True)[2]
    return [(drawn @ axes[[0, across]].T, made @ axes[[0, across]].T) for across in (1, 2)]


def comparison_picture(found: Comparison, name: str, display: Display) -> Picture:
    """The two centerlines from the side that shows most, and from a quarter turn about its long axis.

    Args:
        found: the comparison.
        name: of the tube.
        display: how lengths are shown.
    """
    times = magnified(found)
    views = sides(found, times)
    spans = [np.ptp(np.concatenate(pair), axis=0) for pair in views]
    picture = Picture(f"{name}: as drawn and as made", " ".join(miss_sentences(found, display)))
    k = min(_WIDTH / max(spans[0][0], 1e-9), _HIGH / max(spans[0][1], spans[1][1], 1e-9))
    top = 0.0
    for n, ((drawn, made), span) in enumerate(zip(views, spans, strict=True)):
        if n and k * span[1] < _THIN:
            continue  # a plane tube seen edge-on shows nothing
        both = np.concatenate([drawn, made])
        shift = np.array([0.0, top]) - k * np.array([both[:, 0].min(), both[:, 1].max()])
        *first, worst = k * drawn + shift
        *second, beside = k * made + shift
        picture.stroke([point.tolist() for point in first], "drawn")
        picture.stroke([point.tolist() for point in second], "tight")
        picture.stroke([worst.tolist(), beside.tolist()], "dim")
        for end, at, inside in (("A", 0, 1), ("B", -1, -2)):
            away = first[at] - first[inside]
            away = away / max(float(np.linalg.norm(away)), 1e-9)
            x, y = (first[at] + second[at]) / 2.0 + _ASIDE * away
            picture.label(end, (x, y - 1.5), 3.0, "end", boxed=True, align="center")
        top -= k * span[1] + _GAP
    lines = [
        f"thin: as drawn; thick and dashed: as made, {scale_text(times, found, display)}",
        f"most: {display.length(found.fit.most)}, {display.length(found.fit.at)} from end A along the centerline",
    ]  # fmt: skip
    for i, line in enumerate(lines):
        picture.label(line, (0.0, top + _GAP - 6.0 - (i + 1) * 1.8 * _TEXT), _TEXT)
    (x0, y0), (x1, y1) = picture.low, picture.high
    picture.reach((x0 - 5.0, y0 - 3.0), (x1 + 5.0, y1 + 5.0))
    return picture
