"""Sections as people write them, in options and in layer names. Values are worked by hand (inch x 25.4)."""

from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.errors import ElbowroomError, OptionError, UnitsError
from converter.model.section import Section
from converter.shop.sections import BWG, describe, parse_section, section_from_layer
from converter.units import Display

ROUND = (44.45, 3.048)  # 1.75 in, 0.120 in
SCH40 = (42.164, 3.556)  # NPS 1-1/4: 1.660 in, 0.140 in (ASME B36.10M)


@pytest.mark.parametrize(
    "text",
    [
        "1.75x0.120in",
        "1.75 x .120 in",
        '1-3/4"x.120wall',
        '1 3/4" x 0.120" wall',
        "1.75in x 0.120in",
        "1.75in OD x .120 wall",
        "44.45mm x 0.120in",
        "44.45 x 3.048",
        "44.45×3.048 mm",
        "Ø44.45 x 3.048mm",
        "round tube 1.75x.120 inches",
        "1.75in x 11ga",
        "1.75in 11 gauge",
        "1.75in x 120mil",
        "1.75 OD x .120 wall DOM in",
        "1.75in*.120",
        "4.445cm x 3.048mm",
    ],
)
def test_round_tube(text):
    section = parse_section(text)
    assert section.shape == "round" and section.label == ""
    assert (section.od, section.wall) == pytest.approx(ROUND, abs=1e-9)


def test_bare_numbers_take_the_default_unit_and_a_written_unit_goes_for_all():
    assert parse_section("1.75x0.120", "in").od == pytest.approx(44.45, abs=1e-9)
    assert parse_section("25x2").wall == 2.0
    # the wall has no unit of its own: it is inches like the size, never 0.12 mm
    assert parse_section('1.75"x.120', "mm").wall == pytest.approx(3.048, abs=1e-12)
    assert parse_section("1.75in x 3mm").wall == 3.0


@pytest.mark.parametrize(
    "text",
    [
        "NPS 1-1/4 sch 40",
        "nps 1 1/4 sch40",
        "pipe 1-1/4 sch40",
        "NPS 1.25 Schedule 40",
        '1-1/4" sch 40 pipe',
        "1-1/4in pipe, sch. 40",
        "DN 32 sch 40",
        "NPS 1-1/4 S40",
        "1-1/4 sch 40",
    ],
)
def test_pipe(text):
    section = parse_section(text)
    assert section.shape == "round" and section.label == "NPS 1-1/4 sch 40"
    assert (section.od, section.wall) == pytest.approx(SCH40, abs=1e-9)


def test_pipe_schedules_by_name():
    assert parse_section("NPS 2 XS").wall == pytest.approx(0.218 * 25.4)
    assert parse_section("NPS 2 XXS").label == "NPS 2 XXS"
    assert parse_section("NPS 1 sch 10S").wall == pytest.approx(0.109 * 25.4)
    assert parse_section("pipe 1/2 std").od == pytest.approx(0.840 * 25.4)


def test_square_and_rectangular():
    square = parse_section("1.5x1.5x0.083in")
    assert (square.shape, square.od, square.height) == ("square", pytest.approx(38.1), pytest.approx(38.1))
    assert square.corner == pytest.approx(2 * 0.083 * 25.4)  # two walls by rule
    assert parse_section("square 1.5 x .083 in") == square
    assert parse_section("1.5in sq x .083in") == square
    assert parse_section("HSS 1.5x1.5x.083in") == square
    other = parse_section("2x1x0.083in, r0.125")
    assert (other.shape, other.od, other.height) == ("rectangular", pytest.approx(50.8), pytest.approx(25.4))
    assert other.corner == pytest.approx(3.175)
    assert parse_section("1.5x1.5x.083 r.125in").corner == pytest.approx(3.175)
    assert parse_section("1.5x1.5x.083in r=2mm").corner == 2.0
    assert parse_section("40x40x3 corner radius 0").corner == 0.0
    # two walls would pass the middle of the side: a full round is the most there can be
    assert parse_section("10x10x4").corner == 5.0


@pytest.mark.parametrize("text", ["1in bar", "25.4mm solid", "solid 1.0in", "round bar 1in", "rod 1in", '1" solid bar'])
def test_bar(text):
    section = parse_section(text)
    assert (section.shape, section.od, section.bore) == ("bar", pytest.approx(25.4), None)


