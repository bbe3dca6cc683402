"""Random tubes for property tests: tables a bender could in principle make, placed anywhere."""

from __future__ import annotations

from math import cos, radians, sin, sqrt

from hypothesis import strategies as st

from converter.geometry.vectors import cross
from converter.model.bends import Bend, BendTable, Placement
from converter.model.section import SHAPES, Section


def lengths(low: float, high: float) -> st.SearchStrategy[float]:
    """Lengths in mm with a sane number of digits."""
    return st.floats(low, high, allow_nan=False, allow_infinity=False).map(lambda v: round(v, 6))


@st.composite
def tables(
    draw,
    most: int = 30,
    zero_straights: bool = True,
    greatest: float = 320.0,
    least: float = 2.0,
    shortest: float = 1.0,
) -> BendTable:
    """Bend tables of 1..most bends; zero straights only where a roll or a radius tells the bends apart.

    Other straights, and the way across each bend, are ``shortest`` at least: two joints that a drawing's gaps would
    heal into one are rare then.
    """
    count = draw(st.integers(1, most))
    bends: list[Bend] = []
    for i in range(count):
        feed = draw(lengths(shortest, 600.0))
        rotation = 0.0 if i == 0 else draw(st.sampled_from([0.0, 90.0, -90.0, 180.0]) | lengths(-179.0, 180.0))
        if i > 0 and zero_straights and abs(rotation) > 5.0 and draw(st.integers(0, 4)) == 0:
            feed = 0.0
        angle = draw(st.sampled_from([a for a in (45.0, 90.0, 180.0) if a <= greatest]) | lengths(least, greatest))
        tightest = shortest / (2 * sin(radians(min(angle, 360.0 - angle)) / 2)) + 1e-6
        bends.append(Bend(feed, rotation, angle, draw(lengths(max(20.0, tightest), 300.0))))
    return BendTable(tuple(bends), draw(lengths(shortest, 600.0)))


@st.composite
def placements(draw, far: float = 1e4) -> Placement:
    """A point within ``far`` mm of the origin and a random orthonormal frame."""
    point = tuple(draw(lengths(-far, far)) for _ in range(3))
    a, b, c = (draw(st.floats(0.0, 360.0).map(radians)) for _ in range(3))
    z = (sin(b) * cos(a), sin(b) * sin(a), cos(b))
    x = (cos(b) * cos(a), cos(b) * sin(a), -sin(b))
    y = cross(z, x)
    d = tuple(cos(c) * x[k] + sin(c) * y[k] for k in range(3))
    size = sqrt(sum(v * v for v in d))
    d = tuple(v / size for v in d)
    return Placement(point, d, z)


@st.composite
def sections(draw, low: float = 6.0, high: float = 200.0) -> Section:
    """A section of any shape there is, outside sizes in a range in mm; corners vary where a person chooses them."""
    shape = draw(st.sampled_from(list(SHAPES.values())))
    across, height = draw(lengths(low, high)), draw(lengths(low, high))
    if shape.die_sizes == 1:
        height = across
    elif across == height:
        height += 1.0
    small = min(across, height)
    _, od, wall, height, corner = shape.filling(across, height, small * draw(st.floats(0.02, 0.45)))
    if "corner" in shape.table_sizes:
        corner = small * draw(st.sampled_from([0.0, 0.5]) | st.floats(0.05, 0.45))
    return Section(shape.name, od, wall, height, corner)
