"""What the template of a cut end says in words, and the joints of a job that templates are made for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from converter.errors import WriteError
from converter.exporters.paper.wraps import Wrap
from converter.joints.cope import Copes
from converter.joints.model import Joint
from converter.quoting import LONGEST_PATH, quoted
from converter.shop.sections import describe
from converter.units import Display
from converter.words import cut_text, meeting_text, points_text, saw_cut_text, saw_text

if TYPE_CHECKING:
    from converter.job import Job


def copes_of(job: Job) -> Copes:
    """The joints and holes of the tubes shown of a job.

    Raises:
        WriteError: it has neither.
    """
    shown, copes = job.shown, job.copes
    copes = replace(copes, joints=shown.joints, lengths=shown.lengths, holes=shown.holes)
    if not copes.joints and not copes.holes:
        skipped = [finding for finding in copes.findings if finding.code == "joint-skipped"]
        if skipped:
            raise WriteError(
                f"No joint was found in {quoted(job.source, LONGEST_PATH)}, where {len(skipped)} of "
                f"{len(job.tubes)} tubes were left out, the first of them {skipped[0].message_in(job.display)}",
                code="no-joints",
                file=job.source,
            )
        raise WriteError(
            f"No end in {quoted(job.source, LONGEST_PATH)} meets another tube and none passes "
            "through another, so there is no cope to write.",
            code="no-joints",
            file=job.source,
        )
    return copes


def title(joint: Joint) -> str:
    """``LEFT-0 end A``."""
    return f"{joint.tube} end {joint.end}"


def how_to(bore: bool) -> str:
    """How templates are used; ``bore``: whether one of them shows the bore."""
    line = "Wrap it around with the printed side out and the arrow to the end, so that the side edges meet. Cut along "
    line += "the full line: it lies on the outside of the tube."
    return line + (" Dashed: where the metal ends at the bore." if bore else "")


def facts(one: Wrap, display: Display) -> list[str]:
    """What is to be known of one template, a sentence or two each."""
    joint = one.joint
    zero = joint.zero_in(display)
    first = _sentence(cut_text(joint, display))
    first += f"; {meeting_text(joint, display)}"
    if joint.gap > 0.0:
        first += f"; weld gap {display.length(joint.gap)}"
    said = [
        f"{first}.",
        f"Tube {describe(joint.section, display)}. Once around {display.length(one.width)}: "
        f"{joint.section.kind.unrolled}, for paper {one.paper_thickness:g} mm thick.",
        f"{_sentence(points_text(joint, display))}, lower edge {display.length(one.base)}.",
        f"Zero line (both side edges): {zero}.",
    ]
    if "tangent point" in zero:
        left = joint.straight - one.base
        said[-1] += (
            f" From the lower edge to that tangent point: {display.length(left)}."
            if left >= -1e-9
            else f" The lower edge lies {display.length(-left)} past that tangent point: trim it there."
        )
    saw = saw_text(joint.hole_saw, display) if joint.hole_saw else saw_cut_text(joint, display)
    said.append(f"{_sentence(saw)}." if saw else "No single hole saw makes this cut.")
    if one.fouls > 0.05:
        said.append(f"A wall cut square leaves up to {display.length(one.fouls)} at the bore that must go too.")
    return said


def _sentence(text: str) -> str:
    """With a capital letter; names within stay as they are."""
    return text[0].upper() + text[1:]
