"""A shop file as text and as JSON."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from converter.cli import options
from converter.cli.screens.findings import titled
from converter.cli.screens.grid import Grid, fill
from converter.findings.wording import counted
from converter.quoting import one_line
from converter.shop.model import TURN_WITHIN, Cutting, Die, Price, Shop, Stick, Trial
from converter.shop.sections import describe
from converter.units import KG_PER_LB, MM_PER, Display, place_text, shown_unit, unit_word


def shop_display(shop: Shop, showing: options.ShowingChoices) -> Display:
    """As the showing options say; else in the shop file's own system of units."""
    fraction = showing.fraction
    return Display(showing.unit or ("in" if fraction is not None else shown_unit(shop.units)), fraction)


def summary(shop: Shop) -> str:
    """``My shop: 3 dies, 1 metal, 2 stock sizes, 4 test bends``."""
    counts = [counted(len(shop.dies), "die")]
    if shop.metals:
        counts.append(counted(len(shop.metals), "metal"))
    if shop.stock:
        counts.append(counted(len(shop.stock), "stock size"))
    if shop.tests:
        counts.append(counted(len(shop.tests), "test bend"))
    return f"{one_line(shop.name)}: {', '.join(counts)}"


def shop_text(shop: Shop, display: Display) -> str:
    """All that the file says: dies and test bends as tables, the rest as sentences, each group behind its name."""
    name, _, counts = summary(shop).rpartition(": ")
    if shop.is_demo:
        counts += " (invented; it serves when no shop file is named)"
    blocks = [titled(name, counts, ": ")]
    if shop.dies:
        heads = ["die", "takes", "CLR", "max angle", "clamp", "between", "tail", "mark"]
        grid = Grid(heads, [_die_row(die, display) for die in shop.dies], "llrrrrrr").text()
        note = f"  lengths in {unit_word(display.unit)}; - where the file gives none"
        blocks.append("\n".join([grid, note, *(fill(more, "  ", "    ") for more in _more_of_dies(shop))]))
    groups = {
        "machine": [_machine(shop, display)],
        "room": _room(shop, display),
        "metals": _metals(shop),
        "stock": [_stick(stick, display) for stick in shop.stock],
        "saw": [_saw(shop, display)],
        "saws": [_hole_saws(shop, display)],
        "allowed": [_allowed(shop, display)],
        "rates": [_rates(shop, display)],
        "prices": [_price(price, shop.rates.currency, display) for price in shop.prices],
    }
    for group, texts in groups.items():
        under = " " * (9 if len(texts) == 1 else 11)
        lines = [fill(text, f"{'' if i else group:<9}", under) for i, text in enumerate(texts)]
        blocks += ["\n".join(lines)] if any(texts) else []
    if shop.tests:
        heads = ["test bend", "metal", "wall", "stop", "angle", "used"]
        blocks.append(Grid(heads, [_test_row(test, display) for test in shop.tests], "llrrrr").text())
    return "\n\n".join(blocks)


def _more_of_dies(shop: Shop) -> list[str]:
    """What only some dies have, a sentence for each of them."""
    found = []
    for die in shop.dies:
        more = ["its clamp turns over"] if die.invert_clamp else []
        more += ["bent over a mandrel"] if die.mandrel else []
        more += [f"OD/wall up to {die.max_wall_factor:g}"] if die.max_wall_factor is not None else []
        more += [f"CLR/OD from {die.min_d_of_bend:g}"] if die.min_d_of_bend is not None else []
        found += [f"{one_line(die.name)}: {', '.join(more)}"] if more else []
    return found


def _where_known(show: Callable[[float], str], *rows: tuple[str, float | None]) -> list[str]:
    """The words of each row with its value as shown; none of a row without a value."""
    return [words.format(show(value)) for words, value in rows if value is not None]


def _metals(shop: Shop) -> list[str]:
    """A line for each metal with figures of its own; one for all the others."""
    bare, found = [], []
    for metal in shop.metals:
        figures = _where_known(
            "{:g}".format,
            ("yield {} MPa", metal.yield_mpa),
            ("tensile {} MPa", metal.tensile_mpa),
            ("modulus {} GPa", metal.modulus_gpa),
            ("{} kg/m³", metal.density),
            ("elongation {} %", metal.elongation),
        )
        figures += [f"by {one_line(metal.standard)}"] if metal.standard else []
        if figures:
            found.append(f"{one_line(metal.name)}: {', '.join(figures)}")
        else:
            bare.append(one_line(metal.name))
    return [*([", ".join(bare)] if bare else []), *found]


def _stick(stick: Stick, display: Display) -> str:
    count = "" if stick.count is None else f"{stick.count} x "
    metal = f", {one_line(stick.metal)}" if stick.metal else ""
    return f"{count}{display.length(stick.length)} of {describe(stick.section, display)}{metal}"


def _hole_saws(shop: Shop, display: Display) -> str:
    saws = [
        display.length(saw.size) + ("" if saw.depth is None else f" ({display.length(saw.depth)} deep)")
        for saw in shop.hole_saws
    ]
    return f"hole saws of {', '.join(saws)}" if saws else ""


def _allowed(shop: Shop, display: Display) -> str:
    """How far a made tube may be off."""
    allowed = shop.allowed
    parts = [] if allowed.length is None else [f"{display.length(allowed.length)} of a length"]
    parts += [] if allowed.angle is None else [f"{allowed.angle:g}° of an angle"]
    return f"a made tube may be off by {', '.join(parts)}" if parts else ""


