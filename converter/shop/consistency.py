"""What a shop file may not contradict itself in: its metals' figures, the metals it names, its test bends."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from converter.errors import ShopError
from converter.findings import Clause, Finding
from converter.quoting import one_line
from converter.shop.metals import KSI, find_metal, metal_hint
from converter.shop.model import Metal, Shop, Stick, Trial
from converter.shop.schema import Place, show
from converter.tolerances import PAST_LENGTH
from converter.units import MM_PER, unit_word

#: Degrees; a protractor is read no better than this, so test bends this little out of order are not backwards.
READING = 0.5
#: mm; a wall this much over half of the die's size is half of it (sizes are rounded differently).
HALF = 0.13
#: mm; no larger tube is bent on a shop's bender, while from here on (11.9 in) numbers are usual sizes in mm; and no
#: smaller one is, while numbers up to here are usual sizes in inches. Common practice, no source.
MOST_TUBE, LEAST_TUBE = 302.26, 3.0
#: No clamp, radius or straight of a die is longer than so many times its tube, and no pivot lies higher or lower above
#: the floor, mm; a number that does is usual in the other unit. Common practice, no source.
MOST_SIZES, MOST_PIVOT, LEAST_PIVOT = 25.0, 3000.0, 120.0
#: GPa; magnesium, the least stiff metal that tube is made of, has 45, and steel 29 Msi.
LEAST_MODULUS = 40.0
#: Sizes in doubt that are named one by one.
_NAMED = 3


def check_metals(metals: Sequence[Metal], file: str) -> None:
    """No metal breaks before it yields.

    Raises:
        ShopError: one does; with the key's path.
    """
    for i, metal in enumerate(metals):
        if metal.yield_mpa is not None and metal.tensile_mpa is not None and metal.tensile_mpa < metal.yield_mpa:
            Place(file, f"metal[{i + 1}].tensile_mpa", name=show(metal.name)).fail(
                f"is {metal.tensile_mpa:g}, below its yield_mpa of {metal.yield_mpa:g}: the tensile strength is the "
                "greater of the two"
            )


def check_shop(shop: Shop, file: str) -> None:
    """Every metal that the file names is known, and its test bends can have happened.

    Raises:
        ShopError: a metal is not known, or a test bend is impossible or goes backwards; with the key's path.
    """
    named = [("machine.proven_metal", shop.machine.proven_metal), *_metals_of("stock", shop.stock)]
    _check_names([*named, *_metals_of("test", shop.tests)], shop.metals, file)
    for i, test in enumerate(shop.tests):
        _possible(test, shop, Place(file, f"test[{i + 1}]"))
    _forward(shop, file)


def check_stock(stock: Sequence[Stick], metals: Sequence[Metal], file: str) -> None:
    """Every metal that the bars of a file name is known.

    Raises:
        ShopError: one is not; with the key's path.
    """
    _check_names(_metals_of("stock", stock), metals, file)


def _metals_of(key: str, items: Sequence[Stick | Trial]) -> list[tuple[str, str | None]]:
    return [(f"{key}[{i + 1}].metal", item.metal) for i, item in enumerate(items)]


def _check_names(named: Sequence[tuple[str, str | None]], metals: Sequence[Metal], file: str) -> None:
    """``named``: path of the key and what it names, or None."""
    for path, name in named:
        if name is not None and find_metal(name, metals) is None:
            hint = metal_hint(name, metals)
            message = one_line(f"{file}: {path} names the metal {show(name)}, which is not known: {hint}")
            raise ShopError(message, code="unknown-metal", file=file, where=path)


def is_tube_size(size: float) -> bool:
    """Whether tube of a size, in mm, is bent on a shop's bender."""
    return LEAST_TUBE - PAST_LENGTH <= size <= MOST_TUBE + PAST_LENGTH


def doubts(shop: Shop) -> list[Finding]:
    """One finding on sizes of a shop file in inches or mm that no tube has, and that are usual in the other unit."""
    if shop.units not in ("in", "mm"):
        return []
    large = shop.units == "in"
    sizes = [(f"die[{i + 1}]", die.name, die.size) for i, die in enumerate(shop.dies)]
    sizes += [(f"stock[{i + 1}]", stick.section.label or stick.section.shape, stick.section.od)
              for i, stick in enumerate(shop.stock)]  # fmt: skip
    across = [one for one in sizes if not is_tube_size(one[2]) and (one[2] > LEAST_TUBE) == large]
    lengths = _odd_lengths(shop, large)
    odd = [*across, *lengths]
    if not odd:
        return []
    named: list[str | Clause] = [
        Clause.of(
            "shop-size" if at < len(across) else "shop-length",
            where=where, name=name, number=f"{mm / MM_PER[shop.units]:g}",
        )
        for at, (where, name, mm) in enumerate(odd[:_NAMED])
    ]  # fmt: skip
    if len(odd) > _NAMED:
        named.append(Clause.of("shop-more-sizes", count=len(odd) - _NAMED))
    number, other = f"{odd[0][2] / MM_PER[shop.units]:g}", "mm" if large else "in"
    values = {
        "file": shop.source, "unit": unit_word(shop.units), "sizes": tuple(named), "number": number,
        "other": unit_word(other), "short": other, "count": len(odd),
    }  # fmt: skip
    variant = "large" if large else "small"
    return [Finding("shop-unit", variant=variant, measured=odd[0][2], unit="mm", values=values)]


