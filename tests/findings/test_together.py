"""Findings that say the same are told once: equal sentences of bends and tubes, arcs that were laid flat."""

from __future__ import annotations

import re

import ezdxf
import pytest
from command_line import run
from hypothesis import given
from hypothesis import strategies as st

from converter.cli.screens.findings import findings_text
from converter.findings import Finding
from converter.findings.entries import Clause
from converter.findings.wording import cure, grouped, message, severity_counts, tally
from converter.units import BothUnits, Display, parse_length


def flat(handle, radius):
    values = {"arc": Clause.of("arc-with-handle", handle=handle), "drawn": Clause.of("arc-without-radius")}
    return Finding(
        "arc-flattened", handle=handle, measured=radius, unit="mm", values={**values, "radius": radius, "angle": 90.0}
    )


def into_bend(tube, taken):
    values = {"taken": taken, "room": 25.4, "place": (0.0, 0.0, 0.0)}
    return Finding("cope-into-bend", tube=tube, end="A", measured=taken, limit=25.4, unit="mm", values=values)


def sizes(findings, display):
    return [len(group) for group in grouped(findings, display)]


def test_arcs_laid_flat_are_one_sentence():
    """Six of them filled the screen, four lines each."""
    alike = [flat("A1", 127.0), flat("A2", 152.4), flat("A3", 152.4)]
    (group,) = grouped(alike, Display("in"))
    assert message(group, Display("in")) == (
        "3 arcs were drawn flat and meet no line; the line ends and their centres give a radius of 5.000 in to "
        "6.000 in, which was taken."
    )
    (equal,) = grouped(alike[1:], Display("in"))
    assert "their centres give a radius of 6.000 in, which was taken." in message(equal, Display("in"))
    (one,) = grouped(alike[:1], Display())
    assert message(one).startswith("Arc A1 was drawn flat (with no radius)") and "127.00 mm" in message(one)


def test_what_reads_the_same_is_told_once_in_every_unit_shown():
    """30.003 and 30.004 mm read the same in either unit; 30.01 does in inches alone, 30.1 in neither."""
    alike = [into_bend(name, taken) for name, taken in (("ONE", 30.003), ("TWO", 30.004))]
    assert sizes(alike, Display("mm")) == sizes(alike, Display("in")) == sizes(alike, BothUnits("mm")) == [2]
    assert message(grouped(alike, Display("mm"))[0]).startswith("ONE and TWO, end A: ")
    nearly = [*alike, into_bend("THREE", 30.01)]
    assert sizes(nearly, Display("in")) == [3]
    assert sizes(nearly, Display("mm")) == sizes(nearly, BothUnits("mm")) == [2, 1]
    assert sizes([*alike, into_bend("THREE", 30.1)], Display("in")) == [2, 1]


@pytest.mark.parametrize("display", [Display("mm"), Display("in"), Display("in", 16)])
def test_the_sum_counts_the_sentences_that_are_shown(display):
    """Three tubes of which one thing is said, and two that read alike only in inches: the sum counts as they read."""
    bare = [Finding("section-unknown", tube=name) for name in ("ONE", "TWO", "THREE")]
    findings = [*bare, into_bend("FOUR", 30.003), into_bend("FIVE", 30.01), Finding("demo-shop")]
    counts = severity_counts(grouped(findings, display))
    shown = findings_text(findings, display)
    for one in counts:
        assert len(re.findall(f"^{one.severity}", shown, re.MULTILINE)) == one.sentences
        assert one.places == sum(finding.severity == one.severity for finding in findings)
    words = {"in": "2 warnings (in 5 places), 1 note", "mm": "3 warnings (in 5 places), 1 note"}
    assert tally(counts) == words[display.unit]
    assert tally(severity_counts([(one,) for one in findings])) == "5 warnings, 1 note"
    assert tally([]) == "nothing to say"


@given(gap=st.floats(0.1001, 2.0), unit=st.sampled_from(["mm", "in"]))
def test_the_join_that_a_gap_asks_for_closes_it(gap, unit):
    """Rounded up to two digits, in either unit, and no further."""
    place, drawn = (0.0, 0.0, 0.0), Clause.of("drawn-nowhere")
    values = {"gap": gap, "point": place, "drawn": drawn, "other_point": place, "other_drawn": drawn, "join": 0.1}
    told = Finding("near-gap", measured=gap, unit="mm", values=values).cure_in(Display(unit))
    asked = parse_length(told.rpartition("--join ")[2].rstrip("."))
    assert gap * (1.0 - 1e-9) <= asked <= 1.101 * gap


def braced(first_drawn, pickets):
    """A brace through pickets of its own size between two rails, as the command line reads it."""
    lines = {
        "BRACE": [((60, 0, 0), (60 + 185 * (pickets + 1), 0, 100 * (pickets + 1)))],
        "PICKET": [((x, 0, 0), (x, 0, 100 * (pickets + 1))) for x in range(200, 200 + 185 * pickets, 185)],
    }
    names = [first_drawn, *(set(lines) - {first_drawn})]
    return [(name, start, end) for name in names for start, end in lines[name]]


