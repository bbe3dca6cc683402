"""Places where more ends meet than can be cut to one another: they are named, and left as they are drawn.

Every end of a node is compared with every other, and each cut may go against all that stand before it; beyond some
dozens no frame is built like that, and the drawing is a slip (all tubes drawn from the origin, one tube many times).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from converter.arrays import Array, Ints
from converter.findings import Clause, Finding
from converter.geometry.vectors import Vec
from converter.joints.bodies import Body

#: Ends at one place that are still cut to one another: far more than a frame has (a hub with spokes is the most).
MOST = 48
#: How many of them a sentence names.
_NAMED = 3


@dataclass(frozen=True, slots=True)
class Crowds:
    """The crowded places of a frame.

    Attributes:
        places: where; members: the ends there, as (tube, end letter).
        of_body: (n, 2) for every tube the crowd that its end A and its end B stand in, -1 for none.
    """

    places: tuple[Vec, ...]
    members: tuple[tuple[tuple[int, str], ...], ...]
    of_body: Ints

    def together(self, one: Ints, other: Ints) -> NDArray[np.bool_]:
        """Which pairs of tubes (k,) have ends in one crowd."""
        if not self.places:
            return np.zeros(len(one), dtype=np.bool_)
        a, b = self.of_body[one][:, :, None], self.of_body[other][:, None, :]
        found: NDArray[np.bool_] = ((a == b) & (a >= 0)).any(axis=(1, 2))
        return found

    def stands_with(self, body: Ints, letter: Ints, other: Ints) -> NDArray[np.bool_]:
        """Which ends (tube; 0 for end A, 1 for B), (k,) stand in a crowd with an end of other tubes."""
        if not self.places:
            return np.zeros(len(body), dtype=np.bool_)
        mine = self.of_body[body, letter]
        found: NDArray[np.bool_] = ((self.of_body[other] == mine[:, None]) & (mine >= 0)[:, None]).any(axis=1)
        found &= body != other
        return found

    def numbers(self) -> dict[tuple[int, str], int]:
        """The crowd of every end that stands in one."""
        return {key: number for number, keys in enumerate(self.members) for key in keys}


def find_crowds(bodies: Sequence[Body], near: float) -> Crowds:
    """Places with more than `MOST` ends.

    Args:
        bodies: the frame.
        near: mm; ends no further from one another than some of these belong to one place.
    """
    keys = [(end.body, end.letter) for body in bodies for end in body.ends]
    of_body = np.full((len(bodies), 2), -1, dtype=np.int64)
    if len(keys) <= MOST:
        return Crowds((), (), of_body)
    points = np.array([end.point for body in bodies for end in body.ends])
    places: list[Vec] = []
    members: list[tuple[tuple[int, str], ...]] = []
    for chosen in _heaps(points, near):
        for k in chosen.tolist():
            of_body[keys[k][0], "AB".index(keys[k][1])] = len(places)
        middle = points[chosen].mean(axis=0)
        places.append((float(middle[0]), float(middle[1]), float(middle[2])))
        members.append(tuple(keys[k] for k in chosen.tolist()))
    return Crowds(tuple(places), tuple(members), of_body)


def _heaps(points: Array, near: float) -> list[Ints]:
    """Rows of points that lie at one place, where they are more than `MOST`; the densest place first."""
    _, cell, count = np.unique(np.floor(points / (2.0 * near)), axis=0, return_inverse=True, return_counts=True)
    cell = cell.reshape(-1)
    # a place may lie on the corner of eight cells
    dense = np.flatnonzero(count > MOST // 8)
    left = np.ones(len(points), dtype=np.bool_)
    found = []
    for one in dense[np.argsort(-count[dense], kind="stable")].tolist():
        rows = np.flatnonzero((cell == one) & left)
        if not len(rows):
            continue
        middle = np.median(points[rows], axis=0)
        chosen = np.flatnonzero(left & (np.linalg.norm(points - middle, axis=1) <= 2.0 * near))
        if len(chosen) > MOST:
            left[chosen] = False
            found.append(chosen)
    return found


def crowd_findings(crowds: Crowds, bodies: Sequence[Body]) -> list[Finding]:
    """One finding for each crowded place."""
    findings = []
    for place, keys in zip(crowds.places, crowds.members, strict=True):
        names = list(dict.fromkeys(bodies[body].name for body, _ in keys))
        named = [Clause.of("crowded-tube", tube=name) for name in names[:_NAMED]]
        if len(names) > _NAMED:
            named.append(Clause.of("crowded-rest", rest=len(names) - _NAMED))
        findings.append(
            Finding(
                "joint-crowded",
                tube=names[0],
                measured=float(len(keys)),
                limit=float(MOST),
                at=place,
                values={"ends": len(keys), "place": place, "tubes": named, "most": MOST},
            )
        )
    return findings
