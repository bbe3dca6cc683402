"""Whether two tubes come out equal, or one as the other's mirror image, within what a shop can tell.

Equal means: the bend tables agree, the sections, and on every line around each end the metal stops at the same
place; so does the outline of every hole. The limits are common practice, no source: a saw cuts to some tenths of a
millimetre, a bender to a tenth of a degree.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from converter.arrays import Array
from converter.geometry.vectors import within_half_turn
from converter.joints.alike.form import Form, HoleForm, Look
from converter.model.section import Section

#: mm and degrees within which two tubes are equal: far below what a shop cuts and bends to.
LENGTH, ANGLE = 0.05, 0.01
#: mm within which sections are equal: walls of neighbouring sizes differ by less than `LENGTH`.
SECTION = 0.01
#: Angles at which cut ends are compared: not where corners of sections and ends of cuts usually lie.
_AROUND: Array = np.arange(0.0, 360.0, 2.5) + 0.613
_AS_IS = Look()


def same_section(one: Section | None, other: Section | None) -> bool:
    """Whether two sections are equal (`SECTION`), perhaps one of them told the other way round; unknown ones are."""
    if one is None or other is None:
        return one is other
    return _equal_sizes(one, other) or lies_across(one, other)


def lies_across(one: Section | None, other: Section | None) -> bool:
    """Whether two sections are equal only when one lies a quarter turn from the other."""
    if one is None or other is None or not other.lies_two_ways or _equal_sizes(one, other):
        return False
    return one.shape == other.shape and _near_sizes(_sizes(one), (other.height, other.od, other.wall, other.corner))


def _equal_sizes(one: Section, other: Section) -> bool:
    return one.shape == other.shape and _near_sizes(_sizes(one), _sizes(other))


def _sizes(section: Section) -> tuple[float, ...]:
    return section.od, section.height, section.wall, section.corner


def _near_sizes(here: tuple[float, ...], there: tuple[float, ...]) -> bool:
    return all(abs(a - b) <= SECTION for a, b in zip(here, there, strict=True))


def same_table(one: Form, other: Form, look: Look) -> bool:
    """Whether the bend table of one is that of another as looked at: every length, radius, angle and rotation."""
    # plain numbers: tables are short, and jobs may have thousands
    here, there = one.lengths(_AS_IS), other.lengths(look)
    if len(here) != len(there):
        return False
    for a, b in zip(here, there, strict=True):
        if a is None or b is None:
            if a is not b:
                return False
        elif not abs(a - b) <= LENGTH:
            return False
    angles = zip(one.angles(_AS_IS), other.angles(look), strict=True)
    return all(abs(within_half_turn(a - b)) <= ANGLE for a, b in angles)


def same_metal(one: Form, other: Form, look: Look) -> bool:
    """Whether the cuts and holes of one are those of another as looked at; their tables agree."""
    if any(one.doubt(second, Look()) != other.doubt(second, look) for second in (False, True)):
        return False
    if len(one.holes) != len(other.holes):
        return False
    return any(_same_when_rolled(one, other, look, roll) for roll in rolls(one, other, look))


def rolls(one: Form, other: Form, look: Look) -> Iterator[float]:
    """By how much the other's angles may differ: 0 where a bend says it, else what brings marks to marks, degrees."""
    fold = one.fold
    if fold is not None:
        turn = one.section_angle(Look()) - other.section_angle(look)
        if lies_across(one.tube.section, other.tube.section):
            turn += 90.0
        if len(one.legs) > 1:
            if abs((turn + fold / 2.0) % fold - fold / 2.0) <= ANGLE:
                yield 0.0
        else:
            yield from (turn + fold * i for i in range(round(360.0 / fold)))
        return
    first = next(one.marks(Look()), None) if len(one.legs) == 1 else None
    if first is None:
        yield 0.0
    else:
        yield from (first - mark for mark in dict.fromkeys(other.marks(look)))


def _same_when_rolled(one: Form, other: Form, look: Look, roll: float) -> bool:
    """Whether cuts and holes agree when ``roll`` is added to the other's angles."""
    ends = all(_same_end(one, other, second, look, roll) for second in (False, True))
    return ends and (not one.holes or _same_holes(one, other, look, roll))


def _same_end(one: Form, other: Form, second: bool, look: Look, roll: float) -> bool:
    """Whether the metal stops alike on every line; beside a step, a line a hair to the left or right will do."""
    cut = one.cut(second, _AROUND, Look())
    if cut is None and not other.is_cut(second, look):
        return True
    beside = np.concatenate([_AROUND - roll + off for off in (-ANGLE, 0.0, ANGLE)])
    there = other.cut(second, beside, look)
    least, most = (np.zeros((2, len(_AROUND))),) * 2
    if there is not None:
        three = there.reshape(2, 3, -1)
        least, most = three.min(axis=1), three.max(axis=1)
    here = np.zeros((2, len(_AROUND))) if cut is None else cut
    return bool(np.all((here >= least - LENGTH) & (here <= most + LENGTH)))


def _same_holes(one: Form, other: Form, look: Look, roll: float) -> bool:
    """Whether every hole has its equal."""
    section = one.tube.section
    assert section is not None  # holes are cut only in tubes with a section
    radius = section.od / 2.0
    left = other.holes_seen(look)
    for hole in one.holes_seen(Look()):
        alike = next((h for h in left if _same_hole(hole, h, roll, radius)), None)
        if alike is None:
            return False
        left.remove(alike)
    return True


def _same_hole(one: HoleForm, other: HoleForm, roll: float, radius: float) -> bool:
    turn = within_half_turn(one.angle - other.angle - roll)
    if abs(one.at - other.at) > LENGTH or np.radians(abs(turn)) * radius > LENGTH:
        return False
    return _near(_flat(one, 0.0, one.angle, radius)[::8], _flat(other, roll, one.angle, radius)) <= LENGTH


def _flat(hole: HoleForm, roll: float, middle: float, radius: float) -> Array:
    """The outline unrolled about an angle, mm."""
    turns = hole.outline[:, 0] + roll - middle
    turns = turns - 360.0 * np.round(turns.mean() / 360.0)
    return np.column_stack((np.radians(turns) * radius, hole.outline[:, 1]))


def _near(points: Array, line: Array) -> float:
    """How far the farthest of some points lies from a line through many, mm."""
    starts, ways = line[:-1], np.diff(line, axis=0)
    off = points[:, None, :] - starts[None, :, :]
    share = np.clip((off * ways).sum(axis=2) / np.maximum((ways * ways).sum(axis=1), 1e-300), 0.0, 1.0)
    return float(np.linalg.norm(off - share[:, :, None] * ways, axis=2).min(axis=1).max())
