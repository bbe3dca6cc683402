"""The job: everything is worked out once and for all of it, whoever asks and whatever is shown."""

from __future__ import annotations

import json
from collections import Counter

import ezdxf
import pytest
from any_finding import each_in_either_unit
from command_line import failed, hook, one_sentence, run
from copes import straight
from frames import RAIL, RUNG, draw, rack
from jobs import job_of
from places import FIXTURES
from random_drawings import random_drawing

from converter import Job, Settings, WriteOptions, open_job, write
from converter.exporters.registry import FORMATS
from converter.importers import registry
from converter.importers.registry import read
from converter.job import NoRunsError
from converter.model.bends import Bend, BendTable, Placement
from converter.model.run import Run, Tube
from converter.shop.model import Die, Machine, Shop

SIZES = ("RAIL=44.45x3.048mm", "RUNG=38.1x2.413mm")
OPTIONS = ("--section", SIZES[0], "--section", SIZES[1])
#: A shop in inches with one vertical machine above the floor, so that stick, stop, clamp and sweep all have a say.
SHOP = """
units = "in"
[shop]
name = "Corner shop"
[machine]
max_length = 100
max_angle = 110
plane = "vertical"
pivot_height = 36
[[die]]
name = "R45"
od = 1.75
clr = 4.5
clamp = 3
between = 3.5
tail = 2
mark_offset = 0.5
invert_clamp = true
[[stock]]
section = "1.75x0.120"
length = 96
[[test]]
die = "R45"
stop = 93
angle = 90
[[test]]
die = "R45"
stop = 47
angle = 45
"""


@pytest.fixture
def frame(tmp_path):
    return draw(rack(2), tmp_path / "frame.dxf")


@pytest.fixture
def corner_shop(tmp_path):
    path = tmp_path / "corner.toml"
    path.write_text(SHOP)
    return path


# --- once ---------------------------------------------------------------------------------------


def test_every_answer_is_worked_out_once_for_all_formats(frame, tmp_path, monkeypatch):
    """Joint survey once, set-up, body and picture of each tube once, in what ``convert --to all`` does.

    Of copies one is cut.
    And each shape of a tube is looked at once from each of four sides, however large it is drawn.
    """
    import converter.bending.setup.setup as bending
    import converter.exporters.pictures.files as pictures
    import converter.exporters.pictures.run.sketch as sketches
    import converter.exporters.solids.coped.bodies as coped
    import converter.joints.cope as joints
    import converter.model.metal as bodies

    counts: Counter[str] = Counter()
    of_run: Counter[Run] = Counter()

    def counted(module, name, label):
        real = getattr(module, name)

        def function(*given, **more):
            counts[label] += 1
            if label == "body":  # a tube whose ends run on, for its cuts, is another one
                of_run[given[0]] += 1
            return real(*given, **more)

        monkeypatch.setattr(module, name, function)

    counted(joints, "survey_frame", "joint survey")
    counted(bending, "set_up", "set-up")
    counted(bodies, "metal", "body")
    counted(pictures, "run_picture", "picture")
    counted(coped, "coped_solid", "coped body")
    seen = []
    real_outlines = sketches.outlines

    def outlines(solid, axes, chords):
        seen.extend((solid, right, up) for right, up in axes)
        return real_outlines(solid, axes, chords)

    monkeypatch.setattr(sketches, "outlines", outlines)
    job = open_job(str(frame), Settings(sections=SIZES))
    write([job], str(tmp_path / "out"), [known.name for known in FORMATS])
    assert (counts["joint survey"], counts["set-up"], counts["picture"]) == (1, 1, len(job.tubes))
    assert [of_run[tube.run] for tube in job.tubes] == [1] * len(job.tubes)
    assert counts["coped body"] == len(job.parts) < len(job.tubes)
    straight = [(id(solid), right, up) for solid, right, up in seen if len(solid.size) == 1]
    assert len(straight) == len(set(straight)) == 4 * len({solid for solid, _, _ in straight})


