"""Pictures as SVG, PNG and on PDF pages: well-formed, safe with any name, the size and unit that was asked for."""

from __future__ import annotations

import io
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from picture_tools import examples
from PIL import Image

from converter.errors import OptionError
from converter.exporters.pdf.canvas import Pdf
from converter.exporters.pictures.picture import ROLES, Picture
from converter.exporters.pictures.run.picture import run_picture
from converter.exporters.pictures.written.pdf import draw
from converter.exporters.pictures.written.png import dashes, png_bytes
from converter.exporters.pictures.written.svg import svg_text
from converter.units import BothUnits

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "]]> & &amp; &#0;",
    "\x00\x01\x08\x1b[31m\ud800\ufffe",
    "'\"`\u202e",
    "管子 труба",
)


def simple(text: str = "note") -> Picture:
    """40 by 20 mm: a square with a hole, a line, two texts."""
    picture = Picture(f"Title {text}", f"About {text}")
    square = [(10, 5), (20, 5), (20, 15), (10, 15)]
    hole = [(13, 8), (17, 8), (17, 12), (13, 12)]
    picture.fill([square, hole], "bore")
    picture.stroke([(0, 0), (40, 20)], "tube")
    picture.label(text, (22, 2), 2.0)
    picture.label(BothUnits("mm").length(25.4), (30, 10), 2.0, rotation=30.0)
    picture.label("7", (35, 4), 2.0, "strong", circled=True)
    picture.label("A", (4, 15), 2.0, "end", boxed=True)
    picture.low, picture.high = (0.0, 0.0), (40.0, 20.0)
    return picture


# --- SVG ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", HOSTILE)
def test_any_name_gives_well_formed_text_and_nothing_else(name):
    text = svg_text(simple(name), unit="mm")
    text.encode()  # no lone surrogates
    root = ElementTree.fromstring(text)
    tags = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert tags <= {"svg", "title", "desc", "style", "rect", "path", "circle", "text"}
    assert not any(key.lower().startswith("on") or "href" in key for e in root.iter() for key in e.attrib)
    shown = "".join(
        c if c in "\t\n\r" or (c >= " " and not "\ud800" <= c <= "\udfff" and c != "\ufffe") else " " for c in name
    )
    assert root.findtext(f"{SVG}title") == f"Title {shown}"
    assert shown in [element.text for element in root.iter(f"{SVG}text")]


def test_size_is_in_millimetres_and_names_are_tied():
    root = ElementTree.fromstring(svg_text(simple(), unit="mm"))
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("40mm", "20mm", "0 0 40 20")
    assert root.get("role") == "img"
    ids = {element.get("id") for element in root.iter() if element.get("id")}
    assert set(root.get("aria-labelledby").split()) == ids == {"p-title", "p-desc"}


def test_texts_are_in_the_unit_asked_for():
    def lengths(unit):
        root = ElementTree.fromstring(svg_text(simple(), unit=unit))
        return [(e.get("class"), e.text) for e in root.iter(f"{SVG}text") if "25" in e.text or "1.0" in e.text]

    assert lengths("mm") == [("f-note", "25.40 mm")]
    assert lengths("in") == [("f-note", "1.000 in")]


def test_one_style_sheet_serves_light_dark_and_print():
    text = svg_text(simple(), unit="mm")
    assert text.startswith("<?xml")
    sheet = ElementTree.fromstring(text).findtext(f"{SVG}style")
    for role, look in ROLES.items():
        assert f".f-{role}{{fill:{look.light}" in sheet
        assert f".f-{role}{{fill:{look.dark}" in sheet
    assert "prefers-color-scheme:dark" in sheet
    assert "@media print" in sheet
    assert not re.search(r"url|@import|http", sheet)
    used = set(re.findall(r"\b[rf]-([a-z]+)", text))
    assert used <= set(ROLES)


def test_what_is_drawn_up_stands_up():
    """y runs up in a picture and down in SVG."""
    root = ElementTree.fromstring(svg_text(simple(), unit="mm"))
    line = next(e for e in root.iter(f"{SVG}path") if e.get("class") == "r-tube")
    assert line.get("d") == "M0,20 40,0"
    turned = next(e for e in root.iter(f"{SVG}text") if e.get("transform"))
    assert turned.get("transform") == "rotate(-30 30 10)"