def _odd_lengths(shop: Shop, large: bool) -> list[tuple[str, str, float]]:
    """Lengths of dies and machine that are no bender's in the file's unit but usual in the other: where, whose, mm."""
    odd = []
    for i, die in enumerate(shop.dies):
        for key in ("clr", "clamp", "between", "tail"):
            value = getattr(die, key)
            far = (
                value > MOST_SIZES * die.size if large else key in ("clamp", "between") and 0 < value < die.size / 10.0
            )
            # of `between` left out, that of `clamp` is told
            if far and not (key == "between" and value == die.clamp):
                odd.append((f"die[{i + 1}].{key}", die.name, value))
    height = shop.machine.pivot_height
    if height is not None and (height > MOST_PIVOT if large else height < LEAST_PIVOT):
        odd.append(("machine.pivot_height", shop.machine.name or "the bender", height))
    return odd


def metal_doubts(shop: Shop) -> list[Finding]:
    """A finding for each metal of the shop file whose figures are likely in ksi or Msi, where MPa and GPa are meant."""
    findings = []
    for i, metal in enumerate(shop.metals):
        known = find_metal(metal.name)
        for key, unit, other in (
            ("yield_mpa", "MPa", "ksi"),
            ("tensile_mpa", "MPa", "ksi"),
            ("modulus_gpa", "GPa", "Msi"),
        ):
            value = getattr(metal, key)
            usual = getattr(known, key) if known is not None else None
            if value is None or not _is_imperial(key, value, usual):
                continue
            values = {
                "file": shop.source, "where": f"metal[{i + 1}].{key}", "name": metal.name, "number": f"{value:g}",
                "unit": unit, "other": other, "right": f"{value * KSI:.0f}",
            }  # fmt: skip
            findings.append(Finding("metal-unit", values=values))
    return findings


def _is_imperial(key: str, value: float, usual: float | None) -> bool:
    """Whether a figure is far from what its metal has, or any metal that tube is made of, but near it in ksi or Msi."""
    if usual is not None:
        return value < usual / 3.0 and usual / 2.0 < value * KSI < 2.0 * usual
    return key == "modulus_gpa" and value < LEAST_MODULUS < value * KSI


def _possible(test: Trial, shop: Shop, place: Place) -> None:
    """One test bend can have happened on its die."""
    die = shop.die(test.die)
    if test.angle > test.stop:
        place.key("angle").fail(
            f"is {test.angle:g}, more than the stop of {test.stop:g}: a bend comes out at less than it was bent to, "
            "so the two may be swapped"
        )
    limit = shop.greatest_angle(die)
    if limit is not None and test.stop > limit:
        who = f"the die {show(die.name)}" if limit == die.max_angle else "the machine"
        place.key("stop").fail(f"is {test.stop:g}, past the {limit:g} degrees that {who} turns")
    half = min(die.size, die.height) / 2.0
    if test.wall is not None and test.wall > half + HALF:
        place.key("wall").fail(
            f"is {test.wall:.4g} mm, over half of the {2.0 * half:.4g} mm tube that the die {show(die.name)} takes"
        )


def _forward(shop: Shop, file: str) -> None:
    """Of two test bends of one tube on one die, the one bent further came out further."""
    groups: dict[tuple[str, float | None, str | None], list[int]] = {}
    for i, test in enumerate(shop.tests):
        metal = find_metal(test.metal, shop.metals)
        groups.setdefault((test.die.casefold(), test.wall, None if metal is None else metal.name), []).append(i)
    for members in groups.values():
        furthest: int | None = None  # of the test bends set to less, the one that came out at most
        ordered = sorted(members, key=lambda i: shop.tests[i].stop)
        for _, alike in groupby(ordered, key=lambda i: shop.tests[i].stop):
            same_stop = list(alike)
            for i in same_stop:
                _not_back(shop.tests, i, furthest, file)
            best = max(same_stop, key=lambda i: shop.tests[i].angle)
            if furthest is None or shop.tests[best].angle > shop.tests[furthest].angle:
                furthest = best


def _not_back(tests: Sequence[Trial], i: int, before: int | None, file: str) -> None:
    if before is None or tests[i].angle >= tests[before].angle - READING:
        return
    Place(file, f"test[{i + 1}].angle").fail(
        f"goes backwards: set to {tests[i].stop:g} it came out at {tests[i].angle:g}, though test[{before + 1}], "
        f"set to only {tests[before].stop:g}, came out at {tests[before].angle:g}"
    )
