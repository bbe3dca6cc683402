"""``elbowroom split``: what it shows, writes and refuses."""

from __future__ import annotations

import json
import re
from math import cos, pi, sin

import ezdxf
import pytest
from command_line import failed, run
from shop_texts import DIE_R100, shop_text, table

SHOP = shop_text(
    "Shed",
    table("[machine]", max_length=3000, plane="horizontal", pivot_height=1000),
    DIE_R100,
    table("[[stock]]", section="40x3mm", length=4000),
)
JOB = """units = "mm"
[default]
section = "40x3mm"
[[joint]]
tube = "RAIL"
end = "B"
kind = "plane"
point = [5000, 1000, 0]
normal = [0, 1, 0]
"""


@pytest.fixture
def frame(tmp_path):
    """A rail too long for the machine, a post too long for the rack, a brace that is neither; shop and job files."""
    document = ezdxf.new(units=4)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (5000, 0), (5000, 1000)], dxfattribs={"layer": "RAIL"})
    space.add_line((0, 3000), (4500, 3000), dxfattribs={"layer": "POST"})
    space.add_line((0, 4000), (500, 4000), dxfattribs={"layer": "BRACE"})
    path = tmp_path / "frame.dxf"
    document.saveas(path)
    (tmp_path / "shop.toml").write_text(SHOP)
    (tmp_path / "job.toml").write_text(JOB)
    return path, "--shop", tmp_path / "shop.toml", "--job", tmp_path / "job.toml"


def test_what_is_too_long_comes_in_pieces(frame, capsys):
    assert run(capsys, "audit", *frame).status == 1
    outcome = run(capsys, "split", *frame)
    assert outcome.status == 0
    text = " ".join(outcome.out.split())
    for words in ("RAIL piece 2", "POST piece 1", "a sleeve of 33.50 x 3.00 mm tube, 160.00 mm long, inside"):
        assert words in text, words
    assert "BRACE" not in text
    document = run(capsys, "split", *frame, "--json").json
    assert document["schema"] == "elbowroom/split/1" and document["impossible"] == []
    rail, post = document["tubes"]
    assert [piece["name"] for piece in post["pieces"]] == ["POST piece 1", "POST piece 2"]
    assert [piece["stick_length"] for piece in post["pieces"]] == pytest.approx([2250.0, 2250.0])
    assert max(piece["stick_length"] for piece in rail["pieces"]) <= 3000.0
    drawn = rail["developed_length"]
    assert sum(piece["developed_length"] for piece in rail["pieces"]) == pytest.approx(drawn)
    assert rail["pieces"][-1]["end"] == pytest.approx([5000.0, 1000.0, 0.0])
    assert rail["joints"][0]["sleeve"]["length"] == pytest.approx(160.0)


def test_only_the_tubes_picked_are_split_and_pieces_may_be_shorter(frame, capsys):
    document = run(capsys, "split", *frame, "--json", "--run", "POST", "--longest", "1.6m").json
    assert [tube["name"] for tube in document["tubes"]] == ["POST"]
    assert [piece["stick_length"] for piece in document["tubes"][0]["pieces"]] == pytest.approx([1500.0] * 3)
    document = run(capsys, "split", *frame, "--json", "--run", "BRACE", "--at", "200", "--at", "40cm").json
    assert [joint["at"] for joint in document["tubes"][0]["joints"]] == [200.0, 400.0]


def test_nothing_need_be_split(frame, capsys):
    outcome = run(capsys, "split", *frame, "--run", "BRACE")
    assert outcome.status == 0 and "Nothing is split: the tube does not have to be" in outcome.out
    assert run(capsys, "split", *frame, "--run", "BRACE", "--out", frame[0].parent / "out").status == 0
    assert not (frame[0].parent / "out").exists()


def test_what_no_cut_cures_is_said(frame, capsys):
    outcome = run(capsys, "split", *frame, "--run", "RAIL", "--longest", "150")
    assert outcome.status == 1
    text = " ".join(outcome.out.split())
    assert "RAIL cannot be made in pieces of 150.00 mm or less by cuts in its straights: say a longer one" in text


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--at", "4900", "--run", "RAIL"), "cannot be cut 4900.00 mm from end A"),
        (("--at", "1000"), "--at says where to cut one tube, and 3 are shown"),
        (("--at", "much", "--run", "RAIL"), "much"),
        (("--longest", "0"), "--longest must be a length above zero"),
        (("--to", "csv"), "go with --out DIR"),
        (("--run", "GATE"), "No tube of"),
    ],
)
def test_what_cannot_be_asked(frame, capsys, words, says):
    assert says in failed(run(capsys, "split", *frame, *words))


