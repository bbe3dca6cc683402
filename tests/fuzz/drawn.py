"""Tubes drawn by the drawing library alone, in whatever way is asked."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import atan2, degrees, pi
from pathlib import Path
from typing import Any

import ezdxf
from ezdxf.math import OCS, Matrix44, Vec3

from converter.model.bends import BendTable, Placement
from converter.model.centerline import rebuild
from converter.model.curve import Line

#: Drawing units per mm, by the unit's DXF number.
PER_MM = {4: 1.0, 1: 1.0 / 25.4, 6: 1e-3}
#: A tube and where it lies.
Placed = tuple[BendTable, Placement]


@dataclass(frozen=True)
class Drawn:
    """A way to draw the same tubes.

    Attributes:
        move: how points move, a uniform scale and a mirror in it too.
        unit: of the drawing, by its DXF number.
        backwards: every entity from its other end, the last one first.
        cut: pieces that each line is drawn in.
        shuffled: a seed, or 0 for the order as it is.
        layer: of a tube by its name.
        without: names of tubes that are left out.
    """

    move: Matrix44 = field(default_factory=Matrix44)
    unit: int = 4
    backwards: bool = False
    cut: int = 1
    shuffled: int = 0
    layer: Callable[[str], str] = str
    without: tuple[str, ...] = ()


def draw(path: Path, tubes: Mapping[str, Placed], how: Drawn) -> Path:
    """The tubes as lines and arcs, by name; arcs in their own coordinate system."""
    doc = ezdxf.new("R2010", units=how.unit)
    model = doc.modelspace()
    per = PER_MM[how.unit]
    size = how.move.transform_direction(Vec3(1.0, 0.0, 0.0)).magnitude
    mirrored = how.move.determinant() < 0.0
    made: list[Callable[[], Any]] = []
    for name, (table, place) in tubes.items():
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


def moved(seed: int, far: float) -> Matrix44:
    """Turned about all axes and shifted by up to so many mm."""
    rng = random.Random(seed)
    turn = Matrix44.xyz_rotate(*(rng.uniform(0.0, 2.0 * pi) for _ in range(3)))
    return turn @ Matrix44.translate(*(rng.uniform(-far, far) for _ in range(3)))
