"""Findings that say the same are told once: equal sentences of bends and tubes, arcs that were laid flat."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.cli.screens.findings import findings_text
from converter.findings import Finding
from converter.findings.entries import Clause
from converter.findings.wording import grouped, message, severity_counts, tally
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
    cure = Finding("near-gap", measured=gap, unit="mm", values=values).cure_in(Display(unit))
    asked = parse_length(cure.rpartition("--join ")[2].rstrip("."))
    assert gap * (1.0 - 1e-9) <= asked <= 1.101 * gap
