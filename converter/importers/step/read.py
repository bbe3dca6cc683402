"""STEP as a `Drawing`: free edges and wires as curves, tubes with faces as ready tables, the rest listed."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from converter.disk.reading import standard_input
from converter.errors import ElbowroomError, GeometryError, OptionError
from converter.findings import NOTE, WARNING, Clause, Finding, Reason
from converter.importers.drawn_sections import OF_SECTION, without_sections
from converter.importers.file_units import settle_units, size_doubt
from converter.importers.motion import moved, moved_finding, moved_spine, rigid_motion
from converter.importers.not_stock import not_stock
from converter.importers.registry import ReadOptions
from converter.importers.source import Source
from converter.importers.step.bounds import check_step, cycle_in, far_out_in
from converter.importers.step.construction import FreeCurve, settle_free_curves
from converter.importers.step.outside import OutsideParts
from converter.importers.step.surfaces import (
    KnownBody,
    PlacedBody,
    is_in_parts,
    joined_halves,
    joined_tubes,
    may_be_half,
    touching,
)
from converter.importers.step.survey import survey
from converter.importers.step.trial import NO_MEMORY, trial_seconds, try_out
from converter.model.drawing import Aside, Drawing, DrawnCurve, Ignored, LeftShape
from converter.processes import allowance
from converter.progress import steps
from converter.quoting import quoted
from converter.reducer.chaining.ends import corners_of
from converter.tolerances import DEFAULT

if TYPE_CHECKING:
    from converter.kernel.step.parts import Contents, FreeEdge, ShapeLabels, StepBody
    from converter.kernel.step.places import Key
    from converter.kernel.step.read import StepSession
    from converter.kernel.step.tree import Instance

#: What a body is called of which neither the file nor its part tells a name.
UNNAMED = "solid"


def read_step(
    source: str | os.PathLike[str] | Source, options: ReadOptions | None = None, *, tried: bool = False
) -> Drawing:
    """Everything a STEP file holds, in mm and in place.

    Args:
        source: a file name, '-' for standard input, or a `Source`.
        options: ``units`` overrides the file's; ``layers`` and ``skip_layers`` pick layers or product names.
        tried: a malformed file is not tried out in a process of its own first.

    Raises:
        ReadError: it cannot be read, is cut short, or holds no shape.
        UnitsError, OptionError: an option does not suit.
        MissingLibraryError: the CAD kernel is not installed.
    """
    given = Source.of(source)
    chosen = options or ReadOptions()
    asked = chosen.canonical_unit
    data = check_step(given.read_bytes(), given.name)
    from converter.kernel.session import quiet
    from converter.kernel.step.tree import MOST_INSTANCES, too_many_parts

    session = _tried_session(data, given.name, tried)
    drawing = Drawing(given.name)
    if session.broken and not session.nameless:
        severity = WARNING if session.serious else NOTE
        values = {"reason": session.broken}
        drawing.findings.append(Finding("file-repaired", variant="malformed", severity=severity, values=values))
    scale = settle_units(session, asked, drawing)
    content = session.transfer(scale)
    reading = ShapeReading(chosen, drawing)
    outside = OutsideParts(
        None if given.path is None else given.path.parent,
        lambda data, name: _tried_session(data, name, tried),
        lambda session: session.transfer(settle_units(session, asked, drawing)),
    )
    with quiet():
        for number, (instance, labels) in enumerate(outside.placed(content.instances, content.labels, session.files)):
            if number >= MOST_INSTANCES:
                raise too_many_parts(given.name)
            reading.instance(number, instance, labels)
    drawing.findings += outside.findings()
    reading.finish()
    return drawing


def _tried_session(data: bytes, name: str, tried: bool) -> StepSession:
    """A file loaded by the kernel, one that is malformed tried out in a process of its own first."""
    from converter.kernel.step.read import load_step

    cycle = cycle_in(data)
    doubt = cycle or far_out_in(data)
    if doubt and not tried:
        try_out(data, name, doubt)
    session = load_step(data, name)
    if session.broken and not (tried or doubt):
        try_out(data, name, session.broken)
    if cycle:
        session.broken = "; ".join(filter(None, (cycle, session.broken)))
        session.serious, session.nameless = True, False
    return session


def read_for_trial(bounded: bool) -> None:
    """What the child of `try_out` does: read standard input; an error told in a sentence is left to the parent to tell.

    Args:
        bounded: it runs within limits already.
    """
    read_bounded(read_step, bounded)


def read_bounded(reader: Callable[..., Drawing], bounded: bool, source: Source | None = None) -> Drawing | None:
    """Read standard input, or a source, with a reader that knows ``tried``, within limits; see `read_for_trial`."""
    allowance.leave_no_core()
    source = source or Source("trial", None, standard_input().read())
    seconds = trial_seconds(len(source.data or b""))
    allowance.limit_seconds(seconds if bounded else min(seconds, allowance.SECONDS))
    if not bounded:
        allowance.limit_memory(allowance.usual_memory())
    try:
        return reader(source, tried=True)
    except ElbowroomError:
        return None
    except Exception as error:
        if not allowance.is_want_of_memory(error):
            raise
        raise SystemExit(NO_MEMORY) from error


# --- contents -------------------------------------------------------------------------------


class ShapeReading:
    """What the shapes of one file become: curves, ready tables, and what is left out, in its drawing."""

    def __init__(self, options: ReadOptions, drawing: Drawing) -> None:
        from converter.kernel.step.places import PlacedBodies

        self.options = options
        self.drawing = drawing
        self.bodies = PlacedBodies()
        self.parts: dict[int, Contents] = {}
        self.known_bodies: dict[Key, KnownBody] = {}
        self.layers: dict[str | None, bool] = {}
        self.ignored: Counter[tuple[str, Reason]] = Counter()
        self.unread: Counter[str] = Counter()
        self.sampled: Counter[str] = Counter()
        self.hidden: Counter[str] = Counter()
        self.free: list[FreeCurve] = []
        self.loose: list[PlacedBody] = []
        self.halves: list[PlacedBody] = []
        self.solid: dict[int, bool] = {}
        if options.keep_left_out:
            drawing.aside = Aside()

    def instance(self, number: int, instance: Instance, labels: ShapeLabels | None) -> None:
        """One part in one place."""
        from converter.kernel.step.labels import best_name
        from converter.kernel.step.parts import take_apart

        contents = self.parts.get(instance.part)
        if contents is None:
            contents = self.parts[instance.part] = take_apart(instance.shape, labels)
        for kind, count in contents.hidden.items():
            self.hidden[kind] += count
        if not contents.edges and not contents.bodies and not contents.points and not contents.hidden:
            self.ignored[instance.name or "part", "it holds no shape that the CAD kernel can make"] += 1
        if contents.points:
            self.ignored["point", "a point is no centerline"] += contents.points
        for edge in contents.edges:
            self.edge(number, instance, edge, _group(number, instance, contents, edge))
        called = Counter(body.name for body in contents.bodies)
        before = len(self.drawing.tables)
        for body in steps(contents.bodies, "bodies"):
            own = body.name if len(contents.bodies) > 1 and called[body.name] == 1 else ""
            self.body(number, instance, body, best_name(own, instance.name, instance.product, body.name) or UNNAMED)
        if len(self.drawing.tables) > before + 1:
            from converter.importers.solids.end_to_end import joined_end_to_end

            self.drawing.tables[before:] = joined_end_to_end(self.drawing.tables[before:], DEFAULT)

    def edge(self, number: int, instance: Instance, free: FreeEdge, group: str | None) -> None:
        """A free edge as a drawn curve of its group, of the instance of that number."""
        from converter.kernel.step.places import edge_curve

        layer = free.layer or instance.product or None
        if not self.is_layer_read(layer):
            why = f"on the layer {quoted(layer)}, left out as asked"
            self.ignored["edge", why] += 1
            self.keep_edge(free.edge, instance, why)
            return
        curve, remark = edge_curve(free.edge, instance.location)
        name = (free.name if free.group else "") or instance.name or free.name or None
        if curve is None:
            self.ignored["edge", remark] += 1
            if remark != "no length":
                self.unread[name or "a shape without a name"] += 1
            return
        if remark:
            self.sampled[remark] += 1
        self.free.append(FreeCurve(DrawnCurve(curve, layer, None, name, group), number))

    def body(self, number: int, instance: Instance, body: StepBody, name: str) -> None:
        """A solid, or the loose faces of a part: its tubes, looked for once however often it is used."""
        layer = body.layer or instance.product or None
        if not self.is_layer_read(layer):
            why = f"on the layer {quoted(layer)}, left out as asked"
            self.ignored[name, why] += 1
            self.keep_box(body.shape, instance, name, why)
            return
        key, matrix = self.bodies.key(body.shape, instance.location)
        known = self.known_bodies.get(key)
        if known is None:
            known = self.known_bodies[key] = survey(body, instance, (name, matrix), self.options)
        try:
            motion = None if matrix is known.matrix else rigid_motion(known.matrix, matrix)
            for table in known.tables if motion is not None else ():
                moved(table.placement, motion)
            if known.spine is not None and motion is not None:
                moved_spine(known.spine, motion)
        except GeometryError as error:  # so far away that its place is no number
            self.ignored[name, Clause.of("solid-impossible", reason=error.message)] += 1
            return
        placed = PlacedBody(number, instance, body, name, layer, known, motion)
        if body.is_loose and known.spine is None and not known.bare and is_in_parts(known.tables):
            self.loose.append(placed)  # what it is may be told by other parts' faces
        elif not body.is_loose and may_be_half(known.tables, known.ignored):
            self.halves.append(placed)
            for left in known.ignored:  # told where it stands in the file, if it is
                self.ignored[name if left.kind == known.name else left.kind, left.why] += 0
        else:
            self.place(placed)

    def place(self, placed: PlacedBody) -> None:
        """Put a body's tubes, and what of it is none, into the drawing."""
        name, known, motion = placed.name, placed.survey, placed.motion
        for table in known.tables:
            own = name + table.name[len(known.name) :] if table.name.startswith(known.name) else table.name
            place = table.placement if motion is None else moved(table.placement, motion)
            told = table.findings if motion is None else tuple(moved_finding(f, motion) for f in table.findings)
            self.drawing.tables.append(
                replace(table, name=own, placement=place, layer=table.layer or placed.layer, findings=told)
            )
        if known.spine is not None:
            spine = known.spine if motion is None else moved_spine(known.spine, motion)
            group = f"{placed.number}.{name}.{len(self.drawing.curves)}"
            self.drawing.curves.append(replace(spine, name=name, layer=placed.layer, group=group))
        for left in known.ignored:
            kind = name if left.kind == known.name else left.kind
            self.ignored[kind, left.why] += left.count
            if not known.tables:  # beside tubes in one body its box would say nothing
                self.keep_box(placed.body.shape, placed.instance, kind, left.why)
        is_tube = bool(known.tables) or known.spine is not None
        self.solid[placed.number] = self.solid.get(placed.number, False) or is_tube

    def place_loose(self) -> None:
        """Loose faces in several parts, and halves of what is split along it: together where they make a tube, else
        each by itself."""
        faces = partial(joined_tubes, take_all=self.options.take_all)
        for bodies, joining in ((self.loose, faces), (self.halves, joined_halves)):
            for group in touching(bodies):
                joined = joining(group)
                if joined is None:
                    for placed in group:
                        self.place(placed)
                    continue
                self.drawing.tables += joined[0]
                for left in joined[1]:
                    self.ignored[left.kind, left.why] += left.count
                for placed in group:
                    self.solid[placed.number] = self.solid.get(placed.number, False) or bool(joined[0])

    def keep_box(self, shape: Any, instance: Instance, kind: str, why: Reason) -> None:
        """Keep the box around a body that is left out, where that was asked for."""
        from converter.kernel.step.places import box_of

        box = box_of(shape, instance.location) if self.drawing.aside is not None else None
        if self.drawing.aside is not None and box:
            self.drawing.aside.add(LeftShape.box(kind, why, *box))

    def keep_edge(self, edge: Any, instance: Instance, why: str) -> None:
        """Keep the shape of an edge that is left out, where that was asked for."""
        from converter.kernel.step.places import edge_curve

        curve = edge_curve(edge, instance.location)[0] if self.drawing.aside is not None else None
        if self.drawing.aside is not None and curve:
            self.drawing.aside.add(LeftShape("edge", why, corners_of(curve)))

    def leave_edge(self, drawn: DrawnCurve, why: Reason) -> None:
        """Count a free edge that is no centerline."""
        self.ignored["edge", why] += 1
        if self.drawing.aside is not None:
            self.drawing.aside.add(LeftShape("edge", why, corners_of(drawn.curve)))

    def keep_centerlines(self, drawn: Sequence[DrawnCurve]) -> None:
        """Put free edges into the drawing, but for those that draw the section of a tube along with its path."""
        if self.options.take_all:
            self.drawing.curves += drawn
            return
        kept, left, findings = without_sections(drawn, DEFAULT)
        self.drawing.curves += kept
        self.drawing.findings += findings
        for one in left:
            self.leave_edge(one, OF_SECTION)

    def is_layer_read(self, layer: str | None) -> bool:
        """Whether the layer options let a layer (or product) through."""
        if layer not in self.layers:
            self.layers[layer] = self.options.wants(layer)
        return self.layers[layer]

    def finish(self) -> None:
        """What must be said in the end."""
        drawing = self.drawing
        if self.layers and not any(self.layers.values()):
            names = ", ".join(sorted(quoted(n) for n in self.layers if n)[:20]) or "none at all"
            raise OptionError(
                f"{drawing.source} has nothing on the layers asked for: its layers and products are {names}.",
                code="no-such-layer",
                file=drawing.source,
            )
        self.place_loose()
        # some programs write each solid as a part without a name
        if drawing.tables:
            from converter.importers.solids.end_to_end import end_to_end_findings, joined_end_to_end

            drawing.tables = joined_end_to_end(drawing.tables, DEFAULT, UNNAMED)
            drawing.findings += end_to_end_findings(drawing.tables, DEFAULT)
        kept = []
        for free, why in settle_free_curves(self.free, self.solid, drawing.tables, DEFAULT):
            if why is None:
                kept.append(free.drawn)
            else:
                self.leave_edge(free.drawn, why)
        self.keep_centerlines(kept)
        for kind, count in self.hidden.items():
            self.ignored[kind, "hidden in the file"] += count
        drawing.ignored += [Ignored(kind, count, why) for (kind, why), count in self.ignored.items() if count]
        self.doubt_unit()
        if hardware := not_stock(drawing.ignored):
            drawing.findings.append(hardware)
        if self.hidden:
            total = sum(self.hidden.values())
            drawing.findings.append(
                Finding(
                    "layers-skipped",
                    variant="shapes",
                    measured=float(total),
                    values={"count": total},
                )
            )
        for kind, count in self.sampled.items():
            values = {"count": count, "kind": kind}
            drawing.findings.append(Finding("curve-sampled", measured=float(count), values=values))
        for name, count in self.unread.items():
            values = {"count": count, "part": name}
            drawing.findings.append(Finding("entity-unread", variant="edges", measured=float(count), values=values))

    def doubt_unit(self) -> None:
        """Say where the sizes of its tubes speak against the drawing's unit; of curves the job says so."""
        drawing = self.drawing
        sections = [(table.section, len(table.table.bends)) for table in drawing.tables]
        sections += [(drawn.solid.section, 1) for drawn in drawing.curves if drawn.solid is not None]
        sizes = [(section.greater, bends) for section, bends in sections if section is not None]
        if sizes:
            drawing.header = None  # a section grows with the unit as radii do, so radii over it tell nothing
        doubt = None if self.options.canonical_unit else size_doubt(sizes, drawing.read_as, drawing.units is not None)
        if doubt is not None:
            drawing.findings.append(doubt)


def _group(number: int, instance: Instance, contents: Contents, edge: FreeEdge) -> str | None:
    """Which curves an edge may join: those of its named wire, else of its named part, else whatever has no name.

    Parts of a single curve each are what some programs make of a sketch: they may join too, where they go
    on tangent (each has its part's name for a layer).
    """
    if edge.group:
        return f"{number}.{edge.group}"
    if not instance.name or (len(contents.edges) == 1 and edge.layer is None):
        return None
    return str(number)
