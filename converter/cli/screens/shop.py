"""A shop file as text and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from converter.cli import options
from converter.cli.screens.findings import titled
from converter.cli.screens.grid import Grid, fill
from converter.findings.wording import counted
from converter.quoting import one_line
from converter.shop.model import Die, Shop
from converter.shop.sections import describe
from converter.units import Display, shown_unit, unit_word


def shop_display(shop: Shop, showing: options.ShowingChoices) -> Display:
    """As the showing options say; else in the shop file's own system of units."""
    fraction = showing.fraction
    return Display(showing.unit or ("in" if fraction is not None else shown_unit(shop.units)), fraction)


def summary(shop: Shop) -> str:
    """``My shop: 3 dies, 1 metal, 2 stock sizes, 4 test bends``."""
    counts = [counted(len(shop.dies), "die"), counted(len(shop.metals), "metal")]
    if shop.stock:
        counts.append(counted(len(shop.stock), "stock size"))
    if shop.tests:
        counts.append(counted(len(shop.tests), "test bend"))
    return f"{one_line(shop.name)}: {', '.join(counts)}"


def shop_text(shop: Shop, display: Display) -> str:
    """The dies as a table, then machine, metals and stock."""
    name, _, counts = summary(shop).rpartition(": ")
    if shop.is_demo:
        counts += " (invented; it serves when no shop file is named)"
    lines = [titled(name, counts, ": ")]
    if shop.dies:
        heads = ["die", "takes", "CLR", "max angle", "clamp", "between", "tail", "mark"]
        rows = [_die_row(die, display) for die in shop.dies]
        lines += [
            "",
            Grid(heads, rows, "llrrrrrr").text(),
            f"  lengths in {unit_word(display.unit)}; - where the file gives none",
        ]
    machine = _machine(shop, display)
    if machine:
        lines += ["", fill(machine, "machine  ")]
    if shop.metals:
        lines += ["", fill(", ".join(one_line(metal.name) for metal in shop.metals), "metals   ")]
    for i, stick in enumerate(shop.stock):
        count = "" if stick.count is None else f"{stick.count} x "
        metal = f", {one_line(stick.metal)}" if stick.metal else ""
        text = f"{count}{display.length(stick.length)} of {describe(stick.section, display)}{metal}"
        lines += ["", fill(text, "stock    ")] if i == 0 else [fill(text, "         ", "           ")]
    if shop.cutting.is_given:
        lines += ["", fill(_saw(shop, display), "saw      ")]
    return "\n".join(lines)


def _saw(shop: Shop, display: Display) -> str:
    """What cutting takes of a bar."""
    saw, keep = shop.cutting.saw, display.length(shop.cutting.keep)
    parts = [f"kerf {display.length(saw.kerf)}"]
    parts += [f"trims {display.length(saw.trim)} off each bar"] if saw.trim else []
    parts += [f"needs {display.length(saw.grip)} to hold"] if saw.grip else []
    parts += [f"turns to {display.angle(shop.cutting.mitre)}"] if shop.cutting.mitre else []
    return ", ".join([*parts, f"drops from {keep} go to the rack"])


def _die_row(die: Die, display: Display) -> list[str]:
    return [
        one_line(die.name),
        die.groove(display),
        display.number(die.clr),
        "-" if die.max_angle is None else f"{die.max_angle:g}°",
        display.number(die.clamp) if die.clamp else "-",
        "turns over" if die.invert_clamp else display.number(die.between) if die.between else "-",
        display.number(die.tail) if die.tail else "-",
        "-" if die.mark_offset is None else display.number(die.mark_offset),
    ]


def _machine(shop: Shop, display: Display) -> str:
    machine = shop.machine
    parts = [one_line(machine.name)] if machine.name else []
    if machine.max_angle is not None:
        parts.append(f"bends up to {machine.max_angle:g}°")
    if machine.plane is not None:
        way = machine.bends_to or ("up" if machine.plane == "vertical" else "left")
        parts.append(f"{machine.plane} bend plane, swings {way}")
    if machine.stop_step is not None:
        parts.append(f"stops in steps of {machine.stop_step:g}°")
    if machine.turn_step is not None:
        parts.append(f"turns in steps of {machine.turn_step:g}°")
    for words, value in (
        ("pivot {} above the floor", machine.pivot_height),
        ("ceiling at {}", machine.ceiling),
        ("wall {} ahead of the pivot", machine.wall_ahead),
        ("wall {} behind the pivot", machine.wall_behind),
        ("wall {} left of the pivot", machine.wall_left),
        ("wall {} right of the pivot", machine.wall_right),
        ("cut lengths up to {}", machine.max_length),
    ):
        if value is not None:
            parts.append(words.format(display.length(value)))
    if machine.proven_section is not None:
        metal = f" {one_line(machine.proven_metal)}" if machine.proven_metal else ""
        parts.append(f"proven on {describe(machine.proven_section, display)}{metal}")
    for box in machine.boxes:
        ends = zip("xyz", box.low, box.high, strict=True)
        spans = (f"{axis} {display.number(low)} to {display.length(high)}" for axis, low, high in ends)
        parts.append(f"keeps clear of {one_line(box.name)} ({', '.join(spans)})")
    return ", ".join(parts)


def shop_document(shop: Shop, path: str | None) -> dict[str, Any]:
    """``elbowroom/shop/1``: everything the shop file says, lengths in mm (docs/commands.md)."""
    values = asdict(shop)
    values.pop("source")
    return {"schema": "elbowroom/shop/1", "source": path, "demo": shop.is_demo, **values}
