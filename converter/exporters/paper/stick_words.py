"""What a stick template says in words: what it is, how it is used, and the numbers of each bend."""

from __future__ import annotations

from converter.bending.setup.words import (
    NOT_AS_DRAWN,
    REFUSAL,
    STICK_END,
    flat_cuts_words,
    reach_words,
    saw_words,
    turn_words,
)
from converter.exporters.paper.stick import StickBend, StickTemplate, Strip
from converter.exporters.paper.stick_drawing import LEAST_OFFSET
from converter.findings.wording import listed
from converter.model.run import Tube
from converter.quoting import quoted
from converter.shop.model import Shop
from converter.units import Display, cut_length
from converter.words import sign_meanings, stop_text


def title(name: str, stick: StickTemplate) -> str:
    """``RAIL: stick template, full size``."""
    return f"{with_verdict(name, stick)}: stick template, full size"


def with_verdict(name: str, stick: StickTemplate) -> str:
    """A name, and behind it whether the tube is not to be made as drawn."""
    return f"{name}, {NOT_AS_DRAWN}" if stick.is_refused else name


def facts(tube: Tube, stick: StickTemplate, strip: Strip, display: Display) -> list[str]:
    """What the stick is, a few words each."""
    length = display.length
    found = [f"developed length {length(tube.run.table.developed_length)}"]
    if any(stick.cuts.changes):
        found.append(f"from long point to long point {length(stick.length)}")
    if stick.set_up:  # as the set-up shows it
        found.append(f"cut length {cut_length(stick.stick_length, display)}")
    elif stick.extra_a or stick.extra_b:
        found.append(f"cut length {length(stick.stick_length)}")
    if tube.section is not None and strip.around is not None:
        found.append(tube.section.outside_words(display))
        paper = strip.around.paper_thickness
        found.append(f"strip {length(strip.height)} high: {tube.section.kind.unrolled}, for paper {paper:g} mm thick")
        if tube.section.label:
            found.append(tube.section.label)
    return found


#: Heads of the columns of `bend_row`; lengths are in the unit shown.
HEADS = (
    "bend",
    "order",
    "die mark",
    "tangent points",
    "die",
    "stop",
    "angle",
    "CLR drawn",
    "rotation",
    "turn the tube",
    "outside at",
)


def bend_row(stick: StickTemplate, bend: StickBend, display: Display) -> tuple[str, ...]:
    """The numbers of a bend, as `setup` tells them: places from the end fed first, along the stick as cut."""
    step = bend.step
    places = sorted(stick.from_fed_end(x) for x in (bend.begin, bend.end))
    sign = "+" if bend.rotation > 0 else ""
    return (
        str(bend.number),
        str(bend.order or ""),
        "none" if step is None or bend.mark is None else display.number(step.mark),
        " and ".join(map(display.number, places)),
        step.die.name if step is not None and step.die is not None else "none",
        stop_text(step, display) if step is not None and step.die is not None and not bend.is_refused else "",
        display.angle(bend.angle),
        "sharp corner" if bend.clr is None else display.number(bend.clr),
        f"{sign}{display.angle(bend.rotation)}",
        "" if step is None or not step.turn_set else f"{display.angle(abs(step.turn_set))} {turn_words(step.turn_set)}",
        display.angle(bend.clock),
    )


def notes(tube: Tube, stick: StickTemplate, shop: Shop, display: Display) -> list[str]:
    """What is not to be made of it, and how the template is used, a sentence or a few each."""
    return [*_refusal(stick), *_strip_notes(tube, stick), *_mark_notes(stick, shop), *_end_notes(stick, display)]


def _refusal(stick: StickTemplate) -> list[str]:
    if not stick.is_refused:
        return []
    bends = [str(bend.number) for bend in stick.bends if bend.is_refused]
    of = f"bend{'' if len(bends) == 1 else 's'} {listed(bends)}" if bends else ""
    marks = f", and so there is no mark for {of}" if bends else ""
    return [f"{REFUSAL} before the stick is cut{marks}."]


