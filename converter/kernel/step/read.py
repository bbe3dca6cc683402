"""STEP (ISO 10303-21) to the kernel's shapes: products, instances, names, layers, colours and units.

The kernel keeps its STEP settings for the whole process and talks on standard output; both
are put right for the length of a call. Every status the kernel gives is checked.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, field
from typing import Any

from converter.errors import ReadError
from converter.kernel import require
from converter.kernel.session import damaged, quiet, settings, shielded
from converter.kernel.step.labels import Labels, text
from converter.kernel.step.outside import PartFile, part_files, without_file_names
from converter.kernel.step.tree import Instance, instances
from converter.kernel.step.units import Unit, unit_of, units_of_contexts
from converter.quoting import LONGEST_REASON, shortened

#: The kernel's settings that decide what is read, as a program expects them that never touched them.
_WORDS = {
    "xstep.cascade.unit": "MM",
    "read.step.codepage": "UTF8",
    "read.step.product.mode": "ON",
    "read.step.product.context": "all",
    "read.step.shape.repr": "All",
    "read.step.assembly.level": "all",
    "read.step.shape.relationship": "ON",
    "read.step.shape.aspect": "ON",
    "read.step.constructivegeom.relationship": "OFF",
}
_NUMBERS = {"read.step.nonmanifold": 0, "read.precision.mode": 0, "read.surfacecurve.mode": 0}


@dataclass(slots=True)
class StepContent:
    """What a STEP file holds.

    Attributes:
        instances: every part as often as it is used, in the file's order, placed in the world, in mm.
        labels: the names and layers that single shapes inside a part carry.
        loose: whether the shapes hang on no product.
    """

    instances: list[Instance] = field(default_factory=list)
    labels: Labels | None = None
    loose: bool = False


@dataclass(slots=True)
class StepSession:
    """A STEP file that the kernel has loaded but not yet turned into shapes.

    Attributes:
        units: the length units its shapes are in, each once, in the file's order: (what the file calls it,
            our name of it or None, mm per unit).
        unitless: whether some shape has no length unit (the kernel takes millimetres).
        broken: what is malformed in it, in a few words; '' when nothing is. Such a file may crash the kernel
            when it is transferred.
        serious: whether that can touch a shape.
        nameless: whether all that is malformed are texts that are not set, such as a transformation's name.
        files: products whose shape lies in another file; none of those was opened.
    """

    reader: Any
    name: str
    data: bytes
    units: list[Unit]
    unitless: bool
    broken: str
    serious: bool
    nameless: bool
    files: list[PartFile]

    def transfer(self, scale: float = 1.0) -> StepContent:
        """Turn all of it into shapes, every length ``scale`` times what the file says.

        Raises:
            ReadError: the kernel fails, or there is no shape.
        """
        with shielded(self.name), quiet(), settings(_WORDS, _NUMBERS, ReadError):
            if self.units:
                return self._transfer(scale)
            # shapes without a unit are not converted by the kernel: they are placed at that size
            content = self._transfer(1.0)
            if scale != 1.0:
                content.instances = [instance.scaled(scale) for instance in content.instances]
            return content

    def _transfer(self, scale: float) -> StepContent:
        from OCP.TCollection import TCollection_ExtendedString
        from OCP.TDocStd import TDocStd_Document
        from OCP.XCAFDoc import XCAFDoc_DocumentTool

        document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
        XCAFDoc_DocumentTool.SetLengthUnit_s(document, 0.001 / scale)  # the unit shapes come in, in metres
        content = StepContent()
        plain = self.reader.ChangeReader()
        if self.reader.NbRootsForTransfer() > 0 and self.reader.Transfer(document):
            content.instances = instances(document, self.name)
        if not content.instances:
            content.instances = self._orphans(plain, scale)
            content.loose = True
        if not content.instances:
            raise ReadError(
                f"{self.name} holds no shape that can be read: export the sketch or the solids themselves, not only "
                "the assembly's structure.",
                code="no-geometry",
                file=self.name,
            )
        content.labels = Labels(plain, self.data)
        return content

    def _orphans(self, plain: Any, scale: float) -> list[Instance]:
        """Shapes that hang on no product: every representation by itself."""
        from OCP.StepShape import StepShape_ShapeRepresentation

        model = plain.Model()
        plain.SetSystemLengthUnit(1.0 / scale)
        found = []
        for i in range(1, model.NbEntities() + 1):
            entity = model.Value(i)
            if isinstance(entity, StepShape_ShapeRepresentation):
                before = plain.NbShapes()
                if plain.TransferOne(i) and plain.NbShapes() > before:
                    found.append((text(entity.Name()), plain.Shape(plain.NbShapes())))
        return [Instance.lone(name, shape, -1 - i) for i, (name, shape) in enumerate(found)]


def load_step(data: bytes, name: str) -> StepSession:
    """A STEP file's text, loaded by the kernel.

    Args:
        data: the file.
        name: what messages call it.

    Raises:
        ReadError: the kernel cannot read it.
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPCAFControl import STEPCAFControl_Reader

    with shielded(name), quiet(), settings(_WORDS, _NUMBERS, ReadError):
        reader = STEPCAFControl_Reader()
        reader.SetNameMode(True)
        reader.SetColorMode(False)
        reader.SetLayerMode(False)  # layers are read by Labels, also those of single curves
        for unwanted in (
            reader.SetPropsMode,
            reader.SetGDTMode,
            reader.SetMatMode,
            reader.SetViewMode,
            reader.SetMetaMode,
        ):
            unwanted(False)
        data, names = without_file_names(with_names_set(data))
        status = reader.ReadStream("drawing", io.BytesIO(data))
        if status != IFSelect_ReturnStatus.IFSelect_RetDone:
            raise damaged(name, f"status {status.name.removeprefix('IFSelect_Ret').lower()}")
        _set_repairs(reader)
        if reader.ChangeReader().Model() is None or reader.ChangeReader().Model().NbEntities() == 0:
            raise ReadError(f"{name} holds no shape: its data section is empty.", code="no-geometry", file=name)
        units, unitless = _units(reader.ChangeReader(), data)
        files = part_files(reader.ChangeReader().WS(), names)
        if files is None:
            raise ReadError(
                f"{name} names other files in a way that is not known, so it is not read: export it with its parts in "
                "one file.",
                code="part-missing",
                file=name,
            )
        return StepSession(reader, name, data, units, unitless, *_broken(reader.ChangeReader()), files)


