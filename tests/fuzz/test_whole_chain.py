"""One drawing told in other ways: what is made of it stays the same from the table to audit and set-up.

Moved, turned, mirrored, scaled by a change of unit, drawn from the other end, its lines cut into several, its entities
shuffled, and 1e7 mm from the origin. Only what must change does: in a mirror the signs of rotations, from the other end
the order.
"""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Sequence
from math import cos, pi, sin
from pathlib import Path
from typing import Any

import pytest
from drawn import Drawn, Placed, draw, moved
from ezdxf.math import Matrix44
from shop_texts import STEEL, shop_text, springy, table
from stress import stress
from stress_roads import ROADS

from converter.exporters.data.setup_csv import setup_csv
from converter.exporters.data.setup_json import job_setup
from converter.exporters.data.table_csv import table_text
from converter.exporters.data.table_json import audit_document, job_table
from converter.job import open_job
from converter.model.bends import Bend, BendTable, Placement
from converter.settings import Settings

SHOP = shop_text(
    "for the chain",
    table("[machine]", max_angle=170, max_length=2600),
    table("[[die]]", name="D40", od=40, clr=100, max_angle=160, clamp=60, between=70, tail=40, mark_offset=3),
    STEEL,
    springy("D40"),
)


def random_tube(seed: int) -> Placed:
    """Some tubes that can be bent, and some that an audit has much to say of; one that starts along a slant."""
    rng = random.Random(seed)
    bends = tuple(
        Bend(
            rng.choice((20.0, 69.0, 70.0, 180.0, rng.uniform(65.0, 400.0))),
            0.0 if i == 0 else rng.choice((0.0, 90.0, -90.0, 180.0, rng.uniform(-170.0, 170.0))),
            rng.choice((45.0, 90.0, 160.0, rng.uniform(20.0, 165.0))),
            rng.choice((100.0, 100.0, 100.0, 80.0)),
        )
        for i in range(rng.randint(1, 4))
    )
    a = rng.uniform(0.0, 2.0 * pi)
    return BendTable(bends, rng.choice((30.0, 250.0, rng.uniform(50.0, 600.0)))), Placement(
        (10.0, -20.0, 30.0), (cos(a), sin(a), 0.0), (0.0, 0.0, 1.0)
    )


def draw_tube(path: Path, tube: Placed, how: Drawn) -> Path:
    """The tube on its layer."""
    return draw(path, {"RAIL": tube}, how)


def chain(drawing: Path, shop: Path, *, reverse: bool = False) -> dict[str, Any]:
    """What every answer says of the one tube, and every CSV file; it is read once."""
    job = open_job(
        str(drawing), Settings(shop=str(shop), sections=("40x2mm",), metal="steel", unit="mm", reverse=reverse)
    )
    (tube,), (made,) = job_table(job, ())["tubes"], job_setup(job)["tubes"]
    texts = (table_text(job.tubes, job.display), setup_csv(job.setups, job.display, job.findings))
    return {
        "rows": [(b["feed"], b["rotation"], b["angle"], b["clr"]) for b in tube["bends"]] + [(tube["tail"],)],
        "audit": [
            (f["code"], f["severity"], f["bend"], f["measured"], f["limit"]) for f in audit_document([job])["findings"]
        ],
        "set-up": made,
        "lists": [
            [number(cell) for key, cell in row.items() if not key.startswith(("start_", "direction_", "normal_"))]
            for text in texts
            for row in csv.DictReader(io.StringIO(text))
        ],
    }


def number(cell: str) -> float | str:
    """A cell of a CSV file, to be compared as a number where it is one."""
    try:
        return float(cell)
    except ValueError:
        return cell


def same(one: Any, other: Any, within: float, place: str = "") -> None:
    """Two answers, number by number; what tells where a tube lies or how it was read is not compared."""
    if isinstance(one, dict):
        assert one.keys() == other.keys(), place
        for key in one.keys() - {"handle", "handles", "start", "end", "source", "message", "cure", "placement", "at"}:
            same(one[key], other[key], within, f"{place}.{key}")
    elif isinstance(one, (list, tuple)):
        assert len(one) == len(other), (place, one, other)
        for i, (a, b) in enumerate(zip(one, other, strict=True)):
            same(a, b, within, f"{place}[{i}]")
    elif isinstance(one, float) or isinstance(other, float):
        assert one == pytest.approx(other, abs=within, rel=1e-9), place
    else:
        assert one == other, place


