"""Does an entity of a STEP file refer to itself, by way of others? Asked of its text before the CAD kernel sees it.

A sound exchange structure has no such cycle; the kernel follows one until its stack ends, and takes the process with
it before it says that anything is wrong.
"""

from __future__ import annotations

import numpy as np

from converter.arrays import Ints
from converter.importers.reference_cycles import in_cycle

#: Digits of an entity's number that are told apart, and blanks between it and the sign of equality.
_DIGITS, _BLANKS = 18, 64


def cycle_in(data: bytes) -> str:
    """An entity that refers to itself, by way of others or not, in a few words; '' for none.

    Args:
        data: an exchange structure without comments.
    """
    owners, targets, numbers = _references(b"".join(data.split(b"'")[::2]))
    place = in_cycle(owners, targets, len(numbers))
    return "" if place is None else f"#{numbers[place]} refers to itself, or to what refers to it"


def _references(text: bytes) -> tuple[Ints, Ints, Ints]:
    """Who refers to whom, as places among the entities in the order of the file; and the entities' numbers."""
    signs = np.frombuffer(text + b" " * (_DIGITS + _BLANKS + 2), dtype=np.uint8)
    marks = np.flatnonzero(signs[: len(text)] == ord("#"))
    at = marks + 1
    values = np.zeros(len(marks), dtype=np.int64)
    going = np.ones(len(marks), dtype=bool)
    for _ in range(_DIGITS):
        digits = signs[at]
        going &= (digits >= ord("0")) & (digits <= ord("9"))
        if not going.any():
            break
        values = np.where(going, values * 10 + digits - ord("0"), values)
        at = at + going
    for _ in range(_BLANKS):
        blank = (signs[at] <= ord(" ")) & (at < len(text))
        if not blank.any():
            break
        at = at + blank
    named = signs[at] == ord("=")
    owner_values = values[named]
    _, first = np.unique(owner_values, return_index=True)
    numbers = owner_values[np.sort(first)]  # an entity given twice is one
    order = np.argsort(numbers, kind="stable")
    owned = np.cumsum(named) - 1  # the entity that a reference stands in, -1 in the header
    refers = ~named & (owned >= 0)

    def place(of: Ints) -> Ints:
        found = np.searchsorted(numbers[order], of)
        found = np.minimum(found, len(numbers) - 1)
        return np.where(numbers[order][found] == of, order[found], -1)

    if not len(numbers) or not refers.any():
        empty = np.zeros(0, dtype=np.int64)
        return empty, empty, numbers
    owners, targets = place(owner_values[owned[refers]]), place(values[refers])
    known = targets >= 0
    return owners[known], targets[known], numbers
