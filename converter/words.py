"""Set-ups and cut ends in words: stops and where they come from, marks, room, mass; what an end is cut to, and how."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import fsum
from typing import TYPE_CHECKING

from converter.findings.wording import listed
from converter.joints.model import MITRE, PLANE, SQUARE, Joint, SawSetting
from converter.units import KG_PER_LB, Display, place_text

if TYPE_CHECKING:
    from converter.bending.metal.springback import Springback
    from converter.bending.pieces import PieceJoint
    from converter.bending.setup.setup import Setup, Step
    from converter.joints.cope import TubeLength
    from converter.joints.holes import Hole
    from converter.model.part import Part

#: mm, half of 0.001 in: an offset up to here shows as nothing in inches, and is told as none.
NO_LENGTH = 0.0127
#: The bend plane's rotation and the tube's turn, each with its hand and from where one looks.
ROTATION = (
    "Rotation is the bend plane's, since the bend numbered before it: plus is clockwise, seen from end A toward end B."
)
TURN = "The turn is the tube's, in the bender: it is seen from the end that goes first toward the other end."
BOTH_TURNS = "A rotation is made by turning the tube the other way."
#: What holds for every end that is cut and every hole, said where that is done.
CUTTING = (
    "Clamp the tube on both sides of the cut, so that it can neither turn nor spring: hole saws grab.",
    "Wear eye protection, and no gloves at a turning saw: chips are hot and fly.",
    "Deburr every cut edge, outside and in, before anybody handles it: burrs cut, and keep a joint open.",
)
#: What holds where tubes are tacked together.
TACKING = (
    "Tacks pull as they cool: clamp first, tack opposite sides, measure again. Cover skin and eyes, and those of "
    "whoever stands by, before the arc is struck."
)
#: What holds for cutting bars to length.
SAW_CAUTION = (
    "Clamp the bar on both sides of the blade where you can, hold short pieces with a clamp and never by hand, let "
    "the blade stop before reaching in, wear eye and ear protection; cut ends are sharp and hot. Follow the saw's "
    "manual."
)
#: What stands behind a stop whose springback is not tested, by where the springback comes from.
SIGNS = {"tests": "", "estimate": "~", "none": "?"}
_MEANINGS = {
    "estimate": "~ behind a stop: springback by estimate. Prove it on a trial bend.",
    "none": "? behind a stop: springback not known, the stop is the angle itself. Bend short and measure.",
}
_SOURCES = {"tests": "springback from test bends", "estimate": "springback by estimate", "none": "springback not known"}


def stop_text(step: Step, display: Display) -> str:
    """The stop of a bend, to the machine's step, with the sign of what it is worth: ``92.50°~``."""
    return display.angle(step.stop_set) + SIGNS[step.springback.source]


def sign_meanings(steps: Iterable[Step]) -> list[str]:
    """What the signs behind these stops mean, a sentence or two each."""
    sources = {step.springback.source for step in steps}
    return [meaning for source, meaning in _MEANINGS.items() if source in sources]


def springback_source(springback: Springback) -> str:
    """Where a stop comes from: ``springback from test bends (3)``."""
    count = f" ({springback.count})" if springback.source == "tests" and springback.count else ""
    return _SOURCES[springback.source] + count


#: Why the least room is not worked out, and what to do, by `Setup.room_unknown`.
_NO_ROOM = {
    "": "it is not bent",
    "section": "no section is known; name one with --section or in the job file",
    "ring": "the tube is a closed ring; open it in the drawing where it is joined",
    "overlap": "its bends overlap; put that right first",
    "turn": "a bend is driven past a full turn; put that right first",
}


def room_text(setup: Setup, display: Display) -> str:
    """The least room around the tube while it is bent: ``12.70 mm to the floor, in bend 3``."""
    clearance = setup.clearance
    if clearance is None:
        return f"not worked out: {_NO_ROOM[setup.room_unknown]}"
    if clearance.least is None or clearance.against is None:
        # floor, walls and boxes always lie at some distance: none was looked at
        return "the tube does not come near itself; what is around the machine is not known"
    if clearance.least < 0.0:
        return f"the tube hits {clearance.against} in bend {clearance.bend}, by {display.length(-clearance.least)}"
    return f"{display.length(clearance.least)} to {clearance.against}, in bend {clearance.bend}"


def mass_text(kg: float | None, display: Display) -> str:
    """``1.23 kg`` where lengths show in millimetres, ``2.72 lb`` where in inches; ``not known`` for None."""
    if kg is None:
        return "not known"
    return display.each(lambda shown: f"{kg / KG_PER_LB:.2f} lb" if shown.unit == "in" else f"{kg:.2f} kg")


