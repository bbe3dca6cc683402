"""Meshes (STL, OBJ, PLY, 3MF, glTF): tubes in them become ready tables."""

from converter.importers.mesh.read import read_mesh

__all__ = ["read_mesh"]
