"""Random cases against the CAD kernel, by hand: ``python tests/fuzz/stress.py --cases 10000 --seed 1 --what tubes``.

`stress_tubes` has what is asked of a tube, `stress_joints` what is asked of a cope and of a hole, `stress_roads` what
one tube comes to by all the roads it can come in by.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random
from time import process_time

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "helpers")]

from stress_joints import cope_misses, hole_misses  # noqa: E402
from stress_roads import road_misses  # noqa: E402
from stress_tubes import tube_misses  # noqa: E402

#: What is tried -> how far two ways to it are apart in a random case, each as a part of what is allowed: at most 1.
SORTS: dict[str, Callable[[Random], dict[str, float]]] = {
    "tubes": tube_misses,
    "copes": cope_misses,
    "holes": hole_misses,
    "roads": road_misses,
}


def stress(what: str, seed: int, numbers: range) -> tuple[Counter[str], dict[str, float], list[tuple[int, str]]]:
    """How many cases agree, the greatest miss of each sort as a part of what is allowed, and what does not agree."""
    counts: Counter[str] = Counter()
    worst: dict[str, float] = {}
    wrong: list[tuple[int, str]] = []
    for number in numbers:
        try:
            found = SORTS[what](Random(f"{what}/{seed}/{number}"))
        except Exception as error:  # any is a fault; the rest goes on
            wrong.append((number, f"{type(error).__name__}: {error}"))
            counts["fault"] += 1
            continue
        for name, part in found.items():
            worst[name] = max(part, worst.get(name, 0.0))
        over = {name: part for name, part in found.items() if not part <= 1.0}
        counts["off" if over else "agree"] += 1
        if over:
            wrong.append((number, str(over)))
    return counts, worst, wrong


def main() -> int:
    """Run it; the exit status is 1 where something does not agree."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--what", choices=SORTS, default="tubes")
    reader.add_argument("--cases", type=int, default=1000)
    reader.add_argument("--first", type=int, default=0)
    reader.add_argument("--seed", type=int, default=1)
    asked = reader.parse_args()
    bad = 0
    for first in range(asked.first, asked.first + asked.cases, 500):
        began = process_time()
        numbers = range(first, min(first + 500, asked.first + asked.cases))
        counts, worst, wrong = stress(asked.what, asked.seed, numbers)
        bad += len(wrong)
        row = {"first": first, **counts, "seconds": round(process_time() - began, 1)}
        print(json.dumps(row | {"worst": {k: f"{v:.2g}" for k, v in worst.items()}, "wrong": wrong}), flush=True)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
