"""How much is too much: what a file may hold before it is refused in one sentence.

Each limit lies well above what a job of a shop needs and well below what fills a computer's memory. They are no
options: a file beyond them is not what it is taken for, or wants splitting. docs/commands.md lists them
("How large a file may be"); what a whole command may take, in seconds and memory, is a matter of its options.
"""

from __future__ import annotations

#: Bytes of any input, standard input included. A drawing of 2,000 tubes has 5 MB.
FILE_BYTES = 1 << 30
#: Bytes of a DXF drawing, and entities and other records in it; in memory they take about ten times as much.
DXF_BYTES = 128 << 20
DXF_RECORDS = 500_000
#: Bytes of a STEP file.
STEP_BYTES = 256 << 20
#: Bytes of a mesh file, and of the buffers that one glTF names.
MESH_BYTES = 512 << 20
#: Bytes of a bend table or of points, CSV or JSON.
TABLE_BYTES = 32 << 20
#: Bytes of a shop or job file, which are typed by hand.
TOML_BYTES = 1_000_000

#: Names joined by dots in one key of a shop or job file; ours have three.
KEY_PARTS = 16
#: Brackets within brackets in JSON and TOML; ours are five deep, a glTF's ten.
NESTING = 64

#: Files in a 3MF package, and the bytes they unpack to.
PACKAGE_FILES = 10_000
PACKAGE_BYTES = 512 << 20
#: Bytes that one byte of a packed file may unpack to, once it unpacks to more than `PACKAGE_FREE`. Meshes as text pack
#: to a third or a twentieth.
PACKAGE_RATIO = 200
PACKAGE_FREE = 16 << 20
#: Times that meshes are placed by the nodes of a glTF or the components of a 3MF.
PLACED_MESHES = 20_000
#: Triangles of a mesh file, each as often as it is placed.
TRIANGLES = 5_000_000

#: Rows of a table, and characters of one line of it.
ROWS = 200_000
ROW_CHARACTERS = 100_000
#: Curves of a drawing, those of its block references included.
CURVES = 200_000
#: Corners of all polylines of a drawing together.
VERTICES = 2_000_000
#: Control points of one spline; fit points of one that has no control points, which are worked out in the square of
#: their number; and its degree: CAD packages stop at 26.
SPLINE_POINTS = 20_000
FIT_POINTS = 2_000
SPLINE_DEGREE = 32
#: Runs of one drawing, and bends of one run.
RUNS = 20_000
BENDS = 1_000

#: mm from the drawing's origin, and of any typed length: survey grids reach 1e10 mm (10,000 km); to here doubles keep
#: 2e-5 mm apart.
FARTHEST = 1e11
#: mm of centerline: no tube is longer than a kilometre, nor shorter than a tenth of a millimetre. What is was very
#: likely read in the wrong unit.
LONGEST_RUN = 1e6
SHORTEST_RUN = 0.1
#: mm, of an arc that was drawn and of a bend, wherever it comes from: its center is a coordinate too.
GREATEST_RADIUS = FARTHEST
#: mm that a weld gap is at most, 2 in: no weld bridges more. Common practice, no source.
WELD_GAP = 50.8

#: mm: outside size of a section, and its wall. A syringe's needle has 0.2 by 0.05, the widest pipes 4,000.
LEAST_SIZE, MOST_SIZE = 1e-5, 10_000.0
LEAST_WALL = 1e-6
#: Outside size over wall, the larger one of a rectangle. A ventilation duct has 2,000; formulas are tried on more.
MOST_SIZE_TO_WALL = 1e6

#: Pages of paper that one printed template may be put together from: of A4, half a kilometre of stick.
TEMPLATE_PAGES = 2_000

#: Triangles of the mesh of one tube, and of all tubes that one file holds.
TUBE_TRIANGLES = 2_000_000
WRITTEN_TRIANGLES = 20_000_000


def size_text(size: int) -> str:
    """A number of bytes for a sentence: ``317 kB``, ``1.2 GB``; in powers of 1024, as files are listed."""
    value, unit = float(size), "B"
    for larger in ("kB", "MB", "GB", "TB"):
        if value < 1024.0:
            break
        value, unit = value / 1024.0, larger
    return f"{value:.3g} {unit}" if value < 999.5 else f"{value:.0f} {unit}"
