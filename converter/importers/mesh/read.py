"""A mesh file as a `Drawing`: every tube in it a ready table, all else listed with the reason."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath

import numpy as np

from converter.arrays import Array, Ints, blocks
from converter.errors import ElbowroomError, ReadError
from converter.findings import Finding, Reason
from converter.geometry.vectors import distance
from converter.importers.file_units import size_doubt
from converter.importers.mesh.effort import Effort
from converter.importers.mesh.load import LoadedMeshes, MeshPart, load
from converter.importers.mesh.measured import Measured
from converter.importers.mesh.skins import NotATube
from converter.importers.mesh.square.measure import FlatSidedError, measure_square, section_of
from converter.importers.mesh.tube import measure
from converter.importers.mesh.tube_findings import coarse_numbers_finding, tube_findings
from converter.importers.mesh.weld import MeshBody, weld
from converter.importers.motion import moved, moved_finding
from converter.importers.registry import ReadOptions
from converter.importers.source import Source
from converter.limits import FARTHEST, LEAST_SIZE, MOST_SIZE
from converter.model.centerline import walk
from converter.model.drawing import Aside, Drawing, Ignored, LeftShape, ReadyTable
from converter.model.section import Section
from converter.progress import steps
from converter.units import MM_PER, unit_word

FEWEST = 8  #: faces; no tube has fewer
#: What the fitting of a surface may end in of which too little is left, anywhere on the way from cuts to least squares.
FAILS = (ElbowroomError, ArithmeticError, AssertionError, AttributeError, LookupError, TypeError, ValueError)
HOLLOW = "it is a hollow within another body, as the bore of a tube that is fused to others"
NOT_LOOKED_AT = "it was not looked at: the work allowed for one file was used up"


@dataclass(slots=True)
class _NamedTube:
    """A tube with the name of the mesh it is in."""

    name: str
    tube: Measured


@dataclass(frozen=True, slots=True, eq=False)
class _MeshBodies:
    """The bodies of a mesh about ``origin``, and the corners of the box around them all, mm."""

    bodies: tuple[MeshBody, ...]
    origin: Array
    low: Array
    high: Array


def read_mesh(source: str | os.PathLike[str] | Source, options: ReadOptions | None = None) -> Drawing:
    """Every tube of a mesh file, in mm.

    Args:
        source: a file name, '-' for standard input, or a `Source`.
        options: ``units`` gives or overrides the unit; ``layers`` and ``skip_layers`` pick meshes by name.

    Raises:
        ReadError: the file cannot be read, is cut short, or holds no triangles.
        UnitsError, OptionError: an option does not suit.
        MissingLibraryError: the mesh library is not installed.
    """
    given = Source.of(source)
    chosen = options or ReadOptions()
    asked = chosen.canonical_unit
    loaded = load(given)
    read_as = asked or loaded.unit or "mm"
    drawing = Drawing(given.name, loaded.unit, read_as)
    left: Counter[tuple[str, Reason]] = Counter()
    aside = drawing.aside = Aside() if chosen.keep_left_out else None
    found: list[_NamedTube] = []
    effort = Effort(sum(len(part.faces) for part in loaded.parts))
    extent = 0.0
    worst: Finding | None = None
    fallback = PurePath(given.name).stem if given.name != "-" else ""
    with np.errstate(all="ignore"):
        while loaded.parts:
            name = loaded.parts[0].name
            if not chosen.wants(name):
                left["mesh", "its name is not among those to be read"] += 1
                points = loaded.parts.popleft().points * MM_PER[read_as]
                _keep(aside, "mesh", "its name is not among those to be read", points)
                continue
            part = _bodies_of(loaded.parts.popleft(), MM_PER[read_as], left)
            if part is None:
                continue
            extent = max(extent, float((part.high - part.low).max()))
            coarse = coarse_numbers_finding(float(np.maximum(-part.low, part.high).max()), loaded)
            if coarse is not None and (worst is None or (coarse.measured or 0.0) > (worst.measured or 0.0)):
                worst = coarse
            found += _tubes(part, name or fallback, left, aside, effort)
    if not found and not left:
        raise ReadError(f"{given.name} holds no triangles.", code="no-geometry", file=given.name)
    paired = _paired(found)
    diameters = [2.0 * float(one.tube.radius) for one in paired]
    sizes = [(od, len(one.tube.table.bends)) for one, od in zip(paired, diameters, strict=True)]
    doubt = size_doubt(sizes, read_as, loaded.unit is not None) if asked is None else None
    sized = [one for one, od in zip(paired, diameters, strict=True) if LEAST_SIZE <= od <= MOST_SIZE]
    if doubt is not None and not sized:
        raise ReadError(f"{given.name}: {doubt.message} {doubt.cure_in()}", code="unknown-unit", file=given.name)
    if len(sized) < len(paired):
        left["body", "it is wider, or thinner, than any tube"] += len(paired) - len(sized)
    drawing.tables = [_ready(one) for one in sized]
    drawing.ignored = [Ignored(kind, count, why) for (kind, why), count in left.items()]
    drawing.findings = _unit_findings(loaded, asked, extent)
    drawing.findings += [told for told in (doubt, worst) if told is not None]
    unseen = left["body", NOT_LOOKED_AT]
    if unseen:
        bodies = len(found) + sum(count for (kind, _), count in left.items() if kind == "body")
        values = {"seen": bodies - unseen, "unseen": unseen}
        drawing.findings.append(Finding("mesh-not-all-read", measured=float(unseen), values=values))
    return drawing


def tubes_of_triangles(points: Array, faces: Ints, name: str) -> tuple[list[ReadyTable], list[Ignored]]:
    """The tubes of a mesh in mm, and what of it is none: of triangles that come from no mesh file.

    Args:
        points: (n, 3); faces: (m, 3) numbers of points.
        name: of its tubes.
    """
    left: Counter[tuple[str, Reason]] = Counter()
    with np.errstate(all="ignore"):
        part = _bodies_of(MeshPart(name, points, faces), 1.0, left)
        found = [] if part is None else _tubes(part, name, left, None, Effort(len(faces)))
        tables = [_ready(one) for one in _paired(found) if LEAST_SIZE <= 2.0 * one.tube.radius <= MOST_SIZE]
    return tables, [Ignored(kind, count, why) for (kind, why), count in left.items()]


def _sound(part: MeshPart, factor: float, left: Counter[tuple[str, Reason]]) -> tuple[Array, Ints]:
    """A part's vertices in mm and its faces whose corners are numbers."""
    points, faces = part.points if factor == 1.0 else part.points * factor, part.faces
    if faces.size and (int(faces.min()) < 0 or int(faces.max()) >= len(points)):
        good = np.logical_and.reduce((faces >= 0) & (faces < len(points)), axis=1)
        left["triangle", "it names a corner that the file does not have"] += int((~good).sum())
        faces = faces[good]
    sizes = np.empty(len(points))  # NaN where one is
    for some in blocks(len(points)):
        sizes[some] = np.abs(points[some]).max(axis=1)
    faults = (np.isfinite(sizes), "a corner is not a number"), (sizes <= FARTHEST, "a corner is too far away")
    for sound, why in faults:
        if not sound.all():
            good = np.logical_and.reduce(sound[faces], axis=1)
            if not good.all():
                left["triangle", why] += int((~good).sum())
            faces = faces[good]
            points = np.where(sound[:, None], points, 0.0)
    return points, faces


