"""What a DXF drawing holds besides centerlines: it is left out, but never in silence."""

from __future__ import annotations

from collections import Counter

from converter.findings import ERROR, Finding
from converter.model.drawing import Ignored


class LeftOut(Exception):  # noqa: N818 - a signal inside the reader, never an error a caller sees
    """A converter's word that an entity is no centerline; the text says why.

    Attributes:
        why: the reason, for `Ignored`.
        unread: whether a centerline may be lost with it, so that a finding must say so.
    """

    def __init__(self, why: str, *, unread: bool = False) -> None:
        super().__init__(why)
        self.why = why
        self.unread = unread


_TEXT = "text"
_DIMENSION = "a dimension or a note"
_AREA = "a filled area"
_SURFACE = "a surface or mesh, not a centerline"
_SOLID = "a solid body: export its centerline as curves"
_PICTURE = "a picture"
_ENDLESS = "an endless construction line"

#: entity type -> why it is never a centerline
WHY: dict[str, str] = {
    "XLINE": _ENDLESS, "RAY": _ENDLESS,
    "TEXT": _TEXT, "MTEXT": _TEXT, "ATTDEF": _TEXT, "ATTRIB": _TEXT, "ACAD_TABLE": _TEXT, "SHAPE": _TEXT,
    "ARCALIGNEDTEXT": _TEXT, "RTEXT": _TEXT,
    "DIMENSION": _DIMENSION, "ARC_DIMENSION": _DIMENSION, "LARGE_RADIAL_DIMENSION": _DIMENSION,
    "LEADER": _DIMENSION, "MULTILEADER": _DIMENSION, "MLEADER": _DIMENSION, "TOLERANCE": _DIMENSION,
    "HATCH": _AREA, "MPOLYGON": _AREA, "WIPEOUT": _AREA, "SOLID": _AREA, "TRACE": _AREA,
    "POINT": "a point",
    "3DFACE": _SURFACE, "MESH": _SURFACE, "POLYFACE": _SURFACE, "POLYMESH": _SURFACE, "SURFACE": _SURFACE,
    "EXTRUDEDSURFACE": _SURFACE, "LOFTEDSURFACE": _SURFACE, "REVOLVEDSURFACE": _SURFACE, "SWEPTSURFACE": _SURFACE,
    "PLANESURFACE": _SURFACE, "NURBSURFACE": _SURFACE,
    "3DSOLID": _SOLID, "BODY": _SOLID, "REGION": "a region: explode it into lines and arcs",
    "IMAGE": _PICTURE, "OLEFRAME": _PICTURE, "OLE2FRAME": _PICTURE, "PDFUNDERLAY": _PICTURE,
    "DWFUNDERLAY": _PICTURE, "DGNUNDERLAY": _PICTURE, "PDFREFERENCE": _PICTURE,
    "VIEWPORT": "a view", "LIGHT": "a light", "SUN": "a light", "CAMERA": "a camera", "SECTION": "a section plane",
    "SEQEND": "an end mark", "VERTEX": "a vertex without its polyline",
}  # fmt: skip

#: entity types that may hide a centerline, and what to do about it
MAY_HIDE: dict[str, str] = {
    "MLINE": "a multiline: explode it into lines",
    "ACAD_PROXY_ENTITY": "an object of an add-on program: explode it into lines and arcs",
    "ACAD_PROXY_OBJECT": "an object of an add-on program: explode it into lines and arcs",
    "OLE": "an embedded document",
}

#: how many unread entities get a finding of their own; the rest are one more sentence
_NAMED = 20


def why_of(kind: str) -> str:
    """Why an entity of a type that has no reader is left out."""
    return WHY.get(kind) or MAY_HIDE.get(kind, "a kind of entity that is not read")


class Tally:
    """Counts what was left out, by entity type and reason."""

    def __init__(self) -> None:
        self.counts: Counter[tuple[str, str]] = Counter()
        self.unread: list[Finding] = []
        self._more = 0

    def add(self, kind: str, why: str, count: int = 1) -> None:
        """Count ``count`` entities of a type that were left out for a reason."""
        self.counts[kind, why] += count

    def add_kind(self, kind: str, layer: str, handle: str | None) -> None:
        """Count an entity of a type that has no reader."""
        if kind in WHY:
            self.add(kind, why_of(kind))
        else:
            self.lose(kind, why_of(kind), layer, handle)

    def lose(self, kind: str, why: str, layer: str, handle: str | None, *, broken: bool = False) -> None:
        """Count an entity that may have been a centerline, and say so with its place.

        Args:
            kind, why: entity type and reason.
            layer, handle: its place.
            broken: whether it is a drawn curve whose values are damaged, which is an error.
        """
        self.add(kind, why)
        if len(self.unread) >= _NAMED:
            self._more += 1
            return
        self.unread.append(
            Finding(
                "entity-unread",
                variant="entity" if handle else "entity without handle",
                severity=ERROR if broken else "",
                layer=layer,
                handle=handle,
                values={"kind": kind, "handle": handle, "layer": layer, "why": why},
            )
        )

    def merge(self, other: Tally, times: int = 1) -> None:
        """Add all that another tally counted, ``times`` over (a block inserted that often)."""
        for key, count in other.counts.items():
            self.counts[key] += count * times
        for finding in other.unread:
            if finding not in self.unread:
                if len(self.unread) < _NAMED:
                    self.unread.append(finding)
                else:
                    self._more += 1
        self._more += other._more

    def ignored(self) -> list[Ignored]:
        """The counts, in the order first met."""
        return [Ignored(kind, count, why) for (kind, why), count in self.counts.items()]

    def findings(self) -> list[Finding]:
        """The entities that may be missed, the first ones by name."""
        if not self._more:
            return self.unread
        return [*self.unread, Finding("entity-unread", variant="more", values={"count": self._more})]
