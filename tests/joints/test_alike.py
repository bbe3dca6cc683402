"""Which tubes are one part: equal ones wherever they stand, mirror images told apart, near misses never equal."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest
from copes import straight
from frames import RAIL, RUNG, hoop
from moved import motion, redrawn, registered
from scipy.spatial.transform import Rotation
from tubes import run_of, tube_of

from converter.job.job import Job
from converter.joints.alike import find_parts
from converter.joints.alike.same import LENGTH
from converter.joints.cope import Copes, cope_frame
from converter.model.bends import Bend, BendTable, Placement
from converter.model.frames import pieces
from converter.model.part import Part
from converter.model.run import Run, Tube, reverse_run
from converter.model.section import Section
from converter.shop.load import shop_from_text
from converter.shop.model import Shop
from converter.shop.stock import goes_with, price_for

ROUND = Section("round", 25.0, 2.0)
SQUARE, FLAT = Section("square", 30.0, 2.0, 30.0, 3.0), Section("rectangular", 40.0, 2.0, 20.0, 3.0)
ROWS = [(100.0, 0.0, 40.0, 60.0), (150.0, 35.0, 70.0, 60.0)]
HAND = tube_of(run_of(ROWS, 220.0, name="HAND"), ROUND)


def parts_of(*tubes: Tube) -> tuple[Part, ...]:
    """The parts of a frame."""
    return find_parts(tubes, lambda: cope_frame(tubes, Shop("none", ())))


def loose(*tubes: Tube) -> tuple[Part, ...]:
    """The parts of tubes that lie loose, wherever they were drawn: no end is cut to fit."""
    return find_parts(tubes, lambda: Copes((), (), ()))


def shape(tubes: tuple[Tube, ...]) -> list[tuple[str, int, str | None]]:
    return [(part.name, part.quantity, part.mirror_of) for part in loose(*tubes)]


def other_hand(tube: Tube, name: str) -> Tube:
    """The mirror image by its table: every rotation with the other sign."""
    bends = tuple(replace(b, rotation=180.0 if b.rotation == 180.0 else -b.rotation) for b in tube.run.table.bends)
    return replace(tube, run=replace(tube.run, name=name, table=BendTable(bends, tube.run.table.tail)))


# --- bend tables alone --------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(25))
def test_a_tube_drawn_anew_elsewhere_is_the_same_part(seed):
    """Moved by a random motion, or drawn from its other end, it is equal; in a mirror, equal or a mirror image."""
    random = np.random.default_rng(seed)
    rows = [
        (random.uniform(20.0, 400.0), random.uniform(-179.0, 180.0) if i else 0.0, *random.uniform((5.0, 30.0), 150.0))
        for i in range(1 + seed % 5)
    ]
    tube = tube_of(run_of(rows, random.uniform(20.0, 400.0), name="T"), ROUND)
    (moved,), (turned,) = (redrawn([tube], motion(seed), f" {end}", turned=end == "B") for end in "AB")
    (image,) = redrawn([tube], motion(seed + 100, mirrored=True), " M", turned=seed % 2 == 1)
    parts = loose(tube, moved, turned, image)
    assert parts[0].names[:3] == ("T", "T A", "T B")
    assert max(registered(tube, one) for one in (moved, turned)) < 1e-4
    # by registration: a screw is not its own mirror image
    if registered(tube, image) > 20.0 * LENGTH:
        assert len(parts) == 2 and parts[1].names == ("T M",)
        assert parts[1].mirror_of == parts[0].name
    assert registered(tube, image, mirrored=True) < 1e-4


@pytest.mark.parametrize(
    "rows",
    [
        [(100.2, 0.0, 40.0, 60.0), ROWS[1]],
        [ROWS[0], (150.2, 35.0, 70.0, 60.0)],
        [ROWS[0], (150.0, 35.2, 70.0, 60.0)],
        [ROWS[0], (150.0, 35.0, 70.2, 60.0)],
        [ROWS[0], (150.0, 35.0, 70.0, 60.2)],
    ],
)
def test_near_misses_are_parts_of_their_own(rows):
    near = tube_of(run_of(rows, 220.0, name="NEAR"), ROUND)
    assert shape((HAND, near)) == [("HAND", 1, None), ("NEAR", 1, None)]
    assert registered(HAND, near) > 0.02
    # and no mirror images of each other either
    assert shape((HAND, other_hand(near, "NEAR"))) == [("HAND", 1, None), ("NEAR", 1, None)]


def test_what_no_shop_can_tell_is_equal():
    close = tube_of(run_of([(100.04, 0.0, 40.0, 60.0), (150.0, 35.008, 69.992, 60.0)], 219.98, name="CLOSE"), ROUND)
    assert shape((HAND, close)) == [("HAND", 2, None)]


def test_small_differences_do_not_add_up():
    """Every tube equals the first of its part: a chain of steps of 0.04 mm gives parts of two, not one of six."""
    row = [straight(f"S-{i}", (0, i, 0), (500.0 + 0.04 * i, i, 0), None) for i in range(6)]
    assert [part.names for part in loose(*row)] == [("S-0", "S-1"), ("S-2", "S-3"), ("S-4", "S-5")]


def test_section_metal_and_die_count():
    others = [
        replace(HAND, section=Section("round", 25.0, 2.05)),
        replace(HAND, section=Section("round", 25.4, 2.0)),
        replace(HAND, section=None),
        replace(HAND, metal="4130"),
        replace(HAND, die="R60"),
    ]
    tubes = [HAND] + [replace(t, run=replace(t.run, name=f"OTHER {i}")) for i, t in enumerate(others)]
    assert [part.quantity for part in loose(*tubes)] == [1] * 6


def test_a_planar_tube_is_its_own_mirror_image():
    flat = tube_of(run_of([(100.0, 0.0, 40.0, 60.0), (150.0, 180.0, 70.0, 60.0)], 220.0, name="FLAT"), ROUND)
    (image,) = redrawn([flat], motion(7, mirrored=True), " M")
    assert shape((flat, image)) == [("FLAT", 2, None)]


def test_a_screw_with_equal_ends_is_one_part_from_either_end():
    rows = [(100.0, 0.0, 40.0, 60.0), (150.0, 35.0, 40.0, 60.0)]
    screw = tube_of(run_of(rows, 100.0, name="SCREW"), ROUND)
    turned = replace(screw, run=replace(reverse_run(screw.run), name="TURNED"))
    (part,) = loose(screw, turned)
    assert part.turned == frozenset()  # nothing tells its ends apart


def test_a_flat_section_may_lie_the_other_way_at_the_other_end():
    """Height lies toward the first bend: seen from end B of a tube rolled by 90 degrees, it lies across it."""
    rows = [(100.0, 0.0, 40.0, 60.0), (150.0, 90.0, 40.0, 60.0)]
    for section, quantities in ((FLAT, [1, 1]), (SQUARE, [2]), (ROUND, [2])):
        one = tube_of(run_of(rows, 130.0, name="ONE"), section)
        back = tube_of(run_of([(130.0, 0.0, 40.0, 60.0), (150.0, 90.0, 40.0, 60.0)], 100.0, name="BACK"), section)
        assert [part.quantity for part in loose(one, back)] == quantities
        # told by its first bend, as a solid read from its other end is
        across = replace(section, od=section.height, height=section.od)
        assert [part.quantity for part in loose(one, replace(back, section=across))] == [2]


SYMMETRIES = (FLAT, SQUARE, ROUND, Section("flat-oval", 40.0, 2.0, 20.0), Section("flat-bar", 30.0, 4.0, 8.0))


def outlines_meet(one: Tube, other: Tube, mirrored: bool = False) -> bool:
    """Whether a rigid motion lays centerline on centerline and the middles of all faces on those of the other."""
    if not one.run.table.bends:
        return True  # a straight one is rolled until it does
    (a, faces), (b, others) = _measured_faces(one), _measured_faces(other)
    if mirrored:
        b, others = b * (1.0, 1.0, -1.0), others * (1.0, 1.0, -1.0)
    for way in (1, -1):
        points, at = b[::way], others[::way]
        here, there = a - a.mean(axis=0), points - points.mean(axis=0)
        turn, _ = Rotation.align_vectors(here, there)
        if np.linalg.norm(here - turn.apply(there), axis=1).max() > 0.01:
            continue
        moved = turn.apply((at - points.mean(axis=0)).reshape(-1, 3)).reshape(at.shape)
        off = np.linalg.norm((faces - a.mean(axis=0))[:, :, None] - moved[:, None, :], axis=3).min(axis=2)
        if off.max() < 0.01:
            return True
    return False


def _measured_faces(tube: Tube) -> tuple[np.ndarray, np.ndarray]:
    """(n, 3) the ends of its pieces, from end A, and (n, 4, 3) the middles of the faces there."""
    across, high = tube.section.od / 2.0, tube.section.height / 2.0
    stations = [station for piece in pieces(tube.run.table, tube.run.placement) for station in (piece.start, piece.end)]
    sides = ((high, 0.0), (-high, 0.0), (0.0, across), (0.0, -across))
    return np.array([s.point for s in stations]), np.array([[s.at(*side) for side in sides] for s in stations])


@pytest.mark.parametrize("seed", range(60))
def test_every_symmetry_of_a_section(seed):
    """A tube drawn anew with its section told in every way there is: equal by where its outline runs, or not.

    The oracle knows no angles: points on the outline of every piece's ends, in space, moved by the rigid motions that
    take the one centerline to the other (`outlines_meet`).
    """
    random = np.random.default_rng(seed)
    section = SYMMETRIES[seed % len(SYMMETRIES)]
    count = int(random.integers(0, 4))
    rows = [
        (float(random.choice([90.0, 120.0])), float(random.choice([0.0, 90.0, 180.0, -90.0])) if i else 0.0,
         float(random.choice([40.0, 60.0])), 60.0)
        for i in range(count)
    ]  # fmt: skip
    tube = tube_of(run_of(rows, float(random.choice([90.0, 120.0])), name="T"), section)
    across = replace(section, od=section.height, height=section.od)
    for turned in (False, True):
        for mirrored in (False, True):
            (drawn,) = redrawn([tube], motion(seed, mirrored=mirrored), " N", turned=turned)
            for told in (section, across):
                other = replace(drawn, section=told)
                equal = outlines_meet(tube, other)
                parts = loose(tube, other)
                assert (len(parts) == 1) == equal, (rows, section, told, turned, mirrored)
                if not equal:
                    assert (parts[1].mirror_of is not None) == outlines_meet(tube, other, mirrored=True)


def test_stock_and_prices_know_no_way_round():
    """Equal rectangles told the wide and the narrow side first: one part, one group of bars, one price."""
    shop = shop_from_text(
        """units = "mm"
