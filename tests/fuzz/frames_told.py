"""A frame of all sorts of joints, drawn by the drawing library alone in whatever way is asked, and the shop for it."""

from __future__ import annotations

from drawn import Drawn, Placed
from ezdxf.math import Vec3
from shop_texts import STEEL, shop_text, springy, table

from converter.model.bends import Bend, BendTable, Placement

#: Name -> (section, its sizes in mm as a person types them with a unit behind).
SECTIONS = {
    "HOOP": "44.45x3.048",
    "BRACE": "38.1x2.413",
    "SPOKE": "30x2",
    "ARM-L": "38.1x2.413",
    "ARM-R": "38.1x2.413",
    "POST": "40x40x2 square",
    "BAR": "30x2",
    "SILL": "40x40x2 square",
    "HEAD": "40x40x2 square",
    "MAST": "60x3",
    "PIN": "24x2",
}


def straight(a: tuple[float, float, float], b: tuple[float, float, float]) -> Placed:
    """From a to b."""
    way = Vec3(b) - Vec3(a)
    return BendTable((), way.magnitude), Placement.leaving(a, tuple(way.normalize()))


def frame() -> dict[str, Placed]:
    """The tubes by name: what ends on round tubes, on a bend, on flats, in a mitre, in pairs, and passes through."""
    hoop = BendTable((Bend(450.0, 0.0, 90.0, 150.0), Bend(600.0, 0.0, 90.0, 150.0)), 450.0)
    arm = (Bend(160.0, 0.0, 40.0, 120.0), Bend(150.0, 35.0, 55.0, 120.0))
    other = tuple(Bend(b.feed, -b.rotation, b.angle, b.clr) for b in arm)
    on_bend = Vec3(150.0, 0.0, 450.0) + Vec3(-1.0, 0.0, 1.0).normalize(150.0)
    return {
        "HOOP": (hoop, Placement((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0))),
        "BRACE": straight((0.0, 3.0, 80.0), (900.0, 3.0, 280.0)),
        "SPOKE": straight(tuple(on_bend), tuple(on_bend + Vec3(-140.0, 190.0, 150.0))),
        "ARM-L": (BendTable(arm, 210.0), Placement((900.0, 0.0, 200.0), (0.6, 0.8, 0.0), (0.0, 0.0, 1.0))),
        "ARM-R": (BendTable(other, 210.0), Placement((900.0, 0.0, 360.0), (0.6, -0.8, 0.0), (0.0, 0.0, 1.0))),
        # bent, so that it says how its flats lie wherever it is turned
        "POST": (
            BendTable((Bend(550.0, 0.0, 90.0, 150.0),), 200.0),
            Placement((300.0, -900.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0)),
        ),
        "BAR": straight((300.0, -900.0, 350.0), (620.0, -900.0, 470.0)),
        "SILL": straight((-600.0, -900.0, 0.0), (-600.0, -500.0, 0.0)),
        "HEAD": straight((-600.0, -900.0, 0.0), (-200.0, -900.0, 0.0)),
        "MAST": straight((-900.0, 0.0, -200.0), (-900.0, 0.0, 800.0)),
        "PIN": straight((-1100.0, 4.0, 230.0), (-700.0, 4.0, 330.0)),
    }


def sections(how: Drawn, scale: float = 1.0) -> list[str]:
    """The section of each layer, every size so many times as large."""
    told: dict[str, None] = {}
    for name, text in SECTIONS.items():
        if name not in how.without:  # a straight line does not say how flats lie: they go by the drawing's axes
            told[f"{how.layer(name)}={_sized(text, scale)}"] = None
    return list(told)


def _sized(text: str, scale: float) -> str:
    sizes, _, shape = text.partition(" ")
    return f"{'x'.join(repr(float(one) * scale) for one in sizes.split('x'))}mm {shape}".strip()


def frame_shop(scale: float = 1.0) -> str:
    """Dies, saws, bars and rates, every length so many times as long."""

    def mm(**values: float) -> dict[str, float]:
        return {name: value * scale for name, value in values.items()}

    dies = [
        table("[[die]]", name=name, max_angle=180, **mm(od=od, clr=clr, clamp=60, between=70, tail=40, mark_offset=3))
        for name, od, clr in (("D44", 44.45, 150.0), ("D38", 38.1, 120.0))
    ]
    dies.append(table("[[die]]", name="Q40", **mm(square=40, clr=150, mark_offset=3)))
    saws = [table("[[hole_saw]]", **mm(size=size, depth=38)) for size in (44.45, 38.1, 60.0)]
    stock = [
        table("[[stock]]", section=_sized(text, scale), **mm(length=6000)) for text in dict.fromkeys(SECTIONS.values())
    ]
    rates = table(
        "[rates]", currency="EUR", hour=60, minutes_per_tube=2, minutes_per_cut=3, minutes_per_cope=5,
        minutes_per_bend=4,
    )  # fmt: skip
    return shop_text(
        "for the frame",
        STEEL,
        *dies,
        *saws,
        springy("D44", "D38", "Q40"),
        *stock,
        table("[saw]", mitre=45, **mm(kerf=3, keep=300)),
        rates,
        table("[[price]]", metal="steel", per_kg=2.0),
    )