def _keep(aside: Aside | None, kind: str, why: Reason, points: Array) -> None:
    """Keep the box around points (n, 3) in mm that are left out, where that was asked for."""
    if aside is not None and len(points):
        (a, b, c), (d, e, f) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
        aside.add(LeftShape.box(kind, why, (a, b, c), (d, e, f)))


def _bodies_of(part: MeshPart, factor: float, left: Counter[tuple[str, Reason]]) -> _MeshBodies | None:
    """The bodies of a part whose numbers are ``factor`` mm; None where it has no triangle that can be one of a body."""
    points, faces = _sound(part, factor, left)
    del part
    if len(faces) == 0:
        return None
    seen = np.zeros(len(points), bool)
    for some in blocks(len(faces)):
        seen[faces[some]] = True
    used = points if seen.all() else points[seen]
    low, high = used.min(axis=0), used.max(axis=0)
    del used
    # near the origin: a drawing far away would cost digits everywhere
    origin = points[faces[0, 0]].copy()
    # handed on and kept in no name here, for welding lets go of them
    taken = [faces, points - origin]
    del points, faces
    welded = weld(taken.pop(), taken.pop())
    if welded.on_sides:
        left["corner", "it lies on a side of another triangle (a T-junction), not on the surface"] += welded.on_sides
    if welded.flat:
        left["triangle", "it has no area"] += welded.flat
    return _MeshBodies(welded.bodies, origin, low, high)


