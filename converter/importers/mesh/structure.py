"""From stations to a first bend table: ring by ring where rings say it all, else by the reducer's fitting."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import degrees, radians, sin

import numpy as np

from converter.arrays import Array
from converter.geometry.circles import vec
from converter.geometry.vectors import Vec, any_normal, signed_angle, unit
from converter.importers.mesh.stations import Stations
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Polyline
from converter.model.drawing import DrawnCurve
from converter.reducer.chaining.chain import Chain
from converter.reducer.general import reduce_chain
from converter.tolerances import Tolerances

SAME_PLACE = 1e-4  #: of the tube's radius: rings no further apart are one
MOST_PASSES = 60  #: of swaps; a rough track mixes up close neighbours only
SAME_RADIUS = 0.03  #: share by which the radii of neighbouring steps of one bend may differ


@dataclass(frozen=True, slots=True)
class Draft:
    """A first table in place, and whether it closes."""

    table: BendTable
    placement: Placement
    closed: bool


def draft(stations: Stations, closed: bool, fit: float) -> Draft | None:
    """The straights and bends through stations; None where there are none.

    Args:
        stations: in order.
        closed: whether the last is followed by the first.
        fit: mm by which a station may stray from its straight or bend.
    """
    if stations.rings:
        exact = from_rings(stations, closed)
        if exact is not None:
            return exact
    points = stations.centers if closed else in_order(stations).centers
    if closed:
        points = np.concatenate((points, points[:1]))
    keep = np.concatenate(([True], (np.diff(points, axis=0) ** 2).sum(axis=1) > 1e-18))
    points = points[keep]
    if len(points) < 2:
        return None
    chain = Chain(((DrawnCurve(Polyline(points)), False),), closed, None, 0)
    run = reduce_chain(chain, "tube", Tolerances(fit=fit))
    if run is None:
        return None
    bends = tuple(replace(b, handle=None, layer=None) for b in run.table.bends)
    return Draft(replace(run.table, bends=bends), run.placement, closed)


def in_order(stations: Stations) -> Stations:
    """Stations with neighbours that a rough track has mixed up put right: each swap makes the way through them shorter.

    Stations at one place (two halves of one ring) become one.
    """
    c = stations.centers
    order = list(range(len(c)))

    def gap(i: int, j: int) -> float:
        d = c[order[i]] - c[order[j]]
        return float(np.sqrt(d @ d))

    chord = np.diff(c, axis=0)
    folds = np.flatnonzero(np.einsum("ij,ij->i", chord[:-1], chord[1:]) < 0.0) + 1
    for _ in range(MOST_PASSES if len(folds) else 0):
        swapped = False
        for k in range(len(c) - 1):
            before = (gap(k - 1, k) if k > 0 else 0.0) + (gap(k + 1, k + 2) if k + 2 < len(c) else 0.0)
            after = (gap(k - 1, k + 1) if k > 0 else 0.0) + (gap(k, k + 2) if k + 2 < len(c) else 0.0)
            if after < before * (1.0 - 1e-9):
                order[k], order[k + 1] = order[k + 1], order[k]
                swapped = True
        if not swapped:
            break
    step = np.sqrt((np.diff(c[order], axis=0) ** 2).sum(axis=1))
    apart = np.concatenate(([True], step > SAME_PLACE * float(np.median(stations.radii))))
    if not len(folds) and bool(apart.all()):
        return stations
    pick = np.array(order)[apart]
    centers, directions = c[pick], stations.directions[pick]
    ahead = np.gradient(centers, axis=0) if len(pick) > 1 else directions
    sign = np.where(np.einsum("ij,ij->i", directions, ahead) < 0.0, -1.0, 1.0)
    return replace(
        stations,
        centers=centers,
        directions=directions * sign[:, None],
        radii=stations.radii[pick],
        curvatures=None,
        curvature_noise=None,
    )


@dataclass(slots=True)
class _RingStep:
    """From one ring to the next: a straight (angle 0) or a turn about ``normal``."""

    length: float
    angle: float
    normal: Array


def from_rings(stations: Stations, closed: bool) -> Draft | None:
    """A table from rings that stand square to their centerline; None where they do not.

    Between two rings the centerline is straight when both face along the chord, and an arc when both
    lean by the same angle h from it: its radius is then chord / (2 sin h) (isosceles triangle).
    """
    stations = stations if closed else in_order(stations)
    c, t = stations.centers, stations.directions
    if closed:
        c, t = np.concatenate((c, c[:1])), np.concatenate((t, t[:1]))
    if len(c) < 2:
        return None
    d = np.diff(c, axis=0)
    chord = np.sqrt((d * d).sum(axis=1))
    # a ring's direction is off by its noise over its radius, a chord's by it over its length
    slack = np.degrees(
        np.maximum(6.0 * stations.noise / float(np.median(stations.radii)), 2e-6) + 2.0 * stations.noise / chord
    )
    if float(slack.max()) > 0.5:
        return None
    d = d / chord[:, None]
    turn, lean_a, lean_b = _between(t[:-1], t[1:]), _between(t[:-1], d), _between(d, t[1:])
    normals = np.cross(t[:-1], t[1:])
    size = np.sqrt((normals * normals).sum(axis=1))
    normals = normals / np.where(size > 0.0, size, 1.0)[:, None]
    aside = np.degrees(np.abs(np.einsum("ij,ij->i", normals, d)))
    straight = (turn <= slack) & (lean_a <= slack) & (lean_b <= slack)
    uneven = np.maximum(np.abs(lean_a - turn / 2.0), np.abs(lean_b - turn / 2.0))
    bowed = (uneven <= slack + 0.01 * turn) & (aside <= slack + 0.01 * turn) & (turn > slack)
    if not bool((straight | bowed).all()):
        return None
    steps: list[_RingStep] = []
    for k in range(len(chord)):
        length, angle = float(chord[k]), float(turn[k])
        if straight[k]:
            if steps and steps[-1].angle == 0.0:
                steps[-1].length += length
            else:
                steps.append(_RingStep(length, 0.0, t[k]))
            continue
        arc = length / (2.0 * sin(radians(angle) / 2.0)) * radians(angle)
        last = steps[-1] if steps else None
        if last is not None and last.angle > 0.0:
            loose = 2.0 * float(slack[k]) / min(angle, last.angle)
            alike = abs(arc / angle * last.angle / last.length - 1.0) <= SAME_RADIUS + loose
            flat = degrees(float(np.sqrt(((normals[k] - last.normal) ** 2).sum()))) <= 0.1 + degrees(loose)
            if alike and flat:
                last.length += arc
                last.angle += angle
                continue
        steps.append(_RingStep(arc, angle, normals[k]))
    if closed and len(steps) == 1 and abs(steps[0].angle - 360.0) < 1.0:
        half = steps[0]
        steps = [
            _RingStep(half.length / 2.0, 180.0, half.normal),
            _RingStep(half.length / 2.0, 180.0, half.normal),
        ]
    if any(s.angle >= 359.0 for s in steps):
        return None
    return _assembled(steps, c[0], t[0], closed)


def _assembled(steps: list[_RingStep], start: Array, direction: Array, closed: bool) -> Draft:
    rows: list[Bend] = []
    feed = 0.0
    t = unit(vec(direction))
    first: Vec | None = None
    before: Vec | None = None
    for step in steps:
        if step.angle == 0.0:
            feed += step.length
            continue
        raw = np.asarray(step.normal)
        n = unit(vec(raw - (raw @ np.array(t)) * np.array(t)))
        rotation = 0.0 if before is None else signed_angle(before, n, t)
        first = first or n
        rows.append(Bend(feed, rotation, step.angle, step.length / radians(step.angle)))
        turned = np.array(t) * np.cos(radians(step.angle)) + np.cross(n, t) * np.sin(radians(step.angle))
        t, before, feed = unit(vec(turned)), n, 0.0
    place = Placement(vec(start), unit(vec(direction)), first or any_normal(unit(vec(direction))))
    return Draft(BendTable(tuple(rows), feed), place, closed)


def _between(a: Array, b: Array) -> Array:
    """Angles in degrees between rows of unit vectors."""
    c = np.cross(a, b)
    angle: Array = np.degrees(np.arctan2(np.sqrt((c * c).sum(axis=1)), np.einsum("ij,ij->i", a, b)))
    return angle
