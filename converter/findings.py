"""What the readers, the reducer and the audit say: one code, one sentence, one place.

A `Finding` is data, never a log line: it carries what was measured, the limit, where it
is and what would cure it. `CODES` is the only list of codes; `Finding` refuses any other,
docs/findings.md is generated from it, and a test keeps the two equal.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from converter.errors import GeometryError

ERROR, WARNING, NOTE = "error", "warning", "note"
SEVERITIES = (ERROR, WARNING, NOTE)

#: code -> (usual severity, meaning in one sentence)
CODES: dict[str, tuple[str, str]] = {}


def define(code: str, severity: str, meaning: str) -> str:
    """Add a code to the list; each code is defined once.

    Raises:
        GeometryError: the code is taken or the severity unknown.
    """
    if code in CODES or severity not in SEVERITIES:
        raise GeometryError(f"finding code {code!r} is defined twice or has an unknown severity")
    CODES[code] = (severity, meaning)
    return code


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person should know before cutting metal.

    Attributes:
        code: one of `CODES`.
        message: one plain sentence with the measured value and the limit in it.
        severity: 'error' (it scraps the stick), 'warning', 'note'; '' takes the code's usual one.
        tube: name of the run, or None.
        bend: 1-based number of the bend, or None.
        measured, limit, unit: the numbers behind the sentence; lengths in mm ('mm'), angles in degrees ('deg').
        layer, handle: where the shape was drawn.
        cure: what would put it right, a sentence, or ''.
        at: place in the drawing's coordinates, mm, of what it speaks of; None where the reader does not know it,
            or where tube and bend tell it. Two findings that differ in nothing but places are equal.
        also: more such places, where one finding counts several.
    """

    code: str
    message: str
    severity: str = ""
    tube: str | None = None
    bend: int | None = None
    measured: float | None = None
    limit: float | None = None
    unit: str | None = None
    layer: str | None = None
    handle: str | None = None
    cure: str = ""
    at: tuple[float, float, float] | None = field(default=None, compare=False)
    also: tuple[tuple[float, float, float], ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        known = CODES.get(self.code)
        if known is None:
            raise GeometryError(f"unknown finding code {self.code!r}")
        if not self.severity:
            object.__setattr__(self, "severity", known[0])
        elif self.severity not in SEVERITIES:
            raise GeometryError(f"unknown severity {self.severity!r}")

    @property
    def rank(self) -> int:
        """0 for errors, 1 for warnings, 2 for notes: sorts the worst first."""
        return SEVERITIES.index(self.severity)


def has_errors(findings: Iterable[Finding]) -> bool:
    """Whether any finding is an error (exit status 1)."""
    return any(f.severity == ERROR for f in findings)


# --- said by the readers -----------------------------------------------------------------
define("units-assumed", WARNING, "The drawing names no unit; millimetres were taken, and the other reading is named.")
define("units-overridden", NOTE, "The units option overrides what the file says.")
define("file-repaired", WARNING, "The file was damaged and was read in recovery mode; what was repaired is counted.")
define("layers-skipped", NOTE, "Frozen or switched-off layers were not read.")
define(
    "arc-flattened",
    WARNING,
    "An arc is drawn flat although its neighbours are not; it was restored from the line ends.",
)
define(
    "arc-suspect", ERROR, "An arc is drawn flat, meets no line, and cannot be restored; its radius must not be trusted."
)
define("outline-suspect", WARNING, "The drawing looks like a solid's outline and seam edges, not like centerlines.")
define("entity-unread", WARNING, "An entity that may be part of a tube could not be read; it is named.")
define("curve-sampled", NOTE, "A curve of a kind that has no exact counterpart here was read as close points on it.")
define("length-disagrees", WARNING, "A total in a table is not what its rows add up to; the rows count.")
# --- said of finished tube solids ----------------------------------------------------------
define("solid-off", WARNING, "A solid's surface strays from the tube its table makes by more than the fit tolerance.")
define("solid-tapered", WARNING, "A solid's tube is slightly conical; its mean diameter was taken.")
define("solid-oval", WARNING, "A solid's tube is not quite round; its mean diameter was taken.")
define("solid-skin", WARNING, "A surface model shows only the outside of a tube, so its wall is not known.")
define("solid-fused", NOTE, "Several tubes were one body; they were separated.")
# --- said of meshes --------------------------------------------------------------------------
define(
    "mesh-fitted", NOTE, "A tube was fitted to a mesh; how far its vertices lie from it, and their scatter, is named."
)
define("mesh-skin", WARNING, "A mesh has only the outside of a tube, so its wall is not known.")
define("mesh-not-round", WARNING, "A mesh's tube is oval or tapered; its mean diameter was taken.")
define(
    "mesh-precision", WARNING, "A mesh lies so far from the origin that its single-precision numbers are too coarse."
)
define("mesh-misfit", WARNING, "A mesh's surface is not where the table has it, beyond its scatter.")
define("mesh-ambiguous", WARNING, "A mesh is fitted as well by a table with another number of bends.")
define("mesh-uncertain", WARNING, "A mesh leaves an angle or a straight of the table open by more than a little.")
define("plane-open", NOTE, "The file keeps a tube's ends but not its plane; it was put with its ends in place.")
# --- said by the reducer -----------------------------------------------------------------
define("healed-gap", NOTE, "A gap below the join tolerance was closed.")
define("near-gap", WARNING, "Two ends nearly meet: the gap is above the join tolerance, so they stay apart.")
define("duplicate-removed", NOTE, "A curve drawn twice, or lying on another, was dropped.")
define("speck-removed", NOTE, "A mark smaller than the join tolerance was left out.")
define(
    "overlap-kept",
    WARNING,
    "Curves of two layers lie on one another and neither covers the other; both were read as tubes.",
)
define("joined-across-layers", NOTE, "A run continues tangent onto another layer and was joined.")
define(
    "junction",
    NOTE,
    "Three or more ends meet, or two at a corner on another curve; a tangent pair runs through, the others end there.",
)
define("near-tangent", NOTE, "A joint misses tangency by less than the tolerance and was smoothed.")
define("kink", ERROR, "A straight and an arc, or two arcs, meet at an angle that no bend makes.")
define("curve-fitted", NOTE, "A tessellated or free curve was replaced by straights and arcs within the fit tolerance.")
define(
    "not-line-arc", ERROR, "A curve is not made of straights and arcs (ellipse, free form); no single bend follows it."
)
define(
    "rebuild-deviation",
    WARNING,
    "The tube rebuilt from the table strays from the drawing by more than the fit tolerance.",
)
define("corner-filleted", NOTE, "A sharp corner was given the radius of the die or of the option.")
define("corner-no-radius", ERROR, "A sharp corner has no radius and no die gives it one.")
define("negative-straight", ERROR, "Bends overlap: the straight between them would be shorter than nothing.")
define("refit", NOTE, "Bends were refitted to the die's radius; the distance the centerline moves is named.")
define("fold-back", ERROR, "The line doubles back on itself; no tube can.")
define("short-run", NOTE, "A run is shorter than its own tube is thick, or nearly; it may be a stray mark.")
# --- said by the audit, first family: radius and section against the dies ------------------
define("section-unknown", WARNING, "No section is known for this tube, so the dies cannot be checked.")
define("section-assumed", NOTE, "The section was read from the layer's name.")
define("no-die", ERROR, "The shop has no die for this section.")
define("die-choice", NOTE, "Several dies suit the section; the one taken is named.")
define("radius-too-tight", ERROR, "The bend is tighter than the tightest die for this section.")
define("radius-between-dies", ERROR, "The bend's radius lies between the shop's dies.")
define("radius-too-wide", ERROR, "The bend's radius is larger than the largest die for this section.")
define("radius-uncertain", WARNING, "The fitted radius is too loosely known to tell whether the die makes it.")
define("radius-approximate", NOTE, "The fitted radius agrees with a die within its own uncertainty.")
define("angle-too-great", ERROR, "The bend turns further than the die or the machine can.")
define("straight-too-short", ERROR, "The straight between two bends is shorter than the clamp needs.")
define(
    "end-too-short",
    WARNING,
    "The straight at an end is shorter than the clamp or the grip needs: leave extra and trim.",
)
define("hoop", ERROR, "A closed ring cannot be bent in one piece on this kind of machine.")
define(
    "closed-loop", WARNING, "A closed run must be cut and joined somewhere; the table starts in its longest straight."
)
define(
    "no-solid", WARNING, "The tube cannot be a solid (no section, or a bend tighter than it allows); none is written."
)
define("mitred-corner", NOTE, "A corner without a radius shows as a mitre in the solid; it cannot be bent so.")
define("self-contact", ERROR, "The bend turns so far that the tube runs into itself.")
define("demo-shop", NOTE, "No shop file was named; the invented demo shop was used.")
define(
    "roll-not-quarter", ERROR, "Square or rectangular tube is rolled by an angle that is not a multiple of 90 degrees."
)
define(
    "job-unmatched", WARNING, "The job file or a section option names a run or layer that the drawing does not have."
)
# --- said of what the bender really does: springback and capacity --------------------------
define("springback-poor-fit", WARNING, "The test bends do not lie on one line, so the stop is uncertain.")
define("springback-estimate", NOTE, "There are no test bends that fit; springback is an estimate with its range.")
define("springback-none", WARNING, "Springback is not known, so the stop is the bend's angle itself.")
define("over-capacity", ERROR, "Bending it takes more moment than the machine is proven to give.")
define(
    "near-capacity", WARNING, "As it hardens while bending, it may take more moment than the machine is proven to give."
)
define(
    "capacity-unknown",
    NOTE,
    "The machine's capacity was not checked: a metal, or what the machine has bent, is not known.",
)
define("wall-factor", ERROR, "The wall is too thin for the die: outside size over wall is past its limit.")
define("d-of-bend", ERROR, "The bend is too tight for the die's limit of radius over outside size.")
define("thinning", WARNING, "The wall outside the bend thins more than is usual.")
define("strain-high", WARNING, "The outside of the bend stretches further than the metal's elongation.")
# --- said by the set-up ----------------------------------------------------------------------
define("order-changed", NOTE, "The bends are made in another order, or from the other end, than the simple one; why.")
define("stop-too-great", ERROR, "With springback the stop lies past what the die or the machine turns.")
define("stick-too-long", ERROR, "The stick is longer than the machine takes.")
define("mark-offset-unknown", NOTE, "A die has no mark offset, so its marks lie where the bend starts.")
define("bend-wider", NOTE, "A bend of half a turn or so springs open, and what follows it moves sideways.")
# --- said of joints and copes ----------------------------------------------------------------
define("joint-skipped", ERROR, "A tube's joints were not looked for: it has no section, or no possible shape.")
define("joint-unplaced", NOTE, "Tubes of a table have no place in space, so their joints were not looked for.")
define("joint-drawn", NOTE, "An end was drawn short of its mate's centerline or past it; the cut allows for it.")
define("joint-missed", WARNING, "An end stops short of the tube that it points at, so it is not joined to it.")
define("joint-beside", ERROR, "An end's axis passes beside the tube that it touches, so no cut serves.")
define("joint-parallel", ERROR, "An end lies along another tube, so no cut joins them.")
define("joint-coaxial", ERROR, "An end lies in line with another tube, inside it or over it, so no cut joins them.")
define("joint-angle", ERROR, "Two tubes meet at an angle too shallow to cut and weld.")
define("joint-butt", NOTE, "Two ends meet in line; both are cut square.")
define("joint-crowded", ERROR, "More ends meet at one place than can be cut to one another.")
define("joint-ring", ERROR, "The job file cuts ends to each other in a ring.")
define("joint-unmatched", WARNING, "The job file speaks of a joint that the drawing does not have.")
define("mate-smaller", ERROR, "A tube is cut to one that is smaller than itself, so part of its end passes beside it.")
define("cope-partial", WARNING, "A tube sits so far off its mate's centerline that part of its end passes beside it.")
define("cope-again", ERROR, "Behind its cut a tube runs into the bend of its mate again: it lies along it, not on it.")
define("mate-ends", WARNING, "A tube ends before it has carried the whole width of a cope on it.")
define("end-eaten", ERROR, "A cut takes more off an end than there is of it.")
define("cope-into-bend", WARNING, "A cut reaches past the straight at the end into the bend.")
define("tube-through", NOTE, "A tube passes through a larger one, which needs a hole there.")
define("tube-crossing", WARNING, "Two tubes cross in one another's metal, and neither ends there.")
define("tube-clash", WARNING, "The metal of two tubes overlaps where neither is cut to the other.")
define("tube-near", NOTE, "Two tubes pass so near each other that they may touch as bent.")
define("hole-saw-none", NOTE, "The shop file lists no hole saws; the size that is wanted is told.")
define("hole-saw-size", WARNING, "No hole saw of the shop is near the mate's diameter.")
define("hole-saw-depth", WARNING, "The hole saw is not deep enough to cut through from one side.")
define("hole-saw-angle", WARNING, "The angle is too shallow for a hole saw in a notcher.")
define("hole-saw-not", NOTE, "A hole saw does not make this cut: use the template.")
# --- said of the room to swing ---------------------------------------------------------------
define("sweep-hits", ERROR, "While it is bent the tube runs into the floor, a wall, the machine or itself.")
define("sweep-close", WARNING, "While it is bent the tube comes closer than the margin (10 mm) to something.")
define("sweep-unknown", NOTE, "The shop file does not say enough of the machine to tell whether the tube can swing.")
define("die-to-buy", NOTE, "One die that the shop does not have would make every bend of a section in the drawing.")
