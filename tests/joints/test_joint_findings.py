"""The sentences on joints, copes and hole saws: each as a frame that deserves it brings it about."""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin

import pytest
from copes import straight
from frames import RAIL, RUNG, hoop, ladder_beside
from tubes import run_of, tube_of

from converter.findings import CODES
from converter.joints.cope import cope_frame
from converter.joints.finding.joints import survey_frame
from converter.joints.in_the_way.clashes import clash_findings, find_clashes
from converter.model.bends import Placement
from converter.model.drawing import DrawnEnd
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.shop.job_file import job_from_text
from converter.shop.model import HoleSaw, Shop
from converter.tolerances import DEFAULT
from converter.units import Display

CHORD = straight("RAIL", (0, 0, 0), (1000, 0, 0), RAIL)
CHORD_IN_TWO = [straight("R1", (-500, 0, 0), (300, 0, 0), RAIL), straight("R2", (300, 0, 0), (900, 0, 0), RAIL)]
SQUARE = Section("square", 40.0, 3.0, corner=6.0)
BOX = Section("square", 50.0, 3.0, corner=6.0)
BENT = tube_of(run_of([(200.0, 0.0, 90.0, 114.3)], 200.0, name="BENT"), RAIL)
ON_BEND = BENT.run.centerline[1].point(45.0)
INWARD = tuple((c - p) / 114.3 for p, c in zip(ON_BEND, BENT.run.centerline[1].center, strict=True))
U = tube_of(run_of([(200.0, 0.0, 150.0, 100.0)], 200.0, name="U"), RAIL)
CORNER = (straight("A", (0, 0, 0), (500, 0, 0), RAIL), straight("B", (0, 0, 0), (0, 500, 0), RAIL))
TWINS = (
    straight("A", (0, 0, 0), (500, 0, 0), RAIL),
    straight("B", (0, 0, 0), (900, 0, 0), RAIL),
    straight("C", (0, 0, 0), (0, 900, 0), RAIL),
)
FOLD = run_of([(200.0, 0.0, 90.0, 100.0), (-20.0, 0.0, 90.0, 100.0)], 200.0, name="FOLD")


def rung(a=(300, 0, 0), b=(300, 400, 0), section=RUNG, name="RUNG"):
    return straight(name, a, b, section)


def outlined(end):
    """A rung that meets nothing, whose end A was drawn so."""
    tube = rung((300, 900, 0), (300, 1300, 0))
    return replace(tube, run=replace(tube.run, metal=(end.past, 0.0), drawn_ends=(end, None)))


def lean(theta):
    a = radians(theta)
    return rung((300, 0, 0), (300 + 800 * cos(a), 800 * sin(a), 0))


def bent_rung(theta, first):
    a = radians(theta)
    place = Placement((300, 0, 0), (cos(a), sin(a), 0), (0, 0, 1))
    return tube_of(run_of([(first, 0.0, 40.0, 114.3)], 300.0, place, name="RUNG"), RUNG)


def unplaced(name):
    made = run_of([], 300.0, name=name)
    return Tube(Run(name, None, False, made.table, made.placement, placed=False), RAIL)


def twin(aside, section):
    """One of two rails in parallel with the chord."""
    return straight(f"R{aside:g}", (0, 0, aside), (1000, 0, aside), section)


def on_edge():
    turned = Placement((300, 0, 0), (0, 0, 1), (sin(radians(45.0)), cos(radians(45.0)), 0))
    return tube_of(run_of([], 400.0, turned, name="RUNG"), BOX)


def along(tube, letter, to):
    """From a place on the bend of a tube to another there."""
    arc = tube.run.centerline[1]
    return rung(arc.point(letter), arc.point(to))


def star(count):
    turns = [radians(360.0 * i / count) for i in range(count)]
    return [straight(f"S{i}", (0, 0, 0), (600 * cos(t), 600 * sin(t), 0), RUNG) for i, t in enumerate(turns)]


def asks(**keys):
    """A ``[[joint]]`` table of a job file."""
    return "[[joint]]\n" + "".join(f"{key} = {value!r}\n" for key, value in keys.items())


