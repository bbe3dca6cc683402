"""BREP, the CAD kernel's own text of shapes."""
