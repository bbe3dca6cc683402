"""Names in STEP files: which ones a person gave, and which ones a program made up."""

from __future__ import annotations

import re

#: Names that programs write where nobody named anything.
_MADE_UP = re.compile(
    r"""(?:
        \s* | none | null | unnamed | untitled | unknown | document | default | noname
      | curves | wireframe
      | (?:shape|solid|compound|compsolid|shell|face|wire|edge|vertex|body|part|product|assembly|component|group|root)
      | (?:trimmed|bounded|composite|poly|b-?spline)?[ _]?(?:curve|line)(?:[ _]?set)?\d*
      | (?:edge|arc|circle|b?spline|point|line[ ]?segment)[ _]?\d*
      | (?:manifold|shell|geometric)[ _].* (?:brep|model|set)
      | open[ ]cascade[ ].*
      | (?:nauo|=>\[|asm|inst(?:ance)?)[\d:.\]\[ _-]*
      | [\d:.\[\]\#_ -]+
    )""",
    re.IGNORECASE | re.VERBOSE,
)


def meant(name: str | None) -> str:
    """The name, stripped, when a person seems to have given it; '' for none and for a program's own."""
    text = " ".join((name or "").split())
    return "" if _MADE_UP.fullmatch(text) else text
