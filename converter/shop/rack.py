"""Rack files: the bars and drops that lie on the rack, as TOML. `take` books out what is cut and in what is left.

```toml
units = "mm"

[[bar]]
section = "25x2mm"
metal = "304 stainless"   # may be left out
length = 6000
count = 4                 # 1 when left out
```
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter.disk.reading import open_to_read
from converter.errors import ReadError, ShopError
from converter.quoting import LONGEST_PATH, quoted, shortened
from converter.shop.model import Stick
from converter.shop.schema import Field, ListOfTables, Place, file_unit, length, read_table, section, text, whole
from converter.shop.sections import typed
from converter.shop.toml import BEFORE, decoded, parse_toml, read_toml, rewrite_toml
from converter.units import MM_PER, Display, shown_unit

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

_WHAT, _KEY = "rack file", "bar"
BAR = {
    "section": Field(section, required=True),
    "metal": Field(text),
    "length": Field(length, required=True),
    "count": Field(whole, default=1),
}
#: mm; a drop is booked rounded down to a step no wider than this.
DROP_STEP = 0.1
RACK = {"units": Field(lambda raw, place: raw), _KEY: Field(ListOfTables(BAR), default=())}


@dataclass(frozen=True, slots=True)
class Rack:
    """What lies on the rack.

    Attributes:
        bars: in the order of the file; each with its count.
        source: the file as the user named it.
        unit: the file's own, or None when it names none.
    """

    bars: tuple[Stick, ...]
    source: str
    unit: str | None = None


def load_rack(path: str | os.PathLike[str]) -> Rack:
    """The rack that a file describes.

    Raises:
        ReadError: the file cannot be read.
        ShopError: it is not TOML (line and column are said) or a key is wrong (its path is said).
    """
    name = os.fspath(path)
    return _rack(read_toml(name, _WHAT), name)


def _rack(raw: dict[str, Any], name: str) -> Rack:
    unit = file_unit(raw, Place(name))
    values = read_table(raw, RACK, Place(name, unit=unit))
    return Rack(tuple(Stick(**bar) for bar in values[_KEY]), name, unit)


def take(path: str | os.PathLike[str], cut: Sequence[Stick], drops: Sequence[Stick]) -> str:
    """Book bars out of a rack file, and drops into it. Comments and the order of the file stay.

    Args:
        path: the file; what it says is looked at anew, behind what other runs book at the same time.
        cut: bars of the file that are cut, with how many.
        drops: what goes onto the rack, with how many of each; their metal as named. They stand in the file's own
            unit, in mm where it names none.

    Returns:
        Name of the file beside it that says what it said before (`put_back` takes it).

    Raises:
        ReadError, ShopError: the file is no sound rack file, or has fewer of a bar by now; it stays as it was.
        WriteError: it cannot be replaced; it stays as it was.
    """
    name = os.fspath(path)
    return rewrite_toml(name, lambda data: _booked(data, name, cut, drops))


def put_back(path: str | os.PathLike[str]) -> str:
    """Take the last booking back: the rack file says again what it said before, and the other way round.

    Raises:
        ReadError: nothing was booked yet.
        WriteError: it cannot be replaced; it stays as it was.
    """
    name = os.fspath(path)
    target = Path(os.path.realpath(name))
    before = target.with_name(target.name + BEFORE)
    if not before.is_file():
        raise ReadError(
            f"{shortened(name, LONGEST_PATH)} has nothing to take back: no {quoted(before.name)} lies beside it.",
            code="nothing-booked",
            file=name,
        )

    def change(_: bytes) -> bytes:
        with open_to_read(before) as stream:
            data = stream.read()
        _rack(parse_toml(decoded(data, str(before), _WHAT), str(before), _WHAT), str(before))
        return data

    return rewrite_toml(name, change)


def _booked(data: bytes, name: str, cut: Sequence[Stick], drops: Sequence[Stick]) -> bytes:
    """The new content of the file."""
    import tomlkit

    rack = load_rack(name)  # says what is wrong with it as every other command does
    left = [bar.count or 0 for bar in rack.bars]
    for bar in cut:
        _book_out(rack, left, bar)
    text = data.decode("utf-8-sig").replace("\r\n", "\n")
    document = tomlkit.parse(text if text.endswith("\n") else text + "\n")  # nothing is put onto a last, open line
    bars = document.get(_KEY, [])
    for i in reversed(range(len(left))):
        if left[i] == 0:
            del bars[i]
        elif left[i] != rack.bars[i].count:
            bars[i]["count"] = left[i]
    if rack.bars and not bars:
        del document[_KEY]
    for drop in drops:
        _append(document, drop, rack.unit or "mm")
    new = tomlkit.dumps(document)
    _rack(parse_toml(new, name, _WHAT), name)
    mark = b"\xef\xbb\xbf" if data.startswith(b"\xef\xbb\xbf") else b""
    return mark + (new.replace("\n", "\r\n") if b"\r\n" in data else new).encode("utf-8")


def _book_out(rack: Rack, left: list[int], bar: Stick) -> None:
    """Take some bars off what is left of the file's.

    Raises:
        ShopError: there are fewer.
    """
    wanted = bar.count or 0
    for i, kept in enumerate(rack.bars):
        if wanted and (kept.section, kept.metal, kept.length) == (bar.section, bar.metal, bar.length):
            taken = min(wanted, left[i])
            left[i], wanted = left[i] - taken, wanted - taken
    if wanted:
        length = Display(shown_unit(rack.unit)).length(bar.length)
        raise ShopError(
            f"{rack.source}: {wanted} of the bars that are to be cut ({length}) are no longer on the rack: "
            "somebody took them; make the cutting list again.",
            code="rack-changed",
            file=rack.source,
        )


def _append(document: TOMLDocument, drop: Stick, unit: str) -> None:
    """Add a table for a drop behind those there are."""
    import tomlkit

    entry = tomlkit.table()
    entry.add("section", typed(drop.section, shown_unit(unit)))
    if drop.metal is not None:
        entry.add("metal", drop.metal)
    decimals = ceil(log10(MM_PER[unit] / DROP_STEP))
    # rounded down: a drop is never longer than the file says, save for a digit that the change of units wore off
    length = floor(drop.length / MM_PER[unit] * 10**decimals + 1e-6) / 10**decimals
    entry.add("length", f"{length:.{decimals}f} {unit}")
    if drop.count not in (None, 1):
        entry.add("count", drop.count)
    if document.get(_KEY) is None:
        document.add(_KEY, tomlkit.aot())
    document[_KEY].append(entry)
