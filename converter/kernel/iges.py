"""IGES to the kernel's shapes: curves, surfaces sewn to shells, solids; with names, levels and what the file hides.

The kernel keeps its settings for the whole process and talks on standard output; both are put right for the length of
a call.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from converter.errors import ReadError
from converter.kernel import require
from converter.kernel.session import damaged, quiet, settings, shielded
from converter.kernel.step.labels import items, name_by_person, text
from converter.kernel.step.tree import Instance
from converter.kernel.topology import Box, compound, exact_box, rough_box, subshapes
from converter.quoting import LONGEST_REASON, shortened

_WORDS = {"xstep.cascade.unit": "MM"}
_NUMBERS = {"read.iges.onlyvisible": 0, "read.precision.mode": 0}
#: Name, level and whether it is hidden; of an entity of which nothing is said.
_Label: TypeAlias = tuple[str, str | None, bool]
_SILENT: _Label = ("", None, False)
#: Types of entities that are curves, surfaces, solids, or groups of such.
_SHAPES = frozenset(
    (100, 102, 104, 106, 108, 110, 112, 114, 118, 120, 122, 126, 128, 140, 143, 144, 186, 402, 408, 514)
)
#: Unit flag of millimetres, and names of the colors that are no entities (IGES 5.3, 2.2.4.3.14 and 2.2.4.4.13).
_MM_FLAG = 2
_COLORS = {1: "black", 2: "red", 3: "green", 4: "blue", 5: "yellow", 6: "magenta", 7: "cyan", 8: "white"}
#: mm by which the edges of surfaces side by side may lie apart: exact surfaces trimmed by fitted curves do.
SEW = 0.01
#: mm; a boundary is not laid out on its surface more finely, whatever resolution the file claims: at 1e-7 mm the kernel
#: mistakes rounding for a way around the seam, and faces come out over two turns, inside out or without any width.
LEAST_RESOLUTION = 1e-4
#: The same as a share of the largest coordinate: 1e-3 mm a kilometre away.
LEAST_SHARE = 1e-9
#: A shell with more edges of one face only is open.
_MOST_SLITS = 60


class IgesLabels:
    """Name, level and visibility of single shapes."""

    def __init__(self) -> None:
        from OCP.TopTools import TopTools_IndexedMapOfShape

        self.hidden_layers: set[str] = set()
        self._shapes = TopTools_IndexedMapOfShape()
        self._labels: dict[int, _Label] = {}

    def note(self, shape: Any, label: _Label) -> None:
        """Keep what is said of a shape, unless something was kept of it before."""
        if label != _SILENT:
            self._labels.setdefault(self._shapes.Add(shape), label)

    def of(self, shape: Any) -> _Label:
        """(name or '', layer or None, hidden) of a shape."""
        return self._labels.get(self._shapes.FindIndex(shape), _SILENT)


@dataclass(frozen=True, slots=True)
class LayerNames:
    """Names that a file gives to its levels, by number, and to its own colors, by the number of their entry."""

    levels: dict[int, str]
    colors: dict[int, str]


@dataclass(slots=True)
class IgesSession:
    """An IGES file that the kernel has loaded but not yet turned into shapes.

    Attributes:
        broken: what the kernel found malformed, in a few words; '' for nothing.
        per_unit: mm that the kernel makes of one unit of the file.
        names: of its levels and colors.
    """

    reader: Any
    name: str
    broken: str
    per_unit: float
    names: LayerNames

    def transfer(self, scale: float = 1.0) -> tuple[list[Instance], IgesLabels]:
        """Turn all of it into shapes, every length ``scale`` times what the kernel makes of it.

        Raises:
            ReadError: the kernel fails, or there is no shape.
        """
        with shielded(self.name), quiet(), _exchange():
            reader, labels, shapes = self.reader, IgesLabels(), []
            for i in range(1, reader.NbRootsForTransfer() + 1):
                before = reader.NbShapes()
                if reader.TransferOneRoot(i) and reader.NbShapes() > before:
                    shapes.append(reader.Shape(reader.NbShapes()))
            self._note(labels)
            bodies = _sewn(shapes, labels)
            if not bodies:
                raise ReadError(
                    f"{self.name} holds no shape that can be read: export the sketch or the solids themselves.",
                    code="no-geometry",
                    file=self.name,
                )
            whole = Instance.lone("", compound(bodies), 0)
            return [whole if scale == 1.0 else whole.scaled(scale)], labels

    def _note(self, labels: IgesLabels) -> None:
        """What the file says of the shapes of its entities.

        The kernel does not know an entity again that is handed back to it: lists of a kind are transferred once more,
        which costs little since they are transferred already, and their shapes noted beside them.
        """
        model = self.reader.WS().Model()
        entities = [model.Entity(i) for i in range(1, model.NbEntities() + 1)]
        layer_of = self._layers(model, entities)
        spoken_of = {entity.TypeNumber() for entity in entities if _label(entity, layer_of(entity)) != _SILENT}
        for kind in sorted(spoken_of & _SHAPES):
            sequence = self.reader.GiveList(f"iges-type({kind})")
            said = [_label(entity, layer_of(entity)) for entity in items(sequence)]  # not in the model's order
            if not said:
                continue
            self.reader.ClearShapes()
            self.reader.TransferList(sequence)
            if self.reader.NbShapes() == len(said):  # else some cannot be made: which shape is whose is not known
                for i, label in enumerate(said, 1):
                    labels.note(self.reader.Shape(i), label)

    def _layers(self, model: Any, entities: list[Any]) -> Callable[[Any], str | None]:
        """What tells the layer of an entity: its level, or its color in a file that uses colors and no levels."""

        def level(entity: Any) -> str | None:
            number = entity.Level()
            if number < 0 and entity.LevelList() is not None:
                number = entity.LevelList().LevelNumber(1)
            return (self.names.levels.get(number) or str(number)) if number > 0 else None

        def color(entity: Any) -> str | None:
            number = entity.RankColor()
            own = entity.Color()
            if own is not None:
                return self.names.colors.get(model.DNum(own)) or None
            return _COLORS.get(number)

        drawn = [entity for entity in entities if entity.TypeNumber() in _SHAPES]
        if any(level(entity) for entity in drawn) or len({color(entity) for entity in drawn}) < 2:
            return level
        return color


def load_iges(path: Path, name: str, names: LayerNames) -> IgesSession:
    """An IGES file, loaded by the kernel.

    Args:
        path: the file, its records in order.
        name: what messages call it.
        names: of its levels and colors.

    Raises:
        ReadError: the kernel cannot read it.
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.IGESControl import IGESControl_Reader

    with shielded(name), quiet(), _exchange():
        reader = IGESControl_Reader()
        status = reader.ReadFile(str(path))
        if status != IFSelect_ReturnStatus.IFSelect_RetDone:
            raise damaged(name, f"status {status.name.removeprefix('IFSelect_Ret').lower()}")
        model = reader.WS().Model()
        if model is None or model.NbEntities() == 0 or reader.NbRootsForTransfer() == 0:
            raise ReadError(
                f"{name} holds no shape: its directory has no curve or surface; export the sketch or the solids.",
                code="no-geometry",
                file=name,
            )
        header = model.GlobalSection()
        per_unit = float(header.UnitValue())
        if not per_unit > 0.0:  # a unit that does not exist: what its numbers are is told by whoever asks
            header.SetUnitFlag(_MM_FLAG)
            per_unit = 1.0
        far = float(header.MaxCoord()) if header.HasMaxCoord() else 0.0
        least = min(max(LEAST_RESOLUTION, LEAST_SHARE * far * per_unit), SEW)
        header.SetResolution(max(float(header.Resolution()), least / per_unit))
        model.SetGlobalSection(header)
        return IgesSession(reader, name, _broken(reader), per_unit, names)


