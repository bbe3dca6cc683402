"""Full-size flat profiles as DXF: lay the bent tube on them and check it.

One figure per bend plane of each run: centerline, both edges of the tube, ticks at the
tangent points, bend numbers, angles, radii and straights, and where the stick ends at ends
that are cut to fit. docs/templates.md says how to read them.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass, replace
from math import atan2, ceil, cos, degrees, dist, radians, sin
from typing import TYPE_CHECKING

from converter.bending.setup.words import REFUSED, is_half
from converter.exporters.dxf.page import DxfPage, Layer
from converter.exporters.paper.figure import (
    LEADING,
    Figure,
    Point,
    block_size,
    scale_bar,
    text_height,
    text_width,
)
from converter.exporters.paper.room import Room, Wish
from converter.model.bends import BendTable
from converter.model.centerline import rebuild
from converter.model.curve import Arc, Line, Segment
from converter.model.run import Run, Tube
from converter.model.section import Section
from converter.progress import steps
from converter.tolerances import DEFAULT
from converter.units import Display
from converter.words import part_lines, part_title

if TYPE_CHECKING:
    from converter.exporters.files import OutputSet
    from converter.exporters.options import WriteOptions
    from converter.job import Job
    from converter.model.part import Part

#: mm; a long point nearer than this to the centerline's end is there
_LEAST_OFFSET = 0.01
#: a label stands no farther from what it belongs to, in heights of text
_FARTHEST = 60.0
#: chords that stand for one arc where labels keep clear of it
_MOST_CHORDS = 60
LAYERS = (
    Layer("centerline", 1, "CENTER"),
    Layer("tube-edge", 7),
    Layer("tangent-points", 5),
    Layer("ends", 94),
    Layer("long-points", 30, "DASHED"),
    Layer("labels", 7),
    Layer("leaders", 8),
    Layer("titles", 7),
    Layer("scale", 94),
)


def export(job: Job, out: OutputSet, options: WriteOptions) -> None:
    """Write ``stem-profile.dxf``: a row of figures per part, rows below one another."""
    page = DxfPage(job.display.unit, LAYERS)
    top = 0.0
    gap = 40.0
    bar = scale_bar(job.display, "scale")
    page.put(bar, 0.0, top - bar.high[1])
    top -= bar.high[1] - bar.low[1] + gap
    straight = [tube.name for tube in job.shown.tubes if not tube.run.table.bends]
    for part, setup in steps(job.shown.first_setups, "profiles"):
        tube = setup.tube
        reach = {end: cut.change for end, cut in setup.cuts.by_end.items()}
        refused = job.shown.refused_bends(part)
        pieces = flat_pieces(tube.run, tube.section)
        figures = [profile_figure(tube, piece, job.display, reach, part, refused) for piece in pieces]
        left = 0.0
        lowest = top
        for figure in figures:
            page.put(figure, left - figure.low[0], top - figure.high[1])
            left += figure.high[0] - figure.low[0] + gap
            lowest = min(lowest, top - (figure.high[1] - figure.low[1]))
        if figures:
            top = lowest - gap
    if straight:
        page.text("Straight, without a bend to check: " + ", ".join(straight), (0.0, top - 5.0), 5.0, "titles")
    page.save(out.path(f"{options.stem}-profile.dxf"))


def profile_figure(
    tube: Tube,
    piece: FlatPiece,
    display: Display,
    reach: Mapping[str, float] | None = None,
    part: Part | None = None,
    refused: Container[int] = (),
) -> Figure:
    """One flat piece with everything that is written beside it, in mm.

    Args:
        tube: the tube.
        piece: one of its flat pieces.
        display: how lengths are written.
        reach: for ends 'A' and 'B' that are cut to fit, how far their long points lie past the centerline's end,
            mm (negative: before it): there the bent stick ends.
        part: that it serves; its title and all its tubes are named.
        refused: numbers of the bends that are not to be made as drawn.
    """
    figure = Figure()
    height = text_height(None if tube.section is None else tube.section.od)
    half = 0.0 if piece.size is None else piece.size / 2.0
    segments = piece.segments
    for segment in segments:
        _draw_tube(figure, segment, half)
    around = 1.5 * _FARTHEST * height
    (x0, y0), (x1, y1) = figure.low, figure.high
    room = Room(0.6 * height, (x0 - around, y0 - around, x1 + around, y1 + around))
    for segment in segments:
        _take_tube(room, segment, half, height)
    for point, direction in _joints(segments):
        _tick(figure, point, direction, half, height)
    _long_points(figure, room, piece, segments, half, height, reach or {})
    _label_ends(figure, room, piece, segments, half, height)
    _label_bends(figure, room, piece, segments, half, height, display)
    _label_straights(figure, room, segments, half, height, display)
    lines = _title(tube, piece, display, part)
    lines += [f"Bend {n} {REFUSED}." for n in range(piece.first, piece.last + 1) if n in refused]
    top = figure.high[1] + 1.5 * height
    _, tall = block_size(lines[1:], height)
    figure.text(lines[0], (figure.low[0], top + tall + height), 1.5 * height, "titles")
    figure.block(lines[1:], (figure.low[0], top + tall), height, "titles")
    return figure


def rotation_sentences(rotation: float, bend: int, display: Display) -> list[str]:
    """The rotation of a bend's plane from the one before, in words: what turns, which way, seen from where."""
    size = display.angle(abs(rotation))
    if is_half(rotation):
        return [f"Before bend {bend} the bend plane rotates half round ({size})."]
    plane, tube = ("clockwise", "counter-clockwise") if rotation > 0 else ("counter-clockwise", "clockwise")
    return [
        f"Before bend {bend} the bend plane rotates {size} {plane}, seen from end A toward end B.",
        f"In a fixed bender turn the tube {size} {tube}, seen the same way.",
    ]


