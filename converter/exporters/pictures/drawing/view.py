"""The drawing as read: what became a run, what was healed, approximated or left out, and where it cannot be bent.

Flat drawings are shown in their plane, true to scale; others isometric. Every place of a finding has a mark
whose shape tells how bad it is, and a number in a ring that the list beneath explains; things left out are
dotted and lettered. Nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from math import inf

import numpy as np

from converter.arrays import Array
from converter.exporters.paper.figure import Box, Point, text_width
from converter.exporters.paper.room import LabelSpot, Room, Wish
from converter.exporters.pictures.drawing.key import (
    findings_column,
    lines_column,
    mark_place,
    named_runs,
    printable_line,
    wrapped,
)
from converter.exporters.pictures.drawing.lines import ring
from converter.exporters.pictures.drawing.names import place_names
from converter.exporters.pictures.drawing.plane import ISOMETRIC, THIN, Plane, apart, clipped, passed_once, thinned
from converter.exporters.pictures.drawing.scene import Scene, holds, scene_of
from converter.exporters.pictures.drawing.words import LegendEntry, drawing_legend
from converter.exporters.pictures.picture import RING, Picture
from converter.findings import Finding, Reason
from converter.findings.wording import counted
from converter.model.drawing import Drawing
from converter.model.run import Tube
from converter.units import Display, in_unit

__all__ = ["LegendEntry", "drawing_legend", "drawing_picture"]

#: Edge of the picture, mm, and room around the drawing for labels.
EDGE, ROOM = 3.0, 9.0
#: Heights of text, mm: of numbers, names, ends; 7.6 pt type and more.
NUMBER, NAME, END = 2.0, 2.2, 1.95
#: Of more tubes than this, only where each begins is marked, by a dot; of what radius, mm.
LETTERED, DOT = 8, 0.75
#: Labels keep about this distance, mm.
CELL = 0.8
#: A label further than this from its place has a leader, mm.
NEAR = 2.6
#: Above so many straights a drawing is too dense to keep labels off its lines.
DENSE = 6000
#: So many marks are drawn; so many of them have a number; so many words stand beside them.
MARKS, NUMBERS, WORDS = 400, 99, 40
#: More lines of one role than this are a crowd.
CROWD = 3000
#: How far from its place a number may stand before it stands on a line, mm.
_NUMBER_NEAR = 12.0
#: So many of one kind of left-out things get their letter.
LETTERS = 3


def drawing_picture(
    drawing: Drawing,
    tubes: Sequence[Tube],
    findings: Sequence[Finding],
    display: Display,
    *,
    size: tuple[float, float] = (190.0, 200.0),
    legend: bool = True,
) -> Picture:
    """A drawing as it was read.

    Args:
        drawing: as read; the shapes of what was left out show if `ReadOptions.keep_left_out` kept them.
        tubes: what became of it; () where no run was found.
        findings: of the readers and the reducer, and the audit's where it was done.
        display: how lengths are written; `converter.units.BothUnits` keeps both.
        size: width and height of the picture, mm, list and all; at least 60 x 60.
        legend: draw the list beneath; without it show `drawing_legend` beside the picture, whose first 99
            findings have their numbers in it.
    """
    width, height = max(size[0], 60.0), max(size[1], 60.0)
    entries = drawing_legend(drawing, tubes, findings, display)
    scene = scene_of(drawing, tubes, findings)
    name = (
        printable_line(drawing.source.replace("\\", "/").rsplit("/", 1)[-1])
        if drawing.source != "-"
        else "standard input"
    )
    summary = _summary(drawing, tubes, scene.plane)
    picture = Picture(
        f"{name} as read", " ".join(f"{entry.mark} {printable_line(entry.heading)}." for entry in entries[:20])
    )
    picture.reach((0.0, 0.0), (width, height))
    top = height - EDGE
    for text, tall, role in ((f"{name}, as read", 3.0, "strong"), (summary, HEAD, "note")):
        for line in wrapped(text, width - 2 * EDGE, tall, 2):
            picture.label(line, (EDGE, top - tall), tall, role)
            top -= 1.7 * tall
    bottom, shown = EDGE, NUMBERS
    if legend:
        bottom, shown = _draw_legend(picture, entries, scene, tubes, width, 0.42 * height)
    area = (EDGE, bottom + 2.0, width - EDGE, top - 1.0)
    _ScenePlacement(picture, scene, area, display).draw(tubes, entries, shown)
    return picture


#: Height of the second line of the heading, mm.
HEAD = 2.2


def _summary(drawing: Drawing, tubes: Sequence[Tube], plane: Plane) -> str:
    from_what = [counted(len(drawing.curves), "drawn curve")] if drawing.curves else []
    if drawing.tables:
        from_what.append(counted(len(drawing.tables), "ready-made tube"))
    found = f"{counted(len(tubes), 'tube') if tubes else 'no tube'} from {' and '.join(from_what) or 'no curve'}"
    left = sum(one.count for one in drawing.ignored)
    parts = [found, *([f"{counted(left, 'thing')} left out"] if left else []), plane.words]
    return "; ".join(parts)


def _draw_legend(
    picture: Picture,
    entries: list[LegendEntry],
    scene: Scene,
    tubes: Sequence[Tube],
    width: float,
    most: float,
) -> tuple[float, int]:
    """The list at the foot, in two columns where both have something to say; its top and the numbers in it."""
    inner = width - 2 * EDGE
    narrow = 0.38 * inner if any(e.kind == "finding" for e in entries) else inner
    more = scene.more
    most, lettered = most - 2 * EDGE, len(tubes) <= LETTERED
    key = lines_column(entries, scene.roles(entries), scene.outside(), more, len(tubes), narrow, most, lettered)
    said, shown = findings_column(entries, inner - narrow - 4.0, most)
    tall = max(key.height, said.height)
    top = EDGE + tall
    if said.rows:
        said.draw(picture, (EDGE, top))
    key.draw(picture, (EDGE if not said.rows else EDGE + inner - narrow, top))
    if tall:
        picture.stroke([(EDGE, top + 1.5), (width - EDGE, top + 1.5)], "dim")
    return (top + 1.5 if tall else EDGE), shown


# --- on paper ---------------------------------------------------------------------------------


class _ScenePlacement:
    """Puts a scene into an area of a picture, in mm of paper."""

    def __init__(self, picture: Picture, scene: Scene, area: Box, display: Display) -> None:
        self.picture, self.scene, self.area, self.display = picture, scene, area, display
        x0, y0, x1, y1 = scene.box
        room = min(ROOM, 0.1 * (area[2] - area[0]), 0.1 * (area[3] - area[1]))
        wide, tall = area[2] - area[0] - 2 * room, area[3] - area[1] - 2 * room
        self.k = min(wide / (x1 - x0), tall / (y1 - y0))
        self.shift = np.array(
            [
                (area[0] + area[2]) / 2 - self.k * (x0 + x1) / 2,
                (area[1] + area[3]) / 2 - self.k * (y0 + y1) / 2,
            ]
        )
        self.room = Room(CELL, area)
        self._straights = 0

    def draw(self, tubes: Sequence[Tube], entries: Sequence[LegendEntry], shown: int) -> None:
        """Lines first, then marks, numbers, ends, names and letters while there is room for them."""
        for role, lines in self.scene.lines:
            if role == "ignored":
                self._lines(role, lines)
        kept = self._left_out()
        for role, lines in self.scene.lines:
            if role != "ignored":
                self._lines(role, lines)
        self._scale()
        placed = [entry for entry in entries if entry.kind == "finding" and entry.at is not None]
        self._marks(placed)
        self._numbers(placed[:shown])
        named = named_runs(tubes, placed[:shown])
        self._ends(named, len(tubes) <= LETTERED)
        self._names(named, {entry.mark for entry in entries if entry.left})
        self._letters(entries, kept)
        if not tubes:
            self._label_no_run()

    def _paper(self, points: Array) -> Array:
        paper: Array = points * self.k + self.shift
        return paper

    def _at(self, place: Sequence[float]) -> Point:
        x, y = self._paper(self.scene.plane.put(np.array([place])))[0].tolist()
        return x, y

    def _lines(self, role: str, lines: list[Array]) -> None:
        """Lines thinned, and put together where one goes on from the one before."""
        row: list[Point] = []
        # in a crowd one short stroke in each square millimetre is all that can be seen
        crowd: set[Point] | None = set() if len(lines) > CROWD else None
        for line in lines:
            points = [(x, y) for x, y in thinned(line * self.k + self.shift).tolist()]
            if len(points) < 2 or _extent(points) < THIN:
                points = [points[0], (points[0][0] + THIN, points[0][1])]  # too small to show, but there
            if row and abs(row[-1][0] - points[0][0]) + abs(row[-1][1] - points[0][1]) < 0.02:
                row += points[1:]
                continue
            self._stroke(role, row, crowd)
            row = points
        self._stroke(role, row, crowd)

    def _stroke(self, role: str, points: list[Point], crowd: set[Point] | None = None) -> None:
        if crowd is not None and len(points) > 1 and _extent(points) < 1.0:
            cell = (float(round(points[0][0])), float(round(points[0][1])))
            if cell in crowd:
                return
            crowd.add(cell)
        if len(points) > 1:
            self.picture.stroke(points, role)
            self._straights += len(points) - 1
            if self._straights <= DENSE:
                self.room.take_line(points, 0.3)

    def _left_out(self) -> dict[tuple[str, Reason], list[Point]]:
        """Dotted shapes of what was left out; where each kind can be lettered."""
        x0, y0, x1, y1 = self._paper(np.array(self.scene.box).reshape(2, 2)).ravel().tolist()
        frame = (x0, y0, x1, y1)
        kept: dict[tuple[str, Reason], dict[str | int, Point]] = {}  # one place for each entity
        for i, (shape, points) in enumerate(self.scene.shapes):
            places = kept.setdefault((shape.kind, shape.why), {})
            paper = self._paper(points)
            if len(paper) == 1:
                if holds(frame, paper[0]):
                    x, y = paper[0].tolist()
                    self._stroke("ignored", [(x - 0.8, y), (x + 0.8, y)])
                    self._stroke("ignored", [(x, y - 0.8), (x, y + 0.8)])
                    places.setdefault(shape.handle or i, (x, y))
                continue
            for part in (piece for once in passed_once(paper) for piece in clipped(once, frame)):
                line = [(x, y) for x, y in thinned(part).tolist()]
                if len(line) > 1:
                    self._stroke("ignored", line)
                    places.setdefault(shape.handle or i, max(line, key=lambda p: p[0] + p[1]))
        return {key: list(places.values()) for key, places in kept.items()}

    def _marks(self, placed: Sequence[LegendEntry]) -> None:
        left = MARKS
        for entry in placed:
            # errors about bends of one run: one mark will do, the bends themselves are drawn thick and dashed
            one = entry.severity == "error" and len(entry.runs) == 1
            for place in (entry.at, *(() if one else entry.also)):
                if place is None or left <= 0:
                    continue
                left -= 1
                x, y = self._at(place)
                mark_place(self.picture, _mark_of(entry), (x, y))
                self.room.take_text((x - 1.2, y - 1.2, x + 1.2, y + 1.2))

    def _numbers(self, placed: Sequence[LegendEntry]) -> None:
        """Numbers in rings, the word that must be seen beside them, and a leader to the place."""
        said = 0
        for entry in placed:
            at = self._at(entry.at or (0.0, 0.0, 0.0))
            word = entry.word if said < WORDS else ""
            said += bool(word)
            wide = max(text_width(in_unit(word, unit), NAME) for unit in ("mm", "in"))
            ring = 2 * RING * NUMBER + 0.6
            size = (ring + (wide + 0.8 if word else 0.0), ring)
            free = Wish(size, reach=_NUMBER_NEAR, crossing=inf)
            spot = self.room.beside([at], free) or self._on_lines(at, Wish(size))
            if spot is None:
                continue
            x, y = spot.box[0] + ring / 2, spot.middle[1]
            self._lead(spot, "dim")
            self.picture.label(entry.mark, (x, y - NUMBER / 2), NUMBER, "note", align="center", circled=True)
            if word:
                self.picture.label(word, (x + ring / 2 + 0.4, y - NAME / 2), NAME, "strong")

    def _ends(self, tubes: Sequence[Tube], lettered: bool) -> None:
        """Where each run starts (A) and stops (B); of many, a dot where it starts."""
        side = 2 * RING * END + 0.4
        if not lettered:
            for tube in tubes:
                x, y = self._at(tube.run.start)
                self.picture.fill([ring((x, y), DOT)], "end")
                self.room.take_text((x - DOT, y - DOT, x + DOT, y + DOT))
            return
        for tube in tubes:
            ends = [("A", tube.run.start)] if tube.run.closed else [("A", tube.run.start), ("B", tube.run.end)]
            for letter, place in ends:
                at = self._at(place)
                other = self._at(tube.run.end if letter == "A" else tube.run.start)
                # away from the other end, where the run itself does not lie
                away = float(np.degrees(np.arctan2(at[1] - other[1], at[0] - other[0])))
                spot = self._on_lines(at, Wish((side, side), away, 8.0))
                if spot is not None:
                    x, y = spot.middle
                    self.picture.label(letter, (x, y - END / 2), END, "end", align="center", boxed=True)
                    if spot.far > NEAR:  # else nobody takes it for another's
                        self._lead(spot, "end")

    def _names(self, tubes: Sequence[Tube], used: Container[str]) -> None:
        ways_of = []
        for tube in tubes:
            name = printable_line(tube.name)
            # on paper, that is: what runs toward the eye is short there
            ways = [(self._at(one.start), self._at(one.end)) for one in tube.run.centerline]
            ways_of.append((name if len(name) <= 28 else name[:27] + "…", ways))
        for one in place_names(self.room, ways_of, NAME, NEAR, used):
            down = np.radians(one.turn - 90.0)
            x, y = one.middle
            spot = (x + NAME / 2.0 * float(np.cos(down)), y + NAME / 2.0 * float(np.sin(down)))
            align = "left" if one.in_key else "center"
            self.picture.label(one.text, spot, NAME, "note", align=align, rotation=one.turn)
            if one.led_from is not None:
                self.picture.stroke(one.led_from, "dim")

    def _on_lines(self, at: Point, wish: Wish) -> LabelSpot | None:
        """A place clear of everything, else one that is clear of texts."""
        return self.room.beside([at], wish) or self.room.over_lines(at, wish)

    def _lead(self, spot: LabelSpot, role: str) -> None:
        """A thin line from a place to its label."""
        self.picture.stroke([spot.anchor, spot.end], role)
        self.room.take_line([spot.anchor, spot.end], 0.2)

    def _letters(self, entries: Sequence[LegendEntry], kept: dict[tuple[str, Reason], list[Point]]) -> None:
        for mark, key in ((entry.mark, entry.left) for entry in entries if entry.left and entry.mark):
            for place in kept.get(key, [])[:LETTERS]:
                spot = self._on_lines(place, Wish((2.2, 2.6), reach=8.0))
                if spot is not None:
                    x, y = spot.middle
                    self.picture.label(mark, (x, y - NAME / 2), NAME, "strong", align="center")

    def _label_no_run(self) -> None:
        text = "No tube was found in this drawing."
        x, y = (self.area[0] + self.area[2]) / 2, self.area[1] + 3.0
        self.picture.label(text, (x, y), 3.0, "strong", align="center")

    def _scale(self) -> None:
        """A bar of a round length, and which way the axes point, in the lower corners."""
        k = self.k if self.scene.plane.flat else self.k * ISOMETRIC
        wanted = 25.0 / k
        unit = 25.4 if self.display.unit == "in" else 1.0
        power = 10.0 ** np.floor(np.log10(wanted / unit))
        length = float(max(s for s in (1.0, 2.0, 5.0) if s * power * unit <= wanted * 1.0001) * power) * unit
        x, y = self.area[0] + 1.0, self.area[1] + 1.0
        bar = length * k
        self.picture.stroke([(x, y + 1.0), (x, y), (x + bar, y), (x + bar, y + 1.0)], "dim")
        words = self.display.each(lambda one: f"{length / (25.4 if one.unit == 'in' else 1.0):.4g} {one.unit}")
        words += "" if self.scene.plane.flat else " along an axis"
        self.picture.label(words, (x + bar + 1.5, y), 2.0, "note")
        self.room.take_text((x, y - 0.5, x + bar + 2.0 + text_width(in_unit(words, "mm"), 2.0), y + 3.0))
        center = (self.area[2] - 9.0, self.area[1] + 5.0)
        for names, (dx, dy) in apart(self.scene.plane.axes):
            tip = (center[0] + 4.0 * dx, center[1] + 4.0 * dy)
            self.picture.stroke([center, tip], "dim")
            spot = (center[0] + 5.8 * dx, center[1] + 5.8 * dy - 1.0)
            self.picture.label(names, spot, 2.0, "note", align="center")
        self.room.take_text((center[0] - 7.5, center[1] - 5.0, center[0] + 7.5, center[1] + 7.5))


def _mark_of(entry: LegendEntry) -> str:
    code = entry.finding.code if entry.finding else ""
    return {"healed-gap": "healed", "near-gap": "near"}.get(code, entry.severity)


def _extent(points: list[Point]) -> float:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return max(max(xs) - min(xs), max(ys) - min(ys))
