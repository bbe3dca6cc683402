"""Equal tubes in STEP: one product in many places, each solid where and what it was; near misses stay their own."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from copes import straight
from frames import RAIL, RUNG, told_apart
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from jobs import job_of, write_job
from kernel_probe import bounds, kernel_volume, read_step, valid
from moved import motion
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from passing_tubes import POST, passing
from strategies import placements, sections, tables
from tubes import run_of, tube_of

from converter.errors import GeometryError
from converter.exporters.solids.coped.bodies import coped_bodies
from converter.job import open_job
from converter.job.pieces import in_pieces
from converter.kernel.shapes.solids import tube_solid
from converter.model.bends import BendTable, Placement
from converter.model.run import Run, Tube, reverse_run
from converter.model.section import Section

ROUND, SQUARE = Section("round", 25.0, 2.0), Section("square", 30.0, 2.0, corner=4.0)
ROWS = [(100.0, 0.0, 40.0, 60.0), (150.0, 35.0, 70.0, 60.0)]


def middle(shape) -> tuple[float, float, float]:
    """Center of mass."""
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, props, 1e-12)
    point = props.CentreOfMass()
    return point.X(), point.Y(), point.Z()


def same_solid(shape, other, within: float = 1e-6) -> None:
    """Volume (relative), center of mass and bounding box (mm)."""
    assert valid(shape)
    assert kernel_volume(shape) == pytest.approx(kernel_volume(other), rel=within)
    assert middle(shape) == pytest.approx(middle(other), abs=within)
    assert bounds(shape) == pytest.approx(bounds(other), abs=within)


def written(tubes, folder, formats="step", **options):
    """The one STEP file of a job of tubes, read by the kernel's assembly reader."""
    [path] = write_job(job_of(tubes), folder, [formats], force=True, **options)
    return read_step(path)


@pytest.mark.slow
@settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(tables(most=2), st.lists(placements(), min_size=2, max_size=3), sections(), st.sampled_from(["mm", "in"]))
def test_every_place_holds_the_solid_of_its_tube(tmp_path, table, places, section, unit):
    """Any section and table wherever it stands, in mm and inches: against the solid made in place."""
    tubes = [Tube(Run(f"T-{i}", None, False, table, place), section) for i, place in enumerate(places)]
    try:
        wanted = [tube_solid(tube.run, section) for tube in tubes]
    except GeometryError:
        assume(False)
    assume(len(job_of(tubes).parts) == 1)  # they may run into each other
    found = written(tubes, tmp_path, step_unit=unit).products
    assert [(product.name, product.part) for product in found] == [(tube.name, "T") for tube in tubes]
    for product, solid in zip(found, wanted, strict=True):
        same_solid(product.shape, solid)


def carried(tubes: list[Tube], seed: int) -> list[Tube]:
    """The tubes moved by a random motion, section and all."""
    turn, shift = motion(seed)

    def moved(place: Placement) -> Placement:
        start, direction, normal = (turn @ v for v in (place.start, place.direction, place.normal))
        return Placement(*(tuple(v.tolist()) for v in (start + shift, direction, normal)))

    return [
        replace(t, run=replace(t.run, name=f"{t.name}-2", placement=moved(t.run.placement), end_point=None))
        for t in tubes
    ]


def tee(section: Section, angle: str) -> list[Tube]:
    """A tube on two rails, beside their middles at one end."""
    far = {"square": (0.0, 0.0, 300.0), "aslant": (120.0, 5.0, 300.0)}[angle]
    return [
        straight("LOW", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL),
        straight("HIGH", (-300.0, 0.0, 300.0), (300.0, 0.0, 300.0), RAIL),
        straight("RUNG", (0.0, 0.0, 0.0), far, section),
    ]


def mitred() -> list[Tube]:
    return [
        straight("UP", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), SQUARE),
        straight("OVER", (0.0, 0.0, 300.0), (250.0, 0.0, 300.0), SQUARE),
    ]


FRAMES = {
    "round square to its rails": lambda: tee(RUNG, "square"),
    "round aslant": lambda: tee(RUNG, "aslant"),
    "square tube aslant": lambda: tee(SQUARE, "aslant"),
    "square tube mitred": mitred,
    "holes": lambda: [POST, passing(60.0, 5.0)],
}


@pytest.mark.slow
@pytest.mark.parametrize("frame", FRAMES)
def test_cut_tubes_share_a_solid_where_the_cuts_agree(tmp_path, frame):
    """A frame drawn twice, the second time anywhere: each tube against its own cut in place by the kernel."""
    first = FRAMES[frame]()
    tubes = [*first, *carried(first, 7)]
    found = written(tubes, tmp_path, "step-coped").products
    names = {product.name: product.part for product in found}
    for tube in first:
        assert names[tube.name] == names[f"{tube.name}-2"], f"{tube.name} is written twice"
    for (body, solid), product in zip(coped_bodies(job_of(tubes)), found, strict=True):
        assert product.name == body.tube.name
        # the kernel finds where surfaces meet to some 1e-6 mm
        same_solid(product.shape, solid, within=5e-6)


