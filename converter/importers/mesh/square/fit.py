"""The flat-sided tube that fits its vertices best: every number of table and section at once, by least squares.

A change of a rotation turns what follows but not the section, so derivatives are taken by differences: the residuals
are next to linear, and each number is moved by far less than the vertices are apart.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from converter.arrays import Array
from converter.importers.mesh.effort import Effort
from converter.importers.mesh.refine import (
    Fit,
    TableMove,
    changes_of,
    fit_with_doubt,
    moved_by,
    products_of,
    solved,
    weights_of,
)
from converter.importers.mesh.square.rows import (
    FramedPart,
    SectionPlaces,
    SkinRows,
    SquareSizes,
    misses,
    places_on,
    stretches_of,
)
from converter.model.bends import BendTable, Placement

STEPS, TRIES = 40, 10
NUDGE = 1e-5  #: of the radius: by what a number is moved to see what it does
#: Seconds of an ordinary processor for one number of a step: for each stretch, and for each row.
_STRETCH, _ROW = 3e-5, 1.5e-7
SMALLEST_CORNER = 1e-4  #: of the smaller side: a corner rounder than this is rounded


@dataclass(frozen=True, slots=True, eq=False)
class SquareFit(Fit):
    """A fit of a flat-sided tube; its ``radius`` is half the smaller side and its ``bore`` None.

    Attributes:
        sizes: of the section.
    """

    sizes: SquareSizes


@dataclass(frozen=True, slots=True)
class _Guess:
    """A table in place with its section."""

    table: BendTable
    placement: Placement
    sizes: SquareSizes

    @property
    def stretches(self) -> list[FramedPart]:
        return stretches_of(self.table, self.placement)


def free_sizes(sizes: SquareSizes) -> tuple[str, ...]:
    """The names of the sizes that are fitted: corners only where they are rounded, a wall only where there is one."""
    names = ["width", "height"]
    least = SMALLEST_CORNER * sizes.smaller
    names += ["corner"] if sizes.corner > least else []
    if sizes.wall is not None:
        names += ["wall", *(["inner"] if sizes.inner > least else [])]
    return tuple(names)


def fit_square(table: BendTable, placement: Placement, sizes: SquareSizes, rows: SkinRows, effort: Effort) -> SquareFit:
    """The flat-sided tube closest to vertices.

    Args:
        table, placement, sizes: where to begin; corners of 0 stay sharp.
        rows: the vertices.
        effort: what it takes is charged to; once it is used up, no further step is made.
    """
    names = free_sizes(sizes)
    now = _Guess(table, placement, sizes)
    scale = sizes.smaller / 2.0
    extent = max(scale, float(np.ptp(rows.points, axis=0).max()))
    spots = places_on(rows.points, now.stretches)
    residual = misses(rows, spots, sizes)
    weight = weights_of(residual)
    cost = float(weight @ (residual * residual))
    damping = 1e-9
    normal, changes = np.eye(1), _changes(now)
    for step in range(STEPS):
        if step and effort.is_used_up:
            break
        changes = _changes(now)
        numbers = len(changes) + len(names)
        effort.left -= numbers * (_STRETCH * (2 + 2 * len(table.bends)) + _ROW * len(residual))
        jac = _jacobian(now, changes, names, rows, spots, residual, NUDGE * scale, NUDGE * scale / extent)
        normal, gradient = products_of(jac, weight, residual)
        better: tuple[_Guess, SectionPlaces, Array, float] | None = None
        for _ in range(TRIES):
            lhs = normal.copy()
            diagonal = np.diag_indices_from(lhs)
            lhs[diagonal] += damping * np.maximum(lhs[diagonal], 1e-12 * float(lhs[diagonal].max()))
            move = -solved(lhs, gradient)
            if -float(gradient @ move) <= 1e-9 * cost + 1e-26 * len(residual):
                break
            tried = _moved(now, changes, names, move)
            if tried is not None:
                where = places_on(rows.points, tried.stretches)
                left = misses(rows, where, tried.sizes)
                new = float(weight @ (left * left))
                if new < cost:
                    better = tried, where, left, new
                    break
            damping = max(damping * 10.0, 1e-6)
        if better is None:
            break
        gained = cost - better[3]
        now, spots, residual, cost = better
        damping = max(damping / 30.0, 1e-9)
        done = gained <= 1e-6 * cost or cost <= 1e-24 * len(residual)
        weight = weights_of(residual)
        cost = float(weight @ (residual * residual))
        if done:
            break
    base = fit_with_doubt(now.table, now.placement, changes, normal, weight, residual, now.sizes.smaller / 2.0, None)
    return SquareFit(**{field.name: getattr(base, field.name) for field in fields(base)}, sizes=now.sizes)


def _changes(now: _Guess) -> list[TableMove]:
    """The unknowns of a table, and how a straight is turned about itself, which its section shows."""
    out = changes_of(now.table, now.placement, [one.part for one in now.stretches], True)
    if not now.table.bends:
        out.append(TableMove("turn", -1, True, (0.0, 0.0, 0.0), now.placement.direction, now.placement.start))
    return out


def _moved(now: _Guess, changes: list[TableMove], names: tuple[str, ...], move: Array) -> _Guess | None:
    moved = moved_by(now.table, now.placement, changes, move[: len(changes)].tolist())
    if moved is None:
        return None
    sizes = replace(
        now.sizes,
        **{name: getattr(now.sizes, name) + float(by) for name, by in zip(names, move[len(changes) :], strict=True)},
    )
    half = sizes.smaller / 2.0
    if half <= 0.0 or not 0.0 <= sizes.corner <= half or sizes.inner < 0.0:
        return None
    if sizes.wall is not None and not (0.0 < sizes.wall < half and sizes.inner <= half - sizes.wall):
        return None
    return _Guess(*moved, sizes)


def _jacobian(
    now: _Guess,
    changes: list[TableMove],
    names: tuple[str, ...],
    rows: SkinRows,
    spots: SectionPlaces,
    residual: Array,
    length: float,
    angle: float,
) -> Array:
    """What each row's distance changes by, for each mm or radian of every number."""
    count = len(changes) + len(names)
    out = np.zeros((len(residual), count))
    for k in range(count):
        turns = k < len(changes) and changes[k].kind in ("turn", "rotation", "angle")
        for step in (angle if turns else length, -(angle if turns else length)):
            move = np.zeros(count)
            move[k] = step
            tried = _moved(now, changes, names, move)
            if tried is not None:
                stretches = tried.stretches
                # a straight of nothing that went: what was on it is found anew
                same = len(stretches) == len(now.stretches)
                where = places_on(rows.points, stretches, spots.owner if same else None)
                out[:, k] = (misses(rows, where, tried.sizes) - residual) / step
                break
    return out
