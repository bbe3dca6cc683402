"""Tubes with their ends cut: the parts of a joint turned into the kernel's cutters.

A line of the tube's end stops where it first meets a mate (`converter.joints.saddle.Cut`); a
solid loses all that lies within the mates' outsides, and what then hangs loose. Where part of
an end passes beside its mate, it is cut off level with the mate's axis, as the curve says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from converter.geometry.vectors import Vec, along, any_normal, cross, dot, norm, sub, unit
from converter.joints.lines import Array, Part
from converter.joints.model import Joint
from converter.joints.saddle import HalfSpace, RoundPrism, angles
from converter.joints.square import RectPrism
from converter.joints.torus import BendPart
from converter.model.run import Run, Tube

if TYPE_CHECKING:
    from converter.model.metal import Metal
    from converter.model.section import Section

#: How far cutters and run-on ends reach past what they must, mm.
MARGIN = 3.0


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


def coped_solid(tube: Tube, section: Section, joints: Sequence[Joint], made: Metal | None = None) -> Any:
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
    from converter.kernel.cope import cut
    from converter.kernel.solids import tube_solid

    if not joints:
        return tube_solid(tube.run, section, made)
    run, more = run_on(tube.run, joints)
    solid = tube_solid(run, section)
    tools = [tool for joint in joints for tool in cutters(joint, more.get(joint.end, 0.0))]
    return cut(solid, tools, tube.name)


def cutters(joint: Joint, ahead: float) -> list[Any]:
    """Solids that take off what a joint takes off.

    Args:
        joint: the joint.
        ahead: how far the tube runs on past its end point, mm.
    """
    points, met = _reached(joint, ahead)
    tools = [_tool(part, points) for mate in joint.cut.mates for part in mate]
    made = [tool for tool in tools if tool is not None]
    if not met:
        lead = joint.cut.mates[0][0]
        plane = _beside(lead, joint.direction)
        if plane is not None:
            made.append(_half_space(*plane, points))
    return made


def _reached(joint: Joint, ahead: float) -> tuple[Array, bool]:
    """Points around all metal that a cut may touch, (n, 3), and whether every line meets a mate."""
    phi = angles(5.0)
    branch = joint.cut.branch
    rows = []
    met_all = True
    for bore in (False, True):
        lines = branch.lines(phi, bore)
        t, met = joint.cut.reach(lines)
        met_all = met_all and bool(met.all())
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


def _tool(part: Part, points: Array) -> Any:
    from converter.kernel.cope import bend, prism

    if isinstance(part, HalfSpace):
        return _half_space(part.point, part.normal, points)
    if isinstance(part, BendPart):
        half = (part.half_up, part.half_across, part.corner)
        return bend(part.center, part.normal, part.start, part.sweep, half, part.roll)
    if isinstance(part, RoundPrism):
        up, half = any_normal(part.axis), (part.radius, part.radius, part.radius)
    else:
        assert isinstance(part, RectPrism)
        up, half = part.up, (part.half_up, part.half_across, part.corner)
    low, high = _span(part.point, part.axis, points)
    slanted = []
    for point, normal in part.bounds:
        lean = dot(normal, part.axis)
        if abs(lean) > 1.0 - 1e-12:
            at = dot(sub(point, part.point), part.axis)
            low, high = (low, min(high, at)) if lean > 0.0 else (max(low, at), high)
        else:
            slanted.append((point, normal))
    if high - low < 1e-6:
        return None  # the mate ends before it comes near
    tool = prism(part.point, part.axis, up, half, (low, high))
    if slanted:
        from converter.kernel.cope import cut

        ends = np.array(
            [
                along(along(part.point, part.axis, s), v, w)
                for s in (low, high)
                for v in (up, cross(part.axis, up))
                for w in (-2.0 * max(half), 2.0 * max(half))
            ]
        )
        tool = cut(tool, [_half_space(point, normal, ends) for point, normal in slanted])
    return tool


def _span(point: Vec, axis: Vec, points: Array) -> tuple[float, float]:
    """From where to where points lie along an axis, and a bit more."""
    s = (points - np.asarray(point)) @ np.asarray(axis)
    return float(s.min()) - MARGIN, float(s.max()) + MARGIN


def _half_space(point: Vec, normal: Vec, points: Array) -> Any:
    """A box beyond a plane that covers the points there."""
    from converter.kernel.cope import block

    u = any_normal(normal)
    (_, n1), us, vs = (_span(point, axis, points) for axis in (normal, u, cross(normal, u)))
    return block(point, normal, u, ((0.0, max(n1, MARGIN)), us, vs))


def _beside(lead: Part, direction: Vec) -> tuple[Vec, Vec] | None:
    """The plane at which lines stop that pass beside the leading mate: through its axis, facing the tube."""
    if not isinstance(lead, RoundPrism | RectPrism):
        return None
    across = along(direction, lead.axis, -dot(direction, lead.axis))
    return (lead.point, unit(across)) if norm(across) > 1e-9 else None
