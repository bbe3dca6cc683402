"""A run taken apart at its sharp corners, to be mitred there instead of bent: a run for every stretch between two."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from converter.findings import Finding
from converter.geometry.vectors import Vec, along, angle_between, dot, rotate, signed_angle, unit
from converter.model.bends import Bend, BendTable, Placement
from converter.model.centerline import walk
from converter.model.run import Run
from converter.reducer.refit import FOLDED

#: Degrees by which the two ends of a closed run may differ in direction where it goes straight on.
_ONE_LINE = 0.2


def is_sharp(bend: Bend) -> bool:
    """Whether a bend is a sharp corner between straights, where two tubes can be mitred."""
    return bend.clr is None and bend.corner and bend.angle < FOLDED


def sharp_corners(run: Run) -> tuple[int, ...]:
    """Indices of the bends that are sharp corners."""
    return tuple(i for i, bend in enumerate(run.table.bends) if is_sharp(bend))


def split_at_corners(run: Run, taken: Collection[str] = ()) -> list[Run]:
    """The runs that a run comes to when it is mitred at its sharp corners, in the order of its table; arcs stay bends.

    Where a closed run starts and ends within a straight, that straight is of one run, which comes last.

    Args:
        run: as reduced; without a sharp corner it comes back as it is.
        taken: names that other runs have.

    Returns:
        Runs named ``NAME-1`` and so on, each in its place, with the section as it lies in the whole run.
        What was told of the whole run stays with the first.
    """
    stretches = _stretches(run)
    if not stretches:
        return [run]
    if run.closed and _runs_through(run, stretches):
        stretches = [*stretches[1:-1], _joined(stretches[-1], stretches[0])]
    names = _names(run.name, len(stretches), taken)
    return [
        replace(
            run,
            name=name,
            closed=False,
            table=one.table,
            placement=one.placement,
            end_point=one.end.start,
            findings=tuple(_findings(run, one, name, first=i == 0)),
            metal=None,
            drawn_ends=(run.drawn_ends[0] if "A" in one.ends else None, run.drawn_ends[1] if "B" in one.ends else None),
            drawn_as=run.name,
        )
        for i, (one, name) in enumerate(zip(stretches, names, strict=True))
    ]


@dataclass(frozen=True, slots=True)
class _Stretch:
    """What lies between two sharp corners.

    Attributes:
        table, placement: of the stretch; end: the frame at its end B.
        numbers: of its bends in the whole run's table, 1-based.
        ends: letters of the whole run's ends that are its own.
    """

    table: BendTable
    placement: Placement
    end: Placement
    numbers: tuple[int, ...]
    ends: str


def _stretches(run: Run) -> list[_Stretch]:
    """The stretches in order, each with the section's frame carried along; none for a run without a sharp corner."""
    corners = sharp_corners(run)
    if not corners:
        return []
    found: list[_Stretch] = []
    bends = run.table.bends
    at = run.placement  # its normal is that of the bend before
    across = at.normal  # the section's width direction
    first = 0
    for stop in (*corners, len(bends)):
        own, last = bends[first:stop], stop == len(bends)
        if own:
            across = _square(rotate(at.normal, at.direction, own[0].rotation), at.direction)
            own = (replace(own[0], rotation=0.0), *own[1:])
        table = BendTable(own, run.table.tail if last else bends[stop].feed)
        placement = Placement(at.start, at.direction, across)
        end = walk(table, placement)[1]
        ends = ("A" if first == 0 else "") + ("B" if last else "")
        found.append(_Stretch(table, placement, end, tuple(range(first + 1, stop + 1)), ends))
        if last:
            break
        across = _across_at_end(table, placement)
        corner = bends[stop]
        plane = rotate(end.normal if own else at.normal, end.direction, corner.rotation)
        direction = rotate(end.direction, plane, corner.angle)
        across = _square(rotate(across, plane, corner.angle), direction)
        at = Placement(end.start, direction, _square(plane, direction))
        first = stop + 1
    return found


def _across_at_end(table: BendTable, placement: Placement) -> Vec:
    """The section's width direction at end B; along the normal of the first bend at end A."""
    at, across = placement, placement.normal
    for bend in table.bends:
        plane = _square(rotate(at.normal, at.direction, bend.rotation), at.direction)
        across = rotate(across, plane, bend.angle)
        at = walk(BendTable((replace(bend, feed=0.0, rotation=0.0),), 0.0), replace(at, normal=plane))[1]
    return across


def _square(v: Vec, direction: Vec) -> Vec:
    """The unit vector nearest to v that is exactly square to a direction: rounding kept from building up."""
    return unit(along(v, direction, -dot(v, direction)))


def _runs_through(run: Run, stretches: Sequence[_Stretch]) -> bool:
    """Whether a closed run goes straight on where its table begins."""
    return len(stretches) > 1 and angle_between(stretches[-1].end.direction, run.placement.direction) <= _ONE_LINE


def _joined(last: _Stretch, first: _Stretch) -> _Stretch:
    """The last stretch of a closed run and its first as one."""
    table, follower = last.table, first.table
    middle = table.tail + (follower.bends[0].feed if follower.bends else follower.tail)
    placement, rows = last.placement, follower.bends
    if not rows:
        table = replace(table, tail=middle)
    elif not table.bends:
        placement = replace(placement, normal=_square(first.placement.normal, placement.direction))
        table = BendTable((replace(rows[0], feed=middle), *rows[1:]), follower.tail)
    else:
        turned = signed_angle(last.end.normal, first.placement.normal, last.end.direction)
        table = BendTable((*table.bends, replace(rows[0], feed=middle, rotation=turned), *rows[1:]), follower.tail)
    return _Stretch(table, placement, first.end, (*last.numbers, *first.numbers), "")


def _names(name: str, count: int, taken: Collection[str]) -> list[str]:
    """``NAME-1`` and so on, without the names that others have; one run alone keeps its name."""
    if count == 1:
        return [name]
    used = {one.casefold() for one in taken}
    names: list[str] = []
    number = 0
    while len(names) < count:
        number += 1
        if f"{name}-{number}".casefold() not in used:
            names.append(f"{name}-{number}")
    return names


def _findings(run: Run, one: _Stretch, name: str, first: bool) -> list[Finding]:
    """What was told of the run that holds for a stretch of it, by its own name and numbers of bends."""
    number = {whole: own for own, whole in enumerate(one.numbers, 1)}
    found = []
    for finding in run.findings:
        if finding.bend is not None:
            if finding.bend in number:
                values = tuple(
                    (key, number.get(value, value) if key == "other_bend" and isinstance(value, int) else value)
                    for key, value in finding.value_pairs
                )
                found.append(replace(finding, tube=name, bend=number[finding.bend], values=values))
        elif finding.end in one.ends if finding.end is not None else first:
            found.append(replace(finding, tube=name))
    return found