[shop]
name = "shed"
[[die]]
name = "flat"
rectangle = [50, 30]
clr = 100
[[die]]
name = "edge"
rectangle = [30, 50]
clr = 100
[[stock]]
section = "50x30x2mm"
length = 6000
[[price]]
section = "30x50x2mm"
per_metre = 10
"""
    )
    tube = Tube(run_of([(200.0, 0.0, 90.0, 100.0), (300.0, 90.0, 90.0, 100.0)], 200.0, name="T1"), None)
    told = [Section("rectangular", *sizes, 4.0) for sizes in ((50.0, 2.0, 30.0), (30.0, 2.0, 50.0))]
    aside = Placement((0.0, 0.0, 900.0))
    back = replace(tube, run=replace(reverse_run(replace(tube.run, placement=aside)), name="T2"))
    tubes = [replace(one, section=section) for one, section in zip((tube, back), told, strict=True)]
    job = Job.of_tubes(tubes, shop)
    assert [part.quantity for part in job.parts] == [2]
    stick = job.shop.stock[0]
    assert all(goes_with(stick, section, None, job.shop.metals) for section in told)
    assert len({price_for(job.shop, section, None).per_mm for section in told}) == 1


# --- cut ends -----------------------------------------------------------------------------------


def frame() -> list[Tube]:
    """Hoops, rungs at odd angles and offsets, a rung on a bend, and a bar through a post."""
    rail = straight("RAIL", (-200, -90, 0), (1200, -90, 0), Section("round", 60.0, 3.0))
    tubes = [hoop("HOOP-0", 0.0, 0.0), hoop("HOOP-1", 0.0, 420.0), rail]
    tubes.append(straight("LOW", (0, 0, 210), (0, 420, 300), RUNG))
    tubes.append(straight("SIDE", (904, 0, 200), (904, 420, 260), RUNG))
    tubes.append(straight("TOP", (300, 0, 600), (420, 420, 600), RUNG))
    tubes.append(straight("BAR", (700, -90 - 300, 5), (700, -90 + 80, 5), Section("round", 20.0, 2.0)))
    rows = [(150.0, 0.0, 40.0, 60.0), (150.0, 35.0, 70.0, 60.0)]
    bent = Placement((100.0, -90.0, 0.0), (0.0, -0.6, 0.8), (1.0, 0.0, 0.0))
    tubes.append(tube_of(run_of(rows, 180.0, bent, name="BENT"), RUNG))
    return tubes


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_frame_moved_and_mirrored(seed):
    """Cuts and holes move with their tubes; what has a hand is the mirror image of the first."""
    first = frame()
    moved, turned = redrawn(first, motion(seed), " MOVED"), redrawn(first, motion(seed + 50), " TURNED", turned=True)
    image = redrawn(first, motion(seed + 100, mirrored=True), " IMAGE", turned=seed == 2)
    tubes = [*first, *moved, *turned, *image]
    copes = cope_frame(tubes, Shop("none", ()))
    assert len(copes.holes) == 8 and len(copes.joints) == 4 * 7
    part_of = {name: part for part in find_parts(tubes, lambda: copes) for name in part.names}
    for tube in first:
        own = part_of[tube.name]
        assert part_of[tube.name + " MOVED"] is own and part_of[tube.name + " TURNED"] is own, tube.name
        mirror = part_of[tube.name + " IMAGE"]
        assert mirror is own or mirror.mirror_of == own.name, tube.name
    handed = {tube.name for tube in first if part_of[tube.name + " IMAGE"] is not part_of[tube.name]}
    # an offset rung, a square rung at an angle to two round hoops and a bent one have a hand; a square tee has none
    assert {"SIDE", "BENT"} <= handed and not {"HOOP-1", "BAR"} & handed
    assert "TOP" not in handed


def test_square_tube_is_clocked_by_its_flats():
    """A straight square tube leant over, off the axes of two hoops, has a hand; one that lies square has none."""
    bar, gap = Section("square", 25.0, 2.0, 25.0, 2.0), 420.0
    first = [hoop("HOOP-0", 0.0, 0.0), hoop("HOOP-1", 0.0, gap)]
    first.append(straight("LEANT", (300, 0, 605), (340, gap, 605), bar))
    first.append(straight("PLAIN", (600, 0, 600), (600, gap, 600), bar))
    half_turn, far = np.diag((-1.0, -1.0, 1.0)), np.array((9000.0, 0.0, 0.0))
    moved = redrawn(first, (half_turn, far), " MOVED")
    image = redrawn(first, (np.diag((1.0, -1.0, 1.0)), -far), " IMAGE", turned=True)
    assert [(part.names, part.mirror_of) for part in parts_of(*first[2:], *first[:2], *moved, *image)] == [
        (("LEANT", "LEANT MOVED"), None),
        (("PLAIN", "PLAIN MOVED", "PLAIN IMAGE"), None),
        (tuple(f"HOOP-{i}{which}" for which in ("", " MOVED", " IMAGE") for i in (0, 1)), None),
        (("LEANT IMAGE",), "LEANT"),
    ]


def solid_of(tube: Tube, copes) -> tuple[float, np.ndarray]:
    """Volume and principal moments of a tube with its cut ends by the kernel, mm."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    from converter.exporters.solids.coped.ends import coped_solid

    solid = coped_solid(tube, tube.section, [joint for joint in copes.joints if joint.tube == tube.name])
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, props, 1e-9)
    return props.Mass(), np.array(sorted(props.PrincipalProperties().Moments()))