def total_mass_text(masses: Sequence[float | None], display: Display) -> str:
    """Mass of several tubes, kg, None for one that is not known: ``36.80 kg, without 5 whose metal or section...``."""
    known = [kg for kg in masses if kg is not None]
    if not known:
        return mass_text(None, display)
    lacking = len(masses) - len(known)
    without = f", without {lacking} whose metal or section is not known" if lacking else ""
    return mass_text(fsum(known), display) + without


def cut_to(joint: Joint) -> str:
    """What an end is cut to: ``coped to RAIL``, ``mitred with POST and RAIL``, ``cut to a plane``.

    Ends that meet in one line are mitred with nothing to mitre: ``cut square, end to end with POST``.
    """
    names = " and ".join(joint.mates)
    if _is_butted(joint):
        return f"cut square, end to end with {names}"
    if joint.kind == PLANE:
        return "cut to a plane"
    if joint.kind == SQUARE:
        return f"cut square on the flat of {names}"
    return f"mitred with {names}" if joint.kind == MITRE else f"coped to {names}"


def _is_butted(joint: Joint) -> bool:
    return joint.kind == MITRE and joint.is_square


def cut_text(joint: Joint, display: Display) -> str:
    """The same with the angle, and the offset and what is left open where there is any."""
    text = cut_to(joint)
    if joint.kind != SQUARE and not _is_butted(joint):
        text += f" at {display.angle(joint.angle)}"
    if joint.offset > NO_LENGTH:
        text += f", {display.length(joint.offset)} off its centerline"
    if joint.corner_gap > 0.0:
        whose = "its corner radii" if joint.kind == SQUARE else f"the corner radii of {joint.mates[0]}"
        text += f", up to {display.length(joint.corner_gap)} open at {whose}"
    return text


def meeting_text(joint: Joint, display: Display) -> str:
    """Where an end meets what it is cut to: ``the centerlines meet at (0.000, 4.000, 0.000) in``."""
    if joint.kind == PLANE:
        return f"it meets the plane at {place_text(joint.node, display)}"
    return _centerlines(joint.node, joint.offset, "meet", display)


def crossing_text(hole: Hole, display: Display) -> str:
    """Where a tube passes through another: ``the centerlines cross at (0.000, 4.000, 0.000) in``."""
    return _centerlines(hole.node, hole.offset, "cross", display)


def _centerlines(place: Iterable[float], offset: float, verb: str, display: Display) -> str:
    """Centerlines that pass beside one another do not meet: where they are nearest."""
    how = verb if offset <= NO_LENGTH else "are nearest"
    return f"the centerlines {how} at {place_text(place, display)}"


def points_text(joint: Joint, display: Display) -> str:
    """Where the cut lies: ``back from the centerline's end: long point 0.500 in, ...``; one length for a cut square."""
    if joint.is_square:
        back = joint.center_cut
        way = "back from" if back >= 0.0 else "past"
        return f"square {display.length(abs(back))} {way} the centerline's end"
    long, short, middle = map(display.length, (joint.long_point, joint.short_point, joint.center_cut))
    past = " (past it)" if joint.long_point < -NO_LENGTH else ""
    return f"back from the centerline's end: long point {long}{past}, short point {short}, at the centerline {middle}"


def saw_cut_text(joint: Joint, display: Display) -> str:
    """``saw 45.00° from square, long point on the outside of the corner``; '' where no saw makes the cut.

    Of several flats ``saw cuts 51.34° along RAIL and 38.66° along POST, from square, by the template``.
    """
    if flats := joint.end_cut.flat_cuts:
        cuts = [f"{display.angle(cut.angle)} along {cut.mate}" for cut in flats]
        return f"saw cuts {listed(cuts)}, from square, by the template"
    if joint.end_cut.saw_angle is None:
        return ""
    if joint.is_square:
        return "saw square"
    text = f"saw {display.angle(joint.end_cut.saw_angle)} from square"
    return f"{text}, long point on the outside of the corner" if joint.kind == MITRE else text


def stick_sides_text(length: TubeLength, display: Display) -> str:
    """What a saw's cuts make of a straight tube: ``short side 34.000 in``; '' where there is nothing to say."""
    if length.short is not None:
        return f"short side {display.length(length.short)}"
    if length.cuts.apart is None:
        return ""
    if length.cuts.on_opposite_sides:
        return "long points on opposite sides"
    return f"long points {display.angle(abs(length.cuts.apart))} apart around the tube"


