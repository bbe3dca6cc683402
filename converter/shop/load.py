"""Shop files: TOML in, a checked `Shop` out. docs/shop-file.md describes every key."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import cache
from importlib import resources
from typing import Any

from converter.errors import GeometryError
from converter.findings import Finding
from converter.model.section import SHAPES
from converter.nesting.model import Saw
from converter.shop.consistency import check_metals, check_shop
from converter.shop.model import (
    KEEP,
    KERF,
    TURN_WITHIN,
    Allowed,
    Box,
    Cutting,
    Die,
    HoleSaw,
    Machine,
    Metal,
    Price,
    Rates,
    Shop,
    Stick,
    Trial,
)
from converter.shop.pipe import OUTSIDE, nominal
from converter.shop.schema import (
    LEAST_STEP,
    Field,
    ListOfTables,
    OneTable,
    Place,
    choice,
    file_unit,
    flag,
    length,
    length_or_zero,
    number,
    number_or_zero,
    pipe_size,
    read_table,
    ring_step,
    section,
    show,
    signed_length,
    text,
    three_signed_lengths,
    two_lengths,
)
from converter.shop.stock import STOCK
from converter.shop.toml import parse_toml, read_toml
from converter.tolerances import MOST_MITRE
from converter.units import KG_PER_LB, MM_PER, Display

#: Degrees: less than a full turn, as in the bend table.
_ANGLE = number(0.0, 359.0, "an angle in degrees")
_STRENGTH = number(0.0, 10_000.0, "a strength in MPa (1 ksi is 6.895 MPa)")

#: Shapes by the key of a die's size, and how each is read; pipe is round of a nominal size.
_GROOVES = {shape.die_key: shape for shape in SHAPES.values() if shape.die_key is not None}
_SIZES = {"od": Field(length), "pipe": Field(pipe_size)} | {
    key: Field(length if shape.die_sizes == 1 else two_lengths) for key, shape in _GROOVES.items()
}
DIE = {
    "name": Field(text, required=True),
    **_SIZES,
    "clr": Field(length, required=True, todo="write clr = and the radius that the die bends the tube's centerline to"),
    "max_angle": Field(_ANGLE),
    "clamp": Field(length_or_zero),
    "between": Field(length_or_zero),
    "tail": Field(length_or_zero, default=0.0),
    "mark_offset": Field(signed_length),
    "invert_clamp": Field(flag, default=False),
    "mandrel": Field(flag, default=False),
    "max_wall_factor": Field(number(2.0)),
    "min_d_of_bend": Field(number(0.5)),
}
BOX = {
    "name": Field(text),
    "low": Field(three_signed_lengths, required=True),
    "high": Field(three_signed_lengths, required=True),
}
MACHINE = {
    "name": Field(text, default=""),
    "max_angle": Field(_ANGLE),
    "plane": Field(choice("vertical", "horizontal")),
    "pivot_height": Field(length),
    "ceiling": Field(length),
    "wall_ahead": Field(length),
    "wall_behind": Field(length),
    "wall_left": Field(length),
    "wall_right": Field(length),
    "swings": Field(choice("ahead", "behind"), default="ahead"),
    "bends_to": Field(choice("up", "down", "left", "right")),
    "box": Field(ListOfTables(BOX), default=()),
    "max_length": Field(length),
    "proven_section": Field(section),
    "proven_metal": Field(text),
    "stop_step": Field(number(LEAST_STEP, 15.0, "an angle in degrees")),
    "turn_step": Field(ring_step),
    "turn_within": Field(number(0.0, 15.0, "an angle in degrees"), default=TURN_WITHIN),
}
METAL = {
    "name": Field(text, required=True),
    "yield_mpa": Field(_STRENGTH),
    "tensile_mpa": Field(_STRENGTH),
    "modulus_gpa": Field(number(0.0, 1_000.0, "a modulus in GPa (1 Msi is 6.895 GPa)")),
    # lithium, the lightest metal, has 534
    "density": Field(number(500.0, 30_000.0, "a density in kg/m3 (steel has 7850)")),
    "elongation": Field(number(0.0, 100.0)),
    "standard": Field(text, default=""),
}
TEST = {
    "die": Field(text, required=True),
    "metal": Field(text),
    "wall": Field(length),
    "stop": Field(_ANGLE, required=True),
    "angle": Field(_ANGLE, required=True),
    "length": Field(length),
}
HOLE_SAW = {
    "size": Field(length, required=True),
    "depth": Field(length),
}
SAW = {
    "kerf": Field(length_or_zero),
    "trim": Field(length_or_zero, default=0.0),
    "grip": Field(length_or_zero, default=0.0),
    "keep": Field(length, default=KEEP),
    "mitre": Field(number(0.0, MOST_MITRE, "an angle in degrees"), default=0.0),
}
RATES = {
    "currency": Field(text, default=""),
    "hour": Field(number_or_zero),
    "minutes_per_tube": Field(number_or_zero),
    "minutes_per_cut": Field(number_or_zero),
    "minutes_per_cope": Field(number_or_zero),
    "minutes_per_bend": Field(number_or_zero),
    "minutes_per_metre_of_weld": Field(number_or_zero),
    "minutes_per_foot_of_weld": Field(number_or_zero),
}
_PER = {"per_metre": 1.0 / MM_PER["m"], "per_foot": 1.0 / MM_PER["ft"], "per_kg": 1.0, "per_lb": 1.0 / KG_PER_LB}
PRICE = {"section": Field(section), "metal": Field(text)} | {key: Field(number()) for key in _PER}
TOLERANCE = {
    "length": Field(length),
    "angle": Field(number(0.0, 90.0, "an angle in degrees")),
}
SHOP = {
    "units": Field(lambda raw, place: raw),
    "shop": Field(
        OneTable({"name": Field(text, required=True)}),
        required=True,
        todo="write a table [shop] with a name; `elbowroom shop new FILE` writes a whole file to begin with",
    ),
    "machine": Field(OneTable(MACHINE)),
    "die": Field(ListOfTables(DIE), default=()),
    "metal": Field(ListOfTables(METAL), default=()),
    "stock": Field(ListOfTables(STOCK), default=()),
    "test": Field(ListOfTables(TEST), default=()),
    "hole_saw": Field(ListOfTables(HOLE_SAW), default=()),
    "rates": Field(OneTable(RATES)),
    "price": Field(ListOfTables(PRICE), default=()),
    "saw": Field(OneTable(SAW)),
    "tolerance": Field(OneTable(TOLERANCE)),
}


def load_shop(path: str | os.PathLike[str]) -> Shop:
    """The shop that a file describes.

    Raises:
        ReadError: the file cannot be read.
        ShopError: it is not TOML (line and column are said) or a key is wrong (its path is said).
    """
    return _shop(read_toml(path, "shop file"), os.fspath(path), os.fspath(path))


def shop_from_text(content: str, name: str = "shop file") -> Shop:
    """The shop that TOML text describes; ``name`` stands for the file in messages."""
    return _shop(parse_toml(content, name, "shop file"), name, name)


def demo_shop() -> Shop:
    """The invented demo shop that serves when no other is named."""
    return _shop(parse_toml(demo_text(), "demo.toml", "shop file"), "demo.toml", "")


def demo_text() -> str:
    """The demo shop file as shipped."""
    return resources.files("converter.shop").joinpath("demo.toml").read_text(encoding="utf-8")


def new_shop_text() -> str:
    """A commented shop file to start from; it loads as it stands."""
    return resources.files("converter.shop").joinpath("new.toml").read_text(encoding="utf-8")


def example_doubts(shop: Shop, matters: Callable[[str], bool] = bool) -> list[Finding]:
    """A finding on the dies of a shop file that stand as `new_shop_text` wrote them; none where none does.

    Args:
        shop: of the file.
        matters: whether a die of that name is told.
    """
    text = "" if shop.is_demo else new_shop_text()
    named = [die for die in shop.dies if f'"{die.name}"' in text]  # to read all of the text takes longer
    names = tuple(die.name for die in named if die in _example_dies() and matters(die.name))
    values = {"file": shop.source, "dies": names, "count": len(names)}
    return [Finding("shop-example", values=values)] if names else []


@cache
def _example_dies() -> tuple[Die, ...]:
    return shop_from_text(new_shop_text()).dies


def _shop(raw: dict[str, Any], file: str, source: str) -> Shop:
    place = Place(file, unit=file_unit(raw, Place(file)))
    values = read_table(raw, SHOP, place)
    dies = tuple(
        _die(one, Place(file, f"die[{i + 1}]", place.unit, show(one["name"]))) for i, one in enumerate(values["die"])
    )
    _distinct([die.name for die in dies], "die", file)
    metals = tuple(Metal(**one) for one in values["metal"])
    _distinct([metal.name for metal in metals], "metal", file)
    check_metals(metals, file)
    tests = tuple(Trial(**one) for one in values["test"])
    for i, test in enumerate(tests):
        if test.die.casefold() not in {die.name.casefold() for die in dies}:
            Place(file, f"test[{i + 1}].die").fail(f"names the die {show(test.die)}, which the file does not have")
    shop = Shop(
        name=values["shop"]["name"],
        dies=dies,
        machine=_machine(values["machine"], place.key("machine")) if values["machine"] else Machine(),
        metals=metals,
        stock=tuple(Stick(**one) for one in values["stock"]),
        tests=tests,
        source=source,
        units=place.unit,
        hole_saws=tuple(HoleSaw(**one) for one in values["hole_saw"]),
        rates=_rates(values["rates"], place.key("rates")) if values["rates"] else Rates(),
        allowed=Allowed(**values["tolerance"]) if values["tolerance"] else Allowed(),
        cutting=_cutting(values["saw"]) if values["saw"] else Cutting(),
        prices=tuple(_price(one, place.key("price").item(i)) for i, one in enumerate(values["price"])),
    )
    check_shop(shop, file)
    return shop


def _die(values: dict[str, Any], place: Place) -> Die:
    """A die from its table, contradictions refused."""
    given = [key for key in _SIZES if values[key] is not None]
    if len(given) != 1:
        found = f"has {' and '.join(given)}" if given else "has no size"
        place.fail(f"{found}: give exactly one of {', '.join(_SIZES)}")
    try:
        shape, size, height = _groove(values, given[0])
    except GeometryError as error:
        place.key(given[0]).fail(f"does not fit: {error.message}")
    if 2.0 * values["clr"] <= height:
        display = Display("mm" if place.unit in (None, "mm", "cm", "m") else "in")
        clr, least = display.length(values["clr"]), display.length(height / 2.0)
        place.fail(f"has a clr of {clr}, not above half its tube ({least}): clr is the radius of the centerline")
    clamp = values["clamp"] or 0.0
    between = clamp if values["between"] is None else values["between"]
    if between < clamp and not values["invert_clamp"]:
        place.fail(
            "needs less straight between bends than its clamp holds: raise between, lower clamp, "
            "or set invert_clamp = true"
        )
    rest = {key: value for key, value in values.items() if key not in (*_SIZES, "clamp", "between")}
    is_known = values["clamp"] is not None or values["between"] is not None
    return Die(shape=shape, size=size, height=height, clamp=clamp, between=between, is_clamp_known=is_known, **rest)


def _groove(values: dict[str, Any], key: str) -> tuple[str, float, float]:
    """Shape, size across the bend, and size in its plane."""
    value = values[key]
    if key == "pipe":
        key, value = "od", OUTSIDE[nominal(value)] * 25.4
    across, height = value if isinstance(value, tuple) else (value, value)
    return _GROOVES[key].grooved(across, height), across, height


def _distinct(names: list[str], what: str, file: str) -> None:
    seen: dict[str, int] = {}
    for i, name in enumerate(names):
        first = seen.setdefault(name.casefold(), i)
        if first != i:
            Place(file, f"{what}[{i + 1}].name").fail(f"is {show(name)}, the name of {what}[{first + 1}] too")


def _machine(values: dict[str, Any], place: Place) -> Machine:
    """The bender from its table: contradictions refused, boxes made.

    Raises:
        ShopError: a box is turned inside out, the bend goes where its plane does not, or the ceiling
            is no higher than the pivot.
    """
    made = dict(values)
    boxes = []
    for i, box in enumerate(made.pop("box")):
        where = place.key("box").item(i)
        name = box["name"] or f"box {i + 1}"
        for axis, low, high in zip("xyz", box["low"], box["high"], strict=True):
            if not low < high:
                where.fail(f"has a low {axis} that is not below its high {axis}: write the lesser corner as low")
        boxes.append(Box(name, box["low"], box["high"]))
    plane, to = made["plane"], made["bends_to"]
    if to is not None:
        needed = "vertical" if to in ("up", "down") else "horizontal"
        if plane != needed:
            place.key("bends_to").fail(f'is "{to}", which goes with plane = "{needed}"')
    pivot, ceiling = made["pivot_height"], made["ceiling"]
    if pivot is not None and ceiling is not None and ceiling <= pivot:
        place.key("ceiling").fail("is not above pivot_height: both are measured from the floor")
    return Machine(**made, boxes=tuple(boxes))


def _cutting(values: dict[str, Any]) -> Cutting:
    """``[saw]`` of a shop file."""
    kerf = values["kerf"]
    saw = Saw(KERF if kerf is None else kerf, values["trim"], values["grip"])
    return Cutting(saw, values["keep"], kerf is not None, values["mitre"])


def _rates(values: dict[str, Any], place: Place) -> Rates:
    """``[rates]`` of a shop file.

    Raises:
        ShopError: the weld is given in two units.
    """
    metre, foot = values["minutes_per_metre_of_weld"], values["minutes_per_foot_of_weld"]
    if metre is not None and foot is not None:
        place.key("minutes_per_foot_of_weld").fail("says the same as minutes_per_metre_of_weld: give one")
    weld = metre / MM_PER["m"] if metre is not None else foot / MM_PER["ft"] if foot is not None else None
    return Rates(
        values["currency"],
        values["hour"],
        values["minutes_per_tube"],
        values["minutes_per_cut"],
        values["minutes_per_cope"],
        values["minutes_per_bend"],
        weld,
    )


def _price(values: dict[str, Any], place: Place) -> Price:
    """One ``[[price]]`` of a shop file.

    Raises:
        ShopError: it has no amount, or two.
    """
    given = [key for key in _PER if values[key] is not None]
    if len(given) != 1:
        found = f"has {' and '.join(given)}" if given else "has no amount"
        place.fail(f"{found}: give exactly one of {', '.join(_PER)}")
    amount = values[given[0]] * _PER[given[0]]
    by_length = given[0] in ("per_metre", "per_foot")
    return Price(values["section"], values["metal"], amount if by_length else None, None if by_length else amount)
