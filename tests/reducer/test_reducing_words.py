"""What the reducer and the assigning tell, word for word, of drawings that make each finding."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import chain
from math import cos, radians, sin

import ezdxf
import numpy as np
import pytest
from copes import straight
from frames import RAIL, RUNG, draw

from converter import Settings, open_job
from converter.findings import CODES, Finding
from converter.importers.registry import ReadOptions
from converter.job.noted_sections import noted_sections
from converter.model.bends import Bend, BendTable, Placement
from converter.model.curve import Arc, Ellipse, Line, Polyline
from converter.model.drawing import Drawing, DrawnCurve
from converter.model.run import Run, reverse_run
from converter.reducer import reduce_drawing
from converter.reducer.chaining import remarks
from converter.reducer.refit import fillet_corners, refit, with_bends_joined
from converter.shop.assign import Assigner
from converter.shop.job_file import job_from_text, unmatched
from converter.shop.model import Die, Shop
from converter.shop.sections import parse_section
from converter.units import Display

#: Codes whose every text is made here; others are told by the audit or the readers, too.
WHOLE = (
    "healed-gap", "near-gap", "duplicate-removed", "speck-removed", "leftover-line", "overlap-kept",
    "joined-across-layers", "junction", "near-tangent", "curve-fitted", "not-line-arc", "corner-filleted",
    "corners-joined", "refit", "fold-back", "run-size", "untrimmed", "section-assumed", "section-noted", "die-choice",
    "demo-shop", "job-unmatched", "left-out-touches",
)  # fmt: skip
TUBE = parse_section("44.45x3mm")


def line(a, b, layer="L", handle=None):
    return DrawnCurve(Line((*a, 0.0), (*b, 0.0)), layer, handle)


def arc(center, start, angle, layer="L"):
    return DrawnCurve(Arc.swept((*center, 0.0), (0.0, 0.0, 1.0), (*start, 0.0), angle), layer)


def star(*degrees, layer="L"):
    return [line((0.0, 0.0), (100 * cos(radians(a)), 100 * sin(radians(a))), layer) for a in degrees]


def polyline(*points):
    return DrawnCurve(Polyline(np.array([(*p, 0.0) for p in points], float)), "L")


def bent(*bends, tail=100.0, layer=None):
    return Run("T1", layer, False, BendTable(tuple(bends), tail), Placement())


def told(*curves):
    runs, findings = reduce_drawing(Drawing("d.dxf", None, "mm", list(curves)))
    return [*findings, *(finding for run in runs for finding in run.findings)]


def specks(*curves):
    return [finding for finding in told(*curves) if finding.code == "speck-removed"]


def chained():
    """Of gaps, doubles, specks, layers and junctions."""
    yield from told(line((0, 0), (100, 0)), line((100.06, 0), (200, 0)))
    yield from told(line((0, 0), (100, 0)), line((100.06, 0), (200, 0)), line((200.07, 0), (300, 0)))
    yield from told(line((0, 0), (100, 0), "FRAME", "2F"), line((101.5, 0), (200, 0), "RAIL", None))
    yield from told(line((0, 0), (100, 0)), line((0, 0), (100, 0)), line((100, 0), (0, 0)))
    yield from told(line((0, 0), (100, 0), None, "A"), line((0, 0), (100, 0), "AXIS"))
    tube = (line((0, 0), (100, 0), "TUBE"), line((100, 0), (100, 60), "TUBE"))
    yield from told(line((-50, 0), (150, 0), "AXIS"), *tube)
    marked = [
        [line((0, y), (100, y)), line((100.01, y), (100.06, y)), line((100.07, y), (100.07, y + 50))] for y in (0, 300)
    ]
    yield from specks(*marked[0])
    yield from specks(*marked[0], *marked[1])
    trimmed = (line((0, 0), (100, 0)), line((100, 0), (100, 1)))
    jogged = (*trimmed, line((100, 1), (200, 1)))
    for curves in (trimmed, jogged):
        yield from told(*curves)
        corners = [(*curves[0].curve.start[:2], 0.0), *(one.curve.end for one in curves)]
        yield from told(DrawnCurve(Polyline(np.array(corners)), "L"))
    yield from told(line((0, 0), (100, 0)), line((0, 50), (1, 50)))
    yield from told(line((0, 0), (100, 0)), *(line((0, 10 * k), (1, 10 * k)) for k in range(1, 6)))
    sketch = [
        line((0, 0), (100, 0), "LINES"),
        arc((100, 50), (100, 0), 90, "ARCS"),
        line((150, 150), (150, 50), "LINES"),
        arc((200, 150), (200, 200), 90, "ARCS"),
    ]
    for count in (2, 3, 4):
        yield from told(*sketch[:count])
    yield from told(line((0, 0), (150, 0), handle="1"), arc((100, 50), (100, 0), 90))
    yield from told(line((0, 0), (150, 0)), line((150, 0), (150, 200)), arc((100, 50), (100, 0), 90))
    yield from told(*star(0, 100, 220))
    yield from told(*star(0, 180, 90))
    yield from told(*star(0, 180, 90, 300))
    yield from told(*star(0, 180, 90, 270, 45))
    yield from told(line((0, 0), (800, 0)), line((300, 0), (300, 900), handle="1"), line((300, 0), (800, 500)))
    yield from told(line((0, 0), (100, 0)), arc((100, 50), (100, 0), 90), line((100, 0), (200, 0)))


def many(monkeypatch):
    """More of a kind than is named one by one."""
    monkeypatch.setattr(remarks, "NAMED", 1)
    stars = [line((1000 * k, 0), (1000 * k + x, y)) for k in range(4) for x, y in ((90, 0), (0, 90), (-50, -50))]
    yield told(*stars)[-1]
    dashes = [line((1000 * k + x, 0), (1000 * k + x + 98.5, 0)) for k in range(4) for x in (0, 100)]
    yield told(*dashes)[-1]


def settled():
    """Of joints, free curves and fits."""
    slip = (100, 50 - (2500 - 0.01) ** 0.5)  # on a circle whose centre stands 0.1 mm short
    yield from told(line((0, 0), (100, 0)), arc((99.9, 50), slip, 60))
    both = arc((99.9, 50), slip, 60)
    x, y, _ = both.curve.end
    way = both.curve.end_direction
    c, s = cos(radians(0.1)), sin(radians(0.1))
    end = (x + 80 * (way[0] * c - way[1] * s), y + 80 * (way[0] * s + way[1] * c))
    yield from told(line((0, 0), (100, 0)), both, line((x, y), end))
    tilt = radians(5)
    yield from told(line((0, 0), (100, 0)), arc((100 - 50 * sin(tilt), 50 * cos(tilt)), (100, 0), 60))
    yield from told(polyline((0, 0), (100, 0), (40, 0)))
    chords = [(100 + 80 * sin(radians(a)), 80 - 80 * cos(radians(a))) for a in np.linspace(0, 90, 61)]
    yield from told(polyline((0, 0), *chords, (180, 200)))
    yield from told(polyline((0, 0), *chords, *((360 - x, 160 - y) for x, y in reversed(chords)), (360, 160)))
    yield told(DrawnCurve(Ellipse((0, 0, 0), (100, 0, 0), (0, 50, 0), 0, 360), "L"))[0]
    yield told(DrawnCurve(Ellipse((0, 0, 0), (100, 0, 0), (0, 93, 0), 0, 60), "L"))[0]
    right, left = (
        DrawnCurve(Ellipse((x, 0, 0), (100, 0, 0), (0, 50, 0), a, a + 90), "L") for x, a in ((0, 0), (-500, 90))
    )
    yield told(right, line((0, 50), (-500, 50)), left)[0]
    yield from told(line((0, 0), (3e6, 0)))
    yield from told(line((0, 0), (0.08, 0)))


def refitted():
    """Of corners and radii."""
    corner, bend = Bend(50, 0, 90, None, corner=True), Bend(100, 0, 90, 60.0)
    yield from fillet_corners(bent(corner), 30.0).findings
    yield from fillet_corners(bent(corner, corner, tail=10.0), 40.0).findings
    yield from fillet_corners(bent(corner, tail=60.0), 80.0).findings
    beside = Bend(80, 0, 90, None, corner=True)
    yield from with_bends_joined(fillet_corners(bent(beside, beside, tail=80.0), 40.0)).findings
    hair = replace(beside, feed=79.6)
    yield from with_bends_joined(fillet_corners(bent(beside, hair, tail=80.0), 40.0)).findings
    row = Bend(0.0, 0, 90, 60.0)
    yield from with_bends_joined(bent(bend, row, tail=60.0)).findings
    yield from refit(bent(bend), 70.0)[0].findings
    yield from refit(bent(bend, bend), 70.0)[0].findings


def assigned():
    """Of sections, dies and the job file."""
    dies = [Die(name, "round", 44.45, clr) for name, clr in (("A", 100.0), ("B", 150.0))]
    other = Die("flat", "rectangular", 50.0, 200.0, 30.0)
    shop = Shop("shed", (*dies, other), source="s.toml")
    bend = Bend(500, 0, 90, 120.0)
    for tube in (
        *Assigner(Shop("shed", (dies[0],))).tubes([bent(bend, layer="TUBE_1.75x0.120in")]),
        *Assigner(shop, default_section=TUBE).tubes([bent(bend)]),
        *Assigner(shop, job_from_text('[default]\ndie = "flat"\n', "j.toml"), TUBE).tubes([bent(bend)]),
    ):
        yield from tube.findings
    bare = bent(bend, layer="TUBE_38x2.5"), bent(bend, layer="RAIL")
    tubes = Assigner(Shop("shed", (dies[0],))).tubes(bare)
    for notes in (("TUBE: 1.5 OD x .095 WALL", "2x45"), ("38x2", "50x2", "50x2 mm", "60x2", "1-1/2 sch 40", "70x2")):
        yield from noted_sections(Drawing("d.dxf", notes=notes), tubes)
    text = '[run.R1]\nsection = "25x2mm"\n[layer.LEFT]\nsection = "25x2mm"\n'
    yield from unmatched(job_from_text(text, "j.toml"), [], ["FRAM"])


def left_out(folder):
    """Of what was left out on request and touches; and of the demo shop."""
    settings = Settings(read=ReadOptions(skip_layers=("RAIL",)), sections=("RAIL=44.45x3.048mm", "RUNG=38.1x2.413mm"))
    across, onward = ((-300.0, 0.0, 0.0), (300.0, 0.0, 0.0)), ((0.0, 0.0, -20.0), (0.0, 0.0, -300.0))
    saddle = ((RAIL.od / 2.0) ** 2 - (RUNG.od / 2.0) ** 2) ** 0.5
    paths = []
    for rail, z in ((across, 0.0), (across, 20.5), (across, saddle), (onward, 0.0)):
        tubes = [straight("RAIL", *rail, RAIL), straight("RUNG", (0.0, 0.0, z), (0.0, 0.0, 300.0), RUNG)]
        paths.append(draw(tubes, folder / f"{len(paths)}.dxf"))
    doc = ezdxf.new("R2010", units=4)
    doc.modelspace().add_line((0, 0), (0, 300), dxfattribs={"layer": "RUNG"})
    doc.modelspace().add_arc((50, 0), 50, 180, 270, dxfattribs={"layer": "RAIL"})
    doc.saveas(folder / "arc.dxf")
    for path in (*paths, folder / "arc.dxf"):
        yield from [f for f in open_job(str(path), settings).findings if f.code == "left-out-touches"]
    yield from [f for f in open_job(str(paths[0])).findings if f.code == "demo-shop"]


CHAINED = (
    "A gap of 0.06 mm at (100.06, 0.00, 0.00) mm was closed: the join tolerance is 0.1 mm.",
    "2 gaps, the largest of 0.07 mm at (200.07, 0.00, 0.00) mm, were closed: the join tolerance is 0.1 mm.",
    "Two ends nearly meet: 1.5 mm apart at (100.00, 0.00, 0.00) mm (layer 'FRAME', handle 2F) and (101.50, 0.00, "
    "0.00) mm (layer 'RAIL'); the join tolerance is 0.1 mm, so they stay apart.",
    "2 curves drawn twice or overlapping dropped out, altogether 200.00 mm (first: layer 'L').",
    "1 curve lying on curves of no layer dropped out, altogether 100.00 mm (first: layer 'AXIS').",
    "Curves of the layers 'AXIS' and 'TUBE' lie on one another over 100.00 mm (1 place, first: layer 'AXIS'); "
    "neither covers the other, so both are read as tubes.",
    "A mark smaller than the join tolerance of 0.1 mm was left out at (100.01, 0.00, 0.00) mm.",
    "2 marks smaller than the join tolerance of 0.1 mm were left out, first at (100.01, 0.00, 0.00) mm.",
    "L, bend 1, end B: the straight of 1 mm at that end turns off by 90.00° in a sharp corner at "
    "(100.00, 0.00, 0.00) mm, as a line does that trimming or snapping left.",
    "L, bend 1: the straight of 1 mm between it and bend 2 turns off by 90.00° in a sharp corner at "
    "(100.00, 0.00, 0.00) mm, as a line does that trimming or snapping left.",
    "L-2: it is 1 mm long, at (0.00, 50.00, 0.00) mm, as lines are that trimming or snapping left.",
    "L-2: it is no longer than 1 mm, as lines are that trimming or snapping left, and dashes of a line taken apart.",
    "L-3: it is no longer than 1 mm, as lines are that trimming or snapping left, and dashes of a line taken apart.",
    "L-4: it is no longer than 1 mm, as lines are that trimming or snapping left, and dashes of a line taken apart.",
    "L-5: it is no longer than 1 mm, as lines are that trimming or snapping left, and dashes of a line taken apart.",
    "L-6: it is no longer than 1 mm, as lines are that trimming or snapping left, and dashes of a line taken apart.",
    "A tube changes layer once, at (100.00, 0.00, 0.00) mm: its curves continue tangent over the layers 'LINES' "
    "and 'ARCS' and were joined.",
    "A tube changes layer twice, first at (100.00, 0.00, 0.00) mm: its curves continue tangent over the layers "
    "'LINES' and 'ARCS' and were joined.",
    "A tube changes layer 3 times, first at (100.00, 0.00, 0.00) mm: its curves continue tangent over the layers "
    "'LINES' and 'ARCS' and were joined.",
    "An end at (100.00, 0.00, 0.00) mm (layer 'L') runs along into another curve (layer 'L', handle 1) that goes on "
    "past it, as where lines were not trimmed to an arc: one tube is then read as several, of wrong lengths.",
    "2 ends, the first at (100.00, 0.00, 0.00) mm (layer 'L'), run along into other curves (layer 'L') that go on past "
    "them, as where lines were not trimmed to arcs: one tube is then read as several, of wrong lengths.",
    "3 ends meet at (0.00, 0.00, 0.00) mm on layer 'L': no two continue tangent, so all end there.",
    "3 ends meet at (0.00, 0.00, 0.00) mm on layer 'L': one tangent pair goes through, the other ends there.",
    "4 ends meet at (0.00, 0.00, 0.00) mm on layer 'L': one tangent pair goes through, the other 2 end there.",
    "5 ends meet at (0.00, 0.00, 0.00) mm on layer 'L': 2 tangent pairs go through, the other ends there.",
    "Two ends meet at (300.00, 0.00, 0.00) mm on layer 'L', handle 1, on another line (layer 'L'): both end "
    "there, and no bend is made of them.",
    "3 ends meet at (100.00, 0.00, 0.00) mm on layer 'L': one tangent pair goes through, the other ends there "
    "(more than one pairing was tangent).",
    "An end at (100.00, 0.00, 0.00) mm (layer 'L') runs along into another curve (layer 'L') that goes on past it, as "
    "where lines were not trimmed to an arc: one tube is then read as several, of wrong lengths.",
)
MANY = (
    "3 more places like these were found: in each, ends meet and tubes end there.",
    "3 more places like these were found: check the unit of the drawing, or the join tolerance.",
)
SETTLED = (
    "L, bend 1: a joint missed tangency by 0.115° and was smoothed.",
    "L, bend 1: 2 joints of the tube missed tangency, most of all there, by 0.115°, and were smoothed.",
    "L, bend 1: a straight and an arc meet there at 5.00°; up to 0.2° counts as smooth.",
    "L, bend 1: the line doubles back on itself there by 180.00°.",
    "L: 1 bend was fitted, tangent to the straights, to what was drawn as 62 chords; the table stays within 0.0000 mm "
    "of it.",
    "L: 2 bends were fitted, tangent to the straights, to what was drawn as 123 chords; the table stays within "
    "0.0000 mm of it.",
    "L, bend 1: the bends from this one to bend 17 stand for a curve that is not made of straights and arcs; the "
    "best single bend would stray 35.27 mm from it, the tolerance is 0.0500 mm.",
    "L, bend 1: this bend and bend 2 stand for a curve that is not made of straights and arcs; the best single "
    "bend would stray 0.17 mm from it, the tolerance is 0.0500 mm.",
    "L, bend 1: the bends from this one to bend 8 stand for a curve that is not made of straights and arcs; the best "
    "single bend would stray 3.42 mm from it, the tolerance is 0.0500 mm.",
    "L: the numbers read as mm make it 3e+06 mm long; no tube is longer than 1e+06 mm.",
    "L: the numbers read as mm make it 0.08 mm long; read as m it would be 80 mm; no tube is shorter than 0.1 mm.",
)
REFITTED = (
    "T1: 1 sharp corner got a radius of 30.00 mm; the centerline passes up to 12.43 mm inside the corner.",
    "T1: 2 sharp corners got a radius of 40.00 mm; the centerline passes up to 16.57 mm inside the corners.",
    "T1, bend 2: it and bend 1 would overlap by 30.00 mm at these radii.",
    "T1, bend 2, end B: it would reach 30.00 mm past that end at these radii.",
    "T1: 1 sharp corner got a radius of 80.00 mm; the centerline passes up to 33.14 mm inside the corner.",
    "T1, bend 1, end A: it would reach 30.00 mm past that end at these radii.",
    "T1, bend 1, end B: it would reach 20.00 mm past that end at these radii.",
    "T1, bend 1: 2 sharp corners leave no straight between them at a radius of 40.00 mm: they are one bend of 180.00°.",
    "T1, bend 1: 2 bends at a radius of 40.00 mm lack 0.4 mm of straight between them: they are one bend of 180.00°, "
    "whose legs come out so much further apart than drawn.",
    "T1, bend 1: 2 bends of one plane and a radius of 60.00 mm have no straight between them: they are one bend of "
    "180.00°.",
    "T1: 1 bend was changed to a radius of 70.00 mm (refit); the centerline moves by up to 4.14 mm.",
    "T1: 2 bends were changed to a radius of 70.00 mm (refit); the centerline moves by up to 4.14 mm.",
)
ASSIGNED = (
    "T1: the section, 44.45 x 3.05 mm tube, was read from the name of its layer.",
    "T1: 2 dies take the section, 'A' (100.00 mm) and 'B' (150.00 mm), and the drawing does not settle which; "
    "'A' was taken.",
    "T1: the job names the die 'flat' (50.00 x 30.00 mm rectangular), which does not take the section, 44.45 x "
    "3.00 mm tube.",
    "T1: the name of its layer, 'TUBE_38x2.5', may tell its section, but names no unit.",
    "A note in the drawing says 'TUBE: 1.5 OD x .095 WALL', which may be the section of the tubes that have none.",
    "Notes in the drawing say '38x2', '50x2', '60x2' and 2 more, which may be the sections of the tubes that have "
    "none.",
    "The section option names layer 'FRAM', which the drawing does not have.",
    "The job file names the tube 'R1', which the drawing does not have.",
    "The job file names layer 'LEFT', which the drawing does not have.",
)
LEFT_OUT = (
    "RUNG, end A: the end touches what was left out (LINE on layer 'RAIL', …); with it, the end is cut to fit "
    "RAIL, and the cut length is 11.45 mm less there.",
    "RUNG, end A: the end touches what was left out (LINE on layer 'RAIL', …); with it, the end is cut to fit "
    "RAIL, and the cut length is 9.05 mm greater there.",
    "RUNG, end A: the end touches what was left out (LINE on layer 'RAIL', …); with it, the end is cut to fit RAIL.",
    "RUNG, end A: the end touches what was left out (ARC on layer 'RAIL', …); together they would be other tubes.",
    "No shop file was named, so the dies are those of the invented demo shop.",
)


def told_by(make):
    """Its sentences, each once; why something was left out is the reader's."""
    sentences = [re.sub("left out by the pattern '[A-Z]+'", "…", finding.message) for finding in make]
    return tuple(dict.fromkeys(sentences))


