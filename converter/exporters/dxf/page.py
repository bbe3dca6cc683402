"""What every DXF we write shares: units, layers, text, and drawing in millimetres.

Exporters think in mm; `DxfPage` writes the numbers in the document's unit and sets $INSUNITS
and $MEASUREMENT to match. Text is safe against the control sequences of DXF.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from math import atan2, degrees
from pathlib import Path
from typing import Any

import ezdxf
from ezdxf.enums import TextEntityAlignment
from ezdxf.lldxf.const import DXFError

from converter.errors import WriteError
from converter.exporters.paper.figure import Figure, Point
from converter.geometry.vectors import Vec, any_normal, cross, dot, scale, sub
from converter.model.curve import Arc, Line
from converter.quoting import LONGEST_PATH, quoted, reason_of

#: name of the application our extended data stands under
APP = "ELBOWROOM"
_STYLE = "LABELS"
_ALIGN = {
    "left": TextEntityAlignment.LEFT,
    "center": TextEntityAlignment.CENTER,
    "right": TextEntityAlignment.RIGHT,
    "middle": TextEntityAlignment.MIDDLE_CENTER,
    "middle left": TextEntityAlignment.MIDDLE_LEFT,
    "middle right": TextEntityAlignment.MIDDLE_RIGHT,
}
_DASHED = ("DASHED", [9.0, 6.0, -3.0])
_CENTER = ("CENTER", [18.0, 12.0, -2.0, 2.0, -2.0])


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer: its name, its colour (DXF index, 7 is black or white), its linetype, and how wide its lines are.

    ``weight`` is in 1/100 mm, one of the widths that DXF knows (13, 18, 25, 35, 50 ...); None for the usual one.
    """

    name: str
    color: int = 7
    linetype: str = "CONTINUOUS"
    weight: int | None = None


def text_safe(text: str) -> str:
    """One line of text that DXF shows as it is: no control codes, no line ends, no half characters."""
    text = text.encode("utf-8", "replace").decode()
    text = "".join(c if c.isprintable() else " " for c in text)
    # '%%' begins a control sequence of TEXT, '^' one of every string
    while "%%" in text:
        text = text.replace("%%", "% %")
    return text.replace("^", "^ ")


@contextmanager
def steady() -> Iterator[None]:
    """While it lasts, documents begun and written hold no time of day and no random number.

    The same drawing then gives the same bytes; both the beginning and the writing of a document must be inside.
    The library's setting for this is one for the whole process: it is put back afterwards.
    """
    options = ezdxf.options  # type: ignore[attr-defined]
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def order_classes(document: Any) -> None:
    """Put the classes that a document will list into one order; just before it is written.

    The library takes them out of sets, in an order that Python chooses anew for every process.
    """
    document.classes.add_required_classes(document.dxfversion)
    document.classes.classes = dict(sorted(document.classes.classes.items()))


