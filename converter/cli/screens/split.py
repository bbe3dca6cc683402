"""Tubes in pieces as text: where each is cut, what joins it, the tables of the pieces."""

from __future__ import annotations

from collections.abc import Sequence

from converter.bending.pieces import TubePieces
from converter.bending.setup.words import CUT_LENGTHS
from converter.cli.screens.findings import bend_marks, findings_text, ignored_text, titled
from converter.cli.screens.grid import Grid, fill
from converter.cli.screens.table import die_text, heading, tube_text
from converter.findings.wording import listed
from converter.job.pieces import JobInPieces
from converter.quoting import one_line
from converter.units import Display, cut_number
from converter.words import JOINING_CAUTION, SLEEVE_FIT, joint_text


def split_text(result: JobInPieces, *, everything: bool = False) -> str:
    """The whole page: heading, tube by tube its pieces and joints, their bend tables, findings.

    Args:
        result: a job and its pieces.
        everything: show all findings with their details.
    """
    job, display = result.job, result.job.display
    blocks = [heading(result.whole)]
    sticks = {setup.tube.name: setup.stick_length for setup in job.setups}
    marks = bend_marks(job.shown.findings)
    for pieces in result.split:
        blocks.append(_tube_text(pieces, sticks, display))
        blocks += [tube_text(piece, display, marks, die_text(piece, job.shop, display)) for piece in pieces.pieces]
    if result.impossible:
        blocks.append(fill(no_cut_sentence(result.impossible, result.longest, display)))
    if result.split:
        sleeved = any(joint.sleeve for pieces in result.split for joint in pieces.joints)
        notes = (CUT_LENGTHS, *((SLEEVE_FIT,) if sleeved else ()), JOINING_CAUTION)
        blocks.append("\n".join(map(fill, notes)))
    elif not result.impossible:
        blocks.append(fill(nothing_to_split(len(result.whole.shown.tubes))))
    if result.findings:
        blocks.append(findings_text(result.findings, display, everything=everything))
    left_out = ignored_text(result.whole.drawing.ignored, display)
    return "\n\n".join([*blocks, left_out] if left_out else blocks)


def _tube_text(pieces: TubePieces, sticks: dict[str, float], display: Display) -> str:
    tube = pieces.tube
    about = f"{display.length(tube.run.table.developed_length)} along the centerline, in {len(pieces.pieces)} pieces"
    ends = [0.0, *(joint.at for joint in pieces.joints), tube.run.table.developed_length]
    rows = [
        [one_line(piece.name), cut_number(sticks[piece.name], display), str(len(piece.run.table.bends)),
         display.number(ends[i]), display.number(ends[i + 1])]
        for i, piece in enumerate(pieces.pieces)
    ]  # fmt: skip
    lines = [titled(tube.name, about), Grid(["piece", "cut length", "bends", "from", "to"], rows, "lrrrr").text()]
    for i, joint in enumerate(pieces.joints, 1):
        lines.append(
            fill(f"joint {i}: {one_line(joint_text(joint, bool(tube.run.table.bends), display))}", "  ", "    ")
        )
    return "\n".join(lines)


def nothing_to_split(count: int) -> str:
    """That no tube has to be split, and what to ask where one is to be all the same."""
    who = "the tube does not have" if count == 1 else f"none of the {count} tubes has"
    return (
        f"Nothing is split: {who} to be made of pieces. --longest LENGTH asks for shorter pieces, --at LENGTH for a "
        "cut at a place."
    )


def no_cut_sentence(names: Sequence[str], longest: float | None, display: Display) -> str:
    """That no cut helps some tubes; ``longest`` is what a piece may be, mm, where that was asked for."""
    who = listed(list(map(one_line, names)))
    its, of_it = ("its", "of it") if len(names) == 1 else ("their", "of them")
    if longest is None:
        why = f"cannot be made whole, and no cuts in {its} straights make pieces that can be:"
    else:
        why = f"cannot be made in pieces of {display.length(longest)} or less by cuts in {its} straights:"
        why += " say a longer one, with its unit (--longest), or"
    return f"{who} {why} see what the audit says {of_it}."
