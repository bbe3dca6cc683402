"""Tables of the trade: other column orders and names, corner points with radii, our own JSON."""

from __future__ import annotations

import json

import pytest

from converter import Settings, open_job
from converter.errors import OptionError, ReadError
from converter.exporters.data.table_json import dumps, table_document
from converter.importers.registry import ReadOptions, read
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.reducer import reduce_drawing


def save(tmp_path, text, name="part.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def run_of(path, **options):
    (run,), _ = reduce_drawing(read(path, ReadOptions(**options)))
    return run


TABLES = {
    "ours": "feed_mm,rotation_deg,angle_deg,clr_mm\n100,0,90,50\n40,-45,30,50\n70,,,\n",
    "length rotation angle": "L (mm),R,A,CLR (mm)\n100,0,90,50\n40,-45,30,50\n70,,,\n",
    "Y B C": "Y_mm;B;C;clr_mm\n100;0;90;50\n40;-45;30;50\n70;;;\n",
    "words, other order": "Degree of bend,Bend radius (mm),Distance between bends (mm),Plane of bend\n"
    "90,50,100,0\n30,50,40,-45\n,,70,\n",
    "abbreviations, tabs": "DBB mm\tPOB\tDOB\tradius mm\n100\t0\t90\t50\n40\t-45\t30\t50\n70\t\t\t\n",
    "inches": "straight (in),turn,deflection,center line radius\n3.937007874015748,0,90,1.968503937007874\n"
    "1.574803149606299,-45,30,1.968503937007874\n2.755905511811024,,,\n",
}


@pytest.mark.parametrize("text", TABLES.values(), ids=TABLES)
def test_the_usual_columns_in_any_order(tmp_path, text):
    run = run_of(save(tmp_path, text))
    assert run.table.straights == pytest.approx((100, 40, 70))
    assert [(b.rotation, b.angle, b.clr) for b in run.table.bends] == [
        (0, 90, pytest.approx(50)),
        (-45, 30, pytest.approx(50)),
    ]


def test_a_table_without_a_radius_is_refused(tmp_path):
    with pytest.raises(ReadError, match="no column for the radius"):
        read(save(tmp_path, "L mm,R,A\n100,0,90\n40,,\n"))


def test_corner_points_with_one_radius_for_all(tmp_path):
    """The worked part of the check list: (0,0,0)(20,0,0)(20,20,0)(20,20,20), R 4.5: 15.5, 11, 15.5; cut 56.1372."""
    text = "x_in,y_in,z_in,clr_in\n0,0,0,\n20,0,0,4.5\n20,20,0,\n20,20,20,\n"
    run = run_of(save(tmp_path, text))
    assert [s / 25.4 for s in run.table.straights] == pytest.approx([15.5, 11, 15.5])
    assert run.table.developed_length / 25.4 == pytest.approx(56.1372, abs=5e-5)
    assert run.table.bends[1].rotation == pytest.approx(90)


@pytest.mark.parametrize("heading", ["clr_mm", "r_mm", "R (mm)", "radius_mm"])
def test_the_radius_of_corner_points_by_its_names(tmp_path, heading):
    run = run_of(save(tmp_path, f"x_mm,y_mm,{heading}\n0,0,\n500,0,80\n500,300,\n"))
    (bend,) = run.table.bends
    assert (bend.feed, bend.clr, run.table.tail) == pytest.approx((420.0, 80.0, 220.0))


def test_corner_points_with_a_radius_each(tmp_path):
    text = "x_mm,y_mm,z_mm,clr_mm\n0,0,0,\n200,0,0,40\n200,200,0,60\n200,200,200,\n"
    run = run_of(save(tmp_path, text))
    assert [b.clr for b in run.table.bends] == [40, 60]
    assert run.table.straights == pytest.approx((160, 100, 140))


def test_a_radius_that_touches_its_neighbour_is_the_limit(tmp_path):
    """Two right angles 80 apart take R 40 each and no more."""
    points = "x_mm,y_mm,clr_mm\n0,0,\n200,0,{0}\n200,80,{0}\n400,80,\n"
    run = run_of(save(tmp_path, points.format(40)))
    assert run.table.straights == pytest.approx((160, 0, 160), abs=1e-9)
    with pytest.raises(ReadError, match=r"row 4.*radius of 41 mm needs 41 mm of leg, and there are 39 mm"):
        read(save(tmp_path, points.format(41)))


def test_blank_radii_among_given_ones_stay_sharp(tmp_path):
    text = "x_mm,y_mm,clr_mm\n0,0,\n200,0,40\n200,200,\n400,200,30\n400,400,\n"
    run = run_of(save(tmp_path, text))
    assert [(b.clr, b.corner) for b in run.table.bends] == [(40, False), (None, True), (30, False)]


def test_our_json_reads_back(tmp_path):
    table = BendTable((Bend(100, 0, 90, 50), Bend(0, -120, 200, 60), Bend(30, 90, 45, None, corner=True)), 70)
    place = Placement((10, 20, 30), (0, 0.6, 0.8), (0, 0.8, -0.6))
    tube = Tube(Run('=a/..\\"ü', "L 1", False, table, place), Section("square", 40, 2, corner=4))
    path = save(tmp_path, dumps(table_document("x.dxf", "in", [tube], [], [])), "out.json")
    drawing = read(path)
    (run,), _ = reduce_drawing(drawing)
    assert (run.name, run.layer, run.table, run.section) == (tube.name, "L 1", table, tube.section)
    assert run.start == place.start
    assert run.end == pytest.approx(tube.run.end, abs=1e-9)
    assert [f.code for f in run.findings] == ["plane-open"]
    assert drawing.units == "in"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"schema": "elbowroom/table/1", "tubes": [', "not sound JSON"),
        ('{"schema": "elbowroom/table/2", "tubes": []}', "not a bend table of ours"),
        ('{"schema": "elbowroom/table/1", "tubes": [{"name": "a"}]}', r"tubes\[0\] has no 'bends'"),
        (
            json.dumps(
                {
                    "schema": "elbowroom/table/1",
                    "tubes": [{"bends": [{"feed": 1, "rotation": 0, "angle": 0, "clr": 1}]}],
                }
            ),
            r"tubes\[0\] cannot be: angle 0.0 is outside",
        ),
        ('{"schema": "elbowroom/table/1", "tubes": [3]}', r"tubes\[0\] cannot be"),
    ],
)
def test_json_that_is_not_a_table(tmp_path, text, words):
    with pytest.raises(ReadError, match=words):
        read(save(tmp_path, text, "x.json"))


