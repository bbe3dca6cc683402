"""A mesh file as a `Drawing`: every tube in it a ready table, all else listed with the reason."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import PurePath

import numpy as np
from numpy.typing import NDArray

from converter.errors import GeometryError, OptionError, ReadError
from converter.findings import Finding
from converter.geometry.vectors import Vec, distance
from converter.importers.mesh.load import Loaded, Part, load
from converter.importers.mesh.said import said_of, too_coarse_numbers
from converter.importers.mesh.skins import NotATube
from converter.importers.mesh.tube import Measured, measure
from converter.importers.mesh.weld import weld
from converter.importers.registry import ReadOptions
from converter.importers.source import Source
from converter.model.centerline import walk
from converter.model.drawing import Aside, Drawing, Ignored, LeftShape, ReadyTable
from converter.model.section import Section
from converter.progress import steps
from converter.units import MM_PER, UNIT_CHOICES, Display, unit_name

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

FEWEST = 8  #: faces; no tube has fewer


@dataclass(slots=True)
class _Found:
    """A tube with the name of the mesh it is in."""

    name: str
    tube: Measured


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
    asked = _asked_unit(chosen.units)
    loaded = load(given)
    read_as = asked or loaded.unit or "mm"
    drawing = Drawing(given.name, loaded.unit, read_as)
    display = chosen.show(read_as)
    left: Counter[tuple[str, str]] = Counter()
    aside = drawing.aside = Aside() if chosen.keep_left_out else None
    found: list[_Found] = []
    extent = 0.0
    worst: Finding | None = None
    fallback = PurePath(given.name).stem if given.name != "-" else ""
    with np.errstate(all="ignore"):
        for part in loaded.parts:
            if not chosen.wants(part.name):
                left["mesh", "its name is not among those to be read"] += 1
                _keep(aside, "mesh", "its name is not among those to be read", part.points * MM_PER[read_as])
                continue
            points, faces = _sound(part, MM_PER[read_as], left)
            if len(faces) == 0:
                continue
            seen = np.zeros(len(points), bool)
            seen[faces] = True
            used = points[seen]
            extent = max(extent, float(np.ptp(used, axis=0).max()))
            coarse = too_coarse_numbers(used, loaded, display)
            if coarse is not None and (worst is None or (coarse.measured or 0.0) > (worst.measured or 0.0)):
                worst = coarse
            found += _tubes(points, faces, part.name or fallback, left, aside)
    if not found and not left:
        raise ReadError(f"{given.name} holds no triangles.", code="no-geometry", file=given.name)
    drawing.tables = [_ready(one, display) for one in _paired(found)]
    drawing.ignored = [Ignored(kind, count, why) for (kind, why), count in left.items()]
    drawing.findings = _units_said(loaded, asked, read_as, extent) + ([worst] if worst is not None else [])
    return drawing


def _asked_unit(option: str | None) -> str | None:
    if option is None:
        return None
    asked = unit_name(option)
    if asked not in UNIT_CHOICES:
        raise OptionError(
            f"A mesh cannot be read as {option!r}: use one of {', '.join(UNIT_CHOICES)}.", code="unknown-unit"
        )
    return asked


def _sound(part: Part, factor: float, left: Counter[tuple[str, str]]) -> tuple[Array, Ints]:
    """A part's vertices in mm and its faces whose corners are numbers."""
    points, faces = part.points * factor, part.faces
    if faces.size and (int(faces.min()) < 0 or int(faces.max()) >= len(points)):
        good = np.logical_and.reduce((faces >= 0) & (faces < len(points)), axis=1)
        left["triangle", "it names a corner that the file does not have"] += int((~good).sum())
        faces = faces[good]
    finite = np.logical_and.reduce(np.isfinite(points) & (np.abs(points) < 1e12), axis=1)
    if not finite.all():
        good = np.logical_and.reduce(finite[faces], axis=1)
        left["triangle", "a corner is not a number"] += int((~good).sum())
        faces = faces[good]
        points = np.where(finite[:, None], points, 0.0)
    return points, faces


