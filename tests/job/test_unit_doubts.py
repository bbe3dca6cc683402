"""Units that contradict the sizes they give: of a header, of a section as typed, of a shop file.

Expected numbers by hand, with the inch of 25.4 mm: 114.3 mm is 4.5 in, and 114.3 in is 2903.22 mm.
"""

import ezdxf
import pytest
from command_line import run

from converter.job import open_job
from converter.settings import ReadOptions, Settings
from converter.shop.load import new_shop_text

INCHES, FEET, MM, CM, METRES = 1, 2, 4, 5, 6
DIE = """
[[die]]
name = "{name}"
od = "44.45mm"
clr = "{clr}mm"
"""


@pytest.fixture
def drawn(tmp_path):
    """A drawing: for each radius a quarter bend between two legs, as numbers; a corner for None."""

    def draw(unit, *radii, leg=400.0, measurement=None, header=True):
        doc = ezdxf.new("R2010", units=unit if header else 0)
        if measurement is not None:
            doc.header["$MEASUREMENT"] = measurement
        model = doc.modelspace()
        for number, r in enumerate(radii):
            z, look = 10.0 * leg * number, {"layer": f"T{number}"}
            if r is None:
                model.add_polyline3d([(0, 0, z), (leg, 0, z), (leg, leg, z)], dxfattribs=look)
                continue
            model.add_line((0, 0, z), (leg, 0, z), dxfattribs=look)
            model.add_arc((leg, r, z), r, 270, 360, dxfattribs=look)
            model.add_line((leg + r, r, z), (leg + r, r + leg, z), dxfattribs=look)
        doc.saveas(tmp_path / "drawing.dxf")
        return str(tmp_path / "drawing.dxf")

    return draw


@pytest.fixture
def shop(tmp_path):
    def write(*radii, more=""):
        text = "".join(DIE.format(name=f"R{clr}", clr=clr) for clr in radii)
        (tmp_path / "shop.toml").write_text(f'[shop]\nname = "yard"\n{text}{more}', encoding="utf-8")
        return str(tmp_path / "shop.toml")

    return write


def in_unit(mine, unit):
    """The shop file with a unit of its own."""
    with open(mine, "r+", encoding="utf-8") as file:
        text = file.read()
        file.seek(0)
        file.write(f'units = "{unit}"\n{text}')
    return mine


def doubts(path, **settings):
    found = open_job(path, Settings(**settings)).findings
    return [one for one in found if one.code == "units-doubted"]


def test_bends_far_wider_than_the_dies_doubt_inches(drawn, shop):
    path, mine = drawn(INCHES, 114.3, 200.0, measurement=1), shop(114.3, 203.2)
    (doubt,) = doubts(path, shop=mine, sections=("44.45x3mm",))
    assert doubt.message == (
        "The drawing says inches (though its $MEASUREMENT is that of metric units), and bends then have "
        "a radius of 2903.22 mm (114.3 in) to 5080 mm (200 in), where the shop's dies make 114.3 mm (4.5 in) to "
        "203.2 mm (8 in); read as mm it would be 114.3 mm (4.5 in) to 200 mm (7.87402 in)."
    )
    assert doubt.severity == "warning" and doubt.measured == pytest.approx(2903.22)
    assert "(--units mm)" in doubt.cure_in() and "(--units in)" in doubt.cure_in()
    findings = open_job(path, Settings(shop=mine, sections=("44.45x3mm",))).findings
    assert findings[0] == doubt and any(one.severity == "error" for one in findings), (
        "before the errors that come of it"
    )


def test_bends_far_tighter_than_the_dies_doubt_millimetres(drawn, shop):
    (doubt,) = doubts(drawn(MM, 4.5, leg=16.0), shop=shop(114.3))
    assert "says mm, and bends then have a radius of 4.5 mm (0.177165 in), where the shop's dies make" in doubt.message
    assert "read as inches it would be 114.3 mm (4.5 in)." in doubt.message


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_who_says_the_unit_is_not_asked_again(drawn, shop, unit):
    assert not doubts(drawn(INCHES, 114.3), shop=shop(114.3), read=ReadOptions(units=unit))


