"""What the benchmark script promises of its own: how often it measures, and what an interrupted run leaves."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import benchmark
import pytest
import turns

ROW = benchmark.Row("hats", 2.0, 1.0, "s", "caps", 3.0)


@pytest.mark.parametrize(
    ("lasts", "calls", "least"),
    [
        # by hand: a warm-up and three turns of 0.3 s; a warm-up of 5 s and one turn, which comes to more than 6 s;
        # and 12 s, of which the first turn is all
        ({"ours": [0.2, 0.1, 0.3, 0.2], "other": [0.1] * 4}, 4, (0.1, 0.1)),
        ({"ours": [1.0, 2.0], "other": [4.0, 3.0]}, 2, (2.0, 3.0)),
        ({"ours": [5.0], "other": [7.0]}, 1, (5.0, 7.0)),
    ],
)
def test_what_takes_long_is_measured_less_often(lasts, calls, least, monkeypatch):
    now, called = 0.0, Counter()

    def work(name):
        def run():
            nonlocal now
            now += lasts[name][called[name]]
            called[name] += 1

        return run

    monkeypatch.setattr(turns.time, "process_time", lambda: now)
    assert turns.in_turn(work("ours"), work("other"), times=3) == pytest.approx(least)
    assert called == {"ours": calls, "other": calls}


def test_an_interrupted_run_leaves_what_it_has(tmp_path, monkeypatch):
    def interrupted(folder: Path, times: int) -> benchmark.Row:
        raise KeyboardInterrupt

    monkeypatch.setitem(benchmark.ROWS, "speed", lambda folder, times: ROW)
    monkeypatch.setitem(benchmark.ROWS, "help", interrupted)
    monkeypatch.setattr(
        benchmark.sys, "argv", ["benchmark.py", "--only", "speed", "--only", "help", "--write", str(tmp_path)]
    )
    with pytest.raises(KeyboardInterrupt):
        benchmark.main()
    text = (tmp_path / "speed.md").read_text(encoding="utf-8")
    assert "| hats | 2.000 s | 1.000 s | caps | 2.00 | at most 3 | met |" in text
    left_out = text[text.index("Not measured this time") :]
    assert "help" in left_out and "growth" in left_out and "speed," not in left_out
    assert not (tmp_path / "speed.svg").exists()


def test_every_row_is_measured_once_and_the_long_ones_last():
    assert sorted(benchmark.ORDER) == sorted([*benchmark.ROWS, "growth"])
    assert set(benchmark.ORDER[-len(benchmark.LONG) :]) == benchmark.LONG <= set(benchmark.ROWS)