def plane(*normal):
    return 'units = "mm"\n' + asks(tube="RUNG", end="B", kind="plane", point=[0, 400, 0], normal=list(normal))


def saws(size, depth):
    return Shop("Yard", (), hole_saws=(HoleSaw(size, depth),))


AT = "at (300.00, 0.00, 0.00) mm,"
#: Along y, then up; the bend passes 7.32 mm off the x axis.
UP_AND_OVER = Placement((500.0, -270.711, -19.264), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0))
BEND = "at (280.82, 33.48, 0.00) mm,"

#: (code, variant, cure): what brings it about, and what is said of it in mm.
SCENES = {
    ("joint-skipped", "section"): (
        [CHORD, straight("BARE", (0, 50, 0), (0, 500, 0), None)],
        "BARE: no joints were looked for, since no section is known. "
        "Name the section: with --section, in a job file, or in the layer's name.",
    ),
    ("joint-skipped", "no length"): (
        [CHORD, tube_of(run_of([], 0.0, name="DOT"), RAIL)],
        "DOT: no joints were looked for, since the tube has no length. Put the bends right first.",
    ),
    ("joint-skipped", "overlap"): (
        [CHORD, tube_of(FOLD, SQUARE)],
        "FOLD: no joints were looked for, since its bends overlap by 20.00 mm. Put the bends right first.",
    ),
    ("joint-skipped", "folds"): (  # the ball on a post, drawn as a circle
        [CHORD, tube_of(run_of([(0.0, 0.0, 180.0, 20.0)] * 2, 0.0, name="BALL", closed=True), SQUARE)],
        "BALL: no joints were looked for, since a bend of 20.00 mm is not above half the tube (20.00 mm). "
        "Put the bends right first.",
    ),
    ("joint-unplaced", "one"): (
        [CHORD, unplaced("rail-1")],
        "The file gives rail-1 no place, so no joints were looked for there. "
        "Give the start and direction of each tube in the table, or read the drawing itself.",
    ),
    ("joint-unplaced", "several"): (
        [unplaced("rail-1"), unplaced("rail-2")],
        "The file gives 2 tubes, rail-1 the first, no place, so no joints were looked for there. "
        "Give the start and direction of each tube in the table, or read the drawing itself.",
    ),
    ("joint-crowded", ""): (
        star(49),
        "S0: 49 ends meet at (0.00, 0.00, 0.00) mm (S0, S1, S2 and 46 more), more than the 48 that are cut to one "
        "another at one place: they are left as they are drawn, and their overlaps are not told. "
        "Check where the tubes begin: draw each from its own place, or end them on a hub.",
    ),
    ("joint-drawn", "outside"): (
        [CHORD, rung((300, RAIL.od / 2.0 + 1.5, 0))],
        f"RUNG, end A: {AT} its centerline stops at the outside of RAIL (but for 1.50 mm short), 23.73 mm before that "
        "tube's centerline; the cut is made to fit all the same.",
    ),
    ("joint-drawn", "short"): (
        [CHORD, rung((300, 8, 0))],
        f"RUNG, end A: {AT} its centerline stops 8.00 mm short of the centerline of RAIL; the cut is made to fit all "
        "the same.",
    ),
    ("joint-drawn", "long"): (
        [CHORD, rung((300, -8, 0))],
        f"RUNG, end A: {AT} its centerline runs 8.00 mm past the centerline of RAIL; the cut is made to fit all the "
        "same.",
    ),
    ("joint-drawn", "outside of several"): (
        [*CHORD_IN_TWO, rung((300, RAIL.od / 2.0 + 1.5, 0))],
        f"RUNG, end A: {AT} its centerline stops at the outsides of R1 and R2 (but for 1.50 mm short), 23.73 mm before "
        "their centerlines; the cut is made to fit all the same.",
    ),
    ("joint-drawn", "short of several"): (
        [*CHORD_IN_TWO, rung((300, 8, 0))],
        f"RUNG, end A: {AT} its centerline stops 8.00 mm short of the centerlines of R1 and R2; the cut is made to fit "
        "all the same.",
    ),
    ("joint-drawn", "long of several"): (
        [*CHORD_IN_TWO, rung((300, -8, 0))],
        f"RUNG, end A: {AT} its centerline runs 8.00 mm past the centerlines of R1 and R2; the cut is made to fit all "
        "the same.",
    ),
    ("joint-as-drawn", ""): (
        [CHORD, outlined(DrawnEnd((-0.6, -0.8, 0.0), 12.0))],
        "RUNG, end A: nothing that it is cut to was found there, so it is cut along the slant that its outline ends "
        "with. Where it meets a tube, draw that in the same place and plane.",
    ),
    ("joint-as-drawn", "shape"): (
        [CHORD, outlined(DrawnEnd(None, 12.0))],
        "RUNG, end A: nothing that it is cut to was found there, and its outline does not end in one line: the stick "
        "reaches as far as that does. Cut the end as it is drawn; where it meets a tube, draw that in the same place "
        "and plane.",
    ),
    ("joint-missed", ""): (
        [CHORD, rung((300, RAIL.od / 2.0 + 10.0, 0))],
        f"RUNG, end A: {AT} it stops 10.00 mm short of the outside of RAIL, so it is not joined to it. "
        "Draw the end to the other tube's centerline, or raise --near.",
    ),
    ("joint-beside", ""): (
        [CHORD, rung((300, 0, 27), (300, 400, 27))],
        f"RUNG, end A: {AT} its axis passes 27.00 mm from that of RAIL, beside the tube, and only part of it would "
        "touch; it is not cut. Move the end so that its axis runs into the other tube.",
    ),
    ("joint-parallel", "along"): (
        [CHORD, rung((300, 5, 0), (1500, 5, 0))],
        "RAIL, end B: at (1000.00, 5.00, 0.00) mm, it lies along RUNG, 5.00 mm from its centerline, so their metal "
        "overlaps and no cut joins them. Move the tubes apart, or draw them at an angle.",
    ),
    ("joint-parallel", "inside"): (
        [U, along(U, 40.0, 115.0)],
        "RUNG, end A: at (264.28, 23.40, 0.00) mm, it meets the bend of U at 37.50° and its axis never leaves the "
        "metal of that bend, so no cut joins them. Turn it so that it leaves the bend, or end it elsewhere.",
    ),
    ("joint-parallel", "mate"): (
        TWINS, asks(tube="A", end="A", cope_to=["C", "B"]),
        "A, end A: at (0.00, 0.00, 0.00) mm, the tube and the one it is cut to are parallel, so no cut joins them. "
        "Draw the tubes at an angle, or say what the end is cut to in the job file.",
    ),
    ("joint-parallel", "line"): (
        [TWINS[0], straight("B", (500, 0, 0), (900, 0, 0), RUNG)],
        "B, end A: at (500.00, 0.00, 0.00) mm, the tube and what it ends on lie in one line, so no cut joins them. "
        "Draw the tubes at an angle, or say what the end is cut to in the job file.",
    ),
    ("joint-parallel", "mitre"): (
        TWINS, asks(tube="A", end="A", kind="mitre", cope_to=["B"]),
        "A, end A: at (0.00, 0.00, 0.00) mm, the two tubes lie on one another, so no mitre parts them. "
        "Draw the tubes at an angle, or say what the end is cut to in the job file.",
    ),
    ("joint-parallel", "plane"): (
        [CHORD, rung()], plane(1, 0, 0),
        "RUNG, end B: at (300.00, 400.00, 0.00) mm, the tube is parallel to the plane, so it never ends on it. "
        "Draw the tubes at an angle, or say what the end is cut to in the job file.",
    ),
    ("joint-coaxial", ""): (
        [CHORD, rung((300, 0, 0), (1500, 0, 0))],
        "RAIL, end B: at (1000.00, 0.00, 0.00) mm, it lies in line with RUNG, so no cut joins them. "
        "Draw one tube where they overlap, or end to end with a sleeve.",
    ),
    ("joint-angle", "mate"): (
        [CHORD, lean(10.0)],
        f"RUNG, end A: {AT} it meets RAIL at 10.00°, too shallow to cut and weld (the least is 15°). "
        "Draw it steeper, or end it on something else.",
    ),
    ("joint-angle", "plane"): (
        [CHORD, rung()], plane(1, 0.1, 0),
        "RUNG, end B: at (300.00, -2600.00, 0.00) mm, it meets the plane at 5.71°, too shallow to cut and weld (the "
        "least is 15°). Draw it steeper, or end it on something else.",
    ),
    ("joint-angle", "further"): (
        [CHORD, rung(name="POST"), rung((300, 0, 0), (300, 900 * cos(radians(6.0)), 900 * sin(radians(6.0))))],
        f"RUNG, end A: {AT} it is cut to POST too, which it meets at 6.00°, too shallow to cut and weld (the least is "
        "15°). Draw them further apart, or end one of them elsewhere.",
    ),
    ("joint-butt", ""): (
        [TWINS[0], straight("B", (500, 0, 0), (900, 0, 0), RAIL)],
        "A, end B: at (500.00, 0.00, 0.00) mm, it and B go on in one line; both ends are cut square.",
    ),
    ("joint-ring", ""): (
        CORNER, asks(tube="A", cope_to=["B"]) + asks(tube="B", cope_to=["A"]),
        "A: at (0.00, 0.00, 0.00) mm, the job file cuts each of A end A and B end A to the next, and the last to the "
        "first: in such a ring nothing stands for the first one to be cut to. Take one of them out of the ring.",
    ),
    ("joint-unmatched", "nowhere"): (
        [CHORD, rung()], 'units = "mm"\n' + asks(tube="RUNG", end="B", at=[0, 0, 900]),
        "The job file's joint[1] speaks of 'RUNG' end B near (0.00, 0.00, 900.00) mm, which is not in the drawing. "
        "Check the name and the place.",
    ),
    ("joint-unmatched", "mate", "mate"): (
        [CHORD, rung()], asks(tube="RUNG", end="A", cope_to=["LEG"]),
        f"RUNG, end A: {AT} the job file cuts it to 'LEG', which it does not meet there. "
        "Check the name; it meets RAIL there.",
    ),
    ("joint-unmatched", "mate", "nothing met"): (
        [CHORD, rung()], asks(tube="RUNG", end="B", cope_to=["LEG"]),
        "RUNG, end B: at (300.00, 400.00, 0.00) mm, the job file cuts it to 'LEG', which it does not meet there. "
        "Check the name; it meets no other tube there.",
    ),
    ("joint-unmatched", "mitre"): (
        [CHORD, rung()], asks(tube="RUNG", end="B", kind="mitre"),
        "RUNG, end B: at (300.00, 400.00, 0.00) mm, the job file mitres it, but no other end meets it there. "
        "Leave the kind out, or draw the ends so that they meet.",
    ),
    ("joint-unmatched", "square"): (
        [CHORD, rung()], asks(tube="RUNG", end="A", kind="square"),
        f"RUNG, end A: {AT} the job file cuts it square, but it does not land squarely on a flat of RAIL alone, so it "
        "is coped. Leave the kind out, or draw it square to a flat that is as wide as the tube.",
    ),
    ("cope-open", ""): (
        [straight("RAIL", (0, 0, 0), (1000, 0, 0), SQUARE), rung(section=SQUARE)],
        "RUNG, end A: it is sawn to the flat of RAIL, which leaves up to 6.00 mm open at the corner radii of "
        "RAIL. "
        'Fill it in welding, or have the end coped around the radii: --on-flat cope, or kind = "saddle" (job file).',
    ),
    ("mate-smaller", ""): (
        [CHORD, rung(section=Section("round", 60.3, 3.0))],
        f"RUNG, end A: {AT} RAIL (44.45 mm) is smaller than the tube (60.30 mm), so 47% of the end passes beside it; "
        "there the cut stops level with the centerline of RAIL. "
        "Cut RAIL to RUNG instead (job file), or flatten the end.",
    ),
    ("cope-partial", "off"): (
        [CHORD, rung((300, 0, 10), (300, 400, 10))],
        f"RUNG, end A: {AT} it sits 10.00 mm off the centerline of RAIL, so 29% of the end passes beside it, by up to "
        "6.82 mm; there the cut stops level with that centerline. Move it nearer to the middle.",
    ),
    ("cope-partial", "turned"): (
        [straight("RAIL", (0, 0, 0), (1000, 0, 0), Section("round", 60.3, 3.0)), on_edge()],
        f"RUNG, end A: {AT} turned as it is, it is wider across than RAIL, so 8% of the end passes beside it, by up "
        "to 2.72 mm; there the cut stops level with that centerline. Move it nearer to the middle.",
    ),
    ("cope-partial", "between"): (
        [twin(-24.0, RAIL), twin(24.0, RAIL), rung()],
        "RUNG, end A: at (300.00, 0.00, -24.00) mm, 8% of the end passes beside or between the tubes it is cut to "
        "(R-24 and R24); there the cut stops level with the centerline of R-24. Move it, or move the tubes together.",
    ),
    ("cope-partial", "flats"): (
        [twin(-30.0, BOX), twin(30.0, BOX), rung(section=BOX)],
        "RUNG, end A: at (300.00, 0.00, -30.00) mm, it is cut square on the flats of R-30 and R30, and 12% of the end "
        "comes down between them. Fill the gap in welding, or move the tubes together.",
    ),
    ("cope-partial", "curves"): (
        [BENT, rung(ON_BEND, tuple(p + 90.0 * v for p, v in zip(ON_BEND, INWARD, strict=True)), RAIL)],
        f"RUNG, end A: {BEND} BENT curves away under it, so 8% of the end passes beside it; there the cut stops where "
        "it passes closest. End it on a straight, or use a smaller tube.",
    ),
    ("cope-again", ""): (
        [U, along(U, 40.0, 145.0)],
        "RUNG, end A: at (264.28, 23.40, 0.00) mm, behind the cut, it runs into U again. "
        "Turn it so that it leaves the bend, or end it elsewhere.",
    ),
    ("mate-ends", ""): (
        [TWINS[0], straight("B", (0, 0, 0), (0, 500, 0), RUNG)],
        "B, end A: at (0.00, 0.00, 0.00) mm, A ends 19.05 mm too soon at its end A to carry the whole cut. "
        "Leave A so much longer at that end, or mitre the two (job file).",
    ),
    ("end-eaten", "straight"): (
        [CHORD, bent_rung(90.0, 10.0)],
        f"RUNG, end A: {AT} the cut takes 11.45 mm off all around, and the straight there is only 10.00 mm long, so "
        "nothing of the end is left. Lengthen the tube, or cut it to fewer tubes.",
    ),
    ("end-eaten", "tube"): (
        [CHORD, rung(b=(300, 10, 0))],
        f"RUNG, end A: {AT} the cut takes 11.45 mm off all around, and the tube there is only 10.00 mm long, so "
        "nothing of the end is left. Lengthen the tube, or cut it to fewer tubes.",
    ),
    ("end-eaten", "one side"): (
        [CHORD, rung(b=(300, 15, 0))],
        f"RUNG, end A: {AT} the cut reaches 22.23 mm back, past the 15.00 mm of the tube there. "
        "Leave a longer straight at that end.",
    ),
    ("cope-into-bend", ""): (
        [CHORD, bent_rung(20.0, 40.0)],
        f"RUNG, end A: {AT} the cut reaches 117.32 mm back, past the 40.00 mm of the straight there, into the bend, "
        "where the template no longer fits. Leave a longer straight at that end.",
    ),
    ("tube-through", ""): (
        [CHORD, rung((300, -200, 2), (300, 400, 2))],
        "RAIL: RUNG passes through it at (300.00, 0.00, 0.00) mm, at 90.00°, 2.00 mm off its centerline: it needs a "
        "hole there.",
    ),
    ("tube-crossing", ""): (  # in its bend, where nothing is cut
        [CHORD, tube_of(run_of([(200.0, 0.0, 90.0, 100.0)], 200.0, UP_AND_OVER, name="BENT"), RUNG)],
        "BENT: it and RAIL cross at (500.00, 0.00, 0.00) mm, at 90.00°: their metal overlaps by up to 33.95 mm, and "
        "neither ends there. Cut one of them in two where they cross, or move them apart.",
    ),
    ("tube-crossing", "", "split"): (
        [CHORD, rung((300, -200, 10.025), (300, 400, 10.025))],
        "RUNG: it and RAIL cross at (300.00, 0.00, 0.00) mm, at 90.00°: their metal overlaps by up to 31.25 mm, and "
        "neither ends there. Cut one of them in two where they cross (`elbowroom split` with --run 'RUNG' --at "
        "200.000mm), or move them apart.",
    ),
    ("tube-clash", "overlap"): (
        [CHORD, rung((500, -300, 40.025), (500, 300, 40.025))],
        "RAIL: it and RUNG run into one another at (500.00, 0.00, 21.60) mm: they overlap by 1.25 mm there, and "
        "neither is cut to the other. Move them apart, or end one of them on the other.",
    ),
    ("tube-clash", "through"): (
        [CHORD, rung((300, -40, 0))],
        "RUNG, end A: at (300.00, 0.00, 0.00) mm, it runs through RAIL and ends 40.00 mm past its centerline, so that "
        "it is not cut to it: they overlap by 38.10 mm there. Draw its end to the centerline of RAIL, or have the job "
        "file cut it there: cope_to in a [[joint]].",
    ),
    ("tube-near", ""): (
        [CHORD, rung((500, -300, 41.5), (500, 300, 41.5))],
        "RAIL: it and RUNG pass with 0.22 mm between them at (500.00, 0.00, 22.34) mm: bent tubes come out that far "
        "from the drawing. Move them apart, or draw them touching where they are to be welded.",
    ),
    ("hole-saw-none", ""): (
        [CHORD, rung()], Shop("Yard", ()),
        "'Yard' lists no hole saws, so for 1 cut the diameter of the tube it is cut to is told. "
        "List the saws you own as [[hole_saw]] in the shop file.",
    ),
    ("hole-saw-size", ""): (
        [CHORD, rung()], saws(50.0, 200.0),
        f"RUNG, end A: {AT} the nearest hole saw, 50.00 mm, is 5.55 mm off the 44.45 mm of RAIL. "
        "Get the size, or cut by the template.",
    ),
    ("hole-saw-depth", "twice"): (
        [CHORD, rung()], saws(44.45, 25.0),
        f"RUNG, end A: {AT} the cut needs 38.10 mm of depth and the saw has 25.00 mm: it takes two cuts, one from each "
        "side. Use a deeper saw, or cut by the template.",
    ),
    ("hole-saw-depth", "never"): (
        [CHORD, rung()], saws(44.45, 15.0),
        f"RUNG, end A: {AT} the cut needs 38.10 mm of depth and the saw has 15.00 mm: not even two cuts go through. "
        "Use a deeper saw, or cut by the template.",
    ),
    ("hole-saw-angle", ""): (
        [CHORD, lean(25.0)],
        f"RUNG, end A: {AT} with 25.00° between the axes, the tube lies too flat for a hole saw in a notcher (about "
        "30° is the least). Cut by the template.",
    ),
    ("hole-saw-not", "several"): (
        [CHORD, rung((300, 0, 0), (500, 400, 0), name="B1"), rung((300, 0, 0), (100, 400, 0))],
        f"RUNG, end A: {AT} no single hole saw makes this cut, since it is cut to 2 tubes; use the template.",
    ),
    ("hole-saw-not", "not round"): (
        [straight("RAIL", (0, 0, 0), (1000, 0, 0), SQUARE), rung()], asks(tube="RUNG", end="A", kind="saddle"),
        f"RUNG, end A: {AT} no single hole saw makes this cut, since RAIL is not round; use the template.",
    ),
    ("hole-saw-not", "bend"): (
        [BENT, rung(ON_BEND, (ON_BEND[0], ON_BEND[1], 300.0))],
        f"RUNG, end A: {BEND} no single hole saw makes this cut, since it lands on a bend of BENT; use the template.",
    ),
}  # fmt: skip
#: What no frame is known to bring about: shapes and cuts refused for a reason that is not thought of.
NOT_MET = {("joint-skipped", "shape"), ("joint-parallel", "shape")}


