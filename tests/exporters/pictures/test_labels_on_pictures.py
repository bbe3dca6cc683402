"""Labels of pictures of random frames: on no other label and on no line of a tube, and led to where they belong."""

from __future__ import annotations

from math import cos, radians, sin

import pytest
import shapely
import shapely.ops
from random_drawings import bays_drawing, random_drawing
from sheet_tools import demo_job

from converter.exporters.pictures.annotation import wide
from converter.exporters.pictures.drawing.view import drawing_picture
from converter.exporters.pictures.picture import RING, Label, Picture
from converter.exporters.pictures.run.picture import isometric_picture
from converter.exporters.sheet.html import DRAWING_SIZE
from converter.job import open_job
from converter.settings import Settings

#: Lines that no text may stand on; a ring or a box covers what it stands on.
LINES = ("tube", "drawn", "fitted", "tight")


def box_of(label: Label) -> shapely.Polygon:
    """The room of a label: of its ring or square, else of its text as it is turned."""
    (x, y), h = label.at, label.height
    if label.circled or label.boxed:
        return shapely.box(x - RING * h, y + h / 2 - RING * h, x + RING * h, y + h / 2 + RING * h)
    width = 0.85 * wide(label.text, h)  # which is the most that it may need
    left = {"left": 0.0, "center": width / 2, "right": width}[label.align]
    c, s = cos(radians(label.rotation)), sin(radians(label.rotation))
    corners = [(-left, 0.0), (width - left, 0.0), (width - left, h), (-left, h)]
    return shapely.Polygon([(x + a * c - b * s, y + a * s + b * c) for a, b in corners])


def faults(picture: Picture) -> list[tuple[str, str]]:
    """Pairs of labels that overlap, and texts with the role of a line that they stand on."""
    boxes = [(label, box_of(label)) for label in picture.labels]
    found = []
    for i, (one, here) in enumerate(boxes):
        found += [(one.text, other.text) for other, there in boxes[:i] if here.intersection(there).area > 0.02]
    lines = [(s.role, shapely.LineString(s.points)) for s in picture.strokes if s.role in LINES]
    tree = shapely.STRtree([line for _, line in lines])
    for label, here in boxes:
        if not (label.circled or label.boxed):
            found += [(label.text, lines[i][0]) for i in tree.query(here.buffer(-0.1), "intersects")]
    return found


@pytest.mark.parametrize("first", range(0, 30, 10))
def test_labels_of_random_jobs_hide_nothing(first, tmp_path):
    wrong, count = [], 0
    for seed in range(first, first + 10):
        drawing = random_drawing(tmp_path / f"{seed}.dxf", seed)
        job = open_job(str(drawing), Settings(sections=("38.1x2.4mm",), clr="110mm"))
        pictures = [drawing_picture(job.drawing, job.tubes, job.drawing.findings, job.display, size=(186.0, 120.0))]
        bent = max(job.tubes, key=lambda tube: len(tube.run.table.bends))
        pictures.append(isometric_picture(bent, job.display, size=(110.0, 100.0), least_text=1.95))
        for picture in pictures:
            count += 1
            wrong += [(seed, picture.title, *pair) for pair in faults(picture)]
            assert min(label.height for label in picture.labels) >= 1.95
        names = {label.text for label in pictures[0].labels}
        assert {tube.name for tube in job.tubes} <= names
    assert count == 20
    assert wrong == []


def crossed(picture: Picture) -> list[tuple[float, float]]:
    """Where a leader runs over a tube that is not its own, or over another leader."""
    tubes = shapely.union_all([shapely.LineString(s.points) for s in picture.strokes if s.role in LINES])
    leaders = [s.points for s in picture.strokes if s.role == "dim" and len(s.points) == 2]
    led = [shapely.LineString(points) for points in leaders if tubes.distance(shapely.Point(points[0])) < 0.3]
    beyond = [shapely.ops.substring(line, 1.6, line.length) for line in led]
    found = [one.intersection(tubes) for one in beyond if one.intersects(tubes)]
    found += [one.intersection(other) for i, one in enumerate(beyond) for other in beyond[:i] if one.crosses(other)]
    return [(place.centroid.x, place.centroid.y) for place in found]


@pytest.mark.parametrize(("size", "most"), [((240.0, 150.0), 0), ((186.0, 200.0), 0), ((186.0, 120.0), 4)])
def test_forty_tubes_are_named_and_hardly_a_leader_crosses_another_tube(size, most, tmp_path):
    """Tubes that others enclose have letters beside them, and their names in a key."""
    job = open_job(str(bays_drawing(tmp_path / "bays.dxf", 40)), Settings(sections=("38.1x2.4mm",), clr="114.3mm"))
    picture = drawing_picture(job.drawing, job.tubes, job.drawing.findings, job.display, size=size, legend=False)
    texts = [label.text for label in picture.labels]
    assert len(job.tubes) == 40 and {tube.name for tube in job.tubes} <= set(texts)
    assert faults(picture) == [] and len(crossed(picture)) <= most
    letters = [text for text in texts if text.islower() and len(text) < 3 and text not in "xyz"]
    assert 0 < len(letters) < 60 and all(letters.count(one) == 2 for one in letters), "beside the tube and in the key"


def test_no_letter_stands_for_two_things(tmp_path):
    """Letters beside tubes and letters of what was left out, in one picture: as the demo's sheet shows it."""
    job = demo_job(tmp_path)
    picture = drawing_picture(job.drawing, job.tubes, job.findings, job.display, size=DRAWING_SIZE, legend=False)
    letters = [(label.text, label.role) for label in picture.labels if len(label.text) == 1 and label.text.islower()]
    beside, left_out = ({text for text, role in letters if role == kind} for kind in ("note", "strong"))
    assert beside - set("xyz") and left_out and beside.isdisjoint(left_out)


def test_the_guard_sees_labels_labels_on_lines_and_on_each_other():
    picture = Picture()
    picture.stroke([(0.0, 1.0), (50.0, 1.0)], "tube")
    picture.label("on the line", (5.0, 0.0), 2.0)
    picture.label("upright", (30.0, -6.0), 2.0, rotation=90.0)
    picture.label("beside it", (5.0, 5.0), 2.0)
    picture.label("over it", (6.0, 5.5), 2.0)
    assert faults(picture) == [("over it", "beside it"), ("on the line", "tube"), ("upright", "tube")]
