"""Layers that hold what is no tube: borders, title blocks, dimensions drawn as lines, construction lines.

Dimensions and texts that are entities of their own kind are left out anyway. Taken apart into lines they are curves
like any other, and a border is a rectangle like any gate. What tells them is the layer's name, or that a rectangle lies
around everything else and nothing of another layer meets what is on its layer. Both are common practice, no source; so
it is only said, and what is drawn is read.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

import numpy as np

from converter.arrays import Array
from converter.findings import Clause, Finding
from converter.model.curve import Arc, Curve, Line, Path, Polyline
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.ends import middle, sample
from converter.tolerances import DEFAULT

#: Words of a layer's name that say what lies there; one of them is enough. Common practice, no source.
WORDS = frozenset((
    "anno", "annotation", "annotations", "annot", "border", "borders", "construction", "defpoints", "dim", "dims",
    "dimension", "dimensions", "dimensioning", "grid", "guide", "guides", "hatch", "hatching", "leader", "leaders",
    "legend", "logo", "note", "notes", "sheet", "text", "texts", "title", "titleblock", "titles", "viewport",
    "viewports", "vport", "vports",
))  # fmt: skip
#: Curves that are looked at for a border, at most.
_CURVES = 5000
#: The same where the border has the layer of the tubes.
_CURVES_OF_ONE_LAYER = 300
#: Layers that are named one by one; the others are counted.
_NAMED = 6
#: mm, and of the lesser side: what ends so near to a frame stops at its wall, as bars drawn to their own length do.
_BESIDE, _BESIDE_SHARE = 100.0, 0.05
#: Of an edge of the border, the least part that is drawn.
_DRAWN = 0.99


def annotation_layers(curves: Sequence[DrawnCurve]) -> dict[str, str]:
    """The layers which look like no tubes, in the order met, and what tells them; none where no others are left.

    Args:
        curves: everything drawn, in mm.
    """
    layers = list(dict.fromkeys(drawn.layer for drawn in curves))
    if len(layers) < 2:
        return {}
    border = _border_layer(curves)
    told = {
        layer: "annotation-name" if _tells(layer) else "annotation-border"
        for layer in layers
        if layer is not None and (_tells(layer) or layer == border)
    }
    return told if len(told) < len(layers) else {}


def annotation_findings(curves: Sequence[DrawnCurve]) -> list[Finding]:
    """One warning that names the layers which look like no tubes, where others are left; else nothing.

    Args:
        curves: everything drawn, in mm.
    """
    counts = Counter(drawn.layer for drawn in curves)
    told = annotation_layers(curves)
    layers = [*told]
    if not layers:
        return []
    seen = [Clause.of(told[layer], layer=layer, count=counts[layer]) for layer in layers[:_NAMED]]
    if len(layers) > _NAMED:
        seen.append(Clause.of("more-layers", count=len(layers) - _NAMED))
    count = sum(counts[layer] for layer in layers)
    options = [Clause.of("annotation-option", layer=layer) for layer in layers[:_NAMED]]
    return [
        Finding(
            "annotation-suspect",
            measured=float(count),
            unit=None,
            values={"seen": seen, "count": count, "options": options},
            layer=layers[0],
        )
    ]


def border_findings(curves: Sequence[DrawnCurve]) -> list[Finding]:
    """A warning where a rectangle around everything else shares its layer with tubes whose bends are drawn as arcs.

    Args:
        curves: everything drawn, in mm, none of it on layers that look like no tubes.
    """
    frame = _Surrounded.of(curves) if len(curves) <= _CURVES_OF_ONE_LAYER else None
    if frame is None:
        return []
    members = frame.hanging()
    others = [k for k in range(len(curves)) if k not in members]
    if not any(_has_arc(curves[k].curve) for k in others) or frame.is_met(members, others):
        return []
    first = curves[min(members)]
    return [
        Finding(
            "annotation-suspect",
            variant="border",
            cure="border",
            measured=float(len(members)),
            unit=None,
            values={"count": len(members), "layer": frame.layer or ""},
            layer=first.layer,
            handle=first.handle,
            at=middle(first.curve),
        )
    ]


def _tells(layer: str) -> bool:
    """Whether a layer's name has one of the words."""
    return any(word in WORDS for word in re.split(r"[\W_\d]", layer.casefold()))


def _has_arc(curve: Curve) -> bool:
    return any(isinstance(part, Arc) for part in (curve.parts if isinstance(curve, Path) else (curve,)))


def _border_layer(curves: Sequence[DrawnCurve]) -> str | None:
    """The layer of a rectangle around everything else, where nothing of another layer meets what lies there."""
    frame = _Surrounded.of(curves)
    if frame is None or frame.layer is None:
        return None
    members = {k for k, drawn in enumerate(curves) if drawn.layer == frame.layer}
    others = [k for k in range(len(curves)) if k not in members]
    return frame.layer if others and not frame.is_met(members, others) else None


