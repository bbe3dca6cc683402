"""How pictures look inside the page: their roles' pens and colours, light, dark and on paper."""

from __future__ import annotations

from converter.exporters.pictures.picture import ROLES
from converter.exporters.pictures.svg import FAMILY


def picture_style() -> str:
    """Style rules for `converter.exporters.pictures`: colours follow the page's own light or dark."""
    light = "".join(f"--r-{role}:{look.light};" for role, look in ROLES.items())
    dark = "".join(f"--r-{role}:{look.dark};" for role, look in ROLES.items())
    rules = []
    for role, look in ROLES.items():
        if look.width:
            dash = f";stroke-dasharray:{' '.join(f'{d:g}' for d in look.dash)}" if look.dash else ""
            rules.append(
                f".r-{role}{{stroke:var(--r-{role});fill:none;stroke-width:{look.width:g};stroke-linecap:round;"
                f"stroke-linejoin:round{dash}}}"
            )
        rules.append(f".f-{role}{{fill:var(--r-{role});fill-rule:evenodd;stroke:none}}")
    return (
        f":root{{{light}}}@media screen{{html.dark{{{dark}}}}}"
        f"@media screen and (prefers-color-scheme:dark){{html:not(.light){{{dark}}}}}"
        f"{''.join(rules)}.f-ground{{fill:var(--paper)}}svg.picture{{font-family:{FAMILY}}}"
    )
