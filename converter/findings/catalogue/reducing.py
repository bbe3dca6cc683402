"""What the reducer tells: how curves became tubes of straights and bends."""

from converter.findings.entries import ERROR, NOTE, WARNING, clause, define

clause("drawn-layer-handle", "layer {layer:quoted}, handle {handle:bare}")
clause("drawn-layer", "layer {layer:quoted}")
clause("drawn-handle", "handle {handle:bare}")
clause("drawn-nowhere", "no layer")
clause("layer-named", "{layer:quoted}")
clause("layer-none", "none")

define(
    "healed-gap",
    NOTE,
    "A gap below the join tolerance was closed.",
    says={
        "one": "a gap of {largest:small} at {point:place} was closed: the join tolerance is {join:small}",
        "": "{gaps:count gap}, the largest of {largest:small} at {point:place}, were closed: "
        "the join tolerance is {join:small}",
    },
)
define(
    "near-gap",
    WARNING,
    "Two ends nearly meet: the gap is above the join tolerance, so they stay apart.",
    says={
        "": "two ends nearly meet: {gap:small} apart at {point:place} ({drawn}) and {other_point:place} "
        "({other_drawn}); the join tolerance is {join:small}, so they stay apart",
        "more": "{more:,} more places like these were found: check the unit of the drawing, or the join tolerance",
    },
    cure={"": "Close the gap in the drawing, or have gaps of that size closed: --join {gap:ample}."},
    together="{count} pairs of ends nearly meet, {sizes:range small} apart, so they stay apart: `table` with "
    "--picture shows where",
)
define(
    "untrimmed",
    WARNING,
    "An end runs along into another curve that goes on past it: lines were not trimmed to an arc.",
    says={
        "one": "an end at {point:place} ({drawn}) runs along into another curve ({passing}) that goes on past it, as "
        "where lines were not trimmed to an arc: one tube is then read as several, of wrong lengths",
        "": "{ends:count end}, the first at {point:place} ({drawn}), run along into other curves ({passing}) that go "
        "on past them, as where lines were not trimmed to arcs: one tube is then read as several, of wrong lengths",
    },
    cure="Trim the lines to the arcs in the CAD package.",
)
define(
    "duplicate-removed",
    NOTE,
    "A curve drawn twice, or lying on another, was dropped.",
    says={
        "": "{curves:count curve} drawn twice or overlapping dropped out, altogether {length:length} (first: {drawn})",
        "other layer": "{curves:count curve} lying on curves of {onto} dropped out, altogether {length:length} "
        "(first: {drawn})",
    },
)
define(
    "speck-removed",
    NOTE,
    "A mark smaller than the join tolerance was left out.",
    says={
        "one": "a mark smaller than the join tolerance of {join:small} was left out at {point:place}",
        "": "{marks:count mark} smaller than the join tolerance of {join:small} were left out, first at {point:place}",
    },
)
_LEFTOVER = (
    "turns off by {angle:angle} in a sharp corner at {point:place}, as a line does that trimming or snapping left"
)
_LEFTOVER_BETWEEN = "the straight of {line:small} between it and bend {other_bend} " + _LEFTOVER
_LEFTOVER_END = "the straight of {line:small} at that end " + _LEFTOVER
define(
    "leftover-line",
    WARNING,
    "A line of a millimetre or two ends in a sharp corner, or is a tube by itself, as trimming or snapping leave it.",
    says={
        "": _LEFTOVER_BETWEEN,
        "end": _LEFTOVER_END,
        "part": _LEFTOVER_BETWEEN,
        "part end": _LEFTOVER_END,
        "alone": "it is {line:small} long, at {point:place}, as lines are that trimming or snapping left",
        "one of many": "it is no longer than {line:small}, as lines are that trimming or snapping left, and dashes of "
        "a line taken apart",
    },
    cure={
        "alone": "Delete the line from the drawing if it is left over, or have lines of that length left out: "
        "--join {line:ample}.",
        "one of many": "Delete these lines from the drawing if they are left over, or leave their layer out "
        "(--skip-layer).",
        "": "Delete the line from the drawing if it is left over, or have lines of that length left out: "
        "--join {line:ample}.",
        "end": "Delete the line from the drawing if it is left over, or have lines of that length left out: "
        "--join {line:ample}.",
        "part": "Delete that part of the polyline if it is left over.",
        "part end": "Delete that part of the polyline if it is left over.",
    },
)
define(
    "overlap-kept",
    WARNING,
    "Curves of two layers lie on one another and neither covers the other; both were read as tubes.",
    says="curves of the layers {layers:list} lie on one another over {length:length} ({places:count place}, "
    "first: {drawn}); neither covers the other, so both are read as tubes",
    cure="Leave out the layer that holds construction lines.",
)
define(
    "joined-across-layers",
    NOTE,
    "A tube continues tangent onto another layer and was joined.",
    says={
        "once": "a tube changes layer once, at {point:place}: its curves continue tangent over the layers "
        "{layers:list} and were joined",
        "twice": "a tube changes layer twice, first at {point:place}: its curves continue tangent over the layers "
        "{layers:list} and were joined",
        "": "a tube changes layer {times:count time}, first at {point:place}: its curves continue tangent over the "
        "layers {layers:list} and were joined",
    },
    cure="Keep the layers separate if these are different tubes.",
)
define(
    "junction",
    NOTE,
    "Three or more ends meet, or two at a corner on another curve; a tangent pair goes through, the others end there.",
    says={
        "": "{ends:count end} meet at {point:place} on {drawn}: {then}{doubt}",
        "passing": "two ends meet at {point:place} on {drawn}, on another line ({passing}): both end there, and no "
        "bend is made of them",
        "more": "{more:,} more places like these were found: in each, ends meet and tubes end there",
    },
)
clause("junction-all-end", "no two continue tangent, so all end there")
clause("junction-pair", "one tangent pair goes through{rest}")
clause("junction-pairs", "{pairs} tangent pairs go through{rest}")
clause("junction-other-end", ", the other ends there")
clause("junction-other-ends", ", the other {left} end there")
clause("junction-tied", " (more than one pairing was tangent)")
define(
    "near-tangent",
    NOTE,
    "A joint misses tangency by less than the tolerance and was smoothed.",
    says={
        "one": "a joint missed tangency by {angle:.3f}° and was smoothed",
        "": "{joints:count joint} missed tangency by up to {angle:.3f}° and were smoothed",
        "worst there": "{joints:count joint} of the tube missed tangency, most of all there, by {angle:.3f}°, and were "
        "smoothed",
    },
)
define(
    "kink",
    ERROR,
    "A straight and an arc, or two arcs, meet at an angle that no bend makes.",
    says={
        "": "a straight and an arc meet there at {angle:angle}; up to {limit:g}° counts as smooth",
        "mesh": "the surface has a corner of {angle:angle}, which no bend makes",
    },
    cure={
        "": "Redraw the joint tangent, or raise the tangent tolerance if the drawing is merely coarse.",
        "mesh": "Give it a radius: with the radius option, a die, or in the mesh.",
    },
)
for _kind in ("chord", "line", "arc", "spline", "ellipse"):
    clause(f"drawn-{_kind}s", "{count:count " + _kind + "}")
