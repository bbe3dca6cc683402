"""The shapes of a job's tubes as they are drawn, each worked out once, however many tubes have it and formats show it.

A picture of a tube shows nothing of where the tube lies. So tubes of one shape, cut alike and turned alike, are drawn
once; what is written around them is too where it is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from typing import TYPE_CHECKING

from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.run.sketch import SketchShape
from converter.job import Job, once_per_job
from converter.model.run import Tube

if TYPE_CHECKING:
    from converter.joints.model import Joint

#: Pictures that are kept: a seventh of a megabyte each, of which a job of different tubes asks for none twice.
_MOST_PICTURES = 64
#: Decimals of mm, degrees and directions to which shapes are equal: far finer than a line on paper.
_DECIMALS = 7


class Sketches:
    """What has been drawn already."""

    def __init__(self) -> None:
        self._shapes: dict[Hashable, SketchShape] = {}
        # by what was asked for, which is kept beside so that its ids stay its own
        self._by_id: dict[tuple[int, ...], tuple[Tube, tuple[Joint, ...], SketchShape]] = {}
        self._panels: dict[Hashable, Picture] = {}

    def shape(self, tube: Tube, joints: Sequence[Joint] = ()) -> SketchShape:
        """The shape of a tube, or of one before it that differs at most in its name and where it lies."""
        own = tuple(joint for joint in joints if joint.tube == tube.name)
        key = (id(tube), *map(id, own))
        if key not in self._by_id:
            shape = SketchShape.of(tube, own)
            self._by_id[key] = tube, own, self._shapes.setdefault(shape_key(shape), shape)
        return self._by_id[key][2]

    def panel(self, shape: SketchShape, writing: Hashable, draw: Callable[[], Picture]) -> Picture:
        """The picture of a shape with what is written around it.

        Args:
            shape: of these sketches.
            writing: all else that the picture depends on.
            draw: makes it, where there is none yet.
        """
        key = (id(shape), writing)
        picture = self._panels.pop(key, None)
        if picture is None:
            picture = draw()
        self._panels[key] = picture  # the latest asked for is the last
        if len(self._panels) > _MOST_PICTURES:
            del self._panels[next(iter(self._panels))]
        return picture


@once_per_job
def sketches_of(job: Job) -> Sketches:
    """The sketches of a job, for all that shows its tubes."""
    return Sketches()


def shape_key(shape: SketchShape) -> Hashable:
    """What two shapes have in common that look the same wherever they lie."""
    run = shape.tube.run
    place, table = run.placement, run.table
    numbers = [
        *place.direction,
        *place.normal,
        *(b - a for a, b in zip(run.start, run.end, strict=True)),
        *(size for bend in table.bends for size in (bend.feed, bend.rotation, bend.angle, bend.clr or -1.0)),
        table.tail,
    ]
    cuts: list[Hashable] = []
    for cut in () if shape.solid is None else shape.solid.cuts:
        rows = () if cut is None else (cut.angles, cut.outer, cut.bore)
        cuts.append(tuple((row.round(_DECIMALS) + 0.0).tobytes() for row in rows))
    even = tuple(round(number, _DECIMALS) + 0.0 for number in numbers)
    return shape.tube.section, run.closed, shape.solid is None, even, tuple(cuts)
