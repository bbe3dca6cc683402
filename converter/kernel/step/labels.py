"""What a STEP file says of single shapes inside its parts: names, layers, what it hides; names that people gave."""

from __future__ import annotations

import re
from typing import Any

from converter.quoting import decoded

#: Names that programs write where nobody named anything.
_PROGRAM_NAME = re.compile(
    r"""(?:
        \s* | none | null | unnamed | untitled | unknown | document | default | noname
      | curves | wireframe
      | (?:shape|solid|compound|compsolid|shell|face|wire|edge|vertex|body|part|product|assembly|component|group|root)
      | (?:trimmed|bounded|composite|poly|b-?spline)?[ _]?(?:curve|line)(?:[ _]?set)?\d*
      | (?:edge|arc|circle|b?spline|point|line[ ]?segment)[ _]?\d*
      | (?:manifold|shell|geometric)[ _].* (?:brep|model|set)
      | open[ ]cascade[ ].*
      | (?:nauo|=>\[|asm|inst(?:ance)?)[\d:.\]\[ _-]*
      | [\d:.\[\]\#_ -]+
    )""",
    re.IGNORECASE | re.VERBOSE,
)
#: Names that programs number or call after what was done last: kept where the file has nothing better.
_DEFAULT_NAME = re.compile(
    r"""(?:body|bodies|solid|surface|shell|face|volume|part|shape|component|object|feature|import(?:ed)?|pad|pocket
      | (?:boss-|cut-)?(?:extrude|extrusion|revolve|revolution|sweep|loft|thicken)|fillet|chamfer|mirror|cut|fusion
      | fuse|union|combine|compound|split|trim|(?:linear|circular)?[ ]?pattern)[ _.:-]?[(\[]?\d+[)\]]?(?:\[\d+\])?""",
    re.IGNORECASE | re.VERBOSE,
)
#: Kinds of entities whose names and layers matter: bodies, sets of curves, whole paths.
_KINDS = (
    "MANIFOLD_SOLID_BREP",
    "BREP_WITH_VOIDS",
    "FACETED_BREP",
    "SHELL_BASED_SURFACE_MODEL",
    "GEOMETRIC_CURVE_SET",
    "GEOMETRIC_SET",
    "EDGE_BASED_WIREFRAME_MODEL",
    "SHELL_BASED_WIREFRAME_MODEL",
    "CONNECTED_EDGE_SET",
    "COMPOSITE_CURVE",
)
#: Kinds that are also the geometry beneath faces; looked at only in files without any.
_CURVES = ("TRIMMED_CURVE", "POLYLINE", "B_SPLINE_CURVE", "B_SPLINE_CURVE_WITH_KNOTS", "CIRCLE", "ELLIPSE")
#: Kind -> an entity of it with a name.
_NAMED = {kind: re.compile(kind.encode("ascii") + rb"\s*+\(\s*+'(?!')") for kind in _KINDS + _CURVES}
_FACES = (b"ADVANCED_FACE", b"FACE_SURFACE")


def name_by_person(name: str | None) -> str:
    """The name, stripped, when a person seems to have given it; '' for none and for a program's own."""
    text = " ".join(decoded(name or "").split())
    return "" if _PROGRAM_NAME.fullmatch(text) else text


def best_name(*names: str | None) -> str:
    """The first of some names that no program made up, else the first there is, else ''."""
    there = [name for name in names if name]
    return next((name for name in there if not _DEFAULT_NAME.fullmatch(name)), there[0] if there else "")


def listed(plain: Any, kind: str) -> Any:
    """All entities whose STEP type has the word in it, as the kernel's sequence (None when there is none)."""
    found = plain.GiveList(f"step-type({kind})", "")
    return None if found is None or found.Length() == 0 else found


def items(sequence: Any) -> list[Any]:
    """The members of one of the kernel's sequences; none for None."""
    return [] if sequence is None else [sequence.Value(i) for i in range(1, sequence.Length() + 1)]


def text(held: Any) -> str:
    """The kernel's string as Python's; '' for none, or for bytes that are no text."""
    try:
        return "" if held is None else str(held.ToCString())
    except UnicodeDecodeError:
        return ""


class Labels:
    """Name, layer and visibility of single shapes.

    The kernel looks shapes up by going through everything, and does not know an entity again that is
    handed back to it. So lists of entities are transferred once more, which costs nothing since they are
    transferred already, and their shapes noted beside them.
    """

    def __init__(self, plain: Any, data: bytes) -> None:
        from OCP.TopTools import TopTools_IndexedMapOfShape

        self.hidden_layers: set[str] = set()
        self._entities: list[Any] = []  # so that no entity's identity is used again
        self._layers: dict[int, str] = {}
        self._hidden: set[int] = set()
        self._shapes = TopTools_IndexedMapOfShape()
        self._labels: dict[int, tuple[str, str | None, bool]] = {}
        # the text is searched first: the kernel goes through all entities for every list it is asked for
        layers = b"PRESENTATION_LAYER_ASSIGNMENT" in data
        hides = b"INVISIBILITY" in data
        if layers or hides:
            self._read_layers(plain)
        kinds = _KINDS if any(kind in data for kind in _FACES) else _KINDS + _CURVES
        for kind in kinds:
            word = kind.encode("ascii")
            if word in data if layers or hides else _NAMED[kind].search(data):
                self._note(plain, kind)

    def _mark(self, entity: Any) -> int:
        self._entities.append(entity)
        return id(entity)

    def _read_layers(self, plain: Any) -> None:
        assignments: dict[int, str] = {}
        for assignment in items(listed(plain, "PRESENTATION_LAYER_ASSIGNMENT")):
            layer = text(assignment.Name())
            assignments[self._mark(assignment)] = layer
            for i in range(1, assignment.NbAssignedItems() + 1):
                item = assignment.AssignedItemsValue(i).Value()
                if item is not None and layer:
                    self._layers.setdefault(self._mark(item), layer)
        for invisibility in items(listed(plain, "INVISIBILITY")):
            for i in range(1, invisibility.NbInvisibleItems() + 1):
                item = invisibility.InvisibleItemsValue(i).Value()
                if id(item) in assignments:
                    self.hidden_layers.add(assignments[id(item)])
                elif item is not None:  # a styled item hides what it styles
                    self._hidden.add(self._mark(item.Item() if hasattr(item, "Item") else item))

    def _note(self, plain: Any, kind: str) -> None:
        sequence = listed(plain, kind)
        if sequence is None:
            return
        said = []
        for entity in items(sequence):
            if not hasattr(entity, "Name"):  # the list is of all kinds that have the word in theirs: no shape
                continue
            name = name_by_person(text(entity.Name()))
            said.append((name, self._layers.get(id(entity)), id(entity) in self._hidden))
        if not any(name or layer or hidden for name, layer, hidden in said):
            return
        plain.TransferList(sequence)
        if plain.NbShapes() != len(said):  # some cannot be made: which shape is whose is not known
            return
        for i, what in enumerate(said, 1):
            self._labels.setdefault(self._shapes.Add(plain.Shape(i)), what)

    def of(self, shape: Any) -> tuple[str, str | None, bool]:
        """(name or '', layer or None, hidden) of a shape as it lies in its part."""
        return self._labels.get(self._shapes.FindIndex(shape), ("", None, False))
