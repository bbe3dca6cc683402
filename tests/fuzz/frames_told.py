"""A frame of all sorts of joints, drawn by the drawing library alone in whatever way is asked, and the shop for it."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from math import atan2, degrees
from pathlib import Path
from typing import Any

import ezdxf
from ezdxf.math import OCS, Matrix44, Vec3

from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Line

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


@dataclass(frozen=True)
class FrameDrawn:
    """A way to draw the frame.

    Attributes:
        move: how points move, a uniform scale in it too.
        unit: of the drawing, by its DXF number.
        backwards: every entity from its other end, the last one first.
        cut: pieces that each line is drawn in.
        shuffled: a seed, or 0 for the order as it is.
        layer: of a tube by its name.
        without: names of tubes that are left out: a line does not say how flats lie, so they go by the drawing's axes.
    """

    move: Matrix44 = field(default_factory=Matrix44)
    unit: int = 4
    backwards: bool = False
    cut: int = 1
    shuffled: int = 0
    layer: Callable[[str], str] = str
    without: tuple[str, ...] = ()


def straight(a: tuple[float, float, float], b: tuple[float, float, float]) -> tuple[BendTable, Placement]:
    """From a to b."""
    way = Vec3(b) - Vec3(a)
    return BendTable((), way.magnitude), Placement.leaving(a, tuple(way.normalize()))


def frame() -> dict[str, tuple[BendTable, Placement]]:
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


def draw_frame(path: Path, how: FrameDrawn) -> Path:
    """The frame as lines and arcs; arcs in their own coordinate system."""
    doc = ezdxf.new("R2010", units=how.unit)
    model = doc.modelspace()
    per = {4: 1.0, 1: 1.0 / 25.4, 6: 1e-3}[how.unit]
    size = how.move.transform_direction(Vec3(1.0, 0.0, 0.0)).magnitude
    mirrored = how.move.determinant() < 0.0
    made: list[Callable[[], Any]] = []
    for name, (table, place) in frame().items():
        if name in how.without:
            continue
        given: dict[str, Any] = {"layer": how.layer(name)}
        for part in rebuild(table, place):
            if isinstance(part, Line):
                p, q = Vec3(part.start), Vec3(part.end)
                for k in range(how.cut):
                    ends = [how.move.transform(p.lerp(q, (k + e) / how.cut)) * per for e in (0, 1)]
                    if how.backwards:
                        ends.reverse()
                    made.append(lambda ends=ends, given=given: model.add_line(*ends, dxfattribs=given))
                continue
            normal = how.move.transform_direction(Vec3(part.normal)).normalize(-1.0 if mirrored else 1.0)
            ocs = OCS(normal)
            center, start, end = (
                ocs.from_wcs(how.move.transform(Vec3(p))) for p in (part.center, part.start, part.end)
            )
            turns = [degrees(atan2(p.y - center.y, p.x - center.x)) for p in (start, end)]
            one = {**given, "extrusion": normal}
            made.append(
                lambda c=center * per, r=part.radius * size * per, t=turns, g=one: model.add_arc(c, r, *t, dxfattribs=g)
            )
    if how.backwards:
        made.reverse()
    if how.shuffled:
        random.Random(how.shuffled).shuffle(made)
    for add in made:
        add()
    doc.saveas(path)
    return path


def sections(how: FrameDrawn, scale: float = 1.0) -> list[str]:
    """The section options, every size so many times as large."""
    told: dict[str, None] = {}
    for name, text in SECTIONS.items():
        if name not in how.without:
            told[f"{how.layer(name)}={_sized(text, scale)}"] = None
    return [word for option in told for word in ("--section", option)]


def _sized(text: str, scale: float) -> str:
    sizes, _, shape = text.partition(" ")
    return f"{'x'.join(repr(float(one) * scale) for one in sizes.split('x'))}mm {shape}".strip()


def shop_text(scale: float = 1.0) -> str:
    """Dies, saws, bars and rates, every length so many times as long."""

    def mm(value: float) -> str:
        return repr(value * scale)

    dies = "".join(
        f'[[die]]\nname = "{name}"\nod = {mm(od)}\nclr = {mm(clr)}\nclamp = {mm(60)}\nbetween = {mm(70)}\n'
        f"tail = {mm(40)}\nmark_offset = {mm(3)}\nmax_angle = 180\n"
        for name, od, clr in (("D44", 44.45, 150.0), ("D38", 38.1, 120.0))
    )
    dies += f'[[die]]\nname = "Q40"\nsquare = {mm(40)}\nclr = {mm(150)}\nmark_offset = {mm(3)}\n'
    saws = "".join(f"[[hole_saw]]\nsize = {mm(size)}\ndepth = {mm(38)}\n" for size in (44.45, 38.1, 60.0))
    tests = "".join(
        f'[[test]]\ndie = "{die}"\nstop = {stop}\nangle = {angle}\n'
        for die in ("D44", "D38", "Q40")
        for stop, angle in ((46.5, 45), (93, 90))
    )
    stock = "".join(
        f'[[stock]]\nsection = "{_sized(text, scale)}"\nlength = {mm(6000)}\n'
        for text in dict.fromkeys(SECTIONS.values())
    )
    return (
        'units = "mm"\n[shop]\nname = "for the frame"\n'
        '[[metal]]\nname = "steel"\nyield_mpa = 350\ntensile_mpa = 450\nmodulus_gpa = 205\ndensity = 7850\n'
        "elongation = 20\n"
        + dies + saws + tests + stock
        + f'[saw]\nkerf = {mm(3)}\nkeep = {mm(300)}\nmitre = 45\n'
        '[rates]\ncurrency = "EUR"\nhour = 60\nminutes_per_tube = 2\nminutes_per_cut = 3\nminutes_per_cope = 5\n'
        "minutes_per_bend = 4\n"
    )  # fmt: skip
