"""What is told of joints, copes and hole saws."""

from converter.findings.catalogue.dies import NAME_SECTION
from converter.findings.entries import ERROR, NOTE, WARNING, clause, define

# --- which ends are looked at ----------------------------------------------------------------

_RIGHT_FIRST = "Put the bends right first."
define(
    "joint-skipped",
    WARNING,
    "A tube's joints were not looked for: it has no section, or no possible shape.",
    says={
        "section": "no joints were looked for, since no section is known",
        "no length": "no joints were looked for, since the tube has no length",
        "overlap": "no joints were looked for, since its bends overlap by {overlap:length}",
        "folds": "no joints were looked for, since a bend of {clr:length} is not above half the tube ({half:length})",
        "shape": "no joints were looked for, since {why}",
    },
    cure={
        "section": NAME_SECTION,
        "no length": _RIGHT_FIRST,
        "overlap": _RIGHT_FIRST,
        "folds": _RIGHT_FIRST,
        "shape": _RIGHT_FIRST,
    },
)
define(
    "joint-unplaced",
    NOTE,
    "Tubes of a table have no place in space, so their joints were not looked for.",
    says={
        "one": "the file gives {first:bare} no place, so no joints were looked for there",
        "several": "the file gives {count:count tube}, {first:bare} the first, no place, so no joints were looked for "
        "there",
    },
    cure="Give the start and direction of each tube in the table, or read the drawing itself.",
)
clause("crowded-tube", "{tube:bare}")
clause("crowded-rest", "{rest} more")
define(
    "joint-crowded",
    ERROR,
    "More ends meet at one place than can be cut to one another.",
    says="{ends:count end} meet at {place:place} ({tubes:list}), more than the {most} that are cut to one another at "
    "one place: they are left as they are drawn, and their overlaps are not told",
    cure="Check where the tubes begin: draw each from its own place, or end them on a hub.",
)

# --- how an end comes to the tube it is cut to ------------------------------------------------------------

clause("drawn-short", "but for {left:length} short")
clause("drawn-too-far", "but for {left:length} too far")
define(
    "joint-drawn",
    NOTE,
    "An end was drawn to neither the centerline nor the outside of the tube it is cut to; the cut allows for it.",
    says={
        "outside": "at {place:place}, its centerline stops at the outside of {mate:bare} ({how}), {size:length} before "
        "that tube's centerline; the cut is made to fit all the same",
        "short": "at {place:place}, its centerline stops {size:length} short of the centerline of {mate:bare}; the cut "
        "is made to fit all the same",
        "long": "at {place:place}, its centerline runs {size:length} past the centerline of {mate:bare}; the cut is "
        "made to fit all the same",
        "outside of several": "at {place:place}, its centerline stops at the outsides of {mates:list} ({how}), "
        "{size:length} before their centerlines; the cut is made to fit all the same",
        "short of several": "at {place:place}, its centerline stops {size:length} short of the centerlines of "
        "{mates:list}; the cut is made to fit all the same",
        "long of several": "at {place:place}, its centerline runs {size:length} past the centerlines of {mates:list}; "
        "the cut is made to fit all the same",
    },
)
define(
    "joint-missed",
    WARNING,
    "An end stops short of the tube that it points at, so it is not joined to it.",
    says="at {place:place}, it stops {missed:length} short of the outside of {mate:bare}, so it is not joined to it",
    cure="Draw the end to the other tube's centerline, or raise --near.",
)
define(
    "joint-beside",
    ERROR,
    "An end's axis passes beside the tube that it touches, so no cut serves.",
    says="at {place:place}, its axis passes {offset:length} from that of {mate:bare}, beside the tube, and only part "
    "of it would touch; it is not cut",
    cure="Move the end so that its axis runs into the other tube.",
)
_AT_AN_ANGLE = "Draw the tubes at an angle, or say what the end is cut to in the job file."
define(
    "joint-parallel",
    ERROR,
    "An end lies along another tube, so no cut joins them.",
    says={
        "along": "at {place:place}, it lies along {mate:bare}, {offset:length} from its centerline, so their metal "
        "overlaps and no cut joins them",
        "inside": "at {place:place}, it meets the bend of {mate:bare} at {angle:angle} and its axis never leaves the "
        "metal of that bend, so no cut joins them",
        "mate": "at {place:place}, the tube and the one it is cut to are parallel, so no cut joins them",
        "line": "at {place:place}, the tube and what it ends on lie in one line, so no cut joins them",
        "mitre": "at {place:place}, the two tubes lie on one another, so no mitre parts them",
        "plane": "at {place:place}, the tube is parallel to the plane, so it never ends on it",
        "shape": "at {place:place}, no cut is found: {why}",
    },
    cure={
        "along": "Move the tubes apart, or draw them at an angle.",
        "inside": "Turn it so that it leaves the bend, or end it elsewhere.",
        "mate": _AT_AN_ANGLE,
        "line": _AT_AN_ANGLE,
        "mitre": _AT_AN_ANGLE,
        "plane": _AT_AN_ANGLE,
        "shape": _AT_AN_ANGLE,
    },
)
define(
    "joint-coaxial",
    ERROR,
    "An end lies in line with another tube, inside it or over it, so no cut joins them.",
    says="at {place:place}, it lies in line with {mate:bare}, so no cut joins them",
    cure="Draw one tube where they overlap, or end to end with a sleeve.",
)
define(
    "joint-angle",
    ERROR,
    "Two tubes meet at an angle too shallow to cut and weld.",
    says={
        "mate": "at {place:place}, it meets {mate:bare} at {angle:angle}, too shallow to cut and weld (the least is "
        "{least:g}°)",
        "plane": "at {place:place}, it meets the plane at {angle:angle}, too shallow to cut and weld (the least is "
        "{least:g}°)",
        "further": "at {place:place}, it is cut to {mate:bare} too, which it meets at {angle:angle}, too shallow to "
        "cut and weld (the least is {least:g}°)",
    },
    cure={
        "mate": "Draw it steeper, or end it on something else.",
        "plane": "Draw it steeper, or end it on something else.",
        "further": "Draw them further apart, or end one of them elsewhere.",
    },
)
define(
    "joint-butt",
    NOTE,
    "Two ends meet in line; both are cut square.",
    says="at {place:place}, it and {mate:bare} go on in one line; both ends are cut square",
)

