"""The printed pages of one part: picture, set-up table, stick, instructions, ends, findings, boxes to tick."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from converter.bending.setup.words import CUT_NOTHING, NO_CUT_LENGTH, NO_SET_UP, NOT_AS_DRAWN, REFUSAL, SetupView
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.run.picture import isometric_picture, isometric_scale, run_picture
from converter.exporters.pictures.run.sketch import Sketches
from converter.exporters.pictures.run.stick import stick_picture
from converter.exporters.sheet.content import PartPage, severity_word
from converter.exporters.sheet.pdf.flow import BELOW_TITLE, Cell, Flow, Section, TableColumn
from converter.exporters.sheet.pdf.frame import BODY, CODE, LARGE, SMALL
from converter.exporters.sheet.pdf.mirror import mirror_pair
from converter.exporters.sheet.qr import Modules
from converter.exporters.sheet.view import place_words, refusal
from converter.findings import Finding
from converter.findings.wording import cure, grouped, message
from converter.shop.sections import describe
from converter.units import NO_BREAK, Display
from converter.words import (
    BOTH_TURNS,
    ROTATION,
    TURN,
    cut_text,
    mass_text,
    points_text,
    room_text,
    saw_cut_text,
    saw_text,
    sign_meanings,
    springback_source,
    stick_sides_text,
    stop_text,
)

if TYPE_CHECKING:
    from converter.bending.setup.setup import Setup, Step
    from converter.joints.model import Joint

#: A longer name may not fit at the head of the page, and is told in full below it.
_LONG_NAME = 40
#: What is left free above a part that begins below another, and what headings ask for and do not take, mm.
_BELOW_SLACK = 9.0
#: Share of the width for facts with the picture beside them; what is left free there, mm.
_NARROW, _APART = 0.4, 2.0
#: Least and greatest height of the picture, mm: of bent tubes and of straight ones.
_BENT, _STRAIGHT = (70.0, 130.0), (32.0, 90.0)
#: The same of the three views at the end.
_VIEWS = (70.0, 100.0)
_COLUMNS = (
    TableColumn("made", 10.5, "center", tick=True),
    TableColumn("bend", 10.5, "center", bold=True),
    TableColumn("mark from A", 20.5, "right", bold=True),
    TableColumn("mark from B", 20.5, "right", bold=True),
    TableColumn("die", 17),
    TableColumn("stop", 20, "right", bold=True),
    TableColumn("comes out at", 18, "right"),
    TableColumn("turn the tube before it (turned in all)", 59),
    TableColumn("around", 15, "right"),
    TableColumn("measured", 17, "right"),
)


#: So many marks stand side by side.
_MARKS_ABREAST = 6
#: A turn and the turn in all of so many letters stand in one line.
_ONE_LINE = 24

_PLACES = (TableColumn("piece", 40, bold=True), TableColumn("end A", 60), TableColumn("end B", 60))


class PartLayout:
    """One part, ready to be laid out.

    Args:
        part: what to say.
        count: parts on the sheet.
        shop: name of the shop.
        display: how lengths are shown, in one unit.
        sketches: of the job.
        code: the square code of the part.
        mirror: its mirror image on the sheet, whose bends have the same numbers; None where there is none.
    """

    def __init__(
        self,
        part: PartPage,
        count: int,
        shop: str,
        display: Display,
        sketches: Sketches,
        code: Modules,
        mirror: PartPage | None = None,
    ) -> None:
        self.part, self._code, self._mirror = part, code, mirror
        self._refused = part.refusal is not None  # its notice needs the whole width
        setup = part.setup
        self._sheet = None if setup is None else SetupView(setup, display, part.refusal)
        self._facts = _facts(part, setup, count, shop, display)
        self._display, self._sketches = display, sketches
        self._least: float | None = None  # the part before asks for it too

    @property
    def is_straight(self) -> bool:
        """Whether it has no bends: such parts share a page where two stand on one."""
        return not self.part.tube.run.table.bends

    def least_height(self, flow: Flow) -> float:
        """How high it is with its picture as low as it may be, mm; pages are all of one width."""
        if self._least is None:
            clear = CODE if self._refused else 0.0
            self._least = flow.measured(self._compact) + BELOW_TITLE + clear + _BELOW_SLACK
        return self._least

    def lay_out(self, flow: Flow, left: float) -> int:
        """Put it on pages of its own, or below the part before it.

        Args:
            flow: where to.
            left: mm to be left free on its page where that can be: 0, or what the next part takes.

        Returns:
            The page it begins on, counted from 1.
        """
        shares = self.is_straight and flow.pages != [] and flow.leaves_room
        need = self.least_height(flow) if self.is_straight and (shares or left) else 0.0
        if shares and need <= flow.room:
            flow.begin_below(self.part.title, self.part.key, self.part.part, self._code, clear=self._refused)
            page = len(flow.pages)
            self._compact(flow)
        else:
            flow.begin(self.part.title, self.part.key, self.part.part, self._code, clear=self._refused)
            page = len(flow.pages)
            if left and need + left <= flow.whole_page:
                self._compact(flow)
            else:
                self._whole(flow)
        flow.leaves_room = self.is_straight
        return page

    def _compact(self, flow: Flow) -> None:
        self._lines(flow, _STRAIGHT[0])

    def _whole(self, flow: Flow) -> None:
        self._lines(flow, None)

    def _lines(self, flow: Flow, tall: float | None) -> None:
        _first_lines(flow, self.part, self._sheet, self._display)
        _picture(flow, self.part, self._facts, (self._bending_part, self._rest), self._display, self._sketches, tall)
        self._bending_part(flow)
        self._rest(flow)
        if self.is_straight:
            return
        paired = self._mirror and mirror_pair(flow, self.part, self._mirror, self._display, self._sketches)
        if flow.pages[-1].continued and not paired:
            _three_views(flow, self.part, self._display, self._sketches)

    def _bending_part(self, flow: Flow) -> None:
        sheet = self._sheet
        if sheet is not None:
            for words in sheet.cope_words():
                flow.paragraph(f"{words[:1].upper()}{words[1:]}.")
        if sheet is not None and sheet.setup.steps:
            _table(flow, sheet)
            stick = stick_picture(sheet, flow.width)
            words = f"The stick to scale: end {sheet.setup.feed_from} goes into the bender first"
            flow.heading(words, keep=stick.high[1] - stick.low[1])
            flow.picture(stick, self._display.unit, 75.0)

    def _rest(self, flow: Flow) -> None:
        part, display = self.part, self._display
        _instructions(flow, self._sheet)
        _ends(flow, part, display)
        if part.refusal is None:
            _done(flow, part, part.setup)
        findings(flow, part.findings, display)
        if part.setup is not None:
            _springback(flow, part.setup)


def findings(flow: Flow, said: tuple[Finding, ...], display: Display, about: str = "Findings") -> None:
    """Everything said, the worst first, each with its cure."""
    if not said:
        return
    groups = grouped(said, display)
    flow.heading(f"{about}: {len(groups)}")
    for alike in groups:
        flow.paragraph(message(alike, display), before=severity_word(alike[0]), indent=21.0)
        put_right = cure(alike, display)
        if put_right:
            flow.paragraph(put_right, before="do", indent=21.0)
        flow.space(0.8)


def die_names(setup: Setup | None) -> str:
    """The dies of a set-up, each once, in the order they are used."""
    names = [step.die.name if step.die else "no die" for step in setup.steps] if setup else []
    return ", ".join(dict.fromkeys(names))


def _first_lines(flow: Flow, part: PartPage, sheet: SetupView | None, display: Display) -> None:
    """The first error, and the stick."""
    if words := refusal(part, display):
        flow.notice(words)
    if sheet is not None:
        stick = NO_CUT_LENGTH if sheet.setup.is_nothing else display.length(sheet.stick)
        flow.paragraph(f"Cut length: {stick}", LARGE, bold=True)
        flow.space(1.0)


def _facts(part: PartPage, setup: Setup | None, count: int, shop: str, display: Display) -> list[tuple[str, str]]:
    tube, length = part.tube, display.length
    table = tube.run.table
    facts = [
        ("part", f"{part.number} of {count}"),
        ("make", str(part.count)),
        ("section", describe(tube.section, display) if tube.section else "not known"),
        ("metal", tube.metal or "not named"),
        ("die", die_names(setup) or "none needed"),
        ("shop", shop),
        ("bends", str(len(table.bends))),
        ("centerline", length(table.developed_length)),
        ("mass", mass_text(part.mass, display) + (" each" if part.count > 1 and part.mass is not None else "")),
    ]
    if setup is not None:
        if setup.steps:
            facts.insert(0, ("goes first", f"end {setup.feed_from}"))
        extras = [f"{length(setup.extra(end))} at end {end}" for end in "AB" if setup.extra(end) > 0.0]
        if extras:
            facts.append(("extra", " and ".join(extras)))
        if setup.steps and not setup.plan.is_simple:
            facts.append(("order of bends", ", ".join(str(step.bend) for step in setup.steps)))
        if setup.steps:
            facts.append(("least room", room_text(setup, display)))
    if part.over_cut_ends is not None:
        facts.append(("over cut ends", length(part.over_cut_ends)))
    if part.length is not None and part.joints and (sides := stick_sides_text(part.length, display)):
        facts.append(("saw cuts", sides))
    if tube.run.layer:
        facts.append(("layer", tube.run.layer))
    if len(part.title) > _LONG_NAME:
        facts.append(("full name", part.name))
    facts += [(label.lower(), text) for label, text in part.facts]
    return facts


def _picture(
    flow: Flow,
    part: PartPage,
    facts: list[tuple[str, str]],
    below: tuple[Section, Section],
    display: Display,
    sketches: Sketches,
    tall: float | None,
) -> None:
    """The facts and the picture, beside or below them: where it comes out larger.

    It is as high as lets all of the part stand on this page; where that would be too small to read, as high as lets
    the set-up and the stick stand on it; where that is too small too, as high as is of use. With ``tall`` it is that
    high, mm. ``below`` are the set-up with the stick, and the rest.
    """
    tube, (bending_part, rest) = part.tube, below
    least, most = _BENT if tube.run.table.bends else _STRAIGHT
    if tall is not None:
        least = most = tall
    across = flow.measured(lambda flow: flow.facts(facts)) + _APART
    beside = flow.measured(lambda flow: flow.facts(facts, 1), _NARROW)
    room = flow.room - flow.measured(bending_part) - 2.0 * _APART  # headings ask for a little more than they take
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
    size, narrow = max(found, key=lambda one: isometric_scale(tube, one[0], sketches) * (1.0 if one[1] else 1.25))
    first = part.setup.feed_from if part.setup is not None and part.setup.steps else "A"
    text = SMALL if size[1] < 90.0 else BODY
    picture = Picture()
    picture.reach((0.0, 0.0), size)
    if flow.is_drawn:
        picture = isometric_picture(
            tube,
            display,
            size=size,
            findings=part.own_findings,
            joints=part.joints,
            fed_from=first,
            least_text=text,
            sketches=sketches,
        )
    if narrow:
        flow.beside(lambda flow: flow.facts(facts, 1), _NARROW, picture, display.unit)
    else:
        flow.facts(facts)
        flow.space(_APART)
        flow.picture(picture, display.unit, size[1])
    flow.space(1.0)


def _three_views(flow: Flow, part: PartPage, display: Display, sketches: Sketches) -> None:
    """The finished tube from three sides with its sizes over all, to check it by, where the page has room for it."""
    low, high = _VIEWS
    tall = min(high, flow.room - 1.5 * _BELOW_SLACK)
    if tall < low:
        return
    flow.heading("The finished tube from three sides, to check it by", keep=tall)
    picture = run_picture(
        part.tube,
        display,
        size=(flow.width, tall),
        joints=part.joints,
        views=("front", "top", "right"),
        least_text=BODY,
        named=False,
        sketches=sketches,
    )
    flow.picture(picture, display.unit, tall)


def _table(flow: Flow, sheet: SetupView) -> None:
    setup, display = sheet.setup, sheet.display
    flow.heading("Set-up, in the order made", keep=24.0)
    flow.table(_COLUMNS, [_row(sheet, i, step) for i, step in enumerate(setup.steps)])
    flow.space(1.0)
    unit = "inches" if display.unit == "in" else "millimetres"
    words = (
        f"Lengths in {unit}, angles in degrees. Marks lie along the stick as cut. {TURN} Here that is from end "
        f"{setup.feed_from} toward end {sheet.other}. Around: how far a point on the outside moves. Turned in all: "
        "since the first bend made."
    )
    if any(step.turn_set for step in setup.steps):
        words += f" In the picture: {ROTATION[:1].lower()}{ROTATION[1:]} {BOTH_TURNS}"
    flow.paragraph(" ".join([words, *sheet.rounding_notes(), *sign_meanings(sheet.kept_steps)]), SMALL)


def _row(sheet: SetupView, i: int, step: Step) -> list[Cell]:
    display = sheet.display
    if step.bend in sheet.refused:
        return ["", str(step.bend), "–", "–", "–", "–", "–", NOT_AS_DRAWN, "–", "–"]
    turn: tuple[str, ...] = ("as loaded" if i == 0 else sheet.turn(step) if step.turn_set else "no turn",)
    if i > 1:  # at the second bend made the turn in all is that turn
        so_far = f"({sheet.so_far(step)})"
        turn = (f"{turn[0]} {so_far}",) if len(turn[0]) + len(so_far) <= _ONE_LINE else (*turn, so_far)
    if step.inverted is not None:
        turn += ("clamp turned over",)
    return [
        "",
        str(step.bend),
        display.number(sheet.mark("A", step)),
        display.number(sheet.mark("B", step)),
        step.die.name.replace(" ", NO_BREAK) if step.die else "no die",  # one name, one line
        stop_text(step, display),
        display.angle(step.comes_out),
        turn,
        sheet.arounds()[i],
        "____°",
    ]


def _instructions(flow: Flow, sheet: SetupView | None) -> None:
    if sheet is None:
        return
    told = sheet.instructions()
    if sheet.setup.lacking:
        flow.heading("No set-up")
        flow.paragraph(f"There is no set-up of this tube: {NO_SET_UP[sheet.setup.lacking]}.")
    elif not told:
        flow.heading("No instructions")
        why = "It cannot be bent in any order tried: see the findings" if sheet.setup.plan.lacks else REFUSAL
        flow.paragraph(f"{why}. {CUT_NOTHING}")
    else:
        flow.heading("Step by step", keep=20.0)
        for i, text in enumerate(told, 1):
            flow.paragraph(text, before=f"{i}", indent=6.0, tick=True)
            _marks(flow, sheet, sheet.mark_rows(text))
            flow.space(0.8)


def _marks(flow: Flow, sheet: SetupView, rows: Sequence[tuple[str, str]]) -> None:
    """Where each mark is drawn, side by side."""
    whole = flow.width
    for at in range(0, len(rows), _MARKS_ABREAST):
        abreast = rows[at : at + _MARKS_ABREAST]
        flow.width = whole * (len(abreast) + 1) / (_MARKS_ABREAST + 1)
        columns = [TableColumn("mark", 1.0), *(TableColumn(name, 1.0, "right", bold=True) for name, _ in abreast)]
        flow.table(columns, [[f"from end {sheet.setup.feed_from}", *(place for _, place in abreast)]])
        flow.space(1.5)
    flow.width = whole


def _ends(flow: Flow, part: PartPage, display: Display) -> None:
    if not part.joints:
        return
    flow.heading("The ends", keep=22.0)
    for end in "AB":
        mine = [joint for joint in part.joints if joint.end == end]
        if not mine:
            flow.paragraph("cut square", before=f"End {end}", indent=14.0)
        for joint in mine:
            for k, words in enumerate(joint_words(joint, display)):
                flow.paragraph(words, before=f"End {end}" if k == 0 else "", indent=14.0)
        flow.space(1.0)
    if part.count > 1:
        flow.paragraph("Where each piece goes: all are cut alike, ends as on the picture.", SMALL)
        flow.table(_PLACES, [[piece.tube.name, *place_words(piece)] for piece in part.pieces], SMALL)
        flow.space(1.0)


def joint_words(joint: Joint, display: Display) -> list[str]:
    """One cut end in sentences: what to, angle, points, zero line, hole saw."""
    length = display.length
    first = cut_text(joint, display)
    if joint.gap > 0.0:
        first += f", weld gap {length(joint.gap)}"
    points = points_text(joint, display)
    said = [f"{first[:1].upper()}{first[1:]}.", f"{points[:1].upper()}{points[1:]}."]
    if joint.is_square:
        return said
    said += [
        f"The long point lies {display.angle(joint.long_phi)} from the zero line.",
        f"Zero line: {joint.zero_in(display)}.",
    ]
    saw = saw_cut_text(joint, display)
    if joint.hole_saw is None and saw:
        said.append(f"{saw[:1].upper()}{saw[1:]}.")
    elif joint.hole_saw is None:
        said.append("No single hole saw makes this cut: use the wrap template.")
    else:
        words = saw_text(joint.hole_saw, display)
        said.append(f"{words[:1].upper()}{words[1:]}.")
    return said


def _springback(flow: Flow, setup: Setup) -> None:
    """Where the stops come from: each source once, with the bends it holds for."""
    found: dict[tuple[str, str, str], list[int]] = {}
    for step in setup.steps:
        name = step.die.name if step.die else "no die"
        source = springback_source(step.springback)
        found.setdefault((name, source, step.springback.note), []).append(step.bend)
    if not found:
        return
    flow.space(2.0)
    flow.paragraph("Where the stops come from", SMALL, bold=True)
    for (name, source, note), bends in found.items():
        which = f"bend {bends[0]}" if len(bends) == 1 else f"bends {', '.join(map(str, sorted(bends)))}"
        flow.paragraph(f"{name}, {which}: {source}. {note}", SMALL)
        flow.space(0.8)


def _done(flow: Flow, part: PartPage, setup: Setup | None) -> None:
    """Boxes to tick when all is done."""
    flow.space(3.5)
    flow.keep(18.0)
    steps = ["cut to length"]
    if setup is not None and setup.steps:
        steps += ["marks drawn", "every bend made", "every bend measured"]
    steps += [f"end {joint.end} {'cut' if joint.plane is not None else 'coped'}" for joint in part.joints]
    flow.ticks([*steps, "checked"], before="Done")
    if part.count > 1:
        flow.space(2.0)
        flow.ticks([piece.tube.name for piece in part.pieces], before="Pieces")
    flow.space(3.0)
    flow.paragraph("By ____________________________   on ____________________   piece number ______________", BODY)
