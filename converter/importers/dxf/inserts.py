"""INSERT: block references, nested, scaled, mirrored, arrayed; bounded before anything is expanded.

A block's curves are converted once and kept in the block's own coordinates (in mm); each
reference only maps them. How many curves a reference makes is worked out first, so that a
block bomb ends in one sentence and not in a full memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from converter.errors import GeometryError, ReadError
from converter.findings import Finding
from converter.importers.dxf.affine import Affine, placement, transform
from converter.importers.dxf.convert import BAD_VALUES, CONVERTERS, refused
from converter.importers.dxf.entities import extrusion_axes
from converter.importers.dxf.layers import EntityLook, LayerRules, decoded
from converter.importers.dxf.left_out import LeftOut, Tally
from converter.limits import CURVES, FARTHEST
from converter.model.curve import Arc, Curve, Ellipse, Path, check_finite, check_reach
from converter.model.drawing import DrawnCurve
from converter.quoting import quoted

#: deepest nesting of blocks
MAX_DEPTH = 64

_EXTERNAL = 4 | 8  # block flags: external reference, external overlay


@dataclass(frozen=True, slots=True)
class Item:
    """A curve of a block, in the block's coordinates (mm); layer '0' stands for the reference's own."""

    curve: Curve
    kind: str
    layer: str
    handle: str
    look: EntityLook


@dataclass(slots=True)
class Content:
    """What one reference to a block brings: its curves, and what is left out of it."""

    items: list[Item] = field(default_factory=list)
    tally: Tally = field(default_factory=Tally)
    hidden: list[tuple[str, str]] = field(default_factory=list)


class Blocks:
    """The block definitions of a drawing, expanded on demand.

    Args:
        blocks: the drawing's blocks, by name.
        rules: which layers and looks are read.
        factor: mm per drawing unit.
        file: name of the file, for messages.
    """

    def __init__(self, blocks: Any, rules: LayerRules, factor: float, file: str) -> None:
        self._blocks = blocks
        self._rules = rules
        self._k = factor
        self._file = file
        self._sizes: dict[str, int] = {}
        self._contents: dict[str, Content] = {}
        self._total = 0
        self._stretched: dict[tuple[str, tuple[float, ...]], Finding] = {}

    def findings(self) -> list[Finding]:
        """Of each block and unlike scales, with which arcs of it became ellipses: one warning, at its first place."""
        return list(self._stretched.values())

    def expand(self, insert: Any, tally: Tally, hidden: list[tuple[str, str]]) -> list[DrawnCurve]:
        """The curves of a block reference in the drawing.

        Args:
            insert: the INSERT.
            tally: counts what is left out.
            hidden: gets (layer, entity type) of what lies on hidden layers.

        Raises:
            ReadError: blocks contain themselves, are nested too deep, or make too many curves.
        """
        d = insert.dxf.__dict__
        handle = d.get("handle") or ""
        layer = d.get("layer", "0")
        tally_attributes(insert, tally)
        name = d.get("name", "")
        size = self._size(name, ())
        places = _places(d)
        self._total += size * places
        if self._total > CURVES:
            raise ReadError(
                f"{self._file}: block references, with {quoted(name)} inserted by "
                f"{handle or 'an INSERT'}, make more than "
                f"{CURVES:,} curves: explode or purge the blocks in the CAD package.",
                code="too-many-blocks",
                file=self._file,
                where=f"INSERT {handle}",
            )
        out: list[DrawnCurve] = []
        label = decoded(name)
        shown = None if label.startswith("*") else label
        look = EntityLook.of(d)
        content = self._placed(insert, tally, places)
        hidden.extend(content.hidden * places)
        kept: list[tuple[Item, str, str | None]] = []
        for item in content.items:
            facts = self._rules.facts(layer if item.layer == "0" else item.layer)
            if facts.hidden:
                hidden.extend([(facts.name, item.kind)] * places)
                continue
            seen = item.look.inside(look)
            why = facts.why or (self._rules.by_look and self._rules.why_look(seen, facts)) or ""
            if why:
                tally.add(item.kind, why, places)
                continue
            kept.append((item, facts.name, self._rules.broken(seen.linetype, facts)))
        if not kept:
            return out
        self._tell_stretched(d, [item for item, _, _ in kept])
        for m in self._maps(d, name):
            for item, name_of_layer, linetype in kept:
                for curve in self._map(item, m, tally, name_of_layer):
                    place = f"{handle}/{item.handle}"
                    try:
                        out.append(DrawnCurve(curve, name_of_layer, place, shown, linetype=linetype))
                    except GeometryError as error:
                        left = refused(error, item.kind, place, name_of_layer, self._file)
                        leave(tally, left, item.kind, name_of_layer, place)
        return out

    def _placed(self, insert: Any, tally: Tally, places: int) -> Content:
        """The content of the block an INSERT names; what is missing is tallied."""
        d = insert.dxf.__dict__
        name = d.get("name", "")
        layer = self._rules.facts(d.get("layer", "0")).name
        why = self.why_nothing(name)
        if why:
            tally.lose("INSERT", why, layer, d.get("handle"))
            return Content()
        try:
            _check_numbers(d, self._k)
        except GeometryError as error:
            leave(tally, refused(error, "INSERT", d.get("handle"), layer, self._file), "INSERT", layer, d.get("handle"))
            return Content()
        content = self._content(name)
        tally.merge(content.tally, places)
        return content

    def why_nothing(self, name: str) -> str:
        """Why references to a block of this name bring nothing, or ''."""
        block = self._blocks.get(name)
        if block is None:
            return f"a reference to the block {quoted(decoded(name))}, which is missing"
        if int(block.block.dxf.get("flags", 0)) & _EXTERNAL and len(block) == 0:
            return f"an external reference ({quoted(decoded(name))}): bind it in the CAD package"
        return ""

    def _size(self, name: str, above: tuple[str, ...]) -> int:
        """How many curves one reference to a block makes, without making them."""
        key = name.casefold()
        known = self._sizes.get(key)
        if known is not None:
            return known
        if key in above:
            raise ReadError(
                f"{self._file}: the block {quoted(decoded(name))} contains itself: mend it in the CAD package.",
                code="block-cycle",
                file=self._file,
                where=f"block {decoded(name)}",
            )
        if len(above) >= MAX_DEPTH:
            raise ReadError(
                f"{self._file}: blocks are nested over {MAX_DEPTH} deep at {quoted(decoded(name))}: "
                "explode some of them.",
                code="block-depth",
                file=self._file,
                where=f"block {decoded(name)}",
            )
        total = 0
        block = self._blocks.get(name)
        for entity in block or ():
            if entity.DXFTYPE == "INSERT":
                d = entity.dxf.__dict__
                total += self._size(d.get("name", ""), (*above, key)) * _places(d)
            elif entity.DXFTYPE in CONVERTERS:
                total += 1
        self._sizes[key] = total
        return total

    def _content(self, name: str) -> Content:
        key = name.casefold()
        known = self._contents.get(key)
        if known is None:
            known = self._contents[key] = self._read_block(self._blocks.get(name))
        return known

    def _read_block(self, block: Any) -> Content:
        content = Content()
        for entity in block:
            d = entity.dxf.__dict__
            kind = entity.DXFTYPE
            layer = d.get("layer", "0")
            handle = d.get("handle") or ""
            facts = self._rules.facts(layer)
            if d.get("invisible"):
                content.tally.add(kind, "invisible")
            elif kind == "INSERT":
                self._nest(entity, d, content)
            elif (convert := CONVERTERS.get(kind)) is None:
                content.tally.add_kind(entity.dxftype(), facts.name, handle)
            else:
                try:
                    curve = convert(entity, d, self._k)
                    check_reach(curve)
                except LeftOut as left:
                    leave(content.tally, left, kind, facts.name, handle)
                except BAD_VALUES as error:
                    leave(content.tally, refused(error, kind, handle, facts.name, self._file), kind, facts.name, handle)
                else:
                    content.items.append(Item(curve, kind, layer, handle, EntityLook.of(d)))
        return content

    def _nest(self, insert: Any, d: dict[str, Any], content: Content) -> None:
        """Add what a reference inside a block brings, in that block's coordinates."""
        layer = d.get("layer", "0")
        handle = d.get("handle") or ""
        places = _places(d)
        tally_attributes(insert, content.tally)
        inner = self._placed(insert, content.tally, places)
        content.hidden.extend(inner.hidden * places)
        if self._rules.facts(layer).hidden == "frozen" and layer != "0":
            name = self._rules.facts(layer).name
            content.hidden.extend([(name, item.kind) for item in inner.items] * places)
            return
        if not inner.items:
            return
        look = EntityLook.of(d)
        self._tell_stretched(d, inner.items)
        for m in self._maps(d, d.get("name", "")):
            for item in inner.items:
                into = layer if item.layer == "0" else item.layer
                for curve in self._map(item, m, content.tally, into):
                    content.items.append(
                        Item(curve, item.kind, into, f"{handle}/{item.handle}", item.look.inside(look))
                    )

    def _tell_stretched(self, d: dict[str, Any], items: list[Item]) -> None:
        """Note that a reference makes ellipses of arcs, where it does."""
        scales = _scales(d)
        if len({abs(scale) for scale in scales}) == 1:
            return
        name = d.get("name", "")
        m = next(self._maps(d, name))
        count = sum(map(len, (_ellipses(item.curve, m) for item in items)))
        key = decoded(name), scales
        if count and key not in self._stretched:
            self._stretched[key] = Finding(
                "block-stretched",
                measured=float(count),
                layer=self._rules.facts(d.get("layer", "0")).name,
                handle=d.get("handle"),
                at=m.origin,
                values={"block": key[0], "arcs": count, "scales": " x ".join(f"{scale:g}" for scale in scales)},
            )

    def _map(self, item: Item, m: Affine, tally: Tally, layer: str) -> tuple[Curve, ...]:
        try:
            return transform(item.curve, m)
        except LeftOut as left:
            tally.add(item.kind, left.why)
        except BAD_VALUES as error:
            leave(tally, refused(error, item.kind, item.handle, layer, self._file), item.kind, layer, item.handle)
        return ()

    def _maps(self, d: dict[str, Any], name: str) -> Iterator[Affine]:
        """One map for each place of the reference; an array's spacing is turned with it but not scaled."""
        k = self._k
        axes = extrusion_axes(d)
        at = d.get("insert")
        x, y, z = (0.0, 0.0, 0.0) if at is None else (v * k for v in at.xyz)
        base = self._blocks.get(name).block.dxf.get("base_point")
        bx, by, bz = (0.0, 0.0, 0.0) if base is None else (v * k for v in base.xyz)
        scales = _scales(d)
        rotation = d.get("rotation", 0.0)
        turn = placement(_IDENTITY, _ORIGIN, rotation, (1.0, 1.0, 1.0), _ORIGIN)
        columns, rows = _grid(d)
        across, up = d.get("column_spacing", 0.0) * k, d.get("row_spacing", 0.0) * k
        for row in range(rows):
            for column in range(columns):
                ox, oy, _ = turn.point((column * across, row * up, 0.0))
                yield placement(axes, (x + ox, y + oy, z), rotation, scales, (bx, by, bz))


