"""Shapes to STEP (ISO 10303-21): an assembly of named, coloured products in their places, in mm or inches.

The kernel keeps its STEP settings for the whole process and talks on standard output; both
are put right here: settings are set for one call and put back, its printers are taken off
for as long. Names travel as short marks and are put into the finished text by us, encoded
as the standard says (``\\X2\\`` for what is not ASCII), which the kernel's own writer does not do.
Nor does it write colours in a given order, but by addresses in memory: they are put into its model here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from itertools import count
from typing import Any, BinaryIO

from converter.dates import file_time
from converter.errors import OptionError, WriteError
from converter.kernel import require
from converter.kernel.session import quiet, settings
from converter.model.bends import Placement
from converter.quoting import quoted

#: Our name of a unit -> the kernel's.
UNITS = {"mm": "MM", "in": "INCH"}
#: The kernel's number for AP214 as ``write.step.schema``.
_AP214 = 4

#: Bytes of text that are worked on at a time, and what a record ends with.
_PART = 1 << 20
_RECORD_END = b";\n"
#: Bytes in which the end of a file stands, with blanks behind it.
_LONGEST_END = 100
_OCCURRENCE = re.compile(rb"(NEXT_ASSEMBLY_USAGE_OCCURRENCE\()\s*'\d+'([^;]*)")
_BREAK = re.compile(rb"\n *")
_MARK = re.compile(rb"elbowroom-mark-(?:\d{6}|root)")

Color = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class StepItem:
    """A product, or one place of a product that stands in several.

    Attributes:
        name: as a person wrote it.
        shape: of the kernel, mm; in place, unless the item is a place of a product.
        color: sRGB, 0..1, or None.
        product: name of the product that this is a place of, or None for a product of its own. Items of one product
            share one shape object.
        place: where the product's own frame stands there: its origin, x (the direction) and z (the normal).
    """

    name: str
    shape: Any
    color: Color | None = None
    product: str | None = None
    place: Placement = field(default_factory=Placement)


def is_read_of_a_place(name: str) -> bool:
    """Whether this kernel, in whatever program, reads a name of a place of a product.

    It takes one without any printable ASCII character for none, and a number for it. Names of products it reads all.
    """
    return any("!" <= character <= "~" for character in name)


def step_text(text: str) -> str:
    """A string as ISO 10303-21 (6.4.3) writes it, without the outer apostrophes.

    Printable ASCII stays, apostrophes and backslashes double, other characters become
    ``\\X2\\....\\X0\\`` (or ``\\X4\\``); control characters, which no reader shows, become spaces.
    """
    out: list[str] = []
    clean = "".join(" " if ord(c) < 32 or 127 <= ord(c) < 160 or c in "\u2028\u2029" else c for c in text)
    clean = clean.encode("utf-8", "replace").decode("utf-8")
    for part in re.findall(r"[ -~]+|[^ -~]+", clean):
        if part.isascii():
            out.append(part.replace("\\", "\\\\").replace("'", "''"))
            continue
        for run in re.findall(r"[\u0000-\uffff]+|[\U00010000-\U0010ffff]+", part):
            width, mark = (4, "X2") if ord(run[0]) < 0x10000 else (8, "X4")
            out.append(f"\\{mark}\\" + "".join(f"{ord(c):0{width}X}" for c in run) + "\\X0\\")
    return "".join(out)


def write_step(
    items: Sequence[StepItem],
    into: BinaryIO,
    *,
    unit: str = "mm",
    title: str = "",
    assembly: bool = True,
) -> None:
    """Write a STEP file by AP214, without its text ever being in memory as a whole.

    Args:
        items: the products, or the places of products, in order; shapes (solids or wires) in mm.
        into: where to.
        unit: 'mm' or 'in'; the file names the unit and its numbers are in it.
        title: name of the file's assembly and of the file in its header.
        assembly: put the products into one assembly called ``title``; else they stand side by side. Places of
            products need one.

    Raises:
        OptionError: an unknown unit.
        WriteError: the kernel could not turn the shapes into STEP.
        MissingLibraryError: the CAD kernel is not installed.
        OptionError: SOURCE_DATE_EPOCH is no date (`converter.dates`).
    """
    if unit not in UNITS:
        raise OptionError(f"STEP is written in mm or in, not {quoted(unit)}.")
    if not items:
        raise WriteError("There is nothing to write to STEP.", code="no-runs")
    require()
    root = "elbowroom-mark-root"
    marks = {root: title}

    def mark(name: str) -> str:
        key = f"elbowroom-mark-{len(marks) - 1:06d}"
        marks[key] = name
        return key

    products = products_of(items)
    document = _document(items, products, mark, root if assembly else None)
    text = _Rewritten(into, marks)
    with quiet(), _settings(unit):
        _step_file(document, products, text)
    text.finish()


class _Rewritten:
    """The kernel's text on its way into a file: names for marks, occurrences numbered from 1.

    The kernel numbers occurrences through the life of the process, and breaks the line by the number's length.
    """

    def __init__(self, into: BinaryIO, marks: Mapping[str, str]) -> None:
        self._into = into
        self._marks = marks
        self._numbers = count(1)
        self._pending = b""
        self._end = b""

    def write(self, data: bytes) -> int:
        """Take a part of the text: what the kernel calls, with all of it at once as a rule."""
        start = 0
        # marks and occurrences stand within a record
        while len(data) - start > _PART and (end := data.rfind(_RECORD_END, start, start + _PART)) >= 0:
            self._pass_on(self._pending + data[start : end + len(_RECORD_END)])
            self._pending, start = b"", end + len(_RECORD_END)
        self._pending += data[start:]
        return len(data)

    def flush(self) -> None:
        """Nothing: what is left is passed on at the end."""

    def finish(self) -> None:
        """Pass on what is left.

        Raises:
            WriteError: it is not the end of a STEP file.
        """
        self._pass_on(self._pending)
        self._pending = b""
        if not self._end.rstrip().endswith(b"END-ISO-10303-21;"):
            raise WriteError("The CAD kernel wrote a STEP file without an end.")

    def _pass_on(self, text: bytes) -> None:
        self._end = (self._end + text)[-_LONGEST_END:]
        text = _OCCURRENCE.sub(self._renumbered, text)
        self._into.write(_MARK.sub(self._named, text))

    def _renumbered(self, occurrence: re.Match[bytes]) -> bytes:
        return b"%s'%d'%s" % (occurrence[1], next(self._numbers), _BREAK.sub(b"", occurrence[2]))

    def _named(self, mark: re.Match[bytes]) -> bytes:
        return step_text(self._marks[mark[0].decode()]).encode("ascii")


def products_of(items: Sequence[StepItem]) -> list[StepItem]:
    """The items that bring a product: of those that are places of one, the first."""
    known: set[int] = set()
    found = []
    for item in items:
        if item.product is None or id(item.shape) not in known:
            found.append(item)
        if item.product is not None:
            known.add(id(item.shape))
    return found


def _document(
    items: Sequence[StepItem], products: Sequence[StepItem], mark: Callable[[str], str], root_mark: str | None
) -> Any:
    """The kernel's document; ``mark`` gives what stands for a name in it."""
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDataStd import TDataStd_Name
    from OCP.TDocStd import TDocStd_Document
    from OCP.TopLoc import TopLoc_Location
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    XCAFDoc_DocumentTool.SetLengthUnit_s(document, 0.001)  # in metres
    root = None
    if root_mark is not None:
        root = shapes.NewShape()
        TDataStd_Name.Set_s(root, TCollection_ExtendedString(root_mark))
    brings = {id(item) for item in products}
    shared: dict[int, Any] = {}
    for item in items:
        name = TCollection_ExtendedString(mark(item.name))
        if id(item) in brings:
            label = shapes.AddShape(item.shape, False)
            own = name if item.product is None else TCollection_ExtendedString(mark(item.product))
            TDataStd_Name.Set_s(label, own)
            shared[id(item.shape)] = label
        if root is not None:
            location = TopLoc_Location() if item.product is None else _location(item.place)
            placed = shapes.AddComponent(root, shared[id(item.shape)], location)
            TDataStd_Name.Set_s(placed, name)
    if root is not None:
        shapes.UpdateAssemblies()
    return document


