"""The centerlines of tubes that were drawn by their outline, in place of their sides."""

from __future__ import annotations

from cmath import exp
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import radians, sqrt

from converter.errors import GeometryError
from converter.geometry.vectors import sub, unit, within_half_turn, within_turn
from converter.model.curve import Arc, Line
from converter.model.drawing import DrawnCurve, DrawnEnd
from converter.model.section import Section
from converter.reducer.outlines.pieces import Sheet, SheetPiece, bearing, sheets
from converter.reducer.outlines.tubes import OutlinedTube, outlined_tubes
from converter.tolerances import DEFAULT

#: Sides that stand in different places by less than this (mm) are rounding; sizes are told without it.
_DECIMALS = 4


@dataclass(frozen=True, slots=True)
class OutlinesRead:
    """A drawing with centerlines in place of outlines.

    Attributes:
        curves: centerlines with their sections, and what belongs to no outline, in drawn order.
        tubes: how many outlines were read.
        sizes: outside size, mm, and how many tubes have it; the most frequent first.
        gone: curves that were sides, caps or what lies between the sides: as what, and which.
        left: how many curves belong to no outline.
    """

    curves: list[DrawnCurve]
    tubes: int
    sizes: tuple[tuple[float, int], ...]
    gone: tuple[tuple[str, DrawnCurve], ...]
    left: int


#: What a curve that became no run is.
SIDE, CAP, BORE, CENTERLINE, ACROSS = "side", "cap", "bore", "centerline", "across"
#: Why a curve of an outline is no run.
WHY = {
    SIDE: "a side of a tube's outline, read as its centerline",
    CAP: "it closes the end of a tube's outline",
    BORE: "the bore within a tube's outline",
    CENTERLINE: "the centerline within a tube's outline, which gives the same",
    ACROSS: "it runs across a tube's outline",
}


def centerlines(curves: Sequence[DrawnCurve]) -> OutlinesRead:
    """Curves with the centerline of every tube that is drawn by its outline in place of that.

    A centerline is halfway between the two sides; an end of it lies halfway between where they end, so that a slanted
    end is met in its middle, or further on, where it runs into what closes that end (a point, a dome). Its section is
    round, as wide as the outline, with the wall of a bore that is drawn; without one it is a bar. Tubes do not join
    where their outlines touch.

    Args:
        curves: as drawn, mm; those of one plane belong together.
    """
    placed: list[tuple[int, DrawnCurve]] = []
    sizes: Counter[float] = Counter()
    role: dict[int, str] = {}  # of curves that nothing is left of
    broken: dict[int, list[DrawnCurve]] = {}
    for number, as_drawn in enumerate(sheets(curves)):
        pieces, tubes = outlined_tubes(as_drawn.pieces)
        sheet = replace(as_drawn, pieces=tuple(pieces))
        used = _roles(sheet, tubes)
        for k, tube in enumerate(tubes):
            group = f"outline {number}.{k}"
            sizes[round(tube.width, _DECIMALS)] += 1
            for first, curve, ends in _centerline(sheet, tube):
                drawn = replace(curves[sheet.owner[first]], curve=curve, group=group, section=_section(tube), ends=ends)
                placed.append((sheet.owner[first], drawn))
        of_curve: dict[int, list[int]] = {}
        for i, owner in enumerate(sheet.owner):
            of_curve.setdefault(owner, []).append(i)
        for owner, parts in of_curve.items():
            known = [used[i] for i in parts if i in used]
            if known:
                role[owner] = known[0]
                rest = [i for i in parts if i not in used]
                broken[owner] = [replace(curves[owner], curve=_as_curve(sheet, sheet.primitives[i])) for i in rest]
    out = list(placed)
    left = 0
    for index, drawn in enumerate(curves):
        kept = broken.get(index, []) if index in role else [drawn]
        left += len(kept)
        out += [(index, one) for one in kept]
    out.sort(key=lambda item: item[0])
    return OutlinesRead(
        [drawn for _, drawn in out],
        sum(sizes.values()),
        tuple(sorted(sizes.items(), key=lambda item: (-item[1], item[0]))),
        tuple((what, curves[index]) for index, what in sorted(role.items())),
        left,
    )


def _roles(sheet: Sheet, tubes: Sequence[OutlinedTube]) -> dict[int, str]:
    """What primitives are, those that belong to an outline."""
    role: dict[int, str] = {}

    def give(pieces: Iterator[int] | Sequence[int], what: str) -> None:
        for piece in pieces:
            for part in sheet.pieces[piece].parts:
                role.setdefault(part, what)

    side_of: dict[int, set[int]] = {}
    for k, tube in enumerate(tubes):
        give(tube.sides, SIDE)
        give(tube.caps, CAP)
        give(tube.bore, BORE)
        give(tube.middle, CENTERLINE)
        for i in tube.sides:
            for node in (*sheet.pieces[i].nodes, *sheet.pieces[i].within):
                side_of.setdefault(node, set()).add(k)
    for piece in sheet.pieces:
        # a line across a tube, such as where a bend begins
        if not piece.turn and piece.parts[0] not in role:
            both = side_of.get(piece.nodes[0], set()) & side_of.get(piece.nodes[1], set())
            if any(abs(piece.length - tubes[k].width) <= 2.0 * DEFAULT.join for k in both):
                role.update(dict.fromkeys(piece.parts, ACROSS))
    return role


