"""Which unit a drawing's numbers are in: $INSUNITS, the option, the shop's, or none of them.

The codes are those of the DXF reference; the factors are the exact ones of
`converter.units`. Little else in the header tells the unit: $MEASUREMENT chooses hatch
patterns (`file_units`), $LUNITS is how numbers are displayed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from converter.findings import Clause, Finding
from converter.units import IMPERIAL, MM_PER, UNIT_CHOICES, unit_word

#: $INSUNITS -> our name of the unit; 0 is "unitless".
INSUNITS: dict[int, str] = {
    1: "in", 2: "ft", 3: "mi", 4: "mm", 5: "cm", 6: "m", 7: "km", 8: "uin", 9: "mil", 10: "yd",
    11: "angstrom", 12: "nm", 13: "um", 14: "dm", 15: "dam", 16: "hm", 17: "Gm", 18: "AU", 19: "ly", 20: "pc",
    21: "usft", 22: "usin", 23: "usyd", 24: "usmi",
}  # fmt: skip


#: What tells the unit of a drawing that does not say it; variants of its finding.
BY_SHOP, BY_MEASUREMENT, BY_DEFAULT = "shop", "measurement", "drawing"
#: mm: largest sides of drawings of tubes, least and most. Common practice, no source.
LEAST_EXTENT, MOST_EXTENT = 100.0, 50_000.0


@dataclass(frozen=True, slots=True)
class FileUnits:
    """The unit of a drawing.

    Attributes:
        stated: what the file says, or None.
        read_as: what its numbers are taken for.
        factor: mm per drawing unit.
        odd_code: an $INSUNITS that means nothing, as text; '' normally.
        by: what told the unit of a drawing that does not: 'shop', 'measurement' or 'drawing' (nothing did).
        contradicted: whether $MEASUREMENT tells another system than the one read.
    """

    stated: str | None
    read_as: str
    factor: float
    odd_code: str = ""
    by: str = BY_DEFAULT
    contradicted: bool = False


def file_units(code: Any, asked: str | None, measurement: Any = None, shop_units: str | None = None) -> FileUnits:
    """The unit of a drawing: the option's, else its own, else the shop's, else inches by $MEASUREMENT 0, else mm.

    $MEASUREMENT chooses hatch patterns and linetypes. General writers leave it at 1, so a 1 says little; a 0 comes of
    a program or a template that works in inches.

    Args:
        code: $INSUNITS; 0 or None when it has none.
        asked: the unit that the units option asks for, or None.
        measurement: $MEASUREMENT, 0 for inches and 1 for metric; None when it has none.
        shop_units: unit of the shop file, or None.
    """
    stated = None
    odd = ""
    if isinstance(code, (int, float)) and int(code) in INSUNITS:
        stated = INSUNITS[int(code)]
    elif code not in (0, None):
        odd = str(code)[:20]
    by = BY_DEFAULT
    read_as = asked or stated or "mm"
    if asked is None and stated is None:
        if shop_units in UNIT_CHOICES:
            read_as, by = shop_units, BY_SHOP
        elif measurement == 0:
            read_as, by = "in", BY_MEASUREMENT
    contradicted = measurement in (0, 1) and (measurement == 0) != (read_as in IMPERIAL)
    return FileUnits(stated, read_as, MM_PER[read_as], odd, by, contradicted)


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
            Finding("units-overridden", values={"stated": unit_word(units.stated), "read_as": unit_word(units.read_as)})
        ]
    if units.stated is not None:
        return []
    number = extent / units.factor
    values: dict[str, object] = {"code": units.odd_code, "extent": extent, "in_inches": number * MM_PER["in"]}
    variant = "unit of no meaning" if units.odd_code and units.by == BY_DEFAULT else units.by
    if variant == BY_DEFAULT and number * MM_PER["in"] < LEAST_EXTENT <= number * MM_PER["m"] <= MOST_EXTENT:
        variant = "drawing in metres"
        values["in_metres"] = number * MM_PER["m"]
    if units.by != BY_DEFAULT:
        other = "mm" if units.read_as in IMPERIAL else "in"
        system = "metric" if units.read_as in IMPERIAL else "inches"
        doubt = Clause.of("header-contradicts", system=system) if units.contradicted and units.by == BY_SHOP else ""
        values = {
            "read_as": unit_word(units.read_as),
            "extent": extent,
            "other": unit_word(other),
            "in_other": number * MM_PER[other],
            "doubt": doubt,
        }
    return [Finding("units-assumed", variant=variant, measured=extent, unit="mm", values=values)]
