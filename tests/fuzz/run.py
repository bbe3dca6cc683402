"""The campaign by hand: ``python tests/fuzz/run.py --cases 100000 --seed 7 --format dxf``.

Cases that are faults are kept in a folder with their command line (``--keep``); the count of every sort is written as
JSON lines (``--record``), from which ``--table`` makes the table of docs/fuzzing.md. ``--only N`` runs one case.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "helpers")]

from campaign import SORTS, campaign, made_case  # noqa: E402
from judge import judged, laid_out  # noqa: E402

#: Of a hundred cases of all sorts, how many of each.
SHARES = {
    "dxf": 32,
    "step": 6,
    "iges": 5,
    "brep": 2,
    "mesh": 8,
    "csv": 15,
    "json": 9,
    "toml": 12,
    "typed": 7,
    "compare": 4,
}
#: Cases between two lines of the record.
_STEP = 500


def main() -> int:
    """Run it; the exit status is 1 where there was a fault."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--cases", type=int, default=1000, help="how many in all")
    reader.add_argument("--first", type=int, default=0, help="number of the first case")
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--format", choices=sorted(SORTS), action="append", help="only this one; may be given again")
    reader.add_argument("--processes", type=int, default=1)
    reader.add_argument(
        "--command-every", type=int, default=50, help="each so manieth by the installed command; 0 for none"
    )
    reader.add_argument("--keep", type=Path, default=Path("/tmp/fuzz-faults"))
    reader.add_argument("--record", type=Path, help="append counts to this file")
    reader.add_argument("--only", type=int, help="run this case alone, in this process, and show it")
    reader.add_argument("--table", type=Path, nargs="+", help="print the table of these records instead")
    asked = reader.parse_args()
    if asked.table:
        print(table(asked.table))
        return 0
    sorts = asked.format or list(SORTS)
    if asked.only is not None:
        return _only(sorts[0], asked.seed, asked.only, asked.keep)
    shares = {sort: SHARES[sort] for sort in sorts}
    quota = {sort: max(1, round(asked.cases * share / sum(shares.values()))) for sort, share in shares.items()}
    faults = 0
    begun = dict.fromkeys(sorts, 0)
    while any(begun[sort] < quota[sort] for sort in sorts):  # a slice of each in turn, so that a part tells of all
        for sort in sorts:
            count = min(max(1, _STEP * shares[sort] // max(shares.values())), quota[sort] - begun[sort])
            if count <= 0:
                continue
            first = asked.first + begun[sort]
            tally = campaign(
                sort, asked.seed, range(first, first + count),
                processes=asked.processes, command_every=asked.command_every, keep=asked.keep,
            )  # fmt: skip
            begun[sort] += count
            faults += len(tally.faults)
            row = {"sort": sort, "seed": asked.seed, "first": first, "cases": count, **tally.counts}
            row |= {
                "by_command": tally.by_command,
                "seconds": round(tally.seconds, 1),
                "slowest": round(tally.slowest, 2),
            }
            row["faults"] = tally.faults
            print(json.dumps(row), flush=True)
            if asked.record:
                with asked.record.open("a", encoding="utf-8") as record:
                    record.write(json.dumps(row) + "\n")
    return 1 if faults else 0


def _only(sort: str, seed: int, count: int, keep: Path) -> int:
    case = made_case(sort, seed, count)
    folder = keep / "only"
    verdict = judged(case, folder)
    words, _ = laid_out(case, folder)
    print(words, verdict.kind, f"{verdict.seconds:.2f} s", verdict.why, sep="\n")
    return 1 if verdict.kind == "fault" else 0


def table(records: list[Path]) -> str:
    """The Markdown table of what was recorded, with sums."""
    rows = [json.loads(line) for path in records for line in path.read_text(encoding="utf-8").splitlines()]
    out = [
        "| input | tried | read | refused | crash told | faults | by the command | slowest, s | time, s |",
        "|---|--:|--:|--:|--:|--:|--:|--:|--:|",
    ]
    for sort in [*SORTS, "all"]:
        own = [row for row in rows if sort in (row["sort"], "all")]
        if not own:
            continue
        sums = {
            key: sum(row.get(key, 0) for row in own)
            for key in ("cases", "read", "refused", "crash", "fault", "by_command", "seconds")
        }
        slowest = max(row["slowest"] for row in own)
        cells = [f"{sums[key]:,}" for key in ("cases", "read", "refused", "crash", "fault", "by_command")]
        out.append(f"| {sort} | {' | '.join(cells)} | {slowest:.1f} | {sums['seconds']:,.0f} |")
    return "\n".join(out)


if __name__ == "__main__":
    os.environ.setdefault("PYTHONHASHSEED", "0")
    sys.exit(main())
