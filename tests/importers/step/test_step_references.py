"""References in a cycle, found in the text: held to the standard library's sorter of graphs, and to sound files."""

from __future__ import annotations

from graphlib import CycleError, TopologicalSorter
from random import Random

import numpy as np
import pytest
from places import FIXTURES

from converter.importers import reference_cycles
from converter.importers.step.bounds import cycle_in


def step_of(graph: dict[int, list[int]], order: list[int]) -> bytes:
    """Entities that refer to others, in an order; a text and the header hold what looks like references."""
    rows = [f"#{n} = THING('#{n}','it''s #{n}',({','.join(f'#{m}' for m in graph[n])}),$);" for n in order]
    return ("ISO-10303-21;\nHEADER;FILE_NAME('#1');ENDSEC;\nDATA;\n" + "\n".join(rows) + "\nENDSEC;").encode()


@pytest.mark.parametrize("seed", range(60))
def test_a_cycle_is_found_where_the_graph_has_one_and_only_there(seed):
    rng = Random(seed)
    numbers = rng.sample(range(1, 10**9), rng.randint(1, 40))
    graph = {n: rng.sample(numbers, min(len(numbers), rng.randrange(3))) for n in numbers}
    if rng.random() < 0.7:  # most of them: to earlier numbers only, or to a few more
        rank = {n: k for k, n in enumerate(numbers)}
        graph = {n: [m for m in to if rank[m] < rank[n] or rng.random() < 0.02] for n, to in graph.items()}
    order = numbers if rng.random() < 0.5 else rng.sample(numbers, len(numbers))
    try:
        TopologicalSorter(graph).prepare()
        cycle: set[int] = set()
    except CycleError as error:
        cycle = set(error.args[1])
    said = cycle_in(step_of(graph, order))
    assert bool(said) == bool(cycle)
    if cycle:
        at = int(said.split()[0].removeprefix("#"))
        assert at in numbers and _reaches_itself(graph, at)


def _reaches_itself(graph: dict[int, list[int]], at: int) -> bool:
    seen: set[int] = set()
    todo = list(graph[at])
    while todo:
        one = todo.pop()
        if one == at:
            return True
        if one not in seen:
            seen.add(one)
            todo += graph[one]
    return False


def test_odd_text_is_no_cycle_and_blanks_hide_none():
    assert cycle_in(b"DATA;#1=A(#2);#2=B($,#7,'#2');#2 =B(#99999999999999999999);ENDSEC;") == ""
    assert cycle_in(b"DATA;#1=A(#2);#2 \n\t = B( #1 );ENDSEC;").startswith("#")
    assert cycle_in(b"DATA;#1=A();#1=B(#2);#2=C(#1);ENDSEC;") != ""  # given twice: either may be meant
    assert cycle_in(b"#") == cycle_in(b"") == cycle_in(b"#1=") == ""


def test_a_chain_too_long_to_follow_counts_as_one(monkeypatch):
    monkeypatch.setattr(reference_cycles, "DEEPEST_CHAIN", 50)
    count = 200
    order = np.random.default_rng(1).permutation(count)
    owners, targets = order[:-1], order[1:]
    assert reference_cycles.in_cycle(owners, targets, count) is not None
    monkeypatch.setattr(reference_cycles, "DEEPEST_CHAIN", 500)
    assert reference_cycles.in_cycle(owners, targets, count) is None


@pytest.mark.parametrize("path", sorted((FIXTURES / "step").glob("*.step")), ids=lambda path: path.stem)
def test_what_programs_write_has_no_circle(path):
    assert cycle_in(path.read_bytes()) == ""
