"""The strip of a stick template, for DXF and PDF alike: what is wrapped around the stick, at full size, in mm.

x runs along the stick from end A as finished (trimmed), y up from the lower edge; the printed side faces out. Seen so,
with end A at the left, clocks count down the sheet. Labels stand on the strip itself, since what is beside it is cut
off, and keep off its lines; one that finds no place is left out, and the tables beside the strip tell it.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import atan2, ceil, degrees, floor

from converter.exporters.paper.figure import Figure, Point, text_width
from converter.exporters.paper.labels import CLEAR, FigureLabels, along_level, beside_upright, grid, spots
from converter.exporters.paper.stick import StickBend, StickTemplate, Strip
from converter.exporters.paper.wraps import Around
from converter.units import Display
from converter.words import cut_to

CUT, COPE, TRIM, END, EDGE = "cut", "cope-cut", "trim", "centerline-ends", "sheet-edge"
MARK, BEGIN, STOP = "die-marks", "tangent-start", "tangent-end"
OUTSIDE, INSIDE, FACES, CLOCK, CLOSING = "outside-line", "inside-line", "face-edges", "clock-scale", "closing-marks"
LABELS, SCALE = "labels", "scale"

#: mm; a centerline that ends nearer than this to the cut ends there.
LEAST_OFFSET = 0.01
#: Heights of labels on the strip, mm: 7.5 pt type has capitals of 1.93 mm.
_LEAST_TEXT, _MOST_TEXT = 2.0, 3.5
#: Closing marks: how far apart along the strip (a multiple on a very long one) and how far they reach either way, mm;
#: about how many there are at most.
_CLOSING_STEP, _CLOSING_ARM, _MOST_CLOSING = 50.0, 3.0, 400


def label_height(od: float | None) -> float:
    """Height of labels on the strip of a tube, mm."""
    return 3.0 if od is None else min(_MOST_TEXT, max(_LEAST_TEXT, 0.08 * od))


def strip_figure(stick: StickTemplate, strip: Strip, height: float) -> Figure:
    """Everything that is wrapped around the stick but its labels, and the scale of clocks at its left.

    Args:
        stick: its numbers.
        strip: the paper around it.
        height: of its labels, mm.
    """
    figure = Figure()
    _lines(figure, stick, strip)
    if strip.around is not None:
        _clock_scale(figure, strip, min(stick.ends[0], stick.cuts.change("A")) - 1.0, height)
    return figure


def label_strip(
    figure: Figure,
    stick: StickTemplate,
    strip: Strip,
    height: float,
    display: Display,
    besides: Iterable[tuple[Point, Point]] = (),
) -> None:
    """Write labels on the strip, within the bounds that it has.

    Args:
        figure: of `strip_figure`, with the same stick, strip and height.
        stick, strip, height: see there.
        display: how lengths are shown.
        besides: lines that will be drawn over it, which labels keep off.
    """
    left, right = stick.ends
    labels = FigureLabels(figure, (left, 0.0, right, strip.height), besides)
    _label_marks(labels, stick, strip, height, display)
    _label_ends(labels, stick, strip, height, display)
    _label_tangents(labels, stick, strip, height)
    if strip.around is not None:
        _label_backs(labels, stick, strip, height)
        _label_faces(labels, stick, strip, strip.around, height)


def _lines(figure: Figure, stick: StickTemplate, strip: Strip) -> None:
    total = strip.height
    left, right = stick.ends
    if strip.around is not None:
        for clock in face_edges(strip.around):
            figure.line((left, strip.y(clock)), (right, strip.y(clock)), FACES)
    for y in (0.0, total):
        figure.line((left, y), (right, y), EDGE)
        step = _CLOSING_STEP * max(1, ceil((right - left) / (_CLOSING_STEP * _MOST_CLOSING)))
        for k in range(ceil(left / step), floor(right / step) + 1):
            x = k * step
            figure.line((x, y - _CLOSING_ARM), (x, y + _CLOSING_ARM), CLOSING)
    for bend in stick.bends:
        for x, layer in ((bend.begin, BEGIN), (bend.end, STOP)):
            figure.line((x, 0.0), (x, total), layer)
        if strip.around is not None:
            for clock, layer in ((bend.clock, OUTSIDE), (bend.clock + 180.0, INSIDE)):
                for y in heights(strip, clock):
                    figure.line((bend.begin, y), (bend.end, y), layer)
    for bend in stick.bends:
        if bend.mark is not None:
            figure.line((bend.mark, 0.0), (bend.mark, total), MARK)
    for end, x, extra in (("A", 0.0, stick.extra_a), ("B", stick.length, stick.extra_b)):
        if extra:
            figure.line((x, 0.0), (x, total), TRIM)
        reach = stick.cuts.change(end)
        if abs(reach) > LEAST_OFFSET:  # else the end of the stick is there
            at = reach if end == "A" else stick.length - reach
            figure.line((at, -CLEAR), (at, total + CLEAR), END)
    for x in (left, right):
        figure.line((x, 0.0), (x, total), CUT)
    for cope in stick.copes:
        figure.curve(list(zip(cope.along.tolist(), strip.ys(cope.clocks).tolist(), strict=True)), COPE)


def heights(strip: Strip, clock: float) -> list[float]:
    """Where the line at a clock lies: twice, at both edges, for the zero line."""
    y = strip.y(clock)
    if min(y, strip.height - y) < 1e-6:
        return [strip.height, 0.0]
    return [y]


def _label_marks(labels: FigureLabels, stick: StickTemplate, strip: Strip, height: float, display: Display) -> None:
    for bend in stick.bends:
        if bend.mark is None or bend.step is None:
            continue
        short = f"die mark {bend.number}"
        number = display.number(bend.step.mark)
        wordings = (f"{short}: {number} from end {stick.feed_from} as cut", f"{short}: {number}", short)
        ahead = stick.feed_from == "A"  # the mark lies ahead of the bend
        labels.put(wordings, height, LABELS, beside_upright(bend.mark, strip.height, height, left_first=ahead))


def _label_ends(labels: FigureLabels, stick: StickTemplate, strip: Strip, height: float, display: Display) -> None:
    left, right = stick.ends
    for end, x, finished, extra in (
        ("A", left, 0.0, stick.extra_a),
        ("B", right, stick.length, stick.extra_b),
    ):
        first = ", goes first" if end == stick.feed_from and stick.set_up else ""
        inner = beside_upright(x, strip.height, height, left_first=end == "B")
        labels.put((f"end {end} of the stick{first}", f"end {end}{first}", f"end {end}", end), height, LABELS, inner)
        if extra:
            trim = beside_upright(finished, strip.height, height, left_first=end == "A")
            words = f"{display.number(extra)} extra, trim after bending"
            labels.put((words, "trim after bending", "trim"), height, LABELS, trim)
        reach = stick.cuts.change(end)
        if abs(reach) > LEAST_OFFSET and left < (at := reach if end == "A" else stick.length - reach) < right:
            line = beside_upright(at, strip.height, height, left_first=end == "B")
            labels.put(("centerline's end", "centerline"), height, LABELS, line)
    for cope in stick.copes:
        wordings = (f"end {cope.end}, {cut_to(cope.joint)}: cut after bending", f"cut of end {cope.end}, after bending")
        low, high = float(cope.along.min()), float(cope.along.max())
        # on the metal that stays, just clear of the short point
        half = 0.5 * max(text_width(words, height) for words in wordings[1:])
        span = (high, high + 4.0 * height) if cope.end == "A" else (low - 4.0 * height, low)
        places = [((x, y), "center", 90.0) for x, y in grid((span[0], half), (span[1], strip.height - half), height)]
        labels.put((*wordings, f"cut {cope.end}"), height, LABELS, places if cope.end == "A" else places[::-1])


def _label_tangents(labels: FigureLabels, stick: StickTemplate, strip: Strip, height: float) -> None:
    for bend in stick.bends:
        n = bend.number
        if bend.end - bend.begin < 1e-9:
            places = beside_upright(bend.begin, strip.height, height, left_first=True)
            labels.put((f"corner {n}, no radius", f"corner {n}", str(n)), height, LABELS, places)
            continue
        for x, inward in ((bend.begin, False), (bend.end, True)):
            places = beside_upright(x, strip.height, height, left_first=inward)
            labels.put((f"tangent point, bend {n}", f"tangent {n}", f"T{n}"), height, LABELS, places)


def _label_backs(labels: FigureLabels, stick: StickTemplate, strip: Strip, height: float) -> None:
    for bend in stick.bends:
        for clock, words, short in (
            (bend.clock, f"outside of bend {bend.number}", f"out {bend.number}"),
            (bend.clock + 180.0, f"inside of bend {bend.number}", f"in {bend.number}"),
        ):
            places = [p for y in heights(strip, clock) for p in _within(bend, y, short, height)]
            labels.put((words, short), height, LABELS, places)


def _within(bend: StickBend, y: float, short: str, height: float) -> list[tuple[Point, str, float]]:
    half = text_width(short, height) / 2.0
    if bend.end - bend.begin < 2.0 * half:
        return []
    return along_level(y, bend.begin + half, bend.end - half, height)


def _label_faces(labels: FigureLabels, stick: StickTemplate, strip: Strip, around: Around, height: float) -> None:
    """The number of each flat, near end A, counted from the one at the zero line."""
    left, right = stick.ends
    for number, clock in enumerate(flats(around), 1):
        words = f"face {number}"
        half = text_width(words, height) / 2.0
        ys = [strip.y(clock) + shift for shift in (0.0, -1.5 * height, 1.5 * height)]
        if clock == 0.0:
            ys = [strip.height - 2.0 * height, height]
        xs = sorted(spots(left + half, max(right - half, left + half), 40))
        labels.put((words,), height, LABELS, [((x, y - height / 2.0), "center", 0.0) for x in xs for y in ys])


def flats(around: Around) -> list[float]:
    """Clocks of the middles of its flat faces; none of a circle."""
    a, b, r = around.outline.halves
    first = [0.0] if b - r > 1e-9 else []
    second = [90.0] if a - r > 1e-9 else []
    return [*first, *second, *(clock + 180.0 for clock in (*first, *second))]


def face_edges(around: Around) -> list[float]:
    """Clocks at which flat faces end, ascending; none of a circle."""
    a, b, r = around.outline.halves
    quarter = {degrees(atan2(b - r, a))} if b - r > 1e-9 else set()
    if a - r > 1e-9:
        quarter.add(degrees(atan2(b, a - r)))
    every = {angle for one in quarter for angle in (one, 180.0 - one, 180.0 + one, 360.0 - one)}
    return sorted(every)


def _clock_scale(figure: Figure, strip: Strip, right: float, height: float) -> None:
    """Ticks around beside end A, and the arrow that shows which way they count."""
    step = next((step for step in (45, 90, 180) if strip.height * step / 360.0 > 1.6 * height), 360)
    for clock in range(0, 361, step):
        y = 0.0 if clock == 360 else strip.y(clock)
        figure.line((right, y), (right - 0.9 * height, y), CLOCK)
        figure.text(f"{clock}°", (right - 1.2 * height, y), height, CLOCK, "middle right")
    x = right - 5.5 * height
    top, bottom = 0.8 * strip.height, 0.2 * strip.height
    figure.line((x, top), (x, bottom), CLOCK)
    for side in (-0.4, 0.4):
        figure.line((x, bottom), (x + side * height, min(bottom + height, top)), CLOCK)
    for words in ("clockwise, seen from end A toward end B", "clockwise, from A to B", "+"):
        if text_width(words, height) <= strip.height:
            figure.text(words, (x - 0.9 * height, strip.height / 2.0), height, CLOCK, "center", 90.0)
            break
