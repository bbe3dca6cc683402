"""Checks of the shape itself: rings, loops, tubes that run into themselves, square tube rolled askew."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, hypot, radians, sin

from converter.audit.registry import check
from converter.audit.subject import QUARTER, Subject
from converter.findings import Finding
from converter.model.bends import BendTable
from converter.model.self_approach import nearest_to_itself
from converter.tolerances import DEFAULT, PAST_ANGLE, PAST_LENGTH, same_within


@check
def closed(subject: Subject) -> Iterator[Finding]:
    """A ring of nothing but bends is refused; any other loop must be cut somewhere."""
    run = subject.tube.run
    if not run.closed or not subject.bends or subject.reported & {("hoop", None), ("closed-loop", None), ("hoop", 1)}:
        return
    if max(run.table.straights) <= same_within(DEFAULT.join):
        turn = sum(bend.angle for bend in subject.bends)
        yield subject.finding(
            "hoop",
            values={"turn": turn},
            measured=turn,
            limit=360.0,
            unit="deg",
        )
        return
    longest = max(run.table.straights[0] + run.table.tail, *run.table.straights)
    yield subject.finding("closed-loop", values={"longest": longest}, measured=longest)


@check
def clear_of_itself(subject: Subject) -> Iterator[Finding]:
    """No bend folds its own inside or turns so far that the straights on both sides meet."""
    section = subject.tube.section
    if section is None:
        return
    straights = None
    for i, bend in enumerate(subject.bends):
        clr = bend.clr
        if clr is None:
            continue
        deep = section.smaller
        half = deep / 2.0
        if clr + bend.clr_uncertainty <= half + PAST_LENGTH:
            yield subject.finding(
                "self-contact",
                i,
                {"clr": min(clr, half), "half": half},  # what is above it by rounding is not told as above it
                variant="folds",
                measured=clr,
                limit=half,
            )
        elif bend.angle > 180.0:
            straights = straights or subject.tube.run.table.straights
            gap = turn_gap(clr, bend.angle, straights[i], straights[i + 1])
            if gap < deep - PAST_LENGTH:
                yield subject.finding(
                    "self-contact",
                    i,
                    {"angle": bend.angle, "gap": gap, "thick": deep},
                    variant="turns",
                    measured=gap,
                    limit=deep,
                )


#: Centerlines nearer than this part of the tube's thickness run through each other; between this and the
#: whole they may be meant to touch, which the room to swing says.
_THROUGH = 0.75


@check
def not_through_itself(subject: Subject) -> Iterator[Finding]:
    """The tube does not run through itself, but for an end that is drawn up to its own side to be welded there."""
    section, run = subject.tube.section, subject.tube.run
    if section is None or not subject.bench.near_itself(subject.tube):
        return
    thick = section.smaller
    met = nearest_to_itself(run.centerline, thick)
    if met is None or met[0] >= _THROUGH * thick - PAST_LENGTH:
        return
    gap, place = met
    after = next((i for i, at in enumerate(_bend_ends(run.table)) if at >= place), len(subject.bends) - 1)
    yield subject.finding(
        "self-contact",
        after,
        {"gap": gap, "thick": thick},
        variant="passes",
        measured=gap,
        limit=thick,
    )


def _bend_ends(table: BendTable) -> list[float]:
    """Developed length in mm from end A to the end of each bend."""
    out, at = [], 0.0
    for bend in table.bends:
        at += bend.feed + bend.arc_length
        out.append(at)
    return out


@check
def long_enough(subject: Subject) -> Iterator[Finding]:
    """A tube is longer than it is thick; a shorter one is likely a stray mark."""
    section, table = subject.tube.section, subject.tube.run.table
    if section is None or table.tail >= section.od - PAST_LENGTH:
        return
    if subject.reported & {("short-run", None), ("leftover-line", None)}:
        return
    length = table.developed_length
    if length < section.od - PAST_LENGTH:
        yield subject.finding(
            "short-run",
            values={"length": length, "thick": section.od},
            measured=length,
            limit=section.od,
        )


@check
def quarter_rolls(subject: Subject) -> Iterator[Finding]:
    """A section with flats is rolled by quarter turns only."""
    section = subject.tube.section
    if section is None or (step := section.kind.roll_step) is None:
        return
    for i in range(1, len(subject.bends)):
        rotation = subject.bends[i].rotation
        off = abs(rotation - step * round(rotation / step))
        if off > QUARTER + PAST_ANGLE:
            yield subject.finding(
                "roll-not-quarter",
                i,
                {"shape": section.shape, "roll": rotation, "off": off},
                measured=off,
                limit=QUARTER,
                unit="deg",
            )


def turn_gap(clr: float, angle: float, before: float, after: float) -> float:
    """Least distance in mm between the straights on both sides of a bend of more than 180 degrees.

    Both lie in the plane of the bend: the first ends at the origin along +x with the bend's centre
    at (0, clr); the second starts where the bend ends. Their ends on the arc are part of both, so the
    distance covers the arc's ends too. Straights below zero count as points.
    """
    a = radians(angle)
    end = (clr * sin(a), clr - clr * cos(a))
    way = (cos(a), sin(a))
    first = ((-max(before, 0.0), 0.0), (0.0, 0.0))
    second = (end, (end[0] + way[0] * max(after, 0.0), end[1] + way[1] * max(after, 0.0)))
    if _cross(first, second):
        return 0.0
    return min(
        _to_segment(second[0], first), _to_segment(second[1], first),
        _to_segment(first[0], second), _to_segment(first[1], second),
    )  # fmt: skip


_Point = tuple[float, float]
_Segment = tuple[_Point, _Point]


def _side(a: _Point, b: _Point, p: _Point) -> float:
    return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])


def _cross(s: _Segment, t: _Segment) -> bool:
    return (
        _side(*s, t[0]) * _side(*s, t[1]) < 0.0 and _side(*t, s[0]) * _side(*t, s[1]) < 0.0
    )  # touching ends are found as distances


def _to_segment(p: _Point, s: _Segment) -> float:
    (ax, ay), (bx, by) = s
    dx, dy = bx - ax, by - ay
    square = dx * dx + dy * dy
    k = 0.0 if square == 0.0 else min(1.0, max(0.0, ((p[0] - ax) * dx + (p[1] - ay) * dy) / square))
    return hypot(p[0] - ax - k * dx, p[1] - ay - k * dy)
