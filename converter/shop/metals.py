"""Metals: a built-in table of minimum properties, and a shop file's own on top of it.

The figures are the least that the named standard asks for, so a real bar or tube is stronger.
Those marked "from memory" were not read again in the standard; where sellers' pages disagree it is
said. A shop's own ``[[metal]]`` of the same name wins, value by value.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches
from functools import lru_cache

from converter.errors import ShopError
from converter.model.section import Section
from converter.quoting import quoted
from converter.shop.model import Metal

#: MPa per ksi, and GPa per Msi, from the exact pound, inch and standard gravity.
KSI = 6.894757293168361
_M3_PER_MM3 = 1e-9


def _metal(
    name: str,
    yields_ksi: float,
    tensile_ksi: float,
    modulus: float,
    density: float,
    elongation: float,
    standard: str,
) -> Metal:
    return Metal(
        name,
        round(yields_ksi * KSI, 3),
        round(tensile_ksi * KSI, 3),
        modulus,
        density,
        elongation,
        standard,
    )


#: Minimum yield and tensile (given in ksi, as the standards do), modulus GPa, density kg/m3, elongation %.
BUILT_IN: tuple[Metal, ...] = (
    _metal("mild steel", 36.0, 58.0, 200.0, 7850.0, 20.0, "ASTM A36 bar (from memory)"),
    _metal(
        "1020 DOM", 60.0, 70.0, 200.0, 7850.0, 15.0,
        "ASTM A513 type 5, not stress-relieved (a seller's page; 55/65 ksi when stress-relieved; elongation is "
        "quoted as 5, 10 or 15 %)",
    ),
    _metal("A500-B", 46.0, 58.0, 200.0, 7850.0, 23.0, "ASTM A500 grade B, shaped (a seller's page)"),
    _metal("A500-C", 50.0, 62.0, 200.0, 7850.0, 21.0, "ASTM A500 grade C, shaped (a seller's page)"),
    _metal("A53-B", 35.0, 60.0, 200.0, 7850.0, 23.0, "ASTM A53 grade B pipe (from memory)"),
    _metal(
        "4130 normalised", 75.0, 95.0, 200.0, 7850.0, 12.0,
        "AMS 6360 / MIL-T-6736 condition N, wall up to 0.188 in (from memory)",
    ),
    _metal(
        "4130 heat-treated", 100.0, 125.0, 200.0, 7850.0, 12.0,
        "AMS 6361 / MIL-T-6736 heat-treated to 125 ksi (from memory); name a stronger condition by its own name",
    ),
    _metal("4130 HT-150", 135.0, 150.0, 200.0, 7850.0, 10.0, "AMS 6362, heat-treated to 150 ksi (from memory)"),
    _metal("4130 HT-180", 160.0, 180.0, 200.0, 7850.0, 8.0, "MIL-T-6736, heat-treated to 180 ksi (from memory)"),
    _metal("304", 30.0, 75.0, 193.0, 8000.0, 35.0, "ASTM A269 / A554 annealed (from memory)"),
    _metal("316", 30.0, 75.0, 193.0, 8000.0, 35.0, "ASTM A269 / A554 annealed (from memory)"),
    _metal("6061-T6", 35.0, 42.0, 68.9, 2700.0, 10.0, "ASTM B210 drawn tube (from memory)"),
    _metal("3003-H14", 17.0, 20.0, 68.9, 2730.0, 5.0, "ASTM B210 drawn tube (from memory; elongation goes by wall)"),
    _metal("Ti Grade 2", 40.0, 50.0, 103.0, 4510.0, 20.0, "AMS 4902 (strengths read; the rest from memory)"),
    _metal("Ti-3Al-2.5V CWSR", 105.0, 125.0, 100.0, 4480.0, 10.0, "AMS 4944 (from memory)"),
    _metal("Ti-3Al-2.5V annealed", 70.0, 90.0, 100.0, 4480.0, 15.0, "ASTM B338 grade 9 (from memory)"),
)  # fmt: skip

#: Other ways people write the built-in names; compared without case, blanks and punctuation.
ALIASES: dict[str, tuple[str, ...]] = {
    "mild steel": ("steel", "mild", "A36", "A36 steel", "A36 bar", "low carbon steel", "hot rolled"),
    "1020 DOM": ("DOM", "1020", "DOM 1020", "A513", "A513-5", "A513 type 5", "1020 DOM steel", "DOM steel"),
    "A500-B": ("A500", "A500 grade B", "A500 Gr B"),
    "A500-C": ("A500 grade C", "A500 Gr C"),
    "A53-B": ("A53", "A53 grade B", "A53 Gr B", "steel pipe", "black pipe"),
    "4130 normalised": ("4130", "4130N", "4130 normalized", "4130 norm", "chromoly", "cromoly", "CrMo"),
    "4130 heat-treated": ("4130 HT", "4130 HT-125", "4130 heat treat", "4130 hardened", "4130 QT"),
    "304": ("304L", "304 stainless", "304 stainless steel", "stainless 304", "stainless", "stainless steel", "1.4301"),
    "316": ("316L", "316 stainless", "316 stainless steel", "stainless 316", "1.4401", "1.4404"),
    "6061-T6": ("6061", "6061 aluminum", "6061 aluminium", "aluminum 6061-T6", "aluminium 6061-T6", "6061-T6 aluminum"),
    "3003-H14": ("3003", "3003 aluminum", "3003 aluminium", "aluminum 3003-H14", "aluminium 3003-H14"),
    "Ti Grade 2": ("titanium grade 2", "Ti Gr 2", "Ti-2", "grade 2 titanium", "CP titanium", "titanium"),
    "Ti-3Al-2.5V CWSR": ("Ti-3Al-2.5V", "Ti-3-2.5", "Ti 3/2.5", "Ti-3-2.5 CWSR", "3Al-2.5V", "3-2.5 titanium"),
    "Ti-3Al-2.5V annealed": ("Ti Grade 9", "titanium grade 9", "Ti Gr 9", "Ti-3-2.5 annealed"),
}


@lru_cache(maxsize=1024)
def _key(name: str) -> str:
    """What names are compared by: no case, no blanks, no punctuation but the point between digits."""
    return re.sub(r"(?<!\d)\.|\.(?!\d)|[^\w.]|_", "", name.casefold().replace("normalized", "normalised"))


_BUILT_IN = {_key(metal.name): metal for metal in BUILT_IN}
_METAL_BY_KEY = dict(_BUILT_IN)
for _name, _others in ALIASES.items():
    for _other in _others:
        _METAL_BY_KEY.setdefault(_key(_other), _BUILT_IN[_key(_name)])


def find_metal(name: str | None, own: Sequence[Metal] = ()) -> Metal | None:
    """The metal of a name, or None when neither the shop nor the built-in table knows it.

    Args:
        name: as typed; None gives None.
        own: the shop's metals. One of the same name (or one that another name of the same built-in
            metal reaches) wins value by value; what it leaves out comes from the built-in metal.
    """
    return None if name is None or not name.strip() else _found_metal(name.strip(), tuple(own))


@lru_cache(maxsize=256)
def _found_metal(name: str, own: tuple[Metal, ...]) -> Metal | None:
    """As `find_metal`, which every tube asks."""
    key = _key(name)
    table = _METAL_BY_KEY.get(key)
    mine = next((metal for metal in own if metal.name.casefold() == name.casefold()), None)
    mine = mine or next((metal for metal in own if _key(metal.name) == key), None)
    if mine is None and table is not None:
        same = [metal for metal in own if _METAL_BY_KEY.get(_key(metal.name)) is table]
        mine = same[0] if len(same) == 1 else None
    if mine is None:
        return table
    base = _METAL_BY_KEY.get(_key(mine.name))
    return mine if base is None else _over(mine, base)


def kg_per_mm(section: Section | None, metal: str | None, own: Sequence[Metal] = ()) -> float | None:
    """Mass of a length of bar, kg/mm: area of the metal times its density; None where either is not known.

    Args:
        section: of the bar.
        metal, own: as of `find_metal`.
    """
    known = find_metal(metal, own)
    if section is None or known is None or known.density is None:
        return None
    return section.area * known.density * _M3_PER_MM3


def _over(mine: Metal, base: Metal) -> Metal:
    """A shop's metal with what it leaves out taken from the built-in one."""
    fields = ("yield_mpa", "tensile_mpa", "modulus_gpa", "density", "elongation")
    given = {name: getattr(mine, name) for name in fields if getattr(mine, name) is not None}
    full = replace(
        base, name=mine.name, standard=mine.standard or ("the shop file" if given else base.standard), **given
    )
    if full.yield_mpa is not None and full.tensile_mpa is not None and full.tensile_mpa < full.yield_mpa:
        # only one of the two is the shop's own, and the other is of a weaker or stronger condition
        return replace(full, tensile_mpa=None) if "yield_mpa" in given else replace(full, yield_mpa=None)
    return full


