"""What commands and papers say of mitred frames and square ends."""

import ezdxf
import pytest
from command_line import run

from converter.words import CUTTING

GATE = [((0, 0), (0, 900)), ((800, 0), (800, 900)), ((0, 400), (800, 400))]
RECTANGLE = [(0, 0), (900, 0), (900, 1200), (0, 1200)]


@pytest.fixture
def drawn(tmp_path):
    def draw(lines=(), closed=()):
        doc = ezdxf.new("R2010", units=4)
        for number, (a, b) in enumerate(lines):
            doc.modelspace().add_line(a, b, dxfattribs={"layer": f"T{number}"})
        if closed:
            doc.modelspace().add_lwpolyline(closed, close=True, dxfattribs={"layer": "FRAME"})
        doc.saveas(tmp_path / "drawing.dxf")
        return [str(tmp_path / "drawing.dxf"), "--section", "50x50x3mm"]

    return draw


def text_of(done):
    return " ".join(done.out.split())


def test_a_mitred_frame_in_text_and_json(drawn, capsys):
    """Sides of 900 and 1200 of 50 tube: 50 tan 45 more on the long side, as much less on the short one."""
    given = [*drawn(closed=RECTANGLE), "--corner", "mitre"]
    text = text_of(run(capsys, "cope", *given))
    assert "cut 950.00 mm, short side 850.00 mm, centerline 900.00 mm" in text
    assert "cut 1250.00 mm, short side 1150.00 mm, centerline 1200.00 mm" in text
    assert text.count("saw 45.00° from square, long point on the outside of the corner") == 4  # equal sides once
    document = run(capsys, "cope", *given, "--json").json
    assert [joint["saw_angle"] for joint in document["joints"]] == pytest.approx([45.0] * 8)
    assert [(one["cut_length"], one["short_length"], one["long_points_apart"]) for one in document["tubes"][:2]] == [
        (pytest.approx(950.0), pytest.approx(850.0), pytest.approx(0.0, abs=1e-9)),
        (pytest.approx(1250.0), pytest.approx(1150.0), pytest.approx(0.0, abs=1e-9)),
    ]


def test_a_square_end_in_text_and_json(drawn, capsys):
    given = drawn(GATE)
    done = run(capsys, "cope", *given)
    text = text_of(done).split(CUTTING[0])[0]
    assert "end A cut square on the flat of T0, up to 6.00 mm open at its corner radii" in text
    assert "square 25.00 mm back from the centerline's end" in text
    assert "template" not in text and "hole saw" not in text and "zero line" not in text
    (first, _) = run(capsys, "cope", *given, "--json").json["joints"]
    assert (first["kind"], first["saw_angle"], first["hole_saw"]) == ("square", 0.0, None)
    assert first["corner_gap"] == pytest.approx(6.0) and first["long_point"] == first["short_point"] == pytest.approx(
        25.0
    )


def test_the_option_copes_around_the_radii(drawn, capsys, tmp_path):
    given = drawn(GATE)
    (first, _) = run(capsys, "cope", *given, "--on-flat", "cope", "--json").json["joints"]
    assert (first["kind"], first["saw_angle"], first["corner_gap"]) == ("saddle", None, 0.0)
    assert (first["long_point"], first["short_point"]) == (pytest.approx(19.0), pytest.approx(25.0))
    (tmp_path / "job.toml").write_text('[layer.T2]\non_flat = "square"\n')
    job = ("--job", str(tmp_path / "job.toml"))
    (first, _) = run(capsys, "cope", *given, "--on-flat", "cope", *job, "--json").json["joints"]
    assert first["kind"] == "square"  # what the job file says of the layer is nearer


def test_the_set_up_calls_for_a_template_only_where_there_is_one(drawn, capsys):
    text = text_of(run(capsys, "setup", *drawn(GATE)))
    assert "End A is square where the stick ends, 25.00 mm before the centerline's end: it needs no other cut." in text
    assert "template" not in text
    text = text_of(run(capsys, "setup", *drawn(closed=RECTANGLE), "--corner", "mitre"))
    assert "Saw end A 45.00° from square: the long point of the cut is the end of the stick, 25.00 mm past" in text
    assert "Saw end B 45.00° from square: the long point of the cut is the end of the stick, 25.00 mm past the " in text
    assert "centerline's end, on the same side of the tube as that of end A." in text
    assert "template" not in text and "Cut it square" not in text
    text = text_of(run(capsys, "setup", *drawn([((0, -300), (0, 0)), ((0, 0), (500, 0)), ((500, 0), (500, 300))])))
    assert "on the side of the tube opposite to that of end A." in text
    text = text_of(run(capsys, "setup", *drawn(GATE), "--on-flat", "cope"))
    assert "Cut end A to its template" in text


def test_no_template_is_made_of_a_square_cut(drawn, capsys, tmp_path):
    done = run(capsys, "cope", *drawn(GATE), "--out", str(tmp_path / "out"), "--to", "cope-dxf")
    assert done.status == 2 and "is cut square, so there is no template to write" in done.err
    assert not (tmp_path / "out").exists()
    legs = [*GATE, ((0, 900), (800, 900))]  # two mitred corners on top
    done = run(capsys, "cope", *drawn(legs), "--out", str(tmp_path / "out"), "--to", "cope-dxf")
    assert done.status == 0, done.err
    texts = [one.dxf.text for one in ezdxf.readfile(tmp_path / "out" / "drawing-copes.dxf").modelspace().query("TEXT")]
    headed = [one for one in texts if one.endswith("cope template, full size")]
    # T0 and T1 are equal: their upper ends share one
    assert len(headed) == 3 and not any(one.startswith("T2") for one in headed)
    assert any("Saw 45.00° from square" in one for one in texts)


def test_the_stick_template_calls_for_a_cope_template_only_where_there_is_one(drawn, capsys, tmp_path):
    def told(*given):
        done = run(capsys, "convert", *given, "--to", "template", "--out", str(tmp_path / "out"), "--force")
        assert done.status in (0, 1), done.err
        texts = ezdxf.readfile(tmp_path / "out" / "drawing-template.dxf").modelspace().query("TEXT")
        return " ".join(one.dxf.text for one in texts)

    text = told(*drawn(closed=RECTANGLE), "--corner", "mitre")
    assert text.count("Saw end A 45.00° from square: the long point of the cut is the end of the stick, 25.00 mm") == 2
    assert "cope template" not in text
    text = told(*drawn(GATE))
    assert "End A is square where the stick ends, 25.00 mm before the centerline's end" in text
    assert "cope template" not in text and "cut to fit" not in text
    text = told(*drawn(GATE), "--on-flat", "cope")
    assert "End A is cut to fit: the long point of the cut is the end of the stick" in text
    assert "the cope template tells more" in text
