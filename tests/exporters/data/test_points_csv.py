"""Points of centerlines as CSV: by hand, against the centerline itself, and read back to the same table."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from math import dist, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import placements

from converter.errors import ReadError
from converter.exporters.data.points_csv import points_csv
from converter.importers.registry import ReadOptions
from converter.importers.source import Source
from converter.importers.tables.bend_csv import read_table_csv
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc
from converter.model.run import Run, Tube
from converter.reducer import reduce_drawing
from converter.units import Display


def tube(bends, tail, place=None, name="T"):
    return Tube(Run(name, "RAIL", False, BendTable(tuple(bends), tail), place or Placement()), None)


def rows_of(*tubes, display=None):
    return list(csv.DictReader(io.StringIO(points_csv(tubes, display or Display("mm")))))


def read_back(text):
    drawing = read_table_csv(Source("points.csv", None, text.encode()), ReadOptions())
    assert [one for one in drawing.findings if one.code != "units-assumed"] == []
    return reduce_drawing(drawing)[0]


def point(row, name="", unit="mm"):
    return tuple(float(row[f"{name}{v}_{unit}"]) for v in "xyz")


def test_by_hand():
    """100 along x, a quarter turn of radius 50 toward y, 80 more."""
    run = tube([Bend(100.0, 0.0, 90.0, 50.0)], 80.0, Placement((0, 0, 0), (1, 0, 0), (0, 0, 1)))
    first, bend, last = rows_of(run)
    assert [row["point"] for row in (first, bend, last)] == ["A", "1", "B"] and first["layer"] == "RAIL"
    assert point(first) == (0, 0, 0) and point(bend) == (150, 0, 0) and point(last) == (150, 130, 0)
    assert (bend["clr_mm"], bend["turns_by_deg"], bend["has_corner"]) == ("50", "90", "yes")
    assert point(bend, "tangent_a_") == (100, 0, 0) and point(bend, "tangent_b_") == (150, 50, 0)
    assert point(bend, "center_") == (100, 50, 0)
    inches = rows_of(run, display=Display("in"))[1]
    assert point(inches, unit="in") == pytest.approx((150.0 / 25.4, 0, 0), abs=1e-9)


def test_a_bend_of_half_a_turn_and_more_has_no_corner_and_says_so():
    run = tube([Bend(100.0, 0.0, 180.0, 50.0), Bend(20.0, 0.0, 30.0, 50.0)], 80.0)
    _, bend, following, _ = rows_of(run)
    assert (bend["x_mm"], bend["y_mm"], bend["z_mm"], bend["has_corner"]) == ("", "", "", "no")
    assert bend["clr_mm"] == "50" and dist(point(bend, "tangent_a_"), point(bend, "tangent_b_")) == pytest.approx(100.0)
    assert following["has_corner"] == "yes"
    with pytest.raises(ReadError, match="no corner, so corners cannot tell this tube"):
        read_back(points_csv([run], Display("mm")))


def test_a_sharp_corner_beside_one_bend_stays_sharp():
    run = tube([Bend(100.0, 0.0, 90.0, None, corner=True), Bend(100.0, 0.0, 90.0, 50.0)], 80.0)
    assert [row["clr_mm"] for row in rows_of(run)] == ["", "0", "50", ""]
    (back,) = read_back(points_csv([run], Display("mm")))
    assert [bend.clr for bend in back.table.bends] == [None, pytest.approx(50.0)]
    assert back.table.straights == pytest.approx([100.0, 100.0, 80.0])


LENGTHS = st.floats(5.0, 2000.0)
BENDS = st.builds(Bend, LENGTHS, st.floats(-179.0, 180.0), st.floats(5.0, 150.0), st.floats(20.0, 300.0))


@settings(max_examples=40)
@given(bends=st.lists(BENDS, min_size=1, max_size=6), tail=LENGTHS, place=placements())
def test_read_back_it_is_the_same_table(bends, tail, place):
    table = BendTable((replace(bends[0], rotation=0.0), *bends[1:]), tail)
    run = tube(table.bends, table.tail, place)
    arcs = [piece for piece in run.run.centerline if isinstance(piece, Arc)]
    rows = rows_of(run)
    for row, arc in zip(rows[1:-1], arcs, strict=True):
        for name, wanted in (("tangent_a_", arc.start), ("tangent_b_", arc.end), ("center_", arc.center)):
            assert point(row, name) == pytest.approx(wanted, abs=1e-6)
        corner = point(row)  # as far from both tangent points, and outside of the arc by R / cos(angle / 2)
        assert dist(corner, arc.start) == pytest.approx(dist(corner, arc.end), abs=1e-6)
        assert dist(corner, arc.center) == pytest.approx(sqrt(dist(corner, arc.start) ** 2 + arc.radius**2), abs=1e-6)
    (back,) = read_back(points_csv([run], Display("mm")))
    for one, other in zip(back.table.bends, table.bends, strict=True):
        assert (one.feed, one.angle, one.clr) == pytest.approx((other.feed, other.angle, other.clr), abs=1e-6)
    for one, other in list(zip(back.table.bends, table.bends, strict=True))[1:]:
        assert abs((one.rotation - other.rotation + 180.0) % 360.0 - 180.0) < 1e-6
    assert back.table.tail == pytest.approx(table.tail, abs=1e-6)