def _tubes(
    part: _MeshBodies, name: str, left: Counter[tuple[str, Reason]], aside: Aside | None, effort: Effort
) -> list[_NamedTube]:
    tubes: dict[int, _NamedTube] = {}
    refused: dict[tuple[int, int, str, str] | None, Reason] = {}
    # the largest first, so that what is not looked at in the end are the small ones
    by_size = sorted(range(len(part.bodies)), key=lambda k: -float(part.bodies[k].areas.sum()))
    for k in steps(by_size, "bodies"):
        body = part.bodies[k]
        alike = _alike(body) if len(by_size) > 1 else None
        why = refused.get(alike)
        if why is None and len(body.faces) < FEWEST:
            why = f"it has fewer than {FEWEST} triangles"
        if why is None and effort.is_empty:
            why = NOT_LOOKED_AT
        if why is None:
            try:
                tubes[k] = _NamedTube(name, _placed(measured_as(body, effort), part.origin))
                continue
            except NotATube as told:
                why = refused[alike] = told.why
            except FAILS:
                why = refused[alike] = "its surface is too damaged or too ragged for a tube to be fitted to it"
        left["body", why] += 1
        _keep(aside, "body", why, body.points + part.origin)
    for k in _hollows(part.bodies, tubes):
        left["body", HOLLOW] += 1
        del tubes[k]
    return [tubes[k] for k in sorted(tubes)]


def _hollows(bodies: Sequence[MeshBody], tubes: Mapping[int, _NamedTube]) -> list[int]:
    """Numbers of tubes that are bars of nothing: closed surfaces that look inward, within a body that is no tube."""
    skins = {k: one.tube for k, one in tubes.items() if one.tube.bore is None and not bodies[k].is_open}
    inward = [k for k, tube in skins.items() if tube.outward < 0.0]
    around = [body for k, body in enumerate(bodies) if inward and k not in tubes and len(body.faces) >= FEWEST]
    boxes = [(body.points.min(axis=0), body.points.max(axis=0)) for body in around]
    found = []
    for k in inward:
        low, high = bodies[k].points.min(axis=0), bodies[k].points.max(axis=0)
        if any((low >= box[0]).all() and (high <= box[1]).all() for box in boxes):
            found.append(k)
    return found


def measured_as(body: MeshBody, effort: Effort) -> Measured:
    """The tube that a body is, round or with flat sides.

    Raises:
        NotATube: it is neither.
    """
    try:
        # rectangles are soon met or not; what has them would take the search for round tube long
        with effort.for_body(0):
            flat = measure_square(body, effort)
    except FlatSidedError:
        raise
    except NotATube as told:
        try:
            return measure(body, effort)
        except (NotATube, *FAILS):
            raise told from None
    return measure(body, effort) if flat is None else flat


