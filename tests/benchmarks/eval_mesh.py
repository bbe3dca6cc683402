"""How often meshes of random, nasty tubes come back right, and whether what came back wrong was said.

``python tests/benchmarks/eval_mesh.py [--sets swept coarse irregular noisy] [--seeds 0 25] [--verbose]``. No test.
Tubes have up to six bends, straights of no length, of less than the tube's radius, and slight bends of 5 degrees.
"""

from __future__ import annotations

import argparse
import random
import time
from dataclasses import dataclass

import numpy as np
import trimesh
from mesh_tools import ringed, scanned, swept
from tubes import run_of

from converter.findings.wording import reason
from converter.importers.mesh.ends import starts_smaller
from converter.importers.mesh.skins import NotATube
from converter.importers.mesh.tube import measure
from converter.importers.mesh.tube_findings import tube_findings
from converter.importers.mesh.weld import MeshBody, weld
from converter.model.bends import BendTable, Placement
from converter.model.centerline import reverse_table
from converter.model.run import Run
from converter.model.section import Section

SETS = ("swept", "coarse", "irregular", "noisy")


def random_run(seed: int) -> tuple[Run, float]:
    """A run that does not touch itself, and the radius of its tube, mm."""
    rng = random.Random(seed)
    r = rng.uniform(6, 25)
    while True:
        count = rng.randint(0, 6)
        rows = []
        for k in range(count):
            feed = rng.choice([0.0, rng.uniform(0.2 * r, r), rng.uniform(r, 10 * r), rng.uniform(r, 10 * r)])
            rotation = 0.0 if k == 0 else rng.choice([0.0, 180.0, rng.uniform(-179, 179)])
            angle = rng.choice([rng.uniform(5, 30), rng.uniform(30, 170), 90.0])
            rows.append((feed, rotation, angle, r * rng.uniform(2.6, 9)))
        tail = rng.choice([0.0, rng.uniform(r, 8 * r)]) if count else rng.uniform(3 * r, 30 * r)
        if count and rng.random() < 0.7:
            rows[0] = (rng.uniform(r, 8 * r), *rows[0][1:])
        run = run_of(rows, tail, Placement((rng.uniform(-500, 500), rng.uniform(-500, 500), 0.0)))
        if not _touches(run, r):
            return run, r


def _touches(run: Run, r: float) -> bool:
    points, places, before = [], [], 0.0
    for segment in run.centerline:
        n = max(2, int(segment.length / (r * 0.5)) + 1)
        for u in np.linspace(0.0, 1.0, n):
            a, b = np.array(segment.start), np.array(segment.end)
            points.append(np.array(segment.point(segment.angle * u)) if hasattr(segment, "angle") else a + (b - a) * u)
            places.append(before + u * segment.length)
        before += segment.length
    p, s = np.array(points), np.array(places)
    apart = np.sqrt(((p[:, None] - p[None]) ** 2).sum(axis=2))
    return bool((apart[np.abs(s[:, None] - s[None]) > 7 * r] < 3 * r).any())


def mesh_of(kind: str, seed: int) -> tuple[Run, float, trimesh.Trimesh, float]:
    """Run, tube radius, mesh and its noise (mm) of a set's seed."""
    run, r = random_run(seed)
    if kind == "swept":
        return run, r, swept(run, Section("round", 2 * r, r * 0.1), r * 0.02), 0.0
    if kind == "coarse":
        return run, r, ringed(run, r, 8, 15.0), 0.0
    if kind == "irregular":
        return run, r, scanned(run, r, r * 0.25, 0.0, seed), 0.0
    return run, r, scanned(run, r, r * 0.15, r * 0.004, seed), 0.004 * r


@dataclass
class Verdict:
    """What became of one tube: 'right', 'wrong' or 'refused'; whether it was said; bends inside their uncertainty."""

    what: str
    said: bool
    inside: int
    bends: int
    text: str


