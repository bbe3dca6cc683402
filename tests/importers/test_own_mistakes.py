"""A damaged file is a sentence; a mistake in this package is never told as one."""

from __future__ import annotations

import pytest
import trimesh
from mesh_tools import saved

from converter.errors import ReadError
from converter.importers.dxf import load as dxf_load
from converter.importers.mesh import load as mesh_load
from converter.importers.registry import read
from converter.importers.source import Source

DXF = b"  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF\n"


class Unkind:
    """A library that fails in a line of its own."""

    @staticmethod
    def load(*_, **__):
        raise TypeError("a line of the library, outside the package")


def test_a_slip_of_the_library_is_the_files_fault_and_one_of_ours_is_not(tmp_path, monkeypatch):
    path = saved(trimesh.creation.box((10.0, 20.0, 30.0)), tmp_path / "box.stl")
    with monkeypatch.context() as patched:
        patched.setattr(mesh_load, "_library", lambda: Unkind)
        with pytest.raises(ReadError, match=r"box\.stl is damaged"):
            read(path)
    monkeypatch.setattr(mesh_load, "MeshPart", None)  # called by a line of ours
    with pytest.raises(TypeError, match="NoneType"):
        read(path)


@pytest.mark.parametrize(("name", "data"), [("read_records", DXF), ("dxf_stream_info", DXF)])
def test_a_slip_of_ours_starts_no_repair(monkeypatch, name, data):
    source = Source("x.dxf", None, data)
    assert dxf_load.load(source).findings == []
    monkeypatch.setattr(dxf_load, name, None)
    with pytest.raises(TypeError, match="NoneType"):
        dxf_load.load(source)
