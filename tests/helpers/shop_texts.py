"""Shop files for tests, made of their tables."""

from __future__ import annotations

import re

from converter.shop.load import new_shop_text


def shop_text(name: str, *tables: str, unit: str = "mm") -> str:
    """A shop file of that name: its tables after the head."""
    return "".join([f'units = "{unit}"\n[shop]\nname = "{name}"\n', *tables])


def table(head: str, **values: object) -> str:
    """A TOML table: ``[machine]``, ``[[die]]``... and its values."""
    return head + "\n" + "".join(f"{key} = {toml_value(value)}\n" for key, value in values.items())


def toml_value(value: object) -> str:
    """Text in quotes; numbers with every digit."""
    return f'"{value}"' if isinstance(value, str) else repr(value)


#: 40 mm tube on 100 mm, and what its clamp and pressure die need.
DIE_R100 = table("[[die]]", name="R100", od=40, clr=100, clamp=50, tail=40)
STEEL = table("[[metal]]", name="steel", yield_mpa=350, tensile_mpa=450, modulus_gpa=205, density=7850, elongation=20)


def springy(*dies: str) -> str:
    """Test bends of dies: a thirtieth springs back."""
    return "".join(
        table("[[test]]", die=die, stop=stop, angle=angle) for die in dies for stop, angle in ((46.5, 45), (93, 90))
    )


def every_key() -> str:
    """A new shop file with every key that it offers: none of its examples contradicts another."""
    return re.sub(r"(?m)^# (?=\[|[a-z_]+ = )", "", new_shop_text())
