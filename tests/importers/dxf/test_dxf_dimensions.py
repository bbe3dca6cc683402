"""Dimensions that were taken apart are doubted; lines that end on others, as rails on rungs, are not."""

from math import cos, radians, sin

import pytest
from dxf_tools import new, reread


def ticks(model, a, b, size=4.0, turn=45.0):
    """A line with a stroke across each end, extension lines and all."""
    model.add_line(a, b)
    c, s = size / 2.0 * cos(radians(turn)), size / 2.0 * sin(radians(turn))
    for x, y in (a, b):
        model.add_line((x - c, y - s), (x + c, y + s))
        model.add_line((x, y - 48), (x, y + 2))


def arrows(model, a, b, size=6.0, half=15.0):
    """A level line with an open arrowhead at each end."""
    model.add_line(a, b)
    c, s = size * cos(radians(half)), size * sin(radians(half))
    for (x, y), way in ((a, 1.0), (b, -1.0)):
        model.add_line((x, y), (x + way * c, y + s))
        model.add_line((x, y), (x + way * c, y - s))


@pytest.fixture
def told(tmp_path):
    """How many lines are told as dimensions of a drawing of a bent tube, and what a function adds."""

    def read(fill, **options):
        doc, model = new()
        model.add_line((0, 0), (440, 0))
        model.add_arc((440, 60), 60, 270, 0)
        model.add_line((500, 60), (500, 400))
        fill(doc, model)
        found = [one for one in reread(doc, tmp_path, **options).findings if one.code == "annotation-suspect"]
        assert all((one.variant, one.severity) == ("dimensions", "warning") for one in found)
        return sum(int(one.measured) for one in found)

    return read


@pytest.mark.parametrize("draw", [ticks, arrows])
def test_strokes_and_arrowheads(told, draw):
    def two(_, model):
        draw(model, (0, 50), (440, 50))
        draw(model, (0, -90), (300, -90))

    assert told(lambda _, model: draw(model, (0, 50), (440, 50))) == 1
    assert told(two) == 2


@pytest.mark.parametrize("above", [0, 1], ids=["number in a gap of the line", "number above the line"])
def test_a_dimension_of_the_library_taken_apart(told, above):
    """As the DXF library draws it, with oblique strokes."""

    def fill(doc, model):
        override = {"dimtsz": 3.0, "dimtxt": 5.0, "dimtad": above}
        dimension = model.add_linear_dim(base=(0, 80), p1=(0, 0), p2=(440, 0), override=override)
        dimension.render()
        dimension.dimension.explode()
        for reference in model.query("INSERT"):
            reference.explode()

    assert told(fill) == 1


def test_frames_are_no_dimensions(told):
    def ladder(_, model):
        for x in (600, 1000):
            model.add_line((x, 0), (x, 900))
        for y in (100, 400, 700):
            model.add_line((600, y), (1000, y))

    def braced(_, model):  # braces of 120 mm across the ends of a rail
        model.add_line((600, 100), (1600, 100))
        for x in (600, 1600):
            model.add_line((x - 60, 40), (x + 60, 160))

    def one_end(_, model):
        model.add_line((600, 0), (900, 0))
        model.add_line((598, -2), (602, 2))

    def unlike(_, model):
        model.add_line((600, 0), (900, 0))
        model.add_line((598, -2), (602, 2))
        model.add_line((890, -10), (910, 10))

    for fill in (ladder, braced, one_end, unlike):
        assert told(fill) == 0
