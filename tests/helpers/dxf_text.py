"""DXF drawings written line by line."""

import io

from dxf_tools import new


def text(n=20, version="R2010"):
    """A sound drawing of n lines as DXF text."""
    doc, msp = new(version)
    for i in range(n):
        msp.add_line((0, i), (100, i), dxfattribs={"layer": "RAIL"})
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue()