def _title(tube: Tube, piece: FlatPiece, display: Display, part: Part | None) -> list[str]:
    count = len(tube.run.table.bends)
    which = f"bend {piece.first}" if piece.first == piece.last else f"bends {piece.first} to {piece.last}"
    name, *about = (tube.name,) if part is None else (part_title(part), *part_lines(part)[1:])
    lines = [f"{name}: {which} of {count}, flat profile, full size", *about]
    if tube.section is None:
        lines.append("Section unknown: the edges of the tube are left out.")
    else:
        label = f", {tube.section.label}" if tube.section.label else ""
        lines.append(f"{tube.section.kind.size_name} {display.length(piece.size or 0.0)}{label}")
    if piece.at_a:
        lines.append("The first bend plane: rotations are counted from it.")
    else:
        lines += rotation_sentences(piece.rotation, piece.first, display)
    lines.append(f"Seen with bend {piece.first} turning left on the way from end A.")
    return lines


def _draw_tube(figure: Figure, segment: Segment, half: float) -> None:
    if isinstance(segment, Line):
        a, b = segment.start[:2], segment.end[:2]
        d = segment.direction
        figure.line(a, b, "centerline")
        if half:
            for side in (half, -half):
                figure.line(
                    (a[0] - d[1] * side, a[1] + d[0] * side), (b[0] - d[1] * side, b[1] + d[0] * side), "tube-edge"
                )
        return
    center = segment.center[:2]
    first, last = _angles(segment)
    for radius, layer in (
        (segment.radius, "centerline"),
        (segment.radius + half, "tube-edge"),
        (segment.radius - half, "tube-edge"),
    ):
        # a bend tighter than half the tube has no inside edge
        if radius > 0.0 and (half or layer == "centerline"):
            figure.arc(center, radius, first, last, layer)


def _take_tube(room: Room, segment: Segment, half: float, height: float) -> None:
    """Keep labels off the metal, and half their height more."""
    if isinstance(segment, Line):
        room.take_line([segment.start[:2], segment.end[:2]], half + 0.5 * height)
        return
    steps = max(2, ceil(segment.length / max(half, 2.0 * height)), ceil(segment.angle / 20.0))
    steps = min(steps, _MOST_CHORDS)
    # nothing but for an arc of kilometres, whose chords leave it
    sagitta = segment.radius * (1.0 - cos(radians(segment.angle / steps) / 2.0)) if steps == _MOST_CHORDS else 0.0
    points = [segment.point(segment.angle * i / steps)[:2] for i in range(steps + 1)]
    room.take_line(points, half + 0.5 * height + sagitta)


def _angles(arc: Arc) -> tuple[float, float]:
    """Start and end angle in degrees, counter-clockwise, of an arc in the xy plane."""
    from_point = arc.start if arc.normal[2] > 0.0 else arc.end
    start = degrees(atan2(from_point[1] - arc.center[1], from_point[0] - arc.center[0]))
    return start, start + arc.angle


def _directions(segment: Segment) -> tuple[Point, Point]:
    if isinstance(segment, Line):
        return segment.direction[:2], segment.direction[:2]
    return segment.start_direction[:2], segment.end_direction[:2]


