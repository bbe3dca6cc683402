"""Random square and rectangular tubes and bars as meshes: swept, by the kernel, cut at their ends, remeshed, noisy."""

from __future__ import annotations

import random
from dataclasses import dataclass
from math import cos, radians, sin

import cadquery as cq
import numpy as np
import trimesh
from mesh_tools import swept
from tubes import run_of

from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import Placement
from converter.model.centerline import rebuild
from converter.model.curve import Arc
from converter.model.run import Run
from converter.model.section import Section

KINDS = ("swept", "kernel", "mitred", "coped", "drilled", "remeshed", "noisy", "single")


@dataclass(frozen=True)
class FlatMesh:
    """A mesh and what it was made from; ``noise``: standard deviation of its vertices, mm."""

    run: Run
    section: Section
    mesh: trimesh.Trimesh
    noise: float = 0.0


def random_section(rng: random.Random) -> Section:
    """Tube or bar, square or not, with sharp or rounded corners."""
    hollow = rng.random() < 0.7
    width = rng.uniform(10, 80)
    height = width if rng.random() < 0.4 else width * rng.uniform(0.35, 0.95)
    smaller = min(width, height)
    wall = rng.uniform(0.04, 0.15) * smaller if hollow else smaller / 2.0
    corner = rng.choice(
        [0.0, rng.uniform(0.05, 0.3) * smaller, (wall if hollow else 0.1 * smaller) * rng.uniform(1.0, 2.0)]
    )
    shape = {
        (True, True): "square",
        (True, False): "rectangular",
        (False, True): "square-bar",
        (False, False): "flat-bar",
    }
    if rng.random() < 0.5:
        width, height = height, width
    return Section(shape[hollow, width == height], width, wall, height, min(corner, 0.4 * smaller))


def random_flat_run(rng: random.Random, section: Section) -> Run:
    """Up to four bends about the section's own axes, clear of itself."""
    size = section.greater
    while True:
        rows = []
        for k in range(rng.choice([0, 1, 1, 2, 3, 4])):
            feed = rng.choice([rng.uniform(0.3, 1.0), rng.uniform(1, 8), rng.uniform(1, 8)]) * size
            rotation = 0.0 if k == 0 else rng.choice([0.0, 180.0, 90.0, -90.0])
            angle = rng.choice([90.0, 45.0, rng.uniform(8, 135)])
            rows.append((feed, rotation, angle, size * rng.uniform(1.5, 6)))
        tail = rng.uniform(0.5, 8) * size if rows else rng.uniform(5, 20) * size
        a, b = rng.uniform(0, 6.28), rng.uniform(-1.2, 1.2)
        t = (cos(a) * cos(b), sin(a) * cos(b), sin(b))
        n = (-sin(a), cos(a), 0.0)
        place = Placement((rng.uniform(-500, 500), rng.uniform(-500, 500), rng.uniform(-100, 100)), t, n)
        run = run_of(rows, tail, place)
        if not _touches(run, size):
            return run


def _touches(run: Run, size: float) -> bool:
    points, places, before = [], [], 0.0
    for one in rebuild(run.table, run.placement):
        for u in np.linspace(0.0, 1.0, max(2, int(one.length / (0.5 * size)) + 1)):
            a, b = np.array(one.start), np.array(one.end)
            points.append(np.array(one.point(one.angle * u)) if isinstance(one, Arc) else a + (b - a) * u)
            places.append(before + u * one.length)
        before += one.length
    p, s = np.array(points), np.array(places)
    apart = np.sqrt(((p[:, None] - p[None]) ** 2).sum(axis=2))
    return bool((apart[np.abs(s[:, None] - s[None]) > 6 * size] < 2.5 * size).any())