def findings_of(tubes, *given):
    """What joints tell of a frame."""
    job = next((job_from_text(one) for one in given if isinstance(one, str)), None)
    shop = next((one for one in given if isinstance(one, Shop)), saws(44.45, 300.0))
    made = cope_frame(tubes, shop, job)
    return [*made.findings, *made.in_the_way]


@pytest.mark.parametrize("key", SCENES, ids=" ".join)
def test_each_sentence_and_cure_in_either_unit(key):
    tubes, *given, wanted = SCENES[key]
    told = [f for f in findings_of(tubes, *given) if (f.code, f.variant, *([f.cure] if f.cure else [])) == key]
    assert told
    assert f"{told[0].message} {told[0].cure_in()}".rstrip() == wanted
    hash(told[0])
    inches = f"{told[0].message_in(Display('in'))} {told[0].cure_in(Display('in'))}"
    assert " mm" not in inches and ("mm" not in wanted or " in" in inches)


def test_every_text_and_every_cure_of_theirs_has_a_scene():
    codes = {key[0] for key in SCENES}
    texts = {(code, variant) for code in codes for variant in CODES[code].says}
    assert {key[:2] for key in SCENES} == texts - NOT_MET
    named = {(code, name) for code in codes for name in CODES[code].cures if name not in CODES[code].says}
    cures = {key for key in named if not key[1].endswith(" each")}  # of several: tests/findings/test_together.py
    assert {(key[0], key[2]) for key in SCENES if len(key) > 2} >= cures
    theirs = ("joint-", "cope-", "hole-saw-", "mate-", "end-eaten", "tube-through", "tube-cr", "tube-cl", "tube-near")
    assert codes == {code for code in CODES if code.startswith(theirs)}