def test_eight_times_the_dies_is_the_limit(drawn, shop):
    """One die of 100 mm: 800 mm are 31.496 in. Of several tubes every one must be beyond it."""
    mine = shop(100)
    assert not doubts(drawn(INCHES, 31.4, leg=60.0), shop=mine)
    assert doubts(drawn(INCHES, 31.6, leg=60.0), shop=mine)
    assert not doubts(drawn(INCHES, 31.6, 31.4, leg=60.0), shop=mine)
    assert not doubts(drawn(MM, 12.6), shop=mine)
    assert doubts(drawn(MM, 12.4, leg=60.0), shop=mine)


def test_no_doubt_where_the_other_unit_is_no_better(drawn, shop):
    assert not doubts(drawn(INCHES, 5000.0), shop=shop(114.3)), "5 m in mm are no better than 127 m"
    # 36 mm of radius is under three quarters of 2 in of tube: a wide arc in inches, not a bend in mm
    assert doubts(drawn(INCHES, 45.0, leg=60.0), shop=shop(60))
    assert not doubts(drawn(INCHES, 36.0, leg=60.0), shop=shop(60), sections=("2x0.12in",))


@pytest.mark.parametrize("measurement", [0, 1])
def test_measurement_is_no_reason_by_itself(drawn, shop, measurement):
    mine = shop(114.3)
    for one in ({}, {"shop": mine}, {"sections": ("1.75x0.120in",)}):
        assert not doubts(drawn(MM, 114.3, measurement=measurement), **one)
        assert not doubts(drawn(INCHES, 4.5, leg=16.0, measurement=measurement), **one)
    (doubt,) = doubts(drawn(INCHES, 114.3, measurement=measurement), shop=mine)
    assert ("$MEASUREMENT" in doubt.message) == (measurement == 1), "told where it speaks for the other reading"


def test_without_dies_by_what_tube_is_bent_to(drawn):
    """The demo shop's dies are nobody's: 40 times a tube of 44.45 mm is 1778 mm, half of it 22.2 mm."""
    size = {"sections": ("44.45x3mm",)}
    (doubt,) = doubts(drawn(INCHES, 114.3), **size)
    assert "which is too wide for tube of 44.45 mm (1.75 in); read as mm" in doubt.message
    assert not doubts(drawn(INCHES, 69.9, leg=60.0), **size) and doubts(drawn(INCHES, 70.1, leg=60.0), **size)
    assert doubts(drawn(MM, 4.5, leg=16.0), **size)
    assert not doubts(drawn(MM, 2300.0), **size), "a wide arc in mm is no bend in inches"
    (doubt,) = doubts(drawn(MM, 4.5, leg=16.0))
    assert "which is too tight for tube; read as inches it would be 114.3 mm (4.5 in)" in doubt.message
    assert not doubts(drawn(MM, 5.1, leg=16.0))
    assert doubts(drawn(INCHES, 60.0, leg=60.0)) and not doubts(drawn(INCHES, 59.0, leg=60.0))  # 1500 mm are 59.06 in


def test_corners_alone_are_judged_by_their_lengths(drawn):
    """Two legs of 3000: 6 m in mm, 152.4 m in inches. Two legs of 16: 32 mm, or 812.8 mm."""
    (doubt,) = doubts(drawn(INCHES, None, leg=3000.0))
    assert "a run is then 6000 in (152.4 m) long; read as mm it would be 236.22 in (6000 mm)" in doubt.message_in(
        open_job(drawn(INCHES, None, leg=3000.0)).display
    )
    assert doubts(drawn(MM, None, leg=16.0)) and not doubts(drawn(MM, None, leg=21.0))
    assert not doubts(drawn(INCHES, None, leg=900.0)), "45.7 m"


def test_a_drawing_without_a_unit_has_findings_of_its_own(drawn, shop):
    path = drawn(MM, 4.5, leg=16.0, measurement=1, header=False)
    assert not doubts(path, shop=shop(114.3))
    assert open_job(path, Settings(shop=shop(114.3))).findings[0].code == "units-assumed"


