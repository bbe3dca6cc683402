"""Where the names of tubes stand on a drawing as read: beside them, at the end of leaders, or in a key."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass
from itertools import islice
from math import atan2, degrees, dist, inf

from converter.exporters.paper.figure import Point
from converter.exporters.paper.room import LabelSpot, Room, Wish
from converter.exporters.pictures.annotation import wide

#: A straight or bend of a tube on paper, as its two ends.
Way = tuple[Point, Point]
#: So many ways of a tube are tried, the longest, and where on each, so far from its ends, mm.
_WAYS, _CLEAR, _SHARES = 4, 3.5, (0.5, 0.32, 0.68, 0.16, 0.84, 0.4, 0.6, 0.24, 0.76, 0.08, 0.92)
#: So near to its tube a name stands level, mm; else along it, or so far at the end of a leader; so far on a line.
_BESIDE, _LED, _ON_LINES = 5.0, 60.0, 20.0
#: Leaders that cross nothing are so long, mm, and those to letters; and what one may cost before there is a key, among
#: few names.
_LED_FREE, _LED_LETTER, _DEAR = 25.0, 14.0, 26.0
_FEW = 12
#: From row to row of the key, in heights of text; its columns at most; rows that it goes without to find room.
_ROW, _MOST_COLUMNS, _FEWER = 1.6, 4, 3
_ALPHABET = "abcdefghjkmnpqrstuv"


@dataclass(frozen=True, slots=True)
class PlacedName:
    """A text on paper.

    Attributes:
        text: a name, or what stands for it.
        middle: of its box; of a row of the key of its left edge.
        turn: degrees; 0 for one that stands level.
        led_from: the place on its tube that a leader comes from, and where it ends; None for a text that needs none.
        in_key: whether it is a row of the key.
    """

    text: str
    middle: Point
    turn: float = 0.0
    led_from: tuple[Point, Point] | None = None
    in_key: bool = False


def place_names(
    room: Room, ways_of: Sequence[tuple[str, Sequence[Way]]], height: float, near: float, used: Container[str] = ()
) -> list[PlacedName]:
    """Place names, in the order of how easily they are found; their room is then taken.

    Of a tube that others enclose, so that a leader would cross several of them, a letter stands beside it, and the name
    with that letter in a key where the picture is empty.

    Args:
        room: what is taken.
        ways_of: each name, with the straights and bends of its tube on paper.
        height: of the text, mm.
        near: a name nearer to its tube than this needs no leader, mm.
        used: letters that stand for something else in the picture.
    """
    put = _NamePlacement(room, height, near, used)
    left: list[tuple[str, Sequence[Way]]] = [
        (name, sorted(ways, key=lambda way: -dist(*way))[:_WAYS]) for name, ways in ways_of if ways and name
    ]
    left = [one for one in left if not put.beside(*one)]
    left = [one for one in left if not put.led(*one, _LED_FREE, inf)]
    if len(ways_of) <= _FEW:
        left = [one for one in left if not put.led(*one, _LED, dearest=_DEAR)]
    left = put.key(left)
    left = [one for one in left if not put.led(*one, _LED)]
    for name, ways in left:
        put.on_lines(name, ways)
    return put.placed


class _NamePlacement:
    """Names that have found their place, and what is still free."""

    def __init__(self, room: Room, height: float, near: float, used: Container[str]) -> None:
        self._room, self._height, self._near, self._used = room, height, near, used
        self.placed: list[PlacedName] = []

    def beside(self, name: str, ways: Sequence[Way]) -> bool:
        """A name level beside its tube, or along it."""
        if self.led(name, ways, _BESIDE, inf):
            return True
        for way in ways:
            if along := self._room.along(*way, self._size(name)):
                self.placed.append(PlacedName(name, *along))
                return True
        return False

    def led(self, name: str, ways: Sequence[Way], reach: float, crossing: float = 14.0, dearest: float = inf) -> bool:
        """A name at the end of a leader; see `converter.exporters.paper.room.Wish`."""
        wish = Wish(self._size(name), _across(*ways[0]), reach, crossing=crossing, dearest=dearest)
        return self._put(name, self._room.beside(_anchors(ways), wish))

    def on_lines(self, name: str, ways: Sequence[Way]) -> None:
        """A name near its tube on whatever lies there, but for other texts."""
        wish = Wish(self._size(name), _across(*ways[0]), _ON_LINES)
        self._put(name, self._room.over_lines(_anchors(ways)[0], wish))

    def key(self, names: Sequence[tuple[str, Sequence[Way]]]) -> list[tuple[str, Sequence[Way]]]:
        """Letters beside tubes, and a key that says their names; returns those that got none."""
        if not names:
            return []
        letters = _letters(len(names), self._used)
        step, first = _ROW * self._height, max(self._size(letter)[0] for letter in letters) + 0.5 * self._height
        across = first + max(self._size(name)[0] for name, _ in names)
        room = ((most, columns) for most in range(len(names), 0, -_FEWER) for columns in range(1, _MOST_COLUMNS + 1))
        for most, columns in room:
            rows = -(-most // columns)
            if corner := self._room.in_a_corner((columns * across, step * rows)):
                break
        else:
            return list(names)
        without, count = [], 0
        for name, ways in names:
            letter = letters[min(count, most - 1)]
            if count == most or not self.led(letter, ways, _LED_LETTER, inf):
                without.append((name, ways))
                continue
            x, y = corner[0] + across * (count // rows), corner[1] + step * (rows - count % rows - 0.5)
            self.placed += (PlacedName(letter, (x, y), in_key=True), PlacedName(name, (x + first, y), in_key=True))
            count += 1
        return without

    def _put(self, text: str, spot: LabelSpot | None) -> bool:
        """Keep a text where there is a place for it; whether there is."""
        if spot is None:
            return False
        leader = (spot.anchor, spot.end) if spot.far > self._near else None
        if leader:
            self._room.take_line(leader, 0.2)
        self.placed.append(PlacedName(text, spot.middle, led_from=leader))
        return True

    def _size(self, text: str) -> Point:
        return wide(text, self._height), 1.3 * self._height


def _anchors(ways: Sequence[Way]) -> list[Point]:
    """Places on ways, the middle of the first ahead, the others clear of what a way ends at."""
    found = []
    for i, ((x0, y0), (x1, y1)) in enumerate(ways):
        clear = _CLEAR / max(dist((x0, y0), (x1, y1)), 1e-9)
        shares = [share for share in _SHARES if clear < share < 1.0 - clear or (share == 0.5 and i == 0)]
        found += [(x0 + share * (x1 - x0), y0 + share * (y1 - y0)) for share in shares]
    return found


def _across(start: Point, end: Point) -> float:
    """The direction square to a way that points up, degrees."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    return degrees(atan2(abs(dx), -dy if dx > 0 else dy)) if dx or dy else 90.0


def _letters(count: int, used: Container[str]) -> list[str]:
    """``a``, ``b`` ... ``v``, ``aa``, ``ab``: not those of the axes, nor any that looks like a line or a ring."""
    every = (before + letter for before in ("", *_ALPHABET) for letter in _ALPHABET)
    return list(islice((letters for letters in every if letters not in used), count))