def saw_text(saw: SawSetting, display: Display) -> str:
    """``hole saw 1.750 in, 30.00° from square, offset 0.000 in, 1.732 in deep``; a saw not owned is '(wanted)'."""
    words = [
        f"hole saw {display.length(saw.size)}{'' if saw.owned else ' (wanted)'}",
        f"{display.angle(saw.from_square)} from square",
        f"offset {display.length(saw.offset)}",
        f"{display.length(saw.depth)} deep",
    ]
    return ", ".join((*words, *saw_notes(saw, display)))


def saw_notes(saw: SawSetting, display: Display) -> list[str]:
    """What else there is to a hole saw's set-up: two cuts, where its center lies."""
    words = {2: ["two cuts, one from each side"], 0: ["too deep for it"]}.get(saw.cuts, [])
    if abs(saw.center) > NO_LENGTH:
        side = "inside" if saw.center > 0.0 else "beyond"
        words.append(f"its center {display.length(abs(saw.center))} {side} the centerline's end")
    if saw.center_to_center is not None:
        words.append(f"{display.length(saw.center_to_center)} center to center, along the centerline")
    return words


#: What a sleeve must do before it is bought.
SLEEVE_FIT = (
    "A sleeve must slide into the bore as it is: a weld seam or scale inside takes room, so try it before you cut. "
    "Half of it goes into each piece."
)
#: Who decides whether a tube may be joined at all.
JOINING_CAUTION = (
    "A joint carries what the tube carried: whether it may be there, and how it is prepared and welded, is for the "
    "rulebook or the engineer of the structure to say, above all where it protects people."
)


def joint_text(joint: PieceJoint, bent: bool, display: Display) -> str:
    """Where pieces meet and how: ``46.000 in from end A, after bend 2: square ends, a sleeve of ... inside``.

    Args:
        joint: of two pieces.
        bent: whether the whole has a bend.
        display: how lengths are shown.
    """
    from converter.shop.sections import describe

    straight, sleeve = joint.straight, joint.sleeve
    where = "" if not bent else f", after bend {straight}" if straight else ", before bend 1"
    text = f"{display.length(joint.at)} from end A{where}: "
    if joint.mates:
        return f"{text}both ends cut to {' and '.join(joint.mates)}"
    if sleeve is None or sleeve.section is None:
        return f"{text}square ends, a butt weld"
    length = display.length(sleeve.run.table.developed_length)
    return f"{text}square ends, a sleeve of {describe(sleeve.section, display)}, {length} long, inside"


def quantity_text(part: Part) -> str:
    """How many to make: ``7 off``, of a part shown in part ``3 off, of 7``; '' for a single tube."""
    if part.quantity == 1:
        return ""
    shown = len(part.tubes)
    return f"{shown} off" if shown == part.quantity else f"{shown} off, of {part.quantity}"


def part_title(part: Part) -> str:
    """A part and how many: ``PICKET, 7 off``; of a single tube its name."""
    return ", ".join(filter(None, (part.name, quantity_text(part))))


def part_tubes_text(part: Part) -> str:
    """All the tubes of a part by name, those drawn from the other end apart; '' where its title names the only one."""
    if part.names == (part.name,):
        return ""
    straight = [name for name in part.names if name not in part.turned]
    turned = [name for name in part.names if name in part.turned]
    words = ", ".join(straight)
    if turned:
        words += f"; drawn from the other end, so that end A is end B here: {', '.join(turned)}"
    return words


def mirror_text(part: Part) -> str:
    """What a part is the mirror image of, or what is its own; '' where there is none."""
    if part.mirrored_by is not None:
        return f"its mirror image is {part.mirrored_by}"
    if part.mirror_of is None:
        return ""
    how = "every turn the other way"
    if part.bends_alike_mirrored:
        how = f"{'the same bends, ' if part.first.run.table.bends else ''}its cuts the other way round"
    ends = ", and its end A is end B there" if part.mirror_turned else ""
    return f"mirror image of {part.mirror_of}: {how}{ends}"


def part_lines(part: Part) -> tuple[str, ...]:
    """A part in lines: its title with how many; all its tubes by name; what it mirrors. One line for a single tube."""
    return tuple(filter(None, (part_title(part), part_tubes_text(part), mirror_text(part))))


def end_text(part: Part, end: str) -> str:
    """An end of a part, and the ends of its tubes that are cut so: ``PICKET-1 end A, PICKET-2 end A``; '' for one."""
    if part.names == (part.name,):
        return ""
    return ", ".join(f"{name} end {part.end_of(name, end)}" for name in part.names)