def _alike(body: MeshBody) -> tuple[int, int, str, str]:
    """What bodies that are one another moved and turned have in common: what is refused once is refused as often."""
    lengths = np.empty(body.faces.shape)
    for some in blocks(len(body.faces)):
        sides = body.points[body.faces[some]] - body.points[np.roll(body.faces[some], 1, axis=1)]
        lengths[some] = np.sqrt((sides * sides).sum(axis=2))
    return (
        len(body.points),
        len(body.faces),
        f"{body.areas.sum():.6g}",
        f"{lengths.sum():.6g}",
    )


def _placed(tube: Measured, origin: Array) -> Measured:
    """A tube measured about an origin, in its place."""
    motion = np.column_stack((np.eye(3), origin))
    remarks = tuple(moved_finding(remark, motion) for remark in tube.remarks)
    return replace(tube, placement=moved(tube.placement, motion), remarks=remarks)


def _paired(found: list[_NamedTube]) -> list[_NamedTube]:
    """A bore that is a surface of its own goes to the outside around it."""
    from scipy.spatial import cKDTree

    out: list[_NamedTube | None] = list(found)
    boreless = [k for k, f in enumerate(found) if f.tube.bore is None]
    if not boreless:
        return found
    starts = cKDTree([found[k].tube.placement.start for k in boreless])
    widest = max(found[k].tube.radius for k in boreless)
    for k in sorted(boreless, key=lambda k: found[k].tube.radius):
        inner = found[k].tube
        if not (inner.is_open or inner.outward < 0.0):
            continue
        # an outside starts no further off than its own radius
        for near in sorted(starts.query_ball_point(inner.placement.start, widest)):
            j = boreless[near]
            outer = out[j]
            if j == k or outer is None or outer.tube.bore is not None or not _around(outer.tube, inner):
                continue
            out[j] = _NamedTube(outer.name, _joined(outer.tube, inner))
            out[k] = None
            break
    return [f for f in out if f is not None]


def _around(outer: Measured, inner: Measured) -> bool:
    """Whether one surface is the bore of the other: smaller, and along the same centerline."""
    if not inner.radius < 0.995 * outer.radius or outer.closed != inner.closed:
        return False
    slack = outer.radius
    ends = [(t.placement.start, walk(t.table, t.placement)[1].start) for t in (outer, inner)]
    length = abs(outer.table.developed_length - inner.table.developed_length)
    return (
        length < slack
        and len(outer.table.bends) == len(inner.table.bends)
        and all(distance(a, b) < slack for a, b in zip(*ends, strict=True))
    )


def _joined(outer: Measured, inner: Measured) -> Measured:
    return replace(
        outer,
        bore=inner.radius,
        deviation=max(outer.deviation, inner.deviation),
        vertices=outer.vertices + inner.vertices,
        is_open=outer.is_open or inner.is_open,
    )


def _ready(one: _NamedTube) -> ReadyTable:
    tube = one.tube
    od = 2.0 * tube.radius
    if tube.sizes is not None:
        section = section_of(tube.sizes)
    elif tube.bore is not None:
        section = Section("round", od, tube.radius - tube.bore)
    else:
        section = Section("bar", od, tube.radius)
    return ReadyTable(
        one.name,
        tube.table,
        tube.placement,
        section,
        None,
        tube.closed,
        tube.deviation,
        None if tube.closed else tube.metal,
        None,
        tuple(tube_findings(one.name or "tube", tube)),
    )


def _unit_findings(loaded: LoadedMeshes, asked: str | None, extent: float) -> list[Finding]:
    """What must be told about the unit; ``extent``: largest side in mm of what was read."""
    if asked is not None:
        if loaded.unit is None or loaded.unit == asked:
            return []
        return [Finding("units-overridden", values={"stated": unit_word(loaded.unit), "read_as": unit_word(asked)})]
    if loaded.unit is not None:
        return []
    values = {"kind": loaded.kind, "extent": extent, "in_inches": extent * MM_PER["in"]}
    return [Finding("units-assumed", variant="mesh", measured=extent, unit="mm", values=values)]
