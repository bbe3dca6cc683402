"""Makes docs/as-read.png: a kayak trolley's handle as a hurried draughtsman left it, drawn as read.

python docs/make_as_read.py
"""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import ezdxf

from converter import Settings, open_job
from converter.exporters.pictures.drawing.view import drawing_picture
from converter.exporters.pictures.written.png import png_bytes

HERE = Path(__file__).resolve().parent


def drawn(path: Path) -> None:
    """The drawing, in mm."""
    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    handle, leg, brace = ({"layer": name} for name in ("HANDLE", "LEG", "BRACE"))
    # the handle: one arc starts a hair beside its straight, the other half a millimetre off
    model.add_line((0, 0), (425, 0), dxfattribs=handle)
    model.add_arc((425.06, 75), 75, 270, 0, dxfattribs=handle)
    model.add_line((500.06, 75), (500.06, 300), dxfattribs=handle)
    model.add_arc((425.06, 300.6), 75, 0, 90, dxfattribs=handle)
    model.add_line((425.06, 375.6), (0, 375.6), dxfattribs=handle)
    # a leg with a bend far too tight, drawn over itself in part
    model.add_line((60, 120), (200, 120), dxfattribs=leg)
    model.add_line((60, 120), (160, 120), dxfattribs=leg)
    model.add_arc((200, 145), 25, 270, 0, dxfattribs=leg)
    model.add_line((225, 145), (225, 260), dxfattribs=leg)
    # a brace as half an ellipse, and one with a sharp corner
    model.add_ellipse((370, 170), (70, 0), 0.6, 0, math.pi, dxfattribs=brace)
    model.add_lwpolyline([(300, 300), (430, 300), (430, 250)], dxfattribs={"layer": "CLIP"})
    # what is no tube
    model.add_text("kayak trolley, handle", height=14).set_placement((20, 30))
    model.add_linear_dim(base=(0, -40), p1=(0, 0), p2=(500.06, 0)).render()
    hatch = model.add_hatch()
    hatch.paths.add_polyline_path([(40, 300), (110, 300), (110, 340), (40, 340)], is_closed=True)
    doc.layers.add("SKETCH").off()
    model.add_line((20, 250), (190, 210), dxfattribs={"layer": "SKETCH"})
    doc.saveas(path)


def main() -> None:
    """Draw, read, picture."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trolley.dxf"
        drawn(path)
        settings = Settings(sections=("HANDLE=25x2mm", "LEG=25x2mm", "BRACE=25x2mm"))
        result = open_job(str(path), settings)
    picture = drawing_picture(result.drawing, result.tubes, result.findings, result.display, size=(200.0, 190.0))
    (HERE / "as-read.png").write_bytes(png_bytes(picture, unit="mm", dpi=120))


if __name__ == "__main__":
    main()
