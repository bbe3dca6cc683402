"""Sections as people write them: ``1.75x0.120in``, ``NPS 1-1/4 sch 40``, ``1.5x1.5x0.083in``, ``25mm bar``.

The word may tell the shape: ``flat-oval 60x30x2mm``.

Rules of the writing, in one place:

* Sizes come first, the wall last, with ``x`` between; two sizes and a wall are square or
  rectangular tube. Of a rectangle's sizes the first lies across the bend (along the normal of
  the first bend plane), the second in the plane of the first bend.
* A number without a unit takes the next unit written after it; failing that, the last before it;
  failing that, the caller's default. So a unit at the end goes for all.
* ``ga`` is the Birmingham wire gauge (BWG), the common practice for tube (no source).
* Square and rectangular tube without a corner radius (``r0.125in``) gets an outside corner of two
  walls: the middle of what is sold (ASTM A500 allows up to 3 walls, ASTM A513 mechanical tube of
  this size 0.94 to 1.5 walls).
* What words name a shape, how many sizes it takes and what they mean, the shape says
  (`converter.model.section`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from converter.errors import ElbowroomError, GeometryError, OptionError, UnitsError
from converter.model.section import SHAPES, Section, Shape, shape_of_size
from converter.quoting import quoted
from converter.shop.pipe import DN, Pipe, nominal, pipe
from converter.units import MM_PER, Display, parse_length, unit_name

#: Birmingham wire gauge -> inches (Machinery's Handbook, from memory; a test compares with a reference library).
BWG: dict[int, float] = {
    7: 0.180, 8: 0.165, 9: 0.148, 10: 0.134, 11: 0.120, 12: 0.109, 13: 0.095, 14: 0.083, 15: 0.072, 16: 0.065,
    17: 0.058, 18: 0.049, 19: 0.042, 20: 0.035, 21: 0.032, 22: 0.028, 23: 0.025, 24: 0.022,
}  # fmt: skip

_LONGEST = 120  # characters; a section is never longer, and patterns stay quick
_PIPES = "write NPS 1-1/4 sch 40 or NPS 2 XS"
_HOW = "write 1.75x0.120in, 1.5x1.5x0.083in, NPS 1-1/4 sch 40 or 25mm bar"

_NPS = r"(?:\d{1,2}[ -]+\d{1,2}/\d{1,2}|\d{1,2}/\d{1,2}|\d{0,2}\.\d{1,3}|\d{1,2})"
_SCHEDULE = (
    r"(?:(?:sch(?:edule|ed)?\.?[\s_-]*)(?P<sch>\d{1,3}s?|std|xxs|xs)|(?P<name>std|xxs|xs|\d{1,2}s)\b"
    r"|s(?P<short>\d{2,3}))"
)
_PIPE = re.compile(
    rf"(?:(?P<word>nps|pipe|dn)(?:[\s_]++|-)?)?(?P<size>{_NPS})(?:\s*+(?P<inch>in\b\.?|inch\b|\"))?"
    rf"[\s_,-]*+(?:pipe[\s_,-]*+)?{_SCHEDULE}(?:[\s_-]*+pipe)?"
)
_CORNER = re.compile(
    r"(?<![\s,;])[\s,;]++(?:corner(?:\s++radius)?|radius|r)\s*+(?:[=:]\s*+)?(?P<radius>[\d.+-].*)", re.DOTALL
)
#: Groups of a regular expression have no dashes in their names, shapes may.
_GROUPS = {name.replace("-", "_"): shape for name, shape in SHAPES.items()}
_SHAPE_WORDS = "|".join(f"(?P<{group}>{shape.name_pattern})" for group, shape in _GROUPS.items())
_WORDS = re.compile(
    rf"(?<![a-z])(?:{_SHAPE_WORDS}|tubing|tube|[crs]hs|hss|dom|erw|o\.?d\.?|wall|wt|thk|thick|diameter|dia)(?![a-z])\.?"
)
_GAUGE = re.compile(r"(?P<number>\d{1,2})\s*(?:ga|gage|gauge|bwg)\.?\Z")
_BEFORE_GAUGE = re.compile(r"(?<=[^\sx])\s+(?=\d{1,2}\s*(?:ga|gage|gauge|bwg)\b)")
_OWN_UNIT = re.compile(r"(?<![^\d\s/+-])\.*+(?P<unit>[^\d\s./+-][^\d\s/+-]*+)\s*+\Z")

_LAYER_NUMBER = r"(?:\d+[ -]\d+/\d+|\d+/\d+|\d*\.\d+|\d+)"
_LAYER_UNIT = r"(?:inch|in|mm|cm|\"|'')"
_LAYER_SIZE = re.compile(
    rf"(?<![a-z\d.,/]){_LAYER_NUMBER}[ _]?{_LAYER_UNIT}?(?:[ _]?x[ _]?{_LAYER_NUMBER}[ _]?{_LAYER_UNIT}?){{1,2}}"
    r"(?![a-z0-9.,/])(?![ _]?x[ _]?[\d.])"
)
_LAYER_LENGTH = rf"{_LAYER_NUMBER}[ _]?{_LAYER_UNIT}"
_LAYER_BAR = re.compile(
    rf"(?:(?<![a-z])(?:solid[ _-](?:round[ _-])?(?:bar[ _-])?|round[ _-]bar[ _-])|\Abar[ _-])"
    rf"(?P<after>{_LAYER_LENGTH})(?![a-z0-9.,/]|[ _]?x[ _]?[\d.])"
    rf"|(?<![a-z\d.,/])(?<!x)(?<!x[ _])(?P<before>{_LAYER_LENGTH})"
    r"[ _-]?(?:solid[ _-](?:round[ _-])?|round[ _-])?bar(?![a-z])"
)
#: Words of the shapes that sizes alone do not tell.
_SHAPE_NAMES = re.compile(
    "|".join(rf"(?<![a-z]){s.name_pattern}(?![a-z])" for s in SHAPES.values() if not s.known_by_size)
)
_LAYER_PIPE = re.compile(rf"(?<![a-z0-9.,/]){_PIPE.pattern}(?![a-z0-9/])")
_NOT_TUBE = re.compile(r"(?<![a-z])(?:plates?|flat|flatbar|sheet|angle|grid|holes?|slots?|board|paper)(?![a-z])")

#: mm; sizes that differ by no more are one, written to four decimals.
_SAME = 1e-3

#: A size in a layer's name must look like tube: between 4 and 200 walls across.
_LAYER_WALLS = (4.0, 200.0)


def parse_section(text: str, default_unit: str = "mm") -> Section:
    """The section that a text such as ``1.75x0.120in`` or ``NPS 2 XS`` names; see the module for the rules.

    Args:
        text: what a person wrote.
        default_unit: unit of numbers when the text names none at all.

    Raises:
        OptionError: it is not a section, or an impossible one (no wall, a wall past the middle, ...).
        UnitsError: ``default_unit`` or a unit in the text is unknown.
    """
    try:
        return _read(text, default_unit)
    except UnitsError as error:
        is_unit = error.code == "unknown-unit"
        message = f"{quoted(text)} is not a section: {_cure(text, default_unit, error if is_unit else None)}"
        if is_unit:
            raise UnitsError(message, code=error.code) from error
        raise OptionError(message) from error
    except (GeometryError, OptionError) as error:
        raise OptionError(f"{quoted(text)} is not a section: {_lower_first(error.message)}") from error


def _read(text: str, default_unit: str) -> Section:
    """The section of a text.

    Raises:
        GeometryError, OptionError, UnitsError: it is none; the message goes on after "is not a section".
    """
    if not isinstance(text, str) or not text.strip() or len(text) > _LONGEST:
        raise OptionError(f"{_HOW}.")
    tidy = _tidy(text)
    if tidy.startswith(("nps", "pipe", "dn")) or "sch" in tidy or _PIPE.fullmatch(tidy):
        return _pipe_section(_pipe(tidy))
    found = _CORNER.search(tidy)
    corner = found["radius"].strip() if found else None
    if found:
        tidy = tidy[: found.start()]
    named = {match.lastgroup for match in _WORDS.finditer(tidy)}
    parts = [part.strip() for part in _BEFORE_GAUGE.sub(" x ", _WORDS.sub(" ", tidy)).strip().split("x")]
    sizes, radius = _lengths(parts, corner, unit_name(default_unit))
    return _shaped(sizes, [shape for group, shape in _GROUPS.items() if group in named], radius)


def _cure(text: str, default_unit: str, reason: UnitsError | None) -> str:
    """What to write for a text that is no section; ``reason`` says what else is wrong with it, where that is known."""
    tidy = _tidy(text)
    other = _NOT_TUBE.search(_SHAPE_NAMES.sub(" ", tidy))
    if other:
        return f"it is no tube and no bar but {quoted(other[0])}."
    if re.search(r"(?<![a-z])pipe(?![a-z])", tidy):
        return f"a pipe is named by its size and schedule: {_PIPES}."
    with_points = re.sub(r"(?<=\d),(?=\d)", ".", tidy)
    if with_points != tidy and _is_section(with_points, default_unit):
        return f"write a point for the comma, {quoted(with_points)}."
    first, _, after = re.sub(r"[ :]+", " ", tidy).partition(" ")
    before, _, last = re.sub(r"[ :]+", " ", tidy).rpartition(" ")
    for size, rest in ((after, first), (before, last)):
        if size and _is_section(size, default_unit):
            return f"write {quoted(size)} without {quoted(rest)}; a metal or a layer is named apart from it."
    return reason.message if reason else f"{_HOW}."


def _is_section(text: str, default_unit: str) -> bool:
    try:
        _read(text, default_unit)
    except ElbowroomError:
        return False
    return True


def _pipe_section(size: Pipe) -> Section:
    """The section of a pipe, in mm, labelled with its nominal size and schedule."""
    return Section("round", size.od * 25.4, size.wall * 25.4, label=size.label)


def section_from_layer(name: str | None) -> Section | None:
    """The section whose size is written in a layer's name, or None.

    Careful on purpose: ``TUBE_1.75x0.120in``, ``frame 1.5x1.5x.083 in``, ``NPS 1-1/4 sch 40 rail``,
    ``25x2mm``, ``25mm bar`` and ``solid 25mm`` are sizes; ``Layer 10x20`` (no unit), ``M8x1.25mm`` (a thread),
    ``plate 100x10mm`` and ``50x25mm`` (no tube has such a wall) are not. Two different sizes in one
    name give None.
    """
    plausible = _sections_in(name, None) if name else set()
    return plausible.pop() if len(plausible) == 1 else None


def sections_in(text: str, unit: str) -> set[Section]:
    """The sections that a line of a note or a layer's name seems to tell, with units or without.

    As `section_from_layer`, of which this is the less careful half: to ask about, not to work with. Words such as
    ``OD`` and ``wall`` may stand between the numbers.

    Args:
        text: as it stands there.
        unit: of numbers that have none.
    """
    found = _sections_in(text, None) or _sections_in(text, unit) or _sections_in(_WORDS.sub(" ", _tidy(text)), unit)
    whole: list[Section] = []
    if not found and not _NOT_TUBE.search(_tidy(text)):
        _keep(whole, text, unit)
    return found or {section for section in whole if section.bore is not None and _like_tube(section)}


def _sections_in(text: str, unit: str | None) -> set[Section]:
    """The sections that look like tube in a text; sizes without a unit are none where ``unit`` is None."""
    if len(text) > 4 * _LONGEST:
        return set()
    tidy = _tidy(text)
    untold = _SHAPE_NAMES.search(tidy)
    tidy, word = _SHAPE_NAMES.sub(" ", tidy), f" {untold[0]}" if untold else ""
    found: list[Section] = []
    for match in _LAYER_PIPE.finditer(tidy):
        if match["word"] or match["sch"]:
            _keep(found, match[0].replace("_", " "), unit)
    if not found and not _NOT_TUBE.search(tidy):
        for match in _LAYER_BAR.finditer(tidy):
            _keep(found, f"{(match['after'] or match['before']).replace('_', ' ')} bar", unit)
        for match in _LAYER_SIZE.finditer(re.sub(r" +", " ", tidy)):
            if unit is not None or re.search(_LAYER_UNIT, match[0]):
                _keep(found, match[0].replace("_", " ") + word, unit)
    return {section for section in found if section.bore is None or _like_tube(section)}


def describe(section: Section, display: Display | None = None) -> str:
    """A section in words: ``1.750 x 0.120 in tube``, ``NPS 2 XS (2.375 x 0.218 in)``, ``25.00 mm bar``.

    Sizes are decimals even where lengths are shown as fractions (walls are not fractions).
    """
    return section.words(display or Display())


def typed(section: Section, unit: str = "mm") -> str:
    """A section as text that `parse_section` reads back to the same sizes: ``44.45x3.048mm tube``; in mm or in."""
    if section.label and parse_section(section.label).is_same_size(section, _SAME):
        return section.label
    decimals = 4 if unit == "mm" else 6  # to 0.0001 mm

    def number(size: float) -> str:
        return f"{size / MM_PER[unit]:.{decimals}f}".rstrip("0").rstrip(".")

    sizes = "x".join(map(number, section.kind.sides(section.sizes)))
    corner = f" r{number(section.corner)}{unit}" if section.kind.known_by_size and section.corner else ""
    return f"{sizes}{unit} {section.kind.noun}{corner}"


def _tidy(text: str) -> str:
    """Lower case, one kind of quote and times sign, no diameter signs."""
    text = (
        text.strip()
        .lower()
        .replace("×", "x")
        .replace("*", "x")
        .replace("∅", "")
        .replace("⌀", "")
        .replace("ø", "")
        .replace("\t", " ")
    )
    return re.sub(r"[″”“]|''", '"', text)


def _lower_first(message: str) -> str:
    return message[:1].lower() + message[1:].rstrip(".") + "."


def _pipe(tidy: str) -> Pipe:
    match = _PIPE.fullmatch(tidy)
    if not match:
        raise OptionError(f"it is no pipe size with its schedule: {_PIPES}.")
    schedule = match["sch"] or match["name"] or match["short"]
    if match["word"] != "dn":
        return pipe(nominal(match["size"]), schedule)
    known = DN.get(int(match["size"])) if match["size"].isdigit() else None
    if known is None or match["inch"]:
        raise OptionError(f"There is no pipe size DN {match['size']}: the sizes known are {', '.join(map(str, DN))}.")
    return pipe(known, schedule)


def _lengths(parts: list[str], corner: str | None, default_unit: str) -> tuple[list[float], float | None]:
    """The numbers of a section in mm: sizes and wall in order, and the corner radius."""
    texts = [*parts, corner] if corner is not None else parts
    units = [None if _GAUGE.search(text) else _OWN_UNIT.search(text) for text in texts]
    named = [unit_name(match["unit"]) if match else None for match in units]
    for i in range(len(named) - 2, -1, -1):
        named[i] = named[i] or named[i + 1]
    for i in range(1, len(named)):
        named[i] = named[i] or named[i - 1]
    values = []
    for text, unit in zip(texts, named, strict=True):
        gauge = _GAUGE.fullmatch(text)
        if gauge is None:
            values.append(parse_length(text, unit or default_unit))
        elif int(gauge["number"]) in BWG:
            values.append(BWG[int(gauge["number"])] * 25.4)
        else:
            raise OptionError(
                f"gauge {gauge['number']} is not a tube wall from 7 to 24 ga: write the wall as a length."
            )
    return (values[:-1], values[-1]) if corner is not None else (values, None)


def _shaped(values: list[float], named: list[Shape], corner: float | None) -> Section:
    """The section of sizes in mm, the wall last; the shape is what words name or, failing that, how many there are."""
    solid = next((shape for shape in named if not shape.hollow), None)
    if solid is not None:
        if any(shape.groove != solid.groove for shape in named):
            raise OptionError(solid.rule)
        bar = solid.read(values, 0.0, corner)
        _above_zero(bar.od, "size")
        return Section(*bar)
    if len(values) == 1:
        raise OptionError("it has no wall: write it as 1.75x0.120in, or as a bar.")
    if len(values) > 3:
        raise OptionError("it has more than two sizes and a wall.")
    *sides, wall = values
    for side in sides:
        _above_zero(side, "size")
    _above_zero(wall, "wall")
    if wall > max(sides):
        raise OptionError("the wall is larger than the size: write the outside size first, the wall last.")
    for shape in named:
        if len(sides) not in shape.counts or shape.groove != named[0].groove:
            raise OptionError(shape.rule)
    shape = named[0] if named else shape_of_size(len(sides))
    return Section(*shape.read(sides, wall, corner))


def _above_zero(value: float, what: str) -> float:
    if value <= 0.0:
        raise OptionError(f"its {what} must be above zero.")
    return value


def _keep(found: list[Section], text: str, unit: str | None) -> None:
    """Adds the section that a piece of a layer's name gives, if it gives one."""
    try:
        found.append(_read(text, unit or "mm"))
    except ElbowroomError:  # an impossible size in a name is simply not a size
        return


def _like_tube(section: Section) -> bool:
    least, most = _LAYER_WALLS
    return bool(section.label) or least <= section.smaller / section.wall <= most


def sections_of(texts: Sequence[str], unit: str) -> tuple[Section | None, dict[str, Section]]:
    """Default section and section per layer from ``SIZE`` and ``LAYER=SIZE``; a layer's name may hold '='.

    Args:
        texts: as typed.
        unit: of bare numbers.

    Raises:
        OptionError, UnitsError: a text is no section, or names no layer before the '='.
    """
    default: Section | None = None
    per_layer: dict[str, Section] = {}
    for text in texts:
        layer, found, size = text.rpartition("=")
        if not found:
            default = parse_section(text, unit)
        elif layer.strip():
            per_layer[layer.strip()] = parse_section(size, unit)
        else:
            raise OptionError(f"{quoted(text)} names no layer before the '=': write LAYER=1.75x0.120in.")
    return default, per_layer
