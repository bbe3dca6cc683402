"""Random tubes of up to 30 bends through files and back: entities shuffled, reversed and split on the way.

The DXF is written with ezdxf alone and the CSV by our exporter; both are read by our importers.
"""

from __future__ import annotations

import random
from io import StringIO
from math import atan2, degrees

import ezdxf
import pytest
from ezdxf.math import OCS
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from strategies import placements, tables
from test_reduce import pieces_at_random, self_touching

from converter.importers.registry import ReadOptions, read
from converter.model.centerline import rebuild
from converter.model.curve import Arc, Line
from converter.model.run import reverse_run
from converter.reducer import reduce_drawing


def assert_same_tube(run, table, placement, tight=1e-6):
    """The run is the table in place, from either end."""
    if sum(abs(a - b) for a, b in zip(run.start, placement.start, strict=True)) > 1e-3:
        run = reverse_run(run)
    assert run.start == pytest.approx(placement.start, abs=tight)
    assert run.placement.direction == pytest.approx(placement.direction, abs=tight)
    assert run.placement.normal == pytest.approx(placement.normal, abs=tight)
    assert len(run.table.bends) == len(table.bends)
    assert run.table.straights == pytest.approx(table.straights, abs=tight)
    for got, want in zip(run.table.bends, table.bends, strict=True):
        assert (got.rotation - want.rotation + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=tight)
        assert (got.angle, got.clr) == (pytest.approx(want.angle, abs=tight), pytest.approx(want.clr, abs=tight))


def dxf_of(curves, version, units):
    """A DXF of lines and arcs, arcs in their own coordinate system as the DXF reference has it."""
    doc = ezdxf.new(version, units=units)
    factor = {4: 1.0, 1: 1 / 25.4}[units]
    model = doc.modelspace()
    for curve in curves:
        if isinstance(curve, Line):
            model.add_line(
                *(tuple(v * factor for v in p) for p in (curve.start, curve.end)), dxfattribs={"layer": "rail"}
            )
            continue
        ocs = OCS(curve.normal)
        center, start, end = (ocs.from_wcs(p) for p in (curve.center, curve.start, curve.end))
        first, last = (degrees(atan2(p.y - center.y, p.x - center.x)) for p in (start, end))
        model.add_arc(
            center * factor,
            curve.radius * factor,
            first,
            last,
            dxfattribs={"layer": "rail", "extrusion": curve.normal},
        )
    return doc


@pytest.mark.slow
@given(
    tables(shortest=2.6), placements(), st.integers(0, 2**32), st.sampled_from([("R2000", 4), ("R2018", 1), ("R12", 4)])
)
@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
def test_through_dxf_shuffled_reversed_and_split(tmp_path, table, placement, seed, kind):
    segments = rebuild(table, placement)
    assume(not self_touching(segments))
    version, units = kind
    path = tmp_path / f"{random.Random(seed).random()}.dxf"
    dxf_of(pieces_at_random(segments, seed), version, units).saveas(path)
    drawing = read(str(path), ReadOptions(units="mm") if version == "R12" else ReadOptions())
    runs, _ = reduce_drawing(drawing)
    assert [run.name for run in runs] == ["rail"]
    assert_same_tube(runs[0], table, placement)


@pytest.mark.slow
@given(tables(), placements(), st.sampled_from([("mm", None), ("in", None), ("in", 16)]))
@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
def test_through_csv(tmp_path, table, placement, units):
    from converter.exporters.data.table_csv import table_text
    from converter.model.run import Run, Tube
    from converter.units import Display

    path = tmp_path / "table.csv"
    text = table_text([Tube(Run("=rail/../ü", "L@1", False, table, placement))], Display(*units))
    path.write_text(StringIO(text).getvalue(), encoding="utf-8", newline="")
    (run,), _ = reduce_drawing(read(str(path)))
    assert (run.name, run.layer) == ("=rail/../ü", "L@1")
    assert_same_tube(run, table, placement, 1e-6)


@given(tables(most=10), placements())
@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
def test_arcs_agree_with_the_cad_kernels_own_length(table, placement):
    """The kernel's own curve length of each wire equals the developed length."""
    from OCP.BRepAdaptor import BRepAdaptor_CompCurve
    from OCP.GCPnts import GCPnts_AbscissaPoint
    from OCP.TopoDS import TopoDS

    from converter.kernel.shapes.solids import centerline_wire
    from converter.model.run import Run

    run = Run("rail", None, False, table, placement)
    length = GCPnts_AbscissaPoint.Length_s(BRepAdaptor_CompCurve(TopoDS.Wire_s(centerline_wire(run))))
    assert length == pytest.approx(table.developed_length, rel=1e-9)
    assert sum(s.length for s in run.centerline) == pytest.approx(table.developed_length, rel=1e-12)
    assert all(isinstance(s, (Line, Arc)) for s in run.centerline)