def test_equal_parts_are_equal_solids():
    """The kernel's volume and inertia agree within a part and with its mirror image, and differ for a near miss."""
    first = [tube for tube in frame() if tube.name in ("HOOP-0", "HOOP-1", "LOW", "SIDE")]
    image = redrawn(first, motion(5, mirrored=True), " IMAGE")
    near = straight("NEAR", (904, 0, 200), (904, 420, 261.4), RUNG)
    far = (np.eye(3), np.array((5000.0, 0.0, 0.0)))
    moved = redrawn([*first[:2], near], far, " MOVED")
    tubes = [*first, *image, *moved]
    copes = cope_frame(tubes, Shop("none", ()))
    part_of = {name: part for part in find_parts(tubes, lambda: copes) for name in part.names}
    by_name = {tube.name: tube for tube in tubes}
    volume, moments = solid_of(by_name["SIDE"], copes)
    same = solid_of(by_name["SIDE IMAGE"], copes)
    assert part_of["SIDE IMAGE"].mirror_of == part_of["SIDE"].name
    assert same[0] == pytest.approx(volume, rel=1e-7) and same[1] == pytest.approx(moments, rel=1e-6)
    other = solid_of(by_name["NEAR MOVED"], copes)
    assert part_of["NEAR MOVED"] is not part_of["SIDE"] and part_of["NEAR MOVED"].mirror_of is None
    assert abs(other[0] / volume - 1.0) > 1e-5