@pytest.fixture(scope="module")
def groups(tmp_path_factory):
    """Every finding, by what makes it; worked out once."""
    with pytest.MonkeyPatch.context() as patch:
        makers = {"chained": chained(), "settled": settled(), "refitted": refitted(), "assigned": assigned()}
        makers |= {"left out": left_out(tmp_path_factory.mktemp("left-out")), "many": many(patch)}
        return {name: tuple(make) for name, make in makers.items()}


@pytest.fixture(scope="module")
def made(groups):
    return tuple(chain.from_iterable(groups.values()))


def test_words_in_millimetres(groups):
    assert told_by(groups["chained"]) == CHAINED
    assert told_by(groups["settled"]) == SETTLED
    assert told_by(groups["refitted"]) == REFITTED
    assert told_by(groups["assigned"]) == ASSIGNED
    assert told_by(groups["left out"]) == LEFT_OUT
    assert told_by(groups["many"]) == MANY


def test_words_in_inches(made):
    inches = Display("in")
    for finding in made:
        metric, imperial = finding.message, finding.message_in(inches)
        assert " mm" not in imperial.replace("read as mm", "")
        assert re.search(r"\d\)? in\b", imperial) or " mm" not in metric
        typed = re.compile(r"--join [0-9.]+(mm|in)")
        assert typed.sub("", finding.cure_in(inches)) == typed.sub("", finding.cure_in())
    sentences = {finding.message_in(inches) for finding in made}
    assert {
        "2 curves drawn twice or overlapping dropped out, altogether 7.874 in (first: layer 'L').",
        "T1: 2 bends were changed to a radius of 2.756 in (refit); the centerline moves by up to 0.163 in.",
        "T1: the section, 1.750 x 0.120 in tube, was read from the name of its layer.",
        "L: the numbers read as mm make it 0.00315 in long; read as m it would be 3.15 in; "
        "no tube is shorter than 0.00394 in.",
    } <= sentences


