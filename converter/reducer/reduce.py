"""From a drawing to its runs: chaining, the fast lane for exact chains, the general way for the rest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from converter.findings import Finding
from converter.model.bends import Placement
from converter.model.drawing import Drawing, ReadyTable
from converter.model.run import Run
from converter.progress import steps
from converter.reducer.chain import Chain, chain
from converter.reducer.plain import PlainRun, plain_runs
from converter.tolerances import DEFAULT, Tolerances
from converter.units import Display


def reduce_drawing(
    drawing: Drawing,
    tol: Tolerances = DEFAULT,
    *,
    across_layers: bool = True,
    display: Display | None = None,
) -> tuple[list[Run], list[Finding]]:
    """Every run of a drawing with its bend table, and what was noticed on the way.

    Args:
        drawing: what an importer read, in mm.
        tol: tolerances in mm and degrees.
        across_layers: whether a run may continue tangent onto another layer.
        display: how lengths are written in the findings' sentences.

    Returns:
        Runs in drawn order, none for a drawing without curves; findings about the drawing as a
        whole. Findings about one run are in ``Run.findings``.
    """
    display = display or Display()
    chains, found = chain(drawing.curves, tol, across_layers, display)
    plain = plain_runs(chains, tol)
    labels = _names(chains, drawing.tables)
    runs: list[Run] = []
    for one, quick, name in steps(zip(chains, plain, labels[: len(chains)], strict=True), "runs", len(chains)):
        run = _plain(one, quick, name) if quick is not None else _general(one, name, tol, display)
        if run is not None:
            runs.append(run)
    runs += [_ready(t, name) for t, name in zip(drawing.tables, labels[len(chains) :], strict=True)]
    return runs, found


def _names(chains: Sequence[Chain], tables: Sequence[ReadyTable]) -> list[str]:
    """A name for each run: what the file calls it, else its layer, else 'run'; numbered where it repeats."""
    wanted = []
    for one in chains:
        named = next((d.name for d, _ in one.items if d.name), None)
        wanted.append(named or (one.layer if one.layer not in (None, "", "0") else None) or "run")
    wanted += [t.name or "run" for t in tables]
    total = Counter(wanted)
    used: set[str] = {w for w in wanted if total[w] == 1 and w != "run"}
    seen: Counter[str] = Counter()
    names = []
    for w in wanted:
        name = w
        if total[w] > 1 or w == "run":
            while True:
                seen[w] += 1
                name = f"{w}-{seen[w]}"
                if name not in used:
                    break
            used.add(name)
        names.append(name)
    return names


def _plain(one: Chain, quick: PlainRun, name: str) -> Run:
    return Run(name, one.layer, False, quick.table, quick.placement, quick.deviation, one.handles, end_point=quick.end)


def _ready(table: ReadyTable, name: str) -> Run:
    return Run(
        name,
        table.layer,
        table.closed,
        table.table,
        table.placement or Placement(),
        table.deviation,
        (table.handle,) if table.handle else (),
        table.section,
        tuple(replace(f, tube=name) for f in table.findings),
        metal=table.metal,
        placed=table.placement is not None,
    )


def _general(one: Chain, name: str, tol: Tolerances, display: Display) -> Run | None:
    from converter.reducer.general import reduce_chain  # fitting code that exact drawings never need

    return reduce_chain(one, name, tol, display)
