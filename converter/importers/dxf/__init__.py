"""DXF in: every drawn curve of a drawing, in mm and world coordinates, with what was left out."""

from converter.importers.dxf.read import read_dxf

__all__ = ["read_dxf"]
