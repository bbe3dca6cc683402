"""Limits of reading, swept as in `test_at_the_limit`: no doubt comes or goes by rounding."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from math import cos, radians, sin
from typing import Any

import cadquery as cq
import numpy as np
import pytest
from limits_swept import Limit, assert_kept
from mesh_tools import swept
from test_more_limits import read, share, told_of
from tube_bodies import only
from tubes import run_of

from converter.findings import Finding
from converter.importers.body_checks import VOLUME_OFF, volume_remarks
from converter.importers.mesh.measured import Measured
from converter.importers.mesh.tube import measure
from converter.importers.mesh.tube_findings import (
    LOOSE_ANGLE,
    LOOSE_ROTATION,
    LOOSE_STRAIGHT,
    ODD,
    tube_findings,
)
from converter.importers.mesh.weld import weld
from converter.model.curve import Arc, Line
from converter.model.section import Section
from converter.shop.assign import OUTLINE_SLACK, Assigner
from converter.shop.model import Shop

RAIL = Line((0.0, 0.0, 0.0), (500.0, 0.0, 0.0))


def off_tangent(value: float) -> Sequence[Any]:
    """A straight, and a quarter of a circle that sets out so many degrees off it: smoothed, and said."""
    d = radians(value)
    arc = Arc.swept((500.0 - 100.0 * sin(d), 100.0 * cos(d), 0.0), (0.0, 0.0, 1.0), (500.0, 0.0, 0.0), 90.0)
    return told_of("near-tangent", RAIL, arc)


def longer_than_a_speck(value: float) -> Sequence[Any]:
    """A whole circle so far around."""
    turn = 2.0 * np.pi
    arc = Arc.swept((0.0, 900.0, 0.0), (0.0, 0.0, 1.0), (value / turn, 900.0, 0.0), 360.0)
    runs, told = read(RAIL, arc)
    assert (len(runs) == 2) != any(one.code == "speck-removed" for one in told)
    return runs[1:]


def as_short_as_a_leftover(value: float) -> Sequence[Any]:
    """A leg so long behind a sharp corner, away from the axes."""
    d, e = np.array([2.0, 3.0, 6.0]) / 7.0, np.array([6.0, 2.0, -3.0]) / 7.0
    corner = 500.0 * d
    leg = Line(tuple(corner.tolist()), tuple((corner + value * e).tolist()))
    return [] if told_of("leftover-line", Line((0.0, 0.0, 0.0), leg.start), leg) else [value]


@cache
def measured() -> Measured:
    """A bent bar in a mesh."""
    run = run_of([(100.0, 0.0, 90.0, 80.0), (60.0, -50.0, 45.0, 120.0)], 80.0)
    mesh = swept(run, Section("bar", 38.0, 19.0), 0.5)
    return measure(weld(np.array(mesh.vertices), np.array(mesh.faces)).bodies[0])


def of_mesh(code: str, **values: Any) -> list[Finding]:
    tube = replace(measured(), radius=19.0, sigma=0.0, oval=0.0, taper=0.0, deviation=0.0)
    doubt = replace(tube.doubt, angles=(0.0, 0.0), straights=(0.0, 0.0, 0.0), rotations=(0.0, 0.0))
    own = {name: values.pop(name) for name in tuple(values) if name in ("angles", "straights", "rotations")}
    found = tube_findings("t", replace(tube, doubt=replace(doubt, **own), **values))
    return [one for one in found if one.code == code]


def of_volume(value: float) -> Sequence[Any]:
    return [one for one in volume_remarks(value, "t") if one.code == "solid-volume"]


def outlined(value: float, size: float) -> Sequence[Any]:
    """A tube drawn by an outline so much wider than its section."""
    drawn = replace(
        run_of([], 500.0),
        section=Section("bar", size + value, (size + value) / 2.0),
        findings=(Finding("outline-size", tube="run", values={"od": size + value, "layer": "L"}),),
    )
    (tube,) = Assigner(Shop("s", ()), default_section=Section("round", size, 2.0)).tubes([drawn])
    return [one for one in tube.findings if one.code == "section-differs"]


def tapered(value: float) -> Sequence[Any]:
    """A cone whose diameter grows by so much over its length."""
    one = only(cq.Solid.makeCone(15.0, 15.0 + value / 2.0, 200.0))
    return [finding for finding in one.findings if finding.code == "solid-tapered"]


LIMITS = {
    "near-tangent": Limit(off_tangent, 0.01, share(0.01), 1),
    "speck-removed": Limit(longer_than_a_speck, 0.4, share(0.4), 1),
    "leftover-line": Limit(as_short_as_a_leftover, 2.0, share(2.0), 1),
    "solid-volume, more": Limit(of_volume, VOLUME_OFF, share(VOLUME_OFF), 1),
    "solid-volume, less": Limit(lambda v: of_volume(-v), VOLUME_OFF, share(VOLUME_OFF), 1),
    "solid-tapered": Limit(tapered, 0.05, share(0.05), 1),
    "mesh-not-round, oval": Limit(lambda v: of_mesh("mesh-not-round", oval=v), 38.0 * ODD, share(38.0 * ODD), 1),
    "mesh-not-round, taper": Limit(lambda v: of_mesh("mesh-not-round", taper=-v), 38.0 * ODD, share(38.0 * ODD), 1),
    "rebuild-deviation": Limit(
        lambda v: of_mesh("rebuild-deviation", deviation=v, sigma=0.05), 8.0 * 0.05, share(8.0 * 0.05), 1
    ),
    "mesh-uncertain, angle": Limit(
        lambda v: of_mesh("mesh-uncertain", angles=(v, 0.0)), LOOSE_ANGLE, share(LOOSE_ANGLE), 1
    ),
    "mesh-uncertain, straight": Limit(
        lambda v: of_mesh("mesh-uncertain", straights=(0.0, v, 0.0)), LOOSE_STRAIGHT, share(LOOSE_STRAIGHT), 1
    ),
    "mesh-uncertain, rotation": Limit(
        lambda v: of_mesh("mesh-uncertain", rotations=(0.0, v)), LOOSE_ROTATION, share(LOOSE_ROTATION), 1
    ),
    "section-differs, thin": Limit(lambda v: outlined(v, 15.0), 0.2, OUTLINE_SLACK - 0.2, 1),
}  # fmt: skip


@pytest.mark.parametrize("name", LIMITS)
def test_a_doubt_of_reading_does_not_come_or_go_by_rounding(name):
    assert_kept(LIMITS[name])


def test_an_outline_a_hundredth_off_its_section_is_drawn_by_its_nominal_size():
    """Of 60 mm a hundredth is more than 0.2 mm; it is of the width drawn, 60 / 0.99."""
    width = 60.0 / 0.99
    assert not outlined(width - 60.0, 60.0) and not outlined(width - 60.0 + 1e-9, 60.0)
    assert not outlined(width - 60.0 - 1e-9, 60.0) and outlined(width - 60.0 + 0.002, 60.0)
