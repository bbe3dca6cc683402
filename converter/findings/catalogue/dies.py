"""What the audit tells of a tube against dies, machine and metal, and of its solid."""

from converter.findings.entries import ERROR, NOTE, WARNING, clause, define

clause("limit-of-die", "the die {name:quoted}")
clause("die-by-name", "{name:quoted}")
clause("die-without-name", "the die")
clause("limit-of-machine", "the machine")
clause("unknown-section", "this tube")
clause("groove-of-die", "{sizes:sizes} {shape}")
clause("nearest-grooves", "its nearest take {grooves:list}")
clause("no-dies", "it has no dies at all")
clause("drawn-radius", "{clr:length}")
clause("fitted-radius", "{clr:length} (within {within:length})")
clause("with-mandrel", "with its mandrel")
clause("without-mandrel", "without a mandrel")
clause("after-springback", " after springback")
clause("at-end-B", "at end B")
clause("before-bend", "before bend {bend}")
clause("move-bends-apart", "move it {by:length} away from bend {other}")
clause(
    "split-tube",
    "split the tube {at:length} from end A, in the straight between bends {before} and {after}, and join "
    "the pieces with {joint}",
)
clause("sleeve-joint", "a sleeve")
clause("butt-joint", "a butt weld")
clause("refit-to-die", "bend it on {die} instead (refit), which moves the centerline by up to {moved:length}")

#: What to do where no section is known, or a part of it.
NAME_SECTION = "Name the section: with --section, in a job file, or in the layer's name."
#: What bending it on the die that a refit takes would do, where a radius is wrong.
_REFITS = {
    "refit": "Bend it on {taken} instead (--refit, or refit = true in the job file): the centerline moves by up to "
    "{moved:length}.",
    "refit overlaps": "Bent on {taken} instead (refit) it lacks {lacking:length} of straight {where}: move the corners "
    "apart, or get a tighter die.",
    "refit moves far": "Redraw it with the radius of a die, or have it rolled: bending it on {taken} instead (refit) "
    "would move the centerline by more than a tenth of the tube's size.",
}
#: The same where the die is as good as the one drawn: what to do comes first.
_REFITS_OR_NEAR = {**_REFITS, "near": "Name --refit, or write refit = true in the job file."}
_NEAR = "bend it on {taken}: it is drawn to {radius}, and the centerline moves by up to {moved:length}"

