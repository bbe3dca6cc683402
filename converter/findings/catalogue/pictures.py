"""How pictures show what is told: headings of their lists, words beside places and bends."""

from converter.findings.catalogue import bending, dies, reading, reducing  # noqa: F401 - what is shown is defined first
from converter.findings.entries import shown

# --- how the drawing was read ----------------------------------------------------------------

shown("units-assumed", heading="the file names no unit")
shown("arc-flattened", heading="arc was drawn flat, put back (radius {measured:length})")
shown("block-stretched", heading="block with unlike scales: its arcs are ellipses", beside="stretched block")
shown("arc-suspect", heading="arc was drawn flat: do not trust it", beside="flat arc?")
shown(
    "outline-suspect",
    heading={
        "": "looks like outlines, not like centerlines",
        "tubes": "looks like outlines of tubes (--from-outline)",
        "views": "looks like three views of one thing",
    },
    beside="outline?",
)
shown("outline-read", heading="outlines, read as their centerlines")
shown("outline-size", heading="drawn by its outline")

# --- how lines became tubes ------------------------------------------------------------------

shown(
    "healed-gap",
    heading={"": "gap of {measured:any} closed", "several": "{spots} gaps of up to {measured:any} closed"},
)
shown(
    "near-gap",
    heading={
        "": "ends {measured:any} apart, left open (up to {limit:small} is closed)",
        "more": "more ends that nearly meet",
    },
    beside={"": "gap {measured:any}", "more": ""},
)
shown("untrimmed", heading={"": "end runs along into another curve", "several": "{spots} ends run along into others"})
shown("duplicate-removed", heading="drawn twice, {measured:length} dropped")
shown("speck-removed", heading={"": "speck left out", "several": "{spots} specks left out"})
shown("leftover-line", heading="a line of {measured:any}: left over?", beside="left over?", at_bend="left over?")
shown("overlap-kept", heading="two layers lie on one another over {measured:length}, both read")
shown("joined-across-layers", heading="tube goes on over another layer")
shown("junction", heading={"": "{measured:.0f} ends meet", "more": "more places where three ends meet"})
shown("near-tangent", heading="joint {measured:.3f}° off tangent, smoothed")
shown("kink", heading="kink of {measured:angle}: no bend makes it", beside="kink")
shown("fold-back", heading="line doubles back on itself", beside="doubles back")
shown(
    "curve-fitted",
    heading={
        "": "curve became a bend, within {within:small}",
        "several": "curves became {spots} bends, within {within:small}",
    },
)
shown("not-line-arc", heading="free curve: a single bend would stray {measured:any}", beside="free curve")
shown("rebuild-deviation", heading="tube strays {measured:any} from the drawing")
shown("corner-no-radius", heading="sharp corner, nothing gives it a radius", beside="sharp", at_bend="no radius")
shown("corner-filleted", heading="sharp corner was given a radius")
shown("negative-straight", beside="bends overlap", at_bend="bends overlap")
shown("refit", heading="bends changed to the die's radius (refit)")
shown("short-run", heading="shorter than the tube is thick: a stray mark?")

# --- what the shop bends ---------------------------------------------------------------------

shown("hoop", heading="closed ring", beside="closed ring")
shown("closed-loop", heading="closed loop: cut and joined somewhere")
shown(
    "radius-too-tight",
    heading="too tight: CLR {measured:length}, the tightest die is {limit:length}",
    beside="too tight",
    at_bend="too tight",
)
shown(
    "radius-too-wide",
    heading="no die: CLR {measured:length}, the widest is {limit:length}",
    beside="no such die",
    at_bend="no die so wide",
)
shown(
    "radius-between-dies",
    heading="no die: CLR {measured:length}, the nearest is {limit:length}",
    beside="no such die",
    at_bend="between dies",
)
shown(
    "straight-too-short",
    heading={
        "": "straight of {measured:length} is too short, the clamp needs {limit:length}",
        "pressure die": "straight of {measured:length} is too short, the pressure die needs {limit:length}",
        "overlap": "bends overlap on the die by {over:length}",
    },
    beside="too short",
    at_bend="straight too short",
)
shown("angle-too-great", heading="turns too far: {measured:angle}", at_bend="turns too far")
shown("roll-not-quarter", at_bend="not a quarter turn")
shown("sweep-hits", at_bend="hits while bending")
shown("stop-too-great", at_bend="stop too far")
