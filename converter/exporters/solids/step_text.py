"""Tubes as drawn to STEP (ISO 10303-214), without the CAD kernel: solids whose boundary is written down are text.

The file is the one that `converter.kernel.step.write` has the kernel write of the same solids: same records in the same
order with the same numbers. Only the header names the program that wrote it. Of a file nothing is held but where the
products stand, however many they are.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from struct import pack, unpack
from typing import Any, BinaryIO

from converter.dates import file_time
from converter.errors import WriteError
from converter.geometry.vectors import Vec, cross, sub
from converter.kernel.shapes.maker import TOLERANCE
from converter.kernel.shapes.solids import made_solid
from converter.kernel.step.solid_text import SolidWriter, listed, located_text, real, wrapped
from converter.kernel.step.write import Color, StepItem, products_of, step_text
from converter.model.bends import Placement
from converter.model.metal import TubeMetal
from converter.model.run import Run
from converter.model.section import Section
from converter.processes.parallel import numbered
from converter.progress import steps

#: mm of the file's unit of length.
_UNITS = {"mm": 1.0, "in": 25.4}
#: Records of the frame that numbers are reckoned by: before the first place, of a place, of a product without its solid
#: and its context, of an occurrence; of a context by the unit.
_HEAD, _PLACE, _PRODUCT, _OCCURRENCE = 14, 4, 9, 5
_CONTEXT = {"mm": 5, "in": 8}
#: From so many tubes on several processes pay: a solid takes 2 ms to write, a fork 10.
LEAST = 200
#: What stands for a name where lines are broken: the kernel's writer breaks them before names are put in.
_MARK = "'" + 21 * "." + "'"
#: What of a record stays on one line: what begins it, a text, a bracket or comma, a word or number.
_UNBROKEN = re.compile(r"#\d+ = (?:\( )?|'[^']*'|\(|\)[ ;]?|,|[^(),']+")


@dataclass(frozen=True, slots=True)
class DrawnSolid:
    """What the solid of a tube is made from.

    Attributes:
        section: of any shape.
        metal: the run and the section through `converter.model.metal.metal`; where the solid is to stand.
    """

    section: Section
    metal: TubeMetal


@dataclass(frozen=True, slots=True)
class _ProductNumbers:
    """A product of the file: numbers of its definition, shape representation, solid, context, and the next."""

    definition: int
    shape: int
    solid: int
    context: int
    after: int


def write_drawn(
    items: Sequence[StepItem],
    into: BinaryIO,
    *,
    unit: str = "mm",
    title: str = "",
    assembly: bool = True,
    least: int = LEAST,
) -> None:
    """Write a STEP file of tubes as drawn.

    Args:
        items: as of `converter.kernel.step.write.write_step`; each ``shape`` is a `DrawnSolid`.
        into: where to.
        unit: 'mm' or 'in'.
        title: name of the file's assembly and of the file in its header.
        assembly: put the products into one assembly; else there is one item.
        least: from so many items on several processes work on it, where they may (`converter.processes.parallel`).

    Raises:
        WriteError: there is nothing to write.
        OptionError: SOURCE_DATE_EPOCH is no date (`converter.dates`).
    """
    if not items:
        raise WriteError("There is nothing to write to STEP.", code="no-runs")
    for text in _DrawnFile(items, unit, title, assembly).texts(least):
        into.write(text.encode("ascii"))


class _DrawnFile:
    def __init__(self, items: Sequence[StepItem], unit: str, title: str, assembly: bool) -> None:
        self._items = items
        self._unit = unit
        self._title = f"'{step_text(title)}'"
        self._assembly = assembly
        self._products = products_of(items)
        self._brings = {id(item) for item in self._products}

    def texts(self, least: int) -> Iterator[str]:
        """The file in parts; from so many items on by several processes."""
        yield self._header()
        head, n = self._head()
        yield head
        known: dict[int, _ProductNumbers] = {}
        places = range(len(self._items))
        for number, (text, product) in zip(
            steps(places, "solids written"),
            numbered(places, self._solid_of, self._text_of, first=n, least=least),
            strict=True,
        ):
            item = self._items[number]
            if product is None:
                own, n = self._occurrence(n, number, item.name, known[id(item.shape)])
                yield own
            else:
                known[id(item.shape)], n = product, product.after
                yield text
        yield from self._colors(n, known)
        yield "ENDSEC;\nEND-ISO-10303-21;\n"

    def _solid_of(self, place: int) -> tuple[Any, int]:
        """The solid of an item that brings a product, None of another; and how many records the item takes."""
        item = self._items[place]
        if id(item) not in self._brings:
            return (place, None), _OCCURRENCE
        writer = SolidWriter(_UNITS[self._unit])
        solid = made_solid(writer, item.shape.section, item.shape.metal)
        frame = _PRODUCT + _CONTEXT[self._unit] + (_OCCURRENCE if self._assembly else _PLACE)
        return (place, (writer, solid)), frame + writer.count(solid)

    def _text_of(self, begun: Any, n: int) -> tuple[str, _ProductNumbers | None]:
        """The records of an item that brings a product, from number ``n`` on; of another it is known elsewhere."""
        place, made = begun
        if made is None:
            return "", None
        item = self._items[place]
        text, category, product = self._product(n, item, *made)
        n = product.after
        if self._assembly:
            occurrence, n = self._occurrence(n, place, item.name, product)
            text += occurrence
        return f"{text}#{n} = {category}", replace(product, after=n + 1)

    def _header(self) -> str:
        from converter import __version__

        program = f"'elbowroom {__version__}'"
        name = ["FILE_NAME", "("]
        for one in ("'" + 19 * "." + "'", f"'{file_time()}'", "('')", "('')", program, program):
            name += (one, ",")
        lines = wrapped([*name, "''", ");"]).replace("'" + 19 * "." + "'", self._title, 1)
        return (
            "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION(('Tubes and their centerlines'),'2;1');\n"
            f"{lines}FILE_SCHEMA(('AUTOMOTIVE_DESIGN {{ 1 0 10303 214 1 1 1 1 }}'));\nENDSEC;\nDATA;\n"
        )

    def _head(self) -> tuple[str, int]:
        """What there is once: the protocol, and the assembly with all its places; and the number after it."""
        text = (
            "#1 = APPLICATION_PROTOCOL_DEFINITION('international standard',\n  'automotive_design',2000,#2);\n"
            "#2 = APPLICATION_CONTEXT(\n  'core data for automotive mechanical design processes');\n"
        )
        if not self._assembly:
            return text, 3
        places = [_HEAD + 1 + _PLACE * i for i in range(len(self._items))]
        context = _HEAD + 1 + _PLACE * len(places)
        text += self._definition(3, self._title)
        text += listed(10, "SHAPE_REPRESENTATION", ("''",), [f"#{n}" for n in (11, *places)], (f"#{context}",))
        text += self._place(11, Placement())
        for number, item in zip(places, self._items, strict=True):
            text += self._place(number, Placement() if item.product is None else item.place)
        n = context + _CONTEXT[self._unit]
        return f"{text}{self._context(context, TOLERANCE)}#{n} = {_category(7)}", n + 1

    def _place(self, number: int, place: Placement) -> str:
        size = _UNITS[self._unit]
        x, y, z = place.start
        point = (x / size, y / size, z / size)
        return located_text(number, point, place.normal, place.direction)

    def _definition(self, n: int, name: str) -> str:
        """A product as far as its shape representation, which has the number after it; ``name`` as a string."""
        breaks = _record(f"#{n + 4} = PRODUCT({_MARK},{_MARK},'',(#{n + 5}));")
        if n == 3:  # the mark of the assembly is shorter
            breaks = f"#{n + 4} = PRODUCT({_MARK},{_MARK},'',(#{n + 5}));\n"
        return (
            f"#{n} = SHAPE_DEFINITION_REPRESENTATION(#{n + 1},#{n + 7});\n"
            f"#{n + 1} = PRODUCT_DEFINITION_SHAPE('','',#{n + 2});\n"
            f"#{n + 2} = PRODUCT_DEFINITION('design','',#{n + 3},#{n + 6});\n"
            f"#{n + 3} = PRODUCT_DEFINITION_FORMATION('','',#{n + 4});\n{breaks.replace(_MARK, name)}"
            f"#{n + 5} = PRODUCT_CONTEXT('',#2,'mechanical');\n"
            f"#{n + 6} = PRODUCT_DEFINITION_CONTEXT('part definition',#2,'design');\n"
        )

    def _product(self, n: int, item: StepItem, writer: SolidWriter, made: Any) -> tuple[str, str, _ProductNumbers]:
        """The records of a product up to its category, and that one, which follows its first occurrence."""
        name = item.name if item.product is None else item.product
        text = self._definition(n, f"'{step_text(name)}'")
        shape = n + 7
        solid = shape + 1
        origin = ""
        if not self._assembly:
            origin = self._place(solid, Placement())
            solid += _PLACE
        records, context, within = writer.text(made, solid)
        text += _record(f"#{shape} = ADVANCED_BREP_SHAPE_REPRESENTATION('',(#11,#{solid}),#{context});")
        text += origin + records + self._context(context, within)
        after = context + _CONTEXT[self._unit]
        return text, _category(n + 4), _ProductNumbers(n + 2, shape, solid, context, after)

    def _context(self, n: int, within: float) -> str:
        """What lengths and angles are measured in, and within how many mm points are the same."""
        inches = self._unit == "in"
        angle = n + 5 if inches else n + 2
        text = _record(
            f"#{n} = ( GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((#{angle + 2})) "
            f"GLOBAL_UNIT_ASSIGNED_CONTEXT((#{n + 1},#{angle},#{angle + 1})) "
            "REPRESENTATION_CONTEXT('Context #1','3D Context with UNIT and UNCERTAINTY') );"
        )
        metre = "( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) );\n"
        if inches:
            text += _record(
                f"#{n + 1} = ( CONVERSION_BASED_UNIT('INCH',#{n + 3}) LENGTH_UNIT() NAMED_UNIT(#{n + 2}) );"
            )
            text += f"#{n + 2} = DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.);\n"
            text += f"#{n + 3} = LENGTH_MEASURE_WITH_UNIT(25.4,#{n + 4});\n#{n + 4} = {metre}"
        else:
            text += f"#{n + 1} = {metre}"
        text += f"#{angle} = ( NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.) );\n"
        text += f"#{angle + 1} = ( NAMED_UNIT(*) SI_UNIT($,.STERADIAN.) SOLID_ANGLE_UNIT() );\n"
        measure = f"LENGTH_MEASURE({real(within / _UNITS[self._unit])})"
        return text + _record(
            f"#{angle + 2} = UNCERTAINTY_MEASURE_WITH_UNIT({measure},#{n + 1},"
            "'distance_accuracy_value','confusion accuracy');"
        )

    def _occurrence(self, n: int, number: int, name: str, known: _ProductNumbers) -> tuple[str, int]:
        """That a product stands in a place of the assembly; and the number after it."""
        related = _record(
            f"#{n + 1} = ( REPRESENTATION_RELATIONSHIP('','',#{known.shape},#10) "
            f"REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION(#{n + 2}) SHAPE_REPRESENTATION_RELATIONSHIP() );"
        )
        return (
            f"#{n} = CONTEXT_DEPENDENT_SHAPE_REPRESENTATION(#{n + 1},#{n + 3});\n{related}"
            f"#{n + 2} = ITEM_DEFINED_TRANSFORMATION('','',#11,#{_HEAD + 1 + _PLACE * number});\n"
            + _record(f"#{n + 3} = PRODUCT_DEFINITION_SHAPE('Placement','Placement of an item',#{n + 4});")
            + f"#{n + 4} = NEXT_ASSEMBLY_USAGE_OCCURRENCE('{number + 1}','{step_text(name)}','',#5,"
            f"#{known.definition},$);\n"
        ), n + _OCCURRENCE

    def _colors(self, n: int, known: dict[int, _ProductNumbers]) -> Iterator[str]:
        """Every product's colour (ISO 10303-46, styled items)."""
        colors: dict[Color, int] = {}
        for item in self._products:
            if item.color is None:
                continue
            product = known[id(item.shape)]
            new = item.color not in colors
            color = colors.setdefault(item.color, n + 8)
            curve = n + 9 if new else n + 8
            text = listed(
                n,
                "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION",
                ("''",),
                (f"#{n + 1}",),
                (f"#{product.context}",),
            )
            text += (
                f"#{n + 1} = STYLED_ITEM('color',(#{n + 2}),#{product.solid});\n"
                f"#{n + 2} = PRESENTATION_STYLE_ASSIGNMENT((#{n + 3},#{curve}));\n"
                f"#{n + 3} = SURFACE_STYLE_USAGE(.BOTH.,#{n + 4});\n#{n + 4} = SURFACE_SIDE_STYLE('',(#{n + 5}));\n"
                f"#{n + 5} = SURFACE_STYLE_FILL_AREA(#{n + 6});\n#{n + 6} = FILL_AREA_STYLE('',(#{n + 7}));\n"
                f"#{n + 7} = FILL_AREA_STYLE_COLOUR('',#{color});\n"
            )
            if new:
                text += f"#{color} = COLOUR_RGB('',{','.join(_shade(value) for value in item.color)});\n"
            width = "POSITIVE_LENGTH_MEASURE(0.1)"
            text += _record(f"#{curve} = CURVE_STYLE('',#{curve + 1},{width},#{color});")
            yield text + f"#{curve + 1} = DRAUGHTING_PRE_DEFINED_CURVE_FONT('continuous');\n"
            n = curve + 2


def _record(text: str) -> str:
    """A record in lines, broken where the kernel's writer breaks them."""
    return wrapped(_UNBROKEN.findall(text))


def _category(product: int) -> str:
    return f"PRODUCT_RELATED_PRODUCT_CATEGORY('part',$,(#{product}));\n"


def _shade(value: float) -> str:
    """A part of a colour, sRGB (IEC 61966-2-1), as the kernel has it: it keeps it as light, in single precision."""
    light = value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
    (light,) = unpack("f", pack("f", light))
    return real(light * 12.92 if light <= 0.0031308 else 1.055 * light ** (1.0 / 2.4) - 0.055)


def in_frame(run: Run, frame: Placement) -> Run:
    """A run as seen from a frame: moved so that the frame comes to lie in the origin, its direction x, its normal z."""
    place = run.placement
    x, z = frame.direction, frame.normal
    y = cross(z, x)

    def components(vector: Vec) -> Vec:
        a, b, c = (sum(p * q for p, q in zip(axis, vector, strict=True)) for axis in (x, y, z))
        return a, b, c

    away = sub(place.start, frame.start)
    return replace(run, placement=Placement(components(away), components(place.direction), components(place.normal)))