def test_only_exact_copies_share_a_solid(tmp_path):
    """One part within a shop's limits: as drawn, 0.01 mm longer, from the other end; and its mirror image."""
    hand = tube_of(run_of(ROWS, 220.0, name="HAND-1"), ROUND)

    def at(tube: Tube, number: int, **changes) -> Tube:
        place = Placement((0.0, 300.0 * number, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0))
        return replace(tube, run=replace(tube.run, name=f"HAND-{number}", placement=place, **changes))

    longer = BendTable(hand.run.table.bends, 220.01)
    image = BendTable((hand.run.table.bends[0], replace(hand.run.table.bends[1], rotation=-35.0)), 220.0)
    other_end = replace(at(hand, 5), run=reverse_run(at(hand, 5).run))
    tubes = [
        hand, at(hand, 2), at(hand, 3, table=longer), at(hand, 4, table=longer),
        other_end, at(hand, 6, table=image), at(hand, 7, table=image), at(hand, 8),
    ]  # fmt: skip
    job = job_of(tubes)
    assert [part.quantity for part in job.parts] == [6, 2] and job.parts[1].mirror_of == job.parts[0].name
    found = written(tubes, tmp_path)
    assert [product.name for product in found.products] == [tube.name for tube in tubes]
    assert [product.part for product in found.products] == [
        "HAND-1", "HAND-1", "HAND-3", "HAND-3", "HAND-5", "HAND-6", "HAND-6", "HAND-1",
    ]  # fmt: skip
    for i in (3, 7):
        same_solid(found.products[i].shape, tube_solid(tubes[i].run, ROUND))


def test_what_was_cut_otherwise_is_not_shared(tmp_path):
    """A rung 0.01 mm nearer to the outside of its rail at one end is the same part, and its own solid."""
    rails = [straight(f"RAIL-{i}", (-100.0, 400.0 * i, 0.0), (900.0, 400.0 * i, 0.0), RAIL) for i in (0, 1)]
    rungs = [straight(f"RUNG-{i}", (200.0 * i, 0.0, z), (200.0 * i, 400.0, 0.0), RUNG) for i, z in enumerate((0, 0, 1))]
    rungs[2] = straight("RUNG-2", (400.0, 0.0, 0.02), (400.0, 400.0, 0.02), RUNG)
    job = job_of([*rails, *rungs])
    assert {part.name: part.quantity for part in job.parts} == {"RAIL": 2, "RUNG": 3}
    coped = {product.name: product.part for product in written(job.tubes, tmp_path, "step-coped").products}
    assert coped == {"RAIL-0": "RAIL", "RAIL-1": "RAIL", "RUNG-0": "RUNG", "RUNG-1": "RUNG", "RUNG-2": "RUNG-2"}


def test_tables_come_back_with_their_names_and_places(tmp_path):
    """Table to STEP to table; every place in its section's colour."""
    tubes = [
        Tube(Run(f"{name}-{i}", None, False, run_of(ROWS, 220.0).table, Placement((0.0, 300.0 * i, z))), section)
        for i in range(3)
        for name, z, section in (("ARM", 0.0, ROUND), ("LEG", 900.0, SQUARE))
    ]
    [path] = write_job(job_of(tubes), tmp_path, ["step"])
    for got, tube in zip(open_job(str(path)).tubes, tubes, strict=True):
        assert got.name == tube.name
        ends = (got.run.start, got.run.end), (tube.run.start, tube.run.end)
        assert min(max(abs(a - b) for p, q in zip(ends[0], order, strict=True) for a, b in zip(p, q, strict=True))
                   for order in (ends[1], ends[1][::-1])) < 1e-6  # fmt: skip
        assert got.run.table.developed_length == pytest.approx(tube.run.table.developed_length, abs=1e-6)
    colors = [product.color for product in read_step(path).products]
    assert None not in colors and colors[0] != colors[1] and colors == colors[:2] * 3


def test_pieces_share_a_solid_and_sleeves_stand_in_them(tmp_path):
    """Two equal tubes in two pieces each."""
    long = [straight(f"LONG-{i}", (0.0, 200.0 * i, 0.0), (8000.0, 200.0 * i, 0.0), SQUARE) for i in (1, 2)]
    job = in_pieces(job_of(long), longest=5000.0).job
    assert len(job.tubes) == 4 and len(job.sleeves) == 2
    [path] = write_job(job, tmp_path, ["step"])
    found = read_step(path).products
    every = [*job.tubes, *job.sleeves]
    assert [product.name for product in found] == [tube.name for tube in every]
    assert len({product.part for product in found[:4]}) < 4
    for product, tube in zip(found, every, strict=True):
        same_solid(product.shape, tube_solid(tube.run, tube.section))


def test_a_rack_of_equal_rungs_is_less_than_a_quarter(tmp_path):
    """Forty rungs, against the same rack whose tubes are of forty metals; each alone keeps its place."""
    rungs = [straight(f"RUNG-{i}", (50.0 * i, 0.0, 0.0), (50.0 * i, 600.0, 0.0), ROUND) for i in range(40)]
    [small] = write_job(job_of(rungs), tmp_path / "copies", ["step"])
    [large] = write_job(job_of(told_apart(rungs)), tmp_path / "each", ["step"])
    assert small.stat().st_size < large.stat().st_size / 4
    assert len(re.findall(r"MANIFOLD_SOLID_BREP", small.read_text())) == 1
    paths = write_job(job_of(rungs[:2]), tmp_path / "files", ["step"], one_file=False)
    for path, rung in zip(paths, rungs, strict=False):
        [product] = read_step(path).products
        assert (product.name, product.part) == (rung.name, rung.name)
        same_solid(product.shape, tube_solid(rung.run, ROUND))
