"""Random tubes: each number on paper and in the pictures is the one that ``table --json`` and ``setup --json`` tell.

The PDF is read back with pypdf, the SVG with the standard library; both are compared with the JSON alone.
"""

from __future__ import annotations

import json
import random
import re
from collections import Counter
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from command_line import run as command
from pypdf import PdfReader

SHOP = """
units = "mm"

[shop]
name = "Slipway"

[[die]]
name = "R90"
od = 31.75
clr = 90.0
clamp = 45.0
between = 45.0
tail = 30.0
mark_offset = 7.5

[[test]]
die = "R90"
stop = 60.0
angle = 57.9

[[test]]
die = "R90"
stop = 100.0
angle = 96.8
"""


def table_text(seed: int, tubes: int) -> str:
    """Bend tables as CSV; rotations of every kind."""
    rnd = random.Random(seed)
    place = [
        f"{kind}_{axis}{'_mm' if kind == 'start' else ''}"
        for kind in ("start", "direction", "normal")
        for axis in "xyz"
    ]
    lines = ["tube,bend,feed_mm,rotation_deg,angle_deg,clr_mm," + ",".join(place)]
    for t in range(tubes):
        for b in range(rnd.randint(1, 5)):
            turn = rnd.choice([0.0, 90.0, 180.0, -90.0, round(rnd.uniform(-179.0, 179.0), 3)]) if b else 0.0
            feed, angle = rnd.uniform(120.0, 400.0), rnd.choice([90.0, 45.0, round(rnd.uniform(8.0, 130.0), 3)])
            lines.append(
                f"T{t},{b + 1},{feed:.4f},{turn},{angle},90" + (",,,,,,,,," if b else f",0,{5000 * t},0,1,0,0,0,0,1")
            )
        lines.append(f"T{t},tail,{rnd.uniform(150.0, 400.0):.4f},,,,,,,,,,,,")
    return "\n".join(lines) + "\n"


def pages_by_run(path: Path) -> dict[str, list[str]]:
    """Name -> the lines of text on its pages."""
    reader = PdfReader(path)
    starts = [reader.get_destination_page_number(entry) for entry in reader.outline]
    texts = [page.extract_text() for page in reader.pages]
    return {
        entry.title: "\n".join(texts[a:b]).splitlines()
        for entry, a, b in zip(reader.outline, starts, [*starts[1:], len(texts)], strict=True)
    }


def close(text: str, value: float, decimals: int) -> bool:
    return abs(float(text) - value) <= 0.5000001 * 10.0**-decimals


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "end", "unit"), [(1, "A", "mm"), (2, "B", "in")])
def test_twenty_random_tubes(tmp_path, capsys, monkeypatch, seed, end, unit):
    monkeypatch.chdir(tmp_path)
    Path("shop.toml").write_text(SHOP, encoding="utf-8")
    Path("tubes.csv").write_text(table_text(seed, 10), encoding="utf-8")
    given = ("tubes.csv", "--section", "31.75x2.1mm", "--metal", "mild steel", "--shop", "shop.toml", f"--{unit}")
    table = json.loads(command(capsys, "table", *given, "--json").out)
    setups = json.loads(command(capsys, "setup", *given, "--json", "--feed-from", end).out)
    sheet = command(capsys, "sheet", *given, "--to", "pdf", "-q", "--feed-from", end)
    assert sheet.status == 0, sheet
    assert command(capsys, "convert", *given, "--to", "svg", "--out", "out", "-q").status == 0
    pages = pages_by_run(Path("tubes-sheet.pdf"))
    per, decimals = (1.0, 2) if unit == "mm" else (25.4, 3)
    for tube, setup in zip(table["tubes"], setups["tubes"], strict=True):
        assert tube["name"] == setup["name"]
        check_table(pages[tube["name"]], setup, per, decimals)
        check_picture(pages[tube["name"]], tube, per, decimals)
        svg = ElementTree.parse(Path("out") / f"tubes-{tube['name']}.svg").getroot()
        check_picture([e.text or "" for e in svg.iter("{http://www.w3.org/2000/svg}text")], tube, per, decimals)