def _location(place: Placement) -> Any:
    """Where a frame stands, for the kernel."""
    from OCP.TopLoc import TopLoc_Location

    from converter.kernel.shapes import brep

    return TopLoc_Location(brep.to_own_frame(place).Inverted())


def _step_file(document: Any, items: Sequence[StepItem], into: _Rewritten) -> None:
    from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Writer
    from OCP.STEPControl import STEPControl_StepModelType

    writer = STEPCAFControl_Writer()
    writer.SetNameMode(True)
    writer.SetColorMode(False)
    if not writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs):
        raise WriteError("The CAD kernel could not turn the shapes into STEP.")
    _paint(writer, items)
    header = APIHeaderSection_MakeHeader(writer.Writer().Model())
    _fill_header(header)
    status = writer.WriteStream(into)
    if status != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise WriteError(f"The CAD kernel could not write the STEP file (status {status.name}).")


def _paint(writer: Any, items: Sequence[StepItem]) -> None:
    """Give the products their colours, one after the other (ISO 10303-46, styled items)."""
    from OCP.Quantity import Quantity_Color, Quantity_TypeOfColor
    from OCP.STEPConstruct import STEPConstruct_Styles
    from OCP.StepRepr import StepRepr_HArray1OfRepresentationItem
    from OCP.StepVisual import StepVisual_MechanicalDesignGeometricPresentationRepresentation
    from OCP.TCollection import TCollection_HAsciiString

    styles = STEPConstruct_Styles(writer.Writer().WS())
    model = writer.Writer().Model()
    known: dict[Color, Any] = {}
    for item in items:
        if item.color is None:
            continue
        if item.color not in known:
            known[item.color] = styles.EncodeColor_s(
                Quantity_Color(*item.color, Quantity_TypeOfColor.Quantity_TOC_sRGB)
            )
        color = known[item.color]
        styled = styles.AddStyle(item.shape, styles.MakeColorPSA(None, color, color, None, 0.0), None)
        if styled is None:
            raise WriteError(
                f"The CAD kernel did not write the shape of {quoted(item.name)}, so it cannot be coloured."
            )
        members = StepRepr_HArray1OfRepresentationItem(1, 1)
        members.SetValue(1, styled)
        presented = StepVisual_MechanicalDesignGeometricPresentationRepresentation()
        presented.Init(TCollection_HAsciiString(""), members, styles.FindContext(item.shape))
        model.AddWithRefs(presented)


def _fill_header(header: Any) -> None:
    from OCP.TCollection import TCollection_HAsciiString

    from converter import __version__

    text = TCollection_HAsciiString
    header.SetName(text("elbowroom-mark-root"))
    header.SetTimeStamp(text(file_time()))
    header.SetAuthorValue(1, text(""))
    header.SetOrganizationValue(1, text(""))
    header.SetOriginatingSystem(text(f"elbowroom {__version__}"))
    header.SetAuthorisation(text(""))
    header.SetDescriptionValue(1, text("Tubes and their centerlines"))


def _settings(unit: str) -> AbstractContextManager[None]:
    """The kernel's process-wide STEP settings for one call; put back whatever happens."""
    words = {"write.step.unit": UNITS[unit], "xstep.cascade.unit": "MM"}
    numbers = {
        "write.step.schema": _AP214,
        "write.step.assembly": 1,
        "write.surfacecurve.mode": 0,  # curves in parameters are derived data; readers make their own
        "write.precision.mode": 0,
        "write.step.nonmanifold": 0,
        "write.stepcaf.subshapes.name": 0,  # cadquery beside us leaves it on
    }
    return settings(words, numbers, WriteError)
