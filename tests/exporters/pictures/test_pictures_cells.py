"""Which places of a picture are free: many boxes asked about at once, each by itself, and cell by cell."""

from __future__ import annotations

import numpy as np
import pytest

from converter.exporters.pictures.cells import Cells


def taken_cells(boxes, side):
    """The cells (column, row) that boxes lie on, worked out apart."""
    return {
        (column, row)
        for x0, y0, x1, y1 in boxes
        for column in range(int(np.floor(x0 / side)), int(np.floor(x1 / side)) + 1)
        for row in range(int(np.floor(y0 / side)), int(np.floor(y1 / side)) + 1)
    }


@pytest.mark.parametrize("size", [(0.1, 0.1), (2.0, 0.3), (9.3, 3.1), (5.6, 5.6), (22.4, 1.5), (1.0, 17.0)])
def test_boxes_asked_about_at_once_are_those_free_one_by_one(size):
    rng = np.random.default_rng(7)
    side, frame = 0.7, (-20.0, 5.0, 60.0, 45.0)
    cells, boxes = Cells(frame, side), []
    for x, y in zip(rng.uniform(-20.0, 54.0, 60).tolist(), rng.uniform(5.0, 42.0, 60).tolist(), strict=True):
        boxes.append((x, y, x + rng.uniform(0.0, 5.0), y + rng.uniform(0.0, 2.0)))
        cells.take_box(boxes[-1])
    x = rng.uniform(frame[0] + size[0] / 2.0, frame[2] - size[0] / 2.0, 400)
    y = rng.uniform(frame[1] + size[1] / 2.0, frame[3] - size[1] / 2.0, 400)
    free = cells.are_free(x, y, size).tolist()
    asked = np.array((x - size[0] / 2.0, y - size[1] / 2.0, x + size[0] / 2.0, y + size[1] / 2.0)).T.tolist()
    taken = taken_cells(boxes, side)
    assert free == [cells.is_free(tuple(box)) for box in asked]
    assert free == [not taken & taken_cells([box], side) for box in asked]
    assert 5 < sum(free) < 385
    # as many as there are, or a single one
    assert [bool(cells.are_free(x[i : i + 1], y[i : i + 1], size)[0]) for i in range(0, 400, 20)] == free[::20]
