"""Dimensions that were taken apart are doubted; lines that end on others, as rails on rungs, are not."""

from math import cos, radians, sin

import ezdxf
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
        findings = reread(doc, tmp_path, **options).findings
        found = [one for one in findings if one.code == "annotation-suspect"]
        assert not any(one.code == "outline-suspect" for one in findings), "one sentence for one cause"
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


@pytest.mark.parametrize("arrow", ["closed_filled", "closed", "closed_blank", "open", "open_30", "oblique"])
@pytest.mark.parametrize("kind", ["line", "radius", "angle"])
def test_dimensions_of_every_arrowhead_taken_apart(told, arrow, kind):
    """As the DXF library draws them: filled arrowheads as SOLID, others as polylines; each line and arc once."""

    def fill(doc, model):
        look = {"dimblk": getattr(ezdxf.ARROWS, arrow), "dimasz": 6.0, "dimtxt": 5.0}
        if kind == "line":
            drawn = model.add_linear_dim(base=(0, 80), p1=(0, 0), p2=(440, 0), override=look)
        elif kind == "radius":
            drawn = model.add_radius_dim(center=(440, 60), radius=60, angle=315, override=look)
        else:
            drawn = model.add_angular_dim_cra((200, 0), 150, 0, 90, 20, override=look)
        drawn.render()
        drawn.dimension.explode()
        for reference in model.query("INSERT"):
            reference.explode()

    lines = told(fill)
    if kind != "line" and (arrow == "oblique" or (kind == "radius" and arrow.startswith("open"))):
        assert lines == 0, "a stroke at one end, or across an arc, tells nothing, nor does an end that may fork"
    else:
        assert 1 <= lines <= 3


def filled(model, tip, base, half=1.0):
    """A filled arrowhead along x, its corners in the order that SOLID has them."""
    (x, y), (u, _) = tip, base
    model.add_solid([(u, y - half), (u, y + half), (x, y), (x, y)])


@pytest.mark.parametrize("closed", [False, True], ids=["filled", "a closed polyline"])
@pytest.mark.parametrize("outside", [False, True])
def test_closed_arrowheads_drawn_by_hand(told, closed, outside):
    """Between the arrowheads, or from both sides; a line is told, whichever of tip and base it ends at."""

    def fill(_, model):
        for x, way in ((0, -1), (440, 1)):
            base = x + (way if outside else -way) * 6
            if closed:
                model.add_lwpolyline([(x, 50), (base, 51), (base, 49)], close=True)
            else:
                filled(model, (x, 50), (base, 50))
            if outside:
                model.add_line((base, 50), (base + 20 * way, 50))
        if not outside:
            model.add_line((6, 50), (434, 50))

    assert told(fill) == (2 if outside else 1)


def test_an_arrowhead_that_is_a_block(told):
    """As some packages take dimensions apart: the arrowhead stays a reference to a block of a reserved name."""

    def fill(doc, model):
        doc.blocks.new("_ArchTick").add_line((-0.5, -0.5), (0.5, 0.5))
        model.add_line((0, 50), (440, 50))
        for x, turn in ((0, 180), (440, 0)):
            model.add_blockref("_ArchTick", (x, 50), {"xscale": 6, "yscale": 6, "zscale": 6, "rotation": turn})

    assert told(fill) == 1


def crossed(model, x, y, size):
    model.add_line((x - size, y), (x + size, y))
    model.add_line((x, y - size), (x, y + size))


def test_centre_marks_are_told_and_spokes_are_not(tmp_path):
    """A small cross at the centre of a bend, a large one over a circle; others are bars."""

    def read(fill):
        doc, model = new()
        model.add_line((0, 0), (440, 0))
        model.add_arc((440, 60), 60, 270, 0)
        model.add_line((500, 60), (500, 400))
        fill(model)
        return [one for one in reread(doc, tmp_path).findings if one.variant == "centre marks"]

    (told,) = read(lambda model: crossed(model, 440, 60, 8))
    assert told.code == "annotation-suspect" and told.message.startswith("2 lines cross at the centres of arcs")

    def ring(model):
        model.add_circle((900, 0), 100)
        crossed(model, 900, 0, 120)

    assert [one.measured for one in read(ring)] == [2.0]

    def elsewhere(model):
        crossed(model, 200, 200, 8)
        model.add_line((440, 60), (440, 90))  # from the centre, not across it

    def askew(model):
        model.add_line((432, 60), (448, 60))
        model.add_line((434, 54), (446, 66))

    def wheel(model):  # drawn to the ring, and to its inside
        for x, size in ((900, 200), (1500, 192)):
            model.add_circle((x, 0), 200)
            crossed(model, x, 0, size)

    assert not read(elsewhere) and not read(askew) and not read(wheel)


def test_filled_areas_that_are_no_arrowheads(told):
    def square(_, model):
        model.add_line((600, 50), (900, 50))
        model.add_solid([(900, 40), (920, 40), (900, 60), (920, 60)])

    def beside(_, model):  # an arrow that shows north
        model.add_line((600, 50), (900, 50))
        filled(model, (950, 50), (944, 50))

    def askew(_, model):  # a gusset in a corner
        model.add_line((600, 50), (900, 50))
        model.add_solid([(900, 50), (880, 50), (900, 70), (900, 70)])

    def rafters(_, model):  # a post up to a ridge
        model.add_lwpolyline([(600, 0), (900, 90), (1200, 0)])
        model.add_line((900, 0), (900, 90))

    for fill in (square, beside, askew, rafters):
        assert told(fill) == 0


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
