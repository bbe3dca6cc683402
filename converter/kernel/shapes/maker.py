"""What writes a tube's boundary down: the kernel's topology (`brep`), or the text of a STEP file.

Every edge is made once and shared by the faces that meet there. Loops run counter-clockwise on the surface's own
parameters; a face whose surface looks the wrong way is reversed as a whole.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import cos, sin, tau
from typing import Any, Protocol

from converter.geometry.vectors import Vec

#: The kernel's own "same point" (Precision::Confusion), mm.
TOLERANCE = 1e-7
#: A point and the first two derivatives of a curve in the parameters of a surface.
Jet = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]


class Maker(Protocol):
    """Makes the points, curves, surfaces and faces of solids; lengths in mm, angles in radians."""

    def line(self, point: Vec, direction: Vec) -> Any:
        """A line with its length as parameter."""

    def circle(self, point: Vec, axis: Vec, x: Vec, radius: float) -> Any:
        """A circle with the angle (radians) from ``x`` as parameter."""

    def ellipse(self, point: Vec, axis: Vec, major: Vec, minor: float) -> Any:
        """An ellipse; ``major`` is its longer half axis as a vector."""

    def plane(self, point: Vec, normal: Vec, x: Vec) -> Any:
        """A plane that looks along ``normal``."""

    def cylinder(self, point: Vec, axis: Vec, x: Vec, radius: float) -> Any:
        """A cylinder around ``axis``, with angles from ``x``."""

    def cone(self, point: Vec, axis: Vec, x: Vec, angle: float, radius: float) -> Any:
        """A cone around ``axis`` that widens along it by half an ``angle`` (radians), of a ``radius`` at the point."""

    def torus(self, point: Vec, axis: Vec, x: Vec, radius: float, tube: float) -> Any:
        """A torus around ``axis``: radius of its centerline and of its tube."""

    def flat(self, u: float, v: float, du: float, dv: float) -> Any:
        """A straight on a surface's parameters; ``(du, dv)`` is a unit vector."""

    def traced(self, jet: Callable[[float], Jet], first: float, last: float) -> Any:
        """A curve in a surface's parameters that no simple type describes, such as a mitre on a cylinder."""

    def vertex(self, point: Vec, tolerance: float = TOLERANCE) -> Any:
        """A vertex."""

    def edge(self, curve: Any, first: float, last: float, start: Any, end: Any, tolerance: float = TOLERANCE) -> Any:
        """The part of a curve between two parameters; ``start`` and ``end`` may be the same vertex."""

    def trace(self, of: Any, curve: Any, surface: Any, tolerance: float = TOLERANCE) -> None:
        """Give an edge its curve in a surface's parameters, on the same parameter as its curve in space."""

    def trace_seam(self, of: Any, ahead: Any, back: Any, surface: Any) -> None:
        """Give a seam its two curves: where the loop runs along it, and where it comes back."""

    def wire(self, edges: Iterable[tuple[Any, bool]]) -> Any:
        """A closed loop of (edge, along it?)."""

    def face(self, surface: Any, loops: Sequence[Any], outward: bool = True) -> Any:
        """A face within its loops (the outer one first); ``outward``: the surface looks out of the metal."""

    def solid(self, shells: Iterable[Iterable[Any]]) -> Any:
        """A solid within closed shells, given as faces; the outer one first, then voids."""


def wave(u0: float, v0: float, amplitude: float) -> Callable[[float], Jet]:
    """``u = u0 + s``, ``v = v0 + amplitude * cos(s)`` with derivatives, for `Maker.traced`."""

    def jet(s: float) -> Jet:
        c, d = amplitude * cos(s), amplitude * sin(s)
        return (u0 + s, v0 + c), (1.0, -d), (0.0, -c)

    return jet


def turns(radians_: float) -> float:
    """An angle in [0, 2 pi); within 1e-12 of a full turn is 0."""
    angle = radians_ % tau
    return 0.0 if tau - angle < 1e-12 else angle
