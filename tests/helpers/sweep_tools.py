"""Slow, plain ways to bend a tube on a machine, to hold the sweep to."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, inf, radians

import numpy as np
from scipy.spatial.distance import cdist

from converter.bending.room.space import space_of
from converter.bending.room.sweep import Clearance, Sweeper
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import reverse_table, walk
from converter.model.curve import Arc
from converter.model.metal import metal
from converter.model.run import Run
from converter.model.section import Section
from converter.shop.model import Box, Machine

#: What stands around a bender.
STAND = Box("the stand", (-300.0, -300.0, -900.0), (200.0, 300.0, -290.0))
POST = Box("the post", (-900.0, 250.0, -965.0), (-700.0, 450.0, 1500.0))


def random_table(
    rng: np.random.Generator,
    count: int,
    straights: tuple[float, float] = (60.0, 420.0),
    angles: tuple[float, float] = (20.0, 150.0),
    shortest_tail: float = 60.0,
    odd_roll: float = 37.0,
) -> BendTable:
    """A table of so many bends of radius 150: straights in mm, angles in degrees, rolls mostly by quarter turns."""
    rolls = [0.0, 90.0, -90.0, 180.0, odd_roll, -120.0]
    bends = tuple(
        Bend(
            float(rng.uniform(*straights)),
            0.0 if i == 0 else float(rng.choice(rolls)),
            float(rng.uniform(*angles)),
            150.0,
        )
        for i in range(count)
    )
    return BendTable(bends, float(rng.uniform(shortest_tail, straights[1])))


def bend_metal(table: BendTable, s: np.ndarray) -> np.ndarray:
    """Bends a straight stick of marked points in the plain order, end A first, by motions of the machine only.

    Args:
        table: the bends.
        s: (n,) lengths from end A.

    Returns:
        (n, 3) points in machine coordinates of a bender that swings the clamped end up, after the last bend.
        The stick is fed with end A ahead. Between bends the tube turns about its own straight stock,
        clockwise as seen by someone who looks ahead: right-hand positive about the way it moves, which is
        -rotation about the direction from end A to end B.
    """
    points = np.column_stack([-s, np.zeros_like(s), np.zeros_like(s)])  # the stick's own line is z = 0
    start = 0.0
    for i, bend in enumerate(table.bends):
        start += bend.feed
        points[:, 0] -= points[-1, 0] + (s[-1] - start)  # the last point is straight stock still
        if i:
            a = radians(bend.rotation)
            y, z = points[:, 1].copy(), points[:, 2].copy()
            points[:, 1], points[:, 2] = y * np.cos(a) - z * np.sin(a), y * np.sin(a) + z * np.cos(a)
        w, r = radians(bend.angle), bend.clr
        # the die's centre is r above the stick; the clamp carries all that is ahead round it
        x, up = points[:, 0].copy(), points[:, 2] - r
        turn = np.clip(w - (s - start) / r, 0.0, w)
        turn[s < start] = w
        on_die = (s >= start) & (s <= start + r * w)
        x[on_die], up[on_die] = 0.0, -r
        ahead = s <= start + r * w
        points[ahead, 0] = (x * np.cos(turn) - up * np.sin(turn))[ahead]
        points[ahead, 2] = (x * np.sin(turn) + up * np.cos(turn))[ahead] + r
        points[~ahead, 0] += r * w
        start += r * w
    return points


def along(table: BendTable, s: np.ndarray) -> np.ndarray:
    """(n, 3) points of the finished centerline at lengths from end A."""
    found = np.zeros((len(s), 3))
    at = 0.0
    for segment in walk(table)[0]:
        if isinstance(segment, Arc):
            length = segment.radius * radians(segment.angle)
        else:
            length = float(np.linalg.norm(np.subtract(segment.end, segment.start)))
        which = (s >= at - 1e-9) & (s <= at + length + 1e-9)
        for i in np.flatnonzero(which):
            share = (s[i] - at) / length
            if isinstance(segment, Arc):
                found[i] = segment.point(segment.angle * share)
            else:
                found[i] = np.add(segment.start, np.subtract(segment.end, segment.start) * share)
        at += length
    return found


def misfit(p: np.ndarray, q: np.ndarray) -> float:
    """Greatest distance between two rows of points after the best rigid motion, mirrors not allowed (Kabsch)."""
    p, q = p - p.mean(axis=0), q - q.mean(axis=0)
    u, _, vt = np.linalg.svd(p.T @ q)
    d = np.sign(np.linalg.det(u @ vt))
    return float(np.linalg.norm(p @ (u @ np.diag([1.0, 1.0, d]) @ vt) - q, axis=1).max())


def pose(table: BendTable, machine, bend: int, made, angle: float, feed_from: str = "A"):
    """The whole tube at one moment, as a run in machine coordinates, and the length from its first end to T.

    Args:
        bend, made: numbers from 0 in the table's order from end A; ``angle``: degrees turned so far, above 0.
    """
    if feed_from == "B":
        table = reverse_table(table)[0]
        last = len(table.bends) - 1
        bend, made = last - bend, {last - i for i in made}
    rows: list[Bend] = []
    length, roll, here = 0.0, 0.0, 0
    for i, one in enumerate(table.bends):
        length += one.feed
        roll += one.rotation
        if i == bend or i in made:
            turned = angle if i == bend else one.angle
            rows.append(Bend(length, 180.0 - (180.0 - roll) % 360.0, turned, one.clr))
            length = one.clr * radians(one.angle - turned)
            roll = 0.0
            here = len(rows) if i == bend else here
        else:
            length += one.arc_length
    now = BendTable(tuple(rows), length + table.tail)
    before = walk(BendTable(now.bends[:here], 0.0))[1]
    space = space_of(machine)
    basis = space.basis.T
    clr = now.bends[here - 1].clr
    # T, the way to end B, and the axis of the bend as the table counts it, in bend coordinates
    turn = np.eye(3)
    if not space.ahead:
        a = radians(-angle)
        turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    to = basis @ turn @ frame((-1, 0, 0), (0, 0, -1))
    moved = to @ frame(before.direction, before.normal).T
    origin = basis @ turn @ np.array([0, -clr, 0]) - moved @ np.array(before.start)
    start = Placement()
    placed = Placement(
        tuple(moved @ np.array(start.start) + origin),
        tuple(moved @ np.array(start.direction)),
        tuple(moved @ np.array(start.normal)),
    )
    to_t = sum(b.feed + b.arc_length for b in now.bends[:here])
    return Run("pose", None, False, now, placed), to_t


def frame(t, n) -> np.ndarray:
    t, n = np.array(t, float), np.array(n, float)
    return np.column_stack([t, n, np.cross(t, n)])


def mesh_of(run: Run, section, chord: float = 0.05):
    """A trimesh of the tube."""
    import trimesh

    from converter.exporters.solids.tessellate import tube_mesh

    vertices, faces = tube_mesh(metal(run, section), section, chord)
    return trimesh.Trimesh(vertices, faces, process=False)


def box_distance(points: np.ndarray, low, high) -> float:
    """Least distance of points from a box."""
    rest = np.maximum(np.maximum(np.array(low) - points, points - np.array(high)), 0.0)
    return float(np.linalg.norm(rest, axis=1).min())


def dense(table: BendTable, step: float = 4.0, placement: Placement | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Points along a table's centerline and the radians it has turned there."""
    points, turns, so_far = [], [], 0.0
    for segment in walk(table, placement)[0]:
        if isinstance(segment, Arc):
            turn = radians(segment.angle)
            share = np.linspace(0.0, 1.0, max(2, ceil(segment.radius * turn / step) + 1))[:, None]
            arm, across = np.subtract(segment.start, segment.center), np.array(segment.normal)
            # the arm is square to the axis that it turns about
            points.append(segment.center + np.cos(turn * share) * arm + np.sin(turn * share) * np.cross(across, arm))
            turns.append(so_far + turn * share[:, 0])
            so_far += turn
        else:
            way = np.subtract(segment.end, segment.start)
            share = np.linspace(0.0, 1.0, max(2, ceil(float(np.linalg.norm(way)) / step) + 1))[:, None]
            points.append(segment.start + way * share)
            turns.append(np.full(len(share), so_far))
    return np.concatenate(points), np.concatenate(turns)