def _scales(d: dict[str, Any]) -> tuple[float, float, float]:
    # a scale of 0 is a slip of the writer (often of z in a flat drawing) that CAD packages read as 1
    return d.get("xscale", 1.0) or 1.0, d.get("yscale", 1.0) or 1.0, d.get("zscale", 1.0) or 1.0


def _ellipses(curve: Curve, m: Affine) -> list[Curve]:
    """The ellipses that a map makes of the arcs of a curve."""
    parts = curve.parts if isinstance(curve, Path) else (curve,)
    found: list[Curve] = []
    for arc in (part for part in parts if isinstance(part, Arc)):
        try:
            found += [one for one in transform(arc, m) if isinstance(one, Ellipse)]
        except (LeftOut, *BAD_VALUES):  # told where the curve is read
            continue
    return found


_ORIGIN = (0.0, 0.0, 0.0)
_IDENTITY = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


def _grid(d: dict[str, Any]) -> tuple[int, int]:
    """Columns and rows of an INSERT: one place where the spacing is 0, since copies would coincide."""
    columns = max(1, int(d.get("column_count", 1))) if d.get("column_spacing", 0.0) else 1
    rows = max(1, int(d.get("row_count", 1))) if d.get("row_spacing", 0.0) else 1
    return columns, rows