@pytest.mark.parametrize("short", [8.0, -8.0, 23.725])
def test_how_far_short_of_its_mates_an_end_is_drawn_is_told_once(short):
    """Of two rails end to end; of two that it stops as far from as it does from one, and one that it does not."""
    told = [f for f in findings_of([*CHORD_IN_TWO, rung((300, short, 0))]) if f.code == "joint-drawn"]
    assert [f.measured for f in told] == [pytest.approx(short)]
    box, wide = Section("square", 40.0, 2.0, corner=4.0), Section("square", 60.0, 2.0, corner=4.0)
    post = straight("POST", (300, 8, 0), (300, 400, 0), wide)
    for lower, wanted in ((0.0, [8.0]), (3.0, [8.0, 11.0])):
        rails = [
            straight("R1", (-500, 0, 20), (900, 0, 20), box),
            straight("R2", (-500, -lower, -20), (900, -lower, -20), box),
        ]
        told = [f.measured for f in findings_of([*rails, post]) if f.code == "joint-drawn"]
        assert sorted(told) == pytest.approx(wanted)


def test_a_clash_counts_further_places_and_what_was_not_looked_at():
    """A rail past both legs of a portal, 43 mm off; and one past 17 rungs, 40 mm off."""
    portal = hoop("HOOP", 0.0, 0.0)
    rail = straight("RAIL", (-200, 43, 300), (1100, 43, 300), RAIL)
    [finding] = findings_of([portal, rail])
    assert "they overlap by 1.45 mm there (and in 1 more place), and neither is cut" in finding.message
    found = survey_frame(ladder_beside(17))
    texts = [f.message for f in clash_findings(find_clashes(found, DEFAULT), found.frame)]
    assert any("neither is cut to the other (5 more tubes as near were not looked at)." in text for text in texts)
