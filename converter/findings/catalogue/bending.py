"""What the bender really does: springback, capacity, the set-up, room to swing."""

from converter.findings.entries import ERROR, NOTE, WARNING, clause, define

clause("held", "so that every bend can be held")
clause("clears", "so that the tube clears what stands around")
clause("most-room", "as that leaves the most room")
clause("least-stick", "as that needs least")
clause("bends-in-order", ", bends in the order {order:order}")
clause("runs-into-itself", "the tube runs into itself")
clause("runs-into", "the tube runs into {against:bare} by {deep:length}")
clause("comes-within", "the tube comes within {least:length} of {against:bare}")
clause("may-touch", ", which may touch")
clause("ways-out", "{ways:one of}")
clause("raise-pivot", "raise the pivot by {by:length}")
clause("turn-plane", "turn the machine's bend plane {plane}")
clause(
    "no-way-out",
    "no other order, end, plane, pivot height or single cut was found that clears: redraw it, or make room",
)
clause("one-bend", "the only bend")
clause("bends-of-one-tube", "all {bends:count bend} of one tube")
clause("bends-of-tubes", "all {bends:count bend} in {tubes:count tube}")
clause("as-drawn", "as drawn")
clause("refitted", "bent on it instead (refit), which moves the centerline by {moved:length} at most")

_SWEPT = "fed from end {feed}, with the bend at {turned:angle}, {meets}{doubt}; "
#: What a sweep came to, by what was tried.
_SWEEPS = {
    "every order": _SWEPT + "every order that can be held was tried and none is better",
    "many orders": _SWEPT + "many orders that can be held were tried and none is better",
}