def test_a_job_is_frozen(frame):
    job = open_job(str(frame))
    with pytest.raises(AttributeError):
        job.source = "other.dxf"  # type: ignore[misc]
    assert job.tubes is job.tubes and job.setups is job.setups and job.findings is job.findings


def test_standard_input_is_read_once(frame, monkeypatch):
    import io
    import sys

    class Piped:
        buffer = io.BytesIO(frame.read_bytes())

    monkeypatch.setattr(sys, "stdin", Piped())
    job = open_job("-", Settings(sections=SIZES))
    assert [tube.name for tube in job.tubes] == [tube.name for tube in open_job(str(frame)).tubes]
    assert job.findings and job.stem == "drawing"


def test_tubes_made_by_a_program_are_a_job(tmp_path):
    tubes = [straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL)]
    tubes.append(straight("RUNG", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), RUNG))
    job = Job.of_tubes(tubes, source="made")
    assert [(joint.tube, joint.end) for joint in job.joints] == [("RUNG", "A")]
    # its long points lie sqrt(R^2 - r^2) from the rail's centerline (geometry of two cylinders)
    long = (RAIL.od / 2.0) ** 2 - (RUNG.od / 2.0) ** 2
    assert job.setups[1].stick_length == pytest.approx(300.0 - long**0.5, abs=1e-9)
    [path] = write([job], str(tmp_path), ["csv"])
    assert path.name == "made.csv"


# --- one verdict --------------------------------------------------------------------------------

#: What a finding says, without the keys that only one document has.
KEYS = ("code", "severity", "tube", "bend", "message", "measured", "limit", "unit", "at")


def verdicts(capsys, tmp_path, path, *options, commands=("audit", "setup")):
    """Exit status and findings of every command for one drawing; of one that is refused, the first one's error."""
    told = {}
    for command in commands:
        words = [command, path, *options, "--json"]
        if command in ("sheet", "convert"):
            words += ["--out", tmp_path / f"out-{command}", "--force"]
            words += ["--to", "pdf"] if command == "sheet" else ["--to", "csv"]
        outcome = run(capsys, *words)
        document = json.loads(outcome.out)
        if outcome.status == 2:  # no command finds a tube
            assert one_sentence(outcome.err) == document["error"]["message"]
            return {command: document["error"]}
        told[command] = outcome.status, [{key: finding[key] for key in KEYS} for finding in document["findings"]]
    return told


def assert_one_verdict(told):
    first, *others = told.values()
    for other in others:
        assert other == first, f"{' and '.join(told)} disagree"


@pytest.mark.parametrize("seed", [1, 3, 8])
def test_audit_set_up_sheet_and_convert_agree(seed, corner_shop, tmp_path, capsys):
    path = random_drawing(tmp_path / "random.dxf", seed)
    options = ("--shop", corner_shop, "--section", "1.75x0.120in", "--metal", "mild steel")
    told = verdicts(capsys, tmp_path, path, *options, commands=("audit", "setup", "sheet", "convert"))
    assert told["audit"][1]
    assert_one_verdict(told)


@pytest.mark.slow
def test_audit_and_set_up_agree_on_hundreds_of_random_jobs(corner_shop, tmp_path, capsys):
    codes: Counter[str] = Counter()
    for seed in range(120):
        path = random_drawing(tmp_path / "random.dxf", seed)
        options = ["--section", ("1.75x0.120in", "1.5x0.095in", "1.5x1.5x0.083in")[seed % 3]]
        options += ["--shop", corner_shop] if seed % 2 else ["--clr", "114.3mm"]
        told = verdicts(capsys, tmp_path, path, *options)
        assert_one_verdict(told)
        codes.update({finding["code"] for finding in told["audit"][1]})
    for code in ("stick-too-long", "sweep-hits", "straight-too-short", "end-too-short", "stop-too-great"):
        assert codes[code], f"no random job told {code}, so nothing was proven of it"


