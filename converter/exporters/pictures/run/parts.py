"""What a picture of a run says: its straights and bends in place, each with its words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from converter.findings import ERROR, Finding
from converter.findings.wording import at_bend
from converter.geometry.vectors import Vec, along, cross, rotate, scale, sub
from converter.model.bends import Bend, BendTable
from converter.model.centerline import walk
from converter.model.curve import Arc
from converter.model.run import Run, Tube
from converter.shop.sections import describe
from converter.units import Display

#: What is written beside a bend whose error has no words of its own.
_ANY = "see findings"


@dataclass(frozen=True, slots=True)
class DrawnStraight:
    """A straight between bends.

    Attributes:
        number: 1 before bend 1, and so on; the last one is the tail.
        start, end: its ends.
        length: mm, negative where bends overlap.
    """

    number: int
    start: Vec
    end: Vec
    length: float


@dataclass(frozen=True, slots=True)
class Turn:
    """A bend in place.

    Attributes:
        number: 1, 2, ... from end A.
        bend: its row of the table.
        middle: half way along it, or the corner.
        outward: from its inside towards its outside there; not a unit vector.
        wrong: what is wrong with it in two or three words, or ''.
    """

    number: int
    bend: Bend
    middle: Vec
    outward: Vec
    wrong: str


@dataclass(frozen=True, slots=True)
class Parts:
    """A run taken apart."""

    straights: tuple[DrawnStraight, ...]
    turns: tuple[Turn, ...]
    start: Vec
    start_direction: Vec
    end: Vec
    end_direction: Vec

    @property
    def wrong(self) -> frozenset[int]:
        """Numbers of the bends that an error names."""
        return frozenset(turn.number for turn in self.turns if turn.wrong)


def parts_of(run: Run, findings: Sequence[Finding]) -> Parts:
    """The straights and bends of a run in place.

    Args:
        run: the run.
        findings: those that name another tube do not count.
    """
    words = wrong_words(run.name, findings)
    place = run.placement
    first = place
    straights, turns = [], []
    for number, bend in enumerate(run.table.bends, 1):
        stop = along(place.start, place.direction, bend.feed)
        straights.append(DrawnStraight(number, place.start, stop, bend.feed))
        before = replace(place, start=stop)
        segments, place = walk(BendTable((replace(bend, feed=0.0),), 0.0), before)
        if segments and isinstance(segments[0], Arc):
            arc = segments[0]
            middle = arc.point(arc.angle / 2.0)
            outward = sub(middle, arc.center)
        else:
            middle = stop
            normal = rotate(before.normal, before.direction, bend.rotation)
            outward = sub(before.direction, place.direction)
            if outward == (0.0, 0.0, 0.0):
                outward = scale(cross(normal, before.direction), -1.0)
        turns.append(Turn(number, bend, middle, outward, words.get(number, "")))
    stop = along(place.start, place.direction, run.table.tail)
    straights.append(DrawnStraight(len(turns) + 1, place.start, stop, run.table.tail))
    return Parts(tuple(straights), tuple(turns), first.start, first.direction, stop, place.direction)


def wrong_words(name: str, findings: Sequence[Finding]) -> dict[int, str]:
    """Bend -> what its first error is, in a few words."""
    found: dict[int, str] = {}
    for finding in findings:
        if finding.severity == ERROR and finding.bend is not None and finding.tube in (None, name):
            found.setdefault(finding.bend, at_bend(finding) or _ANY)
    return found


def bend_words(turn: Turn, display: Display) -> list[str]:
    """The lines beside a bend: angle and radius, then the rotation (bend 1 has none)."""
    bend = turn.bend
    radius = "sharp corner" if bend.clr is None else f"CLR {display.number(bend.clr)}"
    lines = [f"{display.angle(bend.angle)}, {radius}"]
    if turn.number > 1:
        lines.append(f"rotation {display.angle(bend.rotation)}")
    return lines


def picture_in_words(
    tube: Tube, parts: Parts, display: Display, what: str, *, ends: Mapping[str, str] | None = None, fed_from: str = "A"
) -> str:
    """What a picture shows, for people who cannot see it."""
    table = tube.run.table
    count = len(table.bends)
    bends = "no bends" if not count else f"{count} bend{'s' if count > 1 else ''}"
    said = [f"{what} with {bends}, developed length {display.length(table.developed_length)}."]
    if tube.section is not None:
        said.append(f"Section {describe(tube.section, display)}.")
    else:
        said.append("Its section is not known, so only its centerline is drawn.")
    for straight, turn in zip(parts.straights, parts.turns, strict=False):
        words = ", ".join(bend_words(turn, display))
        wrong = f", {turn.wrong}" if turn.wrong else ""
        said.append(f"Bend {turn.number}: after a straight of {display.number(straight.length)}, {words}{wrong}.")
    if count:
        said.append(f"Last straight {display.number(table.tail)}.")
    if tube.run.closed:
        said.append("It is closed: end A meets end B.")
    if fed_from == "B":
        said.append("End B goes into the bender first.")
    for end, word in sorted((ends or {}).items()):
        said.append(f"End {end} is {word}.")
    return " ".join(said)
