"""A bent tube taken apart into flat pieces: consecutive bends that share one plane.

A rotation of 0 or 180 keeps the plane; any other begins the next piece. Each piece is laid
into the xy plane with its first bend turning left, from the straight before its first bend
to the straight after its last one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from converter.model.bends import BendTable
from converter.model.centerline import rebuild
from converter.model.curve import Segment
from converter.model.run import Run
from converter.model.section import Section
from converter.tolerances import DEFAULT


@dataclass(frozen=True, slots=True)
class FlatPiece:
    """Bends ``first`` to ``last`` (1-based) of a run, in one plane.

    Attributes:
        first, last: numbers of its bends.
        rotation: degrees by which its plane is rolled from the one before; 0 for the first piece.
        table: its bends, rotations exactly 0 or 180; the tail is the straight after its last bend.
        size: outside size of the tube in this plane in mm, or None when no section is known.
        at_a, at_b: whether it begins at end A, ends at end B.
    """

    first: int
    last: int
    rotation: float
    table: BendTable
    size: float | None
    at_a: bool
    at_b: bool

    @property
    def segments(self) -> tuple[Segment, ...]:
        """Straights and arcs in the xy plane, from the origin along +x."""
        return rebuild(self.table)


def flat_pieces(run: Run, section: Section | None, tolerance: float = DEFAULT.tangent) -> list[FlatPiece]:
    """The flat pieces of a run in order; none for a straight.

    Args:
        run: the run.
        section: its section, or None.
        tolerance: degrees by which a rotation may miss 0 or 180 and still count as flat.
    """
    bends, straights = run.table.bends, run.table.straights
    starts = [0]
    for i, bend in enumerate(bends[1:], start=1):
        off = abs(bend.rotation)
        if min(off, 180.0 - off) > tolerance:
            starts.append(i)
    pieces = []
    roll = 0.0
    for start, stop in zip(starts, [*starts[1:], len(bends)], strict=True):
        if not bends:
            break
        rows = []
        for i in range(start, stop):
            if i:
                roll += bends[i].rotation
            flat = 0.0 if i == start or abs(bends[i].rotation) < 90.0 else 180.0
            rows.append(replace(bends[i], rotation=flat))
        rotation = bends[start].rotation if start else 0.0
        table = BendTable(tuple(rows), straights[stop])
        size = None if section is None else section.size_in_plane(roll)
        pieces.append(FlatPiece(start + 1, stop, rotation, table, size, start == 0, stop == len(bends)))
    return pieces
