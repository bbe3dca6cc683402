"""A DXF file as a `Drawing`: the loop over its entities, and all that must be said about them.

The centerline exporter spreads one run over several layers and keeps the run's name and
layer with each LINE and ARC as extended data of the application ELBOWROOM: two strings,
name and layer. Drawings of other programs have no such application and cost nothing here.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from converter.errors import OptionError
from converter.findings import Clause, Finding
from converter.geometry.vectors import Vec
from converter.importers.drawn_sections import OF_SECTION, without_sections
from converter.importers.dxf.annotation import annotation_findings, border_findings
from converter.importers.dxf.arrowheads import ArrowHeads
from converter.importers.dxf.aside import Gathering
from converter.importers.dxf.convert import BAD_VALUES, CONVERTERS, refused
from converter.importers.dxf.dimensions import dimensions
from converter.importers.dxf.entities import NoRadius
from converter.importers.dxf.flat_arcs import FlatMark, restore_flat_arcs
from converter.importers.dxf.inserts import Blocks, leave
from converter.importers.dxf.insunits import FileUnits, file_units, units_findings
from converter.importers.dxf.layers import EntityLook, LayerRules, decoded, on_hidden
from converter.importers.dxf.left_out import LeftOut, Tally, why_of
from converter.importers.dxf.linetypes import with_doubtful_linetypes, without_linetypes
from converter.importers.dxf.load import LoadedDrawing, load
from converter.importers.dxf.notes import NoteLines
from converter.importers.dxf.outline import outline_findings, outline_read_findings
from converter.importers.registry import ReadOptions
from converter.importers.source import Source
from converter.model.curve import Arc, Path, Polyline, Spline
from converter.model.drawing import Drawing, DrawnCurve, HeaderUnit, Ignored, LeftShape
from converter.processes.memory import paused_gc
from converter.quoting import quoted, shortened
from converter.reducer.chaining.ends import corners_of
from converter.reducer.outlines.centerlines import WHY, centerlines
from converter.tolerances import DEFAULT

#: Layers not read that are named one by one; the others are counted.
_NAMED = 20
#: Our own extended data: its application, and the group code of its texts.
APP = "ELBOWROOM"
_STRING = 1000


def read_dxf(source: str | os.PathLike[str] | Source, options: ReadOptions | None = None) -> Drawing:
    """Every drawn curve of a DXF file's model space (or of one named layout), in mm.

    Args:
        source: a file name, '-' for standard input, or a `Source`.
        options: units, layout and what to leave out.

    Raises:
        ReadError: the file cannot be read, is cut short, or holds a coordinate that is no number.
        UnitsError, OptionError: an option does not suit, or names a layout or layer that is not there.
    """
    given = Source.of(source)
    chosen = options or ReadOptions()
    asked = chosen.canonical_unit  # a bad option is told before a long file is read
    with paused_gc(), np.errstate(all="ignore"):
        loaded = load(given)
        doc = loaded.doc
        code = doc.header.get("$INSUNITS", 0) if loaded.header else 0
        measurement = doc.header.get("$MEASUREMENT") if loaded.header else None
        units = file_units(code, asked, measurement, chosen.shop_units)
        reading = _LayoutReading(loaded, chosen, units, given.name)
        layout = _layout(doc, chosen.layout, given.name)
        reading.run(loaded.model if layout.is_modelspace else layout)
    drawing = reading.drawing
    if not drawing.curves and layout.is_modelspace:
        drawing.ignored += [*_paper_layouts(doc), *_loose_blocks(doc)]
    drawing.curves = with_run_names(doc, layout, drawing.curves)
    drawing.findings[:0] = loaded.findings
    return drawing


def _layout(doc: Any, name: str | None, file: str) -> Any:
    """Model space, or the layout of that name in any case."""
    if name is None:
        return doc.modelspace()
    layouts = {decoded(one.name).casefold(): one for one in doc.layouts}
    layout = layouts.get(name.casefold())
    if layout is None:
        names = [shortened(decoded(one.name)) for one in _in_order(doc)]
        known = ", ".join(names[:20]) + (", ..." if len(names) > 20 else "")
        raise OptionError(f"{file} has no layout {quoted(name)}: it has {known}.", code="no-such-layout", file=file)
    return layout


def _in_order(doc: Any) -> list[Any]:
    """All layouts in the order of their tabs. By their names, the library finds only those listed by them as well."""
    return sorted(doc.layouts, key=lambda one: (one.dxf.taborder, one.name))


def _paper_layouts(doc: Any) -> list[Ignored]:
    """The layouts of paper space that have curves, for a drawing whose model space has none."""
    found = []
    for layout in _in_order(doc):
        count = 0 if layout.is_modelspace else sum(one.dxftype() in CONVERTERS for one in layout)
        if count:
            found.append(Ignored("layout", 1, Clause.of("paper-layout", layout=decoded(layout.name), count=count)))
    return found


def _loose_blocks(doc: Any) -> list[Ignored]:
    """The blocks that have curves, for a drawing whose model space has none and which inserts no block anywhere."""
    found: list[Ignored] = []
    if any(one.dxftype() == "INSERT" for layout in doc.layouts for one in layout):
        return found
    for block in doc.blocks:
        if not block.is_any_layout and not block.name.startswith(("*", "_")):
            count = sum(one.dxftype() in CONVERTERS for one in block)
            if count:
                found.append(Ignored("block", 1, Clause.of("loose-block", block=decoded(block.name), count=count)))
    return found


def _lies_flat(curves: Sequence[DrawnCurve]) -> bool:
    """Whether curves lie in a plane of equal height, where no circle stands square on a line."""
    level = curves[0].curve.start[2] if curves else 0.0
    return all(
        one.curve.start[2] == level == one.curve.end[2]
        and not (isinstance(one.curve, Arc) and abs(one.curve.normal[2]) < 0.5)
        for one in curves
    )


class _LayoutReading:
    """One reading of one layout."""

    def __init__(self, loaded: LoadedDrawing, options: ReadOptions, units: FileUnits, file: str) -> None:
        doc = loaded.doc
        self.loaded = loaded
        self.options = options
        self.units = units
        self.file = file
        self.rules = LayerRules(doc, options)
        self.blocks = Blocks(doc.blocks, self.rules, units.factor, file)
        self.tally = Tally()
        self.hidden: list[tuple[str, str]] = []
        self.notes = NoteLines()
        self.arrows = ArrowHeads(units.factor)
        self.marks: list[FlatMark] = []
        self.drawing = Drawing(file, units.stated, units.read_as)
        if units.stated is not None and options.units is None:
            self.drawing.header = HeaderUnit(units.stated, units.contradicted)
        self.gathering = Gathering(self.rules, self.blocks, units.factor) if options.keep_left_out else None

    def run(self, entities: Iterable[Any]) -> None:
        """Read all entities of a layout into the drawing."""
        self._entities(entities)
        drawing = self.drawing
        curves, restored = restore_flat_arcs(drawing.curves, self.marks, self._is_circle)
        curves = drawing.curves = self._without_sections(curves)
        saved = {f.handle for f in restored if f.code == "arc-flattened"}
        for mark in self.marks:
            if mark.handle not in saved:
                self.tally.add("ARC", "no radius")
                if self.gathering:
                    self.gathering.point(mark.center, "ARC", "no radius", mark.handle)
        self.rules.check_layer_patterns(self.options)
        drawing.ignored = self.tally.ignored()
        if entities is self.loaded.model:
            self.notes.add_sheets(self.loaded.doc)
        drawing.notes = self.notes.lines
        drawing.aside = self.gathering.aside if self.gathering else None
        if self.units.stated is None or self.options.units is not None:
            drawing.findings += units_findings(self.units, self.options.units, _extent(curves))
        drawing.findings += self._hidden_findings()
        drawing.findings += restored
        drawing.findings += self.blocks.findings()
        apart = dimensions(curves, self.arrows.heads)
        if self.options.from_outline:
            drawing.findings += self._with_outlines_read()
        else:  # what is told of dimensions is not told of their arrowheads again
            drawing.findings += outline_findings([one for k, one in enumerate(curves) if k not in apart.parts])
        noted = annotation_findings(drawing.curves)
        outlined = any(finding.code == "outline-suspect" for finding in drawing.findings)
        if not noted and not outlined:
            noted = border_findings(drawing.curves)
        drawing.findings += noted
        drawing.findings += apart.findings(curves)
        doubted = without_linetypes if outlined or self.options.from_outline else with_doubtful_linetypes
        drawing.curves = doubted(drawing.curves)
        drawing.findings += self.tally.findings()

    def _without_sections(self, curves: list[DrawnCurve]) -> list[DrawnCurve]:
        """Curves but for those that draw the section of a tube square on the end of its path."""
        if self.options.take_all or _lies_flat(curves):
            return curves
        kept, left, findings = without_sections(curves, DEFAULT)
        self.drawing.findings += findings
        for one in left:
            kind = self.loaded.kind_of(one.handle) or "curve"
            self.tally.add(kind, OF_SECTION)
            if self.gathering:
                self.gathering.aside.add(LeftShape(kind, OF_SECTION, corners_of(one.curve), one.handle))
        return kept

    def _entities(self, entities: Iterable[Any]) -> None:
        # this loop is hot: 22,000 entities must cost little beside loading them
        k = self.units.factor
        facts_of = self.rules.facts
        by_look = self.rules.by_look
        append = self.drawing.curves.append
        converters = CONVERTERS
        plain: dict[tuple[str, str | None], tuple[str, str | None]] = {}
        for entity in entities:
            d = entity.dxf.__dict__
            raw = d.get("layer", "0")
            kind = entity.DXFTYPE
            convert = converters.get(kind)
            own = d.get("linetype")
            known = plain.get((raw, own))
            if known is None or convert is None or by_look or "invisible" in d:
                facts = facts_of(raw)
                known = facts.name, self.rules.broken(own, facts)
                if convert is None or facts.hidden or facts.why or by_look or d.get("invisible"):
                    if self._set_aside(entity, d, kind, raw):
                        continue
                else:
                    plain[raw, own] = known
            layer, linetype = known
            try:
                curve = convert(entity, d, k)  # type: ignore[misc]
                append(DrawnCurve(curve, layer, d.get("handle"), linetype=linetype))
            except NoRadius as left:
                if kind == "ARC":  # decided once all lines are known
                    self.marks.append(FlatMark(left.center, layer, d.get("handle"), len(self.drawing.curves), linetype))
                else:
                    self.tally.add(kind, left.why)
                    self._keep(entity, kind, left.why)
            except LeftOut as left:
                leave(self.tally, left, kind, layer, d.get("handle"))
                self._keep(entity, kind, left.why)
            except BAD_VALUES as error:
                word = refused(error, kind, d.get("handle"), layer, self.file)
                leave(self.tally, word, kind, layer, d.get("handle"))

    def _keep(self, entity: Any, kind: str, why: str) -> None:
        """Keep the shape of what is left out, where that was asked for."""
        if self.gathering:
            self.gathering.entity(entity, kind, why)

    def _set_aside(self, entity: Any, d: dict[str, Any], kind: str, raw: str) -> bool:
        """Deal with an entity that is no plain curve on a layer to be read; False when it is one after all."""
        facts = self.rules.facts(raw)
        if d.get("invisible"):
            self.tally.add(entity.dxftype(), "invisible")
            self._keep(entity, entity.dxftype(), "invisible")
        elif facts.hidden and not (kind == "INSERT" and facts.hidden == "off"):
            self.hidden.append((facts.name, entity.dxftype()))
            self._keep(entity, entity.dxftype(), on_hidden(facts))
        elif kind == "INSERT":
            self.drawing.curves += self.blocks.expand(entity, self.tally, self.hidden)
            self.notes.add(entity)
            self.arrows.add(entity)
            if self.gathering:
                self.gathering.insert(entity)
        elif kind not in CONVERTERS:
            self.tally.add_kind(entity.dxftype(), facts.name, d.get("handle"))
            self.notes.add(entity)
            self.arrows.add(entity)
            self._keep(entity, entity.dxftype(), why_of(entity.dxftype()))
        else:
            why = facts.why or self.rules.why_look(EntityLook.of(d), facts)
            if not why:
                return False
            self.tally.add(kind, why)
            self._keep(entity, kind, why)
        return True

    def _with_outlines_read(self) -> list[Finding]:
        """Put centerlines in the place of outlines in the drawing; what is told of that."""
        outlines = centerlines(self.drawing.curves)
        if not outlines.tubes:
            return [*outline_read_findings(outlines), *outline_findings(self.drawing.curves)]
        self.drawing.curves = outlines.curves
        for what, drawn in outlines.gone:
            kind = self._kind(drawn)
            self.tally.add(kind, WHY[what])
            if self.gathering:
                points = corners_of(drawn.curve)
                self.gathering.aside.add(LeftShape(kind, WHY[what], points, drawn.handle))
        self.drawing.ignored = self.tally.ignored()
        return outline_read_findings(outlines)

    def _kind(self, drawn: DrawnCurve) -> str:
        """The entity type that a curve was drawn as."""
        return self.loaded.kind_of((drawn.handle or "").rpartition("/")[2]) or "curve"

    def _is_circle(self, handle: str | None) -> bool:
        return self.loaded.kind_of(handle) == "CIRCLE"

    def _hidden_findings(self) -> list[Finding]:
        if not self.hidden:
            return []
        layers = Counter(layer for layer, _ in self.hidden)
        for (layer, kind), count in Counter(self.hidden).items():
            self.tally.add(kind, on_hidden(self.rules.facts(layer)), count)
        self.drawing.ignored = self.tally.ignored()
        named = [
            Clause.of("hidden-layer", layer=layer, how=self.rules.facts(layer).hidden, count=count)
            for layer, count in list(layers.items())[:_NAMED]
        ]
        if len(layers) > _NAMED:
            named.append(Clause.of("more-layers", count=len(layers) - _NAMED))
        total = len(self.hidden)
        return [
            Finding(
                "layers-skipped",
                variant="layers",
                measured=float(total),
                values={"count": total, "layers": named},
            )
        ]


def _extent(curves: list[DrawnCurve]) -> float:
    """Largest side in mm of the box around the curves (of splines: their control points)."""
    points: list[Vec] = []
    arrays: list[Any] = []
    for drawn in curves:
        parts = drawn.curve.parts if isinstance(drawn.curve, Path) else (drawn.curve,)
        for part in parts:
            if isinstance(part, Polyline):
                arrays.append(part.points)
            elif isinstance(part, Spline):
                arrays.append(part.control_points)
            else:
                points += (part.start, part.end)
                if isinstance(part, Arc) and part.angle == 360.0:
                    c, r = part.center, part.radius
                    n = part.normal
                    # a circle reaches r * sqrt(1 - n_i^2) along axis i
                    reach = [r * max(0.0, 1.0 - v * v) ** 0.5 for v in n]
                    points += (
                        (c[0] - reach[0], c[1] - reach[1], c[2] - reach[2]),
                        (c[0] + reach[0], c[1] + reach[1], c[2] + reach[2]),
                    )
    if points:
        arrays.append(np.array(points))
    if not arrays:
        return 0.0
    lows = np.min([a.min(axis=0) for a in arrays], axis=0)
    highs = np.max([a.max(axis=0) for a in arrays], axis=0)
    return float((highs - lows).max())


def with_run_names(doc: Any, layout: Any, curves: list[DrawnCurve]) -> list[DrawnCurve]:
    """The curves, those of our own drawings with the run's name and its first layer.

    Args:
        doc, layout: the DXF document and the layout that was read.
        curves: what was read from it.
    """
    if not doc.appids.has_entry(APP):
        return curves
    facts: dict[str, tuple[str, str | None]] = {}
    for entity in layout:
        if entity.has_xdata(APP):
            texts = [_decoded_name(tag.value) for tag in entity.get_xdata(APP) if tag.code == _STRING]
            if len(texts) == 2 and texts[0]:
                facts[entity.dxf.handle] = (texts[0], texts[1] or None)
    if not facts:
        return curves

    def with_facts(one: DrawnCurve) -> DrawnCurve:
        if one.handle not in facts:
            return one
        name, layer = facts[one.handle]
        # a group of its own: runs that touch end to end stay the runs they were
        return replace(one, layer=layer, name=name, group=name)

    return [with_facts(one) for one in curves]


def _decoded_name(text: str) -> str:
    # a caret is stored as a caret and a blank
    return decoded(text.replace("^ ", "^"))
