"""What the readers of finished tubes tell: solids and meshes, and why something is none."""

from converter.findings.catalogue.dies import NAME_SECTION
from converter.findings.entries import NOTE, WARNING, clause, define

# --- finished solids ------------------------------------------------------------------------

clause("solid-diameter-varies", "its diameter varies from {least:length} to {most:length}")
clause("solid-fit-tolerance", "the fit tolerance is {fit:length}")
clause("solid-section-turned", "its section is turned by {angle:angle} against the first bend")
clause(
    "solid-inside-corners",
    "its inside corners have a radius of {radius:length}, not the {even:length} of an even wall",
)
clause("solid-corners-differ", "its corners {where} have radii from {least:length} to {most:length}")
clause("solid-corners-chamfered", "{count:,} of its corners {where} {count:is/are} cut off at a slant")
clause("solid-walls-differ", "its walls are {least:length} to {most:length} thick")
define(
    "solid-off",
    WARNING,
    "A solid's surface strays from the tube its table makes by more than the fit tolerance.",
    says={
        "strays": "the solid's surface strays {off:length} from the tube made from the table; {why:list}",
        "bore beside": "the bore runs {off:length} beside the tube's axis; the mean wall was taken",
        "bore short": "the bore stops {off:length} before the outside does, under a cap of the tube's own size, in "
        "full metal, or where it goes on narrower; the length is that of the outside",
        "bore in parts": "{without:,} of {pieces:,} straights and bends {without:has/have} no bore; the wall of the "
        "others was taken",
    },
    cure={
        "strays": "Redraw the part as one tube of straights and circular bends where it matters.",
        "bore beside": "Draw the bore about the tube's own axis.",
        "bore short": "Take a cap that is a part of its own off the length.",
        "bore in parts": "Hollow the whole tube, or leave it a bar.",
    },
)
define(
    "solid-volume",
    WARNING,
    "A body's metal differs from section area times developed length: holes, notches, or more than the tube.",
    says={
        "less": "its body has {percent:.1f}% less metal than section times length; up to {limit:.0f}% is not said",
        "more": "its body has {percent:.1f}% more metal than section times length; up to {limit:.0f}% is not said",
    },
    cure={
        "less": "Look for holes, slots and notches: none of them is in the table.",
        "more": "Look for what else is one body with it: none of it is in the table.",
    },
)
define(
    "not-stock",
    NOTE,
    "Round or square solids were left out as screws, pins, bosses, fittings and the like.",
    says={
        "": "{count:count solid} {count:was/were} not taken for stock: {names:list quoted}; why is listed with each",
        "more": "{count:count solid} {count:was/were} not taken for stock: {names:list quoted}, and {further:,} "
        "more; why is listed with each",
    },
    cure="Read it with --take-all to take them all the same.",
)
define(
    "solid-tapered",
    WARNING,
    "A solid's tube is slightly conical; its mean diameter was taken.",
    says="the diameter changes by {taper:length} along a straight; the mean was taken",
    cure="Draw it with one diameter, or have it made on other machines than a bender.",
)
define(
    "solid-oval",
    WARNING,
    "A solid's tube is not quite round; its mean diameter was taken.",
    says="the tube is out of round by {oval:length}; the mean diameter was taken",
    cure="Draw it round if round tube is meant.",
)
define(
    "solid-skin",
    WARNING,
    "A surface model shows only the outside of a tube, so its wall is not known.",
    says="only the outside of the tube is there, {od:length} across; its wall is not known",
    cure=NAME_SECTION,
)
define(
    "solid-swept",
    NOTE,
    "A tube was swept along one free curve: its centerline comes from sections of its surface, or from its four sides, "
    "and is fitted like a drawn spline.",
    says={
        "": "its centerline is one free curve: it was read from sections of its surface, round within {off:length}, "
        "and fitted as a drawn spline is",
        "flat": "its centerline is one free curve: it was read from its four sides, which lie within {off:length} of "
        "it, and fitted as a drawn spline is",
    },
)
define(
    "solid-facets",
    WARNING,
    "A solid is a mesh: flat facets, or triangles without surfaces. Its tube was fitted to their corners.",
    says="its surface is {count:,} flat facets: the tube was fitted to their corners, as that of a mesh file",
    cure="Export the solid that the mesh was made of.",
)
define(
    "solid-joined",
    NOTE,
    "The surfaces of a tube are several parts of the file, or its straights and bends several solids of one part or "
    "without a name, or it is split along it; they were joined where they meet.",
    says={
        "": "its surfaces are {count:count part} of the file, which were joined where they meet",
        "halves": "it is {count:count solid} in the file, split along it; they were united",
        "solids": "it is {count:count solid} in the file, straights and bends that go on end to end; they were "
        "joined into one tube",
    },
)
define(
    "solid-end-to-end",
    WARNING,
    "Straights and bends of one section that go on end to end, each a part of its own: one tube, or pipe and fittings "
    "that are welded.",
    says={
        "": "{count:count solid} of one section go on end to end, and each was read as a tube by itself: "
        "{names:list quoted}",
        "more": "{count:count solid} of one section go on end to end, and each was read as a tube by itself: "
        "{names:list quoted}, and {further:,} more",
    },
    cure="Where they are one tube that is bent, unite them into one solid in the CAD program, or export the "
    "centerline; where they are welded, all is as it should be.",
)
define(
    "solid-fused",
    NOTE,
    "Several tubes were one body; they were separated.",
    says={
        "": "{count:,} tubes are one body in the file; they were separated where their surfaces part",
        "wall": "its wall of {wall:length} ends here, and one of {other:length} goes on for {length:length} in the "
        "same body: they were read as two tubes",
    },
    cure={"wall": "Where it is one tube with a sleeve inside, draw the sleeve as a part of its own."},
)
define(
    "solid-plate",
    NOTE,
    "Bars of one thickness in one plane, which a plate cut to that shape looks like.",
    says={
        "": "it lies in one plane with all its bends the hard way: a plate cut to this shape looks the same",
        "frame": "{count:,} bars of one thickness lie in one plane in one body: a plate cut to this shape looks the "
        "same",
    },
    cure="Leave it out where it is cut from plate.",
)

