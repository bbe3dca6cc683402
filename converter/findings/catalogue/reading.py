"""What the readers tell: of units, drawings and tables."""

from converter.findings.catalogue.dies import NAME_SECTION
from converter.findings.entries import ERROR, NOTE, WARNING, clause, define

# --- units ----------------------------------------------------------------------------------

_SAY_WHICH = "Say which with the units option (--units in, --units mm)."
_NAME_IN_HEADING = "Put the unit in the heading, such as feed_in or x_in, or give --units."
_THEN = "was read as mm: its largest extent is then {extent:either}; it would be {in_inches:either} if it was"
_EVERY_LENGTH = "in inches every length would be 25.4 times as long"

_OTHERWISE = ": its largest extent is then {extent:either}; it would be {in_other:either} if it was drawn in {other}"
clause("header-contradicts", " (its header's $MEASUREMENT says {system}, which many programs write whatever the unit)")
define(
    "units-assumed",
    WARNING,
    "The drawing names no unit; the shop's, inches or millimetres were taken, and the other reading is named.",
    says={
        "shop": "the drawing names no unit and was read as {read_as}, the unit of the shop file{doubt}" + _OTHERWISE,
        "measurement": "the drawing names no unit and was read as {read_as}, as its header's $MEASUREMENT is that of "
        "inches" + _OTHERWISE,
        "drawing": f"the drawing names no unit and {_THEN} drawn in inches",
        "drawing in metres": f"the drawing names no unit and {_THEN} drawn in inches, and {{in_metres:either}} in "
        "metres",
        "unit of no meaning": f"the drawing names a unit that does not exist (code {{code:bare}}) and {_THEN} drawn in "
        "inches",
        "mesh": f"a mesh in {{kind}} names no unit and {_THEN} made in inches",
        "file": f"the file names no length unit and was read as mm; {_EVERY_LENGTH}",
        "standard": "the file names no length unit and was read as {read_as}, as the IGES standard has it; "
        "in mm every length would be a 25.4th of it",
        "contradiction": "the header's unit flag says {read_as}, its unit's name {word:quoted}: lengths were read as "
        "{read_as}, since the flag is what counts",
        "flag": "the header's unit flag {flag:quoted} does not exist and lengths were read as mm; " + _EVERY_LENGTH,
        "flag, name": "the header's unit flag {flag:quoted} does not exist: lengths were read as {read_as}, the unit "
        "that it names in words",
        "flag, option": "the header's unit flag {flag:quoted} does not exist: lengths were read as {read_as}, as the "
        "units option asks",
        "unknown name": "the file names the unit {word:quoted}, which is not known, and was read as mm; "
        + _EVERY_LENGTH,
        "some shapes": "some shapes name no length unit (others name {others:list bare}) and were read as mm; "
        + _EVERY_LENGTH,
        "headings": "the heading {heading:quoted} names no unit: its numbers were read as {read_as}; " + _EVERY_LENGTH,
        "headings, shop": "the heading {heading:quoted} names no unit: its numbers were read as {read_as}, the unit of "
        "the shop file",
        "one heading": "the heading {heading:quoted} names no unit: its numbers were read as {read_as}, like the other "
        "headings'",
    },
    cure={
        "shop": _SAY_WHICH,
        "measurement": _SAY_WHICH,
        "drawing": _SAY_WHICH,
        "drawing in metres": "Say which with the units option (--units m, --units in, --units mm).",
        "unit of no meaning": _SAY_WHICH,
        "mesh": _SAY_WHICH,
        "file": _SAY_WHICH,
        "standard": _SAY_WHICH,
        "contradiction": _SAY_WHICH,
        "unknown name": _SAY_WHICH,
        "flag": _SAY_WHICH,
        "flag, name": _SAY_WHICH,
        "flag, option": "Check a length that is known.",
        "some shapes": _SAY_WHICH,
        "headings": _NAME_IN_HEADING,
        "headings, shop": _NAME_IN_HEADING,
        "one heading": _NAME_IN_HEADING,
    },
)
define(
    "units-overridden",
    NOTE,
    "The units option overrides what the file says.",
    says={
        "": "the file says its unit is {stated:bare}; its numbers were read as {read_as}, as the units option asks",
        "headings": "the headings say {stated:list}; lengths were read in {read_as} as asked",
    },
)
define(
    "model-scale",
    WARNING,
    "An IGES file says that its model is not life size; its lengths were read as they stand.",
    says="the header says that the model is drawn to a scale of {scale:g}; lengths were read as they stand, not "
    "divided by it",
    cure="Measure a length that you know; export the model at life size if it is wrong.",
)
clause("run-likelier-unit", "; read as {unit} it would be {length:small}")
define(
    "run-size",
    WARNING,
    "A line is longer or shorter than any tube; what it would be in a likelier unit is named.",
    says={
        "long": "the numbers read as {unit} make it {length:small} long{reading}; no tube is longer than {limit:small}",
        "short": "the numbers read as {unit} make it {length:small} long{reading}; no tube is shorter than "
        "{limit:small}",
    },
    cure="Give the drawing's unit (--units), or leave out what is no tube (--skip-layer).",
)