def same_metal(one: str | None, other: str | None, own: Sequence[Metal] = ()) -> bool:
    """Whether two names are one metal; unknown names are compared as they are written."""
    if one is None or other is None:
        return one is other
    first, second = find_metal(one, own), find_metal(other, own)
    if first is None or second is None:
        return _key(one) == _key(other)
    return first.name == second.name


def metal_hint(name: str, own: Sequence[Metal] = ()) -> str:
    """What to do about a name that is not known: the nearest, or the names there are."""
    names = list(dict.fromkeys([*(metal.name for metal in own), *(metal.name for metal in BUILT_IN)]))
    spoken = {one.casefold(): one for one in [*names, *(other for others in ALIASES.values() for other in others)]}
    near = get_close_matches(name.casefold(), spoken, 1, 0.75)
    if near:
        return f"did you mean {quoted(spoken[near[0]])}?"
    return f"add it as a [[metal]] of the shop file, or use one of {', '.join(names)}."


def need_metal(name: str, own: Sequence[Metal] = (), where: str = "") -> Metal:
    """The metal of a name.

    Args:
        name, own: as for `find_metal`.
        where: what names it, for the message, such as ``--metal``; '' for none.

    Raises:
        ShopError: it is not known; the nearest name is given.
    """
    found = find_metal(name, own)
    if found is None:
        start = f"{where}: there" if where else "There"
        raise ShopError(
            f"{start} is no metal named {quoted(name)}: {metal_hint(name, own)}",
            code="unknown-metal",
            where=where or None,
        )
    return found