_LENGTH_TO = "its developed length runs along the centerline, here to "
define(
    "solid-ends",
    NOTE,
    "To where the length of a tube runs at an end that is mitred, coped or fused to something; in JSON `measured` is "
    "how far the longest point of metal lies past that.",
    says={
        "cut": _LENGTH_TO + "where it meets the plane of the cut",
        "mate": _LENGTH_TO + "where it comes nearest to the axis of the tube that the end is cut to",
        "face": _LENGTH_TO + "the face of what it stands on in the same body; whether the tube goes on in there is not "
        "known",
        "corners": _LENGTH_TO + "the middle of where its corners end",
        "edge": _LENGTH_TO + "where it meets the plane nearest to the edge of its cut, which is no plane",
        "inside": _LENGTH_TO + "its end inside another tube of the same body",
        "point": _LENGTH_TO + "a point level with the longest point of metal",
    },
)
define(
    "solid-remains",
    NOTE,
    "A body holds more than the tubes found in it: what is left out of it is named, with its size and place.",
    says={
        "": "{kind} of {sizes:sizes} about {place:place} is one body with it and was left out",
        "surface": "{kind} of {sizes:sizes} about {place:place} lies among the same surfaces and was left out",
        "longer": "{kind} of {sizes:sizes} about {place:place} was left out, and may be more of the tube",
        "more": "{count:count further part} of the same body {count:was/were} left out",
        "metal": "its body has {percent:.0f}% more metal than the tubes found in it: a plug, an insert or a thicker "
        "stretch was not told apart",
    },
    cure={
        "metal": "Compare the body with the table.",
        "longer": "Compare the drawing with the table. Where the tube goes on there, export its centerline.",
    },
)

# --- why a solid is no tube: what is left out, no findings -----------------------------------