# --- drawings -------------------------------------------------------------------------------

clause("decimal-commas", "{count:count number} with a decimal comma {count:was/were} read as such")
clause("fortran-exponents", "{count:count number} with the exponent of Fortran (6.0D+01) {count:was/were} read as such")
clause("sequences-closed", "{count:count SEQEND} {count:was/were} put in")
clause("sections-joined", "what it draws was put into one section")
clause("flaws-repaired", "{count:count flaw} {count:was/were} repaired")
clause("flaws-left", "{count:,} could not be repaired")
clause("curves-lost", "{lost:,} of {drawn:count curve} {lost:was/were} lost")
clause("curves-kept", "all {count:count curve} {count:was/were} kept")
define(
    "file-repaired",
    WARNING,
    "The file was damaged and was read in recovery mode; what was repaired is counted.",
    says={
        "damaged": "the file is damaged ({reason}) and was read in recovery mode: {parts:list}",
        "malformed": "the file is malformed in places ({reason}); what depends on them may be missing",
        "behind": "behind the end mark of the file, EOF in line {line:,}, another drawing begins: its "
        "{count:count curve} {count:was/were} not read",
    },
    cure={
        "behind": "Put each drawing into a file of its own, from SECTION to EOF.",
        "damaged": "Export the drawing again, or compare every tube with it.",
        "malformed": "Export it again, and compare what comes in.",
    },
)
clause("hidden-layer", "{layer:quoted} ({how}, {count:,})")
clause("more-layers", "{count:,} more")
define(
    "layers-skipped",
    NOTE,
    "Frozen or switched-off layers were not read.",
    says={
        "layers": "{count:count entity entities} on frozen or switched-off layers {count:was/were} not read: "
        "{layers:list}",
        "shapes": "{count:count shape} that the file hides {count:was/were} not read",
    },
    cure={
        "layers": "Thaw or switch on the layer in the CAD package if it holds tubes.",
        "shapes": "Show them in the CAD package if they are tubes.",
    },
)
define(
    "block-stretched",
    WARNING,
    "A block is inserted with unlike scales, so that its arcs become ellipses, which no bender makes.",
    says="the block {block:quoted} is inserted with the scales {scales:bare} along its own axes, so that "
    "{arcs:count arc} of it {arcs:becomes an ellipse/become ellipses}",
    cure="Insert it with one scale in all directions, or explode it and draw its bends as arcs.",
)
clause("arc-with-handle", "arc {handle:bare}")
clause("arc-without-handle", "an arc")
clause("arc-radius", "radius {radius:length}")
clause("arc-without-radius", "no radius")
define(
    "arc-flattened",
    WARNING,
    "An arc is drawn flat although its neighbours are not; it was restored from the line ends.",
    says="{arc} was drawn flat (with {drawn}) and meets no line; the line ends and its centre give radius "
    "{radius:length}, which was taken",
    cure="Check the radius; export the drawing with a writer that keeps arcs in space (STEP does).",
    together="{count} arcs were drawn flat and meet no line; the line ends and their centres give "
    "a radius of {sizes:range length}, which was taken",
)
define(
    "arc-suspect",
    ERROR,
    "An arc is drawn flat, meets no line, and cannot be restored; its radius must not be trusted.",
    says="{arc} with {drawn} about {center:place} was laid flat by the program that wrote the file, and the lines do "
    "not give its true shape: do not trust it",
    cure="Export the drawing again as 3D polylines or STEP, or redraw the arc.",
)
clause(
    "paper-layout",
    "{layout:quoted} of paper space has {count:count curve}; --layout {layout:quoted} reads {count:it/them}",
)
clause("loose-block", "{block:quoted} has {count:count curve} and is nowhere inserted")
clause("annotation-name", "{layer:quoted} by its name ({count:,})")
clause(
    "annotation-border", "{layer:quoted}, with a rectangle around everything else that nothing else meets ({count:,})"
)
clause("annotation-option", "--skip-layer {layer:quoted}")
define(
    "annotation-suspect",
    WARNING,
    "Layers or linetypes look like a border, a title block, dimensions, notes, hidden edges or construction lines, and "
    "are read as tubes.",
    says={
        "": "{count:count curve} {count:is/are} read as tubes though {count:its layer looks/their layers look} like a "
        "border, dimensions, notes or construction lines: {seen:list}",
        "border": "{count:count curve} on layer {layer:quoted} {count:is/are} read as tubes though {count:it looks/"
        "they look} like a border: a rectangle around everything else that no tube meets",
        "dimensions": "{count:count line} {count:ends/end} in strokes or arrowheads, as dimensions and leaders taken "
        "apart do, and {count:is/are} read as tubes with all that belongs to {count:it/them}",
        "centre marks": "{count:count line} {count:crosses/cross} at the centres of arcs, as centre marks do, and "
        "{count:is/are} read as tubes",
        "linetype": "it is drawn in the linetype {linetype:quoted}, and most of the drawing in continuous lines: "
        "hidden edges, axes and other positions are drawn so",
        "linetype of a part": "a part of it is drawn in the linetype {linetype:quoted}, as hidden edges, axes and "
        "other positions are",
    },
    cure={
        "": "If they are no tubes, leave them out: {options:list}.",
        "border": "If it is one, put it on a layer of its own and leave that out (--skip-layer), or name the tubes "
        "(--run).",
        "dimensions": "If they are no tubes, delete them, or put them on a layer of their own and leave that out "
        "(--skip-layer).",
        "linetype": "If it is no tube, leave that linetype out: --skip-linetype {linetype:quoted}.",
        "linetype of a part": "If that part is no tube, leave that linetype out: --skip-linetype {linetype:quoted}.",
    },
)
clause("some-drawn-twice", ", {count:,} of them drawn twice")
clause(
    "outline-seams",
    "{seams:,} of {straights:,} straights that run from circle to circle along tubes of {od:length}{twice}, as the "
    "seams of a solid do",
)
clause(
    "outline-tubes",
    "{count:count pair} of lines side by side that {count:makes/make} the outline of a tube {sizes:list length} wide",
)
clause(
    "outline-loops",
    "{count:,} closed {count:loop/loops} that nothing meets inside {plates:another/other} {plates:loop/loops}",
)
clause("outline-thin", "{count:,} parallel straights {apart:length} apart, nearer than two tubes can lie")
clause("outline-short", "{count:,} straights of at most {longest:length} between two sharp corners")
clause("outline-spokes", "{count:,} straights from the centre of an arc to its end, as doors of a plan have")
clause("outline-square", ", nearly all of them at right angles")
clause("outline-walls", "{count:,} straights in pairs {apart:length} apart with a corner at either end{net}")
clause(
    "outline-views",
    "one is {width:length} wide and {height:length} high, the one in line above or below it as wide and {depth:length} "
    "deep, the one beside it as high and as deep",
)
clause(
    "outline-two-views",
    "both are {size:length} {how}, and their ends lie in line; across that, they are {depths:list length}",
)
_EDGES = "and what is read as tubes are edges: {seen:list}"
clause("outline-alone", "--layer {layer:quoted}")
define(
    "outline-suspect",
    WARNING,
    "The drawing looks like outlines of parts, bodies or tubes, or like views of one thing from three sides, not like "
    "centerlines in their places; what shows it is named.",
    says={
        "": f"this looks like outlines, not like centerlines, {_EDGES}",
        "tubes": f"this looks like tubes drawn by their outlines, not like centerlines, {_EDGES}",
        "two views": "this looks like one tube drawn from two sides, and each view is read as a tube of its own: "
        "{seen:list}",
        "views": "this looks like one thing drawn from three sides, and each view is read as tubes of its own: "
        "{seen:list}",
    },
    cure={
        "": "Export the centerline (the sketch or path of the tube) instead of the body or the part.",
        "tubes": "Read the centerlines halfway between the lines (--from-outline), or export the centerlines.",
        "views": "Draw the tubes once, in space, and read that; if these are parts of their own, nothing is wrong.",
        "centerlines": "Read the centerlines alone, which are drawn, too: {alone:list}.",
    },
)
clause("outline-width", "{width:length} wide ({tubes:,})")
clause("outline-more-widths", "{count:count other width}")
clause("outline-cap", "{count:count curve} that {count:closes/close} an end")
clause("outline-bore", "{count:count curve} of bores")
clause("outline-centerline", "{count:count centerline} between the sides")
clause("outline-across", "{count:count line} across")
clause("outline-dropped", "; dropped {parts:list}")
clause(
    "outline-left",
    "; {count:count curve} {count:belongs/belong} to no outline and {count:was/were} read as drawn",
)
define(
    "outline-read",
    NOTE,
    "Tubes drawn by their outlines were read as centerlines, as --from-outline asks; what was dropped is counted.",
    says="{tubes:count tube} {tubes:was/were} read from {tubes:its/their} {tubes:outline/outlines}, as the "
    "{tubes:centerline/centerlines} halfway between the sides: {sizes:list}{dropped}{left}",
)
define(
    "outline-none",
    WARNING,
    "No outline of a tube was seen where --from-outline asks for them.",
    says="no outline of a tube was seen (two lines side by side at an even distance, in one plane): the drawing was "
    "read as it is",
    cure="Leave out --from-outline, or draw both sides of each tube in one plane as lines and arcs.",
)
define(
    "outline-size",
    NOTE,
    "A tube was read from its outline, or its section is drawn on its end; how wide that is, and what wall it shows.",
    says={
        "": "it is drawn {od:length} wide, with a wall of {wall:length}",
        "no wall": "it is drawn {od:length} wide and without a wall: where nothing names its section, a solid bar is "
        "assumed",
    },
    cure={"no wall": NAME_SECTION},
)
_OWN_TUBE = "if it is a tube of its own, --take-all reads it."
define(
    "section-drawn",
    WARNING,
    "A closed curve square on the end of a path was left out as the section of its tube, which it does not tell.",
    says={
        "": "a closed curve {size:length} across stands square on the end of a path, at {place:place}: it was left out "
        "as the section of the tube there, and only circles tell that",
        "beside": "a closed curve {size:length} across stands square on the end of a path, at {place:place}, with its "
        "middle {off:length} beside it: it was left out as the section of the tube there, whose centerline lies "
        "elsewhere",
        "unlike": "circles of several sizes stand square on the ends of a path, the largest {size:length} across, at "
        "{place:place}: they were left out, and the section of the tube there is open",
    },
    cure={
        "": "Name the section (--section); " + _OWN_TUBE,
        "beside": "Draw the path through the middle of the section; " + _OWN_TUBE,
        "unlike": "Name the section (--section); " + _OWN_TUBE,
    },
)
define(
    "section-differs",
    WARNING,
    "A tube's outline, solid, table or layer's name shows another section than it was given, which was taken.",
    says={
        "": "it is drawn {od:length} wide, but its section is {section}, which was taken",
        "file": "the file shows {drawn} there, but its section is {section}, as named, which was taken",
        "layer": "the name of its layer tells {drawn}, but its section is {section}, as named for all, which was taken",
    },
    cure={
        "": "Name the section that is drawn, or check the scale of the drawing (--units).",
        "file": "Name the section for the tubes or layers that are meant alone; or take what the file shows, and name "
        "none.",
        "layer": "Name a section for the layers that are meant alone (--section LAYER=SIZE, or [layer.NAME] in the job "
        "file).",
    },
)
_REDRAW = "If it is part of a tube, redraw it with lines and arcs."
define(
    "entity-unread",
    WARNING,
    "An entity that may be part of a tube could not be read; it is named.",
    says={
        "entity": "{kind:bare} {handle:bare} on layer {layer:quoted} was not read: it is {why}",
        "entity without handle": "{kind:bare} without a handle on layer {layer:quoted} was not read: it is {why}",
        "more": "{count:,} more {count:entity/entities} {count:was/were} not read; the list of what was ignored counts "
        "{count:it/them}",
        "edges": "{count:count edge} of {part:bare} could not be followed",
    },
    cure={
        "entity": _REDRAW,
        "entity without handle": _REDRAW,
        "edges": "Export the sketch again, as lines, arcs and splines.",
    },
)
define(
    "curve-sampled",
    NOTE,
    "A curve of a kind that has no exact counterpart here was read as close points on it.",
    says="{count:count curve} of the kind {kind} {count:was/were} read as close points on {count:it/them}",
)
clause("edge-of-tube", "the centerline of {tube:bare}, which was read from its solid")
clause("outside-unread", "{error:bare}")
define(
    "part-elsewhere",
    WARNING,
    "Parts of a STEP file lie in other files: which were read from beside it, and which are missing and why.",
    says={
        "": "{parts:list quoted} {count:lies/lie} in another file, {file:quoted}, which was not read: {why}",
        "read": "parts were read from {count:count file} beside it: {files:list quoted}",
        "more": "{count:,} more files that it names were not read",
    },
    cure={
        "": "Put that file beside this one under that name, or export the assembly with its parts in one file.",
        "more": "Put them beside this file, or export the assembly with its parts in one file.",
    },
)
_TOUCHES = "the end touches what was left out ({kind:bare} {why}); "
_CUT = _TOUCHES + "with it, the end is cut to fit {mates:list bare}"
define(
    "left-out-touches",
    WARNING,
    "Something left out on request touches a tube's end; what it would change there is named.",
    says={
        "other tubes": _TOUCHES + "together they would be other tubes",
        "cut": _CUT,
        "cut longer": _CUT + ", and the cut length is {difference:length} greater there",
        "cut shorter": _CUT + ", and the cut length is {difference:length} less there",
    },
    cure="If it is a tube of this frame, read all of it and pick what is shown with --run.",
)

# --- tables ---------------------------------------------------------------------------------

define(
    "length-disagrees",
    WARNING,
    "A total in a table is not what its rows add up to; the rows count.",
    says="row {row} gives it a developed length of {total:length}, but its feeds, arcs and tail add up to "
    "{sum:length}; the rows were taken",
    cure="Correct the total, or the row that was changed.",
)
define(
    "plane-open",
    NOTE,
    "The file keeps a tube's ends but not its plane; it was put with its ends in place.",
    says="the document keeps where the tube starts and ends, not how it lies in between; it was put with its ends in "
    "place, turned about them as it came",
    cure="Read the drawing itself, or the CSV, for a tube in place.",
)
