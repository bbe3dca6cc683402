"""The vertices of a tube's outside and bore, found along its track, and the track itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import radians

import numpy as np

from converter.arrays import Array, blocks
from converter.findings import Reason
from converter.importers.mesh.feet import Feet, feet_of, parts_of
from converter.importers.mesh.refine import BEYOND, Fit
from converter.importers.mesh.stations import FINE, Skin, Track, lay_on_track, rim_of, skin_of
from converter.importers.mesh.thread import Thread
from converter.importers.mesh.weld import MeshBody
from converter.model.bends import BendTable, Placement

MOST_FACES = 60000  #: looked at while searching
AHEAD = 1.5  #: radii by which a track is prolonged; further on it could run into another part of the tube
AT_SEAM = 1.5  #: radii by which a loop's first and last straights are prolonged


class NotATube(Exception):  # noqa: N818 - not an error: the reason is listed
    """Why a body is not a tube.

    Attributes:
        why: the reason, for `Ignored`.
    """

    def __init__(self, why: Reason) -> None:
        super().__init__(why)
        self.why = why


@dataclass(frozen=True, slots=True, eq=False)
class Skins:
    """The vertices of outside and bore (None), in order along a track."""

    outer: Skin
    inner: Skin | None
    bore: float | None
    closed: bool
    rim: Array

    def feet(self, skin: Skin, table: BendTable, placement: Placement, radius: float) -> Feet:
        """Where the vertices of a skin stand on a tube."""
        hint = hint_of(skin, table, placement)
        beyond = (AT_SEAM if self.closed else BEYOND) * radius
        return feet_of(skin.points, parts_of(table, placement), beyond, hint, 4.0 * radius)


def rough_track(thread: Thread) -> Track:
    """The track along a thread; a loop is opened where it is straightest for longest."""
    points = thread.points
    if not thread.closed:
        return Track.along(points, FINE * thread.radius, AHEAD)
    d = np.roll(points, -1, axis=0) - points
    d /= np.sqrt((d * d).sum(axis=1))[:, None]
    turn = np.arccos(np.clip(np.einsum("ij,ij->i", d, np.roll(d, 1, axis=0)), -1.0, 1.0))
    width = max(1, len(points) // 12)
    kernel = np.ones(2 * width + 1)
    around = np.convolve(np.concatenate((turn[-width:], turn, turn[:width])), kernel, "valid")
    at = int(np.argmin(around))
    points = np.roll(points, -at, axis=0)
    return Track.along(np.concatenate((points, points[:1])), FINE * thread.radius, 0.0)


def fitted_track(best: Fit, closed: bool) -> Track:
    """The fitted centerline as closely spaced points, a little longer than the metal."""
    parts = parts_of(best.table, best.placement)
    step = FINE * best.radius
    more = 0.0 if closed else AHEAD * best.radius
    rows = []
    for k, part in enumerate(parts):
        if part.arc is None:
            low = -more if k == 0 else 0.0
            high = part.length + (more if k == len(parts) - 1 else 0.0)
            count = max(2, int((high - low) / step) + 1)
            rows.append(np.array(part.point) + np.linspace(low, high, count)[:, None] * np.array(part.t))
        else:
            c, t = np.array(part.arc.center), np.array(part.t)
            arm = np.array(part.point) - c
            a = np.linspace(0.0, radians(part.arc.angle), max(3, int(part.arc.length / step) + 1))[:, None]
            rows.append(c + np.cos(a) * arm + np.sin(a) * part.arc.radius * t)
    fine = np.concatenate(rows)
    keep = np.concatenate(([True], ((fine[1:] - fine[:-1]) ** 2).sum(axis=1) > 1e-16))
    return Track.through(fine[keep])


def skins_of(body: MeshBody, track: Track, thread: Thread, radius: float) -> Skins:
    """The vertices of outside and bore, told apart by where their faces look."""
    lying = lay_on_track(body, track, radius)
    looks = lying.outness * thread.outward
    outside = lying.side & (looks > 0.0) & (lying.face_far > 0.7 * radius) & (lying.face_far < 1.25 * radius)
    if outside.sum() < 6:
        raise NotATube("no round tube was found in its surface")
    outer = skin_of(body, lying, outside)
    rim = np.empty((0, 3)) if thread.closed else rim_of(body, lying, outside, 3.0 * radius)
    inside = lying.side & (looks < 0.0) & (lying.face_far > 0.05 * radius) & (lying.face_far < 1.05 * radius)
    if float(body.areas[inside].sum()) < 0.1 * float(body.areas[outside].sum()):
        return Skins(outer, None, None, thread.closed, rim)
    of_bore = [lying.far[body.faces[some][inside[some]]] for some in blocks(len(inside))]
    bore = float(np.median(np.concatenate(of_bore), overwrite_input=True))
    del of_bore
    # faces of a cope look inward, too, and have an edge on the outside
    among = (np.abs(lying.far - bore) < 0.25 * radius) & ~body.used_by(outside)
    inner = skin_of(body, lying, inside, among)
    if len(inner.points) < 6 or bore >= 0.995 * radius:
        return Skins(outer, None, None, thread.closed, rim)
    return Skins(outer, inner, bore, thread.closed, rim)


def hint_of(skin: Skin, table: BendTable, placement: Placement) -> Array:
    """Places along the table of vertices whose places along a track are known: the tracks differ by a shift."""
    every = max(1, len(skin.points) // 60)
    feet = feet_of(skin.points[::every], parts_of(table, placement), 0.0)
    shift = float(np.median(feet.place - skin.places[::every]))
    return skin.places + shift


def thinned(skin: Skin, most: int) -> Skin:
    """At most that many of a skin's vertices, evenly."""
    if len(skin.points) <= most:
        return skin
    pick = np.linspace(0, len(skin.points) - 1, most).astype(np.intp)
    return Skin(skin.points[pick], skin.places[pick])


def some_faces(body: MeshBody) -> MeshBody:
    """A body of a sample of the faces where there are very many."""
    step = len(body.faces) // MOST_FACES
    if step < 2:
        return body
    return replace(body, faces=body.faces[::step], normals=body.normals[::step], areas=body.areas[::step])
