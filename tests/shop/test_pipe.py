"""Pipe table: against fluids (general reference library) and the values of check-values, section 2.

`fluids.piping.nearest_pipe` holds the metric-rounded columns of ASME B36.10M/B36.19M, so an
outside diameter may differ by 0.002 in and a wall by 0.0006 in.
"""

from fractions import Fraction

import pytest

from converter.errors import OptionError
from converter.shop.pipe import DN, OUTSIDE, SCHEDULES, nominal, pipe, size_text

ENTRIES = [(schedule, nps) for schedule, sizes in SCHEDULES.items() for nps in sizes]


@pytest.mark.parametrize(("schedule", "nps"), ENTRIES, ids=str)
def test_every_entry_agrees_with_the_reference_library(schedule, nps):
    from fluids import piping

    size, _, outside, wall = piping.nearest_pipe(NPS=float(nps), schedule=schedule)
    assert size == float(nps)
    entry = pipe(nps, schedule)
    assert entry.od == pytest.approx(outside / 0.0254, abs=0.002)
    assert entry.wall == pytest.approx(wall / 0.0254, abs=0.0006)


def test_no_size_of_the_reference_is_missing():
    from fluids import piping

    for schedule, sizes in SCHEDULES.items():
        theirs = {Fraction(size).limit_denominator(8) for size in piping.schedule_lookup[schedule][0] if size <= 12}
        assert theirs == set(sizes), schedule


# inch values of check-values section 2 (from memory there; 1/2 to 4 also in a machine-elements textbook)
@pytest.mark.parametrize(
    ("nps", "od", "sch40", "sch80"),
    [
        ("1/2", 0.840, 0.109, 0.147),
        ("3/4", 1.050, 0.113, 0.154),
        ("1", 1.315, 0.133, 0.179),
        ("1-1/4", 1.660, 0.140, 0.191),
        ("1-1/2", 1.900, 0.145, 0.200),
        ("2", 2.375, 0.154, 0.218),
        ("2-1/2", 2.875, 0.203, 0.276),
        ("3", 3.500, 0.216, 0.300),
        ("3-1/2", 4.000, 0.226, 0.318),
        ("4", 4.500, 0.237, 0.337),
    ],
)
def test_inch_columns(nps, od, sch40, sch80):
    size = nominal(nps)
    assert (pipe(size, "40").od, pipe(size, "40").wall, pipe(size, "80").wall) == (od, sch40, sch80)
    assert size_text(size) == nps


def test_standard_and_schedule_40_part_company_at_12():
    assert pipe(Fraction(10), "STD").wall == pipe(Fraction(10), "40").wall == 0.365
    assert (pipe(Fraction(12), "STD").wall, pipe(Fraction(12), "40").wall) == (0.375, 0.406)
    assert (pipe(Fraction(8), "XS").wall, pipe(Fraction(8), "80").wall) == (0.5, 0.5)
    assert (pipe(Fraction(10), "XS").wall, pipe(Fraction(10), "80").wall) == (0.5, 0.594)


def test_walls_grow_with_the_schedule_number():
    numbered = ["5", "10", "20", "30", "40", "60", "80", "100", "120", "140", "160"]
    for nps, od in OUTSIDE.items():
        walls = [SCHEDULES[name][nps] for name in numbered if nps in SCHEDULES[name]]
        assert walls == sorted(walls) and len(set(walls)) == len(walls), nps
        assert max(walls) < od / 2


@pytest.mark.parametrize("text", ["1-1/4", "1 1/4", "1.25", " 1 -1/4 ", "1.250", "5/4"])
def test_ways_to_write_a_size(text):
    assert nominal(text) == Fraction(5, 4)


@pytest.mark.parametrize("text", ["", "7", "1-1/0", "0", "1.3", "-1", "x", "1e0", "999999", "1-1/4-1/4"])
def test_unknown_sizes_are_refused_with_the_list(text):
    with pytest.raises(OptionError, match="sizes known are 1/8, 1/4"):
        nominal(text)


def test_unknown_schedule_lists_those_there_are():
    with pytest.raises(OptionError, match=r"NPS 1-1/4 has no schedule 120: it has 5, 10, 30, 40, 80, 160, STD"):
        pipe(Fraction(5, 4), "120")


def test_labels_and_metric_names():
    assert pipe(Fraction(5, 4), "40").label == "NPS 1-1/4 sch 40"
    assert pipe(Fraction(2), "xs").label == "NPS 2 XS"
    assert pipe(Fraction(1), "10s").label == "NPS 1 sch 10S"
    assert DN[32] == Fraction(5, 4) and DN[100] == 4 and DN[300] == 12
