"""Tubes of one shape are drawn once: which they are, and that their picture is the one they would get alone."""

from __future__ import annotations

import pytest
from any_finding import any_finding
from copes import find_joints, straight
from frames import RAIL, RUNG, hoop

from converter.exporters.pictures.hidden import outline as hidden
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.run import sketch
from converter.exporters.pictures.run.picture import isometric_picture, run_picture
from converter.exporters.pictures.run.sketch import Sketches
from converter.model.run import Tube
from converter.units import BothUnits, Display

MM = Display("mm")


@pytest.fixture
def outlines(monkeypatch):
    """The views in which what is seen of a tube was worked out."""
    asked = []

    def counted(solid, views, chords):
        asked.extend(views)
        return hidden.outlines(solid, views, chords)

    monkeypatch.setattr(sketch, "outlines", counted)
    return asked


def ladder() -> list[Tube]:
    """Two rails and three rungs cut to fit, the last from further in."""
    rails = [straight(f"RAIL-{i}", (x, -200.0, 0.0), (x, 900.0, 0.0), RAIL) for i, x in enumerate((0.0, 400.0))]
    rungs = [straight(f"RUNG-{i}", (0.0, 100.1 * i, 0.0), (400.0, 100.1 * i, 0.0), RUNG) for i in (0, 3)]
    return [*rails, *rungs, straight("BRACE", (0.0, 400.0, 0.0), (400.0, 700.0, 0.0), RUNG)]


def test_what_lies_elsewhere_is_drawn_once_and_what_is_cut_turned_or_made_otherwise_is_not():
    tubes = ladder()
    joints, _ = find_joints(tubes)
    sketches = Sketches()
    a, b, rung, other, brace = (sketches.shape(tube, joints) for tube in tubes)
    assert a is b and rung is other and len({id(shape) for shape in (a, rung, brace)}) == 3
    assert sketches.shape(tubes[2]) is not rung  # with square ends
    assert sketches.shape(straight("X", (0, 0, 0), (0, 0, 1100.0), RAIL)) is not a
    assert sketches.shape(straight("X", (0, 0, 0), (0, 1100.0, 0), RUNG)) is not a
    assert sketches.shape(straight("X", (0, 0, 0), (0, 1100.001, 0), RAIL)) is not a
    assert sketches.shape(straight("X", (9.0, 0, 0), (9.0, 1100.0, 0), RAIL)) is a


def test_all_views_of_a_picture_are_looked_at_together_and_show_what_each_shows_alone(monkeypatch):
    calls = []

    def counted(solid, views, chords):
        calls.append(len(views))
        return hidden.outlines(solid, views, chords)

    monkeypatch.setattr(sketch, "outlines", counted)
    tube = hoop("HOOP", 0.0, 400.0)
    together = run_picture(tube, MM)
    assert calls == [4]
    monkeypatch.setattr(sketch.SketchShape, "look", lambda shape, views: None)
    assert run_picture(tube, MM) == together and len(calls) > 2
    # so thin on paper that lines are all there is to be drawn
    calls.clear()
    monkeypatch.undo()
    monkeypatch.setattr(sketch, "outlines", counted)
    run_picture(straight("LONG", (0.0, 0.0, 0.0), (20000.0, 0.0, 0.0), RUNG), MM)
    assert calls == []


def test_a_shape_is_looked_at_once_for_all_sizes_and_names(outlines):
    tubes = ladder()
    joints, _ = find_joints(tubes)
    sketches = Sketches()
    for tube in tubes:
        for size in ((84.0, 72.0), (150.0, 60.0)):
            isometric_picture(tube, BothUnits("mm"), size=size, joints=joints, sketches=sketches)
        run_picture(tube, MM, joints=joints, sketches=sketches)
    # rail, rung and brace; each in the isometric and three views
    assert len(outlines) == 3 * 4


@pytest.mark.parametrize("code", ["", "radius-too-tight"])
def test_the_picture_is_the_one_that_a_tube_gets_alone(code):
    """Same words in the same places; its own name, and its own bends marked."""
    first, second = hoop("FIRST", 0.0, 0.0), hoop("SECOND", 1234.5, 777.7)
    told = [any_finding("radius-too-tight", tube="SECOND", bend=2)] if code else []
    sketches = Sketches()
    run_picture(first, MM, sketches=sketches)
    shared = run_picture(second, MM, findings=told, sketches=sketches)
    alone = run_picture(second, MM, findings=told)
    assert (shared.title, shared.description) == (alone.title, alone.description)
    assert [(label.text, label.role) for label in shared.labels] == [(one.text, one.role) for one in alone.labels]
    for one, other in zip(shared.labels, alone.labels, strict=True):
        assert one.at == pytest.approx(other.at, abs=1e-6)
    assert [(stroke.role, stroke.closed) for stroke in shared.strokes] == [(s.role, s.closed) for s in alone.strokes]
    for one, other in zip(shared.strokes, alone.strokes, strict=True):
        assert (*one.points[0], *one.points[-1]) == pytest.approx((*other.points[0], *other.points[-1]), abs=1e-6)
    assert any(stroke.role == "tight" for stroke in shared.strokes) == bool(code)


def test_only_the_latest_pictures_are_kept():
    """So that a job of thousands of different tubes does not hold a picture of each."""
    sketches, drawn = Sketches(), []
    shape = sketches.shape(hoop("T", 0.0, 0.0))

    def ask(writing):
        return sketches.panel(shape, writing, lambda: drawn.append(writing) or Picture(str(writing)))

    kept = sketch._MOST_PICTURES
    first = [ask(n) for n in range(kept)]
    assert ask(0) is first[0] and drawn == list(range(kept))
    ask("one more")  # in the place of the one not asked for longest, which is 1
    assert ask(0) is first[0] and ask(2) is first[2] and drawn[kept:] == ["one more"]
    assert ask(1) is not first[1] and drawn[kept:] == ["one more", 1]