define(
    "curve-fitted",
    NOTE,
    "A tessellated or free curve was replaced by straights and arcs within the fit tolerance.",
    says="{bends:count bend} {bends:was/were} fitted, tangent to the straights, to what was drawn as {drawn:list}; the "
    "table stays within {away:fine} of it",
)
define(
    "radius-shared",
    NOTE,
    "Fitted radii that are equal within what the drawing tells of them were taken for one, a die's where it agrees.",
    says={
        "": "{bends:count bend} from this one on {bends:has/have} one radius of {radius:length}: fitted alone "
        "{bends:it has/they have} {sizes:range fine}, and the drawing tells no more",
        "die": "{bends:count bend} from this one on {bends:has/have} the radius {radius:length} of a die of the shop: "
        "fitted alone {bends:it has/they have} {sizes:range fine}, and the drawing tells no more",
    },
)
clause("coil", " (a coil of {turns:.2f} turns, {radius:length} centerline radius, rising {rise:length} a turn)")
_STRAYS = "the best single bend would stray {away:length} from it, the tolerance is {limit:fine}"
define(
    "not-line-arc",
    ERROR,
    "A curve is not made of straights and arcs (ellipse, free form); no single bend follows it.",
    says={
        "two": "this bend and bend {other_bend} stand for a curve that is not made of straights and arcs{coil}; "
        + _STRAYS,
        "": "the bends from this one to bend {other_bend} stand for a curve that is not made of straights and "
        "arcs{coil}; " + _STRAYS,
    },
    cure="Redraw it as straights and arcs of a radius the shop has, or have it rolled.",
)
define(
    "fit-looser",
    WARNING,
    "Within a looser fit tolerance the tube has few bends: it was drawn less exactly than it is read.",
    says="what is drawn lies up to {away:fine} off a tube of {bends:count bend}, more than the fit tolerance of "
    "{limit:fine}: it was drawn, or exported, no more exactly than that",
    cure="Read it with --fit {fit:typed}, or export it with more digits or as arcs.",
)
define(
    "rebuild-deviation",
    WARNING,
    "The tube rebuilt from the table strays from the drawing by more than the fit tolerance.",
    says={
        "": "the tube made from the table strays {away:fine} from the drawing; the fit tolerance is {limit:fine}",
        "scatter": "the points drawn scatter by up to {away:fine} about the tube made from the table; the tolerance "
        "is {limit:fine}, and no table of about so few bends comes within it",
        "mesh": "a vertex of the mesh lies {deviation:fine} off the tube made from the table",
    },
    cure={
        "": "Redraw the tube from straights and tangent arcs where it matters.",
        "scatter": "Draw it from points measured more closely, or say with --fit how far they may be off.",
        "mesh": "Look there for a dent, a swage or a part that touches the tube.",
    },
)
define(
    "corners-joined",
    NOTE,
    "Sharp corners whose arcs leave no straight between them, and rows of a table that have none, became one bend.",
    says={
        "": "{corners} sharp corners leave no straight between them at a radius of {clr:length}: they are one bend "
        "of {angle:angle}",
        "rows": "{corners} bends of one plane and a radius of {clr:length} have no straight between them: they are one "
        "bend of {angle:angle}",
        "apart": "{corners} bends at a radius of {clr:length} lack {apart:any} of straight between them: they are one "
        "bend of {angle:angle}, whose legs come out so much further apart than drawn",
    },
    cure={"apart": "Draw them so much further apart if that matters."},
)
define(
    "corner-filleted",
    NOTE,
    "A sharp corner was given the radius of the die or of the option.",
    says="{corners:,} sharp {corners:corner/corners} got a radius of {clr:length}; the centerline passes up to "
    "{inside:length} inside the {corners:corner/corners}",
)
_GIVE_RADIUS = (
    "Give it a radius (--clr), or a section that one of the shop's dies takes; where two tubes meet there, use "
    "--corner mitre."
)
define(
    "corner-no-radius",
    ERROR,
    "A sharp corner has no radius and no die gives it one.",
    says={
        "": "a sharp corner that nothing gives a radius",
        "no section": "a sharp corner that nothing gives a radius (no section is known)",
        "no die": "a sharp corner that nothing gives a radius (no die takes its section)",
    },
    cure={
        "": _GIVE_RADIUS,
        "no section": "Name the section (--section, or in a job file), if a die of the shop takes it, or give a radius "
        "(--clr); where two tubes meet there, use --corner mitre.",
        "no die": _GIVE_RADIUS,
    },
)
clause("corner-flats", "its section is {section}")
clause("corner-no-die", "no die takes its section")
clause("corner-too-short", "its straights are too short for the die")
clause("corner-closed", "it is a closed frame of right angles")
clause("corner-arcs", "its other bends are drawn as arcs")
clause("corner-arcs-elsewhere", "the bends of other tubes are drawn as arcs")
define(
    "corner-choice",
    NOTE,
    "Sharp corners are bent though the section, the size, the shape or arcs drawn elsewhere make mitres likely, and "
    "nothing says which.",
    says="its {corners:,} sharp {corners:corner/corners} {corners:is/are} bent from one tube, since nothing says "
    "otherwise, though {reasons:list}: {tubes:count tube} with mitred ends may be meant",
    cure='Say which: --corner mitre or --corner bend, or corner = "mitre" or "bend" in the job file.',
)
define(
    "corner-mitred",
    NOTE,
    "A line was taken apart at its sharp corners into tubes with mitred ends, as asked.",
    says="{corners:,} sharp {corners:corner/corners} of {run:bare} {corners:is/are} mitred, so it is made as "
    "{tubes:list bare}",
)
define(
    "negative-straight",
    ERROR,
    "Bends overlap, or one reaches past the end of the tube.",
    says={
        "": "it and bend {other_bend} would overlap by {lacking:length} at these radii",
        "end": "it would reach {lacking:length} past that end at these radii",
        "overlap": "it and the bend before it overlap by {lacking:length}",
        "past end": "it reaches {lacking:length} past that end",
    },
    cure={
        "": "Move the corners apart, or use a die with a smaller radius.",
        "end": "Move the corners apart, or use a die with a smaller radius.",
        "overlap": "Move the corners apart, lengthen the end, or use a die with a smaller radius.",
        "past end": "Move the corners apart, lengthen the end, or use a die with a smaller radius.",
    },
)
define(
    "refit",
    NOTE,
    "Bends were changed to the radius of their die (refit); the distance the centerline moves is named.",
    says="{bends:count bend} {bends:was/were} changed to a radius of {clr:length} (refit); the centerline moves by "
    "up to {moved:length}",
)
define(
    "fold-back",
    ERROR,
    "The line doubles back on itself; no tube can.",
    says="the line doubles back on itself there by {angle:angle}",
    cure="Delete the part that was drawn twice, or draw the bend as an arc.",
)
define(
    "short-run",
    NOTE,
    "A tube is shorter than it is thick, or nearly; it may be a stray mark.",
    says="it is {length:length} long and {thick:length} thick; it may be a stray mark",
    cure="Delete it, or leave its layer out.",
)
