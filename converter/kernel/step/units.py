"""Which length unit a STEP file means: by the name it gives, else by the factor it states."""

from __future__ import annotations

import re
from math import inf, isclose
from typing import TypeAlias

from converter.errors import UnitsError
from converter.units import MM_PER, unit_name

_PREFIX = {
    "EXA": 1e18, "PETA": 1e15, "TERA": 1e12, "GIGA": 1e9, "MEGA": 1e6, "KILO": 1e3, "HECTO": 1e2, "DECA": 10.0,
    "DECI": 0.1, "CENTI": 0.01, "MILLI": 1e-3, "MICRO": 1e-6, "NANO": 1e-9, "PICO": 1e-12, "FEMTO": 1e-15,
    "ATTO": 1e-18,
}  # fmt: skip
_UNIT_NAMES = {"millimetre": "mm", "centimetre": "cm", "decimetre": "dm", "metre": "m", "kilometre": "km"}
_UNIT_NAMES |= {"micrometre": "um", "nanometre": "nm", "hectometre": "hm", "decametre": "dam"}


def unit_of(word: str, data: bytes) -> tuple[str | None, float | None]:
    """Our name of a unit and its mm, from the name the kernel reports and the file's own definition.

    A conversion-based unit is what its factor says, whatever it is called (ISO 10303-41): 'INCH' of 25.4 mm
    or 0.0254 m, 'FOOT', or a name in any language.

    Args:
        word: 'millimetre', 'INCH', ...
        data: the file's text.

    Returns:
        (name, mm per unit); (None, mm) for a unit we have no name for; (None, None) where nothing tells.
    """
    stated = _stated(word, data)
    if stated is not None:
        for name in ("mm", "in", "m", "cm", "ft", *MM_PER):
            if isclose(MM_PER[name], stated, rel_tol=1e-9):
                return name, MM_PER[name]
        return None, stated
    try:
        name = _UNIT_NAMES.get(word.lower()) or unit_name(word)
    except UnitsError:
        return None, None
    return name, MM_PER[name]


#: A word of the file, our name of it or None, mm per unit or None.
Unit: TypeAlias = tuple[str, str | None, float | None]
_CONTEXT = re.compile(rb"GLOBAL_UNIT_ASSIGNED_CONTEXT\s*+\(\s*+\(([^()]*+)\)")
_COMPLEX = re.compile(rb"#(\d++)\s*+=\s*+\(([^;]*+)")
_LENGTH = re.compile(rb"\bLENGTH_UNIT\b")
_SI = re.compile(rb"SI_UNIT\s*+\(\s*+(\$|\.\w++\.)\s*+,\s*+\.METRE\.\s*+\)")
_CALLED = re.compile(rb"CONVERSION_BASED_UNIT\s*+\(\s*+'((?:[^']|'')*)'", re.IGNORECASE)
_FACTOR = re.compile(rb"\s*+,\s*+#(\d++)\s*+\)")
_MEASURE = re.compile(rb"LENGTH_MEASURE\s*+\(\s*+([-+0-9.eE]++)\s*+\)\s*+,\s*+#(\d++)")
_REFERENCE = re.compile(rb"#(\d++)")
_EQUALS = re.compile(rb"\s*+=")


def units_of_contexts(data: bytes) -> tuple[list[Unit], bool]:
    """The length units of all contexts in a file's text, each once, and whether a context has none.

    The kernel knows only the units of shapes that hang on products; this serves files without any.
    """
    defined = {m[1]: m[2] for m in _COMPLEX.finditer(data) if _LENGTH.search(m[2])}
    units: dict[str, Unit] = {}
    without = False
    for context in _CONTEXT.finditer(data):
        lengths = [defined[ref] for ref in _REFERENCE.findall(context[1]) if ref in defined]
        without = without or not lengths
        for body in lengths:
            si, called = _SI.search(body), _CALLED.search(body)
            if called:
                word = called[1].replace(b"''", b"'").decode("utf-8", "replace")
                units.setdefault(word, (word, *unit_of(word, data)))
            elif si:
                prefix = "" if si[1] == b"$" else si[1].strip(b".").decode("ascii").lower()
                units.setdefault(prefix, (f"{prefix}metre", *unit_of(f"{prefix}metre", data)))
    return list(units.values()), without or not units


def _stated(word: str, data: bytes) -> float | None:
    """mm per unit by the file's CONVERSION_BASED_UNIT of that name, or None."""
    if b"conversion_based_unit" not in data.lower():
        return None
    quoted = word.encode("latin-1", "replace").replace(b"'", b"''").lower()
    named = (m.end() for m in _CALLED.finditer(data) if m[1].lower() == quoted)
    factor = next((m for end in named if (m := _FACTOR.match(data, end))), None)
    measure = None if factor is None else _MEASURE.search(_definition(factor[1], data))
    base = None if measure is None else _SI.search(_definition(measure[2], data))
    if measure is None or base is None:
        return None
    prefix = 1.0 if base[1] == b"$" else _PREFIX.get(base[1].strip(b".").decode("ascii", "replace").upper(), 0.0)
    try:
        value = float(measure[1]) * prefix * 1000.0
    except ValueError:
        return None
    return value if 0.0 < value < inf else None


def _definition(number: bytes, data: bytes) -> bytes:
    """What the entity of a number is: the text behind ``#12 =`` up to the semicolon; empty where there is none."""
    at = data.find(b"#" + number)
    while at >= 0:
        at += 1 + len(number)
        equals = _EQUALS.match(data, at)
        if equals:
            end = data.find(b";", equals.end())
            return data[equals.end() : len(data) if end < 0 else end]
        at = data.find(b"#" + number, at)
    return b""