define(
    "section-unknown",
    WARNING,
    "No section is known for this tube, so the dies cannot be checked.",
    says={
        "": "no section is known, so the dies cannot be checked",
        "die": "no section is known, so whether the die {die:quoted} takes it cannot be checked",
    },
    cure=NAME_SECTION,
)
clause("noted", "{note:quoted}")
clause("more-notes", "{count:,} more")
_NAME_NOTED = "Name it if it is: --section {option:quoted}."
define(
    "section-noted",
    NOTE,
    "A note in the drawing, or a layer's name without a unit, may tell the section of tubes that have none; it was not "
    "taken.",
    says={
        "": "a note in the drawing says {notes:list}, which may be the section of the tubes that have none",
        "several": "notes in the drawing say {notes:list}, which may be the sections of the tubes that have none",
        "layer": "the name of its layer, {layer:quoted}, may tell its section, but names no unit",
    },
    cure={
        "": _NAME_NOTED,
        "several": "Name them if they are, for each layer or tube: --section LAYER=SIZE, or in a job file.",
        "layer": _NAME_NOTED,
    },
)
define(
    "section-assumed",
    NOTE,
    "The section was read from the layer's name.",
    says="the section, {section}, was read from the name of its layer",
    cure="Name the section if that is not what the layer means.",
)
define(
    "no-die",
    ERROR,
    "The shop has no die for this section.",
    says={
        "": "the shop has no die for {section}; {nearest}",
        "as it lies": "the shop has no die for {section} as it lies there; {nearest}",
        "job": "the job names the die {die:quoted} ({sizes:sizes} {shape}), which does not take the section, {section}",
    },
    cure={
        "": "Choose a size the shop has a die for, or add the die to the shop file.",
        "as it lies": "Choose a size the shop has a die for, or add the die to the shop file.",
        "job": "Name another die or another section in the job file.",
    },
)
clause("die-of-radius", "{die:quoted} ({clr:length})")
define(
    "die-choice",
    NOTE,
    "Several dies suit the section; the one taken is named.",
    says="{count:count die} take the section, {dies:list}, and the drawing does not settle which; {taken:quoted} was "
    "taken",
    cure="Name the die in the job file.",
)
define(
    "radius-too-tight",
    ERROR,
    "The bend is tighter than the tightest die for this section.",
    says={
        "": "it has a centerline radius of {radius}; the tightest die for {section} is {nearest}, so it is "
        "{off:length} too tight",
        "near": _NEAR,
    },
    cure=_REFITS_OR_NEAR,
)
define(
    "radius-between-dies",
    ERROR,
    "The bend's radius lies between the shop's dies.",
    says={
        "": "it has a centerline radius of {radius}, between {below} and {above}; no die makes it",
        "near": _NEAR,
    },
    cure=_REFITS_OR_NEAR,
)
define(
    "radius-too-wide",
    ERROR,
    "The bend's radius is larger than the largest die for this section.",
    says={
        "": "it has a centerline radius of {radius}; the widest die for {section} is {nearest}, {off:length} less",
        "near": _NEAR,
    },
    cure=_REFITS_OR_NEAR,
)
define(
    "radius-uncertain",
    WARNING,
    "The fitted radius is too loosely known to tell whether the die makes it.",
    says="its radius, {radius}, is too loosely known to tell whether {nearest} makes it",
    cure=_REFITS,
)
define(
    "radius-approximate",
    NOTE,
    "The fitted radius agrees with a die within its own uncertainty.",
    says="its fitted radius, {radius}, agrees with the die {nearest}",
    cure="Bend it at {clr:length} exactly: --refit.",
)
define(
    "angle-too-great",
    ERROR,
    "The bend turns further than the die or the machine can.",
    says="it turns {angle:angle}; {limited_by} turns up to {most:angle}",
    cure="Split the bend into two with a straight between, or use a die and a machine that turn further.",
)
define(
    "straight-too-short",
    ERROR,
    "The straight between two bends is shorter than the clamp or the pressure die needs.",
    says={
        "": "the straight before it is {straight:length}; the clamp of {die:quoted} needs {need:length} between bends",
        "S-bend": "the straight before it is {straight:length}, under the {need:length} that the clamp of {die:quoted} "
        "needs between bends; the clamp is turned over for this S-bend",
        "clamp": "it cannot be held: the straight between it and bend {other} is {straight:length}{after}, "
        "and the clamp of {die} needs {need:length} between bends",
        "pressure die": "it cannot be held: the straight between it and bend {other} is {straight:length}{after}, "
        "and the pressure die of {die} needs a tail of {need:length}",
        "overlap": "it cannot be held: bent on {die} it and bend {other} overlap by {over:length}{after}, "
        "and the clamp needs {need:length} between bends",
        "turned over": "there is less straight between it and bend {other} than the clamp of {die:quoted} needs, so "
        "the clamp is turned over for it",
    },
    cure={
        "": "Move the bends {by:length} apart, or split the tube there.",
        "S-bend": "Turn the clamp over for the second of the two bends.",
        "clamp": "{ways:one of}.",
        "pressure die": "{ways:one of}.",
        "overlap": "{ways:one of}.",
        "turned over": "Turn the clamp over for that bend and back after it.",
    },
)
define(
    "end-too-short",
    WARNING,
    "The straight at an end is shorter than the clamp or the pressure die needs: leave extra and trim.",
    says={
        "clamp": "the straight there is {straight:length}; the clamp of {die:quoted} needs {need:length}",
        "pressure die": "the straight there is {straight:length}; the pressure die of {die:quoted} needs a tail of "
        "{need:length}",
        "longer for clamp": "it is cut {extra:length} longer there for the clamp",
        "longer for pressure die": "it is cut {extra:length} longer there for the pressure die",
        "longer for metal": "it is cut {extra:length} longer there for the metal that reaches past the centerline",
    },
    cure={
        "trim": "Leave {extra:length} extra at that end and trim it after bending.",
        "trim or turn": "Leave {extra:length} extra at that end and trim it after bending, or feed it from end B.",
        "longer for clamp": "Trim it after bending.",
        "longer for pressure die": "Trim it after bending.",
        "longer for metal": "Cut the end to its shape.",
    },
)
define(
    "hoop",
    ERROR,
    "A closed ring cannot be bent in one piece on this kind of machine.",
    says="it is a closed ring that turns {turn:angle} without a straight to hold or to join",
    cure="Roll it on a ring roller, or make it of two halves with straights to hold and trim.",
)
define(
    "closed-loop",
    WARNING,
    "A closed tube must be cut and joined somewhere; the table starts in its longest straight.",
    says="the tube is closed; it is cut in its longest straight ({longest:length}) and joined there",
    cure="Say where the joint may be by leaving a gap there in the drawing.",
)
define(
    "no-solid",
    WARNING,
    "The tube cannot be a solid (no section, or a bend tighter than it allows); none is written.",
    says={
        "tight": "it has no solid: bend {number} has a centerline radius of {clr:length}, not more than the "
        "{inside:length} from the tube's centre to its inside",
        "mitre": "it has no solid: the straight at the sharp corner of bend {number} is too short for its mitre",
        "twisted": "it has no solid: the loop brings the section back turned by {twist:angle}, so its ends do not fit",
        "overlap": "it has no solid: {lacking:length} of straight are lacking before bend {number}",
        "overlap at the end": "it has no solid: its last bend reaches {lacking:length} past the end",
        "shape": "it has no solid: {why}",
    },
    cure={
        "tight": "Give the bend a larger radius, or the tube a smaller section.",
        "mitre": "Draw the straight longer, or give the corner a radius.",
        "twisted": "Draw the loop so that its planes come round by quarter turns, or as two tubes.",
        "overlap": "Put the bends right first.",
        "overlap at the end": "Put the bends right first.",
    },
)
define(
    "self-contact",
    ERROR,
    "The bend turns so far that the tube runs into itself.",
    says={
        "folds": "it has a centerline radius of {clr:length}, not above half the tube ({half:length}): its inside "
        "would fold through itself",
        "turns": "it turns {angle:angle}, so the centerline comes within {gap:length} of itself and the tube, "
        "{thick:length} thick, runs into itself",
        "passes": "near it the centerline comes within {gap:length} of itself, so the tube, {thick:length} thick, "
        "would run through itself",
    },
    cure={
        "folds": "Give the bend a larger radius.",
        "turns": "Turn less, shorten the straights beside the bend, or offset the turns as a coil.",
        "passes": "Move the bends apart, or turn one of them so that the tube passes beside itself.",
    },
)
define(
    "demo-shop",
    NOTE,
    "No shop file was named; the invented demo shop was used.",
    says={
        "": "no shop file was named, so the dies are those of the invented demo shop",
        "bars": "no shop file was named, so saw, stock and prices are those of the invented demo shop",
    },
    cure="Write your own with `elbowroom shop new FILE` and name it with --shop.",
)
define(
    "roll-not-quarter",
    ERROR,
    "The rotation of tube with flats is not a multiple of 90 degrees.",
    says="the rotation before it is {roll:angle}, {off:angle} off a quarter turn; no face of {shape} tube "
    "lies in the die",
    cure="Turn the bend plane to a multiple of 90 degrees, or use round tube.",
)
define(
    "job-unmatched",
    WARNING,
    "The job file or a section option names a tube or layer that the drawing does not have.",
    says={
        "option layer": "the section option names layer {pattern:quoted}, which the drawing does not have",
        "job run": "the job file names the tube {pattern:quoted}, which the drawing does not have",
        "job layer": "the job file names layer {pattern:quoted}, which the drawing does not have",
    },
    cure={
        "option layer": "Check the spelling.",
        "job run": "Check the spelling in {source}.",
        "job layer": "Check the spelling in {source}.",
        "spelling": "Check the spelling.",
        "near": "Check the spelling: {near:quoted} is likely meant.",
    },
)