def check_table(lines: list[str], setup: dict[str, Any], per: float, decimals: int) -> None:
    """The rows of the set-up, the stick and which end goes first."""
    first = setup["feed_from"]
    assert f"The stick to scale: end {first} goes into the bender first" in lines
    stick = next(line for line in lines if line.startswith("Cut length: ")).split()[2]
    # but for 0.00003 mm, what coordinates in files are rounded by
    assert -3.0001e-5 / per <= float(stick) - setup["stick_length"] / per <= 1.0001 * 10.0**-decimals, "rounded up"
    starts = [i for i, line in enumerate(lines) if line.strip() == "R90" and re.fullmatch(r"[\d.]+", lines[i - 1])]
    assert len(starts) == len(setup["bends"])
    for n, (at, bend) in enumerate(zip(starts, setup["bends"], strict=True)):
        number, from_a, from_b = (lines[at - k] for k in (3, 2, 1))
        assert int(number) == bend["bend"]
        marks = {"A": from_a, "B": from_b}
        assert close(marks.pop(first), bend["mark"] / per, decimals)
        # from the other end along the stick as it is cut, which is rounded up
        assert close(marks.popitem()[1], float(stick) - bend["mark"] / per, decimals)
        assert close(lines[at + 1].rstrip("~?").rstrip("°"), bend["stop_angle"], 2)
        assert close(lines[at + 2].rstrip("°"), bend["target_angle"], 2)
        turn = lines[at + 3]
        if n == 0:
            assert turn == "as loaded"
        elif abs(bend["roll"]) < 1e-9:
            assert turn == "no turn"
        else:
            size, way = turn.split("° ")
            assert close(size, abs(bend["roll"]), 2)
            assert way == direction(bend["roll"])
            below = at + 4
            if n > 1:
                so_far = lines[below]
                while not so_far.endswith(")"):  # broken where the column is narrow
                    below += 1
                    so_far = f"{so_far} {lines[below]}"
                so_far = so_far.strip("()")
                below += 1
                if so_far != "as loaded":
                    size, way = so_far.split("° ")
                    assert close(size, abs(bend["roll_total"]), 2)
                    assert way == direction(bend["roll_total"])
            assert close(lines[below], abs(bend["roll_arc"]) / per, decimals)


def direction(turn: float) -> str:
    """Which way a turn goes, seen along the direction of feed."""
    return "half round" if abs(turn) > 179.999999 else "clockwise" if turn > 0 else "counter-clockwise"


def check_picture(lines: list[str], tube: dict[str, Any], per: float, decimals: int) -> None:
    """Call-outs beside their numbers, straights, rotations with the table's sign."""
    bends = tube["bends"]
    called = [i for i, line in enumerate(lines) if re.fullmatch(r"[\d.]+°, CLR [\d.]+", line)]
    assert len(called) == len(bends)
    found = {}
    for i in called:
        number = int(lines[i - 1])
        angle, clr = re.fullmatch(r"([\d.]+)°, CLR ([\d.]+)", lines[i]).groups()
        turn = re.fullmatch(r"rotation (-?[\d.]+)°", lines[i + 1]) if i + 1 < len(lines) else None
        found[number] = (angle, clr, turn[1] if turn else None)
    assert sorted(found) == list(range(1, len(bends) + 1))
    for number, bend in enumerate(bends, 1):
        angle, clr, turn = found[number]
        assert close(angle, bend["angle"], 2)
        assert close(clr, bend["clr"] / per, decimals)
        assert (turn is None) == (number == 1)
        if turn is not None:
            off = abs(float(turn) - bend["rotation"])
            assert min(off, 360.0 - off) <= 0.00501, "the table's sign"
    # of numbers that stand side by side the reader makes one line
    alone = re.compile(r"(?:straight )?-?\d+\.\d+(?: -?\d+\.\d+)*")
    numbers = [line.strip() for line in lines if alone.fullmatch(line.strip())]
    plain = Counter(word for line in numbers for word in re.findall(r"-?\d+\.\d+", line))
    for length in [*(bend["feed"] for bend in bends), tube["tail"]]:
        text = f"{length / per:.{decimals}f}"
        assert plain[text] >= 1 or any(close(word, length / per, decimals) for word in plain), text
