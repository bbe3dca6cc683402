"""Which unit a drawing's numbers are in: $INSUNITS, the option, or neither.

The codes are those of the DXF reference; the factors are the exact ones of
`converter.units`. Nothing else in the header tells the unit: $MEASUREMENT chooses hatch
patterns, $LUNITS is how numbers are displayed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from converter.errors import OptionError
from converter.findings import Finding
from converter.units import MM_PER, UNIT_CHOICES, unit_name

#: $INSUNITS -> our name of the unit; 0 is "unitless".
INSUNITS: dict[int, str] = {
    1: "in", 2: "ft", 3: "mi", 4: "mm", 5: "cm", 6: "m", 7: "km", 8: "uin", 9: "mil", 10: "yd",
    11: "angstrom", 12: "nm", 13: "um", 14: "dm", 15: "dam", 16: "hm", 17: "Gm", 18: "AU", 19: "ly", 20: "pc",
    21: "usft", 22: "usin", 23: "usyd", 24: "usmi",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class FileUnits:
    """The unit of a drawing.

    Attributes:
        stated: what the file says, or None.
        read_as: what its numbers are taken for.
        factor: mm per drawing unit.
        odd_code: an $INSUNITS that means nothing, as text; '' normally.
    """

    stated: str | None
    read_as: str
    factor: float
    odd_code: str = ""


def file_units(code: Any, option: str | None) -> FileUnits:
    """The unit of a drawing from its $INSUNITS (0 or None when it has none) and the units option.

    Raises:
        UnitsError: the option is no unit.
        OptionError: the option is a unit no drawing is asked to be in.
    """
    stated = None
    odd = ""
    if isinstance(code, (int, float)) and int(code) in INSUNITS:
        stated = INSUNITS[int(code)]
    elif code not in (0, None):
        odd = str(code)[:20]
    if option is None:
        read_as = stated or "mm"
    else:
        read_as = unit_name(option)
        if read_as not in UNIT_CHOICES:
            raise OptionError(
                f"A drawing cannot be read as {option!r}: use one of {', '.join(UNIT_CHOICES)}.", code="unknown-unit"
            )
    return FileUnits(stated, read_as, MM_PER[read_as], odd)


def units_findings(units: FileUnits, option: str | None, extent: float) -> list[Finding]:
    """What must be said about the unit.

    Args:
        units: as taken.
        option: the units option, or None.
        extent: largest side in mm of what was read.
    """
    if option is not None:
        if units.stated is None or units.stated == units.read_as:
            return []
        return [
            Finding(
                "units-overridden",
                f"The file says its unit is {units.stated}; its numbers were read as {units.read_as}, "
                "as the units option asks.",
            )
        ]
    if units.stated is not None:
        return []
    number = extent / units.factor
    why = f"names a unit that does not exist (code {units.odd_code})" if units.odd_code else "names no unit"
    inches = number * MM_PER["in"]
    return [
        Finding(
            "units-assumed",
            f"The drawing {why} and was read as mm: its largest extent is then {_metric(number)}; "
            f"it would be {_metric(inches)} ({number:.6g} in) if it was drawn in inches.",
            measured=extent,
            unit="mm",
            cure="Say which with the units option (--units in, --units mm).",
        )
    ]


def _metric(mm: float) -> str:
    """Millimetres below 10 m, metres above."""
    return f"{mm:.6g} mm" if mm < 10_000.0 else f"{mm / 1000.0:.4g} m"
