"""Tubes that pass through a post, and the holes they need."""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
from copes import straight

from converter.joints.cope import cope_frame
from converter.model.section import Section
from converter.shop.model import Shop

BIG = Section("round", 60.0, 3.0)


R, SMALL = 30.0, Section("round", 24.0, 2.0)


POST = straight("POST", (0.0, 0.0, -200.0), (0.0, 0.0, 800.0), BIG)


def holes(*tubes):
    return cope_frame(tubes, Shop("none", ())).holes


def passing(theta=90.0, offset=0.0, section=SMALL, z=100.0):
    a = radians(theta)
    way = np.array((sin(a), 0.0, cos(a)))
    ends = [tuple((np.array((0.0, offset, z)) + s * way).tolist()) for s in (-300.0, 300.0)]
    return straight("BAR", *ends, section)


def points(hole, start=(0.0, 0.0, -200.0), axis=(0.0, 0.0, 1.0), radius=R):
    """The outline in space, from clock and length alone."""
    zero = np.asarray(hole.zero_direction)
    side = np.cross(axis, zero)
    phi, s = np.radians([c for c, _ in hole.outline]), np.array([s for _, s in hole.outline])
    spoke = np.cos(phi)[:, None] * zero + np.sin(phi)[:, None] * side
    return np.asarray(start) + s[:, None] * np.asarray(axis) + radius * spoke
