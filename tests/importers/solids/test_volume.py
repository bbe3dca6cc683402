"""The volume of a solid from its faces: held to the kernel's integrals, and to section times length (Pappus).

The kernel integrates with a bound on its error here, which the reader does without; nothing of it is used by the closed
form. A tube bent on a radius greater than its own has the area of its section times the length of its centerline
(second theorem of Pappus and Guldin).
"""

from __future__ import annotations

from math import pi

import cadquery as cq
import pytest
from hypothesis import HealthCheck, assume, given, settings
from OCP.BRepGProp import BRepGProp
from OCP.BRepTopAdaptor import BRepTopAdaptor_FClass2d
from OCP.gp import gp_Pnt2d
from OCP.TopAbs import TopAbs_State
from OCP.TopoDS import TopoDS
from strategies import placements, tables
from tube_bodies import BENT, cylinder, only, pipe
from tubes import run_of

from converter.importers.solids import volume
from converter.importers.solids.faces import SolidBody, faces_of
from converter.importers.solids.read import find_tubes
from converter.importers.solids.remains import _within_circles, kernel_faces
from converter.importers.solids.volume import BodyVolume, signed_volume, volume_within
from converter.kernel.shapes.solids import tube_solid
from converter.kernel.shapes.solids import volume as exact_volume
from converter.model.run import Run
from converter.model.section import Section
from converter.tolerances import DEFAULT

QUICK = settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])


FLAT_BENT = run_of([(100.0, 0.0, 70.0, 60.0), (80.0, 180.0, 40.0, 60.0)], 90.0, name="F")


def body_of(shape: object) -> SolidBody:
    return faces_of([shape], DEFAULT)


@QUICK
@given(tables(most=6), placements())
def test_a_tube_has_its_section_times_its_length(table, placement):
    """Pappus; bends of every angle, in every place, with a bore."""
    section = Section("round", 16.0, 1.6)
    assume(all(bend.clr is None or bend.clr > 8.1 for bend in table.bends))
    shape = tube_solid(Run("r", None, False, table, placement), section)
    expected = pi * (8.0**2 - 6.4**2) * table.developed_length
    assert volume_within(body_of(shape)) == pytest.approx(expected, rel=1e-9)
    assert exact_volume(shape) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    "shape",
    [
        tube_solid(FLAT_BENT, Section("square", 25.0, 2.0, 25.0, 3.0)),
        tube_solid(BENT, Section("bar", 22.0, 11.0)),
        pipe((900.0, -40.0, 7.0), (1.0, 2.0, 3.0), 20.0, 2.0, 300.0),
        pipe((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 20.0, 2.0, 300.0).mirror("XY").moved(cq.Location((5.0, 6.0, 7.0))),
        cq.Workplane().box(30.0, 40.0, 50.0).edges("|Z").fillet(6.0).faces(">Z").hole(11.0).val(),
        cq.Workplane().box(30.0, 40.0, 50.0).faces(">Z").shell(-3.0).val(),
        cq.Solid.makeTorus(60.0, 12.0),
        cq.Solid.makeTorus(60.0, 12.0, angleDegrees1=0, angleDegrees2=360),
    ],
)
def test_plain_bodies_agree_with_the_kernel(shape):
    shape = getattr(shape, "wrapped", shape)
    assert volume_within(body_of(shape)) == pytest.approx(exact_volume(shape), rel=1e-9)


