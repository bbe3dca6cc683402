"""A small schema for TOML tables: what keys there may be, and one sentence with the key's path when not.

A `Field` says how one value is read; `read_table` reads a whole table by its fields, refuses
unknown keys with the nearest known one, and names what is missing. List items count from 1 in
paths (``die[2].clr``), as people count.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from math import isfinite
from typing import Any, NoReturn

from converter.errors import ElbowroomError, OptionError, ShopError
from converter.model.section import Section
from converter.quoting import LONGEST_QUOTE, one_line, quoted, shortened
from converter.shop.pipe import nominal
from converter.shop.sections import parse_section
from converter.shop.unit_key import unit_key_cure
from converter.units import UNIT_CHOICES, parse_length, unit_name

_LONGEST = 200
#: Degrees; no machine is set to finer steps, and a turn of too many has no number.
LEAST_STEP = 1e-6


@dataclass(frozen=True, slots=True)
class Place:
    """Where in which file a value stands.

    Attributes:
        file: the file as the user named it.
        path: path of the key, such as ``die[2].clr``; '' for the file itself.
        unit: the file's own unit for bare lengths, or None when it names none.
        name: what the nearest named table calls itself, for messages.
    """

    file: str
    path: str = ""
    unit: str | None = None
    name: str = ""

    def key(self, key: str) -> Place:
        """The place of a key of the table that stands here."""
        bare = key.replace("_", "").replace("-", "").isalnum() and key.isascii() and len(key) <= LONGEST_QUOTE
        shown = key if bare else quoted(key)
        return replace(self, path=f"{self.path}.{shown}" if self.path else shown)

    def item(self, index: int) -> Place:
        """The place of an item of the list that stands here; ``index`` counts from 0, the path from 1."""
        return replace(self, path=f"{self.path}[{index + 1}]")

    def fail(self, what: str) -> NoReturn:
        """Raise the sentence ``FILE: PATH WHAT.``

        Raises:
            ShopError: always.
        """
        named = f" ({self.name})" if self.name else ""
        message = one_line(f"{self.file}: {self.path}{named} {what.rstrip('.')}.")
        raise ShopError(message, file=self.file, where=self.path or None)


Reader = Callable[[Any, Place], Any]


@dataclass(frozen=True, slots=True)
class Field:
    """One key of a table: how its value is read, whether it must be there, what it is when it is not.

    ``todo`` says what to write where it must be there and is not, if that is not plain.
    """

    read: Reader
    required: bool = False
    default: Any = None
    todo: str = ""


def show(value: object) -> str:
    """A value as the message shows it: short, quoted when it is text."""
    if isinstance(value, str):
        return f'"{shortened(value)}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    return shortened(value)


def read_table(raw: object, fields: Mapping[str, Field], place: Place) -> dict[str, Any]:
    """The values of a table by its fields, defaults filled in.

    Raises:
        ShopError: it is no table, a key is unknown or missing, or a value is wrong; one sentence with the path.
    """
    if isinstance(raw, list) and place.path:
        place.fail(f"stands more than once or in two brackets: write [{place.path}] once, in one bracket")
    if not isinstance(raw, dict):
        place.fail(f"must be a table, not {show(raw)}")
    name = raw.get("name")
    if isinstance(name, str) and name.strip() and place.path:
        place = replace(place, name=show(name.strip()))
    for key in raw:
        if key not in fields:
            near = get_close_matches(key.lower(), fields, 1, 0.6)
            right = unit_key_cure(key, raw[key], fields)
            hint = f"did you mean {near[0]}?" if near else f"the keys known here are {', '.join(fields)}."
            hint = f"{right}." if right else hint
            message = f"{place.file}: {one_line(place.key(key).path)} is not a known key: {hint}"
            raise ShopError(message, code="unknown-key", file=place.file, where=place.key(key).path)
    values = {}
    for key, field in fields.items():
        if key in raw:
            values[key] = field.read(raw[key], place.key(key))
        elif field.required:
            place.key(key).fail(f"is missing: {field.todo or f'write a line {key} = ... there'}")
        else:
            values[key] = field.default
    return values


@dataclass(frozen=True, slots=True)
class OneTable:
    """A reader of one table (``[machine]``) of these fields."""

    fields: Mapping[str, Field]

    def __call__(self, raw: Any, place: Place) -> dict[str, Any]:
        """The values of the table; see `read_table`."""
        return read_table(raw, self.fields, place)


@dataclass(frozen=True, slots=True)
class ListOfTables:
    """A reader of a list of tables (``[[die]]``) of these fields."""

    fields: Mapping[str, Field]

    def __call__(self, raw: Any, place: Place) -> list[dict[str, Any]]:
        """The values of each table of the list; see `read_table`."""
        if not isinstance(raw, list):
            place.fail(f"must be a list of tables, written [[{place.path}]], not {show(raw)}")
        return [read_table(one, self.fields, place.item(i)) for i, one in enumerate(raw)]


def named_tables(fields: Mapping[str, Field]) -> Reader:
    """A reader of a table whose keys are names or patterns and whose values are tables."""

    def read(raw: Any, place: Place) -> dict[str, dict[str, Any]]:
        if not isinstance(raw, dict):
            place.fail(f"must be tables by name, written [{place.path}.NAME], not {show(raw)}")
        return {key: read_table(one, fields, place.key(key)) for key, one in raw.items()}

    return read


def text(raw: Any, place: Place) -> str:
    """A short text that is not empty."""
    if not isinstance(raw, str) or not raw.strip() or len(raw) > _LONGEST:
        place.fail(f"must be a text of 1 to {_LONGEST} characters, not {show(raw)}")
    if not raw.isprintable():
        place.fail("must be a text of one line without control characters")
    return raw.strip()


def flag(raw: Any, place: Place) -> bool:
    """true or false."""
    if not isinstance(raw, bool):
        place.fail(f"must be true or false, not {show(raw)}")
    return raw


def choice(*options: str) -> Reader:
    """A reader of one of a few words."""

    def read(raw: Any, place: Place) -> str:
        if raw not in options:
            place.fail(f"must be one of {', '.join(options)}, not {show(raw)}")
        return str(raw)

    return read


def number(least: float = 0.0, most: float = float("inf"), what: str = "a number") -> Reader:
    """A reader of a number above ``least`` and up to ``most``."""

    def read(raw: Any, place: Place) -> float:
        limit = f" up to {most:g}" if isfinite(most) else ""
        above = "zero" if least <= LEAST_STEP else f"{least:g}"
        if isinstance(raw, bool) or not isinstance(raw, (int, float)) or not least < raw <= most or raw > 1e15:
            place.fail(f"must be {what} above {above}{limit}, not {show(raw)}")
        return float(raw)

    return read


def number_or_zero(raw: Any, place: Place) -> float:
    """A number of zero or more."""
    if isinstance(raw, bool) or not isinstance(raw, (int, float)) or not 0.0 <= raw <= 1e15:
        place.fail(f"must be a number of zero or more, not {show(raw)}")
    return float(raw)


def ring_step(raw: Any, place: Place) -> float:
    """The step of a ring in degrees: a full turn is a whole number of them."""
    step: float = number(LEAST_STEP, 90.0, "an angle in degrees")(raw, place)
    count = 360.0 / step
    if abs(count - round(count)) > 1e-6 * count:
        place.fail(f"is {show(raw)}, of which no whole number makes a full turn of 360 degrees")
    return 360.0 / round(count)


def whole(raw: Any, place: Place) -> int:
    """A whole number from 0 on."""
    if isinstance(raw, bool) or not isinstance(raw, int) or not 0 <= raw <= 1_000_000:
        place.fail(f"must be a whole number from 0 to 1000000, not {show(raw)}")
    return raw


def _length(raw: Any, place: Place, what: str, allowed: Callable[[float], bool]) -> float:
    if isinstance(raw, bool) or not isinstance(raw, (int, float, str)):
        place.fail(f"must be {what}, not {show(raw)}")
    bare = not isinstance(raw, str) or raw.strip()[-1:].isdigit() or raw.strip()[-1:] == "."
    if bare and place.unit is None and (not isinstance(raw, str) or _reads(raw)):
        place.fail(
            f'is {show(raw)} of no unit: put units = "in" or "mm" at the top of the file, or write the unit here'
        )
    try:
        value = parse_length(raw, place.unit or "mm") if not isinstance(raw, str) or len(raw) <= _LONGEST else None
    except ElbowroomError as error:
        hint = f" ({error.message.rstrip('.')})" if error.code == "unknown-unit" else _comma(raw)
        place.fail(f"must be {what}, not {show(raw)}{hint}")
    if value is None or not allowed(value):
        place.fail(f"must be {what}, not {show(raw)}")
    return value


def _comma(raw: Any) -> str:
    """What to write for a length with a decimal comma; '' of any other."""
    is_comma = isinstance(raw, str) and raw.count(",") == 1 and _reads(raw.replace(",", "."))
    return " (write a point for the comma)" if is_comma else ""


def _reads(raw: str) -> bool:
    try:
        parse_length(raw[:_LONGEST])
    except ElbowroomError:
        return False
    return True


def length(raw: Any, place: Place) -> float:
    """A length above zero, in mm."""
    return _length(raw, place, "a length above zero", lambda value: value > 0.0)


def length_or_zero(raw: Any, place: Place) -> float:
    """A length of zero or more, in mm."""
    return _length(raw, place, "a length of zero or more", lambda value: value >= 0.0)


def signed_length(raw: Any, place: Place) -> float:
    """A length of either sign, in mm."""
    return _length(raw, place, "a length", lambda _: True)


def two_lengths(raw: Any, place: Place) -> tuple[float, float]:
    """A list of two lengths above zero, in mm."""
    if not isinstance(raw, list) or len(raw) != 2:
        place.fail(f"must be a list of two lengths, such as [2, 1], not {show(raw)}")
    return length(raw[0], place.item(0)), length(raw[1], place.item(1))


def three_signed_lengths(raw: Any, place: Place) -> tuple[float, float, float]:
    """A list of three lengths of either sign, in mm: a point."""
    if not isinstance(raw, list) or len(raw) != 3:
        place.fail(f"must be a list of three lengths, such as [-10, 0, 24], not {show(raw)}")
    x, y, z = (signed_length(one, place.item(i)) for i, one in enumerate(raw))
    return x, y, z


def section(raw: Any, place: Place) -> Section:
    """A section such as ``1.75x0.120in``; bare numbers are in the file's own unit.

    A text without any unit in a file without units is refused by its size in mm being guessed otherwise.
    """
    if not isinstance(raw, str):
        place.fail(f"must be a section such as 1.75x0.120in, not {show(raw)}")
    if place.unit is None and _section_or_none(raw, "mm") != _section_or_none(raw, "in"):
        place.fail(f'is {show(raw)} of no unit: put units = "in" or "mm" at the top of the file')
    try:
        return parse_section(raw, place.unit or "mm")
    except ElbowroomError as error:
        place.fail(f"must be a section: {error.message}")


def _section_or_none(text: str, unit: str) -> Section | None:
    try:
        return parse_section(text, unit)
    except ElbowroomError:
        return None


def pipe_size(raw: Any, place: Place) -> str:
    """A nominal pipe size such as ``1-1/4``, as text that `converter.shop.pipe.nominal` reads."""
    if isinstance(raw, (int, float)) and not isinstance(raw, bool) and abs(raw) < 1e6:
        raw = f"{raw:g}"
    if not isinstance(raw, str):
        place.fail(f"must be a pipe size such as 1-1/4, not {show(raw)}")
    cleaned = raw.strip()
    cleaned = cleaned[3:].strip() if cleaned.lower().startswith("nps") else cleaned
    try:
        nominal(cleaned)
    except OptionError as error:
        place.fail(f"must be a pipe size: {error.message[:1].lower()}{error.message[1:]}")
    return cleaned


def file_unit(raw: dict[str, Any], place: Place) -> str | None:
    """The file's own ``units``, or None when it names none.

    Raises:
        ShopError: it is not one of the units a file may use.
    """
    if "units" not in raw:
        return None
    value = raw["units"]
    name = None
    if isinstance(value, str):
        try:
            name = unit_name(value)
        except ElbowroomError:
            name = None
    if name not in UNIT_CHOICES:
        place.key("units").fail(f"must be one of {', '.join(UNIT_CHOICES)}, not {show(value)}")
    return name