# --- PNG ----------------------------------------------------------------------------------


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


@pytest.mark.parametrize("dpi", [72, 150, 300])
def test_png_has_the_size_and_resolution_asked_for(dpi):
    image = opened(png_bytes(simple(), unit="mm", dpi=dpi))
    assert image.size == (round(40 * dpi / 25.4), round(20 * dpi / 25.4))
    assert image.info["dpi"] == pytest.approx((dpi, dpi), abs=0.02)  # PNG keeps whole pixels to the metre
    assert image.mode == "RGB"


def test_png_draws_fills_with_their_holes_on_a_light_ground():
    image = opened(png_bytes(simple(), unit="mm", dpi=254))

    def at(x, y):
        return "#{:02x}{:02x}{:02x}".format(*image.getpixel((round(x * 10), round((20 - y) * 10))))

    assert at(11.5, 13.5) == ROLES["bore"].light
    assert at(16.0, 9.0) == ROLES["ground"].light
    assert at(38.0, 2.0) == ROLES["ground"].light
    assert at(5.0, 2.5) == ROLES["tube"].light


def test_png_lines_are_smooth():
    image = opened(png_bytes(simple(), unit="mm", dpi=100)).convert("L")
    assert len(np.unique(np.asarray(image.crop((0, 40, 30, 78))))) > 4


def test_png_shows_the_unit_asked_for_and_is_the_same_each_time():
    one, two = png_bytes(simple(), unit="mm"), png_bytes(simple(), unit="mm")
    assert one == two
    assert one != png_bytes(simple(), unit="in")


@pytest.mark.parametrize("name", HOSTILE)
def test_png_draws_any_name(name):
    assert opened(png_bytes(simple(name), unit="mm")).size[0] > 100


def test_png_refuses_sizes_that_make_no_sense():
    with pytest.raises(OptionError, match="from 20 to 1200"):
        png_bytes(simple(), unit="mm", dpi=0)
    with pytest.raises(OptionError, match="from 20 to 1200"):
        png_bytes(simple(), unit="mm", dpi=float("nan"))
    big = simple()
    big.high = (5000.0, 5000.0)
    with pytest.raises(OptionError, match="too large"):
        png_bytes(big, unit="mm", dpi=300)


def test_dashes_by_hand():
    """10 long with dashes of 3 and gaps of 1 around a corner: 0-3, 4-7, 8-10."""
    line = [(0.0, 0.0), (5.0, 0.0), (5.0, 5.0)]
    assert dashes(line, (3.0, 1.0)) == [
        [(0.0, 0.0), (3.0, 0.0)],
        [(4.0, 0.0), (5.0, 0.0), (5.0, 2.0)],
        [(5.0, 3.0), (5.0, 5.0)],
    ]
    assert dashes(line, ()) == [line]


# --- PDF ----------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(("unit", "wanted", "other"), [("mm", "150.00", "5.906"), ("in", "5.906", "150.00")])
def test_a_picture_on_a_page_is_text_and_vectors(unit, wanted, other):
    from pypdf import PdfReader

    pdf = Pdf("pictures", {})
    pdf.page((300.0, 200.0))
    draw(pdf, run_picture(examples()["five"], BothUnits("mm")), 10.0, 10.0, unit=unit)
    pdf.end_page()
    page = PdfReader(io.BytesIO(pdf.data())).pages[0]
    words = page.extract_text()
    assert wanted in words
    assert other not in words
    assert len(page.images) == 0
    content = page.get_contents().get_data()
    assert content.count(b" l\n") + content.count(b" l ") > 200
    assert b"f*" in content  # even-odd fills


def test_scale_and_place_move_points():
    pdf = Pdf("x", {})
    pdf.page((100.0, 100.0))
    picture = Picture()
    picture.stroke([(1, 2), (11, 2)], "tube")
    draw(pdf, picture, 5.0, 7.0, 2.0, unit="mm")
    pdf.end_page()
    from pypdf import PdfReader

    content = PdfReader(io.BytesIO(pdf.data())).pages[0].get_contents().get_data().decode()
    found = re.search(r"([\d.]+) ([\d.]+) m\b", content)
    assert found
    x, y = found.groups()
    assert (float(x), float(y)) == pytest.approx(((2 + 5) * 72 / 25.4, (4 + 7) * 72 / 25.4), abs=1e-3)