def _check_numbers(d: dict[str, Any], k: float) -> None:
    """Refuse an INSERT's numbers that no drawing has and that arithmetic would choke on.

    Raises:
        GeometryError: one is not finite, or too large; its extrusion is no direction.
    """
    extrusion_axes(d)
    at = d.get("insert")
    lengths = [*(() if at is None else at.xyz), d.get("column_spacing", 0.0), d.get("row_spacing", 0.0)]
    others = [d.get(name, 0.0) for name in ("xscale", "yscale", "zscale", "rotation")]
    numbers = [*(length * k for length in lengths), *others]
    check_finite(*numbers)
    far = max(map(abs, numbers))
    if far > FARTHEST:
        raise GeometryError(f"it is placed, scaled or turned by {far:.3g}", code="too-far")


def _places(d: dict[str, Any]) -> int:
    columns, rows = _grid(d)
    return columns * rows


def tally_attributes(insert: Any, tally: Tally) -> None:
    """Count the texts attached to a block reference."""
    count = len(insert.attribs)
    if count:
        tally.add("ATTRIB", "text", count)


def leave(tally: Tally, left: LeftOut, kind: str, layer: str, handle: str | None) -> None:
    """Count an entity that its converter left out, by name when a centerline may be lost with it."""
    if left.unread:
        tally.lose(kind, left.why, layer, handle, broken=True)
    else:
        tally.add(kind, left.why)
