"""Hole-saw set-up: depths against brute force, sizes and depths against the saws the shop owns.

That ordinary saws are about 1-1/2 in deep, deep ones about 4 in, and that sizes step by 1/16 in is
common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin, sqrt

import numpy as np
import pytest
from copes import IN, find_joints, straight
from hypothesis import given, settings
from hypothesis import strategies as st
from tubes import run_of, tube_of

from converter.joints.hole_saw import saw_depths, with_hole_saws
from converter.model.section import Section
from converter.shop.load import demo_shop, shop_from_text


def joint(od=1.5, mate=1.75, theta=90.0, offset=0.0, length=60.0):
    """One end of ``od`` on ``mate`` (inches)."""
    a = radians(theta)
    header = straight("RAIL", (-99 * IN, 0, 0), (99 * IN, 0, 0), Section("round", mate * IN, 0.1 * IN))
    end = (length * cos(a) * IN, offset * IN, length * sin(a) * IN)
    tube = straight("RUNG", (0, offset * IN, 0), end, Section("round", od * IN, 0.095 * IN))
    joints, _ = find_joints([header, tube])
    return joints[0]


def shop_with(*saws):
    rows = "".join(f'\n[[hole_saw]]\nsize = "{size}"\ndepth = "{depth}"\n' for size, depth in saws)
    return shop_from_text(f'units = "in"\n[shop]\nname = "S"\n{rows}')


@pytest.mark.parametrize(
    ("theta", "near", "through"), [(90, 1.5, 1.5), (60, 1.73205, 2.74241), (45, 2.12132, 3.87132), (30, 3.0, 6.03109)]
)
def test_listed_depths(theta, near, through):
    """OD / sin theta on the near side; (mate's OD cos theta + OD) / sin theta when the tube runs on past the saw."""
    depth, both = saw_depths(joint(theta=theta), 1.75 * IN)
    assert depth / IN == pytest.approx(near, abs=5e-6) and both / IN == pytest.approx(through, abs=5e-6)


@pytest.mark.parametrize(("offset", "theta", "near"), [(0.2, 45, 2.1545), (0.25, 30, 3.19907)])
def test_listed_depths_with_an_offset(offset, theta, near):
    # 3.1990 was listed from a coarser search; the dense one gives 3.19907
    assert saw_depths(joint(1.5, 2.0, theta, offset), 2.0 * IN)[0] / IN == pytest.approx(near, abs=5e-5)


@settings(max_examples=40)
@given(ratio=st.floats(0.2, 1.0), theta=st.floats(20.0, 90.0), off=st.floats(0.0, 1.0), wall=st.floats(0.02, 0.45))
def test_depths_against_points_all_over_the_cut_metal(ratio, theta, off, wall):
    """Brute force: a grid of points of the tube's metal on the saw's cylinder, measured along the saw's axis."""
    big = 1.0
    r, e, a = ratio * big, off * (1.0 - ratio) * big, radians(theta)
    rho = np.linspace(r * (1.0 - wall), r, 9)[:, None]
    phi = np.radians(np.linspace(0.0, 360.0, 2881))[None, :]
    room = np.sqrt(np.maximum(big**2 - (e + rho * np.sin(phi)) ** 2, 0.0))
    c = rho * np.cos(phi)
    near = (room * cos(a) - c) / sin(a)
    far = (-room * cos(a) - c) / sin(a)
    header = straight("RAIL", (-99, 0, 0), (99, 0, 0), Section("round", 2.0, 0.1))
    tube = straight("RUNG", (0, e, 0), (60 * cos(a), e, 60 * sin(a)), Section("round", 2 * r, wall * r))
    joints, _ = find_joints([header, tube])
    depth, both = saw_depths(joints[0], 2.0)
    assert depth == pytest.approx(near.max() - near.min(), rel=2e-4)
    assert both == pytest.approx(max(near.max(), far.max()) - min(near.min(), far.min()), rel=2e-4)


def test_setting_of_a_plain_cope():
    one = joint(theta=60.0)
    (done,), said = with_hole_saws([one], demo_shop())
    saw = done.hole_saw
    assert saw is not None and said == []
    assert saw.size == pytest.approx(1.75 * IN) and saw.owned
    assert saw.depth / IN == pytest.approx(1.73205, abs=5e-6)
    assert (saw.angle, saw.from_square, saw.offset) == pytest.approx((60.0, 30.0, 0.0), abs=1e-9)
    assert saw.saw_depth == pytest.approx(4 * IN), "the 1-1/2 in deep one does not go through"
    assert saw.cuts == 1 and saw.center == pytest.approx(0.0, abs=1e-9) and saw.center_to_center is None


def test_the_shallowest_saw_that_is_deep_enough():
    (done,), _ = with_hole_saws([joint(od=1.25, mate=1.75)], demo_shop())
    assert done.hole_saw is not None and done.hole_saw.saw_depth == pytest.approx(1.5 * IN)


@pytest.mark.parametrize(("depth", "cuts"), [("2in", 1), ("1in", 2), ("0.7in", 0)])
def test_two_cuts_or_none(depth, cuts):
    (done,), said = with_hole_saws([joint()], shop_with(("1.75in", depth)))
    assert done.hole_saw is not None and done.hole_saw.cuts == cuts
    assert [f.code for f in said] == ([] if cuts == 1 else ["hole-saw-depth"])


def test_pipe_falls_between_sizes():
    """1.660 pipe: 1-11/16 (+.0275) is nearer than 1-5/8 (-.035); 1.900: 1-7/8 (-.025)."""
    shop = shop_with(("1-5/8in", "4in"), ("1-11/16in", "4in"), ("1-7/8in", "4in"), ("2in", "4in"))
    for mate, size in ((1.66, 1.6875), (1.9, 1.875)):
        (done,), said = with_hole_saws([joint(od=1.3, mate=mate)], shop)
        assert done.hole_saw is not None and done.hole_saw.size == pytest.approx(size * IN) and said == []


def test_a_size_that_is_not_there_and_an_angle_past_the_notcher():
    _, said = with_hole_saws([joint(mate=2.5)], shop_with(("1.75in", "4in")))
    assert [f.code for f in said] == ["hole-saw-size"] and said[0].limit == pytest.approx(2.5 * IN)
    _, said = with_hole_saws([joint(theta=25.0)], shop_with(("1.75in", "6in")))
    assert [f.code for f in said] == ["hole-saw-angle"] and said[0].measured == pytest.approx(25.0)
    assert with_hole_saws([joint(theta=30.0)], shop_with(("1.75in", "6in")))[1] == []


def test_a_shop_without_saws_is_told_the_size():
    (done,), said = with_hole_saws([joint()], shop_with())
    assert done.hole_saw is not None and not done.hole_saw.owned
    assert done.hole_saw.size == pytest.approx(1.75 * IN) and [f.code for f in said] == ["hole-saw-none"]


def test_no_saw_for_square_mates_bends_mitres_and_unions():
    square = Section("square", 40.0, 3.0, corner=6.0)
    rail = straight("RAIL", (0, 0, 0), (1000, 0, 0), square)
    tube = straight("RUNG", (300, 0, 0), (300, 400, 0), Section("round", 25.0, 2.0))
    joints, _ = find_joints(
        [rail, tube]
    )  # 12.5 beside the middle stays on the flat: a square cut, and no word of a saw
    (done,), said = with_hole_saws(joints, demo_shop())
    assert done.kind == "square" and done.hole_saw is None and said == []
    wide = replace(straight("RUNG", (300, 0, 0), (300, 400, 0), Section("round", 38.1, 2.0)), coped_corners=True)
    joints, _ = find_joints([rail, wide])
    (done,), said = with_hole_saws(joints, demo_shop())
    assert done.hole_saw is None and [f.code for f in said] == ["hole-saw-not"] and "not round" in said[0].message
    round_ = Section("round", 40.0, 3.0)
    joints, _ = find_joints(
        [straight("A", (0, 0, 0), (500, 0, 0), round_), straight("B", (0, 0, 0), (0, 500, 0), round_)]
    )
    done_all, said = with_hole_saws(joints, demo_shop())
    assert all(one.hole_saw is None for one in done_all) and said == []


@pytest.mark.parametrize("inside", [1.0, -1.0])
@pytest.mark.parametrize(("clear", "by_saw"), [(40.0, True), (0.0, True), (-10.0, False)])
def test_a_straight_takes_a_saw_up_to_its_bend(clear, by_saw, inside):
    """Equal tubes at 60 degrees: the cut reaches r (1 + cos 60) / sin 60 along the mate (by hand)."""
    section = Section("round", 44.45, 2.4)
    reach = 22.225 * (1.0 + cos(radians(60.0))) / sin(radians(60.0))
    bent = tube_of(run_of([(400.0, 0.0, 60.0, 150.0)], 300.0, name="BENT"), section)
    x = 400.0 - reach - clear
    brace = straight("BRACE", (x, 0, 0), (x + 250.0, inside * 250.0 * sqrt(3.0), 0), section)
    joints, _ = find_joints([bent, brace])
    (done,), said = with_hole_saws(joints, demo_shop())
    assert (done.hole_saw is not None, [f.code for f in said]) == (by_saw, [] if by_saw else ["hole-saw-not"])
    assert len(joints[0].cut.mates[0]) > 1, "the bend is near enough to be looked at"


def test_centre_to_centre_and_centre_of_an_end_drawn_short():
    """Rails 400 apart; the rung is drawn from one rail's outside to the other's centerline."""
    big = Section("round", 44.45, 3.0)
    rails = [straight(n, (0, y, 0), (1000, y, 0), big) for n, y in (("ONE", 0), ("TWO", 400))]
    rung = straight("RUNG", (300, 22.225, 0), (300, 400, 0), Section("round", 38.1, 2.4))
    joints, _ = find_joints([*rails, rung])
    done, _ = with_hole_saws(joints, demo_shop(), developed={"RUNG": 400 - 22.225})
    saws = {one.end: one.hole_saw for one in done}
    assert saws["A"].center == pytest.approx(-22.225) and saws["B"].center == pytest.approx(0.0, abs=1e-9)
    assert saws["A"].center_to_center == saws["B"].center_to_center == pytest.approx(400.0)


@pytest.mark.parametrize("bad", ["size = 0", "depth = 1", 'size = "x"', "size = 1\ndeep = 2"])
def test_a_wrong_hole_saw_is_refused_with_its_place(bad):
    from converter.errors import ShopError

    with pytest.raises(ShopError, match=r"hole_saw\[1\]"):
        shop_from_text(f'units = "in"\n[shop]\nname = "S"\n[[hole_saw]]\n{bad}\n')


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ('tube="A"\nkind="plane"\npoint=[0,0,0]', "joint[1].normal"),
        ('tube="A"\nkind="plane"\npoint=[0,0,0]\nnormal=[0,0,0]', "joint[1].normal"),
        ('tube="A"\nkind="plane"\npoint=[0,0]\nnormal=[0,0,1]', "joint[1].point"),
        ('tube="A"\nnormal=[0,0,1]', "joint[1].normal"),
        ('tube="A"\nkind="none"\ncope_to=["B"]', "joint[1].cope_to"),
        ('tube="A"\nkind="mitre"\ncope_to=["B","C"]', "joint[1].cope_to"),
        ('tube="A"\ncope_to="B"', "joint[1].cope_to"),
        ('tube="A"\nend="C"', "joint[1].end"),
        ('end="A"', "joint[1].tube"),
        ('tube="A"\ngap=-1', "joint[1].gap"),
        ('tube="A"\nkind="weld"', "joint[1].kind"),
        ('tube="A"\nmates=["B"]', "joint[1].mates"),
    ],
)
def test_a_wrong_joint_in_a_job_file_is_refused_with_its_place(text, where):
    from converter.errors import ShopError
    from converter.shop.job_file import job_from_text

    with pytest.raises(ShopError) as caught:
        job_from_text(f'units="mm"\n[[joint]]\n{text}\n')
    assert caught.value.where == where
