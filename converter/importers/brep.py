"""BREP, the CAD kernel's own text of shapes, as a `Drawing`; on the same road as STEP.

Nothing in such a file tells whether it is sound, and the kernel may crash on one that is not. So it is read in a
process of its own, which hands the drawing over; only where that ends in an error is it read here, to say which.
"""

from __future__ import annotations

import os
import pickle
import sys
from functools import partial

from converter.disk.reading import standard_input
from converter.disk.silence import silent_stdout
from converter.errors import ReadError
from converter.importers.file_units import HeaderUnits, settle_units
from converter.importers.registry import ReadOptions, is_brep
from converter.importers.source import Source
from converter.importers.step.read import ShapeReading, read_bounded
from converter.importers.step.trial import try_out
from converter.model.drawing import Drawing


def read_brep(
    source: str | os.PathLike[str] | Source, options: ReadOptions | None = None, *, tried: bool = False
) -> Drawing:
    """Everything a BREP file holds; it names neither units nor layers, and the kernel's lengths are mm.

    Args:
        source: a file name, '-' for standard input, or a `Source`.
        options: ``units`` says what its numbers are.
        tried: it is read in this process; the kernel may crash on any that is malformed.

    Raises:
        ReadError: it cannot be read, or holds no shape.
        UnitsError, OptionError: an option does not suit.
        MissingLibraryError: the CAD kernel is not installed.
    """
    given = Source.of(source)
    chosen = options or ReadOptions()
    asked = chosen.canonical_unit
    data = given.read_bytes()
    if not is_brep(data):
        raise ReadError(
            f"{given.name} is not a BREP file: export STEP from the CAD package.", code="not-brep", file=given.name
        )
    if not tried:
        answer = try_out(pickle.dumps((given.name, chosen, data)), given.name, "its text of shapes", __name__)
        if answer:
            drawing: Drawing = pickle.loads(answer)
            return drawing
    from converter.kernel.brep import load_brep
    from converter.kernel.session import quiet

    with silent_stdout():
        instance = load_brep(data, given.name)
    drawing = Drawing(given.name)
    scale = settle_units(HeaderUnits(given.name, unitless=True), asked, drawing)
    reading = ShapeReading(chosen, drawing)
    with quiet():
        reading.instance(0, instance if scale == 1.0 else instance.scaled(scale), None)
    reading.finish()
    return drawing


def read_for_trial(bounded: bool) -> None:
    """What the child of `try_out` does: read what is pickled on standard input, and write the drawing out.

    Args:
        bounded: see `converter.importers.step.read.read_for_trial`.
    """
    name, options, data = pickle.load(standard_input())
    with silent_stdout():
        drawing = read_bounded(partial(read_brep, options=options), bounded, Source(name, None, data))
    if drawing is not None:
        sys.stdout.buffer.write(pickle.dumps(drawing))
        sys.stdout.flush()
