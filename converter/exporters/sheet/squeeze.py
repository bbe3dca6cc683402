"""Pictures made small for a page that holds hundreds: the same lines in fewer characters.

What every picture says of itself (fonts, the rule of filling) stands in the page's style once.
"""

from __future__ import annotations

import re
from functools import lru_cache
from math import hypot

#: Paths are written in whole steps of which so many make a millimetre of paper.
GRID = 25
#: Corners and radius of the dot that a leader begins with, mm of paper.
DOT = (12, 0.45)
#: A text that is nothing but one choice of the page's table of texts is the choice itself.
_WHOLE_LABEL = re.compile(r"><tspan n=([^>]+)>([^<]*)</tspan></text>")
_PATH = re.compile(r' d="([^"]*)"')
_STROKE = re.compile(r'<path class="(r-[a-z]+)" d="([^"]*)"/>')
_REPEATED_ATTRIBUTES = re.compile(
    r' xmlns="http://www.w3.org/2000/svg"| version="1.1"| font-family="[^"]*"| fill-rule="evenodd"|'
    r'(?<=<svg) width="[^"]*mm" height="[^"]*mm"'
)
_FILL = re.compile(r'<path class="f-([a-z]+)" fill-rule="evenodd" d="(M[^M"]*z)"/>')
_GROUND = re.compile(r'<circle class="f-ground" ([^>]*)/>')
_RING = re.compile(r'<circle class="r-([a-z]+)" style="stroke-dasharray:none;stroke-width:.3" ([^>]*)/>')
_TEXT = re.compile(
    r'<text (class="[a-z-]+") (x="[-\d.]+" y="[-\d.]+") '
    r'(font-size="[\d.]+"(?: text-anchor="[a-z]+")?(?: font-weight="bold")?)( transform="[^"]*")?>(.*)</text>'
)


def squeezed(svg: str) -> str:
    """The same picture, lines of one look in one path, texts of one look in one group, steps instead of places.

    What stands on something else stays on it: shapes come first, then lines, rings and boxes, and texts last.

    Args:
        svg: as `converter.exporters.pictures.written.svg` writes it: a part on each line, paths of ``Mx,y x,y ...z``
            with two decimals.
    """
    lines = _rings(svg.split("\n"))
    strokes: dict[str, str] = {}
    texts: dict[tuple[str, str], list[str]] = {}
    dots: dict[str, str] = {}
    out: list[str] = []
    for line in lines:
        if stroke := _STROKE.fullmatch(line):
            strokes[stroke[1]] = strokes.get(stroke[1], "") + stroke[2]
        elif text := _TEXT.fullmatch(line):
            texts.setdefault((text[1], text[3]), []).append(f"<text {text[2]}{text[4] or ''}>{text[5]}</text>")
        elif fill := _FILL.fullmatch(line):
            if at := _dot(fill[2]):
                dots[fill[1]] = dots.get(fill[1], "") + at
                continue
            head, shape = f'<path class="f-{fill[1]} all" d="', _one_way_round(fill[2])
            # shapes of one look that follow each other cover together what they cover one by one
            if out[-1].startswith(head):
                out[-1] = f'{out[-1][:-3]}{shape}"/>'
            else:
                out.append(f'{head}{shape}"/>')
        elif line == "</svg>" or line.startswith(("<circle", "<rect")):
            # lines lie over shapes and below what is written
            out += [f'<path class="{look}" d="{path}"/>' for look, path in strokes.items()]
            out += [f'<path class="dot r-{look}" d="{path}"/>' for look, path in dots.items()]
            strokes, dots = {}, {}
            out.append(line)
        else:
            out.append(line)
    groups = [
        f"<g {look} {how}>{''.join(own)}</g>" if len(own) > 1 else own[0].replace("<text", f"<text {look} {how}", 1)
        for (look, how), own in texts.items()
    ]
    out[-1:] = [*groups, out[-1]]
    steps = _PATH.sub(lambda match: f' d="{_steps(match[1])}"', "\n".join(_on_grid(out)))
    return _WHOLE_LABEL.sub(r" n=\1>\2</text>", _REPEATED_ATTRIBUTES.sub("", steps))


def _rings(lines: list[str]) -> list[str]:
    """A ring and the ground that is laid under it, the line before, as one."""
    out: list[str] = []
    for line in lines:
        ring, ground = _RING.fullmatch(line), _GROUND.fullmatch(out[-1]) if out else None
        if ring and ground and ring[2] == ground[1]:
            out[-1] = f'<circle class="ring r-{ring[1]}" {ring[2]}/>'
        else:
            out.append(line)
    return out


def _on_grid(lines: list[str]) -> list[str]:
    """Paths that follow each other in a group of the scale in which they are written."""
    out: list[str] = []
    inside = False
    for line in lines:
        path = line.startswith("<path")
        if path != inside:
            out.append(f'<g class="grid" transform="scale({1.0 / GRID:g})">' if path else "</g>")
            inside = path
        out.append(line)
    return out


def _points(path: str) -> list[tuple[float, float]]:
    pairs = (pair.split(",") for pair in path.removeprefix("M").removesuffix("z").split())
    return [(float(x), float(y)) for x, y in pairs]


def _one_way_round(path: str) -> str:
    """The same closed shape, run through so that its area is positive: shapes that overlap then make no hole."""
    points = _points(path)
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True))
    if area >= 0.0:
        return path
    return f"M{' '.join(f'{x:g},{y:g}' for x, y in reversed(points))}z"


def _dot(path: str) -> str:
    """A line of no length with round ends, for a small even polygon; '' for any other shape."""
    if path.count(",") != DOT[0]:
        return ""
    points = _points(path)
    x, y = (sum(axis) / len(points) for axis in zip(*points, strict=True))
    if any(abs(hypot(p - x, q - y) - DOT[1]) > 0.02 for p, q in points):
        return ""
    return f"M{x:.2f},{y:.2f} {x:.2f},{y:.2f}"


def _steps(path: str) -> str:
    """``M1,2 1.5,2.5z`` as ``M50 100l25 25z``: counted on the grid, so that steps do not add up to an error."""
    out = []
    for part in path.split("M"):
        if not part:
            continue
        closed = part.endswith("z")
        x, y, *rest = map(_on_steps, part.rstrip("z").replace(",", " ").split())
        out.append(f"M{_joined([x, y])}")
        steps: list[int] = []
        for p, q in zip(rest[::2], rest[1::2], strict=True):
            # what the grid brings together is one point
            if p != x or q != y:
                steps += [p - x, q - y]
            x, y = p, q
        if rest and not steps:
            steps = [0, 0]  # but a dot is a line of no length
        if steps:
            out.append(f"l{_joined(steps)}")
        if closed:
            out.append("z")
    return "".join(out)


@lru_cache(maxsize=1 << 16)
def _on_steps(number: str) -> int:
    """A written number of mm in steps of the grid; most numbers of a picture are those of another."""
    return round(float(number) * GRID)


def _joined(numbers: list[int]) -> str:
    """Numbers with no more between them than a reader of paths needs: a sign separates."""
    return " ".join(map(str, numbers)).replace(" -", "-")
