"""Sections that notes and names of layers seem to tell: told with what to type, never taken."""

import re

import ezdxf
import pytest

from converter.job import open_job
from converter.job.noted_sections import noted_section
from converter.settings import Settings
from converter.shop.sections import parse_section


@pytest.mark.parametrize(
    ("text", "mm", "inches"),
    [  # sizes by hand: 1.5 in is 38.1 mm, .095 in 2.413 mm, 16 ga 0.065 in (BWG)
        ("1.5 x .095", "1.5x0.095in", "1.5x0.095in"),
        ("Ø38.1x2.4", "38.1x2.4mm", "38.1x2.4mm"),
        ("TUBE: 1.5 OD x .095 WALL", "1.5x0.095in", "1.5x0.095in"),
        ("38 OD x 2.5 WT", "38x2.5mm", "38x2.5mm"),
        ("2 OFF 38.1 × 2.4 mm L=1200", "38.1x2.4mm", "38.1x2.4mm"),
        ('frame 1.5" x 0.095"', "1.5x0.095in", "1.5x0.095in"),
        ("1 1/2 x 1/8 wall", "1.5x0.125in", "1.5x0.125in"),
        ("1.5 OD x 16 ga", "1.5x0.065in", "1.5x0.065in"),
        ("40x40x3 SHS", "40x40x3mm", "40x40x3mm"),
        ("flat oval 60x30x2", "flat-oval 60x30x2mm", "flat-oval 60x30x2mm"),
        ('1-1/2" sch 40', "NPS 1-1/2 sch 40", "NPS 1-1/2 sch 40"),
        ("TUBE_38x2.5", "38x2.5mm", "38x2.5mm"),
        ("38,1x2,4", "38.1x2.4mm", "38.1x2.4mm"),
        ("Rohr 42,4 x 2,6 mm S235", "42.4x2.6mm", "42.4x2.6mm"),
        ("40x20x1,5 RHS", "40x20x1.5mm", "40x20x1.5mm"),
        ("TUBE_33,7x2,6", "33.7x2.6mm", "33.7x2.6mm"),
        ("38.1*2.4", "38.1x2.4mm", "38.1x2.4mm"),
        ("OD 38 WT 2.5", "38x2.5mm", "38x2.5mm"),
        ("O.D. 38.1mm, wall 2.4mm", "38.1x2.4mm", "38.1x2.4mm"),
        ("Ø38.1 t=2.4", "38.1x2.4mm", "38.1x2.4mm"),
        ("1.5 OD .095 WALL", "1.5x0.095in", "1.5x0.095in"),
        ("6x0.25", "6x0.25mm", "6x0.25in"),  # tube in either; the drawing's unit goes first
    ],
)
def test_what_a_text_seems_to_tell(text, mm, inches):
    for unit, section in (("mm", mm), ("in", inches)):
        typed = noted_section(text, unit)
        assert parse_section(typed).is_same_size(parse_section(section), 1e-3), typed


@pytest.mark.parametrize(
    "text",
    [
        "SCALE 1:10 A3 420x297", "M8x1.25", "4 x 25 = 100", "25x4 FLAT", "PL 100x10", "2x45°", "holes 20x2", "10x20",
        "2x4", "frame 60x3.2 and brace 42x2.6", "CLR 100x2", "sheet 100x2", "0", "", "x", "RAIL", "500x2 duct",
        "120 sch 40", "Layer 300x60", "1,500x2,200", "OD 38 L=250", "wall 2.5",
    ],
)  # fmt: skip
@pytest.mark.parametrize("unit", ["mm", "in", "m"])
def test_what_is_no_section(text, unit):
    assert noted_section(text, unit) is None


@pytest.fixture
def told(tmp_path):
    """What is told of a drawing that a function fills with notes, of one bent tube on a layer."""

    def read(fill, layer="0", sections=()):
        doc = ezdxf.new("R2010", units=4)
        model = doc.modelspace()
        bulge = 2.0**0.5 - 1.0
        model.add_lwpolyline(
            [(0, 0, 0), (500, 0, bulge), (600, 100, 0), (600, 500, 0)], format="xyb", dxfattribs={"layer": layer}
        )
        fill(model)
        doc.saveas(tmp_path / "drawing.dxf")
        job = open_job(str(tmp_path / "drawing.dxf"), Settings(sections=sections))
        return job, [one for one in job.findings if one.code == "section-noted"]

    return read


