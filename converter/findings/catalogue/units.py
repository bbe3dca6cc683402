"""What the job tells of units that contradict the sizes they give: of drawings, of sections as typed, of shop files."""

from converter.findings.entries import WARNING, clause, define

clause("header-system", " (though its $MEASUREMENT is that of {system})")
clause("doubted-length", "{least:either}")
clause("doubted-lengths", "{least:either} to {most:either}")
_BENT = "the drawing says {stated}{system}, and bends then have a radius of {radii}, "
_READ = "; read as {other} it would be {radii_other}"
clause("doubted-as", "{length:either} in {unit}")
_SAYS = "the drawing says {stated}{system}, "
clause("size-read-in", "{od:either} in {other}")
_GIVE = "If that is wrong, give the unit (--units {unit:bare}); if it is right, say so (--units {own:bare})."
define(
    "units-doubted",
    WARNING,
    "The unit that a drawing names, or that was assumed, contradicts its sizes; the other reading is named.",
    says={
        "dies": _BENT + "where the shop's dies make {of}" + _READ,
        "size": _BENT + "which is too {how} for tube of {of}" + _READ,
        "radii": _BENT + "which is too {how} for tube" + _READ,
        "lengths": "the drawing says {stated}{system}, and a run is then {lengths} long; read as {other} "
        "it would be {lengths_other}",
        "alike": _SAYS + "and bends then have a radius of {radii}, as no die of the shop has; read as {other} every "
        "one has that of a die: {radii_other}",
        "sixteenths": _SAYS + "but its numbers are whole sixteenths, as they are in inches ({numbers:list bare}): the "
        "longest tube is then {length:either}; in inches it would be {length_other:either}",
        "seldom": _SAYS + "a unit in which tube is seldom drawn: the longest tube is then {length:either}; it would be "
        "{others:one}",
        "sizes": "the drawing was read in {own}, and tube in it is then {od:either} across, which is no tube's size; "
        "it would be {others:one}",
    },
    cure={
        "dies": _GIVE,
        "size": _GIVE,
        "radii": _GIVE,
        "lengths": _GIVE,
        "alike": _GIVE,
        "sixteenths": _GIVE,
        "seldom": _GIVE,
        "sizes": "Give the unit that its numbers are in (--units {unit:bare}); if they are right, say so "
        "(--units {stay:bare}).",
    },
)
define(
    "section-unit",
    WARNING,
    "A section typed without its unit is no tube in the drawing's unit; the other reading is named.",
    says="the section {text:quoted} names no unit and was read in {read_as}, as the drawing was: tube {size:either} "
    "across; read in {other} it would be {size_other:either}",
    cure="Write the unit with it: {typed:bare}.",
)
clause("shop-size", "{where:bare} ({name:quoted}) is {number:bare} across")
clause("shop-length", "{where:bare} ({name:quoted}) is {number:bare}")
clause("shop-more-sizes", "{count:count more more} {count:is/are} like that")
define(
    "shop-unit",
    WARNING,
    "Sizes in the shop file are those of no tube in its unit; they are likely in the other.",
    says={
        "large": "the shop file is in {unit}, and {sizes:list}, which is more than any bender has or takes",
        "small": "the shop file is in {unit}, and {sizes:list}, which is less than any bender has or takes",
    },
    cure='If that is in {other}, write the unit with it, "{number:bare}{short:bare}".',
)
define(
    "metal-unit",
    WARNING,
    "A strength or modulus of a metal in the shop file is likely in ksi or Msi.",
    says="{where:bare} ({name:quoted}) of the shop file is {number:bare}, which is too little in {unit:bare} for that "
    "metal, and usual in {other:bare}",
    cure="If it is in {other:bare}, write {right:bare}, which is the same in {unit:bare}.",
)
define(
    "shop-example",
    WARNING,
    "A die of the shop file stands as `elbowroom shop new` wrote it, as an example.",
    says="the {count:die/dies} {dies:list quoted} of the shop file {count:stands/stand} as `elbowroom shop new` wrote "
    "{count:it/them}: as an example, not as what you own",
    cure="Put your own numbers in, take out what you do not own; give a die that is right as it stands a name of your "
    "own.",
)
