"""How often meshes of random square and rectangular tubes come back right, and whether what came back wrong was said.

``python tests/benchmarks/eval_mesh_square.py [--sets swept kernel ...] [--seeds 0 25] [--verbose]``. No test.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from flat_meshes import KINDS, FlatMesh, flat_mesh

from converter.findings.wording import reason
from converter.importers.mesh.effort import Effort
from converter.importers.mesh.measured import Measured
from converter.importers.mesh.read import measured_as
from converter.importers.mesh.skins import NotATube
from converter.importers.mesh.square.measure import section_of
from converter.importers.mesh.tube_findings import tube_findings
from converter.importers.mesh.weld import weld
from converter.model.centerline import reverse_table


def judge(one: FlatMesh, cut: bool) -> tuple[str, bool, str]:
    """'right', 'wrong' or 'refused', whether it was said, and the details.

    Right is: the section, as many bends, straights, angles and radii within 5e-3 mm and 2e-3 degrees where the mesh
    is exact, and within half the section and 1 degree where it is noisy. ``cut``: but for the first straight.
    """
    body = weld(np.array(one.mesh.vertices), np.array(one.mesh.faces)).bodies[0]
    try:
        got = measured_as(body, Effort(len(body.faces)))
    except NotATube as told:
        return "refused", True, reason(told.why)
    said = [f.code for f in tube_findings("t", got) if f.severity != "note" and f.code != "mesh-skin"]
    miss = min(_differs(one, got, flip, cut) for flip in (False, True))
    text = f"off by {miss:.3g} of what is allowed, sigma {got.sigma:.2g} said {said}"
    text += f"\n    {one.section} {one.run.table}\n    {got.sizes} {got.table}"
    return ("right" if miss <= 1.0 else "wrong"), bool(said), text


def _differs(one: FlatMesh, got: Measured, flip: bool, cut: bool) -> float:
    """By how much of what is allowed a tube misses the one it was made from, read from either end."""
    table = reverse_table(one.run.table, one.run.placement)[0] if flip else one.run.table
    have, section, want = got.table, one.section, got.sizes
    if want is None or len(have.bends) != len(table.bends):
        return np.inf
    made = section_of(want)
    smaller = section.smaller
    length = 0.25 * smaller if one.noise else 5e-3
    size = max(1e-3, one.noise)
    turn = 2e-3 if not one.noise else 1.0
    quarter = flip and round(sum(b.rotation for b in one.run.table.bends) / 90.0) % 2
    sizes = (section.height, section.od) if quarter else (section.od, section.height)
    if not table.bends:
        sizes = (section.greater, section.smaller)
    off = [abs(a - b) / size for a, b in zip((made.od, made.height), sizes, strict=True)]
    if made.kind.hollow != section.kind.hollow:
        return np.inf
    if section.kind.hollow and made.kind.hollow:
        off.append(abs(made.wall - section.wall) / size)
    off.append(abs(made.corner - section.corner) / (5.0 * size))
    straights = list(zip(have.straights, table.straights, strict=True))
    if cut:
        # the end that is cut is end A of what it was made from; a mitre's axis still ends where it did
        straights = straights[:-1] if flip else straights[1:]
    off += [abs(a - b) / length for a, b in straights]
    for a, b in zip(have.bends, table.bends, strict=True):
        off += [abs(a.angle - b.angle) / turn, abs((a.rotation - b.rotation + 180.0) % 360.0 - 180.0) / turn]
        loose = max(1.4 * a.clr_uncertainty, 0.05 * smaller if one.noise else length)
        off.append(abs((a.clr or 0.0) - (b.clr or 0.0)) / loose)
    return max(off)


def main() -> None:
    """Count over the sets and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--sets", nargs="+", default=list(KINDS), choices=KINDS)
    parser.add_argument("--seeds", nargs=2, type=int, default=(0, 25))
    parser.add_argument("--verbose", action="store_true")
    args = parser.parse_args()
    for kind in args.sets:
        counts: dict[tuple[str, bool], int] = {}
        seconds = 0.0
        for seed in range(*args.seeds):
            one = flat_mesh(kind, seed)
            start = time.process_time()
            what, said, text = judge(one, kind == "coped")
            seconds += time.process_time() - start
            counts[what, said] = counts.get((what, said), 0) + 1
            if args.verbose and (what != "right" or said):
                print(f"  {kind} {seed} {what}{'' if said else ' SILENT'}: {text}")
        count = args.seeds[1] - args.seeds[0]
        silent = counts.get(("wrong", False), 0)
        print(
            f"{kind}: {counts.get(('right', False), 0) + counts.get(('right', True), 0)} of {count} right "
            f"({counts.get(('right', True), 0)} of them with a warning), {counts.get(('refused', True), 0)} refused, "
            f"{counts.get(('wrong', True), 0)} wrong and said, {silent} wrong in silence; "
            f"{1000 * seconds / count:.0f} ms each",
            flush=True,
        )


if __name__ == "__main__":
    main()
