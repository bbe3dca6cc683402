"""Equal tubes once, with their number, in what the commands print; several inputs; tubes picked with --run."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import Outcome, failed, run
from frames import RUNG, hoop, rack
from frames import draw as draw_frame

from converter.model.run import Tube

SECTIONS = ("--section", "RAIL=44.45x3.048mm", "--section", "RUNG=38.1x2.413mm", "--mm")


@pytest.fixture
def gate(tmp_path) -> Path:
    """Two hoops, and three rungs of one length square between them, one of them drawn from the other end."""
    import ezdxf

    path = draw_frame([hoop("HOOP-0", 0.0, 0.0), hoop("HOOP-1", 0.0, 400.0)], tmp_path / "gate.dxf")
    doc = ezdxf.readfile(path)
    for x in (300.0, 450.0, 600.0):
        ends = [(x, 0.0, 600.0), (x, 400.0, 600.0)]
        doc.modelspace().add_line(*(ends[::-1] if x == 450.0 else ends), dxfattribs={"layer": "RUNG"})
    doc.saveas(path)
    return path


def hands(path: Path) -> Path:
    """A screw, its mirror image, and the screw again, as bend tables."""
    rows = ["tube,bend,feed_mm,rotation_deg,angle_deg,clr_mm"]
    for name, roll in (("LEFT", 40), ("RIGHT", -40), ("AGAIN", 40)):
        rows += [f"{name},1,200,0,60,114.3", f"{name},2,300,{roll},45,114.3", f"{name},tail,250,,,"]
    path.write_text("\n".join(rows) + "\n")
    return path


def blocks(outcome: Outcome) -> list[str]:
    return [block.split("\n")[0] for block in outcome.out.split("\n\n")]


def test_table_shows_equal_tubes_once_with_all_names(gate, capsys):
    outcome = run(capsys, "table", gate, *SECTIONS)
    assert outcome.status == 0
    assert [line.split("  ")[0] for line in blocks(outcome)[1:3]] == ["RAIL, 2 off", "RUNG, 3 off"]
    assert "\n  RUNG-1, RUNG-2, RUNG-3\n" in outcome.out and "developed length 400.00 mm" in outcome.out


def test_json_keeps_an_entry_per_tube_with_its_part(gate, capsys):
    for command in ("table", "setup", "cope"):
        document = run(capsys, command, gate, *SECTIONS, "--json").json
        assert [(tube["name"], tube["part"], tube["quantity"]) for tube in document["tubes"]] == [
            ("RAIL-1", "RAIL", 2), ("RAIL-2", "RAIL", 2),
            ("RUNG-1", "RUNG", 3), ("RUNG-2", "RUNG", 3), ("RUNG-3", "RUNG", 3),
        ]  # fmt: skip
        assert [part["tubes"] for part in document["parts"]] == [["RAIL-1", "RAIL-2"], ["RUNG-1", "RUNG-2", "RUNG-3"]]


def test_setup_counts_sticks_and_cope_counts_cuts(gate, capsys):
    """A rung of 400 between two hoops is cut 2 sqrt(R2 - r2) shorter, at its ears: from the Pythagorean theorem."""
    stick = 400.0 - 2.0 * ((44.45 / 2.0) ** 2 - (38.1 / 2.0) ** 2) ** 0.5
    lines = run(capsys, "setup", gate, *SECTIONS, "--brief").out.splitlines()
    assert any(line.split() == ["to", "cut", "cut", "length", "section", "part"] for line in lines)
    (row,) = (line for line in lines if line.lstrip().startswith("3 x"))
    cut = row.split()[2]
    assert 0.0 <= float(cut) - stick < 0.01 and row.endswith("RUNG"), "rounded up"
    (row,) = (line for line in run(capsys, "cope", gate, *SECTIONS).out.splitlines() if line.startswith("RUNG, 3 off"))
    assert f"cut {cut} mm" in row


def test_a_mirror_image_is_named_on_both_sides(tmp_path, capsys):
    path = hands(tmp_path / "hands.csv")
    text = " ".join(run(capsys, "setup", path, "--section", "38.1x3.048mm", "--mm").out.split())
    assert "LEFT, 2 off" in text and "its mirror image is RIGHT" in text
    assert "mirror image of LEFT: every turn the other way" in text
    assert "to be made like LEFT, with every turn the other way" in text
    parts = run(capsys, "table", path, "--json").json["parts"]
    assert [(p["part"], p["quantity"], p["mirror_of"]) for p in parts] == [("LEFT", 2, None), ("RIGHT", 1, "LEFT")]


def test_mirror_images_that_are_bent_alike_are_told_by_their_cuts(tmp_path, capsys):
    """A flat S that ends askew, a straight brace between tubes that are not parallel: only the cuts differ."""
    import ezdxf

    doc = ezdxf.new(units=4)
    space = doc.modelspace()
    for side, name in ((1.0, "LH"), (-1.0, "RH")):
        space.add_line((0, 600 * side, 0), (1500, 600 * side, 0), dxfattribs={"layer": f"RAIL {name}"})
        leg = [(400, 600, 0), (400, 600, -300), (350, 480, -500), (350, 480, -800)]
        space.add_polyline3d([(x, y * side, z) for x, y, z in leg], dxfattribs={"layer": f"LEG {name}"})
        sill = [(700, 300, -400), (1100, 500, -900)]
        space.add_line(*[(x, y * side, z) for x, y, z in sill], dxfattribs={"layer": f"SILL {name}"})
        brace = [(900, 600, 0), (900, 400, -650)]
        space.add_line(*[(x, y * side, z) for x, y, z in brace], dxfattribs={"layer": f"BRACE {name}"})
    doc.saveas(path := tmp_path / "legs.dxf")
    outcome = run(capsys, "setup", path, "--section", "38.1x2.11mm", "--clr", "114.3", "--metal", "mild steel")
    text = " ".join(outcome.out.split())
    assert "mirror image of LEG LH: bent alike, its cuts the other way round" in text
    assert "mirror image of BRACE LH: its cuts the other way round" in text
    assert "every turn the other way" not in text
    assert "to be made just like LEG LH, with its own templates for the cuts" in text


def test_tubes_picked_keep_their_quantity(gate, capsys):
    outcome = run(capsys, "table", gate, *SECTIONS, "--run", "RUNG-[23]")
    assert "RUNG, 2 off, of 3" in outcome.out and "RUNG-1" not in outcome.out and "RAIL" not in outcome.out
    document = run(capsys, "table", gate, *SECTIONS, "--run", "RUNG-[23]", "--json").json
    assert [(tube["name"], tube["quantity"]) for tube in document["tubes"]] == [("RUNG-2", 3), ("RUNG-3", 3)]


@pytest.mark.parametrize("command", ["table", "setup", "cope", "audit"])
def test_several_inputs(gate, tmp_path, capsys, command):
    other = draw_frame(rack(2), tmp_path / "rack.dxf")
    alone = [run(capsys, command, path, *SECTIONS) for path in (gate, other)]
    both = run(capsys, command, gate, other, *SECTIONS)
    # the same pages, but for the notes and warnings that both drawings share, which stand once below
    pages = both.out.partition("of both drawings:")[0]
    assert set(pages.splitlines()) <= {line for one in alone for line in one.out.splitlines()}
    every = [run(capsys, command, *paths, *SECTIONS, "--verbose").out for paths in ([gate, other], [gate], [other])]
    assert every[0] == every[1] + "\n" + every[2]
    assert both.status == max(outcome.status for outcome in alone)
    document = run(capsys, command, gate, other, *SECTIONS, "--json").json
    assert [one["source"] for one in document["inputs"]] == [str(gate), str(other)]
    if command != "audit":
        own = [run(capsys, command, path, *SECTIONS, "--json").json for path in (gate, other)]
        assert document["schema"] == own[0]["schema"] and document["source"] is None
        for name in ("tubes", "findings", "parts"):
            expected = [{"source": one["source"], **item} for one in own for item in one[name]]
            assert document[name] == expected


@pytest.mark.parametrize("command", ["table", "setup", "cope", "audit"])
def test_a_pattern_picks_tubes_of_any_input(gate, tmp_path, capsys, command):
    """Inputs that hold none of them are left out; a pattern that no input meets is refused before anything shows."""
    other = draw_frame([hoop("HOOP", 0.0, 0.0)], tmp_path / "hoop.dxf")
    picked = run(capsys, command, other, gate, *SECTIONS, "--run", "RUNG*")
    assert picked.out == run(capsys, command, gate, *SECTIONS, "--run", "RUNG*").out
    assert "'POST*'" in failed(run(capsys, command, gate, other, *SECTIONS, "--run", "RAIL*", "--run", "POST*"))


def test_copes_of_several_inputs_are_written_apart(gate, tmp_path, capsys):
    other = draw_frame(rack(2), tmp_path / "rack.dxf")
    out = tmp_path / "out"
    outcome = run(capsys, "cope", gate, other, *SECTIONS, "--out", out, "--to", "cope-dxf")
    assert outcome.status == 0
    assert sorted(path.name for path in out.iterdir()) == ["gate-copes.dxf", "rack-copes.dxf"]


def test_a_single_tube_reads_as_before(tmp_path, capsys):
    tube: Tube = hoop("HOOP", 0.0, 0.0, RUNG)
    outcome = run(capsys, "table", draw_frame([tube], tmp_path / "one.dxf"), "--section", "38.1x2.413mm")
    assert " off" not in outcome.out and "RUNG  38.10 x 2.41 mm tube" in outcome.out
