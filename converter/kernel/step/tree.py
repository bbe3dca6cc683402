"""The product structure of a STEP file: every part as often as it is used, with its names and its place."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from converter.errors import ReadError
from converter.kernel.step.labels import best_name, name_by_person

#: So many placed parts are read from one file; a nest of assemblies can ask for more than any memory holds.
MOST_INSTANCES = 200_000


@dataclass(frozen=True, slots=True)
class Instance:
    """One part in one place.

    Attributes:
        name: what the file calls this very use of it, else the part's name, else ''.
        product: the part's own name, or ''.
        part: number of the part; equal for all instances of one part.
        shape: the part's shape in its own frame, mm.
        location: where it stands (TopLoc_Location), world.
        label: the part's name exactly as the file has it.
    """

    name: str
    product: str
    part: int
    shape: Any
    location: Any
    label: str = ""

    @property
    def is_empty(self) -> bool:
        """Whether its shape holds nothing at all."""
        from OCP.TopoDS import TopoDS_Iterator

        return not TopoDS_Iterator(self.shape).More()

    def scaled(self, scale: float) -> Instance:
        """The same with every length ``scale`` times as long, about the world's origin."""
        from OCP.gp import gp_Pnt, gp_Trsf
        from OCP.TopLoc import TopLoc_Location

        transform = gp_Trsf()
        transform.SetScale(gp_Pnt(0.0, 0.0, 0.0), scale)
        return replace(self, location=TopLoc_Location(transform).Multiplied(self.location))

    @classmethod
    def lone(cls, name: str, shape: Any, part: int) -> Instance:
        """A shape that belongs to no product, as a part of its own."""
        from OCP.TopLoc import TopLoc_Location

        return cls(name_by_person(name), "", part, shape, TopLoc_Location())


def instances(document: Any, file: str) -> list[Instance]:
    """All parts of a document, in order; assemblies are followed down to their parts.

    Raises:
        ReadError: there are more of them than can be read.
    """
    from OCP.TDF import TDF_LabelSequence
    from OCP.TopLoc import TopLoc_Location
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    free = TDF_LabelSequence()
    tool.GetFreeShapes(free)
    nodes = _Nodes()
    found: list[Instance] = []
    roots = [nodes.of(free.Value(i)) for i in range(1, free.Length() + 1)]
    # (node, location, name of this use), the next one last
    todo = [(node, TopLoc_Location(), "") for node in reversed(roots)]
    while todo:
        node, location, used_as = todo.pop()
        if node.children:
            for child, place, name in reversed(node.children):
                todo.append((child, location.Multiplied(place), name))
        elif node.shape is not None:
            found.append(
                Instance(best_name(used_as, node.name), node.name, node.number, node.shape, location, node.label)
            )
        if len(found) + len(todo) > 2 * MOST_INSTANCES or len(found) > MOST_INSTANCES:
            raise too_many_parts(file)
    return found


def too_many_parts(file: str) -> ReadError:
    """The sentence for a file that places more parts than can be read."""
    return ReadError(
        f"{file} places more than {MOST_INSTANCES:,} parts: export the assembly's tubes alone.",
        code="too-many-parts",
        file=file,
    )


@dataclass(slots=True)
class _Node:
    """One product: its name, where a person gave it one and as the file has it; its shape, or its components.

    Each component is a node, a location, and the name of the use.
    """

    number: int
    name: str
    label: str
    shape: Any = None
    children: list[tuple[_Node, Any, str]] | None = None


class _Nodes:
    """Products by label, each looked at once however often it is used."""

    def __init__(self) -> None:
        self.by_entry: dict[str, _Node] = {}

    def of(self, label: Any) -> _Node:
        """The product of a label, with everything below it (assemblies nest far less deep than Python recurses)."""
        from OCP.TCollection import TCollection_AsciiString
        from OCP.TDF import TDF_Label, TDF_LabelSequence, TDF_Tool
        from OCP.XCAFDoc import XCAFDoc_ShapeTool

        path = TCollection_AsciiString()
        TDF_Tool.Entry_s(label, path)
        entry = path.ToCString()
        known = self.by_entry.get(entry)
        if known is not None:
            return known
        called = _label_name(label)
        node = self.by_entry[entry] = _Node(len(self.by_entry), name_by_person(called), called)
        if not XCAFDoc_ShapeTool.IsAssembly_s(label):
            shape = XCAFDoc_ShapeTool.GetShape_s(label)
            node.shape = None if shape is None or shape.IsNull() else shape
            return node
        components = TDF_LabelSequence()
        XCAFDoc_ShapeTool.GetComponents_s(label, components)
        node.children = []
        for i in range(1, components.Length() + 1):
            component = components.Value(i)
            referred = TDF_Label()
            if XCAFDoc_ShapeTool.GetReferredShape_s(component, referred):
                name = name_by_person(_label_name(component))
                node.children.append((self.of(referred), XCAFDoc_ShapeTool.GetLocation_s(component), name))
        return node


def _label_name(label: Any) -> str:
    from OCP.TDataStd import TDataStd_Name

    name = TDataStd_Name()
    return str(name.Get().ToExtString()) if label.FindAttribute(TDataStd_Name.GetID_s(), name) else ""
