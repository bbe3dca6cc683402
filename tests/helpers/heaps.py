"""Heaps of bent tubes that start in one place: the most that joints and clashes may be asked for."""

from __future__ import annotations

import random

import numpy as np

from converter.geometry.vectors import any_normal
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc
from converter.model.run import Run, Tube
from converter.model.section import Section

SECTIONS = tuple(Section("round", od, 2.0) for od in (25.4, 31.75, 38.1, 44.45))


def heap(count: int, radius: float, seed: int = 1) -> list[Tube]:
    """``count`` tubes of three bends whose ends A lie within ``radius`` mm of one point."""
    pick = random.Random(seed)
    tubes = []
    for k in range(count):
        out, way = (_way(pick) for _ in range(2))
        away = radius * pick.random() ** (1.0 / 3.0)
        start = tuple(away * v for v in out)
        bends = tuple(
            Bend(pick.uniform(30, 120), pick.uniform(-170, 170) if i else 0.0, pick.uniform(30, 120), 100.0)
            for i in range(3)
        )
        table = BendTable(bends, pick.uniform(50, 300))
        tubes.append(
            Tube(Run(f"T{k}", None, False, table, Placement(start, way, any_normal(way))), pick.choice(SECTIONS))
        )
    return tubes


def _way(pick: random.Random) -> tuple[float, float, float]:
    v = np.array([pick.gauss(0.0, 1.0) for _ in range(3)])
    return tuple((v / np.linalg.norm(v)).tolist())


def points_along(tube: Tube, step: float) -> np.ndarray:
    """Points of a centerline no further apart than ``step``, (n, 3)."""
    found = []
    for piece in tube.run.centerline:
        size = piece.radius * np.radians(piece.angle) if isinstance(piece, Arc) else piece.length
        shares = np.linspace(0.0, 1.0, max(2, int(size / step) + 2))
        if isinstance(piece, Arc):
            found.append(np.array([piece.point(share * piece.angle) for share in shares]))
        else:
            found.append(np.array(piece.start) + shares[:, None] * (np.array(piece.end) - np.array(piece.start)))
    return np.concatenate(found)
