"""Tubes drawn anew elsewhere: moved by a rigid motion, mirrored, drawn from the other end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from converter.model.curve import Arc, Line
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import Tube, reverse_run
from converter.reducer import reduce_drawing


def motion(seed: int, mirrored: bool = False) -> tuple[Any, Any]:
    """A random rotation (3, 3), with a mirror in it or not, and a shift (3,) in mm."""
    random = np.random.default_rng(seed)
    turn = Rotation.random(random_state=seed).as_matrix()
    if mirrored:
        turn = turn @ np.diag((1.0, 1.0, -1.0))
    return turn, random.uniform(-3e4, 3e4, 3)


def redrawn(tubes: Sequence[Tube], where: tuple[Any, Any], suffix: str, turned: bool = False) -> list[Tube]:
    """The tubes drawn anew as lines and arcs, moved, and reduced to bend tables by the reducer.

    Each comes back with its section, metal and die, its name with the suffix, and begins where the first one's
    end A (with ``turned``: end B) is carried to.
    """
    turn, shift = where

    def point(p: Any) -> Any:
        return tuple((turn @ np.asarray(p) + shift).tolist())

    found = []
    for tube in tubes:
        curves: list[Line | Arc] = []
        for one in tube.run.centerline:
            if isinstance(one, Line):
                curves.append(Line(point(one.start), point(one.end)))
            else:
                # an axial vector: in a mirror it points the other way
                normal = np.linalg.det(turn) * turn @ np.asarray(one.normal)
                curves.append(Arc.swept(point(one.center), tuple(normal.tolist()), point(one.start), one.angle))
        if turned:
            curves = [one.reversed() for one in reversed(curves)]
        drawn = [DrawnCurve(one, layer="LAYER", handle=str(i)) for i, one in enumerate(curves)]
        runs, _ = reduce_drawing(Drawing("moved", curves=drawn))
        (run,) = runs
        begin = np.asarray(point(tube.run.end if turned else tube.run.start))
        if np.linalg.norm(np.asarray(run.start) - begin) > 1e-3:
            run = reverse_run(run)
        found.append(replace(tube, run=replace(run, name=tube.name + suffix)))
    return found


def registered(one: Tube, other: Tube, mirrored: bool = False) -> float:
    """How far apart two centerlines lie at most, one laid on the other as well as it goes, either end first, mm.

    By Kabsch's method (scipy's), of points at equal shares of the length: it knows nothing of bend tables.
    """
    a = _sampled(one)
    b = _sampled(other) * ((1.0, 1.0, -1.0) if mirrored else 1.0)
    apart = []
    for p in (b, b[::-1]):
        shifted, there = a - a.mean(axis=0), p - p.mean(axis=0)
        turn, _ = Rotation.align_vectors(shifted, there)
        apart.append(float(np.linalg.norm(shifted - turn.apply(there), axis=1).max()))
    return min(apart)


def _sampled(tube: Tube, count: int = 400) -> Any:
    from converter.model.self_approach import sampled

    points, places = sampled(tube.run.centerline, 1.0)
    at = np.linspace(0.0, places[-1], count)
    return np.column_stack([np.interp(at, places, points[:, k]) for k in range(3)])
