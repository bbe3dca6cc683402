"""Limits that several steps of the reducer share."""

from __future__ import annotations

from converter.errors import GeometryError
from converter.limits import BENDS

LADDER_EXACT = 1e-5  #: mm; data that fits this well is exact: its spans overshoot by nothing that matters
MOST_TURN_TANGENT = 31.0  #: degrees per vertex of a tessellated arc tangent at its ends (12 chords a circle)
CLEAR_TURN = 1e-4  #: sine below which two directions do not tell the plane of a bend
#: Straights and bends of one chain; a tube of `BENDS` has them in turn.
MOST_PIECES = 2 * BENDS + 1


def too_many_pieces() -> GeometryError:
    """That a chain is no tube: it takes more than `MOST_PIECES`."""
    return GeometryError(f"it takes more than {BENDS:,} bends", code="too-many-bends")
