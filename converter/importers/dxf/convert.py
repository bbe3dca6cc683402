"""Which entity types are drawn curves, and the one place that turns an entity into one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from converter.errors import ReadError, TooLargeError
from converter.importers.dxf.entities import Attributes, arc, circle, ellipse, line
from converter.importers.dxf.left_out import LeftOut
from converter.importers.dxf.polylines import lwpolyline, polyline
from converter.importers.dxf.splines import spline
from converter.model.curve import Curve
from converter.quoting import quoted, reason_of

Converter = Callable[[Any, Attributes, float], Curve]

#: entity type -> its converter (entity, attributes, mm per drawing unit)
CONVERTERS: dict[str, Converter] = {
    "LINE": line,
    "ARC": arc,
    "CIRCLE": circle,
    "LWPOLYLINE": lwpolyline,
    "POLYLINE": polyline,
    "SPLINE": spline,
    "HELIX": spline,
    "ELLIPSE": ellipse,
}


#: what a converter or the model may raise on values that make no curve
BAD_VALUES = (ValueError, TypeError, ArithmeticError, AttributeError)


def refused(error: Exception, kind: str, handle: str | None, layer: str, file: str) -> LeftOut:
    """What to do with an entity whose values the model, or plain arithmetic, refuses.

    Returns:
        the word that it is left out, for an entity that merely makes no curve.

    Raises:
        ReadError: a coordinate is not a number, or the entity has more points than are read; a
            tube with a hole in it must not be read in silence.
    """
    if getattr(error, "code", "") == "too-far":
        return LeftOut(f"too large or too far away for a tube ({error})", unread=True)
    code = getattr(error, "code", "")
    place = f"{kind} {handle or 'without a handle'} on layer {quoted(layer)}"
    if code == "too-large":
        raise TooLargeError(f"{file}: {place} {error}.", file=file, where=place) from error
    if code == "not-finite":
        raise ReadError(
            f"{file}: {place} has a coordinate that is not a finite number: "
            "delete or redraw it in the CAD package and export again.",
            code="not-finite",
            file=file,
            where=place,
        ) from error
    return LeftOut(f"it makes no curve ({reason_of(error)})", unread=True)
