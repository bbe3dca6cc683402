"""What is drawn in dashes beside continuous lines is doubted; whole drawings in dashes, tubes behind others are not."""

import pytest
from dxf_tools import new, reread

from converter.reducer import reduce_drawing

PATTERNS = {"HIDDEN": [9.5, 6.4, -3.1], "CENTER": [50.8, 31.8, -6.4, 6.4, -6.4], "DOTS": [3.0, 0.0, -3.0]}


def u_tube(model, x=0.0, **look):
    """Up, across and down: three lines, two quarter turns of 60 mm."""
    model.add_line((x, 0), (x, 200), look)
    model.add_arc((x + 60, 200), 60, 90, 180, dxfattribs=dict(look))
    model.add_line((x + 60, 260), (x + 360, 260), dict(look))
    model.add_arc((x + 360, 200), 60, 0, 90, dxfattribs=dict(look))
    model.add_line((x + 420, 200), (x + 420, 0), dict(look))


@pytest.fixture
def told(tmp_path):
    """(tube, variant, linetype) of what is told of a drawing that a function fills."""

    def read(fill, defined=True, **options):
        doc, model = new()
        for name, pattern in PATTERNS.items() if defined else ():
            doc.linetypes.add(name, pattern)
        fill(doc, model)
        runs, _ = reduce_drawing(reread(doc, tmp_path, **options))
        found = [finding for run in runs for finding in run.findings if finding.code == "annotation-suspect"]
        assert all(finding.severity == "warning" for finding in found)
        return [(one.tube, one.variant, dict(one.values)["linetype"]) for one in found]

    return read


@pytest.mark.parametrize("linetype", PATTERNS)
def test_on_the_layer_of_the_tubes(told, linetype):
    def fill(doc, model):
        u_tube(model)
        model.add_line((600, 0), (600, 300), {"linetype": linetype})

    assert told(fill) == [("tube-2", "linetype", linetype)]
    assert told(fill, skip_linetypes=(linetype,)) == []  # as the cure says


@pytest.mark.parametrize("linetype", ["Hidden2", "DASHED", "CENTRE", "phantom", "ACAD_ISO02W100", "ACAD_ISO10W100"])
def test_by_a_name_of_which_the_file_has_no_definition(told, linetype):
    def fill(doc, model):
        u_tube(model)
        model.add_line((600, 0), (600, 300), {"linetype": linetype})

    assert told(fill, defined=False) == [("tube-2", "linetype", linetype)]


@pytest.mark.parametrize("linetype", ["Continuous", "CONTINUOUS", "ByLayer", "BYBLOCK", "SOLID", "ACAD_ISO01W100"])
def test_continuous_lines_by_any_name(told, linetype):
    def fill(doc, model):
        u_tube(model)
        model.add_line((600, 0), (600, 300), {"linetype": linetype})

    assert told(fill, defined=False) == []


def test_a_definition_goes_before_a_name(told):
    def fill(doc, model):
        doc.linetypes.add("CENTERLINE OF TUBE", [0.0])
        doc.linetypes.add("THIN", [4.0, 2.0, -2.0])
        u_tube(model)
        model.add_line((600, 0), (600, 300), {"linetype": "CENTERLINE OF TUBE"})
        model.add_line((700, 0), (700, 300), {"linetype": "thin"})

    assert told(fill) == [("tube-3", "linetype", "thin")]


def test_by_the_layer_and_by_the_block(told):
    def fill(doc, model):
        doc.layers.add("BEHIND", linetype="HIDDEN")
        block = doc.blocks.new("B")
        block.add_line((0, 0), (0, 200), {"linetype": "BYBLOCK"})
        block.add_line((50, 0), (50, 200))
        u_tube(model)
        model.add_line((600, 0), (600, 300), {"layer": "BEHIND"})
        model.add_line((650, 0), (650, 300), {"layer": "BEHIND", "linetype": "CONTINUOUS"})
        model.add_blockref("B", (700, 0), {"linetype": "CENTER"})
        model.add_blockref("B", (900, 0), {"layer": "BEHIND", "linetype": "CONTINUOUS"})

    #  the second of the two lines of the block takes the layer of its reference
    assert sorted(told(fill)) == [
        ("B-1", "linetype", "CENTER"), ("B-4", "linetype", "HIDDEN"), ("BEHIND-1", "linetype", "HIDDEN"),
    ]  # fmt: skip


def test_a_drawing_all_in_dashes_or_most_of_it_is_no_doubt(told):
    def of_axes(doc, model):
        doc.layers.add("TUBE", linetype="CENTER")
        u_tube(model, layer="TUBE")
        u_tube(model, 900, layer="TUBE")

    def of_both(doc, model):
        u_tube(model)
        u_tube(model, 900, linetype="CENTER")

    def with_a_border(doc, model):
        u_tube(model, linetype="CENTER")
        model.add_lwpolyline([(-200, -200), (800, -200), (800, 800), (-200, 800)], close=True)

    for fill in (of_axes, of_both, with_a_border):
        assert told(fill) == []


def test_a_tube_that_passes_behind_another_is_one(told):
    def fill(doc, model):
        model.add_line((0, 0), (200, 0))
        model.add_line((200, 0), (300, 0), {"linetype": "HIDDEN"})
        model.add_line((300, 0), (500, 0))
        model.add_arc((500, 60), 60, 270, 0)
        model.add_line((560, 60), (560, 300))

    assert told(fill) == []


@pytest.mark.parametrize("end", [(0, -40), (-140, 0)], ids=["an axis run on", "a hidden edge at the end"])
def test_what_goes_on_in_dashes_is_part_of_a_tube_in_doubt(told, end):
    def fill(doc, model):
        u_tube(model)
        model.add_line((0, 0), end, {"linetype": "CENTER"})

    ((_, variant, linetype),) = told(fill)
    assert (variant, linetype) == ("linetype of a part", "CENTER")


def test_layers_of_notes_are_told_once_and_axes_within_outlines_are_wanted(told):
    def notes(doc, model):
        u_tube(model)
        model.add_line((0, -80), (420, -80), {"layer": "DIM", "linetype": "HIDDEN"})

    def outlines(doc, model):
        for y in (-19.0, 19.0):
            model.add_line((0, y), (900, y))
        for x in (0, 900):
            model.add_line((x, -19), (x, 19))
        model.add_line((0, 0), (900, 0), {"linetype": "CENTER"})

    assert told(notes) == [] == told(outlines)
    assert told(outlines, from_outline=True) == []
