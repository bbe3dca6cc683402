"""Values and references of IGES entities, held to the layouts of IGES 5.3 before the kernel sees them."""

from __future__ import annotations

import pytest
from iges_tools import Entity, arc, build, kernel_iges, line
from places import FIXTURES

from converter.errors import ReadError
from converter.importers.iges.bounds import check_iges
from converter.importers.registry import read

LINE = line((0, 0, 0), (100, 0, 0))
ARC = arc((100, 50, 0), (100, 0), (150, 50))
PLANE = Entity(108, "0.,0.,1.,0.,0,0.,0.,0.,0.")


def suspect(*entities: Entity) -> str:
    return check_iges(build(entities).encode(), "a.igs").suspect


@pytest.mark.parametrize("path", sorted((FIXTURES / "iges").glob("*.igs")), ids=lambda path: path.stem)
def test_what_programs_write_fits(path):
    assert check_iges(path.read_bytes(), path.name).suspect == ""


@pytest.mark.parametrize("solids", [False, True])
def test_what_the_kernel_writes_fits(solids, tmp_path):
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeTorus

    shapes = (
        BRepPrimAPI_MakeBox(10.0, 20.0, 30.0).Shape(),
        BRepPrimAPI_MakeTorus(50.0, 10.0, 1.0).Shape(),
        BRepAlgoAPI_Cut(
            BRepPrimAPI_MakeBox(20.0, 20.0, 20.0).Shape(), BRepPrimAPI_MakeCylinder(5.0, 30.0).Shape()
        ).Shape(),
    )
    for k, shape in enumerate(shapes):
        path = kernel_iges(shape, tmp_path / f"{k}.igs", solids)
        assert check_iges(path.read_bytes(), path.name).suspect == ""


def test_sound_entities_fit_with_what_may_be_left_out():
    assert suspect(LINE, ARC, Entity(102, "2,1,3"), PLANE) == ""
    assert suspect(Entity(110, "0.,0.,0.,1.D2,-1.5E+01,")) == ""
    assert suspect(Entity(116, "1.,2.,3.")) == ""
    assert suspect(Entity(124, "1.,0.,0.,0.,0.,1.,0.,0.,0.,0.,1.,0."), LINE) == ""
    assert suspect(Entity(126, "1,1,0,0,1,0,0.,0.,1.,1.,1.,1.,0.,0.,0.,9.,0.,0.,0.,1.")) == ""
    assert suspect(Entity(106, "1,3,0.,1.,2.,3.,4.,5.,6.")) == suspect(Entity(106, "2,1,1.,2.,3.")) == ""
    assert suspect(Entity(9999, "6HABCDEF,x"), Entity(402, "99,1,2,3", form=5), LINE) == ""


@pytest.mark.usefixtures("forked_trials")
@pytest.mark.parametrize(
    "entities",
    [
        (LINE, Entity(102, "3,1,1")),  # fewer than it says
        (LINE, Entity(102, "-1,1,1")),
        (LINE, Entity(102, "4Hfour,1")),
        (LINE, Entity(102, "1,2")),  # the second half of an entry
        (LINE, Entity(102, "1,99")),
        (PLANE, Entity(102, "1,1")),  # a surface is no part of a curve
        (LINE, Entity(102, "1,3")),  # itself
        (Entity(102, "1,3"), Entity(102, "1,1")),  # each other
        (LINE, Entity(144, "1,0,0,0")),  # a line trimmed as a surface
        (Entity(126, "999999,3,0,0,1,0,0.,1."),),
        (Entity(128, "1,1,1,1,0,0,1,0,0,0.,0.,1.,1."),),
        (Entity(106, "2,9,1.,2.,3."),),
        (Entity(110, "0.,0.,half,1.,1.,1."),),
        (Entity(110, "0.,0.,3HA,B,1.,1.,1."),),
        (Entity(502, "5,0.,0.,0."),),
        (Entity(502, "1,0.,0.,0."), Entity(508, "1,0,1,1,1,2,0,0")),  # curves that are not there
    ],
)
def test_what_lies_is_tried_out_first_and_the_library_survives(entities, tmp_path):
    path = tmp_path / "lies.igs"
    path.write_text(build((*entities, LINE)))
    assert check_iges(path.read_bytes(), path.name).suspect.startswith("directory entry") or "values of" in suspect(
        *entities, LINE
    )
    try:
        drawing = read(path)
    except ReadError as error:
        assert error.message.startswith(str(path)) and error.message.endswith(".")
    else:
        assert drawing.curves or drawing.ignored