class DxfPage:
    """A DXF document that is drawn on in millimetres.

    Args:
        unit: 'mm' or 'in', the unit of its numbers.
        layers: every layer that is drawn on.
    """

    def __init__(self, unit: str, layers: Iterable[Layer]) -> None:
        self.k = 1.0 / 25.4 if unit == "in" else 1.0
        self.unit = unit
        with steady():
            self.doc = ezdxf.new("R2010", units=1 if unit == "in" else 4)  # type: ignore[attr-defined]
        self.doc.header["$MEASUREMENT"] = 0 if unit == "in" else 1
        self.doc.header["$LUNITS"] = 2
        self.doc.styles.add(_STYLE, font="arial.ttf")
        self.doc.appids.add(APP)
        for name, pattern in (_DASHED, _CENTER):
            scaled = [v * self.k for v in pattern]
            if name not in self.doc.linetypes:
                self.doc.linetypes.add(name, scaled, description=name.lower())
        for layer in layers:
            entry = self.doc.layers.add(layer.name, color=layer.color, linetype=layer.linetype)
            if layer.weight is not None:
                entry.dxf.lineweight = layer.weight
        self.space = self.doc.modelspace()

    def line(self, a: Point | Vec, b: Point | Vec, layer: str) -> Any:
        """A LINE between two points in mm."""
        return self.space.add_line(self._scaled(a), self._scaled(b), {"layer": layer})

    def polyline(self, points: Iterable[Point], layer: str, *, close: bool = False) -> Any:
        """A flat LWPOLYLINE."""
        return self.space.add_lwpolyline(
            [(x * self.k, y * self.k) for x, y in points], close=close, dxfattribs={"layer": layer}
        )

    def flat_arc(self, center: Point, radius: float, start: float, end: float, layer: str) -> Any:
        """An ARC in the xy plane, counter-clockwise from ``start`` to ``end`` degrees."""
        return self.space.add_arc(self._scaled(center), radius * self.k, start, end, dxfattribs={"layer": layer})

    def text(
        self, text: str, at: Point | Vec, height: float, layer: str, *, align: str = "left", rotation: float = 0.0
    ) -> Any:
        """One line of text, ``height`` mm high, at its base line (or its middle, by ``align``)."""
        entity = self.space.add_text(
            text_safe(text),
            height=height * self.k,
            rotation=rotation,
            dxfattribs={"layer": layer, "style": _STYLE},
        )
        entity.set_placement(self._scaled(at), align=_ALIGN[align])
        return entity

    def segment(self, segment: Line | Arc, layer: str, *, keep_sense: bool = False) -> Any:
        """A straight or an arc where it is in space.

        An arc is written counter-clockwise about its extrusion. Since a LINE and an ARC have no
        sense of travel in a chain, the normal is turned upward unless ``keep_sense``: drawings
        in the xy plane then need no extrusion at all.
        """
        if isinstance(segment, Line):
            return self.line(segment.start, segment.end, layer)
        normal, first = segment.normal, segment.start
        if not keep_sense and normal[2] < -1e-9:
            normal, first = scale(normal, -1.0), segment.end
        if abs(normal[0]) + abs(normal[1]) < 1e-13 and normal[2] > 0.0:
            normal = (0.0, 0.0, 1.0)
        # object coordinates by the arbitrary-axis rule of the DXF reference
        x = (1.0, 0.0, 0.0) if normal == (0.0, 0.0, 1.0) else any_normal(normal)
        y = cross(normal, x)
        arm = sub(first, segment.center)
        start = degrees(atan2(dot(arm, y), dot(arm, x)))
        c = scale(segment.center, self.k)
        return self.space.add_arc(
            (dot(c, x), dot(c, y), dot(c, normal)),
            segment.radius * self.k,
            start,
            start + segment.angle,
            dxfattribs={"layer": layer, "extrusion": normal},
        )

    def put(self, figure: Figure, dx: float, dy: float) -> None:
        """Draw a figure with its origin at (dx, dy) mm."""
        for (ax, ay), (bx, by), layer in figure.lines:
            self.line((ax + dx, ay + dy), (bx + dx, by + dy), layer)
        for points, layer in figure.curves:
            self.polyline([(x + dx, y + dy) for x, y in points], layer)
        for (cx, cy), radius, start, end, layer in figure.arcs:
            self.flat_arc((cx + dx, cy + dy), radius, start, end, layer)
        for t in figure.texts:
            at = (t.at[0] + dx, t.at[1] + dy)
            self.text(t.text, at, t.height, t.layer, align=t.align, rotation=t.rotation)

    def save(self, path: Path) -> None:
        """Write the document.

        Raises:
            WriteError: the drawing holds a value that DXF cannot.
        """
        try:
            order_classes(self.doc)
            with steady():
                self.doc.saveas(path)
        except DXFError as error:
            raise WriteError(
                f"The drawing {quoted(path.name, LONGEST_PATH)} cannot be written: {reason_of(error)}."
            ) from error

    def _scaled(self, p: Point | Vec) -> Vec:
        k = self.k
        return (p[0] * k, p[1] * k, p[2] * k if len(p) == 3 else 0.0)