def _label(entity: Any, layer: str | None) -> _Label:
    name = text(entity.NameValue()) if entity.HasName() else ""
    if not name and entity.HasShortLabel():
        name = text(entity.ShortLabel())
    return name_by_person(name), layer, entity.BlankStatus() == 1


def _sewn(shapes: list[Any], labels: IgesLabels) -> list[Any]:
    """The shapes with faces side by side sewn to shells, and closed shells made solids; the rest as it is.

    Faces of one group of the file are sewn with one another; faces of no group with all others of none.
    """
    from OCP.TopAbs import TopAbs_ShapeEnum as Kind

    kept: list[Any] = []
    loose: list[Any] = []
    for shape in shapes:
        kind = shape.ShapeType()
        if kind in (Kind.TopAbs_FACE, Kind.TopAbs_SHELL):
            loose.append(shape)
        elif kind == Kind.TopAbs_COMPOUND:
            faces, others = _taken_apart(shape, labels, _SILENT)
            kept += [*others, *_bodies(faces, labels)]
        else:
            kept.append(shape)
    return [*kept, *_bodies(loose, labels)]


def _taken_apart(shape: Any, labels: IgesLabels, outer: _Label) -> tuple[list[Any], list[Any]]:
    """Faces and shells of a group, and its other shapes; each under its own label, or else that of the group."""
    from OCP.TopAbs import TopAbs_ShapeEnum as Kind
    from OCP.TopoDS import TopoDS_Iterator

    name, layer, hidden = labels.of(shape)
    label = (name or outer[0], layer or outer[1], hidden or outer[2])
    faces: list[Any] = []
    others: list[Any] = []
    it = TopoDS_Iterator(shape)
    while it.More():
        child = it.Value()
        it.Next()
        if child.ShapeType() == Kind.TopAbs_COMPOUND:
            more_faces, more = _taken_apart(child, labels, label)
            faces, others = faces + more_faces, others + more
            continue
        own = labels.of(child)
        labels.note(child, label if own == _SILENT else own)
        (faces if child.ShapeType() in (Kind.TopAbs_FACE, Kind.TopAbs_SHELL) else others).append(child)
    return faces, others


