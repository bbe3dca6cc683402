"""Spreading what rounding, healing and fitting left over: linear least squares with fixed directions."""

from __future__ import annotations

from collections.abc import Collection
from math import sqrt

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import Vec, add, any_normal
from converter.limits import GREATEST_RADIUS
from converter.reducer.adjusting.directions import Element, arm_of, end_of, start_of
from converter.reducer.adjusting.walk import WalkStep, solve_walk
from converter.reducer.pieces import Bow, Piece

PROOFS = 16  #: vertices of a bow that are looked at


def least_squares(
    elements: list[Element], pieces: list[Piece], lengths: list[float], radii: list[float], start: Vec
) -> tuple[list[float], list[float], Vec]:
    """Lengths, fitted radii and the start that bring the walk closest to the pieces.

    Directions stay fixed, so every position is linear in the unknowns. Straights that would
    come out negative are held at zero and the rest is solved again.
    """
    held: set[int] = set()
    loose = {i for i, e in enumerate(elements) if e.bow is not None and not e.bow.exact}
    for _ in range(6):
        free = {i for i, e in enumerate(elements) if e.is_straight and i not in held}
        shift, changes = _solve(elements, pieces, lengths, radii, start, free | loose)
        new_lengths = [v + c if i in free else 0.0 for i, (v, c) in enumerate(zip(lengths, changes, strict=True))]
        new_radii = [r + c if i in loose else r for i, (r, c) in enumerate(zip(radii, changes, strict=True))]
        negative = [i for i in free if new_lengths[i] < 0.0]
        if any(not 0.0 < new_radii[i] <= GREATEST_RADIUS for i in loose):
            return lengths, radii, start  # nothing sensible: keep what was drawn, the deviation tells
        if not negative:
            break
        held.update(negative)
    return [max(0.0, v) for v in new_lengths], new_radii, add(start, shift)


def _solve(
    elements: list[Element],
    pieces: list[Piece],
    lengths: list[float],
    radii: list[float],
    start: Vec,
    free: Collection[int],
) -> tuple[Vec, list[float]]:
    """The shift of the start, and the change of each element's length or radius, 0 where it is not free."""
    point = np.array(start)  # where the walk is before anything changes; the state is how far it has moved
    steps = [_point_step(np.zeros(3))]  # it begins where it was drawn to
    for i, e in enumerate(elements):
        toward = np.zeros((3, 1 if i in free else 0))
        if e.is_straight:
            d, u = np.array(e.t_in), np.array(any_normal(e.t_in))
            across = np.tile(np.stack((u, np.cross(d, u))), (2, 1))
            ends = np.array([start_of(pieces[e.piece])] * 2 + [end_of(pieces[e.piece])] * 2)
            toward[:] = d[:, None]
            none = np.zeros((4, toward.shape[1]))
            steps.append(WalkStep(across, none, ((ends - point) * across).sum(axis=1), np.eye(3), toward))
            point = point + (lengths[i] if i in free else 0.0) * d
        elif e.bow is not None:
            arm, chord = (np.array(v) for v in arm_of(e))
            to_center = np.repeat(arm[:, None], toward.shape[1], axis=1)
            toward[:] = chord[:, None]
            equations = _bow_equations(e, e.bow, point + radii[i] * arm, radii[i], to_center)
            steps.append(WalkStep(*equations, np.eye(3), toward))
            point = point + radii[i] * chord
        else:
            steps.append(WalkStep(np.zeros((0, 3)), np.zeros((0, 0)), np.zeros(0), np.eye(3), toward))
    steps.append(_point_step(np.array(end_of(pieces[-1])) - point))
    solved = solve_walk(steps)
    x, y, z = solved.state.tolist()
    return (x, y, z), [float(change[0]) if len(change) else 0.0 for change in solved.unknowns[1:-1]]


def _point_step(off: Array) -> WalkStep:
    """That the walk is to move by ``off`` (3,) mm here."""
    return WalkStep(np.eye(3), np.zeros((3, 0)), off, np.eye(3), np.zeros((3, 0)))


def _bow_equations(e: Element, bow: Bow, at: Array, radius: float, to_center: Array) -> tuple[Array, Array, Array]:
    """Equations of a bow whose centre is ``at`` so far: on the drawn one, or vertices on its circle."""
    center = np.array(bow.arc.center)
    if bow.exact:
        return np.eye(3), to_center, center - at
    proof = bow.proof[np.linspace(0, len(bow.proof) - 1, min(PROOFS, len(bow.proof))).astype(int)]
    weight = 2.0 / sqrt(len(proof))
    arms = proof - center
    arms = arms / np.sqrt((arms * arms).sum(axis=1))[:, None]
    normals = np.tile(np.array(e.n), (len(proof), 1))
    # |vertex - centre| = radius, linear near the fitted circle
    c = np.concatenate((arms @ to_center + 1.0, normals @ to_center))
    b = np.concatenate((((proof - at) * arms).sum(axis=1) - radius, ((proof - at) * normals).sum(axis=1)))
    return weight * np.concatenate((arms, normals)), weight * c, weight * b
