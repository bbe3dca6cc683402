"""Pictures made small for a page that holds hundreds: the same lines in fewer characters.

What every picture says of itself (fonts, the rule of filling) stands in the page's style once (look.py).
"""

from __future__ import annotations

import re

_PATH = re.compile(r' d="([^"]*)"')
_STROKE = re.compile(r'<path class="(r-[a-z]+)" d="([^"]*)"/>')
_REPEATED_ATTRIBUTES = re.compile(
    r' xmlns="http://www.w3.org/2000/svg"| version="1.1"| font-family="[^"]*"| fill-rule="evenodd"|'
    r'(?<=<svg) width="[^"]*mm" height="[^"]*mm"'
)
_METRIC = re.compile(r'(<text class="[a-z-]+) u-mm("[^>]*>)([^<]*)</text>')
_INCH = re.compile(r'(<text class="[a-z-]+) u-in("[^>]*>)([^<]*)</text>')


def squeezed(svg: str) -> str:
    """The same picture with lines of one look joined into one path, and steps instead of places.

    Args:
        svg: as `converter.exporters.pictures.written.svg` writes it: a part on each line, paths of ``Mx,y x,y ...z``
            with two decimals.
    """
    out: list[str] = []
    look, lines = "", ""
    for line in svg.split("\n"):
        match = _STROKE.fullmatch(line)
        if match and match[1] == look:
            lines += match[2]
            continue
        if look:
            out.append(f'<path class="{look}" d="{lines}"/>')
            look = ""
        if match:
            look, lines = match[1], match[2]
        else:
            out.append(line)
    if look:
        out.append(f'<path class="{look}" d="{lines}"/>')
    steps = _PATH.sub(lambda match: f' d="{_steps(match[1])}"', "\n".join(_paired(out)))
    return _REPEATED_ATTRIBUTES.sub("", steps)


def _paired(parts: list[str]) -> list[str]:
    """A text in mm and the same place's text in inches become one, with a span for each."""
    out: list[str] = []
    for part in parts:
        inch, metric = _INCH.fullmatch(part), _METRIC.fullmatch(out[-1]) if out else None
        if inch and metric and inch.group(1, 2) == metric.group(1, 2):
            both = f'<tspan class="u-mm">{metric[3]}</tspan><tspan class="u-in">{inch[3]}</tspan>'
            out[-1] = f"{metric[1]}{metric[2]}{both}</text>"
        else:
            out.append(part)
    return out


def merged(metric: str, inch: str) -> str:
    """Two squeezed pictures of one thing, in mm and in inches, as one: what differs is shown in its unit only.

    Both must have as many parts, in the same order; else they stand one after the other.
    """
    left, right = metric.split("\n"), inch.split("\n")
    if len(left) != len(right):
        return f'<div class="u-mm">{metric}</div><div class="u-in">{inch}</div>'
    out = []
    for a, b in zip(left, right, strict=True):
        if a == b or not a.startswith(("<path", "<text", "<circle", "<rect")):
            out.append(a)
        else:
            out += [f'<g class="u-mm">{a}</g>', f'<g class="u-in">{b}</g>']
    return "\n".join(out)


def _steps(path: str) -> str:
    """``M1,2 1.5,2.5z`` as ``M1 2l.5.5z``: counted in hundredths, so that steps do not add up to an error."""
    out = []
    for part in path.split("M"):
        if not part:
            continue
        closed = part.endswith("z")
        points = [[round(float(v) * 100.0) for v in pair.split(",")] for pair in part.rstrip("z").split()]
        (x, y), rest = points[0], points[1:]
        out.append(f"M{_joined([x, y])}")
        steps = []
        for p, q in rest:
            steps += [p - x, q - y]
            x, y = p, q
        if steps:
            out.append(f"l{_joined(steps)}")
        if closed:
            out.append("z")
    return "".join(out)


def _joined(hundredths: list[int]) -> str:
    """Numbers with no more between them than a reader of paths needs."""
    out, last = "", ""
    for value in hundredths:
        sign, whole, rest = "-" if value < 0 else "", *divmod(abs(value), 100)
        fraction = f".{rest:02d}".rstrip("0") if rest else ""
        text = f"{sign}{whole if whole or not rest else ''}{fraction}"
        # a sign separates, and so does a point after a number that has one
        apart = not out or text[0] == "-" or (text[0] == "." and "." in last)
        out += text if apart else f" {text}"
        last = text
    return out
