"""Files of a CAD program with tubes beside other things; fixtures/step/make_freecad_bodies.py says what was drawn."""

from __future__ import annotations

from math import pi, sqrt

import cadquery as cq
import pytest
from OCP.STEPControl import STEPControl_Reader
from places import FIXTURES
from tube_bodies import assert_is
from tubes import run_of

from converter.importers.step.read import read_step
from converter.kernel.shapes.solids import tube_solid
from converter.model.run import Run
from converter.model.section import Section
from converter.reducer import reduce_drawing

STEP = FIXTURES / "step"
HOOK, TUBE = run_of([(150, 0, 90, 90)], 200), Section("round", 33.7, 2.6)


def drawing(name):
    return read_step(STEP / name)


def shape_of(name):
    """What the kernel itself reads of a file."""
    reader = STEPControl_Reader()
    reader.ReadFile(str(STEP / name))
    reader.TransferRoots()
    return cq.Shape.cast(reader.OneShape())


def solid_of(table):
    return cq.Shape.cast(tube_solid(Run("t", None, table.closed, table.table, table.placement), table.section))


def codes(table):
    return [f.code for f in table.findings]


def test_a_tube_with_flange_lug_and_plate_in_one_body():
    (tube,) = drawing("solid-freecad-flanged.step").tables
    assert_is(tube, HOOK, TUBE)
    assert tube.name == "Handlauf Süd"
    told = [dict(f.value_pairs) for f in tube.findings if f.code == "solid-remains"]
    assert {one["kind"] for one in told} == {"a plate", "a flange, washer or collar"}
    boxes = {tuple(round(v, 3) for v in one["sizes"] + one["place"]) for one in told}
    lug = 60 - sqrt(16.85**2 - 3**2)  # above the tube, in the middle of its sides
    assert (12.0, 100.0, 100.0, -6.0, 0.0, 0.0) in boxes and (120.0, 8.0, 90.0, 240.0, 204.0, 0.0) in boxes
    assert any(box[:3] == (60.0, 6.0, pytest.approx(lug, abs=0.01)) for box in boxes)
    body, claimed = shape_of("solid-freecad-flanged.step"), solid_of(tube)
    flange = pi * (50**2 - 14.25**2) * 12
    assert body.intersect(claimed).Volume() == pytest.approx(claimed.Volume(), rel=1e-6)
    plate = 120 * 8 * 90 - pi * 16.85**2 * 8
    lug_volume = body.Volume() - claimed.Volume() - flange - plate
    assert 60 * 6 * (lug - 0.3) < lug_volume < 60 * 6 * (lug + 0.3)  # its foot follows the tube


@pytest.mark.parametrize(("name", "parts"), [("faces", 6), ("skins", 2)])
def test_surfaces_that_are_parts_of_their_own_are_one_tube(name, parts):
    read = drawing(f"solid-freecad-{name}.step")
    (tube,) = read.tables
    assert_is(tube, HOOK, TUBE)
    assert codes(tube) == ["solid-joined"] and tube.findings[0].measured == parts and not read.ignored
    # the skins' own area, as the kernel has it, is that of both surfaces of the tube
    length = tube.table.developed_length
    area = 2 * pi * (16.85 + 14.25) * length
    assert shape_of(f"solid-freecad-{name}.step").Area() == pytest.approx(area, rel=1e-6)


def test_a_fused_grille_of_round_bars_is_separated():
    read = drawing("solid-freecad-grille.step")
    arch, *uprights = sorted(read.tables, key=lambda t: -len(t.table.bends))
    assert_is(arch, run_of([(300, 0, 180, 200)], 300, arch.placement), Section("bar", 12, 6))
    ends = {(round(t.placement.start[0], 4), round(t.table.tail, 4)) for t in uprights}
    assert ends == {(100.0, round(300 + sqrt(200**2 - 100**2), 4)), (200.0, 500.0)}
    assert not any(c == "solid-remains" for t in read.tables for c in codes(t))
    # nothing of the body is left without the bars, and all of each bar's straight length is in it
    rest = shape_of("solid-freecad-grille.step")
    for table in read.tables:
        rest = rest.cut(solid_of(table))
    assert rest.Volume() == pytest.approx(0.0, abs=1.0)


def test_axes_and_paths_beside_a_solid_are_no_tubes_but_a_sketch_is():
    read = drawing("solid-freecad-datum.step")
    assert [t.name for t in read.tables] == ["Body1"]  # the only name the file has for it
    assert [(i.kind, i.count) for i in read.ignored] == [("edge", 5)]
    (sketch,) = reduce_drawing(read)[0][:1]
    assert sketch.name == "stay" and sketch.table.bends[0].clr is None
