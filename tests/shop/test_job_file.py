"""Job files: which saying wins, and what is refused."""

import pytest

from converter.errors import ReadError, ShopError
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run
from converter.shop.assign import Assigner
from converter.shop.job_file import JobEntry, job_from_text, load_job, unmatched
from converter.shop.load import shop_from_text
from converter.shop.sections import parse_section

TEXT = """
units = "in"
[job]
name = "dock ladder"
[default]
metal = "mild steel"
clr = 3
[layer."RAIL*"]
section = "1.5x0.095"
clr = 4
[layer.RAIL_LEFT]
section = "1.75x0.120"
[layer."*LEFT"]
section = "1x0.065"
metal = "304"
[run."R1"]
die = "R1750"
reverse = true
[run."R?"]
section = "2x0.120"
die = "other"
"""
SHOP_OF_100 = """units = "mm"
[shop]
name = "s"
[[die]]
name = "D"
od = 40
clr = 100
"""


def run(name, layer=None):
    return Run(name, layer, False, BendTable((), 100.0), Placement())


def test_the_nearest_saying_wins_value_by_value():
    job = job_from_text(TEXT)
    assert (job.name, len(job.layers), len(job.runs)) == ("dock ladder", 3, 2)
    left = job.choice(run("A", "rail_left"))  # exact name first, whatever the order; case does not matter
    assert left == JobEntry(parse_section("1.75x0.120in"), None, 101.6, "304", None)
    right = job.choice(run("A", "RAIL right"))
    assert right == JobEntry(parse_section("1.5x0.095in"), None, 101.6, "mild steel", None)
    assert job.choice(run("A", None)) == JobEntry(clr=pytest.approx(76.2), metal="mild steel")
    assert job.for_layer(None) == JobEntry()


def test_run_beats_layer_and_die_goes_with_its_radius():
    job = job_from_text(TEXT)
    first = job.choice(run("R1", "RAIL_LEFT"))
    assert (first.die, first.reverse) == ("R1750", True)
    assert first.clr is None  # the layer's radius was not meant for the die named nearer
    assert first.section == parse_section("2x0.120in")  # the run's pattern beats the layer
    assert job.choice(run("R2")).die == "other" and job.choice(run("R22")).die is None


def test_brackets_in_names_are_met_exactly():
    job = job_from_text('[run."T[1]=a/b.."]\nsection = "25x2mm"\n')
    assert job.of_run(run("t[1]=A/B..")).section == parse_section("25x2mm")
    assert job.of_run(run("T1=a/b..")) == JobEntry(section=parse_section("25x2mm"))  # as a pattern, too
    assert job.of_run(run("T2=a/b..")) == JobEntry()


def test_what_meets_nothing_is_said():
    job = job_from_text(TEXT, "j.toml")
    said = unmatched(job, [run("R7", "RAIL_RIGHT")], ["FRAM", "rail_*"])
    assert [f.code for f in said] == ["job-unmatched"] * 4
    assert [f.message for f in said] == [
        "The section option names layer 'FRAM', which the drawing does not have.",
        "The job file names the tube 'R1', which the drawing does not have.",
        "The job file names layer 'RAIL_LEFT', which the drawing does not have.",
        "The job file names layer '*LEFT', which the drawing does not have.",
    ]
    # the name that is likely meant, if one is like it in any case
    (near,) = unmatched(None, [run("R7", "Rail"), run("R8", "POST")], ["RIAL"])
    assert near.cure_in() == "Check the spelling: 'Rail' is likely meant."
    (far,) = unmatched(None, [run("R7", "RAIL")], ["BRACE"])
    assert far.cure_in() == "Check the spelling."
    assert unmatched(None, [run("R7")]) == []


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "j.toml is empty"),
        ("layer = 3", "j.toml: layer must be tables by name, written [layer.NAME], not 3."),
        ("[layer]\nRAIL = 3", "layer.RAIL must be a table, not 3."),
        ("[layer.RAIL]\nsecton = '1x.065in'", "layer.RAIL.secton is not a known key: did you mean section?"),
        ("[layer.'a b']\nclr = '-1in'", "layer.'a b'.clr must be a length above zero, not \"-1in\"."),
        ("[run.T1]\nclr = 4", "run.T1.clr is 4 of no unit: put units"),
        ("[run.T1]\nsection = '1.75x.12'", 'run.T1.section is "1.75x.12" of no unit'),
        ("[run.T1]\nsection = '3/4 x 16ga'", 'run.T1.section is "3/4 x 16ga" of no unit'),
        ("[run.T1]\nreverse = 'yes'", 'run.T1.reverse must be true or false, not "yes".'),
        ("[run.T1]\nclr = '4in'\n[run.t1]\nclr = '5in'", "run.t1 is said twice"),
        ("[run.'']\nclr = '4in'", "needs a name"),
        ("[runs.T1]\nclr = '4in'", "runs is not a known key: did you mean run?"),
        ("[run.T1\n", "j.toml is not a TOML file (line 1, column 8)"),
    ],
)
def test_wrong_files_give_one_sentence(text, message):
    with pytest.raises(ShopError) as caught:
        job_from_text(text, "j.toml")
    assert message in caught.value.message
    assert "\n" not in caught.value.message and caught.value.file == "j.toml"


def test_load(tmp_path):
    path = tmp_path / "j.toml"
    path.write_text(TEXT, encoding="utf-8")
    assert load_job(path).source == str(path)
    with pytest.raises(ReadError, match="does not exist"):
        load_job(tmp_path / "no.toml")


def test_a_job_says_which_tubes_are_bent_on_their_die():
    """The tube before its layer, both before the option, and the default last; the die of 100 mm takes what is drawn
    at 99 mm."""
    shop = shop_from_text(SHOP_OF_100)
    drawn = [Run(name, layer, False, BendTable((Bend(300.0, 0.0, 90.0, 99.0),), 300.0), Placement())
             for name, layer in (("A", "L"), ("B", "L"), ("C", "M"))]  # fmt: skip

    def radii(text, refit=False):
        tubes = Assigner(shop, job_from_text(text), parse_section("40x2mm"), refit=refit).tubes(drawn)
        return [tube.run.table.bends[0].clr for tube in tubes]

    assert radii('units = "mm"') == [99.0] * 3 and radii('units = "mm"', refit=True) == [100.0] * 3
    of_layer = "[layer.L]\nrefit = true\n[run.B]\nrefit = false\n"
    assert radii(of_layer) == [100.0, 99.0, 99.0] and radii(of_layer, refit=True) == [100.0, 99.0, 100.0]
    assert radii("[default]\nrefit = true\n[layer.M]\nrefit = false\n") == [100.0, 100.0, 99.0]