# --- units that tube is seldom drawn in: numbers by hand, 4.5 is 114.3 mm in inches, 45 mm in cm, 1371.6 mm in feet ---


def test_radii_of_the_dies_in_another_unit_doubt_centimetres(drawn, shop):
    """45 mm is no impossible bend of a shop with a die of 114.3 mm; but 4.5 is that die in inches."""
    path, mine = drawn(CM, 4.5, 6.0, leg=16.0), shop(114.3, 152.4)
    (doubt,) = doubts(path, shop=mine, sections=("44.45x3mm",))
    assert doubt.message == (
        "The drawing says cm, and bends then have a radius of 45 mm (1.77165 in) to 60 mm (2.3622 in), "
        "as no die of the shop has; read as inches every one has that of a die: 114.3 mm (4.5 in) to 152.4 mm (6 in)."
    )
    assert doubt.severity == "warning" and "(--units in)" in doubt.cure_in() and "(--units cm)" in doubt.cure_in()
    assert all(one.severity == "note" for one in doubts(path, shop=shop(45, 152.4))), "a die has one of them as read"
    assert all(one.severity == "note" for one in doubts(drawn(CM, 4.6, leg=16.0), shop=shop(114.3)))
    assert not doubts(path, shop=mine, read=ReadOptions(units="cm"))


def test_whole_sixteenths_doubt_centimetres(drawn):
    """16 1/8 and 22 1/16 are 161.25 and 220.625 mm: nobody draws these."""
    (doubt,) = doubts(drawn(CM, 4.5, 4.5625, leg=16.125), sections=("44.45x3mm",))
    assert "its numbers are whole sixteenths, as they are in inches (4.5625 and 16.125): the longest" in doubt.message
    assert doubt.severity == "warning" and "(--units in)" in doubt.cure_in()
    for radius, leg in ((4.5, 16.25), (4.5, 16.125), (4.5625, 16.15)):  # in halves of mm; one number; one in halves
        assert all(one.severity == "note" for one in doubts(drawn(CM, radius, leg=leg)))
    assert not doubts(drawn(MM, 114.5625, leg=416.125)), "in mm they may come of anything"


@pytest.mark.parametrize(
    ("unit", "radius", "leg", "other"),
    [(FEET, 4.5, 16.0, "inches"), (CM, 114.3, 400.0, "mm"), (METRES, 4.5, 16.0, "inches"), (MM, 0.1143, 0.4, "m")],
)
def test_a_seldom_unit_is_doubted_where_sizes_are_merely_unusual(drawn, unit, radius, leg, other):
    (doubt,) = doubts(drawn(unit, radius, leg=leg))
    assert f"read as {other} it would be 114.3 mm (4.5 in)." in doubt.message and doubt.severity == "warning"


def test_a_seldom_unit_is_a_note_where_nothing_speaks_against_it(drawn, shop):
    """11.43 and 40 in cm: two legs and a quarter bend are 979.54 mm, 97.95 mm in mm, 2488.03 mm in inches."""
    path = drawn(CM, 11.43, leg=40.0, measurement=1)
    (doubt,) = doubts(path)
    assert doubt.severity == "note" and doubt.message == (
        "The drawing says cm, a unit in which tube is seldom drawn: the longest tube is then 979.542 mm "
        "(38.5646 in); it would be 97.9542 mm (3.85646 in) in mm, or 2488.04 mm (97.9542 in) in inches."
    )
    mine = shop(114.3)
    assert not doubts(path, shop=in_unit(mine, "cm")), "the shop itself works in it"
    (warning,) = doubts(drawn(CM, 11.43, leg=40.0, measurement=0))
    assert warning.severity == "warning" and "(though its $MEASUREMENT is that of inches)" in warning.message
    assert "(--units in)" in warning.cure_in()
    assert not doubts(drawn(METRES, 0.1143, leg=0.4)), "1 mm or 25 mm are no tubes"
    assert not doubts(path, shop=shop(114.3)), "every radius is that of a die"