# --- what the job file says ------------------------------------------------------------------

clause("ring-end", "{tube:bare} end {letter}")
define(
    "joint-ring",
    ERROR,
    "The job file cuts ends to each other in a ring.",
    says="at {place:place}, the job file cuts each of {ends:list} to the next, and the last to the first: in such a "
    "ring nothing stands for the first one to be cut to",
    cure="Take one of them out of the ring.",
)
clause("unmatched-end", " end {letter}")
clause("unmatched-near", " near {place:place}")
define(
    "joint-unmatched",
    WARNING,
    "The job file speaks of a joint that the drawing does not have.",
    says={
        "nowhere": "the job file's joint[{number}] speaks of {named:quoted}{of_end}{near}, which is not in the drawing",
        "mate": "at {place:place}, the job file cuts it to {named:quoted}, which it does not meet there",
        "mitre": "at {place:place}, the job file mitres it, but no other end meets it there",
        "square": "at {place:place}, the job file cuts it square, but it does not land squarely on a flat of "
        "{mate:bare} alone, so it is coped",
    },
    cure={
        "nowhere": "Check the name and the place.",
        "mate": "Check the name; it meets {met:list bare} there.",
        "nothing met": "Check the name; it meets no other tube there.",
        "mitre": "Leave the kind out, or draw the ends so that they meet.",
        "square": "Leave the kind out, or draw it square to a flat that is as wide as the tube.",
    },
)

# --- cuts ------------------------------------------------------------------------------------

