"""The text of a tube's solid in a STEP file (ISO 10303-42), without the CAD kernel: a `Maker` that writes.

Names, order and numbers of records are those that the kernel's own writer gives the same solid, line breaks included
(``tests/kernel/test_solid_text.py`` compares them byte for byte); it takes a third of the time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import floor, log10, sqrt
from typing import Any

from converter.geometry.vectors import Vec, cross, norm
from converter.kernel.shapes.maker import TOLERANCE, Jet

#: Characters of a line at most.
LINE = 72
#: Records of a line, and of any other curve or surface with the frame that it lies in.
_LINE, _PLACED = 4, 5
#: Digits that a number in the short form has room for.
_DIGITS = 15


def real(value: float) -> str:
    """A number as ISO 10303-21 (6.3.2) writes it, to twelve places."""
    if value == 0.0 or 0.1 <= abs(value) < 1000.0:
        return f"{value:.12f}"[:_DIGITS].rstrip("0")
    mantissa, _, exponent = f"{value:.12E}".partition("E")
    return f"{mantissa.rstrip('0')}E{exponent}"


def wrapped(parts: Iterable[str]) -> str:
    """A record of parts that are not broken, in lines; what stands in brackets is indented."""
    lines, line, level = [], "", 0
    for part in parts:
        if len(line) + len(part) > LINE:
            lines.append(line)
            line = "  " * (level - 1 if part == "(" else max(level, 1) if part == ");" else level)
        line += part
        if part == "(":
            level += 1
        elif part in (")", ") "):
            level -= 1
    lines.append(line)
    return "\n".join(lines) + "\n"


def listed(number: int, kind: str, before: Sequence[str], members: Sequence[str], after: Sequence[str] = ()) -> str:
    """A record with a list among what it holds: ``#1 = KIND(before,(members),after);``."""
    parts = [f"#{number} = ", kind, "("]
    for one in before:
        parts += (one, ",")
    parts.append("(")
    for one in members:
        parts += (one, ",")
    parts[-1] = ")"
    for one in after:
        parts += (",", one)
    return wrapped([*parts, ");"])


@dataclass(slots=True, eq=False)
class _TextVertex:
    point: Vec
    tolerance: float
    number: int = 0


@dataclass(slots=True, eq=False)
class _TextEdge:
    curve: _Located
    start: _TextVertex
    end: _TextVertex
    tolerance: float
    number: int = 0


@dataclass(frozen=True, slots=True)
class _Located:
    """A curve or a surface: record, place, axis, where angles count from (on a line the axis), sizes."""

    kind: str
    point: Vec
    axis: Vec
    x: Vec
    sizes: tuple[float, ...] = ()
    angle: float | None = None


_Loop = list[tuple[_TextEdge, bool]]


@dataclass(frozen=True, slots=True)
class _TextFace:
    surface: _Located
    loops: Sequence[_Loop]
    outward: bool


