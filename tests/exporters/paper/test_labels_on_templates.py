"""Labels of cope, hole and stick templates of random frames: on no line, on no other label, nor too small to read.

Boxes and lines are compared by shapely, which knows nothing of how they were placed.
"""

from __future__ import annotations

from math import cos, radians, sin
from random import Random

import pytest
import shapely
from copes import straight
from jobs import job_of

from converter.exporters.options import WriteOptions
from converter.exporters.paper.labels import Ink
from converter.exporters.paper.templates import templates_of
from converter.model.run import Tube
from converter.model.section import Section

#: Capitals of 7.5 pt type, mm.
LEAST = 7.5 * 25.4 / 72.0 * 0.73
ROUND = (Section("round", 25.4, 2.0), Section("round", 38.1, 2.4), Section("round", 60.3, 3.0))


def frame(seed: int) -> list[Tube]:
    """A rail, a leg to it at any angle and offset, and a bar through the rail; of sizes of their own."""
    random = Random(seed)
    name = random.choice(("RUNNER", "A-PILLAR LH", "X", "CROSS MEMBER REAR 12"))
    rail, leg = random.choice(ROUND[1:]), random.choice(ROUND[:2])
    angle, offset = random.uniform(35.0, 145.0), random.uniform(-0.3, 0.3) * rail.od
    end = (500.0 * cos(radians(angle)), offset, 500.0 * sin(radians(angle)))
    thin = Section("round", random.uniform(12.0, 0.8 * rail.od), 1.5)
    x = random.uniform(150.0, 300.0)
    return [
        straight(name, (-400.0, 0.0, 0.0), (400.0, 0.0, 0.0), rail),
        straight("LEG", (0.0, offset, 0.0), end, leg),
        straight("BAR", (x - 100.0, -300.0, 0.0), (x + 100.0, 300.0, 0.0), thin),
    ]


def test_the_first_box_clear_of_ink_is_the_one_that_shapely_finds():
    random = Random(9)

    def place():
        return random.uniform(0.0, 100.0), random.uniform(0.0, 60.0)

    found = set()
    for _ in range(60):
        lines = [(*place(), *place()) for _ in range(4)]
        lines += [(x, y, x, y + 20.0) for x, y in (place(), place())] + [(x, y, x + 30.0, y) for x, y in (place(),)]
        texts = [(x, y, x + 9.0, y + 2.0) for x, y in (place(), place())]
        boxes = [(x, y, x + 22.0, y + 9.0) for x, y in (place() for _ in range(random.choice((6, 50))))]
        drawn = shapely.MultiLineString([(one[:2], one[2:]) for one in lines])
        ink = shapely.union_all([drawn, *(shapely.box(*one) for one in texts)])
        inside = shapely.box(0.0, 0.0, 100.0, 60.0)
        clear = [inside.covers(shapely.box(*one)) and not ink.intersects(shapely.box(*one)) for one in boxes]
        first = clear.index(True) if True in clear else None
        assert Ink((0.0, 0.0, 100.0, 60.0), lines, texts).first_clear(boxes) == first
        found.add(first)
    assert len(found) > 7 and None in found


@pytest.mark.parametrize("first", range(0, 30, 10))
def test_no_label_of_a_random_template_stands_on_a_line_or_another_label(first):
    count = 0
    for seed in range(first, first + 10):
        for one in templates_of(job_of(frame(seed)), WriteOptions()):
            count += 1
            figure, curves = one.drawing.figure, one.drawing.curves
            boxes = [(text.text, shapely.box(*text.box())) for text in figure.texts]
            lines = [shapely.LineString(points) for points, _ in curves]
            lines += [shapely.LineString([a, b]) for a, b, _ in figure.lines]
            ink = shapely.STRtree(lines)
            for i, (words, box) in enumerate(boxes):
                over = [other for other, there in boxes[:i] if box.intersects(there)]
                assert not over, (seed, one.title, words, over)
                assert not len(ink.query(box.buffer(-0.05), "intersects")), (seed, one.title, words)
            assert min(text.height for text in figure.texts) >= LEAST
    assert count >= 15
