"""The rigid motion from one place of a body to another, and what that makes of its table, spline and findings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from converter.errors import GeometryError
from converter.findings import Finding
from converter.geometry.vectors import Vec
from converter.model.bends import Placement
from converter.model.curve import Spline
from converter.model.drawing import DrawnCurve


def rigid_motion(old: Any, new: Any) -> Any:
    """The (3, 4) matrix that takes what stood at ``old`` to ``new``; both are (3, 4), orthogonal times one scale.

    Raises:
        GeometryError: a number of them is not finite.
    """
    import numpy as np

    if not (np.isfinite(old).all() and np.isfinite(new).all()):
        raise GeometryError("its place is not finite", code="not-finite")
    turn = new[:, :3] @ np.linalg.inv(old[:, :3])
    u, _, v = np.linalg.svd(turn)  # to the last bit a rotation, so that directions stay unit vectors
    turn = u @ v
    return np.column_stack((turn, new[:, 3] - turn @ old[:, 3]))


def moved(placement: Placement | None, motion: Any) -> Placement:
    """A placement after a rigid motion.

    Raises:
        GeometryError: it is not finite then.
    """
    import numpy as np

    old = placement or Placement()
    turn = np.column_stack((motion[:, :3], np.zeros(3)))
    return Placement(moved_point(old.start, motion), moved_point(old.direction, turn), moved_point(old.normal, turn))


def moved_point(p: Vec, motion: Any) -> Vec:
    """A point after a motion, (3, 4)."""
    import numpy as np

    x, y, z = (motion[:, :3] @ np.array(p) + motion[:, 3]).tolist()
    return (x, y, z)


def moved_spine(spine: DrawnCurve, motion: Any) -> DrawnCurve:
    """A spline that is the centerline of a solid, with what that tells, after a rigid motion.

    Raises:
        GeometryError: it is not finite then.
    """
    curve, solid = spine.curve, spine.solid
    if not isinstance(curve, Spline) or solid is None:
        return spine
    poles = curve.control_points @ motion[:, :3].T + motion[:, 3]
    ends = moved_point(curve.start, motion), moved_point(curve.end, motion)
    told = tuple(moved_finding(finding, motion) for finding in solid.findings)
    made = replace(curve, control_points=poles, start=ends[0], end=ends[1])
    return replace(spine, curve=made, solid=replace(solid, findings=told))


def moved_finding(finding: Finding, motion: Any) -> Finding:
    """A finding with the place it speaks of after a motion; sizes along the axes are of the first one met."""
    if finding.at is None:
        return finding
    at = moved_point(finding.at, motion)
    values = {name: at if name == "place" else value for name, value in finding.value_pairs}
    return replace(finding, at=at, values=values)