def test_the_pieces_are_written_and_the_sleeves_stand_in_the_solids(frame, capsys, tmp_path):
    """Read back by the kernel: the names, and together the volume of every ring times its length."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps
    from OCP.STEPControl import STEPControl_Reader

    out = tmp_path / "out"
    assert run(capsys, "split", *frame, "--out", out, "--to", "json,step").status == 0
    tubes = json.loads((out / "frame.json").read_text())["tubes"]
    text = (out / "frame.step").read_text()
    names = ["RAIL piece 1", "RAIL piece 2", "POST piece 1", "POST piece 2", "BRACE"]
    sleeves = ["RAIL sleeve 1", "POST sleeve 1"]
    assert [tube["name"] for tube in tubes] == names
    assert re.findall(r"NEXT_ASSEMBLY_USAGE_OCCURRENCE\('\d+','([^']*)'", text) == names + sleeves
    lengths = sum(tube["developed_length"] for tube in tubes)
    rings = pi / 4.0 * ((40.0**2 - 34.0**2) * lengths + (33.5**2 - 27.5**2) * 160.0 * len(sleeves))
    reader, total = STEPControl_Reader(), GProp_GProps()
    reader.ReadFile(str(out / "frame.step"))
    reader.TransferRoots()
    BRepGProp.VolumeProperties_s(reader.OneShape(), total)
    assert total.Mass() == pytest.approx(rings, rel=1e-6)


def test_the_inputs_stay(frame, capsys):
    folder = frame[0].parent
    before = {path: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    outcome = run(capsys, "split", *frame, "--out", folder, "--to", "dxf,csv", "--force")
    assert outcome.status == 0
    assert {path: path.read_bytes() for path in before} == before


def test_a_joint_of_the_job_file_goes_to_the_piece_that_has_the_end(frame, capsys):
    from converter import Settings, open_job
    from converter.job.pieces import in_pieces

    path, _, shop, _, job = map(str, frame)
    result = in_pieces(open_job(path, Settings(shop=shop, job=job)))
    last = result.split[0].pieces[-1].name
    assert [(joint.tube, joint.end, joint.kind) for joint in result.job.joints if joint.kind == "plane"] == [
        (last, "B", "plane")
    ]


def test_joints_of_pieces_are_told_once(frame, capsys):
    """By the joint, not again by the two ends that meet there."""
    outcome = run(capsys, "split", *frame, "--longest", "400mm")
    assert "joint 1:" in outcome.out and "go on in one line" not in outcome.out
    document = run(capsys, "split", *frame, "--longest", "400mm", "--json").json
    assert document["tubes"] and "joint-butt" not in {one["code"] for one in document["findings"]}


def test_tubes_that_cross_are_cut_to_one_another_as_the_cure_says(frame, capsys, tmp_path):
    """Two braces of 40 mm cross at 60 degrees: what the audit tells to type makes pieces that end on the other one.

    A cut of equal tubes ends level with the crossing at its long points, by hand: 500 of 1000 mm to either side.
    """
    document = ezdxf.new(units=4)
    space = document.modelspace()
    space.add_line((0, 0), (1000, 0), dxfattribs={"layer": "ONE"})
    dx, dy = 400.0 * cos(pi / 3.0), 400.0 * sin(pi / 3.0)
    space.add_line((500 - dx, -dy), (500 + dx, dy), dxfattribs={"layer": "TWO"})
    document.saveas(tmp_path / "cross.dxf")
    cross = [tmp_path / "cross.dxf", *frame[1:3], "--section", "40x3mm"]
    told = " ".join(run(capsys, "audit", *cross).out.split())
    named, at = re.search(r"with --run '(\w+)' --at ([0-9.]+mm)", told).groups()
    middle = {"ONE": 500.0, "TWO": 400.0}[named]
    assert at == f"{middle:.3f}mm"
    other = "TWO" if named == "ONE" else "ONE"
    outcome = run(capsys, "split", *cross, "--run", named, "--at", at)
    assert f"both ends cut to {other}" in " ".join(outcome.out.split()) and "sleeve" not in outcome.out
    assert "cross at" not in outcome.out
    (whole,) = run(capsys, "split", *cross, "--run", named, "--at", at, "--json").json["tubes"]
    (joint,) = whole["joints"]
    assert (joint["kind"], joint["mates"], joint["sleeve"]) == ("cope", [other], None)
    assert [piece["stick_length"] for piece in whole["pieces"]] == pytest.approx([middle, middle], abs=1e-6)


def test_where_a_piece_is_cut_further_is_told_along_the_tube_that_is_drawn(capsys, tmp_path):
    """Its cures named pieces (`--run 'BRACE piece 2'`), which no drawing has: typed as they stand they cut the rest."""
    doc = ezdxf.new(units=4)
    doc.modelspace().add_line((0, 0), (2000, 0), dxfattribs={"layer": "BRACE"})
    for x in (400, 800, 1200):
        doc.modelspace().add_line((x, -300), (x, 300), dxfattribs={"layer": "PICKET"})
    doc.saveas(tmp_path / "brace.dxf")
    given = ["split", tmp_path / "brace.dxf", "--section", "40x3mm", "--run", "BRACE", "--at", "400mm"]
    text = " ".join(run(capsys, *given).out.split())
    assert "--run 'BRACE' --at 800.000mm --at 1200.000mm)" in text and "BRACE piece 2: it crosses 2 tubes" in text
    ats = [word for at in re.findall(r"--at ([0-9.]+mm)", text) for word in ("--at", at)]
    whole = run(capsys, *given, *ats, "--json").json
    assert len(whole["tubes"][0]["pieces"]) == 4
    assert not [one for one in whole["findings"] if one["code"] == "tube-crossing"]
