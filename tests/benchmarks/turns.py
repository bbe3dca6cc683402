"""Work measured in turn: processor seconds of each, so that a busy machine hits all of them."""

from __future__ import annotations

import gc
import math
import time
from collections.abc import Callable

#: Seconds of all works together from which on one turn is enough: what is loaded once is little beside it.
LONG = 10.0
#: Seconds of all turns together after which no further one begins.
ENOUGH = 6.0


def in_turn(*works: Callable[[], object], times: int) -> tuple[float, ...]:
    """Least processor seconds of each, run in turn after one warm-up.

    Args:
        works: what is measured, and what it is held against.
        times: how many turns are measured, fewer where the works take long.
    """
    least = [math.inf] * len(works)
    spent = 0.0
    for turn in range(times + 1):
        for which, work in enumerate(works):
            gc.collect()
            start = time.process_time()
            kept = work()
            taken = time.process_time() - start
            del kept
            spent += taken
            if turn == 1:  # the warm-up counted only as long as there was nothing else
                least[which] = taken
            least[which] = min(least[which], taken)
        if spent > (ENOUGH if turn else LONG):
            break
    return tuple(least)