# --- sections and shop files ------------------------------------------------------------------------------------------


def told(path, code, **settings):
    return [one for one in open_job(path, Settings(**settings)).findings if one.code == code]


def test_a_section_that_is_no_tube_in_the_drawings_unit(drawn):
    (doubt,) = told(drawn(INCHES, 4.5, leg=16.0), "section-unit", sections=("T0=44.45x3",))
    assert doubt.message == (
        "The section '44.45x3' names no unit and was read in inches, as the drawing was: tube 1129.03 mm (44.45 in) "
        "across; read in mm it would be 44.45 mm (1.75 in)."
    )
    assert doubt.cure_in() == "Write the unit with it: 44.45x3mm."
    (doubt,) = told(drawn(MM, 114.3), "section-unit", sections=("1.75x0.120",))
    assert "tube 1.75 mm" in doubt.message and doubt.cure_in() == "Write the unit with it: 1.75x0.120in."
    for unit, fine in ((INCHES, "44.45x3mm"), (INCHES, "1.75x0.120"), (MM, "44.45x3"), (MM, "1.75x0.120in")):
        assert not told(drawn(unit, 4.5 if unit == INCHES else 114.3), "section-unit", sections=(fine,))


LARGE = 'units = "in"\n[shop]\nname = "yard"\n[[die]]\nname = "A"\nod = {od}\nclr = 150\n'


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            LARGE.format(od=44.45),
            "The shop file is in inches, and die[1] ('A') is 44.45 across, which is more than any bender has or takes. "
            'If that is in mm, write the unit with it, "44.45mm".',
        ),
        (
            LARGE.format(od=1.75).replace('"in"', '"mm"'),
            "The shop file is in mm, and die[1] ('A') is 1.75 across, which is less than any bender has or takes. "
            'If that is in inches, write the unit with it, "1.75in".',
        ),
    ],
)
def test_a_shop_files_doubtful_size_is_told_once_in_every_job(drawn, tmp_path, capsys, text, sentence):
    (tmp_path / "shop.toml").write_text(text, encoding="utf-8")
    mine = str(tmp_path / "shop.toml")
    assert f"Warning: {sentence}" in " ".join(run(capsys, "shop", "check", mine).err.split())
    path = drawn(MM, 114.3, 114.3)
    (doubt,) = told(path, "shop-unit", shop=mine, sections=("44.45x3mm",))
    assert f"{doubt.message} {doubt.cure_in()}" == sentence
    assert not doubts(path, shop=mine), "its dies judge no drawing"
    assert sentence.split("'A'")[0] in " ".join(run(capsys, "audit", path, "--shop", mine).out.split())


def test_many_doubtful_sizes_are_one_finding(drawn, tmp_path):
    text = LARGE.format(od=44.45) + "".join(f'[[die]]\nname = "B{i}"\nod = 25.4\nclr = 90\n' for i in range(4))
    (tmp_path / "shop.toml").write_text(text, encoding="utf-8")
    (doubt,) = told(drawn(MM, 114.3), "shop-unit", shop=str(tmp_path / "shop.toml"))
    assert "die[2] ('B0') is 25.4 across, die[3] ('B1') is 25.4 across and 2 more are like that" in doubt.message


def test_a_size_with_its_unit_is_not_doubted(drawn, tmp_path):
    text = LARGE.format(od='"44.45mm"').replace("clr = 150", 'clr = "150mm"')
    (tmp_path / "shop.toml").write_text(text, encoding="utf-8")
    assert not told(drawn(MM, 114.3), "shop-unit", shop=str(tmp_path / "shop.toml"))


