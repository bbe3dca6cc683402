"""The printed pages of one run: picture, set-up table, stick, instructions, ends, findings, boxes to tick."""

from __future__ import annotations

from typing import TYPE_CHECKING

from converter.bending.setup_words import Sheet, turn_words
from converter.exporters.cope_words import cut_to, saw_words
from converter.exporters.pictures.run_picture import isometric_picture, isometric_scale
from converter.exporters.pictures.stick_picture import stick_picture
from converter.exporters.sheet.content import RunPage, mass_text, severity_word
from converter.exporters.sheet.paper import BODY, LARGE, SMALL, Cell, Column, Flow, Section
from converter.findings import ERROR, Finding
from converter.shop.sections import describe
from converter.units import Display, in_unit

if TYPE_CHECKING:
    from converter.bending.setup import Setup, Step
    from converter.joints.model import Joint

#: Behind a stop: springback by estimate, or not known.
SIGNS = {"tests": "", "estimate": "~", "none": "?"}
#: A longer name may not fit at the head of the page, and is told in full below it.
_LONG_NAME = 40
#: Share of the width for facts with the picture beside them; what is left free there, mm.
_NARROW, _APART = 0.4, 2.0
#: Least and greatest height of the picture, mm: of bent tubes and of straight ones.
_BENT, _STRAIGHT = (70.0, 130.0), (32.0, 90.0)
#: An error of more letters is cut short in the box at the top; it stands in full among the findings.
_LONG_ERROR = 400
_COLUMNS = (
    Column("made", 10, "center", tick=True),
    Column("bend", 10, "center", bold=True),
    Column("mark from A", 21, "right", bold=True),
    Column("mark from B", 21, "right", bold=True),
    Column("die", 21),
    Column("stop", 20, "right", bold=True),
    Column("comes out at", 18, "right"),
    Column("turn the tube before it", 35),
    Column("around, so far", 19, "right"),
    Column("measured", 17, "right"),
)


def run_pages(flow: Flow, run: RunPage, count: int, shop: str, display: Display, like: str = "") -> None:
    """Lay one run out on pages of its own.

    Args:
        flow: where to.
        run: what to say.
        count: runs in the job.
        shop: name of the shop.
        display: how lengths are shown, in one unit.
        like: name of a run before that is made exactly alike, or ''.
    """
    setup = run.setup
    sheet = None if setup is None else Sheet(setup, display)

    def made(flow: Flow) -> None:
        if sheet is not None:
            for words in sheet.cope_words():
                flow.paragraph(f"{words[:1].upper()}{words[1:]}.")
        if sheet is not None and sheet.setup.steps:
            _table(flow, sheet)
            stick = stick_picture(sheet, flow.width)
            words = f"The stick to scale: end {sheet.setup.feed_from} goes into the bender first"
            flow.heading(words, keep=stick.high[1] - stick.low[1])
            flow.picture(stick, display.unit, 75.0)

    def rest(flow: Flow) -> None:
        _instructions(flow, run, sheet, display)
        _ends(flow, run, display)
        _done(flow, run, setup)
        findings(flow, run.findings, display)
        if setup is not None:
            _springback(flow, setup)

    flow.begin(run.name, run.key)
    _first_lines(flow, run, sheet, display)
    _picture(flow, run, _facts(run, setup, count, shop, display, like), made, rest, display)
    made(flow)
    rest(flow)


def findings(flow: Flow, said: tuple[Finding, ...], display: Display, about: str = "Findings") -> None:
    """Everything said, the worst first, each with its cure."""
    if not said:
        return
    flow.heading(f"{about}: {len(said)}")
    for finding in said:
        where = (
            f"bend {finding.bend}: "
            if finding.bend is not None and f"bend {finding.bend}" not in finding.message
            else ""
        )
        word = severity_word(finding)
        flow.paragraph(where + in_unit(finding.message, display.unit), before=word, indent=21.0)
        if finding.cure:
            flow.paragraph(in_unit(finding.cure, display.unit), before="do", indent=21.0)
        flow.space(0.8)


def die_names(setup: Setup | None) -> str:
    """The dies of a set-up, each once, in the order they are used."""
    names = [step.die.name if step.die else "no die" for step in setup.steps] if setup else []
    return ", ".join(dict.fromkeys(names))


def _first_lines(flow: Flow, run: RunPage, sheet: Sheet | None, display: Display) -> None:
    """The first error, and the stick."""
    errors = [in_unit(finding.message, display.unit) for finding in run.findings if finding.severity == ERROR]
    if errors:
        more = f" And {len(errors) - 1} more, named below." if len(errors) > 1 else ""
        first = errors[0] if len(errors[0]) <= _LONG_ERROR else f"{errors[0][:_LONG_ERROR].rstrip()} … (in full below)"
        flow.notice(f"Not to be made as drawn: {first}{more}")
    if sheet is not None:
        flow.paragraph(f"Stick: {display.length(sheet.stick)}", LARGE, bold=True)
        flow.space(1.0)