define(
    "mate-smaller",
    ERROR,
    "A tube is cut to one that is smaller than itself, so part of its end passes beside it.",
    says="at {place:place}, {mate:bare} ({mate_size:length}) is smaller than the tube ({size:length}), so "
    "{beside:.0f}% of the end passes beside it; there the cut stops level with the centerline of {mate:bare}",
    cure="Cut {mate:bare} to {own:bare} instead (job file), or flatten the end.",
)
define(
    "cope-partial",
    WARNING,
    "A tube sits so far off the centerline of the one it is cut to that part of its end passes beside it.",
    says={
        "off": "at {place:place}, it sits {offset:length} off the centerline of {mate:bare}, so {beside:.0f}% of the "
        "end passes beside it, by up to {over:length}; there the cut stops level with that centerline",
        "turned": "at {place:place}, turned as it is, it is wider across than {mate:bare}, so {beside:.0f}% of the "
        "end passes beside it, by up to {over:length}; there the cut stops level with that centerline",
        "between": "at {place:place}, {beside:.0f}% of the end passes beside or between the tubes it is cut to "
        "({mates:list}); there the cut stops level with the centerline of {mate:bare}",
        "flats": "at {place:place}, it is cut square on the flats of {mates:list}, and {beside:.0f}% of the end comes "
        "down between them",
        "curves": "at {place:place}, {mate:bare} curves away under it, so {beside:.0f}% of the end passes beside it; "
        "there the cut stops where it passes closest",
    },
    cure={
        "off": "Move it nearer to the middle.",
        "turned": "Move it nearer to the middle.",
        "between": "Move it, or move the tubes together.",
        "flats": "Fill the gap in welding, or move the tubes together.",
        "curves": "End it on a straight, or use a smaller tube.",
    },
)
define(
    "joint-as-drawn",
    NOTE,
    "Nothing cuts an end whose outline does not end square: it is cut as that shows.",
    says={
        "": "nothing that it is cut to was found there, so it is cut along the slant that its outline ends with",
        "shape": "nothing that it is cut to was found there, and its outline does not end in one line: the stick "
        "reaches as far as that does",
    },
    cure={
        "": "Where it meets a tube, draw that in the same place and plane.",
        "shape": "Cut the end as it is drawn; where it meets a tube, draw that in the same place and plane.",
    },
)
define(
    "cope-open",
    NOTE,
    "An end sawn to a flat is wider than the flat: it is left open at the corner radii beside it.",
    says="it is sawn to the flat of {mate:bare}, which leaves up to {open:length} open at the corner radii of "
    "{mate:bare}",
    cure='Fill it in welding, or have the end coped around the radii: --on-flat cope, or kind = "saddle" (job file).',
)
define(
    "cope-again",
    ERROR,
    "Behind its cut a tube runs into its mate again, on the bend or beside it: it lies along it, not on it.",
    says="at {place:place}, behind the cut, it runs into {mate:bare} again",
    cure="Turn it so that it leaves the bend, or end it elsewhere.",
)
define(
    "mate-ends",
    WARNING,
    "A tube ends before it has carried the whole width of a cope on it.",
    says="at {place:place}, {mate:bare} ends {past:length} too soon at its end {mate_end} to carry the whole cut",
    cure="Leave {mate:bare} so much longer at that end, or mitre the two (job file).",
)
_LENGTHEN = "Lengthen the tube, or cut it to fewer tubes."
define(
    "end-eaten",
    ERROR,
    "A cut takes more off an end than there is of it.",
    says={
        "straight": "at {place:place}, the cut takes {taken:length} off all around, and the straight there is only "
        "{room:length} long, so nothing of the end is left",
        "tube": "at {place:place}, the cut takes {taken:length} off all around, and the tube there is only "
        "{room:length} long, so nothing of the end is left",
        "one side": "at {place:place}, the cut reaches {taken:length} back, past the {room:length} of the tube there",
    },
    cure={"straight": _LENGTHEN, "tube": _LENGTHEN, "one side": "Leave a longer straight at that end."},
)
define(
    "cope-into-bend",
    WARNING,
    "A cut reaches past the straight at the end into the bend.",
    says="at {place:place}, the cut reaches {taken:length} back, past the {room:length} of the straight there, into "
    "the bend, where the template no longer fits",
    cure="Leave a longer straight at that end.",
)

# --- tubes in each other's way ---------------------------------------------------------------