def _section(tube: OutlinedTube) -> Section | None:
    """Round, as wide as the outline; a bar where no bore tells the wall; None where no tube is like that."""
    width = round(tube.width, _DECIMALS)
    try:
        return Section("round", width, round(tube.wall, _DECIMALS)) if tube.wall else Section("bar", width, width / 2.0)
    except GeometryError:
        return None


def _centerline(
    sheet: Sheet, tube: OutlinedTube
) -> Iterator[tuple[int, Line | Arc, tuple[DrawnEnd | None, DrawnEnd | None]]]:
    """Straights and arcs halfway between the sides, each with the first primitive of its sides and the tube's ends."""
    at_first, at_last = (0, tube.pairs[0][1]), (len(tube.pairs) - 1, not tube.pairs[-1][1])
    for k, (pair, _) in enumerate(tube.pairs):
        a, b = sheet.pieces[pair.first], sheet.pieces[pair.second]
        b = b.reversed() if pair.against else b
        middle, ends = halfway(a, b), []
        for last in (False, True):
            drawn: DrawnEnd | None = None
            for place, caps in zip((at_first, at_last), tube.end_caps, strict=True):
                if place == (k, last) and not tube.closed:
                    middle, drawn = _ended(sheet, (a, b), middle, last, [sheet.pieces[i] for i in caps])
            ends.append(drawn)
        if middle.length > DEFAULT.equal:
            yield min(*a.parts, *b.parts), _as_curve(sheet, middle), (ends[0], ends[1])


def _ended(
    sheet: Sheet, sides: tuple[SheetPiece, SheetPiece], middle: SheetPiece, last: bool, caps: Sequence[SheetPiece]
) -> tuple[SheetPiece, DrawnEnd | None]:
    """The piece between two sides, on to what closes its end or its start, and how the outline ends there.

    Args:
        sheet: where they lie.
        sides: both the same way.
        middle: halfway between them.
        last: its end, else its start.
        caps: what closes it, if anything does.
    """
    p, q = (side.end if last else side.start for side in sides)
    at, out = (middle.end if last else middle.start), middle.outward(last)
    corners = [(z - at) / out for cap in caps for z in (cap.start, cap.middle, cap.end)]
    ahead = [((p - at) / out).real, ((q - at) / out).real, *(z.real for z in corners)]
    if max(map(abs, ahead)) <= DEFAULT.join:
        return middle, None
    along = (q - p) / abs(q - p)
    in_line = not middle.turn and all(abs((z * out / along).imag) <= DEFAULT.join for z in corners)
    if in_line:
        normal = along * (1j if (1j * along / out).real > 0.0 else -1j)
        return middle, DrawnEnd(unit(sub(sheet.plane.place(normal), sheet.plane.place(0j))), max(ahead))
    on = 0.0 if middle.turn else max((0.0, *_crossings(at, out, caps)))
    if on > DEFAULT.join:
        middle = replace(middle, end=at + on * out) if last else replace(middle, start=at + on * out)
    return middle, DrawnEnd(None, max(max(ahead) - on, 0.0))


def _crossings(at: complex, out: complex, caps: Sequence[SheetPiece]) -> Iterator[float]:
    """How far along a ray it meets pieces, mm, those behind its start below 0."""
    for cap in caps:
        start, end = (cap.start - at) / out, (cap.end - at) / out
        if not cap.turn:
            if start.imag * end.imag <= 0.0 and start.imag != end.imag:
                yield start.real - start.imag * (end.real - start.real) / (end.imag - start.imag)
            continue
        center = (cap.center - at) / out
        if abs(center.imag) >= cap.radius:
            continue
        for side in (-1.0, 1.0):
            met = center.real + side * sqrt(cap.radius * cap.radius - center.imag * center.imag)
            turn = bearing((met - center) / (start - center)) * (1.0 if cap.turn > 0.0 else -1.0)
            if within_turn(turn) <= abs(cap.turn):
                yield met


def halfway(a: SheetPiece, b: SheetPiece) -> SheetPiece:
    """The piece halfway between two that run side by side, the same way."""
    if not a.turn:
        return SheetPiece((a.start + b.start) / 2.0, (a.end + b.end) / 2.0)
    center, radius = (a.center + b.center) / 2.0, (a.radius + b.radius) / 2.0
    if a.is_circle:
        start = center + radius
        return SheetPiece(start, start, center, radius, 360.0 if a.turn > 0.0 else -360.0)
    first = bearing(a.start - a.center)
    first += within_half_turn(bearing((b.start - b.center) / (a.start - a.center))) / 2.0
    turn = (a.turn + b.turn) / 2.0
    start, end = (center + radius * exp(1j * radians(angle)) for angle in (first, first + turn))
    return SheetPiece(start, end, center, radius, turn)


def _as_curve(sheet: Sheet, piece: SheetPiece) -> Line | Arc:
    plane = sheet.plane
    start, end = plane.place(piece.start), plane.place(piece.end)
    if not piece.turn:
        return Line(start, end)
    x, y, z = plane.normal
    normal = (x, y, z) if piece.turn > 0.0 else (-x, -y, -z)
    return Arc(plane.place(piece.center), normal, piece.radius, start, end, abs(piece.turn))