@pytest.mark.parametrize("option", ["layout", "skip_colors", "skip_linetypes", "take_all"])
def test_options_that_a_table_does_not_know_are_refused(tmp_path, option):
    value = "A4" if option == "layout" else ("red",)
    with pytest.raises(OptionError, match="leave out --"):
        read(save(tmp_path, TABLES["ours"]), ReadOptions(**{option: value}))


@pytest.mark.parametrize(
    ("text", "feed"),
    [
        ("feed,rotation,angle,clr\n10,0,90,4.5\n12,,,\n", 254.0),  # in the shop's unit, as a drawing would be
        ("feed_mm,rotation,angle,clr\n10,0,90,4.5\n12,,,\n", 10.0),  # as the other headings say
        ("x,y\n0,0\n14.5,0\n14.5,16.5\n", 254.0),
        ("x_mm,y_mm\n0,0\n14.5,0\n14.5,16.5\n", 10.0),
    ],
)
def test_headings_without_a_unit_are_in_the_shops(tmp_path, text, feed):
    """A shop file in inches, a die of 4.5 in for the corners."""
    size = ("25mm", "4.5in") if feed > 99.0 else ("5mm", "4.5mm")
    shop = f'units = "in"\n[shop]\nname = "S"\n[[die]]\nname = "R"\nod = "{size[0]}"\nclr = "{size[1]}"\n'
    save(tmp_path, shop, "shop.toml")
    given = Settings(shop=str(tmp_path / "shop.toml"), sections=(f"{size[0][:-2]}x0.5mm",))
    job = open_job(str(save(tmp_path, text)), given)
    assert job.tubes[0].run.table.bends[0].feed == pytest.approx(feed)
    assumed = [f.message for f in job.findings if f.code == "units-assumed"]
    assert len(assumed) == (0 if text.startswith("x_mm") else 1)
    assert all("read as inches, the unit of the shop file" in words for words in assumed) or feed < 99.0
    assert job.display.unit == ("in" if feed > 99.0 else "mm")


def test_a_size_in_a_cell_is_in_the_unit_of_its_table(tmp_path):
    text = "feed_in,rotation,angle,clr_in,section\n10,0,90,4.5,1.75x0.120\n12,,,,\n"
    (tube,) = open_job(str(save(tmp_path, text)), Settings()).tubes
    assert tube.section.od == pytest.approx(44.45) and tube.section.wall == pytest.approx(3.048)