@pytest.mark.parametrize(
    ("unit", "die", "machine", "sentence"),
    [
        ("in", "od = 1.5\nclr = 114.3", "", "die[1].clr ('A') is 114.3, which is more than any bender has or takes. "
         'If that is in mm, write the unit with it, "114.3mm".'),
        ("in", "od = 1.5\nclr = 4.5\nclamp = 76\ntail = 50", "", "die[1].clamp ('A') is 76 and die[1].tail ('A') is 5"),
        ("mm", "od = 38.1\nclr = 114.3\nclamp = 3", "", "die[1].clamp ('A') is 3, which is less than any bender has"),
        ("in", "od = 1.5\nclr = 4.5", "pivot_height = 965", "machine.pivot_height ('the bender') is 965, which is m"),
        ("mm", "od = 38.1\nclr = 114.3", "pivot_height = 38", "machine.pivot_height ('the bender') is 38, which is l"),
        ("in", "od = 1.5\nclr = 9\nclamp = 5\ntail = 3", "pivot_height = 38", ""),
        ("mm", "od = 38.1\nclr = 228\nclamp = 100\ntail = 2", "pivot_height = 965", ""),
    ],
)  # fmt: skip
def test_lengths_of_dies_and_machine_in_the_other_unit_are_doubted(tmp_path, capsys, unit, die, machine, sentence):
    """They were taken as they stand: a straight of 76 in was asked for, and no tube came near a floor 24 m below."""
    mine = tmp_path / "shop.toml"
    head = f'units = "{unit}"\n[shop]\nname = "yard"\n[machine]\n{machine}\n'
    mine.write_text(f'{head}[[die]]\nname = "A"\n{die}\n', encoding="utf-8")
    told_here = " ".join(run(capsys, "shop", "check", mine).err.split())
    assert (sentence in told_here) if sentence else not told_here


@pytest.mark.parametrize(
    ("metal", "where"),
    [
        ('name = "mild steel"\nyield_mpa = 36\ntensile_mpa = 58', ["yield_mpa", "tensile_mpa"]),
        ('name = "1020 DOM"\nmodulus_gpa = 29', ["modulus_gpa"]),
        ('name = "whatever it is"\nmodulus_gpa = 29', ["modulus_gpa"]),
        ('name = "mild steel"\nyield_mpa = 250\ntensile_mpa = 400\nmodulus_gpa = 205', []),
        ('name = "soft"\nyield_mpa = 30\nmodulus_gpa = 69', []),
        ('name = "acrylic"\nmodulus_gpa = 3', []),
    ],
)
def test_figures_of_metals_in_ksi_and_msi_are_doubted(drawn, tmp_path, metal, where):
    """With the modulus of steel as 29 a bend springs back seven times as far."""
    mine = tmp_path / "shop.toml"
    mine.write_text(f'units = "in"\n[shop]\nname = "yard"\n[[metal]]\n{metal}\n', encoding="utf-8")
    found = told(drawn(MM, 114.3), "metal-unit", shop=str(mine))
    assert [f.message.split()[0] for f in found] == [f"Metal[1].{key}" for key in where]
    if where == ["modulus_gpa"]:
        assert found[0].cure_in() == "If it is in Msi, write 200, which is the same in GPa."


def test_a_die_left_as_the_example_is_told_where_a_tube_is_bent_on_it(drawn, tmp_path, capsys):
    """Of the shop file as `shop new` writes it; any other number, or another name, makes a die the shop's own."""
    path, mine = drawn(MM, 152.4), str(tmp_path / "shop.toml")
    run(capsys, "shop", "new", mine)
    (doubt,) = told(path, "shop-example", shop=mine, sections=("1.75x0.12in",))
    assert "The die 'R1750' of the shop file stands as" in doubt.message
    assert not told(path, "shop-example", shop=mine, sections=("60x3mm",)), "no die takes it"
    words = " ".join(run(capsys, "shop", "check", mine).err.split())
    assert "The dies 'R1750', '1-1/4 pipe' and '1-1/2 square' of the shop file stand as" in words
    text = new_shop_text()
    for own in (text.replace("clamp = 3.5 ", "clamp = 3.25 "), text.replace('"R1750"', '"big one"')):
        (tmp_path / "own.toml").write_text(own, encoding="utf-8")
        assert not told(path, "shop-example", shop=str(tmp_path / "own.toml"), sections=("1.75x0.12in",))
