"""Layers that hold a border, dimensions or notes are doubted; frames of tubes are not."""

import ezdxf
import pytest

from converter.cli.main import main

TUBE = [(0, 0, 0, 0, 0), (500, 0, 0, 0, 0.41421356237), (600, 100, 0, 0, 0), (600, 400, 0, 0, 0)]
BORDER = [(-100, -100), (900, -100), (900, 600), (-100, 600)]


@pytest.fixture
def told(tmp_path, capsys):
    """What is told of a drawing that a function fills: layers by name or border, and the options of the cure."""

    def read(fill, *options):
        doc = ezdxf.new("R2010", units=4)
        fill(doc.modelspace())
        doc.saveas(tmp_path / "drawing.dxf")
        main(["table", str(tmp_path / "drawing.dxf"), "--clr", "100", *options])
        text = " ".join(capsys.readouterr().out.split())
        return text[text.index("read as tubes though") :] if "read as tubes though" in text else ""

    return read


def tube(msp):
    msp.add_lwpolyline(TUBE, format="xyseb", dxfattribs={"layer": "0"})


def drawn(msp, points, layer, closed=False):
    msp.add_lwpolyline(points, close=closed, dxfattribs={"layer": layer})


@pytest.mark.parametrize(
    "layer", ["DIM", "Dimensions", "A-ANNO-DIMS", "title_block", "Border 1", "Defpoints", "notes2"]
)
def test_a_layer_by_its_name(told, layer):
    def fill(msp):
        tube(msp)
        drawn(msp, [(0, -50), (500, -50)], layer)

    assert f"'{layer}' by its name (1). If they are no tubes, leave them out: --skip-layer '{layer}'." in told(fill)
    assert told(fill, "--skip-layer", layer) == ""


@pytest.mark.parametrize("layer", ["TUBE", "Dimmer bracket", "textured", "gridiron", "CENTER", "FRAME"])
def test_other_names_say_nothing(told, layer):
    def fill(msp):
        tube(msp)
        drawn(msp, [(0, -50), (500, -50)], layer)

    assert told(fill) == ""


def test_a_drawing_that_is_all_on_such_a_layer_is_no_doubt(told):
    assert told(lambda msp: drawn(msp, TUBE, "SHEET")) == ""


@pytest.mark.parametrize("as_lines", [False, True])
def test_a_rectangle_around_everything_is_a_border_whatever_its_layer_is_called(told, as_lines):
    def fill(msp):
        tube(msp)
        if as_lines:
            for a, b in zip(BORDER, BORDER[1:] + BORDER[:1], strict=True):
                msp.add_line(a, b, dxfattribs={"layer": "A3"})
        else:
            drawn(msp, BORDER, "A3", closed=True)
        drawn(msp, [(600, -100), (600, -60), (900, -60)], "A3")  # its title block

    assert "'A3', with a rectangle around everything else that nothing else meets" in told(fill)


def test_a_frame_whose_bars_meet_it_is_a_frame(told):
    def fill(msp):
        drawn(msp, BORDER, "FRAME", closed=True)
        for x in (100, 300, 500):
            drawn(msp, [(x, -100), (x, 600)], "PICKETS")

    assert told(fill) == ""


@pytest.mark.parametrize("layer", ["FRAME", "PICKETS"])
def test_bars_that_stop_at_the_wall_of_the_frame_speak_for_a_frame(told, layer):
    def fill(msp):
        drawn(msp, BORDER, "FRAME", closed=True)
        drawn(msp, [(100, -80), (100, 580)], layer)

    assert told(fill) == ""


def bordered(msp, layer="0", points=BORDER):
    """A border of single lines and what stands in its corner, on the layer of the tube."""
    tube(msp)
    for a, b in zip(points, points[1:] + points[:1], strict=True):
        msp.add_line(a, b, dxfattribs={"layer": layer})
    x, y = points[1]
    drawn(msp, [(x - 300, y), (x - 300, y + 60), (x, y + 60)], layer)
    msp.add_line((x - 300, y + 30), (x, y + 30), dxfattribs={"layer": layer})


def test_a_border_on_the_layer_of_the_tubes(told):
    """Four lines, and two of a title block that hang on them."""
    text = told(bordered)
    assert text.startswith("read as tubes though they look like a border: a rectangle around everything else that no")
    assert "put it on a layer of its own and leave that out (--skip-layer), or name the tubes (--run)." in text
    assert "tube-2" in text and "tube-2" not in told(bordered, "--run", "tube-1"), "the cure leaves the border out"


@pytest.mark.parametrize(
    "points",
    [
        [(-20, -20), (620, -20), (620, 420), (-20, 420)],  # the tube's ends stop at its walls
        [(0, 0), (500, 0), (500, 400), (0, 400)],  # not around everything
    ],
)
def test_a_rectangle_that_tubes_come_near_is_a_frame(told, points):
    assert told(lambda msp: bordered(msp, points=points)) == ""


def test_a_frame_around_straight_bars_alone_is_a_frame(told):
    """Without bends drawn as arcs nothing speaks against corners that are sharp."""

    def fill(msp):
        drawn(msp, BORDER, "0", closed=True)
        drawn(msp, [(200, 200), (600, 200)], "0")

    assert told(fill) == ""
