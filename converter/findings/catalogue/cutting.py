"""What there is to say of cutting the job's pieces from bars."""

from converter.findings.entries import ERROR, NOTE, clause, define

clause("of-metal", " in {metal:bare}")
clause("and-more-pieces", " and {count:count more more}")
define(
    "part-refused",
    ERROR,
    "A part that cannot be made as drawn is in a cutting list or a quotation.",
    says={
        "": "{names:list quoted}{more} cannot be made as drawn, and {count:is/are} counted here all the same",
        "nothing left": "{names:list quoted}{more} {count:is/are} not counted here: {count:its/their} cuts leave "
        "nothing of {count:it/them}",
    },
    cure="`elbowroom audit` says why: put that right before any metal is cut.",
)
define(
    "piece-no-section",
    ERROR,
    "A tube has no section, so nothing says which bar it is cut from.",
    says="{names:list quoted}{more} {count:has/have} no section, so nothing says which bar to cut from",
    cure="Name the section with --section, or in the job file.",
)
define(
    "piece-no-bar",
    ERROR,
    "The shop has no bar of a section that pieces are cut from.",
    says="there is no bar of {section}{metal} to cut {names:list quoted}{more} from",
    cure="Add a [[stock]] with its length to the shop file or the job file, name a rack file (--rack), or say what "
    "length can be bought (--bar LENGTH).",
)
define(
    "piece-too-long",
    ERROR,
    "A piece is longer than any bar it could be cut from.",
    says="its cut length of {length:cut} is more than a bar gives ({most:length} with the saw's trim, kerf and grip "
    "off): it takes {pieces:count piece} at least",
    cure="Make it of pieces (--split), or say a longer bar that can be bought (--bar LENGTH).",
)
define(
    "bar-on-list-only",
    NOTE,
    "A piece is cut from a bar that only the cutting list was told of; everything else counts it as too long.",
    says="{names:list quoted}{more} {count:is/are} cut from a bar that only this list knows of: `audit`, `setup`, "
    "`quote` and `sheet` call {count:it/them} too long",
    cure="Write the bar under [[stock]] in the job file: then everything of this job goes by it.",
)
define(
    "bars-lacking",
    ERROR,
    "There are too few bars on hand, and no length of the section can be bought.",
    says="the bars of {section}{metal} on hand are too few: {count:count piece} {count:is/are} left over "
    "({names:list quoted}{more})",
    cure="Say what length can be bought: a [[stock]] without a count in the shop file, or --bar LENGTH.",
)
define(
    "kerf-assumed",
    NOTE,
    "The shop file does not say how wide its saw cuts, so an ordinary kerf was taken.",
    says="the shop file does not say how wide its saw cuts; a kerf of {kerf:length} was taken",
    cure='Write it under [saw] in the shop file: kerf = "{kerf:typed}".',
)