def _keep(aside: Aside | None, kind: str, why: str, points: Array) -> None:
    """Keep the box around points (n, 3) in mm that are left out, where that was asked for."""
    if aside is not None and len(points):
        (a, b, c), (d, e, f) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
        aside.add(LeftShape.box(kind, why, (a, b, c), (d, e, f)))


def _tubes(
    points: Array, faces: Ints, name: str, left: Counter[tuple[str, str]], aside: Aside | None = None
) -> list[_Found]:
    # near the origin: a drawing far away would cost digits everywhere
    origin = points[faces[0, 0]].copy()
    welded = weld(points - origin, faces)
    if welded.flat:
        left["triangle", "it has no area"] += welded.flat
    out: list[_Found] = []
    for body in steps(welded.bodies, "bodies"):
        if len(body.faces) < FEWEST:
            left["body", f"it has fewer than {FEWEST} triangles"] += 1
            _keep(aside, "body", f"it has fewer than {FEWEST} triangles", body.points + origin)
            continue
        try:
            out.append(_Found(name, _placed(measure(body), origin)))
        except NotATube as reason:
            left["body", str(reason)] += 1
            _keep(aside, "body", str(reason), body.points + origin)
        except (GeometryError, np.linalg.LinAlgError, ZeroDivisionError, IndexError) as error:
            why = f"no tube could be fitted to it ({type(error).__name__})"
            left["body", why] += 1
            _keep(aside, "body", why, body.points + origin)
    return out


def _placed(tube: Measured, origin: Array) -> Measured:
    x, y, z = (float(v) for v in np.array(tube.placement.start) + origin)
    return replace(tube, placement=replace(tube.placement, start=(x, y, z)))


def _paired(found: list[_Found]) -> list[_Found]:
    """A bore that is a surface of its own goes to the outside around it."""
    out: list[_Found | None] = list(found)
    boreless = [k for k, f in enumerate(found) if f.tube.bore is None]
    by_place: dict[tuple[int, ...], list[int]] = {}
    for k in boreless:
        for key in _keys(found[k].tube.placement.start, 200.0):
            by_place.setdefault(key, []).append(k)
    for k in sorted(boreless, key=lambda k: found[k].tube.radius):
        inner = found[k].tube
        if not (inner.is_open or inner.outward < 0.0):
            continue
        near = by_place.get(_keys(inner.placement.start, 200.0)[0], [])
        for j in near:
            outer = out[j]
            if j == k or outer is None or outer.tube.bore is not None or not _around(outer.tube, inner):
                continue
            out[j] = _Found(outer.name, _joined(outer.tube, inner))
            out[k] = None
            break
    return [f for f in out if f is not None]


def _keys(p: Vec, cell: float) -> list[tuple[int, ...]]:
    """The cell a point is in, first, and its neighbours."""
    x, y, z = (int(np.floor(v / cell)) for v in p)
    near = [(x + i, y + j, z + k) for i in (0, -1, 1) for j in (0, -1, 1) for k in (0, -1, 1)]
    return list(near)


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


def _ready(one: _Found, display: Display) -> ReadyTable:
    tube = one.tube
    od = 2.0 * tube.radius
    if tube.bore is not None:
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
        tuple(said_of(one.name or "run", tube, display)),
    )


def _units_said(loaded: Loaded, asked: str | None, read_as: str, extent: float) -> list[Finding]:
    if asked is not None:
        if loaded.unit is None or loaded.unit == asked:
            return []
        return [
            Finding(
                "units-overridden",
                f"The file says its unit is {loaded.unit}; its numbers were read as {asked}, as the units option asks.",
            )
        ]
    if loaded.unit is not None:
        return []
    number = extent / MM_PER[read_as]
    return [
        Finding(
            "units-assumed",
            f"A mesh in {loaded.kind} names no unit and was read as mm: its largest extent is then {number:.6g} mm; "
            f"it would be {number * MM_PER['in']:.6g} mm ({number:.6g} in) if it was made in inches.",
            measured=extent,
            unit="mm",
            cure="Say which with the units option (--units in, --units mm).",
        )
    ]
