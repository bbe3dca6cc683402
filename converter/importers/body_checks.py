"""What a body must have to be the tube or bar that it is taken for, alike in solids and meshes: walls and volume."""

from __future__ import annotations

from collections.abc import Collection

from converter.findings import Finding
from converter.model.section import Section
from converter.tolerances import same_within

#: Part of the stations at which a lane of a wall must have metal: holes and slots take some away.
WALL_PART = 0.35
#: Stations along a member, and lanes in each wall as parts of its flat from its middle.
STATIONS = 11
LANES = (-0.55, 0.0, 0.55)
#: The stations run on by this part of the way: no row of holes has that pitch.
GOLDEN = 0.6180339887
#: Part of the volume of section and length by which a body's metal may differ before it is told.
VOLUME_OFF = 0.02
#: Bodies of less than this part of that volume are no member, whatever their walls.
VOLUME_LEAST = 0.5
#: A solid rectangle is a bar from this many widths on; shorter it is a plate or block. Common practice, no source.
BAR_WIDTHS = 4.0


def ends_slack(section: Section, metal: tuple[float, float], to_mate: Collection[str | None] = ()) -> float:
    """Volume that slanted and coped ends may add or take, mm3.

    Args:
        section: of the member.
        metal: how far the metal reaches past the centerline's ends A and B, mm.
        to_mate: ends, of 'A' and 'B', that are known to be cut to another tube.
    """
    # a cope stops before the centerline does, and is a saddle on top of that
    lengths = [
        abs(m) + (section.greater / 2.0 if m < -1e-6 or end in to_mate else 0.0)
        for end, m in zip("AB", metal, strict=True)
    ]
    return section.area * sum(lengths)


def volume_off(volume: float, section: Section, length: float, slack: float) -> float:
    """By which part a volume (mm3) differs from that of section and length, beyond what cut ends may add or take."""
    full = section.area * length
    nearest = min(max(volume, full - slack), full + slack)
    return (volume - nearest) / full


def volume_remarks(off: float, tube: str) -> list[Finding]:
    """What is said of a tube whose volume differs by this part; nothing up to `VOLUME_OFF`."""
    if abs(off) <= same_within(VOLUME_OFF):
        return []
    variant = "less" if off < 0.0 else "more"
    values = {"percent": float(100.0 * abs(off)), "limit": 100.0 * VOLUME_OFF}
    return [Finding("solid-volume", variant=variant, tube=tube, measured=float(off), limit=VOLUME_OFF, values=values)]
