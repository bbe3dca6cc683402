"""Arrays of numbers by what they hold; docstrings give their shapes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
#: Places in an array.
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]
