"""Different numbers of an array, without what numpy loads for arrays with holes."""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

Kind = TypeVar("Kind", bound=np.generic)


def distinct(values: NDArray[Kind]) -> NDArray[Kind]:
    """The different values, rising: those of `numpy.unique`, whose plain form loads `numpy.ma`, 20 ms."""
    ordered: NDArray[Any] = np.sort(values, axis=None)
    if len(ordered) < 2:
        return ordered
    return ordered[np.concatenate(([True], ordered[1:] != ordered[:-1]))]