def _rates(shop: Shop, display: Display) -> str:
    """What work takes and costs."""
    rates = shop.rates
    parts = [] if rates.hour is None else [f"{_money(rates.hour, rates.currency)} an hour"]
    parts += [
        f"{minutes:g} min for each {what}"
        for what, minutes in (("tube", rates.tube), ("cut", rates.cut), ("cope", rates.cope), ("bend", rates.bend))
        if minutes is not None
    ]
    if rates.weld is not None:
        per = _long(display)
        parts.append(f"{rates.weld * MM_PER[per]:g} min for each {per} of weld")
    return ", ".join(parts)


def _price(price: Price, currency: str, display: Display) -> str:
    """What some metal costs."""
    section = [] if price.section is None else [describe(price.section, display)]
    of = ", ".join([*section, *([one_line(price.metal)] if price.metal else [])])
    if price.per_mm is not None:
        per = _long(display)
        return f"{_money(price.per_mm * MM_PER[per], currency)} for each {per} of {of or 'any tube'}"
    per, kg = ("lb", KG_PER_LB) if display.unit == "in" else ("kg", 1.0)
    return f"{_money((price.per_kg or 0.0) * kg, currency)} for each {per} of {of or 'any tube'}"


def _money(amount: float, currency: str) -> str:
    """An amount as the shop file names its money."""
    return f"{round(amount, 4):.12g} {one_line(currency)}".rstrip()


def _long(display: Display) -> str:
    """The unit that long things are priced by."""
    return "ft" if display.unit == "in" else "m"


def _saw(shop: Shop, display: Display) -> str:
    """What cutting takes of a bar; '' where the file does not say."""
    if shop.cutting == Cutting():
        return ""
    saw, keep = shop.cutting.saw, display.length(shop.cutting.keep)
    parts = [f"kerf {display.length(saw.kerf)}{'' if shop.cutting.is_given else ' (not given)'}"]
    parts += [f"trims {display.length(saw.trim)} off each bar"] if saw.trim else []
    parts += [f"needs {display.length(saw.grip)} to hold"] if saw.grip else []
    parts += [f"turns to {display.angle(shop.cutting.mitre)}"] if shop.cutting.mitre else []
    return ", ".join([*parts, f"drops from {keep} go to the rack"])


def _test_row(test: Trial, display: Display) -> list[str]:
    return [
        one_line(test.die),
        one_line(test.metal) if test.metal else "-",
        "-" if test.wall is None else display.number(test.wall),
        f"{test.stop:g}°",
        f"{test.angle:g}°",
        "-" if test.length is None else display.number(test.length),
    ]


def _die_row(die: Die, display: Display) -> list[str]:
    return [
        one_line(die.name),
        die.groove(display),
        display.number(die.clr),
        "-" if die.max_angle is None else f"{die.max_angle:g}°",
        display.number(die.clamp) if die.clamp else "-",
        display.number(die.between) if die.between else "-",
        display.number(die.tail) if die.tail else "-",
        "-" if die.mark_offset is None else display.number(die.mark_offset),
    ]


def _machine(shop: Shop, display: Display) -> str:
    machine = shop.machine
    parts = [one_line(machine.name)] if machine.name else []
    if machine.max_angle is not None:
        parts.append(f"bends up to {machine.max_angle:g}°")
    if machine.plane is not None:
        parts.append(f"{machine.plane} bend plane")
    if machine.stop_step is not None:
        parts.append(f"stops in steps of {machine.stop_step:g}°")
    if machine.turn_step is not None:
        parts.append(f"turns in steps of {machine.turn_step:g}°")
    if machine.turn_within != TURN_WITHIN:
        parts.append(f"turns told as a distance to {machine.turn_within:g}°")
    parts += [f"bends {machine.bends_to}"] if machine.bends_to else []
    parts += ["swings the stick behind the die"] if machine.swings == "behind" else []
    parts += _where_known(
        display.length,
        ("pivot {} above the floor", machine.pivot_height),
        ("cut lengths up to {}", machine.max_length),
    )
    if machine.proven_section is not None:
        metal = f" {one_line(machine.proven_metal)}" if machine.proven_metal else ""
        parts.append(f"proven on {describe(machine.proven_section, display)}{metal}")
    return ", ".join(parts)


def _room(shop: Shop, display: Display) -> list[str]:
    """Ceiling and walls in a line, then a line for each box."""
    machine = shop.machine
    around = _where_known(
        display.length,
        ("ceiling {} above the floor", machine.ceiling),
        ("wall {} ahead", machine.wall_ahead),
        ("wall {} behind", machine.wall_behind),
        ("wall {} to the left", machine.wall_left),
        ("wall {} to the right", machine.wall_right),
    )
    boxes = [
        f"{one_line(box.name)}: from {place_text(box.low, display)} to {place_text(box.high, display)}"
        for box in machine.boxes
    ]
    return [", ".join(around), *boxes] if around else boxes


def shop_document(shop: Shop, path: str | None) -> dict[str, Any]:
    """``elbowroom/shop/1``: everything the shop file says, lengths in mm (docs/commands.md)."""
    values = asdict(shop)
    values.pop("source")
    for die in values["dies"]:
        die.pop("is_clamp_known")
    return {"schema": "elbowroom/shop/1", "source": path, "demo": shop.is_demo, **values}
