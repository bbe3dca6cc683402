"""The campaign by hand: ``python tests/fuzz/run.py --cases 100000 --seed 7 --format dxf``.

Cases that are faults are kept in a folder with their command line (``--keep``); the count of every sort is written as
JSON lines (``--record``), from which ``--table`` makes the table of docs/fuzzing.md; a run that died goes on where its
record ends. ``--again FILE`` runs what was a fault in a record once more, and writes into it what became of that.
``--only N`` runs one case.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "helpers")]

from campaign import JUDGES, SORTS, campaign, made_case  # noqa: E402
from judge import judged, laid_out  # noqa: E402

#: Of some hundred cases of all sorts, how many of each.
SHARES = {
    "dxf": 15,
    "dxf-rare": 4,
    "records": 3,
    "step": 4,
    "step-rare": 2,
    "iges": 3,
    "brep": 1,
    "mesh": 8,
    "csv": 20,
    "json": 15,
    "toml": 15,
    "typed": 5,
    "compare": 2,
    "options": 3,
}
#: Cases between two lines of the record.
_STEP = 200


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
    reader.add_argument("--record", type=Path, help="append counts to this file; what is in it is not run again")
    reader.add_argument("--again", type=Path, nargs="+", help="run the faults of these records again instead")
    reader.add_argument("--only", type=int, help="run this case alone, in this process, and show it")
    reader.add_argument("--table", type=Path, nargs="+", help="print the table of these records instead")
    asked = reader.parse_args()
    if asked.table:
        print(table(asked.table))
        return 0
    if asked.again:
        return 1 if sum(again(record, asked.keep) for record in asked.again) else 0
    sorts = asked.format or list(SORTS)
    if asked.only is not None:
        return _only(sorts[0], asked.seed, asked.only, asked.keep)
    shares = {sort: SHARES[sort] for sort in sorts}
    quota = {sort: max(1, round(asked.cases * share / sum(shares.values()))) for sort, share in shares.items()}
    faults = 0
    begun = {sort: _recorded(asked.record, sort, asked.seed, asked.first) for sort in sorts}
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
                "command_every": asked.command_every,
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


def _rows(record: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in record.read_text(encoding="utf-8").splitlines()]


def _recorded(record: Path | None, sort: str, seed: int, first: int) -> int:
    """How many cases of a sort a record has from a number on, one slice after the other."""
    if record is None or not record.exists():
        return 0
    slices = {row["first"]: row["cases"] for row in _rows(record) if (row["sort"], row["seed"]) == (sort, seed)}
    done = 0
    while first + done in slices:
        done += slices[first + done]
    return done


def again(record: Path, keep: Path) -> int:
    """Run the faults of a record again and write into it what became of them; how many are left."""
    rows = _rows(record)
    for row in rows:
        numbers = [count for count, _ in row["faults"]]
        if not numbers:
            continue
        tally = campaign(
            row["sort"], row["seed"], numbers, command_every=row.get("command_every", 0), keep=keep
        )  # fmt: skip
        mended = sorted(set(numbers) - {count for count, _ in tally.faults})
        row["fault"] = len(tally.faults)
        for kind in ("read", "refused", "crash"):
            row[kind] = row.get(kind, 0) + tally.counts[kind]
        row["mended"] = row.get("mended", []) + mended
        row["faults"] = tally.faults
        print(json.dumps({key: row[key] for key in ("sort", "seed", "first", "mended", "faults")}), flush=True)
    written = record.with_suffix(".new")
    written.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
    written.replace(record)
    return sum(len(row["faults"]) for row in rows)


def _only(sort: str, seed: int, count: int, keep: Path) -> int:
    case = made_case(sort, seed, count)
    folder = keep / "only"
    verdict = JUDGES.get(sort, judged)(case, folder)
    words, _ = laid_out(case, folder)
    print(words, verdict.kind, f"{verdict.seconds:.2f} s", verdict.why, sep="\n")
    return 1 if verdict.kind == "fault" else 0


def table(records: list[Path]) -> str:
    """The Markdown table of what was recorded, with sums."""
    rows = [row for path in records for row in _rows(path)]
    kinds = ("cases", "read", "refused", "crash", "mended", "fault", "by_command")
    out = [
        "| input | tried | read | refused | crash told | once a fault | faults left | by the command | time, s |",
        "|---|--:|--:|--:|--:|--:|--:|--:|--:|",
    ]
    for sort in [*SORTS, "all"]:
        own = [row for row in rows if sort in (row["sort"], "all")]
        if not own:
            continue
        counts = [row | {"mended": len(row.get("mended", ()))} for row in own]
        cells = [f"{sum(row.get(key, 0) for row in counts):,}" for key in kinds]
        out.append(f"| {sort} | {' | '.join(cells)} | {sum(row['seconds'] for row in own):,.0f} |")
    return "\n".join(out)


if __name__ == "__main__":
    os.environ.setdefault("PYTHONHASHSEED", "0")
    sys.exit(main())