def to_itself(table: BendTable, od: float, step: float = 4.0) -> float:
    """Least distance between parts of a tube that turns half a turn or more between them, by trying all pairs."""
    points, turns = dense(table, step)
    apart = cdist(points, points)
    return float(apart[turns >= turns[:, None] + np.pi - 1e-6].min(initial=np.inf)) - od


def sweeper(
    table: BendTable,
    section: Section,
    machine: Machine,
    feed_from: str = "A",
    *,
    extra_a: float = 0.0,
    extra_b: float = 0.0,
    stops: Sequence[float] | None = None,
) -> Sweeper:
    """A `Sweeper` for the room that the shop file describes."""
    return Sweeper(table, section, space_of(machine), feed_from, extra_a=extra_a, extra_b=extra_b, stops=stops)


def sweep_order(
    table: BendTable,
    section: Section,
    machine: Machine,
    feed_from: str = "A",
    order: Sequence[int] | None = None,
    enough: float = inf,
) -> Clearance:
    """The least room when a tube is bent in one order.

    Args:
        table: the bends from end A.
        section: of the tube.
        machine: with what the shop file says of its room.
        feed_from: 'A' or 'B', the end fed first.
        enough: as for `Sweeper`.

    Raises:
        GeometryError: a corner has no radius, or bends overlap.
        OptionError: the order does not name every bend once.
    """
    one = Sweeper(table, section, space_of(machine), feed_from, enough=enough)
    return one.sequence(one.simple_order if order is None else [number - 1 for number in order])