@pytest.mark.parametrize(
    ("text", "sizes"),
    [
        ("25mm square bar", ("square-bar", 25.0, 12.5, 25.0, 0.0)),
        ("sq bar 1in r1mm", ("square-bar", 25.4, 12.7, 25.4, 1.0)),
        ("flat bar 50x10mm", ("flat-bar", 50.0, 5.0, 10.0, 0.0)),
        ("10 x 50 mm flat-bar", ("flat-bar", 10.0, 5.0, 50.0, 0.0)),
        ("flatbar 20x20mm", ("square-bar", 20.0, 10.0, 20.0, 0.0)),
    ],
)
def test_solid_square_and_flat_bar(text, sizes):
    section = parse_section(text)
    assert section.bore is None and tuple(section.sizes) == (sizes[0], *map(pytest.approx, sizes[1:]))
    assert section.area == pytest.approx(section.od * section.height - (4.0 - pi) * section.corner**2)


def test_gauges_agree_with_the_reference_library():
    """fluids.piping.t_from_gauge, schedule BWG (source given there: Machinery's Handbook)."""
    from fluids import piping

    for gauge, wall in BWG.items():
        assert wall == pytest.approx(piping.t_from_gauge(gauge, SI=False, schedule="BWG"), abs=5e-4)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "is not a section"),
        ("tube", "is not a section"),
        ("1.75in", "has no wall"),
        ("1.75x0in", "wall must be above zero"),
        ("1.75x-0.12in", "wall must be above zero"),
        ("-1.75x0.12in", "size must be above zero"),
        ("1.75x0.875in", "leaves no bore"),
        ("1.75x0.9in", "leaves no bore"),
        ("0.120x1.75in", "outside size first"),
        ("2x1x0.5in", "leaves no bore"),
        ("1x2x3x4in", "more than two sizes"),
        ("nanx1in", "is not a section"),
        ("1e400x1in", "is not a section"),
        ("1.75xin", "is not a section"),
        ("1.75,0.120in", "is not a section"),
        ("25,4x2mm", "a point for the comma, '25.4x2mm'"),
        ("1.75x0.1furlong", "Unknown unit"),
        ("1-1/4 pipe", "named by its size and schedule: write NPS"),
        ("2x2x3/16 angle", "no tube and no bar but 'angle'"),
        ("POST 1.5x.12in", "write '1.5x.12in' without 'post'"),
        ("1.5x.12in 4130", "write '1.5x.12in' without '4130'"),
        ("1.75in x 30ga", "gauge 30"),
        ("1.75x11ga", "outside size first"),  # 1.75 mm, as no unit says otherwise
        ("round 1.5x1.5x.083in", "round tube has one size"),
        ("square 1.5x2x.083in", "equal sides"),
        ("rect 1.5x.083in", "two sizes"),
        ("1.75x.12in r.1", "no corner radius"),
        ("2x2x.1in r1.5", "corner radius must be"),
        ("square bar 1x2in", "square bar has equal sides"),
        ("flat bar 25mm", "flat bar has two sizes"),
        ("square bar 25mm r15mm", "corner radius must be"),
        ("bar 25x2mm", "bar is round"),
        ("NPS 1-1/4", "no pipe size with its schedule"),
        ("NPS 7 sch 40", "no pipe size NPS 7"),
        ("NPS 1 sch 120", "has no schedule 120"),
        ("DN 33 sch 40", "no pipe size DN 33"),
        ("NPS -1 sch 40", "no pipe size with its schedule"),
        ("1.75x0.12in" + " " * 200, "is not a section"),
        ("9" * 5000, "is not a section"),
        ("=cmd()", "is not a section"),
    ],
)
def test_nonsense_is_refused_in_one_sentence(text, why):
    with pytest.raises((OptionError, UnitsError), match=why) as caught:
        parse_section(text)
    message = caught.value.message
    assert message.endswith(".") and "\n" not in message and len(message) < 260


