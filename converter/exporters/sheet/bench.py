"""What the page's script needs for the bench view besides the words: the machine, the check card, the cuts.

Plain values, mm and degrees, as short as what is drawn and worked out from them allows. The script works out one
thing by itself, the next stop after a measured bend: the line ``set = a + b x angle`` of
`converter.bending.metal.springback.resume`, whose slope stands here.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from typing import Any

import numpy as np

from converter.bending.metal import springback
from converter.bending.setup.setup import Setup, Step
from converter.exporters.data.table_csv import text_cell
from converter.exporters.sheet.content import PartPage
from converter.joints.model import Joint
from converter.shop.metals import find_metal
from converter.shop.model import Machine, Shop

#: Degrees around the tube from one number of a cut to the next.
AROUND = 7.5
#: Said on the check card.
PAST = "It needs a stop of {stop}°, past the {most}° that the machine or the die turns: leave it, and ask."
NO_ANGLE = "Type degrees above 0 and up to 359, such as 88.5."
NO_SHOP_FILE = "The demo shop keeps no test bends: record them in a shop file of your own."
#: Heads of the measured bends as CSV.
MEASURED_HEADS = ("part", "piece", "bend", "die", "metal", "wall_mm", "stop_deg", "angle_deg")


def bench_value(parts: Iterable[PartPage], shop: Shop) -> dict[str, Any]:
    """All of it: ``words`` for every part, ``parts`` by key."""
    return {"words": bench_words(shop), "parts": {part.key: bench_data(part, shop) for part in parts}}


def bench_words(shop: Shop) -> dict[str, Any]:
    """What is one for all parts: sentences of the check card, the machine's scale, where it swings to."""
    return {
        "there": springback.IT_IS_THERE,
        "over": springback.TOO_FAR,
        "below": springback.BELOW_THE_SCALE,
        "on": springback.BEND_ON,
        "by": springback.BY,
        "again": springback.MEASURE_AGAIN,
        "leg": springback.PER_LEG,
        "past": PAST,
        "typed": NO_ANGLE,
        "demoNote": NO_SHOP_FILE,
        "close": springback.CLOSE_ENOUGH,
        "step": shop.machine.stop_step,
        "heads": ",".join(MEASURED_HEADS),
        "plane": shop.machine.plane or "vertical",
        "to": swings_to(shop.machine),
        "ahead": shop.machine.swings != "behind",
        "demo": shop.is_demo,
    }


def swings_to(machine: Machine) -> str:
    """Where the end that swings goes: 'up', 'down', 'left' or 'right'."""
    return machine.bends_to or ("left" if machine.plane == "horizontal" else "up")


def bench_data(part: PartPage, shop: Shop) -> dict[str, Any]:
    """One part: ``bends`` by number as the machine is set for them, ``check`` to measure them by, ``ends`` to cut.

    Of a tube that is not to be made as drawn nothing is set, marked or measured.
    """
    value: dict[str, Any] = {"ends": {joint.end: _end(joint) for joint in part.joints}}
    setup = part.setup
    if setup is None or setup.plan.lacks or part.refusal is not None:
        return value
    value["stick"] = [
        round(setup.stick_length, 2),
        setup.feed_from,
        [[step.bend, round(step.mark, 2)] for step in setup.steps],
        [round(setup.extra_a, 2), round(setup.extra_b, 2)],
    ]
    value["bends"] = {
        str(step.bend): {
            "turn": round(step.turn_set, 4),
            "stop": round(step.stop_set, 4),
            "clamp": round(step.die.clamp, 2) if step.die else 0.0,
            "tail": round(step.die.tail, 2) if step.die else 0.0,
            "over": step.inverted is not None,
        }
        for step in setup.steps
    }
    if setup.steps:
        value["check"] = {
            "cells": [text_cell(part.name), [text_cell(tube.name) for tube in part.part.tubes]],
            "rows": [_check_row(step, setup, shop) for step in sorted(setup.steps, key=lambda step: step.bend)],
        }
    return value


def _check_row(step: Step, setup: Setup, shop: Shop) -> dict[str, Any]:
    """What a bend should come to, how its next stop follows from what it measures, how that is recorded."""
    tube, die = setup.tube, step.die
    wall = f"{tube.section.wall:.6g}" if tube.section is not None else ""
    row: dict[str, Any] = {
        "bend": step.bend,
        "target": step.target,
        "stop": step.stop_set,
        "slope": step.springback.slope,
        "most": shop.greatest_angle(die),
        "cells": ",".join([str(step.bend), text_cell(die.name if die else ""), text_cell(tube.metal or ""), wall]),
        "command": "",
    }
    if die is not None and not shop.is_demo:
        words = ["elbowroom", "springback", shop.source, "--die", die.name]
        if tube.metal is not None and find_metal(tube.metal, shop.metals) is not None:
            words += ["--metal", tube.metal]
        row["command"] = shlex.join([*words, *(["--wall", f"{wall}mm"] if wall else [])])
    return row


def _end(joint: Joint) -> dict[str, Any]:
    """A cut once around from its zero line: how far back the metal ends, outside and at the bore; and what cuts it."""
    phi = np.arange(0.0, 360.0, AROUND)
    known, outside, bore = np.array(joint.profile).T
    value: dict[str, Any] = {
        "cut": _rounded(np.interp(phi, known, outside, period=360.0)),
        "r": _rounded(np.broadcast_to(joint.cut.branch.radii(np.radians(phi), False), phi.shape)),
        "long": round(joint.long_phi, 2),
    }
    if joint.section.bore is not None:
        value["bore"] = _rounded(np.interp(phi, known, bore, period=360.0))
        value["rb"] = _rounded(np.broadcast_to(joint.cut.branch.radii(np.radians(phi), True), phi.shape))
    for name in ("r", "rb"):
        if name in value and len(set(value[name])) == 1:
            value[name] = value[name][:1]
    if joint.hole_saw is not None:
        saw = joint.hole_saw
        value["saw"] = [round(v, 3) for v in (saw.size, saw.depth, saw.from_square, saw.offset, saw.center)]
    elif joint.end_cut.saw_angle is not None:
        value["tilt"] = round(joint.end_cut.saw_angle, 3)
    return value


def _rounded(values: Any) -> list[float]:
    return [round(v, 2) + 0.0 for v in values.tolist()]
