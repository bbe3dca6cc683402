"""Flat-oval tube from end to end: as written, on its dies, bent both ways, as a solid, a mesh, a cope and a picture."""

from __future__ import annotations

from math import pi, radians

import pytest
from command_line import one_sentence, run
from coped_solids import agrees, coped, tee
from copes import straight
from kernel_probe import assert_sound, kernel_volume, surfaces

from converter.errors import OptionError, ShopError
from converter.exporters.sheet.scenes import outline
from converter.exporters.solids.tessellate import tube_mesh
from converter.kernel.shapes.solids import tube_solid, volume
from converter.model.bends import Bend, BendTable, Placement
from converter.model.metal import metal
from converter.model.run import Run
from converter.model.section import Section
from converter.shop.load import shop_from_text
from converter.shop.sections import parse_section, section_from_layer
from converter.units import Display

EASY, HARD = Section("flat-oval", 60.0, 2.0, 30.0), Section("flat-oval", 30.0, 2.0, 60.0)
SHOP = """
units = "mm"
[shop]
name = "Ovals"
[[die]]
name = "easy"
flat_oval = [60, 30]
clr = 120
clamp = 60
[[die]]
name = "hard"
flat_oval = [30, 60]
clr = 180
clamp = 60
[[die]]
name = "other"
rectangle = [60, 30]
clr = 120
"""


def table(*rows: tuple[float, float, float, float]) -> BendTable:
    return BendTable(tuple(Bend(*row) for row in rows), 100.0)


@pytest.mark.parametrize(
    "text", ["flat-oval 60x30x2mm", "60x30x2mm flat oval", "flat-sided oval tube 60 x 30 x 2", "FLAT_OVAL 6x3x.2cm"]
)
def test_as_people_write_it(text):
    assert parse_section(text) == EASY
    assert parse_section("2x1x0.083in flat oval").sizes[1:4] == pytest.approx((50.8, 2.1082, 25.4))


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("flat-oval 60x2mm", "needs two sizes and a wall"),
        ("flat-oval 30x30x2mm", "two different sizes, else it is round"),
        ("flat-oval 60x30x15mm", "leaves no bore"),
        ("flat-oval 60x30x2mm r5mm", "has no corner radius"),
        ("square flat-oval 60x30x2mm", "a flat oval needs two sizes|a square has equal sides"),
        ("flat-oval bar 30mm", "bar is round"),
    ],
)
def test_what_is_none_is_refused(text, why):
    with pytest.raises(OptionError, match=why) as caught:
        parse_section(text)
    assert caught.value.message.endswith(".")


def test_in_a_layer_name():
    """The word tells it: the sizes alone are a rectangle's, and a flat bar is no tube."""
    assert section_from_layer("FLAT-OVAL_60x30x2mm") == section_from_layer("rail 60x30x2mm flat sided oval") == EASY
    assert section_from_layer("rail 60x30x2mm").shape == "rectangular"
    assert section_from_layer("flat 60x30x2mm") is None


def test_area_and_moment_by_hand():
    """Two half rings and two strips; about the long axis a strip's a (d + t)^2 / 4 and the ring's own."""
    r, t, flat = 15.0, 2.0, 30.0
    assert EASY.area == pytest.approx(pi * (r**2 - (r - t) ** 2) + 2.0 * flat * t, rel=1e-12)
    strips = flat * (30.0**3 - 26.0**3) / 12.0
    assert EASY.about_axis().inertia == pytest.approx(strips + pi / 4.0 * (r**4 - (r - t) ** 4), rel=1e-12)
    plastic = flat * (r**2 - (r - t) ** 2) + 4.0 / 3.0 * (r**3 - (r - t) ** 3)
    assert EASY.about_axis().plastic == pytest.approx(plastic, rel=1e-12)
    assert EASY.about_axis(turned=True) == HARD.about_axis()
    assert EASY.outer.perimeter == pytest.approx(2.0 * pi * r + 2.0 * flat)


def test_dies_take_it_the_easy_and_the_hard_way():
    shop = shop_from_text(SHOP)
    assert (
        [die.name for die in shop.dies_for(EASY)] == ["easy"] == [die.name for die in shop.dies_for(HARD, turned=True)]
    )
    assert [die.name for die in shop.dies_for(EASY, turned=True)] == ["hard"]
    assert [die.name for die in shop.dies_for(parse_section("60x30x2mm"))] == ["other"]
    assert shop.dies[0].groove(Display("mm")) == "60.00 x 30.00 mm flat-oval"
    assert shop.dies[0].around == pytest.approx(EASY.outer.perimeter)
    with pytest.raises(ShopError, match=r"die\[1\].flat_oval .*two different sizes"):
        shop_from_text(SHOP.replace("[60, 30]", "[60, 60]", 1))


