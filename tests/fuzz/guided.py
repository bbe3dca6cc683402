"""Coverage-guided, by hand: ``python tests/fuzz/guided.py csv -max_total_time=600 CORPUS``; needs atheris (PyPI).

The fuzzer sees which lines of ours an input reaches and keeps what reaches new ones. Only the reader is run: dxf, csv,
json, toml, or records, where a DXF is read by the fast lane and by the library alone. Anything it raises but one of our
own errors is a fault, and so is a difference between the two. A CORPUS that is not there is made of cases of that sort.
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

from two_ways import entities_of, fast_lane_closed  # noqa: E402

from converter.errors import ElbowroomError  # noqa: E402
from converter.importers.dxf import read_dxf  # noqa: E402
from converter.importers.registry import ReadOptions  # noqa: E402
from converter.importers.source import Source  # noqa: E402
from converter.importers.tables.bend_csv import read_table_csv  # noqa: E402
from converter.importers.tables.bend_json import read_table_json  # noqa: E402
from converter.model.drawing import Drawing  # noqa: E402
from converter.reducer import reduce_drawing  # noqa: E402
from converter.shop.load import load_shop  # noqa: E402

#: Cases of a new corpus.
_CASES = 60


def _drawing(reader: Callable[[Source, ReadOptions], Drawing]) -> Callable[[bytes], object]:
    return lambda data: reduce_drawing(reader(Source("-", None, data), ReadOptions()))


def _shop(data: bytes) -> object:
    path = Path("/tmp/guided-shop.toml")
    path.write_bytes(data)
    return load_shop(path)


def _both_ways(data: bytes) -> None:
    quick, _ = entities_of(data)
    with fast_lane_closed():
        slow, _ = entities_of(data)
    assert quick == slow, (quick, slow)


READERS = {
    "dxf": _drawing(read_dxf),
    "records": _both_ways,
    "csv": _drawing(read_table_csv),
    "json": _drawing(read_table_json),
    "toml": _shop,
}


def _with_corpus(sort: str, folder: Path) -> None:
    from campaign import made_case

    if folder.exists():
        return
    folder.mkdir(parents=True)
    for count in range(_CASES):
        files = made_case(sort, 1, count).files
        (folder / str(count)).write_bytes(files[-1][1])


def main() -> None:
    """Hand the fuzzer what is left of the command line."""
    sort = sys.argv.pop(1)
    read = READERS[sort]
    for word in sys.argv[1:]:
        if not word.startswith("-"):
            _with_corpus(sort, Path(word))

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