def _set_repairs(reader: Any) -> None:
    """The kernel's usual repairs, without one that nothing here needs; loading a file would set them back."""
    from OCP.DE import DE_ShapeFixParameters
    from OCP.Resource import Resource_DataMapOfAsciiStringAsciiString
    from OCP.TCollection import TCollection_AsciiString

    reader.SetShapeFixParameters(DE_ShapeFixParameters(), Resource_DataMapOfAsciiStringAsciiString())
    repairs = Resource_DataMapOfAsciiStringAsciiString()
    repairs.Assign(reader.GetShapeFixParameters())
    # the curves in parameters, which this would bring in step with the edges, are not used here
    same = TCollection_AsciiString("FixShape.FixSameParameterMode")
    repairs.UnBind(same)
    repairs.Bind(same, TCollection_AsciiString("0"))
    reader.SetShapeFixParameters(repairs)


def _units(plain: Any, data: bytes) -> tuple[list[Unit], bool]:
    from OCP.TColStd import TColStd_SequenceOfAsciiString

    lengths, angles, solid_angles = (TColStd_SequenceOfAsciiString() for _ in range(3))
    plain.FileUnits(lengths, angles, solid_angles)
    if lengths.IsEmpty():
        return units_of_contexts(data)
    called = list(dict.fromkeys(lengths.Value(i).ToCString() for i in range(1, lengths.Length() + 1)))
    units: list[Unit] = []
    for word in called:
        if word:
            ours, factor = unit_of(word, data)
            if not any(ours is not None and ours == other for _, other, _ in units):
                units.append((word, ours, factor))
    return units, "" in called


#: Entities between shapes whose names some programs leave unset; nothing is made of those names.
_UNSET_NAMES = tuple(
    # a word at the start is found soonest; what stands before it is looked at afterwards
    re.compile(rb"(%s(?:%s)\s*+\(\s*+)\$(?=\s*+,)" % (word, b"|".join(rb"(?<=\b%s)" % whole for whole in wholes)))
    for word, *wholes in (
        (b"ITEM_DEFINED_TRANSFORMATION", b"ITEM_DEFINED_TRANSFORMATION"),
        (b"REPRESENTATION_RELATIONSHIP", b"REPRESENTATION_RELATIONSHIP", b"SHAPE_REPRESENTATION_RELATIONSHIP"),
    )
)


def with_names_set(data: bytes) -> bytes:
    """The file's text with names of transformations and relationships that are not set as empty ones.

    Otherwise the kernel takes each for damage, and the file is read twice.
    """
    for unset in _UNSET_NAMES:
        data = unset.sub(rb"\1''", data)
    return data


#: What the kernel says of a text that is not set.
_UNSET_TEXT = "not a quoted String"


def _broken(plain: Any) -> tuple[str, bool, bool]:
    """What the kernel found wrong while loading.

    Returns:
        How many entities and the first one's fault; whether it is serious; whether all of it are texts not set.
    """
    checks = plain.WS().ModelCheckList(False)
    if checks.IsEmpty(True):
        return "", False, False
    count, first, serious, nameless = 0, "", False, True
    checks.Start()
    while checks.More():
        check = checks.Value()
        faults = [text(check.Fail(k)) for k in range(1, check.NbFails() + 1)]
        if faults:
            count += 1
            package, _, kind = type(check.Entity()).__name__.partition("_")
            unset = all(fault.endswith(_UNSET_TEXT) for fault in faults)
            nameless = nameless and unset
            # a fault of no entity is text that cannot be understood, or a reference to nothing
            serious = serious or check.Entity() is None or (package in ("StepGeom", "StepShape") and not unset)
            said = shortened(faults[0], LONGEST_REASON)
            first = first or (f"{kind}: {said}" if kind else said)
        checks.Next()
    return f"{count} entit{'y' if count == 1 else 'ies'}, first {first}", serious, nameless