def block_with_text(model):
    model.doc.blocks.new("TITLE").add_attdef("SIZE", (0, 0))
    model.add_blockref("TITLE", (0, 900)).add_attrib("SIZE", "38.1x2.4")


def leader(model):
    note = model.add_multileader_mtext("Standard")
    note.set_content("38.1x2.4\nS235")
    note.build(insert=ezdxf.math.Vec2(5, 0))


def text_in_blocks(model):
    """A text in a block that another block refers to, which is inserted."""
    model.doc.blocks.new("INNER").add_mtext("\\A1;%%c38,1x2,4")
    model.doc.blocks.new("OUTER").add_blockref("INNER", (0, 0))
    model.add_blockref("OUTER", (0, 900))


def constant_attribute(model):
    model.doc.blocks.new("TITLE").add_attdef("SIZE", (0, 0), text="38.1x2.4").is_const = True
    model.add_blockref("TITLE", (0, 900))


def balloon(model):
    model.doc.blocks.new("BALLOON").add_attdef("TAG", (0, 0))
    note = model.add_multileader_block("Standard")
    note.set_content("BALLOON")
    note.set_attribute("TAG", "38.1x2.4")
    note.build(insert=ezdxf.math.Vec2(5, 0))


def formatted_leader(model):
    note = model.add_multileader_mtext("Standard")
    note.set_content("{\\fArial|b1;%%c38.1x2.4}\\PS235")
    note.build(insert=ezdxf.math.Vec2(5, 0))


NOTES = {
    "TEXT in nested blocks": text_in_blocks,
    "constant ATTDEF": constant_attribute,
    "MULTILEADER with a block": balloon,
    "MULTILEADER with formats": formatted_leader,
    "DIMENSION": lambda model: model.add_linear_dim((0, -50), (0, 0), (500, 0), text="tube 38.1x2.4").render(),
    "paper space": lambda model: model.doc.layout("Layout1").add_text("38.1x2.4"),
    "TEXT": lambda model: model.add_text("%%c38.1x2.4"),
    "MTEXT": lambda model: model.add_mtext("{\\fArial|b0;TUBE} %%c38.1x2.4\\PMATERIAL S235"),
    "MULTILEADER": leader,
    "ATTRIB": block_with_text,
}


def test_a_stacked_fraction_is_no_eleven_halves(told):
    """The bar of 1 1/2 is a format of MTEXT; without it 5.5 in was named."""
    (finding,) = told(lambda model: model.add_mtext("TUBE 1\\S1/2; x .095"))[1]
    assert "--section '1.5x0.095in tube'" in finding.cure_in()


@pytest.mark.parametrize("kind", NOTES)
def test_a_note_of_any_kind(told, kind):
    job, (finding,) = told(NOTES[kind])
    assert job.tubes[0].section is None and finding.severity == "note"
    told_note = finding.message.replace(",1x2,", ".1x2.")
    assert told_note.endswith("38.1x2.4', which may be the section of the tubes that have none.")
    (option,) = re.findall("--section '(.*)'", finding.cure_in())
    job, none = told(NOTES[kind], sections=(option,))
    assert none == [] and job.tubes[0].section.is_same_size(parse_section("38.1x2.4mm"), 1e-3)


def test_the_name_of_a_layer_goes_before_notes_and_what_it_says_is_typed(told):
    job, (finding,) = told(NOTES["TEXT"], layer="TUBE_40x2.5")
    assert finding.tube == job.tubes[0].run.name and "'TUBE_40x2.5'" in finding.message
    (option,) = re.findall("--section '(.*)'", finding.cure_in())
    job, none = told(NOTES["TEXT"], layer="TUBE_40x2.5", sections=(option,))
    assert none == [] and job.tubes[0].section.is_same_size(parse_section("40x2.5mm"), 1e-3)


def test_nothing_is_told_where_a_section_is_known(told):
    assert told(NOTES["TEXT"], sections=("50x2mm",))[1] == []
    assert told(NOTES["TEXT"], layer="TUBE_40x2.5mm")[1] == []
    assert told(lambda model: model.add_text("2 OFF, see sheet 3"))[1] == []
