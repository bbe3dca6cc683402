"""``elbowroom cope``: what a person reads, the JSON contract, exit statuses, bad input."""

from __future__ import annotations

import re
from math import pi, sin, sqrt, tan

import ezdxf
import numpy as np
import pytest
from command_line import failed, run

R, r = 44.45 / 2.0, 38.1 / 2.0
SECTIONS = ("--section", "RAIL=44.45x3.048mm", "--section", "RUNG=38.1x2.413mm")


def frame(path, *, unit=4, scale=1.0, extra=()):
    """Two rails 400 apart, a rung between them, a brace at 60 degrees from one rail."""
    doc = ezdxf.new("R2010", units=unit)
    model = doc.modelspace()
    lines = [
        ("RAIL", (0, 0, 0), (1000, 0, 0)),
        ("RAIL", (0, 400, 0), (1000, 400, 0)),
        ("RUNG", (300, 0, 0), (300, 400, 0)),
        ("RUNG", (600, 0, 0), (600 + 100, 100 * sqrt(3.0), 0)),
        *extra,
    ]
    for layer, a, b in lines:
        model.add_line([v * scale for v in a], [v * scale for v in b], dxfattribs={"layer": layer})
    doc.saveas(path)
    return path


def test_json_keeps_the_contract(tmp_path, capsys):
    path = frame(tmp_path / "frame.dxf")
    outcome = run(capsys, "cope", path, *SECTIONS, "--json")
    assert outcome.status == 0 and outcome.err == ""
    document = outcome.json
    own = ["schema", "source", "joints", "tubes", "holes", "findings"]
    assert list(document) == [*own, "drawing_units", "read_as", "tolerances", "ignored", "parts"]
    assert document["schema"] == "elbowroom/cope/1" and document["source"] == str(path)
    joints = {(j["tube"], j["end"]): j for j in document["joints"]}
    assert set(joints) == {("RUNG-1", "A"), ("RUNG-1", "B"), ("RUNG-2", "A")}
    needed = ["node", "tube", "end", "kind", "mates", "angle", "offset", "zero", "zero_direction", "profile",
              "long_point", "short_point", "hole_saw"]  # fmt: skip
    brace = joints["RUNG-2", "A"]
    assert list(brace)[: len(needed)] == needed
    assert brace["node"] == pytest.approx([600, 0, 0], abs=1e-9) and brace["mates"] == ["RAIL-1"]
    assert (brace["kind"], brace["end"]) == ("saddle", "A")
    assert brace["angle"] == pytest.approx(60.0) and brace["offset"] == pytest.approx(0.0, abs=1e-9)
    assert np.linalg.norm(brace["zero_direction"]) == pytest.approx(1.0)
    saw = brace["hole_saw"]
    assert (saw["size"], saw["angle"]) == pytest.approx((44.45, 60.0)) and saw["offset"] == pytest.approx(0.0, abs=1e-9)
    assert saw["depth"] == pytest.approx(38.1 / np.sin(np.radians(60.0)))
    profile = np.array(brace["profile"])
    assert profile.shape[1] == 3 and len(profile) >= 720
    assert brace["long_point"] == profile[:, 1].min() and brace["short_point"] == profile[:, 1].max()
    # every point of both lines lies on the rail's outside, in the drawing's coordinates
    d, z = np.array(brace["direction"]), np.array(brace["zero_direction"])
    phi = np.radians(profile[:, 0])[:, None]
    around = np.cos(phi) * z + np.sin(phi) * np.cross(d, z)
    for column, radius in ((1, r), (2, r - 2.413)):
        points = np.array(brace["node"]) + radius * around - profile[:, [column]] * d
        assert np.hypot(points[:, 1], points[:, 2]) == pytest.approx(R, abs=1e-6)
    (tube,) = [t for t in document["tubes"] if t["name"] == "RUNG-1"]
    assert tube["developed_length"] == pytest.approx(400.0)
    assert tube["cut_length"] == pytest.approx(400.0 - 2.0 * sqrt(R * R - r * r))
    assert joints["RUNG-1", "A"]["hole_saw"]["center_to_center"] == pytest.approx(400.0)
    assert [f["code"] for f in document["findings"]] == ["demo-shop"]


