"""Fit-up and tacking of the frame, a tube at a time: what comes first, where each end goes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from converter.exporters.sheet.content import DrawingPage, PartPage
from converter.exporters.sheet.steps import StepLine
from converter.findings.wording import listed
from converter.joints.model import Joint
from converter.units import BothUnits
from converter.words import cut_to, meeting_text


@dataclass(frozen=True, slots=True)
class FitStep:
    """One tube put in its place.

    Attributes:
        key: for the page's memory, unique in its drawing: ``tube-1``.
        part: key of its part on the page.
        piece: which tube of its part, from 0.
        name: of the tube, raw.
        text: what to do, a sentence or a few.
        lines: where each end goes.
        caption, table: of its picture, and below its text; none is needed.
    """

    key: str
    part: str
    piece: int
    name: str
    text: str
    lines: tuple[StepLine, ...]
    caption: str = ""
    table: tuple[StepLine, ...] = ()


def fit_steps(page: DrawingPage, both: BothUnits) -> tuple[FitStep, ...]:
    """The tubes of a drawing that are joined to others, in the order of `fit_order`; () where none is."""
    shown = page.job.shown
    of_tube: dict[str, list[Joint]] = {}
    for joint in shown.joints:
        if joint.mates:
            of_tube.setdefault(joint.tube, []).append(joint)
    mates = {name: [mate for joint in joints for mate in joint.mates] for name, joints in of_tube.items()}
    received: dict[str, list[str]] = {}
    for name, others in mates.items():
        for mate in dict.fromkeys(others):
            received.setdefault(mate, []).append(name)
    placed = {tube.name: (part, i) for part in page.parts for i, tube in enumerate(part.part.tubes)}
    joined = [tube.name for tube in shown.tubes if tube.name in mates or tube.name in received]
    found = []
    for number, name in enumerate(fit_order(joined, mates), 1):
        part, piece = placed[name]
        joints = sorted(of_tube.get(name, ()), key=lambda joint: part.part.end_of(joint.tube, joint.end))
        text = _text(part, name, joints, received.get(name, ()))
        found.append(FitStep(f"tube-{number}", part.key, piece, name, text, _lines(part, joints, both)))
    return tuple(found)


def fit_order(names: Sequence[str], mates: Mapping[str, Iterable[str]]) -> list[str]:
    """Tubes in the order they are put up: each after those that its ends are cut to, as far as that can be.

    Where tubes wait for one another, as those of a mitred frame do, the one that waits for fewest goes first, and of
    several the one that most wait for.

    Args:
        names: in the order drawn.
        mates: by name, the tubes that its ends are cut to.
    """
    left, order = list(names), []
    waits = {name: set(mates.get(name, ())) & set(names) - {name} for name in names}
    while left:
        chosen = min(left, key=lambda name: (len(waits[name]), -sum(name in waits[other] for other in left)))
        order.append(chosen)
        left.remove(chosen)
        for others in waits.values():
            others.discard(chosen)
    return order


def _text(part: PartPage, name: str, joints: Sequence[Joint], received: Sequence[str]) -> str:
    if not joints:
        are = "is" if len(received) == 1 else "are"
        return f"Set {name} up where the frame is built, as drawn, and clamp it: {listed(received)} {are} fitted to it."
    ends = [f"end {part.part.end_of(name, joint.end)} {cut_to(joint)}" for joint in joints]
    where = "each end" if len(joints) > 1 else "it"
    return (
        f"Put {name} where it belongs: {listed(ends)}. It goes there without force; clamp it, tack {where} on two "
        "opposite sides, and measure again before the next."
    )


def _lines(part: PartPage, joints: Sequence[Joint], both: BothUnits) -> tuple[StepLine, ...]:
    return tuple(
        StepLine(f"End {part.part.end_of(joint.tube, joint.end)}", cut_to(joint), meeting_text(joint, both))
        for joint in joints
    )