class SolidWriter:
    """Makes solids that can be written as text (a `Maker`).

    Args:
        unit: mm of the file's unit of length.
    """

    def __init__(self, unit: float) -> None:
        self._unit = unit

    def line(self, point: Vec, direction: Vec) -> _Located:
        """A line."""
        direction = _direction(_direction(direction))  # the kernel makes it a vector, and that a direction again
        return _Located("LINE", point, direction, direction)

    def circle(self, point: Vec, axis: Vec, x: Vec, radius: float) -> _Located:
        """A circle."""
        return _turned(_located("CIRCLE", point, axis, x, radius))

    def ellipse(self, point: Vec, axis: Vec, major: Vec, minor: float) -> _Located:
        """An ellipse."""
        return _turned(_located("ELLIPSE", point, axis, major, norm(major), minor))

    def plane(self, point: Vec, normal: Vec, x: Vec) -> _Located:
        """A plane."""
        return _located("PLANE", point, normal, x)

    def cylinder(self, point: Vec, axis: Vec, x: Vec, radius: float) -> _Located:
        """A cylinder."""
        return _located("CYLINDRICAL_SURFACE", point, axis, x, radius)

    def cone(self, point: Vec, axis: Vec, x: Vec, angle: float, radius: float) -> _Located:
        """A cone."""
        return _located("CONICAL_SURFACE", point, axis, x, radius, angle=angle)

    def torus(self, point: Vec, axis: Vec, x: Vec, radius: float, tube: float) -> _Located:
        """A torus."""
        return _located("TOROIDAL_SURFACE", point, axis, x, radius, tube)

    def flat(self, u: float, v: float, du: float, dv: float) -> None:
        """Nothing: curves in parameters are not written."""

    def traced(self, jet: Callable[[float], Jet], first: float, last: float) -> None:
        """Nothing."""

    def trace(self, of: _TextEdge, curve: None, surface: _Located, tolerance: float = TOLERANCE) -> None:
        """Nothing but how far the edge may lie from the surface."""
        of.tolerance = max(of.tolerance, tolerance)

    def trace_seam(self, of: Any, ahead: None, back: None, surface: _Located) -> None:
        """Nothing."""

    def vertex(self, point: Vec, tolerance: float = TOLERANCE) -> _TextVertex:
        """A vertex."""
        return _TextVertex(point, tolerance)

    def edge(
        self, curve: _Located, first: float, last: float, start: Any, end: Any, tolerance: float = TOLERANCE
    ) -> _TextEdge:
        """An edge; its parameters are not written."""
        return _TextEdge(curve, start, end, tolerance)

    def wire(self, edges: Iterable[tuple[_TextEdge, bool]]) -> _Loop:
        """A closed loop, head to tail from its first edge on."""
        left = list(edges)
        loop = [left.pop(0)]
        while left:
            edge, ahead = loop[-1]
            at = edge.end if ahead else edge.start
            loop.append(left.pop(next((i for i, (e, on) in enumerate(left) if (e.start if on else e.end) is at), 0)))
        return loop

    def face(self, surface: _Located, loops: Sequence[_Loop], outward: bool = True) -> _TextFace:
        """A face within its loops."""
        return _TextFace(surface, loops, outward)

    def solid(self, shells: Iterable[Iterable[_TextFace]]) -> list[list[_TextFace]]:
        """A solid within closed shells."""
        return [list(faces) for faces in shells]

    def count(self, solid: list[list[_TextFace]]) -> int:
        """How many records a solid made here takes."""
        records = 2 * len(solid)  # its own, its shells, and a record for each void that turns its shell over
        edges: dict[int, _TextEdge] = {}
        for face in (face for shell in solid for face in shell):
            records += 1 + _PLACED + 2 * len(face.loops)
            for loop in face.loops:
                records += len(loop)
                edges |= {id(edge): edge for edge, _ in loop}
        vertices = {id(vertex) for edge in edges.values() for vertex in (edge.start, edge.end)}
        curves = sum(_LINE if edge.curve.kind == "LINE" else _PLACED for edge in edges.values())
        return records + len(edges) + curves + 2 * len(vertices)

    def text(self, solid: list[list[_TextFace]], first: int) -> tuple[str, int, float]:
        """The records of a solid made here, the number that is free after them, and within how many mm all meets.

        Args:
            solid: once only.
            first: the number of its own record.
        """
        return _SolidText(self._unit, first).of(solid)


