"""What the HTML sheet shows of a job as a whole: the list of parts, the bars they are cut from, the frame fitted up."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from converter.exporters.cutting.diagram import bars_picture, legend
from converter.exporters.pictures.picture import Picture
from converter.exporters.sheet.content import DrawingPage, PartPage
from converter.exporters.sheet.steps import StepLine
from converter.exporters.sheet.view import PartView
from converter.findings import SEVERITIES
from converter.findings.wording import listed
from converter.job.cutlist import CutList
from converter.job.cutlist_words import group_sentences, group_title
from converter.joints.model import Joint
from converter.model.part import Part
from converter.units import BothUnits, Display
from converter.words import cut_to, meeting_text


@dataclass(frozen=True, slots=True)
class ListedPart:
    """One line of the list.

    Attributes:
        part: what it shows.
        dies: name of each die that it is bent on, and the numbers of the bends, the die mounted first ahead.
        long: of its stick or, where that is not known, of its centerline, whole mm, to sort by.
        worst: rank of its worst finding, 0 for an error; one more than the last where there is none.
        mirror: name of the part that it is the mirror image of, or ''.
    """

    part: PartView
    dies: tuple[tuple[str, tuple[int, ...]], ...]
    long: int
    worst: int
    mirror: str


def listed_parts(parts: Sequence[PartView]) -> list[ListedPart]:
    """A line for every part in the order drawn, but a mirror image beside what it mirrors."""
    names = {part.page.name: i for i, part in enumerate(parts)}
    order = sorted(enumerate(parts), key=lambda item: (names.get(item[1].page.part.mirror_of or "", item[0]), item[0]))
    return [_listed(part) for _, part in order]


def _listed(part: PartView) -> ListedPart:
    page = part.page
    length = page.tube.run.table.developed_length if page.setup is None else page.setup.stick_length
    worst = SEVERITIES.index(page.worst) if page.worst else len(SEVERITIES)
    return ListedPart(part, _dies(page), round(length), worst, _mirror(page.part))


def _dies(page: PartPage) -> tuple[tuple[str, tuple[int, ...]], ...]:
    found: dict[str, list[int]] = {}
    for step in page.setup.steps if page.setup else ():
        if step.die is not None and step.bend not in page.bad_bends:
            found.setdefault(step.die.name, []).append(step.bend)
    return tuple((name, tuple(bends)) for name, bends in found.items())


def _mirror(part: Part) -> str:
    return part.mirror_of or part.mirrored_by or ""


# --- bars -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BarsView:
    """The bars of one section: its title, what to buy and what is left, and a row for each letter in the picture."""

    title: str
    sentences: tuple[str, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def bars_views(cuts: CutList, both: BothUnits) -> tuple[BarsView, ...]:
    """The sections of a list in their order."""
    views = []
    for group in cuts.groups:
        heads, rows = legend(group, both)
        sentences = tuple(group_sentences(group, both, cuts.currency))
        views.append(BarsView(group_title(group, both), sentences, heads, tuple(map(tuple, rows))))
    return tuple(views)


def bars_pictures(cuts: CutList, display: Display) -> tuple[Picture | None, ...]:
    """All bars of each section; None for one that has none."""
    return tuple(
        replace(bars_picture(group, group.plan.patterns, display), title=f"Bars to scale, {n} of {len(cuts.groups)}")
        if group.plan is not None and group.plan.patterns
        else None
        for n, group in enumerate(cuts.groups, 1)
    )


# --- fit-up and tacking, a tube at a time -----------------------------------------------------


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
        text = _fit_text(part, name, joints, received.get(name, ()))
        found.append(FitStep(f"tube-{number}", part.key, piece, name, text, _fit_lines(part, joints, both)))
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


def _fit_text(part: PartPage, name: str, joints: Sequence[Joint], received: Sequence[str]) -> str:
    if not joints:
        are = "is" if len(received) == 1 else "are"
        return f"Set {name} up where the frame is built, as drawn, and clamp it: {listed(received)} {are} fitted to it."
    ends = [f"end {part.part.end_of(name, joint.end)} {cut_to(joint)}" for joint in joints]
    where = "each end" if len(joints) > 1 else "it"
    return (
        f"Put {name} where it belongs: {listed(ends)}. It goes there without force; clamp it, tack {where} on two "
        "opposite sides, and measure again before the next."
    )


def _fit_lines(part: PartPage, joints: Sequence[Joint], both: BothUnits) -> tuple[StepLine, ...]:
    return tuple(
        StepLine(f"End {part.part.end_of(joint.tube, joint.end)}", cut_to(joint), meeting_text(joint, both))
        for joint in joints
    )