def test_a_body_inside_out_has_a_volume_below_zero():
    shape = pipe((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 20.0, 2.0, 300.0).wrapped.Reversed()
    assert volume_within(body_of(shape)) == pytest.approx(signed_volume(shape), rel=1e-9)
    assert signed_volume(shape) < 0.0


TUBE = pipe((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 20.0, 2.0, 300.0)
DRILLED = TUBE.cut(cylinder((0.0, -30.0, 150.0), (0.0, 1.0, 0.0), 5.0, 60.0))
SLANTED = TUBE.cut(cq.Workplane().box(200.0, 200.0, 60.0).rotate((0, 0, 0), (1, 0, 0), 30).translate((0, 0, 310)).val())
WINDOW = TUBE.cut(cq.Workplane().box(60.0, 8.0, 80.0).translate((30.0, 0.0, 150.0)).val())


@pytest.mark.parametrize("shape", [DRILLED, SLANTED, WINDOW], ids=["drilled", "slanted", "a slot in its side"])
def test_a_skin_cut_otherwise_is_left_to_the_kernel(shape):
    """A window between lines along the skin's own directions, too: its range would say more than there is."""
    assert volume_within(body_of(shape.wrapped)) is None
    assert BodyVolume(shape.wrapped, body_of(shape.wrapped)).by_faces is None


def test_faces_that_do_not_close_have_no_volume():
    shell = cq.Workplane().box(30.0, 40.0, 50.0).val()
    faces = [face.wrapped for face in shell.Faces()[:-1]]
    assert volume_within(faces_of(faces, DEFAULT)) is None


def asked_of_the_kernel(shape: object, monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The volumes that the kernel is asked for while a body is read."""
    asked: list[float] = []
    integrate = BRepGProp.VolumeProperties_s

    class Counted:
        @staticmethod
        def VolumeProperties_s(*given):  # noqa: N802 - the kernel's name
            integrate(*given)
            asked.append(given[1].Mass())

    monkeypatch.setattr(volume, "BRepGProp", Counted)
    find_tubes(shape, "part")
    return asked


def test_the_kernel_is_asked_once_and_only_where_something_is_told(monkeypatch):
    assert asked_of_the_kernel(tube_solid(BENT, Section("round", 22.0, 2.0)), monkeypatch) == []
    assert len(asked_of_the_kernel(DRILLED.wrapped, monkeypatch)) == 1


def test_what_is_told_is_the_kernels_number():
    """Nothing to tell by the faces ends it; what there is to tell is worked out anew from the kernel's."""
    told = []
    body = BodyVolume(TUBE.wrapped, body_of(TUBE.wrapped))
    assert body.tells(lambda v: told.append(v) or []) == [] and told == [body.by_faces]
    assert body.tells(lambda v: [v]) == [body.by_kernel]


@pytest.mark.parametrize("shape", [TUBE, DRILLED, cylinder((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 20.0, 300.0)])
def test_a_flat_end_of_whole_circles_covers_what_the_kernel_says(shape):
    """Points on a grid over each flat face, by circles and by the kernel's classifier in the face's own parameters."""
    body, looked = body_of(shape.wrapped), 0
    for patch, face in zip(body.patches, kernel_faces([shape.wrapped]), strict=True):
        if patch.shape.kind != "plane":
            continue
        plane = cq.Face(TopoDS.Face_s(face))
        within = BRepTopAdaptor_FClass2d(plane.wrapped, 1e-6)
        position = plane._geomAdaptor().Pln().Position()
        origin, x, y = position.Location(), position.XDirection(), position.YDirection()
        for u in (-25.0, -19.0, -11.0, 0.0, 7.3, 18.5, 21.0):
            point = tuple(
                getattr(origin, axis)() + u * getattr(x, axis)() + 0.3 * u * getattr(y, axis)() for axis in "XYZ"
            )
            expected = within.Perform(gp_Pnt2d(u, 0.3 * u), False) == TopAbs_State.TopAbs_IN
            assert _within_circles(patch, body, point) == expected
            looked += 1
    assert looked >= 14


def test_a_cap_over_a_bore_is_still_told():
    """A disc welded flush over an end leaves circles alone on that face: the bore's spot is covered."""
    closed = TUBE.fuse(cylinder((0.0, 0.0, 298.0), (0.0, 0.0, 1.0), 20.0, 2.0))
    (told,) = [f for f in only(closed.wrapped).findings if f.code != "solid-ends"]
    assert told.variant == "bore short" and told.measured == pytest.approx(2.0)
