"""How long the weld of a cut end is."""

from __future__ import annotations

import numpy as np

from converter.joints.model import MITRE, PLANE, Joint


def weld_length(joint: Joint) -> float:
    """Length of the weld that an end needs, mm: the closed curve in which its outside meets what it is cut to.

    Taken along straight pieces between the points of the cut's profile, every half degree, and so short by about one
    in 100,000. Of a mitre each of its two ends gets half. A plane joins it to no tube of the drawing: 0.
    """
    if joint.kind == PLANE:
        return 0.0
    phi, along = np.array([row[:2] for row in joint.profile]).T
    angle = np.radians(phi)
    radius = np.broadcast_to(joint.cut.branch.radii(angle, False), angle.shape)
    points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), along])
    length = float(np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1).sum())
    return length / 2.0 if joint.kind == MITRE else length