@pytest.fixture
def read_once(monkeypatch):
    """A file is read once for all commands of a test: in question is what they make of it."""
    drawings = {}

    def once(source, options):
        key = source.path, repr(options)
        if key not in drawings:
            drawings[key] = read(source, options)
        return drawings[key]

    monkeypatch.setattr(registry, "read", once)
    return drawings


@pytest.mark.slow
@pytest.mark.parametrize(
    "path", sorted(p for p in FIXTURES.rglob("*") if p.suffix in (".dxf", ".step")), ids=lambda path: path.name
)
def test_audit_and_set_up_agree_on_every_fixture(path, read_once, tmp_path, capsys):
    """And what is found is written in either unit."""
    assert_one_verdict(verdicts(capsys, tmp_path, path, "--section", "1.75x0.120in"))
    try:
        findings = open_job(str(path), Settings(sections=("1.75x0.120in",))).findings
    except NoRunsError as nothing:  # fixtures of what is no tube
        findings = nothing.findings
    each_in_either_unit(findings)
    assert len(read_once) == 1


# --- what is shown ------------------------------------------------------------------------------


def test_picked_tubes_keep_their_joints(frame, tmp_path, capsys):
    """``--run`` shows one rung as it is in the whole frame: coped at both ends."""
    whole = {tube["name"]: tube for tube in run(capsys, "setup", frame, *OPTIONS, "--json").json["tubes"]}
    name = next(name for name, tube in whole.items() if tube["coped"])
    [shown] = run(capsys, "setup", frame, *OPTIONS, "--run", name, "--json").json["tubes"]
    assert shown == whole[name]


@pytest.mark.parametrize("command", ["table", "audit", "setup", "cope"])
def test_every_command_shows_only_what_is_picked(frame, command, capsys):
    told = run(capsys, command, frame, *OPTIONS, "--run", "rung*", "--json")
    document = told.json
    names = {entry["name"] for entry in document.get("tubes", [])} | {
        entry["tube"] for entry in document.get("joints", [])
    }
    assert all(name.startswith("RUNG") for name in names)
    assert names or command == "audit"
    text = run(capsys, command, frame, *OPTIONS, "--run", "rung*").out
    assert "(4 shown)" in text and "\nRAIL" not in text


@pytest.mark.slow
def test_only_what_is_picked_is_written(frame, tmp_path, capsys):
    run(
        capsys,
        "convert",
        frame,
        *OPTIONS,
        "--run",
        "RUNG",
        "--to",
        "csv,svg,cope-dxf,step-coped",
        "--out",
        tmp_path / "o",
    )
    text = (tmp_path / "o" / "frame.csv").read_text()
    assert "RUNG" in text and "RAIL" not in text
    assert {p.name for p in (tmp_path / "o").iterdir() if p.suffix == ".svg"}
    assert not [p.name for p in (tmp_path / "o").iterdir() if "RAIL" in p.name]
    assert "RUNG" in (tmp_path / "o" / "frame-coped.step").read_text()
    assert "RAIL" not in (tmp_path / "o" / "frame-coped.step").read_text()


def test_a_pattern_that_meets_nothing_is_refused_with_the_names_there_are(frame, capsys):
    sentence = failed(run(capsys, "table", frame, "--run", "POST*"))
    assert "'POST*'" in sentence and "RUNG" in sentence


def test_errors_of_tubes_not_shown_are_told(tmp_path, capsys):
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    model.add_line((0, 0, 0), (500, 0, 0), dxfattribs={"layer": "GOOD"})
    model.add_polyline3d([(0, 900, 0), (500, 900, 0), (500, 1400, 0)], dxfattribs={"layer": "SHARP"})
    doc.saveas(tmp_path / "two.dxf")
    told = run(capsys, "audit", tmp_path / "two.dxf", "--section", "60x3mm", "--run", "GOOD")
    assert told.status == 0
    assert "1 tube not shown cannot be made as drawn either" in told.out
    assert run(capsys, "audit", tmp_path / "two.dxf", "--section", "60x3mm").status == 1


# --- what does not belong to the drawing --------------------------------------------------------