class _SolidText:
    """Records of one solid on their way into a text; a record stands before what it refers to first."""

    def __init__(self, unit: float, first: int) -> None:
        self._unit = unit
        self._next = first
        self.lines: list[str] = []
        self._texts: dict[Vec, str] = {}
        self._uses = 0
        self._slack = 0.0

    def of(self, shells: list[list[_TextFace]]) -> tuple[str, int, float]:
        number, place = self._begin()
        outer = self._shell(shells[0], False)
        if len(shells) == 1:
            self.lines[place] = f"#{number} = MANIFOLD_SOLID_BREP('',#{outer});\n"
        else:
            voids = []
            for faces in shells[1:]:
                turned, at = self._begin()
                self.lines[at] = f"#{turned} = ORIENTED_CLOSED_SHELL('',*,#{turned + 1},.F.);\n"
                self._shell(faces, True)
                voids.append(f"#{turned}")
            self.lines[place] = listed(number, "BREP_WITH_VOIDS", ("''", f"#{outer}"), voids)
        # the mean of the tolerances of all that is used, as often as it is
        return "".join(self.lines), self._next, _rounded(1.5 * self._slack / self._uses)

    def _begin(self) -> tuple[int, int]:
        """The number of a record, and where its line will stand."""
        number = self._next
        self._next += 1
        self.lines.append("")
        return number, len(self.lines) - 1

    def _shell(self, faces: list[_TextFace], turned: bool) -> int:
        number, place = self._begin()
        members = [f"#{self._face(face, turned)}" for face in faces]
        self.lines[place] = listed(number, "CLOSED_SHELL", ("''",), members)
        return number

    def _face(self, face: _TextFace, turned: bool) -> int:
        number, place = self._begin()
        self._uses += 1
        self._slack += TOLERANCE
        sense = ".T." if face.outward != turned else ".F."
        bounds = []
        for loop in face.loops:
            bound = self._next
            self.lines.append(f"#{bound} = FACE_BOUND('',#{bound + 1},{sense});\n")
            self._next = bound + 1
            self._loop(loop)
            bounds.append(f"#{bound}")
        surface = self._next
        self._place(face.surface)
        text = f"#{number} = ADVANCED_FACE('',({','.join(bounds)}),#{surface},{sense});\n"
        if len(text) > LINE + 1:
            text = listed(number, "ADVANCED_FACE", ("''",), bounds, (f"#{surface}", sense))
        self.lines[place] = text
        return number

    def _loop(self, loop: _Loop) -> None:
        number, place = self._begin()
        members = []
        self._uses += 3 * len(loop)
        for edge, ahead in loop:
            self._slack += edge.tolerance + edge.start.tolerance + edge.end.tolerance
            oriented = self._next
            self._next += 1
            known = edge.number or self._next
            members.append(f"#{oriented}")
            self.lines.append(f"#{oriented} = ORIENTED_EDGE('',*,*,#{known},{'.T.' if ahead else '.F.'});\n")
            if not edge.number:
                self._edge(edge)
        text = f"#{number} = EDGE_LOOP('',({','.join(members)}));\n"
        self.lines[place] = text if len(text) <= LINE + 1 else listed(number, "EDGE_LOOP", ("''",), members)

    def _edge(self, edge: _TextEdge) -> None:
        edge.number, place = self._begin()
        for vertex in (edge.start, edge.end):
            if not vertex.number:
                vertex.number = self._next
                self._next += 2
                self.lines.append(f"#{vertex.number} = VERTEX_POINT('',#{vertex.number + 1});\n")
                self._point(vertex.number + 1, vertex.point)
        curve = self._next
        self.lines[place] = f"#{edge.number} = EDGE_CURVE('',#{edge.start.number},#{edge.end.number},#{curve},.T.);\n"
        self._place(edge.curve)

    def _place(self, thing: _Located) -> None:
        """A curve or a surface with its place."""
        n = self._next
        if thing.kind == "LINE":
            self._next += 4
            self.lines.append(f"#{n} = LINE('',#{n + 1},#{n + 2});\n")
            self._point(n + 1, thing.point)
            self.lines.append(f"#{n + 2} = VECTOR('',#{n + 3},{real(1.0 / self._unit)});\n")
            self._triple(n + 3, "DIRECTION", thing.axis)
            return
        self._next += 5
        sizes = [real(size / self._unit) for size in thing.sizes]
        if thing.angle is not None:
            sizes.append(real(thing.angle))
        self.lines.append(f"#{n} = {thing.kind}({','.join([chr(39) * 2, f'#{n + 1}', *sizes])});\n")
        self.axes(n + 1, thing)

    def axes(self, number: int, thing: _Located) -> None:
        """The frame in which a curve or a surface lies."""
        self.lines.append(f"#{number} = AXIS2_PLACEMENT_3D('',#{number + 1},#{number + 2},#{number + 3});\n")
        self._point(number + 1, thing.point)
        self._triple(number + 2, "DIRECTION", thing.axis)
        self._triple(number + 3, "DIRECTION", thing.x)

    def _point(self, number: int, point: Vec) -> None:
        unit = self._unit
        if unit != 1.0:
            point = (point[0] / unit, point[1] / unit, point[2] / unit)
        self._triple(number, "CARTESIAN_POINT", point)

    def _triple(self, number: int, kind: str, values: Vec) -> None:
        text = self._texts.get(values)
        if text is None or 0.0 in values:  # whose sign a dictionary does not tell
            text = self._texts[values] = f"{real(values[0])},{real(values[1])},{real(values[2])}"
        line = f"#{number} = {kind}('',({text}));\n"
        if len(line) > LINE + 1:
            line = listed(number, kind, ("''",), text.split(","))
        self.lines.append(line)


def located_text(number: int, point: Vec, axis: Vec, x: Vec) -> str:
    """The records of a frame, its origin in the file's unit."""
    text = _SolidText(1.0, 0)
    text.axes(number, _located("", point, axis, x))
    return "".join(text.lines)


def _located(kind: str, point: Vec, axis: Vec, x: Vec, *sizes: float, angle: float | None = None) -> _Located:
    """In a right-handed frame: ``x`` is made square to the axis, as the kernel does."""
    a, b, c = axis = _direction(axis)
    p, q, r = _direction(x)
    # axis x (x x axis), in the kernel's order: zeros keep its signs
    u, v, w = q * c - r * b, r * a - p * c, p * b - q * a
    return _Located(kind, point, axis, _direction((b * w - c * v, c * u - a * w, a * v - b * u)), sizes, angle)


def _rounded(value: float) -> float:
    """Down to 1, 2 or 5 times a power of ten."""
    power = 10.0 ** floor(log10(value))
    return max(step for step in (1.0, 2.0, 5.0) if step * power <= value or step == 1.0) * power


def _turned(curve: _Located) -> _Located:
    """The same, its axis made anew of x and y, as the kernel does to curves of edges."""
    y = _direction(cross(curve.axis, curve.x))
    return _Located(curve.kind, curve.point, _direction(cross(curve.x, y)), curve.x, curve.sizes)


def _direction(vector: Vec) -> Vec:
    x, y, z = vector
    length = sqrt(x * x + y * y + z * z)
    return x / length, y / length, z / length
