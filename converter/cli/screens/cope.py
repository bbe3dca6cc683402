"""Joints as text: one block per part, end by end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from converter.cli.screens.findings import findings_text, ignored_text, jobs_text, titled
from converter.cli.screens.grid import fill
from converter.cli.screens.page import bold
from converter.cli.screens.table import heading, part_lines, to_cut_text
from converter.findings import ERROR
from converter.findings.wording import counted
from converter.joints.model import Joint
from converter.quoting import one_line
from converter.units import Display, cut_length
from converter.words import (
    CUTTING,
    NO_LENGTH,
    crossing_text,
    cut_text,
    meeting_text,
    part_title,
    points_text,
    saw_cut_text,
    saw_text,
    stick_sides_text,
)

if TYPE_CHECKING:
    from converter.findings import Finding
    from converter.job import Job
    from converter.joints.cope import TubeLength
    from converter.joints.holes import Hole
    from converter.model.part import Part


def all_copes_text(jobs: Sequence[Job], *, everything: bool) -> str:
    """The joints of several jobs, and what is to be told of several of them once below."""

    def one_text(job: Job, findings: Sequence[Finding]) -> str:
        return _copes_text(job, findings, everything=everything)

    return jobs_text(jobs, lambda job: job.shown.joint_findings, one_text, everything=everything)


def _copes_text(job: Job, findings: Sequence[Finding], *, everything: bool) -> str:
    """The heading, a block for every part with a joint, and what was found.

    Args:
        job: whose joints.
        findings: those that are told here; none that is an error is told elsewhere.
        everything: show all findings with their details.
    """
    from converter.shop.sections import describe

    display, shown = job.display, job.shown
    lines = [heading(job)]
    by_tube: dict[str, list[Joint]] = {}
    for joint in shown.joints:
        by_tube.setdefault(joint.tube, []).append(joint)
    total = f"{counted(len(shown.joints), 'end')} cut to fit, on {counted(len(by_tube), 'tube')}"
    lines.append(total + (f"; {counted(len(shown.holes), 'hole')} for tubes that pass through" if shown.holes else ""))
    lengths = {one.name: one for one in shown.lengths}
    for part in shown.parts:
        joints = by_tube.get(part.first.name)
        if joints is None:
            continue
        length = _length(lengths[part.first.name], bool(part.first.run.table.bends), display)
        about = f"{describe(joints[0].section, display)}; {length}"
        lines += ["", titled(part_title(part), about), *part_lines(part)]
        for joint in joints:
            lines += joint_lines(joint, display)
        lines += _other_mates(part, by_tube)
    lines += hole_lines(shown.holes, display, {part.first.name: part for part in shown.parts})
    straight = [part for part in shown.parts if not part.first.run.table.bends and part.first.section]
    if len(straight) > 1 and shown.joints:
        rows = [
            (
                part,
                "none" if lengths[part.first.name].is_nothing else cut_length(lengths[part.first.name].cut, display),
                describe(part.first.section, display),
            )
            for part in straight
            if part.first.section is not None
        ]
        refused = {finding.tube for finding in findings if finding.severity == ERROR}
        lines += ["", to_cut_text(rows, {part.name for part in straight if not refused.isdisjoint(part.names)})]
        if any(part.first.run.table.bends for part in shown.parts):
            lines.append(fill("Bent tubes are not among these: `setup` tells what they are cut to.", "  "))
    if shown.joints or shown.holes:
        lines += ["", *(fill(sentence) for sentence in CUTTING)]
    if findings:
        lines += ["", findings_text(findings, display, everything=everything)]
    left_out = ignored_text(job.drawing.ignored, job.display)
    if left_out:
        lines += ["", left_out]
    return "\n".join(lines)


def _other_mates(part: Part, by_tube: Mapping[str, Sequence[Joint]]) -> list[str]:
    """To what the ends of the other tubes of a part are cut, where the names differ; wrapped."""

    def mates(name: str) -> list[tuple[str, str, str]]:
        """(end of the part, its own end, mates) of a tube."""
        joints = by_tube.get(name, ())
        return sorted((part.end_of(name, joint.end), joint.end, " + ".join(joint.mates)) for joint in joints)

    first = [(end, names) for end, _, names in mates(part.first.name)]
    said = []
    for name in part.names[1:]:
        if [(end, names) for end, _, names in mates(name)] != first:
            ends = ", ".join(f"end {own} to {names}" for _, own, names in mates(name) if names)
            said.append(f"{name}: {ends}")
    return [fill(one_line(f"cut alike: {'; '.join(said)}"), "  ", "         ")] if said else []


def hole_lines(holes_of_tubes: Sequence[Hole], display: Display, parts: Mapping[str, Part]) -> list[str]:
    """A block for every part that needs holes: what passes where, and where each hole lies.

    Args:
        holes_of_tubes: of all tubes.
        display: how lengths are shown.
        parts: by the name of their first tube; other tubes are left out.
    """
    from converter.joints.holes import grouped
    from converter.shop.sections import describe

    lines: list[str] = []
    last = ""
    for holes in grouped(holes_of_tubes):
        one = holes[0]
        if one.tube not in parts:
            continue
        if one.tube != last:
            part = parts[one.tube]
            lines += ["", titled(part_title(part), f"{describe(one.section, display)}; holes"), *part_lines(part)]
            last = one.tube
        first = f"{one_line(one.through)} passes through at {display.angle(one.angle)}"
        if one.offset > NO_LENGTH:
            first += f", {display.length(one.offset)} off its centerline"
        rows = [f"{first}; {crossing_text(one, display)}"]
        rows += [
            f"middle {display.length(hole.from_a)} from the centerline's end A, {display.angle(hole.clock)} from the "
            f"zero line; {display.length(hole.along)} along, {display.length(hole.around)} around"
            for hole in holes
        ]
        rows.append(f"zero line: {one_line(one.zero)}")
        lines += [fill(row, "  holes  " if i == 0 else " " * 9, " " * 11) for i, row in enumerate(rows)]
    return lines


def _length(one: TubeLength, bent: bool, display: Display) -> str:
    """A straight is cut so; of a bent tube `setup` knows it, springback and stretch of its bends counted."""
    if bent:
        return (
            f"{display.length(one.cut)} along it from long point to long point, centerline "
            f"{display.length(one.developed)}; `setup` tells the cut length"
        )
    if one.is_nothing:
        return f"its cuts leave nothing of the centerline's {display.length(one.developed)}"
    sides = stick_sides_text(one, display)
    parts = [
        f"cut {cut_length(one.cut, display)}",
        *([sides] if sides else []),
        f"centerline {display.length(one.developed)}",
    ]
    return ", ".join(parts)


def joint_lines(joint: Joint, display: Display) -> list[str]:
    """What one end is cut to and how, wrapped."""
    first = one_line(cut_text(joint, display))
    rows = [f"{first}; {meeting_text(joint, display)}", points_text(joint, display)]
    if not joint.is_square:
        rows.append(f"zero line: {one_line(joint.zero_in(display))}")
    if joint.hole_saw is not None:
        rows.append(saw_text(joint.hole_saw, display))
    elif not joint.is_square and (saw := saw_cut_text(joint, display)):
        rows.append(saw)
    out = []
    for i, row in enumerate(rows):
        label = f"  end {joint.end}  "
        text = fill(row, label if i == 0 else " " * len(label), " " * (len(label) + 2))
        out.append(f"  {bold(label.strip())}{text[len(label) - 2 :]}" if i == 0 else text)
    return out
