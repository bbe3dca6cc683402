"""Sharp corners as option and job file choose: bent, mitred, or bent with a word that mitres are likely."""

import ezdxf
import pytest

from converter import Settings, open_job
from converter.errors import ShopError
from converter.shop.job_file import job_from_text

SHOP = """
units = "mm"
[shop]
name = "Shed"
[[die]]
name = "R100"
od = 38.1
clr = 100
between = 60
"""
SQUARE, ROUND = "50x50x3mm", "38.1x2mm"


@pytest.fixture
def drawn(tmp_path):
    def draw(*lines, closed=False, layer="FRAME", section=SQUARE, job="", **settings):
        doc = ezdxf.new("R2010", units=4)
        for points in lines:
            doc.modelspace().add_lwpolyline(points, close=closed, dxfattribs={"layer": layer})
        doc.saveas(tmp_path / "drawing.dxf")
        (tmp_path / "shop.toml").write_text(SHOP)
        (tmp_path / "job.toml").write_text('units = "mm"\n' + job)
        chosen = {"shop": str(tmp_path / "shop.toml"), "job": str(tmp_path / "job.toml"), **settings}
        return open_job(str(tmp_path / "drawing.dxf"), Settings(sections=(section,), **chosen))

    return draw


RECTANGLE = [(0, 0), (900, 0), (900, 1200), (0, 1200)]
ELL = [(0, 0), (900, 0), (900, 1200)]


def names(job):
    return [tube.name for tube in job.tubes]


def choice(job):
    return [
        (finding.severity, [clause.name for clause in dict(finding.value_pairs)["reasons"]])
        for finding in job.findings
        if finding.code == "corner-choice"
    ]


def test_the_option_mitres_and_says_so(drawn):
    job = drawn(RECTANGLE, closed=True, corner="mitre")
    assert names(job) == ["FRAME-1", "FRAME-2", "FRAME-3", "FRAME-4"]
    (said,) = [finding for finding in job.findings if finding.code == "corner-mitred"]
    assert (
        said.message == "4 sharp corners of FRAME are mitred, so it is made as FRAME-1, FRAME-2, FRAME-3 and FRAME-4."
    )
    assert [(joint.tube, joint.kind, joint.angle) for joint in job.joints] == [
        (name, "mitre", pytest.approx(90.0)) for name in names(job) for _ in "AB"
    ]
    assert choice(job) == [] and not any(finding.code == "corner-no-radius" for finding in job.findings)


@pytest.mark.parametrize(
    ("option", "text", "mitred"),
    [
        (None, "", False),
        ("mitre", "", True),
        (None, '[default]\ncorner = "mitre"\n', True),
        ("bend", '[default]\ncorner = "mitre"\n', False),
        ("bend", '[layer.FRAME]\ncorner = "mitre"\n', True),
        ("mitre", '[layer.FRAME]\ncorner = "bend"\n', False),
        ("bend", '[layer.FRAME]\ncorner = "bend"\n[run."F*"]\ncorner = "mitre"\n', True),
    ],
)
def test_the_nearest_saying_wins(drawn, option, text, mitred):
    job = drawn(ELL, job=text, corner=option)
    assert names(job) == (["FRAME-1", "FRAME-2"] if mitred else ["FRAME"])


def test_the_job_file_speaks_of_the_parts_by_the_runs_name_and_by_their_own(drawn):
    text = (
        '[run.FRAME]\ncorner = "mitre"\nsection = "40x40x2mm"\nmetal = "4130"\n[run.FRAME-2]\nsection = "60x40x2mm"\n'
    )
    job = drawn(ELL, job=text, section="FRAME-NONE=20x1mm")
    assert [(tube.section.od, tube.metal) for tube in job.tubes] == [(40.0, "4130"), (60.0, "4130")]
    assert [finding.code for finding in job.findings if finding.code == "job-unmatched"] == [
        "job-unmatched"
    ]  # the option


def test_why_mitres_are_likely(drawn):
    assert choice(drawn(RECTANGLE, closed=True)) == [("warning", ["corner-flats", "corner-no-die", "corner-closed"])]
    assert choice(drawn(ELL, section=ROUND)) == []
    assert choice(drawn(RECTANGLE, closed=True, section=ROUND)) == [("note", ["corner-closed"])]
    short = [(0, 0), (900, 0), (900, 250), (0, 250)]  # 50 mm between two bends of 100, and the die wants 60
    assert choice(drawn(short, section=ROUND)) == [("warning", ["corner-too-short"])]
    slanted = [(0, 0), (900, 0), (1000, 1200), (0, 1200)]
    assert choice(drawn(slanted, closed=True, section=ROUND)) == []


def test_a_drawing_that_has_its_bends_as_arcs_leaves_corners_sharp_where_tubes_meet(drawn):
    arc_and_corner = [(0, 0), (500, 0, 0, 0, 0.41421356237), (600, 100), (600, 400), (200, 400)]
    assert choice(drawn(arc_and_corner, section=ROUND)) == [("warning", ["corner-arcs"])]
    arc = [(0, 2000), (500, 2000, 0, 0, 0.41421356237), (600, 2100), (600, 2400)]
    assert choice(drawn(arc, ELL, section=ROUND)) == [("note", ["corner-arcs-elsewhere"])]
    assert choice(drawn(arc, section=ROUND)) == []
    assert choice(drawn(arc, ELL, section=ROUND, clr="120")) == []


def test_a_choice_or_a_radius_ends_the_doubt(drawn):
    assert choice(drawn(ELL)) != []
    assert choice(drawn(ELL, corner="bend")) == []
    assert choice(drawn(ELL, clr="120")) == []
    assert choice(drawn(ELL, job='[default]\ncorner = "bend"\n')) == []
    assert choice(drawn(ELL, job="[layer.FRAME]\nclr = 120\n")) == []


def test_arcs_stay_bends(drawn):
    job = drawn([(0, 0), (500, 0, 0, 0, 0.41421356237), (600, 100), (600, 400), (200, 400)], corner="mitre")
    assert [(tube.name, len(tube.run.table.bends)) for tube in job.tubes] == [("FRAME-1", 1), ("FRAME-2", 0)]


def test_other_words_are_refused():
    with pytest.raises(ShopError, match=r"corner"):
        job_from_text('[default]\ncorner = "weld"\n')