WAYS: dict[str, tuple[Drawn, float]] = {
    "moved": (Drawn(moved(1, 1e4)), 1e-5),
    "far away": (Drawn(moved(2, 1e7)), 2e-4),
    "in inches": (Drawn(unit=1), 1e-6),
    "in metres": (Drawn(unit=6), 1e-6),
    "cut": (Drawn(cut=3), 1e-6),
    "cut, moved and shuffled": (Drawn(moved(3, 1e4), cut=2, shuffled=5), 1e-5),
    "shuffled": (Drawn(shuffled=7), 1e-6),
}
SEEDS = range(6)


@pytest.fixture(scope="module")
def made_so_far() -> dict[int, dict[str, Any]]:
    return {}


@pytest.fixture
def plain_of(made_so_far, tmp_path):
    """The answers on a random tube as it stands; worked out once."""

    def of(seed: int, shop: Path) -> dict[str, Any]:
        if seed not in made_so_far:
            made_so_far[seed] = chain(draw_tube(tmp_path / "a.dxf", random_tube(seed), Drawn()), shop)
        return made_so_far[seed]

    return of


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
def test_the_same_tube_drawn_otherwise_has_the_same_answers(way, plain_of, tmp_path):
    how, within = WAYS[way]
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP)
    for seed in SEEDS:
        tube = random_tube(seed)
        plain = plain_of(seed, shop)
        other = chain(draw_tube(tmp_path / "b.dxf", tube, how), shop)
        if not ends_agree(plain, other):
            other = chain(tmp_path / "b.dxf", shop, reverse=True)
        same(plain, other, within, f"tube {seed}")


@pytest.mark.slow
def test_in_a_mirror_the_planes_turn_the_other_way_and_nothing_else_changes(plain_of, tmp_path):
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP)
    for seed in SEEDS:
        tube = random_tube(seed)
        plain = plain_of(seed, shop)
        mirror = Drawn(Matrix44.scale(1.0, 1.0, -1.0) @ moved(seed, 1e4))
        other = chain(draw_tube(tmp_path / "b.dxf", tube, mirror), shop)
        if not ends_agree(plain, other):
            other = chain(tmp_path / "b.dxf", shop, reverse=True)
        same(
            [signless(row) for row in plain["rows"]], [signless(row) for row in other["rows"]], 1e-5, f"rows of {seed}"
        )
        for row, seen in zip(plain["rows"][:-1], other["rows"][:-1], strict=True):
            assert (row[1] + seen[1] + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-5)
        same(plain["audit"], other["audit"], 1e-5, f"audit of {seed}")
        stops, seen = ([(b["stop_angle"], b["mark_from_a"]) for b in one["set-up"]["bends"]] for one in (plain, other))
        same(stops, seen, 1e-5, f"set-up of {seed}")


def signless(row: Sequence[float]) -> list[float]:
    return [abs(value) for value in row]


@pytest.mark.slow
def test_drawn_from_the_other_end_it_is_the_same_tube(plain_of, tmp_path):
    """The drawing's own order may tell which end is A; turned round by --reverse it is the one that was."""
    shop = tmp_path / "shop.toml"
    shop.write_text(SHOP)
    for seed in SEEDS:
        tube = random_tube(seed)
        plain = plain_of(seed, shop)
        other = chain(draw_tube(tmp_path / "b.dxf", tube, Drawn(backwards=True)), shop)
        turned = chain(tmp_path / "b.dxf", shop, reverse=True)
        same(plain, other if ends_agree(plain, other) else turned, 1e-6, f"tube {seed}")
        again = [*reversed([row[0] for row in turned["rows"]])]
        same([row[0] for row in other["rows"]], again, 1e-6, f"straights of {seed}")


def ends_agree(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether two tables begin at the same end: which one is A follows where the tube lies."""
    a, b = one["rows"], other["rows"]
    return len(a) == len(b) and abs(a[0][0] - b[0][0]) < 1e-3 and abs(a[-1][0] - b[-1][0]) < 1e-3


@pytest.mark.slow
@pytest.mark.parametrize(("what", "share"), [("tubes", 60), ("copes", 40), ("holes", 12), ("roads", 5)])
def test_random_tubes_copes_holes_and_roads_a_share_of_them(what, share):
    """``python tests/fuzz/stress.py`` runs the rest."""
    counts, worst, wrong = stress(what, 1, range(share))
    assert wrong == [] and counts == {"agree": share}
    assert (
        set(worst)
        >= {
            "tubes": {"length", "volume"},
            "copes": {"template"},
            "holes": {"outline"},
            "roads": {f"{road} length" for road in ROADS},
        }[what]
    )