@given(st.text(max_size=40) | st.text(alphabet="0123456789.x/-\"' inmbarspqdchr", max_size=30))
def test_any_text_gives_a_section_or_one_sentence(text):
    try:
        section = parse_section(text)
    except ElbowroomError as error:
        assert error.message.endswith(".")
    else:
        assert section.od > 0 and 0 < section.wall <= section.od / 2


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("TUBE_1.75x0.120in", ("round", *ROUND)),
        ("tube_1.75x.120in_main hoop", ("round", *ROUND)),
        ('1-3/4"x.120"', ("round", *ROUND)),
        ("frame 1.5x1.5x.083 in", ("square", 38.1, 2.1082)),
        ("RAIL 2x1x.083in (left)", ("rectangular", 50.8, 2.1082)),
        ("NPS 1-1/4 sch 40 rail", ("round", *SCH40)),
        ("rail_NPS_1.25_sch_40", ("round", *SCH40)),
        ("handrail 1-1/4 sch 40", ("round", *SCH40)),
        ("25x2mm", ("round", 25.0, 2.0)),
        ("Rahmen Ø25×2 mm", ("round", 25.0, 2.0)),
        ("frame-25x2mm-a", ("round", 25.0, 2.0)),
        ("solid 25mm", ("bar", 25.0, 12.5)),
        ("25mm solid bar", ("bar", 25.0, 12.5)),
        ("round bar 25mm", ("bar", 25.0, 12.5)),
        ("25mm bar", ("bar", 25.0, 12.5)),
        ("Rack 25 mm bar", ("bar", 25.0, 12.5)),
        ("BAR_25mm", ("bar", 25.0, 12.5)),
        ("1in bar", ("bar", 25.4, 12.7)),
        ("3/4in bar", ("bar", 19.05, 9.525)),
        ("25x25x2 mm SHS", ("square", 25.0, 2.0)),
        ("RHS 40x20x2mm", ("rectangular", 40.0, 2.0)),
        ("CHS 42.4x3.2mm", ("round", 42.4, 3.2)),
        ("1.75x.120in and again 1.75 x .120 in", ("round", *ROUND)),
    ],
)
def test_size_in_a_layer_name(name, expected):
    section = section_from_layer(name)
    assert section is not None
    assert (section.shape, section.od, section.wall) == (
        expected[0],
        pytest.approx(expected[1]),
        pytest.approx(expected[2]),
    )


@pytest.mark.parametrize(
    "name",
    [
        None, "", "0", "Layer 10x20", "Layer1", "frame", "1.75x0.120", "sheet 2x1 of 10x8in", "M8x1.25mm", "A4x3in",
        "plate 100x10mm", "flat 40x5mm", "50x25mm", "10x20mm", "grid 100x1in", "bar", "cross bar 25mm", "roll bar 40mm",
        "25mm", "1.75in", "round 25mm", "pipes", "pipe 2", "drawn 2024-10-12", "rev 3x2", "25x2x2x2mm", "25x2mm 30x2mm",
        "1920x1080",        "1.75x0.120inner", "25x2mmx", "1.2.3x4mm", "x".ljust(3000, "9"), "0x0in", "2x4 lumber",
        "sch 40", "schedule of doors", "school 40", "flat bar 25mm", "50mm x 25mm bar", "25mm bars", "50x25mm bar",
    ],
)  # fmt: skip
def test_other_layer_names_are_not_sizes(name):
    assert section_from_layer(name) is None


def test_describe():
    inch, mm, fractions = Display("in"), Display("mm"), Display("in", 16)
    tube = parse_section("1.75x0.120in")
    assert describe(tube, inch) == "1.750 x 0.120 in tube" == describe(tube, fractions)
    assert describe(tube, mm) == describe(tube) == "44.45 x 3.05 mm tube"
    assert describe(parse_section("NPS 2 XS"), inch) == "NPS 2 XS (2.375 x 0.218 in)"
    assert describe(parse_section("2x1x.083in"), inch) == "2.000 x 1.000 x 0.083 in rectangular tube"
    assert describe(parse_section("25mm bar"), mm) == "25.00 mm bar"


@given(
    st.floats(8, 200).map(lambda v: round(v, 2)),
    st.floats(0.05, 0.45),
    st.sampled_from(["round", "square", "rectangular", "bar"]),
)
def test_what_is_described_reads_back(size, ratio, shape):
    wall = max(0.1, round(size * ratio, 2))
    height = size + 10 if shape == "rectangular" else size
    section = Section(shape, size, wall, height=height)
    again = parse_section(describe(section, Display("mm")))
    assert again.shape == shape
    assert (again.od, again.wall, again.height) == pytest.approx((section.od, section.wall, section.height), abs=0.0051)
