"""Units that contradict the sizes they give: of a drawing's header, and of a section typed without its unit.

A header's unit is doubted where every bend is far wider or far tighter than the shop's dies make them, or, without
dies, than tube is bent; and where the same numbers in another unit would be usual. What the header's $MEASUREMENT says
is told beside it but is no reason by itself: general writers leave its default.

Centimetres and feet lie too near to inches for that. A header that names a unit in which tube is seldom drawn is
doubted where the sizes are merely unusual, where every radius is that of a die in another unit, and where the numbers
are those of inches: whole sixteenths, which in centimetres would be odd parts of a millimetre. Where nothing speaks
against it, what the drawing would be in mm and in inches is a note.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from converter.errors import ElbowroomError
from converter.findings import NOTE, Clause, Finding
from converter.model.drawing import Drawing, HeaderUnit
from converter.model.run import Run, Tube
from converter.shop.assign import die_names
from converter.shop.consistency import doubts, is_tube_size, metal_doubts
from converter.shop.load import example_doubts
from converter.shop.model import Die, Shop
from converter.shop.sections import parse_section
from converter.units import IMPERIAL, MM_PER, unit_word

#: The units that tube is drawn in, which a header is most often wrong between; and what else may be meant.
COMMON, OTHERS = ("mm", "in"), ("m", "cm", "ft")
#: A radius this many times beyond the dies is doubted. Common practice, no source: no shop leaves out that many sizes,
#: and of the 25.4 between the units it leaves 3.2 for dies that make none of the drawn radii.
TIMES = 8.0
#: How far beyond the dies a radius read in the other unit may lie and still be likelier.
FITS = 25.4 / TIMES
#: A bend's radius over its tube's size, least and most, without dies. Under a half the inside of the bend would turn
#: back on itself; the greatest, and those between which tube is usually bent: common practice, no source.
OF_SIZE, USUAL_OF_SIZE = (0.5, 40.0), (0.75, 12.0)
#: mm; radii of tube of no known size, and those usual. Common practice, no source: 5 mm is that of the smallest lines.
RADII, USUAL_RADII = (5.0, 1500.0), (12.0, 400.0)
#: mm; lengths of runs without any radius, and those usual. Common practice, no source: 50 m is eight bars.
LENGTHS, USUAL_LENGTHS = (40.0, 50_000.0), (100.0, 10_000.0)
#: A drawn radius is that of a die, to this part of it: catalogues round the inch's radii to whole millimetres.
ALIKE = 0.005
#: Drawing units: numbers as people type them in inches and in centimetres; how near to one counts, and so many tell.
SIXTEENTH, HALF_MILLIMETRE, AS_TYPED, TELLING = 1.0 / 16.0, 0.05, 1e-4, 2


@dataclass(frozen=True, slots=True)
class _Usual:
    """Within what radii of a tube, mm, its unit is not doubted, and within what the other unit is likelier."""

    variant: str
    least: float
    most: float
    fits: tuple[float, float]
    of: tuple[float, float] = (0.0, 0.0)


def unit_doubts(drawing: Drawing, tubes: Sequence[Tube], shop: Shop, sections: Iterable[str]) -> list[Finding]:
    """Units of the drawing, of sections as typed (``SIZE``, ``LAYER=SIZE``), of the shop file that contradict sizes.

    Dies of tubes that the shop file has only as the example it was begun with are doubted beside them.
    """
    typed = [text.rpartition("=")[2] for text in sections]
    return [
        *header_doubts(drawing.header, tubes, shop),
        *section_doubts(typed, drawing.read_as),
        *doubts(shop),
        *metal_doubts(shop),
        *example_doubts(shop, lambda name: any(name in die_names(tube, shop) for tube in tubes)),
    ]


def header_doubts(header: HeaderUnit | None, tubes: Sequence[Tube], shop: Shop) -> list[Finding]:
    """The doubt in the unit that a drawing's header names, or nothing.

    Args:
        header: what it says; None where it says nothing or a person said otherwise.
        tubes: of the drawing, read in that unit.
        shop: whose dies count, unless it is the demo shop or its own sizes are in doubt.
    """
    if header is None or not tubes:
        return []
    runs = [tube.drawn or tube.run for tube in tubes]
    bent = [(run, tube) for run, tube in zip(runs, tubes, strict=True) if _radii(run)]
    dies = () if shop.is_demo or doubts(shop) else shop.dies
    told = _of_radii(header, bent, dies) if bent else _of_lengths(header, runs)
    each = _with_dies(bent, dies)
    is_theirs = bool(dies and each) and all(_is_of_one(radius, own) for radius, own in each)
    if told is None and bent and dies:
        told = _of_dies(header, each)
    if told is None and not is_theirs and header.unit not in (*COMMON, shop.units):
        told = _of_digits(header, runs) or _of_unit(header, runs)
    return [] if told is None else [told]


def _radii(run: Run) -> list[tuple[float, float]]:
    """Least and greatest radius of each bend that has one, mm."""
    return [
        (bend.clr - bend.clr_uncertainty, bend.clr + bend.clr_uncertainty)
        for bend in run.table.bends
        if bend.clr is not None
    ]


def _usual(tube: Tube, owned: Sequence[Die], *, seldom: bool = False) -> _Usual:
    """What radii are usual of a tube: by the dies for its kind of section, else by its size, else of any tube.

    Of a unit that tube is ``seldom`` drawn in, whatever is unusual is doubted.
    """
    section = tube.section
    size = 0.0 if section is None else section.smaller
    radii = [die.clr for die in owned if section is None or not die.unlike(section)]
    if radii:
        least, most = min(radii), max(radii)
        tightest = max(least / TIMES, OF_SIZE[0] * size)
        fits = max(least / FITS, USUAL_OF_SIZE[0] * size), most * FITS
        return _Usual("dies", *(fits if seldom else (tightest, most * TIMES)), fits, (least, most))
    if section is None:
        return _Usual("radii", *(USUAL_RADII if seldom else RADII), USUAL_RADII)
    first, last = USUAL_OF_SIZE
    least, most = USUAL_OF_SIZE if seldom else OF_SIZE
    return _Usual("size", least * size, most * size, (first * size, last * size), (size, size))


def _of_radii(header: HeaderUnit, bent: Sequence[tuple[Run, Tube]], dies: Sequence[Die]) -> Finding | None:
    """The doubt where every radius of every tube is far too wide, or every one far too tight."""
    seldom = header.unit not in COMMON
    each = [(_radii(run), _usual(tube, dies, seldom=seldom)) for run, tube in bent]
    wide = all(low > usual.most for radii, usual in each for low, _ in radii)
    tight = all(high < usual.least for radii, usual in each for _, high in radii)
    if not wide and not tight:
        return None
    drawn = [(sum(pair) / 2.0, usual) for radii, usual in each for pair in radii]
    lengths = [run.table.developed_length for run, _ in bent]
    for other in _others(header.unit):
        k = MM_PER[other] / MM_PER[header.unit]
        fits = all(usual.fits[0] <= radius * k <= usual.fits[1] for radius, usual in drawn)
        if fits and LENGTHS[0] <= min(lengths) * k and max(lengths) * k <= LENGTHS[1]:
            least, most = min(radius for radius, _ in drawn), max(radius for radius, _ in drawn)
            variants = {usual.variant for _, usual in drawn}
            variant = variants.pop() if len(variants) == 1 else "radii"
            of = min(usual.of[0] for _, usual in drawn), max(usual.of[1] for _, usual in drawn)
            values = {"radii": _span(least, most), "of": _span(*of), "radii_other": _span(least * k, most * k)}
            how = "wide" if wide else "tight"
            return _doubt(header, other, variant, least if wide else most, {**values, "how": how})
    return None


def _of_lengths(header: HeaderUnit, runs: Sequence[Run]) -> Finding | None:
    """The doubt where no bend has a radius and every run is far too long, or every one, all bent, far too short."""
    lengths = [run.table.developed_length for run in runs]
    least, most = min(lengths), max(lengths)
    limits = LENGTHS if header.unit in COMMON else USUAL_LENGTHS
    long, short = least > limits[1], most < limits[0] and all(run.table.bends for run in runs)
    for other in _others(header.unit) if long or short else ():
        k = MM_PER[other] / MM_PER[header.unit]
        if USUAL_LENGTHS[0] <= least * k and most * k <= USUAL_LENGTHS[1]:
            values = {"lengths": _span(least, most), "lengths_other": _span(least * k, most * k)}
            return _doubt(header, other, "lengths", least if long else most, values)
    return None


def _with_dies(bent: Sequence[tuple[Run, Tube]], dies: Sequence[Die]) -> list[tuple[float, list[float]]]:
    """Each drawn radius, and the radii of the dies for its tube, mm."""
    return [
        (sum(pair) / 2.0, [die.clr for die in dies if tube.section is None or not die.unlike(tube.section)])
        for run, tube in bent
        for pair in _radii(run)
    ]


def _of_dies(header: HeaderUnit, each: Sequence[tuple[float, Sequence[float]]]) -> Finding | None:
    """The doubt where every radius is that of a die in another unit, and none in this one."""
    if any(_is_of_one(radius, own) for radius, own in each):
        return None
    for other in _others(header.unit):
        k = MM_PER[other] / MM_PER[header.unit]
        if all(_is_of_one(radius * k, own) for radius, own in each):
            least, most = min(radius for radius, _ in each), max(radius for radius, _ in each)
            values = {"radii": _span(least, most), "radii_other": _span(least * k, most * k)}
            return _doubt(header, other, "alike", least, values)
    return None


def _is_of_one(radius: float, radii: Sequence[float]) -> bool:
    return any(abs(radius - own) <= ALIKE * own for own in radii)


def _of_digits(header: HeaderUnit, runs: Sequence[Run]) -> Finding | None:
    """The doubt where radii and straights are whole sixteenths that no one draws in this unit."""
    rows = [(bend.feed, bend.clr) for run in runs for bend in run.table.bends]
    sizes = [size for row in rows for size in row if size is not None] + [run.table.tail for run in runs]
    numbers = sorted({round(size / MM_PER[header.unit], 4) for size in sizes} - {0.0})
    inches = [number for number in numbers if _is_whole(number, SIXTEENTH)]
    metric = [number for number in numbers if _is_whole(number, HALF_MILLIMETRE)]
    telling = [number for number in inches if number not in metric]
    if len(telling) < TELLING or any(number not in inches for number in metric):
        return None
    longest = max(run.table.developed_length for run in runs)
    values = {
        "numbers": [f"{number:g}" for number in telling[:3]],
        "length": longest,
        "length_other": longest * MM_PER["in"] / MM_PER[header.unit],
    }
    return _doubt(header, "in", "sixteenths", longest, values)


def _is_whole(number: float, part: float) -> bool:
    return abs(number / part - round(number / part)) * part <= AS_TYPED


def _of_unit(header: HeaderUnit, runs: Sequence[Run]) -> Finding | None:
    """What a drawing whose unit tube is seldom drawn in would be in the common ones, of which one makes a tube."""
    longest = max(run.table.developed_length for run in runs)
    read = {unit: longest / MM_PER[header.unit] * MM_PER[unit] for unit in COMMON}
    likely = [unit for unit, length in read.items() if LENGTHS[0] <= length <= LENGTHS[1]]
    if not likely:
        return None
    others = [Clause.of("doubted-as", length=read[unit], unit=unit_word(unit)) for unit in likely]
    by_header = "in" if header.contradicted != (header.unit in IMPERIAL) else "mm"
    other = by_header if by_header in likely else likely[0]
    told = _doubt(header, other, "seldom", longest, {"length": longest, "others": others})
    return told if header.contradicted else replace(told, severity=NOTE)


def _others(unit: str) -> list[str]:
    return [other for other in (*COMMON, *OTHERS) if other != unit]


def _doubt(header: HeaderUnit, other: str, variant: str, measured: float, values: Mapping[str, object]) -> Finding:
    system: str | Clause = ""
    if header.contradicted:
        system = Clause.of("header-system", system="metric units" if header.unit in IMPERIAL else "inches")
    words = {"stated": unit_word(header.unit), "other": unit_word(other), "unit": other, "own": header.unit}
    return Finding(
        "units-doubted",
        variant=variant,
        measured=measured,
        unit="mm",
        values={**words, "system": system, **values},
    )


def _span(least: float, most: float) -> Clause:
    """One length, or from the least to the greatest."""
    if most - least < 0.005 * most:
        return Clause.of("doubted-length", least=least)
    return Clause.of("doubted-lengths", least=least, most=most)


def section_doubts(texts: Iterable[str], unit: str) -> list[Finding]:
    """Sections typed without a unit that are no tube in the drawing's unit but one in the other common unit.

    Args:
        texts: sizes as typed, without a layer before them; each is a section.
        unit: of bare numbers, that the drawing was read in.
    """
    found = []
    for text in dict.fromkeys(texts):
        size = _size(text, unit)
        if size is None or is_tube_size(size):
            continue
        for other in COMMON:
            read = _size(text, other) if other != unit else None
            if read is not None and read != size and is_tube_size(read):
                number = max(i for i, letter in enumerate(text) if letter.isdigit()) + 1
                values = {
                    "text": text, "size": size, "size_other": read, "read_as": unit_word(unit),
                    "other": unit_word(other), "typed": f"{text[:number]}{other}{text[number:]}",
                }  # fmt: skip
                found.append(Finding("section-unit", measured=size, unit="mm", values=values))
                break
    return found


def _size(text: str, unit: str) -> float | None:
    """The greater outside size of a section, mm; None where it is none in that unit."""
    try:
        section = parse_section(text, unit)
    except ElbowroomError:
        return None
    return max(section.od, section.height)
