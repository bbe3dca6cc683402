"""Pictures of one run: the isometric with its bends called out, and the three views beside it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from converter.errors import OptionError
from converter.exporters.paper.figure import Box, Point
from converter.exporters.pictures.annotation import wide
from converter.exporters.pictures.hidden.cuts import end_words
from converter.exporters.pictures.picture import Picture
from converter.exporters.pictures.run.isometric import isometric_panel
from converter.exporters.pictures.run.parts import parts_of, picture_in_words
from converter.exporters.pictures.run.sketch import Sketches
from converter.exporters.pictures.run.three_views import views_panel
from converter.findings import Finding
from converter.model.run import Tube
from converter.quoting import quoted
from converter.shop.sections import describe
from converter.units import Display

if TYPE_CHECKING:
    from converter.joints.model import Joint

VIEWS = ("isometric", "front", "top", "right")
#: Left free around everything, mm.
_EDGE = 2.0


def run_picture(
    tube: Tube,
    display: Display,
    *,
    size: Point = (270.0, 180.0),
    findings: Sequence[Finding] = (),
    joints: Sequence[Joint] = (),
    views: Sequence[str] = VIEWS,
    fed_from: str = "A",
    least_text: float = 0.0,
    named: bool = True,
    sketches: Sketches | None = None,
) -> Picture:
    """A run in several views, with its name.

    Args:
        tube: the run with its metal.
        display: how lengths are written; `converter.units.BothUnits` keeps both. Its unit decides between
            first angle (mm) and third angle (in).
        size: width and height of the picture, mm; 60 by 40 at least to be legible.
        findings: what is said of it; bends that an error names are marked.
        joints: of its ends; round tubes are drawn cut to fit, and every cut end has a word.
        views: of `VIEWS`, in any order.
        fed_from: the end that goes first and has the arrow; bends keep the numbers of the table.
        least_text: least height of text, mm.
        named: whether its name stands above it.
        sketches: of its job, so that what other pictures have drawn already is not drawn again.

    Raises:
        OptionError: there is no view of a name, or none is asked for.
    """
    wanted = [name for name in VIEWS if name in views]
    if not wanted or set(views) - set(VIEWS):
        raise OptionError(f"The views of a tube are {', '.join(VIEWS)}, not {', '.join(views) or 'none'}.")
    panels = _PanelSource(tube, sketches or Sketches(), display, findings, joints, fed_from)
    what = f"Tube {quoted(tube.name)} in {len(wanted)} view{'s' if len(wanted) > 1 else ''}"
    picture = Picture(
        f"Tube {tube.name}", picture_in_words(tube, panels.parts, display, what, ends=panels.ends, fed_from=fed_from)
    )
    picture.reach((0.0, 0.0), size)
    height = max(least_text, text_height(size, len(wanted) > 1))
    frame = _headed(picture, tube, display, size, height, named=named)
    flat = [name for name in wanted if name != "isometric"]
    if not flat:
        picture.put(panels.isometric(frame, height, least_text), 0.0, 0.0)
        return _in_exact_size(picture, size)
    panels.look(wanted)
    if "isometric" in wanted:
        first, second = _halves(frame)
        picture.put(panels.isometric(first, height, least_text), 0.0, 0.0)
        frame = second
    picture.put(panels.views(frame, max(least_text, 0.9 * height), flat), 0.0, 0.0)
    return _in_exact_size(picture, size)


def isometric_picture(
    tube: Tube,
    display: Display,
    *,
    size: Point = (180.0, 120.0),
    findings: Sequence[Finding] = (),
    joints: Sequence[Joint] = (),
    fed_from: str = "A",
    least_text: float = 0.0,
    sketches: Sketches | None = None,
) -> Picture:
    """A run seen from one corner, its bends called out, its ends and the direction of feed marked.

    Args:
        tube: the run with its metal.
        display: how lengths are written; `converter.units.BothUnits` keeps both.
        size: width and height of the picture, mm.
        findings: what is said of it; bends that an error names are marked.
        joints: of its ends; round tubes are drawn cut to fit, and every cut end has a word.
        fed_from: the end that goes first and has the arrow; bends keep the numbers of the table.
        least_text: least height of text, mm.
        sketches: of its job, so that what other pictures have drawn already is not drawn again.
    """
    panels = _PanelSource(tube, sketches or Sketches(), display, findings, joints, fed_from)
    what = f"Isometric view of tube {quoted(tube.name)}"
    picture = Picture(
        f"Tube {tube.name}", picture_in_words(tube, panels.parts, display, what, ends=panels.ends, fed_from=fed_from)
    )
    picture.reach((0.0, 0.0), size)
    height = max(least_text, text_height(size, False))
    frame = _headed(picture, tube, display, size, height, named=False)
    picture.put(panels.isometric(frame, height, least_text), 0.0, 0.0)
    return _in_exact_size(picture, size)


class _PanelSource:
    """Draws a run, or takes what was drawn already of one that looks the same."""

    def __init__(
        self,
        tube: Tube,
        sketches: Sketches,
        display: Display,
        findings: Sequence[Finding],
        joints: Sequence[Joint],
        fed_from: str,
    ) -> None:
        self._sketches, self._display, self._fed_from = sketches, display, fed_from
        self._shape = sketches.shape(tube, joints)
        # in the place of the shape, which may be that of another run
        self.parts = parts_of(replace(self._shape.tube.run, name=tube.name), findings)
        self.ends = end_words(joints, tube)
        self._writing = (display, fed_from, *sorted(self.ends.items()), *(turn.wrong for turn in self.parts.turns))

    def look(self, names: Sequence[str]) -> None:
        """See `SketchShape.look`."""
        self._shape.look([self._shape.view(name) for name in names])

    def isometric(self, frame: Box, height: float, least: float = 0.0) -> Picture:
        """The isometric within a frame, with no text smaller than the least."""

        def draw() -> Picture:
            return isometric_panel(
                self._shape, self.parts, self._display, frame, height, self._fed_from, self.ends, least
            )

        return self._sketches.panel(self._shape, ("isometric", frame, height, least, self._writing), draw)

    def views(self, frame: Box, height: float, names: Sequence[str]) -> Picture:
        """Other views within a frame."""

        def draw() -> Picture:
            return views_panel(self._shape, self.parts, self._display, frame, height, names)

        return self._sketches.panel(self._shape, (*names, frame, height, self._writing), draw)


def isometric_scale(tube: Tube, size: Point, sketches: Sketches | None = None) -> float:
    """About how large a run comes out on an isometric picture of a size, mm of paper per mm."""
    shape = (sketches or Sketches()).shape(tube)
    x0, y0, x1, y1 = shape.bounds(shape.isometric)
    # room for what is written around it
    wide_, tall = 0.75 * size[0], 0.7 * size[1]
    return min(wide_ / max(x1 - x0, 1e-9), tall / max(y1 - y0, 1e-9))


def text_height(size: Point, several: bool) -> float:
    """Height of text for a picture of a size, mm."""
    return min(3.0, max(1.5, min(size[0] / (115.0 if several else 72.0), size[1] / (70.0 if several else 46.0))))


def _headed(picture: Picture, tube: Tube, display: Display, size: Point, height: float, *, named: bool) -> Box:
    """Writes the name above and the developed length below; returns what is left between them."""
    width, tall = size
    low, high = _EDGE, tall - _EDGE
    if named:
        big = 1.4 * height
        picture.label(fitted(tube.name, big, width - 2 * _EDGE), (_EDGE, high - big), big, "strong")
        high -= 2.0 * big
    unit = display.each(lambda one: "inches" if one.unit == "in" else "millimetres")
    words = [f"developed length {display.length(tube.run.table.developed_length)}"]
    if tube.section is not None:
        words.append(describe(tube.section, display))
    words.append(f"lengths in {unit}")
    foot = words[0]
    for word in words[1:]:
        if wide(f"{foot} · {word}", height) <= width - 2 * _EDGE:
            foot = f"{foot} · {word}"
    picture.label(foot, (_EDGE, low + 0.3 * height), height, "note")
    return _EDGE, low + 2.2 * height, width - _EDGE, high


def fitted(text: str, height: float, room: float) -> str:
    """A text on one line in bold, cut short with '…' to keep to a width."""
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if wide(text, height, bold=True) <= room:
        return text
    fitting = bisect_right(range(2, len(text)), room, key=lambda n: wide(text[:n].rstrip() + "…", height, bold=True))
    return text[: fitting + 1].rstrip() + "…"


def _halves(frame: Box) -> tuple[Box, Box]:
    """A frame cut in two: the isometric left of the views, or above them."""
    x0, y0, x1, y1 = frame
    if x1 - x0 >= y1 - y0:
        cut = x0 + 0.52 * (x1 - x0)
        return (x0, y0, cut - 1.5, y1), (cut + 1.5, y0, x1, y1)
    cut = y0 + 0.5 * (y1 - y0)
    return (x0, cut + 1.5, x1, y1), (x0, y0, x1, cut - 1.5)


def _in_exact_size(picture: Picture, size: Point) -> Picture:
    """The picture in exactly the size that was asked for: bounds of slanted texts are taken too wide."""
    picture.low, picture.high = (0.0, 0.0), size
    return picture
