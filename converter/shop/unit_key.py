"""What to write in place of a key that bears a unit, such as ``clr_in`` or ``yield_ksi``."""

from __future__ import annotations

import re
from collections.abc import Collection
from math import isfinite

from converter.errors import UnitsError
from converter.shop.metals import KSI
from converter.units import unit_name

_PA = {"pa": 1e-6, "kpa": 1e-3, "mpa": 1.0, "gpa": 1e3, "psi": KSI / 1e3, "ksi": KSI, "msi": KSI * 1e3, "nmm2": 1.0}
_PER_KG_M3 = {
    "kgm3": 1.0,
    "gcm3": 1000.0,
    "gcc": 1000.0,
    "lbin3": 0.45359237 / 0.0254**3,
    "lbft3": 0.45359237 / 0.3048**3,
}
#: Units that the keys of a file bear, and those that they are: MPa in each.
_OWN = {"mpa": 1.0, "gpa": 1e3}
_BARE = ("deg", "degree", "degrees", "pct", "percent", "min", "minutes")
_NAME = re.compile(r"[a-z]+(?:[_ -][a-z0-9]+)*", re.IGNORECASE)


def unit_key_cure(key: str, value: object, known: Collection[str]) -> str:
    """What to write for a key that is not known, where it is a known one and a unit; '' for any other.

    Args:
        key: as it was typed.
        value: of it: a number, a text or a list of these.
        known: the keys that are.

    Returns:
        The middle of a sentence, without a full stop: ``write clr = "5.5in"``.
    """
    if not _NAME.fullmatch(key):
        return ""
    words = re.split("[_ -]", key.lower())
    for n in range(1, len(words)):
        base, unit = "_".join(words[:n]), "".join(words[n:])
        text = _of_metal(base, unit, value, known) or _of_length(base, unit, value, known)
        if text:
            return f"write {text}"
    return ""


def _of_metal(base: str, unit: str, value: object, known: Collection[str]) -> str:
    """A strength, a modulus or a density in another unit than the key's own."""
    number = _number(value)
    if base == "density" and base in known and unit in _PER_KG_M3 and number is not None:
        return f"density = {number * _PER_KG_M3[unit]:.4g} (it is in kg/m³)"
    base = base.removesuffix("_strength").removesuffix("_stress").removesuffix("s_modulus")
    for own, factor in _OWN.items():
        name = f"{base}_{own}"
        if name in known and unit in _PA and number is not None:
            return f"{name} = {number * _PA[unit] / factor:.4g}"
    return ""


def _of_length(base: str, unit: str, value: object, known: Collection[str]) -> str:
    """A length, or several, with its unit behind it; an angle or a percentage without."""
    if base not in known:
        return ""
    if unit in _BARE:
        number = _number(value)
        return "" if number is None else f"{base} = {number:g}"
    try:
        unit = unit_name(unit)
    except UnitsError:
        return ""
    if isinstance(value, list):
        parts = [_with_unit(one, unit) for one in value]
        return f"{base} = [{', '.join(parts)}]" if parts and all(parts) else ""
    text = _with_unit(value, unit)
    return f"{base} = {text}" if text else ""


def _with_unit(value: object, unit: str) -> str:
    """``"5.5in"``; a text that has a unit already, as it is; '' of what is no length."""
    if isinstance(value, str):
        bare = value.strip()
        if '"' in bare or not bare[:1].isdigit():
            return ""
        return f'"{bare}{unit}"' if bare[-1:].isdigit() else f'"{bare}"'
    number = _number(value)
    return "" if number is None else f'"{number:.10g}{unit}"'


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        return None
    try:
        number = float(value)
    except (ValueError, OverflowError):
        return None
    return number if isfinite(number) and abs(number) < 1e12 else None