def test_text_names_every_end(tmp_path, capsys):
    outcome = run(capsys, "cope", frame(tmp_path / "frame.dxf"), *SECTIONS)
    assert outcome.status == 0 and outcome.err == ""
    assert "3 ends cut to fit, on 2 tubes" in outcome.out
    assert "coped to RAIL-1 at 60.00°" in outcome.out and "30.00° from square" in outcome.out
    # 400 - 2 sqrt(R^2 - r^2) = 377.1047..., rounded up as `setup` cuts it
    assert "cut 377.11 mm, centerline 400.00 mm" in outcome.out
    # square: R, which lies between two hundredths; at 60 degrees: R / sin 60 + r / tan 60
    short = re.findall(r"long point 11\.45 mm, short point (\d+\.\d\d) mm", " ".join(outcome.out.split()))
    assert [float(one) for one in short] == pytest.approx([R, R, R / sin(pi / 3) + r / tan(pi / 3)], abs=0.0051)
    assert "zero line: through the long point of this cut" in " ".join(outcome.out.split())
    assert not any(line != line.rstrip() for line in outcome.out.splitlines())


def test_ends_in_one_line_are_told_as_square(tmp_path, capsys):
    document = ezdxf.new()
    for layer, start, end in (("A", 0, 500), ("B", 500, 1100)):
        document.modelspace().add_line((start, 0), (end, 0), dxfattribs={"layer": layer})
    path = tmp_path / "in-line.dxf"
    document.saveas(path)
    text = " ".join(
        run(capsys, "cope", path, "--units", "mm", "--section", "40x2mm", "--layers", "separate").out.split()
    )
    assert "end B cut square, end to end with B; the centerlines meet at (500.00, 0.00, 0.00) mm" in text
    assert "end A cut square, end to end with A;" in text and "mitred" not in text


def test_inches_and_unitless_gap(tmp_path, capsys):
    """The same frame drawn in inches; a bare gap is in the drawing's unit."""
    path = frame(tmp_path / "frame.dxf", unit=1, scale=1 / 25.4)
    text = run(capsys, "cope", path, *SECTIONS).out
    assert "cut 14.847 in, centerline 15.748 in" in text
    joints = run(capsys, "cope", path, *SECTIONS, "--gap", "0.02", "--json").json["joints"]
    assert joints[0]["gap"] == pytest.approx(0.508) and joints[0]["center_cut"] == pytest.approx(R + 0.508)


def test_status_1_when_an_end_cannot_be_fitted(tmp_path, capsys):
    path = frame(tmp_path / "frame.dxf", extra=[("RUNG", (800, 0, 0), (960, 10, 0))])
    outcome = run(capsys, "cope", path, *SECTIONS)
    said = " ".join(outcome.out.split())
    assert outcome.status == 1 and "too shallow" in said and "(800.00, 0.00, 0.00) mm" in outcome.out
    outcome = run(capsys, "cope", frame(tmp_path / "bare.dxf"))
    assert outcome.status == 1 and "no section is known" in " ".join(outcome.out.split())


def test_a_job_file_has_its_say(tmp_path, capsys):
    job = tmp_path / "job.toml"
    job.write_text('units = "mm"\n[[joint]]\ntube = "RUNG-1"\nend = "B"\nkind = "none"\n')
    document = run(capsys, "cope", frame(tmp_path / "frame.dxf"), *SECTIONS, "--job", job, "--json").json
    assert {(j["tube"], j["end"]) for j in document["joints"]} == {("RUNG-1", "A"), ("RUNG-2", "A")}


def test_a_drawing_without_joints_says_so(tmp_path, capsys):
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_line((0, 0), (500, 0), dxfattribs={"layer": "RAIL"})
    doc.saveas(tmp_path / "one.dxf")
    outcome = run(capsys, "cope", tmp_path / "one.dxf", *SECTIONS[:2])
    assert outcome.status == 0 and "0 ends cut to fit" in outcome.out
    assert run(capsys, "cope", tmp_path / "one.dxf", *SECTIONS[:2], "--json").json["joints"] == []


@pytest.mark.parametrize("gap", ["-1", "wide", "nan", "2.01in", "50.81mm", "5e10"])
def test_a_bad_gap_is_refused(gap, tmp_path, capsys):
    assert "--gap" in failed(run(capsys, "cope", frame(tmp_path / "f.dxf"), *SECTIONS, f"--gap={gap}"))


def test_a_missing_file_in_json(tmp_path, capsys):
    outcome = run(capsys, "cope", tmp_path / "none.dxf", "--json")
    assert outcome.status == 2 and outcome.json["schema"] == "elbowroom/error/1"


def test_cope_loads_no_kernel(tmp_path):
    from test_house import HEAVY, loaded_by

    path = frame(tmp_path / "frame.dxf")
    status, names, _ = loaded_by(["cope", str(path), *SECTIONS, "--json"], tmp_path)
    assert status == 0 and not names & set(HEAVY)