def _bodies(faces: list[Any], labels: IgesLabels) -> list[Any]:
    """Closed shells of the faces as solids, open ones as they are."""
    if not faces:
        return []
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid, BRepBuilderAPI_Sewing
    from OCP.BRepLib import BRepLib
    from OCP.TopoDS import TopoDS

    sewing = BRepBuilderAPI_Sewing(SEW)
    for face in faces:
        sewing.Add(face)
    sewing.Perform()
    whole = sewing.SewedShape()
    found: list[Any] = []
    said = IgesLabels()
    for face in faces:
        said.note(sewing.ModifiedSubShape(_first_face(face)), labels.of(face))
    for shell in list(subshapes(whole, "SHELL")):
        body = shell
        if _is_closed(shell):
            maker = BRepBuilderAPI_MakeSolid(TopoDS.Shell_s(shell))
            if maker.IsDone():
                body = maker.Solid()
                BRepLib.OrientClosedSolid_s(body)
        for face in subshapes(shell, "FACE"):
            labels.note(body, said.of(face))  # the first face of which something is said
        found.append(body)
    return [*_with_cavities(found, labels), *subshapes(whole, "FACE", outside="SHELL")]


def _is_closed(shell: Any) -> bool:
    """Whether a shell has no gap: each edge of one face only lies on another one, where a face is slit open."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.TopoDS import TopoDS
    from OCP.TopTools import TopTools_IndexedMapOfShape

    if BRep_Tool.IsClosed_s(shell):
        return True
    edges, uses = TopTools_IndexedMapOfShape(), Counter[int]()
    for edge in subshapes(shell, "EDGE"):
        if not BRep_Tool.Degenerated_s(TopoDS.Edge_s(edge)):
            uses[edges.Add(edge)] += 1
    places: list[tuple[Any, ...]] = []
    for number, count in uses.items():
        if count % 2:
            curve = BRepAdaptor_Curve(TopoDS.Edge_s(edges.FindKey(number)))
            first, last = curve.FirstParameter(), curve.LastParameter()
            places.append(tuple(curve.Value(first + part * (last - first)) for part in (0.0, 0.5, 1.0)))
    return len(places) <= _MOST_SLITS and all(
        sum(_is_same_place(one, other) for other in places) == 2 for one in places
    )


def _is_same_place(one: tuple[Any, ...], other: tuple[Any, ...]) -> bool:
    return any(all(p.Distance(q) <= SEW for p, q in zip(one, way, strict=True)) for way in (other, other[::-1]))


def _with_cavities(bodies: list[Any], labels: IgesLabels) -> list[Any]:
    """Solids of one shell each, those within another one's metal as cavities of it; all else as it is.

    A file of surfaces does not say that the bore of a tube with both ends closed belongs to its outside.
    """
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid
    from OCP.TopAbs import TopAbs_ShapeEnum as Kind
    from OCP.TopoDS import TopoDS

    solids = [k for k, body in enumerate(bodies) if body.ShapeType() == Kind.TopAbs_SOLID]
    around: dict[int, list[int]] = {k: [] for k in solids}
    exact = cache(lambda k: exact_box(bodies[k]))
    for k, j in _perhaps_inside([bodies[k] for k in solids]):
        inner, outer = solids[k], solids[j]
        if _is_inside(exact(inner), exact(outer)) and _has_a_corner_in(bodies[inner], bodies[outer]):
            around[inner].append(outer)
    makers: dict[int, Any] = {}
    for k in solids:
        if len(around[k]) % 2:  # in the metal of the one that lies in one solid less
            owner = max(around[k], key=lambda j: len(around[j]))
            maker = makers.setdefault(owner, BRepBuilderAPI_MakeSolid(TopoDS.Solid_s(bodies[owner])))
            maker.Add(TopoDS.Shell_s(next(subshapes(bodies[k], "SHELL")).Reversed()))
    found = []
    for k, body in enumerate(bodies):
        if k in makers:
            whole = makers[k].Solid()
            labels.note(whole, labels.of(body))
            found.append(whole)
        elif len(around.get(k, ())) % 2 == 0:
            found.append(body)
    return found


def _perhaps_inside(solids: Sequence[Any]) -> list[tuple[int, int]]:
    """Pairs of solids of which the first has a corner within a box around the second, in order."""
    if len(solids) < 2:
        return []
    corners = np.array([_corner(solid).Coord() for solid in solids])
    boxes = np.array([rough_box(solid) for solid in solids])
    found: list[tuple[int, int]] = []
    for k, corner in enumerate(corners):
        held = ((boxes[:, 0] <= corner) & (corner <= boxes[:, 1])).all(axis=1)
        found += [(k, j) for j in np.flatnonzero(held).tolist() if j != k]
    return found


def _corner(solid: Any) -> Any:
    """One corner of a solid."""
    from OCP.BRep import BRep_Tool
    from OCP.TopoDS import TopoDS

    return BRep_Tool.Pnt_s(TopoDS.Vertex_s(next(subshapes(solid, "VERTEX"))))


def _is_inside(inner: Box, outer: Box) -> bool:
    (low, high), (least, most) = inner, outer
    return not any(a <= b for a, b in zip(low, least, strict=True)) and not any(
        a >= b for a, b in zip(high, most, strict=True)
    )


def _has_a_corner_in(inner: Any, outer: Any) -> bool:
    """Whether a solid whose box is inside another one's lies within its outside: a corner of it does."""
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.TopAbs import TopAbs_State

    classifier = BRepClass3d_SolidClassifier(outer, _corner(inner), 1e-6)
    return bool(classifier.State() == TopAbs_State.TopAbs_IN)


def _first_face(shape: Any) -> Any:

    return next(subshapes(shape, "FACE"))


def _broken(reader: Any) -> str:
    """What the kernel found wrong while loading: how many entities, and the first one's fault."""
    checks = reader.WS().ModelCheckList(False)
    count, first = 0, ""
    checks.Start()
    while checks.More():
        check = checks.Value()
        if check.NbFails():
            count += 1
            first = first or shortened(text(check.Fail(1)), LONGEST_REASON)
        checks.Next()
    return f"{count} entit{'y' if count == 1 else 'ies'}, first {first}" if count else ""


@contextmanager
def _exchange() -> Iterator[None]:
    """The kernel's settings for reading IGES."""
    from OCP.IGESControl import IGESControl_Controller

    IGESControl_Controller.Init_s()  # before this, they have no value to put back
    with settings(_WORDS, _NUMBERS, ReadError):
        yield
