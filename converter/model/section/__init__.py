"""Cross-sections of tubes: a value, `Section`, of one of the shapes in `SHAPES`, each in a file of its own.

What a section is asked, it answers itself (outline, area, moments, words, groove); nobody else asks for its shape.
"""

from converter.model.section.outline import Edge, Outline, circle
from converter.model.section.registry import SHAPES, shape_of_size
from converter.model.section.shape import Shape
from converter.model.section.value import Section

__all__ = [
    "SHAPES",
    "Edge",
    "Outline",
    "Section",
    "Shape",
    "circle",
    "shape_of_size",
]