def judge(kind: str, run: Run, r: float, body: MeshBody, noise: float) -> Verdict:
    """Measure a body and hold the table against the truth.

    Right is: as many bends, straights within 1e-3 mm and angles within 1e-3 degrees where the mesh is exact,
    within half a tube radius and 1 degree where it is noisy, and every radius within its uncertainty there.
    """
    try:
        got = measure(body)
    except NotATube as told:
        return Verdict("refused", True, 0, 0, reason(told.why))
    table, placement = run.table, run.placement
    if not starts_smaller(table, placement):
        table, placement = reverse_table(table, placement)
    findings = tube_findings("t", got)
    said = any(f.severity != "note" for f in findings if f.code != "mesh-skin")
    codes = [f.code for f in findings if f.code != "mesh-skin"]
    text = f"sigma {got.sigma:.2g} deviation {got.deviation:.2g} said {codes}"
    text += f"\n    want {shown(table)}\n    got  {shown(got.table)}"
    have = got.table
    if len(have.bends) != len(table.bends):
        # the bends of the truth that the table has no bend for count as outside
        return Verdict("wrong", said, *_matched(table, have), text)
    straights = max(abs(a - b) for a, b in zip(have.straights, table.straights, strict=True))
    pairs = list(zip(have.bends, table.bends, strict=True))
    turns = max(
        [max(abs(a.angle - b.angle), abs((a.rotation - b.rotation + 180) % 360 - 180)) for a, b in pairs] or [0]
    )
    off = [abs((a.clr or 0) - (b.clr or 0)) for a, b in pairs]
    inside = sum(o <= max(a.clr_uncertainty, 1e-5) for o, (a, _) in zip(off, pairs, strict=True))
    limit = (0.5 * r, 1.0) if noise else (1e-3, 1e-3)
    loose = [max(1.4 * a.clr_uncertainty, limit[0] * (0.05 if noise else 1.0)) for a, _ in pairs]
    good = straights <= limit[0] and turns <= limit[1] and all(o <= m for o, m in zip(off, loose, strict=True))
    text = f"straights {straights:.2g} turns {turns:.2g} radii {max(off or [0]):.2g} " + text
    return Verdict("right" if good else "wrong", said, inside, len(pairs), text)


def _matched(want: BendTable, have: BendTable) -> tuple[int, int]:
    """How many bends of a table with another number of bends hold some radius of the truth within their uncertainty."""
    radii = [b.clr or 0.0 for b in want.bends]
    inside = sum(any(abs((b.clr or 0.0) - r) <= max(b.clr_uncertainty, 1e-5) for r in radii) for b in have.bends)
    return inside, len(have.bends)


def shown(table: BendTable) -> str:
    """A table in one line."""
    rows = [
        f"({b.feed:.4g}, {b.rotation:.4g}, {b.angle:.4g}, {b.clr or 0:.5g}±{b.clr_uncertainty:.2g})"
        for b in table.bends
    ]
    return " ".join(rows) + f" {table.tail:.4g}"


def main() -> None:
    """Count over the sets and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--sets", nargs="+", default=list(SETS), choices=SETS)
    parser.add_argument("--seeds", nargs=2, type=int, default=(0, 25))
    parser.add_argument("--verbose", action="store_true")
    args = parser.parse_args()
    for kind in args.sets:
        verdicts, seconds = [], 0.0
        for seed in range(*args.seeds):
            run, r, mesh, noise = mesh_of(kind, seed)
            body = weld(np.array(mesh.vertices), np.array(mesh.faces)).bodies[0]
            start = time.perf_counter()
            verdict = judge(kind, run, r, body, noise)
            seconds += time.perf_counter() - start
            verdicts.append(verdict)
            if args.verbose and (verdict.what != "right" or verdict.said):
                print(f"  {kind} {seed} r {r:.2f} {verdict.what}{'' if verdict.said else ' SILENT'}: {verdict.text}")
        count = len(verdicts)
        right = sum(v.what == "right" for v in verdicts)
        silent = sum(v.what == "wrong" and not v.said for v in verdicts)
        false = sum(v.what == "right" and v.said for v in verdicts)
        inside, bends = sum(v.inside for v in verdicts), sum(v.bends for v in verdicts)
        print(
            f"{kind}: {right} of {count} right ({false} of them with a warning), {count - right - silent} wrong or "
            f"refused and said, {silent} wrong in silence; {inside} of {bends} radii within their uncertainty; "
            f"{1000 * seconds / count:.0f} ms each",
            flush=True,
        )


if __name__ == "__main__":
    main()
