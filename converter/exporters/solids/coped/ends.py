"""Tubes with their ends cut: the parts of a joint turned into the kernel's cutters.

A line of the tube's end stops where it first meets a mate (`converter.joints.cuts.saddle.Cut`); a
solid loses all that lies within the mates' outsides, and what then hangs loose. Where part of
an end passes beside its mate, it is cut off level with the mate's axis, as the curve says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import copysign, pi
from typing import TYPE_CHECKING, Any

import numpy as np

from converter.arrays import Array
from converter.errors import GeometryError
from converter.exporters.solids.coped.behind_bends import (
    OTHER_STEPS,
    STEP,
    hides,
    how_far_aside,
    is_widest_level,
    seen_aside,
    strips,
)
from converter.exporters.solids.coped.own_ends import MetalPart, met_by_end, metal_parts
from converter.geometry.vectors import Vec, along, any_normal, cross, dot, norm, scale, sub, unit
from converter.joints.cuts.lines import ObstaclePart, ParallelLines
from converter.joints.cuts.round import RoundPrism
from converter.joints.cuts.saddle import HalfSpace, angles
from converter.joints.cuts.square import RectPrism
from converter.joints.cuts.torus import BendPart
from converter.joints.model import Joint
from converter.model.run import Run, Tube

if TYPE_CHECKING:
    from converter.model.metal import TubeMetal
    from converter.model.section import Section

#: How far cutters and run-on ends reach past what they must, mm.
MARGIN = 3.0
#: A length that changes by more (mm) from one angle to the next may step there, and how often its place is halved.
_STEP, _HALVINGS = 0.5, 20
#: Nodes of the integral over the wall, across it: mostly, and where a step runs along it.
_NODES = 8, 40
#: Cosine above which an end of a mate is square to its axis.
_SQUARE = 1.0 - 1e-12
#: Part by which a solid may be off the metal that its cuts leave: where those are in doubt, findings say so.
_ASTRAY = 0.1
#: Part by which a solid is off only where the kernel went wrong: steps of strips and planes for levels are off by less.
_WRONG = 1e-4


def run_on(run: Run, joints: Sequence[Joint]) -> tuple[Run, dict[str, float]]:
    """The run, its ends run on straight as far as the cuts need metal, and by how much (end -> mm)."""
    more: dict[str, float] = {}
    for joint in joints:
        reach = -min(min(od, bore) for _, od, bore in joint.profile)
        more[joint.end] = max(0.0, reach + MARGIN)
    table, placement = run.table, run.placement
    at_a, at_b = more.get("A", 0.0), more.get("B", 0.0)
    if table.bends:
        first = replace(table.bends[0], feed=table.bends[0].feed + at_a)
        table = replace(table, bends=(first, *table.bends[1:]), tail=table.tail + at_b)
    else:
        table = replace(table, tail=table.tail + at_a + at_b)
    placement = replace(placement, start=along(placement.start, placement.direction, -at_a))
    return replace(run, table=table, placement=placement, end_point=None), more


def joints_of(joints: Sequence[Joint]) -> dict[str, list[Joint]]:
    """Joints by the name of the tube that is cut."""
    found: dict[str, list[Joint]] = {}
    for joint in joints:
        found.setdefault(joint.tube, []).append(joint)
    return found


def coped_solid(tube: Tube, section: Section, joints: Sequence[Joint], made: TubeMetal | None = None) -> Any:
    """The solid of a tube with its ends cut, in drawing coordinates.

    Args:
        tube: the tube.
        section: its section.
        joints: of this tube; without any it is the plain solid.
        made: the same tube through `converter.model.metal.metal`, when it is at hand.

    Raises:
        GeometryError: there is no such solid.
        MissingLibraryError: the CAD kernel is not installed.
    """
    from converter.kernel.cuts import joined
    from converter.kernel.shapes.solids import tube_solid

    if not joints:
        return tube_solid(tube.run, section, made)
    parts, more = _parts(tube, section, joints)
    solids = [_cut_part(tube, section, part, more) for part in parts]
    return solids[0] if len(solids) == 1 else joined(solids, tube.name)


def own_end(
    tube: Tube, section: Section, joint: Joint, joints: Sequence[Joint]
) -> tuple[Any, list[tuple[TubeMetal, Any]]]:
    """The solid at an end that is cut to its own tube, and the rest of that tube as its mates.

    Args:
        tube, section: as of `coped_solid`, which has the errors too.
        joint: the end; joints: of all ends of the tube that are cut.
    """
    (rest, *ends), more = _parts(tube, section, joints)
    end = next(part for part in ends if part.joints == (joint,))
    mates = [met_by_end(rest, end, more[joint.end]), *(part for part in ends if part is not end)]
    solid, *others = (_cut_part(tube, section, part, more) for part in (end, *mates))
    return solid, [(part.metal, other) for part, other in zip(mates, others, strict=True)]


def _parts(tube: Tube, section: Section, joints: Sequence[Joint]) -> tuple[list[MetalPart], dict[str, float]]:
    """The parts of a tube that is run on as its cuts need it, and by how much: see `metal_parts` and `run_on`."""
    from converter.model.metal import metal

    run, more = run_on(tube.run, joints)
    return metal_parts(metal(run, section), joints, more), more


def _cut_part(tube: Tube, section: Section, part: MetalPart, more: Mapping[str, float]) -> Any:
    """The solid of a part of a tube, its ends cut."""
    from converter.kernel.cuts import LIKE, cut, unsound
    from converter.kernel.shapes.solids import tube_solid, volume

    solid, name = tube_solid(tube.run, section, part.metal), tube.name
    pieces, joints = part.metal.pieces, part.joints
    if not joints:
        return solid
    # by Pappus' theorem, but for sharp corners, whose mitres are measured
    mitred = any(piece.corner is not None for piece in pieces)
    whole = volume(solid) if mitred else section.area * sum(piece.length for piece in pieces)
    wanted = whole - sum(removed_volume(joint) + section.area * more[joint.end] for joint in joints)
    best: tuple[float, Any] | None = None
    problem: GeometryError | None = None
    for behind_bends, step in _ways(joints):
        if step != STEP and best is not None and best[0] <= _WRONG * wanted:
            break
        tools = [tool for joint in joints for tool in cutters(joint, more[joint.end], behind_bends, step)]
        try:
            found, size = cut(solid, tools, name, wanted)
        except GeometryError as error:
            problem = error
            continue
        off = abs(size - wanted)
        if best is None or off < best[0]:
            best = off, found
        if off <= LIKE * wanted:
            break
    if best is None:
        assert problem is not None
        raise problem
    if best[0] > _ASTRAY * abs(wanted):
        raise unsound(name)
    return best[1]


def _ways(joints: Sequence[Joint]) -> list[tuple[bool, float]]:
    """What to try in turn as ``behind_bends`` and ``step`` of `cutters`, the likelier first.

    Mostly nothing hangs on behind a bend, and what it hides need not be taken off by itself.
    """
    if not any(isinstance(part, BendPart) for joint in joints for mate in joint.cut.mates for part in mate):
        return [(False, STEP)]
    along = any(map(_level_along_bend, joints))
    return [(along, STEP), (not along, STEP), *((along, step) for step in OTHER_STEPS)]


def _level_along_bend(joint: Joint) -> bool:
    """Whether lines pass beside a leading bend that is not seen from its side: a plane is only near their level."""
    lead, branch = joint.cut.mates[0][0], joint.cut.branch
    if not isinstance(lead, BendPart) or abs(dot(lead.normal, joint.direction)) > _SQUARE:
        return False
    return not all(bool(joint.cut.reach(branch.lines(angles(5.0), bore))[1].all()) for bore in (False, True))


def removed_volume(joint: Joint) -> float:
    """The volume a joint takes off its tube, mm3 (negative where it reaches past the centerline's end).

    The length of the cut integrated over the wall: Gauss across it, evenly around, but for steps, which are found.
    """
    few, many = _NODES
    total, same = _over_wall(joint, few)
    return total if same else _over_wall(joint, many)[0]


def _over_wall(joint: Joint, count: int) -> tuple[float, bool]:
    """The integral with so many nodes across the wall, and whether all of them meet as many steps.

    Where they do not, a step runs along the wall, between two of them.
    """
    branch = joint.cut.branch
    nodes, weights = np.polynomial.legendre.leggauss(count)
    phi = np.radians(angles(0.25))

    def at(turn: Array, across: Array) -> tuple[Array, Array]:
        """(length, wall's area) for each radian around and place across the wall, -1 to 1."""
        outer, inner = (np.broadcast_to(branch.radii(turn, bore), turn.shape) for bore in (False, True))
        half = (outer - inner) / 2.0
        r = (outer + inner) / 2.0 + half * across
        t, _ = joint.cut.reach(ParallelLines(branch, r * np.cos(turn), r * np.sin(turn)))
        return t, half * r

    turn, across = np.tile(phi, count), np.repeat(nodes, len(phi))
    t, area = at(turn, across)
    found, after = area * t, np.roll(t.reshape(count, -1), -1, axis=1).ravel()
    sudden = step = np.flatnonzero(np.abs(after - t) > _STEP)
    if len(step):
        one, other = t[step], after[step]
        low, high, t_low, t_high = turn[step], turn[step] + phi[1], one, other
        for _ in range(_HALVINGS):
            middle = (low + high) / 2.0
            now = at(middle, across[step])[0]
            on = np.abs(now - one) <= np.abs(now - other)
            low, t_low = np.where(on, middle, low), np.where(on, now, t_low)
            high, t_high = np.where(on, high, middle), np.where(on, t_high, now)
        before = (low - turn[step]) / phi[1]
        sudden = step[np.abs(t_high - t_low) > _STEP]
        # trapezoids to both sides of it in place of the one across
        found[step] += area[step] * (before * (t_low - other) + (1.0 - before) * (t_high - one)) / 2.0
    steps = np.bincount(sudden // len(phi), minlength=count)
    return 2.0 * pi * float(weights @ found.reshape(count, -1).mean(axis=1)), bool((steps == steps[0]).all())


def cutters(joint: Joint, ahead: float, behind_bends: bool = True, step: float = STEP) -> list[Any]:
    """Solids that take off what a joint takes off.

    Args:
        joint: the joint.
        ahead: how far the tube runs on past its end point, mm.
        behind_bends: take off what bends of the mates hide, and cut level along a leading bend; else what is hidden
            is left to fall away, and the level is a plane.
        step: degrees between the cross sections of what goes along a bend.
    """
    points, met = _reached(joint, ahead)
    level, whole = ([], False) if met else _level(joint, points, behind_bends, step)
    made: list[Any] = []
    straight_on = len(joint.cut.mates) == 1 and (met or isinstance(joint.cut.mates[0][0], RoundPrism))
    lead = joint.cut.mates[0][0]
    for part in (part for mate in joint.cut.mates for part in mate):
        tool = tool_of(part, points)
        if tool is None:
            continue
        made.append(tool)
        # what lies behind one mate may hang on to the tube beside it, or to another mate's cut
        hidden = not straight_on and (behind_bends or not isinstance(part, BendPart))
        if hidden and not (part is lead and whole):
            made += _shadow(part, joint.direction, points, step)
    return made + level


def _level(joint: Joint, points: Array, along_bends: bool, step: float) -> tuple[list[Any], bool]:
    """What lies beyond where lines pass the leading mate, but for what stands in front of a mate: that stops there.

    In front of a round leading mate nothing does; a corner of a turned rectangle may lie beyond its axis, but no corner
    of one whose flats lie along the end. Nor does what hides behind a leading bend.

    Returns:
        Solids, and whether they take off all that a leading bend hides: the strip at the level is that of its shadow,
        but wider.
    """
    from converter.kernel.cuts import less

    lead = joint.cut.mates[0][0]
    parts = [part for mate in joint.cut.mates for part in mate]
    along_lead = False
    if isinstance(lead, BendPart) and along_bends:
        along_lead = seen_aside(lead, joint.direction)
        beyond = strips(lead, joint.direction, points, how_far_aside(lead, joint.direction, points), step)
        others = parts[1:] if is_widest_level(lead, joint.direction) else parts
        if along_lead and hides(lead, others, joint.cut.branch):
            others = []
    else:
        plane = _beside(joint)
        if plane is None:
            return [], False
        beyond = [_half_space(*plane, points)]
        others = parts[1:] if isinstance(lead, RoundPrism) else parts
    fronts = [front for part in others for front in _shadow(part, scale(joint.direction, -1.0), points, step)]
    for front in fronts:  # one by one: then they meet nothing of each other
        beyond = [less(one, [front], joint.tube) for one in beyond]
    return beyond, along_lead and not fronts


def _reached(joint: Joint, ahead: float) -> tuple[Array, bool]:
    """Points around all metal that a cut may touch, (n, 3), and whether every line meets a mate."""
    phi = angles(5.0)
    branch = joint.cut.branch
    across = cross(joint.mate_axis, joint.direction)
    aside = unit(across) if norm(across) > 1e-9 else None
    rows = []
    met_all = True
    for bore in (False, True):
        lines = branch.lines(phi, bore)
        t, met = joint.cut.reach(lines)
        # as little as it may be that passes beside the mate, it would stand on as far as the tube is run on
        outermost = () if aside is None else joint.cut.reach(branch.outermost(aside, bore))[1]
        met_all = met_all and bool(met.all()) and all(outermost)
        for length in (t + MARGIN, np.full(t.shape, -ahead - MARGIN)):
            rows.append(
                np.asarray(branch.point)
                + lines.p[:, None] * np.asarray(branch.zero)
                + lines.q[:, None] * np.asarray(branch.side)
                - length[:, None] * np.asarray(branch.direction)
            )
    return np.concatenate(rows), met_all


def cut_points(joint: Joint) -> tuple[list[Vec], Vec, Vec]:
    """Points of the cut on the outside where it meets a mate, and a box (low, high) around the whole end."""
    phi = angles(10.0)
    branch = joint.cut.branch
    lines = branch.lines(phi)
    t, met = joint.cut.reach(lines)
    near = (
        np.asarray(branch.point)
        + lines.p[:, None] * np.asarray(branch.zero)
        + lines.q[:, None] * np.asarray(branch.side)
        - t[:, None] * np.asarray(branch.direction)
    )
    around, _ = _reached(joint, max(0.0, -joint.long_point))
    low, high = around.min(axis=0) - MARGIN, around.max(axis=0) + MARGIN
    return (
        [(float(x), float(y), float(z)) for x, y, z in near[met]],
        (float(low[0]), float(low[1]), float(low[2])),
        (float(high[0]), float(high[1]), float(high[2])),
    )


def wall_points(joint: Joint) -> list[Vec]:
    """Points of the tube's outside and bore from the cut on 40 mm into the tube."""
    branch = joint.cut.branch
    found: list[Vec] = []
    for bore in (False, True):
        lines = branch.lines(angles(10.0), bore)
        start = (
            np.asarray(branch.point)
            + lines.p[:, None] * np.asarray(branch.zero)
            + lines.q[:, None] * np.asarray(branch.side)
        )
        t, _ = joint.cut.reach(lines)
        for more in (0.01, 0.05, 0.2, 0.5, 1.0, 2.0, 4.0, 7.0, 12.0, 20.0, 40.0):
            if more <= joint.straight:
                places = start - (t + more)[:, None] * np.asarray(branch.direction)
                found += [(x, y, z) for x, y, z in places.tolist()]
    return found


def tool_of(part: ObstaclePart, points: Array) -> Any:
    """What a part takes off, as a solid of the kernel that covers the points; None where the part ends before them."""
    from converter.kernel.cuts import bend, prism

    if isinstance(part, HalfSpace):
        return _half_space(part.point, part.normal, points)
    if isinstance(part, BendPart):
        half = (part.half_up, part.half_across, part.corner)
        return bend(part.center, part.normal, part.start, part.sweep, half, part.roll)
    assert isinstance(part, RoundPrism | RectPrism)
    up, half = _shape(part)
    span = _axis_span(part, points)
    if span is None:
        return None  # the mate ends before it comes near
    low, high = span
    slanted = [one for one in part.bounds if abs(dot(one[1], part.axis)) <= _SQUARE]
    tool = prism(part.point, part.axis, up, half, (low, high))
    if slanted:
        from converter.kernel.cuts import cut

        ends = np.array(
            [
                along(along(part.point, part.axis, s), v, w)
                for s in (low, high)
                for v in (up, cross(part.axis, up))
                for w in (-2.0 * max(half), 2.0 * max(half))
            ]
        )
        tool, _ = cut(tool, [_half_space(point, normal, ends) for point, normal in slanted])
    return tool


def _axis_span(part: RoundPrism | RectPrism, points: Array) -> tuple[float, float] | None:
    """From where to where along its axis a straight mate is wanted, its square ends heeded; None for nowhere."""
    low, high = _span(part.point, part.axis, points)
    for point, normal in part.bounds:
        lean = dot(normal, part.axis)
        at = dot(sub(point, part.point), part.axis)
        if lean > _SQUARE:
            high = min(high, at)
        elif lean < -_SQUARE:
            low = max(low, at)
    return (low, high) if high - low > 1e-6 else None


def _span(point: Vec, axis: Vec, points: Array) -> tuple[float, float]:
    """From where to where points lie along an axis, and a bit more."""
    s = (points - np.asarray(point)) @ np.asarray(axis)
    return float(s.min()) - MARGIN, float(s.max()) + MARGIN


def _half_space(point: Vec, normal: Vec, points: Array) -> Any:
    """A box beyond a plane that covers the points there."""
    from converter.kernel.cuts import block

    u = any_normal(normal)
    (_, n1), us, vs = (_span(point, axis, points) for axis in (normal, u, cross(normal, u)))
    return block(point, normal, u, ((0.0, max(n1, MARGIN)), us, vs))


def _beside(joint: Joint) -> tuple[Vec, Vec] | None:
    """The plane at which lines stop that pass beside the leading mate: through its axis, facing the tube."""
    lead = joint.cut.mates[0][0]
    if isinstance(lead, HalfSpace):
        return None
    point, axis = joint.mate_point, joint.mate_axis
    if isinstance(lead, RoundPrism | RectPrism):
        point, axis = lead.point, lead.axis
    across = along(joint.direction, axis, -dot(joint.direction, axis))
    return (point, unit(across)) if norm(across) > 1e-9 else None


def _shadow(part: ObstaclePart, direction: Vec, points: Array, step: float) -> list[Any]:
    """What lies behind a mate, seen along a direction.

    The chord between its outermost lines, moved along; and its square ends, where it has any.
    """
    from converter.kernel.cuts import swept, swept_end

    if isinstance(part, BendPart):
        return strips(part, direction, points, step=step)
    if not isinstance(part, RoundPrism | RectPrism):
        return []
    k = cross(part.axis, direction)
    span = _axis_span(part, points)
    if span is None or norm(k) < 1e-9:
        return []
    k = unit(k)
    up, half = _shape(part)
    across = cross(part.axis, up)
    ends = []
    for sign in (-1.0, 1.0):
        middle = along(part.point, up, copysign(half[0] - half[2], sign * dot(k, up)))
        middle = along(middle, across, copysign(half[1] - half[2], sign * dot(k, across)))
        ends.append(along(middle, k, sign * half[2]))
    far = float((points @ np.asarray(direction)).max()) + MARGIN

    def behind(corners: list[Vec]) -> Vec:
        # to past the end of the metal, wherever on the mate it starts
        return scale(direction, max(far - min(dot(corner, direction) for corner in corners), MARGIN))

    corners = [along(ends[i], part.axis, span[j]) for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))]
    made = [swept(corners, behind(corners))]
    if abs(dot(direction, part.axis)) > 1e-6:
        for at in span:
            middle = along(part.point, part.axis, at)
            if any(abs(dot(sub(point, middle), part.axis)) < 1e-6 for point, _ in part.bounds):
                made.append(swept_end(middle, part.axis, up, half, behind([middle])))
    return made


def _shape(part: RoundPrism | RectPrism) -> tuple[Vec, tuple[float, float, float]]:
    """The height direction, and half height, half width and corner radius."""
    if isinstance(part, RoundPrism):
        return any_normal(part.axis), (part.radius, part.radius, part.radius)
    return part.up, (part.half_up, part.half_across, part.corner)