@pytest.mark.parametrize(("slip", "quantities"), [(0.0, [2]), (0.02, [2]), (0.2, [1, 1])])
def test_how_cut_ends_are_clocked_counts(slip, quantities):
    """Two rungs between rails that are skew: one rail turned further by ``slip`` mm at the rung's outside."""
    turn = slip / (RUNG.od / 2.0)
    tubes = []
    for k, extra in enumerate((0.0, turn)):
        y = 2000.0 * k
        a = pi / 5.0 + extra
        lean = np.array((np.cos(a), np.sin(a), 0.0)) * 400.0
        tubes.append(straight(f"FOOT {k}", (-400, y, 0), (400, y, 0), RAIL))
        tubes.append(straight(f"HEAD {k}", (-lean[0], y - lean[1], 600), (lean[0], y + lean[1], 600), RAIL))
        tubes.append(straight(f"RUNG {k}", (0, y, 0), (0, y, 600), RUNG))
    rungs = [part for part in parts_of(*tubes) if part.name.startswith("RUNG")]
    assert [part.quantity for part in rungs] == quantities


@pytest.mark.parametrize(("shift", "quantities"), [(0.0, [2]), (0.2, [1, 1])])
def test_holes_count(shift, quantities):
    post, bar = Section("round", 60.0, 3.0), Section("round", 24.0, 2.0)
    tubes = []
    for k, low in enumerate((0.0, shift)):
        x = 3000.0 * k
        tubes.append(straight(f"POST {k}", (x, 0, 0), (x, 0, 800), post))
        tubes.append(straight(f"BAR {k}", (x - 300, 0, 300 + low), (x + 300, 0, 400 + low), bar))
    posts = [part for part in parts_of(*tubes) if part.name.startswith("POST")]
    assert [part.quantity for part in posts] == quantities


