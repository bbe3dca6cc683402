"""Coverage-guided, by hand: ``python tests/fuzz/guided.py csv -max_total_time=600 CORPUS``; needs atheris (PyPI).

The fuzzer sees which lines of ours an input reaches and keeps what reaches new ones. Only the reader is run: dxf, csv,
json or toml. Anything it raises but one of our own errors is a fault.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "helpers")]

import atheris  # noqa: E402  # type: ignore[import-not-found]

with atheris.instrument_imports(include=["converter"]):
    import converter.importers.dxf
    import converter.importers.tables.bend_csv
    import converter.importers.tables.bend_json
    import converter.importers.tables.points_csv
    import converter.reducer
    import converter.shop.load
    import converter.shop.toml  # noqa: F401

from converter.errors import ElbowroomError  # noqa: E402
from converter.importers.dxf import read_dxf  # noqa: E402
from converter.importers.registry import ReadOptions  # noqa: E402
from converter.importers.source import Source  # noqa: E402
from converter.importers.tables.bend_csv import read_table_csv  # noqa: E402
from converter.importers.tables.bend_json import read_table_json  # noqa: E402
from converter.model.drawing import Drawing  # noqa: E402
from converter.reducer import reduce_drawing  # noqa: E402
from converter.shop.load import load_shop  # noqa: E402


def _drawing(reader: Callable[[Source, ReadOptions], Drawing]) -> Callable[[bytes], object]:
    return lambda data: reduce_drawing(reader(Source("-", None, data), ReadOptions()))


def _shop(data: bytes) -> object:
    path = Path("/tmp/guided-shop.toml")
    path.write_bytes(data)
    return load_shop(path)


READERS = {"dxf": _drawing(read_dxf), "csv": _drawing(read_table_csv), "json": _drawing(read_table_json), "toml": _shop}


def main() -> None:
    """Hand the fuzzer what is left of the command line."""
    read = READERS[sys.argv.pop(1)]

    def once(data: bytes) -> None:
        if not data:
            return
        try:
            read(data)
        except ElbowroomError as error:
            assert error.message.rstrip().endswith((".", "?", "!")), error.message

    atheris.Setup(sys.argv, once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