@pytest.mark.parametrize("first_drawn", ["BRACE", "PICKET"])
def test_a_brace_through_pickets_is_told_once_with_its_places(first_drawn, tmp_path, capsys):
    """Whichever of them is drawn first; the cure, typed as it stands, makes pieces that the pickets part."""
    doc = ezdxf.new("R2010", units=4)
    for name, start, end in braced(first_drawn, 7):
        doc.modelspace().add_line(start, end, dxfattribs={"layer": name})
    doc.saveas(tmp_path / "brace.dxf")
    given = [str(tmp_path / "brace.dxf"), "--section", "25x2mm"]
    text = " ".join(run(capsys, "audit", *given).out.split())
    assert text.count("BRACE: it crosses 7 tubes, at ") == 1 and "cross at" not in text
    places = re.findall(r"PICKET-(\d) at \(([0-9.]+), ", text)
    assert [(int(n), float(x)) for n, x in places] == [(i + 1, 200.0 + 185.0 * i) for i in range(7)]
    told = [f for f in run(capsys, "audit", *given, "--json").json["findings"] if f["code"] == "tube-crossing"]
    assert len(told) == 7 and {f["tube"] for f in told} == {"BRACE"}
    assert all("split` with --run 'BRACE' --at" in f["cure"] for f in told)
    ats = re.findall(r"--at ([0-9.]+mm)", text)
    pieces = run(capsys, "split", *given, "--run", "BRACE", *(word for at in ats for word in ("--at", at)), "--json")
    assert len(pieces.json["tubes"][0]["pieces"]) == 8
    assert text.count("PICKET-1") == 1


def test_bends_that_cross_several_tubes_are_not_told_where_to_cut():
    def crossing(i, angle):
        values = {"other": f"T{i}", "own": "BENT", "place": (float(i), 0.0, 0.0), "overlap": 5.0, "along": 0.0}
        return Finding("tube-crossing", tube="BENT", values={**values, "angle": angle})

    (group,) = grouped([crossing(1, 40.0), crossing(2, 61.0)], Display())
    assert message(group) == (
        "BENT: it crosses 2 tubes, at 40.00° to 61.00°: T1 at (1.00, 0.00, 0.00) mm and T2 at (2.00, 0.00, 0.00) mm; "
        "their metal overlaps by 5.00 mm, and neither ends there."
    )
    assert cure(group) == "Cut it or the others in two where they cross, or move them apart."
    assert cure(group[:1]) == "Cut one of them in two where they cross, or move them apart."


def test_what_holds_at_both_ends_is_told_once_and_two_places_of_one_end_are_not():
    def deep(tube, end, x):
        values = {"depth": 52.57, "saw_depth": 38.1, "place": (x, 0.0, 0.0)}
        return Finding("hole-saw-depth", tube=tube, end=end, variant="twice", values=values)

    ends = [deep(tube, end, x) for tube, end, x in (("ONE", "A", 1.0), ("ONE", "B", 2.0), ("TWO", "A", 3.0))]
    (group,) = grouped(ends, Display())
    text = message(group)
    assert text.startswith("ONE, ends A and B; TWO, end A: the cut needs 52.57 mm") or text.startswith(
        "TWO, end A; ONE, ends A and B: the cut needs 52.57 mm"
    )
    assert message(
        ends[:1]
    ) == "ONE, end A: at (1.00, 0.00, 0.00) mm, the cut needs 52.57 mm of depth and the saw has " + (
        "38.10 mm: it takes two cuts, one from each side."
    )
    assert sizes([*ends, deep("ONE", "A", 9.0)], Display()) == [3, 1]
    assert sizes([ends[0], ends[0]], Display()) == [2]


def test_of_many_places_some_are_counted():
    def near(i, size):
        values = {"other": f"T{i}", "place": (float(i), 0.0, 0.0), "size": size}
        return Finding("tube-near", tube="LONG", measured=size, unit="mm", values=values)

    (group,) = grouped([near(i, 0.2 + 0.01 * i) for i in range(20)], Display())
    text = message(group)
    assert text.startswith("LONG: it passes 20 tubes with 0.20 mm to 0.39 mm between them")
    assert "T11 at (11.00, 0.00, 0.00) mm and 8 more (--verbose shows all)" in text and "T12" not in text
    assert message([near(3, 0.2)]).startswith("LONG: it and T3 pass with 0.20 mm between them at (3.00,")


def test_the_cause_stands_before_the_errors_that_come_of_it(tmp_path, capsys):
    """A dimension that is read as a tube has corners that nothing gives a radius, in text and in JSON."""
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_line((0, 0), (1600, 0), dxfattribs={"layer": "RAIL"})
    doc.modelspace().add_lwpolyline([(0, 0), (0, -50), (1600, -50)], dxfattribs={"layer": "DIMENSIONS"})
    doc.saveas(tmp_path / "drawing.dxf")
    for command in ("audit", "table", "setup"):
        given = (command, str(tmp_path / "drawing.dxf"), "--section", "25x2mm")
        text = run(capsys, *given).out
        assert 0 <= text.index("1 curve is read as") < text.index("\nerror")
        codes = [(one["code"], one["severity"]) for one in run(capsys, *given, "--json").json["findings"]]
        assert codes[0] == ("annotation-suspect", "warning") and codes[1][1] == "error"


def test_that_no_die_takes_a_section_stands_before_the_corners_without_a_radius(tmp_path, capsys):
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_lwpolyline([(0, 0), (900, 0), (900, 900)], dxfattribs={"layer": "FRAME"})
    doc.saveas(tmp_path / "frame.dxf")
    given = ("audit", str(tmp_path / "frame.dxf"), "--section", "47x47x2mm", "--json")
    codes = [one["code"] for one in run(capsys, *given).json["findings"] if one["severity"] == "error"]
    assert codes[0] == "no-die" and len(codes) > 1