def _facts(
    run: RunPage, setup: Setup | None, count: int, shop: str, display: Display, like: str
) -> list[tuple[str, str]]:
    tube, length = run.tube, display.length
    table = tube.run.table
    facts = [
        ("run", f"{run.number} of {count}"),
        ("section", describe(tube.section, display) if tube.section else "not known"),
        ("metal", tube.metal or "not named"),
        ("die", die_names(setup) or "none needed"),
        ("shop", shop),
        ("bends", str(len(table.bends))),
        ("centerline", length(table.developed_length)),
        ("mass", mass_text(run.mass, display)),
    ]
    if setup is not None:
        if setup.steps:
            facts.insert(0, ("goes first", f"end {setup.feed_from}"))
        extras = [f"{length(setup.extra(end))} at end {end}" for end in "AB" if setup.extra(end) > 0.0]
        if extras:
            facts.append(("extra stick", " and ".join(extras)))
        if setup.steps and not setup.plan.plain:
            facts.append(("order of bends", ", ".join(str(step.bend) for step in setup.steps)))
        if setup.steps:
            facts.append(("least room", _room(setup, display)))
    if run.length is not None and run.joints:
        facts.append(("over the cut ends", length(run.length.cut)))
    if tube.run.layer:
        facts.append(("layer", tube.run.layer))
    if len(tube.name) > _LONG_NAME:
        facts.append(("full name", tube.name))
    if like:
        facts.append(("made just like", like))
    return facts


def _room(setup: Setup, display: Display) -> str:
    """The least room while it is bent."""
    found = setup.clearance
    if found is None:
        return "not worked out"
    if found.least is None or found.against is None:
        return "nothing comes near"
    if found.least < 0.0:
        return f"hits {found.against} in bend {found.bend}, by {display.length(-found.least)}"
    return f"{display.length(found.least)} to {found.against}, in bend {found.bend}"


def _picture(
    flow: Flow, run: RunPage, facts: list[tuple[str, str]], made: Section, rest: Section, display: Display
) -> None:
    """The facts and the picture, beside or below them: where it comes out larger.

    It is as high as lets all of the run stand on this page; where that would be too small to read, as high as lets
    the set-up and the stick stand on it; where that is too small too, as high as is of use.
    """
    tube = run.tube
    least, most = _BENT if tube.run.table.bends else _STRAIGHT
    across = flow.measured(lambda flow: flow.facts(facts)) + _APART
    beside = flow.measured(lambda flow: flow.facts(facts, 1), _NARROW)
    room = flow.room - flow.measured(made) - 2.0 * _APART  # headings ask for a little more than they take
    for spare in (room - flow.measured(rest), room, flow.room if room < 0.0 else room):
        # size, and whether it stands beside the facts
        found = [((flow.width, min(most, spare - across)), False)]
        if beside < most:
            found.append((((1.0 - _NARROW) * flow.width - _APART, max(beside, min(most, spare))), True))
        found = [one for one in found if one[0][1] >= least and one[0][1] <= spare]
        if found:
            break
    else:
        found = [((flow.width, most), False)]
    # over the whole width there is more room for what is written around it
    size, narrow = max(found, key=lambda one: isometric_scale(tube, one[0]) * (1.0 if one[1] else 1.25))
    first = run.setup.feed_from if run.setup is not None and run.setup.steps else "A"
    text = SMALL if size[1] < 90.0 else BODY
    picture = isometric_picture(
        tube, display, size=size, findings=run.findings, joints=run.joints, fed_from=first, least_text=text
    )
    if narrow:
        flow.beside(lambda flow: flow.facts(facts, 1), _NARROW, picture, display.unit)
    else:
        flow.facts(facts)
        flow.space(_APART)
        flow.picture(picture, display.unit, size[1])
    flow.space(1.0)


def _table(flow: Flow, sheet: Sheet) -> None:
    setup, display = sheet.setup, sheet.display
    flow.heading("Set-up, in the order made", keep=24.0)
    flow.table(_COLUMNS, [_row(sheet, i, step) for i, step in enumerate(setup.steps)])
    flow.space(1.0)
    unit = "inches" if display.unit == "in" else "millimetres"
    words = (
        f"Lengths in {unit}, angles in degrees. Marks lie along the stick as cut. Turn the tube, not the bender's "
        f"plane: clockwise is seen from end {setup.feed_from}, which goes first, toward end {sheet.other}. Around: how "
        "far a point on the outside moves. So far: from the first bend made, plus is clockwise."
    )
    if any(step.roll for step in setup.steps):
        words += (
            " The picture's rotation is how far the bend's plane turns since the bend numbered before it; to make it, "
            "the tube turns the other way."
        )
    sources = {step.springback.source for step in setup.steps}
    if "estimate" in sources:
        words += " A stop with ~ goes by an estimate of springback: bend a test piece first."
    if "none" in sources:
        words += " A stop with ? leaves springback out, which is not known: bend, let go, measure, bend on."
    flow.paragraph(words, SMALL)