clause("solid-no-tube", "{part:bare}: {why}")
clause("solid-faces-not-evaluated", "the CAD kernel cannot evaluate its faces ({error})")
clause("solid-impossible", "its numbers make no tube ({reason})")
clause("solid-stepped", "its diameter steps from {small:length} to {large:length} on one axis, as turned parts do")
clause(
    "solid-segmented",
    "an elbow of {count:,} segments mitred to one another (lobster-back), {od:length} across, {angle:angle} in all: "
    "each segment is cut from straight tube",
)
clause("solid-disc", "a disc or ring: {length:length} long, {od:length} across")
clause("solid-open-round", "an open profile: round, {od:length} across, with a slit of {gap:angle} along it")
clause("solid-boss", "a boss of {od:length} across, {length:length} long, on something else")
clause("solid-without-faces", "it has no faces")
clause("solid-sphere", "a sphere or part of one")
clause("solid-all-flat", "a plate, block or bracket: all of its {faces:count face} flat")
clause(
    "solid-faceted",
    "a mesh made into a solid ({faces:count face}, flat triangles): export it as STL or 3MF, whose triangles are read",
)
clause("solid-mesh", "a mesh made into a solid ({faces:count face}); by its triangles: {why}")
clause("solid-one-flat-face", "a single flat face")
clause("solid-cone", "a cone: it tapers from {small:length} to {large:length} across")
clause("solid-free-form", "free-form: {odd:,} of its {faces:count face} are no cylinder, torus, cone, sphere or plane")
clause(
    "solid-flat-with-cylinders",
    "a plate, block or bracket: flat faces, with cylinders only as holes, rounded corners and bosses",
)
clause(
    "solid-half",
    "half of a tube or bar of {od:length} across, split along it: unite both halves into one solid in the CAD program",
)
clause("solid-not-stock", "not taken for stock: {why}")
clause("solid-stock-hexagon", "a hexagon of {across:length} across flats on its axis, as screws and fittings have")
clause("solid-stock-thread", "a thread or ribs around its axis")
clause("solid-stock-cone", "a cone on its axis that widens from {od:length} to {wide:length}, as heads and seats have")
clause("solid-stock-bore", "its bore steps from {large:length} to {small:length}, as that of a connector or gland")
clause(
    "solid-stock-pin",
    "solid and short, a pin or stud: {od:length} across, {length:length} long (bar from {least:length})",
)
clause(
    "solid-stock-dowel",
    "a pin: solid, both ends dressed, {od:length} across, {length:length} long (bar from {least:length})",
)
clause("solid-stock-bush", "a bush or spacer: {od:length} across, {length:length} long, its wall {wall:length}")
clause(
    "solid-stock-boss",
    "a boss of {od:length} across, {length:length} long: what is round is {percent:.0f}% of its body's metal",
)
clause("solid-wall-missing", "corners as of square tube, but {missing:,} of its four walls {missing:is/are} not there")
clause("solid-bore-filled", "corners as of square tube, but its bore is full of metal")
clause("solid-too-little-metal", "corners as of square tube, but less than half of its metal is there")
clause("solid-box", "a box of {sizes:sizes}, {length:length} long, closed at {shut:count end}")
clause("solid-angle-profile", "an angle (L) of {sizes:sizes}, {length:length} long: an open profile, no tube")
clause("solid-channel-profile", "a channel (C) of {sizes:sizes}, {length:length} long: an open profile, no tube")
clause(
    "solid-half-square",
    "a channel (C) of {sizes:sizes}, {length:length} long: an open profile, no tube; if it is half of a square tube, "
    "unite both halves into one solid in the CAD program",
)
clause(
    "solid-strut-profile",
    "a channel with lips (strut) of {sizes:sizes}, {length:length} long: an open profile, no tube",
)
clause("solid-beam-profile", "a beam (H or I) of {sizes:sizes}, {length:length} long: an open profile, no tube")
clause("solid-tee-profile", "a tee (T) of {sizes:sizes}, {length:length} long: an open profile, no tube")
clause("solid-zed-profile", "a zed (Z) of {sizes:sizes}, {length:length} long: an open profile, no tube")
clause("solid-t-slot-profile", "a T-slot profile of {sizes:sizes}, {length:length} long, no tube")
clause(
    "solid-chambers-profile", "a profile with chambers or uneven walls, {sizes:sizes}, {length:length} long, no tube"
)
clause("solid-other-profile", "a profile of {sizes:sizes}, {length:length} long, with another section than tube or bar")
clause("solid-spring", "a spring or coil of wire or bar, {od:length} across, that turns around {turns:.1f} times")
clause("solid-nothing-round", "none of its {faces:count face} goes round a tube")

# --- meshes ---------------------------------------------------------------------------------

