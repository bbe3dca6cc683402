"""A tube of two sizes begun at its other end: the metal stays, so the other size may lie across the first bend."""

from __future__ import annotations

from dataclasses import replace

import pytest
from command_line import run
from shop_texts import shop_text, table
from tubes import run_of

from converter.model.frames import pieces
from converter.model.run import reverse_run
from converter.model.section import Section

WIDE, HIGH = Section("rectangular", 50.0, 2.0, height=30.0), Section("rectangular", 30.0, 2.0, height=50.0)


@pytest.mark.parametrize(
    ("rotations", "other"),
    [((0.0,), WIDE), ((0.0, 90.0), HIGH), ((0.0, -90.0), HIGH), ((0.0, 180.0), WIDE), ((0.0, 90.0, 90.0), WIDE),
     ((0.0, 90.0, 180.0), HIGH), ((0.0, 90.0, 0.0, -90.0), WIDE)],
)  # fmt: skip
def test_its_sizes_are_told_by_the_bend_that_comes_first(rotations, other):
    """By hand: each quarter turn of the plane puts the other size across it."""
    one = replace(run_of([(100.0, rotation, 60.0, 150.0) for rotation in rotations], 80.0), section=WIDE)
    assert reverse_run(one).section == other
    assert reverse_run(reverse_run(one)).section == WIDE


def test_its_corners_stay_where_they_are_in_space():
    """The section's own axes, carried along the tube from either end: the 50 mm side has the direction that it had."""
    one = replace(run_of([(100.0, 0.0, 60.0, 150.0), (70.0, 90.0, 40.0, 150.0)], 80.0), section=WIDE)
    back = reverse_run(one)
    end, begin = pieces(one.table, one.placement)[-1].end, pieces(back.table, back.placement)[0].start
    assert begin.point == pytest.approx(end.point, abs=1e-9)
    # across is the 50 mm side of the one, the 30 mm side of the other: they stand square to one another
    assert sum(a * b for a, b in zip(end.across, begin.across, strict=True)) == pytest.approx(0.0, abs=1e-9)


def test_it_keeps_its_dies_when_it_is_read_from_the_other_end(tmp_path, capsys):
    """A table knows its section; turned round, each bend is made on the die that it was made on."""
    dies = [table("[[die]]", name=name, rectangle=size, clr=200.0) for name, size in (("E", [50, 30]), ("H", [30, 50]))]
    (tmp_path / "shop.toml").write_text(shop_text("two ways", *dies))
    (tmp_path / "t.csv").write_text(
        "feed_mm,rotation_deg,angle_deg,clr_mm,section,od_mm,wall_mm,height_mm\n"
        "300,0,90,200,rectangular,50,2,30\n300,90,45,200,,,,\n300,,,,,,,\n"
    )
    words = [tmp_path / "t.csv", "--shop", tmp_path / "shop.toml", "--json", "--mm"]
    forward, back = (run(capsys, "setup", *words, *more).json["tubes"][0] for more in ((), ("--reverse",)))
    assert [(b["bend"], b["die"]) for b in forward["bends"]] == [(1, "E"), (2, "H")]
    assert [(b["bend"], b["die"]) for b in back["bends"]] == [(1, "H"), (2, "E")]