def test_the_audit_rolls_it_by_quarter_turns(tmp_path, capsys):
    """A bend after a quarter turn wants the hard die; any other roll leaves no face in the die."""
    shop, rows = tmp_path / "shop.toml", tmp_path / "rail.csv"
    shop.write_text(SHOP)

    def audit(roll, clr):
        text = (
            f"tube,bend,feed_mm,rotation,angle,clr_mm\nrail,1,200,0,90,120\nrail,2,300,{roll},45,{clr}\nrail,tail,200\n"
        )
        rows.write_text(text.replace("rail,tail,200", "rail,tail,200,,,"))
        found = run(capsys, "audit", rows, "--json", "--shop", shop, "--section", "flat-oval 60x30x2mm").json
        return {(one["code"], one["bend"]) for one in found["findings"] if one["severity"] == "error"}

    assert audit(90, 180) == audit(0, 120) == audit(180, 120) == set()
    assert {code for code, _ in audit(90, 120)} == {"radius-too-tight"}
    assert ("roll-not-quarter", 2) in audit(30, 120)
    done = run(capsys, "table", rows, "--section", "flat-oval 60x60x2mm")
    assert done.status == 2 and "two different sizes" in one_sentence(done.err)


@pytest.mark.parametrize("section", [EASY, HARD], ids=["easy", "hard"])
@pytest.mark.parametrize("rolls", [(0.0, 90.0, 180.0), (0.0, 37.0, -120.0)], ids=["quarters", "askew"])
def test_the_solid_has_half_cylinders_and_the_volume_of_pappus(section, rolls):
    rows = table((100.0, rolls[0], 90.0, 90.0), (120.0, rolls[1], 45.0, 90.0), (80.0, rolls[2], 200.0, 110.0))
    tube = Run("oval", None, False, rows, Placement())
    solid = tube_solid(tube, section)
    assert_sound(solid)
    length = 400.0 + radians(135.0) * 90.0 + radians(200.0) * 110.0
    area = pi * (15.0**2 - 13.0**2) + 2.0 * 30.0 * 2.0
    assert kernel_volume(solid) == pytest.approx(area * length, rel=1e-9)
    kinds = surfaces(solid)
    assert kinds["Torus"] == 3 * 2 * 2  # two round sides, outside and bore, per bend
    assert kinds["Cylinder"] >= 4 * 2 * 2


def test_a_straight_is_two_flats_and_two_half_cylinders_a_side():
    solid = tube_solid(Run("oval", None, False, BendTable((), 200.0), Placement()), HARD)
    assert surfaces(solid) == {"Plane": 2 + 2 * 2, "Cylinder": 2 * 2}


@pytest.mark.parametrize("section", [EASY, HARD], ids=["easy", "hard"])
def test_the_mesh_closes_and_nears_the_solid(section):
    import trimesh

    tube = Run("oval", None, False, table((100.0, 0.0, 90.0, 90.0), (120.0, 90.0, 60.0, 90.0)), Placement())
    true = volume(tube_solid(tube, section))
    errors = []
    for chord in (0.2, 0.02):
        mesh = trimesh.Trimesh(*tube_mesh(metal(tube, section), section, chord))
        assert mesh.is_watertight and mesh.is_winding_consistent
        errors.append(abs(mesh.volume / true - 1.0))
    assert errors[1] < 0.3 * errors[0] < 0.01


def test_a_ring_that_comes_back_half_turned_closes():
    """Four quarter bends in a plane: no end faces, and the ring's volume."""
    rows = BendTable(tuple(Bend(200.0, 0.0, 90.0, 100.0) for _ in range(4)), 0.0)
    solid = tube_solid(Run("ring", None, True, rows, Placement()), EASY)
    assert kernel_volume(solid) == pytest.approx(EASY.area * (800.0 + 2.0 * pi * 100.0), rel=1e-9)


@pytest.mark.parametrize(
    ("own", "rail"),
    [
        (EASY, Section("round", 80.0, 3.0)),
        (Section("round", 25.0, 2.0), EASY),
        (Section("flat-oval", 24.0, 2.0, 12.0), HARD),
    ],
    ids=["on round", "round on it", "on its like"],
)
@pytest.mark.parametrize("theta", [90.0, 55.0])
def test_copes_take_the_volume_of_the_curve_off(own, rail, theta):
    [(tube, joints, solid)] = coped(tee(theta, own, rail=rail))
    agrees(tube, joints, solid, rel=1e-5)


def test_two_mitre():
    found = coped([straight("A", (0, 0, 0), (300.0, 0, 0), EASY), straight("B", (0, 0, 0), (0, 300.0, 0), EASY)])
    assert [joint.kind for _, joints, _ in found for joint in joints] == ["mitre", "mitre"]
    for tube, joints, solid in found:
        agrees(tube, joints, solid)


def test_what_the_page_is_told():
    """Across, in the plane, and the radius of its round sides."""
    assert outline(EASY, 1000.0) == [60.0, 30.0, 15.0]