def _joints(segments: tuple[Segment, ...]) -> list[tuple[Point, Point]]:
    """(point, direction) of every tangent point: both ends of every arc, each once."""
    joints: list[tuple[Point, Point]] = []
    for i, segment in enumerate(segments):
        if not isinstance(segment, Arc):
            continue
        start, end = _directions(segment)
        if i == 0 or not isinstance(segments[i - 1], Arc):
            joints.append((segment.start[:2], start))
        joints.append((segment.end[:2], end))
    return joints


def _tick(figure: Figure, point: Point, d: Point, half: float, height: float) -> None:
    """Short ticks across both edges and the centerline."""
    n = (-d[1], d[0])
    reach = 0.45 * height
    for offset in (0.0, half, -half) if half else (0.0,):
        low, high = offset - reach, offset + reach
        figure.line(
            (point[0] + n[0] * low, point[1] + n[1] * low),
            (point[0] + n[0] * high, point[1] + n[1] * high),
            "tangent-points",
        )


def _label_ends(
    figure: Figure, room: Room, piece: FlatPiece, segments: tuple[Segment, ...], half: float, height: float
) -> None:
    before = "end A" if piece.at_a else f"to bend {piece.first - 1}"
    after = "end B" if piece.at_b else f"to bend {piece.last + 1}"
    start, end = _directions(segments[0])[0], _directions(segments[-1])[1]
    ends = (
        (segments[0].start[:2], (-start[0], -start[1]), before, piece.at_a),
        (segments[-1].end[:2], end, after, piece.at_b),
    )
    for point, out, text, cut in ends:
        n = (-out[1], out[0])
        reach = half + (0.9 if cut else 0.45) * height
        figure.line(
            (point[0] - n[0] * reach, point[1] - n[1] * reach),
            (point[0] + n[0] * reach, point[1] + n[1] * reach),
            "ends",
        )
        room.take_line(
            [(point[0] - n[0] * reach, point[1] - n[1] * reach), (point[0] + n[0] * reach, point[1] + n[1] * reach)]
        )
        _side_label(figure, room, [text], point, degrees(atan2(out[1], out[0])), height, 0.0)


def _long_points(
    figure: Figure,
    room: Room,
    piece: FlatPiece,
    segments: tuple[Segment, ...],
    half: float,
    height: float,
    reach: Mapping[str, float],
) -> None:
    """A dashed line across where the bent stick ends; none where that is the centerline's end itself."""
    start, end = _directions(segments[0])[0], _directions(segments[-1])[1]
    ends = (
        ("A", piece.at_a, segments[0].start[:2], (-start[0], -start[1])),
        ("B", piece.at_b, segments[-1].end[:2], end),
    )
    for name, here, point, out in ends:
        past = reach.get(name, 0.0)
        if not here or abs(past) <= _LEAST_OFFSET:
            continue
        at = (point[0] + out[0] * past, point[1] + out[1] * past)
        n = (-out[1], out[0])
        across = half + 0.9 * height
        low = (at[0] - n[0] * across, at[1] - n[1] * across)
        high = (at[0] + n[0] * across, at[1] + n[1] * across)
        figure.line(low, high, "long-points")
        room.take_line([low, high])
        _side_label(figure, room, ["long point", f"end {name}"], high, degrees(atan2(n[1], n[0])), height, height)


def _label_bends(
    figure: Figure,
    room: Room,
    piece: FlatPiece,
    segments: tuple[Segment, ...],
    half: float,
    height: float,
    display: Display,
) -> None:
    arcs = iter([s for s in segments if isinstance(s, Arc)])
    corners = iter(_corners(piece.table))
    for number, bend in enumerate(piece.table.bends, start=piece.first):
        lines = [f"bend {number}", display.angle(bend.angle)]
        if bend.clr is None:
            lines.append("sharp corner")
            point, out = next(corners)
            edge = half
        else:
            lines.append(f"CLR {display.number(bend.clr)}")
            arc = next(arcs)
            middle = arc.point(arc.angle / 2.0)
            point = middle[:2]
            out = degrees(atan2(middle[1] - arc.center[1], middle[0] - arc.center[0]))
            edge = half
        a = radians(out)
        anchor = (point[0] + edge * cos(a), point[1] + edge * sin(a))
        _side_label(figure, room, lines, anchor, out, height, height)


def _corners(table: BendTable) -> list[tuple[Point, float]]:
    """(point, direction in degrees away from the inside) of every sharp corner of a flat table that leaves along +x.

    Walked along the table: a corner may stand beside an arc or another corner without a straight between.
    """
    corners = []
    x = y = heading = 0.0
    left = 1.0
    for i, bend in enumerate(table.bends):
        if i and abs(bend.rotation) > 90.0:
            left = -left
        x, y = x + bend.feed * cos(heading), y + bend.feed * sin(heading)
        after = heading + left * radians(bend.angle)
        if bend.clr is None:
            out = atan2(sin(heading) - sin(after), cos(heading) - cos(after))
            corners.append(((x, y), degrees(out)))
        else:
            x += left * bend.clr * (sin(after) - sin(heading))
            y += left * bend.clr * (cos(heading) - cos(after))
        heading = after
    return corners