def _row(sheet: Sheet, i: int, step: Step) -> list[Cell]:
    display = sheet.display
    turn: tuple[str, ...] = ("as loaded",) if i == 0 else ("no turn",)
    around: tuple[str, ...] = ()
    if i and step.roll:
        turn = (display.angle(abs(step.roll)), turn_words(step.roll))
        around = ("" if step.roll_arc is None else display.number(abs(step.roll_arc)),)
    if i:
        around += (display.angle(step.total),)
    if step.inverted is not None:
        turn += ("clamp turned over",)
    return [
        "",
        str(step.bend),
        display.number(sheet.mark("A", step)),
        display.number(sheet.mark("B", step)),
        step.die.name if step.die else "no die",
        display.angle(step.stop) + SIGNS[step.springback.source],
        display.angle(step.target),
        turn,
        around or "",
        "____°",
    ]


def _instructions(flow: Flow, run: RunPage, sheet: Sheet | None, display: Display) -> None:
    if sheet is None:
        return
    told = sheet.instructions()
    bends = run.tube.run.table.bends
    if bends and not sheet.setup.steps:
        flow.heading("No set-up")
        flow.paragraph("A corner has no radius, so there is nothing to set up: see the findings.")
    elif not told:
        flow.heading("No instructions")
        flow.paragraph("It cannot be bent in any order tried: see the findings.")
    else:
        flow.heading("Step by step", keep=20.0)
        for i, text in enumerate(told, 1):
            flow.paragraph(text, before=f"{i}", indent=6.0, tick=True)
            flow.space(0.8)


def _ends(flow: Flow, run: RunPage, display: Display) -> None:
    if not run.joints:
        return
    flow.heading("The ends", keep=22.0)
    for end in "AB":
        mine = [joint for joint in run.joints if joint.end == end]
        if not mine:
            flow.paragraph("cut square", before=f"End {end}", indent=14.0)
        for joint in mine:
            for k, words in enumerate(joint_words(joint, display)):
                flow.paragraph(in_unit(words, display.unit), before=f"End {end}" if k == 0 else "", indent=14.0)
        flow.space(1.0)


def joint_words(joint: Joint, display: Display) -> list[str]:
    """One cut end in sentences: what to, angle, points, zero line, hole saw."""
    length = display.length
    first = f"{cut_to(joint)} at {display.angle(joint.angle)}"
    if joint.offset > 1e-6:
        first += f", {length(joint.offset)} off its centerline"
    if joint.gap > 0.0:
        first += f", weld gap {length(joint.gap)}"
    said = [
        f"{first[:1].upper()}{first[1:]}.",
        f"Back from the centerline's end: long point {length(joint.long_point)}, short point "
        f"{length(joint.short_point)}, at the centerline {length(joint.center_cut)}. The long point lies "
        f"{display.angle(joint.long_phi)} from the zero line.",
        f"Zero line: {joint.zero}.",
    ]
    if joint.hole_saw is None:
        said.append("No single hole saw makes this cut: use the wrap template.")
    else:
        words = saw_words(joint.hole_saw, display)
        said.append(f"{words[:1].upper()}{words[1:]}.")
    return said


def _springback(flow: Flow, setup: Setup) -> None:
    """Where the stops come from: each source once, with the bends it holds for."""
    found: dict[tuple[str, str, str], list[int]] = {}
    for step in setup.steps:
        name = step.die.name if step.die else "no die"
        found.setdefault((name, step.springback.source, step.springback.note), []).append(step.bend)
    if not found:
        return
    flow.space(2.0)
    flow.paragraph("Where the stops come from", SMALL, bold=True)
    words = {"tests": "from test bends", "estimate": "by estimate (~)", "none": "not known (?)"}
    for (name, source, note), bends in found.items():
        which = f"bend {bends[0]}" if len(bends) == 1 else f"bends {', '.join(map(str, sorted(bends)))}"
        flow.paragraph(f"{name}, {which}: springback {words[source]}. {note}", SMALL)
        flow.space(0.8)


def _done(flow: Flow, run: RunPage, setup: Setup | None) -> None:
    """Boxes to tick when all is done."""
    flow.space(3.5)
    flow.keep(18.0)
    steps = ["stick cut"]
    if setup is not None and setup.steps:
        steps += ["marks drawn", "every bend made", "every bend measured"]
    steps += [f"end {joint.end} coped" for joint in run.joints]
    flow.ticks([*steps, "checked"], before="Done")
    flow.space(3.0)
    flow.paragraph("By ____________________________   on ____________________   piece number ______________", BODY)
