"""Makes docs/pictures.svg: the leg of the demo's trolley, one of its bends too tight, as `convert --to svg` writes it.

python docs/make_pictures.py
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from converter import Settings, open_job
from converter.demo.dxf_drawing import drawing_text
from converter.exporters.registry import write

HERE = Path(__file__).resolve().parent


def main() -> None:
    """Write the demo's drawing, and the picture of its leg. The demo shop has the die that is too wide."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "boathouse.dxf").write_text(drawing_text(), encoding="utf-8")
        job = open_job(str(folder / "boathouse.dxf"), Settings(runs=("LEG*",)))
        (picture,) = write([job], folder / "out", ("svg",))
        (HERE / "pictures.svg").write_bytes(Path(picture).read_bytes())
    print(f"wrote {HERE / 'pictures.svg'}")


if __name__ == "__main__":
    main()
