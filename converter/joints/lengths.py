"""How long a tube must be cut: its ends' copes count by their longest point of metal."""

from __future__ import annotations

from collections.abc import Iterable

from converter.joints.model import Joint
from converter.model.run import Tube


def length_changes(joints: Iterable[Joint]) -> dict[tuple[str, str], float]:
    """What each cut makes its tube longer than the centerline (negative: shorter), by (tube, end), mm.

    A bend mark counted from end A moves by the change at end A; the stick is as long as the
    developed length and both changes.
    """
    return {(joint.tube, joint.end): joint.length_change for joint in joints}


def cut_length(tube: Tube, changes: dict[tuple[str, str], float]) -> float:
    """Length of the stick that a tube is made of, from longest point to longest point, mm.

    Args:
        tube: the tube.
        changes: of `length_changes`; an end without a joint is cut at the centerline's end.
    """
    return tube.run.table.developed_length + sum(changes.get((tube.name, end), 0.0) for end in "AB")


def mark_shift(tube: Tube, changes: dict[tuple[str, str], float], feed_from: str = "A") -> float:
    """How far every bend mark moves along the stick, counted from the end that is fed first, mm."""
    return changes.get((tube.name, feed_from), 0.0)