_FITTED = (
    "the tube made from the table stays within {deviation:fine} of all {vertices:count vertex vertices} of its surface"
)
define(
    "mesh-fitted",
    NOTE,
    "A tube was fitted to a mesh; how far its vertices lie from it, and their scatter, is named.",
    says={
        "": _FITTED,
        "scattered": _FITTED
        + ", which scatter by {sigma:fine} (standard deviation); its outside diameter is known to {loose:fine} where "
        "they scatter by chance, and less well where the mesh was thinned or smoothed",
    },
)
define(
    "mesh-skin",
    WARNING,
    "A mesh has only the outside of a tube, so its wall is not known.",
    says={
        "": "the mesh has only the outside, of {od:length}; without a bore the wall is not known and a solid "
        "bar is assumed",
        "flat": "the mesh has only the outside, of {sizes:sizes}; without a bore the wall is not known and a solid "
        "bar is assumed",
    },
    cure=NAME_SECTION,
)
define(
    "mesh-rest",
    WARNING,
    "A mesh's body has more on its surface than the tube found in it; how much, and where, is named.",
    says="{percent:.1f}% of its body's surface is not the tube's but up to {away:length} off it, about {place:place}",
    cure="Look there for lugs, ribs, dents and other parts: none of it is in the table.",
)
define(
    "mesh-not-round",
    WARNING,
    "A mesh's tube is oval or tapered; its mean diameter was taken.",
    says={
        "oval": "the surface is oval by {by:fine} in diameter; {od:length} is the mean",
        "tapered": "the surface is tapered by {by:fine} in diameter; {od:length} is the mean",
    },
)
define(
    "mesh-precision",
    WARNING,
    "A mesh lies so far from the origin that its single-precision numbers are too coarse.",
    says="the mesh lies {away:small} from the origin, where its single-precision numbers are {step:small} apart: "
    "nothing in it is known better than that",
    cure="Move the tubes near the origin before exporting.",
)
define(
    "mesh-misfit",
    WARNING,
    "A mesh's surface is not where the table has it, beyond its scatter.",
    says="in places the centerline of the table lies {beside:fine} beside that of the surface, more than its scatter "
    "explains ({noise:fine})",
    cure="Check the table's bends against the part: the surface is no row of straights and bends there, or a bend is "
    "missing or in two.",
)
define(
    "mesh-ambiguous",
    WARNING,
    "A mesh is fitted as well by a table with another number of bends.",
    says="tables of {others:list} bends fit the surface as well as this one of {bends}",
    cure="Check the number of bends against the part; a finer or less noisy mesh tells more.",
)
clause("mesh-open-by", "by {angle:angle}")
clause("mesh-open-altogether", "altogether")
define(
    "mesh-uncertain",
    WARNING,
    "A mesh leaves an angle or a straight of the table open by more than a little.",
    says="the surface leaves the bend's angle open by {angle:angle}, the rotation before bend {rotated} "
    "{rotation} and the straight before bend {before} by {straight:length}",
    cure="A finer or less noisy mesh tells more; where straight and bend meet hardly shows in scatter.",
)

define(
    "mesh-search-ended",
    WARNING,
    "The search for a mesh's best table took too long and was ended; the best so far is given.",
    says="the search for the table that fits the surface best took too long and was ended: this one, with "
    "{bends:count bend}, fits it with a scatter of {sigma:fine}; tables with a bend more or less were not all tried",
    cure="Check the bends against the part; a coarser mesh, or each tube as a file of its own, leaves time for more.",
)
define(
    "mesh-not-all-read",
    WARNING,
    "A mesh has more bodies than are looked at in the time for one file; the smallest were not.",
    says="{seen:count body bodies} were looked at, the largest first; {unseen:,} were not, as that would take too long",
    cure="Export the tubes alone, or fewer of them at a time.",
)

# --- why a body of a mesh is no tube: what is left out, no findings --------------------------

clause(
    "mesh-strays-from-round",
    "its surface lies {sigma:length} off a round tube of {od:length} on the whole: it is another shape, or the mesh is "
    "too coarse or too rough (facets of 15° serve, around the tube and along its bends)",
)
clause(
    "mesh-strays-from-flat",
    "its sides are flat, but they lie {sigma:length} off a square or rectangular tube or bar of {sizes:sizes} on the "
    "whole: it is another shape, or a round tube in too coarse a mesh (facets of 15° serve, around the tube and along "
    "its bends)",
)
clause(
    "mesh-partly-flat",
    "only {percent:.0f}% of its surface is one square or rectangular tube or bar (of {sizes:sizes}): several tubes or "
    "parts in one body",
)
clause("mesh-plate", "a plate or block: solid, {sizes:sizes} across and only {length:length} long")
clause(
    "mesh-branched",
    "its round surface branches ({percent:.0f}% of it is off the longest way through): several tubes fused into one "
    "body; separate them before exporting, or export STEP, of which fused tubes are told apart",
)
clause(
    "mesh-partly-round",
    "only {percent:.0f}% of its surface is one round tube (of {od:length}): several tubes or parts in one body",
)
