"""IGES as a `Drawing`: curves as drawn curves, tubes with faces as ready tables, the rest listed."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile
from typing import TYPE_CHECKING

from converter.findings import Finding
from converter.importers.file_units import HeaderUnits, settle_units
from converter.importers.iges.bounds import IgesText, check_iges
from converter.importers.registry import ReadOptions
from converter.importers.source import Source
from converter.importers.step.read import ShapeReading, read_bounded
from converter.importers.step.trial import try_out
from converter.model.drawing import Drawing
from converter.units import MM_PER

if TYPE_CHECKING:
    from converter.kernel.step.units import Unit


def read_iges(
    source: str | os.PathLike[str] | Source, options: ReadOptions | None = None, *, tried: bool = False
) -> Drawing:
    """Everything an IGES file holds, in mm and in place.

    Args:
        source: a file name, '-' for standard input, or a `Source`.
        options: ``units`` overrides the file's; ``layers`` and ``skip_layers`` pick levels by name or number.
        tried: a malformed file is not tried out in a process of its own first.

    Raises:
        ReadError: it cannot be read, is cut short, or holds no shape.
        UnitsError, OptionError: an option does not suit.
        MissingLibraryError: the CAD kernel is not installed.
    """
    given = Source.of(source)
    chosen = options or ReadOptions()
    asked = chosen.canonical_unit
    text = check_iges(given.read_bytes(), given.name)
    drawing = Drawing(given.name)
    wanted = _per_unit(text, asked, drawing)
    doubts = text.doubts or text.suspect
    if doubts and not tried:
        try_out(text.data, given.name, doubts, __name__)
    from converter.kernel.iges import LayerNames, load_iges
    from converter.kernel.session import quiet

    with nameless_file(text.data) as path:
        session = load_iges(path, given.name, LayerNames(text.levels, text.colors))
    broken = session.broken or text.doubts
    if broken:
        if not (tried or doubts):
            try_out(text.data, given.name, broken, __name__)
        drawing.findings.append(Finding("file-repaired", variant="malformed", values={"reason": broken}))
    instances, labels = session.transfer(wanted / session.per_unit)
    reading = ShapeReading(chosen, drawing)
    with quiet():
        for number, instance in enumerate(instances):
            reading.instance(number, instance, labels)
    reading.finish()
    return drawing


def read_for_trial(bounded: bool) -> None:
    """What the child of `try_out` does: read standard input; an error told in a sentence is left to the parent to tell.

    Args:
        bounded: it runs within limits already.
    """
    read_bounded(read_iges, bounded)


def _per_unit(text: IgesText, asked: str | None, drawing: Drawing) -> float:
    """mm of one unit of the file; says in the drawing what must be said of it."""
    unit = text.unit
    factor = None if unit is None else unit[2]
    if abs(text.scale - 1.0) > 1e-9:
        drawing.findings.append(Finding("model-scale", measured=text.scale, values={"scale": text.scale}))
    if text.other_unit and asked is None and unit is not None:
        values = {"read_as": unit[0], "word": text.other_unit}
        drawing.findings.append(Finding("units-assumed", variant="contradiction", values=values))
    if text.bad_flag:
        _say_bad_flag(text.bad_flag, unit, asked, drawing)
    if factor is None and asked is None:
        return 1.0 if text.bad_flag else _without_unit(unit, drawing)
    known = [] if unit is None or factor is None else [unit]
    scale = settle_units(HeaderUnits(drawing.source, known, not known), asked, drawing)
    return scale * factor if factor is not None else scale


def _say_bad_flag(flag: str, unit: Unit | None, asked: str | None, drawing: Drawing) -> None:
    """Of a unit flag that does not exist: by what else lengths are read."""
    named = unit[1] or unit[0] if unit is not None and unit[2] is not None else None
    drawing.read_as = asked or named or "mm"
    variant = "flag, option" if asked else "flag, name" if named else "flag"
    drawing.findings.append(
        Finding("units-assumed", variant=variant, values={"flag": flag, "read_as": drawing.read_as})
    )


def _without_unit(unit: Unit | None, drawing: Drawing) -> float:
    """A file that names no unit is in inches, by the standard; one that names an unknown one is read as mm, said."""
    if unit is None:
        drawing.read_as = "in"
        drawing.findings.append(Finding("units-assumed", variant="standard", values={"read_as": "in"}))
        return MM_PER["in"]
    drawing.read_as = "mm"
    drawing.findings.append(Finding("units-assumed", variant="unknown name", values={"word": unit[0]}))
    return 1.0


@contextmanager
def nameless_file(data: bytes) -> Iterator[Path]:
    """A path by which this process can read ``data`` for so long.

    The file has no name in any folder: its path is that of the open handle. Only where the system has no such paths
    (Windows) it is a file in a temporary folder, which a process that is killed leaves behind.

    Raises:
        OSError: there is no room for it.
    """
    with TemporaryFile() as file:
        path = Path(f"/dev/fd/{file.fileno()}")
        if path.exists():
            file.write(data)
            file.flush()
            file.seek(0)  # some systems do not open it anew
            yield path
            return
    with TemporaryDirectory(prefix="elbowroom-") as folder:
        path = Path(folder) / "drawing"
        path.write_bytes(data)
        yield path
