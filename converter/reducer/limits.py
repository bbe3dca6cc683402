"""Limits that several steps of the reducer share."""

from __future__ import annotations

LADDER_EXACT = 1e-5  #: mm; data that fits this well is exact: its spans overshoot by nothing that matters
MOST_TURN_TANGENT = 31.0  #: degrees per vertex of a tessellated arc tangent at its ends (12 chords a circle)
CLEAR_TURN = 1e-4  #: sine below which two directions do not tell the plane of a bend