define(
    "springback-poor-fit",
    WARNING,
    "The test bends do not lie on one line, so the stop is uncertain.",
    says="the test bends of the die {die:quoted} do not lie on one line: the one set to {stop:g}° that came out at "
    "{angle:g}° is {off:.2f}° off",
    cure="Bend and measure that one again, or record tests of different tube with their metal and wall.",
)
_OPENS = (
    "by the test bends of the die {die:quoted} ({law}) a bend comes out at a radius of up to {radius:length}, "
    "{percent:.1f} % over the die's {clr:length}; "
)
define(
    "springback-odd-radius",
    WARNING,
    "The test bends imply a radius that springback does not explain.",
    says={
        "metal": _OPENS + "the metal's strengths explain {most:.1f} %",
        "usual": _OPENS + "hardly any tube springs back as far",
        "under": "by the test bends of the die {die:quoted} ({law}) a bend comes out at a radius of {radius:length}, "
        "under the die's {clr:length}; springback only opens a bend, so the radius is taken to be the die's",
    },
    cure="Measure the radius of a test bend. Play of the stop is told from springback by test bends of a small and a "
    "large angle, each measured again.",
)
define(
    "springback-estimate",
    NOTE,
    "There are no test bends that fit; springback is an estimate with its range.",
    says="the springback of {section} of {metal:bare} on the die {die:quoted} is an estimate: between {least:.2f} and "
    "{most:.2f} % of the stop",
    cure="Record test bends with `elbowroom springback`.",
)
define(
    "springback-none",
    WARNING,
    "Springback is not known, so the stop is the bend's angle itself.",
    says="the springback on the die {die:quoted} is not known, so the stop is the angle itself. {why}",
    cure={
        "": "Record test bends with `elbowroom springback`.",
        "section": "Name the section, or record test bends with `elbowroom springback`.",
        "metal": "Name a metal that is known (--metal, or in the job file), or record test bends with `elbowroom "
        "springback`.",
        "strength": "Give the metal its strengths in the shop file, or record test bends with `elbowroom springback`.",
    },
)
define(
    "over-capacity",
    ERROR,
    "Bending it takes more moment than the machine is proven to give.",
    says="bending {section} of {metal:bare} takes {moment:moment}; the machine is proven to {most:moment} "
    "({proven_section} of {proven_metal:bare})",
    cure="Use a lighter section, a softer metal or a stronger machine.",
)
define(
    "near-capacity",
    WARNING,
    "As it hardens while bending, it may take more moment than the machine is proven to give.",
    says="{section} of {metal:bare} may take up to {moment:moment} as it hardens; what the machine is proven on takes "
    "up to {most:moment} ({proven_section} of {proven_metal:bare})",
    cure="Try one bend on an offcut first.",
)
define(
    "capacity-unknown",
    NOTE,
    "The machine's capacity was not checked: a metal, or what the machine has bent, is not known.",
    says={
        "not proven": "the machine's capacity was not checked: the shop file does not say what the machine is proven "
        "to bend",
        "no metal": "the machine's capacity was not checked: no metal is named for {name:bare}",
        "no yield": "the machine's capacity was not checked: the yield strength of {metal:quoted} is not known for "
        "{name:bare}",
    },
    cure={
        "not proven": "Give proven_section and proven_metal under [machine].",
        "no metal": "Name the metal in the job file or with --metal.",
        "no yield": "Name the metal in the job file or with --metal.",
    },
)
define(
    "wall-factor",
    ERROR,
    "The wall is too thin for the die: outside size over wall is past its limit.",
    says="{section} has a wall factor of {factor:.1f}; the die {die:quoted} takes up to {most:g} {mandrel}",
    cure={
        "thicker": "Take a wall of {wall:length} or more.",
        "thicker or mandrel": "Take a wall of {wall:length} or more, or bend it over a mandrel.",
    },
)
define(
    "d-of-bend",
    ERROR,
    "The bend is too tight for the die's limit of radius over outside size.",
    says="it has a centerline radius of {ratio:.2f} times its tube; the die {die:quoted} makes {least:g} or more "
    "{mandrel}",
    cure={
        "wider": "Use a radius of {clr:length} or more.",
        "wider or mandrel": "Use a radius of {clr:length} or more, or bend it over a mandrel.",
    },
)
define(
    "thinning",
    WARNING,
    "The wall outside the bend thins more than is usual.",
    says="the wall outside it ({ratio:.2f} D) thins by {least:.0f} to {most:.0f} %, to {left:length} at the least",
    cure="Use a wider radius, or a thicker wall where that matters.",
)
define(
    "strain-high",
    WARNING,
    "The outside of the bend stretches further than the metal's elongation.",
    says="its outside ({ratio:.2f} D) stretches by {strain:.1f} %; {metal:bare} breaks at {elongation:g} % over a "
    "gauge length",
    cure="Use a wider radius or a softer metal, or make a test bend and look for cracks.",
)
define(
    "order-changed",
    NOTE,
    "The bends are made in another order, or from the other end, than the simple one; why.",
    says="fed from end {feed}{order}, {reasons:list}",
)
define(
    "stop-too-great",
    ERROR,
    "With springback the stop lies past what the die or the machine turns.",
    says="its {angle:angle} need a stop of {stop:angle} with springback; {die:quoted} on this machine turns "
    "{most:angle}",
    cure="Use another die or machine, or draw a lesser bend.",
)
define(
    "step-too-coarse",
    WARNING,
    "The steps of the machine's scale or ring leave a bend or its rotation further off than a made tube may be.",
    says={
        "scale": "the machine's scale goes by steps of {grain:angle}, so that it comes out at {out:angle} in place of "
        "{angle:angle}",
        "ring": "the machine's ring goes by steps of {grain:angle}, which leaves its rotation {off:angle} off",
    },
    cure={
        "scale": "Bend it to a protractor, not to the scale, or draw it as a step of the scale gives it.",
        "ring": "Turn the tube by a protractor, not by the ring, or draw it as a step of the ring gives it.",
    },
)
define(
    "stick-too-long",
    ERROR,
    "The cut length is greater than the machine takes, or than any stick of its section on the rack.",
    says={
        "machine": "its cut length is {stick:cut}; the machine takes {most:length}",
        "rack": "its cut length is {stick:cut}; the longest stick of {section} on the rack is {most:length}",
        "saw": "its cut length is {stick:cut}; the longest stick of {section} on the rack is {bar:length}, of which "
        "the saw's trim, kerf and grip leave {most:length}",
    },
    cure={
        "machine": "Make it of pieces: `elbowroom split` shows which.",
        "rack": "Make it of pieces (`elbowroom split` shows which), or get a longer stick and write it under [[stock]] "
        "in the job file.",
        "saw": "Make it of pieces (`elbowroom split` shows which), or get a longer stick and write it under [[stock]] "
        "in the job file.",
    },
)
define(
    "mark-offset-unknown",
    NOTE,
    "A die has no mark offset, so its marks lie where the bend starts.",
    says="the die {die:quoted} has no mark offset, so its marks lie where the bends start",
    cure="Measure from the start of a test bend to where its mark was, and write it into the shop file as mark_offset.",
)
define(
    "clamp-unknown",
    NOTE,
    "The shop file does not say what straight the clamp of a die needs, so none was kept for it.",
    says="the shop file does not say what straight the clamp of the die {die:quoted} needs ahead of a bend, so none "
    "was kept for it",
    cure="Measure it, and write it into the shop file as clamp; write clamp = 0 if it needs none.",
)
define(
    "bend-wider",
    NOTE,
    "A bend of half a turn or so springs open, and what follows it moves sideways.",
    says="after springback its legs come out {apart:length} further apart than drawn",
    cure="Draw it with the radius it comes out at, if that matters.",
)
define(
    "legs-shifted",
    WARNING,
    "Springback opens the radii beside a straight by more than it has; legs or an end come out further along.",
    says={
        "": "with springback its radius and that of bend {other} take {excess:length} more than the straight between "
        "them has; made with none between, the legs on either side come out {excess:length} further apart, along that "
        "straight",
        "end": "with springback its radius takes {excess:length} more than the straight there has; made with none, the "
        "end comes out {excess:length} further along than drawn",
    },
    cure={
        "": "Move it {excess:length} away from bend {other} if that matters.",
        "end": "Trim {excess:length} more off that end, within the bend, if that matters.",
    },
)

define(
    "sweep-hits",
    ERROR,
    "While it is bent the tube runs into the floor, a wall, the machine or itself.",
    says=_SWEEPS,
    cure="{way_out}.",
)
define(
    "sweep-close",
    WARNING,
    "While it is bent the tube comes closer than the margin (10 mm) to something.",
    says=_SWEEPS,
    cure="{way_out}.",
)
define(
    "sweep-unknown",
    NOTE,
    "The shop file does not say enough of the machine to tell whether the tube can swing.",
    says={
        "no plane": "the shop file leaves out {keys:list} of the machine, so it is not known whether the tubes have "
        "room to swing",
        "no floor": "the shop file leaves out {keys:list} of the machine, so it is not known whether the tubes clear "
        "the floor while they swing",
    },
    cure="Write {keys:list} under [machine] in the shop file.",
)
define(
    "die-to-buy",
    NOTE,
    "One die that the shop does not have would make every bend of a section in the drawing.",
    says="one die of a centerline radius of {clr:length} for {section} would make {bends} {moved}",
    cure="Buy that die, or draw with the radius of one that the shop has.",
)
