"""Spreading what rounding, healing and fitting left over: linear least squares with fixed directions."""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from converter.geometry.vectors import Vec, add, any_normal
from converter.reducer.directions import Element, arm_of, end_of, start_of
from converter.reducer.limits import MOST_SPREAD
from converter.reducer.pieces import Piece

Array = NDArray[np.float64]


def least_squares(
    elements: list[Element], pieces: list[Piece], lengths: list[float], radii: list[float], start: Vec
) -> tuple[list[float], list[float], Vec]:
    """Lengths, fitted radii and the start that bring the walk closest to the pieces.

    Directions stay fixed, so every position is linear in the unknowns. Straights that would
    come out negative are held at zero and the rest is solved again.
    """
    held: set[int] = set()
    for _ in range(6):
        free = [i for i, e in enumerate(elements) if e.is_straight and i not in held]
        loose = [i for i, e in enumerate(elements) if e.bow is not None and not e.bow.exact]
        column = {i: 3 + j for j, i in enumerate([*free, *loose])}
        if len(column) > MOST_SPREAD:
            return lengths, radii, start  # keep what was drawn, the deviation tells
        solution = _solve(elements, pieces, lengths, radii, start, column)
        new_lengths = [
            lengths[i] + float(solution[column[i]]) if i in column and e.is_straight else 0.0
            for i, e in enumerate(elements)
        ]
        new_radii = [r + float(solution[column[i]]) if i in column and i in loose else r for i, r in enumerate(radii)]
        negative = [i for i in free if new_lengths[i] < 0.0]
        if any(new_radii[i] <= 0.0 for i in loose):
            return lengths, radii, start  # nothing sensible: keep what was drawn, the deviation tells
        if not negative:
            break
        held.update(negative)
    x, y, z = (float(v) for v in solution[:3])
    new_lengths = [max(0.0, v) for v in new_lengths]
    return new_lengths, new_radii, add(start, (x, y, z))


def _solve(
    elements: list[Element],
    pieces: list[Piece],
    lengths: list[float],
    radii: list[float],
    start: Vec,
    column: dict[int, int],
) -> Array:
    """Changes of [start (3), free straights, fitted radii] by linear least squares; smallest where open."""
    size = 3 + len(column)
    # the position so far as a linear map of the unknowns: pos = start + const + coef @ unknowns
    coef = np.zeros((3, size))
    coef[:, :3] = np.eye(3)
    const = np.zeros(3)
    origin = np.array(start)
    rows: list[Array] = [coef.copy()]
    right: list[Array] = [np.zeros(3)]

    def want(directions: Array, at: Array, coefs: Array, target: Array, weight: float = 1.0) -> None:
        rows.append(weight * (directions @ coefs))
        right.append(weight * (directions @ (target - origin - at)))

    for i, e in enumerate(elements):
        if e.is_straight:
            d = np.array(e.t_in)
            u = np.array(any_normal(e.t_in))
            across = np.stack((u, np.cross(d, u)))
            piece = pieces[e.piece]
            for target in (start_of(piece), end_of(piece)):
                want(across, const, coef, np.array(target))
            if i in column:
                const = const + lengths[i] * d
                coef = coef.copy()
                coef[:, column[i]] += d
            continue
        if e.bow is None:
            continue
        b, chord = (np.array(v) for v in arm_of(e))
        center_coef, center_const = coef.copy(), const + radii[i] * b
        if i in column:
            center_coef[:, column[i]] += b
        center = np.array(e.bow.arc.center)
        if e.bow.exact:
            want(np.eye(3), center_const, center_coef, center)
        else:
            proof = e.bow.proof[np.linspace(0, len(e.bow.proof) - 1, min(16, len(e.bow.proof))).astype(int)]
            weight = 2.0 / sqrt(len(proof))
            arms = proof - center
            arms = arms / np.sqrt((arms * arms).sum(axis=1))[:, None]
            n = np.array(e.n)
            for arm, vertex in zip(arms, proof, strict=True):
                # |vertex - centre| = radius, linear near the fitted circle
                row = arm @ center_coef
                row[column[i]] += 1.0
                rows.append(weight * row[None, :])
                right.append(weight * np.array([arm @ (vertex - origin - center_const) - radii[i]]))
                want(n[None, :], center_const, center_coef, vertex, weight)
        const = const + radii[i] * chord
        if i in column:
            coef = coef.copy()
            coef[:, column[i]] += chord
    want(np.eye(3), const, coef, np.array(end_of(pieces[-1])))
    matrix, wanted = np.concatenate(rows), np.concatenate(right)
    normal = np.einsum("ij,ik->jk", matrix, matrix)
    # a trace of damping decides what the drawing leaves open, in favour of no change
    normal[np.diag_indices_from(normal)] += 1e-13 * float(np.trace(normal))
    solution: Array = np.linalg.solve(normal, np.einsum("ij,i->j", matrix, wanted))
    return solution