def test_a_square_tube_with_a_hole_that_is_not_worked_out_is_alone():
    post, bar = Section("square", 60.0, 3.0, 60.0, 3.0), Section("round", 24.0, 2.0)
    tubes = []
    for k in range(2):
        x = 3000.0 * k
        tubes.append(straight(f"POST {k}", (x, 0, 0), (x, 0, 800), post))
        tubes.append(straight(f"BAR {k}", (x - 300, 0, 300), (x + 300, 0, 300), bar))
    posts = [part for part in parts_of(*tubes) if part.name.startswith("POST")]
    assert [part.quantity for part in posts] == [1, 1]


# --- names --------------------------------------------------------------------------------------


def stick(name: str, length: float = 500.0) -> Tube:
    return straight(name, (0, 0, 0), (length, 0, 0), None)


def test_a_part_is_called_by_what_its_names_share():
    assert shape((stick("PICKET-1"), stick("PICKET-2"))) == [("PICKET", 2, None)]
    assert shape((stick("LH"), stick("RH"))) == [("LH", 2, None)]
    # another tube's name begins so too
    longer = stick("LONG-2", 600.0)
    assert shape((stick("LONG-1"), longer, stick("LONG-3"))) == [("LONG-1", 2, None), ("LONG-2", 1, None)]
    assert shape((stick("A-1"), stick("A-2"), stick("A", 600.0))) == [("A-1", 2, None), ("A", 1, None)]
    assert shape((stick("1"), stick("2"))) == [("1", 2, None)]


def test_some_of_a_part_shown_keep_its_quantity():
    one = Tube(Run("ONE", None, False, BendTable((Bend(100.0, 0.0, 40.0, 60.0),), 50.0), Placement()))
    back = Tube(replace(reverse_run(one.run), name="BACK"))
    third = Tube(replace(reverse_run(one.run), name="THIRD"))
    (part,) = loose(one, back, third)
    assert part.turned == {"BACK", "THIRD"} and part.end_of("BACK", "A") == "B" and part.bend_of("ONE", 1) == 1
    shown = part.only({"BACK", "THIRD"})
    assert shown is not None
    assert (shown.names, shown.quantity, shown.turned) == (("BACK", "THIRD"), 3, frozenset())
    assert part.only(set()) is None and part.only({"ONE", "BACK", "THIRD"}) is part