def test_a_mate_left_out_is_told_with_what_it_would_change(tmp_path, capsys):
    """A rung square on a rail of 44.45: with it the stick ends sqrt(R^2 - r^2) from the rail's centerline."""
    tubes = [straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL)]
    tubes.append(straight("RUNG", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), RUNG))
    path = draw(tubes, tmp_path / "tee.dxf")
    told = run(capsys, "setup", path, *OPTIONS, "--skip-layer", "RAIL", "--json").json
    [finding] = [f for f in told["findings"] if f["code"] == "left-out-touches"]
    assert finding["tube"] == "RUNG" and "end A" in finding["message"] and "RAIL" in finding["message"]
    shorter = ((RAIL.od / 2.0) ** 2 - (RUNG.od / 2.0) ** 2) ** 0.5
    assert finding["measured"] == pytest.approx(-shorter, abs=1e-6)
    assert told["tubes"][0]["stick_length"] == pytest.approx(300.0, abs=1e-6)


def test_what_is_left_out_far_from_every_end_is_not_told(tmp_path, capsys):
    tubes = [straight("RAIL", (-300.0, 900.0, 0.0), (300.0, 900.0, 0.0), RAIL)]
    tubes.append(straight("RUNG", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), RUNG))
    path = draw(tubes, tmp_path / "apart.dxf")
    told = run(capsys, "audit", path, *OPTIONS, "--skip-layer", "RAIL", "--json").json
    assert "left-out-touches" not in {finding["code"] for finding in told["findings"]}


def test_what_touches_and_changes_nothing_is_not_told(tmp_path, capsys):
    """A dimension touches the end that it speaks of; a tube behind a gap changes nothing."""
    tubes = [straight("RAIL", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL)]
    tubes.append(straight("RUNG", (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), RUNG))
    tubes.append(straight("NEXT", (0.0, 0.0, 315.0), (0.0, 0.0, 500.0), RUNG))
    path = draw(tubes, tmp_path / "tee.dxf")
    doc = ezdxf.readfile(path)
    doc.modelspace().add_linear_dim(base=(0, 60, 0), p1=(-300, 0, 0), p2=(300, 0, 0)).render()
    doc.saveas(path)
    sections = (*OPTIONS, "--section", SIZES[1].replace("RUNG", "NEXT"))
    told = run(capsys, "audit", path, *sections, "--skip-layer", "NEXT", "--json").json
    assert "left-out-touches" not in {finding["code"] for finding in told["findings"]}
    told = run(capsys, "audit", path, *sections, "--skip-layer", "RAIL", "--json").json
    [finding] = [f for f in told["findings"] if f["code"] == "left-out-touches"]
    assert "LINE on layer 'RAIL'" in finding["message"] and "DIMENSION" not in finding["message"]


def test_two_drawings_of_one_name_do_not_mix(tmp_path):
    jobs = []
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        jobs.append(open_job(str(hook(tmp_path / folder / "hook.dxf"))))
    paths = write(jobs, str(tmp_path / "out"), ["csv"], WriteOptions())
    assert [path.name for path in paths] == ["hook.csv", "hook-2.csv"]


def test_a_tube_of_no_known_section_is_swept_as_thick_as_its_die():
    """The set-up judges its room, and the audit is not asked again: 1500 of leg hang 1000 above the floor."""
    die = Die("R100", "round", 40.0, 100.0, clamp=50.0, between=50.0, tail=30.0)
    machine = Machine(plane="vertical", pivot_height=1000.0)
    table = BendTable((Bend(1500.0, 0.0, 90.0, 100.0), Bend(300.0, 180.0, 90.0, 100.0)), 1500.0)
    tube = Tube(Run("LEG", None, False, table, Placement()), None, "R100")
    job = job_of([tube], shop=Shop("low", (die,), machine))
    [hit] = [finding for finding in job.findings if finding.code.startswith("sweep-")]
    assert (hit.code, hit.tube) == ("sweep-hits", "LEG")
    assert job.setups[0].clearance.least == pytest.approx(hit.measured)