def _label_straights(
    figure: Figure, room: Room, segments: tuple[Segment, ...], half: float, height: float, display: Display
) -> None:
    for segment in segments:
        if not isinstance(segment, Line):
            continue
        text = display.number(segment.length)
        d = segment.direction
        turn = degrees(atan2(d[1], d[0]))
        if turn > 90.0 + 1e-9 or turn <= -90.0 + 1e-9:
            turn += 180.0
        middle = ((segment.start[0] + segment.end[0]) / 2.0, (segment.start[1] + segment.end[1]) / 2.0)
        up = (-sin(radians(turn)), cos(radians(turn)))
        if text_width(text, height) + 2.0 * height < segment.length and (not half or half > 2.0 * height):
            # inside the tube, above its centerline
            at = (middle[0] + up[0] * 0.5 * height, middle[1] + up[1] * 0.5 * height)
            figure.text(text, at, height, "labels", "center", turn)
        else:
            anchor = (middle[0] + up[0] * half, middle[1] + up[1] * half)
            _side_label(figure, room, [text], anchor, turn + 90.0, height, height)


def _side_label(
    figure: Figure, room: Room, lines: list[str], anchor: Point, toward: float, height: float, leader: float
) -> None:
    """Lines of text where there is room beside an anchor, with a leader when that is further than ``leader`` mm."""
    size = block_size(lines, height)
    wish = Wish(size, toward, _FARTHEST * height, 0.6 * height, 1.2 * height, crossing=3.0 * height)
    spot = room.beside([anchor], wish) or room.over_lines(anchor, wish)
    (x, y), end = (anchor, anchor) if spot is None else (spot.middle, spot.end)
    for i, line in enumerate(lines):
        figure.text(line, (x, y + size[1] / 2.0 - height - i * LEADING * height), height, "labels", "center")
    if leader and dist(anchor, end) > 1.4 * leader:
        figure.line(anchor, end, "leaders")
        room.take_line([anchor, end])


# --- flat pieces of a tube --------------------------------------------------------------------
# Consecutive bends that share one plane: a rotation of 0 or 180 keeps it, any other begins the next piece. Each piece
# is laid into the xy plane with its first bend turning left, from the straight before its first bend to the straight
# after its last one.


@dataclass(frozen=True, slots=True)
class FlatPiece:
    """Bends ``first`` to ``last`` (1-based) of a run, in one plane.

    Attributes:
        first, last: numbers of its bends.
        rotation: degrees by which its plane is rolled from the one before; 0 for the first piece.
        table: its bends, rotations exactly 0 or 180; the tail is the straight after its last bend.
        size: outside size of the tube in this plane in mm, or None when no section is known.
        at_a, at_b: whether it begins at end A, ends at end B.
    """

    first: int
    last: int
    rotation: float
    table: BendTable
    size: float | None
    at_a: bool
    at_b: bool

    @property
    def segments(self) -> tuple[Segment, ...]:
        """Straights and arcs in the xy plane, from the origin along +x."""
        return rebuild(self.table)


def flat_pieces(run: Run, section: Section | None, tolerance: float = DEFAULT.tangent) -> list[FlatPiece]:
    """The flat pieces of a run in order; none for a straight.

    Args:
        run: the run.
        section: its section, or None.
        tolerance: degrees by which a rotation may miss 0 or 180 and still count as flat.
    """
    bends, straights = run.table.bends, run.table.straights
    starts = [0]
    for i, bend in enumerate(bends[1:], start=1):
        off = abs(bend.rotation)
        if min(off, 180.0 - off) > tolerance:
            starts.append(i)
    pieces = []
    roll = 0.0
    for start, stop in zip(starts, [*starts[1:], len(bends)], strict=True):
        if not bends:
            break
        rows = []
        for i in range(start, stop):
            if i:
                roll += bends[i].rotation
            flat = 0.0 if i == start or abs(bends[i].rotation) < 90.0 else 180.0
            rows.append(replace(bends[i], rotation=flat))
        rotation = bends[start].rotation if start else 0.0
        table = BendTable(tuple(rows), straights[stop])
        size = None if section is None else section.size_in_plane(roll)
        pieces.append(FlatPiece(start + 1, stop, rotation, table, size, start == 0, stop == len(bends)))
    return pieces