class _Surrounded:
    """A drawing with a rectangle around everything, drawn on one layer.

    Attributes:
        layer: of the rectangle.
    """

    def __init__(self, points: list[Array], straights: list[Array], sides: set[int], layer: str | None) -> None:
        self.layer = layer
        self._points, self._straights, self._sides = points, straights, sides

    @classmethod
    def of(cls, curves: Sequence[DrawnCurve]) -> _Surrounded | None:
        """The drawing, where there is such a rectangle.

        Args:
            curves: everything drawn, in mm.
        """
        if not 1 < len(curves) <= _CURVES:
            return None
        points = [sample(drawn.curve) for drawn in curves]
        low, high = np.min([p.min(axis=0) for p in points], axis=0), np.max([p.max(axis=0) for p in points], axis=0)
        if min(high[:2] - low[:2]) <= DEFAULT.join:
            return None
        straights = [_straights(drawn.curve) for drawn in curves]
        around: set[str | None] = set()
        sides: set[int] = set()
        for axis, at in ((0, low[0]), (0, high[0]), (1, low[1]), (1, high[1])):
            drawn_on: dict[str | None, list[tuple[float, float]]] = {}
            for k, (drawn, own) in enumerate(zip(curves, straights, strict=True)):
                on = own[(np.abs(own[:, :, axis] - at) <= DEFAULT.join).all(axis=1)]
                along = np.sort(on[:, :, 1 - axis], axis=1)
                drawn_on.setdefault(drawn.layer, []).extend((a, b) for a, b in along.tolist())
                if len(on):
                    sides.add(k)
            whole = high[1 - axis] - low[1 - axis]
            here = {layer for layer, parts in drawn_on.items() if _covered(parts) >= _DRAWN * whole}
            around = here if (axis, at) == (0, low[0]) else around & here
            if not around:
                return None
        if len(around) != 1:
            return None
        (layer,) = around
        return cls(points, straights, {k for k in sides if curves[k].layer == layer}, layer)

    def hanging(self) -> set[int]:
        """The curves of the rectangle and what ends on it, on that, and so on: a title block."""
        members, rest = set(self._sides), [k for k in range(len(self._points)) if k not in self._sides]
        while True:
            mine = np.concatenate([self._straights[k] for k in members])
            more = [
                k
                for k in rest
                if _nearest(self._points[k][[0, -1]], mine) <= DEFAULT.join
                or _nearest(mine.reshape(-1, 3), self._straights[k]) <= DEFAULT.join
            ]
            if not more:
                return members
            members.update(more)
            rest = [k for k in rest if k not in members]

    def is_met(self, members: set[int], others: Sequence[int]) -> bool:
        """Whether others come near what belongs to the rectangle.

        Args:
            members: places of the curves that belong to it.
            others: of those that do not, at least one.
        """
        mine = np.concatenate([self._straights[k] for k in sorted(members)])
        theirs = np.concatenate([self._straights[k] for k in others])
        ends = np.array([self._points[k][i] for k in others for i in (0, -1)])
        size = np.ptp(mine.reshape(-1, 3), axis=0)[:2]
        near = max(DEFAULT.near, min(_BESIDE, _BESIDE_SHARE * float(min(size))))
        return _nearest(ends, mine) <= near or _nearest(mine.reshape(-1, 3), theirs) <= near


def _straights(curve: Curve) -> Array:
    """Ends of the straights of a curve: (n, 2, 3)."""
    if isinstance(curve, Line):
        return np.array([[curve.start, curve.end]], float)
    if isinstance(curve, Polyline):
        row = np.asarray(curve.points, float)
        return np.stack((row[:-1], row[1:]), axis=1)
    if isinstance(curve, Path):
        return np.concatenate([_straights(part) for part in curve.parts])
    return np.zeros((0, 2, 3))


def _covered(parts: list[tuple[float, float]]) -> float:
    """How much of a line intervals cover together."""
    total, reach = 0.0, -np.inf
    for a, b in sorted(parts):
        total += max(0.0, b - max(a, reach))
        reach = max(reach, b)
    return float(total)


def _nearest(points: Array, straights: Array) -> float:
    """The least distance of points (n, 3) from straights (m, 2, 3); infinite without either."""
    least = np.inf
    for start, end in straights:
        way = end - start
        size = float(way @ way)
        share = np.clip((points - start) @ way / size, 0.0, 1.0) if size else np.zeros(len(points))
        gaps = points - start - share[:, None] * way
        least = min(least, float(np.sqrt((gaps * gaps).sum(axis=1).min(initial=np.inf))))
    return least
