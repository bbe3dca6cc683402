"""Every default tolerance, one documented line each.

All lengths in millimetres, all angles in degrees. They scale with nothing: the units of
a drawing only change how a tolerance is typed. Each one is an option of the commands
that use it and is said in their output when it was changed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isfinite

from converter.errors import OptionError

#: What a shop's limits leave to the noise of drawings and of doubles: whatever lies exactly at a limit keeps it, and so
#: does what is past it by so many mm, so many degrees, or so small a part of it. All that judges goes by these.
PAST_LENGTH = 0.01
PAST_ANGLE = 0.01
PAST_SHARE = 1e-3

#: mm; legs that come out this little off their place are as bends go: further off is a warning, and no die is bought
#: for less. Common practice, no source.
AS_BENDS_GO = 1.0


def same_within(least: float) -> float:
    """Up to what two values count as one that are to be one within ``least``: those exactly so far apart do."""
    return least * (1.0 + PAST_SHARE)


@dataclass(frozen=True, slots=True)
class Tolerances:
    """The tolerances of one reading."""

    join: float = 0.1  #: ends closer than this are one point; CAD exports round to 1e-2 mm at worst
    near: float = 2.0  #: a gap above `join` and up to this is reported as a likely drawing slip
    fit: float = 0.05  #: greatest distance of a fitted straight/arc chain from the drawn curve
    tangent: float = 0.2  #: directions closer than this (degrees) continue smoothly; more is a corner
    equal: float = 1e-6  #: lengths closer than this are the same number (double rounding of CAD files)

    def __post_init__(self) -> None:
        for name in ("join", "near", "fit", "tangent", "equal"):
            value = getattr(self, name)
            if not isfinite(value) or value <= 0:
                raise OptionError(f"The {name} tolerance must be a number above zero, not {value}.")
        if self.tangent >= 45:
            raise OptionError(f"The tangent tolerance must be below 45 degrees, not {self.tangent}.")

    def at_limits(self) -> Tolerances:
        """The same to judge by: what lies exactly at one of its lengths is within it, however it was rounded."""
        return replace(self, join=same_within(self.join), near=same_within(self.near))


DEFAULT = Tolerances()

#: Degrees from square that a cut-off saw may turn to for ends back to back; a greater angle is mistyped.
MOST_MITRE = 75.0