def _strip_notes(tube: Tube, stick: StickTemplate) -> list[str]:
    if tube.section is None:
        return ["Section unknown: the strip shows lengths only; its height means nothing."]
    found = [
        "Wrap it around the straight stick with this side out, end A of the strip at end A of the stick; top and "
        "bottom edge meet, and the short marks across them close."
    ]
    if stick.bends:
        found += [
            "The zero line (top and bottom edge) is the outside of bend 1. Degrees count down the strip: clockwise, "
            "seen from end A toward end B.",
            "Full line along: outside of the bend (the back). Dashed line along: its inside.",
        ]
    elif stick.copes and tube.section.outer.radius is not None:
        found.append(f"A straight: the zero line (top and bottom edge) is that of the cut of end {stick.copes[0].end}.")
    else:
        found.append("A straight: the zero line may lie anywhere.")
    if tube.section.outer.radius is None:
        found.append("Grey lines along: where the flat faces end. Faces are numbered from the one at the zero line.")
    return found


def _mark_notes(stick: StickTemplate, shop: Shop) -> list[str]:
    if not stick.bends:
        return []
    found = []
    marked = [bend for bend in stick.bends if bend.mark is not None and bend.step is not None]
    first, other = stick.feed_from, "B" if stick.feed_from == "A" else "A"
    if marked:
        found.append(
            "Heavy lines across: the die's marks, each to be brought to the die's mark line. Thin dashed lines across: "
            "the tangent points of the bends, not marks for a die."
        )
    elif any(bend.is_refused for bend in stick.bends):
        found.append("Lines across are tangent points, not marks for a die.")
    elif not stick.set_up:
        found.append(
            "A corner has no radius, so there is no set-up: lines across are tangent points (corners) as drawn, not "
            "marks for a die."
        )
    else:
        found.append(
            f"The shop {quoted(shop.name)} has no die for this tube: lines across are tangent points, not marks for a "
            "die."
        )
    lacking = [str(bend.number) for bend in stick.bends if bend.mark is None and not bend.is_refused]
    if marked and lacking:
        found.append(f"No die makes {'bend' if len(lacking) == 1 else 'bends'} {listed(lacking)}: no mark there.")
    without = sorted({b.step.die.name for b in marked if b.step and b.step.die and b.step.die.mark_offset is None})
    if without:
        found.append(
            f"The shop file gives {listed([quoted(name) for name in without])} no mark offset: a mark lies where the "
            "bend starts."
        )
    if stick.set_up:
        found.append(
            f"Distances run from end {first}, which goes first, along the stick as cut, extra included: they are those "
            f"of the set-up. The tube is turned before a bend, from where the bend made before left it, seen from end "
            f"{first} toward end {other}; the rotation is that of the bend plane since the bend of the number before, "
            "right-hand positive about the direction from end A to end B."
        )
    else:
        found.append("Distances run from end A.")
    found += sign_meanings(bend.step for bend in marked if bend.step)
    if marked and shop.is_demo:
        found.append("Dies and marks are those of the invented demo shop: name your own with --shop.")
    if not stick.can_be_held:
        found.append("The machine cannot hold this tube for every bend: see the findings before the stick is cut.")
    return found


def _end_notes(stick: StickTemplate, display: Display) -> list[str]:
    found = []
    cuts = stick.cuts.by_end
    after = " after bending" if stick.bends else ""
    for end, amount in (("A", stick.extra_a), ("B", stick.extra_b)):
        if (cut := cuts.get(end)) is not None:
            where = "the trim line" if amount else STICK_END
            place = reach_words(cut.change, display) + (" (dash-dotted line)" if abs(cut.change) > LEAST_OFFSET else "")
            flat = flat_cuts_words(cut.flat_cuts, display)
            found.append(
                f"End {end} is cut to fit{after}{flat}: the long point of the cut is {where}, {place}."
                if cut.saw_angle is None
                else saw_words(end, cut.saw_angle, where, place, display, after)
            )
        if amount:
            found.append(
                f"End {end} has {display.length(amount)} extra for the clamp or the pressure die: trim at the "
                "dashed line after bending."
            )
    if stick.copes:
        sawn = all(cuts[cope.end].saw_angle is not None for cope in stick.copes)
        more = "" if sawn else "; the cope template tells more"
        found.append(f"Heaviest curve: where the end is cut, on the outside of the tube{more}.")
    for cope in stick.copes:
        bend = next(iter(stick.bends if cope.end == "A" else stick.bends[::-1]), None)
        if bend is None:
            continue
        over = cope.along.max() - bend.begin if cope.end == "A" else bend.end - cope.along.min()
        if over > LEAST_OFFSET:
            how = "use its cope template" if cuts[cope.end].saw_angle is None else "saw it"
            found.append(
                f"The cut of end {cope.end} reaches {display.length(float(over))} into bend {bend.number}, where the "
                f"strip is true no more: {how} after bending."
            )
    return found