define(
    "tube-through",
    NOTE,
    "A tube passes through a larger one, which needs a hole there.",
    says="{inner:bare} passes through it at {place:place}, at {angle:angle}, {offset:length} off its centerline: it "
    "needs a hole there",
    together="{count} tubes pass through it, at {angle:range angle}, {offset:range length} off its centerline: "
    "{each:list}; it needs a hole at each",
    each="{inner:bare} at {place:place}",
)
define(
    "tube-crossing",
    WARNING,
    "Two tubes cross in one another's metal, and neither ends there.",
    says="it and {other:bare} cross at {place:place}, at {angle:angle}: their metal overlaps by up to "
    "{overlap:length}, and neither ends there",
    cure={
        "": "Cut one of them in two where they cross, or move them apart.",
        "split": "Cut one of them in two where they cross (`elbowroom split` with --run {own:quoted} --at "
        "{along:at}), or move them apart.",
        " each": "Cut it or the others in two where they cross, or move them apart.",
        "split each": "Cut it or the others in two where they cross (`elbowroom split` with --run {own:quoted} "
        "{each:words}), or move them apart.",
    },
    together="it crosses {count} tubes, at {angle:range angle}: {each:list}; their metal overlaps by "
    "{overlap:range length}, and neither ends there",
    each="{other:bare} at {place:place}",
    each_cure="--at {along:at}",
)
clause("clash-places", " (and in {more} more {more:place/places})")
clause("clash-unseen", " ({unseen} more {unseen:tube/tubes} as near {unseen:was/were} not looked at)")
define(
    "tube-clash",
    WARNING,
    "The metal of two tubes overlaps where neither is cut to the other.",
    says={
        "overlap": "it and {other:bare} run into one another at {place:place}: they overlap by {size:length} "
        "there{more}, and neither is cut to the other{unseen}",
        "through": "at {place:place}, it runs through {other:bare} and ends {past:length} past its centerline, so that "
        "it is not cut to it: they overlap by {size:length} there",
    },
    together="it runs into {count} tubes, and neither is cut to the other: {each:list}",
    each={"overlap": "{other:bare} at {place:place}, by {size:length}{more}{unseen}"},
    cure={
        "overlap": "Move them apart, or end one of them on the other.",
        "through": "Draw its end to the centerline of {other:bare}, or have the job file cut it there: "
        "cope_to in a [[joint]].",
    },
)
define(
    "tube-near",
    NOTE,
    "Two tubes pass so near each other that they may touch as bent.",
    says="it and {other:bare} pass with {size:length} between them at {place:place}: bent tubes come out that far "
    "from the drawing",
    together="it passes {count} tubes with {size:range length} between them, as far as bent tubes come out from the "
    "drawing: {each:list}",
    each="{other:bare} at {place:place}",
    cure="Move them apart, or draw them touching where they are to be welded.",
)

# --- hole saws -------------------------------------------------------------------------------

define(
    "hole-saw-none",
    NOTE,
    "The shop file lists no hole saws; the size that is wanted is told.",
    says="{shop:quoted} lists no hole saws, so for {cuts:count cut} the diameter of the tube it is cut to is told",
    cure="List the saws you own as [[hole_saw]] in the shop file.",
)
define(
    "hole-saw-size",
    WARNING,
    "No hole saw of the shop is near the diameter of the tube that the end is cut to.",
    says="at {place:place}, the nearest hole saw, {size:length}, is {off:length} off the {wanted:length} of "
    "{mate:bare}",
    cure="Get the size, or cut by the template.",
)
define(
    "hole-saw-depth",
    WARNING,
    "The hole saw is not deep enough to cut through from one side.",
    says={
        "twice": "at {place:place}, the cut needs {depth:length} of depth and the saw has {saw_depth:length}: it takes "
        "two cuts, one from each side",
        "never": "at {place:place}, the cut needs {depth:length} of depth and the saw has {saw_depth:length}: not even "
        "two cuts go through",
    },
    cure="Use a deeper saw, or cut by the template.",
)
define(
    "hole-saw-angle",
    WARNING,
    "The angle is too shallow for a hole saw in a notcher.",
    says="at {place:place}, with {angle:angle} between the axes, the tube lies too flat for a hole saw in a notcher "
    "(about {least:g}° is the least)",
    cure="Cut by the template.",
)
define(
    "hole-saw-not",
    NOTE,
    "A hole saw does not make this cut: use the template.",
    says={
        "several": "at {place:place}, no single hole saw makes this cut, since it is cut to {mates:count tube}; use "
        "the template",
        "not round": "at {place:place}, no single hole saw makes this cut, since {mate:bare} is not round; use the "
        "template",
        "bend": "at {place:place}, no single hole saw makes this cut, since it lands on a bend of {mate:bare}; use the "
        "template",
    },
)
