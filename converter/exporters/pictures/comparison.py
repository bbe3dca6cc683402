"""Both tubes in one picture: the drawn centerline, the made one with its miss drawn larger, from two sides."""

from __future__ import annotations

import numpy as np

from converter.comparison.differences import Comparison
from converter.comparison.words import miss_sentences
from converter.exporters.pictures.picture import Picture
from converter.units import Display

#: mm of paper: height of a view at most, room between them, text.
_HIGH, _GAP, _TEXT = 90.0, 22.0, 2.6
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


def comparison_picture(found: Comparison, name: str, display: Display, width: float = 180.0) -> Picture:
    """The two centerlines from the side that shows most, and from a quarter turn about its long axis.

    Args:
        found: the comparison.
        name: of the tube.
        display: how lengths are shown.
        width: of the picture, mm.
    """
    times = magnified(found)
    drawn = found.fit.nominal
    made = drawn + times * (found.fit.moved - drawn)
    both = np.concatenate([drawn, made])
    axes = np.linalg.svd(drawn - drawn.mean(axis=0), full_matrices=True)[2]
    picture = Picture(f"{name}: as drawn and as made", " ".join(miss_sentences(found, display)))
    spans = np.ptp(both @ axes.T, axis=0)
    k = min(width / max(spans[0], 1e-9), _HIGH / max(spans[1], spans[2], 1e-9))
    worst = int(np.argmax(np.linalg.norm(found.fit.moved - drawn, axis=1)))
    top = 0.0
    for across in (1, 2):
        if across == 2 and k * spans[2] < _THIN:
            continue  # a plane tube seen edge-on shows nothing
        view = axes[[0, across]] * k
        shift = np.array([0.0, top]) - np.array([(both @ view.T)[:, 0].min(), (both @ view.T)[:, 1].max()])
        first, second = drawn @ view.T + shift, made @ view.T + shift
        picture.stroke(first.tolist(), "drawn")
        picture.stroke(second.tolist(), "tight")
        picture.stroke([first[worst].tolist(), second[worst].tolist()], "dim")
        for end, at, inside in (("A", 0, 1), ("B", -1, -2)):
            away = first[at] - first[inside]
            away = away / max(float(np.linalg.norm(away)), 1e-9)
            x, y = (first[at] + second[at]) / 2.0 + _ASIDE * away
            picture.label(end, (x, y - 1.5), 3.0, "end", boxed=True, align="center")
        top -= k * spans[across] + _GAP
    lines = [
        f"thin: as drawn; thick and dashed: as made, its miss drawn {times} times larger" if times > 1
        else "thin: as drawn; thick and dashed: as made, to the same scale",
        f"most: {display.length(found.fit.most)}, {display.length(found.fit.at)} from end A along the centerline",
    ]  # fmt: skip
    for i, line in enumerate(lines):
        picture.label(line, (0.0, top + _GAP - 6.0 - (i + 1) * 1.8 * _TEXT), _TEXT)
    (x0, y0), (x1, y1) = picture.low, picture.high
    picture.reach((x0 - 5.0, y0 - 3.0), (x1 + 5.0, y1 + 5.0))
    return picture
