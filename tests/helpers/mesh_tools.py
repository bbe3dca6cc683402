"""Meshes of tubes for tests: swept ones by our own tessellation, and irregular, noisy ones like a scan's."""

from __future__ import annotations

from math import pi, radians
from pathlib import Path

import numpy as np
import trimesh
from scipy.spatial import Delaunay

from converter.exporters.solids.tessellate import tube_mesh
from converter.model.frames import pieces
from converter.model.metal import metal
from converter.model.run import Run
from converter.model.section import Section


def swept(run: Run, section: Section, chord: float = 0.1) -> trimesh.Trimesh:
    """Our own tessellation: rings, bore, end faces."""
    points, faces = tube_mesh(metal(run, section), section, chord)
    return trimesh.Trimesh(points, faces, process=False)


def ringed(run: Run, radius: float, around: int, step: float, *, spin: float = 0.0) -> trimesh.Trimesh:
    """The bare outside, ``around`` facets, a ring every ``step`` degrees of bend, two per straight; open ends."""
    rings = []
    for piece in pieces(run.table, run.placement):
        count = 1 if piece.arc is None else max(1, int(np.ceil(piece.arc.angle / step - 1e-9)))
        for k in range(0 if not rings else 1, count + 1):
            rings.append(_ring(piece, k / count, radius, 2.0 * pi * (np.arange(around) / around) + spin))
    points = np.concatenate(rings)
    index = np.arange(len(points)).reshape(len(rings), around)
    a, b = index[:-1], index[1:]
    a1, b1 = np.roll(a, -1, axis=1), np.roll(b, -1, axis=1)
    faces = np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, a1, b1), (a, b1, b))])
    return trimesh.Trimesh(points, faces, process=False)


def scanned(run: Run, radius: float, edge: float, noise: float, seed: int = 1) -> trimesh.Trimesh:
    """The bare outside as a scanner gives it: points strewn at random, about ``edge`` mm apart, off by ``noise`` mm.

    Noise is normal, along the surface's normal. Triangles are Delaunay's in the unrolled surface.
    """
    rng = np.random.default_rng(seed)
    parts = pieces(run.table, run.placement)
    ends = np.cumsum([0.0] + [p.length for p in parts])
    count = int(2.0 * pi * radius * ends[-1] / (edge * edge * 0.866))
    rim = max(6, int(2.0 * pi * radius / edge))
    places = np.concatenate((rng.uniform(0.0, ends[-1], count), np.zeros(rim), np.full(rim, ends[-1])))
    angles = np.concatenate((rng.uniform(0.0, 2.0 * pi, count), np.tile(np.arange(rim) * 2.0 * pi / rim, 2)))
    n = len(places)
    flat = np.column_stack([np.tile(places, 3), np.concatenate([angles - 2 * pi, angles, angles + 2 * pi]) * radius])
    triangles = Delaunay(flat).simplices
    middle = flat[triangles].mean(axis=1)[:, 1] / radius
    span = np.ptp(flat[triangles][:, :, 1], axis=1)
    triangles = triangles[(middle >= 0.0) & (middle < 2.0 * pi) & (span < pi * radius)] % n
    points = np.empty((n, 3))
    which = np.clip(np.searchsorted(ends, places, side="right") - 1, 0, len(parts) - 1)
    off = rng.normal(0.0, noise, n) if noise else np.zeros(n)
    for k, piece in enumerate(parts):
        own = which == k
        points[own] = _ring(piece, (places[own] - ends[k]) / piece.length, radius + off[own], angles[own])
    mesh = trimesh.Trimesh(points, triangles, process=False)
    # all triangles the same way round, outward
    middle = mesh.triangles_center
    near = np.concatenate([_ring(p, s, 0.0, np.zeros(1)) for p in parts for s in np.linspace(0.0, 1.0, 60)])
    from scipy.spatial import cKDTree

    inward = near[cKDTree(near).query(middle)[1]] - middle
    flip = np.einsum("ij,ij->i", mesh.face_normals, inward) > 0.0
    faces = mesh.faces.copy()
    faces[flip] = faces[flip][:, ::-1]
    return trimesh.Trimesh(points, faces, process=False)


def _ring(piece, share: float | np.ndarray, radius: float | np.ndarray, angles: np.ndarray) -> np.ndarray:
    """Points around a piece, all at one share of its length and one radius, or each at its own."""
    share, radius = np.asarray(share)[..., None], np.asarray(radius)[..., None]
    if piece.arc is None:
        at = np.array(piece.start.point) + share * piece.length * np.array(piece.start.direction)
        return at + radius * (
            np.cos(angles)[:, None] * np.array(piece.start.up) + np.sin(angles)[:, None] * np.array(piece.start.across)
        )
    arc = piece.arc
    c, n = np.array(arc.center), np.array(arc.normal)
    ring = (
        np.array(piece.start.point)
        + radius
        * (np.cos(angles)[:, None] * np.array(piece.start.up) + np.sin(angles)[:, None] * np.array(piece.start.across))
        - c
    )
    a = radians(arc.angle) * share
    high = (ring @ n)[:, None] * n
    level = ring - high
    return c + high + level * np.cos(a) + np.cross(n, level) * np.sin(a)


def saved(mesh: trimesh.Trimesh | trimesh.Scene, path: Path) -> Path:
    """Written by the mesh library in the format of the file's extension."""
    mesh.export(str(path))
    return path
