"""Shapes of what a DXF reading left out, for a picture of the drawing as read; made only when asked for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ezdxf.lldxf.const import DXFError
from ezdxf.proxygraphic import ProxyGraphicError

from converter.geometry.vectors import Vec
from converter.importers.dxf.convert import BAD_VALUES, CONVERTERS
from converter.importers.dxf.inserts import MAX_DEPTH, Blocks
from converter.importers.dxf.layers import EntityLook, LayerRules, on_hidden
from converter.importers.dxf.left_out import LeftOut, why_of
from converter.importers.dxf.records import PlainRecord
from converter.limits import FARTHEST
from converter.model.drawing import Aside, LeftShape
from converter.reducer.chaining.ends import corners_of

#: So many entities inside block references are looked at for what is left out of them.
_VISITS = 20_000
#: Half the length in mm that stands for an endless line; pictures clip it.
_ENDLESS = 1e6
#: How far chords may lie off a curve: drawing units, and a part of how far out it reaches.
_FLAT, _FLAT_PART = 0.01, 1e-6
#: More points than this in one mesh show as a box.
_FACE = 8

# the last: graphics of other programs' objects cut short; flattening what reaches too far; faces whose corners the
# drawing does not have
_UNUSABLE = (*BAD_VALUES, DXFError, LookupError, RuntimeError, ProxyGraphicError)


class Gathering:
    """Collects shapes while a layout is read.

    Args:
        rules: which layers and looks are read.
        blocks: the drawing's blocks.
        factor: mm per drawing unit.
    """

    def __init__(self, rules: LayerRules, blocks: Blocks, factor: float) -> None:
        self.aside = Aside()
        self._rules = rules
        self._blocks = blocks
        self._k = factor
        self._visits = 0

    def entity(self, entity: Any, kind: str, why: str, handle: str | None = None) -> None:
        """Keep the shape of one entity, counted under this kind and reason."""
        if not hasattr(entity, "dxf"):  # the library gave it up with its own parts
            return
        handle = handle or entity.dxf.__dict__.get("handle")
        if self.aside.more:  # no room left: counted without working it out
            self.aside.more += 1
            return
        try:
            lines = list(self._lines(entity))
        except _UNUSABLE:
            return
        for points in lines:
            self.aside.add(LeftShape(kind, why, points, handle))

    def point(self, at: Vec, kind: str, why: str, handle: str | None) -> None:
        """Keep a place in mm of which nothing more is known."""
        self.aside.add(LeftShape(kind, why, (at,), handle))

    def insert(self, insert: Any, layer: str | None = None, look: EntityLook | None = None, depth: int = 0) -> None:
        """Keep the shapes of what is left out of a block reference.

        Args:
            insert: the INSERT.
            layer, look: what its contents take when they say layer 0 or by block; its own when None.
            depth: how many references it lies in.
        """
        d = insert.dxf.__dict__
        layer = d.get("layer", "0") if layer is None else layer
        look = EntityLook.of(d) if look is None else look
        for text in insert.attribs:
            self.entity(text, "ATTRIB", "text")
        why = self._blocks.why_nothing(d.get("name", ""))
        if why:
            at = d.get("insert")
            x, y, z = (0.0, 0.0, 0.0) if at is None else (float(v) * self._k for v in at.xyz)
            self.point((x, y, z), "INSERT", why, d.get("handle"))
            return
        try:
            for cell in insert.multi_insert() if insert.mcount > 1 else (insert,):
                self._visits += 1  # also where the block is empty
                for entity in cell.virtual_entities():
                    self._visits += 1
                    if self._visits > _VISITS or depth > MAX_DEPTH:
                        return
                    self._inside(entity, layer, look, depth)
                if self._visits > _VISITS:
                    return
        except _UNUSABLE:
            return

    def _inside(self, entity: Any, into: str, look: EntityLook, depth: int) -> None:
        """One entity of a block, in place."""
        d = entity.dxf.__dict__
        kind = entity.dxftype()
        own = d.get("layer", "0")
        layer = into if own == "0" else own
        facts = self._rules.facts(layer)
        if d.get("invisible"):
            self.entity(entity, kind, "invisible")
        elif kind == "INSERT" and facts.hidden != "frozen":
            self.insert(entity, layer, EntityLook.of(d).inside(look), depth + 1)
        elif kind not in CONVERTERS:
            self.entity(entity, kind, why_of(kind))
        elif facts.hidden:
            self.entity(entity, kind, on_hidden(facts))
        elif why := facts.why or self._rules.why_look(EntityLook.of(d).inside(look), facts):
            self.entity(entity, kind, why)

    def _lines(self, entity: Any) -> Iterator[tuple[Vec, ...]]:
        """The shape of an entity as lines in mm."""
        k = self._k
        kind = entity.dxftype()
        d = entity.dxf.__dict__
        if kind in ("XLINE", "RAY"):
            start, way = entity.dxf.start * k, entity.dxf.unit_vector
            back = start - way * _ENDLESS if kind == "XLINE" else start
            ahead = start + way * _ENDLESS
            yield (back.x, back.y, back.z), (ahead.x, ahead.y, ahead.z)
            return
        convert = CONVERTERS.get(kind)
        if convert is not None:
            try:
                yield corners_of(convert(entity, d, k))
                return
            except LeftOut:
                pass  # no curve, but perhaps a shape all the same
        from ezdxf import disassemble  # loads much of the library, and few drawings need it

        if isinstance(entity, PlainRecord):
            entity = entity.as_entity()
        for primitive in disassemble.to_primitives(disassemble.recursive_decompose([entity])):
            corners = primitive.vertices()
            if primitive.path is not None and primitive.path.has_curves:
                # of a curve beyond all measure the library finds no end
                reach = max((abs(v) for corner in primitive.path.control_vertices() for v in corner.xyz), default=0.0)
                if not reach * k <= FARTHEST:
                    continue
                corners = primitive.path.flattening(max(_FLAT, _FLAT_PART * reach))
            points = tuple((v.x * k, v.y * k, v.z * k) for v in corners)
            if primitive.path is None and len(points) > _FACE:
                lows, highs = zip(*((min(axis), max(axis)) for axis in zip(*points, strict=True)), strict=True)
                yield LeftShape.box("", "", lows, highs).points
            elif points:
                yield points
