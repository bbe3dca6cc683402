"""What a part is made of: free edges as curves to follow, bodies with faces to recognise, and the rest."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from itertools import islice
from typing import Any, Protocol

from converter.kernel.topology import compound, subshapes


class ShapeLabels(Protocol):
    """What a file says of single shapes inside a part."""

    hidden_layers: set[str]

    def of(self, shape: Any) -> tuple[str, str | None, bool]:
        """(name or '', layer or None, hidden) of a shape as it lies in its part."""
        ...


@dataclass(frozen=True, slots=True)
class FreeEdge:
    """An edge that belongs to no face.

    Attributes:
        edge: the kernel's edge, in its part's frame.
        group: number, within the part, of the curves it may join: its named wire's, else 0.
        name: what the file calls its wire or set, or ''.
        layer: the layer the file puts it on, or None.
    """

    edge: Any
    group: int
    name: str
    layer: str | None


@dataclass(frozen=True, slots=True)
class StepBody:
    """Something with faces, in its part's frame: a solid, or all loose faces and shells of the part together."""

    shape: Any
    name: str
    layer: str | None

    @property
    def is_loose(self) -> bool:
        """Whether it is no solid: faces and shells."""
        from OCP.TopAbs import TopAbs_ShapeEnum

        return bool(self.shape.ShapeType() not in (TopAbs_ShapeEnum.TopAbs_SOLID, TopAbs_ShapeEnum.TopAbs_COMPSOLID))


@dataclass(slots=True)
class Contents:
    """A part taken apart.

    Attributes:
        edges, bodies: in the file's order.
        points: how many points lie loose in it.
        hidden: how many shapes of each kind the file hides.
    """

    edges: list[FreeEdge] = field(default_factory=list)
    bodies: list[StepBody] = field(default_factory=list)
    points: int = 0
    hidden: Counter[str] = field(default_factory=Counter)


def take_apart(shape: Any, labels: ShapeLabels | None) -> Contents:
    """Everything a part's shape is made of, each solid, shell and free edge once.

    Args:
        shape: the part's shape in its own frame.
        labels: the file's names and layers for single shapes, or None.
    """
    return _Walk(labels).run(shape)


class _Walk:
    def __init__(self, labels: ShapeLabels | None) -> None:
        self.labels = labels
        self.contents = Contents()
        self.faced: list[Any] = []
        self.faced_layer: str | None = None
        self.groups = 0

    def run(self, shape: Any) -> Contents:
        from OCP.TopAbs import TopAbs_ShapeEnum as Kind

        self.kinds = Kind
        self.visit(shape, 0, "", None)
        contents = self.contents
        if self.faced:
            whole = self.faced[0] if len(self.faced) == 1 else compound(self.faced)
            contents.bodies.append(StepBody(whole, "", self.faced_layer))
        if contents.edges and contents.bodies:
            self._drop_edges_of_faces()
        return contents

    def label(self, shape: Any) -> tuple[str, str | None, bool]:
        return ("", None, False) if self.labels is None else self.labels.of(shape)

    def visit(self, shape: Any, group: int, name: str, layer: str | None) -> None:
        """One shape that hangs on no face; ``group``, ``name`` and ``layer`` come from what it lies in."""
        kind, kinds = shape.ShapeType(), self.kinds
        if kind == kinds.TopAbs_VERTEX:
            self.contents.points += 1
            return
        own, on, hidden = self.label(shape)
        layer = on or layer
        if hidden or (layer is not None and self.labels is not None and layer in self.labels.hidden_layers):
            self.contents.hidden[f"{kind.name.removeprefix('TopAbs_').lower()}"] += 1
            return
        if kind == kinds.TopAbs_EDGE:
            self.contents.edges.append(FreeEdge(shape, group, name, layer))
        elif kind in (kinds.TopAbs_SOLID, kinds.TopAbs_COMPSOLID):
            self.contents.bodies.append(StepBody(shape, own, layer))
        elif kind in (kinds.TopAbs_SHELL, kinds.TopAbs_FACE):
            if not self.faced:
                self.faced_layer = layer
            self.faced.append(shape)
        else:
            self.children(shape, group, own or name, layer)

    def children(self, shape: Any, group: int, name: str, layer: str | None) -> None:
        """What a compound or wire holds. Of several wires or sets, those named apart are groups of their own."""
        from OCP.TopoDS import TopoDS_Iterator

        inside = []
        it = TopoDS_Iterator(shape)
        while it.More():
            inside.append(it.Value())
            it.Next()
        bundles = [s for s in inside if s.ShapeType() in (self.kinds.TopAbs_WIRE, self.kinds.TopAbs_COMPOUND)]
        called = Counter(self.label(s)[0] for s in bundles) if len(bundles) > 1 else Counter()
        for child in inside:
            into, known = group, name
            if called and child.ShapeType() in (self.kinds.TopAbs_WIRE, self.kinds.TopAbs_COMPOUND):
                own = self.label(child)[0]
                if own and called[own] == 1 and len(list(islice(subshapes(child, "EDGE"), 2))) > 1:
                    self.groups += 1
                    into, known = self.groups, own
            self.visit(child, into, known, layer)

    def _drop_edges_of_faces(self) -> None:
        """An edge listed by itself that also bounds a face is an outline, not a centerline."""
        from OCP.TopAbs import TopAbs_ShapeEnum
        from OCP.TopExp import TopExp
        from OCP.TopTools import TopTools_IndexedMapOfShape

        bounding = TopTools_IndexedMapOfShape()
        for body in self.contents.bodies:
            TopExp.MapShapes_s(body.shape, TopAbs_ShapeEnum.TopAbs_EDGE, bounding)
        self.contents.edges = [e for e in self.contents.edges if not bounding.Contains(e.edge)]