def test_every_text_is_made(made):
    """Of the codes that no other part of the program tells."""
    texts = {(code, variant) for code in WHOLE for variant in CODES[code].says}
    # a joint is smoothed only beside a bend, so that there is one to name; of bars the cutting list tells
    others = {("near-tangent", ""), ("demo-shop", "bars")}
    assert texts - {(finding.code, finding.variant) for finding in made} == others


def test_what_would_put_it_right(groups):
    some = (*groups["chained"], *groups["settled"], *groups["assigned"])
    cures = {(finding.code, finding.variant): finding.cure_in() for finding in some}
    wanted = re.compile(r"Close the gap in the drawing, or have gaps of that size closed: --join [0-9.]+mm\.")
    assert wanted.fullmatch(cures["near-gap", ""])
    assert cures["overlap-kept", ""] == "Leave out the layer that holds construction lines."
    assert cures["fold-back", ""] == "Delete the part that was drawn twice, or draw the bend as an arc."
    assert cures["job-unmatched", "job run"] == "Check the spelling in j.toml."
    assert cures["job-unmatched", "option layer"] == "Check the spelling."
    assert cures["junction", ""] == cures["healed-gap", ""] == ""


def test_a_run_turned_end_for_end_names_the_same_bends():
    """A free curve of three bends between two bends of ends, and an end: what is told keeps to the metal."""
    finding = Finding(
        "not-line-arc", tube="T1", bend=2, values={"other_bend": 4, "away": 1.0, "limit": 0.05, "coil": ""}
    )
    end = Finding(
        "negative-straight", tube="T1", variant="end", bend=1, end="A", values={"straight": -2.0, "lacking": 2.0}
    )
    drawn = replace(bent(*[Bend(100, 0, 30, 60.0)] * 6), findings=(finding, end))
    curve, straight_end = reverse_run(drawn).findings
    assert (curve.bend, dict(curve.values)["other_bend"]) == (5, 3)
    assert curve.message.startswith("T1, bend 5: the bends from this one to bend 3 stand for a curve")
    assert straight_end.message.startswith("T1, bend 6, end B: it would reach 2.00 mm past that end")
    assert reverse_run(reverse_run(drawn)).findings == drawn.findings
