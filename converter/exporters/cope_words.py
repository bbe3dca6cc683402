"""What the template of a cut end says in words, and the joints of a job that templates are made for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from converter.errors import WriteError
from converter.joints.cope import Copes, cope_frame
from converter.joints.model import MITRE, PLANE, Joint, SawSetting
from converter.joints.plan import point_text
from converter.joints.wrap import Wrap
from converter.shop.model import Shop
from converter.shop.sections import describe
from converter.units import Display

if TYPE_CHECKING:
    from converter.exporters.registry import ExportJob


def copes_of(job: ExportJob) -> Copes:
    """The joints and holes of a job.

    Raises:
        WriteError: it has neither.
    """
    found: Copes = job.once("copes", lambda: _found(job))
    if not found.joints and not found.holes:
        skipped = [finding for finding in found.findings if finding.code == "joint-skipped"]
        if skipped:
            raise WriteError(
                f"No joint was found in {job.source!r}, where {len(skipped)} of {len(job.tubes)} tubes were left out, "
                f"the first of them {skipped[0].message}",
                code="no-joints",
                file=job.source,
            )
        raise WriteError(
            f"No end in {job.source!r} meets another tube and none passes through another, so there is no cope "
            "to write.",
            code="no-joints",
            file=job.source,
        )
    return found


def _found(job: ExportJob) -> Copes:
    given = job.cope
    shop = given.shop or Shop("no shop", ())
    return cope_frame(job.tubes, shop, given.job, given.tolerances, job.display, given.gap)


def title(joint: Joint) -> str:
    """``LEFT-0 end A``."""
    return f"{joint.tube} end {joint.end}"


def cut_to(joint: Joint) -> str:
    """What the end is cut to."""
    names = " and ".join(joint.mates)
    if joint.kind == PLANE:
        return "cut to a plane"
    return f"mitred with {names}" if joint.kind == MITRE else f"coped to {names}"


def saw_words(saw: SawSetting, display: Display) -> str:
    """How to set the hole saw up."""
    words = [
        f"hole saw {display.length(saw.size)}{'' if saw.owned else ' (wanted)'}",
        f"{display.angle(saw.from_square)} from square",
        f"offset {display.length(saw.offset)}",
        f"{display.length(saw.depth)} deep",
    ]
    if saw.cuts == 2:
        words.append("two cuts, one from each side")
    elif saw.cuts == 0:
        words.append("too deep for it")
    if abs(saw.center) > 1e-6:
        side = "inside" if saw.center > 0.0 else "beyond"
        words.append(f"its center {display.length(abs(saw.center))} {side} the centerline's end")
    if saw.center_to_center is not None:
        words.append(f"{display.length(saw.center_to_center)} center to center")
    return ", ".join(words)


def how_to(bore: bool) -> str:
    """How templates are used; ``bore``: whether one of them shows the bore."""
    line = "Wrap it around with the printed side out and the arrow to the end, so that the side edges meet. Cut along "
    line += "the full line: it lies on the outside of the tube."
    return line + (" Dashed: where the metal ends at the bore." if bore else "")


def facts(one: Wrap, display: Display) -> list[str]:
    """What is to be known of one template, a sentence or two each."""
    joint = one.joint
    first = _sentence(f"{cut_to(joint)} at {display.angle(joint.angle)}")
    if joint.offset > 1e-6:
        first += f", {display.length(joint.offset)} off its centerline"
    first += f"; node {point_text(joint.node, display)}"
    if joint.gap > 0.0:
        first += f"; weld gap {display.length(joint.gap)}"
    around = "pi x (OD + paper)" if joint.section.is_round else "the outline and pi x paper"
    said = [
        f"{first}.",
        f"Tube {describe(joint.section, display)}. Once around {display.length(one.width)}: {around}, for paper "
        f"{one.paper:g} mm thick.",
        f"Back from the centerline's end along the tube: long point {display.length(joint.long_point)}, short point "
        f"{display.length(joint.short_point)}, at the centerline {display.length(joint.center_cut)}, lower edge "
        f"{display.length(one.base)}.",
        f"Zero line (both side edges): {joint.zero}.",
    ]
    if "tangent point" in joint.zero:
        left = joint.straight - one.base
        said[-1] += (
            f" From the lower edge to that tangent point: {display.length(left)}."
            if left >= -1e-9
            else f" The lower edge lies {display.length(-left)} past that tangent point: trim it there."
        )
    said.append(
        f"{_sentence(saw_words(joint.hole_saw, display))}." if joint.hole_saw else "No single hole saw makes this cut."
    )
    if one.fouls > 0.05:
        said.append(f"A wall cut square leaves up to {display.length(one.fouls)} at the bore that must go too.")
    return said


def _sentence(text: str) -> str:
    """With a capital letter; names within stay as they are."""
    return text[0].upper() + text[1:]
