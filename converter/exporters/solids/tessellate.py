"""A tube as triangles, straight from its table: rings of the section along the centerline, bore and end caps.

Needs no CAD kernel. Every vertex lies on the true surface and triangles are chords of it: the
mesh is watertight and nowhere farther from the true surface than the tolerance.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import asin, ceil, cos, degrees, radians, sin, sqrt
from typing import TYPE_CHECKING, Any, TypeAlias

from converter.errors import OptionError
from converter.model.frames import Piece, Station, slope
from converter.model.metal import TubeMetal, quarters
from converter.model.section import Edge, Section

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Points: TypeAlias = NDArray[np.float64]
    Faces: TypeAlias = NDArray[np.int64]
else:
    Points: TypeAlias = Any
    Faces: TypeAlias = Any

#: Greatest distance of a triangle from the true surface, mm.
CHORD = 0.1
#: Greatest step around the section and along a bend, degrees: small tubes stay round to the eye.
_STEP = 15.0


def tube_mesh(made: TubeMetal, section: Section, chord: float = CHORD) -> tuple[Points, Faces]:
    """The mesh of a tube.

    Args:
        made: the run, cut into pieces.
        section: its section.
        chord: greatest distance of a triangle from the true surface, mm, 1e-4 to 100.

    Returns:
        (n, 3) float vertices in mm, in place, and (m, 3) int faces, counter-clockwise seen from outside.

    Raises:
        OptionError: ``chord`` is out of range.
    """
    import numpy as np

    if not 1e-4 <= chord <= 100.0:
        raise OptionError(f"The mesh tolerance must be from 0.0001 to 100 mm, not {chord}.")
    # half of the tolerance goes into the section's chords and half into the bends'
    loops = outlines(section, chord / 2.0)
    steps = [bend_steps(piece, section, chord / 2.0) for piece in made.pieces]
    vertices: list[Points] = []
    faces: list[Faces] = []
    first = 0
    rims = []
    for i, loop in enumerate(loops):
        rings = _rings(made, loop, steps)
        count, around = rings.shape[:2]
        index = np.arange(count * around).reshape(count, around) + first
        side = _lateral(index, _wrap(made, section, around) if made.closed else None)
        faces.append(side if i == 0 else side[:, ::-1])
        vertices.append(rings.reshape(-1, 3))
        rims.append((index[0], index[-1]))
        first += count * around
    if not made.closed:
        for end in (0, 1):
            cap = _fan(rims[0][end]) if len(rims) == 1 else _annulus(rims[0][end], rims[1][end])
            faces.append(cap if end else cap[:, ::-1])
    return np.concatenate(vertices), np.concatenate(faces)


def triangle_count(made: TubeMetal, section: Section, chord: float = CHORD) -> int:
    """About how many triangles `tube_mesh` makes, without making them: two per quad of neighbouring rings."""
    around = sum(len(loop) for loop in outlines(section, chord / 2.0))
    return 2 * around * sum(bend_steps(piece, section, chord / 2.0) for piece in made.pieces)


def outlines(section: Section, chord: float) -> list[Points]:
    """The section's outside and, unless it is a bar, its bore: (n, 2) points along up and across.

    Counter-clockwise seen against the direction of travel, chords within ``chord`` of the true outline. Arcs of the
    bore get as many chords as the outside's.
    """
    radius = max(edge.radius for edge in section.outer.edges)
    return [_points(loop.edges, radius, chord) for loop in section.loops]


def _points(edges: Sequence[Edge], radius: float, chord: float) -> Points:
    """A closed outline from its first arc on, arcs in as many chords as one of a radius wants; ends shared."""
    import numpy as np

    points: list[tuple[float, float]] = []
    first = next((i for i, edge in enumerate(edges) if edge.center is not None), 1)
    for edge in (*edges[first:], *edges[:first]):
        if edge.center is None:
            points.append(edge.start)
            continue
        count = arc_steps(radius, degrees(edge.last - edge.first), chord)
        (p, q), step = edge.center, (edge.last - edge.first) / count
        turns = (edge.first + i * step for i in range(count))
        points += [(p + edge.radius * cos(a), q + edge.radius * sin(a)) for a in turns]
    return np.array(points)


def arc_steps(radius: float, angle: float, chord: float) -> int:
    """Chords for an arc of ``angle`` degrees so that none strays more than ``chord`` (sagitta r (1 - cos h))."""
    step = _STEP
    if radius > chord:
        # 1 - cos h = 2 sin^2(h / 2), which keeps its digits for a chord that is next to nothing
        step = min(step, 4.0 * degrees(asin(sqrt(chord / (2.0 * radius)))))
    return max(1, ceil(angle / step - 1e-9))


def bend_steps(piece: Piece, section: Section, chord: float) -> int:
    """Rings along a piece: 1 for a straight; for a bend by the radius of the metal farthest from its axis."""
    if piece.arc is None:
        return 1
    return arc_steps(piece.arc.radius + section.outer.half_diagonal, piece.arc.angle, chord)


def _rings(made: TubeMetal, loop: Points, steps: list[int]) -> Points:
    """(rings, n, 3) points along the tube; the closing ring of a closed run left out."""
    import numpy as np

    before = made.pieces[-1].corner if made.closed else None
    rings = [_ring(made.pieces[0].start, loop, slope(before))[None]]
    for piece, count in zip(made.pieces, steps, strict=True):
        if piece.arc is None:
            lean = slope(piece.corner)
            rings.append(_ring(piece.end, loop, (-lean[0], -lean[1]))[None])
        else:
            rings.append(_turned(piece, _ring(piece.start, loop, (0.0, 0.0)), count))
    joined = np.concatenate(rings)
    return joined[:-1] if made.closed else joined


def _ring(at: Station, loop: Points, lean: tuple[float, float]) -> Points:
    import numpy as np

    p, q = loop[:, :1], loop[:, 1:]
    ahead = (lean[0] * p + lean[1] * q) * np.array(at.direction)
    ring: Points = np.array(at.point) + p * np.array(at.up) + q * np.array(at.across) + ahead
    return ring


def _turned(piece: Piece, ring: Points, count: int) -> Points:
    """A ring turned about the bend's axis in ``count`` steps, the first one left out (Rodrigues' formula)."""
    import numpy as np

    arc = piece.arc
    assert arc is not None
    normal, center = np.array(arc.normal), np.array(arc.center)
    arm = ring - center
    height = (arm @ normal)[:, None] * normal
    flat = arm - height
    sideways = np.cross(normal, flat)
    a = np.arange(1, count + 1)[:, None, None] * (radians(arc.angle) / count)
    turned: Points = center + height + flat * np.cos(a) + sideways * np.sin(a)
    return turned


def _wrap(made: TubeMetal, section: Section, around: int) -> int:
    """By how many points of the outline the last ring is turned against the first (closed runs)."""
    if section.cylinder is not None:
        # the rest, less than half a step, is taken up by the last piece
        return round(made.twist / 360.0 * around) % around
    return quarters(made.twist) * around // 4


def _lateral(index: Faces, wrap: int | None) -> Faces:
    """Two triangles per quad between neighbouring rings; ``wrap`` joins the last ring to the first."""
    import numpy as np

    a = index[:-1]
    b = index[1:]
    if wrap is not None:
        a = index
        b = np.concatenate([index[1:], np.roll(index[:1], -wrap, axis=1)])
    a1, b1 = np.roll(a, -1, axis=1), np.roll(b, -1, axis=1)
    return np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, a1, b1), (a, b1, b))])


def _fan(rim: Faces) -> Faces:
    """A convex end face, looking along the direction of travel."""
    import numpy as np

    return np.column_stack([np.full(len(rim) - 2, rim[0]), rim[1:-1], rim[2:]])


def _annulus(outer: Faces, inner: Faces) -> Faces:
    """The end face between two rims that both start at the same corner, looking along the direction of travel.

    Rims of one count are joined point by point; a rounded rim around a sharp one shares out its
    points corner by corner.
    """
    import numpy as np

    m, n = len(outer), len(inner)
    found = []
    i = j = 0
    while i < m or j < n:
        if j >= n or (i < m and (i + 1) * n <= (j + 1) * m):
            found.append((outer[i], outer[(i + 1) % m], inner[j % n]))
            i += 1
        else:
            found.append((outer[i % m], inner[(j + 1) % n], inner[j]))
            j += 1
    return np.array(found)
