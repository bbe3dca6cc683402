"""Joints as text: one block per tube, end by end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from converter.cli.grid import fill
from converter.cli.main import one_line
from converter.cli.page import bold
from converter.cli.tables import heading
from converter.cli.text import counted, findings_text, ignored_text, titled
from converter.findings import Finding
from converter.joints.model import Joint, SawSetting
from converter.joints.plan import point_text
from converter.units import Display

if TYPE_CHECKING:
    from converter.api import Result
    from converter.joints.cope import Copes, TubeLength

_WHAT = {"saddle": "coped to", "mitre": "mitred with", "plane": "cut to a plane"}


def copes_text(result: Result, made: Copes, findings: Sequence[Finding], *, everything: bool) -> str:
    """The heading, a block for every tube with a joint, and what was found."""
    from converter.shop.sections import describe

    display = result.display
    lines = [heading(result)]
    by_tube: dict[str, list[Joint]] = {}
    for joint in made.joints:
        by_tube.setdefault(joint.tube, []).append(joint)
    total = f"{counted(len(made.joints), 'end')} cut to fit, on {counted(len(by_tube), 'tube')}"
    lines.append(total + (f"; {counted(len(made.holes), 'hole')} for tubes that pass through" if made.holes else ""))
    lengths = {one.name: one for one in made.lengths}
    bent = {tube.name for tube in result.tubes if tube.run.table.bends}
    for name, joints in by_tube.items():
        about = describe(joints[0].section, display)
        lines += ["", titled(name, f"{about}; {_length(lengths[name], name in bent, display)}")]
        for joint in joints:
            lines += joint_lines(joint, display)
    lines += hole_lines(made, display)
    if findings:
        lines += ["", findings_text(findings, everything=everything)]
    left_out = ignored_text(result.drawing.ignored)
    if left_out:
        lines += ["", left_out]
    return "\n".join(lines)


def hole_lines(made: Copes, display: Display) -> list[str]:
    """A block for every tube that needs holes: what passes where, and where each hole lies."""
    from converter.joints.hole_wrap import grouped
    from converter.shop.sections import describe

    lines: list[str] = []
    last = ""
    for holes in grouped(made.holes):
        one = holes[0]
        if one.tube != last:
            lines += ["", titled(one.tube, f"{describe(one.section, display)}; holes")]
            last = one.tube
        first = f"{one_line(one.through)} passes through at {display.angle(one.angle)}"
        if one.offset > 1e-6:
            first += f", {display.length(one.offset)} off its centerline"
        rows = [f"{first}; node {point_text(one.node, display)}"]
        rows += [
            f"middle {display.length(hole.from_a)} from the centerline's end A, {display.angle(hole.clock)} from the "
            f"zero line; {display.length(hole.along)} along, {display.length(hole.around)} around"
            for hole in holes
        ]
        rows.append(f"zero line: {one_line(one.zero)}")
        lines += [fill(row, "  holes  " if i == 0 else " " * 9, " " * 11) for i, row in enumerate(rows)]
    return lines


def _length(one: TubeLength, bent: bool, display: Display) -> str:
    """A straight is cut so; of a bent tube `setup` knows the stick, springback and stretch of its bends counted."""
    if bent:
        return (
            f"{display.length(one.cut)} along it from long point to long point, centerline "
            f"{display.length(one.developed)}; `setup` tells the stick"
        )
    return f"cut {display.length(one.cut)}, centerline {display.length(one.developed)}"


def joint_lines(joint: Joint, display: Display) -> list[str]:
    """What one end is cut to and how, wrapped."""
    mates = " and ".join(one_line(mate) for mate in joint.mates)
    first = f"{_WHAT[joint.kind]}{' ' + mates if mates else ''} at {display.angle(joint.angle)}"
    if joint.offset > 1e-6:
        first += f", {display.length(joint.offset)} off its centerline"
    cut = (
        f"long point {display.length(joint.long_point)}, short point {display.length(joint.short_point)}, "
        f"at the centerline {display.length(joint.center_cut)}"
    )
    rows = [f"{first}; node {point_text(joint.node, display)}", cut, f"zero line: {one_line(joint.zero)}"]
    if joint.hole_saw is not None:
        rows.append(saw_text(joint.hole_saw, display))
    out = []
    for i, row in enumerate(rows):
        label = f"  end {joint.end}  "
        text = fill(row, label if i == 0 else " " * len(label), " " * (len(label) + 2))
        out.append(f"  {bold(label.strip())}{text[len(label) - 2 :]}" if i == 0 else text)
    return out


def saw_text(saw: SawSetting, display: Display) -> str:
    """``hole saw 1.750 in, 30.00° from square, offset 0.000 in, 1.732 in deep``."""
    text = (
        f"hole saw {display.length(saw.size)}{'' if saw.owned else ' (wanted)'}, "
        f"{display.angle(saw.from_square)} from square, "
        f"offset {display.length(saw.offset)}, {display.length(saw.depth)} deep"
    )
    if saw.cuts != 1:
        text += ", two cuts, one from each side" if saw.cuts == 2 else ", too deep for it"
    if abs(saw.center) > 1e-6:
        side = "inside" if saw.center > 0.0 else "beyond"
        text += f", saw center {display.length(abs(saw.center))} {side} the centerline's end"
    if saw.center_to_center is not None:
        text += f", {display.length(saw.center_to_center)} center to center"
    return text