def by_kernel(shape: cq.Shape, size: float, coarse: float) -> trimesh.Trimesh:
    """The kernel's own mesh of a shape; ``coarse`` times a hundredth of ``size`` off it."""
    points, faces = shape.tessellate(0.01 * size * coarse, 0.3 * coarse)
    return trimesh.Trimesh([p.toTuple() for p in points], faces, process=True)


def cut_away(run: Run, section: Section, how: str, rng: random.Random) -> cq.Shape:
    """The solid of a run, its end B mitred or coped to a round tube, or its sides drilled."""
    solid = cq.Shape.cast(tube_solid(run, section))
    place = run.placement
    start, t, n = (cq.Vector(*v) for v in (place.start, place.direction, place.normal))
    side = t.cross(n)
    size = section.greater
    if how == "drilled":
        for _ in range(3):
            at = start + t * rng.uniform(0.5 * size, max(0.6 * size, (run.table.straights[0] - 0.5 * size)))
            way = rng.choice([n, side])
            solid = solid.cut(cq.Solid.makeCylinder(0.12 * section.smaller, 2 * size, at - way * size, way))
        return solid
    if how == "coped":
        radius = 0.5 * size * rng.uniform(1.2, 3)
        mate = cq.Solid.makeCylinder(radius, 4 * size, start - n * 2 * size, n)
        return max(solid.cut(mate).Solids(), key=lambda one: one.Volume())
    lean = radians(rng.choice([45.0, 30.0, rng.uniform(5, 50)]))
    way = rng.choice([n, side, n * 0.6 + side * 0.8])
    plane = cq.Plane((start + t * size).toTuple(), way.cross(t).toTuple(), (t * -cos(lean) + way * sin(lean)).toTuple())
    box = cq.Workplane(plane).rect(6 * size, 6 * size).extrude(3 * size).val()
    return max(solid.cut(box).Solids(), key=lambda one: one.Volume())


def _longer(run: Run, by: float) -> Run:
    """A run whose first straight is so much longer at end A."""
    rows = [(b.feed + (by if k == 0 else 0.0), b.rotation, b.angle, b.clr) for k, b in enumerate(run.table.bends)]
    return run_of(rows, run.table.tail + (0.0 if rows else by), run.placement)


def flat_mesh(kind: str, seed: int) -> FlatMesh:
    """The mesh of a kind and seed."""
    rng = random.Random(f"{kind} {seed}")
    section = random_section(rng)
    run = random_flat_run(rng, section)
    size = section.greater
    if kind in ("mitred", "coped", "drilled"):
        # room for the cut in the first straight
        longer = _longer(run, (2.0 if kind != "coped" else 5.0) * size)
        mesh = by_kernel(cut_away(longer, section, kind, rng), size, rng.choice([0.3, 1.0]))
        return FlatMesh(_longer(longer, -size) if kind == "mitred" else longer, section, mesh)
    if kind == "kernel":
        solid = cq.Shape.cast(tube_solid(run, section))
        return FlatMesh(run, section, by_kernel(solid, size, rng.choice([0.1, 0.5, 1.0, 2.0])))
    if kind == "swept":
        return FlatMesh(run, section, swept(run, section, size * rng.choice([0.002, 0.02, 0.1])))
    if kind == "single":
        mesh = swept(run, section, size * 0.01)
        return FlatMesh(run, section, trimesh.Trimesh(mesh.vertices.astype(np.float32), mesh.faces, process=False))
    mesh = swept(run, section, size * (0.002 if kind == "remeshed" else 0.004))
    mesh = trimesh.Trimesh(*trimesh.remesh.subdivide_to_size(mesh.vertices, mesh.faces, 0.25 * size), process=True)
    if kind == "remeshed":
        return FlatMesh(run, section, mesh, 0.002 * size)
    noise = 0.003 * section.smaller
    moved = mesh.vertices + np.random.default_rng(seed).normal(0.0, noise, mesh.vertices.shape)
    return FlatMesh(run, section, trimesh.Trimesh(moved, mesh.faces, process=False), noise)
